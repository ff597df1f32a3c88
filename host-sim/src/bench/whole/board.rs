//! The board of a trial.

use draught::clock::WallMs;
use draught::journal::Region;
use draught::pump::{Config, Regions};

use super::faults::FaultKind;
use super::trial::Trial;
use super::worlds::Drawn;
use crate::bench::physics::{self, PAGE, SimBoard};

/// The page at which the records begin; schedules and checkpoints are before them.
const RECORDS_PAGE: usize = 16;

/// The same in bytes.
pub(super) const RECORDS_AT: u32 = (RECORDS_PAGE * PAGE) as u32;

/// A board, and how the engine for it is built.
#[derive(Debug)]
pub(super) struct Hardware {
    pub board: SimBoard,
    pub config: Config,
}

/// A board in a drawn world, with what will happen in it.
pub(super) fn board(trial: &Trial, drawn: &Drawn, begin: Option<WallMs>) -> Option<Hardware> {
    let board = SimBoard::new(&drawn.world, trial.seed, begin)?;
    let mut config = physics::config(&board, trial.checkpoint_ms)?;
    let region = |from: usize, pages| Region::new(&board, (from * PAGE) as u32, pages).ok();
    config.regions = Regions {
        checkpoints: region(4, drawn.checkpoint_pages)?,
        records: region(RECORDS_PAGE, drawn.record_pages)?,
        ..config.regions
    };
    // What the firmware was not told, and what it will not be told.
    board.change(|plant| {
        plant.pump.free_flow *= drawn.strength;
        plant.pump.rise_ms *= drawn.lag;
        for fault in &trial.faults {
            if let FaultKind::InWorld { kind, for_ms } = fault.kind {
                plant.faults.push(physics::Fault { at_ms: fault.at_ms, lasts_ms: for_ms, kind });
            }
        }
    });
    Some(Hardware { board, config })
}
