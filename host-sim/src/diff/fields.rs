//! Settings and steps as fields with their values in words: two are the same exactly when all words are.

use draught::calendar::Date;
use draught::step::{Sampler, Step, Then};
use draught::table::{Fault, Limits, Outage, Settings};
use draught::units::{DurationMs, Target, TargetKind};
use draught::wire::FieldName;

use super::FieldChange;
use crate::plan::{format, site, when};

/// A field and its value, if it has one.
#[derive(Clone, Debug)]
pub(super) struct Named {
    pub name: &'static str,
    pub words: Option<String>,
}

fn field(name: FieldName, words: impl Into<Option<String>>) -> Named {
    Named { name: name.as_str(), words: words.into() }
}

/// The fields of one that differ from those of another of the same kind.
pub(super) fn changes(old: Vec<Named>, new: Vec<Named>) -> Vec<FieldChange> {
    let differ = old.into_iter().zip(new).filter(|(a, b)| a.words != b.words);
    differ
        .map(|(a, b)| FieldChange {
            // A flow that became a pressure.
            field: if a.name == b.name { a.name } else { FieldName::TargetKind.as_str() },
            old: a.words,
            new: b.words,
        })
        .collect()
}

/// Every setting, always the same number of them in the same order.
pub(super) fn of_settings(settings: &Settings) -> Vec<Named> {
    // Every field by name, so that a new one is not forgotten here.
    let Settings { utc_offset, target, name, start_by, late_tolerance, outage, fault, limits } =
        settings;
    let Limits { trip, grace, pressure_at_most } = limits;
    let ms = |ms: u32| format::duration(ms.into());
    let name = name.as_str();
    let (outage, resume) = match *outage {
        Outage::KeepStopTime(resume) => ("keep-stop-time", Some(resume)),
        Outage::MakeUpTime(resume) => ("make-up-time", Some(resume)),
        Outage::Abandon => ("abandon", None),
    };
    let (fault, retry) = match *fault {
        Fault::Stop => ("stop", None),
        Fault::Retry { every, times } => ("retry", Some((every, times))),
        Fault::Close => ("close", None),
    };
    let yes_no = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
    vec![
        // Escaped, as it may hold characters that turn the line around.
        field(FieldName::Name, (!name.is_empty()).then(|| format!("{name:?}"))),
        field(FieldName::UtcOffset, site::offset_text(*utc_offset)),
        Named { name: target_name(*target), words: Some(format::target(*target)) },
        Named {
            name: "start-by",
            words: start_by
                .map(|by| format!("{} {}", day_and_date(by.date), when::time_text(by.time))),
        },
        field(FieldName::LateTolerance, ms(late_tolerance.as_ms())),
        field(FieldName::OutageRule, outage.to_owned()),
        field(FieldName::ResumeWithin, resume.map(|r| ms(r.within.as_ms()))),
        field(FieldName::WhileCharging, resume.map(|r| yes_no(r.while_charging))),
        field(FieldName::FaultRule, fault.to_owned()),
        field(FieldName::RetryEvery, retry.map(|(every, _)| ms(every.as_ms()))),
        field(FieldName::RetryTimes, retry.map(|(_, n)| format::count(n.get().into(), "time"))),
        field(FieldName::TripPercent, format!("{} %", trip.as_percent())),
        field(FieldName::TripGrace, ms(grace.as_ms())),
        field(
            FieldName::PressureAtMost,
            pressure_at_most.map(|p| format::pressure(p.as_pa().into())),
        ),
    ]
}

/// What a step does, in a word or two; steps of one kind have the same fields in the same order.
pub(super) const fn kind(step: &Step) -> &'static str {
    match step {
        Step::HoldUntilResumed { .. } => "hold until resumed",
        other => other.name(),
    }
}

/// Every field of a step.
pub(super) fn of_step(step: &Step, schedule: Target) -> Vec<Named> {
    let ms = |d: &DurationMs| format::duration(d.as_ms().into());
    // An own target that is the schedule's is none: it has the same bytes.
    let own = |own: &Option<Target>| match own.filter(|own| *own != schedule) {
        Some(own) => Named { name: target_name(own), words: Some(format::target(own)) },
        None => Named { name: target_name(schedule), words: Some("the schedule's".to_owned()) },
    };
    match step {
        Step::WaitForDate(date) => vec![field(FieldName::Date, day_and_date(*date))],
        Step::WaitForTime(time) => vec![field(FieldName::Time, when::time_text(*time))],
        Step::WaitForWeekday(days) => vec![field(FieldName::Weekdays, when::weekdays_text(*days))],
        Step::WaitForCycleDay(cycle) => vec![
            field(FieldName::CycleFrom, day_and_date(cycle.from())),
            field(FieldName::CycleEvery, format::count(cycle.every().into(), "day")),
        ],
        Step::RunFor { run, target } => vec![field(FieldName::Run, ms(run)), own(target)],
        Step::RunUntil { time, at_most, target } => vec![
            field(FieldName::Until, when::time_text(*time)),
            field(FieldName::AtMost, ms(at_most)),
            own(target),
        ],
        Step::DrawVolume { volume, at_most, target } => vec![
            field(FieldName::Volume, format::volume_ml(volume.as_ml().into())),
            field(FieldName::AtMost, ms(at_most)),
            own(target),
        ],
        Step::Hold(time) => vec![field(FieldName::Hold, ms(time))],
        Step::HoldUntilResumed { at_most, then } => vec![
            field(FieldName::AtMost, ms(at_most)),
            field(
                FieldName::Then,
                match then {
                    Then::Continue => "continue",
                    Then::Close => "close",
                }
                .to_owned(),
            ),
        ],
        Step::Repeat { from, passes, sampler } => vec![
            field(FieldName::RepeatFrom, format!("step {}", from.get())),
            field(FieldName::Passes, format::grouped(passes.get().into())),
            field(
                FieldName::Sampler,
                match sampler {
                    Sampler::Same => "same",
                    Sampler::Fresh => "fresh",
                    Sampler::FreshConfirmed => "fresh-confirmed",
                }
                .to_owned(),
            ),
        ],
        Step::Finish => Vec::new(),
    }
}

const fn target_name(target: Target) -> &'static str {
    match target.kind() {
        TargetKind::Flow(_) => FieldName::Flow.as_str(),
        TargetKind::Pressure(_) => FieldName::Pressure.as_str(),
    }
}

fn day_and_date(date: Date) -> String {
    format!("{} {}", when::day_short(date.weekday()), when::date_text(date))
}
