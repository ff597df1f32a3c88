//! What an unreliable world does between two calls, and at them.

use core::fmt;

use draught::event::Limit;

/// When the next call comes.
#[derive(Clone, Copy, Debug)]
pub enum When {
    /// At the earliest wake.
    Exact,
    /// So many thousandths of the way to it.
    Early(u16),
    /// So many ms after it.
    Late(u32),
    /// So many ms after the last call, whatever the wake.
    After(u32),
    /// When an appointment at the wake is about to be missed: so many ms after the tolerance.
    AtTolerance(i8),
    /// So many ms after the next civil midnight.
    AtMidnight(i8),
    /// So many ms after the next time of day that one of the steps names.
    AtTimeOf(u8, i8),
}

/// What the wall clock does between two calls.
#[derive(Clone, Copy, Debug)]
pub enum Clock {
    /// Its duty.
    Runs,
    /// Cannot be trusted from now on.
    IsLost,
    /// Can be trusted again.
    IsFound,
    /// Is set by so many ms.
    IsSet(i32),
}

/// One call.
#[derive(Clone, Copy)]
pub struct Move {
    /// When it comes.
    pub when: When,
    /// What the wall clock did before it.
    pub clock: Clock,
    /// The flow since the last call, in thousandths of the target ...
    pub flow: u16,
    /// ... and under pressure control, where any flow may come about, in µL/min.
    pub loose: u32,
    /// What the operator does, or what trips: before (`true`) or after the machine looks.
    pub asks: Option<(bool, Wanted)>,
    /// Whether the power fails after it.
    pub fails: Option<Failure>,
}

/// What an operator may want.
#[derive(Clone, Copy, Debug)]
pub enum Wanted {
    /// To resume the present hold.
    Resume,
    /// To resume the present hold, and every one that begins at the same instant.
    ResumeEvery,
    /// To resume whatever step has this number.
    ResumeStep(u8),
    /// To confirm a new sampler.
    Confirm,
    /// To stop.
    Stop,
    /// To disarm.
    Disarm,
    /// Nothing: a limit trips.
    Trip(Limit),
}

/// An outage.
#[derive(Clone, Copy, Debug)]
pub struct Failure {
    /// Where the latest checkpoint was written.
    pub checkpoint: Written,
    /// How many calls came after it: they are as if they had not been.
    pub lost_calls: u8,
    /// When it is over.
    pub until: Until,
    /// What became of the wall clock.
    pub clock: Clock,
}

/// Where a checkpoint is written.
#[derive(Clone, Copy, Debug)]
pub enum Written {
    /// Before the machine was called there.
    Uncalled,
    /// After so many calls that had more to follow.
    Within(u8),
    /// When everything due was done, and so many thousandths of the way to the wake later.
    AtRest(u16),
}

/// When an outage is over.
#[derive(Clone, Copy, Debug)]
pub enum Until {
    /// So many ms after the checkpoint.
    After(u32),
    /// So many ms after the longest that the schedule goes on after.
    Within(i8),
    /// So many ms after the wake that was asked for at the checkpoint.
    Wake(i16),
}

/// On one line, so that a failing case can be read.
impl fmt::Debug for Move {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { when, clock, flow, loose, asks, fails } = self;
        write!(f, "{when:?}, clock {clock:?}, flow {flow} or {loose}, {asks:?}, {fails:?}")
    }
}

impl Move {
    /// At the wake, by clocks that run, at the target.
    pub const EXACT: Self = Self {
        when: When::Exact,
        clock: Clock::Runs,
        flow: 1_000,
        loose: 0,
        asks: None,
        fails: None,
    };
}
