//! The schema of the encoding, as the core's reader shows it while it reads the golden blocks: which fields follow
//! each tag, in which order, how they are written, their ranges and how many bytes they take.
//!
//! `tests/vectors/v1/schema.txt` holds version 1 to it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use draught::units::Quantity;
use draught::wire::{self, Field, FieldName, Observer, Value};

use crate::vectors;

/// Where fields stand: in the head, after a setting's tag, or after a step's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Place {
    Head,
    Setting(u8),
    Step(u8),
}

/// One field of a sequence; choices are part of what makes one sequence differ from another.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Entry {
    name: &'static str,
    form: String,
}

#[derive(Default)]
struct Sequences {
    found: BTreeSet<(Place, Vec<Entry>)>,
    now: Option<(Place, Vec<Entry>)>,
    /// The smallest and largest number of bytes that a form was seen to take, wherever it stands.
    widths: BTreeMap<String, (usize, usize)>,
}

impl Sequences {
    fn begin(&mut self, place: Place) {
        self.found.extend(self.now.replace((place, Vec::new())));
    }
}

impl Observer for Sequences {
    fn field(&mut self, f: &Field<'_>) {
        match (f.name, f.value) {
            (FieldName::Magic, _) => self.begin(Place::Head),
            (FieldName::Setting, Value::Choice(tag, _)) => self.begin(Place::Setting(tag)),
            (FieldName::StepKind, Value::Choice(tag, _)) => self.begin(Place::Step(tag)),
            // The number of steps belongs to the head, wherever it stands.
            (FieldName::StepCount, _) => return,
            _ => {}
        }
        let form = form(f);
        let (min, max) = self.widths.entry(form.clone()).or_insert((f.len, f.len));
        (*min, *max) = ((*min).min(f.len), (*max).max(f.len));
        if let Some((_, entries)) = &mut self.now {
            entries.push(Entry { name: f.name.as_str(), form });
        }
    }
}

fn form(f: &Field<'_>) -> String {
    let range = |kind: Quantity| {
        let (min, max) = kind.range();
        format!("{kind:?} {min} to {max}")
    };
    match f.value {
        Value::Number(fixed) if matches!(f.name, FieldName::Magic | FieldName::Version) => {
            format!("byte     {fixed}")
        }
        Value::Number(_) => "number".into(),
        Value::QuarterHours(_) => "signed   -48 to 56 quarter-hours".into(),
        Value::Quantity(kind, _) if kind.range().1 <= 255 => format!("byte     {}", range(kind)),
        Value::Quantity(kind, _) => format!("short    {}", range(kind)),
        Value::Scaled(kind, _) => {
            let units = kind.scale().map_or(String::new(), |units| format!("{units:?}"));
            format!("scaled   {} in {units}", range(kind))
        }
        Value::Choice(tag, word) => format!("choice   {tag} {word}"),
        Value::Text(_) => "text".into(),
    }
}

/// The schema as text.
///
/// # Panics
/// When a valid vector is refused.
#[must_use]
pub fn text() -> String {
    let mut all = Sequences::default();
    for v in vectors::valid() {
        wire::observe(&v.hex, wire::STEPS_MAX, &mut all).expect("a valid vector");
    }
    all.begin(Place::Head);
    let mut text = format!("version {}\n", wire::VERSION);
    for (place, entries) in &all.found {
        let _ = match place {
            Place::Head => {
                writeln!(text, "\nhead, then the settings, the number of steps, the steps")
            }
            Place::Setting(tag) => writeln!(text, "\nsetting {tag}"),
            Place::Step(tag) => writeln!(text, "\nstep {tag}"),
        };
        for entry in entries {
            let (min, max) = &all.widths[&entry.form];
            let width = if min == max { format!("{min}") } else { format!("{min} to {max}") };
            let _ = writeln!(text, "    {width:<8} {:<22} {}", entry.name, entry.form);
        }
    }
    text
}
