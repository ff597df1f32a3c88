//! Numbers on the page: rounded for people, and each with the place in the JSON that it stands for.

use std::fmt::Display;

use maud::{Markup, html};

use crate::hygiene::{Amount, round};

/// A place in the JSON of the results, as a JSON pointer: every number on the page says where it comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct At(String);

impl At {
    /// One level down: a key, or the number of an entry.
    #[must_use]
    pub fn at(&self, step: impl Display) -> Self {
        Self(format!("{}/{step}", self.0))
    }

    /// A number of this place, with its text.
    pub fn show(&self, value: f64, text: &str) -> Markup {
        html! { data value=(value) data-value=(self.0) { (text) } }
    }

    /// A number of this place in so many figures, with a unit.
    pub fn figures(&self, value: f64, count: i32, unit: &str) -> Markup {
        self.show(value, &with_unit(&figures(value, count), unit))
    }

    /// A share of a limit in percent; that of a bound is one, and is rounded so that it stays true.
    pub fn share(&self, percent: f64, below: Option<f64>, least: Option<f64>) -> Markup {
        let bound = match (below, least) {
            (Some(_), _) => Amount::Below(percent),
            (None, Some(_)) => Amount::AtLeast(percent),
            (None, None) => return self.figures(percent, 2, "%"),
        };
        self.show(percent, &nice(&bound.text(2, "%").unwrap_or_default()))
    }

    /// A number of this place that may not be there.
    pub fn maybe(&self, value: Option<f64>, count: i32, unit: &str) -> Markup {
        value.map_or_else(none, |value| self.figures(value, count, unit))
    }

    /// A difference in percent, with its sign.
    pub fn percent(&self, value: Option<f64>) -> Markup {
        value.map_or_else(none, |value| self.show(value, &format!("{} %", signed(value))))
    }
}

/// What stands where there is no number.
pub fn none() -> Markup {
    html! { span.soft { "–" } }
}

/// So many significant figures, never as a power of ten: "0.412", "963", "2.01".
///
/// ```
/// use draught_sim::report::page::number::figures;
/// assert_eq!(figures(0.41234, 3), "0.412");
/// assert_eq!(figures(963.24, 4), "963.2");
/// assert_eq!(figures(9.9996, 4), "10.00");
/// assert_eq!(figures(-0.0, 3), "0");
/// ```
#[must_use]
pub fn figures(value: f64, count: i32) -> String {
    if !value.is_finite() || value == 0.0 {
        return if value == 0.0 { "0".to_owned() } else { "not a number".to_owned() };
    }
    // Before the point nothing is rounded away.
    let places = |v: f64| (count - 1 - v.abs().log10().floor() as i32).clamp(0, 12);
    let rounded = |places: i32| round::to_places(value, places).unwrap_or_default();
    let text = rounded(places(value));
    match text.parse::<f64>() {
        Ok(0.0) | Err(_) => "0".to_owned(),
        // Rounding up may add a figure: 9.9996 has one place fewer than it seems.
        Ok(shown) => rounded(places(shown)),
    }
}

/// Three figures without zeros at the end: "8", "0.5", "1.73".
#[must_use]
pub fn short(value: f64) -> String {
    let text = figures(value, 3);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A difference in percent with its sign and a true minus: "+1.8", "−0.42", "0".
#[must_use]
pub fn signed(percent: f64) -> String {
    let places = usize::from(percent.abs() < 1.0) + 1;
    let text = format!("{percent:+.places$}");
    if text.chars().all(|c| matches!(c, '0' | '.' | '+' | '-')) {
        return "0".to_owned();
    }
    text.replace('-', "\u{2212}")
}

/// A number and its unit, which are never parted at the end of a line.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number}\u{a0}{}", nice(unit)) }
}

/// Units in text as they are printed: "mg/m3" becomes "mg/m³".
#[must_use]
pub fn nice(text: &str) -> String {
    let text = text.replace("/m3", "/m³").replace(" m3", " m³").replace(" +/- ", " ± ");
    let mut out = String::with_capacity(text.len() + 8);
    let mut chars = text.chars().peekable();
    let mut last = ' ';
    while let Some(c) = chars.next() {
        // A number is not parted from what it counts.
        let unit = |n: &char| n.is_alphabetic() || "%°".contains(*n);
        let joins = match chars.peek() {
            Some(next) if last.is_ascii_digit() => unit(next),
            Some(next) => "<>±".contains(last) && next.is_ascii_digit(),
            None => false,
        };
        out.push(if c == ' ' && joins { '\u{a0}' } else { c });
        last = c;
    }
    out
}

/// A text whose dates are in one piece, each with the weekday before it: "Mon 2027-03-08".
pub fn dated(text: &str) -> Markup {
    let text = nice(text);
    let is_date = |word: &str| {
        let shape = word.bytes().map(|b| if b.is_ascii_digit() { b'0' } else { b });
        shape.eq(*b"0000-00-00")
    };
    let words: Vec<&str> = text.split(' ').collect();
    let day = |i: usize| words.get(i + 1).is_some_and(|next| is_date(next)) && words[i].len() == 3;
    html! {
        @for (i, word) in words.iter().enumerate() {
            @let after_day = i > 0 && day(i - 1);
            @if i > 0 && !after_day { " " }
            @if day(i) { span.keep { (word) "\u{a0}" (words[i + 1]) } }
            @else if after_day {}
            @else if is_date(word) { span.keep { (word) } }
            @else { (word) }
        }
    }
}

/// A length of time: "8 h", "7 h 30 min", "61 s".
#[must_use]
pub fn lasts(ms: u64) -> String {
    crate::plan::format::distance(ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_do_not_depend_on_the_size() {
        let cases = [
            (2.0, 4, "2.000"),
            (0.012_345, 2, "0.012"),
            (99.95, 3, "100"),
            (1440.06, 4, "1440"),
            (123_456.0, 3, "123456"),
            (-1.25, 2, "-1.2"),
            (1e-300, 3, "0"),
        ];
        for (value, count, text) in cases {
            assert_eq!(figures(value, count), text, "{value}");
        }
        assert_eq!(figures(f64::NAN, 3), "not a number");
        assert_eq!(figures(f64::INFINITY, 3), "not a number");
    }

    #[test]
    fn signs_are_shown() {
        assert_eq!(signed(1.84), "+1.8");
        assert_eq!(signed(-0.421), "\u{2212}0.42");
        assert_eq!(signed(-0.0001), "0");
        assert_eq!(nice("0.43 mg/m3 +/- 0.05"), "0.43\u{a0}mg/m³ ±\u{a0}0.05");
        assert_eq!(short(8.0), "8");
        assert_eq!(short(0.5), "0.5");
        assert_eq!(short(1.732_05), "1.73");
        assert_eq!(short(400.0), "400");
    }

    #[test]
    fn dates_stay_in_one_piece() {
        let html = |text: &str| dated(text).into_string();
        let day = "<span class=\"keep\">Mon\u{a0}2027-03-08</span>";
        assert_eq!(html("Mon 2027-03-08 07:00:00"), format!("{day} 07:00:00"));
        assert_eq!(html("at 2027-03-08"), "at <span class=\"keep\">2027-03-08</span>");
        assert_eq!(html("8 h"), "8\u{a0}h");
        assert_eq!(html(""), "");
    }

    #[test]
    fn a_place_is_a_json_pointer() {
        let at = At::default().at("samples").at(2).at("volume").at("used-l");
        let html = at.figures(963.24, 4, "L").into_string();
        assert_eq!(
            html,
            "<data value=\"963.24\" data-value=\"/samples/2/volume/used-l\">963.2\u{a0}L</data>"
        );
    }
}
