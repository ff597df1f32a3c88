//! Measured numbers, rounded for people: four figures, always with a unit.
//!
//! What a plan says is shown exactly by [`crate::plan::format`]; what was metered has digits nobody needs.

use draught::units::RawVolume;

/// Four figures of `value`.
fn four_figures(value: f64) -> String {
    let places = match value.abs() {
        v if v >= 999.95 => 0,
        v if v >= 99.995 => 1,
        v if v >= 9.9995 => 2,
        _ => 3,
    };
    format!("{value:.places$}")
}

/// "1.999 L/min", "16.67 L/min", "50.02 mL/min".
#[must_use]
pub fn flow(ul_per_min: f64) -> String {
    flow_beside(ul_per_min, ul_per_min)
}

/// The same in the unit of another flow, so that both can be compared at a glance.
#[must_use]
pub fn flow_beside(ul_per_min: f64, other: f64) -> String {
    let (size, unit) = flow_unit(other);
    format!("{} {unit}", four_figures(ul_per_min / size))
}

/// "0.425 to 2.069 L/min".
#[must_use]
pub fn flow_range(least: f64, most: f64) -> String {
    let (size, _) = flow_unit(most);
    let (from, to) = (four_figures(least / size), four_figures(most / size));
    if from == to { flow(most) } else { format!("{from} to {}", flow(most)) }
}

fn flow_unit(ul_per_min: f64) -> (f64, &'static str) {
    match ul_per_min {
        v if v >= 1e6 => (1e6, "L/min"),
        v if v >= 1e3 => (1e3, "mL/min"),
        _ => (1.0, "µL/min"),
    }
}

/// "899.7 L", "37.41 L", "24.004 m3", "250.1 mL": to a litre in a cubic metre, else four figures.
#[must_use]
pub fn volume(raw: RawVolume) -> String {
    let ml = raw.as_raw() as f64 / RawVolume::PER_ML as f64;
    match ml {
        v if v >= 1e7 => format!("{:.3} m3", v / 1e6),
        v if v >= 1e6 => format!("{:.1} L", v / 1e3),
        v if v >= 1e3 => format!("{} L", four_figures(v / 1e3)),
        v => format!("{} mL", four_figures(v)),
    }
}

/// A difference as a part of the whole, in percent with a sign: "-0.03 %", "+1.8 %", "0 %".
#[must_use]
pub fn percent(part: f64) -> String {
    let percent = part * 100.0;
    let places = if percent.abs() < 0.1 { 3 } else { usize::from(percent.abs() < 1.0) + 1 };
    let text = format!("{percent:+.places$}");
    let zero = text.chars().all(|c| matches!(c, '0' | '.' | '+' | '-'));
    if zero { "0 %".to_owned() } else { format!("{text} %") }
}

/// By how much one volume differs from another, as a part of the other.
#[must_use]
pub fn difference(of: RawVolume, from: RawVolume) -> f64 {
    if from == RawVolume::ZERO {
        return 0.0;
    }
    // Exact in whole numbers; only the quotient is rounded.
    let gap = i128::from(of.as_raw()) - i128::from(from.as_raw());
    gap as f64 / from.as_raw() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_figures_and_a_unit() {
        let ml = |v: u64| RawVolume::from_raw(v * RawVolume::PER_ML);
        assert_eq!(volume(ml(899_700)), "899.7 L");
        assert_eq!(volume(ml(24_004_800)), "24.005 m3");
        assert_eq!(volume(ml(9_999)), "9.999 L");
        assert_eq!(volume(ml(1_440_060)), "1440.1 L");
        assert_eq!(flow_beside(997_600.0, 1e6), "0.998 L/min");
        assert_eq!(flow_range(425_000.0, 2_069_000.0), "0.425 to 2.069 L/min");
        assert_eq!(volume(ml(250)), "250.0 mL");
        assert_eq!(volume(RawVolume::ZERO), "0.000 mL");
        assert_eq!(flow(1_999_400.0), "1.999 L/min");
        assert_eq!(flow(16_670_115.0), "16.67 L/min");
        assert_eq!(flow(50_020.0), "50.02 mL/min");
        assert_eq!(percent(-0.0003), "-0.030 %");
        assert_eq!(percent(0.006), "+0.60 %");
        assert_eq!(percent(-0.018), "-1.8 %");
        assert_eq!(percent(-1e-9), "0 %");
        assert_eq!(difference(ml(99), ml(100)), -0.01);
    }
}
