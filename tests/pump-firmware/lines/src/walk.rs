//! A machine driven at each of its wakes by a pump that always keeps its target.
//!
//! Not the walk of the forecast: it is written here once more, on the public API alone, as a firmware would.

use core::hint::black_box;

use draught::forecast::Forecast;
use draught::machine::{Demand, EventId, Input, Machine, Wake};
use draught::prelude::*;
use draught::wire;

use crate::{Table, Vector};

/// What an emulated pump draws when its target is a pressure: some flow, the same everywhere.
const FLOW_UNDER_PRESSURE_UL_PER_MIN: u64 = 1_000_000;

/// The events of an armed machine, with the moments at which they are reported.
pub(crate) struct Steps<'t> {
    machine: Machine,
    table: TableRef<'t>,
    input: Input,
}

impl<'t> Steps<'t> {
    pub(crate) const fn new(machine: Machine, table: TableRef<'t>, input: Input) -> Self {
        Self { machine, table, input }
    }
}

impl Iterator for Steps<'_> {
    type Item = (Event, MonoMs);

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let answer = self.machine.advance(self.table, self.input);
            if let Some(event) = answer.event {
                return Some((event, self.input.now.mono));
            }
            if let Wake::At { mono, wall, drawn } = answer.wake {
                let flow = flow(answer.demand);
                let ms = wait_ms(&self.input, mono, wall, drawn, flow)?;
                let more = RawVolume::from_raw(flow.saturating_mul(ms));
                self.input.now = self.input.now.plus_ms(ms);
                self.input.drawn = self.input.drawn.saturating_add(more);
            }
        }
    }
}

fn flow(demand: Demand) -> u64 {
    match demand {
        Demand::Off => 0,
        Demand::Pump(target) => match target.as_flow() {
            Some(flow) => flow.ul_per_min().into(),
            None => FLOW_UNDER_PRESSURE_UL_PER_MIN,
        },
    }
}

fn wait_ms(
    input: &Input,
    mono: Option<MonoMs>,
    wall: Option<WallMs>,
    drawn: Option<RawVolume>,
    flow: u64,
) -> Option<u64> {
    let by_mono = mono.map(|m| m.since(input.now.mono));
    let by_wall = wall.zip(input.now.wall).map(|(w, now)| w.since(now));
    let by_volume = drawn.and_then(|full| {
        let left = full.since(input.drawn).as_raw();
        left.checked_div(flow).map(|ms| ms.saturating_add(u64::from(ms.wrapping_mul(flow) < left)))
    });
    [by_mono, by_wall, by_volume].into_iter().flatten().min()
}

/// One job that the core does with a vector, told to nobody: for measuring the stack it takes.
pub type Job = fn(&Vector, TableRef<'_>, &mut Machine);

/// The jobs, in the order in which they are done.
pub const JOBS: [(&str, Job); 3] = [("arm", arm), ("forecast", forecast), ("advance", advance)];

/// Decodes a vector; what came of it is in the table.
#[inline(never)]
pub fn decode(vector: &Vector, table: &mut Table) {
    black_box(wire::decode_into(vector.block, table)).unwrap_or_default();
}

fn start(vector: &Vector) -> Input {
    Input { now: vector.armed(), drawn: RawVolume::ZERO }
}

#[inline(never)]
fn arm(vector: &Vector, table: TableRef<'_>, machine: &mut Machine) {
    let armed = machine.arm(table, &vector.pump(), EventId(1), start(vector));
    black_box(armed.is_ok());
}

#[inline(never)]
fn forecast(vector: &Vector, table: TableRef<'_>, _: &mut Machine) {
    if let Ok(mut forecast) = Forecast::new(table, &vector.pump(), vector.armed()) {
        for _ in 0..CALLS {
            black_box(&forecast.next());
        }
    }
}

#[inline(never)]
fn advance(vector: &Vector, table: TableRef<'_>, machine: &mut Machine) {
    let mut input = start(vector);
    for _ in 0..CALLS {
        let answer = machine.advance(table, input);
        if let Wake::At { mono, wall, drawn } = answer.wake {
            let flow = flow(answer.demand);
            let Some(ms) = wait_ms(&input, mono, wall, drawn, flow) else { break };
            input.now = input.now.plus_ms(ms);
            input.drawn = input.drawn.saturating_add(RawVolume::from_raw(flow.saturating_mul(ms)));
        }
    }
}

/// How far a vector is followed.
const CALLS: u32 = 256;
