//! Arming: a schedule comes into force, or is refused for a reason.

use core::fmt;

use super::{EventId, Input, Machine};
use crate::audit::{Fit, FitFault, fit};
use crate::calendar::Civil;
use crate::clock::{Now, WallMs};
use crate::event::{EndReason, Event, LostCause};
use crate::forecast::Walk;
use crate::step::{Step, StepNo};
use crate::table::TableRef;

/// How many transitions ahead the first pumping may lie.
pub const ARM_TRANSITIONS_MAX: u16 = 4_096;

/// When the pump will first start, if nothing goes wrong and holds are resumed at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FirstStart {
    /// The pumping step.
    pub step: StepNo,
    /// When it begins.
    pub at: Now,
    /// When it is due; `None` for a schedule armed without a trusted wall clock.
    pub due: Option<WallMs>,
}

/// Why a schedule was not armed; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ArmRefused {
    /// An event is under way.
    AlreadyArmed,
    /// The pump cannot do it.
    Fit(FitFault),
    /// It has an appointment, a run-until or a start-by, and the wall clock cannot be trusted.
    ClockUntrusted,
    /// No instant from now on satisfies the waits that end at this step.
    NoSuchInstant {
        /// The last wait of the group.
        step: StepNo,
    },
    /// The first run would be due later than `start-by`.
    StartsTooLate {
        /// When it would be due.
        due: Option<WallMs>,
        /// The civil instant by which it must start.
        start_by: Civil,
    },
    /// A run-until is passed over, and nothing else pumps.
    RunLost {
        /// The run-until.
        step: StepNo,
        /// Why.
        cause: LostCause,
    },
    /// Nothing in it pumps.
    NothingPumps,
    /// The first pumping lies more than [`ARM_TRANSITIONS_MAX`] transitions ahead.
    TooFarAhead,
}

impl ArmRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::AlreadyArmed => "already-armed",
            Self::Fit(fault) => fault.rule.code(),
            Self::ClockUntrusted => "clock-untrusted",
            Self::NoSuchInstant { .. } => "no-such-instant",
            Self::StartsTooLate { .. } => "starts-too-late",
            Self::RunLost { .. } => "run-lost",
            Self::NothingPumps => "nothing-pumps",
            Self::TooFarAhead => "too-far-ahead",
        }
    }
}

impl fmt::Display for ArmRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AlreadyArmed => f.write_str("an event is under way; stop or disarm it first"),
            Self::Fit(fault) => fault.fmt(f),
            Self::ClockUntrusted => f.write_str(
                "the schedule keeps appointments and the wall clock is not set; set it first",
            ),
            Self::NoSuchInstant { step } => {
                write!(f, "step {}: no instant from now on satisfies these waits", step.get())
            }
            Self::StartsTooLate { .. } => {
                f.write_str("the first run would be due later than start-by allows")
            }
            Self::RunLost { step, cause: LostCause::TooFar } => write!(
                f,
                "step {}: its time of day lies further off than its at-most, and nothing else pumps",
                step.get()
            ),
            Self::RunLost { step, cause: LostCause::Past } => write!(
                f,
                "step {}: its time of day is already over, and nothing else pumps",
                step.get()
            ),
            Self::NothingPumps => f.write_str("nothing in this schedule pumps"),
            Self::TooFarAhead => write!(
                f,
                "the first run lies more than {ARM_TRANSITIONS_MAX} transitions ahead; wait less often"
            ),
        }
    }
}

impl core::error::Error for ArmRefused {}

impl Machine {
    /// Puts a schedule in force from this moment on.
    ///
    /// Checks that the pump can do it, then runs it ahead to its first pumping. Returns when that will be.
    ///
    /// # Errors
    /// [`ArmRefused`]; the machine stays as it was.
    pub fn arm(
        &mut self,
        table: TableRef<'_>,
        pump: &Fit,
        id: EventId,
        input: Input,
    ) -> Result<FirstStart, ArmRefused> {
        if self.is_armed() {
            return Err(ArmRefused::AlreadyArmed);
        }
        let first = first_start(&mut Walk::new(table, input.now, 0), pump)?;
        *self = Self::started(table, id, input.now);
        Ok(first)
    }
}

/// Walks a walk that has just begun to the first pumping of its schedule, or says why that must not be armed.
#[inline(never)]
pub(crate) fn first_start(walk: &mut Walk<'_>, pump: &Fit) -> Result<FirstStart, ArmRefused> {
    let table = walk.table();
    fit(table, pump).map_err(ArmRefused::Fit)?;
    let settings = table.settings();
    let needs_clock =
        settings.start_by.is_some() || table.steps().iter().any(Step::needs_wall_clock);
    if needs_clock && walk.now().wall.is_none() {
        return Err(ArmRefused::ClockUntrusted);
    }
    let mut missed = None;
    let mut lost = None;
    for _ in 0..ARM_TRANSITIONS_MAX {
        match walk.next_event() {
            Some(Event::PumpingBegan { step, .. }) => {
                return Ok(FirstStart { step, at: walk.now(), due: walk.due_wall() });
            }
            Some(Event::AppointmentMissed { step, .. }) => missed = Some(step),
            Some(Event::RunLost { step, cause }) => lost = lost.or(Some((step, cause))),
            Some(Event::Ended(reason)) => {
                return Err(match (reason, settings.start_by, missed, lost) {
                    (EndReason::StartByPassed, Some(start_by), ..) => {
                        ArmRefused::StartsTooLate { due: walk.due_wall(), start_by }
                    }
                    (_, _, Some(step), _) => ArmRefused::NoSuchInstant { step },
                    (_, _, None, Some((step, cause))) => ArmRefused::RunLost { step, cause },
                    _ => ArmRefused::NothingPumps,
                });
            }
            Some(_) => {}
            // Waiting for something beyond 2135.
            None => return Err(ArmRefused::TooFarAhead),
        }
    }
    Err(ArmRefused::TooFarAhead)
}
