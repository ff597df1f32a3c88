//! Uncertainty budgets, as they are shown.

use super::laboratory::{Budget, Term};
use crate::hygiene::uncertainty;

/// Of what a budget is, and where its terms come from, by their names.
pub(super) fn shown(
    of: &str,
    unit: &str,
    budget: &uncertainty::Budget,
    sources: &[(&str, String)],
) -> Budget {
    let percent = |x: f64| if budget.result == 0.0 { 0.0 } else { 100.0 * x / budget.result.abs() };
    Budget {
        of: of.to_owned(),
        value: budget.result,
        unit: unit.to_owned(),
        terms: budget
            .lines
            .iter()
            // What was taken as nothing, because another term holds it.
            .filter(|line| line.contribution > 0.0)
            .map(|line| Term {
                name: line.term.name.clone(),
                value: line.term.spread.stated(),
                unit: line.term.unit.to_owned(),
                distribution: line.term.spread.words().to_owned(),
                divisor: line.term.spread.divisor(),
                sensitivity: line.term.sensitivity,
                degrees_of_freedom: line.term.spread.freedom(),
                standard_percent: percent(line.contribution),
                share_percent: line.share_percent,
                source: sources
                    .iter()
                    .find(|(name, _)| *name == line.term.name)
                    .map(|(_, s)| s.clone())
                    .unwrap_or_default(),
            })
            .collect(),
        combined: budget.combined,
        combined_percent: percent(budget.combined),
        degrees_of_freedom: budget.freedom,
        k: budget.k,
        expanded: budget.expanded,
        expanded_percent: percent(budget.expanded),
    }
}

/// The share of values that an expanded uncertainty is meant to hold.
pub(super) const COVERAGE: f64 = 0.95;
