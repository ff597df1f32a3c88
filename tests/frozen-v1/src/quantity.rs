//! Kinds of quantity: their names, units and ranges, each stated once.

use core::fmt;

/// A kind of quantity: its name, unit and range stand here and nowhere else.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Quantity {
    /// A duration, in ms.
    Duration,
    /// An actual volumetric flow at the sampler's inlet, in µL/min.
    Flow,
    /// A volume of air, in mL.
    Volume,
    /// A pressure difference, in Pa.
    Pressure,
    /// A civil time of day, in ms after midnight.
    TimeOfDay,
    /// A civil date, in days after 2000-01-01.
    Date,
    /// A UTC offset, in quarter-hours; the number is 48 more, so that it is not negative.
    UtcOffset,
    /// Every how many days a cycle comes round.
    CycleDays,
    /// The passes of a repeat.
    Passes,
    /// The number of a step, from 1.
    StepNumber,
    /// How late an appointment may be met, in ms.
    LateTolerance,
    /// The longest outage after which an event goes on, in ms.
    ResumeWithin,
    /// The time between two attempts after a fault, in ms.
    RetryEvery,
    /// How often a fault is retried in one pumping step.
    RetryTimes,
    /// How far the flow may be off before a limit trips, in percent of the target.
    TripPercent,
    /// How long the flow may be off before a limit trips, in ms.
    TripGrace,
    /// The days of a week, as bits; Monday is bit 0.
    Weekdays,
}

/// Above this many base units a scaled quantity must be a whole multiple of its second unit, so
/// that every legal value fits the encoding (`docs/encoding.md`).
const FINE_MAX: u32 = 1_000_000_000;

/// Units in which a scaled quantity counts, as multiples of the base unit, smallest first.
pub(crate) type Units = [u32; 4];

/// The units of times, flows, volumes and pressures.
static UNITS: [Units; 4] = [
    [1, 1_000, 60_000, 3_600_000],
    [1, 1_000, 10_000, 100_000],
    [1, 100, 1_000, 10_000],
    [1, 10, 100, 1_000],
];

/// Places in [`UNITS`].
const TIME: u8 = 0;
const FLOW: u8 = 1;
const VOLUME: u8 = 2;
const PRESSURE: u8 = 3;
const NO_UNITS: u8 = 4;

/// What a device knows of a kind, in eight bytes.
struct Facts {
    kind: Quantity,
    /// The place of its units.
    units: u8,
    /// The smallest legal value.
    min: u16,
    /// The largest legal value.
    max: u32,
}

const fn scaled(kind: Quantity, units: u8, min: u16, max: u32) -> Facts {
    Facts { kind, units, min, max }
}

const fn plain(kind: Quantity, min: u16, max: u32) -> Facts {
    Facts { kind, units: NO_UNITS, min, max }
}

/// One row a kind, in the order of [`Quantity`].
static FACTS: [Facts; 17] = [
    scaled(Quantity::Duration, TIME, 1, 31 * 86_400_000),
    scaled(Quantity::Flow, FLOW, 1, 2_000_000_000),
    scaled(Quantity::Volume, VOLUME, 1, 4_000_000_000),
    scaled(Quantity::Pressure, PRESSURE, 1, 200_000),
    scaled(Quantity::TimeOfDay, TIME, 0, 86_399_999),
    plain(Quantity::Date, 0, 49_672),
    plain(Quantity::UtcOffset, 0, 104),
    plain(Quantity::CycleDays, 1, 366),
    plain(Quantity::Passes, 2, 65_535),
    plain(Quantity::StepNumber, 1, 255),
    scaled(Quantity::LateTolerance, TIME, 5_000, 86_400_000),
    scaled(Quantity::ResumeWithin, TIME, 1_000, 31 * 86_400_000),
    scaled(Quantity::RetryEvery, TIME, 1_000, 86_400_000),
    plain(Quantity::RetryTimes, 1, 255),
    plain(Quantity::TripPercent, 1, 50),
    scaled(Quantity::TripGrace, TIME, 1_000, 3_600_000),
    plain(Quantity::Weekdays, 1, 127),
];

const _: () = {
    let mut i = 0;
    while i < FACTS.len() {
        assert!(FACTS[i].kind as usize == i, "the rows stand in the order of the kinds");
        i += 1;
    }
};

impl Quantity {
    const fn facts(self) -> &'static Facts {
        &FACTS[self as usize]
    }

    /// Smallest and largest legal value, in base units.
    #[must_use]
    pub const fn range(self) -> (u32, u32) {
        let facts = self.facts();
        (facts.min as u32, facts.max)
    }

    /// The four units in which a value of this kind may be written, as multiples of the base unit,
    /// smallest first; `None` for a plain number.
    #[must_use]
    pub const fn scale(self) -> Option<[u32; 4]> {
        match self.units() {
            Some(units) => Some(*units),
            None => None,
        }
    }

    /// [`Self::scale`], lent instead of copied.
    pub(crate) const fn units(self) -> Option<&'static Units> {
        let place = self.facts().units as usize;
        if place < UNITS.len() { Some(&UNITS[place]) } else { None }
    }

    /// The base unit, as it is written for people; empty for a plain number.
    #[must_use]
    pub const fn base_unit(self) -> &'static str {
        match self {
            Self::Duration
            | Self::TimeOfDay
            | Self::LateTolerance
            | Self::ResumeWithin
            | Self::RetryEvery
            | Self::TripGrace => "ms",
            Self::Flow => "µL/min",
            Self::Volume => "mL",
            Self::Pressure => "Pa",
            Self::Date | Self::CycleDays => "days",
            Self::UtcOffset => "quarter-hours",
            Self::TripPercent => "%",
            Self::Passes | Self::StepNumber | Self::RetryTimes | Self::Weekdays => "",
        }
    }

    /// What this is called in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Duration => "duration",
            Self::Flow => "flow",
            Self::Volume => "volume",
            Self::Pressure => "pressure",
            Self::TimeOfDay => "time of day",
            Self::Date => "date",
            Self::UtcOffset => "UTC offset",
            Self::CycleDays => "cycle",
            Self::Passes => "number of passes",
            Self::StepNumber => "step number",
            Self::LateTolerance => "late tolerance",
            Self::ResumeWithin => "longest outage",
            Self::RetryEvery => "time between retries",
            Self::RetryTimes => "number of retries",
            Self::TripPercent => "flow deviation limit",
            Self::TripGrace => "flow deviation time",
            Self::Weekdays => "set of weekdays",
        }
    }

    /// Checks a value in base units against this kind's range.
    ///
    /// # Errors
    /// [`OutOfRange`] when it is below the smallest or above the largest legal value, or above
    /// 1,000,000,000 base units without being a whole multiple of the second unit.
    pub const fn check(self, value: u64) -> Result<u32, OutOfRange> {
        // What does not fit a u32 becomes one that is too large for every kind.
        let small = if value > u32::MAX as u64 { u32::MAX } else { value as u32 };
        let unit = match self.units() {
            Some(units) => largest_unit(small, units).1,
            None => 0,
        };
        if self.admits(small, unit) { Ok(small) } else { Err(OutOfRange { quantity: self, value }) }
    }

    /// Whether a value in base units is legal; `unit` is the largest that divides it.
    pub(crate) const fn admits(self, value: u32, unit: u8) -> bool {
        let (min, max) = self.range();
        min <= value && value <= max && (value <= FINE_MAX || unit > 0)
    }
}

/// A value outside the range of its kind. `Display` names the kind, the value and the limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct OutOfRange {
    /// What it was meant to be.
    pub quantity: Quantity,
    /// The value, in base units.
    pub value: u64,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (min, max) = self.quantity.range();
        let name = self.quantity.name();
        let unit = self.quantity.base_unit();
        let gap = if unit.is_empty() { "" } else { " " };
        if let Quantity::UtcOffset = self.quantity {
            // Kept 48 higher than it is, and in 64 bits when it is negative even so; 32 hold it as well.
            let quarters = (self.value as u32).cast_signed().saturating_sub(48);
            return write!(f, "{name} of {quarters} {unit} is outside -48 to 56");
        }
        // In 32 bits: the formatting of 64-bit numbers has a panic path that not every compiler sees through.
        let Ok(value) = u32::try_from(self.value) else {
            return write!(f, "{name} is above {max}{gap}{unit}");
        };
        match self.quantity.scale() {
            Some([_, second, ..]) if (min..=max).contains(&value) => write!(
                f,
                "{name} of {value}{gap}{unit} is finer than whole {second}{gap}{unit}, which \
                 it must be in above {FINE_MAX}{gap}{unit}"
            ),
            _ => write!(f, "{name} of {value}{gap}{unit} is outside {min} to {max}{gap}{unit}"),
        }
    }
}

impl core::error::Error for OutOfRange {}

/// Splits a value in base units into (number, unit index) with the largest unit that divides it.
#[inline(never)]
pub(crate) const fn largest_unit(base: u32, units: &Units) -> (u32, u8) {
    let mut unit = 3;
    let [_, second, third, fourth] = *units;
    let mut size = fourth;
    while unit > 0 {
        // `checked_div`: no panic path for a zero that never is there.
        if let Some(number) = base.checked_div(size)
            && number.wrapping_mul(size) == base
        {
            return (number, unit);
        }
        unit -= 1;
        size = if unit == 2 { third } else { second };
    }
    (base, 0)
}
