//! Quantities as they are shown: exact where that is short, always with a unit.

use draught::units::{Flow, Pressure, Quantity, RawVolume, Target, TargetKind};

/// "15 min", "7 h 30 min", "1 min 5 s", "24 h"; `0 s` for nothing.
#[must_use]
pub fn duration(ms: u64) -> String {
    let parts = [
        (ms / 3_600_000, "h"),
        (ms / 60_000 % 60, "min"),
        (ms / 1_000 % 60, "s"),
        (ms % 1_000, "ms"),
    ];
    let shown: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, unit)| format!("{n} {unit}")).collect();
    if shown.is_empty() { "0 s".to_owned() } else { shown.join(" ") }
}

/// A distance in time to a person: "3 h 20 min", "12 d 4 h", at most two units.
#[must_use]
pub fn distance(ms: u64) -> String {
    let units: [(u64, &str); 5] =
        [(86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1_000, "s"), (1, "ms")];
    let Some(first) = units.iter().position(|(size, _)| ms >= *size) else {
        return "0 s".to_owned();
    };
    // Rounded to the second unit shown.
    let last = units.get(first + 1).unwrap_or(&units[first]).0;
    let rounded = (ms + last / 2) / last * last;
    let first = units.iter().position(|(size, _)| rounded >= *size).unwrap_or(first);
    let mut left = rounded;
    let mut shown = Vec::new();
    for (size, unit) in units.iter().skip(first).take(2) {
        if left / size > 0 {
            shown.push(format!("{} {unit}", left / size));
        }
        left %= size;
    }
    shown.join(" ")
}

/// A number of thousandths with as few decimals as it takes, but at least `least`.
fn thousandths(value: u64, least: usize) -> String {
    decimals(value, 3, least)
}

/// `value` / 10^`places` with as few decimals as it takes, but at least `least`.
fn decimals(value: u64, places: usize, least: usize) -> String {
    let size = 10_u64.pow(places as u32);
    let fraction = format!("{:0places$}", value % size);
    let mut shown = fraction.trim_end_matches('0');
    if shown.len() < least {
        shown = &fraction[..least];
    }
    if shown.is_empty() { (value / size).to_string() } else { format!("{}.{shown}", value / size) }
}

/// "2.0 L/min", "16.67 L/min", "50 mL/min", "500 µL/min".
#[must_use]
pub fn flow(ul_per_min: u64) -> String {
    match ul_per_min {
        1_000_000.. => format!("{} L/min", decimals(ul_per_min, 6, 1)),
        1_000.. => format!("{} mL/min", thousandths(ul_per_min, 0)),
        _ => format!("{ul_per_min} µL/min"),
    }
}

/// "900 Pa", "1.5 kPa".
#[must_use]
pub fn pressure(pa: u64) -> String {
    if pa >= 1_000 { format!("{} kPa", thousandths(pa, 1)) } else { format!("{pa} Pa") }
}

/// An exact number of millilitres: "250 mL", "37.5 L", "24.0048 m3".
#[must_use]
pub fn volume_ml(ml: u64) -> String {
    match ml {
        10_000_000.. => format!("{} m3", decimals(ml, 6, 1)),
        1_000.. => format!("{} L", thousandths(ml, 0)),
        _ => format!("{ml} mL"),
    }
}

/// A volume for people, rounded to nearest: "480 L", "37.5 L", "899.7 L", "24.005 m3", "250 mL".
#[must_use]
pub fn volume(raw: RawVolume) -> String {
    let (text, unit) = volume_parts(raw);
    format!("{text} {unit}")
}

/// A volume as number and unit, so that a range can share the unit.
#[must_use]
pub fn volume_parts(raw: RawVolume) -> (String, &'static str) {
    let ml = RawVolume::PER_ML;
    // Not (raw + unit / 2) / unit: a sum that stopped at the largest number has no room for more.
    let round = |unit: u64| raw.as_raw() / unit + u64::from(raw.as_raw() % unit >= unit / 2);
    if raw.as_raw() >= 10_000_000 * ml {
        (decimals(round(ml * 1_000), 3, 0), "m3")
    } else if raw.as_raw() >= 1_000 * ml {
        (decimals(round(ml * 100), 1, 0), "L")
    } else {
        (decimals(round(ml / 10), 1, 0), "mL")
    }
}

/// "870 to 960 L", or one volume if both show the same.
#[must_use]
pub fn volume_range(from: RawVolume, to: RawVolume, between: &str) -> String {
    let ((a, a_unit), (b, b_unit)) = (volume_parts(from), volume_parts(to));
    if (&a, a_unit) == (&b, b_unit) {
        format!("{a} {a_unit}")
    } else if a_unit == b_unit {
        format!("{a}{between}{b} {b_unit}")
    } else {
        format!("{a} {a_unit}{between}{b} {b_unit}")
    }
}

/// "1.0 to 3.0 L/min"; "0.5 to 3.0 L/min" rather than two units, but "20 mL/min to 3.0 L/min".
#[must_use]
pub fn flow_range(from: Flow, to: Flow) -> String {
    let (from, to) = (u64::from(from.ul_per_min()), u64::from(to.ul_per_min()));
    match (from, to) {
        (100_000..1_000_000, 1_000_000..) => {
            format!("{} to {}", decimals(from, 6, 1), flow(to))
        }
        _ => joined(&flow(from), &flow(to)),
    }
}

/// "0.5 to 5.0 kPa".
#[must_use]
pub fn pressure_range(from: Pressure, to: Pressure) -> String {
    let (from, to) = (u64::from(from.as_pa()), u64::from(to.as_pa()));
    match (from, to) {
        (100..1_000, 1_000..) => format!("{} to {}", thousandths(from, 1), pressure(to)),
        _ => joined(&pressure(from), &pressure(to)),
    }
}

/// Two quantities as a range that says a shared unit once.
fn joined(from: &str, to: &str) -> String {
    match (from.split_once(' '), to.split_once(' ')) {
        (Some((a, a_unit)), Some((_, b_unit))) if a_unit == b_unit => format!("{a} to {to}"),
        _ => format!("{from} to {to}"),
    }
}

/// What the pump keeps constant: "2.0 L/min", or "1.5 kPa".
#[must_use]
pub fn target(target: Target) -> String {
    match target.kind() {
        TargetKind::Flow(f) => flow(f.ul_per_min().into()),
        TargetKind::Pressure(p) => pressure(p.as_pa().into()),
    }
}

/// A value in base units of its quantity, exactly, as a plan would write it.
#[must_use]
pub fn quantity(base: u32, quantity: Quantity) -> String {
    let base = u64::from(base);
    match quantity {
        Quantity::Flow => flow(base),
        Quantity::Volume => volume_ml(base),
        Quantity::Pressure => pressure(base),
        Quantity::TripPercent => format!("{base} %"),
        q if q.base_unit() == "ms" => duration(base),
        q if q.base_unit().is_empty() => grouped(base),
        q => format!("{base} {}", q.base_unit()),
    }
}

/// The range of a quantity as people write it: "1 ms to 744 h".
#[must_use]
pub fn range_words(q: Quantity) -> String {
    let (min, max) = q.range();
    let word = |base: u32| match (q, base) {
        (Quantity::Duration | Quantity::ResumeWithin, 2_678_400_000) => "31 d".to_owned(),
        _ => quantity(base, q),
    };
    joined(&word(min), &word(max))
}

/// "a, b or c".
#[must_use]
pub fn or_list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

/// A count with its noun: "1 error", "2 errors".
#[must_use]
pub fn count(n: usize, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// A whole number with a comma between thousands, for counts in sentences.
#[must_use]
pub fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out
}

/// How an instant lies to those between which it was to be, in ms: "on time", "12 min late", "3 h early".
#[must_use]
pub fn punctual(least: u64, most: u64, at: u64) -> String {
    if at < least {
        format!("{} early", distance(least - at))
    } else if at > most {
        format!("{} late", distance(at - most))
    } else {
        "on time".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_as_people_write_them() {
        assert_eq!(duration(27_000_000), "7 h 30 min");
        assert_eq!(duration(86_400_000), "24 h");
        assert_eq!(duration(1), "1 ms");
        assert_eq!(distance(12_000_000), "3 h 20 min");
        assert_eq!(distance(86_399_999), "1 d");
        assert_eq!(distance(90_000_000), "1 d 1 h");
        assert_eq!(distance(12), "12 ms");
        assert_eq!(flow(2_000_000), "2.0 L/min");
        assert_eq!(flow(16_670_000), "16.67 L/min");
        assert_eq!(flow(50_500), "50.5 mL/min");
        assert_eq!(flow(5), "5 µL/min");
        assert_eq!(pressure(1_500), "1.5 kPa");
        assert_eq!(volume_ml(24_004_800), "24.0048 m3");
        assert_eq!(volume(RawVolume::from_raw(899_700 * RawVolume::PER_ML)), "899.7 L");
        assert_eq!(volume(RawVolume::from_raw(24_004_800 * RawVolume::PER_ML)), "24.005 m3");
        let range =
            |a, b| flow_range(Flow::from_ul_per_min(a).unwrap(), Flow::from_ul_per_min(b).unwrap());
        assert_eq!(range(500_000, 3_000_000), "0.5 to 3.0 L/min");
        assert_eq!(range(20_000, 500_000), "20 to 500 mL/min");
        assert_eq!(range(20_000, 3_000_000), "20 mL/min to 3.0 L/min");
        assert_eq!(range_words(Quantity::Duration), "1 ms to 31 d");
        assert_eq!(range_words(Quantity::LateTolerance), "5 s to 24 h");
        assert_eq!(grouped(1_234_567), "1,234,567");
    }

    #[test]
    fn what_is_shown_reads_back_as_the_same() {
        for q in [Quantity::Duration, Quantity::Flow, Quantity::Volume, Quantity::Pressure] {
            for base in
                [1, 999, 1_000, 1_001, 12_345, 199_999, 2_678_400, 16_670_000, 1_000_000_000]
            {
                if q.check(base).is_ok() {
                    let text = quantity(base as u32, q);
                    assert_eq!(super::super::quantity::parse(&text, q), Ok(base as u32), "{text}");
                }
            }
        }
    }
}
