//! What happened, in the reference's own words, and the core's events put in the same words.

use draught::clock::Now;
use draught::event::{self, Event};
use draught::machine::CommandRefused;
use draught::step;

use super::plan::{Keep, No, Sampler, keep};
use super::{Ml, Ms, ml_of_raw};

/// Both clocks at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clocks {
    /// The monotonic clock.
    pub mono: Ms,
    /// The wall clock, while it can be trusted.
    pub wall: Option<Ms>,
}

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Happening {
    /// An appointment was made: first and last wait, and the instant.
    Appointed(No, No, Ms),
    /// It was met: last wait, the instant, and how late.
    Met(No, Ms, Ms),
    /// It was missed: first and last wait, and the instant if there was one.
    Missed(No, No, Option<Ms>),
    /// The pump started.
    Started(Start),
    /// The pump stopped.
    Stopped(Stretch),
    /// A pumping step came to its end while it rested, and does not start the pump again. It is a transition of which
    /// no event tells.
    NotAgain,
    /// A pumping step was passed over.
    Lost(No, Lost),
    /// A hold began.
    HoldBegan(No),
    /// A hold was over, because its time was.
    HoldRanOut(No),
    /// The operator ended a hold.
    HoldResumed(No),
    /// A repeat goes round again: its number, the passes behind it, the sampler.
    RoundAgain(No, u32, Sampler),
    /// A repeat is done.
    RoundsDone(No),
    /// A pumping step did not begin for want of a confirmed sampler.
    Skipped(No),
    /// The event is over.
    Over(End),
    /// The pump goes on after an outage: at this instant of the monotonic clock, and how long the outage
    /// lasted if that is known.
    PowerIsBack(Ms, Option<Ms>),
    /// A command was obeyed.
    Obeyed,
    /// A command was refused.
    Refused(Why),
}

/// A start of the pump.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Start {
    /// The pumping step.
    pub no: No,
    /// The pass of each enclosing repeat, outermost first, from 1.
    pub passes: Vec<u32>,
    /// The number of the sample.
    pub sample: u32,
    /// What is kept constant.
    pub keep: Keep,
}

/// A stretch of pumping.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The pumping step.
    pub no: No,
    /// The pass of each enclosing repeat, outermost first, from 1.
    pub passes: Vec<u32>,
    /// The number of the sample.
    pub sample: u32,
    /// When it began.
    pub begin: Clocks,
    /// When it ended.
    pub end: Clocks,
    /// What was drawn.
    pub drawn: Ml,
    /// Why it ended.
    pub by: By,
    /// How much longer than asked it lasted.
    pub over: Ms,
}

/// Why the pump stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Its time, or its time of day.
    Time,
    /// Its volume.
    Volume,
    /// Its "at most".
    AtMost,
    /// The operator.
    Operator,
    /// A limit.
    Tripped(Limit),
    /// An outage.
    Outage,
}

/// A limit that may trip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// Too little flow.
    LittleFlow,
    /// Too much flow.
    MuchFlow,
    /// Too much pressure.
    Pressure,
    /// A weak supply.
    Supply,
    /// A flow sensor that fails.
    Sensor,
}

/// Why a step was passed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lost {
    /// It ends too far ahead, or never.
    TooFar,
    /// It should have ended already.
    Past,
}

/// Why an event is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// It reached finish.
    Finished,
    /// A missed appointment.
    Missed,
    /// Too late for start-by.
    StartBy,
    /// Nobody resumed a hold that closes.
    HoldRanOut,
    /// The operator's stop.
    Stop,
    /// Taken out of force.
    Disarm,
    /// A limit tripped.
    Fault(Limit),
    /// An outage.
    Outage,
    /// An outage of which nobody knows how long it lasted.
    ClockLost,
}

/// Why a command was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The present step is not that hold, or its time is over.
    NotThatHold,
    /// No repeat asks for samplers to be confirmed.
    NobodyAsked,
    /// The pump is on.
    Pumping,
    /// There is no event.
    NoEvent,
    /// Nothing is being pumped.
    NotPumping,
    /// There is no event to go on with after an outage.
    NothingToResume,
}

/// A core event in these words; `None` for one that no legal use brings about.
#[must_use]
pub fn in_these_words(event: &Event) -> Option<Happening> {
    Some(match *event {
        Event::AppointmentSet { first, step, at } => {
            Happening::Appointed(first.get(), step.get(), at.as_ms().into())
        }
        Event::AppointmentMet { step, at, late_ms } => {
            Happening::Met(step.get(), at.as_ms().into(), late_ms.into())
        }
        Event::AppointmentMissed { first, step, at } => {
            Happening::Missed(first.get(), step.get(), at.map(|a| a.as_ms().into()))
        }
        Event::PumpingBegan { step, passes, sample, target } => Happening::Started(Start {
            no: step.get(),
            passes: passes_of(passes),
            sample,
            keep: keep(target),
        }),
        Event::PumpingEnded(p) => Happening::Stopped(Stretch {
            no: p.step.get(),
            passes: passes_of(p.passes),
            sample: p.sample,
            begin: clocks(p.begin),
            end: clocks(p.end),
            drawn: ml_of_raw(p.volume.as_raw()),
            by: by(p.by),
            over: p.overrun_ms.into(),
        }),
        Event::RunLost { step, cause } => Happening::Lost(step.get(), lost(cause)),
        Event::HoldBegan { step } => Happening::HoldBegan(step.get()),
        Event::HoldEnded { step, by: event::HoldEnd::RanOut } => Happening::HoldRanOut(step.get()),
        Event::HoldEnded { step, by: event::HoldEnd::Resumed } => {
            Happening::HoldResumed(step.get())
        }
        Event::PassedOn { step, done, sampler } => {
            let sampler = match sampler {
                step::Sampler::Same => Sampler::Same,
                step::Sampler::Fresh => Sampler::Fresh,
                step::Sampler::FreshConfirmed => Sampler::Confirmed,
            };
            Happening::RoundAgain(step.get(), done.into(), sampler)
        }
        Event::RepeatDone { step } => Happening::RoundsDone(step.get()),
        Event::PassSkipped { step } => Happening::Skipped(step.get()),
        Event::Ended(reason) => Happening::Over(end(reason)?),
    })
}

/// Why a pump stopped, in these words.
#[must_use]
pub fn by(by: event::PumpEnd) -> By {
    match by {
        event::PumpEnd::Time => By::Time,
        event::PumpEnd::Volume => By::Volume,
        event::PumpEnd::Limit => By::AtMost,
        event::PumpEnd::Stopped => By::Operator,
        event::PumpEnd::Tripped(which) => By::Tripped(limit(which)),
        event::PumpEnd::Outage => By::Outage,
    }
}

/// A limit, in these words.
#[must_use]
pub fn limit(limit: event::Limit) -> Limit {
    match limit {
        event::Limit::FlowLow => Limit::LittleFlow,
        event::Limit::FlowHigh => Limit::MuchFlow,
        event::Limit::Pressure => Limit::Pressure,
        event::Limit::Supply => Limit::Supply,
        event::Limit::Sensor => Limit::Sensor,
    }
}

/// Why a step was lost, in these words.
#[must_use]
pub fn lost(cause: event::LostCause) -> Lost {
    match cause {
        event::LostCause::TooFar => Lost::TooFar,
        event::LostCause::Past => Lost::Past,
    }
}

/// Why an event ended, in these words; `None` for a wrong table.
#[must_use]
pub fn end(reason: event::EndReason) -> Option<End> {
    Some(match reason {
        event::EndReason::Finished => End::Finished,
        event::EndReason::Missed => End::Missed,
        event::EndReason::StartByPassed => End::StartBy,
        event::EndReason::HoldRanOut => End::HoldRanOut,
        event::EndReason::Stopped(_) => End::Stop,
        event::EndReason::Disarmed => End::Disarm,
        event::EndReason::WrongTable => return None,
        event::EndReason::Fault(which) => End::Fault(limit(which)),
        event::EndReason::Outage => End::Outage,
        event::EndReason::ClockLost => End::ClockLost,
    })
}

/// Why a command was refused, in these words.
#[must_use]
pub fn refused(refused: CommandRefused) -> Why {
    match refused {
        CommandRefused::NotThatHold => Why::NotThatHold,
        CommandRefused::NoSamplerWanted => Why::NobodyAsked,
        CommandRefused::Pumping => Why::Pumping,
        CommandRefused::NotPumping => Why::NotPumping,
        CommandRefused::NotArmed => Why::NoEvent,
    }
}

/// Both clocks, in these words.
#[must_use]
pub fn clocks(now: Now) -> Clocks {
    Clocks { mono: now.mono.as_ms().into(), wall: now.wall.map(|w| w.as_ms().into()) }
}

/// The passes, without the places where there is no repeat.
#[must_use]
pub fn passes_of(passes: event::PassCount) -> Vec<u32> {
    passes.0.iter().filter(|p| **p != 0).map(|p| u32::from(*p)).collect()
}
