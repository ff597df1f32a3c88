//! What a person should look at.

/// What a person should look at, as bits. A flag asks for a review; it does not void a sample by itself (40 CFR 50 App. L 10.12).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Flags(pub u32);

impl Flags {
    /// A mean flow over 5 min was more than 5 % off the mean of its sample (App. L 7.4.5.2).
    pub const FLOW_UNSTEADY: Self = Self(1);
    /// A limit tripped.
    pub const LIMIT_TRIPPED: Self = Self(1 << 1);
    /// The pump ran without readings for some time: it counts as time, not as volume.
    pub const FLOW_UNKNOWN: Self = Self(1 << 2);
    /// Power was lost while the event was under way.
    pub const INTERRUPTED: Self = Self(1 << 3);
    /// More than ten interruptions of more than 1 min (App. L 7.4.15.5).
    pub const MANY_INTERRUPTIONS: Self = Self(1 << 4);
    /// The pump ran for some time before a cut that no checkpoint holds: up to one checkpoint interval a cut is missing. Not set by a cut
    /// that the supply warned of: that takes no more than 2 s and a reading.
    pub const TIME_UNACCOUNTED: Self = Self(1 << 5);
    /// The wall clock was set, or went its own way, while the event was under way.
    pub const CLOCK_STEPPED: Self = Self(1 << 6);
    /// The wall clock could not be trusted at some time.
    pub const CLOCK_UNTRUSTED: Self = Self(1 << 7);
    /// The air was not measured all of the time: the standard volume does not cover the sample.
    pub const AIR_UNKNOWN: Self = Self(1 << 8);
    /// The flow was not corrected to the sampler's inlet all of the time.
    pub const NOT_AT_INLET: Self = Self(1 << 9);
    /// An appointment was met late or missed, or a run was lost.
    pub const LATE: Self = Self(1 << 10);
    /// A row could not be kept in the journal.
    pub const ROW_LOST: Self = Self(1 << 11);
    /// The event was ended early, by hand or by a fault.
    pub const ENDED_EARLY: Self = Self(1 << 12);

    /// A sample was drawn for less or more time than it must be (App. L 3.3, 7.4.13: 1380 to 1500 min).
    pub const TIME_OUTSIDE: Self = Self(1 << 13);

    /// A mean flow over 5 min was more than 5 % off the target.
    pub const FLOW_OFF: Self = Self(1 << 14);

    /// A checkpoint could not be written at once: the flash failed. The pump does not start before it is written.
    pub const JOURNAL_FAILED: Self = Self(1 << 15);

    /// Every flag, with its stable code.
    pub const ALL: &'static [(Self, &'static str)] = &[
        (Self::FLOW_UNSTEADY, "flow-unsteady"),
        (Self::LIMIT_TRIPPED, "limit-tripped"),
        (Self::FLOW_UNKNOWN, "flow-unknown"),
        (Self::INTERRUPTED, "interrupted"),
        (Self::MANY_INTERRUPTIONS, "many-interruptions"),
        (Self::TIME_UNACCOUNTED, "time-unaccounted"),
        (Self::CLOCK_STEPPED, "clock-stepped"),
        (Self::CLOCK_UNTRUSTED, "clock-untrusted"),
        (Self::AIR_UNKNOWN, "air-unknown"),
        (Self::NOT_AT_INLET, "not-at-inlet"),
        (Self::LATE, "late"),
        (Self::ROW_LOST, "row-lost"),
        (Self::ENDED_EARLY, "ended-early"),
        (Self::TIME_OUTSIDE, "time-outside"),
        (Self::FLOW_OFF, "flow-off"),
        (Self::JOURNAL_FAILED, "journal-failed"),
    ];

    /// Sets a flag; once set it stays.
    pub const fn set(&mut self, flag: Self) {
        self.0 |= flag.0;
    }

    /// Whether a flag is set.
    #[must_use]
    pub const fn has(self, flag: Self) -> bool {
        self.0 & flag.0 != 0
    }
}
