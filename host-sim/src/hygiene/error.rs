//! Why a figure cannot be computed: what is wrong, the limit, and what to do.

use std::fmt;

/// Why there is no result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Problem {
    /// A number that is none, or is infinite.
    NotANumber {
        /// Which.
        what: &'static str,
    },
    /// Below zero.
    Negative {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// Zero, or below.
    NotPositive {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// Outside what makes sense, which mostly is a unit mixed up.
    OutOfRange {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
        /// From.
        least: f64,
        /// To.
        most: f64,
        /// The unit of all three.
        unit: &'static str,
    },
    /// Not enough of them.
    TooFew {
        /// Of which.
        what: &'static str,
        /// As given.
        count: usize,
        /// How many are needed.
        least: usize,
    },
    /// More of them than are handled at once.
    TooMany {
        /// Of which.
        what: &'static str,
        /// How many are.
        most: usize,
    },
    /// Needed for what was asked, and not given.
    Missing {
        /// Which.
        what: &'static str,
        /// What to do.
        help: &'static str,
    },
    /// Two things that cannot both be so.
    Contradiction {
        /// What is wrong.
        what: &'static str,
        /// What to do.
        help: &'static str,
    },
    /// The result is beyond what a number can hold.
    TooLarge {
        /// Of what.
        what: &'static str,
    },
}

impl Problem {
    /// The stable code.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NotANumber { .. } => "not-a-number",
            Self::Negative { .. } => "negative",
            Self::NotPositive { .. } => "not-positive",
            Self::OutOfRange { .. } => "out-of-range",
            Self::TooFew { .. } => "too-few",
            Self::TooMany { .. } => "too-many",
            Self::Missing { .. } => "missing",
            Self::Contradiction { .. } => "contradiction",
            Self::TooLarge { .. } => "too-large",
        }
    }

    /// Which quantity it is about.
    #[must_use]
    pub const fn what(&self) -> &'static str {
        match self {
            Self::NotANumber { what }
            | Self::Negative { what, .. }
            | Self::NotPositive { what, .. }
            | Self::OutOfRange { what, .. }
            | Self::TooFew { what, .. }
            | Self::TooMany { what, .. }
            | Self::Missing { what, .. }
            | Self::Contradiction { what, .. }
            | Self::TooLarge { what } => what,
        }
    }

    /// What is wrong, and the limit.
    #[must_use]
    pub fn message(&self) -> String {
        match *self {
            Self::NotANumber { what } => format!("the {what} is not a finite number"),
            Self::Negative { what, value } => {
                format!("the {what} is {value}, and cannot be below 0")
            }
            Self::NotPositive { what, value } => {
                format!("the {what} is {value}, and must be above 0")
            }
            Self::OutOfRange { what, value, least, most, unit } => {
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                format!("the {what} is {value}{unit}; {least} to {most}{unit} are taken")
            }
            Self::TooFew { what, count, least } => {
                format!("there are {count} {what}, and at least {least} are needed")
            }
            Self::TooMany { what, most } => format!("there are more than {most} {what}"),
            Self::Missing { what, .. } => format!("the {what} is missing"),
            Self::Contradiction { what, .. } => what.to_owned(),
            Self::TooLarge { what } => {
                format!("the {what} comes out larger than a number can be (1.8e308)")
            }
        }
    }

    /// What to do.
    #[must_use]
    pub fn help(&self) -> String {
        match *self {
            Self::NotANumber { .. } => "give a number such as 2.05".to_owned(),
            Self::Negative { .. } => {
                "check the sign; a result below the detection limit is given as \"< x\"".to_owned()
            }
            Self::NotPositive { .. } => "check that it was measured, and its unit".to_owned(),
            Self::OutOfRange { .. } => "check the number and its unit".to_owned(),
            Self::TooFew { what, .. } => format!("give more {what}"),
            Self::TooMany { .. } => "do it in parts".to_owned(),
            Self::Missing { help, .. } | Self::Contradiction { help, .. } => help.to_owned(),
            Self::TooLarge { .. } => {
                "check the numbers and their units: one is far too large or too small".to_owned()
            }
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.message(), self.help())
    }
}

impl std::error::Error for Problem {}

/// A finite number.
pub(super) fn finite(what: &'static str, value: f64) -> Result<f64, Problem> {
    if value.is_finite() { Ok(value) } else { Err(Problem::NotANumber { what }) }
}

/// A finite number that is not below 0.
pub(super) fn not_negative(what: &'static str, value: f64) -> Result<f64, Problem> {
    match finite(what, value)? {
        value if value < 0.0 => Err(Problem::Negative { what, value }),
        value => Ok(value),
    }
}

/// A finite number above 0.
pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, Problem> {
    match finite(what, value)? {
        value if value <= 0.0 => Err(Problem::NotPositive { what, value }),
        value => Ok(value),
    }
}

/// A finite number from `least` to `most`.
pub(super) fn within(
    what: &'static str,
    value: f64,
    least: f64,
    most: f64,
    unit: &'static str,
) -> Result<f64, Problem> {
    match finite(what, value)? {
        value if value < least || value > most => {
            Err(Problem::OutOfRange { what, value, least, most, unit })
        }
        value => Ok(value),
    }
}

/// A result, unless it is too large to be one.
pub(super) fn result(what: &'static str, value: f64) -> Result<f64, Problem> {
    if value.is_finite() { Ok(value) } else { Err(Problem::TooLarge { what }) }
}

/// What is a tie: decimal figures of equal value may differ in the last of 52 binary places.
const TIE: f64 = 1e-12;

/// `a > b`, ties not counted: 0.07 is not over a tenth of 0.7, though binary fractions say so.
#[must_use]
pub fn strictly_over(a: f64, b: f64) -> bool {
    a > b && a - b > TIE * b.abs()
}

/// `a >= b`, ties counted.
#[must_use]
pub fn at_least(a: f64, b: f64) -> bool {
    a >= b || b - a <= TIE * b.abs()
}
