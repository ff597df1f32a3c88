//! How long a 24-hour sample lasts.

use super::amount::Amount;
use super::error::{Problem, positive};
use super::source::{self, Source};

/// A rule for the length of a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Period {
    /// From, in min.
    pub least_minutes: f64,
    /// To, in min.
    pub most_minutes: f64,
    /// Who says so.
    pub source: Source,
}

impl Period {
    /// PM2.5: 1380 to 1500 min (40 CFR 50 App. L 3.3, 2015 edition). Outside, the sample is flagged.
    pub const PM25: Self =
        Self { least_minutes: 1380.0, most_minutes: 1500.0, source: source::PERIOD_L };
    /// TSP: 1440 +/- 60 min (40 CFR 50 App. B 8.15, 2015 edition). Outside, the sample is not valid.
    pub const TSP: Self =
        Self { least_minutes: 1380.0, most_minutes: 1500.0, source: source::PERIOD_B };

    /// Whether a sample of so many minutes keeps to it.
    ///
    /// Range: above 0.
    ///
    /// # Errors
    /// Minutes that are not above 0.
    ///
    /// ```
    /// use draught_sim::hygiene::period::Period;
    /// assert!(Period::PM25.holds(1380.0)?);
    /// assert!(!Period::PM25.holds(1501.0)?);
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn holds(&self, minutes: f64) -> Result<bool, Problem> {
        let minutes = positive("sample time", minutes)?;
        Ok(minutes >= self.least_minutes && minutes <= self.most_minutes)
    }
}

/// The least that a day's PM2.5 can have been, from a sample of less than 1380 min: `C t / 1440`.
///
/// Source: 40 CFR 50 App. L 3.3 (2015 edition). It may show that a limit was exceeded, and nothing else.
///
/// # Errors
/// Minutes that are not above 0, or 1380 and more; an amount that is none.
///
/// ```
/// use draught_sim::hygiene::{Amount, period::least_of_the_day};
/// assert_eq!(least_of_the_day(Amount::Found(48.0), 720.0)?, Amount::AtLeast(24.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn least_of_the_day(concentration: Amount, minutes: f64) -> Result<Amount, Problem> {
    let minutes = positive("sample time", minutes)?;
    if minutes >= Period::PM25.least_minutes {
        return Err(Problem::Contradiction {
            what: "a sample of 1380 min or more is not short",
            help: "use its concentration as it is",
        });
    }
    let whole = concentration.times("concentration", minutes / 1440.0)?;
    Ok(Amount::AtLeast(whole.low()))
}
