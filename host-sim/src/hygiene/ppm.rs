//! Gases and vapours: mg/m3 and ppm by volume.

use super::air::Conditions;
use super::amount::Amount;
use super::error::{Problem, within};
use super::source::{self, Source};

/// The gas constant in L kPa/(mol K), from memory (exact by definition since 2019).
pub const GAS_CONSTANT: f64 = 8.314_462_618;

/// The volume of a mole of gas that is reckoned with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MolarVolume {
    litres: f64,
    source: Source,
}

impl MolarVolume {
    /// 24.45 L/mol: the customary one of 25 °C and 760 mm Hg. Limits printed in pairs agree with it.
    pub const CUSTOMARY: Self = Self { litres: 24.45, source: source::PPM_CUSTOMARY };

    /// `R T / P` at given conditions: 24.465 L/mol at 25 °C and 101.325 kPa, 0.06 % more than the customary one.
    ///
    /// ```
    /// use draught_sim::hygiene::{air::Conditions, ppm::MolarVolume};
    /// let exact = MolarVolume::exact(Conditions::EPA_STANDARD).litres();
    /// assert!((exact - 24.465).abs() < 0.0005);
    /// ```
    #[must_use]
    pub fn exact(at: Conditions) -> Self {
        Self {
            litres: GAS_CONSTANT * at.temperature_k() / at.pressure_kpa(),
            source: source::PPM_EXACT,
        }
    }

    /// In L/mol.
    #[must_use]
    pub const fn litres(self) -> f64 {
        self.litres
    }

    /// Who says so.
    #[must_use]
    pub const fn source(self) -> Source {
        self.source
    }
}

/// All of the air, in ppm.
pub const ALL_PPM: f64 = 1e6;

/// At most all of the air.
fn possible(ppm: Amount) -> Result<Amount, Problem> {
    let most = ppm.high().unwrap_or(ppm.low());
    // A conversion there and back may be off in its last place.
    if most > ALL_PPM * (1.0 + 1e-9) {
        within("concentration", most, 0.0, ALL_PPM, "ppm")?;
    }
    Ok(ppm)
}

fn molar_mass(grams: f64) -> Result<f64, Problem> {
    within("molar mass", grams, 1.0, 10_000.0, "g/mol")
}

/// `mg/m3 = ppm M / Vm`.
///
/// Range: ppm 0 to 1,000,000, which is all of the air; "below" stays below; M 1 to 10,000 g/mol. For a gas or a vapour only: dust has no ppm. Source: see
/// [`MolarVolume::source`].
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, ppm::{MolarVolume, ppm_to_mg_m3}};
/// let acetone = ppm_to_mg_m3(Amount::Found(1000.0), 58.08, MolarVolume::CUSTOMARY)?;
/// assert_eq!(acetone.text(4, "mg/m3")?, "2375 mg/m3");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn ppm_to_mg_m3(
    ppm: Amount,
    molar_mass_g_mol: f64,
    volume: MolarVolume,
) -> Result<Amount, Problem> {
    possible(ppm)?.times("concentration", molar_mass(molar_mass_g_mol)? / volume.litres)
}

/// `ppm = mg/m3 Vm / M`; as [`ppm_to_mg_m3`], backwards.
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, ppm::{MolarVolume, mg_m3_to_ppm}};
/// let butanone = mg_m3_to_ppm(Amount::Below(0.5), 72.11, MolarVolume::CUSTOMARY)?;
/// assert_eq!(butanone.text(2, "ppm")?, "< 0.17 ppm");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mg_m3_to_ppm(
    concentration_mg_m3: Amount,
    molar_mass_g_mol: f64,
    volume: MolarVolume,
) -> Result<Amount, Problem> {
    let ppm = concentration_mg_m3
        .times("concentration", volume.litres / molar_mass(molar_mass_g_mol)?)?;
    possible(ppm)
}
