//! An uncertainty budget: terms, their shares, combined and expanded.
//!
//! Source of the rules: Guide to the Expression of Uncertainty in Measurement, from memory.

use super::error::{Problem, finite, not_negative, positive, result, within};
use super::student::coverage_factor;

/// How the values of a term are spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// Normal, stated as a standard uncertainty.
    Normal {
        /// Standard uncertainty.
        standard: f64,
    },
    /// Stated as an expanded uncertainty, such as on a certificate.
    Expanded {
        /// Expanded uncertainty.
        expanded: f64,
        /// Its coverage factor.
        k: f64,
    },
    /// Anywhere within +/- so much, equally likely: divisor sqrt 3.
    Rectangular {
        /// Half of the width.
        half_width: f64,
    },
    /// Within +/- so much, most likely in the middle: divisor sqrt 6.
    Triangular {
        /// Half of the width.
        half_width: f64,
    },
    /// Within +/- so much, most likely at the ends, such as what swings: divisor sqrt 2.
    UShaped {
        /// Half of the width.
        half_width: f64,
    },
    /// From repeated readings.
    Student {
        /// Standard uncertainty: of a mean of n, the deviation over sqrt n.
        standard: f64,
        /// Degrees of freedom: n - 1.
        freedom: f64,
    },
}

impl Spread {
    /// Its name, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Normal { .. } | Self::Expanded { .. } => "normal",
            Self::Rectangular { .. } => "rectangular",
            Self::Triangular { .. } => "triangular",
            Self::UShaped { .. } => "u-shaped",
            Self::Student { .. } => "t",
        }
    }

    /// What the stated figure is divided by.
    #[must_use]
    pub fn divisor(self) -> f64 {
        match self {
            Self::Normal { .. } | Self::Student { .. } => 1.0,
            Self::Expanded { k, .. } => k,
            Self::Rectangular { .. } => 3_f64.sqrt(),
            Self::Triangular { .. } => 6_f64.sqrt(),
            Self::UShaped { .. } => 2_f64.sqrt(),
        }
    }

    /// Degrees of freedom; `None`: as good as infinite.
    #[must_use]
    pub const fn freedom(self) -> Option<f64> {
        match self {
            Self::Student { freedom, .. } => Some(freedom),
            _ => None,
        }
    }

    /// The figure as stated.
    #[must_use]
    pub const fn stated(self) -> f64 {
        match self {
            Self::Normal { standard } | Self::Student { standard, .. } => standard,
            Self::Expanded { expanded, .. } => expanded,
            Self::Rectangular { half_width }
            | Self::Triangular { half_width }
            | Self::UShaped { half_width } => half_width,
        }
    }

    /// Standard uncertainty: the stated figure over the divisor.
    ///
    /// Range: figure not below 0; k 1 to 10; degrees of freedom from 1.
    ///
    /// # Errors
    /// Numbers out of range.
    ///
    /// ```
    /// use draught_sim::hygiene::uncertainty::Spread;
    /// let u = Spread::Rectangular { half_width: 5.0 }.standard()?;
    /// assert!((u - 2.887).abs() < 0.0005, "5 % / sqrt 3");
    /// # Ok::<(), draught_sim::hygiene::Problem>(())
    /// ```
    pub fn standard(self) -> Result<f64, Problem> {
        if let Self::Expanded { k, .. } = self {
            within("coverage factor", k, 1.0, 10.0, "")?;
        }
        if let Self::Student { freedom, .. } = self {
            let n = finite("number of degrees of freedom", freedom)?;
            within("number of degrees of freedom", n.min(1e6), 1.0, 1e6, "")?;
        }
        Ok(not_negative("uncertainty of a term", self.stated())? / self.divisor())
    }
}

/// A term of a budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// What it is.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Unit of value and uncertainty.
    pub unit: &'static str,
    /// How it is spread.
    pub spread: Spread,
    /// By how much the result changes for one unit of it.
    pub sensitivity: f64,
}

/// A term, reckoned.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// As given.
    pub term: Term,
    /// Standard uncertainty, in the unit of the term.
    pub standard: f64,
    /// The same times the sensitivity, in the unit of the result.
    pub contribution: f64,
    /// Its share of the combined variance, in %.
    pub share_percent: f64,
}

/// A budget, reckoned.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The result.
    pub result: f64,
    /// Terms, as given.
    pub lines: Vec<Line>,
    /// Combined standard uncertainty: root of the sum of squares of the contributions.
    pub combined: f64,
    /// Effective degrees of freedom; `None`: as good as infinite.
    pub freedom: Option<f64>,
    /// What share of the values is meant to lie within the expanded uncertainty.
    pub coverage: f64,
    /// Coverage factor.
    pub k: f64,
    /// Expanded uncertainty: `k` times combined.
    pub expanded: f64,
}

/// Combines terms: `u = sqrt(sum (c_i u_i)^2)`, effective degrees of freedom by Welch-Satterthwaite
/// `v = u^4 / sum ((c_i u_i)^4 / v_i)`, k from Student's t at v rounded down, `U = k u`.
///
/// Terms are taken as independent, and the result as linear in them near their values. Range: coverage 0.5 to 0.9999; terms of 0
/// are allowed, but not all of them; fewer than one effective degree of freedom counts as one. Source: GUM, from memory.
///
/// # Errors
/// No terms, or all 0; numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::uncertainty::{Spread, Term, budget};
/// let percent = |name: &str, half_width| Term {
///     name: name.to_owned(),
///     value: 100.0,
///     unit: "%",
///     spread: Spread::Rectangular { half_width },
///     sensitivity: 1.0,
/// };
/// let found = budget(100.0, &[percent("flow", 5.0), percent("time", 0.2)], 0.95)?;
/// assert!((found.combined - 2.889).abs() < 0.0005);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn budget(value: f64, terms: &[Term], coverage: f64) -> Result<Budget, Problem> {
    finite("result", value)?;
    let count = terms.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "terms", count, least: 1 });
    }
    let mut lines = Vec::with_capacity(count);
    let mut combined = 0.0_f64;
    for term in terms {
        finite("value of a term", term.value)?;
        let standard = term.spread.standard()?;
        let c = finite("sensitivity", term.sensitivity)?;
        let contribution = result("contribution of a term", (c * standard).abs())?;
        combined = result("combined uncertainty", combined.hypot(contribution))?;
        lines.push(Line { term: term.clone(), standard, contribution, share_percent: 0.0 });
    }
    positive("combined uncertainty", combined)?;
    let mut inverse = 0.0;
    for line in &mut lines {
        // Squared after dividing, so that neither the square nor its square can overflow.
        let part = (line.contribution / combined).powi(2);
        line.share_percent = 100.0 * part;
        inverse += line.term.spread.freedom().map_or(0.0, |v| part * part / v);
    }
    let freedom = (inverse > 1e-6).then(|| (1.0 / inverse).max(1.0));
    // A hair below a whole number is that number.
    let k = coverage_factor(coverage, freedom.map(|v| (v * (1.0 + 1e-9)).floor()))?;
    let expanded = result("expanded uncertainty", k * combined)?;
    Ok(Budget { result: value, lines, combined, freedom, coverage, k, expanded })
}
