//! The supply, from its voltage.

use core::fmt;

use super::line::{Point, around, height};
use crate::port::{Power, Supply};

/// What was measured of a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sensed {
    /// Its voltage under the load it has now, in mV.
    pub supply_mv: u32,
    /// A charger is connected.
    pub charging: bool,
}

/// The voltages at which something is to be done, in mV.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Thresholds {
    /// Below this it is too weak to go on pumping.
    pub low_mv: u32,
    /// Below this it is about to go: the engine writes a checkpoint. Leave it energy for one; see `docs/porting.md`.
    pub failing_mv: u32,
    /// By so much must it recover before it is good again: more than the voltage falls when the motor starts, or a weak battery
    /// starts and stops the pump over and over.
    pub hysteresis_mv: u32,
}

/// Why a description of a supply was refused. A board finds this once, when it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SupplyRefused {
    /// It would fail before it is low.
    Thresholds,
    /// What is left does not rise strictly with the voltage, or goes beyond 100 %.
    Discharge,
}

impl SupplyRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Thresholds => "supply-thresholds",
            Self::Discharge => "supply-discharge",
        }
    }
}

impl fmt::Display for SupplyRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Thresholds => "a supply is failing at a lower voltage than it is low at, or the same; neither is 0",
            Self::Discharge => "the points of a discharge rise strictly, in voltage and in percent, up to 100 %",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for SupplyRefused {}

/// A supply that is judged by its voltage.
///
/// The closure measures: what an ADC says, scaled by the board's divider to mV at the supply, best as the mean of some readings. `None` is an
/// ADC that failed: then nothing is known of what is left, and the rest stays as it was.
///
/// The points are voltage in mV and what is left in percent, of a slow discharge; between them it is a straight line, below
/// the first 0 % and above the last what the last says. With fewer than two points nothing is said of
/// what is left. While it is being charged, a battery's voltage promises more than is there.
///
/// ```
/// use draught::adapt::{Sensed, Thresholds, VoltageSupply};
/// use draught::port::Supply;
///
/// let thresholds = Thresholds { low_mv: 3_300, failing_mv: 3_000, hysteresis_mv: 200 };
/// let mut volts = [3_750, 3_290, 3_450, 3_500].into_iter();
/// let measure = || volts.next().map(|supply_mv| Sensed { supply_mv, charging: false });
/// let mut supply = VoltageSupply::new(measure, thresholds, [(3_400, 5), (3_700, 50), (4_150, 100)])?;
///
/// let power = supply.read();
/// assert_eq!((power.left_percent, power.low), (Some(56), false));
/// assert!(supply.read().low);
/// assert!(supply.read().low); // not by 200 mV above 3,300 mV yet
/// assert!(!supply.read().low);
/// # Ok::<(), draught::adapt::SupplyRefused>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct VoltageSupply<F, const N: usize> {
    measure: F,
    thresholds: Thresholds,
    points: [Point; N],
    power: Power,
}

impl<F: FnMut() -> Option<Sensed>, const N: usize> VoltageSupply<F, N> {
    /// Nothing is measured yet.
    ///
    /// # Errors
    /// [`SupplyRefused`]: thresholds or points cannot be right.
    pub fn new(
        measure: F,
        thresholds: Thresholds,
        points: [(u32, u8); N],
    ) -> Result<Self, SupplyRefused> {
        if thresholds.failing_mv == 0 || thresholds.failing_mv > thresholds.low_mv {
            return Err(SupplyRefused::Thresholds);
        }
        let points = points.map(|(mv, percent)| Point { x: mv, y: percent.into() });
        let mut before: Option<Point> = None;
        for point in points {
            if before.is_some_and(|before| !point.is_above(before)) || point.y > 100 {
                return Err(SupplyRefused::Discharge);
            }
            before = Some(point);
        }
        Ok(Self { measure, thresholds, points, power: Power::GOOD })
    }

    fn left_percent(&self, supply_mv: u32) -> Option<u8> {
        let [first, .., last] = self.points.as_slice() else {
            return None;
        };
        if supply_mv < first.x {
            return Some(0);
        }
        let (from, to) = around(*first, &self.points, supply_mv.min(last.x));
        u8::try_from(height(from, to, supply_mv.min(last.x))).ok()
    }
}

impl<F: FnMut() -> Option<Sensed>, const N: usize> Supply for VoltageSupply<F, N> {
    fn read(&mut self) -> Power {
        self.power = match (self.measure)() {
            None => Power { left_percent: None, ..self.power },
            Some(Sensed { supply_mv, charging }) => {
                let Thresholds { low_mv, failing_mv, hysteresis_mv } = self.thresholds;
                let below = |mv: u32, was: bool| {
                    supply_mv < if was { mv.saturating_add(hysteresis_mv) } else { mv }
                };
                Power {
                    left_percent: self.left_percent(supply_mv),
                    low: below(low_mv, self.power.low),
                    failing: below(failing_mv, self.power.failing),
                    charging,
                }
            }
        };
        self.power
    }
}
