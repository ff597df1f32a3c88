//! Quantities as people write them: "2.0 L/min", "0.412 mg", "< 0.03 mg", "19 C", "745 mm Hg", "1 h 30 min".
//!
//! A plan's own quantities are read exactly, by `plan::quantity`; here a laboratory's figures become `f64`, in the
//! unit that the functions of [`super`] have in their names.

use super::amount::Amount;
use super::kinds::{NOT_TAKEN, Unit};
use super::ppm::ALL_PPM;

pub use super::kinds::Kind;

/// Why a text is not the quantity it was meant to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotRead {
    /// The stable code.
    pub code: &'static str,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

impl std::fmt::Display for NotRead {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.message, self.help)
    }
}

impl std::error::Error for NotRead {}

/// Reads a quantity, in its base unit; of durations several parts, "1 h 30 min". Decimal points only, no powers of ten.
///
/// # Errors
/// No number, no unit or another one; below 0, unless it is a temperature or a change.
///
/// ```
/// use draught_sim::hygiene::parse::{Kind, read};
/// assert_eq!(read("412 ug", Kind::Mass)?, 0.412);
/// assert_eq!(read("1 h 30 min", Kind::Duration)?, 90.0);
/// assert_eq!(read("2.0", Kind::Flow).unwrap_err().code, "missing-unit");
/// # Ok::<(), draught_sim::hygiene::parse::NotRead>(())
/// ```
pub fn read(text: &str, kind: Kind) -> Result<f64, NotRead> {
    let mut rest = text.trim();
    if rest.is_empty() {
        return Err(no_number("an empty text", kind));
    }
    let mut total = 0.0;
    while !rest.is_empty() {
        let (value, after) = number(rest, kind)?;
        let name_end = if kind == Kind::Duration {
            after.find(|c: char| c.is_ascii_digit()).unwrap_or(after.len())
        } else {
            after.len()
        };
        let (name, next) = after.split_at(name_end);
        let Unit(_, offset, over, under) = unit_named(name.trim(), kind)?;
        total += (value - offset) * over / under;
        rest = next.trim_start();
    }
    if !total.is_finite() {
        return Err(no_number(&format!("{text:?}"), kind));
    }
    if kind == Kind::GasConcentration && total > ALL_PPM {
        return Err(NotRead {
            code: "out-of-range",
            message: format!("{text:?} is more than all of the air: 1000000 ppm"),
            help: "check the number and its unit: ppm, ppb or mg/m3".to_owned(),
        });
    }
    if total < 0.0 && !matches!(kind, Kind::Temperature | Kind::Change) {
        return Err(NotRead {
            code: "negative",
            message: format!("a {} cannot be below 0", kind.name()),
            help: format!("write it as in {:?}", kind.example()),
        });
    }
    Ok(total)
}

/// Reads a quantity that is above 0 and no larger than anything that is measured.
///
/// # Errors
/// As [`read`]; 0; below 1e-9 or above 1e9 of the base unit.
///
/// ```
/// use draught_sim::hygiene::parse::{Kind, read_positive};
/// assert_eq!(read_positive("250 ug/m3", Kind::MassConcentration)?, 0.25);
/// assert_eq!(read_positive("0 mg", Kind::Mass).unwrap_err().code, "out-of-range");
/// # Ok::<(), draught_sim::hygiene::parse::NotRead>(())
/// ```
pub fn read_positive(text: &str, kind: Kind) -> Result<f64, NotRead> {
    const LEAST: f64 = 1e-9;
    const MOST: f64 = 1e9;
    let value = read(text, kind)?;
    if (LEAST..=MOST).contains(&value) {
        return Ok(value);
    }
    let limits = format!("{LEAST:e} to {MOST:e} {}", kind.base());
    Err(NotRead {
        code: "out-of-range",
        message: format!("{text:?} cannot be used as a {}", kind.name()),
        help: format!("choose one from {limits}"),
    })
}

/// Reads an amount: a quantity, or "< " and a limit of detection.
///
/// # Errors
/// As [`read`]; "< 0".
///
/// ```
/// use draught_sim::hygiene::{Amount, parse::{Kind, read_amount}};
/// assert_eq!(read_amount("< 0.03 mg", Kind::Mass)?, Amount::Below(0.03));
/// # Ok::<(), draught_sim::hygiene::parse::NotRead>(())
/// ```
pub fn read_amount(text: &str, kind: Kind) -> Result<Amount, NotRead> {
    match text.trim().strip_prefix('<') {
        None => Ok(Amount::Found(read(text, kind)?)),
        Some(limit) => match read(limit, kind)? {
            x if x > 0.0 => Ok(Amount::Below(x)),
            _ => Err(NotRead {
                code: "not-positive",
                message: format!("{text:?} says nothing: nothing is below 0"),
                help: format!("write the limit of detection, as in \"< {}\"", kind.example()),
            }),
        },
    }
}

/// Reads a concentration in whichever unit it is: mg/m3, ppm or f/mL.
///
/// # Errors
/// As [`read`].
///
/// ```
/// use draught_sim::hygiene::{Amount, parse::{Kind, read_concentration}};
/// assert_eq!(read_concentration("150 ppm")?, (Amount::Found(150.0), Kind::GasConcentration));
/// # Ok::<(), draught_sim::hygiene::parse::NotRead>(())
/// ```
pub fn read_concentration(text: &str) -> Result<(Amount, Kind), NotRead> {
    for kind in [Kind::GasConcentration, Kind::FibreConcentration] {
        if kind.units().iter().any(|u| u.0.iter().any(|name| text.trim_end().ends_with(name))) {
            return Ok((read_amount(text, kind)?, kind));
        }
    }
    let kind = Kind::MassConcentration;
    read_amount(text, kind).map(|amount| (amount, kind)).map_err(|e| match e.code {
        "unknown-unit" | "missing-unit" => NotRead {
            help: "units of concentration: mg/m3, ug/m3, g/m3, ppm, ppb, f/mL, f/cc or f/L"
                .to_owned(),
            ..e
        },
        _ => e,
    })
}

/// Splits off the number at the beginning.
fn number(text: &str, kind: Kind) -> Result<(f64, &str), NotRead> {
    let belongs = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '_' | '-' | '+' | '−');
    let (digits, rest) = text.split_at(text.find(|c| !belongs(c)).unwrap_or(text.len()));
    if digits.contains(',') {
        return Err(NotRead {
            code: "not-a-quantity",
            message: format!("{digits:?}: a comma is not taken in a number"),
            help: "write a decimal point, and leave thousands unmarked".to_owned(),
        });
    }
    let plain: String = digits.replace('−', "-").chars().filter(|c| *c != '_').collect();
    let ends_well = plain.ends_with(|c: char| c.is_ascii_digit());
    let begins_well =
        plain.trim_start_matches(['-', '+']).starts_with(|c: char| c.is_ascii_digit());
    match plain.parse::<f64>() {
        Ok(value) if ends_well && begins_well && value.is_finite() => {
            Ok((value, rest.trim_start()))
        }
        _ => Err(no_number(&format!("{text:?}"), kind)),
    }
}

fn no_number(shown: &str, kind: Kind) -> NotRead {
    NotRead {
        code: "not-a-quantity",
        message: format!("{shown} is not a {}", kind.name()),
        help: format!("write a number and a unit, as in {:?}", kind.example()),
    }
}

fn unit_named(name: &str, kind: Kind) -> Result<&'static Unit, NotRead> {
    if name.is_empty() {
        return Err(NotRead {
            code: "missing-unit",
            message: format!("this {} has no unit", kind.name()),
            help: format!("write the number and its unit, as in {:?}", kind.example()),
        });
    }
    if let Some(unit) = kind.units().iter().find(|u| u.0.contains(&name)) {
        return Ok(unit);
    }
    let has = |kind: &Kind, name: &str| kind.units().iter().any(|u| u.0.contains(&name));
    let meant = NOT_TAKEN.iter().find(|(written, meant)| *written == name && has(&kind, meant));
    let message = match Kind::ALL.iter().find(|k| has(k, name)) {
        Some(other) => {
            format!("a {} is needed here, and {name} is a unit of {}", kind.name(), other.name())
        }
        None => format!("{name:?} is not a unit of {}", kind.name()),
    };
    Err(NotRead {
        code: "unknown-unit",
        message,
        help: match meant {
            Some((_, meant)) => format!("write {meant:?}"),
            None if kind == Kind::MassConcentration && has(&Kind::GasConcentration, name) => {
                "turn it into mg/m3 with the molar mass first: draught compute ppm".to_owned()
            }
            None => format!("units of {}: {}", kind.name(), kind.unit_list()),
        },
    })
}
