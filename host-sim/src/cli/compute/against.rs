//! `verify --indicated`: a sampler outdoors beside a flow standard.

use super::super::io::Failure;
use super::read::{positive, problem};
use super::shown::{Shown, number};
use crate::hygiene::parse::Kind;
use crate::hygiene::source;
use crate::hygiene::verify::{against_required, against_standard};

/// A sampler's indicated flow beside a standard, and beside the flow that it is to keep.
pub fn ambient(indicated: &str, standard: &str, required: Option<&str>) -> Result<Shown, Failure> {
    let mut shown = Shown::new("verify");
    let i = positive("--indicated", indicated, Kind::Flow)?;
    let s = positive("--standard", standard, Kind::Flow)?;
    shown.given("indicated", indicated);
    shown.given("standard", standard);
    let check = against_standard(i, s).map_err(|p| problem("--indicated, --standard", p))?;
    shown.formula(
        "d = 100 (indicated - standard) / standard",
        format!(
            "100 x ({} - {}) / {} = {} %",
            number(i),
            number(s),
            number(s),
            number(check.difference_percent)
        ),
    );
    shown.difference("difference", check.difference_percent, 2, "%")?;
    if check.recalibrate {
        shown.flag("recalibrate", "4 % or more from the standard: recalibrate the sampler");
    } else {
        shown.verdict("within-limit", "less than 4 % from the standard");
    }
    match required {
        None => {
            shown.note("whether it keeps the required flow is not looked at: --required gives it")
        }
        Some(text) => {
            let r = positive("--required", text, Kind::Flow)?;
            shown.given("required", text);
            let keeps =
                against_required(i, r).map_err(|p| problem("--indicated, --required", p))?;
            shown.formula(
                "d = 100 (indicated - required) / required",
                format!(
                    "100 x ({} - {}) / {} = {} %",
                    number(i),
                    number(r),
                    number(r),
                    number(keeps.difference_percent)
                ),
            );
            shown.difference("from the required", keeps.difference_percent, 2, "%")?;
            if keeps.reset {
                shown.flag("reset-flow", "2 % or more from the required flow: set it again");
            } else {
                shown.verdict("within-limit", "less than 2 % from the required flow");
            }
            shown.source(source::AMBIENT_RESET);
        }
    }
    shown.source(source::AMBIENT_CHECK);
    shown.source(source::PERCENT_DIFFERENCE);
    shown.caution(
        "a flow standard is re-verified at least each year (40 CFR 50 App. L 9.1.2); an audit needs another one than the calibration (40 CFR 58 App. A 3.2.4)",
    );
    Ok(shown)
}
