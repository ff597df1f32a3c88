//! Why a block was refused, and where.

use core::fmt;

use crate::audit::TableRule;
use crate::step::StepNo;
use crate::units::OutOfRange;

/// A block that was refused: why, at which byte, in which step.
///
/// ```
/// use draught::{table::StepTable, wire};
/// let refused = wire::decode_into(b"D\x01\x00", &mut StepTable::<4>::empty()).unwrap_err();
/// assert_eq!(refused.code.as_str(), "too-short");
/// assert_eq!(
///     std::format!("{refused}"),
///     "byte 3: the block ends after 3 bytes, it needs at least 6; \
///      read or send it again, whole (too-short)"
/// );
/// # extern crate std;
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refused {
    /// Why.
    pub code: RefusalCode,
    /// The offset of the first byte of the field at fault; for a table rule, of the step at fault.
    pub at: usize,
    /// The step at fault, when a step is.
    pub step: Option<StepNo>,
    /// The value and limit at fault, when there is one.
    pub detail: Detail,
}

/// The value and limit of a refusal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Neither.
    None,
    /// A quantity outside its range.
    Value(OutOfRange),
    /// A number that was found, and the largest (or, of a length, smallest) that is allowed.
    Number {
        /// What the block says.
        found: u32,
        /// What is allowed.
        limit: u32,
    },
}

/// Why a block was refused.
///
/// The order of [`RefusalCode::ALL`] is the order in which a reader looks: a whole block, its CRC,
/// magic, version; then the fields in byte order; then trailing bytes; then the table rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum RefusalCode {
    /// Fewer bytes than the shortest block of any version has.
    TooShort,
    /// The CRC at the end is not that of the bytes before it.
    Crc,
    /// The first byte is not `D`.
    BadMagic,
    /// Version 0, which never was.
    BadVersion,
    /// A version above the ones that this reader knows.
    NewerFormat,
    /// The block ends inside a field.
    EndsEarly,
    /// A number with more bytes than it needs.
    OverLong,
    /// A number that does not fit its type.
    NumberTooLarge,
    /// A tag, flag or option byte beyond those of this version.
    UnknownTag,
    /// A value outside the range of its kind.
    OutOfRange,
    /// A scaled value that a larger unit divides.
    ScaleNotLargest,
    /// A setting that stands twice.
    SettingTwice,
    /// A setting that stands after one with a larger tag.
    SettingOrder,
    /// A setting with its default value, which is left out.
    SettingDefault,
    /// A name of more than 24 bytes.
    NameTooLong,
    /// A name that is not UTF-8.
    NameNotUtf8,
    /// A control character in a name.
    NameControl,
    /// More steps than the table can hold.
    TooManySteps,
    /// A step's own target that is the schedule's target.
    OwnTargetSame,
    /// Bytes between the last step and the CRC.
    TrailingBytes,
    /// A table rule.
    Table(TableRule),
}

impl RefusalCode {
    /// Every code, in the order in which a reader looks.
    pub const ALL: &'static [Self] = &[
        Self::TooShort,
        Self::Crc,
        Self::BadMagic,
        Self::BadVersion,
        Self::NewerFormat,
        Self::EndsEarly,
        Self::OverLong,
        Self::NumberTooLarge,
        Self::UnknownTag,
        Self::OutOfRange,
        Self::ScaleNotLargest,
        Self::SettingTwice,
        Self::SettingOrder,
        Self::SettingDefault,
        Self::NameTooLong,
        Self::NameNotUtf8,
        Self::NameControl,
        Self::TooManySteps,
        Self::OwnTargetSame,
        Self::TrailingBytes,
        Self::Table(TableRule::NoFinish),
        Self::Table(TableRule::AfterFinish),
        Self::Table(TableRule::SameWaitTwice),
        Self::Table(TableRule::NeverMet),
        Self::Table(TableRule::RepeatForward),
        Self::Table(TableRule::RepeatCrosses),
        Self::Table(TableRule::TooDeep),
        Self::Table(TableRule::TooManyPasses),
        Self::Table(TableRule::EntersWaits),
        Self::Table(TableRule::DateRepeats),
    ];

    /// The stable code, as in vectors and on screens.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::TooShort => "too-short",
            Self::Crc => "crc",
            Self::BadMagic => "bad-magic",
            Self::BadVersion => "bad-version",
            Self::NewerFormat => "newer-format",
            Self::EndsEarly => "ends-early",
            Self::OverLong => "over-long",
            Self::NumberTooLarge => "number-too-large",
            Self::UnknownTag => "unknown-tag",
            Self::OutOfRange => "out-of-range",
            Self::ScaleNotLargest => "scale-not-largest",
            Self::SettingTwice => "setting-twice",
            Self::SettingOrder => "setting-order",
            Self::SettingDefault => "setting-default",
            Self::NameTooLong => "name-too-long",
            Self::NameNotUtf8 => "name-not-utf8",
            Self::NameControl => "name-control",
            Self::TooManySteps => "too-many-steps",
            Self::OwnTargetSame => "own-target-same",
            Self::TrailingBytes => "trailing-bytes",
            Self::Table(rule) => rule.code(),
        }
    }

    /// What is wrong, where the value and limit do not say it better.
    const fn what(self) -> &'static str {
        match self {
            Self::TooShort => "the block is too short",
            Self::Crc => "the CRC is not that of the bytes before it: the block is damaged",
            Self::BadMagic => "the first byte is not 'D': this is no schedule block",
            Self::BadVersion => "format version 0 does not exist, versions count from 1",
            Self::NewerFormat => "the block was made by a newer format",
            Self::EndsEarly => "the block ends inside this field",
            Self::OverLong => "the number has more bytes than it needs",
            Self::NumberTooLarge => "the number does not fit this field",
            Self::UnknownTag => "the tag is not one of this version's",
            Self::OutOfRange => "the value is out of range",
            Self::ScaleNotLargest => "the value is not in the largest unit that divides it",
            Self::SettingTwice => "the setting stands twice, at most once is allowed",
            Self::SettingOrder => "settings must stand in ascending order of their tags",
            Self::SettingDefault => "a setting with its default value must be left out",
            Self::NameTooLong => "the name is too long",
            Self::NameNotUtf8 => "the name is not UTF-8",
            Self::NameControl => "the name holds a control character",
            Self::TooManySteps => "there are more steps than the table holds",
            Self::OwnTargetSame => "a step's own target must differ from the schedule's",
            Self::TrailingBytes => "bytes stand between the last step and the CRC",
            Self::Table(rule) => rule.sentence(),
        }
    }

    /// What to do about it.
    const fn advice(self) -> &'static str {
        match self {
            Self::TooShort | Self::Crc => "read or send it again, whole",
            Self::BadMagic => "choose another file",
            Self::NewerFormat => "update this reader, or write the schedule for its version",
            Self::NameTooLong => "shorten the name",
            Self::NameControl => "take it out of the name",
            Self::OutOfRange => "choose a value inside the limits",
            Self::TooManySteps => "shorten the schedule, or use repeat",
            Self::Table(_) => "change the schedule",
            _ => "its writer is at fault: encode the schedule again with a correct one",
        }
    }
}

impl fmt::Display for RefusalCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}", self.at)?;
        if let Some(step) = self.step {
            write!(f, ", step {}", step.get())?;
        }
        f.write_str(": ")?;
        match (self.code, self.detail) {
            (_, Detail::Value(value)) => write!(f, "{value}")?,
            (RefusalCode::TooShort, Detail::Number { found, limit }) => {
                write!(f, "the block ends after {found} bytes, it needs at least {limit}")?;
            }
            (code, Detail::Number { found, limit }) => {
                write!(f, "{} (found {found}, at most {limit})", code.what())?;
            }
            (code, Detail::None) => f.write_str(code.what())?,
        }
        write!(f, "; {} ({})", self.code.advice(), self.code)
    }
}

impl core::error::Error for Refused {}
