//! Random legal step tables for property tests, nested repeats included.
//!
//! A table is drawn as a tree (waits, doings, repeats with bodies) and written out as steps. What would
//! break a table rule is left out on the way, so every tree gives a legal table and shrinks to one.

use draught::audit::{DEPTH_MAX, PASSES_MAX, STEPS_MAX};
use draught::prelude::*;
use draught::table::{
    Fault, LateTolerance, Limits, Name, Outage, Resume, ResumeWithin, RetryEvery, TripGrace,
    TripPercent,
};
use draught::units::Quantity;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

/// How far the random values range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    /// Everything that is legal, with a liking for the ends of ranges and round values.
    Wide,
    /// What a person would write: March 2027, whole minutes up to some hours, a few passes.
    Everyday,
}

/// A legal table with room of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnTable {
    /// Its settings.
    pub settings: Settings,
    /// Its steps.
    pub steps: Vec<Step>,
}

impl OwnTable {
    /// As everything takes it.
    ///
    /// # Panics
    /// When it breaks a table rule; a random one never does.
    #[must_use]
    pub fn table(&self) -> TableRef<'_> {
        TableRef::new(&self.settings, &self.steps).expect("a legal table")
    }

    /// As a device holds it.
    ///
    /// # Panics
    /// When it has more than `N` steps.
    #[must_use]
    pub fn stored<const N: usize>(&self) -> StepTable<N> {
        let mut table = StepTable::new(self.settings.clone());
        for step in &self.steps {
            table.push(*step).expect("room for all steps");
        }
        table
    }
}

/// Legal tables of up to `steps_max` steps, `finish` included.
pub fn tables(scope: Scope, steps_max: usize) -> impl Strategy<Value = OwnTable> {
    let items = vec(item(scope), 0..=steps_max.min(24));
    (settings(scope), items).prop_map(move |(settings, items)| {
        let mut lowering = Lowering { schedule: settings.target, steps: Vec::new(), steps_max };
        lowering.items(&items, 0, PASSES_MAX);
        lowering.steps.push(Step::Finish);
        OwnTable { settings, steps: lowering.steps }
    })
}

/// Legal tables of exactly as many steps as a block can number, 255.
pub fn full_tables(scope: Scope) -> impl Strategy<Value = OwnTable> {
    (settings(scope), vec(item(scope), 64..=128)).prop_map(|(settings, items)| {
        let (schedule, steps_max) = (settings.target, STEPS_MAX);
        let mut lowering = Lowering { schedule, steps: Vec::new(), steps_max };
        lowering.items(&items, 0, PASSES_MAX);
        let hold = Step::Hold(DurationMs::from_ms(60_000).expect("in range"));
        lowering.steps.resize(STEPS_MAX - 1, hold);
        lowering.steps.push(Step::Finish);
        OwnTable { settings, steps: lowering.steps }
    })
}

/// A value of a kind, in base units.
pub fn value(scope: Scope, kind: Quantity) -> BoxedStrategy<u32> {
    let (min, max) = kind.range();
    let scale = kind.scale().unwrap_or([1; 4]);
    if scope == Scope::Everyday {
        return everyday(kind).prop_map(move |v| v.clamp(min, max)).boxed();
    }
    let round = (0..4_usize, any::<u32>())
        .prop_map(move |(unit, n)| n % (max / scale[unit]).saturating_add(1) * scale[unit]);
    // Where a varint grows by a byte, less the two bits of the unit.
    let edges = (0..4_usize, 0..5_u32, 0..3_u32).prop_map(move |(unit, bytes, step)| {
        ((1_u32 << (7 * bytes)) >> 2)
            .saturating_add(step)
            .saturating_sub(1)
            .saturating_mul(scale[unit])
    });
    prop_oneof![
        1 => Just(min),
        1 => Just(max),
        3 => round,
        2 => edges,
        3 => min..=max,
    ]
    .prop_map(move |v| {
        let v = v.clamp(min, max);
        // Large values go in whole second units only.
        if kind.check(v.into()).is_ok() { v } else { v - v % scale[1] }
    })
    .boxed()
}

fn everyday(kind: Quantity) -> BoxedStrategy<u32> {
    let minutes = |n: core::ops::Range<u32>| n.prop_map(|m| m * 60_000).boxed();
    match kind {
        Quantity::Duration => prop_oneof![minutes(1..60), minutes(1..600)].boxed(),
        Quantity::TimeOfDay => {
            prop_oneof![(0..96_u32).prop_map(|q| q * 900_000), minutes(0..1_440)].boxed()
        }
        Quantity::Date => (9_921..9_935_u32).boxed(), // 1 to 14 March 2027
        Quantity::CycleDays => (1..8_u32).boxed(),
        Quantity::Passes => (2..5_u32).boxed(),
        Quantity::Flow => (1..51_u32).prop_map(|n| n * 100_000).boxed(),
        Quantity::Pressure => (1..51_u32).prop_map(|n| n * 100).boxed(),
        Quantity::Volume => (1..101_u32).prop_map(|n| n * 500).boxed(),
        Quantity::LateTolerance | Quantity::ResumeWithin | Quantity::RetryEvery => {
            prop_oneof![(5..90_u32).prop_map(|s| s * 1_000), minutes(1..120)].boxed()
        }
        Quantity::TripGrace => minutes(1..10),
        Quantity::RetryTimes => (1..6_u32).boxed(),
        Quantity::UtcOffset => (20..93_u32).boxed(),
        other => (other.range().0..=other.range().1).boxed(),
    }
}

/// A target: mostly flow.
pub fn target(scope: Scope) -> impl Strategy<Value = Target> {
    let flow = value(scope, Quantity::Flow)
        .prop_map(|v| Target::flow(Flow::from_ul_per_min(v).expect("in range")));
    let pressure = value(scope, Quantity::Pressure)
        .prop_map(|v| Target::pressure(Pressure::from_pa(v).expect("in range")));
    prop_oneof![3 => flow, 1 => pressure]
}

/// A UTC offset.
pub fn utc_offset(scope: Scope) -> impl Strategy<Value = UtcOffset> {
    value(scope, Quantity::UtcOffset)
        .prop_map(|v| UtcOffset::from_quarter_hours(v as i8 - 48).expect("in range"))
}

/// Settings, each a default about half the time.
pub fn settings(scope: Scope) -> impl Strategy<Value = Settings> {
    (
        (utc_offset(scope), target(scope), name()),
        option::of((date(scope), time(scope))),
        option::of(value(scope, Quantity::LateTolerance)),
        option::of(outage(scope)),
        option::of(fault(scope)),
        option::of(limits(scope)),
    )
        .prop_map(
            |((utc_offset, target, name), start_by, tolerance, outage, fault, limits)| {
                let mut s = Settings::new(utc_offset, target);
                s.name = name;
                s.start_by = start_by.map(|(date, time)| Civil { date, time });
                if let Some(ms) = tolerance {
                    s.late_tolerance = LateTolerance::from_ms(ms).expect("in range");
                }
                s.outage = outage.unwrap_or(s.outage);
                s.fault = fault.unwrap_or(s.fault);
                s.limits = limits.unwrap_or(s.limits);
                s
            },
        )
}

/// A name: mostly letters and signs, also what a text file or a screen could stumble over. All of it is
/// legal: any character but the control ones.
pub fn name() -> impl Strategy<Value = Name> {
    let odd = prop_oneof![
        3 => select(ODD.chars().collect::<Vec<_>>()),
        1 => any::<char>().prop_filter("control", |c| !c.is_control()),
    ];
    let odd = vec(odd, 0..=Name::MAX_BYTES).prop_map(String::from_iter);
    let cut = |mut text: String| {
        while text.len() > Name::MAX_BYTES {
            text.pop();
        }
        Name::new(&text).expect("short, and nothing that controls")
    };
    prop_oneof![
        2 => Just(Name::EMPTY),
        1 => "\\PC{0,24}".prop_map(cut),
        1 => odd.prop_map(cut),
    ]
}

/// Quotes, escapes and other signs of TOML; spaces of several kinds; a mark that turns the line around, one of
/// byte order, one that joins, one that stacks; the last characters before and after the surrogates.
const ODD: &str =
    "\"'\\#=[]{},.\u{a0} \u{2028}\u{202e}\u{feff}\u{200d}\u{301}\u{d7ff}\u{e000}\u{fffd}\u{10ffff}";

fn outage(scope: Scope) -> impl Strategy<Value = Outage> {
    let resume =
        (value(scope, Quantity::ResumeWithin), any::<bool>()).prop_map(|(ms, while_charging)| {
            Resume { within: ResumeWithin::from_ms(ms).expect("in range"), while_charging }
        });
    (resume, 0..3).prop_map(|(resume, kind)| match kind {
        0 => Outage::KeepStopTime(resume),
        1 => Outage::MakeUpTime(resume),
        _ => Outage::Abandon,
    })
}

fn fault(scope: Scope) -> impl Strategy<Value = Fault> {
    let retry =
        (value(scope, Quantity::RetryEvery), 1..=u8::MAX).prop_map(|(ms, times)| Fault::Retry {
            every: RetryEvery::from_ms(ms).expect("in range"),
            times: times.try_into().expect("not zero"),
        });
    prop_oneof![retry, Just(Fault::Close)]
}

fn limits(scope: Scope) -> impl Strategy<Value = Limits> {
    let grace = value(scope, Quantity::TripGrace);
    let at_most = option::of(value(scope, Quantity::Pressure));
    (1..=50_u32, grace, at_most).prop_map(|(percent, grace, at_most)| Limits {
        trip: TripPercent::from_percent(percent).expect("in range"),
        grace: TripGrace::from_ms(grace).expect("in range"),
        pressure_at_most: at_most.map(|pa| Pressure::from_pa(pa).expect("in range")),
    })
}

fn date(scope: Scope) -> impl Strategy<Value = Date> {
    value(scope, Quantity::Date).prop_map(|v| Date::from_days(v as u16).expect("in range"))
}

fn time(scope: Scope) -> impl Strategy<Value = TimeOfDay> {
    value(scope, Quantity::TimeOfDay).prop_map(|v| TimeOfDay::from_ms(v).expect("in range"))
}

fn duration(scope: Scope) -> impl Strategy<Value = DurationMs> {
    value(scope, Quantity::Duration).prop_map(|v| DurationMs::from_ms(v).expect("in range"))
}

/// A branch or leaf of the tree.
#[derive(Clone, Debug)]
enum Item {
    One(Step),
    Repeat { body: Vec<Item>, passes: u16, sampler: Sampler },
}

fn item(scope: Scope) -> impl Strategy<Value = Item> {
    let leaf = prop_oneof![2 => wait(scope), 3 => doing(scope)].prop_map(Item::One);
    leaf.prop_recursive(DEPTH_MAX as u32, 16, 4, move |inner| {
        (vec(inner, 1..5), value(scope, Quantity::Passes), sampler()).prop_map(
            |(body, passes, sampler)| Item::Repeat { body, passes: passes as u16, sampler },
        )
    })
}

/// One wait step.
pub fn wait(scope: Scope) -> impl Strategy<Value = Step> {
    let cycle = (date(scope), value(scope, Quantity::CycleDays))
        .prop_map(|(from, every)| Cycle::new(from, every as u16).expect("in range"));
    prop_oneof![
        3 => time(scope).prop_map(Step::WaitForTime),
        1 => date(scope).prop_map(Step::WaitForDate),
        1 => (1..128_u8).prop_map(|b| Step::WaitForWeekday(Weekdays::from_bits(b).expect("in range"))),
        1 => cycle.prop_map(Step::WaitForCycleDay),
    ]
}

/// One pumping step or hold.
pub fn doing(scope: Scope) -> impl Strategy<Value = Step> {
    let own = || option::weighted(0.3, target(scope));
    let volume = value(scope, Quantity::Volume).prop_map(|v| Volume::from_ml(v).expect("in range"));
    let then = prop_oneof![Just(Then::Continue), Just(Then::Close)];
    prop_oneof![
        3 => (duration(scope), own()).prop_map(|(run, target)| Step::RunFor { run, target }),
        2 => (time(scope), duration(scope), own())
            .prop_map(|(time, at_most, target)| Step::RunUntil { time, at_most, target }),
        2 => (volume, duration(scope), own())
            .prop_map(|(volume, at_most, target)| Step::DrawVolume { volume, at_most, target }),
        1 => duration(scope).prop_map(Step::Hold),
        1 => (duration(scope), then)
            .prop_map(|(at_most, then)| Step::HoldUntilResumed { at_most, then }),
    ]
}

fn sampler() -> impl Strategy<Value = Sampler> {
    prop_oneof![Just(Sampler::Same), Just(Sampler::Fresh), Just(Sampler::FreshConfirmed)]
}

/// Writes a tree out as steps.
struct Lowering {
    schedule: Target,
    steps: Vec<Step>,
    steps_max: usize,
}

impl Lowering {
    fn items(&mut self, items: &[Item], depth: usize, passes_left: u32) {
        for item in items {
            match item {
                Item::One(step) => self.one(*step, depth),
                Item::Repeat { body, passes, sampler } => {
                    let passes = u32::from(*passes).min(passes_left);
                    if depth < DEPTH_MAX && passes >= 2 && self.room() >= 3 {
                        self.repeat(body, passes, *sampler, depth, passes_left);
                    } else {
                        self.items(body, depth, passes_left);
                    }
                }
            }
        }
    }

    /// Steps that still fit, `finish` not counted.
    fn room(&self) -> usize {
        self.steps_max.saturating_sub(self.steps.len() + 1)
    }

    fn one(&mut self, step: Step, depth: usize) {
        if self.room() == 0 || (depth > 0 && matches!(step, Step::WaitForDate(_))) {
            return;
        }
        self.steps.push(without_same_target(step, self.schedule));
        if !self.legal() {
            self.steps.pop();
        }
    }

    fn repeat(
        &mut self,
        body: &[Item],
        passes: u32,
        sampler: Sampler,
        depth: usize,
        passes_left: u32,
    ) {
        let start = self.steps.len();
        let steps_max = self.steps_max;
        let hold = Step::Hold(DurationMs::from_ms(60_000).expect("in range"));
        // A body that would go back into the middle of a group of waits is set apart by a hold.
        for apart in [false, true] {
            self.steps.truncate(start);
            if apart {
                self.steps.push(hold);
            }
            let from = self.steps.len();
            self.steps_max = steps_max - 1; // room for the repeat itself
            self.items(body, depth + 1, passes_left / passes);
            if self.steps.len() == from && self.room() > 0 {
                self.steps.push(hold);
            }
            self.steps_max = steps_max;
            self.steps.push(Step::Repeat {
                from: StepNo::at(from),
                passes: Passes::new(passes.min(65_535) as u16).expect("in range"),
                sampler,
            });
            if self.legal() {
                return;
            }
        }
        self.steps.truncate(start);
    }

    fn legal(&self) -> bool {
        let settings = Settings::new(UtcOffset::UTC, self.schedule);
        let mut steps = self.steps.clone();
        steps.push(Step::Finish);
        TableRef::new(&settings, &steps).is_ok()
    }
}

/// The step, without an own target that is the schedule's.
fn without_same_target(mut step: Step, schedule: Target) -> Step {
    if let Step::RunFor { target, .. }
    | Step::RunUntil { target, .. }
    | Step::DrawVolume { target, .. } = &mut step
        && *target == Some(schedule)
    {
        *target = None;
    }
    step
}
