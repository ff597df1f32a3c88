//! Two schedules compared in words: which setting or step, which field, what it was and what it is.
//!
//! Steps are matched before they are compared, so a step put in between changes nothing of those after
//! it. A repeat names a step by its number; where only that number has moved, with the step it names,
//! nothing has changed, and it is told apart from the changes.
//!
//! ```
//! use draught::prelude::*;
//! let minutes = |n: u32| DurationMs::from_ms(n * 60_000).unwrap();
//! let settings = Settings::new(UtcOffset::UTC, Target::flow(Flow::from_ul_per_min(2_000_000)?));
//! let old = [Step::Hold(minutes(5)), Step::RunFor { run: minutes(15), target: None }, Step::Finish];
//! let new = [Step::RunFor { run: minutes(20), target: None }, Step::Finish];
//! let old = TableRef::new(&settings, &old).unwrap();
//! let new = TableRef::new(&settings, &new).unwrap();
//!
//! let found = draught_sim::diff::diff(old, new);
//! assert_eq!((found.steps[0].change.word(), found.steps[0].old_step), ("removed", Some(1)));
//! let run = &found.steps[1].fields[0];
//! assert_eq!((run.old.as_deref(), run.new.as_deref()), (Some("15 min"), Some("20 min")));
//! assert!(draught_sim::diff::diff(old, old).is_empty());
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

use draught::step::{Step, StepNo};
use draught::table::TableRef;
use draught::wire::FieldName;
use serde::Serialize;

mod align;
mod fields;

use align::{Pair, Ties};

/// What differs between two schedules.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Diff {
    /// The settings that differ.
    pub settings: Vec<FieldChange>,
    /// The steps that were changed, added or removed, in order.
    pub steps: Vec<StepChange>,
    /// Repeats that go back to the same step as before, which has another number now.
    pub renumbered: Vec<Renumbered>,
}

/// A field that has another value, or is on one side only.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FieldChange {
    /// Which, as `docs/encoding.md` calls it.
    pub field: &'static str,
    /// What it was, as a plan writes it.
    pub old: Option<String>,
    /// What it is.
    pub new: Option<String>,
}

/// What happened to a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// It is in both, with other values.
    Changed,
    /// It is in the new schedule only.
    Added,
    /// It is in the old schedule only.
    Removed,
}

/// A step that differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StepChange {
    /// What happened to it.
    pub change: Change,
    /// Its number in the old schedule, if it was there.
    pub old_step: Option<u8>,
    /// Its number in the new one, if it is there.
    pub new_step: Option<u8>,
    /// What it does, such as `run-for`.
    pub what: &'static str,
    /// The fields that differ; of a step on one side, all of them.
    pub fields: Vec<FieldChange>,
}

/// A repeat whose first step has another number, and nothing else.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Renumbered {
    /// The number of the repeat in the old schedule.
    pub old_step: u8,
    /// Its number in the new one.
    pub new_step: u8,
    /// The step it went back to.
    pub old_from: u8,
    /// The same step's number in the new schedule.
    pub new_from: u8,
}

impl Change {
    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Added => "added",
            Self::Removed => "removed",
        }
    }
}

impl Diff {
    /// Whether both are the same schedule, so have the same bytes.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        // A number moves only where a step was added or removed.
        self.settings.is_empty() && self.steps.is_empty()
    }

    /// How many steps this happened to.
    #[must_use]
    pub fn count(&self, change: Change) -> usize {
        self.steps.iter().filter(|s| s.change == change).count()
    }

    /// How many values differ, to choose between two ways of telling the same.
    fn size(&self) -> usize {
        self.steps.iter().map(|s| s.fields.len().max(1)).sum()
    }
}

/// Compares two schedules.
#[must_use]
pub fn diff(old: TableRef<'_>, new: TableRef<'_>) -> Diff {
    let settings =
        fields::changes(fields::of_settings(old.settings()), fields::of_settings(new.settings()));
    // Of steps that are alike, which was added is a matter of choice: the one that leaves repeats alone.
    let told =
        |ties| steps(old, new, &align::pairs(old.steps(), new.steps(), &pair_cost(old, new), ties));
    let (early, late) = (told(Ties::PairEarly), told(Ties::PairLate));
    let steps = if late.size() < early.size() { late } else { early };
    Diff { settings, ..steps }
}

/// What it costs to tell one step as another, or `None` where they are of different kinds.
fn pair_cost(old: TableRef<'_>, new: TableRef<'_>) -> impl Fn(&Step, &Step) -> Option<u32> {
    let (old_target, new_target) = (old.settings().target, new.settings().target);
    move |a, b| {
        if fields::kind(a) != fields::kind(b) {
            return None;
        }
        // The first step of a repeat is compared when it is known which steps belong together.
        let differ =
            fields::changes(fields::of_step(a, old_target), fields::of_step(b, new_target))
                .iter()
                .filter(|f| f.field != FieldName::RepeatFrom.as_str())
                .count();
        Some(align::changed_cost(differ))
    }
}

fn steps(old: TableRef<'_>, new: TableRef<'_>, pairs: &[Pair]) -> Diff {
    let mut found = Diff::default();
    for pair in pairs {
        match *pair {
            Pair::Both(i, j) => {
                let (a, b) = (&old.steps()[i], &new.steps()[j]);
                let mut fields = fields::changes(
                    fields::of_step(a, old.settings().target),
                    fields::of_step(b, new.settings().target),
                );
                if let (Step::Repeat { from: was, .. }, Step::Repeat { from: is, .. }) = (a, b) {
                    fields.retain(|f| f.field != FieldName::RepeatFrom.as_str());
                    let same_step = pairs.contains(&Pair::Both(was.index(), is.index()));
                    if !same_step {
                        fields.insert(0, from_change(old, *was, new, *is));
                    } else if was != is {
                        found.renumbered.push(Renumbered {
                            old_step: number(i),
                            new_step: number(j),
                            old_from: was.get(),
                            new_from: is.get(),
                        });
                    }
                }
                if !fields.is_empty() {
                    found.steps.push(StepChange {
                        change: Change::Changed,
                        old_step: Some(number(i)),
                        new_step: Some(number(j)),
                        what: fields::kind(b),
                        fields,
                    });
                }
            }
            Pair::Old(i) => found.steps.push(one_sided(Change::Removed, old, i)),
            Pair::New(j) => found.steps.push(one_sided(Change::Added, new, j)),
        }
    }
    found
}

/// A repeat that goes back to another step: by number and kind, as the number alone may be the same.
fn from_change(old: TableRef<'_>, was: StepNo, new: TableRef<'_>, is: StepNo) -> FieldChange {
    let words = |table: TableRef<'_>, at: StepNo| {
        let kind = table.steps().get(at.index()).map_or("", fields::kind);
        Some(format!("step {}, {kind}", at.get()))
    };
    FieldChange { field: FieldName::RepeatFrom.as_str(), old: words(old, was), new: words(new, is) }
}

fn one_sided(change: Change, table: TableRef<'_>, index: usize) -> StepChange {
    let step = &table.steps()[index];
    let (added, at) = (change == Change::Added, Some(number(index)));
    let fields = fields::of_step(step, table.settings().target)
        .into_iter()
        .map(|f| FieldChange {
            field: f.name,
            old: f.words.clone().filter(|_| !added),
            new: f.words.filter(|_| added),
        })
        .collect();
    StepChange {
        change,
        old_step: at.filter(|_| !added),
        new_step: at.filter(|_| added),
        what: fields::kind(step),
        fields,
    }
}

fn number(index: usize) -> u8 {
    StepNo::at(index).get()
}

#[cfg(test)]
mod tests;
