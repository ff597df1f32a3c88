//! A pump in a world, second by second.

use std::fs;
use std::path::Path;

use draught::event::EndReason;
use draught::prelude::*;
use draught::record::{EventRow, RowKind, SampleRow};
use draught::wire;
use draught_sim::bench::World;
use draught_sim::bench::physics::{Engine, PlantWorld, SimBoard, boot};
use draught_sim::plan::source::Source;

pub const HOUR: u64 = 3_600;
/// Midnight UTC.
const BEGIN: u64 = 857_779_200_000;

/// A world by its name.
pub fn world(name: &str) -> World {
    let path = format!("docs/examples/worlds/{name}.toml");
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(&path);
    let text = fs::read_to_string(file).expect("a world of this name");
    match World::read(&Source::new(path, text)) {
        Ok(world) => world,
        Err(findings) => panic!("{name}: {:?}", findings.sorted()),
    }
}

/// A world in which the sensor has no constant error: what a regulator can do something about.
pub fn calibrated(name: &str) -> World {
    let mut world = world(name);
    world.sensor.gain_error = 0.0;
    world
}

pub fn plant(world: &mut World) -> &mut PlantWorld {
    world.plant.as_mut().expect("a world with a plant")
}

pub fn flow(ul_per_min: u32) -> Target {
    Target::flow(Flow::from_ul_per_min(ul_per_min).expect("a flow"))
}

pub struct Run {
    pub board: SimBoard,
    pub engine: Engine,
    /// The target, in its own unit.
    target: f64,
    by_pressure: bool,
}

impl Run {
    /// Armed, and not yet started.
    pub fn new(world: &World, target: Target, hours: u64, seed: u64) -> Self {
        let begin = WallMs::from_ms(BEGIN);
        let board = SimBoard::new(world, seed, begin).expect("a world with a plant");
        let (mut engine, _) = boot(&board, 60_000).expect("a pump");
        let mut table = StepTable::<4>::new(Settings::new(UtcOffset::UTC, target));
        let run = DurationMs::from_ms((hours * HOUR * 1_000) as u32).expect("a duration");
        table.push(Step::RunFor { run, target: None }).expect("room");
        table.push(Step::Finish).expect("room");
        let mut block = [0; 64];
        let len = wire::encode(table.checked().expect("a schedule"), &mut block).expect("room");
        engine.load(&block[..len], 0).expect("it can be loaded");
        engine.arm().expect("it can be armed");
        let (target, by_pressure) = match target.kind() {
            TargetKind::Flow(flow) => (flow.ul_per_min().into(), false),
            TargetKind::Pressure(pressure) => (pressure.as_pa().into(), true),
        };
        Self { board, engine, target, by_pressure }
    }

    /// Goes on for a time; what was truly kept in each second, as a part of the target.
    pub fn seconds(&mut self, count: u64) -> Vec<f64> {
        (0..count)
            .map(|_| {
                self.engine.poll();
                let before = self.board.truth();
                self.board.pass(1_000);
                let after = self.board.truth();
                let is = if self.by_pressure {
                    after.drop
                } else {
                    (after.drawn_ul - before.drawn_ul) * 60.0
                };
                is / self.target
            })
            .collect()
    }

    /// Goes on for a time while something is changed bit by bit, from 0 to 1.
    pub fn changing(&mut self, count: u64, how: impl Fn(&mut PlantWorld, f64)) -> Vec<f64> {
        (0..count)
            .flat_map(|second| {
                self.board.change(|plant| how(plant, second as f64 / count as f64));
                self.seconds(1)
            })
            .collect()
    }

    /// The record, once the event is over.
    pub fn rows(&mut self) -> (SampleRow, EventRow) {
        // Its clock may be behind.
        for _ in 0..10 {
            self.engine.poll();
            self.board.pass(1_000);
        }
        let (mut sample, mut event) = (None, None);
        self.engine.each_row(|_, kind, row| match kind {
            RowKind::Sample => sample = SampleRow::from_bytes(row),
            RowKind::Event => event = EventRow::from_bytes(row),
            RowKind::Span => {}
        });
        (sample.expect("a sample"), event.expect("an event that is over"))
    }

    pub fn ended(&mut self) -> EndReason {
        self.rows().1.reason
    }
}

pub fn range(of: &[f64]) -> (f64, f64) {
    of.iter().fold((f64::MAX, f64::MIN), |(low, high), &f| (low.min(f), high.max(f)))
}

/// Whether all of it is within a part of the target.
#[track_caller]
pub fn within(of: &[f64], part: f64, what: &str) {
    let (low, high) = range(of);
    assert!(low >= 1.0 - part && high <= 1.0 + part, "{what}: {low:.4} to {high:.4} of the target");
}

/// Means over so many seconds.
pub fn means(of: &[f64], seconds: usize) -> Vec<f64> {
    of.chunks_exact(seconds).map(|part| part.iter().sum::<f64>() / seconds as f64).collect()
}
