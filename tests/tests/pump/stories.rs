//! Stories drawn at random: cuts, keys, chargers, warnings, sensors and clocks that fail, a host that collects, in any order.

use draught::machine::{Command, Phase};
use draught::port::{Key, Power};
use draught::prelude::*;
use draught::record::Flags;
use draught::table::{Fault, Outage, Resume, ResumeWithin};
use draught_tests::nor::Torn;
use draught_tests::random::Random;
use draught_tests::rig::{Pumping, Rig, Rows, block};

use super::{HOUR, MINUTE, assert_sums, minutes, morning, retry, run, settings};

/// For so long things happen; then an event must come to its end.
const UNQUIET_MS: u64 = 40 * MINUTE;

/// What must be true of the record whatever happens. `DRAUGHT_STORIES=3000` draws more of them.
#[test]
fn whatever_happens_the_record_adds_up() {
    let count = std::env::var("DRAUGHT_STORIES").ok().and_then(|n| n.parse().ok()).unwrap_or(150);
    let broken: Vec<u64> = (0..count)
        .filter(|seed| std::panic::catch_unwind(|| Story::begin(*seed).live()).is_err())
        .collect();
    assert!(broken.is_empty(), "{} of {count}: {broken:?}", broken.len());
}

struct Story {
    seed: u64,
    random: Random,
    rig: Rig,
    pump: Pumping,
    checkpoint_ms: u32,
    /// What the host has collected.
    got: Rows,
    cuts: u64,
    /// The latest poll, in ms.
    late: u64,
    /// What happened, and when.
    told: Vec<(u64, &'static str)>,
}

impl Story {
    fn begin(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let block = block(rules(&mut random), &steps(&mut random));
        let checkpoint_ms = random.pick(&[4_000, 20_000, 60_000]);
        let rig = Rig::new(morning(), seed);
        let (mut pump, _) = rig.boot(checkpoint_ms);
        pump.load(&block, 0).unwrap();
        pump.arm().unwrap();
        let (got, told) = (Rows::default(), Vec::new());
        Self { seed, random, rig, pump, checkpoint_ms, got, cuts: 0, late: 0, told }
    }

    fn live(mut self) {
        loop {
            let now = self.rig.look().ms;
            assert!(now < 12 * HOUR, "never ends: {}", self.so_far());
            let is_quiet = now > UNQUIET_MS;
            if is_quiet {
                self.make_good();
            } else if let Some(what) = self.happen() {
                self.told.push((now, what));
            }
            let until = self.rig.look().ms + 1 + self.random.below(8_000);
            let alive = self.rig.run(&mut self.pump, until) && self.rig.look().nor.hit().is_none();
            if !alive || (!is_quiet && self.random.once_in(60)) {
                self.outage(if alive { "plug pulled" } else { "cut" });
            }
            let is_over = matches!(self.pump.status().phase, Phase::Idle | Phase::Ended(_));
            if is_over && is_quiet {
                return self.account();
            }
        }
    }

    fn make_good(&self) {
        let mut s = self.rig.set();
        s.sensor_works = true;
        s.power = Power { left_percent: Some(80), ..Power::GOOD };
        s.wall = s.wall.or(Some(morning()));
    }

    /// Something, or nothing, as most of the time.
    fn happen(&mut self) -> Option<&'static str> {
        let rig = self.rig.clone();
        let key = |key| rig.set().keys.push_back(key);
        match self.random.below(75) {
            0 => (key(Key::ConfirmSampler), "sampler confirmed").1.into(),
            1 => (key(Key::Resume), "resumed").1.into(),
            2 => (key(Key::Clear), "lamp out").1.into(),
            3 if self.random.once_in(20) => (key(Key::Stop), "stopped").1.into(),
            4 => {
                rig.set().power.charging ^= true;
                Some("charger")
            }
            5 => {
                rig.set().power.failing ^= true;
                Some("supply warns, or no more")
            }
            6 if self.random.once_in(3) => {
                rig.set().power.low ^= true;
                Some("supply low, or no more")
            }
            7 if self.random.once_in(3) => {
                rig.set().sensor_works ^= true;
                Some("sensor")
            }
            8 if self.random.once_in(6) => {
                let mut s = rig.set();
                s.wall = if s.wall.is_none() { Some(morning()) } else { None };
                Some("clock")
            }
            9 => {
                let _ = self.pump.command(Command::ConfirmSampler);
                Some("the host confirms a sampler")
            }
            10 => self.collect(),
            11 | 12 => {
                let (after, torn) = (self.random.below(300), self.random.pick(&Torn::ALL));
                rig.set().nor.cut_after(after, torn);
                Some("a cut is due")
            }
            13 => {
                let ms = self.random.below(3_900);
                if rig.look().duty.per_myriad() > 0 {
                    self.late = self.late.max(ms);
                }
                rig.pass(ms);
                Some("a poll is late")
            }
            60 => {
                rig.set().flash_hiccups = 1 + self.random.below(4) as u32;
                Some("flash hiccups")
            }
            61 => {
                let mut s = rig.set();
                (s.wall_skips, s.wall_fails) = (self.random.below(4) as u32, 1);
                Some("a reading of the clock fails")
            }
            62 | 63 => self.collect(),
            64 => {
                let _ = self.pump.remove(3);
                let _ = self.pump.load(&block(settings(), &[run(1)]), 2);
                Some("another schedule is loaded")
            }
            65 => {
                let (mut pump, _) = self.rig.boot(self.checkpoint_ms);
                std::mem::swap(&mut self.pump, &mut pump);
                self.cuts += 1;
                Some("watchdog")
            }
            66 => {
                let _ = self.pump.command(Command::Resume { step: StepNo::FIRST });
                Some("the host resumes")
            }
            _ => None,
        }
    }

    /// The host takes all rows, and lets go of them.
    fn collect(&mut self) -> Option<&'static str> {
        let rows = Rows::of(&mut self.pump);
        let mut last = None;
        self.pump.each_row(|seq, _, _| last = Some(seq));
        self.pump.release_rows(last?);
        self.pump.poll();
        self.take(rows);
        Some("collected")
    }

    fn take(&mut self, rows: Rows) {
        self.got.spans.extend(rows.spans);
        self.got.samples.extend(rows.samples);
        self.got.events.extend(rows.events);
    }

    fn outage(&mut self, how: &'static str) {
        self.told.push((self.rig.look().ms, how));
        self.cuts += 1;
        self.rig.outage(self.random.below(150_000));
        self.pump = self.rig.boot(self.checkpoint_ms).0;
    }

    /// The event is over: everything there was is in the record, and nothing else.
    fn account(mut self) {
        self.pump.poll();
        let rest = Rows::of(&mut self.pump);
        self.take(rest);
        // A host that is offered a row once more knows it by its number; it must be the same.
        let Rows { spans, samples, events } = &mut self.got;
        spans.sort_by_key(|s| s.number);
        spans.dedup();
        samples.sort_by_key(|s| s.number);
        samples.dedup();
        events.dedup();
        assert!(!self.got.events.is_empty(), "no event row: {}", self.so_far());
        println!("{}", self.so_far()); // shown when one of these fails
        assert_sums(&self.got);
        for sample in &self.got.samples {
            assert!(
                sample.metered_ms() <= sample.pumped_ms,
                "metered more than pumped: {sample:?}"
            );
        }
        let (event, s) = (self.got.events[0], self.rig.look());
        assert!(s.truly_drawn >= event.volume.as_raw(), "volume made up: {}", s.truly_drawn);
        assert!(s.truly_pumped_ms >= event.pumped_ms, "time made up: {}", s.truly_pumped_ms);
        let lost = s.truly_pumped_ms - event.pumped_ms;
        let under_way = self.cuts * (1_000 + self.late) + 10;
        assert!(lost <= u64::from(event.unaccounted_ms) + under_way, "lost {lost} ms");
        assert_eq!(s.duty.per_myriad(), 0);
        assert!(!event.flags.has(Flags::ROW_LOST));
    }

    fn so_far(&self) -> String {
        let Self { seed, cuts, late, told, .. } = self;
        format!("seed {seed}, {cuts} cuts, late {late} ms, {:?}\n{told:?}", self.got.events)
    }
}

fn rules(random: &mut Random) -> Settings {
    let within = ResumeWithin::from_ms(HOUR as u32).unwrap();
    let resume = Resume { within, while_charging: random.once_in(2) };
    let mut settings = settings();
    settings.outage = random.pick(&[Outage::KeepStopTime(resume), Outage::MakeUpTime(resume)]);
    settings.fault = random.pick(&[Fault::Stop, Fault::Close, retry(MINUTE, 3)]);
    settings
}

fn steps(random: &mut Random) -> Vec<Step> {
    let some_minutes = |random: &mut Random, most| 1 + random.below(most) as u32;
    let mut steps = Vec::new();
    for _ in 0..=random.below(3) {
        steps.push(match random.below(5) {
            0 => Step::Hold(minutes(some_minutes(random, 3))),
            1 => Step::HoldUntilResumed { at_most: minutes(2), then: Then::Continue },
            2 => Step::DrawVolume {
                volume: Volume::from_ml(2_000).unwrap(),
                at_most: minutes(3),
                target: None,
            },
            _ => run(some_minutes(random, 3)),
        });
    }
    steps.push(run(some_minutes(random, 2)));
    steps.push(Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(2 + random.below(3) as u16).unwrap(),
        sampler: random.pick(&[Sampler::Same, Sampler::Fresh, Sampler::FreshConfirmed]),
    });
    steps
}
