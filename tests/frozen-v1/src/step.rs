//! The ten kinds of step. What each means is written in `docs/steps.md`.

use crate::calendar::{Date, TimeOfDay, Weekdays};
use crate::units::{DurationMs, OutOfRange, Quantity, Target, Volume};

/// One row of a step table. At most 16 bytes.
///
/// Consecutive waits form one appointment. Fields that a step and its schedule share
/// (the target) are `None` when the schedule's own applies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step {
    /// Wait until the civil date is this one.
    WaitForDate(Date),
    /// Wait until the civil time of day is this one.
    WaitForTime(TimeOfDay),
    /// Wait for one of these weekdays.
    WaitForWeekday(Weekdays),
    /// Wait for a day of a cycle, such as one day in six.
    WaitForCycleDay(Cycle),
    /// Pump for a time; paused time does not count.
    RunFor {
        /// How long to pump.
        run: DurationMs,
        /// A target of its own; `None` for the schedule's.
        target: Option<Target>,
    },
    /// Pump until a civil time of day.
    RunUntil {
        /// The time of day at which the pump stops.
        time: TimeOfDay,
        /// The longest this may take from where the schedule stands.
        at_most: DurationMs,
        /// A target of its own; `None` for the schedule's.
        target: Option<Target>,
    },
    /// Pump until a volume has been metered.
    DrawVolume {
        /// The volume to draw.
        volume: Volume,
        /// The longest to pump for it.
        at_most: DurationMs,
        /// A target of its own; `None` for the schedule's.
        target: Option<Target>,
    },
    /// Pump off for a time.
    Hold(DurationMs),
    /// Pump off until the operator resumes.
    HoldUntilResumed {
        /// The longest to wait for the operator.
        at_most: DurationMs,
        /// What happens when nobody resumed it.
        then: Then,
    },
    /// Go back to an earlier step.
    Repeat {
        /// The step to go back to.
        from: StepNo,
        /// How often the steps from there to here are done in all; 2 or more.
        passes: Passes,
        /// Which sampler the next pass draws through.
        sampler: Sampler,
    },
    /// Close the record. The only legal last step.
    Finish,
}

const _: () = assert!(size_of::<Step>() <= 16, "a step takes at most 16 bytes");

impl Step {
    /// Its name, as on the rows of a plan.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::WaitForDate(_) => "wait-for-date",
            Self::WaitForTime(_) => "wait-for-time",
            Self::WaitForWeekday(_) => "wait-for-weekday",
            Self::WaitForCycleDay(_) => "wait-for-cycle-day",
            Self::RunFor { .. } => "run-for",
            Self::RunUntil { .. } => "run-until",
            Self::DrawVolume { .. } => "draw-volume",
            Self::Hold(_) | Self::HoldUntilResumed { .. } => "hold",
            Self::Repeat { .. } => "repeat",
            Self::Finish => "finish",
        }
    }

    /// Whether it is one of the waits that form appointments.
    #[must_use]
    pub const fn is_wait(&self) -> bool {
        matches!(
            self,
            Self::WaitForDate(_)
                | Self::WaitForTime(_)
                | Self::WaitForWeekday(_)
                | Self::WaitForCycleDay(_)
        )
    }

    /// Whether the pump may run in it.
    #[must_use]
    pub const fn is_pumping(&self) -> bool {
        matches!(self, Self::RunFor { .. } | Self::RunUntil { .. } | Self::DrawVolume { .. })
    }

    /// Whether it needs a wall clock: a wait or a run-until.
    #[must_use]
    pub const fn needs_wall_clock(&self) -> bool {
        self.is_wait() || matches!(self, Self::RunUntil { .. })
    }

    /// The target of its own, if it has one.
    #[must_use]
    pub const fn own_target(&self) -> Option<Target> {
        match self {
            Self::RunFor { target, .. }
            | Self::RunUntil { target, .. }
            | Self::DrawVolume { target, .. } => *target,
            _ => None,
        }
    }
}

/// The number of a step, from 1, as people count and as the bytes say it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepNo(u8);

impl StepNo {
    /// The first step.
    pub const FIRST: Self = Self(1);

    /// From a number, 1 to 255.
    ///
    /// # Errors
    /// [`OutOfRange`] for 0 and above 255.
    pub const fn new(number: u8) -> Result<Self, OutOfRange> {
        match Quantity::StepNumber.check(number as u64) {
            Ok(_) => Ok(Self(number)),
            Err(e) => Err(e),
        }
    }

    /// From a number that was checked against its range already.
    pub(crate) const fn from_checked(number: u8) -> Self {
        Self(number)
    }

    /// The number, from 1.
    #[must_use]
    pub const fn get(self) -> u8 {
        self.0
    }

    /// The place in a slice of steps, from 0.
    #[must_use]
    pub const fn index(self) -> usize {
        // A number is 1 at least.
        self.0.wrapping_sub(1) as usize
    }

    /// The number of the step at a place in a slice; a table has 255 of them at most.
    #[must_use]
    pub const fn at(index: usize) -> Self {
        Self((index as u8).saturating_add(1))
    }

    /// The step after this one.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

/// Days that come round: `from`, and every `every` days after it.
///
/// ```
/// use draught::{calendar::Date, step::Cycle};
/// let from = Date::from_ymd(2027, 1, 4).unwrap();
/// let one_in_six = Cycle::new(from, 6)?;
/// assert!(one_in_six.contains(Date::from_ymd(2027, 1, 10).unwrap()));
/// assert!(!one_in_six.contains(Date::from_ymd(2026, 12, 29).unwrap()), "before it begins");
/// # Ok::<(), draught::units::OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Cycle {
    from: Date,
    every: u16,
}

impl Cycle {
    /// A cycle of 1 to 366 days.
    ///
    /// # Errors
    /// [`OutOfRange`] for another length.
    pub const fn new(from: Date, every: u16) -> Result<Self, OutOfRange> {
        match Quantity::CycleDays.check(every as u64) {
            Ok(_) => Ok(Self { from, every }),
            Err(e) => Err(e),
        }
    }

    /// A cycle whose length was checked against its range already.
    pub(crate) const fn from_checked(from: Date, every: u16) -> Self {
        Self { from, every }
    }

    /// The first day of the cycle.
    #[must_use]
    pub const fn from(self) -> Date {
        self.from
    }

    /// Every how many days it comes round.
    #[must_use]
    pub const fn every(self) -> u16 {
        self.every
    }

    /// Whether the day is one of the cycle's.
    #[must_use]
    pub const fn contains(self, day: Date) -> bool {
        match day.days().checked_sub(self.from.days()) {
            Some(gone) => matches!(gone.checked_rem(self.every), Some(0)),
            None => false,
        }
    }

    /// The first day of the cycle that is not before `day`; `None` after 2135.
    #[must_use]
    pub const fn first_from(self, day: Date) -> Option<Date> {
        match day.days().checked_sub(self.from.days()) {
            None => Some(self.from),
            Some(gone) => match gone.checked_rem(self.every) {
                Some(0) | None => Some(day),
                Some(over) => day.plus_days(self.every - over),
            },
        }
    }
}

/// How often the body of a repeat is done in all: 2 to 65,535.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Passes(u16);

impl Passes {
    /// From a number of passes.
    ///
    /// # Errors
    /// [`OutOfRange`] for 0 and 1.
    pub const fn new(passes: u16) -> Result<Self, OutOfRange> {
        match Quantity::Passes.check(passes as u64) {
            Ok(_) => Ok(Self(passes)),
            Err(e) => Err(e),
        }
    }

    /// From a number of passes that was checked against its range already.
    pub(crate) const fn from_checked(passes: u16) -> Self {
        Self(passes)
    }

    /// The number of passes.
    #[must_use]
    pub const fn get(self) -> u16 {
        self.0
    }
}

/// What a hold until resumed does when nobody resumed it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Then {
    /// Go on with the next step.
    Continue,
    /// End the event.
    Close,
}

/// Which sampler the next pass of a repeat draws through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sampler {
    /// The same one: all passes are one sample.
    Same,
    /// A fresh one: each pass is a sample of its own.
    Fresh,
    /// A fresh one, and only if the operator has confirmed it; else the pass is skipped.
    FreshConfirmed,
}
