//! From what the laboratory found to a concentration.

use super::amount::Amount;
use super::error::{Problem, finite, not_negative, positive, result, strictly_over};

/// Mass over volume: `C = 1000 m / V`, mg/m3 from mg and L.
///
/// Range: mass as [`Amount`], "below" stays below; volume above 0. Source: NMAM 0501, 1401 (variables read, form from memory).
///
/// # Errors
/// A mass that is none; a volume that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::{Amount, concentration::concentration_mg_m3};
/// let c = concentration_mg_m3(Amount::Below(0.03), 480.0)?;
/// assert_eq!(c, Amount::Below(0.0625));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn concentration_mg_m3(mass_mg: Amount, volume_l: f64) -> Result<Amount, Problem> {
    let volume = positive("volume", volume_l)?;
    mass_mg.checked("mass")?;
    let over = |mass: f64| result("concentration", mass * 1000.0 / volume);
    Ok(match mass_mg {
        Amount::Found(m) => Amount::Found(over(m)?),
        Amount::Below(m) => Amount::Below(over(m)?).checked("concentration")?,
        Amount::Between(a, b) => Amount::Between(over(a)?, over(b)?),
        Amount::AtLeast(m) => Amount::AtLeast(over(m)?),
    })
}

/// The mass that a concentration brings in a volume: `m = C V / 1000`, mg from mg/m3 and L.
///
/// Range: concentration not below 0, volume above 0. Source: arithmetic.
///
/// # Errors
/// Numbers out of range; too large.
///
/// ```
/// use draught_sim::hygiene::concentration::mass_mg;
/// assert_eq!(mass_mg(5.0, 20.0)?, 0.1);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mass_mg(concentration_mg_m3: f64, volume_l: f64) -> Result<f64, Problem> {
    let c = not_negative("concentration", concentration_mg_m3)?;
    result("mass", c * positive("volume", volume_l)? / 1000.0)
}

/// The mean of blanks, in mg: `(b1 + ... + bn) / n`. A filter's change may be below 0.
///
/// # Errors
/// None given; not finite; too large.
///
/// ```
/// use draught_sim::hygiene::concentration::mean_blank_mg;
/// assert!((mean_blank_mg(&[0.004, -0.001, 0.003])? - 0.002).abs() < 1e-15);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mean_blank_mg(blanks_mg: &[f64]) -> Result<f64, Problem> {
    let count = blanks_mg.len();
    if count == 0 {
        return Err(Problem::TooFew { what: "blanks", count, least: 1 });
    }
    let mut sum = 0.0;
    for blank in blanks_mg {
        sum += finite("blank", *blank)? / count as f64;
    }
    result("mean of the blanks", sum)
}

/// A filter, weighed before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    /// Before sampling, in mg.
    pub before_mg: f64,
    /// After sampling, in mg.
    pub after_mg: f64,
}

impl Weighed {
    /// By how much it changed, in mg; a blank can lose.
    ///
    /// # Errors
    /// A mass that is negative or not finite.
    pub fn change_mg(self) -> Result<f64, Problem> {
        let after = not_negative("mass after", self.after_mg)?;
        Ok(after - not_negative("mass before", self.before_mg)?)
    }
}

/// The mass collected on a filter: `(W2 - W1) - mean of (B2 - B1)`, in mg.
///
/// Below the limit of detection it is "< limit", never 0. Range: masses not below 0; limit of detection above 0. Source: NMAM
/// 0501 (variables read, form from memory).
///
/// # Errors
/// Numbers out of range; nothing left when the blanks are subtracted, and no limit of detection given.
///
/// ```
/// use draught_sim::hygiene::{Amount, concentration::{Weighed, gravimetric_mg}};
/// let filter = Weighed { before_mg: 14.20, after_mg: 14.22 };
/// let blank = Weighed { before_mg: 14.10, after_mg: 14.11 };
/// assert_eq!(gravimetric_mg(filter, &[blank], Some(0.03))?, Amount::Below(0.03));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn gravimetric_mg(
    filter: Weighed,
    blanks: &[Weighed],
    detection_mg: Option<f64>,
) -> Result<Amount, Problem> {
    let changes = blanks.iter().map(|b| b.change_mg()).collect::<Result<Vec<_>, _>>()?;
    let blank = if changes.is_empty() { 0.0 } else { mean_blank_mg(&changes)? };
    net_mg(filter.change_mg()?, blank, detection_mg)
}

/// A mass less its blank; below the limit of detection it is "< limit", never 0.
///
/// A mass that is below its blank by more than the limit of detection is no small result but a mistake: a filter swapped or torn, a blank
/// contaminated. It is refused.
///
/// # Errors
/// Not finite; a limit that is not above 0; nothing left, and no limit of detection given; less than nothing left, by more than the limit of
/// detection.
///
/// ```
/// use draught_sim::hygiene::{Amount, concentration::net_mg};
/// assert_eq!(net_mg(0.25, 0.125, Some(0.03))?, Amount::Found(0.125));
/// assert_eq!(net_mg(0.002, 0.004, None).unwrap_err().code(), "contradiction");
/// assert_eq!(net_mg(1.412, 3.0, Some(0.075)).unwrap_err().code(), "contradiction");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn net_mg(mass_mg: f64, blank_mg: f64, detection_mg: Option<f64>) -> Result<Amount, Problem> {
    let net = result("mass", finite("mass", mass_mg)? - finite("blank", blank_mg)?)?;
    let limit = detection_mg.map(|d| positive("limit of detection", d)).transpose()?;
    match limit {
        Some(limit) if strictly_over(-net, limit) => Err(Problem::Contradiction {
            what: "the mass is below its blank by more than the limit of detection: that is a loss, and no result below the limit",
            help: "look for a filter that was swapped or torn, or a contaminated blank; ask the laboratory",
        }),
        // The dust of a subtraction is not a result below the limit.
        Some(limit) if !super::at_least(net, limit) => Ok(Amount::Below(limit)),
        None if net <= 1e-12 * mass_mg.abs() => Err(Problem::Contradiction {
            what: "nothing is left of the mass when the blank is subtracted",
            help: "give the limit of detection, so that it can be stated as \"< limit\"; ask the laboratory",
        }),
        _ => Ok(Amount::Found(net)),
    }
}

/// A field blank as it was reported.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Blank {
    /// Found, in mg; of a filter by how much it changed, which may be below 0.
    Found(f64),
    /// Below this, in mg; from 0 on.
    Below(f64),
}

/// The mean of blanks of which some are below a limit, in mg: at least with these as 0, at most with them as their limit. None of them is left out: a
/// mean of those alone on which something was found would be too high, and the result too low.
///
/// # Errors
/// None given; not finite; a limit that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::concentration::{Blank, mean_of_blanks_mg};
/// let (least, most) = mean_of_blanks_mg(&[Blank::Found(0.012), Blank::Below(0.010), Blank::Below(0.010)])?;
/// assert!((least - 0.004).abs() < 1e-15 && (most - 0.032 / 3.0).abs() < 1e-15);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mean_of_blanks_mg(blanks: &[Blank]) -> Result<(f64, f64), Problem> {
    let with = |most: bool| {
        blanks
            .iter()
            .map(|blank| match *blank {
                Blank::Found(mg) => Ok(mg),
                Blank::Below(mg) => {
                    positive("limit of a blank", mg).map(|mg| if most { mg } else { 0.0 })
                }
            })
            .collect::<Result<Vec<_>, _>>()
    };
    Ok((mean_blank_mg(&with(false)?)?, mean_blank_mg(&with(true)?)?))
}

/// A mass less a mean blank that is known within bounds, as [`mean_of_blanks_mg`] gives them.
///
/// # Errors
/// As [`net_mg`]; bounds in the wrong order.
///
/// ```
/// use draught_sim::hygiene::{Amount, concentration::net_between_mg};
/// assert_eq!(net_between_mg(1.0, (0.25, 0.5), Some(0.03))?, Amount::Between(0.5, 0.75));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn net_between_mg(
    mass_mg: f64,
    (blank_least_mg, blank_most_mg): (f64, f64),
    detection_mg: Option<f64>,
) -> Result<Amount, Problem> {
    if blank_least_mg > blank_most_mg {
        return Err(Problem::Contradiction {
            what: "the lower bound of the blank is above the upper one",
            help: "give the smaller number first",
        });
    }
    let most = net_mg(mass_mg, blank_least_mg, detection_mg)?;
    let least = match net_mg(mass_mg, blank_most_mg, detection_mg) {
        Ok(least) => least.low(),
        // The blank may have been less than that: what is left is between nothing and the most.
        Err(Problem::Contradiction { .. }) => 0.0,
        Err(other) => return Err(other),
    };
    Ok(Amount::of(least, most.high()))
}

/// Whether the sorbent may have let something through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Breakthrough {
    /// Back not over a tenth of front.
    No,
    /// Over: report it, and a possible loss of sample.
    Yes,
    /// A section is below its limit, and that limit is too high to tell.
    CannotTell,
}

impl Breakthrough {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::No => "no breakthrough",
            Self::Yes => "BREAKTHROUGH: sample may have been lost, the result is at least this",
            Self::CannotTell => {
                "breakthrough cannot be told: a section is below its limit; ask for a lower one"
            }
        }
    }
}

/// Breakthrough by the rule `Wb > Wf / 10`, strictly, of the masses before blanks are subtracted.
///
/// Source: NMAM 1401 (read).
///
/// # Errors
/// A mass that is none.
///
/// ```
/// use draught_sim::hygiene::{Amount::{Below, Found}, concentration::{Breakthrough, breakthrough}};
/// assert_eq!(breakthrough(Found(0.7), Found(0.07))?, Breakthrough::No);
/// assert_eq!(breakthrough(Found(1.0), Below(0.2))?, Breakthrough::CannotTell);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn breakthrough(front_mg: Amount, back_mg: Amount) -> Result<Breakthrough, Problem> {
    let front = front_mg.checked("front mass")?;
    let back = back_mg.checked("back mass")?;
    let surely = front.high().is_some_and(|front| strictly_over(back.low(), front / 10.0));
    let possibly = back.high().is_none_or(|back| strictly_over(back, front.low() / 10.0));
    Ok(match (surely, possibly) {
        (true, _) => Breakthrough::Yes,
        (false, true) => Breakthrough::CannotTell,
        (false, false) => Breakthrough::No,
    })
}

/// What a sorbent tube holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tube {
    /// Both sections, blanks subtracted, in mg.
    pub mass_mg: Amount,
    /// By the rule of NMAM 1401.
    pub breakthrough: Breakthrough,
}

/// Mass on a sorbent tube: `Wf + Wb - Bf - Bb`, in mg, each section less its mean blank.
///
/// A section below its limit gives bounds, never 0. With breakthrough, or where a section's limit is too high to tell, what passed the tube is not known: what
/// was found is the least. Where a blank takes all of what was found: "< limit" if a limit of detection is
/// given. A section of 0 is no result: the laboratory states "< limit". Range: blanks not below 0. Source: NMAM 1401 (variables read, form from memory).
///
/// # Errors
/// Numbers out of range; nothing left of a section, and no limit of detection given.
///
/// ```
/// use draught_sim::hygiene::{Amount::{Below, Between, Found}, concentration::sorbent_mg};
/// let tube = sorbent_mg(Found(1.0), Below(0.01), 0.0, 0.0, None)?;
/// assert_eq!(tube.mass_mg, Between(1.0, 1.01));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn sorbent_mg(
    front_mg: Amount,
    back_mg: Amount,
    blank_front_mg: f64,
    blank_back_mg: f64,
    detection_mg: Option<f64>,
) -> Result<Tube, Problem> {
    let breakthrough = breakthrough(front_mg, back_mg)?;
    let section = |mass: Amount, blank: f64, what: &'static str| {
        let blank = not_negative(what, blank)?;
        match mass {
            Amount::Found(m) => net_mg(m, blank, detection_mg),
            // Already bounds: the blank can only lower them, and the upper one is kept.
            Amount::Below(_) => Ok(mass),
            Amount::Between(a, b) => {
                let least = (a - blank).max(0.0);
                Ok(if least == 0.0 { Amount::Below(b) } else { Amount::Between(least, b) })
            }
            Amount::AtLeast(a) => Ok(Amount::AtLeast((a - blank).max(0.0))),
        }
    };
    let front = section(front_mg, blank_front_mg, "front blank")?;
    let back = section(back_mg, blank_back_mg, "back blank")?;
    let held = front.plus("mass", back)?;
    let mass_mg = match breakthrough {
        Breakthrough::No => held,
        // Nothing found on either section is the common "below": it stays so.
        Breakthrough::CannotTell if held.low() == 0.0 => held,
        Breakthrough::Yes | Breakthrough::CannotTell => Amount::AtLeast(held.low()),
    };
    Ok(Tube { mass_mg, breakthrough })
}

/// One of several samples that belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// In mg.
    pub mass_mg: Amount,
    /// In L.
    pub volume_l: f64,
}

/// The concentration over several samples: `1000 (m1 + m2 + ...) / (V1 + V2 + ...)`.
///
/// With some below their limit it lies between two bounds: those taken as nothing, and as their limit. Range: as
/// [`concentration_mg_m3`]. Source: OSHA silica mixture page (read).
///
/// # Errors
/// None given; numbers out of range.
///
/// ```
/// use draught_sim::hygiene::{Amount, concentration::{Part, together_mg_m3}};
/// let part = |mass_mg| Part { mass_mg, volume_l: 100.0 };
/// let c = together_mg_m3(&[part(Amount::Found(0.4)), part(Amount::Below(0.1))])?;
/// assert_eq!(c, Amount::Between(2.0, 2.5));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn together_mg_m3(parts: &[Part]) -> Result<Amount, Problem> {
    let masses: Vec<Amount> = parts.iter().map(|p| p.mass_mg).collect();
    let mass = Amount::sum("mass", &masses)?;
    let mut volume = 0.0;
    for part in parts {
        volume += positive("volume", part.volume_l)?;
    }
    concentration_mg_m3(mass, result("volume", volume)?)
}
