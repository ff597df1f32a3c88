//! Running other programs, and how tasks fail.

use std::fmt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Why a task did not succeed.
#[derive(Debug)]
pub enum Failure {
    /// The task was called in a way it does not know.
    Use(String),
    /// Something it looked at is not as it must be.
    Check(String),
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Use(what) | Self::Check(what) => f.write_str(what),
        }
    }
}

/// What every task returns.
pub type Outcome<T = ()> = Result<T, Failure>;

/// A failed check, in words.
pub fn fail<T>(what: impl Into<String>) -> Outcome<T> {
    Err(Failure::Check(what.into()))
}

/// The folder of the whole project.
pub fn root() -> PathBuf {
    let own = std::env::var_os("CARGO_MANIFEST_DIR")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")), PathBuf::from);
    own.ancestors().nth(2).unwrap_or(Path::new(".")).to_path_buf()
}

/// The folder that all builds of the project write to.
pub fn target_folder() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}

/// The cargo that runs this task, in the project's folder.
pub fn cargo() -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or("cargo".into()));
    command.current_dir(root());
    command
}

/// Runs a command and shows its output; anything but success is a failed check.
pub fn run(command: &mut Command) -> Outcome {
    let status = command.status().map_err(|e| cannot_start(command, &e))?;
    if status.success() { Ok(()) } else { fail(format!("{}: {status}", line(command))) }
}

/// What a command wrote, and whether it succeeded.
#[derive(Debug)]
pub struct Output {
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
    /// Exit code 0.
    pub success: bool,
}

/// Runs a command and keeps its output.
pub fn capture(command: &mut Command) -> Outcome<Output> {
    let output = command.stdin(Stdio::null()).output().map_err(|e| cannot_start(command, &e))?;
    Ok(Output {
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
        success: output.status.success(),
    })
}

/// Runs a command, keeps its output, and shows it only if the command fails.
pub fn quietly(command: &mut Command) -> Outcome<String> {
    let output = capture(command)?;
    if output.success {
        return Ok(output.out);
    }
    fail(format!("{} failed:\n{}{}", line(command), output.out, output.err))
}

/// Whether a program can be found.
pub fn is_installed(program: &str) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| folder.join(program).is_file())
}

/// The contents of a text file.
pub fn read(path: &Path) -> Outcome<String> {
    std::fs::read_to_string(path)
        .map_err(|e| Failure::Check(format!("cannot read {}: {e}", path.display())))
}

/// A command as a person would type it.
pub fn line(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(|w| w.to_string_lossy().into_owned()).collect::<Vec<_>>().join(" ")
}

fn cannot_start(command: &Command, error: &std::io::Error) -> Failure {
    let program = command.get_program().to_string_lossy();
    Failure::Check(format!("cannot start `{program}`: {error}; is it installed?"))
}
