//! Figures as they are written in a report: rounded once, at the end.
//!
//! A number is rounded as it would be on paper, from the shortest decimal that reads back as the same
//! `f64`, half to even: 2.675 to two places is 2.68, 2.665 is 2.66. Half to even is common practice, no
//! source; so are two figures for an uncertainty and the value to the same place (GUM, from memory).

use super::error::{Problem, finite, within};

/// Which way a digit that is dropped goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    HalfEven,
    /// Away from zero, unless nothing is dropped: for upper bounds, which must stay true.
    Up,
    /// Towards zero: for lower bounds.
    Down,
}

/// Decimal digits; the first stands for `10^first`.
struct Decimal {
    negative: bool,
    digits: Vec<u8>,
    first: i32,
}

impl Decimal {
    /// Of a finite number.
    fn of(value: f64) -> Self {
        let text = format!("{:e}", value.abs());
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        Self {
            negative: value < 0.0,
            digits: digits.bytes().filter(u8::is_ascii_digit).map(|d| d - b'0').collect(),
            first: exponent.parse().unwrap_or(0),
        }
    }

    /// `10^place`, or 0.
    fn one_or_nothing(negative: bool, one: bool, place: i32) -> Self {
        Self {
            negative: negative && one,
            digits: vec![one.into()],
            first: if one { place } else { 0 },
        }
    }

    /// Keeps what stands for `10^place` and more.
    fn rounded(mut self, place: i32, way: Way) -> Self {
        let keep = i64::from(self.first) - i64::from(place) + 1;
        let Ok(keep) = usize::try_from(keep) else {
            let up = way == Way::Up && self.digits.iter().any(|d| *d != 0);
            return Self::one_or_nothing(self.negative, up, place);
        };
        if keep >= self.digits.len() {
            return self;
        }
        let dropped = self.digits.split_off(keep);
        let half = (dropped.first().copied().unwrap_or(0), dropped.iter().skip(1).any(|d| *d != 0));
        let odd = self.digits.last().is_some_and(|d| d % 2 == 1);
        let up = match way {
            Way::Up => dropped.iter().any(|d| *d != 0),
            Way::Down => false,
            Way::HalfEven => half.0 > 5 || half.0 == 5 && (half.1 || odd),
        };
        if keep == 0 {
            return Self::one_or_nothing(self.negative, up, place);
        }
        if up {
            let mut carry = true;
            for digit in self.digits.iter_mut().rev() {
                if !carry {
                    break;
                }
                carry = *digit == 9;
                *digit = if carry { 0 } else { *digit + 1 };
            }
            if carry {
                self.digits.insert(0, 1);
                self.first = self.first.saturating_add(1);
            }
        }
        self
    }

    /// As text, with this many places after the point.
    fn text(&self, places: i32) -> String {
        let digit = |power: i32| -> char {
            usize::try_from(i64::from(self.first) - i64::from(power))
                .ok()
                .and_then(|i| self.digits.get(i))
                .map_or('0', |d| char::from(b'0' + d))
        };
        let zero = self.digits.iter().all(|d| *d == 0);
        let mut text = String::new();
        if self.negative && !zero {
            text.push('-');
        }
        text.extend((0..=self.first.max(0)).rev().map(digit));
        if places > 0 {
            text.push('.');
            text.extend((1..=places).map(|p| digit(-p)));
        }
        text
    }

    /// As text with a power of ten, all digits shown, `figures` of them.
    fn scientific(&self, figures: i32) -> String {
        let at = |i: i32| {
            let digit = usize::try_from(i).ok().and_then(|i| self.digits.get(i)).copied();
            char::from(b'0' + digit.unwrap_or(0))
        };
        let mut text = String::new();
        if self.negative {
            text.push('-');
        }
        text.push(at(0));
        if figures > 1 {
            text.push('.');
            text.extend((1..figures).map(at));
        }
        text + &format!("e{}", self.first)
    }
}

/// Writes a number with so many places after the point; a negative number of places rounds to tens,
/// hundreds and so on.
///
/// Range: any finite number, -15 to 15 places. Half to even, from the shortest decimal.
///
/// # Errors
/// Not a finite number; places out of range.
///
/// ```
/// use draught_sim::hygiene::round::to_places;
/// assert_eq!(to_places(2.675, 2)?, "2.68");
/// assert_eq!(to_places(2.5, 0)?, "2");
/// assert_eq!(to_places(1234.0, -2)?, "1200");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn to_places(value: f64, places: i32) -> Result<String, Problem> {
    places_checked(places)?;
    let decimal = Decimal::of(finite("number to write", value)?);
    Ok(decimal.rounded(-places, Way::HalfEven).text(places))
}

fn places_checked(places: i32) -> Result<f64, Problem> {
    within("number of places", f64::from(places), -15.0, 15.0, "places")
}

/// Writes a number with so many significant figures, zeros at the end included.
///
/// Range: any finite number, 1 to 15 figures. Half to even. Below 1e-6 and from 1e15 on with a power of ten.
///
/// # Errors
/// Not a finite number; figures out of range.
///
/// ```
/// use draught_sim::hygiene::round::significant;
/// assert_eq!(significant(0.505_147, 3)?, "0.505");
/// assert_eq!(significant(9.996, 3)?, "10.0");
/// assert_eq!(significant(1071.93, 2)?, "1100");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn significant(value: f64, figures: u8) -> Result<String, Problem> {
    figured(value, figures, Way::HalfEven)
}

/// The same, away from zero: for "< x", which must stay true when x is rounded.
///
/// # Errors
/// As [`significant`].
///
/// ```
/// use draught_sim::hygiene::round::significant_up;
/// assert_eq!(significant_up(0.0301, 2)?, "0.031");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn significant_up(value: f64, figures: u8) -> Result<String, Problem> {
    figured(value, figures, Way::Up)
}

/// The same, towards zero: for "at least x".
///
/// # Errors
/// As [`significant`].
///
/// ```
/// use draught_sim::hygiene::round::significant_down;
/// assert_eq!(significant_down(0.0309, 2)?, "0.030");
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn significant_down(value: f64, figures: u8) -> Result<String, Problem> {
    figured(value, figures, Way::Down)
}

/// Figures beyond these are the dust of binary arithmetic: 0.1 + 0.2 is to be 0.3 also when it is rounded up.
const DUST: i32 = 13;

fn figured(value: f64, figures: u8, way: Way) -> Result<String, Problem> {
    within("number of figures", f64::from(figures), 1.0, 15.0, "figures")?;
    let mut decimal = Decimal::of(finite("number to write", value)?);
    if value == 0.0 {
        return Ok(decimal.text(i32::from(figures) - 1));
    }
    if way != Way::HalfEven {
        let place = decimal.first - DUST + 1;
        decimal = decimal.rounded(place, Way::HalfEven);
    }
    let first = decimal.first;
    let decimal = decimal.rounded(first - i32::from(figures) + 1, way);
    // 9.996 has become 10.0: one figure further left.
    let places = i32::from(figures) - 1 - decimal.first;
    if (-6..15).contains(&decimal.first) {
        Ok(decimal.text(places))
    } else {
        Ok(decimal.scientific(figures.into()))
    }
}

/// A number for people, who need no reason where there is none: so many figures, or "?".
///
/// ```
/// use draught_sim::hygiene::round::figures;
/// assert_eq!(figures(299.94, 4), "299.9");
/// assert_eq!(figures(f64::NAN, 4), "?");
/// ```
#[must_use]
pub fn figures(value: f64, count: u8) -> String {
    significant(value, count).unwrap_or_else(|_| "?".to_owned())
}

/// A difference in percent, with its sign: "+1.8 %", "-0.4 %", "0.0 %".
///
/// ```
/// use draught_sim::hygiene::round::signed_percent;
/// assert_eq!(signed_percent(1.84), "+1.8 %");
/// assert_eq!(signed_percent(0.04), "0.0 %");
/// ```
#[must_use]
pub fn signed_percent(value: f64) -> String {
    let text = to_places(value, 1).unwrap_or_else(|_| "?".to_owned());
    let nothing = text.chars().all(|c| matches!(c, '0' | '.'));
    if value > 0.0 && !nothing { format!("+{text} %") } else { format!("{text} %") }
}

/// A value and its expanded uncertainty: the uncertainty with two significant figures, the value to the
/// same place.
///
/// Range: any finite value; uncertainty above 0. Half to even. The place is kept within 15 after the point.
///
/// # Errors
/// Not finite numbers; an uncertainty that is not above 0; more than 15 places apart.
///
/// ```
/// use draught_sim::hygiene::round::with_uncertainty;
/// assert_eq!(with_uncertainty(0.505_147, 0.043_1)?, ("0.505".into(), "0.043".into()));
/// assert_eq!(with_uncertainty(899.72, 52.4)?, ("900".into(), "52".into()));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn with_uncertainty(value: f64, expanded: f64) -> Result<(String, String), Problem> {
    finite("value", value)?;
    super::error::positive("expanded uncertainty", expanded)?;
    let first = Decimal::of(expanded).first;
    let place = Decimal::of(expanded).rounded(first - 1, Way::HalfEven).first - 1;
    Ok((to_places(value, -place)?, to_places(expanded, -place)?))
}
