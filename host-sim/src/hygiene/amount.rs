//! What was found, also when it is below a limit of detection or known only in part.

use super::error::{Problem, not_negative, result};
use super::round;

/// An amount that is not below 0: found, below a limit, or between two.
///
/// "Below" is never taken as 0: it goes through every sum and quotient as "from 0 to the limit".
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// Found.
    Found(f64),
    /// Below this, from 0 on; a laboratory's "< x".
    Below(f64),
    /// From the first to the second.
    Between(f64, f64),
    /// This or more; how much more is not known.
    AtLeast(f64),
}

impl Amount {
    /// The least that it can be.
    #[must_use]
    pub const fn low(self) -> f64 {
        match self {
            Self::Found(x) | Self::Between(x, _) | Self::AtLeast(x) => x,
            Self::Below(_) => 0.0,
        }
    }

    /// The most that it can be, if that is known.
    #[must_use]
    pub const fn high(self) -> Option<f64> {
        match self {
            Self::Found(x) | Self::Below(x) | Self::Between(_, x) => Some(x),
            Self::AtLeast(_) => None,
        }
    }

    /// Checks the numbers.
    ///
    /// # Errors
    /// Not finite; below 0; a limit of 0, which says nothing; bounds in the wrong order.
    pub fn checked(self, what: &'static str) -> Result<Self, Problem> {
        match self {
            Self::Found(x) | Self::AtLeast(x) => {
                not_negative(what, x)?;
            }
            Self::Below(x) => {
                super::error::positive(what, x)?;
            }
            Self::Between(low, high) => {
                not_negative(what, low)?;
                not_negative(what, high)?;
                if low > high {
                    return Err(Problem::Contradiction {
                        what: "the lower bound is above the upper one",
                        help: "give the smaller number first",
                    });
                }
            }
        }
        Ok(self)
    }

    /// From bounds, the upper one if it is known.
    pub(crate) fn of(low: f64, high: Option<f64>) -> Self {
        match high {
            None => Self::AtLeast(low),
            Some(high) if low == high => Self::Found(low),
            Some(high) if low == 0.0 => Self::Below(high),
            Some(high) => Self::Between(low, high),
        }
    }

    /// The larger of two: the bounds of a maximum are the maxima of the bounds.
    pub(crate) fn larger(self, other: Self) -> Self {
        let high = self.high().zip(other.high()).map(|(a, b)| a.max(b));
        Self::of(self.low().max(other.low()), high)
    }

    /// Times a number that is not below 0.
    ///
    /// # Errors
    /// A number that is negative or not finite; a product too large, or so small that a limit becomes 0.
    ///
    /// ```
    /// use draught_sim::hygiene::Amount;
    /// assert_eq!(Amount::Below(0.03).times("mass", 2.0)?, Amount::Below(0.06));
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn times(self, what: &'static str, factor: f64) -> Result<Self, Problem> {
        self.checked(what)?;
        not_negative(what, factor)?;
        let by = |x: f64| result(what, x * factor);
        match self {
            Self::Found(x) => Ok(Self::Found(by(x)?)),
            Self::Below(x) => Self::Below(by(x)?).checked(what),
            Self::Between(a, b) => Ok(Self::Between(by(a)?, by(b)?)),
            Self::AtLeast(x) => Ok(Self::AtLeast(by(x)?)),
        }
    }

    /// Added to another: bounds to bounds.
    ///
    /// # Errors
    /// As [`Self::checked`]; a sum too large.
    ///
    /// ```
    /// use draught_sim::hygiene::Amount;
    /// let sum = Amount::Found(1.0).plus("mass", Amount::Below(0.01))?;
    /// assert_eq!(sum, Amount::Between(1.0, 1.01));
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn plus(self, what: &'static str, other: Self) -> Result<Self, Problem> {
        let (a, b) = (self.checked(what)?, other.checked(what)?);
        if let (Self::Found(a), Self::Found(b)) = (a, b) {
            return Ok(Self::Found(result(what, a + b)?));
        }
        let low = result(what, a.low() + b.low())?;
        let high = match (a.high(), b.high()) {
            (Some(a), Some(b)) => Some(result(what, a + b)?),
            _ => None,
        };
        Ok(Self::of(low, high))
    }

    /// The sum of all.
    ///
    /// # Errors
    /// None given; as [`Self::plus`].
    pub fn sum(what: &'static str, all: &[Self]) -> Result<Self, Problem> {
        let (first, rest) =
            all.split_first().ok_or(Problem::TooFew { what, count: 0, least: 1 })?;
        rest.iter().try_fold(first.checked(what)?, |sum, next| sum.plus(what, *next))
    }

    /// For people: "0.505 mg/m3", "< 0.063 mg/m3", "1.00 to 1.01 mg", "at least 2.1 ppm".
    ///
    /// An upper bound is rounded up and a lower one down, so that they stay true; nothing below a limit is written as 0.
    ///
    /// # Errors
    /// As [`Self::checked`], and [`round::significant`].
    ///
    /// ```
    /// use draught_sim::hygiene::Amount;
    /// assert_eq!(Amount::Below(0.0625).text(2, "mg/m3")?, "< 0.063 mg/m3");
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn text(self, figures: u8, unit: &str) -> Result<String, Problem> {
        let number = match self.checked("amount")? {
            Self::Found(x) => round::significant(x, figures)?,
            Self::Below(x) => format!("< {}", round::significant_up(x, figures)?),
            Self::Between(a, b) => format!(
                "{} to {}",
                round::significant_down(a, figures)?,
                round::significant_up(b, figures)?
            ),
            Self::AtLeast(x) => format!("at least {}", round::significant_down(x, figures)?),
        };
        Ok(if unit.is_empty() { number } else { format!("{number} {unit}") })
    }
}
