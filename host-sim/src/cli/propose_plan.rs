//! The plan of a proposal: what is written passes `check`.

use draught::calendar::{Civil, Date, TimeOfDay};
use draught::units::{Flow, Quantity};

use super::files::cannot_write;
use super::io::{Failure, Io};
use super::library::MethodsArgs;
use super::new_text::{plus, toml_quoted};
use super::propose::{Args, Tried};
use crate::plan::finding::Severity;
use crate::plan::source::Source;
use crate::plan::{self, ArmedAt, format, render, when};
use crate::propose::Proposal;

/// Writes the plan, unless it would be refused.
pub(super) fn plan(
    args: &Args,
    one: &Tried,
    p: &Proposal,
    io: &mut Io<'_>,
) -> Result<String, Failure> {
    let zone = super::new::zone(args.zone.as_deref(), io)?;
    let start = start(args)?;
    let text = written(args, one, p, &zone, start);
    let library = MethodsArgs { methods: args.library.methods.clone() }.library(io)?;
    // Whatever was asked for, what is written can be used: it goes through the reader itself.
    let source = Source::new("the proposed plan", text.clone());
    let loaded = plan::load_with(source, ArmedAt::Now(io.now), &library);
    if loaded.findings.has_errors() {
        for finding in loaded.findings.sorted() {
            if finding.severity == Severity::Error {
                writeln!(io.err, "{}", render::render(finding, &loaded.source, io.colour_err))?;
            }
        }
        return Err(Failure::Usage(
            "what is proposed makes no plan that can be armed now".to_owned(),
            "change --start, --zone or --name as said above".to_owned(),
        ));
    }
    Ok(text)
}

/// Puts it where it is wanted.
pub(super) fn write(text: &str, path: &str, quiet: bool, io: &mut Io<'_>) -> Result<(), Failure> {
    if path == "-" {
        io.out.write_all(text.as_bytes())?;
        return Ok(());
    }
    let write = std::fs::OpenOptions::new().write(true).create_new(true).open(path);
    write.and_then(|mut f| std::io::Write::write_all(&mut f, text.as_bytes())).map_err(|e| {
        if e.kind() != std::io::ErrorKind::AlreadyExists {
            return cannot_write(path, &e);
        }
        let help = "give another file; what is there is not overwritten".to_owned();
        Failure::Usage(format!("{path} cannot be written: it is there already"), help)
    })?;
    let to: &mut dyn std::io::Write = if quiet { io.err } else { io.out };
    writeln!(to, "\n{path} written. Next:\n  draught check {path}\n  draught forecast {path}")?;
    Ok(())
}

/// The first start: a date and a time, or a date with --from.
fn start(args: &Args) -> Result<Option<Civil>, Failure> {
    let fault = |e: when::NotWhen| Failure::Usage(format!("--start: {}", e.message), e.help);
    let Some(text) = &args.start else { return Ok(None) };
    let Ok(date) = when::date(text) else {
        if args.from.is_some() {
            return Err(Failure::Usage(
                "--start has a time, and so has --from".to_owned(),
                "give the date alone with --start".to_owned(),
            ));
        }
        return when::civil(text).map(Some).map_err(fault);
    };
    let Some(from) = &args.from else {
        let example = format!("{} 07:30", when::date_text(date));
        return Err(Failure::Usage(
            "--start has a date and no time".to_owned(),
            format!("write --start \"{example}\", or say the time with --from and --until"),
        ));
    };
    let time =
        when::time(from).map_err(|e| Failure::Usage(format!("--from: {}", e.message), e.help))?;
    Ok(Some(Civil { date, time }))
}

fn written(args: &Args, one: &Tried, p: &Proposal, zone: &str, start: Option<Civil>) -> String {
    let whole_day = p.total_min >= 23.0 * 60.0;
    let mut text = String::from("# Proposed");
    if !one.id.is_empty() {
        text.push_str(&format!(" for {}: {}", one.id, one.title));
    }
    text.push_str(".\n# The method, the laboratory, the site's hygienist and local code decide.\n");
    let mut line = |key: &str, value: &str, remark: &str| {
        let setting = format!("{key:<8} = {}", toml_quoted(value));
        let remark = if remark.is_empty() { String::new() } else { format!("# {remark}") };
        text.push_str(format!("{setting:<38} {remark}").trim_end());
        text.push('\n');
    };
    let name = match &args.name {
        Some(name) => name.clone(),
        None if one.id.is_empty() => "proposed".to_owned(),
        None => one.id.replace('/', "-").chars().take(24).collect(),
    };
    line("name", &name, "up to 24 letters");
    line("zone", zone, "the site's zone, not the computer's");
    if whole_day {
        line("time", "standard", "does not change with daylight-saving time");
    }
    let flow_ul = (p.flow_l_per_min * 1e6).round() as u32;
    let flow_ul = Quantity::Flow.scale().map_or(flow_ul, |_| exact(flow_ul));
    line("flow", &format::flow(flow_ul.into()), "actual, at the sampler's inlet");
    if let Some(by) = start.and_then(|s| plus(s, 600_000)) {
        let by = format!("{} {}", when::date_text(by.date), when::time_text(by.time));
        line("start-by", &by, "later: do not start");
    }
    if !one.id.is_empty() {
        line("method", &one.id, "what check compares it with");
    }
    text.push_str("\nsteps = [\n");
    for (step, remark) in steps(one, p, start) {
        let row = format!("  {{ {step} }},");
        let remark = if remark.is_empty() { String::new() } else { format!("# {remark}") };
        text.push_str(format!("{row:<60} {remark}").trim_end());
        text.push('\n');
    }
    text.push_str("]\n");
    limits(args, one, p, &mut text);
    text
}

/// A flow that a schedule holds: a large one has fewer digits.
fn exact(flow_ul: u32) -> u32 {
    if Flow::from_ul_per_min(flow_ul).is_ok() {
        return flow_ul;
    }
    let step = Quantity::Flow.scale().map_or(1, |s| s[1]);
    (flow_ul / step * step).max(1)
}

fn steps(one: &Tried, p: &Proposal, start: Option<Civil>) -> Vec<(String, String)> {
    let mut steps: Vec<(String, String)> = Vec::new();
    let mut add = |step: String, remark: &str| steps.push((step, remark.to_owned()));
    let first = match start {
        Some(Civil { date, time }) => {
            add(format!("wait-for-date = \"{}\"", date_text(date)), when::day_name(date.weekday()));
            add(format!("wait-for-time = \"{}\"", time_text(time)), "");
            3
        }
        None => {
            add("hold = \"2 min\"".to_owned(), "time to put it on");
            2
        }
    };
    let ms = (p.minutes * 60_000.0).round() as u64;
    add(format!("run-for = \"{}\"", format::duration(ms)), "");
    if p.samples > 1 {
        let change = (one.wish.change_min * 60_000.0).round() as u64;
        if change > 0 {
            add(format!("hold = \"{}\"", format::duration(change)), "change the sampler");
        }
        add(
            format!("repeat-from = {first}, passes = {}, sampler = \"fresh\"", p.samples),
            "each on a fresh sampler",
        );
    }
    add("finish = true".to_owned(), "");
    steps
}

fn date_text(date: Date) -> String {
    when::date_text(date)
}

fn time_text(time: TimeOfDay) -> String {
    when::time_text(time)
}

/// What is wanted, for `check`.
fn limits(args: &Args, one: &Tried, p: &Proposal, text: &mut String) {
    let mut lines = Vec::new();
    if let Some((from, to)) = one.wish.pump_flow {
        let flow = |l: f64| format::flow((l * 1e6).round() as u64);
        lines.push(format!("pump-flow = [\"{}\", \"{}\"]", flow(from), flow(to)));
    }
    // Rounded outwards to the mL, and so that what is proposed exactly at a limit is within it.
    if let Some((least, most)) = p.least.zip(p.most) {
        let volume = |ml: f64| format::volume_ml(ml.max(1.0) as u64);
        let drawn = p.volume_l * 1e3;
        let least = (least.l * 1e3).min(drawn) + 1e-6;
        let most = (most.l * 1e3).max(drawn) - 1e-6;
        let (least, most) = (volume(least.floor()), volume(most.ceil()));
        lines.push(format!("volume    = [\"{least}\", \"{most}\"]"));
    }
    if let Some(expect) = args.expect.as_ref().filter(|_| !one.id.is_empty()) {
        lines.push(format!("expect    = {}", toml_quoted(expect)));
    }
    if !lines.is_empty() {
        text.push_str(&format!("\n[limits]\n{}\n", lines.join("\n")));
    }
}
