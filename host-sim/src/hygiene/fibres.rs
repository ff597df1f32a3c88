//! How long to sample for a count of fibres.

use super::error::{Problem, positive, result};

/// Effective area of a 25-mm filter, in mm2 (NMAM 7400, read).
pub const AREA_25_MM_FILTER_MM2: f64 = 385.0;
/// Fewest and most fibres per mm2 that can be counted well (NMAM 7400, read).
pub const DENSITY_PER_MM2: (f64, f64) = (100.0, 1300.0);

/// A count to plan for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Count {
    /// Effective area of the filter, in mm2.
    pub area_mm2: f64,
    /// Flow, in L/min.
    pub flow_l_per_min: f64,
    /// The level to be told, in fibres/mL: half the limit (NMAM 7400).
    pub level_per_ml: f64,
}

/// The volume that puts so many fibres per mm2 on a filter, in L: `V = Ac E / (L 1000)`, the same formula without the flow.
#[must_use]
pub fn volume_l(area_mm2: f64, density_per_mm2: f64, level_per_ml: f64) -> f64 {
    area_mm2 * density_per_mm2 / (level_per_ml * 1000.0)
}

/// Minutes until a filter carries so many fibres per mm2: `t = Ac E / (Q L 1000)`.
///
/// Range: all above 0. Source: NMAM 7400 issue 2 step 4 (read). Too much other dust on the filter (from about half of it covered on)
/// spoils the count whatever this says.
///
/// # Errors
/// One that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::fibres::{AREA_25_MM_FILTER_MM2, Count, minutes};
/// let count = Count { area_mm2: AREA_25_MM_FILTER_MM2, flow_l_per_min: 2.0, level_per_ml: 0.1 };
/// assert_eq!(minutes(count, 100.0)?, 192.5);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn minutes(count: Count, density_per_mm2: f64) -> Result<f64, Problem> {
    let area = positive("filter area", count.area_mm2)?;
    let density = positive("fibre density", density_per_mm2)?;
    let flow = positive("flow", count.flow_l_per_min)?;
    let level = positive("level", count.level_per_ml)?;
    result("time", volume_l(area, density, level) / flow)
}

/// The same backwards: fibres per mL from fibres per mm2 on the filter, `L = Ac E / (V 1000)`, volume in L.
///
/// Range: all above 0. Source: the same formula.
///
/// # Errors
/// One that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::fibres::per_ml;
/// assert_eq!(per_ml(385.0, 100.0, 385.0)?, 0.1);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn per_ml(area_mm2: f64, density_per_mm2: f64, volume_l: f64) -> Result<f64, Problem> {
    let fibres = positive("filter area", area_mm2)? * positive("fibre density", density_per_mm2)?;
    result("fibre concentration", fibres / positive("volume", volume_l)? / 1000.0)
}
