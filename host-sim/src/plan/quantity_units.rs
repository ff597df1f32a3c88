//! The units in which quantities are written.

use draught::units::Quantity;

/// A unit: the ways it is written, the first being the usual one, and its size in base units as
/// a fraction.
pub(super) struct Unit {
    pub names: &'static [&'static str],
    pub numerator: u64,
    pub denominator: u64,
}

const fn unit(names: &'static [&'static str], numerator: u64, denominator: u64) -> Unit {
    Unit { names, numerator, denominator }
}

const TIME: &[Unit] = &[
    unit(&["ms"], 1, 1),
    unit(&["s", "second", "seconds"], 1_000, 1),
    unit(&["min", "minute", "minutes"], 60_000, 1),
    unit(&["h", "hour", "hours"], 3_600_000, 1),
    unit(&["d", "day", "days"], 86_400_000, 1),
];
const FLOW: &[Unit] = &[
    unit(&["µL/min", "uL/min", "μL/min", "µl/min", "ul/min", "μl/min"], 1, 1),
    unit(&["mL/min", "ml/min", "cm3/min", "cm³/min"], 1_000, 1),
    unit(&["L/min", "l/min"], 1_000_000, 1),
    unit(&["L/h", "l/h"], 50_000, 3),
    unit(&["m3/h", "m³/h"], 50_000_000, 3),
];
const VOLUME: &[Unit] = &[
    unit(&["mL", "ml", "cm3", "cm³"], 1, 1),
    unit(&["L", "l"], 1_000, 1),
    unit(&["m3", "m³"], 1_000_000, 1),
];
const PRESSURE: &[Unit] =
    &[unit(&["Pa"], 1, 1), unit(&["hPa", "mbar"], 100, 1), unit(&["kPa"], 1_000, 1)];
const PERCENT: &[Unit] = &[unit(&["%"], 1, 1)];

/// Ways of writing units that are not taken, with what is meant.
pub(super) const NOT_TAKEN: &[(&str, &str)] = &[
    ("lpm", "L/min"),
    ("LPM", "L/min"),
    ("l/m", "L/min"),
    ("L/m", "L/min"),
    ("mlpm", "mL/min"),
    ("ccm", "mL/min"),
    ("cc/min", "mL/min"),
    ("ccpm", "mL/min"),
    ("m", "min"),
    ("mins", "min"),
    ("minutes.", "min"),
    ("sec", "s"),
    ("secs", "s"),
    ("hr", "h"),
    ("hrs", "h"),
    ("H", "h"),
    ("cc", "mL"),
    ("litre", "L"),
    ("litres", "L"),
    ("liter", "L"),
    ("liters", "L"),
    ("pa", "Pa"),
    ("PA", "Pa"),
    ("kpa", "kPa"),
    ("KPa", "kPa"),
    ("hpa", "hPa"),
    ("percent", "%"),
];

/// The units of a quantity, smallest first.
pub(super) fn units_of(quantity: Quantity) -> &'static [Unit] {
    match quantity {
        Quantity::Flow => FLOW,
        Quantity::Volume => VOLUME,
        Quantity::Pressure => PRESSURE,
        Quantity::TripPercent => PERCENT,
        _ => TIME,
    }
}
