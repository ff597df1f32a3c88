//! Everything that a change must pass.

use std::process::Command;

use crate::shell::{self, Failure, Outcome, cargo, root};
use crate::stages::Stages;
use crate::{browser, conformance, device, fuzz, readme};

/// `cargo xtask ci --help`
pub const HELP: &str = "\
Everything a change must pass, with the time each stage took

Usage: cargo xtask ci

Stages: format, lints, the README's test command, the golden vectors as the reference in Python reads and writes them,
a short pass of `cargo xtask conformance`, documentation, the checks of `cargo xtask device`, report pages in Chromium
(`cargo xtask browser`), each fuzz target for some seconds, and
the README's main command run for real. Both commands are taken out of README.md, so that what it tells
people to type is what is tested. `.ci/run` first installs what a fresh machine lacks, then does this.";

/// The README's main command begins so.
const MAIN: &str = "cargo run --release -- simulate";
/// For how long each fuzz target is run.
const FUZZ_SECONDS: &str = "10";
/// The README's test command begins so.
const TEST: &str = "cargo test";

/// `cargo xtask ci`
pub fn run(arguments: &[String]) -> Outcome {
    if let Some(unknown) = arguments.first() {
        return Err(Failure::Use(format!("`{unknown}` is not understood")));
    }
    let mut stages = Stages::default();
    let outcome = all(&mut stages);
    println!("{}", stages.summary());
    outcome
}

fn all(stages: &mut Stages) -> Outcome {
    stages.run("format", || {
        shell::run(cargo().args(["fmt", "--all", "--check"]))?;
        shell::run(images().args(["fmt", "--all", "--check"]))?;
        shell::run(cargo().current_dir(root().join("tests/fuzz")).args(["fmt", "--check"]))
    })?;
    stages.run("lints", || {
        shell::run(
            cargo().args(["clippy", "--workspace", "--all-targets", "--locked"]).args(DENY),
        )?;
        // What of the images can be compiled for this machine.
        let mut lints = images();
        lints.args([
            "clippy",
            "--locked",
            "-p",
            "lines",
            "-p",
            "no-panic",
            "--lib",
            "--target-dir",
        ]);
        shell::run(lints.arg(shell::target_folder().join("device")).args(DENY))
    })?;
    stages.run("tests", || shell::run(&mut as_told(TEST)?))?;
    stages.run("second reader", || {
        let mut reader = Command::new("python3");
        shell::run(reader.current_dir(root()).args(["-B", "tests/reference/python/vectors.py"]))
    })?;
    stages.run("conformance", || conformance::run(&conformance::SHORT.map(str::to_owned)))?;
    stages.run("documentation", || {
        let mut doc = cargo();
        // The frozen reader is never mended, its links neither.
        doc.args(["doc", "--workspace", "--exclude", "draught-v1", "--no-deps", "--locked"])
            .env("RUSTDOCFLAGS", "-D warnings");
        shell::run(&mut doc)
    })?;
    stages.run("device", || device::run(&[]))?;
    stages.run("browser", || browser::run(&[]))?;
    stages.run("fuzz", || {
        fuzz::run(&["--seconds".to_owned(), FUZZ_SECONDS.to_owned()])?;
        shell::run(fuzz::instrumented("clippy")?.args(["--quiet", "--all-targets"]).args(DENY))
    })?;
    stages.run("main command", || shell::run(&mut as_told(MAIN)?))
}

const DENY: [&str; 3] = ["--", "-D", "warnings"];

/// Cargo in the workspace of the images for microcontrollers.
fn images() -> Command {
    let mut command = cargo();
    command.current_dir(root().join("tests/pump-firmware"));
    command
}

/// The command that README.md tells people to type.
fn as_told(prefix: &str) -> Outcome<Command> {
    let words = readme::command(prefix)?;
    println!("README.md says: {}", words.join(" "));
    let mut command = cargo();
    command.args(words.iter().skip(1));
    Ok(command)
}
