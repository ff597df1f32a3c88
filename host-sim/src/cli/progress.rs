//! A bar on the terminal for runs that take long.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::bench::{Happened, Observer, Reading};
use crate::plan::format;

/// A bar on the terminal, if a run takes longer than a second.
pub(super) struct Progress {
    shown: bool,
    begun: Instant,
    most_ms: u64,
    pumped_ms: u64,
    readings: u32,
    bar: Option<ProgressBar>,
}

/// How many readings pass between two looks at the computer's clock.
const LOOK_EVERY: u32 = 4_096;

impl Progress {
    pub fn new(shown: bool, most_ms: u64) -> Self {
        Self { shown, begun: Instant::now(), most_ms, pumped_ms: 0, readings: 0, bar: None }
    }

    fn look(&mut self) {
        if self.bar.is_none() && self.begun.elapsed() > Duration::from_secs(1) {
            let style = ProgressStyle::with_template(&format!(
                "simulating {} of pumping  [{{bar:32}}] {{percent}} %  {{eta}} left",
                format::distance(self.most_ms)
            ));
            let target = ProgressDrawTarget::stderr_with_hz(10);
            let bar = ProgressBar::with_draw_target(Some(self.most_ms), target);
            self.bar = Some(bar.with_style(style.unwrap_or(ProgressStyle::default_bar())));
        }
        if let Some(bar) = &self.bar {
            bar.set_position(self.pumped_ms);
        }
    }

    pub fn end(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

impl Observer for Progress {
    fn reading(&mut self, reading: &Reading) {
        self.pumped_ms += reading.covers_ms;
        self.readings = self.readings.wrapping_add(1);
        if self.shown && self.readings.is_multiple_of(LOOK_EVERY) {
            self.look();
        }
    }

    fn event(&mut self, _: &Happened) {}
}
