//! `draught encode`: the bytes that a pump gets.

use draught::table::TableRef;
use draught::wire;
use serde::Serialize;

use super::common::{PlanArgs, Usable};
use super::files::{cannot_write, not_onto};
use super::io::{Failure, Io};
use super::paint::Paint;
use super::table::{Side, Table};
use crate::plan::CAPACITY;

/// Make the bytes that a pump gets from a plan.
///
/// The same schedule always gives the same bytes. The last four of them are its id.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught encode docs/examples/short-term.toml -o short.draught
  draught encode plan.toml -o - | draught decode -

The moment of arming matters only for the site's UTC offset at the first start.")]
pub struct Args {
    #[command(flatten)]
    plan: PlanArgs,
    /// Where the bytes go; - for standard output. Without it they are shown only.
    #[arg(short, long, value_name = "FILE")]
    output: Option<String>,
    /// Size, id and bytes as JSON (docs/schema/encode.json).
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the plan has errors; wrong use when the file cannot be written.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    not_onto(&args.plan.plan, args.output.as_deref())?;
    let Usable { ready, warnings } = args.plan.ready(io)?;
    if let Some(warnings) =
        warnings.as_ref().filter(|_| args.output.as_deref() == Some("-") || args.json)
    {
        warnings.say(io)?;
    }
    let table = ready.table();
    let block = block(table);
    match args.output.as_deref() {
        Some("-") => {
            io.out.write_all(&block)?;
            return Ok(());
        }
        Some(path) => std::fs::write(path, &block).map_err(|e| cannot_write(path, &e))?,
        None => {}
    }
    let id = wire::schedule_id(table).to_string();
    if args.json {
        let hex: String = block.iter().map(|b| format!("{b:02x}")).collect();
        let report =
            Report { format: 1, name: table.settings().name.as_str(), bytes: block.len(), id, hex };
        serde_json::to_writer_pretty(&mut *io.out, &report).map_err(std::io::Error::from)?;
        writeln!(io.out)?;
        return Ok(());
    }
    let mut about = Table::new(&[Side::Left, Side::Left]);
    about.row(["schedule", &format!("{id}, its CRC-32C")]);
    about.row(["size", &format!("{} bytes, {} steps", block.len(), table.steps().len())]);
    about.row(["time", &ready.time.label()]);
    if let Some(path) = args.output.as_deref() {
        about.row(["written to", path]);
    }
    if let Some(warnings) = &warnings {
        about.row(warnings.row(Paint(io.colour_out)));
    }
    write!(io.out, "{}\n{}", about.render(), hex_dump(&block))?;
    Ok(())
}

/// The block of a table.
#[must_use]
pub fn block(table: TableRef<'_>) -> Vec<u8> {
    let mut bytes = vec![0; wire::max_len(CAPACITY)];
    // A table of the host's capacity always fits the largest length for it.
    let len = wire::encode(table, &mut bytes).unwrap_or(0);
    bytes.truncate(len);
    bytes
}

/// Sixteen bytes a line: offset, bytes, letters.
#[must_use]
pub fn hex_dump(bytes: &[u8]) -> String {
    let mut text = String::new();
    for (i, line) in bytes.chunks(16).enumerate() {
        let hex: Vec<String> = line.iter().map(|b| format!("{b:02x}")).collect();
        let letter = |b: &u8| if b.is_ascii_graphic() || *b == b' ' { char::from(*b) } else { '.' };
        let letters: String = line.iter().map(letter).collect();
        let (left, right) = hex.split_at(hex.len().min(8));
        text.push_str(&format!(
            "{:04x}  {:<23}  {:<23}  {letters}\n",
            i * 16,
            left.join(" "),
            right.join(" ")
        ));
    }
    text
}

/// The answer for machines; `docs/schema/encode.json` describes it.
#[derive(Serialize)]
struct Report<'a> {
    format: u8,
    name: &'a str,
    bytes: usize,
    id: String,
    hex: String,
}
