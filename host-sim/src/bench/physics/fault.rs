//! What goes wrong, and when.

/// Something that goes wrong for a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// When it begins, in ms since the board was switched on.
    pub at_ms: u64,
    /// How long it lasts, in ms.
    pub lasts_ms: u64,
    /// What.
    pub kind: FaultKind,
}

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// A tube is kinked: so much more drop at the rated flow, in Pa, as the square of the flow.
    Kink(f64),
    /// Nothing comes through the inlet.
    Blockage,
    /// The train leaks: so much comes in behind it, in µL/min for a kPa.
    Leak(f64),
    /// The flow sensor says what it said last.
    SensorStuck,
    /// The flow sensor does not answer.
    SensorFailing,
    /// The wall clock does not know the time; afterwards it is as it would have been.
    ClockLost,
    /// The wall clock is set, by so many ms; it stays so.
    ClockStepped(i64),
    /// So much of the battery's charge is left from now on, as a part of all.
    BatteryWeak(f64),
    /// Power is gone without a warning. Whoever runs the engine drops it, and boots another one on [`SimBoard::outage`]'s board.
    ///
    /// [`SimBoard::outage`]: super::SimBoard::outage
    PowerCut,
    /// The train clogs: its drop at the rated flow grows by so much, in Pa, while this lasts, and stays.
    Clogging(f64),
    /// The driver of the motor does not take what it is told, says so, and the motor goes on as it was.
    MotorDisobeys,
    /// The motor stands still whatever it is given, and says nothing.
    MotorStalls,
    /// The supply says that it is about to go.
    SupplyWarns,
    /// A charger is connected, and charges an empty battery in 2 h (assumed).
    Charging,
    /// Each so manieth reading of the wall clock fails.
    ClockFlickers(u32),
    /// The outside air is so many K warmer and so many Pa denser.
    AirShifted(f64, f64),
}

impl FaultKind {
    /// What it is called in a world file.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Kink(_) => "kink",
            Self::Blockage => "blockage",
            Self::Leak(_) => "leak",
            Self::SensorStuck => "sensor-stuck",
            Self::SensorFailing => "sensor-failing",
            Self::ClockLost => "clock-lost",
            Self::ClockStepped(_) => "clock-stepped",
            Self::BatteryWeak(_) => "battery-weak",
            Self::PowerCut => "power-cut",
            Self::Clogging(_) => "clogging",
            Self::MotorDisobeys => "motor-disobeys",
            Self::MotorStalls => "motor-stalls",
            Self::SupplyWarns => "supply-warns",
            Self::Charging => "charging",
            Self::ClockFlickers(_) => "clock-flickers",
            Self::AirShifted(..) => "air-shifted",
        }
    }
}

impl Fault {
    /// Whether it is there at an instant.
    #[must_use]
    pub const fn is_on(&self, ms: u64) -> bool {
        ms >= self.at_ms && ms - self.at_ms < self.lasts_ms
    }

    /// When it is over, in ms since the board was switched on; `None`: it happens at an instant, and what it changed stays.
    #[must_use]
    pub const fn ends_ms(&self) -> Option<u64> {
        match self.kind {
            FaultKind::ClockStepped(_) | FaultKind::BatteryWeak(_) => None,
            _ => Some(self.at_ms.saturating_add(self.lasts_ms)),
        }
    }

    /// How much of what comes bit by bit is there, as a part of it; it stays.
    pub(super) fn grown(&self, ms: u64) -> f64 {
        let since = ms.saturating_sub(self.at_ms) as f64;
        (since / (self.lasts_ms as f64).max(1.0)).min(1.0)
    }

    /// Its begin and end, where physics changes at once.
    pub(super) const fn edges(&self) -> [u64; 2] {
        [self.at_ms, self.at_ms.saturating_add(self.lasts_ms)]
    }
}
