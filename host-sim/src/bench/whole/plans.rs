//! Random schedules of an hour or two: every kind of step, outage rule and fault rule comes up.

use draught::prelude::*;
use draught::table::{
    Fault, LateTolerance, Limits, Outage, Resume, ResumeWithin, RetryEvery, TripGrace, TripPercent,
};
use draught::units::Pressure;

use crate::bench::physics::PlantWorld;
use crate::bench::random::Stream;

/// The most steps of one.
const STEPS_MAX: usize = 10;

/// What a plan may ask for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asks {
    /// Least and most flow, in µL/min.
    flow: (f64, f64),
    /// The same of the pressure, in Pa, where it is measured.
    pressure: Option<(f64, f64)>,
    /// Whether the drop is measured at all.
    measures_drop: bool,
    /// The drop against which the pump is rated, in Pa.
    rated_drop: f64,
    /// Only whole seconds: then nothing falls by chance on either side of an instant.
    whole_seconds: bool,
}

impl Asks {
    /// What this pump can do.
    #[must_use]
    pub fn of(plant: &PlantWorld, whole_seconds: bool) -> Self {
        let path = &plant.path;
        let at_rated = path.filter + path.tube + path.fittings + path.added;
        // At no flow more than the drop against which the pump is rated.
        let most = plant.rated.flow * plant.rated.drop / at_rated;
        // A regulator keeps a pressure through trains of a fifth of that drop or more (docs/world.md): the pressures between six tenths and
        // all of the rated flow.
        let keeps = plant.element.measures_drop && at_rated > plant.rated.drop * 0.2;
        Self {
            flow: (plant.rated.least, plant.rated.most.min(most)),
            pressure: keeps.then_some((at_rated * 0.6, at_rated)),
            measures_drop: plant.element.measures_drop,
            rated_drop: plant.rated.drop,
            whole_seconds,
        }
    }
}

/// A plan being drawn.
struct Draw<'c> {
    chance: &'c mut Stream,
    asks: Asks,
    /// The latest instant that was asked for, in ms from now.
    last_start: u64,
    now: WallMs,
}

/// A legal schedule, armed at `now` if it can be.
#[must_use]
pub fn schedule(chance: &mut Stream, asks: Asks, now: WallMs) -> StepTable<32> {
    let mut draw = Draw { chance, asks, last_start: 0, now };
    loop {
        draw.last_start = 0;
        let mut table = StepTable::new(draw.settings());
        for _ in 0..=below(draw.chance, 6) {
            let step = draw.step(table.steps().len());
            let _ = table.push(step);
        }
        let _ = table.push(draw.run());
        let _ = table.push(Step::Finish);
        if table.steps().len() <= STEPS_MAX && table.checked().is_ok() {
            return table;
        }
    }
}

impl Draw<'_> {
    fn settings(&mut self) -> Settings {
        let mut settings = Settings::new(UtcOffset::UTC, self.target());
        let within = self.ms(30_000, 3_600_000);
        let resume = Resume {
            within: ResumeWithin::from_ms(within).unwrap_or(ResumeWithin::DEFAULT),
            while_charging: below(self.chance, 2) == 0,
        };
        settings.outage = match below(self.chance, 5) {
            0 | 1 => Outage::KeepStopTime(resume),
            2 | 3 => Outage::MakeUpTime(resume),
            _ => Outage::Abandon,
        };
        settings.fault = match below(self.chance, 3) {
            0 => Fault::Stop,
            1 => Fault::Close,
            _ => match RetryEvery::from_ms(self.ms(5_000, 300_000)) {
                Ok(every) => {
                    Fault::Retry { every, times: core::num::NonZeroU8::MIN.saturating_add(2) }
                }
                Err(_) => Fault::Stop,
            },
        };
        if let Ok(tolerance) = LateTolerance::from_ms(self.ms(5_000, 1_800_000)) {
            settings.late_tolerance = tolerance;
        }
        if below(self.chance, 2) == 0 {
            let percent = 6 + below(self.chance, 25) as u32;
            let grace = self.ms(20_000, 120_000);
            // Far above what any of its trains needs, so that only what happens to it gets there.
            let most = self.asks.measures_drop.then_some(self.asks.rated_drop * 1.6);
            settings.limits = Limits {
                trip: TripPercent::from_percent(percent).unwrap_or(TripPercent::DEFAULT),
                grace: TripGrace::from_ms(grace).unwrap_or(TripGrace::DEFAULT),
                pressure_at_most: most.and_then(|pa| Pressure::from_pa(pa as u32).ok()),
            };
        }
        settings
    }

    fn target(&mut self) -> Target {
        let part = below(self.chance, 21) as f64 / 20.0;
        let between = |(least, most): (f64, f64)| (least + (most - least) * part).round() as u32;
        if let Some(pressure) = self.asks.pressure
            && below(self.chance, 3) == 0
            && let Ok(pressure) = Pressure::from_pa(between(pressure))
        {
            return Target::pressure(pressure);
        }
        let flow = Flow::from_ul_per_min(between(self.asks.flow));
        Target::flow(flow.unwrap_or(Flow::SMALLEST))
    }

    fn own(&mut self) -> Option<Target> {
        (below(self.chance, 4) == 0).then(|| self.target())
    }

    fn step(&mut self, len: usize) -> Step {
        match below(self.chance, 9) {
            0 => self.instant().map_or(Step::Finish, Step::WaitForTime),
            1 => self.duration(1_000, 300_000).map_or(Step::Finish, Step::Hold),
            2 => {
                let then = if below(self.chance, 2) == 0 { Then::Continue } else { Then::Close };
                match self.duration(10_000, 600_000) {
                    Some(at_most) => Step::HoldUntilResumed { at_most, then },
                    None => Step::Finish,
                }
            }
            3 if len > 0 => self.repeat(len),
            4 => self.draw(),
            5 => match (self.instant(), self.duration(3_600_000, 7_200_000), self.own()) {
                (Some(time), Some(at_most), target) => Step::RunUntil { time, at_most, target },
                _ => Step::Finish,
            },
            _ => self.run(),
        }
    }

    fn run(&mut self) -> Step {
        let target = self.own();
        self.duration(1_000, 900_000).map_or(Step::Finish, |run| Step::RunFor { run, target })
    }

    fn repeat(&mut self, len: usize) -> Step {
        let from = StepNo::new(1 + below(self.chance, len as u64) as u8);
        let sampler = match below(self.chance, 3) {
            0 => Sampler::Same,
            1 => Sampler::Fresh,
            _ => Sampler::FreshConfirmed,
        };
        match (from, Passes::new(2 + below(self.chance, 2) as u16)) {
            (Ok(from), Ok(passes)) => Step::Repeat { from, passes, sampler },
            _ => Step::Finish,
        }
    }

    fn draw(&mut self) -> Step {
        // Up to ten minutes of the largest flow.
        let ten_min_ml = (self.asks.flow.1 / 100.0) as u64;
        let volume = Volume::from_ml((1 + below(self.chance, ten_min_ml)) as u32);
        match (volume, self.duration(60_000, 1_200_000), self.own()) {
            (Ok(volume), Some(at_most), target) => Step::DrawVolume { volume, at_most, target },
            _ => Step::Finish,
        }
    }

    /// Some minutes on, and after the one before.
    fn instant(&mut self) -> Option<TimeOfDay> {
        self.last_start += (1 + below(self.chance, 20)) * 60_000;
        let time = (self.now.as_ms() + self.last_start) % 86_400_000 / 1_000 * 1_000;
        TimeOfDay::from_ms(time as u32).ok()
    }

    /// Mostly whole seconds, now and then any number of ms.
    fn ms(&mut self, from: u64, to: u64) -> u32 {
        let ms = from + below(self.chance, to - from);
        let any = below(self.chance, 4) == 0 && !self.asks.whole_seconds;
        (if any { ms } else { ms / 1_000 * 1_000 }) as u32
    }

    fn duration(&mut self, from: u64, to: u64) -> Option<DurationMs> {
        DurationMs::from_ms(self.ms(from, to).max(1)).ok()
    }
}

/// From 0 to one less than `bound`.
pub(super) fn below(chance: &mut Stream, bound: u64) -> u64 {
    chance.bits() % bound.max(1)
}
