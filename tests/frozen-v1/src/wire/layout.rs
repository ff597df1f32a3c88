//! The numbers of the format, each in one place; reader and writer share them.

use super::observe::FieldName as F;
use crate::quantity::{Quantity as Q, Units};
use crate::table::{Fault, LateTolerance, Limits, Outage, Settings};

/// The first byte of every block.
pub(crate) const MAGIC: u8 = b'D';
/// The only format there is so far.
pub const VERSION: u8 = 1;
/// Bytes of the CRC at the end.
pub(crate) const CRC_LEN: usize = 4;
/// Magic, version and CRC: what every block of every version has.
pub(crate) const ENVELOPE_LEN: usize = 2 + CRC_LEN;

/// The tags of the steps; append-only. With a target of its own, a pumping step has the tag after.
pub(crate) mod step {
    pub(crate) const FINISH: u8 = 0;
    pub(crate) const DATE: u8 = 1;
    pub(crate) const TIME: u8 = 2;
    pub(crate) const WEEKDAY: u8 = 3;
    pub(crate) const CYCLE: u8 = 4;
    pub(crate) const RUN_FOR: u8 = 5;
    pub(crate) const RUN_FOR_OWN: u8 = 6;
    pub(crate) const RUN_UNTIL: u8 = 7;
    pub(crate) const RUN_UNTIL_OWN: u8 = 8;
    pub(crate) const DRAW_VOLUME: u8 = 9;
    pub(crate) const DRAW_VOLUME_OWN: u8 = 10;
    pub(crate) const HOLD: u8 = 11;
    pub(crate) const HOLD_UNTIL_RESUMED: u8 = 12;
    pub(crate) const REPEAT: u8 = 13;
}

/// The numbers of each kind of step, by its tag, in the order in which they stand after it. What
/// follows them, a choice or a target, is written where steps are read.
static STEP_NUMBERS: [[Option<(F, Q)>; 2]; 14] = [
    [None, None],
    [Some((F::Date, Q::Date)), None],
    [Some((F::Time, Q::TimeOfDay)), None],
    [Some((F::Weekdays, Q::Weekdays)), None],
    [Some((F::CycleFrom, Q::Date)), Some((F::CycleEvery, Q::CycleDays))],
    [Some((F::Run, Q::Duration)), None],
    [Some((F::Run, Q::Duration)), None],
    [Some((F::Until, Q::TimeOfDay)), Some((F::AtMost, Q::Duration))],
    [Some((F::Until, Q::TimeOfDay)), Some((F::AtMost, Q::Duration))],
    [Some((F::Volume, Q::Volume)), Some((F::AtMost, Q::Duration))],
    [Some((F::Volume, Q::Volume)), Some((F::AtMost, Q::Duration))],
    [Some((F::Hold, Q::Duration)), None],
    [Some((F::AtMost, Q::Duration)), None],
    [Some((F::RepeatFrom, Q::StepNumber)), Some((F::Passes, Q::Passes))],
];

/// The numbers that stand after the tag of a step.
pub(crate) fn step_numbers(tag: u8) -> &'static [Option<(F, Q)>; 2] {
    STEP_NUMBERS.get(usize::from(tag)).unwrap_or(&[None, None])
}

/// The tagged settings, in the only order in which they may stand; append-only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Setting {
    Name,
    StartBy,
    LateTolerance,
    Outage,
    Fault,
    Limits,
}

impl Setting {
    pub(crate) const fn of(tag: u8) -> Option<Self> {
        Some(match tag {
            0 => Self::Name,
            1 => Self::StartBy,
            2 => Self::LateTolerance,
            3 => Self::Outage,
            4 => Self::Fault,
            5 => Self::Limits,
            _ => return None,
        })
    }

    /// Whether the setting has the value that it has when the block leaves it out.
    pub(crate) fn is_default(self, settings: &Settings) -> bool {
        match self {
            Self::Name => settings.name.as_bytes().is_empty(),
            Self::StartBy => settings.start_by.is_none(),
            Self::LateTolerance => settings.late_tolerance == LateTolerance::DEFAULT,
            Self::Outage => settings.outage == Outage::DEFAULT,
            Self::Fault => settings.fault == Fault::Stop,
            Self::Limits => settings.limits == Limits::DEFAULT,
        }
    }
}

/// A byte that picks one of a few things. A byte beyond the list is refused.
///
/// All lists are shorter than 128, so postcard writes each tag, flag and option in this one byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Choice {
    Target,
    Setting,
    Outage,
    Fault,
    Flag,
    Optional,
    Step,
    Then,
    Sampler,
}

impl Choice {
    /// How many things there are to pick from.
    pub(crate) const fn count(self) -> u8 {
        match self {
            Self::Target | Self::Flag | Self::Optional | Self::Then => 2,
            Self::Setting => 6,
            Self::Outage | Self::Fault | Self::Sampler => 3,
            Self::Step => 14,
        }
    }

    /// What each is called. Kept apart from [`Self::count`] so that a device carries no words.
    pub(crate) const fn words(self) -> &'static [&'static str] {
        match self {
            Self::Target => &["flow", "pressure"],
            Self::Setting => &["name", "start-by", "late-tolerance", "outage", "fault", "limits"],
            Self::Outage => &["keep-stop-time", "make-up-time", "abandon"],
            Self::Fault => &["stop", "retry", "close"],
            Self::Flag => &["no", "yes"],
            Self::Optional => &["no limit", "limit follows"],
            Self::Step => &[
                "finish",
                "wait-for-date",
                "wait-for-time",
                "wait-for-weekday",
                "wait-for-cycle-day",
                "run-for",
                "run-for, own target",
                "run-until",
                "run-until, own target",
                "draw-volume",
                "draw-volume, own target",
                "hold",
                "hold until resumed",
                "repeat",
            ],
            Self::Then => &["continue", "close"],
            Self::Sampler => &["same", "fresh", "fresh-confirmed"],
        }
    }
}

/// How a quantity is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// One byte.
    Byte,
    /// One signed byte: the UTC offset, whose range is kept 48 higher.
    Offset,
    /// A number of up to 16 bits.
    Short,
    /// A number whose lowest two bits say in which of these units it counts.
    Scaled(&'static Units),
}

impl Form {
    /// A kind that has units is scaled; of the others, one that fits a byte takes a byte.
    pub(crate) const fn of(kind: Q) -> Self {
        match (kind, kind.units()) {
            (_, Some(units)) => Self::Scaled(units),
            (Q::UtcOffset, _) => Self::Offset,
            _ if kind.range().1 > u8::MAX as u32 => Self::Short,
            _ => Self::Byte,
        }
    }
}

/// The longest target: its kind, and a flow that takes a whole `u32`.
const TARGET_MAX: usize = 1 + 5;
/// The longest settings: name 26, start-by 9, late-tolerance 6, outage 8, fault 8, limits 10.
const SETTINGS_MAX: usize = 26 + 9 + 6 + 8 + 8 + 10;
/// The longest step: draw-volume with a volume, a time and a target of its own.
const STEP_MAX: usize = 1 + 5 + 5 + TARGET_MAX;

/// The length of the longest block with this many steps, the last of which is a one-byte `finish`.
///
/// ```
/// // A buffer for any schedule of up to 32 steps:
/// let buffer = [0_u8; draught::wire::max_len(32)];
/// assert_eq!(buffer.len(), 610);
/// ```
#[must_use]
pub const fn max_len(steps: usize) -> usize {
    let count = if steps < 128 { 1 } else { 2 };
    // Magic, version, UTC offset, target, number of settings, settings, number of steps.
    let head = 3 + TARGET_MAX + 1 + SETTINGS_MAX + count;
    let body = steps.saturating_sub(1).saturating_mul(STEP_MAX).saturating_add(1);
    head.saturating_add(body).saturating_add(CRC_LEN)
}
