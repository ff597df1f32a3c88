//! A run beside its forecast.
//!
//! The forecast of the core leaves a range where an operator decides. Here the operator of the world has
//! decided, so there is one line to compare with: the same table with the same operator, perfect clocks, and the flow at its
//! target. Both are walked in step, in constant memory.

use draught::clock::Now;
use draught::event::Event;
use draught::machine::ArmRefused;
use draught::units::RawVolume;

use super::observe::{Happened, Observer};
use super::run::{Bench, Setup};
use super::world::World;

/// The forecast of a run, ready to be walked beside it.
#[derive(Clone, Debug)]
pub struct Expected<'t> {
    bench: Bench<'t>,
    comparison: Comparison,
}

/// How a run compares with its forecast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Comparison {
    /// How many things happened in the run.
    pub events: u64,
    /// The first thing that happened otherwise, if there is one.
    pub parted: Option<Parted>,
    /// The largest difference of an instant on the monotonic clock, in ms.
    pub worst_ms: u64,
    /// What the forecast draws.
    pub forecast: RawVolume,
    /// What was metered.
    pub metered: RawVolume,
}

/// Where a run and its forecast part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parted {
    /// What was to happen; `None`: the event was to be over.
    pub expected: Option<Event>,
    /// What happened; `None`: it was over already.
    pub happened: Option<Event>,
    /// When.
    pub at: Now,
}

impl Comparison {
    /// Whether everything happened that was forecast, in its order, and nothing else.
    #[must_use]
    pub const fn as_forecast(&self) -> bool {
        self.parted.is_none()
    }
}

impl<'t> Expected<'t> {
    /// The forecast of a run. `perfect` is [`World::as_forecast`] of its world.
    ///
    /// # Errors
    /// [`ArmRefused`], exactly when the run is refused.
    pub fn new(setup: &Setup<'t>, perfect: &'t World) -> Result<Self, ArmRefused> {
        let (bench, _) = Bench::arm(&Setup { world: perfect, metering: false, ..*setup })?;
        let comparison = Comparison {
            events: 0,
            parted: None,
            worst_ms: 0,
            forecast: RawVolume::ZERO,
            metered: RawVolume::ZERO,
        };
        Ok(Self { bench, comparison })
    }

    /// How it went; to be called when the run is over.
    #[must_use]
    pub fn comparison(mut self) -> Comparison {
        while let Some(more) = self.next() {
            let parted = Parted { expected: Some(more.event), happened: None, at: more.input.now };
            self.comparison.parted.get_or_insert(parted);
        }
        self.comparison
    }

    fn next(&mut self) -> Option<Happened> {
        let next = self.bench.next_event(&mut ())?;
        self.comparison.forecast = next.input.drawn;
        Some(next)
    }
}

impl Observer for Expected<'_> {
    fn event(&mut self, happened: &Happened) {
        self.comparison.events += 1;
        self.comparison.metered = happened.input.drawn;
        if self.comparison.parted.is_some() {
            return;
        }
        match self.next() {
            Some(expected) if same_kind(&expected.event, &happened.event) => {
                let (a, b) = (expected.input.now.mono.as_ms(), happened.input.now.mono.as_ms());
                self.comparison.worst_ms = self.comparison.worst_ms.max(a.abs_diff(b));
            }
            other => {
                self.comparison.parted = Some(Parted {
                    expected: other.map(|o| o.event),
                    happened: Some(happened.event),
                    at: happened.input.now,
                });
            }
        }
    }
}

/// Whether two events say the same but for when and how much.
fn same_kind(a: &Event, b: &Event) -> bool {
    match (a, b) {
        (Event::PumpingEnded(a), Event::PumpingEnded(b)) => {
            (a.step, a.passes, a.sample, a.by) == (b.step, b.passes, b.sample, b.by)
        }
        (
            Event::AppointmentMet { step: a, at: x, .. },
            Event::AppointmentMet { step: b, at: y, .. },
        ) => (a, x) == (b, y),
        _ => a == b,
    }
}
