//! Figures as they are written.

use draught_sim::hygiene::Amount::{AtLeast, Below, Between, Found};
use draught_sim::hygiene::round::{significant, significant_up, to_places, with_uncertainty};

#[test]
fn figures_that_are_awkward() {
    for (value, figures, text) in [
        (0.0, 3, "0.00"),
        (-0.0, 1, "0"),
        (9.996, 3, "10.0"),
        (99.96, 3, "100"),
        (0.099_96, 3, "0.100"),
        (2.5, 1, "2"),
        (3.5, 1, "4"),
        (-1234.5, 4, "-1234"),
        (1e-7, 2, "1.0e-7"),
        (1.5e18, 2, "1.5e18"),
        (999_999.9, 2, "1000000"),
        (5e-324, 2, "5.0e-324"),
        (f64::MAX, 3, "1.80e308"),
    ] {
        assert_eq!(significant(value, figures), Ok(text.to_owned()), "{value}");
    }
    for (value, places, text) in [
        (0.05, 0, "0"),
        (-0.4, 0, "0"),
        (-0.6, 0, "-1"),
        (15.0, -1, "20"),
        (25.0, -1, "20"),
        (4.0, -2, "0"),
    ] {
        assert_eq!(to_places(value, places), Ok(text.to_owned()), "{value} {places}");
    }
}

#[test]
fn an_uncertainty_has_two_figures_and_its_value_the_same_place() {
    for (value, expanded, v, u) in [
        (0.505_147, 0.043_1, "0.505", "0.043"),
        (899.72, 52.4, "900", "52"),
        (1234.0, 127.0, "1230", "130"),
        // 0.0996 to two figures is 0.10: the place goes with it.
        (0.505_147, 0.099_6, "0.51", "0.10"),
        (-1.0, 0.5, "-1.00", "0.50"),
    ] {
        assert_eq!(with_uncertainty(value, expanded), Ok((v.to_owned(), u.to_owned())));
    }
}

#[test]
fn bounds_are_rounded_so_that_they_stay_true_and_never_to_zero() {
    assert_eq!(significant_up(0.1 + 0.2, 2), Ok("0.30".to_owned()), "dust is not rounded up");
    assert_eq!(Below(0.000_123_4).text(2, "mg").expect("a text"), "< 0.00013 mg");
    assert_eq!(Below(1e-12).text(2, "mg").expect("a text"), "< 1.0e-12 mg");
    assert_eq!(Between(1.019, 1.011_f64.max(1.021)).text(3, "").expect("a text"), "1.01 to 1.03");
    assert_eq!(AtLeast(2.99).text(2, "ppm").expect("a text"), "at least 2.9 ppm");
    assert_eq!(Found(2.95).text(2, "ppm").expect("a text"), "3.0 ppm", "half to even");
    assert!(Below(0.0).text(2, "").is_err());
}
