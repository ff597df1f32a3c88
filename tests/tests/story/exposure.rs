//! Concentrations and the exposure of six workers, once more by hand: masses as on the sheet, volumes as in the records.

use serde_json::Value;

use crate::fractions::{Q, decimal, is, is_not, mean, quantity};
use crate::volumes::{flags, id, litres, minutes, results, sample};
use crate::walk::{Told, told};

const LAB: &str = "sampler.lab";

/// The shift, what it is averaged over, and the limit that the page compares with.
fn shift() -> Q {
    decimal("450")
}

fn eight_hours() -> Q {
    decimal("480")
}

fn limit() -> Q {
    decimal("0.05")
}

/// µg of a sampler, as on the sheet.
fn found_ug(told: &Told, id: &str) -> Option<Q> {
    quantity(told, LAB, id, "mass", "µg")
}

/// The mean of the two blanks, in µg.
fn blank_ug(told: &Told) -> Q {
    mean(&["B-1", "B-2"].map(|b| found_ug(told, b).expect("a blank")))
}

/// mg/m3, which are µg/L.
fn concentration(told: &Told, pump: usize) -> Q {
    let net = found_ug(told, &id(pump)).expect("a mass") - blank_ug(told);
    net / litres(told, pump)
}

fn worker(results: &Value, pump: usize) -> &Value {
    let all = results["workers"].as_array().expect("workers");
    assert_eq!(all.len(), 6);
    let worker = &all[pump - 1];
    assert_eq!(worker["worker"], format!("W{pump}"));
    assert_eq!(worker["samples"], serde_json::json!([id(pump)]));
    assert_eq!(worker["divisor-name"], "8 h");
    worker
}

#[test]
fn concentrations_are_mass_less_blanks_over_volume() {
    let told = told();
    let results = results(told);
    assert_eq!(blank_ug(told), decimal("4.5"));
    for pump in 1..=5 {
        let s = &sample(&results, &id(pump))["laboratory"][0];
        let found = found_ug(told, &id(pump)).expect("a mass");
        is(s, "/mass-mg", found / 1000);
        is(s, "/blank-mg", blank_ug(told) / 1000);
        assert_eq!(s["blank-from"], serde_json::json!(["B-1", "B-2"]));
        is(s, "/concentration-mg-m3", concentration(told, pump));
        is(s, "/share-of-limit-percent", concentration(told, pump) / limit() * 100);
    }
    // Below the limit of detection: never a number, never 0, and no blank is taken from it.
    let s = &sample(&results, "S-601")["laboratory"][0];
    let below = quantity(told, LAB, "S-601", "below", "µg").expect("below");
    is_not(s, "/mass-mg");
    is_not(s, "/concentration-mg-m3");
    is_not(s, "/blank-mg");
    is(s, "/below-mg-m3", below / litres(told, 6));
    assert!(s["says"].as_str().is_some_and(|t| t.starts_with("< ")), "{s}");
    assert_eq!(flags(sample(&results, "S-601")), ["below-lod"]);
}

/// `E = C T / 8 h`, 29 CFR 1910.1000(d)(1)(i); Y -/+ SAE.
#[test]
fn the_exposure_of_each_worker_is_reckoned_once_more() {
    let told = told();
    let results = results(told);
    let sae = decimal("0.20");
    // Two and a half minutes of W3 are taken to be as the rest; of the others nothing is missing.
    let exposures = [1, 2, 3, 4].map(|pump| {
        let sampled = minutes(told, pump);
        let missing = shift() - sampled;
        assert_eq!(missing > decimal("0"), pump == 3, "W{pump}");
        let exposure = concentration(told, pump) * (sampled + missing) / eight_hours();
        let w = worker(&results, pump);
        is(w, "/twa-mg-m3", exposure);
        is(w, "/share-of-limit-percent", exposure / limit() * 100);
        is(w, "/lcl", exposure / limit() - sae);
        is(w, "/ucl", exposure / limit() + sae);
        is_not(w, "/below-mg-m3");
        is_not(w, "/least-mg-m3");
        exposure
    });
    for (pump, exposure) in (1..).zip(exposures) {
        let y = exposure / limit();
        let one = decimal("1");
        let verdict = match (y - sae > one, y + sae > one) {
            (true, _) => "violation",
            (false, true) => "possible overexposure",
            (false, false) => "no violation",
        };
        let says = worker(&results, pump)["verdict"].as_str().expect("a verdict");
        assert!(says.starts_with(verdict), "W{pump}: {verdict}, not {says}");
    }

    // W5: of most of the shift nothing is known, so there is a lower bound and no verdict.
    let w = worker(&results, 5);
    is(w, "/least-mg-m3", concentration(told, 5) * minutes(told, 5) / eight_hours());
    is_not(w, "/twa-mg-m3");
    is_not(w, "/lcl");
    assert!(w["verdict"].as_str().is_some_and(|v| v.starts_with("cannot be told")), "{w}");

    // W6: an upper bound, and still under the limit.
    let w = worker(&results, 6);
    let below = quantity(told, LAB, "S-601", "below", "µg").expect("below");
    let bound = below / litres(told, 6) * minutes(told, 6) / eight_hours();
    is(w, "/below-mg-m3", bound);
    is_not(w, "/twa-mg-m3");
    assert!(bound < limit() && w["verdict"] == "not over the limit", "{w}");
}
