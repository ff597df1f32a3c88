//! Files that commands read and write, and what is said when they cannot be.

use draught::wire;

use super::io::{Failure, Io};
use super::paint::Paint;
use crate::plan::source::{self, Source};
use crate::plan::{CAPACITY, format};

/// What a text should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A plan.
    Plan,
    /// A simulated world.
    World,
}

/// Reads a text from a file or standard input.
///
/// # Errors
/// Wrong use, with the reason; data at fault when it is not text.
pub fn read_source(path: &str, wanted: Wanted, io: &mut Io<'_>) -> Result<Source, Failure> {
    match Source::read(path, io.stdin) {
        Ok(source) => Ok(source),
        // The file is there, and what is in it is at fault.
        Err(e) if e.kind() == std::io::ErrorKind::InvalidData => {
            let error = Paint(io.colour_err).bad("error[toml]");
            let name = if path == "-" { "standard input" } else { path };
            let (what, help) = match wanted {
                Wanted::Plan => ("plan", "give a plan in TOML; draught explain reads blocks"),
                Wanted::World => {
                    ("world", "give a world in TOML, such as docs/examples/worlds/default.toml")
                }
            };
            writeln!(io.err, "{error}: {name} is not a {what}: {e}")?;
            writeln!(io.err, "  = help: {help}")?;
            Err(Failure::Data)
        }
        Err(e) => Err(cannot_read(path, &e)),
    }
}

/// Reads a block from a file or standard input, with the name it goes by.
///
/// # Errors
/// Wrong use, with the reason; data at fault when it is far too large.
pub fn read_block(path: &str, io: &mut Io<'_>) -> Result<(String, Vec<u8>), Failure> {
    match source::read_bytes(path, io.stdin) {
        Ok(read) => Ok(read),
        Err(e) if e.kind() == std::io::ErrorKind::InvalidData => {
            let error = Paint(io.colour_err).bad("error");
            let most = format::grouped(wire::max_len(CAPACITY) as u64);
            writeln!(io.err, "{error}: {path} is not a block: {e}")?;
            writeln!(io.err, "  = help: a block has at most {most} bytes; give another file")?;
            Err(Failure::Data)
        }
        Err(e) => Err(cannot_read(path, &e)),
    }
}

/// What a file holds, by its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// A text, so it may be a plan.
    Text(String),
    /// No text, so it may be a block.
    Bytes(Vec<u8>),
}

/// Tells a text from a block, which begins with `D` and the version: a control character that no text has.
#[must_use]
pub fn content(bytes: Vec<u8>) -> Content {
    match bytes.as_slice() {
        [b'D', version, ..] if version.is_ascii_control() && !version.is_ascii_whitespace() => {
            Content::Bytes(bytes)
        }
        _ => match String::from_utf8(bytes) {
            Ok(text) => Content::Text(text),
            Err(not_text) => Content::Bytes(not_text.into_bytes()),
        },
    }
}

/// A line of help where a plan was given instead of a block; else nothing.
#[must_use]
pub fn hint_at_text(path: &str, bytes: &[u8]) -> String {
    let text = std::str::from_utf8(bytes).ok().filter(|t| t.contains(" = ") && t.contains('\n'));
    text.map_or(String::new(), |_| {
        format!("  = help: this is a text: draught check {path} reads plans\n")
    })
}

/// A file that cannot be read.
#[must_use]
pub fn cannot_read(path: &str, e: &std::io::Error) -> Failure {
    let what = match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
        std::io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        std::io::ErrorKind::PermissionDenied => "it may not be read".to_owned(),
        _ => e.to_string(),
    };
    let path = if path.is_empty() { "\"\"" } else { path };
    Failure::Usage(
        format!("{path} cannot be read: {what}"),
        "give a file, or - for standard input".to_owned(),
    )
}

/// Refuses to write over what is read: a file, or a file of an event's folder that people or pumps have written.
///
/// # Errors
/// Wrong use.
pub fn not_onto(input: &str, output: Option<&str>) -> Result<(), Failure> {
    use crate::event::folder::{BLOCK, FIELD, PLAN, RECORDS};
    let place = |path: &std::path::Path| std::fs::canonicalize(path).ok();
    let is_read = |at: std::path::PathBuf| {
        let input = std::path::Path::new(input);
        let own = [PLAN, BLOCK, FIELD].map(|name| input.join(name));
        own.iter().any(|file| place(file).as_ref() == Some(&at))
            || place(&input.join(RECORDS)).is_some_and(|records| at.starts_with(records))
            || place(input) == Some(at)
    };
    match output.filter(|path| place(path.as_ref()).is_some_and(is_read)) {
        Some(path) => Err(Failure::Usage(
            format!("{path} cannot be written: it is what is read"),
            "give another file".to_owned(),
        )),
        None => Ok(()),
    }
}

/// A file that cannot be written.
#[must_use]
pub fn cannot_write(path: &str, e: &std::io::Error) -> Failure {
    let what = match e.kind() {
        std::io::ErrorKind::NotFound => "there is no such folder".to_owned(),
        std::io::ErrorKind::PermissionDenied => "it may not be written to".to_owned(),
        std::io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
        _ => e.to_string(),
    };
    Failure::Usage(format!("{path} cannot be written: {what}"), "give another file".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_told_from_blocks() {
        let is_text = |bytes: &[u8]| matches!(content(bytes.to_vec()), Content::Text(_));
        for text in [&b""[..], b"D", b"D\nflow = \"1 L/min\"", b"name = \"\xc2\xb5\"", b"\0"] {
            assert!(is_text(text), "{text:?}");
        }
        // The second would be UTF-8 throughout.
        for block in [&b"D\x01\0\0\x67\0\x01\0\xcc\xbc\x17\xa9"[..], b"D\x01\0\0", b"x\xff"] {
            assert!(!is_text(block), "{block:?}");
        }
    }
}
