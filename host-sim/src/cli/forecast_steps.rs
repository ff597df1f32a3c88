//! `draught forecast --steps`: each step as written, what it means, and when it is reached.

use draught::clock::Now;
use draught::forecast::{Span, What};
use draught::step::{Step, StepNo};

use super::table::{Side, Table};
use crate::plan::outlook::Outlook;
use crate::plan::step_words::meaning;
use crate::plan::{Ready, format, site};

/// One block a step.
#[must_use]
pub fn text(ready: &Ready) -> String {
    let mut text = String::new();
    for (index, step) in ready.plan.steps.iter().enumerate() {
        let number = StepNo::at(index);
        let normal = ready.table.steps().get(index).copied().unwrap_or(Step::Finish);
        let mut block = Table::new(&[Side::Right, Side::Left]).gap(2);
        let written = ready.plan.source.slice(&step.span).split_whitespace().collect::<Vec<_>>();
        block.row([number.get().to_string(), written.join(" ")]);
        block.row([String::new(), meaning(normal, ready.table.settings().target)]);
        block.row([String::new(), reached(ready, number)]);
        text.push_str(&block.render());
    }
    text
}

/// When a step is first reached: site time, UTC, from arming on.
fn reached(ready: &Ready, number: StepNo) -> String {
    let Outlook { resumed, run_out, .. } = &ready.outlook;
    // A wait is told by its appointment, anything else by its beginning.
    let in_line = |spans: &[Span]| {
        let at = |s: &&Span| s.first_step <= number && number <= s.step;
        let is_wait = |s: &Span| matches!(s.what, What::Wait { .. });
        spans.iter().find(at).map(|s| if is_wait(s) { s.to } else { s.from })
    };
    let early = in_line(&resumed.0);
    let late = in_line(&run_out.0);
    let step = ready.table.steps().get(number.index());
    let is_repeat = matches!(step, Some(Step::Repeat { .. }));
    match (early, late) {
        _ if is_repeat => "takes no time".to_owned(),
        (Some(a), Some(b)) if a.mono == b.mono => when_text(ready, a),
        (Some(a), Some(b)) => format!("{}\nto  {}", when_text(ready, a), when_text(ready, b)),
        (Some(a), None) | (None, Some(a)) => when_text(ready, a),
        (None, None) => "not reached".to_owned(),
    }
    .replace('\n', "\n   ")
}

fn when_text(ready: &Ready, now: Now) -> String {
    let wall = now.wall.unwrap_or(ready.armed_wall());
    let from_arming = match now.mono.as_ms() {
        0 => "on arming".to_owned(),
        ms => format!("{} after arming", format::distance(ms)),
    };
    format!(
        "{} {}   {}   {from_arming}",
        ready.time.stamp(wall),
        ready.time.short_label(),
        site::utc_stamp(wall)
    )
}
