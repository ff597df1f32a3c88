//! Quantiles of Student's t: closed forms, and a table from memory.

use draught_sim::hygiene::student::coverage_factor;

fn k(coverage: f64, freedom: f64) -> f64 {
    coverage_factor(coverage, Some(freedom)).expect("a factor")
}

/// From memory: two-sided 95 % and 99 % as printed in every table.
#[test]
fn a_table_from_memory() {
    for (freedom, t95, t99) in [
        (1.0, 12.706, 63.657),
        (2.0, 4.303, 9.925),
        (3.0, 3.182, 5.841),
        (4.0, 2.776, 4.604),
        (5.0, 2.571, 4.032),
        (10.0, 2.228, 3.169),
        (20.0, 2.086, 2.845),
        (30.0, 2.042, 2.750),
        (60.0, 2.000, 2.660),
        (120.0, 1.980, 2.617),
    ] {
        assert!((k(0.95, freedom) - t95).abs() < 0.000_51, "{freedom}: {}", k(0.95, freedom));
        assert!((k(0.99, freedom) - t99).abs() < 0.000_51, "{freedom}: {}", k(0.99, freedom));
    }
    let normal = |p| coverage_factor(p, None).expect("a factor");
    assert!((normal(0.95) - 1.959_963_985).abs() < 1e-8);
    assert!((normal(0.6827) - 1.0).abs() < 1e-4);
    assert!((normal(0.9545) - 2.0).abs() < 1e-4);
}

/// One and two degrees of freedom have closed forms.
#[test]
fn closed_forms() {
    for percent in 50..=99_u32 {
        let p = f64::from(percent) / 100.0;
        let one = (std::f64::consts::FRAC_PI_2 * p).tan();
        assert!((k(p, 1.0) - one).abs() < one * 1e-9, "{p}");
        let two = p * (2.0 / (1.0 - p * p)).sqrt();
        assert!((k(p, 2.0) - two).abs() < two * 1e-9, "{p}");
    }
}

/// Where the two ways of reckoning meet, and towards infinity.
#[test]
fn it_falls_smoothly_with_the_degrees_of_freedom() {
    for p in [0.5, 0.9, 0.95, 0.99, 0.9999] {
        let mut last = f64::INFINITY;
        for freedom in (1..400).map(f64::from).chain([1e4, 1e5, 1e6]) {
            let next = k(p, freedom);
            assert!(next < last, "{p} {freedom}: {next} after {last}");
            last = next;
        }
        assert!((k(p, 200.0) - k(p, 200.000_001)).abs() < 1e-6, "{p}");
        assert_eq!(last, coverage_factor(p, None).expect("a factor"));
    }
}
