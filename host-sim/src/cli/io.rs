//! Everything a command touches outside itself, so that tests can stand in for it.

use std::io::{self, IsTerminal, Read, Write};

use draught::clock::WallMs;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::plan::site;

/// The surroundings of a command.
pub struct Io<'a> {
    /// What comes in for `-`.
    pub stdin: &'a mut dyn Read,
    /// Results.
    pub out: &'a mut dyn Write,
    /// What is said about them.
    pub err: &'a mut dyn Write,
    /// The moment of asking.
    pub now: WallMs,
    /// The zone the computer is set to, if it is known.
    pub computer: Option<TimeZone>,
    /// Whether results are coloured.
    pub colour_out: bool,
    /// Whether what is said about them is coloured.
    pub colour_err: bool,
    /// Whether someone watches `err`: progress is shown only then.
    pub watched: bool,
}

/// Why a command ends early.
#[derive(Debug)]
pub enum Failure {
    /// The plan or the data is at fault, and it has been said why.
    Data,
    /// What was compared differs, and it has been said how.
    Differs,
    /// What was to be compared cannot be, and it has been said why.
    NotCompared,
    /// Wrong use: what is wrong, and what to do.
    Usage(String, String),
    /// The output could not be written.
    Output(io::Error),
}

impl From<io::Error> for Failure {
    fn from(e: io::Error) -> Self {
        Self::Output(e)
    }
}

/// When to colour.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    #[default]
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

impl Colour {
    /// Whether to colour a stream.
    fn on(self, terminal: bool) -> bool {
        // As no-color.org has it: present and not empty, whatever its value.
        let refused = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        match self {
            Self::Auto => terminal && !refused,
            Self::Always => true,
            Self::Never => false,
        }
    }
}

impl Io<'_> {
    /// Takes up what the command line says about colour.
    pub(super) fn set_colour(&mut self, colour: Colour) {
        self.colour_out = colour.on(self.colour_out);
        self.colour_err = colour.on(self.colour_err);
    }

    /// The computer's time at an instant, if its zone is known.
    #[must_use]
    pub fn computer_time(&self, at: WallMs) -> Option<site::SiteTime> {
        let zone = self.computer.clone()?;
        let site = site::Site::Zone { zone, name: String::new(), standard: false };
        site.clock_at(at).ok()
    }
}

/// Runs `f` with the process's own surroundings.
pub(super) fn with_process<R>(f: impl FnOnce(&mut Io<'_>) -> R) -> R {
    let (stdin, stdout, stderr) = (io::stdin(), io::stdout(), io::stderr());
    let (out_terminal, err_terminal) = (stdout.is_terminal(), stderr.is_terminal());
    // In whole seconds: nobody arms a pump to the millisecond of asking.
    let now =
        site::wall_from_unix_ms(Timestamp::now().as_second() * 1_000).unwrap_or(WallMs::FIRST);
    let mut out = io::BufWriter::new(stdout.lock());
    let result = f(&mut Io {
        stdin: &mut stdin.lock(),
        out: &mut out,
        err: &mut stderr.lock(),
        now,
        computer: TimeZone::try_system().ok(),
        colour_out: out_terminal,
        colour_err: err_terminal,
        watched: err_terminal,
    });
    // A reader that has seen enough closed the pipe: nothing to say about that.
    let _ = out.flush();
    result
}
