//! `draught simulate`: the main job, end to end, on a simulated pump.

use std::fs::File;
use std::io::{self, BufWriter, Write};

use draught::table::StepTable;
use draught::wire;

use super::files::{Wanted, cannot_write, not_onto, read_source};
use super::io::{Failure, Io};
use super::paint::Paint;
use super::progress::Progress;
use super::simulate_world::{self, duration, world};
use super::{common, forecast, simulate_json, simulate_record};
use crate::bench::{self, Expected, Outcome, PumpOutcome, Series, Setup, World};
use crate::plan::{self, CAPACITY, Ready, when};
use crate::record_file::{self, NOTICE};
use crate::report::picture;
use crate::report::trace::Trace;

/// Run a plan on a simulated pump, faster than real time, and print its record.
///
/// The plan is checked, forecast and encoded; the simulated pump is armed with what it decodes from those bytes, as a real one
/// would be, and runs the real core in a simulated world. Nothing of it is a sample.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught simulate docs/examples/bakery-night.toml
  draught simulate docs/examples/bakery-night.toml --seed 7 --svg run.svg
  draught simulate docs/examples/bakery-night.toml --world worn-2-l-min-bad-day
  draught simulate plan.toml --world my-world.toml --record run.json

Worlds that come with the program:
  default               schedule and meter only
  ideal                 the same without any error
  worn-pump             the same, slow and with a clock that drifts
  worn-2-l-min          a whole worn pump, 1.5 to 2.5 L/min
  worn-2-l-min-bad-day  the same, and much goes wrong
  ambient-16-67         a whole outdoor sampler, 16.67 L/min, mains
  low-flow-tube         a whole low-flow pump, 50 to 200 mL/min")]
pub struct Args {
    /// The plan, a TOML file; - for standard input.
    #[arg(value_name = "PLAN")]
    plan: String,
    /// What surrounds the pump: a TOML file, or the name of a world that comes with the program. "default", unless given.
    #[arg(long, value_name = "FILE|NAME")]
    world: Option<String>,
    /// Where chance begins: the same seed gives the same run, byte for byte.
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true)]
    seed: u64,
    /// When it is armed, in the plan's time: "2027-02-11 18:40". Shortly before its first start, unless given.
    #[arg(long, value_name = "TIME")]
    armed_at: Option<String>,
    /// When a hold is resumed after its begin: "30 min", or "never". As the world says, unless given.
    #[arg(long, value_name = "TIME")]
    resume_after: Option<String>,
    /// Write every reading and everything that happened to this CSV file.
    #[arg(long, value_name = "FILE")]
    csv: Option<String>,
    /// One CSV row for the readings of such a time, with their mean flow: "1 min".
    #[arg(long, value_name = "TIME", requires = "csv")]
    csv_every: Option<String>,
    /// Draw flow and volume over time to this SVG file.
    #[arg(long, value_name = "FILE")]
    svg: Option<String>,
    /// Write the record of a whole pump to this JSON file (docs/schema/record.json).
    #[arg(long, value_name = "FILE")]
    record: Option<String>,
    /// What was planned and what happened as JSON (docs/schema/simulate.json).
    #[arg(long)]
    json: bool,
}

/// A run, with everything that is said about it.
pub(super) struct Simulated<'r> {
    pub ready: &'r Ready,
    pub world: &'r World,
    pub schedule_id: wire::ScheduleId,
    pub outcome: Outcome,
    /// Of a whole pump, where the world has one.
    pub pump: Option<PumpOutcome>,
    /// Whether the world is the one that is taken when none is named.
    pub unnamed: bool,
    pub comparison: bench::Comparison,
    pub files: Vec<Written>,
}

/// A file that was written.
pub(super) struct Written {
    pub path: String,
    /// Rows of data, where it has rows.
    pub rows: Option<u64>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Data`] when the plan or the world has errors, or the event did not go as forecast.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let outputs = [("--csv", &args.csv), ("--svg", &args.svg), ("--record", &args.record)];
    for (i, (option, path)) in outputs.iter().enumerate() {
        if path.as_deref() == Some("-") {
            let what = format!("{option} needs a file: standard output is for the record");
            return Err(Failure::Usage(what, "give a file's name".to_owned()));
        }
        not_onto(&args.plan, path.as_deref())?;
        if let Some((other, path)) =
            outputs[..i].iter().find(|(_, p)| path.is_some() && *p == *path)
        {
            let path = path.as_deref().unwrap_or_default();
            let what = format!("{other} and {option} both write {path}");
            return Err(Failure::Usage(what, "give each a file of its own".to_owned()));
        }
    }
    let world = world(args.world.as_deref(), args.resume_after.as_deref(), io)?;
    if args.record.is_some() && world.plant.is_none() {
        return Err(Failure::Usage(
            format!("--record needs a whole pump, and the {world} has none"),
            "give a world with a [plant], such as --world worn-2-l-min".to_owned(),
        ));
    }
    let csv_every_ms = match &args.csv_every {
        None => 0,
        Some(text) => duration("--csv-every", text)?,
    };
    let source = read_source(&args.plan, Wanted::Plan, io)?;
    let armed_at = match &args.armed_at {
        Some(text) => common::armed_at(text)?,
        None => plan::shortly_before(&source),
    };
    let library = super::library::MethodsArgs::default().library(io)?;
    let loaded = plan::load_with(source, armed_at, &library);
    // What `check` has to be told to look at the same moment.
    let armed_text = args.armed_at.clone().or_else(|| loaded.ready.as_ref().map(armed_text));
    let usable = common::usable(loaded, &args.plan, armed_text.as_deref(), io)?;
    let ready = &usable.ready;
    // From here on there are only the bytes, as for a real pump.
    let mut bytes = vec![0; wire::max_len(CAPACITY)];
    let mut table = StepTable::<CAPACITY>::empty();
    let sent = wire::encode(ready.table(), &mut bytes).map_err(bug)?;
    wire::decode_into(&bytes[..sent], &mut table).map_err(bug)?;
    let table = table.checked().map_err(bug)?;

    let setup = Setup::new(table, &world, args.seed, ready.armed);
    if world.plant.is_some()
        && let Err(refused) = bench::would_arm(&setup, &bytes[..sent])
    {
        let error = Paint(io.colour_err).bad("error[refused]");
        let (why, help) = simulate_world::refused(ready, &world, &refused);
        writeln!(io.err, "{error}: the pump of the {world} refuses the plan: {why}")?;
        writeln!(io.err, "  = help: {help}")?;
        return Err(Failure::Data);
    }
    // A file that cannot be written is found before the run, not after it.
    let create = |path: &String| File::create(path).map_err(|e| cannot_write(path, &e));
    let csv = args.csv.as_ref().map(create).transpose()?;
    let svg = args.svg.as_ref().map(create).transpose()?;
    let record = args.record.as_ref().map(create).transpose()?;
    if !args.json {
        write!(io.out, "{}", forecast::text(&usable, Paint(io.colour_out)))?;
        if args.armed_at.is_none() {
            writeln!(
                io.out,
                "\nThe moment of arming was chosen for the simulation; --armed-at sets another."
            )?;
        }
        io.out.flush()?;
    } else if let Some(warnings) = &usable.warnings {
        warnings.say(io)?;
    }

    let perfect = world.as_forecast();
    let mut expected = Expected::new(&setup, &perfect).map_err(bug)?;
    let csv_path = args.csv.as_deref().unwrap_or_default();
    let mut trace = csv
        .map(|file| begin_trace(file, csv_every_ms, ready, &setup))
        .transpose()
        .map_err(|e| cannot_write(csv_path, &e))?;
    let mut collect = svg.is_some().then(picture::Collect::default);
    let mut progress = Progress::new(io.watched, ready.outlook.pumped_ms().most);
    let mut series = record.is_some().then(|| Series::new(ready.armed));
    let mut watching = (&mut expected, (&mut trace, (&mut collect, (&mut series, &mut progress))));
    let (outcome, pump) = if world.plant.is_some() {
        let run = bench::run_pump(&setup, &bytes[..sent], &mut watching).map_err(bug)?;
        (run.0, Some(run.1))
    } else {
        (bench::run(&setup, &mut watching).map_err(bug)?, None)
    };
    progress.end();

    let mut simulated = Simulated {
        ready,
        world: &world,
        schedule_id: wire::schedule_id(table),
        outcome,
        pump,
        unnamed: args.world.is_none(),
        comparison: expected.comparison(),
        files: Vec::new(),
    };
    if let Some(trace) = trace {
        let ended = trace.end().and_then(|(rows, mut to)| to.flush().map(|()| rows));
        let rows = ended.map_err(|e| cannot_write(csv_path, &e))?;
        simulated.files.push(Written { path: csv_path.to_owned(), rows: Some(rows) });
    }
    if let (Some(collect), Some(mut file), Some(path)) = (&collect, svg, &args.svg) {
        let drawn = picture::draw(collect, &ready.time, &caption(&simulated));
        file.write_all(drawn.as_bytes()).map_err(|e| cannot_write(path, &e))?;
        simulated.files.push(Written { path: path.clone(), rows: None });
    }
    if let (Some(mut file), Some(path), Some(pump)) = (record, &args.record, &simulated.pump) {
        let points = series.as_ref().map_or(&[][..], Series::points);
        let made = record_file::make(ready, (&world, args.seed), &bytes[..sent], pump, points);
        file.write_all(made.to_json().as_bytes()).map_err(|e| cannot_write(path, &e))?;
        simulated.files.push(Written { path: path.clone(), rows: None });
    }
    if args.json {
        simulate_json::write(&simulated, &args.plan, io)?;
    } else {
        let text = simulate_record::text(&simulated, Paint(io.colour_out));
        write!(io.out, "\n{text}")?;
    }
    if simulated.comparison.as_forecast() { Ok(()) } else { Err(Failure::Data) }
}

/// The moment of arming as `--armed-at` takes it.
fn armed_text(ready: &Ready) -> String {
    let civil = ready.time.offset.civil(ready.armed_wall());
    civil.map_or(String::new(), |c| {
        format!("{} {}", when::date_text(c.date), when::time_text(c.time))
    })
}

fn begin_trace(
    file: File,
    every_ms: u64,
    ready: &Ready,
    setup: &Setup<'_>,
) -> io::Result<Trace<BufWriter<File>>> {
    let world = &setup.world.name;
    let about = [
        format!("{NOTICE}. Made by draught simulate in the {world} world, seed {}.", setup.seed),
        format!(
            "Schedule {}, {}; armed {}; site time {}.",
            wire::schedule_id(setup.table),
            simulate_record::name(ready),
            ready.time.stamp(ready.armed_wall()),
            ready.time.label()
        ),
        "A reading covers the time before it. volume_raw is exact, in uL*ms/min: 60,000,000 are 1 mL. \
         true_volume_ml is what was drawn in this world, which a real pump cannot know."
            .to_owned(),
    ];
    Trace::begin(
        BufWriter::new(file),
        &about,
        &ready.time,
        setup.armed,
        (every_ms, setup.world.plant.is_some()),
    )
}

fn caption(simulated: &Simulated<'_>) -> picture::Caption {
    let record = &simulated.outcome.record;
    picture::Caption {
        name: simulate_record::name(simulated.ready),
        happened: simulate_record::one_line(simulated),
        made_in: format!(
            "Made by draught simulate in the {} world, seed {}. Schedule {}.",
            record.world, record.seed, simulated.schedule_id
        ),
    }
}

/// A refusal of what has been accepted before: only a fault in this program can lead here.
fn bug(refused: impl std::fmt::Display) -> Failure {
    Failure::Usage(
        format!("this is a fault in draught: {refused}"),
        "report it, with the plan".to_owned(),
    )
}
