//! The golden vectors, and the lines that tell what the core makes of them.
//!
//! The same code runs here and on a microcontroller; the lines must be equal, one by one.

#![no_std]

mod tell;
mod walk;

pub use tell::tell;
pub use walk::{JOBS, Job, decode};

use draught::audit::Fit;
use draught::prelude::*;

/// A block with an arm instant and a pump.
#[derive(Clone, Copy, Debug)]
pub struct Vector {
    /// What it is called.
    pub name: &'static str,
    /// The encoded schedule, or what pretends to be one.
    pub block: &'static [u8],
    /// The wall clock when it is armed; none if it is not to be trusted.
    armed_ms: Option<u64>,
    /// The smallest and largest flow of the pump.
    flow: Option<(u32, u32)>,
    /// The smallest and largest pressure difference of the pump.
    pressure: Option<(u32, u32)>,
}

/// How long the pump has been on when it is armed: any number that is none of the others.
const ON_FOR_MS: u64 = 12_345;

/// Every vector in `tests/vectors`.
pub const VECTORS: &[Vector] = include!(concat!(env!("OUT_DIR"), "/vectors.rs"));

/// Room for the largest schedule that a block can hold.
pub type Table = StepTable<255>;

impl Vector {
    /// The moment of arming.
    #[must_use]
    pub fn armed(&self) -> Now {
        Now { mono: MonoMs::from_ms(ON_FOR_MS), wall: self.armed_ms.and_then(WallMs::from_ms) }
    }

    /// What the pump can do.
    #[must_use]
    pub fn pump(&self) -> Fit {
        let flow =
            |(min, max)| Some((Flow::from_ul_per_min(min).ok()?, Flow::from_ul_per_min(max).ok()?));
        let pressure =
            |(min, max)| Some((Pressure::from_pa(min).ok()?, Pressure::from_pa(max).ok()?));
        Fit { flow: self.flow.and_then(flow), pressure: self.pressure.and_then(pressure) }
    }
}
