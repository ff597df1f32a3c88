//! The bench: the real core in a simulated world, faster than real time.
//!
//! [`run`] is the shell that a firmware would have around the core: it meters the gap since the last call
//! first, then calls [`draught::machine::Machine::advance`] until it has settled, then sets the motor.
//! While the pump is off it jumps from wake to wake; while the pump runs it reads the flow
//! sensor at intervals. What happens outside (flow, noise, the wall clock's drift, the operator) is the
//! [`World`]. Physics is in floating point here, on the host; what the core is given is whole numbers,
//! and those are what a trace holds.
//!
//! The same table, world and seed give the same run, byte for byte, on every computer.
//!
//! ```
//! use draught::prelude::*;
//! use draught_sim::bench::{Setup, World, run};
//!
//! let target = Target::flow(Flow::from_ul_per_min(2_000_000)?); // 2 L/min
//! let mut table = StepTable::<4>::new(Settings::new(UtcOffset::UTC, target));
//! table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
//! table.push(Step::Finish).unwrap();
//! let armed = Now { mono: MonoMs::from_ms(0), wall: None };
//!
//! let world = World::default();
//! let outcome = run(&Setup::new(table.checked().unwrap(), &world, 7, armed), &mut ()).unwrap();
//! assert_eq!(outcome.record.total.pumped_ms, 900_000);
//! assert_eq!(outcome.readings, 900);
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

mod clock;
mod compare;
mod fault_file;
pub mod nor;
mod observe;
pub mod physics;
mod plant;
mod plant_file;
mod pump_operator;
mod pump_outcome;
mod pump_record;
mod pump_run;
mod pump_truth;
mod random;
mod record;
mod run;
mod script;
mod sensor;
mod series;
mod stretch;
pub mod whole;
mod world;
mod world_file;
pub mod worlds;

pub use compare::{Comparison, Expected, Parted};
pub use observe::{Around, FaultSeen, Happened, Observer, Reading};
pub use pump_outcome::{PumpOutcome, PumpRefused, Tale, Told};
pub use pump_record::{Row, Rows};
pub use pump_run::{run as run_pump, would_arm};
pub use pump_truth::Share;
pub use record::{FlowSummary, Holds, Record, Sample, SpanRow, Total, WorstFiveMinutes};
pub use run::{Bench, Outcome, Setup, run};
pub use series::{Point, SERIES_MS, Series};
pub use stretch::{Stretch, Stretches, Within};
pub use world::{
    ClockWorld, OperatorWorld, PumpWorld, Resume, SensorWorld, Source, TrainWorld, World,
};
