//! What happens to a pump, and when.

use draught::port::Key;

use super::plans::below;
use crate::bench::nor::Torn;
use crate::bench::physics::FaultKind as InWorld;
use crate::bench::random::Stream;

/// Something that happens to a pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Its number in the list that follows from the seed.
    pub number: usize,
    /// When, in ms after the first arming.
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
    /// Power is cut between two polls, and again while the pump recovers from that.
    CutInBoot {
        /// Operations of the recovery that still succeed.
        operations: u64,
        /// How the one that is hit is left.
        torn: Torn,
        /// For how long, both times.
        off_ms: u64,
    },
    /// Power is cut while the next schedule is being armed.
    CutInArm {
        /// Operations that still succeed.
        operations: u64,
        /// How the one that is hit is left.
        torn: Torn,
        /// For how long.
        off_ms: u64,
    },
    /// Power is cut between two polls, and one bit of what was written lately flips meanwhile.
    Rot {
        /// How many writes ago it was written.
        back: u16,
        /// Which bit of it.
        bit: u16,
        /// For how long power is off.
        off_ms: u64,
    },
    /// Something in the world.
    InWorld {
        /// What.
        kind: InWorld,
        /// For how long.
        for_ms: u64,
    },
    /// Nobody polls.
    LatePoll {
        /// For how long.
        for_ms: u64,
    },
    /// The operator presses a key.
    Pressed(Key),
    /// The host asks for something.
    Asked(Ask),
    /// The host collects the rows and lets go of them.
    Collected,
    /// When the event is over, another schedule is armed.
    Again,
}

/// What a host asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// To stop.
    Stop,
    /// To resume a hold.
    Resume,
    /// To take a new sampler as confirmed.
    Confirm,
    /// To take the schedule out of force.
    Disarm,
}

/// Every name, in the order of tables, and how often it is drawn.
const KINDS: [(&str, u64); 25] = [
    ("power cut", 3),
    ("power cut while flash is written", 4),
    ("power cut after a warning", 3),
    ("power cut again in recovery", 3),
    ("power cut while arming", 2),
    ("flash bit rot", 2),
    ("kink", 2),
    ("blockage", 3),
    ("leak", 1),
    ("filter clogs", 2),
    ("sensor silent", 2),
    ("sensor stuck", 2),
    ("motor does not obey", 2),
    ("motor stalls", 2),
    ("clock lost", 2),
    ("clock set", 2),
    ("clock fails now and then", 2),
    ("weak battery", 2),
    ("supply warns and holds", 2),
    ("charger connected", 2),
    ("air changes", 2),
    ("late poll", 2),
    ("key pressed", 3),
    ("asked by the host", 3),
    ("rows collected", 2),
];

/// What is not drawn as the others are.
const AGAIN: &str = "armed again";

impl FaultKind {
    /// Its name in tables.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        let place = match self {
            Self::Cut { .. } => 0,
            Self::CutInFlash { .. } => 1,
            Self::WarnedCut { .. } => 2,
            Self::CutInBoot { .. } => 3,
            Self::CutInArm { .. } => 4,
            Self::Rot { .. } => 5,
            Self::InWorld { kind, .. } => match kind {
                InWorld::Kink(_) => 6,
                InWorld::Blockage => 7,
                InWorld::Leak(_) => 8,
                InWorld::Clogging(_) => 9,
                InWorld::SensorFailing => 10,
                InWorld::SensorStuck => 11,
                InWorld::MotorDisobeys => 12,
                InWorld::MotorStalls => 13,
                InWorld::ClockLost => 14,
                InWorld::ClockStepped(_) => 15,
                InWorld::ClockFlickers(_) => 16,
                InWorld::BatteryWeak(_) => 17,
                InWorld::SupplyWarns => 18,
                InWorld::Charging => 19,
                InWorld::AirShifted(..) => 20,
                // The campaign's own cuts are the first five; a world of its own has none.
                InWorld::PowerCut => 0,
            },
            Self::LatePoll { .. } => 21,
            Self::Pressed(_) => 22,
            Self::Asked(_) => 23,
            Self::Collected => 24,
            Self::Again => return AGAIN,
        };
        KINDS[place].0
    }

    /// Every name, in the order of tables.
    pub fn names() -> impl Iterator<Item = &'static str> {
        KINDS.iter().map(|(name, _)| *name).chain([AGAIN])
    }

    /// Whether the pump does nothing else for it than without it.
    #[must_use]
    pub const fn is_harmless(&self) -> bool {
        matches!(self, Self::Collected | Self::Again)
    }

    /// For how long it lasts, in ms, if it lasts.
    #[must_use]
    pub const fn lasts_ms(&self) -> Option<u64> {
        match self {
            Self::Cut { off_ms: ms }
            | Self::CutInFlash { off_ms: ms, .. }
            | Self::WarnedCut { off_ms: ms }
            | Self::CutInBoot { off_ms: ms, .. }
            | Self::CutInArm { off_ms: ms, .. }
            | Self::Rot { off_ms: ms, .. }
            | Self::InWorld { for_ms: ms, .. }
            | Self::LatePoll { for_ms: ms } => Some(*ms),
            Self::Pressed(_) | Self::Asked(_) | Self::Collected | Self::Again => None,
        }
    }

    /// The same for another length of time.
    #[must_use]
    pub const fn lasting(mut self, for_ms: u64) -> Self {
        match &mut self {
            Self::Cut { off_ms: ms }
            | Self::CutInFlash { off_ms: ms, .. }
            | Self::WarnedCut { off_ms: ms }
            | Self::CutInBoot { off_ms: ms, .. }
            | Self::CutInArm { off_ms: ms, .. }
            | Self::Rot { off_ms: ms, .. }
            | Self::InWorld { for_ms: ms, .. }
            | Self::LatePoll { for_ms: ms } => *ms = for_ms,
            Self::Pressed(_) | Self::Asked(_) | Self::Collected | Self::Again => {}
        }
        self
    }
}

/// What happens to a pump that draws `rated` µL/min against `drop` Pa. Each trial leaves some kinds out and has more of others: what only
/// goes wrong when nothing else does is found that way.
#[must_use]
pub fn faults(chance: &mut Stream, (rated, drop): (f64, f64)) -> Vec<Fault> {
    let allowed = chance.bits() | chance.bits();
    let again = below(chance, 4) == 0;
    let count = [0, 1, 2, 3, 5, 8, 13][below(chance, 7) as usize];
    // The first 40 minutes, or the time of two events.
    let span_ms = if again { 9_000_000 } else { 2_400_000 };
    let all: u64 = KINDS.iter().map(|(_, weight)| weight).sum();
    let mut faults: Vec<Fault> = Vec::new();
    while faults.len() < count {
        let mut drawn = below(chance, all);
        let mut place = 0;
        while drawn >= KINDS[place].1 {
            drawn -= KINDS[place].1;
            place += 1;
        }
        let at_ms = below(chance, span_ms);
        let kind = kind_of(chance, place, (rated, drop));
        // The first three are cuts: those are always allowed.
        if place < 3 || allowed >> place & 1 == 1 {
            faults.push(Fault { number: 0, at_ms, kind });
        }
    }
    if again {
        faults.push(Fault { number: 0, at_ms: 0, kind: FaultKind::Again });
    }
    faults.sort_by_key(|fault| fault.at_ms);
    (0..).zip(&mut faults).for_each(|(number, fault)| fault.number = number);
    faults
}

fn kind_of(chance: &mut Stream, place: usize, (rated, drop): (f64, f64)) -> FaultKind {
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
    let torn = Torn::ALL[below(chance, Torn::ALL.len() as u64) as usize];
    // 0 to 1.
    let part = below(chance, 1_001) as f64 / 1_000.0;
    let kind = match place {
        0 => return FaultKind::Cut { off_ms },
        1 => return FaultKind::CutInFlash { operations: below(chance, 400), torn, off_ms },
        2 => return FaultKind::WarnedCut { off_ms },
        3 => return FaultKind::CutInBoot { operations: below(chance, 250), torn, off_ms },
        // A checkpoint is 136 words.
        4 => return FaultKind::CutInArm { operations: below(chance, 150), torn, off_ms },
        5 => {
            let (back, bit) = (below(chance, 8) as u16, below(chance, 4_352) as u16);
            return FaultKind::Rot { back, bit, off_ms };
        }
        6 => InWorld::Kink(drop * 20.0 * part),
        7 => InWorld::Blockage,
        // At the rated drop up to a third of the flow.
        8 => InWorld::Leak(rated * 0.3 * part / (drop / 1_000.0)),
        9 => InWorld::Clogging(drop * 4.0 * part),
        10 => InWorld::SensorFailing,
        11 => InWorld::SensorStuck,
        12 => InWorld::MotorDisobeys,
        13 => InWorld::MotorStalls,
        14 => InWorld::ClockLost,
        15 => InWorld::ClockStepped(below(chance, 7_200_000) as i64 - 3_600_000),
        16 => InWorld::ClockFlickers(2 + below(chance, 30) as u32),
        17 => InWorld::BatteryWeak(part * 0.1),
        18 => InWorld::SupplyWarns,
        19 => InWorld::Charging,
        20 => {
            let pascal = below(chance, 12_000) as f64 - 6_000.0;
            InWorld::AirShifted(part * 40.0 - 20.0, pascal)
        }
        21 => return FaultKind::LatePoll { for_ms: for_ms / 4 },
        22 => {
            return FaultKind::Pressed(match below(chance, 8) {
                0 => Key::Stop,
                1 | 2 => Key::ConfirmSampler,
                3 => Key::Clear,
                _ => Key::Resume,
            });
        }
        23 => {
            return FaultKind::Asked(match below(chance, 8) {
                0 => Ask::Stop,
                1 => Ask::Disarm,
                2 | 3 => Ask::Confirm,
                _ => Ask::Resume,
            });
        }
        _ => return FaultKind::Collected,
    };
    FaultKind::InWorld { kind, for_ms }
}
