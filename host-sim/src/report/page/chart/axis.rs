//! The time axis of charts.
//!
//! A chart is as wide as the screen or the paper, which nobody knows when it is drawn: places are thousandths of its width. Pauses that
//! are long beside the pumping are narrow breaks.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::slices::{Clock, Slice};
use crate::report::picture::time_step;

/// The whole width.
pub const WIDTH: f64 = 1_000.0;
/// A pause longer than this part of all the pumping is a break.
const TO_SCALE: f64 = 0.15;
/// How wide the plot is on a phone and on paper, in px: labels must have room there.
const PHONE: f64 = 265.0;
const PAPER: f64 = 600.0;
const DAY: i64 = 86_400_000;

/// The time axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    pieces: Vec<Piece>,
    clock: Clock,
}

/// A stretch of time that is drawn to scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// When it begins, in ms.
    pub from: i64,
    /// When it ends.
    pub to: i64,
    /// Its left and right edge.
    pub x: (f64, f64),
}

/// A label below the axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tick {
    /// Where it stands, in tenths of the width's thousandths: whole, so that it can be compared.
    pub x_tenths: i64,
    /// What it says.
    pub label: String,
    /// There is room for it on a phone too.
    pub on_phones: bool,
}

impl Axis {
    /// An axis for everything that is drawn on it; the slices in order of time.
    pub fn over(slices: &[Slice], clock: Clock) -> Self {
        let mut joined: Vec<(i64, i64)> = Vec::new();
        let pumped: i64 = slices.iter().map(|s| s.to - s.from).sum();
        for slice in slices {
            match joined.last_mut() {
                Some(last) if slice.from <= last.1 => last.1 = last.1.max(slice.to),
                Some(last) if (slice.from - last.1) as f64 <= TO_SCALE * pumped as f64 => {
                    last.1 = slice.to;
                }
                _ => joined.push((slice.from, slice.to)),
            }
        }
        let breaks = joined.len().saturating_sub(1) as f64;
        let break_width = (0.2 * WIDTH / breaks.max(1.0)).min(26.0);
        let time: i64 = joined.iter().map(|(from, to)| to - from).sum();
        let scale = (WIDTH - breaks * break_width) / time.max(1) as f64;
        let mut x = 0.0;
        let pieces = joined.into_iter().map(|(from, to)| {
            let left = x;
            let right = left + (to - from) as f64 * scale;
            x = right + break_width;
            Piece { from, to, x: (left, right) }
        });
        Self { pieces: pieces.collect(), clock }
    }

    /// The stretches to scale.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// Where a moment stands.
    pub fn x(&self, at: i64) -> f64 {
        let mut left = 0.0;
        for piece in &self.pieces {
            if at < piece.from {
                // In the break before it.
                return f64::midpoint(left, piece.x.0);
            }
            if at <= piece.to {
                let part = (at - piece.from) as f64 / (piece.to - piece.from).max(1) as f64;
                return piece.x.0 + part * (piece.x.1 - piece.x.0);
            }
            left = piece.x.1;
        }
        left.min(WIDTH)
    }

    /// Whether a moment lies within what is drawn.
    pub fn holds(&self, at: i64) -> bool {
        let first = self.pieces.first().is_some_and(|p| at >= p.from);
        first && self.pieces.last().is_some_and(|p| at <= p.to)
    }

    fn scale(&self) -> f64 {
        self.pieces.first().map_or(1.0, |p| (p.x.1 - p.x.0) / (p.to - p.from).max(1) as f64)
    }

    /// Hours and minutes.
    pub fn ticks(&self) -> Vec<Tick> {
        let px = |screen: f64| self.scale() * screen / WIDTH;
        let fine = i64::try_from(time_step(px(PAPER), 58.0)).unwrap_or(DAY);
        let coarse = (1_i64..200)
            .map(|k| k * fine)
            .find(|ms| *ms as f64 * px(PHONE) >= 50.0 && (DAY % ms == 0 || *ms >= DAY));
        let mut ticks: Vec<Tick> = Vec::new();
        let mut ends = f64::MIN;
        for piece in &self.pieces {
            let first = piece.from.div_euclid(fine) + i64::from(piece.from.rem_euclid(fine) > 0);
            for at in (first..).map(|k| k * fine).take_while(|at| *at <= piece.to) {
                let x = self.x(at);
                // Labels of a piece do not run into those before the break.
                if x - ends < 40.0 * WIDTH / PAPER {
                    continue;
                }
                ends = x;
                ticks.push(Tick {
                    x_tenths: (x * 10.0).round() as i64,
                    label: self.clock_text(at, fine < 60_000),
                    on_phones: coarse.is_some_and(|ms| at.rem_euclid(ms) == 0),
                });
            }
        }
        ticks
    }

    /// The dates: at the beginning and at each midnight.
    pub fn dates(&self) -> Vec<Tick> {
        if self.clock == Clock::AfterArming {
            return vec![];
        }
        let mut dates: Vec<Tick> = Vec::new();
        let (mut ends, mut phone_ends) = (f64::MIN, f64::MIN);
        let midnights = |p: &Piece| {
            let first = p.from.div_euclid(DAY) + 1;
            let to = p.to;
            let from = p.from;
            std::iter::once(from).chain((first..).map(|d| d * DAY).take_while(move |at| *at < to))
        };
        for at in self.pieces.iter().flat_map(midnights) {
            let x = self.x(at);
            if x < ends {
                continue;
            }
            let on_phones = x >= phone_ends && x < WIDTH - 100.0 * WIDTH / PHONE || x == 0.0;
            if x > WIDTH - 100.0 * WIDTH / PAPER {
                continue;
            }
            // After a break of the axis it may still be the same day.
            if dates.last().is_some_and(|last| last.label == date_text(at)) {
                continue;
            }
            ends = x + 104.0 * WIDTH / PAPER;
            if on_phones {
                phone_ends = x + 104.0 * WIDTH / PHONE;
            }
            dates.push(Tick {
                x_tenths: (x * 10.0).round() as i64,
                label: date_text(at),
                on_phones,
            });
        }
        dates
    }

    /// "07:05"; after arming "+7:05".
    pub fn clock_text(&self, at: i64, seconds: bool) -> String {
        let ms = if self.clock == Clock::Site { at.rem_euclid(DAY) } else { at };
        let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60);
        let tail = if seconds { format!(":{s:02}") } else { String::new() };
        match self.clock {
            Clock::Site => format!("{h:02}:{m:02}{tail}"),
            Clock::AfterArming => format!("+{h}:{m:02}{tail}"),
        }
    }

    /// What the axis shows, in words.
    pub fn label(&self) -> &'static str {
        match self.clock {
            Clock::Site => "site time",
            Clock::AfterArming => "time after arming (the pump's clock was not trusted)",
        }
    }
}

/// "Mon 2027-03-08", of civil time in ms.
pub fn date_text(civil_ms: i64) -> String {
    let civil = Timestamp::from_millisecond(civil_ms).map(|t| TimeZone::UTC.to_datetime(t));
    civil.map_or(String::new(), |z| z.strftime("%a %Y-%m-%d").to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const H: i64 = 3_600_000;

    fn slice(from: i64, to: i64) -> Slice {
        Slice { from, to, ..Slice::default() }
    }

    #[test]
    fn short_pauses_are_to_scale_and_long_ones_break_it() {
        let axis = Axis::over(&[slice(0, 4 * H), slice(5 * H, 10 * H)], Clock::Site);
        assert_eq!(axis.pieces().len(), 1);
        assert_eq!(axis.x(5 * H), 500.0);
        let axis = Axis::over(&[slice(0, 4 * H), slice(28 * H, 32 * H)], Clock::Site);
        assert_eq!(axis.pieces().len(), 2);
        assert!((axis.x(4 * H) - 487.0).abs() < 1e-9);
        assert!((axis.x(28 * H) - 513.0).abs() < 1e-9);
        assert_eq!(axis.x(99 * H), 1_000.0);
        assert!(!axis.holds(33 * H) && axis.holds(6 * H));
    }

    #[test]
    fn labels_have_room() {
        for hours in [1, 2, 4, 8, 10, 24, 60, 24 * 30] {
            let axis = Axis::over(&[slice(7 * H, (7 + hours) * H)], Clock::Site);
            for (phone, least) in [(false, 58.0 * WIDTH / PAPER), (true, 50.0 * WIDTH / PHONE)] {
                let ticks = axis.ticks();
                let x: Vec<i64> =
                    ticks.iter().filter(|t| t.on_phones || !phone).map(|t| t.x_tenths).collect();
                assert!(!x.is_empty(), "{hours} h");
                for pair in x.windows(2) {
                    assert!((pair[1] - pair[0]) as f64 / 10.0 > least - 1.0, "{hours} h: {x:?}");
                }
            }
        }
    }

    #[test]
    fn dates_stand_at_midnights() {
        let axis = Axis::over(&[slice(22 * H, 30 * H)], Clock::Site);
        let labels: Vec<_> = axis.dates().into_iter().map(|t| (t.label, t.on_phones)).collect();
        let both = [("Thu 1970-01-01".to_owned(), true), ("Fri 1970-01-02".to_owned(), false)];
        assert_eq!(labels, both);
    }
}
