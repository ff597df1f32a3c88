//! A plan is read: any text at all.

use draught::clock::WallMs;
use draught::prelude::*;
use draught::wire;
use draught_sim::plan::finding::Findings;
use draught_sim::plan::source::Source;
use draught_sim::plan::{ArmedAt, CAPACITY, load, render, table, write};

use crate::counts::Counts;

static COUNTS: Counts<5> =
    Counts::new(["executions", "TOML", "made a table", "checked when armed", "ready"]);

/// A plan that does more than this, repeats counted, is not forecast here: one such input would take the
/// time of thousands.
const STEPS_FORECAST: u64 = 2_000;

/// Findings that are put into words; a text of nothing but faults has one a byte.
const FINDINGS_SHOWN: usize = 6;

/// A text that is no TOML is worth keeping up to this length: long enough for any mistake in one or two lines.
const NO_TOML_KEPT: usize = 64;

/// One input; whether it is worth keeping.
///
/// # Panics
/// When a promise is broken.
#[must_use]
pub fn one(input: &[u8]) -> bool {
    COUNTS.execution();
    let source = Source::new("plan.toml", String::from_utf8_lossy(input));
    let (table, findings) = table(&source);
    let is_toml = !findings.sorted().iter().any(|f| f.code == "toml");
    COUNTS.add(1, u64::from(is_toml));
    say(&findings, &source);
    assert_ne!(table.is_some(), findings.has_errors(), "either a table, or why there is none");
    let Some(table) = table else { return is_toml || input.len() <= NO_TOML_KEPT };
    COUNTS.add(2, 1);
    let checked = table.checked().expect("a table that was checked");
    round(checked);
    if steps_done(checked.steps()) > STEPS_FORECAST {
        return true;
    }
    COUNTS.add(3, 1);
    let loaded = load(source, armed_at(input.len()));
    say(&loaded.findings, &loaded.source);
    if let Some(ready) = &loaded.ready {
        COUNTS.add(4, 1);
        round(ready.table());
    } else {
        assert!(loaded.findings.has_errors(), "not ready, and nothing says why");
    }
    true
}

/// Some moments to arm at: before most dates of the examples, at the ends of the calendar, at a change of clocks.
fn armed_at(pick: usize) -> ArmedAt {
    let civil = |y, m, d| Civil::midnight(Date::from_ymd(y, m, d).expect("a date"));
    match pick % 8 {
        0 => ArmedAt::Instant(WallMs::FIRST),
        1 => ArmedAt::Instant(WallMs::LAST),
        2 => ArmedAt::Civil(civil(2135, 12, 28)),
        3 => ArmedAt::Civil(civil(2027, 3, 13)),
        4 => ArmedAt::Civil(civil(2027, 11, 7)),
        _ => ArmedAt::Civil(civil(2027, 1, 4)),
    }
}

/// Every finding points into the text and can be shown.
fn say(findings: &Findings, source: &Source) {
    for (i, finding) in findings.sorted().into_iter().enumerate() {
        for label in &finding.labels {
            assert!(label.span.start <= label.span.end, "{finding:?}");
            assert!(label.span.end <= source.text.len(), "{finding:?}");
        }
        if i < FINDINGS_SHOWN {
            assert!(render::render(finding, source, i % 2 == 1).contains(finding.code));
        }
    }
}

/// From the table to its bytes and back, and from the bytes to a plan and back.
fn round(checked: TableRef<'_>) {
    let bytes = block(checked);
    let mut read = StepTable::<CAPACITY>::empty();
    wire::decode_into(&bytes, &mut read).expect("what was written is read");
    let read = read.checked().expect("decoding applies every table rule");
    assert_eq!(read, checked, "written and read");
    let source = Source::new("again.toml", write::plan(read));
    let (again, findings) = table(&source);
    let say = || format!("{}\n{:?}", source.text, findings.sorted());
    let again = again.unwrap_or_else(|| panic!("the written plan has errors: {}", say()));
    let again = again.checked().expect("a table that was checked");
    assert_eq!(block(again), bytes, "{}", say());
}

fn block(table: TableRef<'_>) -> Vec<u8> {
    let mut out = vec![0; wire::max_len(table.steps().len())];
    let len = wire::encode(table, &mut out).expect("max_len is enough");
    out.truncate(len);
    out
}

/// How many steps are done at most, repeats counted.
#[must_use]
pub fn steps_done(steps: &[Step]) -> u64 {
    let mut done = 0_u64;
    for (index, step) in steps.iter().enumerate() {
        // A repeat is come to at the end of each of its passes.
        let mut times = match step {
            Step::Repeat { passes, .. } => u64::from(passes.get()),
            _ => 1,
        };
        for (at, step) in steps.iter().enumerate().skip(index + 1) {
            if let Step::Repeat { from, passes, .. } = step
                && from.index() <= index
                && index < at
            {
                times = times.saturating_mul(passes.get().into());
            }
        }
        done = done.saturating_add(times);
    }
    done
}
