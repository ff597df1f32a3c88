//! `draught explain`: every byte of a block.

use super::files::{hint_at_text, read_block};
use super::io::{Failure, Io};
use crate::explain::explain_for;

/// Say what every byte of a block means, also of a damaged one: what is wrong, and where.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught explain night.draught
  draught encode docs/examples/short-term.toml -o - | draught explain -

Exit code 1 if the block is refused.")]
pub struct Args {
    /// The block; - for standard input.
    #[arg(value_name = "FILE")]
    file: String,
    /// How many steps the pump has room for, 1 to 255; a block with more is refused.
    #[arg(
        long,
        value_name = "STEPS",
        default_value_t = 255,
        hide_default_value = true,
        value_parser = clap::value_parser!(u8).range(1..)
    )]
    room: u8,
    /// The same as JSON (docs/schema/explain.json).
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the block is refused; wrong use when it cannot be read.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let (_, bytes) = read_block(&args.file, io)?;
    let explanation = explain_for(&bytes, args.room.into());
    if args.json {
        serde_json::to_writer_pretty(&mut *io.out, &explanation).map_err(std::io::Error::from)?;
        writeln!(io.out)?;
    } else {
        io.out.write_all(explanation.render().as_bytes())?;
        if !explanation.damage.is_empty() {
            io.out.write_all(hint_at_text(&args.file, &bytes).as_bytes())?;
        }
    }
    if explanation.damage.is_empty() { Ok(()) } else { Err(Failure::Data) }
}
