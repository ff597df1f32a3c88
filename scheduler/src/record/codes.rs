//! The bytes that stand for reasons in rows and checkpoints. A number once given is never given to another.

use crate::event::{EndReason, Limit, PumpEnd, StopReason};

/// Limits count from here.
const LIMITS: u8 = 16;

pub(crate) const fn of_pump_end(by: PumpEnd) -> u8 {
    match by {
        PumpEnd::Time => 0,
        PumpEnd::Volume => 1,
        PumpEnd::Limit => 2,
        PumpEnd::Stopped => 3,
        PumpEnd::Outage => 4,
        PumpEnd::Tripped(limit) => LIMITS | limit as u8,
    }
}

pub(crate) const fn pump_end(byte: u8) -> Option<PumpEnd> {
    Some(match byte {
        0 => PumpEnd::Time,
        1 => PumpEnd::Volume,
        2 => PumpEnd::Limit,
        3 => PumpEnd::Stopped,
        4 => PumpEnd::Outage,
        _ => match limit(byte) {
            Some(limit) => PumpEnd::Tripped(limit),
            None => return None,
        },
    })
}

pub(crate) const fn of_reason(reason: EndReason) -> u8 {
    match reason {
        EndReason::Finished => 0,
        EndReason::Missed => 1,
        EndReason::StartByPassed => 2,
        EndReason::HoldRanOut => 3,
        EndReason::Stopped(StopReason::Operator) => 4,
        EndReason::Stopped(StopReason::Host) => 5,
        EndReason::Stopped(StopReason::Fault) => 6,
        EndReason::Stopped(StopReason::Supply) => 7,
        EndReason::Disarmed => 8,
        EndReason::WrongTable => 9,
        EndReason::Outage => 10,
        EndReason::ClockLost => 11,
        EndReason::Fault(limit) => LIMITS | limit as u8,
    }
}

pub(crate) const fn reason(byte: u8) -> Option<EndReason> {
    Some(match byte {
        0 => EndReason::Finished,
        1 => EndReason::Missed,
        2 => EndReason::StartByPassed,
        3 => EndReason::HoldRanOut,
        4 => EndReason::Stopped(StopReason::Operator),
        5 => EndReason::Stopped(StopReason::Host),
        6 => EndReason::Stopped(StopReason::Fault),
        7 => EndReason::Stopped(StopReason::Supply),
        8 => EndReason::Disarmed,
        9 => EndReason::WrongTable,
        10 => EndReason::Outage,
        11 => EndReason::ClockLost,
        _ => match limit(byte) {
            Some(limit) => EndReason::Fault(limit),
            None => return None,
        },
    })
}

const fn limit(byte: u8) -> Option<Limit> {
    Some(match byte.wrapping_sub(LIMITS) {
        0 => Limit::FlowLow,
        1 => Limit::FlowHigh,
        2 => Limit::Pressure,
        3 => Limit::Supply,
        4 => Limit::Sensor,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_is_one_reason_or_none() {
        let (mut ends, mut reasons) = (0, 0);
        for byte in 0..=u8::MAX {
            if let Some(by) = pump_end(byte) {
                assert_eq!(of_pump_end(by), byte);
                ends += 1;
            }
            if let Some(reason) = reason(byte) {
                assert_eq!(of_reason(reason), byte);
                reasons += 1;
            }
        }
        assert_eq!((ends, reasons), (10, 17));
    }
}
