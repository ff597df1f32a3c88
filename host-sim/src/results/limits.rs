//! A concentration at the conditions in which a limit is stated.

use super::Limit;
use crate::hygiene::Amount;

impl Limit {
    /// Whether it is one of this analyte.
    pub(super) fn is_of(&self, analyte: &str) -> bool {
        self.analyte.as_ref().is_none_or(|a| a.eq_ignore_ascii_case(analyte))
    }
}

/// A limit in ppm is turned into mg/m3 at 25 °C and 760 mm Hg (29 CFR 1910.1000 Table Z-1, note a). A concentration that is compared with it must be that of
/// air at these conditions, or a site high up or hot would seem to be better than it is: `factor` is the volume used over the volume at them.
/// Other limits are compared as they are.
pub(super) fn referred(
    limit: &Limit,
    found: Amount,
    factor: Option<f64>,
    notes: &mut Vec<String>,
) -> Amount {
    if !limit.in_ppm {
        return found;
    }
    let note = match factor {
        Some(_) => {
            "compared with a limit in ppm: concentrations are referred to 25 °C and 760 mm Hg by the air that was measured (29 CFR 1910.1000 Table Z-1, note a)"
        }
        None => {
            "compared with a limit in ppm, and the air was not measured: as if it were of 25 °C and 760 mm Hg. At a high or hot site the share of the limit is larger"
        }
    };
    if !notes.iter().any(|n| n == note) {
        notes.push(note.to_owned());
    }
    found.times("concentration", factor.unwrap_or(1.0)).unwrap_or(found)
}
