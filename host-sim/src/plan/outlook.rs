//! What a schedule will do, as a whole: the core's forecast from both ends of what an operator can do.

use draught::audit::Fit;
use draught::clock::Now;
use draught::event::EndReason;
use draught::forecast::{Forecast, Span, What};
use draught::machine::ArmRefused;
use draught::step::Step;
use draught::table::TableRef;
use draught::units::RawVolume;

/// A least and a most, which are the same where nothing is open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range<T> {
    /// The least.
    pub least: T,
    /// The most.
    pub most: T,
}

impl<T: Copy + Ord> Range<T> {
    /// From two values in any order.
    #[must_use]
    pub fn of(a: T, b: T) -> Self {
        Self { least: a.min(b), most: a.max(b) }
    }

    /// The least and the most of many; `None` of none.
    pub fn over(values: impl IntoIterator<Item = T>) -> Option<Self> {
        values.into_iter().fold(None, |range: Option<Self>, v| {
            let r = range.unwrap_or(Self { least: v, most: v });
            Some(Self { least: r.least.min(v), most: r.most.max(v) })
        })
    }

    /// Whether both ends are the same.
    #[must_use]
    pub fn is_one(&self) -> bool {
        self.least == self.most
    }
}

/// One line of events, to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line(pub Vec<Span>);

/// What one sampler collects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SampleVolume {
    /// Its number, from 1.
    pub sample: u32,
    /// How long it is pumped through, in ms.
    pub pumped_ms: Range<u64>,
    /// What it collects; `None` when the flow is not known.
    pub volume: Option<Range<RawVolume>>,
}

/// How many moments between at once and never are looked at for a hold until resumed.
const MOMENTS: u32 = 48;
/// A line of more spans than this is walked at its ends and at the last moment only.
const LONG: usize = 5_000;

/// What may happen: every hold until resumed resumed at once, none resumed, and moments between.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outlook {
    /// Every hold is resumed at once.
    pub resumed: Line,
    /// No hold is resumed. Equal to the other where there is none.
    pub run_out: Line,
    /// Holds are resumed at moments between, the last millisecond among them. Empty where there is no such hold.
    pub between: Vec<Line>,
}

impl Line {
    fn pumping(&self) -> impl Iterator<Item = &Span> {
        self.0.iter().filter(|s| matches!(s.what, What::Pump { .. }))
    }

    /// When the pump first starts.
    #[must_use]
    pub fn first_start(&self) -> Option<Now> {
        self.pumping().next().map(|s| s.from)
    }

    /// When it last stops.
    #[must_use]
    pub fn last_stop(&self) -> Option<Now> {
        self.pumping().last().map(|s| s.to)
    }

    /// How long the pump runs in all, in ms.
    #[must_use]
    pub fn pumped_ms(&self) -> u64 {
        self.pumping().map(length_ms).sum()
    }

    /// What is drawn in all; `None` when the flow is not known.
    #[must_use]
    pub fn volume(&self) -> Option<RawVolume> {
        self.pumping().try_fold(RawVolume::ZERO, |sum, s| Some(sum.saturating_add(s.volume?)))
    }

    /// How long holds keep the pump off between its first start and its last stop, in ms.
    #[must_use]
    pub fn held_ms(&self) -> u64 {
        let (Some(first), Some(last)) = (self.first_start(), self.last_stop()) else { return 0 };
        self.0
            .iter()
            .filter(|s| matches!(s.what, What::Hold { .. }))
            .filter(|s| s.from.mono >= first.mono && s.to.mono <= last.mono)
            .map(length_ms)
            .sum()
    }

    /// Why it ends; `None` when it would run past 2135.
    #[must_use]
    pub fn end(&self) -> Option<EndReason> {
        self.0.iter().rev().find_map(|s| match s.what {
            What::End(reason) => Some(reason),
            _ => None,
        })
    }

    /// Time and volume of each sample, in order.
    fn samples(&self) -> Vec<(u32, u64, Option<RawVolume>)> {
        let mut samples: Vec<(u32, u64, Option<RawVolume>)> = Vec::new();
        for span in self.pumping() {
            match samples.last_mut() {
                Some((sample, ms, volume)) if *sample == span.sample => {
                    *ms += length_ms(span);
                    *volume = volume.zip(span.volume).map(|(a, b)| a.saturating_add(b));
                }
                _ => samples.push((span.sample, length_ms(span), span.volume)),
            }
        }
        samples
    }
}

fn up_to_second(ms: u64) -> u64 {
    ms.next_multiple_of(1_000)
}

/// How long a span takes, in ms.
#[must_use]
pub fn length_ms(span: &Span) -> u64 {
    span.to.mono.since(span.from.mono)
}

impl Outlook {
    /// Walks the whole schedule, more than once if someone may resume a hold in it.
    ///
    /// # Errors
    /// [`ArmRefused`], when arming is refused.
    pub fn new(table: TableRef<'_>, armed: Now) -> Result<Self, ArmRefused> {
        let forecast = Forecast::new(table, &Fit::ANY, armed)?;
        let longest = table.steps().iter().filter_map(|s| match s {
            Step::HoldUntilResumed { at_most, .. } => Some(at_most.as_ms()),
            _ => None,
        });
        let Some(longest) = longest.max() else {
            let line = Line(forecast.collect());
            return Ok(Self { resumed: line.clone(), run_out: line, between: Vec::new() });
        };
        let run_out = Line(forecast.clone().collect());
        let part = |i| u32::try_from(u64::from(longest) * u64::from(i) / u64::from(MOMENTS));
        let few = if run_out.0.len() > LONG { MOMENTS } else { 1 };
        let moments = (few..MOMENTS).filter_map(|i| part(i).ok()).chain([u32::MAX]);
        let between =
            moments.map(|ms| Line(forecast.clone().resumed_after(ms).collect())).collect();
        Ok(Self { resumed: Line(forecast.resumed_at_once().collect()), run_out, between })
    }

    /// Every line that was looked at.
    pub fn lines(&self) -> impl Iterator<Item = &Line> {
        [&self.resumed, &self.run_out].into_iter().chain(&self.between)
    }

    /// Whether both lines go through the same steps, so that they can be shown as one with ranges.
    #[must_use]
    pub fn same_steps(&self) -> bool {
        let key = |s: &Span| {
            let end = match s.what {
                What::End(reason) => Some(reason),
                _ => None,
            };
            (s.first_step, s.step, s.passes, s.sample, std::mem::discriminant(&s.what), end)
        };
        self.resumed.0.len() == self.run_out.0.len()
            && self.resumed.0.iter().map(key).eq(self.run_out.0.iter().map(key))
    }

    /// The samples of all lines, with their ranges. A sample that one line does not have begins at nothing.
    #[must_use]
    pub fn samples(&self) -> Vec<SampleVolume> {
        let lines: Vec<_> = self.lines().map(Line::samples).collect();
        let most = lines.iter().map(Vec::len).max().unwrap_or(0);
        (0..most)
            .filter_map(|i| {
                let sample = lines.iter().find_map(|l| l.get(i))?.0;
                let pumped = lines.iter().map(|l| l.get(i).map_or(0, |s| s.1));
                let volumes = lines.iter().map(|l| l.get(i).map_or(Some(RawVolume::ZERO), |s| s.2));
                Some(SampleVolume {
                    sample,
                    pumped_ms: Range::over(pumped)?,
                    volume: volumes.collect::<Option<Vec<_>>>().and_then(Range::over),
                })
            })
            .collect()
    }

    /// How long the pump runs in all, in ms.
    #[must_use]
    pub fn pumped_ms(&self) -> Range<u64> {
        self.range(Line::pumped_ms)
    }

    /// How long holds keep the pump off between its first start and its last stop, in ms.
    #[must_use]
    pub fn held_ms(&self) -> Range<u64> {
        let exact = self.range(Line::held_ms);
        // Resumed in its last millisecond, a hold takes all but one of its time: say the whole.
        let most = if self.between.is_empty() { exact.most } else { up_to_second(exact.most) };
        Range { most, ..exact }
    }

    fn range<T: Copy + Ord>(&self, of: impl Fn(&Line) -> T) -> Range<T> {
        let ends = Range::of(of(&self.resumed), of(&self.run_out));
        let all = self.between.iter().map(of).chain([ends.least, ends.most]);
        Range::over(all).unwrap_or(ends)
    }

    /// What is drawn in all.
    #[must_use]
    pub fn volume(&self) -> Option<Range<RawVolume>> {
        self.lines().map(Line::volume).collect::<Option<Vec<_>>>().and_then(Range::over)
    }

    /// When the pump first starts, at the earliest.
    #[must_use]
    pub fn first_start(&self) -> Option<Now> {
        self.resumed.first_start().or(self.run_out.first_start())
    }

    /// When the pump last stops, at the latest.
    #[must_use]
    pub fn last_stop(&self) -> Option<Now> {
        let latest = self.lines().filter_map(Line::last_stop).max_by_key(|n| n.mono)?;
        let ms = latest.wall.map_or(0, |w| w.as_ms());
        let more = if self.between.is_empty() { 0 } else { up_to_second(ms) - ms };
        Some(latest.plus_ms(more))
    }

    /// When the pump last stops, at the earliest.
    #[must_use]
    pub fn earliest_last_stop(&self) -> Option<Now> {
        self.lines().filter_map(Line::last_stop).min_by_key(|n| n.mono)
    }
}
