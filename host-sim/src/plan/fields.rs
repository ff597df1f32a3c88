//! Reading values out of the TOML tree, each with its place, each fault a finding.

use std::ops::Range;

use draught::calendar::{Civil, Date, TimeOfDay, Weekdays};
use draught::step::StepNo;
use draught::units::{OutOfRange, Quantity};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::finding::{Finding, Findings};
use super::when::{self, NotWhen};
use super::{format, quantity, words};
use crate::hygiene::parse::{self, Kind};

/// A key of a table with its value.
#[derive(Clone, Copy)]
pub(crate) struct Entry<'s, 'i> {
    pub key: &'static str,
    key_at: &'s Spanned<toml::de::DeString<'i>>,
    pub value: &'s Spanned<DeValue<'i>>,
}

impl Entry<'_, '_> {
    pub fn key_span(&self) -> Range<usize> {
        self.key_at.span()
    }

    pub fn value_span(&self) -> Range<usize> {
        self.value.span()
    }

    pub fn whole_span(&self) -> Range<usize> {
        self.key_span().start..self.value_span().end.max(self.key_span().end)
    }
}

/// A table being read: what is never asked for is unknown.
pub(crate) struct Fields<'s, 'i> {
    pub table: &'s DeTable<'i>,
    pub span: Range<usize>,
}

impl<'s, 'i> Fields<'s, 'i> {
    pub fn get(&self, key: &'static str) -> Option<Entry<'s, 'i>> {
        let (key_at, value) = self.table.iter().find(|(k, _)| k.get_ref() == key)?;
        Some(Entry { key, key_at, value })
    }

    /// Keys that are none of `known`, in the order in which they stand.
    pub fn others(&self, known: &[&str]) -> Vec<(String, Range<usize>)> {
        let mut keys: Vec<_> = self
            .table
            .keys()
            .filter(|k| !known.contains(&k.get_ref().as_ref()))
            .map(|k| (k.get_ref().to_string(), k.span()))
            .collect();
        keys.sort_by_key(|(_, span)| span.start);
        keys
    }
}

/// Collects findings while values are read.
pub(crate) struct Reader<'s> {
    pub text: &'s str,
    pub findings: Findings,
    /// The step being read; every finding made meanwhile carries it.
    pub step: Option<StepNo>,
}

impl Reader<'_> {
    pub fn report(&mut self, finding: Finding) {
        let step = finding.step.or(self.step);
        self.findings.push(finding.step(step));
    }

    /// Reports every key that is none of `known`.
    pub fn unknown_keys(&mut self, fields: &Fields<'_, '_>, known: &[&str], of: &str) {
        for (key, span) in fields.others(known) {
            let finding = Finding::error("unknown-key", format!("{of} has no key {key:?}"))
                .at(span, "not a key here");
            self.report(finding.help(key_help(&key, known)));
        }
    }

    fn wrong_type(&mut self, entry: &Entry<'_, '_>, wanted: &str, example: &str) {
        let found = type_words(entry.value.get_ref());
        self.report(
            Finding::error("wrong-type", format!("{:?} must be {wanted}, not {found}", entry.key))
                .at(entry.value_span(), format!("this is {found}"))
                .help(format!("write {} = {example}", entry.key)),
        );
    }

    pub fn text<'s>(&mut self, entry: &Entry<'s, '_>, example: &str) -> Option<&'s str> {
        let text = entry.value.get_ref().as_str();
        if text.is_none() {
            self.wrong_type(entry, "a text", &format!("{example:?}"));
        }
        text
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&mut self, entry: &Entry<'_, '_>, choices: &[(&str, T)]) -> Option<T> {
        self.choice_or(entry, choices, "")
    }

    /// One of a few words, where `else_written` would have done as well.
    pub fn choice_or<T: Copy>(
        &mut self,
        entry: &Entry<'_, '_>,
        choices: &[(&str, T)],
        else_written: &str,
    ) -> Option<T> {
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        let text = self.text(entry, names[0])?;
        if let Some((_, value)) = choices.iter().find(|(name, _)| *name == text) {
            return Some(*value);
        }
        let quoted: Vec<String> = names.iter().map(|n| format!("{n:?}")).collect();
        let quoted: Vec<&str> = quoted.iter().map(String::as_str).collect();
        let help = match words::closest(text, names.iter().copied()) {
            Some(meant) => format!("did you mean {meant:?}?"),
            None if else_written.is_empty() => format!("write {}", format::or_list(&quoted)),
            None => format!("write {}, or {else_written}", quoted.join(", ")),
        };
        self.report(
            Finding::error("not-a-choice", format!("{:?} cannot be {text:?}", entry.key))
                .at(
                    entry.value_span(),
                    format!(
                        "must be {}",
                        if else_written.is_empty() {
                            format::or_list(&quoted)
                        } else {
                            format!("{}, or a table", quoted.join(", "))
                        }
                    ),
                )
                .help(help),
        );
        None
    }

    pub fn flag(&mut self, entry: &Entry<'_, '_>) -> Option<bool> {
        let flag = entry.value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong_type(entry, "true or false", "true");
        }
        flag
    }

    /// A whole number in the range of its quantity.
    pub fn integer(&mut self, entry: &Entry<'_, '_>, quantity: Quantity) -> Option<u32> {
        let Some(number) = entry.value.get_ref().as_integer() else {
            self.wrong_type(entry, "a whole number", &quantity.range().0.to_string());
            return None;
        };
        let value = i128::from_str_radix(number.as_str(), number.radix()).unwrap_or(i128::MAX);
        let checked = u64::try_from(value).ok().and_then(|v| quantity.check(v).ok());
        if checked.is_none() {
            let limits = format::range_words(quantity);
            self.report(
                Finding::error("out-of-range", format!("{:?} cannot be {value}", entry.key))
                    .at(entry.value_span(), format!("the limits are {limits}"))
                    .help(format!("choose a whole number from {limits}")),
            );
        }
        checked
    }

    /// A quantity with a unit, in base units.
    pub fn quantity(&mut self, entry: &Entry<'_, '_>, quantity: Quantity) -> Option<u32> {
        self.quantity_value(entry.key, entry.value, quantity)
    }

    fn quantity_value(
        &mut self,
        key: &str,
        value: &Spanned<DeValue<'_>>,
        quantity: Quantity,
    ) -> Option<u32> {
        let example = quantity::example(quantity);
        let finding = match value.get_ref() {
            DeValue::String(text) => match quantity::parse(text, quantity) {
                Ok(base) => return Some(base),
                Err(e) => Finding::error(e.code, e.message)
                    .at(self.inside(value.span(), text, e.span), e.label)
                    .help(e.help),
            },
            DeValue::Integer(_) | DeValue::Float(_) => {
                let units = quantity::unit_list(quantity);
                Finding::error("missing-unit", format!("{key:?} is a bare number, without a unit"))
                    .at(value.span(), format!("of which unit: {units}?"))
                    .help(format!("write a text of number and unit, as in {example:?}"))
            }
            other => {
                let found = type_words(other);
                Finding::error(
                    "wrong-type",
                    format!("{key:?} must be a {} in quotes, not {found}", quantity.name()),
                )
                .at(value.span(), format!("this is {found}"))
                .help(format!("write it as in {example:?}"))
            }
        };
        self.report(finding);
        None
    }

    /// A mass, a concentration and the like, in the unit in which it is kept.
    pub fn measured(&mut self, key: &str, value: &Spanned<DeValue<'_>>, kind: Kind) -> Option<f64> {
        let text = match value.get_ref() {
            DeValue::String(text) => text,
            other => {
                let found = type_words(other);
                self.report(
                    Finding::error("wrong-type", format!("{key:?} must be a text, not {found}"))
                        .at(value.span(), format!("this is {found}"))
                        .help(format!("write number and unit, as in {:?}", kind.example())),
                );
                return None;
            }
        };
        parse::read_positive(text, kind)
            .map_err(|e| {
                let label = match e.code {
                    "missing-unit" => "of which unit?",
                    "unknown-unit" => "unknown unit",
                    "out-of-range" => "outside of what is taken",
                    _ => "a number above zero is expected here",
                };
                let finding = Finding::error(e.code, e.message).at(value.span(), label);
                self.report(finding.help(e.help));
            })
            .ok()
    }

    /// A pair of quantities, the first not above the second.
    pub fn range(&mut self, entry: &Entry<'_, '_>, quantity: Quantity) -> Option<(u32, u32)> {
        let pair = match entry.value.get_ref().as_array() {
            Some(array) if array.len() == 2 => array,
            _ => {
                let wanted = "two quantities, the least and the most";
                let (least, most) = quantity::example_range(quantity);
                self.wrong_type(entry, wanted, &format!("[{least:?}, {most:?}]"));
                return None;
            }
        };
        let mut ends = pair.iter().map(|v| self.quantity_value(entry.key, v, quantity));
        let (from, to) = (ends.next()?, ends.next()?);
        drop(ends);
        let (from, to) = (from?, to?);
        if from > to {
            self.report(
                Finding::error("empty-range", format!("{:?} begins above its end", entry.key))
                    .at(entry.value_span(), "the least comes first")
                    .help(format!(
                        "write [{:?}, {:?}]",
                        format::quantity(to, quantity),
                        format::quantity(from, quantity)
                    )),
            );
            return None;
        }
        Some((from, to))
    }

    pub fn date(&mut self, entry: &Entry<'_, '_>) -> Option<Date> {
        let read = match entry.value.get_ref() {
            DeValue::String(text) => when::date(text),
            DeValue::Datetime(d) if d.time.is_none() && d.offset.is_none() => match d.date {
                Some(d) => when::from_ymd(d.year, d.month.into(), d.day.into()),
                None => when::date(""),
            },
            DeValue::Datetime(d) => when::date(&d.to_string()),
            _ => {
                self.wrong_type(entry, "a date", "\"2027-02-11\"");
                return None;
            }
        };
        self.when(entry, read)
    }

    pub fn time(&mut self, entry: &Entry<'_, '_>) -> Option<TimeOfDay> {
        let read = match entry.value.get_ref() {
            DeValue::String(text) => when::time(text),
            DeValue::Datetime(d) if d.date.is_none() => when::time(&d.to_string()),
            DeValue::Datetime(d) => when::time(&d.to_string()),
            _ => {
                self.wrong_type(entry, "a time of day", "\"22:00\"");
                return None;
            }
        };
        self.when(entry, read)
    }

    pub fn civil(&mut self, entry: &Entry<'_, '_>) -> Option<Civil> {
        let read = match entry.value.get_ref() {
            DeValue::String(text) => when::civil(text),
            DeValue::Datetime(d) => when::civil(&d.to_string()),
            _ => {
                self.wrong_type(entry, "a date with a time", "\"2027-02-11 22:10\"");
                return None;
            }
        };
        self.when(entry, read)
    }

    pub fn weekdays(&mut self, entry: &Entry<'_, '_>) -> Option<Weekdays> {
        let text = match entry.value.get_ref() {
            DeValue::String(text) => text.to_string(),
            DeValue::Array(days) if days.iter().all(|d| d.get_ref().is_str()) => {
                let days: Vec<&str> = days.iter().filter_map(|d| d.get_ref().as_str()).collect();
                days.join(",")
            }
            _ => {
                self.wrong_type(entry, "days of the week", "\"Mon-Fri\"");
                return None;
            }
        };
        self.when(entry, when::weekdays(&text))
    }

    fn when<T>(&mut self, entry: &Entry<'_, '_>, read: Result<T, NotWhen>) -> Option<T> {
        read.map_err(|e| {
            let label = match e.code {
                "no-such-date" | "no-such-time" => "does not exist",
                "out-of-range" => "outside the limits",
                _ => "not understood",
            };
            self.report(
                Finding::error(e.code, e.message).at(entry.value_span(), label).help(e.help),
            );
        })
        .ok()
    }

    /// A value that its type may still refuse; what is said then stands in the core.
    pub fn checked<T>(&mut self, entry: &Entry<'_, '_>, value: Result<T, OutOfRange>) -> Option<T> {
        value
            .map_err(|e| {
                let limits = format::range_words(e.quantity);
                self.report(
                    Finding::error("out-of-range", e.to_string())
                        .at(entry.value_span(), format!("the limits are {limits}")),
                );
            })
            .ok()
    }

    /// Where a part of a text stands in the source: exactly, unless the text was written with
    /// escapes; then the whole of it.
    fn inside(&self, value: Range<usize>, text: &str, part: Range<usize>) -> Range<usize> {
        let start = value.start + 1;
        let plain =
            self.text.get(start..start + text.len()) == Some(text) && value.len() == text.len() + 2;
        if plain && !part.is_empty() { start + part.start..start + part.end } else { value }
    }
}

/// What a key that is not known here may have been meant to be.
fn key_help(key: &str, known: &[&str]) -> String {
    if let Some(meant) = words::closest(key, known.iter().copied()) {
        return format!("did you mean {meant:?}?");
    }
    let with: Vec<&str> = super::keys::ACTIONS
        .iter()
        .filter(|(_, with)| with.contains(&key))
        .map(|(a, _)| *a)
        .collect();
    if !with.is_empty() {
        return format!("{key:?} goes with {}", format::or_list(&with));
    }
    let elsewhere = super::keys::HOMES.iter().find(|(name, _)| *name == key);
    match elsewhere {
        Some((_, home)) => format!("{key:?} belongs in {home}"),
        None => format!("keys here: {}", known.join(", ")),
    }
}

/// What a value is, with its article.
fn type_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a decimal number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
