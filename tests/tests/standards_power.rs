//! What regulations say of power cuts, each beside its source: the machine under a pump that writes a checkpoint every
//! 4 s and is resumed from the latest one.
//!
//! Sections of the US Code of Federal Regulations (CFR) are cited from the annual edition of 2015; later amendments
//! were not checked.

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{EndReason, Event, LostCause, PumpEnd, Pumped};
use draught::machine::{Checkpoint, Demand, EventId, Input, Machine, ResumeRefused, Wake};
use draught::prelude::*;
use draught::table::{LateTolerance, Outage, Resume, ResumeWithin};

const SECOND: u64 = 1_000;
const MIN: u64 = 60 * SECOND;
const HOUR: u64 = 60 * MIN;
/// Between two checkpoints.
const CHECKPOINTS: u64 = 4 * SECOND;
/// 16.67 L/min.
const UL_PER_MIN: u64 = 16_670_000;

fn duration(ms: u64) -> DurationMs {
    DurationMs::from_ms(u32::try_from(ms).unwrap()).unwrap()
}

fn time(h: u8) -> TimeOfDay {
    TimeOfDay::from_hms(h, 0, 0).unwrap()
}

fn settings(outage: Outage) -> Settings {
    let flow = Flow::from_ul_per_min(u32::try_from(UL_PER_MIN).unwrap()).unwrap();
    let mut settings = Settings::new(UtcOffset::UTC, Target::flow(flow));
    settings.outage = outage;
    settings
}

fn within(ms: u64) -> Resume {
    let within = ResumeWithin::from_ms(u32::try_from(ms).unwrap()).unwrap();
    Resume { within, while_charging: false }
}

/// 2027-02-14 at this hour, UTC.
fn at(hour: u64) -> WallMs {
    let civil = Civil::midnight(Date::from_ymd(2027, 2, 14).unwrap());
    after(UtcOffset::UTC.instant(civil).unwrap(), hour * HOUR)
}

fn after(wall: WallMs, ms: u64) -> WallMs {
    wall.plus_ms(ms).unwrap()
}

/// A cut of the power: when it begins, in ms after arming, and how long it lasts.
#[derive(Clone, Copy)]
struct Cut(u64, u64);

/// A pump armed at one instant. Its clock is perfect and its flow at the target; its monotonic clock counts from each
/// power-on, and it knows nothing after a cut but its latest checkpoint and the wall clock.
struct Pump<'t> {
    table: TableRef<'t>,
    armed: WallMs,
    machine: Machine,
    checkpoint: Checkpoint,
    demand: Demand,
    wake: Wake,
    /// True time, in ms after arming.
    t: u64,
    mono: MonoMs,
    drawn: u64,
    events: Vec<Event>,
    /// How many of them there were at the checkpoint.
    events_kept: usize,
}

impl<'t> Pump<'t> {
    fn armed(table: TableRef<'t>, armed: WallMs) -> Self {
        let mono = MonoMs::from_ms(5);
        let input = Input { now: Now { mono, wall: Some(armed) }, drawn: RawVolume::ZERO };
        let mut machine = Machine::new();
        machine.arm(table, &Fit::ANY, EventId(1), input).unwrap();
        let checkpoint = machine.checkpoint(table, input);
        let (demand, wake) = (Demand::Off, Wake::Again);
        let mut pump = Self {
            table,
            armed,
            machine,
            checkpoint,
            demand,
            wake,
            t: 0,
            mono,
            drawn: 0,
            events: Vec::new(),
            events_kept: 0,
        };
        pump.call();
        pump
    }

    fn input(&self) -> Input {
        let now = Now { mono: self.mono, wall: Some(after(self.armed, self.t)) };
        Input { now, drawn: RawVolume::from_raw(self.drawn) }
    }

    fn call(&mut self) {
        loop {
            let answer = self.machine.advance(self.table, self.input());
            self.events.extend(answer.event);
            (self.demand, self.wake) = (answer.demand, answer.wake);
            if answer.wake != Wake::Again {
                break;
            }
        }
    }

    fn pass(&mut self, ms: u64) {
        if self.demand != Demand::Off {
            self.drawn += UL_PER_MIN * ms;
        }
        self.t += ms;
        self.mono = self.mono.plus_ms(ms);
    }

    /// Runs up to an instant: a checkpoint every 4 s, a call at each and at each wake.
    fn until(&mut self, t: u64) {
        while self.t < t {
            let Wake::At { mono, wall, .. } = self.wake else { panic!("at rest") };
            let now = self.input().now;
            let by_mono = mono.map(|at| at.since(now.mono));
            let by_wall = wall.map(|at| at.since(now.wall.unwrap()));
            let to_checkpoint = CHECKPOINTS - self.t % CHECKPOINTS;
            let step = [Some(to_checkpoint), Some(t - self.t), by_mono, by_wall];
            self.pass(step.into_iter().flatten().min().unwrap());
            self.call();
            if self.t.is_multiple_of(CHECKPOINTS) {
                self.checkpoint = self.machine.checkpoint(self.table, self.input());
                self.events_kept = self.events.len();
            }
        }
    }

    fn cut(&mut self, Cut(from, lasts): Cut) {
        self.until(from);
        let kept = Checkpoint::from_bytes(&self.checkpoint.to_bytes()).expect("it was kept");
        self.t = from + lasts;
        (self.mono, _) = kept.continued(self.input().now.wall);
        self.drawn = kept.drawn.as_raw();
        let resumed = Machine::resume(self.table, &kept, self.input());
        if resumed == Err(ResumeRefused::NotArmed) {
            assert!(self.end().is_some(), "it is over");
            return;
        }
        let (machine, event) = resumed.unwrap();
        self.machine = machine;
        // What came after the checkpoint is not known any more.
        self.events.truncate(self.events_kept);
        self.events.extend(event);
        self.call();
    }

    fn stretches(&self) -> Vec<Pumped> {
        let ended = |event: &Event| match event {
            Event::PumpingEnded(p) => Some(*p),
            _ => None,
        };
        self.events.iter().filter_map(ended).collect()
    }

    fn end(&self) -> Option<EndReason> {
        self.events.iter().find_map(|event| match event {
            Event::Ended(reason) => Some(*reason),
            _ => None,
        })
    }
}

/// 40 CFR 53.54, published: in a 6-h sample the power is cut for 20 s, 40 s, 2, 7 and 20 min, with at least 10 min
/// between. Here each cut begins just before the next checkpoint: nearly 4 s of pumping before it are lost.
const CUTS: [Cut; 5] = [
    Cut(30 * MIN - 1, 20 * SECOND),
    Cut(60 * MIN - 1, 40 * SECOND),
    Cut(90 * MIN - 1, 2 * MIN),
    Cut(120 * MIN - 1, 7 * MIN),
    Cut(180 * MIN - 1, 20 * MIN),
];

fn six_hours_with_cuts(table: TableRef<'_>) -> Pump<'_> {
    let mut pump = Pump::armed(table, at(8));
    CUTS.into_iter().for_each(|cut| pump.cut(cut));
    pump.until(8 * HOUR);
    pump
}

fn elapsed(pump: &Pump<'_>) -> u64 {
    pump.stretches().iter().map(Pumped::pumped_ms).sum()
}

/// 40 CFR 53.54, published: the sample's reported elapsed time is that without the time without power, within 20 s; the
/// start of each interruption of more than 60 s is known within 2 min; volume is mean flow by that time, within 2 %.
/// Computed: 30 min without power, so 330 min and 16.67 L/min · 330 min = 5,501 L.
///
/// The sample must end at its set time (App. L 7.4.15.4, "resume ... before the operator-set stop time"): that is the
/// outage rule to keep the stop time, and for long enough.
#[test]
fn six_hours_with_five_power_cuts_are_330_minutes() {
    let run = Step::RunFor { run: duration(6 * HOUR), target: None };
    let until = Step::RunUntil { time: time(14), at_most: duration(7 * HOUR), target: None };
    let settings = settings(Outage::KeepStopTime(within(HOUR)));
    for step in [run, until] {
        let steps = [step, Step::Finish];
        let pump = six_hours_with_cuts(TableRef::new(&settings, &steps).unwrap());
        let stretches = pump.stretches();
        assert_eq!(pump.end(), Some(EndReason::Finished));
        assert_eq!(stretches.len(), 6);
        assert_eq!(stretches[5].end.wall, Some(at(14)), "at its set time");
        // 330 min, less 5 · 3.999 s.
        assert_eq!(elapsed(&pump), 330 * MIN - 5 * 3_999);
        assert!(elapsed(&pump).abs_diff(330 * MIN) <= 20 * SECOND);

        let ul: u64 = stretches.iter().map(|s| s.volume.as_ul()).sum();
        let litres = ul / 1_000_000;
        assert!(litres.abs_diff(5_501) * 100 <= 2 * 5_501, "{litres} L");

        let interruptions: Vec<u64> = stretches
            .windows(2)
            .filter(|pair| pair[0].by == PumpEnd::Outage)
            .filter(|pair| pair[1].begin.mono.since(pair[0].end.mono) > 60 * SECOND)
            .map(|pair| pair[0].end.wall.unwrap().since(at(8)))
            .collect();
        assert_eq!(interruptions.len(), 3, "those of 2, 7 and 20 min");
        for (known, Cut(began, _)) in interruptions.iter().zip(&CUTS[2..]) {
            assert!(known.abs_diff(*began) <= 2 * MIN, "{known} for {began}");
        }
    }
}

/// The same with the other rules is another sample: 6 h of pumping that end 30 min later, or one that ends in the cut of
/// 20 min, or in the first.
#[test]
fn other_outage_rules_make_other_samples_of_five_power_cuts() {
    let steps = [Step::RunFor { run: duration(6 * HOUR), target: None }, Step::Finish];
    let sample = |outage| {
        let settings = settings(outage);
        let pump = six_hours_with_cuts(TableRef::new(&settings, &steps).unwrap());
        (elapsed(&pump), pump.end(), pump.stretches().last().unwrap().end.wall.unwrap())
    };
    let (ran, end, last) = sample(Outage::MakeUpTime(within(HOUR)));
    assert_eq!((ran, end), (6 * HOUR, Some(EndReason::Finished)));
    // It makes up what no checkpoint tells of, too.
    assert_eq!(last, after(at(14), 30 * MIN + 5 * 3_999));
    let (_, end, last) = sample(Outage::DEFAULT);
    assert_eq!((end, last), (Some(EndReason::Outage), after(at(8), 180 * MIN - CHECKPOINTS)));
    let (_, end, last) = sample(Outage::Abandon);
    assert_eq!((end, last), (Some(EndReason::Outage), after(at(8), 30 * MIN - CHECKPOINTS)));
}

/// A sample from 6:00 to 18:00, by its length or by its end, armed at midnight, with the power gone from 5:00 on.
fn without_power_at_its_start(back: u64) -> [Pump<'static>; 2] {
    let run = Step::RunFor { run: duration(12 * HOUR), target: None };
    let until = Step::RunUntil { time: time(18), at_most: duration(12 * HOUR), target: None };
    [run, until].map(|step| {
        let mut settings = settings(Outage::KeepStopTime(within(HOUR)));
        // It may start as late as this.
        settings.late_tolerance = LateTolerance::from_ms(24 * 3_600_000).unwrap();
        let date = Step::WaitForDate(Date::from_ymd(2027, 2, 14).unwrap());
        let steps = [date, Step::WaitForTime(time(6)), step, Step::Finish];
        // One of a few in a test.
        let (settings, steps) = (Box::leak(Box::new(settings)), Box::leak(Box::new(steps)));
        let mut pump = Pump::armed(TableRef::new(settings, &steps[..]).unwrap(), at(0));
        pump.cut(Cut(5 * HOUR, back - 5 * HOUR));
        pump.until(30 * HOUR);
        pump
    })
}

/// App. L 7.4.15.4, published: when the power is absent at the set start, the sample starts by itself when it comes back,
/// if that is before the set stop. The stop stays where it is.
#[test]
fn a_sample_without_power_at_its_start_starts_when_it_comes_back() {
    for pump in without_power_at_its_start(9 * HOUR + 17) {
        let [stretch] = pump.stretches()[..] else { panic!("{:?}", pump.events) };
        assert_eq!(stretch.begin.wall, Some(after(at(9), 17)));
        assert_eq!(stretch.end.wall, Some(at(18)));
        assert_eq!((stretch.by, stretch.overrun_ms), (PumpEnd::Time, 0));
        assert_eq!(pump.end(), Some(EndReason::Finished));
    }
}

/// The same, by the same condition: power that comes back at the set stop or after it starts nothing.
#[test]
fn power_that_comes_back_after_the_stop_starts_nothing() {
    for back in [18 * HOUR, 18 * HOUR + 1, 20 * HOUR] {
        for pump in without_power_at_its_start(back) {
            assert!(pump.stretches().is_empty(), "{:?}", pump.events);
            let step = StepNo::new(3).unwrap();
            let lost = Event::RunLost { step, cause: LostCause::Past };
            assert!(pump.events.contains(&lost), "{:?}", pump.events);
            assert_eq!(pump.end(), Some(EndReason::Finished));
        }
    }
}
