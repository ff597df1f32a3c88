//! Faults in the TOML itself, in our words where people meet them often.

use std::ops::Range;

use super::finding::Finding;
use super::source::Source;

pub(crate) fn finding(message: &str, span: Option<Range<usize>>, source: &Source) -> Finding {
    let end = source.text.trim_end().len();
    let span = span.unwrap_or(end..end);
    let message = message.trim_end();
    let finding = Finding::error("toml", format!("this is not TOML: {message}")).at(span, "");
    match help(message) {
        Some(help) => finding.help(help),
        None => finding,
    }
}

/// What to do about the faults that people meet.
fn help(message: &str) -> Option<&'static str> {
    let known = [
        ("string", "a text stands between two quotation marks on one line, as in \"2.0 L/min\""),
        ("duplicate key", "each key stands once; delete one of the two"),
        ("datetime", "write dates and times in quotes, as in \"2027-02-11\""),
        ("date", "write dates and times in quotes, as in \"2027-02-11\""),
        ("inline table", "close the step with }, and put a comma between its keys"),
        ("array", "close the list with ], and put a comma after each step"),
        ("unclosed table", "close the name of a table with ], on the same line"),
        ("unquoted", "put texts in quotes, as in flow = \"2.0 L/min\""),
    ];
    known.iter().find(|(part, _)| message.contains(part)).map(|(_, help)| *help)
}
