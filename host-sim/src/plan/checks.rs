//! Checks of the steps as they stand, that only the host makes: what a table may hold and a plan should not.

use draught::audit::{Fit, FitRule, fit};
use draught::step::{Sampler, Step, StepNo, Then};
use draught::table::TableRef;
use draught::units::Target;

use super::finding::{Finding, Findings};
use super::format;
use super::read::{At, Plan};
use super::read_steps::PlanStep;

/// Checks that need nothing but the steps as they stand.
pub(super) fn of_steps(plan: &Plan, findings: &mut Findings) {
    targets(plan, findings);
    no_day(plan, findings);
    no_time_to_confirm(plan, findings);
    let pumps_before = |index: usize| plan.steps[..index].iter().any(|s| s.step.is_pumping());
    for (index, step) in plan.steps.iter().enumerate().filter(|(_, s)| s.read) {
        if let Step::HoldUntilResumed { at_most, then } = step.step {
            let at_most = format::duration(at_most.as_ms().into());
            let label = if pumps_before(index) {
                format!("air is not sampled for 0 to {at_most}")
            } else {
                format!("the pump starts 0 to {at_most} later")
            };
            let mut found =
                Finding::warning("open-hold", "the pump is off until someone resumes it")
                    .step(Some(StepNo::at(index)))
                    .at(step.action.clone(), label);
            if then == Then::Close {
                found =
                    found.note(format!("nobody resumes it within {at_most}: the event ends there"));
            }
            findings.push(
                found.help("to sample through the break, delete this step; ask your hygienist"),
            );
        }
    }
}

/// A new sampler can be confirmed while the pump is off. Where a pass begins to pump as soon as the one before has pumped, there is no
/// such time, and every pass but the first is skipped.
fn no_time_to_confirm(plan: &Plan, findings: &mut Findings) {
    for (index, step) in plan.steps.iter().enumerate().filter(|(_, s)| s.read) {
        let Step::Repeat { from, sampler: Sampler::FreshConfirmed, .. } = step.step else {
            continue;
        };
        let Some(body) = plan.steps.get(from.index()..index) else { continue };
        let pumps = |s: &PlanStep| s.step.is_pumping();
        let (first, last) = (body.iter().position(pumps), body.iter().rposition(pumps));
        let Some((first, last)) = first.zip(last) else { continue };
        let is_off = |s: &PlanStep| !matches!(s.step, Step::Repeat { .. });
        if !body[..first].iter().chain(&body[last + 1..]).any(is_off) {
            let next = &body[first];
            findings.push(
                Finding::warning(
                    "no-time-to-confirm",
                    "every pass but the first is skipped: there is no time to confirm a new sampler",
                )
                .step(Some(StepNo::at(index)))
                .at(step.part("sampler"), "a new sampler must be confirmed while the pump is off")
                .at(next.action.clone(), "the next pass pumps at once")
                .help("put a hold before the repeat, as long as a change of the sampler takes"),
            );
        }
    }
}

/// Whether pump and sampler take the flow or pressure of each step, by the core's own fit rules.
fn targets(plan: &Plan, findings: &mut Findings) {
    let own_limits = plan.wanted.pump_flow.is_some() || plan.wanted.pump_pressure.is_some();
    let pump = if own_limits {
        Fit {
            flow: plan.wanted.pump_flow.as_ref().map(|r| r.value),
            pressure: plan.wanted.pump_pressure.as_ref().map(|r| r.value),
        }
    } else {
        Fit::ANY
    };
    let mut plan_target_told = false;
    for (index, step) in
        plan.steps.iter().enumerate().filter(|(_, s)| s.read && s.step.is_pumping())
    {
        let own = step.step.own_target();
        if own.is_none() && std::mem::replace(&mut plan_target_told, true) {
            continue;
        }
        let number = own.map(|_| StepNo::at(index));
        let target = own.unwrap_or(plan.settings.target);
        let span = step.target.clone().filter(|_| own.is_some()).unwrap_or(plan.target.clone());
        let one = [step.step, Step::Finish];
        let fault = TableRef::new(&plan.settings, &one).ok().and_then(|t| fit(t, &pump).err());
        if let Some(fault) = fault {
            findings.push(fit_finding(plan, fault.rule, target, span.clone()).step(number));
        }
        if let (Some(limit), Some(flow)) = (&plan.wanted.sampler_flow, target.as_flow())
            && flow > limit.value
        {
            let most = format::flow(limit.value.ul_per_min().into());
            findings.push(
                Finding::error("flow-over-sampler", "the flow is larger than the sampler takes")
                    .step(number)
                    .at(span, format!("at most {most}"))
                    .at(limit.span.clone(), "the limit")
                    .help(format!("choose {most} or less, or another sampler")),
            );
        }
    }
}

/// What is said of a target that the pump does not keep.
fn fit_finding(
    plan: &Plan,
    rule: FitRule,
    target: Target,
    span: std::ops::Range<usize>,
) -> Finding {
    let (flow, pressure) = (&plan.wanted.pump_flow, &plan.wanted.pump_pressure);
    let outside = |range: String, limit: std::ops::Range<usize>| {
        Finding::error(rule.code(), format!("the pump does not keep {}", format::target(target)))
            .at(span.clone(), format!("the pump keeps {range}"))
            .at(limit, "the pump's range")
            .help(format!("choose a target from {range}, or another pump"))
    };
    match (rule, flow, pressure) {
        (FitRule::FlowOutside { .. }, Some(At { value: (min, max), span }), _) => {
            outside(format::flow_range(*min, *max), span.clone())
        }
        (FitRule::PressureOutside { .. }, _, Some(At { value: (min, max), span })) => {
            outside(format::pressure_range(*min, *max), span.clone())
        }
        (FitRule::NoPressureControl, ..) => {
            Finding::error(rule.code(), "this pump does not keep pressure constant")
                .at(span, "[limits] gives no pump-pressure")
                .help("give a flow, or the pump's range: pump-pressure = [\"0.5 kPa\", \"5 kPa\"]")
        }
        _ => Finding::error(rule.code(), "this pump does not keep flow constant")
            .at(span, "[limits] gives no pump-flow")
            .help(
                "give a pressure, or the pump's range: pump-flow = [\"1.0 L/min\", \"3.0 L/min\"]",
            ),
    }
}

/// A first appointment with a time but no day: armed a little late, it waits a whole day.
fn no_day(plan: &Plan, findings: &mut Findings) {
    let group: Vec<&PlanStep> = plan.steps.iter().take_while(|s| s.step.is_wait()).collect();
    let [only] = group.as_slice() else { return };
    if let Step::WaitForTime(time) = only.step
        && plan.start_by.is_none()
        && only.read
    {
        let time = super::when::time_text(time);
        findings.push(
            Finding::warning("no-day", "this start has a time but no day")
                .step(Some(StepNo::FIRST))
                .at(only.action.clone(), format!("armed after {time}, it starts the day after"))
                .help("put { wait-for-date = ... } before it, or set start-by"),
        );
    }
}
