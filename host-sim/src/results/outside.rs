//! What is outside of what the plan wants, and a short-term sample that is none.

use super::{Flag, flags};
use crate::event::{Group, Sampler};
use crate::hygiene::exposure::is_quarter;
use crate::hygiene::round::figures;
use crate::methods::fit::{Demand, Of, Standing, Stated, What};
use crate::record_file::SampleRecord;

/// What is outside of what the plan wants; the method is compared in [`super::method_fit`].
pub(super) fn outside(
    sampler: &Sampler,
    row: &SampleRecord,
    used_l: Option<f64>,
    wanted: Option<(f64, f64)>,
) -> Vec<Flag> {
    let mut found = Vec::new();
    if let (Some(used), Some((least, most))) = (used_l, wanted) {
        let demand = Demand {
            what: What::Volume,
            least: Some(least),
            most: Some(most),
            wants: String::new(),
            least_is: "",
            from: String::new(),
            stated: Stated::default(),
        };
        if demand.standing(used, used, Of::Sample) != Standing::Inside {
            let (used, least, most) = (figures(used, 4), figures(least, 3), figures(most, 3));
            let says = format!("{used} L, the plan wants {least} to {most} L");
            found.push(flags::flag("volume-outside", says));
        }
    }
    let minutes = row.pumped_ms as f64 / 60_000.0;
    if sampler.group == Some(Group::ShortTerm) && !is_quarter(minutes) {
        found.push(flags::flag("short-term-not-15-min", format!("{} min", figures(minutes, 4))));
    }
    found
}
