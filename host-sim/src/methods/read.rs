//! A method from its TOML file. Every fault found is a finding with its place.

use draught::units::Quantity;
use toml::de::{DeTable, DeValue};

use super::{How, Is, KEYS, KeyInfo, Method, Note, Shape, Value, Values, Variant};
use super::{agree, units};
use crate::hygiene::parse::Kind;
use crate::plan::fields::{Entry, Fields, Reader};
use crate::plan::finding::{Finding, Findings};
use crate::plan::source::Source;
use crate::plan::syntax;

const HEAD: [(&str, &str, &str); 4] = [
    ("id", "its name in plans", "nmam-0600"),
    ("title", "what it is called", "Particulates, respirable"),
    ("issuer", "who issues it", "our laboratory"),
    ("measures", "what is measured with it", "respirable dust"),
];

/// Reads a method.
///
/// # Errors
/// Everything that is wrong with it, each with its place.
pub fn read(source: &Source) -> Result<Method, Findings> {
    let mut reader = Reader { text: &source.text, findings: Findings::new(), step: None };
    let (tree, errors) = DeTable::parse_recoverable(&source.text);
    for error in &errors {
        reader.report(syntax::finding(error.message(), error.span(), source));
    }
    if !errors.is_empty() {
        return Err(reader.findings);
    }
    let method = method(&mut reader, &Fields { table: tree.get_ref(), span: tree.span() });
    match method {
        Some(method) if !reader.findings.has_errors() => Ok(method),
        _ => Err(reader.findings),
    }
}

fn method(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Method> {
    let value_keys = KEYS.iter().map(|k| k.key);
    let known: Vec<&str> =
        HEAD.iter().map(|h| h.0).chain(["dust", "variant", "note"]).chain(value_keys).collect();
    reader.unknown_keys(f, &known, "a method");
    let [id, title, issuer, measures] =
        HEAD.map(|(key, what, example)| needed(reader, f, (key, what, example), "a method"));
    let id = id.filter(|_| f.get("id").is_none_or(|e| is_name(reader, &e)));
    let is_dust = f.get("dust").is_some_and(|entry| yes(reader, &entry));
    let values = values(reader, f);
    let mut contradictions: Vec<Finding> = Vec::new();
    let mut agree = |own: &Fields<'_, '_>, values: &Values| {
        let span = |key: &'static str| own.get(key).or_else(|| f.get(key)).map(|e| e.value_span());
        for finding in agree::contradictions(values, &span) {
            // What is wrong with the method's own values is so in each variant: said once.
            if !contradictions.contains(&finding) {
                contradictions.push(finding);
            }
        }
    };
    let mut variants: Vec<Variant> = Vec::new();
    for (f, at) in tables(reader, f, "variant") {
        let keys: Vec<&str> =
            ["id", "what"].into_iter().chain(KEYS.iter().map(|k| k.key)).collect();
        reader.unknown_keys(&f, &keys, "a variant");
        let id = needed(reader, &f, ("id", "its name behind the method's", "nylon"), "a variant");
        let what = needed(reader, &f, ("what", "what it is", "nylon cyclone"), "a variant");
        if let Some(entry) = f.get("id") {
            is_name(reader, &entry);
        }
        if let Some(id) = id.as_ref().filter(|id| variants.iter().any(|v| v.id == **id)) {
            let finding = Finding::error("same-name", format!("two variants are called {id:?}"));
            reader.report(finding.at(at, "the second").help("give each a name of its own"));
        }
        let own = self::values(reader, &f);
        agree(&f, &own.over(&values));
        variants.push(Variant {
            id: id.unwrap_or_default(),
            what: what.unwrap_or_default(),
            values: own,
        });
    }
    if variants.is_empty() {
        agree(f, &values);
    }
    for finding in contradictions {
        reader.report(finding);
    }
    let mut notes = Vec::new();
    for (f, _) in tables(reader, f, "note") {
        reader.unknown_keys(&f, &["says", "from", "tag"], "a note");
        let says = needed(reader, &f, ("says", "what it says", "Keep it cold."), "a note");
        let source = from_and_tag(reader, &f, "this note");
        if let Some(((from, tag), says)) = source.zip(says) {
            notes.push(Note { says, from, tag });
        }
    }
    Some(Method {
        id: id?,
        title: title?,
        issuer: issuer?,
        measures: measures?,
        is_dust,
        values,
        variants,
        notes,
        file: None,
        replaces: false,
    })
}

/// A text that must be there and say something.
fn needed(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    (key, what, example): (&'static str, &str, &str),
    of: &str,
) -> Option<String> {
    let Some(entry) = f.get(key) else {
        reader.report(
            Finding::error("missing-key", format!("{of} needs {key:?}: {what}"))
                .at(f.span.start..f.span.start, format!("{key:?} is missing here"))
                .help(format!("add {key} = {example:?}")),
        );
        return None;
    };
    let text = reader.text(&entry, example)?;
    if text.trim().is_empty() || text.chars().any(char::is_control) {
        reader.report(
            Finding::error("out-of-range", format!("{key:?} says nothing, or is more than a line"))
                .at(entry.value_span(), "one line of text is wanted")
                .help(format!("write {key} = {example:?}")),
        );
        return None;
    }
    Some(text.to_owned())
}

/// `true` or `false`.
fn yes(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> bool {
    entry.value.get_ref().as_bool().unwrap_or_else(|| {
        reader.report(
            Finding::error("wrong-type", "this must be true or false")
                .at(entry.value_span(), "neither")
                .help("write dust = true where what is measured is the dust itself"),
        );
        false
    })
}

/// Names go into plans and command lines: small letters, digits and hyphens.
fn is_name(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> bool {
    let Some(text) = entry.value.get_ref().as_str() else { return true };
    let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let is = (1..=32).contains(&text.len()) && text.chars().all(good);
    if !is {
        reader.report(
            Finding::error("not-a-name", format!("{text:?} cannot be a name here"))
                .at(entry.value_span(), "1 to 32 small letters, digits and hyphens")
                .help("write it as in \"our-dust-2\""),
        );
    }
    is
}

/// The tables of `[[key]]`.
fn tables<'s, 'i>(
    reader: &mut Reader<'_>,
    f: &Fields<'s, 'i>,
    key: &'static str,
) -> Vec<(Fields<'s, 'i>, std::ops::Range<usize>)> {
    let Some(entry) = f.get(key) else { return Vec::new() };
    let list = entry.value.get_ref().as_array();
    let tables = list.map(|list| {
        list.iter().map(|item| match item.get_ref() {
            DeValue::Table(table) => Some((Fields { table, span: item.span() }, item.span())),
            _ => None,
        })
    });
    match tables.and_then(|t| t.collect::<Option<Vec<_>>>()) {
        Some(tables) => tables,
        None => {
            reader.report(
                Finding::error("wrong-type", format!("{key:?} must be a list of tables"))
                    .at(entry.value_span(), "no list of tables")
                    .help(format!("write [[{key}]] on a line of its own, and its keys below it")),
            );
            Vec::new()
        }
    }
}

fn from_and_tag(reader: &mut Reader<'_>, f: &Fields<'_, '_>, what: &str) -> Option<(String, How)> {
    let missing = |reader: &mut Reader<'_>, lacks: &str, help: &str| {
        reader.report(
            Finding::error("no-source", format!("{what} does not say {lacks}"))
                .at(f.span.clone(), "no source")
                .help(help.to_owned()),
        );
    };
    let from = match f.get("from") {
        Some(entry) => reader.text(&entry, "our laboratory, 2027").map(str::to_owned),
        None => {
            missing(reader, "where it comes from", "add from = \"our laboratory, 2027\"");
            None
        }
    };
    let tag = match f.get("tag") {
        Some(entry) => reader.choice(&entry, &How::OF_METHODS),
        None => {
            missing(
                reader,
                "how it was come by",
                "add tag = \"seen\", \"seen-copy\", \"memory\" or \"computed\"",
            );
            None
        }
    };
    let from = from.filter(|from| !from.trim().is_empty());
    if from.is_none() && f.get("from").is_some() && tag.is_some() {
        missing(reader, "where it comes from", "name the text in from = \"...\"");
    }
    from.zip(tag)
}

fn values(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Values {
    let found = KEYS.iter().filter_map(|key| value(reader, &f.get(key.key)?, key));
    Values(found.collect())
}

/// Reads `{ is = ..., from = "...", tag = "..." }`.
fn value(reader: &mut Reader<'_>, entry: &Entry<'_, '_>, key: &KeyInfo) -> Option<Value> {
    let DeValue::Table(table) = entry.value.get_ref() else {
        let written = reader.text.get(entry.value_span()).unwrap_or("...");
        reader.report(
            Finding::error(
                "no-source",
                format!("{:?} does not say where its value comes from", key.key),
            )
            .at(entry.value_span(), "only a value")
            .help(format!(
                "write {} = {{ is = {written}, from = \"our laboratory, 2027\", tag = \"seen\" }}",
                key.key
            )),
        );
        return None;
    };
    let f = Fields { table, span: entry.value_span() };
    let with_at = key.shape == Shape::Volume;
    let known: &[&str] =
        if with_at { &["is", "at", "from", "tag"] } else { &["is", "from", "tag"] };
    reader.unknown_keys(&f, known, &format!("{:?}", key.key));
    let source = from_and_tag(reader, &f, &format!("{:?}", key.key));
    let at = f.get("at").filter(|_| with_at).map(|e| {
        let shown = reader.text(&e, "5 mg/m3")?.to_owned();
        Some((reader.measured(e.key, e.value, Kind::MassConcentration)?, shown))
    });
    let Some(is) = f.get("is") else {
        reader.report(
            Finding::error("missing-key", format!("{:?} has no value", key.key))
                .at(entry.value_span(), "\"is\" is missing here")
                .help("add is = ... inside the braces"),
        );
        return None;
    };
    let (value, shown) = shape(reader, &is, key.shape)?;
    let (from, tag) = source?;
    let at = match at {
        Some(at) => Some(at?),
        None => None,
    };
    Some(Value { key: key.key, is: value, shown, at, from, tag })
}

fn shape(reader: &mut Reader<'_>, is: &Entry<'_, '_>, shape: Shape) -> Option<(Is, String)> {
    let text = |reader: &mut Reader<'_>, example| reader.text(is, example).map(str::to_owned);
    let one = |is: f64, shown: Option<String>| Some((Is::One(is), shown?));
    match shape {
        Shape::Text => text(reader, "actual").map(|t| (Is::Text(t.clone()), t)),
        Shape::Flow => {
            let base = reader.quantity(is, Quantity::Flow)?;
            one(f64::from(base) / 1e6, text(reader, ""))
        }
        Shape::Volume => {
            let base = reader.quantity(is, Quantity::Volume)?;
            one(f64::from(base) / 1e3, text(reader, ""))
        }
        Shape::Duration => {
            let base = reader.quantity(is, Quantity::Duration)?;
            one(f64::from(base) / 60_000.0, text(reader, ""))
        }
        Shape::Of(kind) => {
            let value = reader.measured(is.key, is.value, kind)?;
            one(value, text(reader, ""))
        }
        // One flow is a range as well.
        Shape::FlowRange if is.value.get_ref().is_str() => {
            let flow = f64::from(reader.quantity(is, Quantity::Flow)?) / 1e6;
            Some((Is::Range(flow, flow), text(reader, "")?))
        }
        Shape::FlowRange => {
            let (least, most) = reader.range(is, Quantity::Flow)?;
            Some((Is::Range(f64::from(least) / 1e6, f64::from(most) / 1e6), both(is)?))
        }
        Shape::DurationRange => {
            let (least, most) = reader.range(is, Quantity::Duration)?;
            let min = |ms| f64::from(ms) / 60_000.0;
            Some((Is::Range(min(least), min(most)), both(is)?))
        }
        Shape::RangeOf(kind) => {
            let Some([least, most]) = is
                .value
                .get_ref()
                .as_array()
                .and_then(|a| a.get(..2))
                .filter(|_| is.value.get_ref().as_array().is_some_and(|a| a.len() == 2))
            else {
                reader.report(
                    Finding::error(
                        "wrong-type",
                        "this must be a list of two: the least and the most",
                    )
                    .at(is.value_span(), "not two")
                    .help(format!("write is = [{:?}, ...]", kind.example())),
                );
                return None;
            };
            let least = reader.measured(is.key, least, kind);
            let most = reader.measured(is.key, most, kind);
            let (least, most) = (least?, most?);
            if least > most {
                reader.report(
                    Finding::error("empty-range", "this begins above its end")
                        .at(is.value_span(), "the least comes first")
                        .help("exchange the two"),
                );
                return None;
            }
            Some((Is::Range(least, most), both(is)?))
        }
    }
}

/// A range as it is written: "1 to 2 L/min", or with both units where they differ.
fn both(is: &Entry<'_, '_>) -> Option<String> {
    let texts = is.value.get_ref().as_array()?.iter().map(|v| v.get_ref().as_str());
    let texts: Vec<&str> = texts.collect::<Option<_>>()?;
    let [least, most] = texts.as_slice() else { return None };
    Some(units::joined(least, most))
}
