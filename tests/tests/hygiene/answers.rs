//! Single answers that no published example holds, reckoned by hand.

use draught_sim::hygiene::Amount::Below;
use draught_sim::hygiene::air::{Conditions, standard_factor};
use draught_sim::hygiene::concentration::concentration_mg_m3;
use draught_sim::hygiene::uncertainty::{Spread, Term, budget};
use draught_sim::hygiene::verify::{FlowChoice, Limit, off, verify};

/// 40 CFR 50 App. B 10.4: thin or warm air is less at standard conditions.
#[test]
fn standard_volume_of_thin_air_is_smaller() {
    let factor =
        |c, kpa| standard_factor(Conditions::new(c, kpa).expect("air"), Conditions::EPA_STANDARD);
    assert!((factor(25.0, 101.325) - 1.0).abs() < 1e-15);
    assert!((factor(10.0, 84.0) - 0.872_933_0).abs() < 1e-7, "{}", factor(10.0, 84.0));
    assert!(factor(25.0, 84.0) < 1.0 && factor(35.0, 101.325) < 1.0);
}

#[test]
fn the_flow_used_is_half_the_sum_the_lower_or_what_is_said() {
    let used = |choice| {
        verify(2.02, Some(1.90), Limit::WORN, choice).expect("verified").flow_used_l_per_min
    };
    assert!((used(FlowChoice::Mean) - 1.96).abs() < 1e-12);
    assert!((used(FlowChoice::Lower) - 1.90).abs() < 1e-12);
    assert!((used(FlowChoice::BeforeOnly) - 2.02).abs() < 1e-12);
    assert!((used(FlowChoice::Nominal(1.7)) - 1.7).abs() < 1e-12);
    let missing = verify(2.02, None, Limit::WORN, FlowChoice::Mean).unwrap_err();
    assert_eq!(missing.code(), "missing");
}

#[test]
fn a_limit_is_passed_as_its_source_has_it() {
    let flagged = |after, limit| {
        verify(2.0, Some(after), limit, FlowChoice::Mean).expect("verified").over_limit
    };
    assert_eq!([1.92, 1.93].map(|f| flagged(f, Limit::AMBIENT)), [true, false], "from 4 % on");
    assert_eq!([1.89, 1.90].map(|f| flagged(f, Limit::WORN)), [true, false], "over 5 %");
    assert_eq!([2.11, 2.10].map(|f| flagged(f, Limit::WORN)), [true, false], "either way");
}

/// App. L 9.2.4 to 9.2.6: from 2 % off the required flow on, it is set anew.
#[test]
fn a_flow_is_off_the_required_one_as_its_source_has_it() {
    let over = |flow, limit| off(flow, 2.0, limit).expect("compared").1;
    let required = Limit::AMBIENT_REQUIRED;
    assert_eq!([1.96, 1.961, 2.04].map(|f| over(f, required)), [true, false, true], "from 2 % on");
    assert_eq!([2.11, 2.10, 1.89].map(|f| over(f, Limit::WORN_REQUIRED)), [true, false, true]);
    // A number of one's own is a limit that is passed; the rule's own number keeps its edge.
    let own = |percent| required.changed(percent, required.source);
    assert_eq!([over(2.06, own(3.0)), over(2.061, own(3.0))], [false, true]);
    assert!(over(2.04, own(2.0)));
    assert!((off(2.05, 2.0, required).expect("compared").0 - 2.5).abs() < 1e-12);
    for (flow, should_be) in [(0.0, 2.0), (2.0, 0.0), (f64::NAN, 2.0), (-1.0, 2.0)] {
        assert!(off(flow, should_be, required).is_err(), "{flow} {should_be}");
    }
}

#[test]
fn below_the_limit_stays_below() {
    assert_eq!(concentration_mg_m3(Below(0.03), 480.0), Ok(Below(0.0625)));
}

/// Welch-Satterthwaite by hand: two equal terms of 4 degrees make 8; one of 4 and one without make 16.
#[test]
fn effective_degrees_of_freedom() {
    let term = |spread| Term {
        name: "a term".to_owned(),
        value: 1.0,
        unit: "",
        spread,
        sensitivity: -1.0,
    };
    let read = Spread::Student { standard: 1.0, freedom: 4.0 };
    let freedom = |spreads: [Spread; 2]| {
        let found = budget(10.0, &spreads.map(term), 0.95).expect("a budget");
        (found.freedom, found.k)
    };
    let (two, k) = freedom([read, read]);
    assert!(two.is_some_and(|v| (v - 8.0).abs() < 1e-9), "{two:?}");
    assert!((k - 2.306).abs() < 0.000_51, "table from memory: {k}");
    let (one, _) = freedom([read, Spread::Normal { standard: 1.0 }]);
    assert!(one.is_some_and(|v| (v - 16.0).abs() < 1e-9), "{one:?}");
    assert_eq!(freedom([Spread::Normal { standard: 1.0 }; 2]).0, None);
}
