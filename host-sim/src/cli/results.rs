//! `draught results`: what came of an event, in words and for machines.

use std::path::Path;

use super::event;
use super::files::{cannot_read, cannot_write, not_onto};
use super::io::{Failure, Io};
use super::library::MethodsArgs;
use super::paint::Paint;
use super::results_text;
use crate::event::folder::text;
use crate::event::{Folder, Record};
use crate::record_file;
use crate::report::result_rows;
use crate::results::{Results, compute};

/// Compute what came of an event: volume, concentration, exposure, with uncertainty and flags.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught results oven-line-2027-03-08
  draught results oven-line-2027-03-08 --json > results.json
  draught results records/p1.json records/p2.json --csv volumes.csv

A record alone has no verification and no laboratory: only what the pump recorded. What contradicts
in a folder is said, and nothing is computed: draught event check shows it.
Follow the method, the accredited laboratory, the site's hygienist and the local code.")]
pub struct Args {
    /// The folder of an event, or records.
    #[arg(value_name = "FOLDER|RECORD", required = true)]
    inputs: Vec<String>,
    #[command(flatten)]
    library: MethodsArgs,
    /// The same as JSON (docs/schema/results.json).
    #[arg(long)]
    json: bool,
    /// Write a row a sampler and analyte to this CSV file.
    #[arg(long, value_name = "FILE")]
    csv: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`]
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    for input in &args.inputs {
        not_onto(input, args.csv.as_deref())?;
    }
    let results = of(&args.inputs, &args.library, io)?;
    if let Some(path) = &args.csv {
        std::fs::write(path, result_rows::csv(&results)).map_err(|e| cannot_write(path, &e))?;
    }
    if args.json {
        serde_json::to_writer_pretty(&mut *io.out, &results).map_err(std::io::Error::from)?;
        writeln!(io.out)?;
        return Ok(());
    }
    write!(io.out, "{}", results_text::text(&results))?;
    if let Some(path) = &args.csv {
        writeln!(io.out, "\nwrote {path}")?;
    }
    Ok(())
}

/// The results of a folder, or of records.
pub(super) fn of(
    inputs: &[String],
    library: &MethodsArgs,
    io: &mut Io<'_>,
) -> Result<Results, Failure> {
    if let [folder] = inputs
        && Path::new(folder).is_dir()
    {
        let (loaded, library) = event::load(folder, library, io)?;
        if loaded.contradicts() {
            event::say(&loaded, io)?;
            writeln!(io.err, "{folder} contradicts itself: nothing is computed. See above.")?;
            return Err(Failure::Data);
        }
        event::say(&loaded, io)?;
        return Ok(compute(&loaded, &library));
    }
    if let Some(folder) = inputs.iter().find(|i| Path::new(i).is_dir()) {
        return Err(Failure::Usage(
            format!("{folder} is a folder, and there is more than that"),
            "give one folder, or records alone".to_owned(),
        ));
    }
    let place = |path: &String| std::fs::canonicalize(path).ok();
    for (i, input) in inputs.iter().enumerate() {
        if inputs.iter().take(i).any(|other| place(other).is_some_and(|p| Some(p) == place(input)))
        {
            return Err(Failure::Usage(
                format!("{input} is given twice"),
                "give each record once".to_owned(),
            ));
        }
    }
    let library = library.library(io)?;
    let mut records = Vec::new();
    for path in inputs {
        let content = match text(path) {
            Ok(Some(content)) => content,
            Ok(None) => {
                return Err(cannot_read(path, &std::io::ErrorKind::NotFound.into()));
            }
            Err(e) => return Err(cannot_read(path, &e)),
        };
        match record_file::read(&content) {
            Ok(file) => records.push(Record { path: path.clone(), file }),
            Err(e) => {
                let error = Paint(io.colour_err).bad("error[not-a-record]");
                writeln!(io.err, "{error}: {path}: {}", e.what)?;
                writeln!(io.err, "  = help: {}", e.help)?;
                return Err(Failure::Data);
            }
        }
    }
    Ok(compute(&Folder::of_records(records), &library))
}
