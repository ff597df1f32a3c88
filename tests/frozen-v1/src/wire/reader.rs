//! Reads single fields, strictly, and shows each to who watches.
//!
//! The reader keeps the first thing that it refuses. Whoever reads goes on as if nothing had happened,
//! gets numbers that mean nothing, and asks once, at the end. A device so has one place that refuses
//! instead of one behind every field.

use super::crc::Crc32c;
use super::layout::{self, Choice, Form};
use super::observe::{Field, FieldName, Value, Watch};
use super::refused::{Detail, RefusalCode, Refused};
use super::text::Text;
use crate::calendar::UtcOffset;
use crate::step::StepNo;
use crate::table::Name;
use crate::units::{OutOfRange, Quantity, largest_unit};

/// A place in the bytes of a block.
pub(super) struct Reader<'b, W> {
    /// The block without its CRC; nothing once something was refused.
    bytes: &'b [u8],
    at: usize,
    /// The first byte of the field being read: where a refusal points.
    begin: usize,
    /// The step being read, for refusals and who watches.
    pub(super) step: Option<StepNo>,
    refused: Option<Refused>,
    watch: W,
}

impl<'b, W: Watch> Reader<'b, W> {
    /// With nothing to read yet.
    pub(super) const fn new(watch: W) -> Self {
        Self { bytes: &[], at: 0, begin: 0, step: None, refused: None, watch }
    }

    /// Goes to the first byte of a block, if its CRC is right.
    pub(super) fn open(&mut self, block: &'b [u8]) {
        match block.len().checked_sub(layout::CRC_LEN).and_then(|end| block.get(..end)) {
            Some(body) if block.len() >= layout::ENVELOPE_LEN => {
                self.bytes = body;
                if !Crc32c::of(block).is_sealed() {
                    self.refuse_at(body.len(), RefusalCode::Crc);
                }
            }
            _ => {
                self.begin = block.len();
                let (found, limit) = (block.len() as u32, layout::ENVELOPE_LEN as u32);
                self.refuse_number(RefusalCode::TooShort, found, limit);
            }
        }
    }

    /// The offset of the next byte.
    pub(super) const fn at(&self) -> usize {
        self.at
    }

    /// Goes back (or on) to an offset.
    pub(super) const fn go_to(&mut self, at: usize) {
        self.at = at;
    }

    /// Whether nothing was refused so far.
    pub(super) const fn is_good(&self) -> bool {
        self.refused.is_none()
    }

    /// The first thing that was refused.
    pub(super) fn verdict(&self) -> Result<(), Refused> {
        match self.refused {
            Some(refused) => Err(refused),
            None => Ok(()),
        }
    }

    /// How many bytes are left.
    pub(super) const fn left(&self) -> usize {
        self.bytes.len().saturating_sub(self.at)
    }

    /// Refuses the field being read. If nothing was refused before, the answer is where the value and limit
    /// at fault may be put: in place, for the sake of the stack.
    #[cold]
    #[inline(never)]
    pub(super) fn refuse(&mut self, code: RefusalCode) -> Option<&mut Detail> {
        self.bytes = &[];
        if !self.is_good() {
            return None;
        }
        let refused = Refused { code, at: self.begin, step: self.step, detail: Detail::None };
        Some(&mut self.refused.insert(refused).detail)
    }

    /// Refuses what begins at an offset.
    #[cold]
    #[inline(never)]
    pub(super) fn refuse_at(&mut self, at: usize, code: RefusalCode) {
        self.begin = at;
        self.refuse(code);
    }

    /// Refuses a number for its limit.
    #[cold]
    #[inline(never)]
    fn refuse_number(&mut self, code: RefusalCode, found: u32, limit: u32) {
        if let Some(detail) = self.refuse(code) {
            *detail = Detail::Number { found, limit };
        }
    }

    /// Shows the field that was just read, if it is good.
    fn show(&mut self, name: FieldName, value: impl FnOnce() -> Value<'b>) {
        if self.is_good() {
            let (at, len, step) = (self.begin, self.at.saturating_sub(self.begin), self.step);
            self.watch.see(|| Field { at, len, name, value: value(), step });
        }
    }

    /// The next byte; 0 where there is none.
    #[inline(never)]
    fn raw(&mut self) -> u8 {
        let Some(&byte) = self.bytes.get(self.at) else {
            self.refuse(RefusalCode::EndsEarly);
            return 0;
        };
        self.at = self.at.saturating_add(1);
        byte
    }

    /// A number in groups of seven bits, lowest first; shortest form only.
    #[inline(never)]
    fn varint(&mut self, largest: u32) -> u32 {
        let mut number = 0_u32;
        let mut shift = 0_u32;
        while shift < 35 {
            let byte = self.raw();
            let group = u32::from(byte & 0x7f);
            let moved = group.wrapping_shl(shift);
            if moved.wrapping_shr(shift) != group {
                break; // bits beyond 32
            }
            number |= moved;
            if byte & 0x80 == 0 {
                if byte == 0 && shift > 0 {
                    self.refuse(RefusalCode::OverLong);
                }
                if number > largest {
                    break;
                }
                return number;
            }
            shift = shift.wrapping_add(7);
        }
        self.refuse(RefusalCode::NumberTooLarge);
        0
    }

    /// The first byte of all.
    pub(super) fn magic(&mut self, magic: u8) {
        self.begin = self.at;
        let found = self.raw();
        if found != magic {
            self.refuse(RefusalCode::BadMagic);
        }
        self.show(FieldName::Magic, || Value::Number(found.into()));
    }

    /// The version; only `known` is known.
    pub(super) fn version(&mut self, known: u8) {
        self.begin = self.at;
        let found = self.raw();
        if found == 0 {
            self.refuse(RefusalCode::BadVersion);
        } else if found > known {
            self.refuse_number(RefusalCode::NewerFormat, found.into(), known.into());
        }
        self.show(FieldName::Version, || Value::Number(found.into()));
    }

    /// The UTC offset: one signed byte.
    pub(super) fn utc_offset(&mut self) -> UtcOffset {
        let shifted = self.number(FieldName::UtcOffset, Quantity::UtcOffset);
        UtcOffset::from_shifted(shifted)
    }

    /// A byte that picks one of a few things.
    pub(super) fn choice(&mut self, name: FieldName, choice: Choice) -> u8 {
        let tag = self.pick(choice.count().saturating_sub(1));
        self.show(name, || {
            let word = choice.words().get(usize::from(tag)).copied().unwrap_or("");
            Value::Choice(tag, word)
        });
        tag
    }

    #[inline(never)]
    fn pick(&mut self, largest: u8) -> u8 {
        self.begin = self.at;
        let tag = self.raw();
        if tag > largest {
            self.refuse_number(RefusalCode::UnknownTag, tag.into(), largest.into());
        }
        tag
    }

    /// A quantity, in its base unit: checked against its range, then for the largest unit.
    #[inline(never)]
    pub(super) fn number(&mut self, name: FieldName, kind: Quantity) -> u32 {
        self.begin = self.at;
        let form = Form::of(kind);
        // The unit it is written in, and the largest it could be written in.
        let (mut unit, mut largest) = (0, 0);
        let value = match form {
            Form::Byte => self.raw().into(),
            // A negative number becomes one that is too large.
            Form::Offset => i64::from(self.raw().cast_signed()).wrapping_add(48).cast_unsigned(),
            Form::Short => self.varint(u16::MAX.into()).into(),
            Form::Scaled(units) => {
                let written = self.varint(u32::MAX);
                unit = (written & 3) as u8;
                let size = units.get(usize::from(unit)).copied().unwrap_or(1);
                let value = u64::from(written >> 2).saturating_mul(size.into());
                largest = largest_unit(value as u32, units).1;
                value
            }
        };
        let base = fitted(value);
        if !kind.admits(base, largest) {
            if let Some(detail) = self.refuse(RefusalCode::OutOfRange) {
                *detail = Detail::Value(OutOfRange { quantity: kind, value });
            }
        } else if unit != largest {
            self.refuse(RefusalCode::ScaleNotLargest);
        }
        self.show(name, || match form {
            Form::Scaled(_) => Value::Scaled(kind, base),
            Form::Offset => Value::QuarterHours(UtcOffset::from_shifted(base).quarter_hours()),
            Form::Byte | Form::Short => Value::Quantity(kind, base),
        });
        base
    }

    /// A number of entries or bytes; more than `limit` is refused.
    pub(super) fn count(&mut self, name: FieldName, limit: u32, too_many: RefusalCode) -> u32 {
        self.begin = self.at;
        let found = self.varint(u32::MAX);
        if found > limit {
            self.refuse_number(too_many, found, limit);
        }
        self.show(name, || Value::Number(found));
        found
    }

    /// The name, its length before it.
    #[inline(never)]
    pub(super) fn name(&mut self, name: &mut Name) {
        let limit = Name::MAX_BYTES as u32;
        let len = self.count(FieldName::NameLength, limit, RefusalCode::NameTooLong);
        self.begin = self.at;
        let end = self.at.saturating_add(len as usize);
        let text = self.bytes.get(self.at..end);
        let broken = match text.map(Text::of) {
            Some(Text::Plain) => None,
            Some(Text::Control) => Some(RefusalCode::NameControl),
            Some(Text::NotUtf8) => Some(RefusalCode::NameNotUtf8),
            None => Some(RefusalCode::EndsEarly),
        };
        if let Some(code) = broken {
            self.refuse(code);
        }
        self.at = end;
        let text = text.unwrap_or_default();
        self.show(FieldName::Name, || Value::Text(core::str::from_utf8(text).unwrap_or_default()));
        name.set_checked(text);
    }
}

/// A value as a u32; one that does not fit becomes the largest, which no kind admits.
fn fitted(value: u64) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}
