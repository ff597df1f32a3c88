//! `draught diff`: what differs between two plans or blocks.

use draught::table::StepTable;
use draught::wire::{self, ScheduleId};
use serde::Serialize;

use super::common::{armed_at, usable};
use super::decode::refuse;
use super::diff_text;
use super::files::{Content, cannot_read, content};
use super::io::{Failure, Io};
use super::paint::Paint;
use crate::diff::{self, Change, Diff, FieldChange, Renumbered};
use crate::plan::source::{self, Source};
use crate::plan::{self, ArmedAt, CAPACITY};

/// Say what differs between two plans or blocks: which setting or step, which field, old and new value.
///
/// Each file is a plan or a block; a plan is compared as the block that a pump would get from it, so what
/// no block carries (comments, the ranges of pump and sampler) makes no difference.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught diff docs/examples/full-shift.toml docs/examples/two-flows.toml
  draught encode plan.toml -o - | draught diff sent.draught -

A plan counts as the block that a pump would get from it: comments, and what only the host checks,
make no difference. It is taken as armed now, or shortly before its first start if it is too late
for that.

Exit codes: 0 the same schedule, 1 different, 2 not compared: a file cannot be read or is at fault.")]
pub struct Args {
    /// A plan or a block; - for standard input.
    #[arg(value_name = "OLD")]
    old: String,
    /// Another; - for standard input.
    #[arg(value_name = "NEW")]
    new: String,
    /// When plans are armed, in their own time: "2027-02-11 18:40"; also with an offset.
    #[arg(long, value_name = "TIME")]
    armed_at: Option<String>,
    /// The same as JSON (docs/schema/diff.json).
    #[arg(long)]
    json: bool,
}

/// One of the two.
pub(super) struct Schedule {
    pub name: String,
    pub read_as: &'static str,
    pub table: Box<StepTable<CAPACITY>>,
    pub id: ScheduleId,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Differs`]; [`Failure::NotCompared`] when a plan or a block is at fault; wrong use when a file
/// cannot be read.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    if args.old == "-" && args.new == "-" {
        return Err(Failure::Usage(
            "both are standard input, and there is one of it".to_owned(),
            "give a file for one of the two".to_owned(),
        ));
    }
    let armed = args.armed_at.as_deref().map(armed_at).transpose()?;
    let mut read = |path: &str| match read(path, armed, args.armed_at.as_deref(), io) {
        Err(Failure::Data) => Err(Failure::NotCompared),
        other => other,
    };
    // What is wrong with the other is said too, unless the first cannot even be opened.
    let (old, new) = match (read(&args.old), read(&args.new)) {
        (Ok(old), Ok(new)) => (old, new),
        (Err(Failure::NotCompared), Err(other)) => return Err(other),
        (Err(failure), _) | (_, Err(failure)) => return Err(failure),
    };
    let (Ok(a), Ok(b)) = (old.table.checked(), new.table.checked()) else {
        return Err(Failure::NotCompared);
    };
    let found = diff::diff(a, b);
    let text = if args.json {
        let report = Report::of(&old, &new, &found);
        serde_json::to_string_pretty(&report).map_err(std::io::Error::from)? + "\n"
    } else {
        diff_text::text(&old, &new, &found, Paint(io.colour_out))
    };
    let written = io.out.write_all(text.as_bytes()).and_then(|()| io.out.flush());
    match written {
        // Who closes the pipe early learns the answer from the exit code.
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(Failure::Output(e)),
        _ if found.is_empty() => Ok(()),
        _ => Err(Failure::Differs),
    }
}

fn read(
    path: &str,
    armed_at: Option<ArmedAt>,
    armed_text: Option<&str>,
    io: &mut Io<'_>,
) -> Result<Schedule, Failure> {
    let (name, bytes) = match source::read_bytes(path, io.stdin) {
        Ok(read) => read,
        Err(e) if e.kind() == std::io::ErrorKind::InvalidData => {
            let error = Paint(io.colour_err).bad("error");
            writeln!(io.err, "{error}: {path} is neither a plan nor a block: {e}")?;
            writeln!(io.err, "  = help: give another file")?;
            return Err(Failure::Data);
        }
        Err(e) => return Err(cannot_read(path, &e)),
    };
    let (read_as, table) = match content(bytes) {
        Content::Text(text) => {
            let source = Source::new(name.as_str(), text);
            ("plan", plan(source, path, armed_at, armed_text, io)?)
        }
        Content::Bytes(bytes) => ("block", block(&bytes, path, &name, io)?),
    };
    let id = match table.checked() {
        Ok(checked) => wire::schedule_id(checked),
        Err(_) => return Err(Failure::Data),
    };
    Ok(Schedule { name, read_as, table, id })
}

/// The schedule of a plan, checked as `encode` checks it.
fn plan(
    source: Source,
    path: &str,
    armed_at: Option<ArmedAt>,
    armed_text: Option<&str>,
    io: &mut Io<'_>,
) -> Result<Box<StepTable<CAPACITY>>, Failure> {
    let mut loaded = plan::load(source.clone(), armed_at.unwrap_or(ArmedAt::Now(io.now)));
    // A plan of last month says what it always said.
    if armed_at.is_none() && loaded.findings.has_errors() {
        let earlier = plan::load(source.clone(), plan::shortly_before(&source));
        if !earlier.findings.has_errors() {
            loaded = earlier;
        }
    }
    Ok(Box::new(usable(loaded, path, armed_text, io)?.ready.table))
}

fn block(
    bytes: &[u8],
    path: &str,
    name: &str,
    io: &mut Io<'_>,
) -> Result<Box<StepTable<CAPACITY>>, Failure> {
    let mut table = Box::new(StepTable::empty());
    match wire::decode_into(bytes, &mut table) {
        Ok(()) => Ok(table),
        Err(_) if bytes.first() != Some(&b'D') => {
            let error = Paint(io.colour_err).bad("error");
            writeln!(
                io.err,
                "{error}: {name} is neither a plan nor a block: it is no text, and does not begin with 'D'"
            )?;
            writeln!(
                io.err,
                "  = help: give another file; of a damaged block, draught explain shows every byte"
            )?;
            Err(Failure::Data)
        }
        Err(refused) => {
            refuse(path, name, &refused, io)?;
            Err(Failure::Data)
        }
    }
}

/// The answer for machines; `docs/schema/diff.json` describes it.
#[derive(Serialize)]
struct Report<'a> {
    format: u8,
    same: bool,
    old: Side<'a>,
    new: Side<'a>,
    settings: &'a [FieldChange],
    steps: Vec<Step<'a>>,
    renumbered: &'a [Renumbered],
}

#[derive(Serialize)]
struct Side<'a> {
    file: &'a str,
    read_as: &'static str,
    id: String,
    name: &'a str,
    steps: usize,
}

#[derive(Serialize)]
struct Step<'a> {
    #[serde(flatten)]
    step: &'a diff::StepChange,
    says: Option<String>,
}

impl<'a> Report<'a> {
    fn of(old: &'a Schedule, new: &'a Schedule, found: &'a Diff) -> Self {
        let step = |step| Step { step, says: one_sided_words(old, new, step) };
        Self {
            format: 1,
            same: found.is_empty(),
            old: Side::of(old),
            new: Side::of(new),
            settings: &found.settings,
            steps: found.steps.iter().map(step).collect(),
            renumbered: &found.renumbered,
        }
    }
}

impl<'a> Side<'a> {
    fn of(s: &'a Schedule) -> Self {
        Self {
            file: &s.name,
            read_as: s.read_as,
            id: s.id.to_string(),
            name: s.table.settings().name.as_str(),
            steps: s.table.steps().len(),
        }
    }
}

/// A step that is on one side only, in words.
pub(super) fn one_sided_words(
    old: &Schedule,
    new: &Schedule,
    step: &diff::StepChange,
) -> Option<String> {
    let (of, number) = match step.change {
        Change::Changed => return None,
        Change::Added => (new, step.new_step?),
        Change::Removed => (old, step.old_step?),
    };
    let found = of.table.steps().get(usize::from(number).checked_sub(1)?)?;
    Some(crate::plan::step_words::meaning(*found, of.table.settings().target))
}
