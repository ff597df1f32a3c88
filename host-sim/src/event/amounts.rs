//! Reading the values of a field.toml: each with its place, each fault a finding.

use draught::calendar::{Civil, Date};
use toml::Spanned;
use toml::de::DeValue;

use super::field::Stated;
use crate::hygiene::Amount;
use crate::hygiene::parse::{self, Kind, NotRead};
use crate::plan::fields::{Entry, Fields, Reader};
use crate::plan::finding::Finding;
use crate::plan::{format, words};

/// Every key with a near name, where one is not known.
pub(super) fn known(reader: &mut Reader<'_>, f: &Fields<'_, '_>, keys: &[&str], of: &str) {
    for (key, span) in f.others(keys) {
        let help = match words::closest(&key, keys.iter().copied()) {
            Some(near) => format!("did you mean {near:?}?"),
            None => format!("keys here: {}", keys.join(", ")),
        };
        let finding = Finding::error("unknown-key", format!("{of} has no key {key:?}"));
        reader.report(finding.at(span, "not a key here").help(help));
    }
}

/// A text of one line; an empty one is as good as none.
pub(super) fn text(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    example: &str,
) -> Option<String> {
    Some(stated_text(reader, f, key, example)?.is)
}

/// The same, with its place.
pub(super) fn stated_text(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    example: &str,
) -> Option<Stated<String>> {
    let entry = f.get(key)?;
    let text = reader.text(&entry, example)?;
    if text.chars().any(char::is_control) || text.chars().count() > 400 {
        let finding =
            Finding::error("out-of-range", format!("{key:?} is not one line of up to 400 letters"));
        reader.report(
            finding
                .at(entry.value_span(), "too long, or more than a line")
                .help(format!("write {key} = {example:?}")),
        );
        return None;
    }
    let is = text.trim().to_owned();
    if is.is_empty() {
        return None;
    }
    Some(Stated { is: is.clone(), says: is, at: entry.value_span() })
}

fn refused(reader: &mut Reader<'_>, at: std::ops::Range<usize>, key: &str, why: NotRead) {
    let finding = Finding::error(why.code, format!("{key:?}: {}", why.message));
    reader.report(finding.at(at, "not understood").help(why.help));
}

/// The text of a quantity; an empty one is as good as none.
fn quantity_text<'a>(
    reader: &mut Reader<'_>,
    key: &str,
    value: &'a Spanned<DeValue<'_>>,
    kind: Kind,
) -> Option<&'a str> {
    match value.get_ref() {
        DeValue::String(text) => Some(text.trim()).filter(|t| !t.is_empty()),
        DeValue::Integer(_) | DeValue::Float(_) => {
            let what = format!("{key:?} is a bare number, without a unit");
            reader.report(
                Finding::error("missing-unit", what)
                    .at(value.span(), "of which unit?")
                    .help(format!("write a text of number and unit, as in {:?}", kind.example())),
            );
            None
        }
        _ => {
            let what = format!("{key:?} must be a {} in quotes", kind.name());
            reader.report(
                Finding::error("wrong-type", what)
                    .at(value.span(), "not a text")
                    .help(format!("write it as in {:?}", kind.example())),
            );
            None
        }
    }
}

/// A quantity in its base unit, within limits.
pub(super) fn quantity(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    kind: Kind,
    limits: (f64, f64),
) -> Option<f64> {
    let entry = f.get(key)?;
    quantity_value(reader, key, entry.value, kind, limits)
}

fn quantity_value(
    reader: &mut Reader<'_>,
    key: &str,
    value: &Spanned<DeValue<'_>>,
    kind: Kind,
    (least, most): (f64, f64),
) -> Option<f64> {
    let text = quantity_text(reader, key, value, kind)?;
    match parse::read(text, kind) {
        Err(why) => {
            refused(reader, value.span(), key, why);
            None
        }
        Ok(is) if is < least || is > most => {
            let unit = kind.base();
            let what = format!("{key:?} cannot be {text}");
            reader.report(
                Finding::error("out-of-range", what)
                    .at(value.span(), format!("the limits are {least} to {most} {unit}"))
                    .help("check the number and its unit"),
            );
            None
        }
        Ok(is) => Some(is),
    }
}

/// One quantity or a list of them.
pub(super) fn quantities(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    kind: Kind,
    limits: (f64, f64),
) -> Vec<f64> {
    let Some(entry) = f.get(key) else { return Vec::new() };
    match entry.value.get_ref() {
        DeValue::Array(list) => {
            list.iter().filter_map(|v| quantity_value(reader, key, v, kind, limits)).collect()
        }
        _ => quantity_value(reader, key, entry.value, kind, limits).into_iter().collect(),
    }
}

/// A mass, which may be "< x".
pub(super) fn mass(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
) -> Option<Amount> {
    let entry = f.get(key)?;
    let text = quantity_text(reader, key, entry.value, Kind::Mass)?;
    match parse::read_amount(text, Kind::Mass) {
        Err(why) => {
            refused(reader, entry.value_span(), key, why);
            None
        }
        Ok(Amount::Found(0.0)) => {
            reader.report(
                Finding::error("not-positive", format!("{key:?} is 0, which no laboratory finds"))
                    .at(entry.value_span(), "below what?")
                    .help("write what the laboratory reported, as in \"< 0.03 mg\""),
            );
            None
        }
        Ok(Amount::Found(is) | Amount::Below(is)) if is > 1e6 => {
            reader.report(
                Finding::error("out-of-range", format!("{key:?} cannot be {text}"))
                    .at(entry.value_span(), "the limits are 0 to 1 kg")
                    .help("check the number and its unit"),
            );
            None
        }
        Ok(amount) => Some(amount),
    }
}

/// What a blank lost: of "-0.012 mg", 0.012 mg. `None` of any other text.
pub(super) fn lost(reader: &mut Reader<'_>, f: &Fields<'_, '_>, key: &'static str) -> Option<f64> {
    let entry = f.get(key)?;
    let text = entry.value.get_ref().as_str()?.trim();
    let text = text.strip_prefix(['-', '\u{2212}'])?;
    match parse::read(text, Kind::Mass) {
        Err(why) => {
            refused(reader, entry.value_span(), key, why);
            None
        }
        Ok(is) if is > 1e3 => {
            reader.report(
                Finding::error("out-of-range", format!("{key:?} cannot be -{text}"))
                    .at(entry.value_span(), "a blank loses 1 g at most")
                    .help("check the number and its unit"),
            );
            None
        }
        Ok(is) => Some(is),
    }
}

/// A date with a time.
pub(super) fn civil(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
) -> Option<Stated<Civil>> {
    let entry = f.get(key).filter(|e| !is_blank(e))?;
    let is = reader.civil(&entry)?;
    Some(Stated { is, says: written(reader, &entry), at: entry.value_span() })
}

/// A date.
pub(super) fn date(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
) -> Option<Stated<Date>> {
    let entry = f.get(key).filter(|e| !is_blank(e))?;
    let is = reader.date(&entry)?;
    Some(Stated { is, says: written(reader, &entry), at: entry.value_span() })
}

/// One of a few words.
pub(super) fn choice<T: Copy>(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    choices: &[(&str, T)],
) -> Option<Stated<T>> {
    let entry = f.get(key).filter(|e| !is_blank(e))?;
    let is = reader.choice(&entry, choices)?;
    Some(Stated { is, says: written(reader, &entry), at: entry.value_span() })
}

/// A whole number from 1.
pub(super) fn count(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
) -> Option<Stated<u32>> {
    let entry = f.get(key)?;
    let whole = entry.value.get_ref().as_integer().and_then(|i| i.as_str().parse::<u32>().ok());
    match whole.filter(|n| *n >= 1) {
        Some(is) => Some(Stated { is, says: is.to_string(), at: entry.value_span() }),
        None => {
            reader.report(
                Finding::error("out-of-range", format!("{key:?} must be a whole number"))
                    .at(
                        entry.value_span(),
                        format!("the limits are 1 to {}", format::grouped(u32::MAX.into())),
                    )
                    .help(format!("write {key} = 1")),
            );
            None
        }
    }
}

/// A template leaves texts empty.
fn is_blank(entry: &Entry<'_, '_>) -> bool {
    entry.value.get_ref().as_str().is_some_and(|t| t.trim().is_empty())
}

fn written(reader: &Reader<'_>, entry: &Entry<'_, '_>) -> String {
    let text = reader.text.get(entry.value_span()).unwrap_or("");
    text.trim_matches(['"', '\'']).to_owned()
}

/// A table, or none.
pub(super) fn table<'s, 'i>(
    reader: &mut Reader<'_>,
    f: &Fields<'s, 'i>,
    key: &'static str,
    example: &str,
) -> Option<Fields<'s, 'i>> {
    let entry = f.get(key)?;
    match entry.value.get_ref() {
        DeValue::Table(table) => Some(Fields { table, span: entry.whole_span() }),
        _ => {
            reader.report(
                Finding::error("wrong-type", format!("{key:?} must be a table"))
                    .at(entry.value_span(), "no table")
                    .help(format!("write {example}")),
            );
            None
        }
    }
}

/// A list of tables; with `one_will_do` a single one as well.
pub(super) fn tables<'s, 'i>(
    reader: &mut Reader<'_>,
    f: &Fields<'s, 'i>,
    key: &'static str,
    example: &str,
    one_will_do: bool,
) -> Vec<Fields<'s, 'i>> {
    let Some(entry) = f.get(key) else { return Vec::new() };
    let found = match entry.value.get_ref() {
        DeValue::Table(table) if one_will_do => {
            Some(vec![Fields { table, span: entry.whole_span() }])
        }
        DeValue::Array(list) => list
            .iter()
            .map(|item| match item.get_ref() {
                DeValue::Table(table) => Some(Fields { table, span: item.span() }),
                _ => None,
            })
            .collect(),
        _ => None,
    };
    found.unwrap_or_else(|| {
        reader.report(
            Finding::error("wrong-type", format!("{key:?} must be a list of tables"))
                .at(entry.value_span(), "no list of tables")
                .help(format!("write {example}")),
        );
        Vec::new()
    })
}
