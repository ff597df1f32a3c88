//! `draught decode`: a plan that is equivalent to a block.

use draught::table::StepTable;
use draught::wire::{self, STEPS_MAX};

use super::files::{cannot_write, hint_at_text, not_onto, read_block};
use super::io::{Failure, Io};
use super::paint::Paint;
use crate::plan::write;

/// Make an equivalent plan from the bytes that a pump gets.
///
/// Encoding it again gives the same bytes. A damaged block is refused, with the offset of the fault.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught decode night.draught -o night.toml")]
pub struct Args {
    /// The block; - for standard input.
    #[arg(value_name = "FILE")]
    file: String,
    /// Where the plan goes; standard output, unless given.
    #[arg(short, long, value_name = "FILE")]
    output: Option<String>,
}

/// What a block does not carry, as a comment.
const NOT_CARRIED: &str = "\
# A block carries no comments, no zone (only its UTC offset at the first start), and nothing that only
# the host checks: the ranges of pump and sampler, the volume wanted.
";

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the block is refused; wrong use when a file cannot be read or written.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    not_onto(&args.file, args.output.as_deref())?;
    let (name, bytes) = read_block(&args.file, io)?;
    let mut table = Box::new(StepTable::<STEPS_MAX>::empty());
    if let Err(refused) = wire::decode_into(&bytes, &mut table) {
        refuse(&args.file, &name, &refused, io)?;
        io.err.write_all(hint_at_text(&args.file, &bytes).as_bytes())?;
        return Err(Failure::Data);
    }
    let Ok(checked) = table.checked() else { return Err(Failure::Data) };
    let id = wire::schedule_id(checked);
    let text = format!(
        "# Schedule {id}, from {} bytes.\n{NOT_CARRIED}\n{}",
        bytes.len(),
        write::plan(checked)
    );
    match args.output.as_deref() {
        None | Some("-") => io.out.write_all(text.as_bytes())?,
        Some(path) => std::fs::write(path, text).map_err(|e| cannot_write(path, &e))?,
    }
    Ok(())
}

/// Says why a block was refused: what, where, what to do.
pub(super) fn refuse(
    path: &str,
    name: &str,
    refused: &wire::Refused,
    io: &mut Io<'_>,
) -> std::io::Result<()> {
    let paint = Paint(io.colour_err);
    let code = refused.code.as_str();
    // "byte 3, step 1: what is wrong; what to do (code)"
    let text = refused.to_string();
    let (_, text) = text.split_once(": ").unwrap_or(("", &text));
    let (what, advice) = text.rsplit_once("; ").unwrap_or((text, ""));
    let advice = advice.strip_suffix(&format!(" ({code})")).unwrap_or(advice);
    let step = refused.step.map_or(String::new(), |s| format!("step {}: ", s.get()));
    writeln!(io.err, "{}: {step}{what}", paint.bad(&format!("error[{code}]")))?;
    writeln!(io.err, "  --> {name}: byte {}", refused.at)?;
    writeln!(io.err, "  = help: {advice}")?;
    // From a pipe it would have to come once more.
    if path == "-" {
        return Ok(());
    }
    writeln!(io.err, "  = help: draught explain {path} shows every byte")
}
