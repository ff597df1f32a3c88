//! Quantities as people write them: "4 h", "1 h 30 min", "2.2 L/min", "0.5 m3", "1.5 kPa".
//!
//! Read exactly: a decimal times a unit must be a whole number of the base unit (ms, µL/min, mL,
//! Pa); nothing is rounded and no floating point is involved.

use std::ops::Range;

use draught::units::Quantity;

use super::decimal::{self, Decimal};
use super::format;
use super::quantity_units::{NOT_TAKEN, Unit, units_of};

/// Why a text is not the quantity it was meant to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotAQuantity {
    /// The stable code.
    pub code: &'static str,
    /// What is wrong, in a sentence.
    pub message: String,
    /// Where in the text.
    pub span: Range<usize>,
    /// What is said there.
    pub label: String,
    /// What to do.
    pub help: String,
}

/// An example of the quantity, for messages.
#[must_use]
pub const fn example(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Flow => "2.0 L/min",
        Quantity::Volume => "240 L",
        Quantity::Pressure => "1.5 kPa",
        Quantity::TripPercent => "10 %",
        Quantity::LateTolerance | Quantity::RetryEvery | Quantity::TripGrace => "60 s",
        Quantity::ResumeWithin => "10 min",
        _ => "1 h 30 min",
    }
}

/// An example of a range, for messages.
#[must_use]
pub const fn example_range(quantity: Quantity) -> (&'static str, &'static str) {
    match quantity {
        Quantity::Volume => ("240 L", "1000 L"),
        Quantity::Pressure => ("0.5 kPa", "5 kPa"),
        _ => ("1.0 L/min", "3.0 L/min"),
    }
}

/// The units of a quantity, for messages: "mL, L or m3".
#[must_use]
pub fn unit_list(quantity: Quantity) -> String {
    let names: Vec<&str> = units_of(quantity).iter().map(|u| u.names[0]).collect();
    format::or_list(&names)
}

/// Reads a quantity in base units.
///
/// # Errors
/// [`NotAQuantity`] with the place in the text.
pub fn parse(text: &str, quantity: Quantity) -> Result<u32, NotAQuantity> {
    let mut total = Decimal::ZERO;
    let mut rest = Rest { text, at: 0 };
    let mut parts = 0;
    while !rest.skip_space().is_empty() {
        let (value, size) = one_part(&mut rest, quantity)?;
        total = value
            .times(size.numerator)
            .and_then(|v| v.over(size.denominator))
            .and_then(|v| total.plus(v))
            .ok_or_else(|| too_large(text, quantity))?;
        parts += 1;
        if parts > 1 && quantity.base_unit() != "ms" {
            return Err(NotAQuantity {
                code: "not-a-quantity",
                message: format!("a {} is one number and one unit", quantity.name()),
                span: 0..text.len(),
                label: "more than one number".to_owned(),
                help: format!("write it as in {:?}", example(quantity)),
            });
        }
    }
    if parts == 0 {
        return Err(not_a_number(text, 0..text.len(), quantity));
    }
    in_range(text, total, quantity)
}

struct Rest<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Rest<'a> {
    fn skip_space(&mut self) -> &'a str {
        let rest = &self.text[self.at..];
        let trimmed = rest.trim_start();
        self.at += rest.len() - trimmed.len();
        trimmed
    }

    fn take(&mut self, belongs: impl Fn(char) -> bool) -> (&'a str, Range<usize>) {
        let rest = &self.text[self.at..];
        let len = rest.find(|c| !belongs(c)).unwrap_or(rest.len());
        let span = self.at..self.at + len;
        self.at += len;
        (&rest[..len], span)
    }
}

fn one_part(
    rest: &mut Rest<'_>,
    quantity: Quantity,
) -> Result<(Decimal, &'static Unit), NotAQuantity> {
    rest.skip_space();
    let text = rest.text;
    let (number, number_span) =
        rest.take(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '_' | '-' | '+'));
    if number.is_empty() {
        let (_, word) = rest.take(|c| !c.is_whitespace());
        return Err(not_a_number(text, word, quantity));
    }
    let value = decimal_of(number, number_span.clone(), quantity)?;
    rest.skip_space();
    let (name, unit_span) = rest.take(|c| !c.is_whitespace() && !c.is_ascii_digit() || c == '³');
    // The 3 of "m3/h" is a digit inside a unit.
    let (tail, tail_span) = if matches!(name, "m" | "cm") && text[rest.at..].starts_with('3') {
        rest.take(|c| !c.is_whitespace())
    } else {
        ("", unit_span.end..unit_span.end)
    };
    let name = format!("{name}{tail}");
    let span = unit_span.start..tail_span.end;
    if name.is_empty() {
        return Err(NotAQuantity {
            code: "missing-unit",
            message: format!("this {} has no unit", quantity.name()),
            span: number_span,
            label: format!("of which unit: {}?", unit_list(quantity)),
            help: format!("write the number and its unit, as in {:?}", example(quantity)),
        });
    }
    match units_of(quantity).iter().find(|u| u.names.contains(&name.as_str())) {
        Some(unit) => Ok((value, unit)),
        None => Err(unknown_unit(&name, span, quantity)),
    }
}

fn decimal_of(
    number: &str,
    span: Range<usize>,
    quantity: Quantity,
) -> Result<Decimal, NotAQuantity> {
    let refuse = |message: String, label: &str, help: String| NotAQuantity {
        code: "not-a-quantity",
        message,
        span: span.clone(),
        label: label.to_owned(),
        help,
    };
    match decimal::parse(number) {
        Ok(value) => Ok(value),
        Err(decimal::NotADecimal::Negative) => Err(NotAQuantity {
            code: "out-of-range",
            ..refuse(
                format!("a {} cannot be negative", quantity.name()),
                "below zero",
                format!("write a number from {}", format::range_words(quantity)),
            )
        }),
        Err(decimal::NotADecimal::Comma) => Err(refuse(
            "a comma is not taken in a number".to_owned(),
            "decimal point or thousands?",
            format!(
                "write a decimal point, {:?}, and leave thousands unmarked",
                number.replacen(',', ".", 1)
            ),
        )),
        Err(decimal::NotADecimal::TooLong) => Err(refuse(
            "this number has too many digits".to_owned(),
            "more than 18 digits",
            format!("write it as in {:?}", example(quantity)),
        )),
        Err(decimal::NotADecimal::Malformed) => Err(refuse(
            format!("{number:?} is not a number"),
            "not a number",
            format!("write a decimal number and a unit, as in {:?}", example(quantity)),
        )),
    }
}

fn in_range(text: &str, total: Decimal, quantity: Quantity) -> Result<u32, NotAQuantity> {
    let whole_text = 0..text.len();
    let Some(base) = total.whole() else {
        let (below, above) = total.neighbours();
        let nearest: Vec<String> = [below, above]
            .into_iter()
            .filter_map(|v| quantity.check(v).ok())
            .map(|v| format!("{:?}", format::quantity(v, quantity)))
            .collect();
        return Err(NotAQuantity {
            code: "not-whole",
            message: format!(
                "this {} is not a whole number of {}, in which pumps count",
                quantity.name(),
                quantity.base_unit()
            ),
            span: whole_text,
            label: format!("{} {}", total.approximately(), quantity.base_unit()),
            help: format!("the nearest: {}", nearest.join(" and ")),
        });
    };
    quantity.check(base).map_err(|_| {
        let (min, max) = quantity.range();
        if base >= u64::from(min) && base <= u64::from(max) {
            let step = quantity.scale().map_or(1, |s| u64::from(s[1]));
            let down = base / step * step;
            let nearest: Vec<String> = [down, down + step]
                .into_iter()
                .filter_map(|v| quantity.check(v).ok())
                .map(|v| format!("{:?}", format::quantity(v, quantity)))
                .collect();
            return NotAQuantity {
                code: "too-fine",
                message: format!(
                    "a {} this large must be a whole multiple of {}",
                    quantity.name(),
                    format::quantity(step as u32, quantity)
                ),
                span: whole_text.clone(),
                label: "too fine".to_owned(),
                help: format!("the nearest: {}", nearest.join(" and ")),
            };
        }
        NotAQuantity {
            code: "out-of-range",
            message: format!("this {} is outside what a schedule can hold", quantity.name()),
            span: whole_text.clone(),
            label: format!("the limits are {}", format::range_words(quantity)),
            help: format!("choose a {} from {}", quantity.name(), format::range_words(quantity)),
        }
    })
}

fn too_large(text: &str, quantity: Quantity) -> NotAQuantity {
    NotAQuantity {
        code: "out-of-range",
        message: format!("this {} is outside what a schedule can hold", quantity.name()),
        span: 0..text.len(),
        label: format!("the limits are {}", format::range_words(quantity)),
        help: format!("choose a {} from {}", quantity.name(), format::range_words(quantity)),
    }
}

fn not_a_number(text: &str, span: Range<usize>, quantity: Quantity) -> NotAQuantity {
    let shown =
        if text.trim().is_empty() { "an empty text".to_owned() } else { format!("{text:?}") };
    NotAQuantity {
        code: "not-a-quantity",
        message: format!("{shown} is not a {}", quantity.name()),
        span,
        label: "a number is expected here".to_owned(),
        help: format!("write a number and a unit, as in {:?}", example(quantity)),
    }
}

fn unknown_unit(name: &str, span: Range<usize>, quantity: Quantity) -> NotAQuantity {
    let meant = NOT_TAKEN
        .iter()
        .find(|(written, _)| *written == name)
        .map(|(_, meant)| *meant)
        .filter(|meant| units_of(quantity).iter().any(|u| u.names[0] == *meant));
    let other = [Quantity::Duration, Quantity::Flow, Quantity::Volume, Quantity::Pressure]
        .into_iter()
        .find(|q| units_of(*q).iter().any(|u| u.names.contains(&name)));
    let (message, label) = match (meant, other) {
        (None, Some(other)) => (
            format!(
                "a {} is needed here, and {name} is a unit of {}",
                quantity.name(),
                other.name()
            ),
            format!("a unit of {}", other.name()),
        ),
        _ => (format!("{name:?} is not a unit of {}", quantity.name()), "unknown unit".to_owned()),
    };
    let help = match meant {
        Some(meant) => format!("write {meant:?}"),
        None => format!("units of {}: {}", quantity.name(), unit_list(quantity)),
    };
    NotAQuantity { code: "unknown-unit", message, span, label, help }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(text: &str, quantity: Quantity) -> &'static str {
        parse(text, quantity).unwrap_err().code
    }

    #[test]
    fn quantities_as_people_write_them() {
        for (text, quantity, base) in [
            ("4 h", Quantity::Duration, 14_400_000),
            ("1 h 30 min", Quantity::Duration, 5_400_000),
            ("1h30min", Quantity::Duration, 5_400_000),
            ("90 min", Quantity::Duration, 5_400_000),
            ("1.5 h", Quantity::Duration, 5_400_000),
            ("0.001 s", Quantity::Duration, 1),
            ("2 days", Quantity::Duration, 172_800_000),
            ("2.2 L/min", Quantity::Flow, 2_200_000),
            ("50 mL/min", Quantity::Flow, 50_000),
            ("2500mL/min", Quantity::Flow, 2_500_000),
            ("16.67 L/min", Quantity::Flow, 16_670_000),
            ("0.06 m3/h", Quantity::Flow, 1_000_000),
            ("1.2 m3/h", Quantity::Flow, 20_000_000),
            ("0.5 m3", Quantity::Volume, 500_000),
            ("0.5 m³", Quantity::Volume, 500_000),
            ("240 L", Quantity::Volume, 240_000),
            ("1.5 kPa", Quantity::Pressure, 1_500),
            ("20 mbar", Quantity::Pressure, 2_000),
            ("10 %", Quantity::TripPercent, 10),
        ] {
            assert_eq!(parse(text, quantity), Ok(base), "{text}");
        }
    }

    #[test]
    fn what_is_not_one_says_why() {
        assert_eq!(code("2.0", Quantity::Flow), "missing-unit");
        assert_eq!(code("1 h 30", Quantity::Duration), "missing-unit");
        assert_eq!(code("2.0 lpm", Quantity::Flow), "unknown-unit");
        assert_eq!(code("2.0 L", Quantity::Flow), "unknown-unit");
        assert_eq!(code("2,5 L/min", Quantity::Flow), "not-a-quantity");
        assert_eq!(code("fast", Quantity::Flow), "not-a-quantity");
        assert_eq!(code("", Quantity::Flow), "not-a-quantity");
        assert_eq!(code("-2 h", Quantity::Duration), "out-of-range");
        assert_eq!(code("0 h", Quantity::Duration), "out-of-range");
        assert_eq!(code("32 d", Quantity::Duration), "out-of-range");
        assert_eq!(code("99999999999999999 d", Quantity::Duration), "out-of-range");
        assert_eq!(code("1.5.2 h", Quantity::Duration), "not-a-quantity");
        assert_eq!(code("1.0000005 L/min", Quantity::Flow), "not-whole");
        assert_eq!(code("1.0 m3/h", Quantity::Flow), "not-whole");
        assert_eq!(code("1000.0001 L/min", Quantity::Flow), "too-fine");
        assert_eq!(code("2 L/min 3 mL/min", Quantity::Flow), "not-a-quantity");
        let help = parse("1.0 m3/h", Quantity::Flow).unwrap_err().help;
        assert_eq!(help, "the nearest: \"16.666666 L/min\" and \"16.666667 L/min\"");
    }
}
