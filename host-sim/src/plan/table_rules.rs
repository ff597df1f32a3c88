//! The core's table rules, told about the plan: where, what the limit is, what to do.

use draught::audit::{DEPTH_MAX, PASSES_MAX, TableFault, TableRule};
use draught::step::{Step, StepNo};
use draught::table::{StepTable, TableRef};
use draught::units::{DurationMs, Target};

use super::CAPACITY;
use super::finding::{Finding, Findings};
use super::format;
use super::read::Plan;
use super::site::Site;

/// Builds the table of a plan; one with a zone is at UTC until the first start is known.
///
/// Applies every table rule. The core names the first fault only; to find the rest, the step at
/// fault is put out of the way by a hold, which can break no rule itself, and the rest is looked at again.
pub(super) fn table(plan: &Plan, findings: &mut Findings) -> Option<StepTable<CAPACITY>> {
    let mut table = StepTable::new(plan.settings.clone());
    if let Site::Fixed(offset) = plan.site.value {
        table.settings_mut().utc_offset = offset;
    }
    for (index, step) in plan.steps.iter().enumerate() {
        let normal = normalised(step.step, plan.settings.target);
        if step.read && normal != step.step {
            let span = step.target.clone().unwrap_or(step.span.clone());
            findings.push(
                Finding::note_only(
                    "same-target",
                    "this is the plan's own target, and is left out of the step",
                )
                .step(Some(StepNo::at(index)))
                .at(span, "the same without it"),
            );
        }
        if table.push(normal).is_err() {
            findings.push(
                Finding::error(
                    "too-many-steps",
                    format!("a schedule holds {CAPACITY} steps at most"),
                )
                .at(step.span.clone(), format!("this is step {}", index + 1))
                .help("repeat what comes round again: { repeat-from = 1, passes = 5 }"),
            );
            return None;
        }
    }
    let faults = faults(plan, &table);
    let whole = faults.is_empty() && plan.steps.iter().all(|s| s.read);
    findings.extend(faults);
    whole.then_some(table)
}

/// The step, without a target that is the plan's own.
fn normalised(mut step: Step, plan_target: Target) -> Step {
    if let Step::RunFor { target, .. }
    | Step::RunUntil { target, .. }
    | Step::DrawVolume { target, .. } = &mut step
        && *target == Some(plan_target)
    {
        *target = None;
    }
    step
}

fn faults(plan: &Plan, table: &StepTable<CAPACITY>) -> Vec<Finding> {
    let Ok(minute) = DurationMs::from_ms(60_000) else { return Vec::new() };
    let mut steps = table.steps().to_vec();
    let mut found = Vec::new();
    while let Err(fault) = TableRef::new(table.settings(), &steps) {
        let at = fault.step.index();
        if fault.rule == TableRule::NoFinish {
            // A step that could not be read may have been the finish; no steps at all, and a finish in the
            // wrong place, were reported.
            let told = found.iter().any(|f: &Finding| f.code == TableRule::AfterFinish.code());
            if !told && plan.steps.last().is_some_and(|s| s.read) {
                found.push(finding(plan, &fault));
            }
            break;
        }
        found.push(finding(plan, &fault));
        // A step after finish is at fault for the finish before it.
        let culprit = if fault.rule == TableRule::AfterFinish { at.saturating_sub(1) } else { at };
        match steps.get_mut(culprit) {
            Some(step) if *step != Step::Hold(minute) => *step = Step::Hold(minute),
            _ => break,
        }
    }
    found
}

fn finding(plan: &Plan, fault: &TableFault) -> Finding {
    let index = fault.step.index();
    let error = Finding::error(fault.rule.code(), fault.rule.sentence()).step(Some(fault.step));
    let Some(step) = plan.steps.get(index) else { return error };
    let here = step.action.clone();
    let waits_before = || {
        let group = plan.steps[..index].iter().rev().take_while(|s| s.step.is_wait());
        group.map(|s| s.action.clone()).collect::<Vec<_>>()
    };
    match fault.rule {
        TableRule::NoFinish => {
            error.at(step.span.clone(), "the last step").help("add { finish = true } after it")
        }
        TableRule::AfterFinish => {
            error.at(step.span.clone(), "never reached").help("move { finish = true } to the end")
        }
        TableRule::SameWaitTwice => {
            let same = |s: &&super::read_steps::PlanStep| s.step.name() == step.step.name();
            let earlier = plan.steps[..index].iter().rev().find(same).map(|s| s.action.clone());
            let error = error.at(here, "the second of its kind");
            let error = match earlier {
                Some(span) => error.at(span, "the first"),
                None => error,
            };
            error
                .note("waits that follow each other form one appointment: all must be met at one instant")
                .help("delete one; for two appointments, put a pumping step between them")
        }
        TableRule::NeverMet => {
            let mut error = error.at(here, "cannot be met together with the others");
            for span in waits_before() {
                error = error.at(span, "");
            }
            error
                .note("waits that follow each other form one appointment: all must be met at one instant")
                .help("check the weekday of the date, or delete one of these steps")
        }
        TableRule::RepeatForward => error
            .at(here, format!("this is step {}", fault.step.get()))
            .help(format!("name a step from 1 to {}", index.max(1))),
        TableRule::RepeatCrosses => {
            let from = repeat_from(step.step);
            let crossed = plan.steps[..index]
                .iter()
                .find(|s| repeat_from(s.step).is_some_and(|f| Some(f) < from));
            let error = error.at(here, "goes back into another repeat");
            let error = match crossed {
                Some(other) => error.at(other.action.clone(), "which begins before it"),
                None => error,
            };
            error.help("let this one go back to the start of the other, or to a step after it")
        }
        TableRule::TooDeep => error
            .at(here, format!("repeat number {} around the same step", DEPTH_MAX + 1))
            .help("put passes of one repeat into another: 3 passes of 4 passes are 12 passes"),
        TableRule::TooManyPasses => error
            .at(here, format!("at most {} in all", format::grouped(u64::from(PASSES_MAX))))
            .help("repeat less often, or make each pass longer"),
        TableRule::EntersWaits => {
            let from = repeat_from(step.step).map_or(0, StepNo::index);
            let error = error.at(here, "goes back into the middle of an appointment");
            match plan.steps.get(from) {
                Some(target) => error.at(target.action.clone(), "the middle"),
                None => error,
            }
            .help("go back to the first wait of the group, or put a date first and go back to the wait after it")
        }
        TableRule::DateRepeats => {
            let from = repeat_from(step.step).map_or(0, StepNo::index);
            let body = plan.steps.get(from..index).unwrap_or(&[]);
            let date = body.iter().find(|s| matches!(s.step, Step::WaitForDate(_)));
            let error = error.at(here, "goes back past a date");
            match date {
                Some(date) => error.at(date.action.clone(), "met once only"),
                None => error,
            }
            .help("go back to a step after the date, or wait for weekdays or cycle days instead")
        }
        _ => error.at(here, ""),
    }
}

fn repeat_from(step: Step) -> Option<StepNo> {
    match step {
        Step::Repeat { from, .. } => Some(from),
        _ => None,
    }
}
