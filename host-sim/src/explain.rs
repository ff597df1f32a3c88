//! A block, byte by byte: every field with its offset, bytes, name and value, and what is wrong.
//!
//! The reading is done by the reader that a device decodes with, so what is shown here is what a pump
//! makes of the bytes.
//!
//! ```
//! let block = b"\x44\x01\x00\x00\x67\x00\x01\x00\xcc\xbc\x17\xa9";
//! let explanation = draught_sim::explain::explain(block);
//! assert!(explanation.damage.is_empty());
//! assert_eq!(explanation.rows[4].says, "2.5 L/min (25 × 100 mL/min)");
//! println!("{}", explanation.render());
//! ```

use std::fmt::Write as _;

use draught::audit::TableRule;
use draught::calendar::{Date, TimeOfDay, UtcOffset, Weekdays};
use draught::step::StepNo;
use draught::table::{Name, StepTable};
use draught::units::Quantity;
use draught::wire::{self, Field, FieldName, Observer, RefusalCode, Refused, STEPS_MAX, Value};
use serde::Serialize;

use crate::plan::{format, site, when};

/// The bytes of the CRC at the end of a block.
const CRC_LEN: usize = 4;
/// What its row is called.
const CRC_FIELD: &str = "CRC-32C";

/// A block, explained.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Explanation {
    /// How many bytes there are.
    pub len: usize,
    /// The schedule's id, if the block is good.
    pub id: Option<String>,
    /// What is wrong, the first thing first. After a wrong CRC: what else would be wrong, were it right.
    pub damage: Vec<Damage>,
    /// Every byte, in order, as far as fields can be told apart; the rest is one row.
    pub rows: Vec<Row>,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Damage {
    /// The offset of the first byte of the field at fault; for a table rule, of the step at fault.
    pub at: usize,
    /// The step at fault.
    pub step: Option<u8>,
    /// The stable code.
    pub code: &'static str,
    /// What is wrong, where, the limit, and what to do.
    pub text: String,
}

/// Some bytes, and what they say.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// The offset of the first of them.
    pub at: usize,
    /// The bytes, in hex.
    pub bytes: String,
    /// The step they belong to.
    pub step: Option<u8>,
    /// The field.
    pub field: &'static str,
    /// Its value, in words.
    pub says: String,
}

/// Explains any bytes, good or damaged, as a reader with room for every legal number of steps.
#[must_use]
pub fn explain(bytes: &[u8]) -> Explanation {
    explain_for(bytes, STEPS_MAX)
}

/// The same, as a reader with room for so many steps.
#[must_use]
pub fn explain_for(bytes: &[u8], room: usize) -> Explanation {
    let mut table = Box::new(StepTable::<STEPS_MAX>::empty());
    let mut fault_of = |bytes: &[u8]| {
        let read = wire::observe(bytes, room.min(STEPS_MAX), ());
        read.and_then(|()| wire::decode_into(bytes, &mut table)).err()
    };
    let first = fault_of(bytes);
    let mut damage: Vec<_> = first.iter().map(Damage::of).collect();

    // With a wrong CRC nothing else is looked at, so the fields are read from a copy with a right one.
    let mut copy = bytes.to_vec();
    let crc_at = bytes.len().saturating_sub(CRC_LEN);
    let crc_is_wrong = first.is_some_and(|f| f.code == RefusalCode::Crc);
    if crc_is_wrong {
        let right = wire::seal(&bytes[..crc_at]);
        copy[crc_at..].copy_from_slice(&right);
        damage.extend(fault_of(&copy).iter().map(Damage::of));
    }
    let id = table.checked().ok().filter(|_| first.is_none());
    let id = id.map(|t| wire::schedule_id(t).to_string());

    // Steps beyond the room are shown all the same.
    let mut rows = Rows { block: bytes, end: 0, rows: Vec::new() };
    let unread = wire::observe(&copy, STEPS_MAX, &mut rows).err();
    let (mut rows, end) = (rows.rows, rows.end);
    match unread {
        Some(Refused { code: RefusalCode::TooShort, .. }) if bytes.is_empty() => {}
        Some(Refused { code: RefusalCode::TooShort, .. }) => {
            rows.push(Row::of(
                bytes,
                0,
                bytes.len(),
                "not read",
                "too few bytes for a block".into(),
            ));
        }
        fault => {
            rows.extend(fault.and_then(|fault| Row::at_fault(&copy, &fault, end)));
            if damage.iter().any(|d| d.code == TableRule::NoFinish.code() && d.at == crc_at) {
                let mut row = Row::of(bytes, crc_at, 0, "step", "missing: finish".into());
                row.step = Some(StepNo::FIRST.get());
                rows.push(row);
            }
            rows.push(Row::of(bytes, crc_at, CRC_LEN, CRC_FIELD, crc_words(bytes, crc_is_wrong)));
        }
    }
    Explanation { len: bytes.len(), id, damage, rows }
}

fn crc_words(bytes: &[u8], wrong: bool) -> String {
    let crc_at = bytes.len().saturating_sub(CRC_LEN);
    if wrong {
        format!("wrong: the bytes before it give {}", spaced(&wire::seal(&bytes[..crc_at])))
    } else {
        "right".to_owned()
    }
}

impl Damage {
    fn of(refused: &Refused) -> Self {
        Self {
            at: refused.at,
            step: refused.step.map(StepNo::get),
            code: refused.code.as_str(),
            text: refused.to_string(),
        }
    }
}

impl Row {
    fn of(block: &[u8], at: usize, len: usize, field: &'static str, says: String) -> Self {
        let bytes = block.get(at..at + len).unwrap_or(&[]);
        Self { at, bytes: spaced(bytes), step: None, field, says }
    }

    /// The field that was refused with all bytes behind it, none of which is read; of a field that was
    /// refused after it was read and shown, the bytes behind it. `end` is where the shown ones end.
    fn at_fault(block: &[u8], fault: &Refused, end: usize) -> Option<Self> {
        let begin = fault.at.max(end);
        let len = block.len().saturating_sub(CRC_LEN + begin);
        let (field, says) = match fault.code {
            _ if fault.at < end && len == 0 => return None,
            _ if fault.at < end => ("rest", "not read".to_owned()),
            RefusalCode::TrailingBytes => ("rest", "left over, not read".to_owned()),
            code => {
                let says = match (code, len) {
                    (RefusalCode::EndsEarly, 0) => "missing: the block ends before it".to_owned(),
                    (RefusalCode::EndsEarly, _) => "cut off: the block ends inside it".to_owned(),
                    _ => format!("refused: {code}; not read from here on"),
                };
                (field_at(block, fault.at).unwrap_or("rest"), says)
            }
        };
        let mut row = Self::of(block, begin, len, field, says);
        row.step = fault.step.filter(|_| fault.at >= end).map(StepNo::get);
        Some(row)
    }
}

/// Which field a reader looks for at an offset, whatever stands there: the first that it finds when any
/// other byte does.
fn field_at(block: &[u8], at: usize) -> Option<&'static str> {
    struct At(usize, Option<&'static str>);
    impl Observer for At {
        fn field(&mut self, f: &Field<'_>) {
            if f.at == self.0 && self.1.is_none() {
                self.1 = Some(f.name.as_str());
            }
        }
    }
    (0..=u8::MAX).find_map(|byte| {
        // As often as the longest text has it, for a name.
        let mut tried = [block.get(..at)?, &[byte; Name::MAX_BYTES]].concat();
        tried.extend(wire::seal(&tried));
        let mut found = At(at, None);
        // What comes after it is refused at one time or another.
        let _ = wire::observe(&tried, STEPS_MAX, &mut found);
        found.1
    })
}

fn spaced(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ")
}

/// Makes a row of every field.
struct Rows<'b> {
    block: &'b [u8],
    /// The offset after the last field.
    end: usize,
    rows: Vec<Row>,
}

impl Observer for Rows<'_> {
    fn field(&mut self, f: &Field<'_>) {
        let first = self.block.get(f.at).copied().unwrap_or(0);
        let mut row = Row::of(self.block, f.at, f.len, f.name.as_str(), words(f, first));
        row.step = f.step.map(StepNo::get);
        self.end = f.at + f.len;
        self.rows.push(row);
    }
}

/// The value of a field in words. `first` is its first byte, whose lowest two bits are the unit of a
/// scaled number.
fn words(field: &Field<'_>, first: u8) -> String {
    match field.value {
        Value::Number(n) => counted(field.name, n),
        Value::QuarterHours(q) => match UtcOffset::from_quarter_hours(q) {
            Ok(offset) => site::offset_text(offset),
            Err(e) => e.to_string(),
        },
        Value::Quantity(quantity, base) => quantity_words(quantity, base),
        Value::Scaled(quantity, base) => {
            let unit = quantity.scale().unwrap_or([1; 4])[usize::from(first & 3)];
            // The unit of a time of day is a duration.
            let unit_of = match quantity {
                Quantity::TimeOfDay => Quantity::Duration,
                other => other,
            };
            let (number, unit) = (base / unit, format::quantity(unit, unit_of));
            let unit = unit.replace(".0 ", " ");
            format!(
                "{} ({} × {unit})",
                quantity_words(quantity, base),
                format::grouped(number.into())
            )
        }
        Value::Choice(_, word) => word.to_owned(),
        Value::Text(text) => format!("{text:?}"),
    }
}

fn counted(name: FieldName, n: u32) -> String {
    let count = |noun| {
        format!("{} follow{}", format::count(n as usize, noun), if n == 1 { "s" } else { "" })
    };
    match name {
        FieldName::Magic => "'D': a schedule block".to_owned(),
        FieldName::Version => format!("format version {n}"),
        FieldName::SettingCount if n == 0 => "0 settings: all have their defaults".to_owned(),
        FieldName::SettingCount => count("setting"),
        FieldName::StepCount => count("step"),
        _ => count("byte"),
    }
}

fn quantity_words(quantity: Quantity, base: u32) -> String {
    let small = u16::try_from(base).unwrap_or(u16::MAX);
    match quantity {
        Quantity::Date => match Date::from_days(small) {
            Ok(d) => format!("{} {}", when::day_short(d.weekday()), when::date_text(d)),
            Err(e) => e.to_string(),
        },
        Quantity::TimeOfDay => match TimeOfDay::from_ms(base) {
            Ok(t) => when::time_text(t),
            Err(e) => e.to_string(),
        },
        Quantity::Weekdays => match Weekdays::from_bits(small as u8) {
            Ok(days) => when::weekdays_text(days),
            Err(e) => e.to_string(),
        },
        Quantity::CycleDays if base == 1 => "every day".to_owned(),
        Quantity::CycleDays => format!("every {base} days"),
        Quantity::Passes => format!("{} in all", format::grouped(base.into())),
        Quantity::StepNumber => format!("step {base}"),
        Quantity::RetryTimes if base == 1 => "once".to_owned(),
        Quantity::RetryTimes => format!("{base} times"),
        other => format::quantity(base, other),
    }
}

/// Bytes on one line; more go on the next.
const BYTES_A_LINE: usize = 8;
/// Lines of one row; a longer rest is cut.
const LINES_A_ROW: usize = 8;

impl Explanation {
    /// As aligned plain text: what is wrong first, then every byte. A `>` marks the rows at fault.
    #[must_use]
    pub fn render(&self) -> String {
        let mut text = format::count(self.len, "byte");
        match (&self.id, self.damage.as_slice()) {
            (Some(id), []) => _ = writeln!(text, ", schedule {id}, nothing wrong"),
            (_, damage) => {
                text.push_str(", ");
                text.push_str(self.verdict());
                text.push('\n');
                for (i, d) in damage.iter().enumerate() {
                    let also = if i == 0 { "" } else { "were the CRC right: " };
                    _ = writeln!(text, "  {also}{}", d.text);
                }
            }
        }
        if self.rows.is_empty() {
            return text;
        }
        text.push('\n');
        let field_width = self.rows.iter().map(|r| r.field.len()).max().unwrap_or(0).max(5);
        let heading =
            format!("  {:>4}  {:<23}  step  {:<field_width$}  says", "at", "bytes", "field");
        text.push_str(&heading);
        text.push('\n');
        for row in &self.rows {
            self.render_row(&mut text, row, field_width);
        }
        text
    }

    /// Bytes that were lost or changed on the way, or a block that was made so.
    fn verdict(&self) -> &'static str {
        let damaged = [RefusalCode::TooShort, RefusalCode::Crc].map(RefusalCode::as_str);
        if self.damage.first().is_some_and(|d| damaged.contains(&d.code)) {
            "damaged"
        } else {
            "refused"
        }
    }

    /// Whether something is wrong with this row. Where a field is missing, it and the CRC have one offset.
    fn is_at_fault(&self, row: &Row) -> bool {
        let is_crc = row.field == CRC_FIELD;
        self.damage
            .iter()
            .any(|d| d.at == row.at && is_crc == (d.code == RefusalCode::Crc.as_str()))
    }

    fn render_row(&self, text: &mut String, row: &Row, field_width: usize) {
        let mark = if self.is_at_fault(row) { '>' } else { ' ' };
        let step = row.step.map_or(String::new(), |s| s.to_string());
        let bytes: Vec<_> = row.bytes.split(' ').collect();
        let mut lines = bytes.chunks(BYTES_A_LINE).map(|line| line.join(" "));
        let first = lines.next().unwrap_or_default();
        let (field, says) = (row.field, &row.says);
        let line =
            format!("{mark} {:>4}  {first:<23}  {step:>4}  {field:<field_width$}  {says}", row.at);
        text.push_str(line.trim_end());
        text.push('\n');
        for line in lines.by_ref().take(LINES_A_ROW - 1) {
            _ = writeln!(text, "        {line}");
        }
        let left = bytes.len().saturating_sub(BYTES_A_LINE * LINES_A_ROW);
        if left > 0 {
            _ = writeln!(text, "        and {}", format::count(left, "more byte"));
        }
    }
}

#[cfg(test)]
mod tests;
