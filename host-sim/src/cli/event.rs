//! `draught event`: the folder of an event.

use std::path::Path;

use draught::wire;

use super::common::{PlanArgs, Usable, say_findings};
use super::encode::block;
use super::event_text;
use super::files::{cannot_read, cannot_write, not_onto};
use super::io::{Failure, Io};
use super::library::{MethodsArgs, not_named};
use super::table::{Side, Table};
use crate::event::folder::{BLOCK, FIELD, NotLoaded, PLAN, RECORDS};
use crate::event::new::{SAMPLES_AT_MOST, Wish, field, record_path};
use crate::event::sheet::{self, Paper};
use crate::event::{Folder, missing};
use crate::methods::Named;
use crate::plan::finding::Finding;
use crate::plan::{format, when};

/// Keep what belongs to an event in one folder: make it, check it, print its sheet.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught event new plan.toml -o oven-line-2027-03-08 --pumps P1,P2
  draught event check oven-line-2027-03-08
  draught event sheet oven-line-2027-03-08 -o sheet.html

docs/event-folder.md has every key of field.toml.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(clap::Subcommand, Debug)]
enum What {
    /// Make a folder from a plan: plan, block, and a field sheet with every sampler.
    New(NewArgs),
    /// Say what is there, what contradicts and what is still missing.
    Check(CheckArgs),
    /// Make the field sheet and custody form, to print.
    Sheet(SheetArgs),
}

/// Make a folder from a plan: plan, block, and a field sheet with every sampler.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught event new plan.toml -o oven-line-2027-03-08 --pumps P1,P2
  draught event new plan.toml -o six-workers --workers 6 --method nmam-0600

The moment of arming matters only for the site's UTC offset at the first start.")]
struct NewArgs {
    #[command(flatten)]
    plan: PlanArgs,
    /// The folder; it must not be there yet, or be empty.
    #[arg(short, long, value_name = "FOLDER")]
    output: String,
    /// The numbers of the pumps, one worker each.
    #[arg(long, value_name = "P1,P2", value_delimiter = ',', conflicts_with = "workers")]
    pumps: Vec<String>,
    /// How many workers, each with a pump P1, P2, ...
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=200))]
    workers: Option<u16>,
    /// The method; that of the plan, unless given.
    #[arg(long, value_name = "ID")]
    method: Option<String>,
}

/// Say what is there, what contradicts and what is still missing.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught event check oven-line-2027-03-08

Exit codes: 0 nothing contradicts, whatever is missing; 1 something contradicts; 2 wrong use.")]
struct CheckArgs {
    /// The folder.
    #[arg(value_name = "FOLDER")]
    folder: String,
    #[command(flatten)]
    library: MethodsArgs,
    /// The same as JSON (docs/schema/event-check.json).
    #[arg(long)]
    json: bool,
}

/// Make the field sheet and custody form, to print.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught event sheet oven-line-2027-03-08 -o sheet.html --paper letter")]
struct SheetArgs {
    /// The folder.
    #[arg(value_name = "FOLDER")]
    folder: String,
    #[command(flatten)]
    library: MethodsArgs,
    /// Where the page goes; - for standard output.
    #[arg(short, long, value_name = "FILE")]
    output: String,
    /// What it is printed on.
    #[arg(long, value_name = "PAPER", default_value = "a4")]
    paper: Paper,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`]
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    match &args.what {
        What::New(args) => new(args, io),
        What::Check(args) => check(args, io),
        What::Sheet(args) => sheet(args, io),
    }
}

/// Loads a folder.
pub(super) fn load(
    folder: &str,
    library: &MethodsArgs,
    io: &mut Io<'_>,
) -> Result<(Folder, crate::methods::Library), Failure> {
    let library = library.library(io)?;
    let loaded = Folder::load(folder, &library, io.now);
    let loaded = loaded.map_err(|NotLoaded { path, error }| {
        if path == folder && error.kind() == std::io::ErrorKind::NotADirectory {
            return Failure::Usage(
                format!("{path} is a file, and a folder is wanted"),
                "give the folder of an event; draught event new makes one".to_owned(),
            );
        }
        match cannot_read(&path, &error) {
            Failure::Usage(what, _) => Failure::Usage(
                what,
                "give the folder of an event; draught event new makes one".to_owned(),
            ),
            other => other,
        }
    })?;
    Ok((loaded, library))
}

/// Says everything that was found in a folder.
pub(super) fn say(folder: &Folder, io: &mut Io<'_>) -> std::io::Result<()> {
    if let Some(plan) = &folder.plan {
        let all = plan.findings.sorted();
        let grave: Vec<&Finding> = all
            .into_iter()
            .filter(|f| f.severity == crate::plan::finding::Severity::Error)
            .collect();
        say_findings(&grave, &plan.source, io.colour_err, io.err)?;
    }
    say_findings(&folder.findings.sorted(), &folder.field_source, io.colour_err, io.err)
}

fn check(args: &CheckArgs, io: &mut Io<'_>) -> Result<(), Failure> {
    let (folder, _) = load(&args.folder, &args.library, io)?;
    let missing = missing::all(&folder);
    if args.json {
        event_text::json(&folder, &missing, io)?;
    } else {
        say(&folder, io)?;
        write!(io.out, "{}", event_text::text(&folder, &missing))?;
    }
    if folder.contradicts() { Err(Failure::Data) } else { Ok(()) }
}

fn sheet(args: &SheetArgs, io: &mut Io<'_>) -> Result<(), Failure> {
    let (folder, _) = load(&args.folder, &args.library, io)?;
    if folder.contradicts() {
        say(&folder, io)?;
        writeln!(io.err, "{} contradicts itself; see above.", args.folder)?;
        return Err(Failure::Data);
    }
    not_onto(&args.folder, Some(&args.output))?;
    let html = sheet::html(&folder, args.paper);
    if args.output == "-" {
        io.out.write_all(html.as_bytes())?;
        return Ok(());
    }
    std::fs::write(&args.output, html).map_err(|e| cannot_write(&args.output, &e))?;
    writeln!(io.out, "{} written. Open it in a browser and print it.", args.output)?;
    Ok(())
}

fn new(args: &NewArgs, io: &mut Io<'_>) -> Result<(), Failure> {
    let library = args.plan.library.library(io)?;
    if let Some(method) = &args.method
        && !matches!(library.named(method), Named::Found(..))
    {
        return Err(not_named("--method: ", method, &library.named(method)));
    }
    if args.plan.plan == "-" {
        return Err(Failure::Usage(
            "a folder needs its plan as a file".to_owned(),
            "give the file of the plan".to_owned(),
        ));
    }
    let pumps = pumps(args)?;
    let Usable { ready, warnings } = args.plan.ready(io)?;
    if let Some(warnings) = &warnings {
        warnings.say(io)?;
    }
    let table = ready.table();
    let samples = ready.outlook.samples().len();
    let first = ready.outlook.first_start().and_then(|n| n.wall);
    let day = first.and_then(|w| ready.time.offset.civil(w)).map(|c| when::date_text(c.date));
    let name = Path::new(&args.output).file_name().map(|n| n.to_string_lossy().into_owned());
    let of_plan = ready.plan.wanted.method.as_ref().map(|m| m.value.clone());
    let wish = Wish {
        name: name.unwrap_or_else(|| table.settings().name.as_str().to_owned()),
        method: args.method.clone().or(of_plan),
        pumps,
        samples: u32::try_from(samples).unwrap_or(u32::MAX),
        day: day.unwrap_or_else(|| "2027-03-08".to_owned()),
        shift: None,
    };
    let folder = Path::new(&args.output);
    make(folder, &args.output)?;
    let write = |file: &str, bytes: &[u8]| {
        let path = folder.join(file);
        std::fs::write(&path, bytes).map_err(|e| cannot_write(&path.display().to_string(), &e))
    };
    write(PLAN, ready.plan.source.text.as_bytes())?;
    write(BLOCK, &block(table))?;
    write(FIELD, field(&wish).as_bytes())?;
    std::fs::create_dir_all(folder.join(RECORDS)).map_err(|e| cannot_write(&args.output, &e))?;
    let mut about = Table::new(&[Side::Left, Side::Left]);
    let shown = wish.samples.min(SAMPLES_AT_MOST) as usize;
    let id = wire::schedule_id(table);
    about.row([PLAN.to_owned(), "the plan, as it was".to_owned()]);
    about.row([BLOCK.to_owned(), format!("schedule {id}, for every pump")]);
    let each = format::count(shown, "sampler");
    let of = format::count(wish.pumps.len(), "pump");
    about.row([FIELD.to_owned(), format!("to fill in: {of}, {each} each")]);
    about.row([format!("{RECORDS}/"), "for the pumps' records".to_owned()]);
    write!(io.out, "{} made\n\n{}", args.output, about.render())?;
    if samples > shown {
        writeln!(io.out, "\nOf {samples} samples a pump, {shown} are written out; add the rest.")?;
    }
    writeln!(
        io.out,
        "\nNext:\n  draught event sheet {0} -o sheet.html\n  draught event check {0}",
        args.output
    )?;
    Ok(())
}

fn pumps(args: &NewArgs) -> Result<Vec<String>, Failure> {
    let given: Vec<String> = args.pumps.iter().map(|p| p.trim().to_owned()).collect();
    if given.iter().any(String::is_empty) || given.len() > 200 {
        return Err(Failure::Usage(
            "--pumps has an empty number, or more than 200".to_owned(),
            "write them as in --pumps P1,P2".to_owned(),
        ));
    }
    for (i, pump) in given.iter().enumerate() {
        if let Some(other) = given.iter().take(i).find(|p| record_path(p) == record_path(pump)) {
            return Err(Failure::Usage(
                format!("--pumps: {other} and {pump} would have the same record"),
                "give each pump a number of its own".to_owned(),
            ));
        }
    }
    if !given.is_empty() {
        return Ok(given);
    }
    Ok((1..=args.workers.unwrap_or(1)).map(|n| format!("P{n}")).collect())
}

/// An empty folder.
fn make(folder: &Path, shown: &str) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|e| cannot_write(shown, &e))?;
    let mut entries = std::fs::read_dir(folder).map_err(|e| cannot_write(shown, &e))?;
    if entries.next().is_some() {
        return Err(Failure::Usage(
            format!("{shown} cannot be made: it is there, and not empty"),
            "give another folder; what is there is not overwritten".to_owned(),
        ));
    }
    Ok(())
}
