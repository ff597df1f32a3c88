//! Random legal schedules that are alive: most of them can be armed and do pump.
//!
//! A [`Sketch`] says everything relative to its arm instant, so that it shrinks without dying; a
//! [`Scene`] is what it comes to.

use core::fmt;
use draught::calendar::{Civil, Date, TimeOfDay, UtcOffset, Weekday, Weekdays};
use draught::clock::{MonoMs, Now, WallMs};
use draught::step::{Cycle, Passes, Sampler, Step, StepNo, Then};
use draught::table::{Fault, LateTolerance, Outage, Settings, TableRef};
use draught::units::{DurationMs, Flow, Target, Volume};

mod strategies;

pub use strategies::{scene, sketch, target};

const DAY: i64 = 86_400_000;
const MIN: u32 = 60_000;

/// A legal schedule and the moment at which it is armed.
#[derive(Clone)]
pub struct Scene {
    /// Its settings.
    pub settings: Settings,
    /// Its steps.
    pub steps: Vec<Step>,
    /// When it is armed.
    pub armed: Now,
}

/// A line a step, so that a failing case can be read.
impl fmt::Debug for Scene {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Settings { utc_offset, target, start_by, late_tolerance, outage, fault, .. } =
            &self.settings;
        writeln!(f, "armed at {:?}, {utc_offset:?}, {target:?},", self.armed)?;
        writeln!(f, "start by {start_by:?}, {late_tolerance:?}, {fault:?}, {outage:?}:")?;
        for (i, step) in self.steps.iter().enumerate() {
            writeln!(f, "  {:>3} {step:?}", i + 1)?;
        }
        Ok(())
    }
}

impl Scene {
    /// The table.
    ///
    /// # Panics
    /// If it is not legal.
    #[must_use]
    pub fn table(&self) -> TableRef<'_> {
        TableRef::new(&self.settings, &self.steps).expect("scenes are legal")
    }

    /// The same without a demand for confirmed samplers.
    #[must_use]
    pub fn without_confirmations(&self) -> Self {
        let mut scene = self.clone();
        for step in &mut scene.steps {
            if let Step::Repeat { sampler, .. } = step
                && *sampler == Sampler::FreshConfirmed
            {
                *sampler = Sampler::Fresh;
            }
        }
        scene
    }
}

/// A schedule, relative to its arm instant.
#[derive(Clone, Debug)]
pub struct Sketch {
    /// UTC day and time of day, in ms, of the arm instant.
    pub wall: (i64, i64),
    /// Whether the wall clock cannot be trusted at arm; what needs one is then something else.
    pub clockless: bool,
    /// The monotonic clock at arm.
    pub mono: u64,
    /// The offset in quarter-hours.
    pub offset: i8,
    /// The schedule's target.
    pub target: Target,
    /// How late an appointment may be met.
    pub tolerance: u32,
    /// `start-by`, in minutes after arm.
    pub start_by: Option<i64>,
    /// What a limit that trips does.
    pub fault: Fault,
    /// What an outage does.
    pub outage: Outage,
    /// Its parts.
    pub parts: Vec<Part>,
}

/// A step, a group of waits or a repeat.
#[derive(Clone, Debug)]
pub enum Part {
    /// A group of waits.
    Waits(Group),
    /// A run-for of so many ms.
    RunFor(u32, Option<Target>),
    /// A run-until.
    RunUntil(When, u32, Option<Target>),
    /// A draw of what its target draws in so many ms, and its "at most".
    Draw(u32, u32, Option<Target>),
    /// A hold.
    Hold(u32),
    /// A hold until resumed.
    HoldUntilResumed(u32, Then),
    /// A repeat.
    Repeat {
        /// A wait-for-date so many days after arm before the waits that the body begins with.
        lead: Option<u16>,
        /// What is repeated.
        body: Vec<Part>,
        /// How often.
        passes: u16,
        /// Through which sampler.
        sampler: Sampler,
    },
}

/// A group of waits.
#[derive(Clone, Debug)]
pub struct Group {
    /// A date, in days after arm; left out inside a repeat.
    pub date: Option<u16>,
    /// A time of day.
    pub time: Option<When>,
    /// Weekdays, as bits.
    pub weekdays: Option<u8>,
    /// First day of a cycle in days after arm, and its length.
    pub cycle: Option<(i16, u16)>,
    /// In which order they are written.
    pub turned: u8,
}

/// A time of day.
#[derive(Clone, Copy, Debug)]
pub enum When {
    /// In quarter-hours after midnight.
    Quarter(u32),
    /// In ms after the time of day of the arm instant.
    AfterArm(i64),
}

impl Sketch {
    /// The scene it comes to; `None` for the rare one that breaks a table rule (too many passes, too deep).
    #[must_use]
    pub fn scene(&self) -> Option<Scene> {
        let wall_ms = u64::try_from(self.wall.0 * DAY + self.wall.1).ok()?;
        let wall = WallMs::from_ms(wall_ms)?;
        let offset = UtcOffset::from_quarter_hours(self.offset).ok()?;
        let mut settings = Settings::new(offset, self.target);
        settings.late_tolerance = LateTolerance::from_ms(self.tolerance).ok()?;
        settings.start_by = self.start_by.filter(|_| !self.clockless).and_then(|after| {
            let at = wall_ms.checked_add_signed(after * i64::from(MIN))?;
            offset.civil(WallMs::from_ms(at)?)
        });
        (settings.fault, settings.outage) = (self.fault, self.outage);
        let mut writer = Writer {
            here: offset.civil(wall)?,
            target: self.target,
            clockless: self.clockless,
            steps: Vec::new(),
        };
        writer.parts(&self.parts, false)?;
        writer.steps.push(Step::Finish);
        let steps = writer.steps;
        TableRef::new(&settings, &steps).ok()?;
        let wall = (!self.clockless).then_some(wall);
        Some(Scene { settings, steps, armed: Now { mono: MonoMs::from_ms(self.mono), wall } })
    }
}

struct Writer {
    here: Civil,
    target: Target,
    clockless: bool,
    steps: Vec<Step>,
}

impl Writer {
    fn parts(&mut self, parts: &[Part], repeated: bool) -> Option<()> {
        parts.iter().try_for_each(|p| self.part(p, repeated))
    }

    fn part(&mut self, part: &Part, repeated: bool) -> Option<()> {
        let ms = |v: u32| DurationMs::from_ms(v).ok();
        match part {
            Part::Waits(_) if self.clockless => self.steps.push(Step::Hold(ms(MIN)?)),
            Part::RunUntil(_, d, target) if self.clockless => {
                self.steps.push(Step::RunFor { run: ms(*d)?, target: self.own(*target) });
            }
            Part::Waits(group) => {
                let led = match self.steps.last() {
                    Some(Step::WaitForDate(date)) if repeated => Some(*date),
                    Some(last) if last.is_wait() => {
                        self.steps.push(Step::Hold(ms(1_000)?));
                        None
                    }
                    _ => None,
                };
                self.group(group, repeated, led)?;
            }
            Part::RunFor(run, target) => {
                self.steps.push(Step::RunFor { run: ms(*run)?, target: self.own(*target) });
            }
            Part::RunUntil(when, at_most, target) => self.steps.push(Step::RunUntil {
                time: self.time(*when)?,
                at_most: ms(*at_most)?,
                target: self.own(*target),
            }),
            Part::Draw(takes, at_most, target) => {
                let target = self.own(*target);
                let flow = target.unwrap_or(self.target).as_flow();
                let ul_per_min = flow.map_or(2_000_000, Flow::ul_per_min);
                let ml = u64::from(ul_per_min) * u64::from(*takes) / 60_000_000;
                let volume = Volume::from_ml(u32::try_from(ml).ok()?.max(1)).ok()?;
                self.steps.push(Step::DrawVolume { volume, at_most: ms(*at_most)?, target });
            }
            Part::Hold(d) => self.steps.push(Step::Hold(ms(*d)?)),
            Part::HoldUntilResumed(d, then) => {
                self.steps.push(Step::HoldUntilResumed { at_most: ms(*d)?, then: *then });
            }
            Part::Repeat { lead, body, passes, sampler } => {
                let after_wait = self.steps.last().is_some_and(Step::is_wait);
                if after_wait && begins_with_waits(body) {
                    self.steps.push(Step::Hold(ms(1_000)?));
                }
                if let (Some(days), true, false) =
                    (lead, begins_with_waits(body) && !self.clockless, repeated)
                {
                    self.steps.push(Step::WaitForDate(self.here.date.plus_days(*days)?));
                }
                let from = StepNo::at(self.steps.len());
                self.parts(body, true)?;
                let passes = Passes::new(*passes).ok()?;
                self.steps.push(Step::Repeat { from, passes, sampler: *sampler });
            }
        }
        Some(())
    }

    /// A target of its own differs from the schedule's.
    fn own(&self, target: Option<Target>) -> Option<Target> {
        target.filter(|t| *t != self.target)
    }

    fn time(&self, when: When) -> Option<TimeOfDay> {
        let ms = match when {
            When::Quarter(quarters) => i64::from(quarters) * 900_000,
            When::AfterArm(ms) => (i64::from(self.here.time.as_ms()) + ms).rem_euclid(DAY),
        };
        TimeOfDay::from_ms(u32::try_from(ms).ok()?).ok()
    }

    /// Writes a group that some day satisfies, together with the date it is led by.
    fn group(&mut self, group: &Group, repeated: bool, led: Option<Date>) -> Option<()> {
        let day = |days: i64| {
            let days = u16::try_from(i64::from(self.here.date.days()) + days).ok()?;
            Date::from_days(days).ok()
        };
        let own_date = match group.date {
            Some(days) if !repeated => Some(day(days.into())?),
            _ => None,
        };
        let date = led.or(own_date);
        let cycle = match (group.cycle, date) {
            (Some((_, every)), Some(date)) => {
                // So that the date is one of its days.
                let back = i64::from(date.days()) - i64::from(self.here.date.days());
                Some(Cycle::new(day(back - i64::from(every)).unwrap_or(date), every).ok()?)
            }
            (Some((from, every)), None) => Some(Cycle::new(day(from.into())?, every).ok()?),
            (None, _) => None,
        };
        let must_hold = date.or(cycle.map(Cycle::from));
        let weekdays = match (group.weekdays, must_hold) {
            (Some(bits), Some(date)) => Some(bits | bit(date.weekday())),
            (bits, _) => bits,
        };
        let mut waits = Vec::new();
        waits.extend(own_date.map(Step::WaitForDate));
        if let Some(bits) = weekdays {
            waits.push(Step::WaitForWeekday(Weekdays::from_bits(bits).ok()?));
        }
        waits.extend(cycle.map(Step::WaitForCycleDay));
        if let Some(when) = group.time {
            waits.push(Step::WaitForTime(self.time(when)?));
        }
        if waits.is_empty() {
            waits.push(Step::WaitForTime(self.here.time));
        }
        let turned = usize::from(group.turned) % waits.len();
        waits.rotate_left(turned);
        self.steps.extend(waits);
        Some(())
    }
}

const fn bit(day: Weekday) -> u8 {
    1 << day as u8
}

fn begins_with_waits(parts: &[Part]) -> bool {
    match parts.first() {
        Some(Part::Waits(_)) => true,
        Some(Part::Repeat { body, .. }) => begins_with_waits(body),
        _ => false,
    }
}
