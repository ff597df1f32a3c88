//! Quantities as people write them: "2.0 L/min", "0.412 mg", "< 0.03 mg", "19 C", "745 mm Hg", "1 h 30 min".
//!
//! A plan's own quantities are read exactly, by `plan::quantity`; here a laboratory's figures become `f64`, in the
//! unit that the functions of [`super`] have in their names.

use super::amount::Amount;

/// What a text is meant to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// L/min.
    Flow,
    /// L.
    Volume,
    /// min.
    Duration,
    /// mg.
    Mass,
    /// °C; the only one that may be below 0, with [`Kind::Change`].
    Temperature,
    /// kPa, absolute.
    Pressure,
    /// %.
    Percent,
    /// mg/m3.
    MassConcentration,
    /// ppm by volume.
    GasConcentration,
    /// fibres/mL.
    FibreConcentration,
    /// fibres/mm2.
    FibreDensity,
    /// mm2.
    Area,
    /// g/mol.
    MolarMass,
    /// mg, may be below 0: by how much a blank changed.
    Change,
    /// K, or as many °C: a difference of temperatures.
    Kelvin,
}

/// A unit: how it is written, the usual way first, and base units = (number - offset) x over / under.
struct Unit(&'static [&'static str], f64, f64, f64);

const fn unit(names: &'static [&'static str], over: f64, under: f64) -> Unit {
    Unit(names, 0.0, over, under)
}

impl Kind {
    const ALL: [Self; 15] = [
        Self::Flow,
        Self::Volume,
        Self::Duration,
        Self::Mass,
        Self::Temperature,
        Self::Pressure,
        Self::Percent,
        Self::MassConcentration,
        Self::GasConcentration,
        Self::FibreConcentration,
        Self::FibreDensity,
        Self::Area,
        Self::MolarMass,
        Self::Change,
        Self::Kelvin,
    ];

    /// "flow", "volume", ...
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Flow => "flow",
            Self::Volume => "volume",
            Self::Duration => "duration",
            Self::Mass => "mass",
            Self::Temperature => "temperature",
            Self::Pressure => "pressure",
            Self::Percent => "percentage",
            Self::MassConcentration => "concentration",
            Self::GasConcentration => "concentration of a gas",
            Self::FibreConcentration => "concentration of fibres",
            Self::FibreDensity => "density of fibres",
            Self::Area => "area",
            Self::MolarMass => "molar mass",
            Self::Change => "change of mass",
            Self::Kelvin => "difference of temperatures",
        }
    }

    /// The unit of the number that is read.
    #[must_use]
    pub const fn base(self) -> &'static str {
        match self {
            Self::Flow => "L/min",
            Self::Volume => "L",
            Self::Duration => "min",
            Self::Mass | Self::Change => "mg",
            Self::Temperature => "C",
            Self::Pressure => "kPa",
            Self::Percent => "%",
            Self::MassConcentration => "mg/m3",
            Self::GasConcentration => "ppm",
            Self::FibreConcentration => "f/mL",
            Self::FibreDensity => "f/mm2",
            Self::Area => "mm2",
            Self::MolarMass => "g/mol",
            Self::Kelvin => "K",
        }
    }

    /// An example, for messages.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Flow => "2.0 L/min",
            Self::Volume => "480 L",
            Self::Duration => "1 h 30 min",
            Self::Mass => "0.412 mg",
            Self::Temperature => "19 C",
            Self::Pressure => "99.8 kPa",
            Self::Percent => "5 %",
            Self::MassConcentration => "0.86 mg/m3",
            Self::GasConcentration => "150 ppm",
            Self::FibreConcentration => "0.1 f/mL",
            Self::FibreDensity => "100 f/mm2",
            Self::Area => "385 mm2",
            Self::MolarMass => "58.08 g/mol",
            Self::Change => "-0.002 mg",
            Self::Kelvin => "2 K",
        }
    }

    const fn units(self) -> &'static [Unit] {
        match self {
            Self::Flow => {
                const {
                    &[
                        unit(&["L/min", "l/min"], 1.0, 1.0),
                        unit(&["mL/min", "ml/min", "cm3/min", "cm³/min"], 1.0, 1e3),
                        unit(&["L/h", "l/h"], 1.0, 60.0),
                        unit(&["m3/h", "m³/h"], 1e3, 60.0),
                        unit(&["m3/min", "m³/min"], 1e3, 1.0),
                    ]
                }
            }
            Self::Volume => {
                const {
                    &[
                        unit(&["L", "l"], 1.0, 1.0),
                        unit(&["mL", "ml", "cm3", "cm³"], 1.0, 1e3),
                        unit(&["m3", "m³"], 1e3, 1.0),
                    ]
                }
            }
            Self::Duration => {
                const {
                    &[
                        unit(&["min", "minute", "minutes"], 1.0, 1.0),
                        unit(&["s", "second", "seconds"], 1.0, 60.0),
                        unit(&["h", "hour", "hours"], 60.0, 1.0),
                        unit(&["d", "day", "days"], 1440.0, 1.0),
                    ]
                }
            }
            Self::Mass | Self::Change => {
                const {
                    &[
                        unit(&["mg"], 1.0, 1.0),
                        unit(&["ug", "µg", "μg"], 1.0, 1e3),
                        unit(&["ng"], 1.0, 1e6),
                        unit(&["g"], 1e3, 1.0),
                    ]
                }
            }
            Self::Temperature => {
                const {
                    &[
                        unit(&["C", "°C"], 1.0, 1.0),
                        Unit(&["K"], 273.15, 1.0, 1.0),
                        Unit(&["F", "°F"], 32.0, 5.0, 9.0),
                    ]
                }
            }
            Self::Pressure => {
                const {
                    &[
                        unit(&["kPa"], 1.0, 1.0),
                        unit(&["hPa", "mbar"], 1.0, 10.0),
                        unit(&["Pa"], 1.0, 1e3),
                        unit(&["mm Hg", "mmHg", "torr", "Torr"], 101.325, 760.0),
                    ]
                }
            }
            Self::Percent => const { &[unit(&["%"], 1.0, 1.0)] },
            Self::MassConcentration => {
                const {
                    &[
                        unit(&["mg/m3", "mg/m³"], 1.0, 1.0),
                        unit(&["ug/m3", "µg/m3", "μg/m3", "ug/m³", "µg/m³", "μg/m³"], 1.0, 1e3),
                        unit(&["g/m3", "g/m³"], 1e3, 1.0),
                    ]
                }
            }
            Self::GasConcentration => {
                const { &[unit(&["ppm"], 1.0, 1.0), unit(&["ppb"], 1.0, 1e3)] }
            }
            Self::FibreConcentration => {
                const {
                    &[
                        unit(&["f/mL", "f/ml", "f/cm3", "f/cm³"], 1.0, 1.0),
                        unit(&["f/L", "f/l"], 1.0, 1e3),
                    ]
                }
            }
            Self::FibreDensity => const { &[unit(&["f/mm2", "f/mm²"], 1.0, 1.0)] },
            Self::Area => {
                const { &[unit(&["mm2", "mm²"], 1.0, 1.0), unit(&["cm2", "cm²"], 100.0, 1.0)] }
            }
            Self::MolarMass => const { &[unit(&["g/mol"], 1.0, 1.0)] },
            Self::Kelvin => const { &[unit(&["K", "C", "°C"], 1.0, 1.0)] },
        }
    }

    fn unit_list(self) -> String {
        let names: Vec<&str> = self.units().iter().filter_map(|u| u.0.first().copied()).collect();
        crate::plan::format::or_list(&names)
    }
}

/// Ways of writing units that are not taken, with what is meant.
const NOT_TAKEN: [(&str, &str); 16] = [
    ("lpm", "L/min"),
    ("LPM", "L/min"),
    ("slpm", "L/min"),
    ("ccm", "mL/min"),
    ("cc/min", "mL/min"),
    ("cc", "mL"),
    ("litres", "L"),
    ("liters", "L"),
    ("mins", "min"),
    ("hr", "h"),
    ("hrs", "h"),
    ("mcg", "ug"),
    ("f/cc", "f/mL"),
    ("kpa", "kPa"),
    ("hpa", "hPa"),
    ("percent", "%"),
];

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
    if total < 0.0 && !matches!(kind, Kind::Temperature | Kind::Change) {
        return Err(NotRead {
            code: "negative",
            message: format!("a {} cannot be below 0", kind.name()),
            help: format!("write it as in {:?}", kind.example()),
        });
    }
    Ok(total)
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
            help: "units of concentration: mg/m3, ug/m3, g/m3, ppm, ppb, f/mL or f/L".to_owned(),
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
            None => format!("units of {}: {}", kind.name(), kind.unit_list()),
        },
    })
}
