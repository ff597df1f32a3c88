//! The ports of a simulated board.

use draught::clock::{MonoMs, WallMs};
use draught::port::{
    Air, Ambient, Duty, Faulty, FlowReading, FlowSensor, Monotonic, Motor, Power, Supply, WallClock,
};

use super::air::kelvin;
use super::board::SimBoard;

impl Motor for SimBoard {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        self.0.borrow_mut().driven = duty;
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
        if battery.mains {
            return Power::GOOD;
        }
        let volts = board.battery.volts;
        Power {
            left_percent: Some((board.battery.left * 100.0).round() as u8),
            low: volts < battery.low_v,
            failing: volts < battery.failing_v,
            charging: false,
        }
    }
}

impl Ambient for SimBoard {
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
        MonoMs::from_ms(self.0.borrow().counted_ms as u64)
    }
}

impl WallClock for SimBoard {
    fn now(&mut self) -> Option<WallMs> {
        let board = self.0.borrow();
        if board.clock_is_lost() {
            return None;
        }
        let shown = (board.counted_ms * (1.0 + board.wall_gain)) as i64;
        let at = i64::try_from(board.begin?.as_ms()).ok()?.checked_add(shown + board.stepped_ms)?;
        WallMs::from_ms(u64::try_from(at).ok()?)
    }
}
