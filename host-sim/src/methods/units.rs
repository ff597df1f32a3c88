//! Masses, concentrations, flows and times as people read them. They are read by [`crate::hygiene::parse`] and by the plan's own
//! reader, [`crate::plan::quantity`].

use crate::plan::format;

/// A number with four figures that count and no zeros at its end: "0.0125", "1.2", "400.6".
#[must_use]
pub fn figures(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let places = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.places$}");
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A mass to a person: "0.384 mg", "12.5 µg", "100 ng".
#[must_use]
pub fn mass(mg: f64) -> String {
    match mg {
        0.1.. => format!("{} mg", figures(mg)),
        0.000_1.. => format!("{} µg", figures(mg * 1e3)),
        _ => format!("{} ng", figures(mg * 1e6)),
    }
}

/// A concentration to a person: "0.8 mg/m3", "2 µg/m3".
#[must_use]
pub fn concentration(mg_m3: f64) -> String {
    match mg_m3 {
        0.01.. => format!("{} mg/m3", figures(mg_m3)),
        0.000_01.. => format!("{} µg/m3", figures(mg_m3 * 1e3)),
        _ => format!("{} ng/m3", figures(mg_m3 * 1e6)),
    }
}

/// A volume in L to a person: "1.5 L", "0.5 L", "24 m3".
#[must_use]
pub fn volume(l: f64) -> String {
    match l {
        10_000.0.. => format!("{} m3", figures(l / 1e3)),
        1.0.. => format!("{} L", figures(l)),
        _ => format!("{} mL", figures(l * 1e3)),
    }
}

/// A flow in L/min to a person: "2.0 L/min", "50 mL/min".
#[must_use]
pub fn flow(l_per_min: f64) -> String {
    format::flow((l_per_min * 1e6).round().max(0.0) as u64)
}

/// A time in min to a person, to the second where it is not whole minutes.
#[must_use]
pub fn minutes(min: f64) -> String {
    let ms = (min * 60_000.0).round().max(0.0) as u64;
    if ms < 1_000 { format::duration(ms) } else { format::duration((ms + 500) / 1_000 * 1_000) }
}

/// A least and a most, shown so that a unit which both have is said once: "0.1 to 2 mg".
#[must_use]
pub fn span(least: f64, most: f64, show: impl Fn(f64) -> String) -> String {
    joined(&show(least), &show(most))
}

/// The same of two texts.
#[must_use]
pub fn joined(least: &str, most: &str) -> String {
    match (least.split_once(' '), most.split_once(' ')) {
        _ if least == most => least.to_owned(),
        (Some((number, unit)), Some((_, same))) if unit == same => format!("{number} to {most}"),
        _ => format!("{least} to {most}"),
    }
}

/// A flow in L/min with four figures, for one that nobody sets: "333.3 mL/min".
#[must_use]
pub fn about_flow(l_per_min: f64) -> String {
    if l_per_min >= 1.0 {
        format!("{} L/min", figures(l_per_min))
    } else {
        format!("{} mL/min", figures(l_per_min * 1e3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_with_the_figures_that_count() {
        assert_eq!(figures(0.012_504), "0.0125");
        assert_eq!(figures(400.64), "400.6");
        assert_eq!(figures(0.0), "0");
        assert_eq!(mass(0.384), "0.384 mg");
        assert_eq!(mass(0.012_5), "12.5 µg");
        assert_eq!(mass(0.000_1), "0.1 µg");
        assert_eq!(volume(24_004.8), "24 m3");
        assert_eq!(volume(816.0), "816 L");
        assert_eq!(volume(0.5), "500 mL");
        assert_eq!(minutes(192.5), "3 h 12 min 30 s");
        assert_eq!(span(0.1, 2.0, mass), "0.1 to 2 mg");
        assert_eq!(span(0.000_4, 4.0, mass), "0.4 µg to 4 mg");
        assert_eq!(span(1.7, 1.7, flow), "1.7 L/min");
        assert_eq!(about_flow(1.0 / 3.0), "333.3 mL/min");
    }
}
