//! The whole pump on the least board: what it records, and what is left of it after a cut at any operation of its flash.

use std::num::NonZeroU8;

use draught::event::{EndReason, Limit, PumpEnd};
use draught::machine::Phase;
use draught::port::{Key, Power};
use draught::prelude::*;
use draught::pump::Booted;
use draught::record::Flags;
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::nor::Torn;
use draught_tests::rig::{Pumping, Rig, Rows, block};

mod clocks;
mod flash;
mod loading;
mod motor;
mod room;
mod samples;
mod stories;
mod supply;

const FLOW_UL_PER_MIN: u32 = 2_500_000;
const MINUTE: u64 = 60_000;
const HOUR: u64 = 60 * MINUTE;

/// Monday 2027-03-08 06:00 UTC.
fn morning() -> WallMs {
    let civil = Civil {
        date: Date::from_ymd(2027, 3, 8).unwrap(),
        time: TimeOfDay::from_hms(6, 0, 0).unwrap(),
    };
    UtcOffset::UTC.instant(civil).unwrap()
}

fn minutes(n: u32) -> DurationMs {
    DurationMs::from_ms(n * 60_000).unwrap()
}

fn run(n: u32) -> Step {
    Step::RunFor { run: minutes(n), target: None }
}

fn settings() -> Settings {
    let flow = Flow::from_ul_per_min(FLOW_UL_PER_MIN).unwrap();
    Settings::new(UtcOffset::UTC, Target::flow(flow))
}

/// Goes on after an outage of an hour at most, with all of its time.
fn made_up() -> Outage {
    Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(HOUR as u32).unwrap(),
        while_charging: false,
    })
}

/// Passes in all, each on a sampler of its own.
fn fresh(passes: u16) -> Step {
    Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(passes).unwrap(),
        sampler: Sampler::Fresh,
    }
}

/// Rules that go on after an outage of an hour at most.
fn made_up_settings() -> Settings {
    let mut settings = settings();
    settings.outage = made_up();
    settings
}

/// Tries again after a time, so often.
fn retry(every_ms: u64, times: u8) -> Fault {
    let every = RetryEvery::from_ms(every_ms as u32).unwrap();
    Fault::Retry { every, times: NonZeroU8::new(times).unwrap() }
}

/// A rig with a pump that is armed.
fn armed(block: &[u8], checkpoint_ms: u32) -> (Rig, Pumping) {
    let rig = Rig::new(morning(), 1);
    let (mut pump, booted) = rig.boot(checkpoint_ms);
    assert_eq!(booted, Booted::Idle);
    pump.load(block, 0).unwrap();
    pump.arm().unwrap();
    (rig, pump)
}

/// What must be true of the rows of one event, whatever happened.
fn assert_sums(rows: &Rows) {
    let event = rows.events[0];
    assert_eq!(rows.events.len(), 1);
    let numbers: Vec<_> = rows.spans.iter().map(|s| s.number).collect();
    assert_eq!(numbers, (1..=event.spans).collect::<Vec<_>>(), "each span once");
    let volume = |v: &mut dyn Iterator<Item = RawVolume>| -> u64 { v.map(RawVolume::as_raw).sum() };
    assert_eq!(volume(&mut rows.spans.iter().map(|s| s.volume)), event.volume.as_raw());
    let of_samples = volume(&mut rows.samples.iter().map(|s| s.volume()));
    assert_eq!(of_samples, event.volume.as_raw(), "{:#?}", rows.samples);
    let pumped: u64 = rows.spans.iter().map(|s| s.pumped_ms).sum();
    assert_eq!(pumped, event.pumped_ms);
    assert_eq!(rows.samples.iter().map(|s| s.pumped_ms).sum::<u64>(), pumped);
    for sample in &rows.samples {
        let own = rows.spans.iter().filter(|s| s.sample == sample.number);
        let of_spans = own.fold(0, |all, s| all | s.flags.0);
        assert_eq!(of_spans & !sample.flags.0, 0, "in a stretch and not in its sample");
        assert_eq!(sample.flags.0 & !event.flags.0, 0, "in a sample and not in the event");
    }
    let interruptions: u16 = rows.samples.iter().map(|s| s.interruptions).sum();
    let unaccounted: u32 = rows.samples.iter().map(|s| s.unaccounted_ms).sum();
    assert_eq!((interruptions, unaccounted), (event.interruptions, event.unaccounted_ms));
    let numbers: Vec<_> = rows.samples.iter().map(|s| s.number).collect();
    assert_eq!(numbers, (1..=event.samples).collect::<Vec<_>>(), "each sample once");
}

#[test]
fn a_run_is_kept_as_it_was() {
    let steps = [Step::WaitForTime(TimeOfDay::from_hms(7, 30, 0).unwrap()), run(15)];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    assert!(rig.run(&mut pump, 2 * HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let (event, sample) = (rows.events[0], rows.samples[0]);
    let at = |ms| morning().plus_ms(ms);
    assert_eq!((event.started, event.stopped), (at(90 * MINUTE), at(105 * MINUTE)));
    assert_eq!((event.start_set, event.stop_set), (event.started, event.stopped));
    assert_eq!((event.armed, event.reason), (at(0), EndReason::Finished));
    assert_eq!((event.pumped_ms, event.spans, event.samples), (15 * MINUTE, 1, 1));
    assert_eq!(event.flags, Flags(0), "{:?}", event.flags);
    assert_eq!(event.supply_armed_percent, Some(80));
    assert_eq!(sample.metered_ms(), 15 * MINUTE);
    assert_eq!(event.volume.as_raw(), rig.look().truly_drawn);
    let expected = u64::from(FLOW_UL_PER_MIN) * 15 * MINUTE;
    assert!(event.volume.as_raw().abs_diff(expected) < expected / 200, "{:?}", event.volume);
    assert_eq!(rig.look().nor.wrong_use, Vec::<String>::new());
}

#[test]
fn a_waiting_pump_wakes_no_more_often_than_it_must() {
    let steps = [Step::WaitForDate(Date::from_ymd(2027, 3, 15).unwrap()), run(15)];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    let mut wakes = 0;
    while rig.look().ms < 7 * 24 * HOUR - 7 * HOUR {
        wakes += 1;
        let left = 7 * 24 * HOUR - 7 * HOUR - rig.look().ms;
        let draught::machine::Wake::At { mono: None, wall: Some(at), .. } = pump.poll() else {
            panic!("it waits for the wall clock and nothing else")
        };
        rig.pass(at.since(pump.now().wall.unwrap()).min(left));
    }
    assert_eq!(wakes, 1, "one poll, and then the appointment");
    assert!(rig.run(&mut pump, 8 * 24 * HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Finished);
}

/// Three runs, two samplers, a hold: every kind of transition, in nine minutes.
fn busy() -> Vec<u8> {
    busy_with(made_up())
}

fn busy_with(outage: Outage) -> Vec<u8> {
    let steps = [
        run(1),
        Step::Hold(minutes(1)),
        run(2),
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(2).unwrap(),
            sampler: Sampler::Fresh,
        },
        run(1),
    ];
    let mut settings = settings();
    settings.outage = outage;
    block(settings, &steps)
}

#[test]
fn a_cut_at_any_operation_that_ends_the_event_leaves_a_record_that_adds_up() {
    let block = busy_with(Outage::Abandon);
    let (rig, mut pump) = armed(&block, 20_000);
    let before = rig.look().nor.operations();
    assert!(rig.run(&mut pump, 15 * MINUTE));
    let operations = rig.look().nor.operations() - before;
    for cut in (0..operations).step_by(2) {
        let torn = Torn::ALL[(cut % Torn::ALL.len() as u64) as usize];
        let (rig, mut pump) = armed(&block, 20_000);
        rig.set().nor.cut_after(cut, torn);
        assert!(!rig.run(&mut pump, 15 * MINUTE), "the cut comes");
        rig.outage(90_000);
        let (mut pump, _) = rig.boot(20_000);
        assert!(rig.run(&mut pump, 30 * MINUTE));
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        assert!(rig.look().truly_pumped_ms - rows.events[0].pumped_ms <= 21_000, "{cut} {torn:?}");
    }
}

#[test]
fn a_cut_at_any_operation_of_the_flash_loses_no_row_and_counts_nothing_twice() {
    let (rig, mut pump) = armed(&busy(), 20_000);
    let before = rig.look().nor.operations();
    assert!(rig.run(&mut pump, 15 * MINUTE));
    let operations = rig.look().nor.operations() - before;
    assert_sums(&Rows::of(&mut pump));
    assert!(operations > 500, "{operations}");
    // Every operation is tried with one way of tearing, and every way with many operations.
    for cut in 0..operations {
        let torn = Torn::ALL[(cut % Torn::ALL.len() as u64) as usize];
        let (rig, mut pump) = armed(&busy(), 20_000);
        rig.set().nor.cut_after(cut, torn);
        assert!(!rig.run(&mut pump, 15 * MINUTE), "the cut comes");
        rig.outage(90_000);
        let (mut pump, _) = rig.boot(20_000);
        assert!(rig.run(&mut pump, 30 * MINUTE));
        let rows = Rows::of(&mut pump);
        assert_sums(&rows);
        let (event, s) = (rows.events[0], rig.look());
        assert_eq!(event.reason, EndReason::Finished, "cut {cut} {torn:?}");
        // Made up: what was asked for, and what no checkpoint holds on top of it.
        let lost = s.truly_pumped_ms - event.pumped_ms;
        assert!(lost <= 21_000, "cut {cut} {torn:?}: {lost} ms are not accounted for");
        assert!(u64::from(event.unaccounted_ms) + 1_000 >= lost, "cut {cut} {torn:?}: {lost}");
        assert!(s.truly_drawn >= event.volume.as_raw(), "cut {cut} {torn:?}: volume made up");
        assert_eq!(s.nor.wrong_use, Vec::<String>::new(), "cut {cut} {torn:?}");
    }
}

#[test]
fn a_supply_that_warns_leaves_nothing_that_must_be_looked_at() {
    let (rig, mut pump) = armed(&busy(), 60_000);
    assert!(rig.run(&mut pump, 30_500));
    rig.set().power.failing = true;
    pump.poll();
    rig.set().power.failing = false;
    rig.outage(5 * MINUTE);
    let (mut pump, booted) = rig.boot(60_000);
    assert!(matches!(booted, Booted::Resumed { outage_ms: Some(300_000) }), "{booted:?}");
    assert!(rig.run(&mut pump, HOUR));
    let event = Rows::of(&mut pump).events[0];
    // What a supply that warned may still carry: 2 s and a reading.
    assert_eq!((event.unaccounted_ms, event.interruptions), (3_000, 1));
    assert_eq!(event.volume.as_raw(), rig.look().truly_drawn);
    assert!(event.flags.has(Flags::INTERRUPTED) && !event.flags.has(Flags::TIME_UNACCOUNTED));
}

#[test]
fn a_blocked_sampler_stops_the_pump_after_a_minute_and_the_fault_stays_shown() {
    // 40 CFR 50 App. L 7.4.4: off by more than 10 % for more than 60 s; 30 CFR 74.4(a)(14), (17): restricted for one
    // minute: shut down, elapsed time kept, indication on until it is cleared.
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 10 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_sums(&rows);
    let event = rows.events[0];
    assert_eq!(event.reason, EndReason::Fault(Limit::FlowLow));
    assert_eq!(rows.spans[0].by, PumpEnd::Tripped(Limit::FlowLow));
    assert_eq!(event.trips, [1, 0, 0, 0, 0]);
    let stopped = event.pumped_ms - 10 * MINUTE;
    assert!((60_000..=62_000).contains(&stopped), "stopped {stopped} ms after it was blocked");
    assert!(rig.look().shown.fault);
    assert_eq!(rig.look().duty.per_myriad(), 0);
    rig.set().keys.push_back(Key::Clear);
    pump.poll();
    assert!(!rig.look().shown.fault);
}

#[test]
fn a_worn_pump_does_not_start_again_on_the_charger() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.outage(MINUTE);
    rig.set().power = Power { charging: true, ..Power::GOOD };
    let (mut pump, booted) = rig.boot(60_000);
    assert_eq!(booted, Booted::HeldByCharger);
    assert!(rig.run(&mut pump, 8 * MINUTE));
    assert_eq!(rig.look().duty.per_myriad(), 0, "it waits");
    assert!(pump.status().held_by_charger);
    rig.set().power.charging = false;
    assert!(rig.run(&mut pump, 9 * MINUTE));
    assert!(matches!(pump.status().phase, Phase::Pumping { .. }));
    // And when it is charged for longer than the schedule goes on after (10 min), the event ends.
    rig.outage(MINUTE);
    rig.set().power.charging = true;
    let (mut pump, _) = rig.boot(60_000);
    assert!(rig.run(&mut pump, HOUR));
    assert_eq!(Rows::of(&mut pump).events[0].reason, EndReason::Outage);
}

#[test]
fn five_resumes_without_a_whole_checkpoint_interval_are_a_supply_fault() {
    let (rig, mut pump) = armed(&busy(), 60_000);
    assert!(rig.run(&mut pump, 10_000));
    drop(pump);
    let mut reason = None;
    for _ in 0..6 {
        rig.outage(1_000);
        let (mut pump, _) = rig.boot(60_000);
        let until = rig.look().ms + 5_000;
        assert!(rig.run(&mut pump, until));
        reason = Rows::of(&mut pump).events.first().map(|e| e.reason);
        if reason.is_some() {
            break;
        }
    }
    assert_eq!(reason, Some(EndReason::Stopped(draught::event::StopReason::Supply)));
}

#[test]
fn a_new_event_begins_with_nothing_of_the_last() {
    // 40 CFR 50 App. L 7.4.12(b): a programmed start resets all information and flags of the previous sample.
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    rig.set().open_percent = 50;
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().open_percent = 100;
    let (id, _) = pump.arm().unwrap();
    assert_eq!(id, EventId(2));
    assert!(rig.run(&mut pump, 10 * MINUTE));
    let rows = Rows::of(&mut pump);
    assert_eq!(rows.events.len(), 2);
    assert_eq!((rows.events[1].flags, rows.events[1].spans), (Flags(0), 1));
    let last = rows.events[1];
    assert!(
        last.volume.as_raw().abs_diff(u64::from(FLOW_UL_PER_MIN) * MINUTE)
            < u64::from(FLOW_UL_PER_MIN) * 2_000
    );
}

#[test]
fn a_checkpoint_that_rots_ends_the_event_and_counts_nothing_twice() {
    let (rig, mut pump) = armed(&busy(), 20_000);
    // After the first stretch, in the hold: its row is kept, and so is a checkpoint that knows of it.
    assert!(rig.run(&mut pump, 90_000));
    assert_eq!(Rows::of(&mut pump).spans.len(), 1);
    drop(pump);
    // Bits flip in the newest checkpoint: the one before it, from within the stretch, is the newest now.
    let newest = newest_checkpoint(&rig);
    (0..64).for_each(|bit| rig.set().nor.flip(8 * newest + 300 * 8 + bit));
    rig.outage(10_000);
    let (mut pump, booted) = rig.boot(20_000);
    assert_eq!(booted, Booted::Idle);
    assert!(rig.run(&mut pump, HOUR));
    let rows = Rows::of(&mut pump);
    assert_eq!((rows.events.len(), rows.spans.len()), (1, 1));
    assert_eq!(rows.events[0].reason, EndReason::Stopped(draught::event::StopReason::Fault));
    assert!(rows.events[0].flags.has(Flags::ROW_LOST));
    assert_eq!(rig.look().duty.per_myriad(), 0);
}

/// Where the newest checkpoint begins: the slot with the highest sequence, which a slot begins with. A new chip is full of
/// anything, but not of small numbers.
fn newest_checkpoint(rig: &Rig) -> usize {
    use draught::pump::CHECKPOINT_STRIDE;
    use draught_tests::rig::{CHECKPOINT_PAGES, PAGE};
    let mut rig = rig.set();
    let flash = rig.nor.raw();
    let slots = CHECKPOINT_PAGES.flat_map(|page| {
        (0..PAGE / CHECKPOINT_STRIDE).map(move |slot| page * PAGE + slot * CHECKPOINT_STRIDE)
    });
    let sequence = |at: &usize| u32::from_le_bytes(flash[*at..at + 4].try_into().unwrap());
    slots.filter(|at| sequence(at) < 10_000).max_by_key(sequence).expect("a checkpoint")
}

#[test]
fn an_event_under_way_is_not_armed_over() {
    let (rig, mut pump) = armed(&block(settings(), &[run(30)]), 60_000);
    assert!(rig.run(&mut pump, MINUTE));
    let refused = draught::pump::StartRefused::Arm(draught::machine::ArmRefused::AlreadyArmed);
    assert_eq!(pump.arm(), Err(refused));
    assert!(rig.run(&mut pump, HOUR));
    assert_sums(&Rows::of(&mut pump));
}

#[test]
fn records_that_were_collected_do_not_come_back_at_boot() {
    let (rig, mut pump) = armed(&block(settings(), &[run(1)]), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    let mut last = None;
    pump.each_row(|seq, _, _| last = Some(seq));
    pump.release_rows(last.unwrap());
    pump.poll();
    drop(pump);
    rig.outage(1_000);
    let (mut pump, _) = rig.boot(60_000);
    pump.poll();
    assert_eq!(Rows::of(&mut pump), Rows::default());
}

#[test]
fn a_blocked_sampler_trips_also_when_its_steps_are_shorter_than_the_grace() {
    let steps = [
        Step::RunFor { run: DurationMs::from_ms(45_000).unwrap(), target: None },
        Step::Repeat {
            from: StepNo::FIRST,
            passes: Passes::new(60).unwrap(),
            sampler: Sampler::Same,
        },
    ];
    let (rig, mut pump) = armed(&block(settings(), &steps), 60_000);
    assert!(rig.run(&mut pump, 5 * MINUTE));
    rig.set().open_percent = 0;
    assert!(rig.run(&mut pump, 5 * MINUTE + 70_000));
    assert!(rig.look().shown.fault, "the limit is judged over the ends of steps");
}
