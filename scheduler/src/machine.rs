//! The state machine: time in, demand and next wake out.
//!
//! It does no I/O and reads no clock. The caller gives the time and the metered volume, and gets back what
//! the motor shall do now, when the next call is due, and at most one thing that happened.
//! What the steps mean is `docs/steps.md`; this module is that page as code.
//!
//! # The contract
//!
//! * **One transition a call.** [`Machine::advance`] makes at most one transition and reports at most one
//!   event. Work in a call is bounded by the number of steps, never by how long ago the last call was. After a
//!   transition the wake is [`Wake::Again`]: call again, with the same input or a newer one, until it is not.
//! * **Idempotence.** Once the wake is [`Wake::At`], a call with the same input changes nothing.
//! * **Early calls are harmless**: they change nothing and return the same wake.
//! * **Late calls are safe.** Every boundary passed in between is caught up with in order. What was demanded
//!   is what happened: between two calls the motor did what the earlier one demanded, so all
//!   pumping time and volume of the gap belong to that step, its overrun recorded. A pumping step begins at the
//!   call that first demands it and then gets its whole length.
//! * **The wake** names the earliest moment at which a call can change anything, on the clock that it is
//!   measured by. Only a command, or the wall clock becoming trusted or being set, can make an earlier call useful.
//!   `Wake::At` with nothing set: nothing will ever change without a command.
//! * **Limits.** The caller judges them and says [`Command::Trip`]; the schedule's fault rule does the rest. A step that is
//!   retried is one step in several stretches: each begins with [`Event::PumpingBegan`] and ends with [`Event::PumpingEnded`].
//! * **Outages.** Keep [`Machine::checkpoint`] where it outlives the power, and go on with [`Machine::resume`].
//! * **Clocks.** The monotonic clock must not go back; if it does, no time has passed. The wall clock may be
//!   missing at any call: appointments then wait, durations go on.
//!
//! # The loop around it
//!
//! One [`Meter`](crate::meter::Meter) a sample or an event, [`idle`](crate::meter::Meter::idle) while the pump is off. First meter what was drawn since
//! the last call, then call, until the wake is not `Again`; record each event; give the motor the last demand; sleep until the
//! wake, or until the next reading is due while it pumps. See [`Input::drawn`] for when a meter may start anew. A wake on the wall
//! clock cannot come while that clock is not trusted: look again when it is set.
//!
//! ```
//! use draught::prelude::*;
//!
//! # struct Pump { mono: u64 }
//! # impl Pump {
//! #     fn clocks(&self) -> Now { Now { mono: MonoMs::from_ms(self.mono), wall: None } }
//! #     fn flow_ul_per_min(&self) -> u32 { 2_000_000 }
//! #     fn motor(&mut self, _: Demand) {}
//! #     fn sleep_a_second_or_until(&mut self, _: Wake) { self.mono += 1_000 }
//! # }
//! # fn record(_: Event) {}
//! # fn run(pump: &mut Pump, table: TableRef<'_>, machine: &mut Machine) -> RawVolume {
//! let mut meter = Meter::new(pump.clocks().mono);
//! let mut demand = Demand::Off;
//! while machine.is_armed() {
//!     let now = pump.clocks();
//!     match demand {
//!         Demand::Pump(_) => meter.reading(now.mono, pump.flow_ul_per_min()),
//!         Demand::Off => meter.idle(now.mono),
//!     }
//!     let wake = loop {
//!         let answer = machine.advance(table, Input { now, drawn: meter.volume() });
//!         answer.event.into_iter().for_each(record);
//!         demand = answer.demand;
//!         if answer.wake != Wake::Again {
//!             break answer.wake;
//!         }
//!     };
//!     pump.motor(demand);
//!     pump.sleep_a_second_or_until(wake);
//! }
//! # meter.volume()
//! # }
//! # let target = Target::flow(Flow::from_ul_per_min(2_000_000)?);
//! # let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
//! # table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
//! # table.push(Step::Finish).unwrap();
//! # let table = table.checked().unwrap();
//! # let (mut pump, mut machine) = (Pump { mono: 5_000 }, Machine::new());
//! # let input = Input { now: pump.clocks(), drawn: RawVolume::ZERO };
//! # machine.arm(table, &Fit::ANY, EventId(1), input).unwrap();
//! # assert_eq!(run(&mut pump, table, &mut machine).as_ml(), 30_000);
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```
//!
//! # An example
//!
//! ```
//! use draught::audit::Fit;
//! use draught::machine::{Demand, EventId, Input, Machine, Wake};
//! use draught::prelude::*;
//!
//! let target = Target::flow(Flow::from_ul_per_min(2_000_000)?); // 2 L/min
//! let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
//! table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
//! table.push(Step::Finish).unwrap();
//! let table = table.checked().unwrap();
//!
//! // A schedule without appointments needs no wall clock.
//! let at = |ms| Input {
//!     now: Now { mono: MonoMs::from_ms(ms), wall: None },
//!     drawn: RawVolume::ZERO,
//! };
//! let mut machine = Machine::new();
//! machine.arm(table, &Fit::ANY, EventId(1), at(5_000)).unwrap();
//! let mut answer = machine.advance(table, at(5_000));
//! while answer.wake == Wake::Again {
//!     answer = machine.advance(table, at(5_000));
//! }
//! assert_eq!(answer.demand, Demand::Pump(target));
//! let Wake::At { mono: Some(stop), .. } = answer.wake else { panic!() };
//! assert_eq!(stop.as_ms(), 905_000);
//! assert_eq!(machine.advance(table, at(905_000)).demand, Demand::Off);
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

mod arm;
mod call;
mod checkpoint;
mod command;
mod deadline;
mod due;
mod enter;
mod phase;
mod resume;
mod state;
mod stay;
#[cfg(test)]
mod tests;
mod trip;

pub(crate) use arm::first_start;
pub use arm::{ARM_TRANSITIONS_MAX, ArmRefused, FirstStart};
pub use call::{Advance, Demand, EventId, Input, Wake};
pub use checkpoint::Checkpoint;
pub use command::{Command, CommandRefused};
pub use phase::Phase;
pub use resume::ResumeRefused;

use self::deadline::Deadline;
use self::due::Due;
use self::state::State;
use crate::clock::{MonoMs, Now, WallMs};
use crate::event::{EndReason, Event, PassCount};
use crate::repeats::depth;
use crate::step::{Step, StepNo};
use crate::table::TableRef;
use crate::units::Target;

/// The state machine of one pump. Copy and compare it freely; at most 160 bytes.
///
/// It is not tied to a table type: the table is lent to each call and must be the one it was armed with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Machine {
    state: State,
    /// Before this nothing can change.
    deadline: Deadline,
    /// Where the schedule would be had nothing gone wrong, on both clocks.
    due: Due,
    armed: Option<WallMs>,
    last_appointment: Option<WallMs>,
    /// When it was resumed last; 0 before the first outage.
    resumed: MonoMs,
    /// Passes behind us of the repeats around the present step, outermost first.
    done: [u16; 4],
    id: EventId,
    /// The sample of the latest pumping; 0 before the first.
    sample: u32,
    /// How many steps the table has, to notice a wrong one.
    steps: u8,
    /// The next pumping is on a new sample.
    fresh: bool,
    /// The repeat that wants a new sampler confirmed.
    confirm_for: Option<StepNo>,
    confirmed: bool,
}

const _: () = assert!(size_of::<Machine>() <= 160, "a machine takes at most 160 bytes");

impl Default for Machine {
    fn default() -> Self {
        Self::new()
    }
}

impl Machine {
    /// A machine with nothing armed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            state: State::Idle,
            deadline: Deadline::NEVER,
            due: Due { mono: MonoMs::from_ms(0), wall: None },
            armed: None,
            last_appointment: None,
            resumed: MonoMs::from_ms(0),
            done: [0; 4],
            id: EventId(0),
            sample: 0,
            steps: 0,
            fresh: true,
            confirm_for: None,
            confirmed: false,
        }
    }

    /// A machine at the first step of a table, without any check.
    #[inline(never)]
    pub(crate) fn started(table: TableRef<'_>, id: EventId, now: Now) -> Self {
        Self {
            state: State::Entering { index: 0 },
            deadline: Deadline::NOW,
            due: Due { mono: now.mono, wall: now.wall },
            armed: now.wall,
            id,
            steps: u8::try_from(table.steps().len()).unwrap_or(u8::MAX),
            ..Self::new()
        }
    }

    /// The number of the event that was armed last.
    #[must_use]
    pub const fn event_id(&self) -> EventId {
        self.id
    }

    /// Whether an event is under way: armed and not over.
    #[must_use]
    pub const fn is_armed(&self) -> bool {
        !matches!(self.state, State::Idle | State::Ended(_))
    }

    /// Whether a pumping step is under way: the pump runs, or is paused.
    pub(crate) const fn is_under_way(&self) -> bool {
        matches!(self.state, State::Pumping { .. } | State::Paused { .. })
    }

    /// Whether the pump runs.
    pub(crate) const fn is_pumping(&self) -> bool {
        matches!(self.state, State::Pumping { .. })
    }

    /// The sample of the latest pumping, from 1; 0 before the first.
    #[must_use]
    pub const fn sample(&self) -> u32 {
        self.sample
    }

    /// Where the schedule would be on the wall clock had nothing gone wrong.
    #[must_use]
    pub const fn due_wall(&self) -> Option<WallMs> {
        self.due.wall
    }

    /// Which pass of each repeat around a step is under way.
    #[must_use]
    pub fn passes(&self, table: TableRef<'_>, step: StepNo) -> PassCount {
        let levels = depth(table.steps(), step.index());
        let mut passes = self.done;
        for (level, pass) in (0..passes.len()).zip(&mut passes) {
            *pass = if level < levels { pass.saturating_add(1) } else { 0 };
        }
        PassCount(passes)
    }

    /// What the pump keeps constant now; `None` while it is off.
    pub(crate) const fn target(&self) -> Option<Target> {
        match self.state {
            State::Pumping { target, .. } => Some(target),
            _ => None,
        }
    }

    /// Before this nothing changes.
    pub(crate) const fn deadline(&self) -> &Deadline {
        &self.deadline
    }

    /// The hold that the operator may resume now, as an index.
    #[inline(never)]
    pub(crate) fn resumable(&self, table: TableRef<'_>, input: &Input) -> Option<u8> {
        match self.state {
            State::Holding { index } if !self.is_due(input) => {
                matches!(step_at(table, index), Some(Step::HoldUntilResumed { .. }))
                    .then_some(index)
            }
            _ => None,
        }
    }

    /// For a forecast: the new sampler will be confirmed in time.
    pub(crate) const fn assume_confirmed(&mut self) {
        self.confirmed = true;
    }

    /// Moves on by at most one transition. See the [module](self) for the contract.
    ///
    /// `table` must be the one that was armed; one with another number of steps ends the event as
    /// [`EndReason::WrongTable`].
    pub fn advance(&mut self, table: TableRef<'_>, input: Input) -> Advance {
        if self.is_armed() && self.is_wrong(table) {
            let event = self.wrong_table(table, &input);
            return self.answer(event, true);
        }
        if !self.is_due(&input) {
            return self.answer(None, false);
        }
        let event = self.transition(table, &input);
        // A step that ends while it is paused has nothing to report.
        let again = event.is_some() || self.is_due(&input);
        self.answer(event, again)
    }

    /// Whether a call now would find something to do.
    pub(crate) fn is_due(&self, input: &Input) -> bool {
        self.deadline.has_come(input)
    }

    /// Makes the transition that is due now.
    pub(crate) fn transition(&mut self, table: TableRef<'_>, input: &Input) -> Option<Event> {
        if let State::Paused { index, retries, .. } = self.state
            && !self.ends_paused(input)
        {
            return self.pump(table, index, retries, input);
        }
        match self.state {
            State::Entering { index } => self.enter(table, index, input),
            State::Waiting { first, last, at } => self.meet(table, first, last, at, input),
            State::Pumping { index, .. } | State::Paused { index, .. } => {
                self.stop_in_time(table, index, input)
            }
            State::Holding { index } => self.run_out(table, index),
            State::Ending(reason) => self.end(reason),
            State::Idle | State::Ended(_) => None,
        }
    }

    #[inline(never)]
    fn answer(&self, event: Option<Event>, again: bool) -> Advance {
        let demand = self.target().map_or(Demand::Off, Demand::Pump);
        let wake = if again { Wake::Again } else { self.deadline.wake() };
        Advance { demand, wake, event }
    }

    #[inline(never)]
    fn end(&mut self, reason: EndReason) -> Option<Event> {
        self.state = State::Ended(reason);
        self.deadline = Deadline::NEVER;
        Some(Event::Ended(reason))
    }

    /// The event will be over at the next call.
    #[inline(never)]
    fn end_next(&mut self, reason: EndReason) {
        self.state = State::Ending(reason);
        self.deadline = Deadline::NOW;
    }

    /// Whether the table cannot be the one that was armed. A shell that keeps the
    /// [`schedule_id`](crate::wire::schedule_id) it armed notices a change of any kind.
    fn is_wrong(&self, table: TableRef<'_>) -> bool {
        table.steps().len() != usize::from(self.steps)
    }

    /// The table is not the one that was armed: the event ends, and what was drawn is kept.
    #[inline(never)]
    fn wrong_table(&mut self, table: TableRef<'_>, input: &Input) -> Option<Event> {
        self.steps = u8::try_from(table.steps().len()).unwrap_or(u8::MAX);
        self.end_early(table, EndReason::WrongTable, input)
    }

    #[inline(never)]
    fn go(&mut self, index: usize) {
        self.state = State::Entering { index: u8::try_from(index).unwrap_or(u8::MAX) };
        self.deadline = Deadline::NOW;
    }
}

/// The step at an index, if the table has it.
fn step_at(table: TableRef<'_>, index: u8) -> Option<&Step> {
    table.steps().get(usize::from(index))
}

/// What the pump keeps constant in the step at an index.
fn target(table: TableRef<'_>, index: u8) -> Target {
    step_at(table, index).and_then(Step::own_target).unwrap_or(table.settings().target)
}
