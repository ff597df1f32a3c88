//! What the world does to a pump, in words.

use draught::port::Key;

use crate::bench::physics::{Fault, FaultKind};
use crate::bench::whole::{Ask, FaultKind as Done};
use crate::plan::format;
use crate::report::numbers;

/// A fault begins: "the inlet is blocked for 3 min".
#[must_use]
pub fn begins(fault: &Fault) -> String {
    let lasts = format!("for {}", format::duration(fault.lasts_ms));
    match fault.kind {
        FaultKind::Kink(drop) => {
            let drop = format::pressure(drop.round() as u64);
            format!("a tube is squeezed {lasts}: {drop} more at the rated flow")
        }
        FaultKind::Blockage => format!("the inlet is blocked {lasts}"),
        FaultKind::Leak(flow) => {
            format!("the train leaks {lasts}: {} at 1 kPa", numbers::flow(flow))
        }
        FaultKind::SensorStuck => format!("the flow sensor is stuck {lasts}"),
        FaultKind::SensorFailing => format!("the flow sensor does not answer {lasts}"),
        FaultKind::ClockLost => format!("the clock does not know the time {lasts}"),
        FaultKind::ClockStepped(ms) => {
            let way = if ms < 0 { "back" } else { "on" };
            format!("the clock is set {way} by {}", format::duration(ms.unsigned_abs()))
        }
        FaultKind::BatteryWeak(left) => {
            format!("the battery falls to {:.0} % of its charge", left * 100.0)
        }
        FaultKind::PowerCut => format!("power cut {lasts}"),
        FaultKind::Clogging(drop) => {
            let drop = format::pressure(drop.round() as u64);
            format!("the train clogs {lasts}: {drop} more at the rated flow, and stays so")
        }
        FaultKind::MotorDisobeys => format!("the motor does not do as it is told {lasts}"),
        FaultKind::MotorStalls => format!("the motor stands still {lasts}"),
        FaultKind::SupplyWarns => format!("the supply says that it is about to go {lasts}"),
        FaultKind::Charging => format!("a charger is connected {lasts}"),
        FaultKind::ClockFlickers(nth) => {
            format!("one in {nth} readings of the clock fails {lasts}")
        }
        FaultKind::AirShifted(kelvin, pascal) => {
            format!("the air is {kelvin:.1} K warmer and {pascal:.0} Pa denser {lasts}")
        }
    }
}

/// What a campaign does to a pump: "power cut for 2 min".
#[must_use]
pub fn done(what: &Done) -> String {
    let name = what.name();
    let lasts = |ms| format!("for {}", format::duration(ms));
    match *what {
        Done::Cut { off_ms: ms }
        | Done::WarnedCut { off_ms: ms }
        | Done::LatePoll { for_ms: ms } => {
            format!("{name} {}", lasts(ms))
        }
        Done::CutInFlash { operations, torn, off_ms }
        | Done::CutInBoot { operations, torn, off_ms }
        | Done::CutInArm { operations, torn, off_ms } => format!(
            "{name}, after {operations} more operations, left as {:?}, {}",
            torn.name(),
            lasts(off_ms)
        ),
        Done::Rot { back, bit, off_ms } => format!(
            "{name}, bit {bit} of what was written {back} writes ago, power off {}",
            lasts(off_ms)
        ),
        Done::InWorld { kind, for_ms } => begins(&Fault { at_ms: 0, lasts_ms: for_ms, kind }),
        Done::Pressed(key) => match key {
            Key::Stop => "key: stop",
            Key::Resume => "key: resume",
            Key::ConfirmSampler => "key: a new sampler is in place",
            Key::Clear => "key: lamp out",
        }
        .to_owned(),
        Done::Asked(ask) => match ask {
            Ask::Stop => "the host asks to stop",
            Ask::Resume => "the host asks to resume",
            Ask::Confirm => "the host says that a new sampler is in place",
            Ask::Disarm => "the host asks to disarm",
        }
        .to_owned(),
        Done::Collected | Done::Again => name.to_owned(),
    }
}

/// A fault is over: "the inlet is free again".
#[must_use]
pub const fn over(fault: &Fault) -> &'static str {
    match fault.kind {
        FaultKind::Kink(_) => "the tube is free again",
        FaultKind::Blockage => "the inlet is free again",
        FaultKind::Leak(_) => "the train is tight again",
        FaultKind::SensorStuck => "the flow sensor is free again",
        FaultKind::SensorFailing => "the flow sensor answers again",
        FaultKind::ClockLost => "the clock knows the time again",
        FaultKind::ClockStepped(_) | FaultKind::BatteryWeak(_) => "it stays so",
        FaultKind::PowerCut => "power is back",
        FaultKind::Clogging(_) => "the train clogs no further",
        FaultKind::MotorDisobeys => "the motor does as it is told again",
        FaultKind::MotorStalls => "the motor turns again",
        FaultKind::SupplyWarns => "the supply holds",
        FaultKind::Charging => "the charger is gone",
        FaultKind::ClockFlickers(_) => "the clock answers each time again",
        FaultKind::AirShifted(..) => "the air is as before",
    }
}

/// A word or two, for a mark in a picture.
#[must_use]
pub const fn short(fault: &Fault) -> &'static str {
    match fault.kind {
        FaultKind::Kink(_) => "kink",
        FaultKind::Blockage => "blockage",
        FaultKind::Leak(_) => "leak",
        FaultKind::SensorStuck => "sensor stuck",
        FaultKind::SensorFailing => "sensor silent",
        FaultKind::ClockLost => "clock lost",
        FaultKind::ClockStepped(_) => "clock set",
        FaultKind::BatteryWeak(_) => "battery weak",
        FaultKind::PowerCut => "power cut",
        FaultKind::Clogging(_) => "clogging",
        FaultKind::MotorDisobeys => "motor disobeys",
        FaultKind::MotorStalls => "motor stalls",
        FaultKind::SupplyWarns => "supply warns",
        FaultKind::Charging => "charger",
        FaultKind::ClockFlickers(_) => "clock flickers",
        FaultKind::AirShifted(..) => "air shifts",
    }
}
