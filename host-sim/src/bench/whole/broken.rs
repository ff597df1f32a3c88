//! Promises, and what breaks them.

use std::fmt;

/// What a pump promises.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Promise {
    /// What was acknowledged is not lost, and does not change.
    RecordLost,
    /// Nothing is counted twice, and nothing that was not pumped.
    CountedTwice,
    /// The rows of an event say the same.
    SumsDiffer,
    /// No more pumping is missing than a cut may cost.
    Unaccounted,
    /// The motor runs only when it is asked to, and something is armed.
    MotorUnasked,
    /// An event comes to its end.
    NoEnd,
    /// It ends for a reason that there was.
    WrongEnd,
    /// A limit that is passed for longer than its grace trips.
    NoTrip,
    /// The metered volume is within the error that the world explains.
    Inexact,
    /// A run is as long as its step says, or stops when it says.
    NotAsAsked,
    /// When nothing happens to a pump it does as its schedule's forecast says.
    NotAsForecast,
    /// Flash is used as its contract says.
    WrongUse,
}

impl Promise {
    /// Every one, in the order of tables.
    pub const ALL: [Self; 12] = [
        Self::RecordLost,
        Self::CountedTwice,
        Self::SumsDiffer,
        Self::Unaccounted,
        Self::MotorUnasked,
        Self::NoEnd,
        Self::WrongEnd,
        Self::NoTrip,
        Self::Inexact,
        Self::NotAsAsked,
        Self::NotAsForecast,
        Self::WrongUse,
    ];

    /// What tables call it when it is broken.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::RecordLost => "records lost or changed",
            Self::CountedTwice => "volumes or times counted twice",
            Self::SumsDiffer => "records whose rows differ",
            Self::Unaccounted => "cuts that cost too much",
            Self::MotorUnasked => "motors that ran unasked",
            Self::NoEnd => "events without an end",
            Self::WrongEnd => "ends without their reason",
            Self::NoTrip => "limits that did not trip",
            Self::Inexact => "volumes outside the error budget",
            Self::NotAsAsked => "runs too long, too short or too late",
            Self::NotAsForecast => "undisturbed events not as forecast",
            Self::WrongUse => "wrong uses of the flash",
        }
    }

    pub(super) fn broken(self, what: impl Into<String>, at_ms: u64) -> Broken {
        Broken { promise: self, what: what.into(), at_ms }
    }
}

/// A promise that a pump broke.
#[derive(Clone, Debug, PartialEq)]
pub struct Broken {
    /// Which.
    pub promise: Promise,
    /// How, in words.
    pub what: String,
    /// When, in ms after the first arming.
    pub at_ms: u64,
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} ({} ms after arming)", self.promise.name(), self.what, self.at_ms)
    }
}
