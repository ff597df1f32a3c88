//! Quantiles of Student's t, for coverage factors.

use super::error::{Problem, within};

/// The coverage factor k that takes a share `coverage` of Student's t with so many degrees of freedom into
/// -k to k; infinitely many (`None`) give the normal distribution.
///
/// Numeric: incomplete beta function by continued fraction, solved by bisection; beyond 200 degrees of freedom an
/// expansion around the normal quantile. Better than 1e-6. Range: coverage 0.5 to 0.9999, degrees of freedom from 1; more than
/// a million count as infinite.
///
/// # Errors
/// Numbers out of range.
///
/// ```
/// use draught_sim::hygiene::student::coverage_factor;
/// assert_eq!((coverage_factor(0.95, None)? * 1000.0).round(), 1960.0);
/// assert_eq!((coverage_factor(0.95, Some(2.0))? * 1000.0).round(), 4303.0);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn coverage_factor(coverage: f64, freedom: Option<f64>) -> Result<f64, Problem> {
    within("coverage", coverage, 0.5, 0.9999, "(a fraction)")?;
    match freedom {
        None => Ok(normal(coverage)),
        Some(n) => {
            super::error::finite("number of degrees of freedom", n)?;
            let n = within("number of degrees of freedom", n.min(1e6), 1.0, 1e6, "")?;
            if n >= 1e6 {
                return Ok(normal(coverage));
            }
            Ok(if n > 200.0 { expanded(normal(coverage), n) } else { by_bisection(coverage, n) })
        }
    }
}

/// Halves an interval in which `below` turns from true to false.
fn bisect(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..80 {
        let middle = low / 2.0 + high / 2.0;
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low / 2.0 + high / 2.0
}

fn by_bisection(coverage: f64, n: f64) -> f64 {
    // Outside -t to t is I(n / (n + t^2); n/2, 1/2): it falls as t grows. Widest wanted: n = 1, 0.9999: 6366.
    bisect(0.0, 1e4, |t| incomplete_beta(n / (n + t * t), n / 2.0, 0.5) > 1.0 - coverage)
}

fn normal(coverage: f64) -> f64 {
    bisect(0.0, 6.0, |z| erf(z / std::f64::consts::SQRT_2) < coverage)
}

/// Error function by its power series with positive terms; good to 1e-13 up to 5.
fn erf(x: f64) -> f64 {
    let (mut term, mut sum) = (x, x);
    for i in 1..200_u32 {
        term *= 2.0 * x * x / f64::from(2 * i + 1);
        sum += term;
    }
    2.0 / std::f64::consts::PI.sqrt() * (-x * x).exp() * sum
}

/// The first terms of the expansion of Student's t in powers of 1/n.
fn expanded(z: f64, n: f64) -> f64 {
    let (z3, z5, z7) = (z.powi(3), z.powi(5), z.powi(7));
    z + (z3 + z) / (4.0 * n)
        + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * n * n)
        + (3.0 * z7 + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / (384.0 * n.powi(3))
}

/// Regularised incomplete beta function, `a` and `b` moderate.
fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    // The fraction converges quickly on one side of the mean only.
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(1.0 - x, b, a);
    }
    let front =
        (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (1.0 - x).ln()).exp();
    let away = |v: f64| if v.abs() < 1e-300 { 1e-300 } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for i in 1..500_u32 {
        let m = f64::from(i);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        for step in [even, odd] {
            d = 1.0 / away(1.0 + step * d);
            c = away(1.0 + step / c);
            fraction *= c * d;
        }
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front * fraction / a
}

/// Logarithm of the gamma function above 0, by Stirling's series after shifting the argument upwards.
fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut shift) = (x, 0.0);
    while x < 15.0 {
        shift += x.ln();
        x += 1.0;
    }
    let inverse = 1.0 / x;
    let series = inverse / 12.0 - inverse.powi(3) / 360.0 + inverse.powi(5) / 1260.0
        - inverse.powi(7) / 1680.0;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series - shift
}
