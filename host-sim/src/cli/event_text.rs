//! What is in an event folder, for people and for machines.

use serde::Serialize;

use super::io::{Failure, Io};
use super::table::{Side, Table};
use crate::event::folder::{BLOCK, FIELD, PLAN, table_of};
use crate::event::missing::Missing;
use crate::event::{FlowReadings, Folder, Kind, Sampler};
use crate::hygiene::round;
use crate::hygiene::verify::{Reading, measure};
use crate::plan::finding::Severity;
use crate::plan::format;
use crate::record_file::NOTICE;
use crate::words;

fn simulated(folder: &Folder) -> bool {
    folder.records.iter().any(|r| r.file.origin != "pump")
}

/// The whole screen.
pub(super) fn text(folder: &Folder, missing: &[Missing]) -> String {
    let mut text = String::new();
    if simulated(folder) {
        text += &format!("{NOTICE}\n\n");
    }
    text += &files(folder);
    if !folder.field.samplers.is_empty() {
        text += "\n";
        text += &samplers(folder, missing);
    }
    if !missing.is_empty() {
        text += "\nmissing\n";
        let mut table = Table::new(&[Side::Left; 3]).indent(2);
        let mut last = String::new();
        for (of, key, what) in together(missing) {
            let of = of.join(", ");
            table.row([if of == last { "" } else { &of }, key, what]);
            last = of;
        }
        text += &table.render();
    }
    let contradictions = errors(folder);
    let warnings = folder.findings.count(Severity::Warning);
    let mut verdict = vec![format::count(contradictions, "contradiction")];
    if warnings > 0 {
        verdict.push(format::count(warnings, "warning"));
    }
    verdict.push(match missing.len() {
        0 => "nothing missing".to_owned(),
        n => format!("{n} missing"),
    });
    text + &format!("\n{}.\n", verdict.join(", "))
}

/// What is missing of several is one line: whose it is, the key, what it is.
fn together(missing: &[Missing]) -> Vec<(Vec<&str>, &str, &'static str)> {
    let mut lines: Vec<(Vec<&str>, &str, &'static str)> = Vec::new();
    for m in missing {
        match lines.iter_mut().find(|(_, key, what)| *key == m.key && *what == m.what) {
            Some((of, ..)) => of.push(&m.of),
            None => lines.push((vec![&m.of], &m.key, m.what)),
        }
    }
    lines
}

fn errors(folder: &Folder) -> usize {
    let of_plan = folder.plan.as_ref().map_or(0, |p| p.findings.count(Severity::Error));
    folder.findings.count(Severity::Error) + of_plan
}

fn files(folder: &Folder) -> String {
    let mut table = Table::new(&[Side::Left, Side::Left]);
    let plan = match &folder.plan {
        None => "not there".to_owned(),
        Some(plan) => match plan.findings.count(Severity::Error) {
            0 => "no errors".to_owned(),
            n => format::count(n, "error"),
        },
    };
    table.row([PLAN, &plan]);
    let id = folder
        .block
        .as_deref()
        .and_then(table_of)
        .and_then(|t| t.checked().ok().map(|t| draught::wire::schedule_id(t).to_string()));
    let block = match (&folder.block, id) {
        (None, _) => "not there".to_owned(),
        (Some(_), None) => "not a block".to_owned(),
        (Some(bytes), Some(id)) => format!("schedule {id}, {} bytes", bytes.len()),
    };
    table.row([BLOCK, &block]);
    let field = if folder.has_field {
        let workers = format::count(folder.field.workers.len(), "worker");
        format!("{workers}, {}", format::count(folder.field.samplers.len(), "sampler"))
    } else {
        "not there".to_owned()
    };
    table.row([FIELD, &field]);
    if folder.records.is_empty() {
        table.row(["records/", "none yet"]);
    }
    for r in &folder.records {
        let n = format::count(r.file.samples.len(), "sample");
        let ended = r
            .file
            .event
            .as_ref()
            .map_or("not over".to_owned(), |e| words::ended_by_code(&e.reason));
        table.row([r.path.clone(), format!("{}, {n}, {ended}", r.file.origin)]);
    }
    table.render()
}

fn flow(all: &[FlowReadings], last: bool) -> Option<f64> {
    let r = if last { all.last() } else { all.first() }?;
    let reading = if r.runs.is_empty() {
        Reading::Flows(&r.flows_l_per_min)
    } else {
        Reading::Timed(&r.runs)
    };
    measure(reading).ok().map(|m| m.flow_l_per_min)
}

fn samplers(folder: &Folder, missing: &[Missing]) -> String {
    let mut table = Table::new(&[
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Right,
    ])
    .gap(2);
    table.row([
        "sampler",
        "kind",
        "worker",
        "pump",
        "L/min before",
        "after",
        "pumped",
        "analytes",
        "missing",
    ]);
    for s in &folder.field.samplers {
        let dash = || "-".to_owned();
        let shown =
            |q: Option<f64>| q.and_then(|q| round::significant(q, 4).ok()).unwrap_or_else(dash);
        let count = missing.iter().filter(|m| m.of == s.id.is).count();
        table.row([
            s.id.is.clone(),
            s.kind.word().to_owned(),
            s.worker.as_ref().map_or_else(dash, |w| w.is.clone()),
            s.pump.as_ref().map_or_else(dash, |p| p.is.clone()),
            shown(flow(&s.before, true)),
            shown(flow(&s.after, false)),
            pumped(folder, s).unwrap_or_else(dash),
            if s.lab.is_empty() { dash() } else { s.lab.len().to_string() },
            count.to_string(),
        ]);
    }
    table.render()
}

fn pumped(folder: &Folder, s: &Sampler) -> Option<String> {
    if s.kind != Kind::Pump {
        return None;
    }
    let number = folder.sample_number(s)?;
    let row = folder.record_of(s)?.file.samples.iter().find(|r| r.sample == number)?;
    Some(format::distance(row.pumped_ms))
}

#[derive(Serialize)]
struct Report<'a> {
    format: u32,
    simulated: bool,
    files: Vec<File>,
    samplers: Vec<Row>,
    findings: Vec<Found>,
    missing: Vec<Lack<'a>>,
    contradictions: usize,
}

#[derive(Serialize)]
struct File {
    file: String,
    there: bool,
}

#[derive(Serialize)]
struct Row {
    sampler: String,
    kind: &'static str,
    missing: usize,
}

#[derive(Serialize)]
struct Found {
    severity: &'static str,
    code: &'static str,
    message: String,
    file: Option<String>,
    line: Option<usize>,
    column: Option<usize>,
    notes: Vec<String>,
    helps: Vec<String>,
}

#[derive(Serialize)]
struct Lack<'a> {
    of: &'a str,
    key: &'a str,
    what: &'a str,
}

/// The answer for machines; `docs/schema/event-check.json` describes it.
pub(super) fn json(folder: &Folder, missing: &[Missing], io: &mut Io<'_>) -> Result<(), Failure> {
    let file = |file: &str, there| File { file: file.to_owned(), there };
    let mut files = vec![
        file(PLAN, folder.plan.is_some()),
        file(BLOCK, folder.block.is_some()),
        file(FIELD, folder.has_field),
    ];
    files.extend(folder.records.iter().map(|r| file(&r.path, true)));
    let found = |f: &crate::plan::finding::Finding, source: &crate::plan::source::Source| {
        let place = f.labels.first().map(|l| source.place(l.span.start));
        Found {
            severity: f.severity.word(),
            code: f.code,
            message: f.title(),
            file: place.map(|_| source.name.clone()),
            line: place.map(|p| p.line),
            column: place.map(|p| p.column),
            notes: f.notes.clone(),
            helps: f.helps.clone(),
        }
    };
    let of_plan = folder.plan.iter().flat_map(|p| {
        p.findings.sorted().into_iter().map(|f| found(f, &p.source)).collect::<Vec<_>>()
    });
    let own = folder.findings.sorted().into_iter().map(|f| found(f, &folder.field_source));
    let report = Report {
        format: 1,
        simulated: simulated(folder),
        files,
        samplers: folder
            .field
            .samplers
            .iter()
            .map(|s| Row {
                sampler: s.id.is.clone(),
                kind: s.kind.word(),
                missing: missing.iter().filter(|m| m.of == s.id.is).count(),
            })
            .collect(),
        findings: of_plan.chain(own).collect(),
        missing: missing.iter().map(|m| Lack { of: &m.of, key: &m.key, what: m.what }).collect(),
        contradictions: errors(folder),
    };
    serde_json::to_writer_pretty(&mut *io.out, &report).map_err(std::io::Error::from)?;
    writeln!(io.out)?;
    Ok(())
}
