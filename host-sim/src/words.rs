//! Words for what a pump reports: how an event and a stretch of pumping ended, and which limit tripped. Each code and each
//! word once; what flags mean is in [`crate::results::flags`].

use draught::event::{EndReason, Limit, PumpEnd, StopReason};

/// How an event can end.
const ENDS: [EndReason; 17] = [
    EndReason::Finished,
    EndReason::Missed,
    EndReason::StartByPassed,
    EndReason::HoldRanOut,
    EndReason::Stopped(StopReason::Operator),
    EndReason::Stopped(StopReason::Host),
    EndReason::Stopped(StopReason::Fault),
    EndReason::Stopped(StopReason::Supply),
    EndReason::Disarmed,
    EndReason::WrongTable,
    EndReason::Fault(Limit::FlowLow),
    EndReason::Fault(Limit::FlowHigh),
    EndReason::Fault(Limit::Pressure),
    EndReason::Fault(Limit::Supply),
    EndReason::Fault(Limit::Sensor),
    EndReason::Outage,
    EndReason::ClockLost,
];

/// How an event ended, in a few words.
#[must_use]
pub const fn ended(reason: EndReason) -> &'static str {
    match reason {
        EndReason::Finished => "finished",
        EndReason::Missed => "appointment missed",
        EndReason::StartByPassed => "start-by passed",
        EndReason::HoldRanOut => "hold not resumed",
        EndReason::Stopped(_) => "stopped",
        EndReason::Disarmed => "disarmed",
        EndReason::WrongTable => "another schedule",
        EndReason::Fault(_) => "a limit tripped",
        EndReason::Outage => "outage",
        EndReason::ClockLost => "clock lost in an outage",
    }
}

/// The same with who stopped it, or which limit tripped.
#[must_use]
pub fn ended_in_full(reason: EndReason) -> String {
    let more = match reason {
        EndReason::Stopped(StopReason::Operator) => "by hand",
        EndReason::Stopped(StopReason::Host) => "over the link",
        EndReason::Stopped(StopReason::Fault) => "by a fault of the pump",
        EndReason::Stopped(StopReason::Supply) => "by a supply that failed again and again",
        EndReason::Fault(tripped) => return format!("{}: {}", ended(reason), limit(tripped)),
        _ => return ended(reason).to_owned(),
    };
    format!("{} {more}", ended(reason))
}

/// The code of what ended an event, in full.
#[must_use]
pub const fn end_code(reason: EndReason) -> &'static str {
    match reason {
        EndReason::Finished => "finished",
        EndReason::Missed => "missed",
        EndReason::StartByPassed => "start-by-passed",
        EndReason::HoldRanOut => "hold-ran-out",
        EndReason::Stopped(StopReason::Operator) => "stopped-by-operator",
        EndReason::Stopped(StopReason::Host) => "stopped-by-host",
        EndReason::Stopped(StopReason::Fault) => "stopped-by-fault",
        EndReason::Stopped(StopReason::Supply) => "stopped-by-supply",
        EndReason::Disarmed => "disarmed",
        EndReason::WrongTable => "wrong-table",
        EndReason::Fault(Limit::FlowLow) => "fault-flow-low",
        EndReason::Fault(Limit::FlowHigh) => "fault-flow-high",
        EndReason::Fault(Limit::Pressure) => "fault-pressure",
        EndReason::Fault(Limit::Supply) => "fault-supply",
        EndReason::Fault(Limit::Sensor) => "fault-sensor",
        EndReason::Outage => "outage",
        EndReason::ClockLost => "clock-lost",
    }
}

/// The words of such a code; of one that is not known, itself.
///
/// ```
/// use draught_sim::words::ended_by_code;
/// assert_eq!(ended_by_code("fault-flow-low"), "a limit tripped: too little flow");
/// assert_eq!(ended_by_code("eaten-by-a-dog"), "eaten by a dog");
/// ```
#[must_use]
pub fn ended_by_code(code: &str) -> String {
    let known = ENDS.into_iter().find(|reason| end_code(*reason) == code);
    known.map_or_else(|| code.replace('-', " "), ended_in_full)
}

/// A limit that tripped, in words.
#[must_use]
pub const fn limit(limit: Limit) -> &'static str {
    match limit {
        Limit::FlowLow => "too little flow",
        Limit::FlowHigh => "too much flow",
        Limit::Pressure => "too much pressure",
        Limit::Supply => "supply too weak",
        Limit::Sensor => "sensor at fault",
    }
}

/// How a stretch of pumping can end.
const STRETCH_ENDS: [PumpEnd; 10] = [
    PumpEnd::Time,
    PumpEnd::Volume,
    PumpEnd::Limit,
    PumpEnd::Stopped,
    PumpEnd::Tripped(Limit::FlowLow),
    PumpEnd::Tripped(Limit::FlowHigh),
    PumpEnd::Tripped(Limit::Pressure),
    PumpEnd::Tripped(Limit::Supply),
    PumpEnd::Tripped(Limit::Sensor),
    PumpEnd::Outage,
];

/// How a stretch of pumping ended, in a few words.
#[must_use]
pub const fn stretch_ended(by: PumpEnd) -> &'static str {
    match by {
        PumpEnd::Time => "its time was over",
        PumpEnd::Volume => "its volume was full",
        PumpEnd::Limit => "its at-most was over",
        PumpEnd::Stopped => "stopped",
        PumpEnd::Tripped(tripped) => limit(tripped),
        PumpEnd::Outage => "power lost",
    }
}

/// The code of what ended a stretch.
#[must_use]
pub const fn stretch_code(by: PumpEnd) -> &'static str {
    match by {
        PumpEnd::Time => "time",
        PumpEnd::Volume => "volume",
        PumpEnd::Limit => "at-most",
        PumpEnd::Stopped => "stopped",
        PumpEnd::Tripped(limit) => limit.code(),
        PumpEnd::Outage => "outage",
    }
}

/// What a stretch ended by, from its code.
#[must_use]
pub fn stretch_of_code(code: &str) -> Option<PumpEnd> {
    STRETCH_ENDS.into_iter().find(|by| stretch_code(*by) == code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_leads_back_to_its_words() {
        for reason in ENDS {
            assert_eq!(ended_by_code(end_code(reason)), ended_in_full(reason));
            assert!(ended_in_full(reason).starts_with(ended(reason)));
        }
        for by in STRETCH_ENDS {
            assert_eq!(stretch_of_code(stretch_code(by)), Some(by));
        }
        assert_eq!(stretch_of_code("x"), None);
    }
}
