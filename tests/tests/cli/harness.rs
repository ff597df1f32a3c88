//! Command lines run at the top of the checkout.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Once;

use draught_tests::terminal;
pub use draught_tests::terminal::{Answer, now, same_as_stored};

/// The top of the checkout, in which every command here is run.
pub fn at_top() -> PathBuf {
    static ONCE: Once = Once::new();
    let top =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().expect("the checkout");
    ONCE.call_once(|| std::env::set_current_dir(&top).expect("the top of the checkout"));
    top
}

/// Runs `draught` with these arguments and this on standard input.
pub fn run_with(arguments: &[&str], stdin: &[u8]) -> Answer {
    at_top();
    terminal::run_with(arguments, stdin)
}

/// The same, with results going elsewhere; gives the exit code and what was said about them.
pub fn run_into(arguments: &[&str], stdin: &[u8], out: &mut dyn Write) -> (u8, String) {
    at_top();
    terminal::run_into(arguments, stdin, out)
}

/// Runs a command line as it is typed: words, or texts in double quotes.
pub fn type_in(line: &str) -> Answer {
    at_top();
    terminal::type_in(line)
}

/// The plans in a folder, in order of name.
pub fn plans(folder: &str) -> Vec<PathBuf> {
    at_top();
    let mut plans: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    plans.sort();
    plans
}

/// The moment of arming that a plan's comment states, or one that suits the rest.
pub fn armed_at(plan: &Path) -> String {
    let text = std::fs::read_to_string(plan).expect("the plan");
    let stated = text.split_once("--armed-at \"").and_then(|(_, rest)| rest.split_once('"'));
    stated.map_or("2027-01-04 06:00".to_owned(), |(when, _)| when.to_owned())
}
