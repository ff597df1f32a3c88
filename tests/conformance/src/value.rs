//! What a block says, as the one line that every implementation answers with (`tests/reference/README.md`).

use std::fmt::{self, Write};

use draught::prelude::*;
use draught::table::{Fault, Outage, Resume};
use draught::wire::Refused;
use draught_tests::vectors::hex;

/// The answer to `read`.
pub fn answer(read: Result<TableRef<'_>, Refused>) -> String {
    match read {
        Ok(table) => format!("ok {}", Line(table)),
        Err(r) => {
            let step = r.step.map_or("-".into(), |s| s.get().to_string());
            format!("refused {} {} {step}", r.code, r.at)
        }
    }
}

/// A table as a line of fields in base units, defaults spelt out.
pub struct Line<'t>(pub TableRef<'t>);

impl fmt::Display for Line<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = self.0.settings();
        write!(f, "offset={} target={}", s.utc_offset.quarter_hours(), target(s.target))?;
        write!(f, " name={}", or_dash(&hex::text(s.name.as_str().as_bytes())))?;
        let start_by = s.start_by.map(|c| format!("{}:{}", c.date.days(), c.time.as_ms()));
        write!(f, " start-by={}", or_dash(&start_by.unwrap_or_default()))?;
        write!(f, " late={} outage={}", s.late_tolerance.as_ms(), outage(s.outage))?;
        write!(f, " fault={}", fault(s.fault))?;
        let at_most = s.limits.pressure_at_most.map(|p| p.as_pa().to_string());
        let (trip, grace) = (s.limits.trip.as_percent(), s.limits.grace.as_ms());
        write!(f, " limits={trip}:{grace}:{}", or_dash(&at_most.unwrap_or_default()))?;
        write!(f, " steps={}", self.0.steps().len())?;
        self.0.steps().iter().try_for_each(|s| write!(f, " {}", step(s)))
    }
}

fn or_dash(text: &str) -> &str {
    if text.is_empty() { "-" } else { text }
}

fn target(target: Target) -> String {
    match target.kind() {
        TargetKind::Flow(flow) => format!("flow:{}", flow.ul_per_min()),
        TargetKind::Pressure(pressure) => format!("pressure:{}", pressure.as_pa()),
    }
}

fn outage(rule: Outage) -> String {
    let resume = |word, r: Resume| {
        format!("{word}:{}:{}", r.within.as_ms(), if r.while_charging { "yes" } else { "no" })
    };
    match rule {
        Outage::KeepStopTime(r) => resume("keep-stop-time", r),
        Outage::MakeUpTime(r) => resume("make-up-time", r),
        Outage::Abandon => "abandon".into(),
    }
}

fn fault(rule: Fault) -> String {
    match rule {
        Fault::Stop => "stop".into(),
        Fault::Retry { every, times } => format!("retry:{}:{times}", every.as_ms()),
        Fault::Close => "close".into(),
    }
}

fn step(step: &Step) -> String {
    let mut text = match *step {
        Step::Finish => "finish".into(),
        Step::WaitForDate(d) => format!("date:{}", d.days()),
        Step::WaitForTime(t) => format!("time:{}", t.as_ms()),
        Step::WaitForWeekday(w) => format!("weekday:{}", w.bits()),
        Step::WaitForCycleDay(c) => format!("cycle:{}:{}", c.from().days(), c.every()),
        Step::RunFor { run, .. } => format!("run-for:{}", run.as_ms()),
        Step::RunUntil { time, at_most, .. } => {
            format!("run-until:{}:{}", time.as_ms(), at_most.as_ms())
        }
        Step::DrawVolume { volume, at_most, .. } => {
            format!("draw-volume:{}:{}", volume.as_ml(), at_most.as_ms())
        }
        Step::Hold(d) => format!("hold:{}", d.as_ms()),
        Step::HoldUntilResumed { at_most, then } => {
            let then = match then {
                Then::Continue => "continue",
                Then::Close => "close",
            };
            format!("hold-until-resumed:{}:{then}", at_most.as_ms())
        }
        Step::Repeat { from, passes, sampler } => {
            let sampler = match sampler {
                Sampler::Same => "same",
                Sampler::Fresh => "fresh",
                Sampler::FreshConfirmed => "fresh-confirmed",
            };
            format!("repeat:{}:{}:{sampler}", from.get(), passes.get())
        }
    };
    if let Some(own) = step.own_target() {
        let _ = write!(text, ":{}", target(own));
    }
    text
}

#[cfg(test)]
mod tests {
    use draught_tests::vectors;

    use super::*;

    #[test]
    fn the_full_shift_as_a_line() {
        let valid = vectors::valid();
        let v = valid.iter().find(|v| v.name == "full-shift").unwrap();
        let mut table = StepTable::<255>::empty();
        decode_into(&v.hex, &mut table).unwrap();
        assert_eq!(
            answer(Ok(table.checked().unwrap())),
            "ok offset=-28 target=flow:2000000 name=64656d6f2d70726573732d68616c6c \
             start-by=9928:79800000 late=60000 outage=keep-stop-time:600000:no fault=stop \
             limits=10:60000:- steps=6 date:9928 time:79200000 run-for:14400000 \
             hold-until-resumed:2700000:continue run-until:21600000:14400000 finish"
        );
    }
}
