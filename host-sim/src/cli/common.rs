//! What several commands share: a plan and the moment at which it is armed.

use std::io::Write;

use jiff::Timestamp;

use super::files::{Wanted, read_source};
use super::io::{Failure, Io};
use super::library::MethodsArgs;
use super::paint::Paint;
use crate::plan::finding::{Finding, Findings, Severity};
use crate::plan::source::Source;
use crate::plan::{self, ArmedAt, Loaded, Ready, format, render, site, when};

/// A plan, as armed at a moment.
#[derive(clap::Args, Clone, Debug)]
pub struct PlanArgs {
    /// The plan, a TOML file; - for standard input.
    #[arg(value_name = "PLAN")]
    pub plan: String,
    /// When it is armed, in the plan's time: "2027-02-11 18:40"; also with an offset. Now, unless given.
    #[arg(long, value_name = "TIME")]
    pub armed_at: Option<String>,
    /// Where methods of the user's own come from.
    #[command(flatten)]
    pub library: MethodsArgs,
}

impl PlanArgs {
    /// Reads, lowers and checks the plan.
    ///
    /// # Errors
    /// Wrong use: a file that cannot be read, a moment that is not understood.
    pub fn load(&self, io: &mut Io<'_>) -> Result<Loaded, Failure> {
        let armed_at = match &self.armed_at {
            None => ArmedAt::Now(io.now),
            Some(text) => armed_at(text)?,
        };
        let library = self.library.library(io)?;
        Ok(plan::load_with(read_source(&self.plan, Wanted::Plan, io)?, armed_at, &library))
    }

    /// The same, for commands that go on only with a plan without errors: those are said on `err`.
    ///
    /// # Errors
    /// Wrong use as with [`Self::load`]; a plan at fault.
    pub fn ready(&self, io: &mut Io<'_>) -> Result<Usable, Failure> {
        let loaded = self.load(io)?;
        usable(loaded, &self.plan, self.armed_at.as_deref(), io)
    }
}

/// A plan without errors.
pub struct Usable {
    /// The plan.
    pub ready: Ready,
    /// How many warnings there are, if any, and what shows them.
    pub warnings: Option<Warnings>,
}

/// Warnings, which `check` alone shows in full.
pub struct Warnings {
    count: usize,
    check: String,
}

impl Warnings {
    fn new(count: usize, path: &str, armed_at: Option<&str>) -> Self {
        // A plan that came through a pipe has to be given to it again.
        let path = if path == "-" { "PLAN".to_owned() } else { as_typed(path) };
        let armed = armed_at.map_or(String::new(), |at| format!(" --armed-at \"{at}\""));
        Self { count, check: format!("draught check {path}{armed}") }
    }

    /// "1 warning", and what says which.
    #[must_use]
    pub fn row(&self, paint: Paint) -> [String; 2] {
        [paint.careful(&format::count(self.count, "warning")), format!("see {}", self.check)]
    }

    /// For where there is no table: where the results are bytes, or for machines.
    ///
    /// # Errors
    /// When `err` cannot be written.
    pub fn say(&self, io: &mut Io<'_>) -> std::io::Result<()> {
        let [count, see] = self.row(Paint(io.colour_err));
        writeln!(io.err, "{count}: {see}")
    }
}

/// A path as a shell takes it.
fn as_typed(path: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "/._-+:,@".contains(c);
    if path.chars().all(plain) { path.to_owned() } else { format!("\"{path}\"") }
}

/// Findings beyond so many are left to `--json`.
const SHOWN: usize = 20;

/// Says findings, the gravest first, up to a number that a person reads.
///
/// # Errors
/// When `to` cannot be written.
pub fn say_findings(
    findings: &[&Finding],
    source: &Source,
    colour: bool,
    to: &mut dyn Write,
) -> std::io::Result<()> {
    for finding in findings.iter().take(SHOWN) {
        writeln!(to, "{}", render::render(finding, source, colour))?;
    }
    match findings.len().saturating_sub(SHOWN) as u64 {
        0 => Ok(()),
        more => writeln!(to, "... {} more\n", format::grouped(more)),
    }
}

/// A plan without errors; otherwise they are said on `err`.
///
/// # Errors
/// A plan at fault.
pub fn usable(
    loaded: Loaded,
    path: &str,
    armed_at: Option<&str>,
    io: &mut Io<'_>,
) -> Result<Usable, Failure> {
    let errors = loaded.findings.count(Severity::Error);
    let warnings = loaded.findings.count(Severity::Warning);
    match loaded.ready {
        Some(ready) if errors == 0 => {
            let warnings = (warnings > 0).then(|| Warnings::new(warnings, path, armed_at));
            Ok(Usable { ready, warnings })
        }
        _ => {
            let all = loaded.findings.sorted();
            let grave: Vec<&Finding> =
                all.into_iter().filter(|f| f.severity == Severity::Error).collect();
            say_findings(&grave, &loaded.source, io.colour_err, io.err)?;
            let verdict = verdict(&loaded.findings);
            writeln!(io.err, "{verdict}. {} cannot be used.", loaded.source.name)?;
            Err(Failure::Data)
        }
    }
}

/// "2 errors, 1 warning".
#[must_use]
pub fn verdict(findings: &Findings) -> String {
    let errors = format::count(findings.count(Severity::Error), "error");
    format!("{errors}, {}", format::count(findings.count(Severity::Warning), "warning"))
}

/// Reads `--armed-at`: a civil date and time of the plan, or an instant with an offset.
pub(super) fn armed_at(text: &str) -> Result<ArmedAt, Failure> {
    let instant = text.trim().replacen(' ', "T", 1).parse::<Timestamp>().ok();
    if let Some(instant) = instant {
        if let Some(wall) = site::wall_from_unix_ms(instant.as_millisecond()) {
            return Ok(ArmedAt::Instant(wall));
        }
        return Err(Failure::Usage(
            format!(
                "--armed-at {text:?} is outside 2020 to 2135, the years a pump's clock is trusted in"
            ),
            "write it as in --armed-at \"2027-02-11 18:40\"".to_owned(),
        ));
    }
    match when::civil(text) {
        Ok(civil) => Ok(ArmedAt::Civil(civil)),
        Err(e) => Err(Failure::Usage(
            format!("--armed-at: {}", e.message),
            "write it as in --armed-at \"2027-02-11 18:40\", or with an offset: \"2027-02-11T18:40-07:00\"".to_owned(),
        )),
    }
}
