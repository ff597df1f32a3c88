//! The edge: what a pump engine needs of a board, as narrow traits.
//!
//! The engine owns one of each and is the only caller. Every trait is small enough for a test to
//! implement in a few lines; none has an associated type for time, none blocks for longer than it says, and each
//! says what must be true of an implementation and why.
//!
//! Flash is not here: the journal takes any `embedded_storage::nor_flash::NorFlash`.

use crate::clock::{MonoMs, WallMs};

/// The clock that counts through every sleep.
///
/// * It **must never go back**, and must count on while the board sleeps, since a run of 15 min is 15 min of this clock. If the
///   timer stops in deep sleep, set it on from the real-time clock: anchor + (RTC - RTC at the anchor), never a sum
///   of rounded sleeps.
/// * It **must not wrap**: extend a 16- or 32-bit timer to 64 bits first.
/// * It **cannot fail**, and counts from power-on, from any number. After an outage the engine carries on from its last
///   checkpoint by an offset of its own.
pub trait Monotonic {
    /// Milliseconds since any fixed moment of this power-on.
    fn now(&mut self) -> MonoMs;
}

/// The clock that knows the date.
///
/// It may lose its time (a flat back-up cell) and **must then answer `None`** instead of a guess: a wait for a date on
/// a wrong clock is worse than one that says that it cannot start. Real-time clocks have a flag for this.
pub trait WallClock {
    /// The instant, UTC; `None` while it cannot be trusted.
    fn now(&mut self) -> Option<WallMs>;
}

/// How hard the motor is driven, from 0 (off) to 10,000 (all there is), in hundredths of a percent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Duty(u16);

impl Duty {
    /// Off.
    pub const OFF: Self = Self(0);
    /// All there is.
    pub const FULL: Self = Self(10_000);

    /// From hundredths of a percent; more than 10,000 is 10,000.
    #[must_use]
    pub const fn from_per_myriad(duty: u16) -> Self {
        if duty > Self::FULL.0 { Self::FULL } else { Self(duty) }
    }

    /// In hundredths of a percent.
    #[must_use]
    pub const fn per_myriad(self) -> u16 {
        self.0
    }
}

/// What draws the air.
///
/// [`Duty::OFF`] must stop it whatever state it is in, and a motor that was never driven is off.
pub trait Motor {
    /// Drives it from now on. `Err` when it cannot: the engine then takes the pump for off and trips the sensor limit.
    ///
    /// # Errors
    /// The driver did not take the demand.
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty>;
}

/// Something on the board did not answer, or not as it should.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Faulty;

impl core::fmt::Display for Faulty {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("a part of the pump did not answer")
    }
}

impl core::error::Error for Faulty {}

/// One reading of the flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FlowReading {
    /// Volumetric flow at the conditions in the flow element, in µL/min; never negative (a reading below zero is 0).
    pub flow_ul_per_min: u32,
    /// Pressure drop across the sampling train (the air outside less the air in the flow element), in Pa, where it is measured.
    pub drop_pa: Option<u32>,
    /// Temperature of the air in the flow element, in mK, where it is measured.
    pub air_mk: Option<u32>,
}

/// What measures the flow.
///
/// A reading stands for the interval before it, so it should be the mean over that interval where the sensor can give it. One call
/// takes at most a few ms.
pub trait FlowSensor {
    /// The flow now. `Err` is a reading that is not to be used (no answer, a wrong checksum): a gap, never a guess.
    ///
    /// # Errors
    /// The sensor failed.
    fn read(&mut self) -> Result<FlowReading, Faulty>;
}

/// Outside air.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Air {
    /// Temperature, in mK.
    pub temperature_mk: u32,
    /// Absolute (station) pressure, in Pa; not reduced to sea level.
    pub pressure_pa: u32,
}

/// What measures the outside air, where a pump has it. [`NoAmbient`] where it has not.
pub trait Ambient {
    /// The air at the sampler's inlet; `None` where it is not measured or the sensor failed.
    fn read(&mut self) -> Option<Air>;

    /// Whether there is a sensor at all. Where there is one, time without a reading of it is flagged
    /// ([`Flags::AIR_UNKNOWN`](crate::record::Flags::AIR_UNKNOWN)).
    fn is_there(&self) -> bool {
        true
    }
}

/// A pump without sensors for the outside air.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoAmbient;

impl Ambient for NoAmbient {
    fn read(&mut self) -> Option<Air> {
        None
    }

    fn is_there(&self) -> bool {
        false
    }
}

/// How the supply is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Power {
    /// What is left, 0 to 100 %, where it is known.
    pub left_percent: Option<u8>,
    /// Too weak to go on pumping.
    pub low: bool,
    /// About to go: the engine writes a checkpoint at once. A board that warns early needs few checkpoints otherwise.
    pub failing: bool,
    /// A charger is connected.
    pub charging: bool,
}

impl Power {
    /// Nothing to complain of, and nothing known.
    pub const GOOD: Self = Self { left_percent: None, low: false, failing: false, charging: false };
}

/// What the pump runs on.
pub trait Supply {
    /// How it is doing now.
    fn read(&mut self) -> Power;
}

/// What the operator sees.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Indications {
    /// The pump runs.
    pub pumping: bool,
    /// A schedule is armed: the pump may start by itself.
    pub armed: bool,
    /// A limit tripped. Stays until it is cleared, also after the event (30 CFR 74.4(a)(14) for restricted flow).
    pub fault: bool,
    /// The supply is low.
    pub supply_low: bool,
    /// The wall clock cannot be trusted: nothing that waits for a date will start.
    pub clock_untrusted: bool,
    /// The schedule waits for the operator: to resume, or to confirm a new sampler.
    pub wants_operator: bool,
}

/// What the operator pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Key {
    /// Go on: ends a hold until resumed.
    Resume,
    /// A new sampler is in place.
    ConfirmSampler,
    /// End the event.
    Stop,
    /// The fault was seen: take its indication away.
    Clear,
}

/// Lamps, buzzer and keys.
pub trait Panel {
    /// Shows this from now on.
    fn show(&mut self, indications: Indications);
    /// The next key that was pressed and not yet told, if any.
    fn key(&mut self) -> Option<Key>;
}

/// A pump without a panel.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoPanel;

impl Panel for NoPanel {
    fn show(&mut self, _: Indications) {}
    fn key(&mut self) -> Option<Key> {
        None
    }
}
