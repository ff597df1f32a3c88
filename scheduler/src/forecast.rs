//! What an armed table will do, found by running the machine on perfect clocks.
//!
//! The forecast owns one [`Machine`] and calls it exactly at each wake, so it cannot differ from what the
//! machine does when it is called in time. It takes constant memory however often a table repeats.
//!
//! ```
//! use draught::{audit::Fit, forecast::{Forecast, What}, prelude::*};
//!
//! let target = Target::flow(Flow::from_ul_per_min(2_000_000)?); // 2 L/min
//! let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
//! table.push(Step::WaitForTime(TimeOfDay::from_hms(7, 30, 0).unwrap())).unwrap();
//! table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
//! table.push(Step::Finish).unwrap();
//! let table = table.checked().unwrap();
//!
//! let six = Civil {
//!     date: Date::from_ymd(2027, 3, 8).unwrap(),
//!     time: TimeOfDay::from_hms(6, 0, 0).unwrap(),
//! };
//! let armed = Now { mono: MonoMs::from_ms(0), wall: UtcOffset::UTC.instant(six) };
//! let spans: Vec<_> = Forecast::new(table, &Fit::ANY, armed).unwrap().collect();
//! assert_eq!(spans.len(), 3); // wait, pump, end
//! assert_eq!(spans[1].from.mono.as_ms(), 90 * 60_000);
//! assert_eq!(spans[1].volume.unwrap().as_ml(), 30_000); // 30 L
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

use crate::audit::Fit;
use crate::clock::{MonoMs, Now, WallMs};
use crate::event::{EndReason, Event, HoldEnd, LostCause, PassCount, PumpEnd};
use crate::machine::{ArmRefused, EventId, Input, Machine, first_start};
use crate::step::{Step, StepNo};
use crate::table::TableRef;
use crate::units::{RawVolume, Target, TargetKind};

/// One stretch of a forecast.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Span {
    /// The step; for a group of waits the first of them.
    pub first_step: StepNo,
    /// The step; for a group of waits the last of them; for the end the finish, or else the step after which the
    /// event ended.
    pub step: StepNo,
    /// Which pass of the repeats around it.
    pub passes: PassCount,
    /// The sample that it belongs to, from 1; 0 before the first pumping.
    pub sample: u32,
    /// What it is.
    pub what: What,
    /// From when ...
    pub from: Now,
    /// ... to when.
    pub to: Now,
    /// What is drawn in it: nothing when the pump is off, `None` when the target is a pressure, since then the flow is not known.
    pub volume: Option<RawVolume>,
}

/// What a stretch of a forecast is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum What {
    /// Waiting for an appointment.
    Wait {
        /// The scheduled start; `None` when no instant satisfies the waits.
        appointment: Option<WallMs>,
        /// Whether it will be met.
        met: bool,
    },
    /// Pumping.
    Pump {
        /// What the pump keeps constant.
        target: Target,
        /// What ends it.
        by: PumpEnd,
    },
    /// Pump off.
    Hold {
        /// Whether it waits for the operator.
        until_resumed: bool,
        /// What ends it.
        by: HoldEnd,
    },
    /// A run-until that is passed over.
    Lost(LostCause),
    /// The end of the event.
    End(EndReason),
}

/// No hold is resumed. Longer than any hold lasts.
const NEVER: u32 = u32::MAX;

/// The machine, called exactly at each wake, by clocks that advance equally.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Walk<'t> {
    table: TableRef<'t>,
    machine: Machine,
    input: Input,
    /// How long after it began every hold until resumed is resumed; [`NEVER`] if none is.
    resume_after_ms: u32,
    /// Since when the present hold lasts.
    held_since: MonoMs,
}

impl<'t> Walk<'t> {
    #[inline(never)]
    pub(crate) fn new(table: TableRef<'t>, now: Now, resume_after_ms: u32) -> Self {
        let machine = Machine::started(table, EventId::default(), now);
        let input = Input { now, drawn: RawVolume::ZERO };
        Self { table, machine, input, resume_after_ms, held_since: now.mono }
    }

    /// Back to the begin.
    #[inline(never)]
    fn begin(&mut self, now: Now, resume_after_ms: u32) {
        *self = Self::new(self.table, now, resume_after_ms);
    }

    pub(crate) const fn table(&self) -> TableRef<'t> {
        self.table
    }

    pub(crate) const fn now(&self) -> Now {
        self.input.now
    }

    pub(crate) const fn due_wall(&self) -> Option<WallMs> {
        self.machine.due_wall()
    }

    /// The next thing that happens; `None` when nothing ever will.
    pub(crate) fn next_event(&mut self) -> Option<Event> {
        loop {
            self.machine.assume_confirmed();
            if self.machine.target().is_none() {
                // Only what is drawn within a stretch counts, and a total over all of them need not fit.
                self.input.drawn = RawVolume::ZERO;
            }
            match self.machine.resumable(self.table, &self.input) {
                None => self.held_since = self.input.now.mono,
                Some(index) if self.comes_to_resume() => {
                    return self.machine.resume_hold(index, self.input.now);
                }
                Some(_) => {}
            }
            if self.machine.is_due(&self.input) {
                return self.machine.transition(self.table, &self.input);
            }
            self.jump()?;
        }
    }

    /// Goes to the moment at which the hold that is under way is resumed; whether it ever is.
    #[inline(never)]
    fn comes_to_resume(&mut self) -> bool {
        if self.resume_after_ms == NEVER {
            return false;
        }
        let wanted = self.held_since.plus_ms(self.resume_after_ms.into());
        let last = self.machine.deadline().mono.minus_ms(1);
        self.input.now = self.input.now.plus_ms(wanted.min(last).since(self.input.now.mono));
        true
    }

    /// Goes to the moment at which something happens; `None` if it will not come.
    #[inline(never)] // its frame is not on the way to the machine's
    fn jump(&mut self) -> Option<()> {
        let now = self.input.now;
        let until = self.machine.deadline();
        let flow = self.machine.target().and_then(Target::as_flow);
        let mut ms = until.mono.since(now.mono);
        if let (Some(at), Some(wall)) = (until.wall, now.wall) {
            ms = ms.min(at.since(wall));
        }
        let mut drawn = RawVolume::ZERO;
        if let Some(flow) = flow {
            if let Some(full) = until.volume() {
                ms = ms.min(full.since(self.input.drawn).time_at(flow));
            }
            drawn = RawVolume::of(flow, ms)?;
        }
        // Nothing lies further off than the 136 years of the wall clock; and what is not due though it is no way off is
        // beyond the end of the monotonic clock.
        if ms == 0 || ms > WallMs::LAST.as_ms() {
            return None;
        }
        self.input.now = now.plus_ms(ms);
        self.input.drawn = self.input.drawn.saturating_add(drawn);
        Some(())
    }
}

/// The spans that a table will produce when it is armed at an instant.
///
/// It takes every new sampler to be confirmed in time. A hold until resumed is taken to run out, or, after
/// [`Forecast::resumed_at_once`], to be resumed at once: the two ends of what an operator can do. What comes after may
/// lie outside both (a run-until that is out of reach from one end and over at the other), so look at moments
/// between too: [`Forecast::resumed_after`].
/// Under pressure control the flow is not known: a span has no volume, and a draw-volume lasts its "at most".
/// The last span is the [`What::End`], unless the schedule would run past 2135.
#[derive(Clone, Debug)]
pub struct Forecast<'t> {
    walk: Walk<'t>,
    /// When, and with what drawn, the stretch under way began.
    began: Input,
    first_step: StepNo,
    /// The step of the latest span.
    latest: StepNo,
}

impl<'t> Forecast<'t> {
    /// The forecast of a table armed at a moment.
    ///
    /// # Errors
    /// [`ArmRefused`], exactly when arming is refused.
    #[inline(never)]
    pub fn new(table: TableRef<'t>, pump: &Fit, armed: Now) -> Result<Self, ArmRefused> {
        // One walk for both: a second would not fit on a small stack.
        let mut walk = Walk::new(table, armed, 0);
        first_start(&mut walk, pump)?;
        walk.begin(armed, NEVER);
        Ok(Self {
            walk,
            began: Input { now: armed, drawn: RawVolume::ZERO },
            first_step: StepNo::FIRST,
            latest: StepNo::FIRST,
        })
    }

    /// The same, with every hold until resumed being resumed at once.
    #[must_use]
    pub fn resumed_at_once(mut self) -> Self {
        self.walk.resume_after_ms = 0;
        self
    }

    /// The same, with every hold until resumed being resumed so long after it began, or in its last millisecond if
    /// it is over before.
    #[must_use]
    pub fn resumed_after(mut self, ms: u32) -> Self {
        self.walk.resume_after_ms = ms.min(NEVER - 1);
        self
    }

    fn span(&self, step: StepNo, passes: PassCount, what: What) -> Span {
        let volume = match what {
            What::Pump { target, .. } => match target.kind() {
                TargetKind::Flow(_) => Some(self.walk.input.drawn.since(self.began.drawn)),
                TargetKind::Pressure(_) => None,
            },
            _ => Some(RawVolume::ZERO),
        };
        let first_step = if matches!(what, What::Wait { .. }) { self.first_step } else { step };
        let (from, to) = (self.began.now, self.walk.input.now);
        Span {
            first_step,
            step,
            passes,
            sample: self.walk.machine.sample(),
            what,
            from,
            to,
            volume,
        }
    }
}

impl Iterator for Forecast<'_> {
    type Item = Span;

    fn next(&mut self) -> Option<Span> {
        loop {
            let event = self.walk.next_event()?;
            let table = self.walk.table;
            // Whatever does not end a stretch is over at once.
            let here = self.walk.input;
            let (step, what) = match event {
                Event::AppointmentSet { first, .. } => {
                    self.first_step = first;
                    self.began = here;
                    continue;
                }
                Event::PumpingBegan { .. } | Event::HoldBegan { .. } => {
                    self.began = here;
                    continue;
                }
                // No pass is skipped here: every new sampler is taken to be confirmed.
                Event::PassedOn { .. } | Event::RepeatDone { .. } | Event::PassSkipped { .. } => {
                    continue;
                }
                Event::AppointmentMet { step, at, .. } => {
                    (step, What::Wait { appointment: Some(at), met: true })
                }
                Event::AppointmentMissed { first, step, at } => {
                    if at.is_none() {
                        self.began = here;
                    }
                    self.first_step = first;
                    (step, What::Wait { appointment: at, met: false })
                }
                Event::PumpingEnded(p) => {
                    let target = table
                        .steps()
                        .get(p.step.index())
                        .and_then(Step::own_target)
                        .unwrap_or(table.settings().target);
                    self.latest = p.step;
                    return Some(self.span(p.step, p.passes, What::Pump { target, by: p.by }));
                }
                Event::HoldEnded { step, by } => {
                    let until_resumed = matches!(
                        table.steps().get(step.index()),
                        Some(Step::HoldUntilResumed { .. })
                    );
                    (step, What::Hold { until_resumed, by })
                }
                Event::RunLost { step, cause } => {
                    self.began = here;
                    (step, What::Lost(cause))
                }
                Event::Ended(reason) => {
                    self.began = here;
                    let finish = StepNo::at(table.steps().len().saturating_sub(1));
                    let step = if reason == EndReason::Finished { finish } else { self.latest };
                    (step, What::End(reason))
                }
            };
            let passes = self.walk.machine.passes(table, step);
            self.latest = step;
            return Some(self.span(step, passes, what));
        }
    }
}
