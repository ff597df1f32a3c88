//! The text of a plan and where it came from.

use std::io::{self, Read};
use std::ops::Range;

/// The text of a plan or other input, with the name it goes by in messages.
#[derive(Clone, Debug)]
pub struct Source {
    /// The path as it was given; "standard input" for `-`.
    pub name: String,
    /// The whole text.
    pub text: String,
}

/// A place in a [`Source`] as people count: line and column from 1, in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1, in characters.
    pub column: usize,
}

impl Source {
    /// From text that is already there.
    #[must_use]
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into() }
    }

    /// Reads a file, or `stdin` if the path is `-`.
    ///
    /// # Errors
    /// When it cannot be read, is not UTF-8 or far too large; the message says which, not where.
    pub fn read(path: &str, stdin: &mut dyn Read) -> io::Result<Self> {
        let (name, bytes) = read_bytes(path, stdin)?;
        let text = String::from_utf8(bytes).map_err(|e| {
            let at = e.utf8_error().valid_up_to();
            io::Error::new(
                io::ErrorKind::InvalidData,
                format!("it is not text: byte {at} is not UTF-8"),
            )
        })?;
        Ok(Self { name, text })
    }

    /// Line and column of a byte offset.
    #[must_use]
    pub fn place(&self, offset: usize) -> Place {
        let before = self.text.get(..offset).unwrap_or(&self.text);
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        Place {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }

    /// The text of a span.
    #[must_use]
    pub fn slice(&self, span: &Range<usize>) -> &str {
        self.text.get(span.clone()).unwrap_or("")
    }
}

/// No plan, world or block has as many bytes as this by far.
const BYTES_AT_MOST: u64 = 1 << 20;

/// Reads all there is, unless it is too much: a device or a wrong file could go on for ever.
fn read_at_most(from: &mut dyn Read, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = from.take(most + 1).read_to_end(&mut bytes)?;
    if read as u64 > most {
        let what = format!("it has more than {} bytes", super::format::grouped(most));
        return Err(io::Error::new(io::ErrorKind::InvalidData, what));
    }
    Ok(bytes)
}

/// Reads the bytes of a file, or of `stdin` if the path is `-`, with the name they go by.
///
/// # Errors
/// When they cannot be read; [`io::ErrorKind::InvalidData`] when they are far too many.
pub fn read_bytes(path: &str, stdin: &mut dyn Read) -> io::Result<(String, Vec<u8>)> {
    if path == "-" {
        return Ok(("standard input".to_owned(), read_at_most(stdin, BYTES_AT_MOST)?));
    }
    Ok((path.to_owned(), read_at_most(&mut std::fs::File::open(path)?, BYTES_AT_MOST)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_never_ends_is_refused() {
        let endless = read_at_most(&mut std::io::repeat(b'x'), 9).unwrap_err();
        assert_eq!(endless.kind(), io::ErrorKind::InvalidData);
        assert_eq!(read_at_most(&mut &b"123456789"[..], 9).unwrap(), b"123456789");
    }

    #[test]
    fn places_are_counted_in_characters_from_one() {
        let s = Source::new("x", "a\nµb\n");
        assert_eq!(s.place(0), Place { line: 1, column: 1 });
        assert_eq!(s.place(4), Place { line: 2, column: 2 });
        assert_eq!(s.place(99), Place { line: 3, column: 1 });
    }
}
