//! Several substances that act together.

use super::amount::Amount;
use super::error::{Problem, within};
use super::exposure::{Compared, compare};

/// One substance of a mixture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Exposure to it.
    pub exposure: Amount,
    /// Its limit, in the same unit.
    pub limit: f64,
}

/// Additive mixture: `Em = C1/L1 + C2/L2 + ...`; over 1 is over the limit of the mixture.
///
/// Range: limits above 0; each pair in one unit. A substance below its limit of detection gives bounds. Source: 29 CFR
/// 1910.1000(d)(2)(i) (2015 edition). Whether substances act additively is for the hygienist to judge.
///
/// # Errors
/// None given; numbers out of range.
///
/// ```
/// use draught_sim::hygiene::{Amount, exposure::Verdict, mixture::{Part, additive}};
/// let part = |c, limit| Part { exposure: Amount::Found(c), limit };
/// let em = additive(&[part(500.0, 1000.0), part(45.0, 200.0), part(40.0, 200.0)])?;
/// assert_eq!(em.share.text(3, "")?, "0.925");
/// assert_eq!(em.verdict, Verdict::NotOver);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn additive(parts: &[Part]) -> Result<Compared, Problem> {
    let shares = parts
        .iter()
        .map(|p| compare(p.exposure, p.limit).map(|c| c.share))
        .collect::<Result<Vec<_>, _>>()?;
    compare(Amount::sum("parts", &shares)?, 1.0)
}

/// What respirable dust consists of, in %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SilicaPercent {
    /// Quartz.
    pub quartz: f64,
    /// Cristobalite.
    pub cristobalite: f64,
    /// Tridymite.
    pub tridymite: f64,
}

/// The former limit of a mixture of silica in respirable dust, in mg/m3: `10 / (%quartz + 2 %cristobalite + 2 %tridymite + 2)`.
///
/// Range: each 0 to 100 %, together no more. Source: OSHA silica mixture page (read). Arithmetic only: that limit was since
/// replaced (from memory: 29 CFR 1910.1053, 2016).
///
/// # Errors
/// Percentages out of range.
///
/// ```
/// use draught_sim::hygiene::mixture::{SilicaPercent, silica_limit_mg_m3};
/// let dust = SilicaPercent { quartz: 5.0, cristobalite: 2.0, tridymite: 0.0 };
/// assert_eq!((silica_limit_mg_m3(dust)? * 100.0).round() / 100.0, 0.91);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn silica_limit_mg_m3(dust: SilicaPercent) -> Result<f64, Problem> {
    let percent = |what, value| within(what, value, 0.0, 100.0, "%");
    let quartz = percent("quartz", dust.quartz)?;
    let cristobalite = percent("cristobalite", dust.cristobalite)?;
    let tridymite = percent("tridymite", dust.tridymite)?;
    percent("sum of quartz, cristobalite and tridymite", quartz + cristobalite + tridymite)?;
    Ok(10.0 / (quartz + 2.0 * cristobalite + 2.0 * tridymite + 2.0))
}
