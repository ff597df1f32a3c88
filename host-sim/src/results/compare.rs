//! Duplicates: two samplers that should say the same.

use super::laboratory::PairResult;
use super::sample::SampleResult;
use crate::hygiene::round::{figures, signed_percent};

/// Each duplicate beside what it doubles: volume, and each analyte of both.
pub(super) fn pairs(samples: &[SampleResult]) -> Vec<PairResult> {
    let mut found = Vec::new();
    for second in samples {
        let Some(of) = &second.duplicate_of else { continue };
        let Some(first) = samples.iter().find(|s| s.sampler == *of && s.sampler != second.sampler)
        else {
            continue;
        };
        let volume = |s: &SampleResult| s.volume.as_ref().and_then(|v| v.used_l);
        if volume(first).is_some() || volume(second).is_some() {
            found.push(pair((first, second), "volume", (volume(first), volume(second)), "L"));
        }
        for a in &first.laboratory {
            let Some(b) =
                second.laboratory.iter().find(|b| b.analyte.eq_ignore_ascii_case(&a.analyte))
            else {
                continue;
            };
            let values = (a.concentration_mg_m3, b.concentration_mg_m3);
            let mut pair = pair((first, second), &a.analyte, values, "mg/m3");
            if pair.difference_percent.is_none() {
                pair.says = format!("{} and {}: not to be compared in numbers", a.says, b.says);
            }
            found.push(pair);
        }
    }
    found
}

fn pair(
    (first, second): (&SampleResult, &SampleResult),
    what: &str,
    (a, b): (Option<f64>, Option<f64>),
    unit: &str,
) -> PairResult {
    let difference_percent = a.zip(b).and_then(|(a, b)| {
        let mean = a / 2.0 + b / 2.0;
        (mean > 0.0).then(|| 100.0 * ((b - a) / mean))
    });
    let says = match (a, b, difference_percent) {
        (Some(a), Some(b), Some(d)) => {
            format!(
                "{} and {} {unit}: {} of their mean",
                figures(a, 3),
                figures(b, 3),
                signed_percent(d)
            )
        }
        _ => "one of them has no number".to_owned(),
    };
    PairResult {
        first: first.sampler.clone(),
        second: second.sampler.clone(),
        what: what.to_owned(),
        first_value: a,
        second_value: b,
        unit: unit.to_owned(),
        difference_percent,
        says,
    }
}
