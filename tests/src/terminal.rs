//! Runs command lines inside this process, with a clock and a computer of its own, and compares what they say with what is stored.

use std::io::{Cursor, Write};
use std::path::Path;

use draught::clock::WallMs;
use draught_sim::cli::{self, Io};
use draught_sim::plan::{site, when};

/// What a command line did.
pub struct Answer {
    /// Its exit code.
    pub code: u8,
    /// Standard output.
    pub out: Vec<u8>,
    /// Standard error.
    pub err: String,
}

impl Answer {
    /// Results, then what was said about them, as a terminal shows them.
    #[must_use]
    pub fn screen(&self) -> String {
        String::from_utf8_lossy(&self.out).into_owned() + &self.err
    }
}

/// The moment at which every command here is run: Mon 2027-01-04 12:00 UTC.
///
/// # Panics
/// Never: it is a date.
#[must_use]
pub fn now() -> WallMs {
    let noon = when::civil("2027-01-04 12:00").expect("a date");
    site::SiteTime::utc().offset.instant(noon).expect("an instant")
}

/// Runs `draught` with these arguments and this on standard input.
#[must_use]
pub fn run_with(arguments: &[&str], stdin: &[u8]) -> Answer {
    let mut out = Vec::new();
    let (code, err) = run_into(arguments, stdin, &mut out);
    Answer { code, out, err }
}

/// The same, with results going elsewhere; gives the exit code and what was said about them.
///
/// # Panics
/// When what is said is no text.
pub fn run_into(arguments: &[&str], stdin: &[u8], out: &mut dyn Write) -> (u8, String) {
    let mut err = Vec::new();
    let mut io = Io {
        stdin: &mut Cursor::new(stdin.to_vec()),
        out,
        err: &mut err,
        now: now(),
        computer: Some(jiff::tz::TimeZone::get("America/Chicago").expect("a zone")),
        colour_out: false,
        colour_err: false,
        watched: false,
    };
    let code = cli::run(std::iter::once("draught").chain(arguments.iter().copied()), &mut io);
    (code, String::from_utf8(err).expect("text"))
}

/// Runs a command line as it is typed: words, or texts in double quotes.
///
/// # Panics
/// When it is not one of `draught`.
#[must_use]
pub fn type_in(line: &str) -> Answer {
    let words = words(line);
    assert_eq!(words.first().map(String::as_str), Some("draught"), "{line}");
    run_with(&words.iter().skip(1).map(String::as_str).collect::<Vec<_>>(), b"")
}

/// The words of a command line: texts in double quotes are one.
fn words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in line.trim().chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().expect("one word").push(c),
        }
    }
    words.retain(|w| !w.is_empty());
    words
}

/// Compares with a stored text; with DRAUGHT_SNAPSHOTS=overwrite, stores it instead.
///
/// # Panics
/// When the two differ, with the first line that does.
pub fn same_as_stored(path: &Path, found: &str) {
    if std::env::var("DRAUGHT_SNAPSHOTS").as_deref() == Ok("overwrite") {
        std::fs::write(path, found).expect("the snapshot can be written");
        return;
    }
    let stored = std::fs::read_to_string(path).unwrap_or_default();
    if stored != found {
        let line = stored.lines().zip(found.lines()).take_while(|(a, b)| a == b).count();
        panic!(
            "{} differs from line {} on.\nstored: {}\nfound:  {}\n\nAll that was found:\n{found}\n\
             If it is better than what is stored, run this test again with DRAUGHT_SNAPSHOTS=overwrite",
            path.display(),
            line + 1,
            stored.lines().nth(line).unwrap_or("(nothing)"),
            found.lines().nth(line).unwrap_or("(nothing)"),
        );
    }
}
