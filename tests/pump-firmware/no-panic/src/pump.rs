//! The whole pump on a board whose every part may do anything.

use draught::audit::Fit;
use draught::journal::Region;
use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use draught::machine::{Command, Wake};
use draught::port::{
    Air, Ambient, Duty, Faulty, FlowReading, FlowSensor, Indications, Key, Monotonic, Motor, Panel,
    Power, Supply, WallClock,
};
use draught::prelude::*;
use draught::pump::{Board, Booted, Config, Pump, Regions};
use draught::record::Origin;
use draught::{limits, regulator};

use crate::engine::STEPS;
use crate::opaque;

/// A board; all of its parts are the same.
#[derive(Debug)]
pub struct Anything;

/// The pump of the budgets.
pub type Whole = Pump<Anything, STEPS>;

impl Monotonic for Anything {
    fn now(&mut self) -> MonoMs {
        MonoMs::from_ms(opaque(0))
    }
}

impl WallClock for Anything {
    fn now(&mut self) -> Option<WallMs> {
        WallMs::from_ms(opaque(0))
    }
}

impl Motor for Anything {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        opaque(duty);
        opaque(Err(Faulty))
    }
}

impl FlowSensor for Anything {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        opaque(Err(Faulty))
    }
}

impl Supply for Anything {
    fn read(&mut self) -> Power {
        opaque(Power::GOOD)
    }
}

impl Ambient for Anything {
    fn read(&mut self) -> Option<Air> {
        opaque(None)
    }

    fn is_there(&self) -> bool {
        opaque(true)
    }
}

impl Panel for Anything {
    fn show(&mut self, indications: Indications) {
        opaque(indications);
    }

    fn key(&mut self) -> Option<Key> {
        opaque(None)
    }
}

impl ErrorType for Anything {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Anything {
    const READ_SIZE: usize = 1;

    fn read(&mut self, _: u32, to: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        opaque(to);
        opaque(Ok(()))
    }

    fn capacity(&self) -> usize {
        opaque(0)
    }
}

impl NorFlash for Anything {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4_096;

    fn erase(&mut self, _: u32, _: u32) -> Result<(), NorFlashErrorKind> {
        opaque(Ok(()))
    }

    fn write(&mut self, _: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        opaque(bytes);
        opaque(Ok(()))
    }
}

impl Board for Anything {
    type Mono = Self;
    type Wall = Self;
    type Motor = Self;
    type Flow = Self;
    type Supply = Self;
    type Ambient = Self;
    type Flash = Self;
    type Panel = Self;

    fn mono(&mut self) -> &mut Self {
        self
    }
    fn wall(&mut self) -> &mut Self {
        self
    }
    fn motor(&mut self) -> &mut Self {
        self
    }
    fn flow(&mut self) -> &mut Self {
        self
    }
    fn supply(&mut self) -> &mut Self {
        self
    }
    fn ambient(&mut self) -> &mut Self {
        self
    }
    fn flash(&mut self) -> &mut Self {
        self
    }
    fn panel(&mut self) -> &mut Self {
        self
    }
}

fn config() -> Option<Config> {
    let region = |from| Region::new(&Anything, opaque(from), opaque(8)).ok();
    Some(Config {
        device: opaque(1),
        origin: Origin::Pump,
        fit: opaque(Fit::ANY),
        regulator: opaque(regulator::Config::default()),
        limits: opaque(limits::Config::default()),
        reading_ms: opaque(1_000),
        checkpoint_ms: opaque(60_000),
        sample_ms: opaque(None),
        regions: Regions {
            shelf: region(0)?,
            shelf_half_pages: opaque(1),
            checkpoints: region(0x8000)?,
            records: region(0x1_0000)?,
        },
    })
}

/// A pump at rest.
///
/// # Errors
/// When the flash is not laid out as it must be.
pub fn made() -> Option<Whole> {
    Pump::new(Anything, config()?).ok()
}

/// Power comes back.
#[inline(never)]
pub fn boot(pump: &mut Whole, buffer: &mut [u8]) -> Booted {
    pump.boot(buffer)
}

/// A block comes in.
#[inline(never)]
pub fn load(pump: &mut Whole, block: &[u8]) {
    let _ = opaque(pump.load(block, opaque(0)));
}

/// Another of those that are kept is chosen, and one is thrown away.
#[inline(never)]
pub fn choose(pump: &mut Whole, buffer: &mut [u8]) {
    opaque(pump.places());
    let _ = opaque(pump.stored(opaque(1)));
    let _ = opaque(pump.choose(opaque(1), buffer));
    let _ = opaque(pump.remove(opaque(0)));
}

/// A schedule comes into force.
#[inline(never)]
pub fn arm(pump: &mut Whole) {
    let _ = opaque(pump.arm());
}

/// One poll.
#[inline(never)]
pub fn poll(pump: &mut Whole) -> Wake {
    pump.poll()
}

/// The host asks.
#[inline(never)]
pub fn command(pump: &mut Whole, command: &Command) {
    let _ = opaque(pump.command(*command));
}

/// The records are collected.
#[inline(never)]
pub fn collect(pump: &mut Whole) {
    let mut last = None;
    pump.each_row(|seq, kind, row| {
        opaque((kind, row));
        last = Some(seq);
    });
    if let Some(last) = last {
        pump.release_rows(last);
    }
    opaque(pump.rows_free());
}

/// A screen is shown.
#[inline(never)]
pub fn show(pump: &mut Whole) {
    opaque(pump.status());
    opaque(pump.now());
    opaque(pump.board());
    opaque(pump.table());
    opaque(pump.record());
    opaque((pump.log().told(), pump.log().counts()));
    pump.log().latest().for_each(|happened| {
        opaque(happened);
    });
}

/// Everything that a firmware does with a pump.
pub fn run(pump: &mut Whole, block: &mut [u8]) {
    opaque(boot(pump, block));
    load(pump, block);
    choose(pump, block);
    arm(pump);
    opaque(poll(pump));
    command(pump, opaque(&Command::ConfirmSampler));
    collect(pump);
    show(pump);
}
