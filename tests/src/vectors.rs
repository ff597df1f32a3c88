//! Golden vectors of the encoding, one folder a format version under `tests/vectors/`.
//!
//! The files are the authority: a released version never changes, and its vectors stay for ever. What
//! is built here must equal them; `DRAUGHT_WRITE_VECTORS=1 cargo test -p draught-tests --test vectors`
//! adds new ones to the files, and refuses to change what stands there.

use std::path::PathBuf;

use draught::audit::Fit;
use draught::prelude::*;
use draught::wire::{self, Field, Observer, Value};
use serde::{Deserialize, Serialize};

pub mod refused;
pub mod valid;

/// A block that decodes, and how to try it on a pump.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Valid {
    /// Its name.
    pub name: String,
    /// What it holds, for people.
    pub meaning: String,
    /// Its bytes.
    #[serde(with = "hex")]
    pub hex: Vec<u8>,
    /// The schedule's id.
    pub id: String,
    /// When it is armed.
    pub armed: Armed,
    /// What the pump that it is armed on can do.
    pub pump: Pump,
    /// Its fields, in byte order.
    pub fields: Vec<Row>,
}

/// Offset, length, name, step, value: a number in base units, or a text.
pub type Row = (usize, usize, String, Option<u8>, serde_json::Value);

/// An instant, twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Armed {
    /// The civil date and time at the schedule's offset.
    pub civil: String,
    /// Milliseconds since 2000-01-01T00:00Z.
    pub utc_ms_since_2000: u64,
}

/// Smallest and largest of what a pump keeps constant; null when it cannot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pump {
    /// In µL/min.
    pub flow_ul_per_min: Option<(u32, u32)>,
    /// In Pa.
    pub pressure_pa: Option<(u32, u32)>,
}

/// A block that is refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// Its name.
    pub name: String,
    /// What is wrong, for people.
    pub meaning: String,
    /// Its bytes.
    #[serde(with = "hex")]
    pub hex: Vec<u8>,
    /// How many steps the table has room for.
    pub capacity: usize,
    /// The stable code.
    pub code: String,
    /// The offset.
    pub at: usize,
    /// The step.
    pub step: Option<u8>,
}

impl Valid {
    /// A vector of a block that decodes.
    ///
    /// # Panics
    /// When it does not, or is armed before 2020.
    #[must_use]
    pub fn new(name: &str, meaning: &str, block: Vec<u8>, armed: Civil) -> Self {
        let mut table = StepTable::<255>::empty();
        decode_into(&block, &mut table).unwrap_or_else(|e| panic!("{name}: {e}"));
        let mut fields = Fields(Vec::new());
        wire::observe(&block, 255, &mut fields).expect("it decodes");
        let ((y, m, d), ms) = (armed.date.ymd(), armed.time.as_ms());
        let (h, min, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60);
        let wall = table.settings().utc_offset.instant(armed).expect("a trusted clock");
        Self {
            name: name.into(),
            meaning: meaning.into(),
            id: wire::schedule_id(table.checked().expect("it decodes")).to_string(),
            hex: block,
            armed: Armed {
                civil: format!("{y:04}-{m:02}-{d:02}T{h:02}:{min:02}:{s:02}"),
                utc_ms_since_2000: wall.as_ms(),
            },
            pump: Pump {
                flow_ul_per_min: Some((1, 2_000_000_000)),
                pressure_pa: Some((1, 200_000)),
            },
            fields: fields.0,
        }
    }

    /// The wall clock at arming.
    ///
    /// # Panics
    /// When the file holds an instant outside 2020 to 2135.
    #[must_use]
    pub fn armed_at(&self) -> WallMs {
        WallMs::from_ms(self.armed.utc_ms_since_2000).expect("a trusted clock")
    }

    /// The pump, as arming takes it.
    ///
    /// # Panics
    /// When the file holds a value out of range.
    #[must_use]
    pub fn fit(&self) -> Fit {
        let flow = |f| Flow::from_ul_per_min(f).expect("a flow");
        let pressure = |p| Pressure::from_pa(p).expect("a pressure");
        Fit {
            flow: self.pump.flow_ul_per_min.map(|(min, max)| (flow(min), flow(max))),
            pressure: self.pump.pressure_pa.map(|(min, max)| (pressure(min), pressure(max))),
        }
    }
}

/// Collects the fields as an observer.
struct Fields(Vec<Row>);

impl Observer for Fields {
    fn field(&mut self, f: &Field<'_>) {
        let value = match f.value {
            Value::Number(n) | Value::Quantity(_, n) | Value::Scaled(_, n) => n.into(),
            Value::QuarterHours(q) => q.into(),
            Value::Choice(tag, _) => tag.into(),
            Value::Text(text) => text.into(),
        };
        let step = f.step.map(StepNo::get);
        self.0.push((f.at, f.len, f.name.as_str().to_owned(), step, value));
    }
}

/// Bytes as lower-case hex digits.
pub mod hex {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    /// Bytes as digits.
    #[must_use]
    pub fn text(bytes: &[u8]) -> String {
        bytes.iter().map(|b| format!("{b:02x}")).collect()
    }

    /// Digits as bytes; `None` when they are none.
    #[must_use]
    pub fn bytes(text: &str) -> Option<Vec<u8>> {
        let digits: Vec<_> = text.chars().map(|c| c.to_digit(16)).collect::<Option<_>>()?;
        let (pairs, rest) = digits.as_chunks::<2>();
        rest.is_empty().then(|| pairs.iter().map(|[high, low]| (high << 4 | low) as u8).collect())
    }

    pub(super) fn serialize<S: Serializer>(bytes: &[u8], s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&text(bytes))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Vec<u8>, D::Error> {
        let text = String::deserialize(d)?;
        bytes(&text).ok_or_else(|| D::Error::custom("not pairs of hex digits"))
    }
}

/// A file under `tests/vectors/v1/`.
#[must_use]
pub fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("vectors/v1").join(name)
}

/// The vectors as the file holds them: a key or a field a line.
///
/// # Panics
/// Never: they are plain data.
#[must_use]
pub fn file_text<T: Serialize>(vectors: &[T]) -> String {
    let pretty = serde_json::to_string_pretty(vectors).expect("plain data") + "\n";
    // Arrays of values go on one line; they stand eight spaces deep, and nothing else does.
    let mut out = String::new();
    let mut in_row = false;
    for line in pretty.lines() {
        let row = line.starts_with("        ");
        if row || (in_row && line.starts_with("      ]")) {
            let gap = if row && in_row { " " } else { "" };
            out.truncate(out.trim_end().len());
            out.push_str(gap);
            out.push_str(line.trim_start());
        } else {
            out.push_str(line);
        }
        in_row = row;
        out.push('\n');
    }
    out
}

/// The valid vectors, read from their file.
///
/// # Panics
/// When the file is not there or not as it should be.
#[must_use]
pub fn valid() -> Vec<Valid> {
    read("valid.json")
}

/// The refused vectors, read from their file.
///
/// # Panics
/// When the file is not there or not as it should be.
#[must_use]
pub fn refused() -> Vec<Refused> {
    read("refused.json")
}

fn read<T: for<'de> Deserialize<'de>>(name: &str) -> Vec<T> {
    let path = path(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}
