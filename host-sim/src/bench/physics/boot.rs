//! The whole engine on a simulated board, as a firmware of this pump would have it.

use draught::audit::Fit;
use draught::journal::Region;
use draught::limits;
use draught::pump::{Booted, Config, Pump, Regions};
use draught::record::Origin;
use draught::units::Flow;
use draught::wire;

use super::board::{PAGE, SimBoard};

/// The engine on a simulated board.
pub type Engine = Pump<SimBoard, 32>;

/// Pages of its flash that hold checkpoints.
pub const CHECKPOINT_PAGES: u16 = 12;

/// How an engine for this board is built: gains by the tuning rule, flows as the pump is rated, a reading as often as the world says.
///
/// `None`: the constants of the world make no pump (a range of flows that is empty).
#[must_use]
pub fn config(board: &SimBoard, checkpoint_ms: u32) -> Option<Config> {
    let region = |from: usize, pages| Region::new(board, (from * PAGE) as u32, pages).ok();
    let inside = board.0.borrow();
    let (plant, reading_ms) = (&inside.plant, inside.sensor.every_ms);
    let least = Flow::from_ul_per_min(plant.rated.least as u32).ok()?;
    let most = Flow::from_ul_per_min(plant.rated.most as u32).ok()?;
    let fit = Fit { flow: Some((least, most)), ..Fit::ANY };
    let regulator = plant.regulator(reading_ms);
    drop(inside);
    Some(Config {
        device: 7,
        origin: Origin::Simulated,
        fit,
        regulator,
        limits: limits::Config::default(),
        reading_ms,
        checkpoint_ms,
        sample_ms: None,
        regions: Regions {
            shelf: region(0, 4)?,
            shelf_half_pages: 1,
            checkpoints: region(4, CHECKPOINT_PAGES)?,
            records: region(16, 48)?,
        },
    })
}

/// Switches the board on; `None` as in [`config`].
#[must_use]
pub fn boot(board: &SimBoard, checkpoint_ms: u32) -> Option<(Engine, Booted)> {
    let mut pump = Pump::new(board.clone(), config(board, checkpoint_ms)?).ok()?;
    let booted = pump.boot(&mut [0; wire::max_len(32)]);
    Some((pump, booted))
}
