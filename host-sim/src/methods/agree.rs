//! Whether the values of a method agree with each other.

use std::ops::Range;

use super::Values;
use super::units::{flow, mass, minutes, volume};
use crate::plan::finding::Finding;

/// Everything in which two values contradict each other; `span` says where a key's value stands.
pub(super) fn contradictions(
    values: &Values,
    span: &dyn Fn(&'static str) -> Option<Range<usize>>,
) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut say = |keys: [&'static str; 2], says: String, help: &str| {
        let [first, second] = keys;
        let at = span(second).unwrap_or(0..0);
        let mut finding = Finding::error("values-contradict", says).at(at, "this");
        if let Some(other) = span(first) {
            finding = finding.at(other, "and this");
        }
        found.push(finding.help(help));
    };
    let (one, range) = (|key: &str| values.one(key), |key: &str| values.range(key));
    let at = |key: &str| values.get(key).and_then(|v| v.at.as_ref().map(|at| at.0));
    if let (Some(least), Some(most)) = (one("volume-min"), one("volume-max")) {
        // Volumes at concentrations stand for masses; one with and one without cannot be compared.
        let apart = match (at("volume-min"), at("volume-max")) {
            (None, None) => least > most,
            (Some(a), Some(b)) => least * a > most * b * (1.0 + 1e-9),
            _ => false,
        };
        if apart {
            let says =
                format!("the least volume, {}, is above the most, {}", volume(least), volume(most));
            say(["volume-min", "volume-max"], says, "exchange the two, or look them up again");
        }
    }
    if let Some(asked) = one("volume-recommended") {
        for (key, off) in [
            ("volume-min", one("volume-min").filter(|v| at("volume-min").is_none() && *v > asked)),
            ("volume-max", one("volume-max").filter(|v| at("volume-max").is_none() && *v < asked)),
        ] {
            if let Some(limit) = off {
                let says = format!(
                    "the recommended volume, {}, is outside of {key}, {}",
                    volume(asked),
                    volume(limit)
                );
                say([key, "volume-recommended"], says, "look both up again");
            }
        }
    }
    if let (Some(nominal), Some((least, most))) = (one("nominal-flow"), range("flow"))
        && !(least..=most).contains(&nominal)
    {
        let says = format!(
            "the nominal flow, {}, is outside of the flow that the method takes, {} to {}",
            flow(nominal),
            flow(least),
            flow(most)
        );
        say(["flow", "nominal-flow"], says, "the range says how far the nominal flow may be off");
    }
    if let (Some(asked), Some((least, most))) = (one("duration-recommended"), range("duration"))
        && !(least..=most).contains(&asked)
    {
        let says = format!(
            "the recommended duration, {}, is outside of the duration, {} to {}",
            minutes(asked),
            minutes(least),
            minutes(most)
        );
        say(["duration", "duration-recommended"], says, "look both up again");
    }
    let masses = range("mass");
    for (low, high, above) in [
        ("lod", "loq", one("lod").zip(one("loq"))),
        ("lod", "mass", one("lod").zip(masses.map(|r| r.0))),
        ("loq", "mass", one("loq").zip(masses.map(|r| r.1))),
    ] {
        if let Some((a, b)) = above.filter(|(a, b)| *a > b * (1.0 + 1e-9)) {
            let of = if high == "mass" { "the range of mass" } else { "the LOQ" };
            let end = if low == "loq" { "ends at" } else { "begins at" };
            let says = if high == "mass" {
                format!("the {} is {}, and {of} {end} {}", low.to_uppercase(), mass(a), mass(b))
            } else {
                format!("the {} is {}, and {of} is {}", low.to_uppercase(), mass(a), mass(b))
            };
            say([high, low], says, "what is quantified is detected as well: look both up again");
        }
    }
    if let Some(value) = values.any("conditions")
        && value.conditions().is_none()
    {
        let says =
            format!("{:?} does not say at which conditions volumes are reported", value.shown);
        say(
            ["", "conditions"],
            says,
            "begin with \"actual\" or \"standard\", as in \"standard, 298 K and 101.3 kPa\"",
        );
    }
    found
}
