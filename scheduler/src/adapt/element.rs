//! Flow from the pressure across a flow element.

use core::fmt;

use embedded_hal::i2c::I2c;

use super::calibration::Calibration;
use super::sensor::RegisterSensor;
use crate::arithmetic::divide;
use crate::port::{Faulty, FlowReading, FlowSensor};

/// What a zero must keep to be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ZeroBounds {
    /// So far off may it be, either way, in mPa: what the sensor's maker allows, and a little for how it is mounted.
    pub off_at_most_mpa: u32,
    /// So far apart may the readings of it lie, in mPa: more is air that moves.
    pub spread_at_most_mpa: u32,
    /// So many readings make one, at least.
    pub readings: u16,
}

/// Readings with the pump off, on the way to a zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ZeroSum {
    sum_mpa: i64,
    count: u16,
    least_mpa: i32,
    most_mpa: i32,
}

impl ZeroSum {
    /// None yet.
    pub const NONE: Self = Self { sum_mpa: 0, count: 0, least_mpa: i32::MAX, most_mpa: i32::MIN };

    /// How many there are.
    #[must_use]
    pub const fn count(&self) -> u16 {
        self.count
    }

    fn add(&mut self, pressure_mpa: i32) {
        if self.count < u16::MAX {
            self.count = self.count.saturating_add(1);
            self.sum_mpa = self.sum_mpa.saturating_add(pressure_mpa.into());
            self.least_mpa = self.least_mpa.min(pressure_mpa);
            self.most_mpa = self.most_mpa.max(pressure_mpa);
        }
    }

    /// To the nearest mPa; `None` of no reading.
    fn mean_mpa(&self) -> Option<i32> {
        let half = u64::from(self.count / 2);
        let size = divide(self.sum_mpa.unsigned_abs().saturating_add(half), self.count.into())?;
        // No larger than the largest reading, so it fits.
        let size = size as u32;
        Some(if self.sum_mpa < 0 { size.cast_signed().wrapping_neg() } else { size.cast_signed() })
    }
}

/// Why a zero was refused; the one before it still holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ZeroRefused {
    /// Too few readings: take more.
    TooFew,
    /// The readings lie too far apart: the pump runs, or air is drawn past it.
    TooUneven,
    /// Too far from no pressure: something presses on one side, or the sensor has drifted beyond what it may.
    TooFar,
}

impl ZeroRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::TooFew => "zero-too-few",
            Self::TooUneven => "zero-too-uneven",
            Self::TooFar => "zero-too-far",
        }
    }
}

impl fmt::Display for ZeroRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFew => "too few readings for a zero; take more of them with the pump off",
            Self::TooUneven => "the readings for a zero lie too far apart; stop the pump, shelter the inlet from wind and measure again",
            Self::TooFar => "the zero is too far off; take away whatever presses on the sensor, and if it stays, have the sensor looked at",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for ZeroRefused {}

/// A flow element with a sensor for the pressure across it.
///
/// The sensor's zero drifts, and near no pressure an orifice makes much of little: measure it with the pump off and no wind at the inlet,
/// before each sample. At an orifice with 240 Pa at its full flow, 1 Pa of zero is 0.2 % there and a fifth at a tenth of the flow.
///
/// ```
/// use draught::adapt::{ByteOrder, Calibration, Field, FlowElement, Law, RegisterSensor};
/// use draught::adapt::{SensorLayout, ZeroBounds, ZeroSum};
/// use draught::port::FlowSensor;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
///
/// const LAYOUT: SensorLayout = SensorLayout {
///     address: 0x2a,
///     start: &[],
///     request: &[],
///     data_len: 2,
///     checksum: None,
///     status: None,
///     pressure: Field { numerator: 100, ..Field::signed(0, 16, ByteOrder::Big) }, // 0.1 Pa
///     temperature: None,
/// };
/// const BOUNDS: ZeroBounds =
///     ZeroBounds { off_at_most_mpa: 1_000, spread_at_most_mpa: 300, readings: 2 };
///
/// let says = |raw: u16| Transaction::read(0x2a, raw.to_be_bytes().to_vec());
/// let bus = Mock::new(&[says(5), says(7), says(606)]);
/// let table = Calibration::new(Law::Laminar, [(60_000, 2_000_000)])?; // 2 L/min at 60 Pa
/// let mut element = FlowElement::new(RegisterSensor::new(bus, LAYOUT)?, table, BOUNDS);
///
/// // The pump is off: 0.5 Pa and 0.7 Pa.
/// let mut zero = ZeroSum::NONE;
/// element.read_zero(&mut zero)?;
/// element.read_zero(&mut zero)?;
/// assert_eq!(element.take_zero(&zero)?, 600);
/// // It runs: 60.6 Pa.
/// assert_eq!(element.read()?.flow_ul_per_min, 2_000_000);
/// # element.into_inner().into_inner().done();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct FlowElement<I, const N: usize> {
    sensor: RegisterSensor<I>,
    calibration: Calibration<N>,
    bounds: ZeroBounds,
    zero_mpa: i32,
}

impl<I: I2c, const N: usize> FlowElement<I, N> {
    /// With a zero of nothing. Nothing is sent yet.
    pub const fn new(
        sensor: RegisterSensor<I>,
        calibration: Calibration<N>,
        bounds: ZeroBounds,
    ) -> Self {
        Self { sensor, calibration, bounds, zero_mpa: 0 }
    }

    /// The sensor, to start it.
    pub const fn sensor(&mut self) -> &mut RegisterSensor<I> {
        &mut self.sensor
    }

    /// One reading for a zero; the pump **must** be off. Take them apart by the time that the sensor averages over.
    ///
    /// # Errors
    /// The sensor failed: nothing was added.
    pub fn read_zero(&mut self, sum: &mut ZeroSum) -> Result<(), Faulty> {
        sum.add(self.sensor.read()?.pressure_mpa);
        Ok(())
    }

    /// Takes over a zero from its readings, and says what it is, in mPa.
    ///
    /// # Errors
    /// [`ZeroRefused`]: it cannot be believed, and the one before it holds.
    pub fn take_zero(&mut self, sum: &ZeroSum) -> Result<i32, ZeroRefused> {
        let mean_mpa = sum.mean_mpa().ok_or(ZeroRefused::TooFew)?;
        if sum.count < self.bounds.readings {
            return Err(ZeroRefused::TooFew);
        }
        if sum.most_mpa.abs_diff(sum.least_mpa) > self.bounds.spread_at_most_mpa {
            return Err(ZeroRefused::TooUneven);
        }
        self.set_zero_mpa(mean_mpa)?;
        Ok(mean_mpa)
    }

    /// Takes over a zero that was kept, in mPa.
    ///
    /// # Errors
    /// [`ZeroRefused::TooFar`]: it cannot be believed, and the one before it holds.
    pub fn set_zero_mpa(&mut self, zero_mpa: i32) -> Result<(), ZeroRefused> {
        if zero_mpa.unsigned_abs() > self.bounds.off_at_most_mpa {
            return Err(ZeroRefused::TooFar);
        }
        self.zero_mpa = zero_mpa;
        Ok(())
    }

    /// The zero, in mPa.
    #[must_use]
    pub const fn zero_mpa(&self) -> i32 {
        self.zero_mpa
    }

    /// Gives the sensor back.
    pub fn into_inner(self) -> RegisterSensor<I> {
        self.sensor
    }
}

impl<I: I2c, const N: usize> FlowSensor for FlowElement<I, N> {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        let values = self.sensor.read()?;
        let drop_mpa = i64::from(values.pressure_mpa).saturating_sub(self.zero_mpa.into());
        let drop_mpa = u32::try_from(drop_mpa.max(0)).map_err(|_| Faulty)?;
        let flow_ul_per_min = self.calibration.flow_ul_per_min(drop_mpa).ok_or(Faulty)?;
        Ok(FlowReading { flow_ul_per_min, drop_pa: None, air_mk: values.temperature_mk })
    }
}
