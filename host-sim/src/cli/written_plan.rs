//! A plan that a command has written: it can be used, and it overwrites nothing.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};

use super::files::cannot_write;
use super::io::{Failure, Io};
use crate::plan::finding::Severity;
use crate::plan::{Loaded, render};

/// Refuses a plan that could not be armed, with every reason; `options` are those that would change it.
///
/// # Errors
/// Wrong use: what was asked for makes no such plan.
pub(super) fn can_be_armed(
    loaded: &Loaded,
    what: &str,
    options: &str,
    io: &mut Io<'_>,
) -> Result<(), Failure> {
    if !loaded.findings.has_errors() {
        return Ok(());
    }
    for finding in loaded.findings.sorted().iter().filter(|f| f.severity == Severity::Error) {
        writeln!(io.err, "{}", render::render(finding, &loaded.source, io.colour_err))?;
    }
    Err(Failure::Usage(
        format!("{what} makes no plan that can be armed now"),
        format!("change {options} as said above"),
    ))
}

/// Writes it to a file that is not there yet, and says what to do with it.
///
/// # Errors
/// Wrong use: the file is there, or cannot be written.
pub(super) fn to_new_file(text: &str, path: &str, to: &mut dyn Write) -> Result<(), Failure> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    file.and_then(|mut f| f.write_all(text.as_bytes())).map_err(|e| match e.kind() {
        ErrorKind::AlreadyExists => Failure::Usage(
            format!("{path} cannot be written: it is there already"),
            "give another file; what is there is not overwritten".to_owned(),
        ),
        _ => cannot_write(path, &e),
    })?;
    writeln!(to, "{path} written. Next:\n  draught check {path}\n  draught forecast {path}")?;
    Ok(())
}
