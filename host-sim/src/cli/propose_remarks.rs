//! What is said beside a proposal of the method's volumes and of dust.

use crate::methods::{Limits, Values, units};

/// Volumes that the method states at a concentration: what is made of them.
pub(super) fn stated(values: &Values, at_low: &Limits, at_high: &Limits) -> Option<String> {
    let at = |key: &str| {
        let value = values.get(key)?;
        Some(format!("{} at {}", value.shown, value.at.as_ref()?.1))
    };
    let (least, most) = (at("volume-min"), at("volume-max"));
    let of_dust = at_high.load_max_mg.is_some();
    let pick = |open: bool| -> Vec<String> {
        let least = least.clone().filter(|_| at_low.least_depends == open);
        let most = most.clone().filter(|_| at_high.most_depends == open);
        least.into_iter().chain(most).collect()
    };
    let (known, open) = (pick(false), pick(true));
    let mut says = Vec::new();
    if !known.is_empty() {
        let least_mg = at_low.least_mass.map(|m| m.0).filter(|_| least.is_some());
        let most_mg = if of_dust { at_high.load_max_mg } else { at_high.most_mass_mg };
        let most_mg = most_mg.filter(|_| most.is_some() && !at_high.most_depends);
        let masses = match (least_mg, most_mg) {
            (Some(a), Some(b)) => units::span(a, b, units::mass),
            (Some(a), None) => format!("{} or more", units::mass(a)),
            (None, Some(b)) => format!("{} or less", units::mass(b)),
            (None, None) => return None,
        };
        let what = if of_dust && most_mg.is_some() { " of dust" } else { "" };
        says.push(format!(
            "the method states {}: here the mass decides, {masses}{what}",
            known.join(" and ")
        ));
    }
    if !open.is_empty() {
        let give = if of_dust && at_high.most_depends { "--dust" } else { "--expect" };
        says.push(format!(
            "the method states {}: taken as it stands, and it is another in other air: {give} says what is in it",
            open.join(" and ")
        ));
    }
    (!says.is_empty()).then(|| says.join("; "))
}

/// Dust was given, and nothing to compare it with.
pub(super) fn no_most_dust(of_method: bool, fibres: bool) -> Vec<String> {
    let why = if of_method { "the method's entry has none" } else { "no method is named" };
    let mut says = vec![format!(
        "dust on the filter is NOT checked: --dust is compared with a method's most dust, and {why}"
    )];
    if fibres {
        says.push("fibres under dust cannot be counted: NMAM 7400 p. 4 takes 400 L of dusty air at most, and half a filter covered is overload".to_owned());
    }
    says
}
