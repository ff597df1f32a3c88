//! The two value axes and the time axis.

use draught::calendar::UtcOffset;
use draught::clock::Now;
use draught::event::PumpEnd;
use draught::units::RawVolume;

use super::collect::{Bin, Pumping};
use super::layout::{Layout, What, round_ticks, time_step};
use super::svg::{Anchor, Svg};
use crate::plan::format::distance;
use crate::plan::site::SiteTime;
use crate::plan::when::{date_text, day_short};

/// A value axis: what stands at the bottom and the top of a panel, in the unit shown.
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    /// At the bottom.
    pub low: f64,
    /// At the top.
    pub high: f64,
    /// The unit.
    pub unit: &'static str,
    /// Base units in one of it.
    pub size: f64,
    /// Bottom and top edge of the panel.
    pub y: (f64, f64),
}

impl Scale {
    /// Where a value in base units stands.
    pub fn at(&self, base: f64) -> f64 {
        let part = (base / self.size - self.low) / (self.high - self.low);
        self.y.0 + part * (self.y.1 - self.y.0)
    }

    /// Draws the grid and its labels.
    pub fn draw(&self, svg: &mut Svg, (left, right): (f64, f64), label: &str) {
        // About 30 px apart.
        let wanted = ((self.y.0 - self.y.1) / 30.0).clamp(2.0, 7.0);
        let ticks = round_ticks(self.low, self.high, wanted);
        let step = ticks.windows(2).map(|w| w[1] - w[0]).next().unwrap_or(1.0);
        let whole = |value: f64| (value - value.round()).abs() < 1e-6;
        let places = (0..6).find(|p| whole(step * 10_f64.powi(*p))).unwrap_or(0) as usize;
        for tick in ticks {
            let y = self.at(tick * self.size);
            svg.line("grid", &[(left, y), (right, y)]);
            svg.text("muted", (left - 8.0, y + 4.0), Anchor::End, &format!("{tick:.places$}"));
        }
        let middle = f64::midpoint(self.y.0, self.y.1);
        svg.text_up("", (left - 56.0, middle), Anchor::Middle, label);
    }
}

/// The axis of flow: around the targets with their bands and what was read once it had settled.
pub fn flow_scale(pumpings: &[&Pumping], y: (f64, f64)) -> Scale {
    let mut low = f64::INFINITY;
    let mut high: f64 = 0.0;
    for pumping in pumpings {
        if let Some(target) = pumping.target.as_flow() {
            low = low.min(f64::from(target.ul_per_min()) * 0.95);
            high = high.max(f64::from(target.ul_per_min()) * 1.05);
        }
        for bin in settled(pumping) {
            low = low.min(f64::from(bin.range.0));
            high = high.max(f64::from(bin.range.1));
        }
    }
    if low > high {
        low = 0.0;
    }
    let (unit, size) = if high >= 1e6 {
        ("L/min", 1e6)
    } else if high >= 1e3 {
        ("mL/min", 1e3)
    } else {
        ("µL/min", 1.0)
    };
    let room = ((high - low) * 0.25).max(high * 0.01).max(1.0);
    let bottom = if low - room < 0.3 * high { 0.0 } else { low - room };
    Scale { low: bottom / size, high: (high + room) / size, unit, size, y }
}

/// The bins of a stretch after its start: the first minute, or the first quarter of a short one, is run-up.
fn settled(pumping: &Pumping) -> impl Iterator<Item = &Bin> {
    let run_up = 60_000.min(pumping.ms() / 4);
    let mut at = 0;
    pumping.bins.iter().filter(move |bin| {
        let from = at;
        at += bin.ms;
        from >= run_up
    })
}

/// The axis of volume: from nothing to the most on any sampler.
pub fn volume_scale(pumpings: &[&Pumping], y: (f64, f64)) -> Scale {
    let most = pumpings.iter().map(|p| p.before.saturating_add(p.volume()).as_raw()).max();
    let most = most.unwrap_or(0).max(1) as f64;
    let ml = RawVolume::PER_ML as f64;
    let (unit, size) = if most >= 1e7 * ml {
        ("m³", 1e6 * ml)
    } else if most >= 1e3 * ml {
        ("L", 1e3 * ml)
    } else {
        ("mL", ml)
    };
    // A label has to find room above the line.
    let room = if y.0 - y.1 < 150.0 { 1.22 } else { 1.12 };
    Scale { low: 0.0, high: most * room / size, unit, size, y }
}

/// A stretch of the time axis without a break: from x to x, beginning at a moment.
struct Unbroken {
    x: (f64, f64),
    from: Now,
}

/// The time axis below the last of the panels; grid lines go through all of them.
pub fn time_axis(
    svg: &mut Svg,
    layout: &Layout<'_>,
    site: &SiteTime,
    panels: &[(f64, f64)],
    right: f64,
) {
    let y = panels.last().map_or(0.0, |p| p.1);
    let step = time_step(layout.scale, 62.0);
    let (mut ticks_end, mut dates_end) = (f64::MIN, f64::MIN);
    let runs = unbroken(layout);
    let short = runs.len() > 5;
    for run in runs {
        let begin = civil_ms(site.offset, run.from);
        let length = ((run.x.1 - run.x.0) / layout.scale).round() as u64;
        let x_at = |civil: u64| run.x.0 + (civil - begin) as f64 * layout.scale;
        let ticks = (begin.div_ceil(step)..).map(|k| k * step).take_while(|t| *t <= begin + length);
        for tick in ticks {
            let x = x_at(tick);
            for panel in panels {
                svg.line("grid", &[(x, panel.0), (x, panel.1)]);
            }
            let label = time_label(tick, step);
            let half = 3.4 * label.len() as f64;
            if step < 86_400_000 && x - half > ticks_end {
                svg.line("tick", &[(x, y), (x, y + 5.0)]);
                svg.text("muted", (x, y + 19.0), Anchor::Middle, &label);
                ticks_end = x + half + 4.0;
            }
        }
        // The date stands at the beginning and at each midnight.
        let midnights = (begin / 86_400_000 + 1..).map(|d| d * 86_400_000);
        let midnights = midnights.take_while(|t| *t < begin + length);
        for day in std::iter::once(begin).chain(midnights) {
            let x = x_at(day);
            let Some(label) = date_label(site, run.from, day - begin, short) else { continue };
            let width = 6.4 * label.len() as f64;
            // At the right edge a label is moved in rather than cut off.
            let text_x = x.min(right - width);
            if text_x < dates_end {
                continue;
            }
            svg.line("tick", &[(x, y), (x, y + 5.0)]);
            svg.text("small", (text_x, y + 36.0), Anchor::Start, &label);
            dates_end = text_x + width + 8.0;
        }
    }
}

fn unbroken(layout: &Layout<'_>) -> Vec<Unbroken> {
    let mut runs: Vec<Unbroken> = Vec::new();
    let mut open = false;
    for piece in &layout.pieces {
        let from = match piece.what {
            What::Pumping(p) => Some(p.from),
            What::Off { off, broken: false } => off.from,
            What::Off { .. } | What::LeftOut(_) => None,
        };
        match (from, runs.last_mut()) {
            (Some(_), Some(run)) if open => run.x.1 = piece.x.1,
            (Some(from), _) => runs.push(Unbroken { x: piece.x, from }),
            (None, _) => {}
        }
        open = from.is_some();
    }
    runs
}

/// The site's time as one number, in ms; without a wall clock, time since the pump was switched on.
fn civil_ms(offset: UtcOffset, now: Now) -> u64 {
    match now.wall.and_then(|w| offset.civil(w)) {
        Some(c) => u64::from(c.date.days()) * 86_400_000 + u64::from(c.time.as_ms()),
        None => now.mono.as_ms(),
    }
}

fn time_label(civil_ms: u64, step: u64) -> String {
    let ms = civil_ms % 86_400_000;
    let (h, m, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60);
    if step < 60_000 { format!("{h:02}:{m:02}:{s:02}") } else { format!("{h:02}:{m:02}") }
}

fn date_label(site: &SiteTime, from: Now, after_ms: u64, short: bool) -> Option<String> {
    let wall = from.wall?.plus_ms(after_ms)?;
    let date = site.offset.civil(wall)?.date;
    let text = date_text(date);
    // The year stands in the heading.
    let text = if short { text.get(5..)? } else { text.as_str() };
    Some(format!("{} {text}", day_short(date.weekday())))
}

/// What a pause is called where there is room for it: the word, and how long.
pub fn off_label(off: super::collect::Off) -> (&'static str, String) {
    let word = match (off.wait_ms, off.hold_ms) {
        (_, 0) => "waits",
        (0, _) => "hold",
        _ => "off",
    };
    let word = match off.why {
        Some(PumpEnd::Outage) if off.wait_ms + off.hold_ms == 0 => "no power",
        Some(PumpEnd::Tripped(_)) if off.wait_ms + off.hold_ms == 0 => "tripped",
        _ => word,
    };
    (word, distance(off.ms()))
}
