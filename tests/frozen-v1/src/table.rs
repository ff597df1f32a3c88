//! The step table: settings and steps, fixed capacity, no heap.

use core::fmt;

use crate::audit;
use crate::calendar::{Civil, UtcOffset};
use crate::step::Step;
use crate::units::{Flow, OutOfRange, Pressure, Quantity, Target};

/// Everything a schedule holds besides its steps.
///
/// Fields left out of the bytes have the values of [`Settings::new`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// The offset at which every civil date and time of the schedule is read.
    pub utc_offset: UtcOffset,
    /// What the pump keeps constant, unless a step says otherwise.
    pub target: Target,
    /// A short name for people; may be empty.
    pub name: Name,
    /// The first run is not started if it would be due later than this civil instant.
    pub start_by: Option<Civil>,
    /// How late an appointment may be met.
    pub late_tolerance: LateTolerance,
    /// What happens after a power outage.
    pub outage: Outage,
    /// What happens when a limit trips.
    pub fault: Fault,
    /// When a limit trips.
    pub limits: Limits,
}

impl Settings {
    /// Settings with nothing but an offset and a target: no name, no `start_by`, 60 s of late tolerance,
    /// keep the stop time after an outage of up to 10 min, stop on a fault, trip at 10 % for 60 s.
    #[must_use]
    pub const fn new(utc_offset: UtcOffset, target: Target) -> Self {
        Self {
            utc_offset,
            target,
            name: Name::EMPTY,
            start_by: None,
            late_tolerance: LateTolerance::DEFAULT,
            outage: Outage::DEFAULT,
            fault: Fault::Stop,
            limits: Limits::DEFAULT,
        }
    }

    /// What an empty table has: 1 µL/min at UTC. A constant, so that a device copies it where it would
    /// else put it together.
    pub(crate) const EMPTY: Self = Self::new(UtcOffset::UTC, Target::flow(Flow::SMALLEST));
}

/// A name of up to 24 bytes of UTF-8 without control characters.
///
/// ```
/// use draught::table::Name;
/// assert_eq!(Name::new("press-hall-night").unwrap().as_str(), "press-hall-night");
/// assert!(Name::new("a name that is far too long").is_err());
/// assert!(Name::new("two\nlines").is_err());
/// ```
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Name {
    len: u8,
    /// UTF-8, then zeros: kept as bytes, so that a device that shows no names carries nothing that
    /// looks into text.
    bytes: [u8; Name::MAX_BYTES],
}

/// Why a [`Name`] was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum NameRefused {
    /// More than 24 bytes of UTF-8.
    TooLong,
    /// A control character, such as a line break.
    ControlCharacter,
}

impl NameRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::TooLong => "name-too-long",
            Self::ControlCharacter => "name-control",
        }
    }
}

impl fmt::Display for NameRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "a name takes at most 24 bytes of UTF-8; shorten it",
            Self::ControlCharacter => "a name holds no control characters, such as line breaks",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for NameRefused {}

impl Name {
    /// The longest name, in bytes of UTF-8.
    pub const MAX_BYTES: usize = 24;
    /// No name.
    pub const EMPTY: Self = Self { len: 0, bytes: [0; Self::MAX_BYTES] };

    /// From text.
    ///
    /// # Errors
    /// [`NameRefused`] for more than 24 bytes or a control character.
    pub fn new(text: &str) -> Result<Self, NameRefused> {
        if text.chars().any(char::is_control) {
            return Err(NameRefused::ControlCharacter);
        }
        if text.len() > Self::MAX_BYTES {
            return Err(NameRefused::TooLong);
        }
        let mut name = Self::EMPTY;
        name.set_checked(text.as_bytes());
        Ok(name)
    }

    /// Takes the bytes of a text that was checked already.
    pub(crate) fn set_checked(&mut self, text: &[u8]) {
        *self = Self::EMPTY;
        self.len = text.len() as u8;
        self.bytes.iter_mut().zip(text).for_each(|(place, byte)| *place = *byte);
    }

    /// The bytes of the text.
    pub(crate) fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or_default()
    }

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        // Both constructors took UTF-8 only.
        core::str::from_utf8(self.as_bytes()).unwrap_or_default()
    }
}

impl fmt::Debug for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Name").field(&self.as_str()).finish()
    }
}

macro_rules! bounded {
    ($(#[$doc:meta])* $name:ident, $kind:expr, $default:literal, $from:ident, $as:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
                pub struct $name(u32);

        impl $name {
            /// What holds unless the schedule says otherwise.
            pub const DEFAULT: Self = Self($default);

            #[doc = concat!("From a number of ", $unit, ".\n\n# Errors\n[`OutOfRange`] outside the range of its [`Quantity`].")]
            pub const fn $from(value: u32) -> Result<Self, OutOfRange> {
                match $kind.check(value as u64) {
                    Ok(v) => Ok(Self(v)),
                    Err(e) => Err(e),
                }
            }

            /// A value that was checked against its range already.
            pub(crate) const fn from_checked(value: u32) -> Self {
                Self(value)
            }

            #[doc = concat!("The value in ", $unit, ".")]
            #[must_use]
            pub const fn $as(self) -> u32 {
                self.0
            }
        }
    };
}

bounded!(
    /// How late an appointment may be met: 5 s to 24 h, 60 s unless set.
    LateTolerance, Quantity::LateTolerance, 60_000, from_ms, as_ms, "ms"
);
bounded!(
    /// The longest outage after which an event goes on: 1 s to 31 days, 10 min unless set.
    ResumeWithin, Quantity::ResumeWithin, 600_000, from_ms, as_ms, "ms"
);
bounded!(
    /// The time between two attempts after a fault: 1 s to 24 h, 60 s unless set.
    RetryEvery, Quantity::RetryEvery, 60_000, from_ms, as_ms, "ms"
);
bounded!(
    /// How far the flow may be off the target: 1 % to 50 %, 10 % unless set.
    TripPercent, Quantity::TripPercent, 10, from_percent, as_percent, "percent"
);
bounded!(
    /// How long the flow may be off before the limit trips: 1 s to 1 h, 60 s unless set.
    TripGrace, Quantity::TripGrace, 60_000, from_ms, as_ms, "ms"
);

/// What happens after a power outage while the pump runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outage {
    /// Resume, and stop when the step would have stopped without the outage.
    KeepStopTime(Resume),
    /// Resume, and pump for as long as the step asks, so stop later.
    MakeUpTime(Resume),
    /// Close the event.
    Abandon,
}

impl Outage {
    /// Keep the stop time, resume within 10 min, not while charging.
    pub const DEFAULT: Self =
        Self::KeepStopTime(Resume { within: ResumeWithin::DEFAULT, while_charging: false });
}

/// When an event may go on after an outage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Resume {
    /// A longer outage closes the event.
    pub within: ResumeWithin,
    /// Whether it may go on while the supply says it is charging.
    pub while_charging: bool,
}

/// What happens when a limit trips.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fault {
    /// Stop the pass, keep the volume.
    Stop,
    /// Try again.
    Retry {
        /// After how long.
        every: RetryEvery,
        /// How often in one pumping step, 1 to 255.
        times: core::num::NonZeroU8,
    },
    /// End the event.
    Close,
}

/// When a limit trips.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Limits {
    /// How far the flow may be off the target ...
    pub trip: TripPercent,
    /// ... and for how long.
    pub grace: TripGrace,
    /// The largest pressure difference across the sampling train, if there is a limit.
    pub pressure_at_most: Option<Pressure>,
}

impl Limits {
    /// 10 % for 60 s (40 CFR 50 App. L 7.4.4 and 30 CFR 74.4(a)(14)), no pressure limit.
    pub const DEFAULT: Self =
        Self { trip: TripPercent::DEFAULT, grace: TripGrace::DEFAULT, pressure_at_most: None };
}

/// A step table of up to `N` steps.
///
/// It may hold steps that make no legal schedule while it is being built; [`StepTable::checked`]
/// gives the [`TableRef`] that everything else takes, or says which rule is broken. It is never
/// passed by value: a table of 32 steps takes about 600 bytes.
///
/// ```
/// use draught::prelude::*;
/// let target = Target::flow(Flow::from_ul_per_min(2_000_000)?); // 2 L/min
/// let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
/// table.push(Step::RunFor { run: DurationMs::from_ms(900_000)?, target: None }).unwrap();
/// assert!(table.checked().is_err(), "it does not end in finish");
/// table.push(Step::Finish).unwrap();
/// assert_eq!(table.checked().unwrap().steps().len(), 2);
/// # Ok::<(), draught::units::OutOfRange>(())
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepTable<const N: usize> {
    settings: Settings,
    steps: heapless::Vec<Step, N>,
}

impl<const N: usize> StepTable<N> {
    const CAPACITY_FITS: () = assert!(N >= 1 && N <= 255, "a step table holds 1 to 255 steps");

    /// A table without steps.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        const { Self::CAPACITY_FITS };
        Self { settings, steps: heapless::Vec::new() }
    }

    /// An empty table to decode into: 1 µL/min at UTC, no steps, and therefore refused by [`Self::checked`].
    #[must_use]
    pub const fn empty() -> Self {
        Self::new(Settings::EMPTY)
    }

    /// Adds a step at the end.
    ///
    /// # Errors
    /// Hands the step back when the table is full.
    pub fn push(&mut self, step: Step) -> Result<(), Step> {
        self.steps.push(step)
    }

    /// Removes all steps.
    pub fn clear(&mut self) {
        self.steps.clear();
    }

    /// The steps.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The settings.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The settings, to change.
    pub const fn settings_mut(&mut self) -> &mut Settings {
        &mut self.settings
    }

    /// Settings and steps, to fill both by one function for tables of every capacity.
    pub(crate) fn parts_mut(&mut self) -> (&mut Settings, &mut heapless::VecView<Step>) {
        (&mut self.settings, self.steps.as_mut_view())
    }

    /// How many steps it can hold.
    #[must_use]
    pub const fn capacity(&self) -> usize {
        N
    }

    /// The table, if it keeps every table rule.
    ///
    /// # Errors
    /// The first [`audit::TableFault`], in order of steps.
    pub fn checked(&self) -> Result<TableRef<'_>, audit::TableFault> {
        TableRef::new(&self.settings, &self.steps)
    }
}

/// A step table that keeps every table rule, borrowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TableRef<'t> {
    settings: &'t Settings,
    steps: &'t [Step],
}

impl<'t> TableRef<'t> {
    /// Checks settings and steps against the table rules.
    ///
    /// # Errors
    /// The first [`audit::TableFault`], in order of steps.
    pub fn new(settings: &'t Settings, steps: &'t [Step]) -> Result<Self, audit::TableFault> {
        audit::table_rules(steps)?;
        Ok(Self { settings, steps })
    }

    /// The settings.
    #[must_use]
    pub const fn settings(self) -> &'t Settings {
        self.settings
    }

    /// The steps.
    #[must_use]
    pub const fn steps(self) -> &'t [Step] {
        self.steps
    }
}
