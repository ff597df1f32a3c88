//! The static rules of a table, the same on host and device.
//!
//! *Table rules* say what a schedule is; decoding applies them and nothing gets past them.

use core::fmt;

use crate::repeats::{Around, group_start, number};
use crate::step::{Step, StepNo};
use crate::waits::can_be_met;

/// The most steps that a table of any capacity holds.
pub const STEPS_MAX: usize = 255;
/// The largest product of passes along a nesting of repeats.
pub const PASSES_MAX: u32 = 65_536;
/// How many repeats may be inside each other.
pub const DEPTH_MAX: usize = 4;

/// A table rule that a table breaks, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct TableFault {
    /// The step at which the rule is broken.
    pub step: StepNo,
    /// The rule.
    pub rule: TableRule,
}

/// The table rules. Their order is the order in which they are looked at, step by step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
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
