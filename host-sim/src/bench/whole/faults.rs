//! What goes wrong, and when.

use draught::port::Key;

use super::super::nor::Torn;
use super::super::random::Stream;
use super::board::{Rig, SensorState};
use super::plans::below;

/// Something that happens to a pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// When, in ms after arming.
    pub at_ms: u64,
    /// What.
    pub kind: FaultKind,
}

/// What happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// Power is cut between two polls.
    Cut {
        /// For how long.
        off_ms: u64,
    },
    /// Power is cut while the flash is written, at the operation after so many more.
    CutInFlash {
        /// Operations that still succeed.
        operations: u64,
        /// How the one that is hit is left.
        torn: Torn,
        /// For how long.
        off_ms: u64,
    },
    /// The supply warns, and power is cut after the next poll.
    WarnedCut {
        /// For how long.
        off_ms: u64,
    },
    /// The train lets so many times less air through.
    Blockage {
        /// By which factor.
        factor: f64,
        /// For how long.
        for_ms: u64,
    },
    /// Air comes in beside the sampler.
    Leak {
        /// As a part of what is pumped.
        part: f64,
    },
    /// The sensor does not answer.
    SensorSilent {
        /// For how long.
        for_ms: u64,
    },
    /// The sensor says the same again and again.
    SensorStuck {
        /// For how long.
        for_ms: u64,
    },
    /// The wall clock loses its time.
    ClockLost {
        /// For how long.
        for_ms: u64,
    },
    /// The wall clock is set.
    ClockStep {
        /// By how much.
        by_ms: i64,
    },
    /// Nobody polls.
    LatePoll {
        /// For how long.
        for_ms: u64,
    },
    /// The battery is weak.
    WeakBattery {
        /// What is left, as a part.
        left: f64,
    },
    /// A charger is connected.
    Charger {
        /// For how long.
        for_ms: u64,
    },
    /// The operator presses a key.
    Pressed(Key),
}

impl FaultKind {
    /// Its name in tables.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Cut { .. } => "power cut",
            Self::CutInFlash { .. } => "power cut while flash is written",
            Self::WarnedCut { .. } => "power cut after a warning",
            Self::Blockage { .. } => "blockage",
            Self::Leak { .. } => "leak",
            Self::SensorSilent { .. } => "sensor silent",
            Self::SensorStuck { .. } => "sensor stuck",
            Self::ClockLost { .. } => "clock lost",
            Self::ClockStep { .. } => "clock set",
            Self::LatePoll { .. } => "late poll",
            Self::WeakBattery { .. } => "weak battery",
            Self::Charger { .. } => "charger connected",
            Self::Pressed(_) => "key pressed",
        }
    }

    /// Every name, in the order of tables.
    pub const NAMES: [&'static str; 13] = [
        "power cut",
        "power cut while flash is written",
        "power cut after a warning",
        "blockage",
        "leak",
        "sensor silent",
        "sensor stuck",
        "clock lost",
        "clock set",
        "late poll",
        "weak battery",
        "charger connected",
        "key pressed",
    ];

    /// Makes it so. When it is over again, in ms from now, is the answer; cuts and late polls are the trial's.
    pub(super) fn begin(self, rig: &Rig) -> Option<u64> {
        let mut s = rig.set();
        match self {
            Self::Blockage { factor, for_ms } => {
                s.resistance *= factor;
                return Some(for_ms);
            }
            Self::Leak { part } => s.leak = part,
            Self::SensorSilent { for_ms } => {
                s.sensor = SensorState::Silent;
                return Some(for_ms);
            }
            Self::SensorStuck { for_ms } => {
                s.sensor = SensorState::Stuck;
                return Some(for_ms);
            }
            Self::ClockLost { for_ms } => {
                s.wall_lost = true;
                return Some(for_ms);
            }
            Self::ClockStep { by_ms } => s.wall_set_ms += by_ms,
            Self::WeakBattery { left } => s.battery = s.battery.min(left),
            Self::Charger { for_ms } => {
                s.charging = true;
                return Some(for_ms);
            }
            Self::Pressed(key) => s.keys.push(key),
            Self::Cut { .. }
            | Self::CutInFlash { .. }
            | Self::WarnedCut { .. }
            | Self::LatePoll { .. } => {}
        }
        None
    }

    /// Makes it good again.
    pub(super) fn end(self, rig: &Rig) {
        let mut s = rig.set();
        match self {
            Self::Blockage { factor, .. } => s.resistance /= factor,
            Self::SensorSilent { .. } | Self::SensorStuck { .. } => s.sensor = SensorState::Works,
            Self::ClockLost { .. } => s.wall_lost = false,
            Self::Charger { .. } => s.charging = false,
            _ => {}
        }
    }
}

/// Some faults in the first `span_ms`. Each trial leaves some kinds out and has more of others: what only goes wrong when nothing
/// else does is found that way.
#[must_use]
pub fn faults(chance: &mut Stream, span_ms: u64) -> Vec<Fault> {
    let allowed = chance.bits() | chance.bits();
    let count = [0, 1, 2, 3, 5, 8, 13][below(chance, 7) as usize];
    let mut faults: Vec<Fault> = Vec::new();
    while faults.len() < count {
        let kind = below(chance, FaultKind::NAMES.len() as u64);
        let fault = Fault { at_ms: below(chance, span_ms), kind: kind_of(chance, kind) };
        // The first three are cuts: those are always allowed.
        if kind < 3 || allowed >> kind & 1 == 1 {
            faults.push(fault);
        }
    }
    faults.sort_by_key(|fault| fault.at_ms);
    faults
}

fn kind_of(chance: &mut Stream, kind: u64) -> FaultKind {
    let off_ms = match below(chance, 4) {
        0 => 1 + below(chance, 2_000),
        1 => below(chance, 90_000),
        2 => below(chance, 900_000),
        _ => below(chance, 5_400_000),
    };
    let for_ms = match below(chance, 3) {
        0 => below(chance, 10_000),
        1 => below(chance, 120_000),
        _ => below(chance, 1_200_000),
    };
    match kind {
        0 => FaultKind::Cut { off_ms },
        1 => FaultKind::CutInFlash {
            operations: below(chance, 400),
            torn: Torn::ALL[below(chance, Torn::ALL.len() as u64) as usize],
            off_ms,
        },
        2 => FaultKind::WarnedCut { off_ms },
        3 => FaultKind::Blockage { factor: 2.0 + below(chance, 1_000) as f64, for_ms },
        4 => FaultKind::Leak { part: below(chance, 30) as f64 / 100.0 },
        5 => FaultKind::SensorSilent { for_ms },
        6 => FaultKind::SensorStuck { for_ms },
        7 => FaultKind::ClockLost { for_ms },
        8 => FaultKind::ClockStep { by_ms: below(chance, 7_200_000) as i64 - 3_600_000 },
        9 => FaultKind::LatePoll { for_ms: for_ms / 4 },
        10 => FaultKind::WeakBattery { left: below(chance, 10) as f64 / 100.0 },
        11 => FaultKind::Charger { for_ms },
        _ => FaultKind::Pressed(match below(chance, 8) {
            0 => Key::Stop,
            1 | 2 => Key::ConfirmSampler,
            3 => Key::Clear,
            _ => Key::Resume,
        }),
    }
}
