//! Quantities with their units in their names, each with one range, checked once.
//!
//! Everything is an integer: flow in µL/min, volume in mL, pressure in Pa, time in ms. A metered
//! volume is a [`RawVolume`] in µL·ms/min and is never divided while it is summed.
//!
//! ```
//! use draught::units::{DurationMs, Flow, RawVolume};
//!
//! let flow = Flow::from_ul_per_min(2_500_000)?; // 2.5 L/min
//! let run = DurationMs::from_ms(15 * 60_000)?;
//! let drawn = RawVolume::of(flow, run.as_ms().into()).unwrap();
//! assert_eq!(drawn.as_ul(), 37_500_000); // 37.5 L
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

use core::fmt;
use core::num::NonZeroU32;

pub(crate) use crate::quantity::largest_unit;
pub use crate::quantity::{OutOfRange, Quantity};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $kind:expr, $from:ident, $as:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
                pub struct $name(u32);

        impl $name {
            #[doc = concat!("From a number of ", $unit, ".\n\n# Errors\n[`OutOfRange`] outside the range of its [`Quantity`].")]
            pub const fn $from(value: u32) -> Result<Self, OutOfRange> {
                match $kind.check(value as u64) {
                    Ok(v) => Ok(Self(v)),
                    Err(e) => Err(e),
                }
            }

            /// A value that was checked against its range already.
            pub(crate) const fn from_checked(value: u32) -> Self {
                Self(value)
            }

            #[doc = concat!("The value in ", $unit, ".")]
            #[must_use]
            pub const fn $as(self) -> u32 {
                self.0
            }
        }
    };
}

quantity!(
    /// How long: 1 ms to 31 days; above 1,000,000 s (11.6 days) in whole seconds.
    DurationMs, Quantity::Duration, from_ms, as_ms, "ms"
);
quantity!(
    /// Actual volumetric flow at the sampler's inlet: 1 µL/min to 2,000 L/min; above 1,000 L/min in
    /// whole mL/min.
    Flow, Quantity::Flow, from_ul_per_min, ul_per_min, "µL/min"
);
quantity!(
    /// A volume of air to draw: 1 mL to 4,000 m³; above 1,000 m³ in whole 100 mL.
    Volume, Quantity::Volume, from_ml, as_ml, "mL"
);
quantity!(
    /// A pressure difference below ambient that the pump keeps or must not exceed: 1 Pa to 200 kPa.
    Pressure, Quantity::Pressure, from_pa, as_pa, "Pa"
);

impl Flow {
    /// 1 µL/min.
    pub const SMALLEST: Self = Self(Quantity::Flow.range().0);
    /// 2,000 L/min.
    pub const LARGEST: Self = Self(Quantity::Flow.range().1);
}

impl Pressure {
    /// 1 Pa.
    pub const SMALLEST: Self = Self(Quantity::Pressure.range().0);
    /// 200 kPa.
    pub const LARGEST: Self = Self(Quantity::Pressure.range().1);
}

impl Volume {}

/// What the pump keeps constant, and at what value. Four bytes, also inside an `Option`.
///
/// ```
/// use draught::units::{Flow, Target, TargetKind};
/// let t = Target::flow(Flow::from_ul_per_min(2_000_000)?);
/// assert!(matches!(t.kind(), TargetKind::Flow(f) if f.ul_per_min() == 2_000_000));
/// assert_eq!(size_of::<Option<Target>>(), 4);
/// # Ok::<(), draught::units::OutOfRange>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Target(NonZeroU32);

/// A [`Target`] taken apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TargetKind {
    /// Constant flow.
    Flow(Flow),
    /// Constant pressure difference across the sampling train.
    Pressure(Pressure),
}

const PRESSURE_BIT: u32 = 1 << 31;

impl Target {
    /// Constant flow.
    #[must_use]
    pub const fn flow(flow: Flow) -> Self {
        // A flow is 1 to 2e9: never zero, and the top bit is free.
        match NonZeroU32::new(flow.0) {
            Some(v) => Self(v),
            None => Self(NonZeroU32::MIN),
        }
    }

    /// Constant pressure difference across the sampling train.
    #[must_use]
    pub const fn pressure(pressure: Pressure) -> Self {
        match NonZeroU32::new(pressure.0 | PRESSURE_BIT) {
            Some(v) => Self(v),
            None => Self(NonZeroU32::MIN),
        }
    }

    /// Which of the two, with its value.
    #[must_use]
    pub const fn kind(self) -> TargetKind {
        let v = self.0.get();
        if v & PRESSURE_BIT == 0 {
            TargetKind::Flow(Flow(v))
        } else {
            TargetKind::Pressure(Pressure(v & !PRESSURE_BIT))
        }
    }

    /// The flow, if flow is what is kept constant.
    #[must_use]
    pub const fn as_flow(self) -> Option<Flow> {
        match self.kind() {
            TargetKind::Flow(f) => Some(f),
            TargetKind::Pressure(_) => None,
        }
    }
}

impl fmt::Debug for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.kind().fmt(f)
    }
}
