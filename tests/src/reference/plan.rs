//! A plan as a tree: repeats hold their bodies.

use draught::calendar;
use draught::step::{self, Step};
use draught::table::{self, TableRef};
use draught::units::{Target, TargetKind};
use jiff::civil::{Date, Weekday};
use jiff::tz::Offset;

use super::civil::{CivilClock, date_of};
use super::{Ml, Ms};

/// The number of a step, from 1.
pub type No = u8;

/// Everything the reference needs to know of a schedule.
#[derive(Clone, Debug)]
pub struct Plan {
    /// How civil dates and times are read.
    pub clock: CivilClock,
    /// The latest instant at which the first pumping may be due.
    pub start_by: Option<Ms>,
    /// How late an appointment may be met.
    pub tolerance: Ms,
    /// The steps.
    pub body: Vec<Node>,
    /// Whether it cannot be armed without a wall clock.
    pub needs_wall: bool,
    /// Whether there is a repeat that asks for confirmed samplers.
    pub asks_for_samplers: bool,
    /// What a limit that trips does.
    pub on_trip: OnTrip,
    /// What an outage does to a pumping step.
    pub on_outage: OnOutage,
}

/// What a limit that trips does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnTrip {
    /// The pass is over.
    GiveUpPass,
    /// The pump rests for so long, so often in one step, before the pass is given up.
    Rest(Ms, u32),
    /// The event is over.
    GiveUp,
}

/// What an outage does to a pumping step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnOutage {
    /// It ends when it would have ended without; unless the outage was longer than this.
    SameEnd(Ms),
    /// It pumps as long as it would have without; unless the outage was longer than this.
    SameLength(Ms),
    /// The event is over.
    GiveUp,
}

/// What the pump keeps constant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keep {
    /// A flow, in µL/min.
    Flow(i128),
    /// A pressure, in Pa.
    Pressure(i128),
}

/// A step, or a repeat with all its steps.
#[derive(Clone, Debug)]
pub enum Node {
    /// One condition of an appointment.
    Wait {
        /// Its number.
        no: No,
        /// What must hold.
        until: Condition,
        /// Whether the step written after it is a wait too.
        goes_on: bool,
    },
    /// A pumping step.
    Pump {
        /// Its number.
        no: No,
        /// What the pump keeps constant.
        keep: Keep,
        /// When it stops.
        stop: Stop,
    },
    /// A hold of a fixed length.
    Hold {
        /// Its number.
        no: No,
        /// How long.
        lasts: Ms,
    },
    /// A hold that the operator ends.
    HoldForOperator {
        /// Its number.
        no: No,
        /// How long it waits for the operator.
        at_most: Ms,
        /// Whether the event ends when nobody came.
        closes: bool,
    },
    /// A repeat.
    Again {
        /// The number of the repeat step.
        no: No,
        /// The steps it repeats.
        body: Vec<Node>,
        /// How often in all.
        passes: u32,
        /// Through which sampler.
        sampler: Sampler,
    },
    /// The end.
    Finish,
}

/// A condition of an appointment.
#[derive(Clone, Debug)]
pub enum Condition {
    /// The civil date.
    On(Date),
    /// The civil weekday.
    OnOneOf(Vec<Weekday>),
    /// The day of a cycle.
    EveryFrom(Date, i32),
    /// The civil time of day, in ms after midnight.
    At(Ms),
}

/// When a pumping step stops.
#[derive(Clone, Copy, Debug)]
pub enum Stop {
    /// After a time.
    After(Ms),
    /// At a civil time of day (ms after midnight), at most so far from where the plan stands.
    At(Ms, Ms),
    /// At a volume, after a time at the latest.
    Drawn(Ml, Ms),
}

/// Which sampler the next pass draws through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampler {
    /// The same.
    Same,
    /// A fresh one.
    Fresh,
    /// A fresh one that somebody has confirmed.
    Confirmed,
}

impl Plan {
    /// Reads a core table.
    #[must_use]
    pub fn of(table: TableRef<'_>) -> Self {
        let (steps, settings) = (table.steps(), table.settings());
        let offset = Offset::from_seconds(i32::from(settings.utc_offset.quarter_hours()) * 900);
        let clock = CivilClock::new(offset.expect("an offset of at most 14 h"));
        let start_by =
            settings.start_by.map(|c| clock.instant(date_of(c.date), c.time.as_ms().into()));
        Self {
            start_by,
            tolerance: settings.late_tolerance.as_ms().into(),
            body: tree(steps, 0, steps.len(), settings.target),
            needs_wall: start_by.is_some() || steps.iter().any(needs_wall),
            asks_for_samplers: steps
                .iter()
                .any(|s| matches!(s, Step::Repeat { sampler: step::Sampler::FreshConfirmed, .. })),
            clock,
            on_trip: match settings.fault {
                table::Fault::Stop => OnTrip::GiveUpPass,
                table::Fault::Retry { every, times } => {
                    OnTrip::Rest(every.as_ms().into(), times.get().into())
                }
                table::Fault::Close => OnTrip::GiveUp,
            },
            on_outage: match settings.outage {
                table::Outage::KeepStopTime(r) => OnOutage::SameEnd(r.within.as_ms().into()),
                table::Outage::MakeUpTime(r) => OnOutage::SameLength(r.within.as_ms().into()),
                table::Outage::Abandon => OnOutage::GiveUp,
            },
        }
    }
}

fn needs_wall(step: &Step) -> bool {
    is_wait(step) || matches!(step, Step::RunUntil { .. })
}

fn is_wait(step: &Step) -> bool {
    condition(step).is_some()
}

/// The steps from `from` up to `to`, read from the end so that outer repeats come before inner ones.
fn tree(steps: &[Step], from: usize, to: usize, target: Target) -> Vec<Node> {
    let mut nodes = Vec::new();
    let mut end = to;
    while end > from {
        let at = end - 1;
        let no = No::try_from(end).expect("at most 255 steps");
        let own = |t: &Option<Target>| keep(t.unwrap_or(target));
        end = at;
        nodes.push(match &steps[at] {
            Step::RunFor { run, target } => {
                Node::Pump { no, keep: own(target), stop: Stop::After(run.as_ms().into()) }
            }
            Step::RunUntil { time, at_most, target } => Node::Pump {
                no,
                keep: own(target),
                stop: Stop::At(time.as_ms().into(), at_most.as_ms().into()),
            },
            Step::DrawVolume { volume, at_most, target } => Node::Pump {
                no,
                keep: own(target),
                stop: Stop::Drawn(Ml::from(i128::from(volume.as_ml())), at_most.as_ms().into()),
            },
            Step::Hold(lasts) => Node::Hold { no, lasts: lasts.as_ms().into() },
            Step::HoldUntilResumed { at_most, then } => Node::HoldForOperator {
                no,
                at_most: at_most.as_ms().into(),
                closes: *then == step::Then::Close,
            },
            Step::Repeat { from: first, passes, sampler } => {
                end = usize::from(first.get()) - 1;
                Node::Again {
                    no,
                    body: tree(steps, end, at, target),
                    passes: passes.get().into(),
                    sampler: match sampler {
                        step::Sampler::Same => Sampler::Same,
                        step::Sampler::Fresh => Sampler::Fresh,
                        step::Sampler::FreshConfirmed => Sampler::Confirmed,
                    },
                }
            }
            Step::Finish => Node::Finish,
            wait => Node::Wait {
                no,
                until: condition(wait).expect("every other kind is above"),
                goes_on: steps.get(at + 1).is_some_and(is_wait),
            },
        });
    }
    nodes.reverse();
    nodes
}

fn condition(step: &Step) -> Option<Condition> {
    Some(match step {
        Step::WaitForDate(d) => Condition::On(date_of(*d)),
        Step::WaitForTime(t) => Condition::At(t.as_ms().into()),
        Step::WaitForWeekday(set) => Condition::OnOneOf(
            calendar::Weekday::ALL
                .into_iter()
                .filter(|d| set.contains(*d))
                .map(|d| Weekday::from_monday_zero_offset(d as i8).expect("Monday is 0, Sunday 6"))
                .collect(),
        ),
        Step::WaitForCycleDay(c) => Condition::EveryFrom(date_of(c.from()), c.every().into()),
        _ => return None,
    })
}

/// A core target in these words.
#[must_use]
pub fn keep(target: Target) -> Keep {
    match target.kind() {
        TargetKind::Flow(f) => Keep::Flow(f.ul_per_min().into()),
        TargetKind::Pressure(p) => Keep::Pressure(p.as_pa().into()),
    }
}
