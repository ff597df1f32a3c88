//! A real-time clock on a bus.

use core::fmt;

use embedded_hal::i2c::I2c;

use super::layout::LayoutRefused;
use super::rtc_layout::{ClockLayout, Digits};
use crate::calendar::{Civil, Date, TimeOfDay, UtcOffset};
use crate::clock::WallMs;
use crate::port::WallClock;

/// The most registers of a time.
const REGISTERS: usize = 7;

/// A clock that was just set is at most this far on when it is read back.
const READ_BACK_MS: u64 = 2_000;

/// A real-time clock with decimal registers that counts UTC: [`WallClock`] on `I2c`.
///
/// It says `None` when the bus failed, when the clock says that it was lost, when its registers hold no date, and outside 2020 to 2135;
/// a chip without a bit for the century ends with 2099, since its year 00 is more often a chip that was reset than the year 2100.
///
/// Two things to know. It tells whole seconds, so what waits for it can be up to 1 s late. And most chips take 2100 for a leap year: on
/// 2100-02-29 the clock is not trusted, and after it a day behind until it is set.
///
/// ```
/// use draught::adapt::{ClockLayout, Digits, LostFlag, RegisterClock, WeekdayRegister};
/// use draught::calendar::{Date, UtcOffset};
/// use draught::port::WallClock;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
///
/// const LAYOUT: ClockLayout = ClockLayout {
///     address: 0x33,
///     first: 0x10,
///     seconds: Digits::new(0, 0x7f),
///     minutes: Digits::new(1, 0x7f),
///     hours: Digits::new(2, 0x3f),
///     twelve_hours: 0,
///     day: Digits::new(3, 0x3f),
///     weekday: Some(WeekdayRegister { at: 4, monday: 1, ones: 0 }),
///     month: Digits::new(5, 0x1f),
///     century: 0x80,
///     year: Digits::new(6, 0xff),
///     lost: LostFlag { register: 0x10, mask: 0x80 }, // beside the seconds
/// };
/// const _: () = assert!(LAYOUT.check().is_ok());
///
/// let registers = vec![0x30, 0x59, 0x23, 0x29, 0x04, 0x02, 0x28]; // 2028-02-29 23:59:30
/// let lost = vec![0x80, 0x00, 0x00, 0x01, 0x06, 0x01, 0x25];
/// let bus = Mock::new(&[
///     Transaction::write_read(0x33, vec![0x10], registers),
///     Transaction::write_read(0x33, vec![0x10], lost),
/// ]);
/// let mut clock = RegisterClock::new(bus, LAYOUT)?;
/// let civil = clock.now().and_then(|wall| UtcOffset::UTC.civil(wall)).unwrap();
/// assert_eq!(civil.date, Date::from_ymd(2028, 2, 29).unwrap());
/// assert_eq!(clock.now(), None);
/// # clock.into_inner().done();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct RegisterClock<I> {
    bus: I,
    layout: ClockLayout,
    /// Setting it was begun and did not succeed.
    spoilt: bool,
}

/// Why a clock was not set. Unless it was not touched, its adapter answers `None` from then on, until it is set or the board starts anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NotSet {
    /// The clock has no registers for that year; it was not touched.
    Year,
    /// It did not answer.
    Bus,
    /// It did not keep what was written: its oscillator stands, or its flag for a lost clock does not go away.
    NotKept,
}

impl NotSet {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Year => "clock-year",
            Self::Bus => "clock-bus",
            Self::NotKept => "clock-not-kept",
        }
    }
}

impl fmt::Display for NotSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Year => "the clock cannot hold that year; without a bit for the century it ends with 2099, with one at the end of 2135",
            Self::Bus => "the clock did not answer; try again, then look at its supply and its bus",
            Self::NotKept => "the clock did not keep its time; look at its crystal and its cell",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for NotSet {}

impl<I: I2c> RegisterClock<I> {
    /// On a bus, or a share of one. Nothing is sent yet.
    ///
    /// # Errors
    /// [`LayoutRefused`]: the layout cannot be right.
    pub fn new(bus: I, layout: ClockLayout) -> Result<Self, LayoutRefused> {
        layout.check()?;
        Ok(Self { bus, layout, spoilt: false })
    }

    /// Sets it to the nearest second, clears its flag and reads it back. The flag goes last: a cut between leaves a clock that says
    /// that it was lost. For less than half a second off, set it at a full second.
    ///
    /// # Errors
    /// [`NotSet`]: it was not.
    pub fn set_time(&mut self, wall: WallMs) -> Result<(), NotSet> {
        let nearest = wall.plus_ms(500).ok_or(NotSet::Year)?;
        let (bytes, len) = self.layout.registers(nearest).ok_or(NotSet::Year)?;
        let bytes = bytes.get(..=len).ok_or(NotSet::Year)?;
        self.spoilt = true;
        self.bus.write(self.layout.address, bytes).map_err(|_| NotSet::Bus)?;
        if !self.layout.holds_flag() {
            let flags = self.flags().ok_or(NotSet::Bus)? & !self.layout.lost.mask;
            let bytes = [self.layout.lost.register, flags];
            self.bus.write(self.layout.address, &bytes).map_err(|_| NotSet::Bus)?;
        }
        let set = nearest.as_ms();
        let now = self.read().map_or(0, WallMs::as_ms);
        // The fraction that was rounded off is not in the registers.
        let is_kept = now.saturating_add(1_000) > set && now.saturating_sub(set) <= READ_BACK_MS;
        self.spoilt = !is_kept;
        if is_kept { Ok(()) } else { Err(NotSet::NotKept) }
    }

    /// What it says, whatever was tried to set.
    fn read(&mut self) -> Option<WallMs> {
        let layout = self.layout;
        let mut registers = [0; REGISTERS];
        let registers = registers.get_mut(..layout.len())?;
        self.bus.write_read(layout.address, &[layout.first], registers).ok()?;
        let flags = match layout.flag_at() {
            Some(at) => *registers.get(at)?,
            None => self.flags()?,
        };
        if flags & layout.lost.mask != 0 {
            return None;
        }
        layout.instant(registers)
    }

    /// Gives the bus back.
    pub fn into_inner(self) -> I {
        self.bus
    }

    /// The register with the flag.
    fn flags(&mut self) -> Option<u8> {
        let mut flags = [0];
        let ClockLayout { address, lost, .. } = self.layout;
        self.bus.write_read(address, &[lost.register], &mut flags).ok()?;
        Some(flags[0])
    }
}

impl<I: I2c> WallClock for RegisterClock<I> {
    fn now(&mut self) -> Option<WallMs> {
        if self.spoilt { None } else { self.read() }
    }
}

impl ClockLayout {
    fn len(&self) -> usize {
        if self.weekday.is_some() { REGISTERS } else { REGISTERS.saturating_sub(1) }
    }

    /// Where the flag is among the registers of the time, if it is one of them.
    fn flag_at(&self) -> Option<usize> {
        let at = usize::from(self.lost.register.checked_sub(self.first)?);
        (at < self.len()).then_some(at)
    }

    fn holds_flag(&self) -> bool {
        self.flag_at().is_some()
    }

    /// The instant that registers stand for.
    fn instant(&self, registers: &[u8]) -> Option<WallMs> {
        let at = |digits: Digits| registers.get(usize::from(digits.at)).copied();
        let two = |digits: Digits| from_bcd(at(digits)? & digits.mask);
        if at(self.hours)? & self.twelve_hours != 0 {
            return None;
        }
        let century = if at(self.month)? & self.century != 0 { 2_100 } else { 2_000 };
        let year = u16::from(two(self.year)?).saturating_add(century);
        let date = Date::from_ymd(year, two(self.month)?, two(self.day)?)?;
        let time = TimeOfDay::from_hms(two(self.hours)?, two(self.minutes)?, two(self.seconds)?)?;
        UtcOffset::UTC.instant(Civil { date, time })
    }

    /// The number of the first register and what is written from there on, and how many registers; `None` for a year that they cannot hold.
    fn registers(&self, wall: WallMs) -> Option<([u8; REGISTERS + 1], usize)> {
        let civil = UtcOffset::UTC.civil(wall)?;
        let (year, month, day) = civil.date.ymd();
        let seconds = civil.time.as_ms() / 1_000;
        let (minutes, hours) = (seconds / 60, seconds / 3_600);
        let century = match year {
            2_000..2_100 => 0,
            _ if self.century == 0 => return None,
            _ => self.century,
        };
        let fields = [
            (self.seconds, (seconds % 60) as u8, 0),
            (self.minutes, (minutes % 60) as u8, 0),
            (self.hours, hours as u8, 0),
            (self.day, day, 0),
            (self.month, month, century),
            (self.year, (year % 100) as u8, 0),
        ];
        let mut bytes = [0; REGISTERS + 1];
        let [number, registers @ ..] = &mut bytes;
        *number = self.first;
        for (digits, value, bit) in fields {
            *registers.get_mut(usize::from(digits.at))? = to_bcd(value) | digits.ones | bit;
        }
        if let Some(day) = self.weekday {
            let weekday = (civil.date.weekday() as u8).saturating_add(day.monday);
            *registers.get_mut(usize::from(day.at))? = weekday | day.ones;
        }
        Some((bytes, self.len()))
    }
}

/// Two digits; `None` when one is no digit.
const fn from_bcd(byte: u8) -> Option<u8> {
    let (tens, ones) = (byte >> 4, byte & 0x0f);
    if tens > 9 || ones > 9 { None } else { Some(tens.wrapping_mul(10).wrapping_add(ones)) }
}

/// For less than 100.
const fn to_bcd(value: u8) -> u8 {
    ((value / 10) << 4) | (value % 10)
}
