//! What a reader tells about each field as it goes by, so that a tool explains a block with the very
//! reader that a device decodes it with.

use crate::step::StepNo;
use crate::units::Quantity;

/// Is told of every field that was read and found good, in byte order.
///
/// `()` is the observer that only asks whether a block reads: it does nothing.
pub trait Observer {
    /// A field was read.
    fn field(&mut self, field: &Field<'_>);
}

impl Observer for () {
    #[inline]
    fn field(&mut self, _: &Field<'_>) {}
}

/// Who watches a reader at work. Fields are made for those only who look at them, so that a device
/// carries none of the words.
pub(super) trait Watch {
    /// A field was read and found good.
    fn see<'b>(&mut self, field: impl FnOnce() -> Field<'b>);
}

/// Nobody watches: a device decodes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unwatched;

impl Watch for Unwatched {
    fn see<'b>(&mut self, _: impl FnOnce() -> Field<'b>) {}
}

/// An observer watches.
#[derive(Debug)]
pub(super) struct Watched<O>(pub(super) O);

impl<O: Observer> Watch for Watched<O> {
    fn see<'b>(&mut self, field: impl FnOnce() -> Field<'b>) {
        self.0.field(&field());
    }
}

impl<O: Observer + ?Sized> Observer for &mut O {
    fn field(&mut self, field: &Field<'_>) {
        (**self).field(field);
    }
}

/// One field of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Field<'b> {
    /// The offset of its first byte in the block.
    pub at: usize,
    /// How many bytes it has.
    pub len: usize,
    /// What it is.
    pub name: FieldName,
    /// What it says.
    pub value: Value<'b>,
    /// The step it belongs to.
    pub step: Option<StepNo>,
}

/// What a field says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value<'b> {
    /// A fixed or counted byte: magic, version, a number of entries, a length.
    Number(u32),
    /// The UTC offset, in quarter-hours.
    QuarterHours(i8),
    /// A quantity, in its base unit.
    Quantity(Quantity, u32),
    /// A quantity as a scaled number, in its base unit.
    Scaled(Quantity, u32),
    /// A byte that picks one of a few things, and what it picks.
    Choice(u8, &'static str),
    /// A text.
    Text(&'b str),
}

macro_rules! field_names {
    ($($(#[$doc:meta])* $name:ident => $text:literal),+ $(,)?) => {
        /// The fields of a block.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum FieldName { $($(#[$doc])* $name),+ }

        impl FieldName {
            /// Every field, in the order in which `docs/encoding.md` describes them.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            /// What it is called in `docs/encoding.md` and on screens.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$name => $text),+ }
            }
        }
    };
}

field_names! {
    /// The letter `D`.
    Magic => "magic",
    /// The format version.
    Version => "version",
    /// The offset of the schedule's civil dates and times.
    UtcOffset => "utc-offset",
    /// Which of flow and pressure is kept constant.
    TargetKind => "target",
    /// The flow to keep.
    Flow => "flow",
    /// The pressure difference to keep.
    Pressure => "pressure",
    /// How many settings follow.
    SettingCount => "settings",
    /// Which setting follows.
    Setting => "setting",
    /// The length of the name, in bytes.
    NameLength => "name length",
    /// The name.
    Name => "name",
    /// The date of `start-by`.
    StartByDate => "start-by date",
    /// The time of day of `start-by`.
    StartByTime => "start-by time",
    /// How late an appointment may be met.
    LateTolerance => "late-tolerance",
    /// What happens after an outage.
    OutageRule => "outage rule",
    /// The longest outage after which the event goes on.
    ResumeWithin => "resume-within",
    /// Whether the event may go on while charging.
    WhileCharging => "while-charging",
    /// What happens when a limit trips.
    FaultRule => "fault rule",
    /// The time between two retries.
    RetryEvery => "retry every",
    /// How often a fault is retried.
    RetryTimes => "retry times",
    /// How far the flow may be off.
    TripPercent => "flow deviation limit",
    /// How long the flow may be off.
    TripGrace => "flow deviation time",
    /// Whether there is a largest pressure difference.
    PressureLimit => "pressure limit",
    /// The largest pressure difference.
    PressureAtMost => "pressure at most",
    /// How many steps follow.
    StepCount => "steps",
    /// Which kind of step follows.
    StepKind => "step",
    /// The date to wait for.
    Date => "date",
    /// The time of day to wait for.
    Time => "time",
    /// The weekdays to wait for.
    Weekdays => "weekdays",
    /// The first day of the cycle.
    CycleFrom => "cycle from",
    /// Every how many days the cycle comes round.
    CycleEvery => "cycle every",
    /// How long to pump.
    Run => "run",
    /// The time of day at which the pump stops.
    Until => "until",
    /// The longest the step may take.
    AtMost => "at-most",
    /// The volume to draw.
    Volume => "volume",
    /// How long to hold.
    Hold => "hold",
    /// What happens when nobody resumed the hold.
    Then => "then",
    /// The step to go back to.
    RepeatFrom => "repeat from step",
    /// The number of passes in all.
    Passes => "passes",
    /// Which sampler the next pass draws through.
    Sampler => "sampler",
}
