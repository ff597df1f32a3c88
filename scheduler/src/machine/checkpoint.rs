//! What a pump keeps of a machine over an outage, and its bytes.

use super::{Deadline, Due, EventId, Input, Machine, State};
use crate::bytes::{Put, Take};
use crate::clock::{MonoMs, Now, WallMs};
use crate::record::codes::{of_reason, reason};
use crate::step::StepNo;
use crate::table::TableRef;
use crate::units::{Flow, Pressure, RawVolume, Target, TargetKind};
use crate::wire::{ScheduleId, schedule_id};

/// A machine at one moment. Write it while power lasts; after an outage [`Machine::resume`] goes on from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// The machine.
    pub machine: Machine,
    /// The schedule that it was called with.
    pub schedule: ScheduleId,
    /// The moment, on both clocks.
    pub at: Now,
    /// Everything metered until then.
    pub drawn: RawVolume,
}

impl Machine {
    /// What there is to keep now. `table` is the one that was armed.
    ///
    /// Take it when [`Machine::advance`] has nothing more to do at this input: what is under way then counts up to it.
    #[must_use]
    pub fn checkpoint(&self, table: TableRef<'_>, input: Input) -> Checkpoint {
        let schedule = schedule_id(table);
        Checkpoint { machine: *self, schedule, at: input.now, drawn: input.drawn }
    }
}

/// A wall clock that went back by this much at most over an outage did not go back, in ms.
const SEEMS_BACK_MS: u64 = 2_000;

impl Checkpoint {
    /// How many bytes it takes. They are no block of their own: whoever keeps them guards them by a CRC.
    pub const LEN: usize = 32 + 83 + 28;

    /// Whether a pumping step was under way.
    #[must_use]
    pub const fn is_under_way(&self) -> bool {
        self.machine.is_under_way()
    }

    /// Whether the pump ran.
    pub(crate) const fn is_pumping(&self) -> bool {
        self.machine.is_pumping()
    }

    /// Where the monotonic clock goes on when the wall clock says `wall`, and how long the outage lasted, in ms, if
    /// that is known.
    ///
    /// A firmware adds the difference to what its own clock says from then on.
    #[must_use]
    pub fn continued(&self, wall: Option<WallMs>) -> (MonoMs, Option<u64>) {
        let outage_ms = self.outage_ms(wall);
        (self.at.mono.plus_ms(outage_ms.unwrap_or(0)), outage_ms)
    }

    /// How long the outage lasted; `None` if that is not known. A clock of whole seconds may seem to have gone back a little;
    /// one that went back by more was set, or has lost its time.
    pub(super) fn outage_ms(&self, wall: Option<WallMs>) -> Option<u64> {
        let (cut, now) = self.at.wall.zip(wall)?;
        (cut.since(now) <= SEEMS_BACK_MS).then(|| now.since(cut))
    }

    /// As bytes. One checkpoint has exactly one sequence of them.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; Self::LEN] {
        let mut bytes = [0; Self::LEN];
        self.put(&mut Put::new(&mut bytes));
        bytes
    }

    pub(crate) fn put(&self, out: &mut Put<'_>) {
        put_state(out, &self.machine.state);
        put_machine(out, &self.machine);
        out.bytes(&self.schedule.0);
        put_now(out, self.at);
        out.u64(self.drawn.as_raw());
    }

    /// From bytes; `None` unless they are those of a checkpoint.
    ///
    /// No bytes make a machine that panics, and none one that never comes to rest; but only bytes that a CRC guards
    /// make the machine that was kept.
    #[must_use]
    #[inline(never)]
    pub fn from_bytes(bytes: &[u8; Self::LEN]) -> Option<Self> {
        let mut take = Take::new(bytes);
        let state = take_state(&mut take);
        let machine = take_machine(&mut take, state?);
        let schedule = ScheduleId(take.u32().to_le_bytes());
        let at = take_now(&mut take);
        let drawn = RawVolume::from_raw(take.u64());
        let checkpoint = Self { machine, schedule, at, drawn };
        // What a state does not use, or what follows from it, must be as it would be written.
        (take.is_good() && machine.is_sound() && checkpoint.to_bytes() == *bytes)
            .then_some(checkpoint)
    }
}

const IDLE: u8 = 0;
const ENTERING: u8 = 1;
const WAITING: u8 = 2;
const PUMPING: u8 = 3;
const PAUSED: u8 = 4;
const HOLDING: u8 = 5;
const ENDING: u8 = 6;
const ENDED: u8 = 7;

/// What a state is made of: a kind, two small numbers, a target, and three words.
fn put_state(out: &mut Put<'_>, state: &State) {
    let (mut small, mut words) = ([0_u8; 2], [0_u64; 3]);
    let mut keeps = None;
    let kind = match *state {
        State::Idle => IDLE,
        State::Entering { index } => {
            small = [index, 0];
            ENTERING
        }
        State::Waiting { first, last, at } => {
            small = [first, last];
            words = [at.as_ms(), 0, 0];
            WAITING
        }
        State::Pumping { index, retries, target, begin, drawn } => {
            small = [index, retries];
            words = [begin.mono.as_ms(), begin.wall.map_or(0, WallMs::as_ms), drawn.as_raw()];
            keeps = Some(target);
            PUMPING
        }
        State::Paused { index, retries, end, moves_from, full } => {
            small = [index, retries];
            words = [end.as_ms(), moves_from.as_ms(), full.as_raw()];
            PAUSED
        }
        State::Holding { index } => {
            small = [index, 0];
            HOLDING
        }
        State::Ending(reason) => {
            small = [of_reason(reason), 0];
            ENDING
        }
        State::Ended(reason) => {
            small = [of_reason(reason), 0];
            ENDED
        }
    };
    out.u8(kind);
    out.bytes(&small);
    let (by, target) = match keeps.map(Target::kind) {
        None => (0, 0),
        Some(TargetKind::Flow(flow)) => (1, flow.ul_per_min()),
        Some(TargetKind::Pressure(pressure)) => (2, pressure.as_pa()),
    };
    out.u8(by);
    out.u32(target);
    words.iter().for_each(|word| out.u64(*word));
}

fn take_state(take: &mut Take<'_>) -> Option<State> {
    let (kind, a, b, by, target) = (take.u8(), take.u8(), take.u8(), take.u8(), take.u32());
    let (word, other, third) = (take.u64(), take.u64(), take.u64());
    let mono = MonoMs::from_ms(word);
    let volume = RawVolume::from_raw(third);
    Some(match kind {
        IDLE => State::Idle,
        ENTERING => State::Entering { index: a },
        WAITING => State::Waiting { first: a, last: b, at: WallMs::from_ms(word)? },
        PUMPING => {
            let target = match by {
                1 => Target::flow(Flow::from_ul_per_min(target).ok()?),
                _ => Target::pressure(Pressure::from_pa(target).ok()?),
            };
            let begin = Now { mono, wall: WallMs::from_ms(other) };
            State::Pumping { index: a, retries: b, target, begin, drawn: volume }
        }
        PAUSED => {
            let moves_from = MonoMs::from_ms(other);
            State::Paused { index: a, retries: b, end: mono, moves_from, full: volume }
        }
        HOLDING => State::Holding { index: a },
        ENDING => State::Ending(reason(a)?),
        ENDED => State::Ended(reason(a)?),
        _ => return None,
    })
}

fn put_now(out: &mut Put<'_>, now: Now) {
    out.u64(now.mono.as_ms());
    out.wall(now.wall);
}

fn take_now(take: &mut Take<'_>) -> Now {
    Now { mono: MonoMs::from_ms(take.u64()), wall: take.wall() }
}

fn put_machine(out: &mut Put<'_>, machine: &Machine) {
    let Machine { deadline, due, done, .. } = machine;
    put_now(out, Now { mono: deadline.mono, wall: deadline.wall });
    out.u64(deadline.drawn.as_raw());
    put_now(out, Now { mono: due.mono, wall: due.wall });
    out.wall(machine.armed);
    out.wall(machine.last_appointment);
    out.u64(machine.resumed.as_ms());
    done.iter().for_each(|passes| out.u16(*passes));
    out.u32(machine.id.0);
    out.u32(machine.sample);
    out.u8(machine.steps);
    out.u8(u8::from(machine.fresh) | u8::from(machine.confirmed) << 1);
    out.u8(machine.confirm_for.map_or(0, StepNo::get));
}

fn take_machine(take: &mut Take<'_>, state: State) -> Machine {
    let (ends, drawn) = (take_now(take), RawVolume::from_raw(take.u64()));
    let due = take_now(take);
    let (armed, last_appointment) = (take.wall(), take.wall());
    let resumed = MonoMs::from_ms(take.u64());
    let done = [take.u16(), take.u16(), take.u16(), take.u16()];
    let (id, sample, steps, flags) = (take.u32(), take.u32(), take.u8(), take.u8());
    Machine {
        state,
        deadline: deadline(&state, Deadline { mono: ends.mono, wall: ends.wall, drawn }),
        due: Due { mono: due.mono, wall: due.wall },
        armed,
        last_appointment,
        resumed,
        done,
        id: EventId(id),
        sample,
        steps,
        fresh: flags & 1 != 0,
        confirmed: flags & 2 != 0,
        confirm_for: StepNo::new(take.u8()).ok(),
    }
}

/// The deadline of a state, as far as it does not follow from it.
fn deadline(state: &State, kept: Deadline) -> Deadline {
    match *state {
        State::Idle | State::Ended(_) => Deadline::NEVER,
        State::Ending(_) => Deadline::NOW,
        State::Entering { .. } if kept.wall.is_none() => Deadline::NOW,
        State::Entering { .. } => Deadline::wall(WallMs::FIRST),
        State::Waiting { at, .. } => Deadline::wall(at),
        State::Paused { .. } => Deadline { wall: kept.wall, ..Deadline::mono(kept.mono) },
        State::Holding { .. } => Deadline::mono(kept.mono),
        State::Pumping { .. } => kept,
    }
}

impl Machine {
    /// Whether its parts go together.
    fn is_sound(&self) -> bool {
        let last = match self.state {
            State::Idle => return *self == Self::new(),
            State::Ending(_) | State::Ended(_) => return true,
            State::Waiting { first, last, .. } if first > last => return false,
            State::Waiting { last, .. } => last,
            State::Pumping { .. } | State::Paused { .. } if self.sample == 0 || self.fresh => {
                return false;
            }
            State::Entering { index }
            | State::Holding { index }
            | State::Pumping { index, .. }
            | State::Paused { index, .. } => index,
        };
        last < self.steps
    }
}
