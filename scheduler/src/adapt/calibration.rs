//! From the pressure across a flow element to the flow through it.

use core::fmt;

use super::line::{Point, around, height};
use crate::arithmetic::square_root;

/// How pressure and flow go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Law {
    /// Flow goes with the pressure: a bundle of fine channels, long enough for the air to flow in layers.
    Laminar,
    /// Flow goes with the square root of the pressure: a hole in a plate, a nozzle.
    Orifice,
}

impl Law {
    /// A number that flow goes with in a straight line. For an orifice 2^16 times the square root, rounded down, which 32 bits hold.
    fn straight(self, drop_mpa: u32) -> u32 {
        match self {
            Self::Laminar => drop_mpa,
            Self::Orifice => square_root(u64::from(drop_mpa) << 32),
        }
    }
}

/// What was measured of a flow element: so much flow at so much pressure.
///
/// Between two points the flow follows the element's [`Law`]; below the first, too, down to no flow at no pressure. Beyond the last
/// point the line is carried on by a quarter of the law's scale (a quarter more flow), so that a regulator that overshot finds its
/// way back; further up nothing is known, and a reading there is a gap. So measure beyond the highest flow that is ever set.
///
/// One point is enough where the element keeps its law; more of them take up what it does not. The flow is exact at the points and
/// never falls as pressure rises; between points it is the straight line, rounded to 1 µL/min.
///
/// The table holds for air like that in which it was measured. For an orifice, volumetric flow at one pressure goes with the square root of
/// temperature over air pressure: 1 % for 6 K or for 2 kPa. For a laminar element it goes with one over the viscosity: about 1 % for 4 K
/// (from memory).
///
/// ```
/// use draught::adapt::{Calibration, Law};
///
/// // 2 L/min at 60 Pa, 4 L/min at 240 Pa: twice the flow takes four times the pressure.
/// let table = Calibration::new(Law::Orifice, [(60_000, 2_000_000), (240_000, 4_000_000)])?;
/// assert_eq!(table.flow_ul_per_min(60_000), Some(2_000_000));
/// assert_eq!(table.flow_ul_per_min(135_000), Some(3_000_000));
/// assert_eq!(table.flow_ul_per_min(15_000), Some(1_000_000));
/// // A quarter more than 4 L/min, at 375 Pa, is the end.
/// assert_eq!(table.flow_ul_per_min(374_000), Some(4_993_329));
/// assert_eq!(table.flow_ul_per_min(376_000), None);
/// # Ok::<(), draught::adapt::CalibrationRefused>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibration<const N: usize> {
    law: Law,
    /// The law's straight number, and the flow in µL/min.
    points: [Point; N],
}

/// Why a table of points was refused. A board finds this once, when it is calibrated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CalibrationRefused {
    /// No point at all.
    Empty,
    /// This point, counted from 0, is not above the one before it in pressure and in flow; the first must be above no pressure and
    /// no flow.
    NotRising(u8),
}

impl CalibrationRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Empty => "calibration-empty",
            Self::NotRising(_) => "calibration-not-rising",
        }
    }
}

impl fmt::Display for CalibrationRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("the calibration has no point; measure one or more")?,
            Self::NotRising(point) => write!(
                f,
                "point {} of the calibration is not above the one before it; every point needs more \
                 pressure and more flow than the last, the first more than none",
                u16::from(*point).saturating_add(1)
            )?,
        }
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for CalibrationRefused {}

impl<const N: usize> Calibration<N> {
    /// From pairs of pressure in mPa and flow in µL/min, both strictly rising. No flow at no pressure is not among them.
    ///
    /// # Errors
    /// [`CalibrationRefused`]: no point, or one that is not above the one before. For an orifice, two pressures above 2^30 mPa
    /// that differ by less than 2 mPa are one.
    pub fn new(law: Law, pairs: [(u32, u32); N]) -> Result<Self, CalibrationRefused> {
        if N == 0 {
            return Err(CalibrationRefused::Empty);
        }
        let points = pairs.map(|(drop_mpa, flow)| Point { x: law.straight(drop_mpa), y: flow });
        let mut before = Point::ORIGIN;
        for (number, point) in (0_u8..=u8::MAX).chain(core::iter::repeat(u8::MAX)).zip(points) {
            if !point.is_above(before) {
                return Err(CalibrationRefused::NotRising(number));
            }
            before = point;
        }
        Ok(Self { law, points })
    }

    /// The flow at a pressure in mPa, in µL/min; `None` too far beyond the last point.
    #[must_use]
    pub fn flow_ul_per_min(&self, drop_mpa: u32) -> Option<u32> {
        let x = self.law.straight(drop_mpa);
        let (from, to) = around(Point::ORIGIN, &self.points, x);
        let end = to.x.saturating_add(to.x / 4);
        (x <= end).then(|| height(from, to, x))
    }
}
