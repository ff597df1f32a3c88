//! `draught report`: results as a page for people, and as files for other programs.

use std::io::Read as _;
use std::path::Path;

use clap::Args as ClapArgs;

use super::io::{Failure, Io};
use super::paint::Paint;
use super::{files, report_pdf};
use crate::report::page::{self, Paper};
use crate::report::result_rows;
use crate::results::Results;

/// Make a report of results: one page that needs nothing else.
#[derive(ClapArgs, Debug)]
#[command(after_help = "\
Examples:
  draught report results.json -o report.html
  draught report results.json --pdf report.pdf --paper letter
  draught report results.json -o report.html --csv results.csv --json results-again.json")]
pub struct Args {
    /// Results, a JSON file (docs/schema/results.json); - for standard input.
    #[arg(value_name = "RESULTS")]
    input: String,
    /// Write the page to this HTML file.
    #[arg(short, long, value_name = "FILE")]
    output: Option<String>,
    /// Print the page to this PDF file; needs Chromium, found by CHROMIUM=PROGRAM or by its usual names.
    #[arg(long, value_name = "FILE")]
    pdf: Option<String>,
    /// What is printed on.
    #[arg(long, value_name = "PAPER", default_value = "a4")]
    paper: Paper,
    /// Write a row a sampler and analyte to this CSV file.
    #[arg(long, value_name = "FILE")]
    csv: Option<String>,
    /// Write the results to this JSON file (docs/schema/results.json).
    #[arg(long, value_name = "FILE")]
    json: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`]
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let outputs =
        [("-o", &args.output), ("--pdf", &args.pdf), ("--csv", &args.csv), ("--json", &args.json)];
    if outputs.iter().all(|(_, file)| file.is_none()) {
        return Err(Failure::Usage(
            "there is nothing to write to".to_owned(),
            "give -o report.html, --pdf, --csv or --json".to_owned(),
        ));
    }
    for (option, file) in outputs {
        let Some(file) = file.as_deref() else { continue };
        if file == "-" {
            return Err(Failure::Usage(
                format!("{option} needs a file"),
                format!("give a file: {option} FILE"),
            ));
        }
        files::not_onto(&args.input, Some(file))?;
    }
    // Looked for before anything is written.
    let browser = args.pdf.as_ref().map(|_| report_pdf::browser()).transpose()?;
    let results = load(&args.input, io)?;
    let html = page::page(&results, Some(args.paper));
    if let Some(file) = &args.output {
        write(file, &html, io)?;
    }
    if let Some(file) = &args.csv {
        write(file, &result_rows::csv(&results), io)?;
    }
    if let Some(file) = &args.json {
        let json = serde_json::to_string_pretty(&results).unwrap_or_default();
        write(file, &(json + "\n"), io)?;
    }
    if let (Some(file), Some(browser)) = (&args.pdf, browser) {
        report_pdf::print(&browser, &html, Path::new(file))?;
        writeln!(io.out, "wrote {file}")?;
    }
    Ok(())
}

fn write(file: &str, text: &str, io: &mut Io<'_>) -> Result<(), Failure> {
    std::fs::write(file, text).map_err(|e| files::cannot_write(file, &e))?;
    writeln!(io.out, "wrote {file}")?;
    Ok(())
}

/// No results have as many bytes as this by far.
const BYTES_AT_MOST: u64 = 256 << 20;

fn load(input: &str, io: &mut Io<'_>) -> Result<Results, Failure> {
    let mut text = Vec::new();
    let read = match input {
        "-" => io.stdin.take(BYTES_AT_MOST).read_to_end(&mut text),
        _ => std::fs::File::open(input)
            .and_then(|file| file.take(BYTES_AT_MOST).read_to_end(&mut text)),
    };
    read.map_err(|e| files::cannot_read(input, &e))?;
    serde_json::from_slice(&text).or_else(|e| {
        let error = Paint(io.colour_err).bad("error[results]");
        let name = if input == "-" { "standard input" } else { input };
        writeln!(io.err, "{error}: {name} holds no results: {e}")?;
        writeln!(
            io.err,
            "  = help: give a results file: docs/schema/results.json says what is in one"
        )?;
        Err(Failure::Data)
    })
}
