//! What lies on the time axis besides curves: cuts, limits that tripped, checks.

use super::axis::{Axis, WIDTH, date_text};
use super::slices::civil_ms;
use crate::results::Mark;

/// A mark that is drawn, with the number that its line in the list below has.
#[derive(Clone, Debug, PartialEq)]
pub struct Numbered<'a> {
    /// Its number, from 1.
    pub number: usize,
    /// Where it begins and ends on the axis, where it lies on it.
    pub x: Option<(f64, f64)>,
    /// Whether it is a stretch of time without air drawn.
    pub is_gap: bool,
    /// When it is, in words.
    pub when: String,
    /// What it is.
    pub says: &'a str,
}

/// What one row of the list names.
pub fn numbered<'a>(marks: &'a [Mark], axis: &Axis, offset_minutes: i32) -> Vec<Numbered<'a>> {
    let at = |instant: &Option<_>| instant.as_ref().and_then(|i| civil_ms(i, offset_minutes));
    let mut all: Vec<(Option<i64>, Option<i64>, &Mark)> = marks
        .iter()
        .filter(|m| m.kind != "start" && m.kind != "stop")
        .map(|m| (at(&m.at), at(&m.to), m))
        .collect();
    all.sort_by_key(|(from, ..)| from.unwrap_or(i64::MAX));
    let with_date = axis.dates().len() > 1;
    let text = |at: i64| {
        let seconds = at.rem_euclid(60_000) >= 1_000;
        let time = axis.clock_text(at, seconds);
        if with_date { format!("{} {time}", date_text(at)) } else { time }
    };
    let numbered = all.into_iter().enumerate().map(|(i, (from, to, mark))| {
        let to = to.filter(|to| Some(*to) > from);
        let x = from.filter(|f| axis.holds(*f) || to.is_some_and(|t| axis.holds(t)));
        let when = match (from, to) {
            (None, _) => "at a time that is not known".to_owned(),
            (Some(from), None) => text(from),
            (Some(from), Some(to)) => format!("{} to {}", text(from), text(to)),
        };
        Numbered {
            number: i + 1,
            x: x.map(|from| (axis.x(from), axis.x(to.unwrap_or(from)))),
            is_gap: mark.kind == "interruption",
            when,
            says: &mark.says,
        }
    });
    numbered.collect()
}

/// Labels above the chart: marks that stand too close together share one, "2–4".
pub fn labels(marks: &[Numbered<'_>]) -> Vec<(f64, String)> {
    let mut groups: Vec<(f64, usize, usize)> = Vec::new();
    for mark in marks {
        let Some((x, _)) = mark.x else { continue };
        match groups.last_mut() {
            Some((first, _, last)) if x - *first < 0.06 * WIDTH => *last = mark.number,
            _ => groups.push((x, mark.number, mark.number)),
        }
    }
    let label = |(x, first, last): (f64, usize, usize)| {
        let text = if first == last { first.to_string() } else { format!("{first}–{last}") };
        (x, text)
    };
    groups.into_iter().map(label).collect()
}
