//! A pump to which nothing happens does as its schedule's forecast says.

use draught::audit::Fit;
use draught::clock::{Now, WallMs};
use draught::event::EndReason;
use draught::forecast::{Forecast, What};
use draught::record::EventRow;
use draught::step::{Sampler, Step, StepNo};
use draught::table::{StepTable, TableRef};
use draught::units::TargetKind;

use super::broken::{Broken, Promise};
use super::ledger::Rows;

/// What is to come.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Outlook {
    spans: Vec<Expected>,
    end: Option<EndReason>,
    /// Begins and ends can be compared.
    is_certain: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Expected {
    step: StepNo,
    begin: Option<WallMs>,
    end: Option<WallMs>,
    /// What its length may be off by, in ms, beside clocks: a volume takes what time it takes.
    about_ms: u64,
}

impl Outlook {
    /// `None` when it cannot be armed now.
    pub fn new(table: &StepTable<32>, fit: &Fit, now: Now) -> Option<Self> {
        let checked = table.checked().ok()?;
        let (mut spans, mut end) = (Vec::new(), None);
        for span in Forecast::new(checked, fit, now).ok()? {
            match span.what {
                What::Pump { .. } => {
                    let draws = step(checked, span.step)
                        .is_some_and(|step| matches!(step, Step::DrawVolume { .. }));
                    let ms = span.to.mono.since(span.from.mono);
                    // A flow that is 2 % off what it is set to, and takes 15 s to settle.
                    let about_ms = if draws { 15_000 + ms / 50 } else { 0 };
                    spans.push(Expected {
                        step: span.step,
                        begin: span.from.wall,
                        end: span.to.wall,
                        about_ms,
                    });
                }
                What::End(reason) => end = Some(reason),
                _ => {}
            }
        }
        Some(Self { spans, end, is_certain: is_certain(checked) })
    }

    /// Whether it has come so.
    pub fn has_come(&self, rows: &Rows, event: &EventRow, at_ms: u64) -> Result<(), Broken> {
        let otherwise = |what: String| Err(Promise::NotAsForecast.broken(what, at_ms));
        if event.trips != [0; 5] {
            return otherwise(format!("limits tripped: {:?}", event.trips));
        }
        if event.resumes != 0 || event.interruptions != 0 || event.unaccounted_ms != 0 {
            return otherwise("an interruption that was none".to_owned());
        }
        if !self.is_certain {
            return Ok(());
        }
        if Some(event.reason) != self.end {
            return otherwise(format!("ended as {:?}, forecast {:?}", event.reason, self.end));
        }
        if rows.spans.len() != self.spans.len() {
            let (is, wanted) = (rows.spans.len(), self.spans.len());
            return otherwise(format!("{is} stretches, forecast {wanted}"));
        }
        let mut about_ms = 0;
        let first = self.spans.first().and_then(|span| span.begin);
        for (row, span) in rows.spans.iter().zip(&self.spans) {
            if row.step != span.step {
                return otherwise(format!("stretch {} is of step {:?}", row.number, row.step));
            }
            // A poll comes up to 2 ms late for a clock that counts whole ms, and two crystals differ.
            about_ms += 5;
            for (is, wanted, more) in
                [(row.begin, span.begin, 0), (row.end, span.end, span.about_ms)]
            {
                about_ms += more;
                let (Some(is), Some(wanted)) = (is, wanted) else {
                    return otherwise("a wall clock that was not trusted".to_owned());
                };
                let passed = first.map_or(0, |first| wanted.since(first));
                let off = is.as_ms().abs_diff(wanted.as_ms());
                // 200 parts per million.
                if off > about_ms + 100 + passed / 5_000 {
                    let number = row.number;
                    return otherwise(format!("stretch {number} is {off} ms off its forecast"));
                }
            }
        }
        Ok(())
    }
}

fn step(table: TableRef<'_>, number: StepNo) -> Option<&Step> {
    table.steps().get(usize::from(number.get()) - 1)
}

/// A volume that takes what time it takes leaves open which side of an appointment comes next; how long one takes at constant
/// pressure, or whether an operator confirms a sampler, is not known at all.
fn is_certain(table: TableRef<'_>) -> bool {
    let of_pressure = |target: Option<draught::units::Target>| {
        let target = target.unwrap_or(table.settings().target);
        matches!(target.kind(), TargetKind::Pressure(_))
    };
    let (mut draws, mut appoints) = (false, false);
    for step in table.steps() {
        match *step {
            Step::DrawVolume { target, .. } => {
                if of_pressure(target) {
                    return false;
                }
                draws = true;
            }
            Step::WaitForTime(_) | Step::RunUntil { .. } => appoints = true,
            Step::Repeat { sampler: Sampler::FreshConfirmed, .. } => return false,
            _ => {}
        }
    }
    !(draws && appoints)
}
