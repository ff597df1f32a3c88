//! Checks that need to know what a schedule will do: only the host makes them.

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{EndReason, PumpEnd};
use draught::forecast::{Forecast, Span, What};
use draught::step::{Step, StepNo};
use draught::table::{Settings, TableRef};
use draught::units::{Flow, Volume};

use super::finding::{Finding, Findings};
use super::outlook::{Line, Outlook, SampleVolume, length_ms};
use super::ready::Ready;
use super::{armed_rules, format};

/// Checks that need to know what the schedule will do.
pub(super) fn of_outlook(ready: &Ready, findings: &mut Findings) {
    clock_change(ready, findings);
    next_appointments(ready, findings);
    passed_over(ready, findings);
    tight(ready, findings);
    draws(ready, findings);
    ends(ready, findings);
    volumes(ready, findings);
}

fn clock_change(ready: &Ready, findings: &mut Findings) {
    let site = &ready.plan.site;
    let super::site::Site::Zone { standard: false, .. } = site.value else { return };
    let first = ready.outlook.first_start().and_then(|n| n.wall);
    let last = ready.outlook.last_stop().and_then(|n| n.wall);
    let Some((first, last)) = first.zip(last) else { return };
    let Some(change) = site.value.change_between(first, last) else { return };
    let Ok(after) = site.value.clock_at(change) else { return };
    findings.push(
        Finding::error("clock-change", "the site's clock changes before the last stop")
            .at(
                site.span.clone(),
                format!(
                    "{} from {} to {}",
                    ready.time.stamp_short(change),
                    ready.time.label(),
                    after.label()
                ),
            )
            .note(format!(
                "first start {}, last stop {}; a pump keeps one UTC offset",
                ready.time.stamp_short(first),
                ready.time.stamp_short(last)
            ))
            .help("write time = \"standard\" to stay in standard time, or split the plan at the change"),
    );
}

/// A run that ends at, or goes over, the appointment after it.
fn next_appointments(ready: &Ready, findings: &mut Findings) {
    let mut told: Vec<(StepNo, StepNo)> = Vec::new();
    let pairs = |line: &Line| line.0.iter().copied().zip(line.0.iter().copied().skip(1)).collect();
    let both: [Vec<(Span, Span)>; 2] =
        [pairs(&ready.outlook.resumed), pairs(&ready.outlook.run_out)];
    for (pump, wait) in both.iter().flatten() {
        let (What::Pump { .. }, What::Wait { appointment, .. }) = (pump.what, wait.what) else {
            continue;
        };
        if told.contains(&(pump.step, wait.step)) {
            continue;
        }
        let group = steps_between(ready, wait);
        let timed = group.iter().any(|s| matches!(s, Step::WaitForTime(_)));
        let step = ready.plan.steps.get(pump.step.index());
        let (Some(step), Some(end), true) = (step, pump.to.wall, timed) else { continue };
        let Some(begin) = pump.from.wall.and_then(|w| w.plus_ms(1)) else { continue };
        let tolerance = u64::from(ready.table.settings().late_tolerance.as_ms());
        let inside = first_instant(ready, &group, begin).filter(|w| Some(*w) < appointment);
        let close = appointment.is_some_and(|a| {
            a.as_ms().abs_diff(end.as_ms()) <= tolerance && matches!(step.step, Step::RunFor { .. })
        });
        let time = &ready.time;
        let found = if let Some(inside) = inside {
            let next = appointment.map_or("never".to_owned(), |a| time.stamp_short(a));
            Finding::warning("run-over-appointment", "this run goes over the next appointment")
                .at(step.action.clone(), format!("pumps until {}", time.stamp_short(end)))
                .note(format!("{} falls into it; the next is {next}", time.stamp_short(inside)))
                .help("shorten the run, or stop it by the clock with run-until")
        } else if close {
            let at = appointment.map_or(String::new(), |a| time.stamp_short(a));
            Finding::warning("run-ends-at-appointment", "this run ends just when the next appointment is")
                .at(step.action.clone(), format!("ends {}", time.stamp_short(end)))
                .note(format!("the next appointment is {at}: a start that is late by more than the late-tolerance, {}, misses it", format::duration(tolerance)))
                .help("stop it by the clock: run-until does not get later")
        } else {
            continue;
        };
        let found = match ready.plan.steps.get(wait.step.index()) {
            Some(wait) => found.at(wait.action.clone(), "the next appointment"),
            None => found,
        };
        told.push((pump.step, wait.step));
        findings.push(found.step(Some(pump.step)));
    }
}

fn steps_between(ready: &Ready, span: &Span) -> Vec<Step> {
    let steps = ready.table.steps();
    steps.get(span.first_step.index()..=span.step.index()).unwrap_or(&[]).to_vec()
}

/// The first instant from `from` on that satisfies a group of waits: found by arming a schedule that has
/// nothing else in it.
fn first_instant(ready: &Ready, group: &[Step], from: WallMs) -> Option<WallMs> {
    let run = draught::units::DurationMs::from_ms(1).ok()?;
    let mut steps = group.to_vec();
    steps.extend([Step::RunFor { run, target: None }, Step::Finish]);
    let settings = Settings::new(ready.time.offset, ready.table.settings().target);
    let table = TableRef::new(&settings, &steps).ok()?;
    let now = Now { mono: MonoMs::from_ms(0), wall: Some(from) };
    Forecast::new(table, &Fit::ANY, now).ok()?.find_map(|s| match s.what {
        What::Wait { appointment, .. } => appointment,
        _ => None,
    })
}

/// Runs that are lost and appointments that are missed although nothing goes wrong.
fn passed_over(ready: &Ready, findings: &mut Findings) {
    let mut told: Vec<StepNo> = Vec::new();
    let both = [(&ready.outlook.resumed, ""), (&ready.outlook.run_out, " when a hold runs out")];
    for (line, when) in both {
        for (index, span) in line.0.iter().enumerate() {
            // What ends the event is told as its end.
            if matches!(line.0.get(index + 1).map(|s| s.what), Some(What::End(EndReason::Missed))) {
                continue;
            }
            let (code, message, label, help) = match span.what {
                What::Lost(cause) => {
                    let (label, help) = armed_rules::lost(cause);
                    let lost = |l: &Line| {
                        l.0.iter().any(|s| s.step == span.step && matches!(s.what, What::Lost(_)))
                    };
                    let at_both_ends = both.iter().all(|(l, _)| lost(l));
                    let when = if ready.outlook.lines().all(lost) {
                        ""
                    } else if at_both_ends {
                        " unless a hold is resumed in between"
                    } else if when.is_empty() {
                        " when a hold is resumed at once"
                    } else {
                        when
                    };
                    ("run-lost", format!("this run-until is passed over{when}"), label, help)
                }
                What::Wait { met: false, appointment: None } => (
                    "no-such-instant",
                    format!("this appointment has no instant{when}"),
                    "no instant satisfies these waits by then",
                    "check the day and the passes of the repeat around it",
                ),
                _ => continue,
            };
            if told.contains(&span.step) {
                continue;
            }
            told.push(span.step);
            let mut found = Finding::warning(code, message).step(Some(span.step));
            if let Some(step) = ready.plan.steps.get(span.step.index()) {
                found = found.at(step.action.clone(), label);
            }
            if let Some(at) = span.from.wall {
                found = found.note(format!("reached {}", ready.time.stamp_short(at)));
            }
            findings.push(found.help(help));
        }
    }
}

/// A run-until should have at least this left over its planned length.
const SLACK_MS: u64 = 60_000;
/// What is proposed.
const GOOD_SLACK_MS: u64 = 5 * 60_000;

/// Runs until a time of day whose at-most ends them early as soon as a wall clock loses a little.
fn tight(ready: &Ready, findings: &mut Findings) {
    let mut longest: Vec<(StepNo, u64)> = Vec::new();
    for span in ready.outlook.resumed.0.iter().chain(&ready.outlook.run_out.0) {
        let What::Pump { by: PumpEnd::Time, .. } = span.what else { continue };
        let planned = length_ms(span);
        match longest.iter_mut().find(|(step, _)| *step == span.step) {
            Some((_, most)) => *most = planned.max(*most),
            None => longest.push((span.step, planned)),
        }
    }
    for (number, planned) in longest {
        let Some(step) = ready.plan.steps.get(number.index()) else { continue };
        let Step::RunUntil { at_most, .. } = step.step else { continue };
        let slack = u64::from(at_most.as_ms()).saturating_sub(planned);
        if slack >= SLACK_MS {
            continue;
        }
        let left = match slack {
            0 => "nothing".to_owned(),
            slack => format!("only {}", format::duration(slack)),
        };
        let good = (planned + GOOD_SLACK_MS).div_ceil(60_000) * 60_000;
        findings.push(
            Finding::warning("tight-at-most", "this run may be ended by its at-most, not by the clock")
                .step(Some(number))
                .at(
                    step.part("at-most"),
                    format!("{left} left over the {} that are planned", format::duration(planned)),
                )
                .note("at-most is counted by the pump's timer: where its clock loses against it, the run ends early")
                .help(format!("leave some minutes: at-most = \"{}\"", format::duration(good))),
        );
    }
}

/// Volumes that are not reached in their time even at the full flow.
fn draws(ready: &Ready, findings: &mut Findings) {
    let mut told: Vec<StepNo> = Vec::new();
    for span in ready.outlook.resumed.0.iter().chain(&ready.outlook.run_out.0) {
        let What::Pump { target, by: PumpEnd::Limit } = span.what else { continue };
        let Some(step) = ready.plan.steps.get(span.step.index()) else { continue };
        let Step::DrawVolume { volume, at_most, .. } = step.step else { continue };
        let (Some(flow), false) = (target.as_flow(), told.contains(&span.step)) else { continue };
        told.push(span.step);
        let needed = volume.raw().as_raw().div_ceil(u64::from(flow.ul_per_min()));
        // Rounded up to the second: a time that is long enough.
        let needed = needed.div_ceil(1_000) * 1_000;
        let drawn = span.volume.map_or(String::new(), format::volume);
        findings.push(
            Finding::error("draw-short", "this volume cannot be drawn in its time")
                .step(Some(span.step))
                .at(
                    step.part("at-most"),
                    format!(
                        "{} draw {drawn} at {}",
                        format::duration(at_most.as_ms().into()),
                        format::target(target)
                    ),
                )
                .help(format!(
                    "{} take {} at that flow; allow more, for breaks in the flow",
                    format::volume_ml(volume.as_ml().into()),
                    format::duration(needed)
                )),
        );
    }
}

fn ends(ready: &Ready, findings: &mut Findings) {
    let Outlook { resumed, .. } = &ready.outlook;
    let last = ready.plan.steps.last().map_or(0..0, |s| s.span.clone());
    // Beyond its years a pump has no wall clock.
    let beyond = resumed.0.iter().find(|s| s.to.wall.is_none());
    let end = resumed.end().filter(|_| beyond.is_none());
    match end {
        Some(EndReason::Missed) => {
            let missed = resumed.0.iter().rev().find(|s| matches!(s.what, What::Wait { .. }));
            let group = missed.map(|s| (s, ready.plan.steps.get(s.step.index())));
            let mut found = Finding::error(
                "ends-missed",
                "the event would end here: this appointment has no instant any more",
            );
            if let Some((span, Some(step))) = group {
                found = found.step(Some(span.step)).at(step.action.clone(), "missed");
                if let Some(at) = span.from.wall {
                    found = found.note(format!("reached {}", ready.time.stamp_short(at)));
                }
            }
            findings.push(
                found
                    .at(last, "never reached")
                    .help("choose a later day, or bring the steps into the order of time"),
            );
        }
        None => {
            let step = beyond.and_then(|s| Some((s, ready.plan.steps.get(s.step.index())?)));
            let found = Finding::error(
                "beyond-2135",
                "the schedule would run past the end of 2135, and a pump's calendar",
            );
            findings.push(
                match step {
                    Some((span, step)) => found
                        .step(Some(span.step))
                        .at(step.action.clone(), "under way at the end of 2135"),
                    None => found.at(last, "never reached"),
                }
                .help("repeat less often"),
            );
        }
        Some(_) => {}
    }
}

/// Whether each sample gets the volume that is wanted of it.
fn volumes(ready: &Ready, findings: &mut Findings) {
    let Some(wanted) = &ready.plan.wanted.volume else { return };
    let (least, most) = wanted.value;
    let samples = ready.outlook.samples();
    let outside =
        |s: &&SampleVolume| s.volume.is_some_and(|v| v.most < least.raw() || v.least > most.raw());
    let partly =
        |s: &&SampleVolume| s.volume.is_some_and(|v| v.least < least.raw() || v.most > most.raw());
    let several = samples.len() > 1;
    let (found, sample) = match (samples.iter().find(outside), samples.iter().find(partly)) {
        (Some(s), _) => (Finding::error("volume-outside", "the volume is not the one wanted"), s),
        (None, Some(s)) => {
            (Finding::warning("volume-may-be-outside", "the volume may not be the one wanted"), s)
        }
        (None, None) => return,
    };
    let Some(volume) = sample.volume else { return };
    let shown = format::volume_range(volume.least, volume.most, " to ");
    let label = if several {
        let many = samples.iter().filter(partly).count();
        let samples = format::grouped(samples.len() as u64);
        format!("sample {} has {shown}; so in {many} of {samples} samples", sample.sample)
    } else {
        format!("the sample has {shown}")
    };
    findings
        .push(found.at(wanted.span.clone(), label).help(volume_help(ready, sample, least, most)));
}

fn volume_help(ready: &Ready, sample: &SampleVolume, least: Volume, most: Volume) -> String {
    if !sample.pumped_ms.is_one() {
        return "it depends on when the hold is resumed: shorten its at-most, or choose another flow".to_owned();
    }
    let pumped_ms = sample.pumped_ms.most.max(1);
    let flow_for = |v: Volume| (v.raw().as_raw() / pumped_ms) as u32;
    let steps_have_own = ready.table.steps().iter().any(|s| s.own_target().is_some());
    let fits =
        Flow::from_ul_per_min(flow_for(least)).ok().zip(Flow::from_ul_per_min(flow_for(most)).ok());
    match fits {
        Some((low, high)) if !steps_have_own => {
            let round = |f: Flow, up: bool| {
                let unit = 10_000;
                let f = f.ul_per_min();
                if up { f.div_ceil(unit) * unit } else { f / unit * unit }
            };
            let (low, high) = (round(low, true), round(high, false));
            format!(
                "pump for another time, or at another flow: {} of pumping give it from {} to {}",
                format::duration(sample.pumped_ms.most),
                format::flow(low.into()),
                format::flow(high.into())
            )
        }
        _ => "pump for another time, or at another flow".to_owned(),
    }
}
