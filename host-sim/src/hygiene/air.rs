//! Temperature and pressure of the air: actual and standard volumes, and the one meter that needs them.

use super::error::{Problem, positive, result, within};

/// 0 °C in K.
pub const ZERO_C_K: f64 = 273.15;
/// 1 mm of mercury in kPa, taken as 1/760 of 101.325 kPa.
pub const MM_HG_KPA: f64 = 101.325 / 760.0;

/// Temperature and absolute pressure of the air at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    temperature_c: f64,
    pressure_kpa: f64,
}

impl Conditions {
    /// 25 °C and 760 mm Hg, to which the US EPA refers volumes of TSP and PM10 (40 CFR 50 App. B, J; read in
    /// the 2015 edition, which prints 298 K).
    pub const EPA_STANDARD: Self = Self { temperature_c: 25.0, pressure_kpa: 101.325 };

    /// From a temperature in °C (-80 to 80) and an absolute pressure in kPa (30 to 120): the pressure at the
    /// place itself, not one reduced to sea level (40 CFR 50 App. B 8.12).
    ///
    /// # Errors
    /// Out of range, which mostly is a unit mixed up.
    ///
    /// ```
    /// use draught_sim::hygiene::air::Conditions;
    /// assert!(Conditions::new(19.0, 99.8).is_ok());
    /// assert_eq!(Conditions::new(19.0, 760.0).unwrap_err().code(), "out-of-range");
    /// ```
    pub fn new(temperature_c: f64, pressure_kpa: f64) -> Result<Self, Problem> {
        Ok(Self {
            temperature_c: within("temperature", temperature_c, -80.0, 80.0, "C")?,
            pressure_kpa: within("pressure", pressure_kpa, 30.0, 120.0, "kPa")?,
        })
    }

    /// In °C.
    #[must_use]
    pub const fn temperature_c(self) -> f64 {
        self.temperature_c
    }

    /// In K.
    #[must_use]
    pub const fn temperature_k(self) -> f64 {
        self.temperature_c + ZERO_C_K
    }

    /// In kPa, absolute.
    #[must_use]
    pub const fn pressure_kpa(self) -> f64 {
        self.pressure_kpa
    }
}

/// What an actual volume (or flow) is multiplied by to get the one at standard conditions:
/// `(P / Pstd) (Tstd / T)`, absolute.
///
/// Source: 40 CFR 50 App. B 10.4, App. J 11.1 (2015 edition). PM2.5 is stated at actual volume instead (App. L 12.1):
/// never mix the two.
///
/// ```
/// use draught_sim::hygiene::air::{Conditions, standard_factor};
/// let roof = Conditions::new(10.0, 84.0)?;
/// let factor = standard_factor(roof, Conditions::EPA_STANDARD);
/// assert!((factor - 84.0 / 101.325 * 298.15 / 283.15).abs() < 1e-15);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
#[must_use]
pub fn standard_factor(actual: Conditions, standard: Conditions) -> f64 {
    actual.pressure_kpa / standard.pressure_kpa * standard.temperature_k() / actual.temperature_k()
}

/// An actual volume in L, at standard conditions: [`standard_factor`] times the volume, which is above 0.
///
/// # Errors
/// A volume that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::air::{Conditions, standard_volume_l};
/// let roof = Conditions::new(10.0, 84.0)?;
/// let standard = standard_volume_l(24_000.0, roof, Conditions::EPA_STANDARD)?;
/// assert_eq!(standard.round(), 20_950.0);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn standard_volume_l(
    actual_l: f64,
    actual: Conditions,
    standard: Conditions,
) -> Result<f64, Problem> {
    let volume = positive("volume", actual_l)?;
    result("standard volume", volume * standard_factor(actual, standard))
}

/// A volume at standard conditions in L, back at the actual ones.
///
/// # Errors
/// A volume that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::air::{Conditions, actual_volume_l};
/// let roof = Conditions::new(10.0, 84.0)?;
/// assert_eq!(actual_volume_l(20_950.4, roof, Conditions::EPA_STANDARD)?.round(), 24_000.0);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn actual_volume_l(
    standard_l: f64,
    actual: Conditions,
    standard: Conditions,
) -> Result<f64, Problem> {
    let volume = positive("volume", standard_l)?;
    result("actual volume", volume / standard_factor(actual, standard))
}

/// What measured the flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeterKind {
    /// A film of soap timed over a volume.
    Bubble,
    /// A piston timed over a volume.
    Piston,
    /// A float in a tapered tube: the only one that is corrected here.
    Rotameter,
    /// Any other.
    Other,
}

/// The factor that brings a rotameter's reading from the air in which it was calibrated (c) to that of the sampling
/// site (s): `sqrt(Pc Ts / (Ps Tc))`, absolute.
///
/// Source: NMAM chapter D section 7a (read), for rotameters only and explicitly for no other meter.
///
/// ```
/// use draught_sim::hygiene::air::{Conditions, MM_HG_KPA, rotameter_factor};
/// let calibration = Conditions::new(25.0, 760.0 * MM_HG_KPA)?;
/// let site = Conditions::new(35.0, 630.0 * MM_HG_KPA)?;
/// assert!((960.0 * rotameter_factor(calibration, site) - 1071.9).abs() < 0.05);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
#[must_use]
pub fn rotameter_factor(calibration: Conditions, site: Conditions) -> f64 {
    (calibration.pressure_kpa * site.temperature_k()
        / (site.pressure_kpa * calibration.temperature_k()))
    .sqrt()
}

/// A flow at the sampling site, and why it is what it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtSite {
    /// In L/min.
    pub flow_l_per_min: f64,
    /// What the reading was multiplied by.
    pub factor: f64,
    /// Why.
    pub why: &'static str,
}

/// A meter's reading, brought to the sampling site's air where the kind of meter needs it: a rotameter, by
/// [`rotameter_factor`]; no other.
///
/// Range: flow above 0. Without both conditions a rotameter's reading stays as it is, and that is said.
///
/// # Errors
/// A flow that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::air::{MeterKind, at_site};
/// let bubble = at_site(2.0, MeterKind::Bubble, None, None)?;
/// assert_eq!((bubble.flow_l_per_min, bubble.factor), (2.0, 1.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn at_site(
    flow_l_per_min: f64,
    meter: MeterKind,
    calibration: Option<Conditions>,
    site: Option<Conditions>,
) -> Result<AtSite, Problem> {
    let flow = positive("flow", flow_l_per_min)?;
    let (factor, why) = match (meter, calibration, site) {
        (MeterKind::Rotameter, Some(calibration), Some(site)) => (
            rotameter_factor(calibration, site),
            "a rotameter: corrected from the air of its calibration to that of the site",
        ),
        (MeterKind::Rotameter, ..) => (
            1.0,
            "a rotameter, NOT corrected: temperature and pressure of its calibration and of the site are needed",
        ),
        (MeterKind::Bubble | MeterKind::Piston, ..) => {
            (1.0, "times a volume: not corrected, the correction is for rotameters only")
        }
        (MeterKind::Other, ..) => (
            1.0,
            "no rotameter: not corrected; see what its maker says about temperature and pressure",
        ),
    };
    Ok(AtSite { flow_l_per_min: result("flow at the site", flow * factor)?, factor, why })
}

/// What a meter read on one side of a sample, and the air that it needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeterRead {
    /// In L/min.
    pub flow_l_per_min: f64,
    /// Which kind.
    pub meter: MeterKind,
    /// The air of its calibration.
    pub calibration: Option<Conditions>,
    /// The air at the reading.
    pub site: Option<Conditions>,
}

impl MeterRead {
    /// A rotameter whose reading cannot be corrected: the air of its calibration or that of the site is not known.
    #[must_use]
    pub const fn lacks_air(&self) -> bool {
        matches!(self.meter, MeterKind::Rotameter)
            && (self.calibration.is_none() || self.site.is_none())
    }
}

/// Readings before and after a sample, as [`at_site`]: rotameters are corrected on both sides or on neither. A difference between a corrected
/// and an uncorrected reading would be no drift, and their mean no flow.
///
/// # Errors
/// As [`at_site`].
///
/// ```
/// use draught_sim::hygiene::air::{Conditions, MeterKind, MeterRead, both_at_site};
/// let air = |c, kpa| Conditions::new(c, kpa).ok();
/// let read = |site| MeterRead {
///     flow_l_per_min: 2.0, meter: MeterKind::Rotameter, calibration: air(25.0, 101.325), site,
/// };
/// let (before, after) = both_at_site(read(air(12.0, 84.0)), Some(read(None)))?;
/// assert_eq!((before.factor, after.map(|a| a.factor)), (1.0, Some(1.0)), "neither");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn both_at_site(
    before: MeterRead,
    after: Option<MeterRead>,
) -> Result<(AtSite, Option<AtSite>), Problem> {
    let neither = before.lacks_air() || after.is_some_and(|a| a.lacks_air());
    let one = |read: MeterRead| {
        let uncorrected = neither && read.meter == MeterKind::Rotameter;
        let site = read.site.filter(|_| !uncorrected);
        at_site(read.flow_l_per_min, read.meter, read.calibration, site).map(|at| AtSite {
            why: if uncorrected && after.is_some() { NEITHER } else { at.why },
            ..at
        })
    };
    Ok((one(before)?, after.map(one).transpose()?))
}

/// Why a rotameter is not corrected.
const NEITHER: &str = "a rotameter, NOT corrected, and neither is the other side: temperature and pressure of its calibration, before and after are needed";
