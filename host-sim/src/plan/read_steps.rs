//! The steps of a plan, from the TOML tree.

use std::ops::Range;

use draught::calendar::Date;
use draught::step::{Cycle, Passes, Sampler, Step, StepNo, Then};
use draught::units::{DurationMs, Flow, Pressure, Quantity, Target, Volume};
use toml::de::DeValue;

use super::fields::{Entry, Fields, Reader};
use super::finding::Finding;
use super::{keys, words};

/// A step of a plan, with its places in the text.
#[derive(Clone, Debug)]
pub struct PlanStep {
    /// What it says.
    pub step: Step,
    /// The whole step.
    pub span: Range<usize>,
    /// The key that says what it does, with its value.
    pub action: Range<usize>,
    /// The value of its own flow or pressure.
    pub target: Option<Range<usize>>,
    /// The rest of its keys with their values, by name.
    pub others: Vec<(&'static str, Range<usize>)>,
    /// Whether the step could be read; if not, `step` only keeps its place.
    pub read: bool,
}

impl PlanStep {
    /// Where one of its keys stands with its value, else its action.
    #[must_use]
    pub fn part(&self, key: &str) -> Range<usize> {
        self.others.iter().find(|(k, _)| *k == key).map_or(self.action.clone(), |(_, s)| s.clone())
    }
}

/// Stands for a step that could not be read, so that the others keep their numbers.
fn unread(span: Range<usize>) -> PlanStep {
    let minute = DurationMs::from_ms(60_000).map_or(Step::Finish, Step::Hold);
    PlanStep {
        step: minute,
        action: span.clone(),
        span,
        target: None,
        others: Vec::new(),
        read: false,
    }
}

pub(super) fn steps(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Vec<PlanStep> {
    let Some(list) = entry.value.get_ref().as_array() else {
        reader.report(
            Finding::error("wrong-type", "\"steps\" must be a list of steps")
                .at(entry.value_span(), "not a list")
                .help("write steps = [ { run-for = \"4 h\" }, { finish = true } ]"),
        );
        return Vec::new();
    };
    if list.is_empty() {
        reader.report(
            Finding::error("no-finish", "a plan needs steps, the last being finish")
                .at(entry.value_span(), "no steps")
                .help("write steps = [ { run-for = \"4 h\" }, { finish = true } ]"),
        );
    }
    let mut read = Vec::new();
    for (index, value) in list.iter().enumerate() {
        reader.step = StepNo::new(u8::try_from(index + 1).unwrap_or(255)).ok();
        let span = tight(reader.text, value.span());
        let step = match value.get_ref() {
            DeValue::Table(table) => one(reader, &Fields { table, span: span.clone() }),
            _ => {
                reader.report(
                    Finding::error("wrong-type", "a step is written in braces")
                        .at(span.clone(), "not a step")
                        .help("write it as in { run-for = \"4 h\" } or { finish = true }"),
                );
                None
            }
        };
        read.push(step.unwrap_or_else(|| unread(span)));
    }
    reader.step = None;
    read
}

/// The span of a `[[steps]]` table is its header line; that of an inline table is all of it.
fn tight(text: &str, span: Range<usize>) -> Range<usize> {
    let slice = text.get(span.clone()).unwrap_or("");
    span.start..span.start + slice.trim_end().len()
}

fn one(reader: &mut Reader<'_>, fields: &Fields<'_, '_>) -> Option<PlanStep> {
    let mut actions: Vec<(Entry<'_, '_>, &'static [&'static str])> = keys::ACTIONS
        .iter()
        .filter_map(|(action, with)| Some((fields.get(action)?, *with)))
        .collect();
    actions.sort_by_key(|(entry, _)| entry.key_span().start);
    let Some((action, with)) = actions.first().copied() else {
        no_action(reader, fields);
        return None;
    };
    if let Some((second, _)) = actions.get(1) {
        reader.report(
            Finding::error(
                "two-actions",
                format!("this step is both {} and {}", action.key, second.key),
            )
            .at(second.key_span(), "a second thing to do")
            .at(action.key_span(), "the first")
            .help("write two steps, one after the other"),
        );
        return None;
    }
    let mut known = vec![action.key];
    known.extend(with);
    let faults = reader.findings.count(super::finding::Severity::Error);
    reader.unknown_keys(fields, &known, &format!("the step {}", action.key));
    let step = by_action(reader, fields, &action);
    if reader.findings.count(super::finding::Severity::Error) > faults {
        return None;
    }
    let target = fields.get("flow").or_else(|| fields.get("pressure")).map(|e| e.value_span());
    let others = with.iter().filter_map(|k| Some((*k, fields.get(k)?.whole_span()))).collect();
    let (span, action) = (fields.span.clone(), action.whole_span());
    Some(PlanStep { step: step?, span, action, target, others, read: true })
}

fn no_action(reader: &mut Reader<'_>, fields: &Fields<'_, '_>) {
    let names: Vec<&str> = keys::ACTIONS.iter().map(|(a, _)| *a).collect();
    let others = fields.others(&[]);
    let meant = others.iter().find_map(|(k, span)| {
        let meant = if k == "repeat" {
            Some("repeat-from")
        } else {
            words::closest(k, names.iter().copied())
        };
        Some((k, span, meant?))
    });
    reader.report(match meant {
        Some((key, span, meant)) => {
            Finding::error("unknown-key", format!("a step has no key {key:?}"))
                .at(span.clone(), "not a key here")
                .help(format!("did you mean {meant:?}?"))
        }
        None => Finding::error("no-action", "this step does not say what to do")
            .at(fields.span.clone(), "nothing to do here")
            .help(format!("a step has one of: {}", names.join(", "))),
    });
}

fn by_action(reader: &mut Reader<'_>, f: &Fields<'_, '_>, action: &Entry<'_, '_>) -> Option<Step> {
    match action.key {
        "wait-for-date" => reader.date(action).map(Step::WaitForDate),
        "wait-for-time" => reader.time(action).map(Step::WaitForTime),
        "wait-for-weekday" => reader.weekdays(action).map(Step::WaitForWeekday),
        "wait-for-cycle-day" => cycle(reader, action).map(Step::WaitForCycleDay),
        "run-for" => {
            let (run, target) = (duration(reader, action), own_target(reader, f));
            Some(Step::RunFor { run: run?, target: target? })
        }
        "run-until" => {
            let (time, at_most) = (reader.time(action), at_most(reader, f, action));
            let target = own_target(reader, f);
            Some(Step::RunUntil { time: time?, at_most: at_most?, target: target? })
        }
        "draw-volume" => {
            let volume = reader.quantity(action, Quantity::Volume);
            let volume = volume.and_then(|v| reader.checked(action, Volume::from_ml(v)));
            let (at_most, target) = (at_most(reader, f, action), own_target(reader, f));
            Some(Step::DrawVolume { volume: volume?, at_most: at_most?, target: target? })
        }
        "hold" => hold(reader, f, action),
        "repeat-from" => repeat(reader, f, action),
        _ => match reader.flag(action)? {
            true => Some(Step::Finish),
            false => {
                reader.report(
                    Finding::error("not-a-choice", "a finish is always true")
                        .at(action.value_span(), "false means nothing here")
                        .help("write { finish = true }, or leave the step out"),
                );
                None
            }
        },
    }
}

fn duration(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<DurationMs> {
    let ms = reader.quantity(entry, Quantity::Duration)?;
    reader.checked(entry, DurationMs::from_ms(ms))
}

fn at_most(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    action: &Entry<'_, '_>,
) -> Option<DurationMs> {
    if let Some(entry) = f.get("at-most") {
        return duration(reader, &entry);
    }
    let (what, example) = match action.key {
        "run-until" => ("how long it may pump at most", "4 h"),
        "draw-volume" => ("how long it may pump for the volume at most", "3 h"),
        _ => ("how long to wait for someone at most", "45 min"),
    };
    reader.report(
        Finding::error("missing-key", format!("{} needs \"at-most\": {what}", action.key))
            .at(action.whole_span(), "how long at most?")
            .help(format!("add at-most = {example:?}")),
    );
    None
}

/// `Some(None)`: no target of its own.
fn own_target(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Option<Target>> {
    target(reader, f.get("flow"), f.get("pressure"))
}

/// The target of a plan or a step: flow, or pressure, or neither; not both.
pub(super) fn target(
    reader: &mut Reader<'_>,
    flow: Option<Entry<'_, '_>>,
    pressure: Option<Entry<'_, '_>>,
) -> Option<Option<Target>> {
    match (flow, pressure) {
        (None, None) => Some(None),
        (Some(flow), Some(pressure)) => {
            reader.quantity(&flow, Quantity::Flow);
            reader.quantity(&pressure, Quantity::Pressure);
            let (first, second) = if flow.key_span().start < pressure.key_span().start {
                (flow, pressure)
            } else {
                (pressure, flow)
            };
            reader.report(
                Finding::error(
                    "flow-and-pressure",
                    "a pump keeps flow or pressure constant, not both",
                )
                .at(second.whole_span(), "the second target")
                .at(first.whole_span(), "the first")
                .help("delete one of the two"),
            );
            None
        }
        (Some(e), None) => {
            let base = reader.quantity(&e, Quantity::Flow)?;
            Some(Some(Target::flow(reader.checked(&e, Flow::from_ul_per_min(base))?)))
        }
        (None, Some(e)) => {
            let base = reader.quantity(&e, Quantity::Pressure)?;
            Some(Some(Target::pressure(reader.checked(&e, Pressure::from_pa(base))?)))
        }
    }
}

fn cycle(reader: &mut Reader<'_>, action: &Entry<'_, '_>) -> Option<Cycle> {
    let example = "{ from = \"2027-01-04\", every = \"6 days\" }";
    let DeValue::Table(table) = action.value.get_ref() else {
        reader.report(
            Finding::error(
                "wrong-type",
                "\"wait-for-cycle-day\" needs a first day and a number of days",
            )
            .at(action.value_span(), "from when, and every how many days?")
            .help(format!("write wait-for-cycle-day = {example}")),
        );
        return None;
    };
    let fields = Fields { table, span: action.value_span() };
    reader.unknown_keys(&fields, keys::CYCLE, "wait-for-cycle-day");
    let mut need = |key: &'static str| {
        let entry = fields.get(key);
        if entry.is_none() {
            reader.report(
                Finding::error("missing-key", format!("\"wait-for-cycle-day\" needs {key:?}"))
                    .at(action.value_span(), format!("{key:?} is missing"))
                    .help(format!("write wait-for-cycle-day = {example}")),
            );
        }
        entry
    };
    let (from, every) = (need("from"), need("every"));
    let from: Option<Date> = from.and_then(|e| reader.date(&e));
    let every = every?;
    let days = cycle_days(reader, &every)?;
    reader.checked(&every, Cycle::new(from?, days))
}

/// A number of days: 6, or "6 days".
fn cycle_days(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<u16> {
    let Some(text) = entry.value.get_ref().as_str() else {
        return reader.integer(entry, Quantity::CycleDays)?.try_into().ok();
    };
    let number = ["days", "day", "d"].iter().find_map(|unit| text.trim().strip_suffix(unit));
    let days = number.and_then(|n| n.trim().parse::<u64>().ok());
    let Some(days) = days else {
        reader.report(
            Finding::error("not-a-quantity", format!("{text:?} is not a number of days"))
                .at(entry.value_span(), "whole days are expected here")
                .help("write every = \"6 days\""),
        );
        return None;
    };
    reader.checked(entry, Quantity::CycleDays.check(days))?.try_into().ok()
}

fn hold(reader: &mut Reader<'_>, f: &Fields<'_, '_>, action: &Entry<'_, '_>) -> Option<Step> {
    let Some(text) = action.value.get_ref().as_str() else {
        return duration(reader, action).map(Step::Hold);
    };
    if text != "until-resumed" {
        let looks_like_it = text.starts_with(|c: char| c.is_ascii_alphabetic());
        if looks_like_it && words::closest(text, ["until-resumed"]).is_some() {
            reader.choice(action, &[("until-resumed", ())]);
            return None;
        }
        for key in ["at-most", "then"] {
            if let Some(entry) = f.get(key) {
                reader.report(
                    Finding::error(
                        "not-here",
                        format!("{key:?} goes with a hold until resumed only"),
                    )
                    .at(entry.whole_span(), "this hold ends by itself")
                    .help("delete it, or write hold = \"until-resumed\""),
                );
            }
        }
        return duration(reader, action).map(Step::Hold);
    }
    let at_most = at_most(reader, f, action);
    let then = match f.get("then") {
        None => Some(Then::Continue),
        Some(e) => reader.choice(&e, &[("continue", Then::Continue), ("close", Then::Close)]),
    };
    Some(Step::HoldUntilResumed { at_most: at_most?, then: then? })
}

fn repeat(reader: &mut Reader<'_>, f: &Fields<'_, '_>, action: &Entry<'_, '_>) -> Option<Step> {
    let from = reader.integer(action, Quantity::StepNumber).and_then(|n| u8::try_from(n).ok());
    let passes = match f.get("passes") {
        Some(e) => reader.integer(&e, Quantity::Passes).and_then(|n| u16::try_from(n).ok()),
        None => {
            reader.report(
                Finding::error("missing-key", "repeat-from needs \"passes\": how often in all")
                    .at(action.whole_span(), "how often in all?")
                    .help("add passes = 5"),
            );
            None
        }
    };
    let sampler = match f.get("sampler") {
        None => Some(Sampler::Same),
        Some(e) => reader.choice(
            &e,
            &[
                ("same", Sampler::Same),
                ("fresh", Sampler::Fresh),
                ("fresh-confirmed", Sampler::FreshConfirmed),
            ],
        ),
    };
    Some(Step::Repeat {
        from: StepNo::new(from?).ok()?,
        passes: Passes::new(passes?).ok()?,
        sampler: sampler?,
    })
}
