//! What comes of a run of a whole pump.

use std::fmt;

use draught::clock::Now;
use draught::event::Event;
use draught::pump::{LoadRefused, StartRefused};

use super::physics::Fault;
use super::pump_record::Rows;
use super::pump_truth::Share;

/// Why a whole pump did not take a schedule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PumpRefused {
    /// The world has no `[plant]`.
    NoPlant,
    /// The constants of the world make no pump.
    NoPump,
    /// The schedule cannot be loaded.
    Load(LoadRefused),
    /// It cannot be armed.
    Start(StartRefused),
}

impl fmt::Display for PumpRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPlant => f.write_str("this world has no [plant]"),
            Self::NoPump => f.write_str(
                "the [rated] flows of this world make no pump: least-flow is above most-flow",
            ),
            Self::Load(refused) => refused.fmt(f),
            Self::Start(refused) => refused.fmt(f),
        }
    }
}

/// Something in the course of a run, for its story.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// When, by the pump's clocks; what the world does, by the world's.
    pub at: Now,
    /// What.
    pub what: Tale,
}

/// What happened: inside the pump, or to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tale {
    /// The engine reported it.
    Pump(Event),
    /// A scripted fault begins.
    Begins(Fault),
    /// It is over.
    Over(Fault),
    /// The engine was booted again after so many ms without power.
    Booted(u64),
    /// So many things more happened than the engine's log holds.
    More(u32),
}

/// What came of a run of a whole pump.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpOutcome {
    /// The rows of the pump's journal.
    pub rows: Rows,
    /// What happened, in order.
    pub told: Vec<Told>,
    /// Where true and metered volume differ.
    pub share: Share,
    /// How often the shell woke up while the pump ran, and while it did not.
    pub wakes: (u64, u64),
    /// How often power was cut.
    pub cuts: u32,
    /// Time between two checkpoints while pumping, in ms.
    pub checkpoint_ms: u32,
    /// What is left of the battery at the begin and the end, as a part; `None`: mains.
    pub battery: Option<(f64, f64)>,
}
