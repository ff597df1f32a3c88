//! `draught simulate`: the main job, end to end, on a simulated pump.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::time::{Duration, Instant};

use draught::table::StepTable;
use draught::units::Quantity;
use draught::wire;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::files::{Wanted, cannot_write, not_onto, read_source};
use super::io::{Failure, Io};
use super::paint::Paint;
use super::{common, forecast, simulate_json, simulate_record};
use crate::bench::{self, Expected, Happened, Observer, Outcome, Reading, Resume, Setup, World};
use crate::plan::{self, CAPACITY, Ready, format, quantity, when};
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
  draught simulate plan.toml --world docs/examples/worlds/worn-pump.toml")]
pub struct Args {
    /// The plan, a TOML file; - for standard input.
    #[arg(value_name = "PLAN")]
    plan: String,
    /// What surrounds the pump, a TOML file. docs/examples/worlds/default.toml, unless given.
    #[arg(long, value_name = "FILE")]
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
    /// The record as JSON (docs/schema/simulate.json).
    #[arg(long)]
    json: bool,
}

/// A run, with everything that is said about it.
pub(super) struct Simulated<'r> {
    pub ready: &'r Ready,
    pub world: &'r World,
    pub schedule_id: wire::ScheduleId,
    pub outcome: Outcome,
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
    for (option, path) in [("--csv", &args.csv), ("--svg", &args.svg)] {
        if path.as_deref() == Some("-") {
            let what = format!("{option} needs a file: standard output is for the record");
            return Err(Failure::Usage(what, "give a file's name".to_owned()));
        }
        not_onto(&args.plan, path.as_deref())?;
    }
    let world = world(args, io)?;
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
    // A file that cannot be written is found before the run, not after it.
    let create = |path: &String| File::create(path).map_err(|e| cannot_write(path, &e));
    let csv = args.csv.as_ref().map(create).transpose()?;
    let svg = args.svg.as_ref().map(create).transpose()?;
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

    // From here on there are only the bytes, as for a real pump.
    let mut bytes = vec![0; wire::max_len(CAPACITY)];
    let mut table = StepTable::<CAPACITY>::empty();
    let sent = wire::encode(ready.table(), &mut bytes).map_err(bug)?;
    wire::decode_into(&bytes[..sent], &mut table).map_err(bug)?;
    let table = table.checked().map_err(bug)?;

    let setup = Setup::new(table, &world, args.seed, ready.armed);
    let perfect = world.as_forecast();
    let mut expected = Expected::new(&setup, &perfect).map_err(bug)?;
    let csv_path = args.csv.as_deref().unwrap_or_default();
    let mut trace = csv
        .map(|file| begin_trace(file, csv_every_ms, ready, &setup))
        .transpose()
        .map_err(|e| cannot_write(csv_path, &e))?;
    let mut collect = svg.is_some().then(picture::Collect::default);
    let mut progress = Progress::new(io.watched, ready.outlook.pumped_ms().most);
    let mut watching = (&mut expected, (&mut trace, (&mut collect, &mut progress)));
    let outcome = bench::run(&setup, &mut watching).map_err(bug)?;
    progress.end();

    let comparison = expected.comparison();
    let schedule_id = wire::schedule_id(table);
    let files = Vec::new();
    let mut simulated = Simulated { ready, world: &world, schedule_id, outcome, comparison, files };
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

/// The world, with what the command line says about it.
fn world(args: &Args, io: &mut Io<'_>) -> Result<World, Failure> {
    let mut world = match &args.world {
        None => World::default(),
        Some(path) => {
            let source = read_source(path, Wanted::World, io)?;
            match World::read(&source) {
                Ok(world) => world,
                Err(findings) => {
                    let all = findings.sorted();
                    common::say_findings(&all, &source, io.colour_err, io.err)?;
                    writeln!(io.err, "{}. {path} cannot be used.", common::verdict(&findings))?;
                    return Err(Failure::Data);
                }
            }
        }
    };
    match args.resume_after.as_deref() {
        None => {}
        Some("never") => world.operator.resume = Resume::Never,
        Some(text) => world.operator.resume = Resume::After(duration("--resume-after", text)?),
    }
    Ok(world)
}

/// A time on the command line, in ms.
fn duration(option: &str, text: &str) -> Result<u64, Failure> {
    if matches!(text.trim(), "0 s" | "0 min" | "0 h") {
        return Ok(0);
    }
    quantity::parse(text, Quantity::Duration)
        .map(u64::from)
        .map_err(|e| Failure::Usage(format!("{option} {text:?}: {}", e.message), e.help))
}

fn begin_trace(
    file: File,
    every_ms: u64,
    ready: &Ready,
    setup: &Setup<'_>,
) -> io::Result<Trace<BufWriter<File>>> {
    let world = &setup.world.name;
    let about = [
        format!("SIMULATED, NOT A SAMPLE. Made by draught simulate in the {world} world, seed {}.", setup.seed),
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
    Trace::begin(BufWriter::new(file), &about, &ready.time, setup.armed, every_ms)
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

/// A bar on the terminal, if a run takes longer than a second.
struct Progress {
    shown: bool,
    begun: Instant,
    most_ms: u64,
    pumped_ms: u64,
    readings: u32,
    bar: Option<ProgressBar>,
}

/// How many readings pass between two looks at the computer's clock.
const LOOK_EVERY: u32 = 4_096;

impl Progress {
    fn new(shown: bool, most_ms: u64) -> Self {
        Self { shown, begun: Instant::now(), most_ms, pumped_ms: 0, readings: 0, bar: None }
    }

    fn look(&mut self) {
        if self.bar.is_none() && self.begun.elapsed() > Duration::from_secs(1) {
            let style = ProgressStyle::with_template(&format!(
                "simulating {} of pumping  [{{bar:32}}] {{percent}} %  {{eta}} left",
                format::distance(self.most_ms)
            ));
            let target = ProgressDrawTarget::stderr_with_hz(10);
            let bar = ProgressBar::with_draw_target(Some(self.most_ms), target);
            self.bar = Some(bar.with_style(style.unwrap_or(ProgressStyle::default_bar())));
        }
        if let Some(bar) = &self.bar {
            bar.set_position(self.pumped_ms);
        }
    }

    fn end(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

impl Observer for Progress {
    fn reading(&mut self, reading: &Reading) {
        self.pumped_ms += reading.covers_ms;
        self.readings = self.readings.wrapping_add(1);
        if self.shown && self.readings.is_multiple_of(LOOK_EVERY) {
            self.look();
        }
    }

    fn event(&mut self, _: &Happened) {}
}
