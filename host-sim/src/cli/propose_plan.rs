//! The plan of a proposal: what is written passes `check`.

use draught::calendar::Civil;
use draught::units::{Flow, Quantity};

use super::io::{Failure, Io};
use super::library::MethodsArgs;
use super::new_text::{plus, toml_quoted};
use super::propose::{Args, Tried};
use super::written_plan;
use crate::plan::source::Source;
use crate::plan::{self, ArmedAt, format, when};
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
    written_plan::can_be_armed(&loaded, "what is proposed", "--start, --zone or --name", io)?;
    Ok(text)
}

/// Puts it where it is wanted.
pub(super) fn write(text: &str, path: &str, quiet: bool, io: &mut Io<'_>) -> Result<(), Failure> {
    if path == "-" {
        io.out.write_all(text.as_bytes())?;
        return Ok(());
    }
    let to: &mut dyn std::io::Write = if quiet { io.err } else { io.out };
    writeln!(to)?;
    written_plan::to_new_file(text, path, to)
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
    let flow_ul = held((p.flow_l_per_min * 1e6).round() as u32);
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
fn held(flow_ul: u32) -> u32 {
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
            add(
                format!("wait-for-date = \"{}\"", when::date_text(date)),
                when::day_name(date.weekday()),
            );
            add(format!("wait-for-time = \"{}\"", when::time_text(time)), "");
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
    // A volume that the method states at a concentration can be checked only with one.
    let said = args.expect.as_ref().map(|c| (c, "")).or_else(|| {
        let limit = args.limit.as_ref()?;
        Some((limit, "   # the limit: nothing was said of what is expected"))
    });
    if let Some((expect, remark)) = said.filter(|_| !one.id.is_empty()) {
        lines.push(format!("expect    = {}{remark}", toml_quoted(expect)));
    }
    if !lines.is_empty() {
        text.push_str(&format!("\n[limits]\n{}\n", lines.join("\n")));
    }
}
