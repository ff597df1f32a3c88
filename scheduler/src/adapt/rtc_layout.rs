//! What a data sheet says of a real-time clock's registers, as plain data.

use super::layout::{LayoutRefused, is_address};

/// A register with two decimal digits, the tens in the upper half byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Digits {
    /// How many registers behind the first it is.
    pub at: u8,
    /// Which of its bits are digits; the rest is not looked at.
    pub mask: u8,
    /// Bits beside the digits that are written as 1 (one that keeps the oscillator running, for example); the rest is written as 0.
    pub ones: u8,
}

impl Digits {
    /// With nothing to be written as 1.
    #[must_use]
    pub const fn new(at: u8, mask: u8) -> Self {
        Self { at, mask, ones: 0 }
    }
}

/// The register of the weekday. It is written and never read: the date says which it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WeekdayRegister {
    /// How many registers behind the first it is.
    pub at: u8,
    /// The number of Monday, the first day of the week (ISO 8601): 0 or 1.
    pub monday: u8,
    /// Bits beside it that are written as 1.
    pub ones: u8,
}

/// Bits of which any that is 1 says that the clock stood still or lost power since it was set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LostFlag {
    /// Their register, by its own number. It may be one of those with digits.
    pub register: u8,
    /// Which bits of it.
    pub mask: u8,
}

/// The registers of a real-time clock, in 24-h mode.
///
/// They follow one another in any order, seven or, where no weekday is kept, six of them, and the chip **must** hold them
/// still while they are read in one go: else a reading at the turn of a minute is up to a minute, at the turn of a year a year, off.
/// It **must** have a flag for a clock that was lost: one without shows any date after a flat cell, and is not to be
/// trusted at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ClockLayout {
    /// Its 7-bit address, 0x08 to 0x77.
    pub address: u8,
    /// The first register of the time, by its own number.
    pub first: u8,
    /// Seconds, 0 to 59.
    pub seconds: Digits,
    /// Minutes, 0 to 59.
    pub minutes: Digits,
    /// Hours, 0 to 23.
    pub hours: Digits,
    /// The bit of the hours' register that is 1 in 12-h mode, or 0 for none. With it, the clock is not trusted; it is written as 0.
    pub twelve_hours: u8,
    /// Day of the month, 1 to 31.
    pub day: Digits,
    /// The weekday, where it has one.
    pub weekday: Option<WeekdayRegister>,
    /// Month, 1 to 12.
    pub month: Digits,
    /// The bit of the month's register that is 1 from 2100 to 2199, or 0 for none. Without it, the clock ends with 2099.
    pub century: u8,
    /// The last two digits of the year.
    pub year: Digits,
    /// What says that the clock was lost.
    pub lost: LostFlag,
}

impl ClockLayout {
    /// Whether it can be right; in a `const`, when the firmware is compiled.
    ///
    /// # Errors
    /// [`LayoutRefused`]: the first thing that is wrong.
    pub const fn check(&self) -> Result<(), LayoutRefused> {
        if !is_address(self.address) {
            return Err(LayoutRefused::Address);
        }
        let (mut named, mut lost_is_free) = (0_u8, self.lost.mask != 0);
        let weekday = match self.weekday {
            Some(day) if day.at >= 8 || day.monday > 1 => return Err(LayoutRefused::Registers),
            Some(day) => Digits { at: day.at, mask: 0x07, ones: day.ones },
            None => Digits::new(u8::MAX, 0),
        };
        let all: [(Digits, u8); 7] = [
            (self.seconds, 0),
            (self.minutes, 0),
            (self.hours, self.twelve_hours),
            (self.day, 0),
            (self.month, self.century),
            (self.year, 0),
            (weekday, 0),
        ];
        let mut rest = all.as_slice();
        while let [(digits, bit), others @ ..] = rest {
            rest = others;
            let (digits, bit) = (*digits, *bit);
            if digits.at == u8::MAX && self.weekday.is_none() {
                continue;
            }
            let place = match 1_u8.checked_shl(digits.at as u32) {
                Some(place) => place,
                None => return Err(LayoutRefused::Registers),
            };
            if named & place != 0
                || digits.mask & (digits.ones | bit) != 0
                || digits.ones & bit != 0
            {
                return Err(LayoutRefused::Registers);
            }
            named |= place;
            let taken = digits.mask | digits.ones | bit;
            if self.first.wrapping_add(digits.at) == self.lost.register {
                lost_is_free &= taken & self.lost.mask == 0;
            }
        }
        // Without a gap from the first on.
        if named.wrapping_add(1) & named != 0 {
            return Err(LayoutRefused::Registers);
        }
        if lost_is_free { Ok(()) } else { Err(LayoutRefused::LostFlag) }
    }
}
