//! Arguments as people type them, and errors that name them.

use jiff::civil::Date;

use super::super::io::Failure;
use crate::hygiene::air::Conditions;
use crate::hygiene::exposure::Unsampled;
use crate::hygiene::parse::{self, Kind, NotRead};
use crate::hygiene::{Amount, Problem};
use crate::plan::when;

/// Wrong use, of this argument.
pub fn wrong(argument: &str, message: &str, help: impl Into<String>) -> Failure {
    let lead = if argument.is_empty() { String::new() } else { format!("{argument}: ") };
    Failure::Usage(format!("{lead}{message}"), help.into())
}

/// A number that cannot be, of this argument.
pub fn problem(argument: &str, problem: Problem) -> Failure {
    wrong(argument, &problem.message(), problem.help())
}

fn unread(argument: &str, e: NotRead) -> Failure {
    wrong(argument, &e.message, e.help)
}

/// A quantity that is not below 0 (a temperature may be).
pub fn quantity(argument: &str, text: &str, kind: Kind) -> Result<f64, Failure> {
    parse::read(text, kind).map_err(|e| unread(argument, e))
}

/// A quantity above 0.
pub fn positive(argument: &str, text: &str, kind: Kind) -> Result<f64, Failure> {
    match quantity(argument, text, kind)? {
        value if value > 0.0 => Ok(value),
        value => Err(problem(argument, Problem::NotPositive { what: kind.name(), value })),
    }
}

/// A quantity, or "< limit".
pub fn amount(argument: &str, text: &str, kind: Kind) -> Result<Amount, Failure> {
    parse::read_amount(text, kind).map_err(|e| unread(argument, e))
}

/// A plain number, or a percentage as a fraction.
pub fn fraction(argument: &str, text: &str) -> Result<f64, Failure> {
    if text.contains('%') {
        return Ok(quantity(argument, text, Kind::Percent)? / 100.0);
    }
    plain(argument, text, "0.23 or \"23 %\"")
}

/// A plain number.
pub fn plain(argument: &str, text: &str, example: &str) -> Result<f64, Failure> {
    match text.trim().parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(wrong(
            argument,
            &format!("{text:?} is not a number"),
            format!("write it as in {example}"),
        )),
    }
}

/// Parts with commas between them.
pub fn parts<'a, const N: usize>(
    argument: &str,
    text: &'a str,
    example: &str,
) -> Result<[&'a str; N], Failure> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let count = parts.len();
    parts.try_into().map_err(|_| {
        wrong(
            argument,
            &format!(
                "{text:?} has {count} part{}, and {N} are needed",
                if count == 1 { "" } else { "s" }
            ),
            format!("write it as in {argument} {example:?}, with decimal points"),
        )
    })
}

/// Temperature and pressure of the air: "19 C, 99.8 kPa".
pub fn air(argument: &str, text: &str) -> Result<Conditions, Failure> {
    let [temperature, pressure] = parts(argument, text, "19 C, 99.8 kPa")?;
    let temperature = quantity(argument, temperature, Kind::Temperature)?;
    let pressure = quantity(argument, pressure, Kind::Pressure)?;
    Conditions::new(temperature, pressure).map_err(|p| problem(argument, p))
}

/// Concentrations that all have to be of one kind.
#[derive(Default)]
pub struct OneUnit(Option<Kind>);

impl OneUnit {
    /// A concentration, or "< limit", of the same kind as those before.
    pub fn amount(&mut self, argument: &str, text: &str) -> Result<Amount, Failure> {
        let (amount, kind) = parse::read_concentration(text).map_err(|e| unread(argument, e))?;
        match self.0 {
            Some(other) if other != kind => Err(wrong(
                argument,
                &format!(
                    "{text:?} is in {}, and what came before in {}",
                    kind.base(),
                    other.base()
                ),
                "give all of them in one unit; draught compute ppm converts",
            )),
            _ => {
                self.0 = Some(kind);
                Ok(amount)
            }
        }
    }

    /// The concentration of a sample: never 0, which would be "< limit".
    pub fn found(&mut self, argument: &str, text: &str) -> Result<Amount, Failure> {
        match self.amount(argument, text)? {
            Amount::Found(0.0) => Err(wrong(
                argument,
                "0 is no result of a sample",
                "write its limit of detection, as in \"2 h, < 0.1 mg/m3\"; time that is known to be without exposure is --unsampled with --assume not-exposed",
            )),
            found => Ok(found),
        }
    }

    /// A concentration above 0, of the same kind as those before.
    pub fn limit(&mut self, argument: &str, text: &str) -> Result<f64, Failure> {
        match self.amount(argument, text)? {
            Amount::Found(value) if value > 0.0 => Ok(value),
            Amount::Found(value) => {
                Err(problem(argument, Problem::NotPositive { what: "limit", value }))
            }
            _ => Err(wrong(argument, "a limit is one number", "write it as in \"5 mg/m3\"")),
        }
    }

    /// Its unit.
    pub fn unit(&self) -> &'static str {
        self.0.map_or("", Kind::base)
    }
}

/// What is assumed of time that was not sampled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Assume {
    /// No exposure in it, known from what was done.
    NotExposed,
    /// As in the time that was sampled.
    AsSampled,
    /// Nothing: the result is a lower bound.
    Unknown,
}

impl From<Assume> for Unsampled {
    fn from(assume: Assume) -> Self {
        match assume {
            Assume::NotExposed => Self::NotExposed,
            Assume::AsSampled => Self::AsSampled,
            Assume::Unknown => Self::Unknown,
        }
    }
}

/// A date, as in "2027-03-08".
pub fn date(argument: &str, text: &str) -> Result<Date, Failure> {
    when::date(text).map_err(|e| wrong(argument, &e.message, "write it as in 2027-03-08"))?;
    text.trim().parse().map_err(|_| {
        wrong(argument, &format!("{text:?} is not a date"), "write it as in 2027-03-08")
    })
}

/// A date with its weekday: "Mon 2027-03-08".
pub fn with_weekday(day: Date) -> String {
    day.strftime("%a %Y-%m-%d").to_string()
}
