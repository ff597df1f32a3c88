//! `draught check`: what is wrong with a plan, and what it comes to.

use serde::Serialize;

use super::common::{PlanArgs, say_findings, verdict};
use super::io::{Failure, Io};
use super::paint::Paint;
use super::table::{Side, Table};
use crate::plan::finding::{Finding, Severity};
use crate::plan::method_checks::MethodFit;
use crate::plan::source::Source;
use crate::plan::{Loaded, Ready, format, site};

/// Say what is wrong with a plan, and what it comes to.
///
/// Every finding comes with its place, the limit and what to do. Warnings leave the plan usable.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught check docs/examples/bakery-night.toml --armed-at \"2027-01-14 18:40\"

Exit code 1 if there is an error; warnings alone give 0.")]
pub struct Args {
    #[command(flatten)]
    plan: PlanArgs,
    /// Findings and summary as JSON (docs/schema/check.json).
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the plan has errors.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let loaded = args.plan.load(io)?;
    if args.json {
        let report = Report::of(&loaded);
        serde_json::to_writer_pretty(&mut *io.out, &report).map_err(std::io::Error::from)?;
        writeln!(io.out)?;
    } else {
        let findings = loaded.findings.sorted();
        say_findings(&findings, &loaded.source, io.colour_out, io.out)?;
        if let Some(ready) = &loaded.ready {
            writeln!(
                io.out,
                "{}",
                summary(ready, loaded.method.as_ref(), loaded.findings.sorted().as_slice(), io)
            )?;
        }
        let unchecked = match &loaded.ready {
            Some(ready) => not_checked(ready).join(", "),
            None => "what the plan comes to".to_owned(),
        };
        writeln!(io.out, "{}. Not checked: {unchecked}.", verdict(&loaded.findings))?;
    }
    if loaded.findings.has_errors() { Err(Failure::Data) } else { Ok(()) }
}

/// What no look at a plan can tell.
fn not_checked(ready: &Ready) -> Vec<&'static str> {
    let wanted = &ready.plan.wanted;
    let mut parts = Vec::new();
    if wanted.pump_flow.is_none() && wanted.pump_pressure.is_none() {
        parts.push("pump range");
    }
    if wanted.volume.is_none() {
        parts.push("wanted volume");
    }
    parts.extend(["sampler", "battery", "real flow"]);
    parts
}

fn summary(
    ready: &Ready,
    method: Option<&MethodFit>,
    findings: &[&Finding],
    io: &Io<'_>,
) -> String {
    let paint = Paint(io.colour_out);
    let verdict = |codes: &[&str], otherwise: &str| {
        let worst = findings.iter().filter(|f| codes.contains(&f.code)).map(|f| f.severity).min();
        match worst {
            Some(Severity::Error) => paint.bad("error"),
            Some(Severity::Warning) => paint.careful("warning"),
            _ if otherwise == "ok" => paint.good("ok"),
            _ => otherwise.to_owned(),
        }
    };
    let mut table = Table::new(&[Side::Left; 4]);
    let time = &ready.time;
    let armed = format!("armed {}", time.stamp_short(ready.armed_wall()));
    if let Some(first) = ready.outlook.first_start().and_then(|n| n.wall) {
        let by = ready.table.settings().start_by.and_then(|c| time.offset.instant(c));
        let by = by.map_or(String::new(), |w| format!(", start by {}", time.day_time(w)));
        let ok = verdict(&["no-day"], "ok");
        table.row(["start".to_owned(), time.stamp_short(first), armed + &by, ok]);
    }
    if let Some(last) = ready.outlook.last_stop().and_then(|n| n.wall) {
        let pumped = ready.outlook.pumped_ms();
        let pumped = range(&format::duration(pumped.least), &format::duration(pumped.most));
        let codes = [
            "run-lost",
            "tight-at-most",
            "run-over-appointment",
            "run-ends-at-appointment",
            "ends-missed",
            "beyond-2135",
            "open-hold",
            "no-time-to-confirm",
        ];
        table.row([
            "stop".to_owned(),
            time.stamp_short(last),
            format!("{pumped} of pumping"),
            verdict(&codes, "ok"),
        ]);
    }
    target_row(ready, &mut table, &verdict);
    volume_row(ready, &mut table, &verdict);
    if let Some(fit) = method {
        method_rows(fit, &mut table, &verdict);
    }
    clock_row(ready, &mut table, &verdict);
    computer_row(ready, &mut table, io);
    table.render()
}

fn range(from: &str, to: &str) -> String {
    if from == to { from.to_owned() } else { format!("{from} to {to}") }
}

type Verdict<'a> = dyn Fn(&[&str], &str) -> String + 'a;

fn target_row(ready: &Ready, table: &mut Table, verdict: &Verdict<'_>) {
    let wanted = &ready.plan.wanted;
    let settings = ready.table.settings();
    let mut targets: Vec<String> = Vec::new();
    for step in ready.table.steps().iter().filter(|s| s.is_pumping()) {
        let target = format::target(step.own_target().unwrap_or(settings.target));
        if !targets.contains(&target) {
            targets.push(target);
        }
    }
    let is_flow = settings.target.as_flow().is_some();
    let pump = match (&wanted.pump_flow, &wanted.pump_pressure) {
        (Some(r), _) if is_flow => format!("pump {}", format::flow_range(r.value.0, r.value.1)),
        (_, Some(r)) if !is_flow => {
            format!("pump {}", format::pressure_range(r.value.0, r.value.1))
        }
        _ => "pump range not given".to_owned(),
    };
    let known = !pump.ends_with("given");
    let codes = [
        "flow-outside",
        "pressure-outside",
        "no-flow-control",
        "no-pressure-control",
        "flow-over-sampler",
    ];
    let word = if is_flow { "flow" } else { "pressure" };
    table.row([
        word.to_owned(),
        targets.join(", "),
        pump,
        verdict(&codes, if known { "ok" } else { "-" }),
    ]);
}

fn volume_row(ready: &Ready, table: &mut Table, verdict: &Verdict<'_>) {
    let samples = ready.outlook.samples();
    let volumes: Option<Vec<_>> = samples.iter().map(|s| s.volume).collect();
    let shown = match volumes.as_deref() {
        None => "not known under pressure control".to_owned(),
        Some(all) => {
            let least = all.iter().map(|v| v.least).min().unwrap_or_default();
            let most = all.iter().map(|v| v.most).max().unwrap_or_default();
            format::volume_range(least, most, " to ")
        }
    };
    let shown = if samples.len() > 1 {
        let between = if volumes.is_some() { " of " } else { ", " };
        format!("{}{between}{shown}", format::count(samples.len(), "sample"))
    } else {
        shown
    };
    let wanted = match &ready.plan.wanted.volume {
        Some(r) => {
            format!("wanted {}", format::volume_range(r.value.0.raw(), r.value.1.raw(), " to "))
        }
        None => "wanted volume not given".to_owned(),
    };
    let known = ready.plan.wanted.volume.is_some() && volumes.is_some();
    let codes = ["volume-outside", "volume-may-be-outside", "draw-short"];
    table.row([
        "volume".to_owned(),
        shown,
        wanted,
        verdict(&codes, if known { "ok" } else { "-" }),
    ]);
}

/// The plan beside its method.
fn method_rows(fit: &MethodFit, table: &mut Table, verdict: &Verdict<'_>) {
    table.row([
        "method".to_owned(),
        fit.id.clone(),
        fit.file.as_ref().map_or(String::new(), |file| format!("from {file}")),
        verdict(&["method-variant", "method-memory"], ""),
    ]);
    for row in &fit.rows {
        let otherwise = if row.known { "ok" } else { "-" };
        table.row([
            format!("- {}", row.what),
            row.is.clone(),
            row.wants.clone(),
            verdict(&[row.code], otherwise),
        ]);
    }
}

fn clock_row(ready: &Ready, table: &mut Table, verdict: &Verdict<'_>) {
    let first = ready.outlook.first_start().and_then(|n| n.wall);
    let last = ready.outlook.last_stop().and_then(|n| n.wall);
    let change = first.zip(last).and_then(|(a, b)| ready.plan.site.value.change_between(a, b));
    let (remark, otherwise) = match (&ready.plan.site.value, change) {
        (site::Site::Fixed(_), _) => ("fixed offset".to_owned(), "ok"),
        // Beyond its calendar a pump has no wall clock.
        (_, None) if last.is_none() => ("no last stop to look up to".to_owned(), "-"),
        (_, None) => ("no change before the last stop".to_owned(), "ok"),
        (_, Some(at)) => (format!("wall clock changes {}", ready.time.stamp_short(at)), "note"),
    };
    table.row([
        "clock".to_owned(),
        ready.time.label(),
        remark,
        verdict(&["clock-change"], otherwise),
    ]);
}

fn computer_row(ready: &Ready, table: &mut Table, io: &Io<'_>) {
    let at = ready.outlook.first_start().and_then(|n| n.wall).unwrap_or(ready.armed_wall());
    let Some(computer) = io.computer_time(at) else { return };
    if computer.offset != ready.time.offset {
        table.row([
            "computer".to_owned(),
            computer.label(),
            "the site's time is used".to_owned(),
            "note".to_owned(),
        ]);
    }
}

/// The answer for machines; `docs/schema/check.json` describes it.
#[derive(Serialize)]
struct Report {
    format: u8,
    plan: String,
    errors: usize,
    warnings: usize,
    findings: Vec<JsonFinding>,
}

#[derive(Serialize)]
struct JsonFinding {
    severity: &'static str,
    code: &'static str,
    step: Option<u8>,
    message: String,
    places: Vec<JsonPlace>,
    notes: Vec<String>,
    helps: Vec<String>,
}

#[derive(Serialize)]
struct JsonPlace {
    line: usize,
    column: usize,
    from: usize,
    to: usize,
    label: String,
}

impl Report {
    fn of(loaded: &Loaded) -> Self {
        let all = loaded.findings.sorted();
        Self {
            format: 1,
            plan: loaded.source.name.clone(),
            errors: loaded.findings.count(Severity::Error),
            warnings: loaded.findings.count(Severity::Warning),
            findings: all.iter().map(|f| JsonFinding::of(f, &loaded.source)).collect(),
        }
    }
}

impl JsonFinding {
    fn of(f: &Finding, source: &Source) -> Self {
        Self {
            severity: f.severity.word(),
            code: f.code,
            step: f.step.map(draught::step::StepNo::get),
            message: f.message.clone(),
            places: f
                .labels
                .iter()
                .map(|l| {
                    let place = source.place(l.span.start);
                    JsonPlace {
                        line: place.line,
                        column: place.column,
                        from: l.span.start,
                        to: l.span.end,
                        label: l.text.clone(),
                    }
                })
                .collect(),
            notes: f.notes.clone(),
            helps: f.helps.clone(),
        }
    }
}
