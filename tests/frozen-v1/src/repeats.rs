//! How repeats enclose steps. Asked of the table each time; nothing is cached.

use crate::audit::PASSES_MAX;
use crate::step::{Step, StepNo};

/// The repeat step at an index, as (first index of its body, passes).
fn repeat_at(steps: &[Step], index: usize) -> Option<(usize, u16)> {
    match steps.get(index) {
        Some(Step::Repeat { from, passes, .. }) => Some((from.index(), passes.get())),
        _ => None,
    }
}

/// Whether the repeat at `repeat` has `index` in its body.
pub(crate) fn encloses(steps: &[Step], repeat: usize, index: usize) -> bool {
    repeat > index && matches!(repeat_at(steps, repeat), Some((from, _)) if from <= index)
}

/// The innermost repeat whose body holds the step at `index`.
pub(crate) fn innermost(steps: &[Step], index: usize) -> Option<usize> {
    (index.saturating_add(1)..steps.len()).find(|&r| encloses(steps, r, index))
}

/// The repeats that have a step in their bodies.
pub(crate) struct Around {
    /// How many there are.
    pub(crate) depth: usize,
    /// Their passes multiplied; beyond [`PASSES_MAX`] only that it is beyond.
    pub(crate) passes: u32,
}

impl Around {
    /// Of the step at `index`.
    pub(crate) fn of(steps: &[Step], index: usize) -> Self {
        let mut around = Self { depth: 0, passes: 1 };
        for (i, step) in (0..steps.len()).zip(steps) {
            if let Step::Repeat { from, passes, .. } = step
                && i > index
                && from.index() <= index
            {
                around.depth = around.depth.saturating_add(1);
                // (2^16 + 1) (2^16 - 1) is 2^32 - 1: it fits.
                let so_far = around.passes.min(PASSES_MAX + 1);
                around.passes = so_far.wrapping_mul(passes.get().into());
            }
        }
        around
    }
}

/// How many repeats have the step at `index` in their bodies.
pub(crate) fn depth(steps: &[Step], index: usize) -> usize {
    Around::of(steps, index).depth
}

/// One past the last index of the group of waits that holds `index`.
pub(crate) fn group_end(steps: &[Step], index: usize) -> usize {
    let rest = steps.get(index..).unwrap_or(&[]);
    index.saturating_add(rest.iter().take_while(|s| s.is_wait()).count())
}

/// The first index of the group of waits that ends before `index`; `index` itself if there is none.
#[inline(never)]
pub(crate) fn group_start(steps: &[Step], index: usize) -> usize {
    let mut first = index;
    while let Some(before) = first.checked_sub(1)
        && steps.get(before).is_some_and(Step::is_wait)
    {
        first = before;
    }
    first
}

/// The number of the step at an index.
pub(crate) const fn number(index: usize) -> StepNo {
    StepNo::at(index)
}
