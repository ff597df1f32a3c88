//! Masses, concentrations and fibres as people write them, as numbers of one unit each.
//!
//! Flows, volumes and durations are read by the plan's own reader, [`crate::plan::quantity`].

use crate::plan::format;

/// What a text measures, and the unit in which its number is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A mass, kept in mg.
    Mass,
    /// Mass in a volume of air, kept in mg/m³.
    Concentration,
    /// Fibres in a volume of air, kept in fibres/mL.
    Fibres,
    /// Fibres on an area of filter, kept in fibres/mm².
    Density,
    /// An area, kept in mm².
    Area,
}

/// Why a text is not what it was meant to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotRead {
    /// The stable code.
    pub code: &'static str,
    /// What is wrong, in a sentence.
    pub message: String,
    /// What is said at its place.
    pub label: String,
    /// What to do.
    pub help: String,
}

/// A unit: how it is written, the first being the usual way, and its size.
type Unit = (&'static [&'static str], f64);

const MASS: &[Unit] =
    &[(&["ng"], 1e-6), (&["ug", "µg", "μg"], 1e-3), (&["mg"], 1.0), (&["g"], 1e3)];
const CONCENTRATION: &[Unit] = &[
    (&["ng/m3", "ng/m³"], 1e-6),
    (&["ug/m3", "µg/m3", "μg/m3", "ug/m³", "µg/m³", "μg/m³"], 1e-3),
    (&["mg/m3", "mg/m³"], 1.0),
    (&["g/m3", "g/m³"], 1e3),
];
const FIBRES: &[Unit] = &[(
    &["f/cc", "f/mL", "f/cm3", "f/cm³", "fibres/mL", "fibers/mL", "fibres/cc", "fibers/cc"],
    1.0,
)];
const DENSITY: &[Unit] = &[(&["f/mm2", "f/mm²", "fibres/mm2", "fibers/mm2"], 1.0)];
const AREA: &[Unit] = &[(&["mm2", "mm²"], 1.0), (&["cm2", "cm²"], 100.0)];

/// The least and the most number that is taken, in the unit in which it is kept.
const LEAST: f64 = 1e-9;
const MOST: f64 = 1e9;

impl Kind {
    /// Its name, for messages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Concentration => "concentration",
            Self::Fibres => "fibre concentration",
            Self::Density => "number of fibres on an area",
            Self::Area => "area",
        }
    }

    /// An example, for messages.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Mass => "0.1 mg",
            Self::Concentration => "0.8 mg/m3",
            Self::Fibres => "0.1 f/cc",
            Self::Density => "100 f/mm2",
            Self::Area => "385 mm2",
        }
    }

    /// The unit in which it is kept.
    #[must_use]
    pub const fn kept_in(self) -> &'static str {
        match self {
            Self::Mass => "mg",
            Self::Concentration => "mg/m3",
            Self::Fibres => "f/mL",
            Self::Density => "f/mm2",
            Self::Area => "mm2",
        }
    }

    const fn units(self) -> &'static [Unit] {
        match self {
            Self::Mass => MASS,
            Self::Concentration => CONCENTRATION,
            Self::Fibres => FIBRES,
            Self::Density => DENSITY,
            Self::Area => AREA,
        }
    }
}

/// Reads a number and a unit.
///
/// ```
/// use draught_sim::methods::units::{Kind, parse};
/// assert_eq!(parse("250 ug/m3", Kind::Concentration), Ok(0.25));
/// assert_eq!(parse("0.8 ppm", Kind::Concentration).unwrap_err().code, "unknown-unit");
/// ```
///
/// # Errors
/// [`NotRead`]: no number, no unit, another unit, or a number that is not above zero or far too large.
pub fn parse(text: &str, kind: Kind) -> Result<f64, NotRead> {
    let text = text.trim();
    let end = text.find(|c: char| !c.is_ascii_digit() && !".,+-".contains(c)).unwrap_or(text.len());
    let (number, unit) = (&text[..end], text[end..].trim());
    let names: Vec<&str> = kind.units().iter().map(|u| u.0[0]).collect();
    let refuse = |code, message: String, label: &str, help: String| {
        Err(NotRead { code, message, label: label.to_owned(), help })
    };
    let as_in = || format!("write a number and a unit, as in {:?}", kind.example());
    if number.is_empty() {
        let what = if text.is_empty() { "an empty text".to_owned() } else { format!("{text:?}") };
        let message = format!("{what} is not a {}", kind.name());
        return refuse("not-a-quantity", message, "a number is expected here", as_in());
    }
    let plain = number.chars().all(|c| c.is_ascii_digit() || c == '.');
    let Some(value) = Some(number).filter(|_| plain).and_then(|n| n.parse::<f64>().ok()) else {
        let message = format!("{number:?} is not a number above zero");
        let help = format!("write a decimal point and no sign, as in {:?}", kind.example());
        return refuse("not-a-quantity", message, "not such a number", help);
    };
    if unit.is_empty() {
        let message = format!("this {} has no unit", kind.name());
        let label = format!("of which unit: {}?", format::or_list(&names));
        return refuse("missing-unit", message, &label, as_in());
    }
    let Some((_, size)) = kind.units().iter().find(|u| u.0.contains(&unit)) else {
        let message = format!("{unit:?} is not a unit of {}", kind.name());
        let help = if matches!(unit, "ppm" | "ppb") && kind == Kind::Concentration {
            "turn ppm into mg/m3 with the molar mass first".to_owned()
        } else {
            format!("units of {}: {}", kind.name(), format::or_list(&names))
        };
        return refuse("unknown-unit", message, "unknown unit", help);
    };
    let value = value * size;
    if !(LEAST..=MOST).contains(&value) {
        let limits = format!("{LEAST:e} to {MOST:e} {}", kind.kept_in());
        let message = format!("this {} cannot be used", kind.name());
        let label = format!("the limits are {limits}");
        return refuse("out-of-range", message, &label, format!("choose one from {limits}"));
    }
    Ok(value)
}

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
    fn units_are_kept_in_one() {
        for (text, kind, value) in [
            ("0.1 mg", Kind::Mass, 0.1),
            ("100 ng", Kind::Mass, 1e-4),
            ("0.40 µg", Kind::Mass, 4e-4),
            ("5 mg/m3", Kind::Concentration, 5.0),
            ("2ug/m³", Kind::Concentration, 2e-3),
            ("0.1 f/cc", Kind::Fibres, 0.1),
            ("1300 f/mm2", Kind::Density, 1_300.0),
            ("3.85 cm2", Kind::Area, 385.0),
        ] {
            let read = parse(text, kind).expect(text);
            assert!((read - value).abs() <= 1e-12 * value, "{text} {read}");
        }
    }

    #[test]
    fn what_is_none_says_why() {
        let code = |text| parse(text, Kind::Mass).unwrap_err().code;
        assert_eq!(code(""), "not-a-quantity");
        assert_eq!(code("much"), "not-a-quantity");
        assert_eq!(code("-1 mg"), "not-a-quantity");
        assert_eq!(code("1,5 mg"), "not-a-quantity");
        assert_eq!(code("1.2.3 mg"), "not-a-quantity");
        assert_eq!(code("3"), "missing-unit");
        assert_eq!(code("3 L"), "unknown-unit");
        assert_eq!(code("0 mg"), "out-of-range");
        assert_eq!(code("99999999999999999999 mg"), "out-of-range");
        assert!(parse("1 ppm", Kind::Concentration).unwrap_err().help.contains("molar mass"));
    }

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
