//! What a step promises of its stretches, whatever came between them: a run is as long as it must be, and stops when it must.

use std::collections::BTreeMap;

use draught::event::PumpEnd;
use draught::record::SpanRow;
use draught::step::Step;
use draught::table::{Outage, StepTable};

/// Where a run-for that came to its end by its time pumped too long, too short, or stopped too late; all of it as `docs/steps.md` has it
/// ("Pumping", "Outages").
///
/// For events in which polls are not late and the wall clock is right.
pub(super) fn broken_by(spans: &[SpanRow], table: &StepTable<32>) -> Option<String> {
    let mut runs: BTreeMap<(u8, [u16; 4]), Vec<&SpanRow>> = BTreeMap::new();
    for span in spans {
        runs.entry((span.step.get(), span.passes.0)).or_default().push(span);
    }
    let keeps_stop_time = matches!(table.settings().outage, Outage::KeepStopTime(_));
    runs.iter().find_map(|((step, _), stretches)| {
        let Some(Step::RunFor { run, .. }) = table.steps().get(usize::from(*step) - 1) else {
            return None;
        };
        let (first, last) = (stretches.first()?, stretches.last()?);
        if last.by != PumpEnd::Time {
            return None;
        }
        let run = u64::from(run.as_ms());
        // Whole ms, the clocks' own rates, a poll that is 2 ms late.
        let about = 100 + 5 * stretches.len() as u64 + run / 3_000;
        let pumped: u64 = stretches.iter().map(|span| span.pumped_ms).sum();
        let cut = stretches.iter().any(|span| span.by == PumpEnd::Outage);
        let paused = stretches.iter().any(|span| matches!(span.by, PumpEnd::Tripped(_)));
        if pumped > run + about {
            return Some(format!("step {step} pumped for {pumped} ms of {run}"));
        }
        // One that is entered late because of an outage may be shorter too.
        if !keeps_stop_time && pumped + about < run {
            return Some(format!("step {step} pumped for only {pumped} ms of {run}"));
        }
        let took = last.end?.since(first.begin?);
        if keeps_stop_time && cut && !paused && took > run + about {
            return Some(format!("step {step} stopped {took} ms after its begin, and not {run}"));
        }
        None
    })
}
