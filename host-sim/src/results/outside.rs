//! What is outside of what plan and method ask.

use super::workers::{QUARTER_MIN, quarter};
use super::{Flag, flags};
use crate::event::{Group, Sampler};
use crate::hygiene::round::figures;
use crate::methods::Entry;
use crate::record_file::SampleRecord;

/// What is outside of what plan and method ask.
pub(super) fn outside(
    all: &mut Vec<Flag>,
    sampler: &Sampler,
    row: &SampleRecord,
    used_l: Option<f64>,
    flow: Option<f64>,
    wanted: Option<(f64, f64)>,
    entry: Option<&Entry>,
) {
    let minutes = row.pumped_ms as f64 / 60_000.0;
    let by_method = entry.map(|e| {
        (
            e.values.one("volume-min").unwrap_or(0.0),
            e.values.one("volume-max").unwrap_or(f64::INFINITY),
        )
    });
    for (who, range) in [("plan", wanted), ("method", by_method)] {
        let (Some(used), Some((least, most))) = (used_l, range) else { continue };
        let shown = format!("{} L, {who}", figures(used, 4));
        // To the last figure that is shown: 240.0 L of a wanted 240 L is enough.
        if used < least * 0.9995 {
            let says = format!("{shown} from {} L on", figures(least, 3));
            all.push(flags::flag("volume-outside", says));
        } else if used > most * 1.0005 {
            let says = format!("{shown} up to {} L", figures(most, 3));
            all.push(flags::flag("volume-outside", says));
        }
    }
    if let Some((least, most)) = entry.and_then(|e| e.values.range("duration"))
        && (minutes < least - 0.5 || minutes > most + 0.5)
    {
        let says = format!("{} min, method {} to {} min", figures(minutes, 4), least, most);
        all.push(flags::flag("duration-outside", says));
    }
    if let (Some((least, most)), Some(q)) = (entry.and_then(|e| e.values.range("flow")), flow)
        // A single flow is meant within what a verification allows.
        && (q < least * 0.95 || q > most * 1.05)
    {
        let says = format!("{} L/min, method {least} to {most} L/min", figures(q, 4));
        all.push(flags::flag("flow-outside", says));
    }
    if sampler.group == Some(Group::ShortTerm) && quarter(minutes) != QUARTER_MIN {
        all.push(flags::flag("short-term-not-15-min", format!("{} min", figures(minutes, 4))));
    }
}
