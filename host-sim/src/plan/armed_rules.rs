//! Why a schedule cannot be armed, told about the plan.

use draught::clock::WallMs;
use draught::event::LostCause;
use draught::machine::ArmRefused;
use draught::step::{Step, StepNo};

use super::finding::Finding;
use super::read::Plan;
use super::ready::ArmedAt;
use super::site::SiteTime;
use super::when;

pub(super) fn finding(
    plan: &Plan,
    refused: ArmRefused,
    time: &SiteTime,
    armed: WallMs,
    armed_at: ArmedAt,
) -> Finding {
    let armed_text = match armed_at {
        ArmedAt::Now(_) => format!("armed now, {} {}", time.stamp_short(armed), time.short_label()),
        _ => format!("armed {} {}", time.stamp_short(armed), time.short_label()),
    };
    let another = "to look at it as of another moment, give --armed-at";
    let error = |message: &str| Finding::error(refused.code(), message);
    let at = |finding: Finding, step: StepNo, label: &str| match plan.steps.get(step.index()) {
        Some(s) => finding.step(Some(step)).at(s.action.clone(), label),
        None => finding,
    };
    match refused {
        ArmRefused::NoSuchInstant { step } => {
            let group: Vec<StepNo> = (0..=step.index())
                .rev()
                .take_while(|i| plan.steps.get(*i).is_some_and(|s| s.step.is_wait()))
                .map(StepNo::at)
                .collect();
            // The date is what is over, where there is one.
            let date = group.iter().find(|n| {
                matches!(plan.steps.get(n.index()).map(|s| s.step), Some(Step::WaitForDate(_)))
            });
            let past = date.and_then(|n| match plan.steps.get(n.index())?.step {
                Step::WaitForDate(d) => Some(d < time.offset.civil(armed)?.date),
                _ => None,
            });
            let label = match past {
                Some(true) => "this day is over",
                Some(false) => "this day's time is over",
                None => "no such instant",
            };
            let mut found = at(
                error("no instant from now on satisfies these waits"),
                *date.unwrap_or(&step),
                label,
            );
            for other in group.iter().rev().filter(|n| **n != *date.unwrap_or(&step)) {
                found = at(found, *other, "").step(Some(*date.unwrap_or(&step)));
            }
            found.note(armed_text).help(format!("choose a later day; {another}"))
        }
        ArmRefused::StartsTooLate { due, start_by } => {
            let limit =
                format!("{} {}", when::date_text(start_by.date), when::time_text(start_by.time));
            let due = due.map_or("later".to_owned(), |w| time.stamp_short(w));
            error("the first start would be later than start-by allows")
                .at(
                    plan.start_by.clone().unwrap_or(0..0),
                    format!("the first start would be {due}"),
                )
                .note(format!("{armed_text}, start-by {limit}"))
                .help(format!("arm it earlier, or move start-by; {another}"))
        }
        ArmRefused::RunLost { step, cause } => {
            let (label, help) = lost(cause);
            at(error("this run-until would be passed over, and nothing else pumps"), step, label)
                .note(armed_text)
                .help(help)
        }
        ArmRefused::NothingPumps => error("nothing in this plan pumps")
            .at(plan.steps.first().map_or(0..0, |s| s.span.clone()), "no step from here on pumps")
            .help("add a step such as { run-for = \"4 h\" }"),
        ArmRefused::TooFarAhead => error("the first pumping lies too many waits and holds ahead")
            .at(plan.steps.first().map_or(0..0, |s| s.span.clone()), "more than 4,096 of them")
            .help("put the pumping step before the repeat, or wait less often"),
        other => Finding::error(other.code(), other.to_string()).at(plan.target.clone(), ""),
    }
}

/// What is said of a run-until that is passed over: at the step, and what to do.
pub(super) const fn lost(cause: LostCause) -> (&'static str, &'static str) {
    match cause {
        LostCause::TooFar => (
            "this time of day is further off than its at-most",
            "raise at-most, or start closer to this time",
        ),
        LostCause::Past => (
            "this time of day is already over",
            "shorten the steps before it, or stop at a later time",
        ),
    }
}
