//! The static rules of a table, the same on host and device.
//!
//! *Table rules* say what a schedule is; decoding applies them and nothing gets past them. *Fit rules*
//! ([`fit`]) say whether this pump can do it; loading and arming apply those.

use core::fmt;

use crate::repeats::{Around, group_start, number};
use crate::step::{Step, StepNo};
use crate::table::TableRef;
use crate::units::{Flow, Pressure, TargetKind};
use crate::waits::can_be_met;

/// The most steps that a table of any capacity holds.
pub const STEPS_MAX: usize = 255;
/// The largest product of passes along a nesting of repeats.
pub const PASSES_MAX: u32 = 65_536;
/// How many repeats may be inside each other.
pub const DEPTH_MAX: usize = 4;

/// A table rule that a table breaks, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TableFault {
    /// The step at which the rule is broken.
    pub step: StepNo,
    /// The rule.
    pub rule: TableRule,
}

/// The table rules. Their order is the order in which they are looked at, step by step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum TableRule {
    /// The last step is not `finish`, there is no step at all, or there is none among the first
    /// [`STEPS_MAX`].
    NoFinish,
    /// A step stands after `finish`.
    AfterFinish,
    /// Two waits of one kind in one group.
    SameWaitTwice,
    /// No day satisfies all waits of the group.
    NeverMet,
    /// A repeat goes back to itself or to a later step.
    RepeatForward,
    /// Two repeats cross: their bodies neither nest nor stay apart.
    RepeatCrosses,
    /// More than [`DEPTH_MAX`] repeats inside each other.
    TooDeep,
    /// Passes multiplied along the nesting exceed [`PASSES_MAX`].
    TooManyPasses,
    /// A repeat goes back into the middle of a group of waits, past more than a wait-for-date.
    EntersWaits,
    /// A wait-for-date in the body of a repeat: it could be met once only.
    DateRepeats,
}

impl TableRule {
    /// The stable code, as in vectors and on screens.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoFinish => "no-finish",
            Self::AfterFinish => "after-finish",
            Self::SameWaitTwice => "same-wait-twice",
            Self::NeverMet => "never-met",
            Self::RepeatForward => "repeat-forward",
            Self::RepeatCrosses => "repeat-crosses",
            Self::TooDeep => "too-deep",
            Self::TooManyPasses => "too-many-passes",
            Self::EntersWaits => "enters-waits",
            Self::DateRepeats => "date-repeats",
        }
    }

    /// What is wrong, in one sentence with the limit.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NoFinish => "the last step must be finish",
            Self::AfterFinish => "nothing may stand after finish",
            Self::SameWaitTwice => "consecutive waits may hold one of each kind",
            Self::NeverMet => "no day satisfies all of these waits",
            Self::RepeatForward => "a repeat must go back to an earlier step",
            Self::RepeatCrosses => "two repeats must be one inside the other, or apart",
            Self::TooDeep => "at most 4 repeats may be inside each other",
            Self::TooManyPasses => "passes multiplied along the nesting may be at most 65,536",
            Self::EntersWaits => {
                "a repeat may enter a group of waits only at its start or right after its wait-for-date"
            }
            Self::DateRepeats => "a wait-for-date cannot be repeated: it is met once",
        }
    }
}

impl fmt::Display for TableFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "step {}: {} ({})", self.step.get(), self.rule.sentence(), self.rule.code())
    }
}

impl core::error::Error for TableFault {}

/// Checks every table rule; the first broken one, in order of steps, is the answer.
#[inline(never)]
pub(crate) fn table_rules(steps: &[Step]) -> Result<(), TableFault> {
    if steps.len() > STEPS_MAX {
        let step = number(STEPS_MAX.saturating_sub(1));
        return Err(TableFault { step, rule: TableRule::NoFinish });
    }
    let mut finished = false;
    let mut at = 0;
    for (index, step) in (0..steps.len()).zip(steps) {
        at = index;
        let broken = match step {
            _ if finished => Some(TableRule::AfterFinish),
            Step::Repeat { from, .. } => repeat_rules(steps, from.index(), index),
            step if step.is_wait() => wait_rules(steps, index),
            step => {
                finished = matches!(step, Step::Finish);
                None
            }
        };
        if let Some(rule) = broken {
            return Err(TableFault { step: number(index), rule });
        }
    }
    if finished { Ok(()) } else { Err(TableFault { step: number(at), rule: TableRule::NoFinish }) }
}

#[inline(never)]
fn wait_rules(steps: &[Step], index: usize) -> Option<TableRule> {
    let group = steps.get(group_start(steps, index)..=index)?;
    let (own, earlier) = group.split_last()?;
    if earlier.iter().any(|s| core::mem::discriminant(s) == core::mem::discriminant(own)) {
        return Some(TableRule::SameWaitTwice);
    }
    (!can_be_met(group)).then_some(TableRule::NeverMet)
}

/// The rules of a repeat at `index` whose body begins at `from`.
///
/// That the body takes time needs no rule: one in which nothing does holds repeats only, and the first of them
/// goes back to before the body, so it crosses.
#[inline(never)]
fn repeat_rules(steps: &[Step], from: usize, index: usize) -> Option<TableRule> {
    if from >= index {
        return Some(TableRule::RepeatForward);
    }
    let so_far = steps.get(..=index)?;
    let mut broken = None;
    for i in from..index {
        let around = Around::of(so_far, i);
        if around.depth > DEPTH_MAX {
            broken = earlier(broken, TableRule::TooDeep);
        }
        if around.passes > PASSES_MAX {
            broken = earlier(broken, TableRule::TooManyPasses);
        }
        match steps.get(i)? {
            // An earlier repeat that ends inside this body must begin inside it.
            Step::Repeat { from: inner, .. } if inner.index() < from => {
                broken = earlier(broken, TableRule::RepeatCrosses);
            }
            Step::WaitForDate(_) => broken = earlier(broken, TableRule::DateRepeats),
            _ => {}
        }
    }
    let left_out = steps.get(group_start(steps, from)..from)?;
    if steps.get(from)?.is_wait() && left_out.iter().any(|s| !matches!(s, Step::WaitForDate(_))) {
        broken = earlier(broken, TableRule::EntersWaits);
    }
    broken
}

/// Of two broken rules the one that is looked at first.
const fn earlier(known: Option<TableRule>, other: TableRule) -> Option<TableRule> {
    match known {
        Some(known) if (known as u8) < other as u8 => Some(known),
        _ => Some(other),
    }
}

/// What one pump can do. `None`: it cannot keep that constant at all.
///
/// ```
/// use draught::{audit::{fit, Fit, FitRule}, prelude::*};
/// let pump = Fit::flow_only(Flow::from_ul_per_min(1_000_000)?, Flow::from_ul_per_min(3_000_000)?);
/// let target = Target::flow(Flow::from_ul_per_min(5_000_000)?); // 5 L/min
/// let mut table = StepTable::<4>::new(Settings::new(UtcOffset::UTC, target));
/// table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
/// table.push(Step::Finish).unwrap();
/// let fault = fit(table.checked().unwrap(), &pump).unwrap_err();
/// assert_eq!(fault.rule, FitRule::FlowOutside { value: 5_000_000, min: 1_000_000, max: 3_000_000 });
/// # Ok::<(), draught::units::OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fit {
    /// Smallest and largest flow it keeps.
    pub flow: Option<(Flow, Flow)>,
    /// Smallest and largest pressure difference it keeps.
    pub pressure: Option<(Pressure, Pressure)>,
}

impl Fit {
    /// A pump that keeps flow only.
    #[must_use]
    pub const fn flow_only(min: Flow, max: Flow) -> Self {
        Self { flow: Some((min, max)), pressure: None }
    }

    /// A pump that can do anything: for looking at a schedule without a pump.
    pub const ANY: Self = Self {
        flow: Some((Flow::SMALLEST, Flow::LARGEST)),
        pressure: Some((Pressure::SMALLEST, Pressure::LARGEST)),
    };
}

/// A fit rule that a table breaks, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FitFault {
    /// The step whose own target does not fit; `None` for the schedule's.
    pub step: Option<StepNo>,
    /// The rule, with its limit.
    pub rule: FitRule,
}

/// The fit rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum FitRule {
    /// The flow lies outside what the pump keeps, in µL/min.
    FlowOutside {
        /// The flow that was asked for.
        value: u32,
        /// The smallest flow.
        min: u32,
        /// The largest flow.
        max: u32,
    },
    /// The pressure lies outside what the pump keeps, in Pa.
    PressureOutside {
        /// The pressure difference that was asked for.
        value: u32,
        /// The smallest pressure difference.
        min: u32,
        /// The largest pressure difference.
        max: u32,
    },
    /// The pump does not keep flow constant.
    NoFlowControl,
    /// The pump does not keep pressure constant.
    NoPressureControl,
}

impl FitRule {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::FlowOutside { .. } => "flow-outside",
            Self::PressureOutside { .. } => "pressure-outside",
            Self::NoFlowControl => "no-flow-control",
            Self::NoPressureControl => "no-pressure-control",
        }
    }
}

impl fmt::Display for FitFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.step {
            Some(step) => write!(f, "step {}: ", step.get())?,
            None => f.write_str("schedule: ")?,
        }
        match self.rule {
            FitRule::FlowOutside { value, min, max } => {
                write!(f, "{value} µL/min is outside the pump's {min} to {max} µL/min")?;
            }
            FitRule::PressureOutside { value, min, max } => {
                write!(f, "{value} Pa is outside the pump's {min} to {max} Pa")?;
            }
            FitRule::NoFlowControl => f.write_str("this pump does not keep flow constant")?,
            FitRule::NoPressureControl => {
                f.write_str("this pump does not keep pressure constant")?
            }
        }
        write!(f, " ({})", self.rule.code())
    }
}

impl core::error::Error for FitFault {}

/// Checks the fit rules: every target lies inside what the pump can do.
///
/// A schedule's own target is looked at only if some pumping step uses it.
///
/// # Errors
/// The first [`FitFault`], in order of steps.
pub fn fit(table: TableRef<'_>, pump: &Fit) -> Result<(), FitFault> {
    let mut number = StepNo::FIRST;
    for step in table.steps() {
        if step.is_pumping() {
            let own = step.own_target();
            let target = own.unwrap_or(table.settings().target);
            if let Some(rule) = target_fault(target.kind(), pump) {
                return Err(FitFault { step: own.map(|_| number), rule });
            }
        }
        number = number.next();
    }
    Ok(())
}

fn target_fault(target: TargetKind, pump: &Fit) -> Option<FitRule> {
    let (value, kept, is_flow) = match target {
        TargetKind::Flow(flow) => {
            let kept = pump.flow.map(|(min, max)| (min.ul_per_min(), max.ul_per_min()));
            (flow.ul_per_min(), kept, true)
        }
        TargetKind::Pressure(pressure) => {
            let kept = pump.pressure.map(|(min, max)| (min.as_pa(), max.as_pa()));
            (pressure.as_pa(), kept, false)
        }
    };
    match (kept, is_flow) {
        (None, true) => Some(FitRule::NoFlowControl),
        (None, false) => Some(FitRule::NoPressureControl),
        (Some((min, max)), _) if (min..=max).contains(&value) => None,
        (Some((min, max)), true) => Some(FitRule::FlowOutside { value, min, max }),
        (Some((min, max)), false) => Some(FitRule::PressureOutside { value, min, max }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::{Date, TimeOfDay, UtcOffset, Weekdays};
    use crate::step::{Cycle, Passes, Sampler};
    use crate::table::Settings;
    use crate::units::{DurationMs, Target};

    /// Why no rule says that a body takes time.
    #[test]
    fn a_table_of_repeats_only_is_refused() {
        let passes = Passes::new(2).unwrap();
        let back_to =
            |n| Step::Repeat { from: StepNo::new(n).unwrap(), passes, sampler: Sampler::Same };
        let kinds = [Step::Finish, back_to(1), back_to(2), back_to(3), back_to(4)];
        for a in kinds {
            for b in kinds {
                for c in kinds {
                    let refused = table_rules(&[a, b, c, Step::Finish]).is_err();
                    assert!(refused, "{a:?} {b:?} {c:?}");
                }
            }
        }
    }

    fn flow(ul_per_min: u32) -> Flow {
        Flow::from_ul_per_min(ul_per_min).unwrap()
    }

    fn pressure(pa: u32) -> Pressure {
        Pressure::from_pa(pa).unwrap()
    }

    /// A schedule of one run, with the schedule's target and one of its own.
    fn fits(schedule: Target, own: Option<Target>, pump: &Fit) -> Option<FitFault> {
        let settings = Settings::new(UtcOffset::UTC, schedule);
        let run = DurationMs::from_ms(1).unwrap();
        let steps = [Step::RunFor { run, target: own }, Step::Finish];
        fit(TableRef::new(&settings, &steps).unwrap(), pump).err()
    }

    #[test]
    fn the_ends_of_what_a_pump_can_do_belong_to_it() {
        let pump = Fit {
            flow: Some((flow(100), flow(200))),
            pressure: Some((pressure(10), pressure(20))),
        };
        for (ul_per_min, good) in [(99, false), (100, true), (200, true), (201, false)] {
            let fault = fits(Target::flow(flow(ul_per_min)), None, &pump);
            let rule = FitRule::FlowOutside { value: ul_per_min, min: 100, max: 200 };
            assert_eq!(fault, (!good).then_some(FitFault { step: None, rule }));
        }
        for (pa, good) in [(9, false), (10, true), (20, true), (21, false)] {
            let fault = fits(Target::pressure(pressure(pa)), None, &pump);
            let rule = FitRule::PressureOutside { value: pa, min: 10, max: 20 };
            assert_eq!(fault, (!good).then_some(FitFault { step: None, rule }));
        }
    }

    #[test]
    fn a_target_that_no_step_uses_is_not_looked_at() {
        let pump = Fit::flow_only(flow(100), flow(200));
        let own = Some(Target::flow(flow(150)));
        assert_eq!(fits(Target::pressure(pressure(5)), own, &pump), None);
        let fault = fits(Target::flow(flow(150)), Some(Target::pressure(pressure(5))), &pump);
        let rule = FitRule::NoPressureControl;
        assert_eq!(fault, Some(FitFault { step: Some(StepNo::FIRST), rule }));
    }

    #[test]
    fn a_repeat_enters_a_group_of_waits_past_a_date_only() {
        let passes = Passes::new(2).unwrap();
        let back_to =
            |n| Step::Repeat { from: StepNo::new(n).unwrap(), passes, sampler: Sampler::Same };
        let time = Step::WaitForTime(TimeOfDay::from_hms(8, 0, 0).unwrap());
        let run = Step::RunFor { run: DurationMs::from_ms(1).unwrap(), target: None };
        let past = |first| table_rules(&[first, time, run, back_to(2), Step::Finish]);
        assert_eq!(past(Step::WaitForDate(Date::from_days(9_000).unwrap())), Ok(()));
        let step = StepNo::new(4).unwrap();
        let refused = Err(TableFault { step, rule: TableRule::EntersWaits });
        assert_eq!(past(Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY)), refused);
        let from = Date::from_days(9_000).unwrap();
        assert_eq!(past(Step::WaitForCycleDay(Cycle::new(from, 6).unwrap())), refused);
    }
}
