//! The usual budgets: of a volume, and of a concentration.

use super::air::{Conditions, standard_factor};
use super::error::{Problem, finite, not_negative, positive, result};
use super::uncertainty::{Budget, Spread, Term, budget};

/// What is known of a sampled volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VolumeKnown {
    /// The flow that is used, in L/min.
    pub flow_l_per_min: f64,
    /// How well the meter of the verification is known, in % of the flow.
    pub calibration_percent: Spread,
    /// The flow before less that after, without sign, in L/min: the flow was anywhere between.
    pub drift_l_per_min: f64,
    /// Readings of the verification: sample deviation in L/min, and how many (2 or more).
    pub repeated: Option<(f64, usize)>,
    /// Time, in min.
    pub minutes: f64,
    /// How far off the time may be, in min, either way.
    pub time_half_width_min: f64,
    /// For a volume at standard conditions.
    pub standard: Option<ToStandard>,
}

/// What is known of the air, for a volume at standard conditions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToStandard {
    /// The air at the inlet.
    pub actual: Conditions,
    /// To what the volume is referred.
    pub standard: Conditions,
    /// How far off the temperature may be, in K, either way.
    pub temperature_half_width_k: f64,
    /// How far off the pressure may be, in kPa, either way.
    pub pressure_half_width_kpa: f64,
}

/// The budget of a volume `V = Q t` (times the standard factor): calibration of the flow, drift, repeatability, time, and for standard
/// conditions temperature and pressure.
///
/// Sensitivities: t F for flows, Q F for time, -V/T, V/P. Drift, time, T and P are rectangular; repeatability is
/// s/sqrt n with n - 1 degrees of freedom. Result in L. Source: GUM, from memory.
///
/// # Errors
/// Numbers out of range; all terms 0.
///
/// ```
/// use draught_sim::hygiene::{budgets::{VolumeKnown, volume_budget}, uncertainty::Spread};
/// let known = VolumeKnown {
///     flow_l_per_min: 2.0,
///     calibration_percent: Spread::Expanded { expanded: 2.0, k: 2.0 },
///     drift_l_per_min: 0.06,
///     repeated: Some((0.01, 3)),
///     minutes: 240.0,
///     time_half_width_min: 1.0,
///     standard: None,
/// };
/// let found = volume_budget(&known, 0.95)?;
/// assert_eq!((found.result, found.lines.len()), (480.0, 4));
/// assert!((found.combined - 6.60).abs() < 0.01);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn volume_budget(known: &VolumeKnown, coverage: f64) -> Result<Budget, Problem> {
    let flow = positive("flow", known.flow_l_per_min)?;
    let minutes = positive("time", known.minutes)?;
    let factor = known.standard.map_or(1.0, |s| standard_factor(s.actual, s.standard));
    let volume = positive("volume", result("volume", flow * minutes * factor)?)?;
    let mut terms = Vec::new();
    let mut term = |name: &str, value, unit, spread, sensitivity| {
        terms.push(Term { name: name.to_owned(), value, unit, spread, sensitivity });
    };
    term("flow calibration", 100.0, "%", known.calibration_percent, volume / 100.0);
    let drift = not_negative("drift", known.drift_l_per_min)?;
    let half_width = drift / 2.0;
    term("flow drift", flow, "L/min", Spread::Rectangular { half_width }, minutes * factor);
    if let Some((deviation, count)) = known.repeated {
        if count < 2 {
            return Err(Problem::TooFew { what: "readings", count, least: 2 });
        }
        let standard =
            not_negative("deviation of the readings", deviation)? / (count as f64).sqrt();
        let freedom = (count - 1) as f64;
        let spread = Spread::Student { standard, freedom };
        term("flow repeatability", flow, "L/min", spread, minutes * factor);
    }
    let half_width = not_negative("half width of the time", known.time_half_width_min)?;
    term("time", minutes, "min", Spread::Rectangular { half_width }, flow * factor);
    if let Some(air) = known.standard {
        let (kelvin, kpa) = (air.actual.temperature_k(), air.actual.pressure_kpa());
        let half_width =
            not_negative("half width of the temperature", air.temperature_half_width_k)?;
        term("temperature", kelvin, "K", Spread::Rectangular { half_width }, -volume / kelvin);
        let half_width = not_negative("half width of the pressure", air.pressure_half_width_kpa)?;
        term("pressure", kpa, "kPa", Spread::Rectangular { half_width }, volume / kpa);
    }
    budget(volume, &terms, coverage)
}

/// What is known of a concentration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConcentrationKnown {
    /// Mass found, blank not subtracted, in mg.
    pub mass_mg: f64,
    /// Its spread, in mg.
    pub mass_spread: Spread,
    /// Blank, in mg.
    pub blank_mg: f64,
    /// Its spread, in mg; `None`: no blank is subtracted.
    pub blank_spread: Option<Spread>,
    /// Volume, in L.
    pub volume_l: f64,
    /// Its spread, in L: of a [`volume_budget`], its combined uncertainty with its degrees of freedom.
    pub volume_spread: Spread,
}

/// The budget of a concentration `C = 1000 (m - b) / V`: mass, blank, volume.
///
/// Sensitivities: 1000/V, -1000/V, -C/V. Result in mg/m3. Source: GUM, from memory. What sampling itself adds (where the worker stood, how
/// the sampler takes in dust) is not in it.
///
/// # Errors
/// Numbers out of range; nothing left of the mass; all terms 0.
///
/// ```
/// use draught_sim::hygiene::{budgets::{ConcentrationKnown, concentration_budget}, uncertainty::Spread};
/// let found = concentration_budget(&ConcentrationKnown {
///     mass_mg: 0.412,
///     mass_spread: Spread::Normal { standard: 0.0165 },
///     blank_mg: 0.0,
///     blank_spread: None,
///     volume_l: 480.0,
///     volume_spread: Spread::Normal { standard: 6.6 },
/// }, 0.95)?;
/// assert!((found.result - 0.8583).abs() < 1e-4 && (found.combined - 0.0363).abs() < 1e-4);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn concentration_budget(known: &ConcentrationKnown, coverage: f64) -> Result<Budget, Problem> {
    let volume = positive("volume", known.volume_l)?;
    let mass = not_negative("mass", known.mass_mg)?;
    let net = positive("mass less blank", mass - finite("blank", known.blank_mg)?)?;
    let per_mg = result("concentration", 1000.0 / volume)?;
    let concentration = positive("concentration", result("concentration", net * per_mg)?)?;
    let mut terms = vec![Term {
        name: "mass".to_owned(),
        value: mass,
        unit: "mg",
        spread: known.mass_spread,
        sensitivity: per_mg,
    }];
    if let Some(spread) = known.blank_spread {
        terms.push(Term {
            name: "blank".to_owned(),
            value: known.blank_mg,
            unit: "mg",
            spread,
            sensitivity: -per_mg,
        });
    }
    terms.push(Term {
        name: "volume".to_owned(),
        value: volume,
        unit: "L",
        spread: known.volume_spread,
        sensitivity: result("sensitivity", -concentration / volume)?,
    });
    budget(concentration, &terms, coverage)
}
