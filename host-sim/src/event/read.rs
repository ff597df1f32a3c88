//! Reading a field.toml.

use toml::de::DeTable;

use super::field::Field;
use super::{amounts, head, sampler};
use crate::plan::fields::{Fields, Reader};
use crate::plan::finding::{Finding, Findings};
use crate::plan::source::Source;
use crate::plan::syntax;

/// Reads what people filled in; what is empty counts as not there.
///
/// It may be there although there are findings: what could be read of it. `None`: it is no TOML.
#[must_use]
pub fn read(source: &Source) -> (Option<Field>, Findings) {
    let mut reader = Reader { text: &source.text, findings: Findings::new(), step: None };
    let (tree, errors) = DeTable::parse_recoverable(&source.text);
    for error in &errors {
        reader.report(syntax::finding(error.message(), error.span(), source));
    }
    if !errors.is_empty() {
        return (None, reader.findings);
    }
    let f = Fields { table: tree.get_ref(), span: tree.span() };
    amounts::known(
        &mut reader,
        &f,
        &["event", "verification", "worker", "sampler"],
        "a field sheet",
    );
    let event = amounts::table(&mut reader, &f, "event", "[event]");
    let event = event.map(|f| head::event(&mut reader, &f)).unwrap_or_default();
    let verification = amounts::table(&mut reader, &f, "verification", "[verification]");
    let verification = verification.map(|f| head::verification(&mut reader, &f));
    let workers = amounts::tables(&mut reader, &f, "worker", "[[worker]]", false);
    let workers = workers.iter().filter_map(|f| head::worker(&mut reader, f)).collect();
    let samplers = amounts::tables(&mut reader, &f, "sampler", "[[sampler]]", false);
    let samplers = samplers.iter().filter_map(|f| sampler::sampler(&mut reader, f)).collect();
    let field = Field { event, verification: verification.unwrap_or_default(), workers, samplers };
    twice(&mut reader, field.workers.iter().map(|w| &w.id), "worker");
    twice(&mut reader, field.samplers.iter().map(|s| &s.id), "sampler");
    (Some(field), reader.findings)
}

/// An id is there once.
fn twice<'a>(
    reader: &mut Reader<'_>,
    ids: impl Iterator<Item = &'a super::field::Stated<String>>,
    of: &str,
) {
    let mut seen: Vec<&super::field::Stated<String>> = Vec::new();
    for id in ids {
        if let Some(first) = seen.iter().find(|s| s.is == id.is) {
            let what = format!("two {of}s are called {:?}", id.is);
            reader.report(
                Finding::error("same-name", what)
                    .at(id.at.clone(), "the second")
                    .at(first.at.clone(), "the first")
                    .help("give each an id of its own"),
            );
        }
        seen.push(id);
    }
}
