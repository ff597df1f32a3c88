//! One vector, told line by line.

use core::fmt::{Result, Write};

use draught::forecast::{Forecast, Span, What};
use draught::machine::{EventId, FirstStart, Input, Machine};
use draught::prelude::*;
use draught::wire;

use crate::walk::Steps;
use crate::{Table, Vector};

/// How many spans or events are told of one vector; what follows is counted and summed up.
const TOLD_MAX: u32 = 48;
/// Where counting ends too: a schedule may repeat tens of thousands of times.
const LOOKED_AT_MAX: u32 = 2_000;

/// Decodes a vector, encodes it again, arms it, and tells its spans and events.
///
/// # Errors
/// Those of `out`.
pub fn tell(vector: &Vector, table: &mut Table, out: &mut impl Write) -> Result {
    writeln!(out, "vector {}: {} bytes", vector.name, vector.block.len())?;
    if let Err(refused) = wire::decode_into(vector.block, table) {
        return writeln!(out, "  refused: {refused}");
    }
    let table = match table.checked() {
        Ok(table) => table,
        Err(fault) => return writeln!(out, "  decoded, but: {fault}"),
    };
    written_back(vector, table, out)?;
    let (pump, input) = (vector.pump(), Input { now: vector.armed(), drawn: RawVolume::ZERO });
    let mut machine = Machine::new();
    match machine.arm(table, &pump, EventId(1), input) {
        Ok(first) => armed(&first, out)?,
        Err(refused) => return writeln!(out, "  not armed: {refused}"),
    }
    spans("never resumed", Forecast::new(table, &pump, input.now), out)?;
    if table.steps().iter().any(|s| matches!(s, Step::HoldUntilResumed { .. })) {
        let earliest = Forecast::new(table, &pump, input.now).map(Forecast::resumed_at_once);
        spans("resumed at once", earliest, out)?;
    }
    events(machine, table, input, out)
}

fn written_back(vector: &Vector, table: TableRef<'_>, out: &mut impl Write) -> Result {
    let mut block = [0; wire::max_len(255)];
    let same = match wire::encode(table, &mut block) {
        Ok(len) if block.get(..len) == Some(vector.block) => "the same bytes",
        Ok(_) => "OTHER BYTES",
        Err(_) => "NOTHING",
    };
    let id = wire::schedule_id(table);
    writeln!(out, "  decoded: {} steps, id {id}, encodes to {same}", table.steps().len())
}

fn armed(first: &FirstStart, out: &mut impl Write) -> Result {
    write!(out, "  armed: step {} begins ", first.step.get())?;
    moment(first.at, out)?;
    writeln!(out, ", due {}", Wall(first.due))
}

fn spans<E: core::fmt::Display>(
    title: &str,
    forecast: core::result::Result<Forecast<'_>, E>,
    out: &mut impl Write,
) -> Result {
    writeln!(out, "  forecast, {title}:")?;
    let forecast = match forecast {
        Ok(forecast) => forecast,
        Err(refused) => return writeln!(out, "    refused: {refused}"),
    };
    let (mut count, mut drawn, mut last) = (0_u32, RawVolume::ZERO, None);
    for span in forecast.take(LOOKED_AT_MAX as usize) {
        if count < TOLD_MAX {
            self::span(&span, out)?;
        }
        count = count.saturating_add(1);
        drawn = drawn.saturating_add(span.volume.unwrap_or(RawVolume::ZERO));
        last = Some(span.to);
    }
    if let Some(last) = last {
        write!(out, "    {count} spans, {} drawn, to ", drawn.as_raw())?;
        moment(last, out)?;
        writeln!(out)?;
    }
    Ok(())
}

fn span(span: &Span, out: &mut impl Write) -> Result {
    write!(out, "    step {}-{} ", span.first_step.get(), span.step.get())?;
    match span.what {
        What::Wait { appointment, met } => {
            let met = if met { "met" } else { "missed" };
            write!(out, "wait for {} {met}", Wall(appointment))?;
        }
        What::Pump { target, by } => write!(out, "pump {target:?} until {by:?}")?,
        What::Hold { until_resumed, by } => {
            let kind = if until_resumed { "hold until resumed" } else { "hold" };
            write!(out, "{kind} until {by:?}")?;
        }
        What::Lost(cause) => write!(out, "lost {cause:?}")?,
        What::End(reason) => write!(out, "end {reason:?}")?,
    }
    let [a, b, c, d] = span.passes.0;
    write!(out, ", pass {a}.{b}.{c}.{d}, sample {}, from ", span.sample)?;
    moment(span.from, out)?;
    out.write_str(" to ")?;
    moment(span.to, out)?;
    match span.volume {
        Some(volume) => writeln!(out, ", {}", volume.as_raw()),
        None => writeln!(out, ", volume not known"),
    }
}

/// The machine itself, called at each wake by a perfect pump.
fn events(machine: Machine, table: TableRef<'_>, input: Input, out: &mut impl Write) -> Result {
    writeln!(out, "  events:")?;
    let mut count = 0_u32;
    for (event, at) in Steps::new(machine, table, input).take(LOOKED_AT_MAX as usize) {
        if count < TOLD_MAX {
            write!(out, "    {} {event:?}", at.as_ms())?;
            writeln!(out)?;
        }
        count = count.saturating_add(1);
    }
    writeln!(out, "    {count} events")
}

fn moment(now: Now, out: &mut impl Write) -> Result {
    write!(out, "{}/{}", now.mono.as_ms(), Wall(now.wall))
}

struct Wall(Option<WallMs>);

impl core::fmt::Display for Wall {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> Result {
        match self.0 {
            Some(wall) => write!(f, "{}", wall.as_ms()),
            None => f.write_str("-"),
        }
    }
}
