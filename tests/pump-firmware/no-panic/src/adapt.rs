//! Every adapter, on a bus and a timer that may do anything.

use core::num::NonZeroU32;

use draught::adapt::embedded_hal::i2c::{self, I2c, Operation};
use draught::adapt::embedded_hal::pwm::{self, SetDutyCycle};
use draught::adapt::{
    ByteOrder, Calibration, ClockLayout, Crc8, Digits, Field, FlowElement, Law, LostFlag, Polarity,
    PwmMotor, RegisterClock, RegisterSensor, Sensed, SensorLayout, Status, Thresholds, TickClock,
    VoltageSupply, WeekdayRegister, WithDrop, ZeroBounds, ZeroSum,
};
use draught::port::{Ambient, Duty, FlowSensor, Monotonic, Motor, Supply, WallClock};
use draught::prelude::*;

use crate::opaque;

struct Bus;

impl i2c::ErrorType for Bus {
    type Error = i2c::ErrorKind;
}

impl I2c for Bus {
    #[inline(never)]
    fn transaction(&mut self, at: u8, all: &mut [Operation<'_>]) -> Result<(), i2c::ErrorKind> {
        opaque((at, all));
        opaque(Ok(()))
    }
}

struct Timer;

impl pwm::ErrorType for Timer {
    type Error = pwm::ErrorKind;
}

impl SetDutyCycle for Timer {
    fn max_duty_cycle(&self) -> u16 {
        opaque(0)
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), pwm::ErrorKind> {
        opaque(duty);
        opaque(Ok(()))
    }
}

/// Everything once.
pub fn all() {
    motor();
    sensor();
    element();
    clock();
    supply();
    ticks();
}

fn motor() {
    if let Ok(mut motor) = PwmMotor::new(Timer, opaque(Polarity::ActiveLow)) {
        let _ = opaque(motor.drive(opaque(Duty::FULL)));
        opaque(motor.into_inner());
    }
}

fn layout() -> SensorLayout {
    let signed = Field::signed(opaque(0), opaque(16), opaque(ByteOrder::Big));
    let checksum = Crc8 { polynomial: 0x1d, initial: 0xff, final_xor: 0xff, after: 2 };
    opaque(checksum.of(opaque(&[])));
    opaque(SensorLayout {
        address: 0x2a,
        start: &[0],
        request: &[0],
        data_len: 4,
        checksum: Some(checksum),
        status: Some(Status { at: 0, mask: 1, good: 0 }),
        pressure: signed,
        temperature: Some(Field::unsigned(opaque(0), opaque(16), opaque(ByteOrder::Little))),
    })
}

#[inline(never)]
fn sensor() {
    let layout = layout();
    if let Err(refused) = layout.check() {
        opaque(refused.code());
    }
    if let Ok(mut sensor) = RegisterSensor::new(Bus, layout) {
        let _ = opaque(sensor.start());
        let _ = opaque(RegisterSensor::read(&mut sensor));
        opaque(Ambient::read(&mut sensor));
        opaque(sensor.into_inner());
    }
}

#[inline(never)]
fn element() {
    let table = Calibration::new(opaque(Law::Orifice), opaque([(1, 1), (2, 2), (3, 3)]));
    match (table, RegisterSensor::new(Bus, layout())) {
        (Ok(table), Ok(sensor)) => {
            opaque(table.flow_ul_per_min(opaque(0)));
            let bounds =
                opaque(ZeroBounds { off_at_most_mpa: 1_000, spread_at_most_mpa: 100, readings: 8 });
            let mut element = FlowElement::new(sensor, table, bounds);
            let mut sum = opaque(ZeroSum::NONE);
            let _ = opaque(element.read_zero(&mut sum));
            opaque(sum.count());
            if let Err(refused) = element.take_zero(&sum) {
                opaque(refused.code());
            }
            let _ = opaque(element.set_zero_mpa(opaque(0)));
            opaque(element.zero_mpa());
            let _ = opaque(FlowSensor::read(&mut element));
            let _ = opaque(element.sensor().start());
            if let Ok(drop) = RegisterSensor::new(Bus, layout()) {
                let mut both = WithDrop::new(element, drop);
                let _ = opaque(both.drop_sensor().start());
                let _ = opaque(both.flow().zero_mpa());
                let _ = opaque(FlowSensor::read(&mut both));
                opaque(both.into_inner().0.into_inner().into_inner());
            }
        }
        (Err(refused), _) => {
            opaque(refused.code());
        }
        _ => {}
    }
}

#[inline(never)]
fn clock() {
    let layout = opaque(ClockLayout {
        address: 0x34,
        first: 0,
        seconds: Digits::new(0, 0x7f),
        minutes: Digits::new(1, 0x7f),
        hours: Digits::new(2, 0x3f),
        twelve_hours: 0x40,
        day: Digits::new(3, 0x3f),
        weekday: Some(WeekdayRegister { at: 4, monday: 1, ones: 0 }),
        month: Digits::new(5, 0x1f),
        century: 0x80,
        year: Digits::new(6, 0xff),
        lost: LostFlag { register: 0x0c, mask: 0x80 },
    });
    let _ = opaque(layout.check());
    if let Ok(mut clock) = RegisterClock::new(Bus, layout) {
        opaque(clock.now());
        if let Some(wall) = WallMs::from_ms(opaque(0))
            && let Err(refused) = clock.set_time(wall)
        {
            opaque(refused.code());
        }
        opaque(clock.into_inner());
    }
}

#[inline(never)]
fn supply() {
    let thresholds = opaque(Thresholds { low_mv: 3_300, failing_mv: 3_000, hysteresis_mv: 200 });
    let measure = || opaque(Some(Sensed { supply_mv: 0, charging: false }));
    match VoltageSupply::new(measure, thresholds, opaque([(3_000, 0), (4_000, 100)])) {
        Ok(mut supply) => {
            opaque(supply.read());
        }
        Err(refused) => {
            opaque(refused.code());
        }
    }
}

#[inline(never)]
fn ticks() {
    if let Some(hz) = NonZeroU32::new(opaque(32_768)) {
        let mut clock = TickClock::new(|| opaque(0), hz);
        opaque(clock.now());
        opaque(clock.longest_sleep_ms());
    }
}
