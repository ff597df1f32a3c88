//! What a reader of the code found missing, and stories that are drawn at random.

use draught::event::EndReason;
use draught::machine::Phase;
use draught::port::{Key, Power};
use draught::prelude::*;
use draught::pump::{Booted, StartRefused};
use draught::record::Flags;
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::rig::{Rig, Rows};

use super::{HOUR, MINUTE, armed, assert_sums, block, minutes, morning, run, settings};

fn made_up() -> Outage {
    Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(HOUR as u32).unwrap(),
        while_charging: false,
    })
}

#[test]
fn ten_cuts_in_a_schedule_that_just_fits_lose_no_row() {
    let mut settings = settings();
    settings.outage = made_up();
    let rig = Rig::new(morning(), 1);
    let (mut pump, _) = rig.boot(20_000);
    let mut n = 395;
    loop {
        let steps = [
            Step::RunFor { run: DurationMs::from_ms(61_000).unwrap(), target: None },
            Step::Repeat {
                from: StepNo::FIRST,
                passes: Passes::new(n).unwrap(),
                sampler: Sampler::Same,
            },
        ];
        pump.load(&block(settings.clone(), &steps), 0).unwrap();
        match pump.arm() {
            Ok(_) => break,
            Err(StartRefused::JournalFull { .. }) => n -= 1,
            Err(e) => panic!("{e:?}"),
        }
    }
    for _ in 0..10 {
        let until = rig.look().ms + 80_000;
        assert!(rig.run(&mut pump, until));
        rig.outage(2_000);
        pump = rig.boot(20_000).0;
    }
    assert!(rig.run(&mut pump, 24 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!(pump.record().reason, EndReason::Finished);
    assert!(
        !pump.record().flags.has(Flags::ROW_LOST),
        "{} spans, {} of them in rows, events {}",
        pump.record().spans,
        rows.spans.len(),
        rows.events.len()
    );
    assert_sums(&rows);
}

#[test]
fn a_motor_that_does_not_stop_is_in_the_record() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 59_500));
    rig.pass(500);
    rig.set().motor_fails = true;
    let until = rig.look().ms + 10 * MINUTE;
    assert!(rig.run(&mut pump, until));
    rig.set().motor_fails = false;
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    let truly = rig.look().truly_pumped_ms;
    assert!(
        event.flags != Flags(0) || event.pumped_ms + 2_000 > truly,
        "the motor ran for {truly} ms, recorded {} ms, {:?}, no flag",
        event.pumped_ms,
        event.reason
    );
}

#[test]
fn an_idle_pump_whose_motor_does_not_answer_wears_no_flash() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().motor_fails = true;
    let before = rig.look().nor.operations();
    for _ in 0..60 {
        pump.poll();
        rig.pass(1_000);
    }
    let operations = rig.look().nor.operations() - before;
    assert!(operations < 2_000, "{operations} words and erases in a minute with nothing armed");
}

#[test]
fn a_draw_volume_is_not_up_to_a_reading_too_long() {
    // docs/accuracy.md: "The shell takes its reading at the moment at which the volume will be full".
    let step = Step::DrawVolume {
        volume: Volume::from_ml(1_010).unwrap(),
        at_most: minutes(5),
        target: None,
    };
    let (rig, mut pump) = armed(&block(settings(), &[step]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let event = Rows::of(&mut pump).events[0];
    let ml = event.volume.as_raw() / 60_000_000;
    assert!((1_010..=1_011).contains(&ml), "{ml} mL");
}

/// Schedules that go on after an outage, so many runs of a minute on samplers of their own.
#[test]
fn the_charger_is_not_forgotten_when_an_event_is_held_and_cut_again() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    assert!(last.is_none());
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    assert_eq!(rows.events[0].pumped_ms, 30 * MINUTE);
    assert_eq!(rows.events[0].interruptions, 1);
}

#[test]
fn a_status_after_a_command_that_was_refused_is_what_the_motor_does() {
    // A step ended and the next began at the instant of a command that is refused: nobody drives the motor until the next poll.
    let hold = Step::Hold(minutes(1));
    let (rig, mut pump) = armed(&block(settings(), &[run(1), hold, run(5)]), 60_000);
    assert!(rig.run(&mut pump, 59_500));
    rig.pass(500);
    let refused = pump.command(draught::machine::Command::Resume { step: StepNo::FIRST });
    assert!(refused.is_err());
    assert_eq!(rig.look().duty.per_myriad(), 0, "the run is over, and the motor runs on");
}

#[test]
fn five_short_cuts_in_a_pause_are_no_supply_fault() {
    // 30 s of pumping, a blocked inlet, an hour of pause; the cuts come in the pause, in which no interval can be pumped.
    let mut settings = settings();
    settings.outage = made_up();
    settings.fault = Fault::Retry {
        every: RetryEvery::from_ms(HOUR as u32).unwrap(),
        times: core::num::NonZeroU8::MIN,
    };
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 2 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 4 * MINUTE));
    rig.set().open_percent = 100;
    for _ in 0..5 {
        rig.outage(2_000);
        pump = rig.boot(60_000).0;
        let until = rig.look().ms + 5 * MINUTE;
        assert!(rig.run(&mut pump, until));
    }
    assert!(rig.run(&mut pump, 4 * HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
}

/// Boots with readings so far apart.
#[test]
fn an_engine_at_rest_has_its_motor_off() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    drop(pump);
    // A soft reset: the timer of the motor goes on as it was. And the charger is in.
    rig.outage(0);
    rig.set().duty = draught::port::Duty::from_per_myriad(5_000);
    rig.set().power.charging = true;
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    assert!(rig.run(&mut pump, 6 * MINUTE));
    assert_eq!(rig.look().duty.per_myriad(), 0, "held, and the motor runs");
}

#[test]
fn a_run_that_was_too_long_because_of_a_late_poll_is_flagged() {
    // porting.md: "Calls that come late are recorded".
    let (rig, mut pump) = armed(&block(settings(), &[run(1), Step::Hold(minutes(5))]), 60_000);
    assert!(rig.run(&mut pump, 57_000));
    rig.pass(7_900); // 4.9 s after the reading at 56 or 57 s, in two goes
    pump.poll();
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert!(
        rows.spans[0].pumped_ms <= 61_000 || rows.events[0].flags != Flags(0),
        "{} ms, no flag",
        rows.spans[0].pumped_ms
    );
}

/// Anything, in any order: what must be true of the record all the same.
#[test]
fn whatever_happens_the_record_adds_up() {
    let runs: u64 =
        std::env::var("DRAUGHT_STORIES").ok().and_then(|n| n.parse().ok()).unwrap_or(300);
    let from: u64 =
        std::env::var("DRAUGHT_STORIES_FROM").ok().and_then(|n| n.parse().ok()).unwrap_or(0);
    let mut bad = Vec::new();
    for seed in from..from + runs {
        let told = std::panic::catch_unwind(|| anything(seed));
        if told.is_err() {
            bad.push(seed);
        }
    }
    assert!(bad.is_empty(), "{} of {runs}: {:?}", bad.len(), &bad[..bad.len().min(20)]);
}

fn anything(seed: u64) {
    use draught_tests::nor::Torn;
    let mut x = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut dice = move |n: u64| {
        x ^= x << 13;
        x ^= x >> 7;
        x ^= x << 17;
        (x >> 11) % n
    };
    let resume = Resume {
        within: ResumeWithin::from_ms(HOUR as u32).unwrap(),
        while_charging: dice(2) == 0,
    };
    let mut settings = settings();
    settings.outage = match dice(3) {
        0 => Outage::KeepStopTime(resume),
        1 => Outage::MakeUpTime(resume),
        _ => Outage::MakeUpTime(resume),
    };
    settings.fault = match dice(3) {
        0 => Fault::Stop,
        1 => Fault::Close,
        _ => Fault::Retry {
            every: RetryEvery::from_ms(60_000).unwrap(),
            times: core::num::NonZeroU8::new(3).unwrap(),
        },
    };
    let sampler = [Sampler::Same, Sampler::Fresh, Sampler::FreshConfirmed][dice(3) as usize];
    let mut steps = Vec::new();
    for _ in 0..1 + dice(3) {
        steps.push(match dice(5) {
            0 => Step::Hold(minutes(1 + dice(3) as u32)),
            1 => {
                Step::HoldUntilResumed { at_most: minutes(2), then: draught::step::Then::Continue }
            }
            2 => Step::DrawVolume {
                volume: Volume::from_ml(2_000).unwrap(),
                at_most: minutes(3),
                target: None,
            },
            _ => run(1 + dice(3) as u32),
        });
    }
    steps.push(run(1 + dice(2) as u32));
    steps.push(Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(2 + dice(3) as u16).unwrap(),
        sampler,
    });
    let block = block(settings, &steps);
    let checkpoint_ms = [4_000, 20_000, 60_000][dice(3) as usize];
    let rig = Rig::new(morning(), seed);
    let (mut pump, _) = rig.boot(checkpoint_ms);
    pump.load(&block, 0).unwrap();
    pump.arm().unwrap();
    let mut got = Rows::default();
    let (mut cuts, mut late) = (0, 0);
    let mut story = Vec::new();
    let quiet_from = rig.look().ms + 40 * MINUTE;
    loop {
        let ms = rig.look().ms;
        if ms > 12 * HOUR {
            panic!("seed {seed}: never ends {:?} {story:#?}", pump.status());
        }
        let quiet = ms > quiet_from;
        if quiet {
            let mut s = rig.set();
            s.sensor_works = true;
            s.open_percent = 100;
            s.power = Power { left_percent: Some(80), ..Power::GOOD };
            if s.wall.is_none() {
                s.wall = Some(morning());
            }
        } else {
            let held = pump.status().held_by_charger;
            match dice(60) {
                0 => {
                    rig.set().keys.push_back(Key::ConfirmSampler);
                    story.push((ms, "confirm"))
                }
                1 => {
                    rig.set().keys.push_back(Key::Resume);
                    story.push((ms, "resume"))
                }
                2 if !held => {
                    rig.set().keys.push_back(Key::Clear);
                    story.push((ms, "clear"))
                }
                3 if !held && dice(20) == 0 => {
                    rig.set().keys.push_back(Key::Stop);
                    story.push((ms, "stop"))
                }
                4 => {
                    let mut s = rig.set();
                    s.power.charging ^= true;
                    drop(s);
                    story.push((ms, "charger"))
                }
                5 => {
                    let mut s = rig.set();
                    s.power.failing ^= true;
                    drop(s);
                    story.push((ms, "failing"))
                }
                6 if dice(3) == 0 => {
                    let mut s = rig.set();
                    s.power.low ^= true;
                    drop(s);
                    story.push((ms, "low"))
                }
                7 if dice(3) == 0 => {
                    let mut s = rig.set();
                    s.sensor_works ^= true;
                    drop(s);
                    story.push((ms, "sensor"))
                }
                8 if dice(3) == 0 && std::env::var("DRAUGHT_STORIES_INLET").is_ok() => {
                    let mut s = rig.set();
                    s.open_percent = 100 - s.open_percent;
                    drop(s);
                    story.push((ms, "inlet"))
                }
                9 if dice(6) == 0 => {
                    let mut s = rig.set();
                    s.wall = if s.wall.is_none() { Some(morning()) } else { None };
                    drop(s);
                    story.push((ms, "clock"))
                }
                10 => {
                    let c = draught::machine::Command::ConfirmSampler;
                    let _ = pump.command(c);
                    story.push((ms, "host confirm"))
                }
                11 if !held => {
                    let mut last = None;
                    let mut now = Rows::default();
                    pump.each_row(|seq, kind, row| {
                        last = Some(seq);
                        match kind {
                            draught::record::RowKind::Span => {
                                now.spans.push(draught::record::SpanRow::from_bytes(row).unwrap())
                            }
                            draught::record::RowKind::Sample => now
                                .samples
                                .push(draught::record::SampleRow::from_bytes(row).unwrap()),
                            draught::record::RowKind::Event => {
                                now.events.push(draught::record::EventRow::from_bytes(row).unwrap())
                            }
                        }
                    });
                    if let Some(last) = last {
                        pump.release_rows(last);
                        pump.poll();
                        got.spans.extend(now.spans);
                        got.samples.extend(now.samples);
                        got.events.extend(now.events);
                        story.push((ms, "collect"));
                    }
                }
                12 | 13 => {
                    let after = dice(300);
                    let torn = Torn::ALL[dice(Torn::ALL.len() as u64) as usize];
                    rig.set().nor.cut_after(after, torn);
                    story.push((ms, "cut armed"));
                }
                14 => {
                    let ms = dice(3_900);
                    let pumping = rig.look().duty.per_myriad() > 0;
                    rig.pass(ms);
                    if pumping {
                        late = late.max(ms);
                    }
                    story.push((ms, "late"));
                }
                _ => {}
            }
        }
        let until = rig.look().ms + 1 + dice(8_000);
        let alive = rig.run(&mut pump, until) && rig.look().nor.hit().is_none();
        if !alive || (!quiet && dice(60) == 0) {
            story.push((rig.look().ms, if alive { "pulled" } else { "cut" }));
            cuts += 1;
            let out = dice(150_000);
            rig.outage(out);
            let b = rig.boot(checkpoint_ms);
            if std::env::var("DRAUGHT_STORIES_TELL").is_ok() {
                let s = rig.look();
                println!(
                    "at {} off {out} truly {} rec {} un {} warn {} {:?} failing {} ckpt {checkpoint_ms} {:?}",
                    s.ms,
                    s.truly_pumped_ms,
                    b.0.record().pumped_ms,
                    b.0.record().unaccounted_ms,
                    s.wall.is_some(),
                    b.1,
                    s.power.failing,
                    b.0.record().reason
                );
            }
            pump = b.0;
            if std::env::var("DRAUGHT_STORIES_TELL").is_ok() {
                println!("{:?}", pump.status().phase);
            }
        }
        if matches!(pump.status().phase, Phase::Idle | Phase::Ended(_)) && quiet {
            break;
        }
    }
    pump.poll();
    let rest = Rows::of(&mut pump);
    got.spans.extend(rest.spans);
    got.samples.extend(rest.samples);
    got.events.extend(rest.events);
    // A host that is offered a row once more knows it by its number; it must be the same.
    let (spans, samples, events) = (&mut got.spans, &mut got.samples, &mut got.events);
    spans.sort_by_key(|s| s.number);
    spans.dedup();
    samples.sort_by_key(|s| s.number);
    samples.dedup();
    events.dedup();
    let s = rig.look();
    let event =
        *got.events.first().unwrap_or_else(|| panic!("seed {seed}: no event row {story:?}"));
    let why = || format!("seed {seed}, {cuts} cuts, late {late}, {event:?}\n{story:?}");
    let numbers: Vec<_> = got.spans.iter().map(|s| s.number).collect();
    assert_eq!(got.events.len(), 1, "{}", why());
    assert_eq!(numbers, (1..=event.spans).collect::<Vec<_>>(), "{}", why());
    let sum: u64 = got.spans.iter().map(|s| s.volume.as_raw()).sum();
    assert_eq!(sum, event.volume.as_raw(), "{}", why());
    let of_samples: u64 = got.samples.iter().map(|s| s.volume.as_raw()).sum();
    assert_eq!(of_samples, event.volume.as_raw(), "samples {:?} {}", got.samples, why());
    assert_eq!(
        got.samples.iter().map(|s| s.number).collect::<Vec<_>>(),
        (1..=event.samples).collect::<Vec<_>>(),
        "{}",
        why()
    );
    let pumped: u64 = got.spans.iter().map(|s| s.pumped_ms).sum();
    assert_eq!(pumped, event.pumped_ms, "{}", why());
    assert_eq!(got.samples.iter().map(|s| s.pumped_ms).sum::<u64>(), pumped, "{}", why());
    for s in &got.samples {
        assert!(s.metered_ms <= s.pumped_ms, "metered more than pumped {s:?} {}", why());
    }
    assert!(s.truly_drawn >= event.volume.as_raw(), "made up {} {}", s.truly_drawn, why());
    assert!(s.truly_pumped_ms >= event.pumped_ms, "made up time {} {}", s.truly_pumped_ms, why());
    let lost = s.truly_pumped_ms - event.pumped_ms;
    let slack = cuts * (1_000 + late) + 10;
    assert!(lost <= u64::from(event.unaccounted_ms) + slack, "lost {lost} {}", why());
    assert_eq!(s.duty.per_myriad(), 0, "{}", why());
    assert!(!event.flags.has(Flags::ROW_LOST), "{}", why());
}

#[test]
fn a_boot_on_a_failing_supply_does_not_say_of_an_earlier_cut_that_it_was_warned_of() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(1), run(10)]), 60_000);
    assert!(rig.run(&mut pump, MINUTE + 50_000)); // 50 s into the second run, with no warning
    drop(pump);
    rig.outage(MINUTE);
    // The empty battery is put on its charger: the board wakes, and dies again.
    rig.set().power = Power { failing: true, charging: true, ..Power::GOOD };
    let (pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power = Power::GOOD;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    let lost = rig.look().truly_pumped_ms - event.pumped_ms;
    assert!(
        lost <= u64::from(event.unaccounted_ms) + 1_000 && event.flags.has(Flags::TIME_UNACCOUNTED),
        "{lost} ms are missing, {} ms are said to be, flags {:b}",
        event.unaccounted_ms,
        event.flags.0
    );
}

#[test]
fn a_stop_while_held_by_the_charger_adds_no_reading_to_the_sample() {
    let mut settings = settings();
    settings.outage = made_up();
    let (rig, mut pump) = armed(&block(settings, &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 20_000));
    rig.set().power.failing = true;
    pump.poll();
    drop(pump);
    rig.outage(MINUTE);
    rig.set().power = Power { charging: true, ..Power::GOOD };
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    rig.set().keys.push_back(Key::Stop);
    pump.poll();
    let shown = rig.look().shown;
    rig.pass(4_000); // another key, say
    pump.poll();
    let rows = Rows::of(&mut pump);
    let sample = rows.samples[0];
    assert!(
        sample.metered_ms <= sample.pumped_ms && !shown.armed && !shown.pumping,
        "pumped {} ms, metered {} ms, {:?}, cv {:?}; shown after the stop: {shown:?}",
        sample.pumped_ms,
        sample.metered_ms,
        sample.flow_ul_per_min,
        sample.cv_per_myriad
    );
}
