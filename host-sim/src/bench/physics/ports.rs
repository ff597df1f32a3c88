//! The ports of a simulated board.

use draught::clock::{MonoMs, WallMs};
use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use draught::port::{
    Air, Ambient, Duty, Faulty, FlowReading, FlowSensor, Indications, Key, Monotonic, Motor, Panel,
    Power, Supply, WallClock,
};
use draught::pump::Board;

use super::air::kelvin;
use super::board::{PAGE, SimBoard};

impl Motor for SimBoard {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        let mut board = self.0.borrow_mut();
        if board.motor_disobeys() {
            return Err(Faulty);
        }
        board.driven = duty;
        Ok(())
    }
}

impl FlowSensor for SimBoard {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        let mut board = self.0.borrow_mut();
        if board.sensor_fails() {
            return Err(Faulty);
        }
        let stuck = board.sensor_is_stuck();
        let inside = &mut *board;
        Ok(inside.element.read(&inside.plant, &inside.sensor, stuck))
    }
}

impl Supply for SimBoard {
    fn read(&mut self) -> Power {
        let board = self.0.borrow();
        let battery = &board.plant.battery;
        let (warns, charging) = (board.supply_warns(), board.is_charging());
        if battery.mains {
            return Power { failing: warns, charging, ..Power::GOOD };
        }
        let volts = board.battery.volts;
        Power {
            left_percent: Some((board.battery.left * 100.0).round() as u8),
            low: volts < battery.low_v && !charging,
            failing: warns || volts < battery.failing_v && !charging,
            charging,
        }
    }
}

impl Ambient for SimBoard {
    fn is_there(&self) -> bool {
        self.0.borrow().plant.air.measured
    }

    fn read(&mut self) -> Option<Air> {
        let board = self.0.borrow();
        let air = &board.plant.air;
        if !air.measured {
            return None;
        }
        let celsius = board.truth.celsius + air.celsius_error;
        let pressure = board.truth.pressure + air.pressure_error;
        Some(Air {
            temperature_mk: (kelvin(celsius) * 1_000.0).round() as u32,
            pressure_pa: pressure.round() as u32,
        })
    }
}

impl Monotonic for SimBoard {
    fn now(&mut self) -> MonoMs {
        let board = self.0.borrow();
        MonoMs::from_ms((board.counted_ms - board.on_ms) as u64)
    }
}

impl WallClock for SimBoard {
    fn now(&mut self) -> Option<WallMs> {
        let mut board = self.0.borrow_mut();
        if board.clock_fails() {
            return None;
        }
        let shown = (board.counted_ms * (1.0 + board.wall_gain)) as i64;
        let at = i64::try_from(board.begin?.as_ms()).ok()?.checked_add(shown + board.stepped_ms)?;
        WallMs::from_ms(u64::try_from(at).ok()?)
    }
}

impl Panel for SimBoard {
    fn show(&mut self, indications: Indications) {
        self.0.borrow_mut().shown = indications;
    }

    fn key(&mut self) -> Option<Key> {
        self.0.borrow_mut().keys.pop()
    }
}

impl ErrorType for SimBoard {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for SimBoard {
    const READ_SIZE: usize = 4;

    fn read(&mut self, at: u32, to: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.0.borrow_mut().nor.read(at, to)
    }

    fn capacity(&self) -> usize {
        self.0.borrow().nor.capacity()
    }
}

impl NorFlash for SimBoard {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.0.borrow_mut().nor.erase(from, to)
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let mut board = self.0.borrow_mut();
        board.wrote(at, bytes.len());
        board.nor.write(at, bytes)
    }
}

/// Each port of a board is the board.
macro_rules! board {
    ($($port:ident $method:ident),+) => {
        impl Board for SimBoard {
            $(type $port = Self;
            fn $method(&mut self) -> &mut Self {
                self
            })+
        }
    };
}

board!(
    Mono mono, Wall wall, Motor motor, Flow flow, Supply supply, Ambient ambient, Flash flash, Panel panel
);
