//! Which field follows which: the one reader of blocks, for devices and for tools that explain them.

use core::num::NonZeroU8;

use heapless::VecView;

use super::layout::{self, Choice, Setting};
use super::observe::{FieldName as F, Watch};
use super::reader::Reader;
use super::refused::RefusalCode;
use crate::calendar::{Civil, Date, TimeOfDay, Weekdays};
use crate::step::{Cycle, Passes, Sampler, Step, StepNo, Then};
use crate::table::{
    Fault, LateTolerance, Limits, Outage, Resume, ResumeWithin, RetryEvery, Settings, TripGrace,
    TripPercent,
};
use crate::units::{DurationMs, Flow, Pressure, Quantity as Q, Target, Volume};

impl<W: Watch> Reader<'_, W> {
    /// Reads a block from its beginning up to the step at `stop`, or to its last. Settings that the block
    /// leaves out stay as they are; steps are kept if there is where to keep them.
    #[inline(never)]
    pub(super) fn read(
        &mut self,
        settings: &mut Settings,
        mut keep: Option<&mut VecView<Step>>,
        stop: usize,
        capacity: usize,
    ) {
        self.go_to(0);
        let count = self.head(settings, capacity);
        for index in 0..count.min(stop) {
            self.step = Some(StepNo::at(index));
            let step = self.step(settings.target);
            if let Some(steps) = keep.as_deref_mut() {
                // There is room: `head` refuses more steps than that.
                let _ = steps.push(step);
            }
        }
        self.step = None;
    }

    /// Everything before the first step; the number of steps is the answer.
    fn head(&mut self, settings: &mut Settings, capacity: usize) -> usize {
        self.magic(layout::MAGIC);
        self.version(layout::VERSION);
        settings.utc_offset = self.utc_offset();
        settings.target = self.target();
        self.settings(settings);
        let limit = capacity.min(crate::audit::STEPS_MAX) as u32;
        let count = self.count(F::StepCount, limit, RefusalCode::TooManySteps) as usize;
        // A count that was refused is not counted up to.
        if self.is_good() { count } else { 0 }
    }

    /// After the last step no byte may be left.
    pub(super) fn end(&mut self) {
        if self.left() > 0 {
            self.refuse_at(self.at(), RefusalCode::TrailingBytes);
        }
    }

    #[inline(never)]
    fn target(&mut self) -> Target {
        match self.choice(F::TargetKind, Choice::Target) {
            0 => Target::flow(Flow::from_checked(self.number(F::Flow, Q::Flow))),
            _ => Target::pressure(self.pressure(F::Pressure)),
        }
    }

    fn pressure(&mut self, name: F) -> Pressure {
        Pressure::from_checked(self.number(name, Q::Pressure))
    }

    fn own_target(&mut self, schedule: Target) -> Option<Target> {
        let at = self.at();
        let target = self.target();
        if target == schedule {
            self.refuse_at(at, RefusalCode::OwnTargetSame);
        }
        Some(target)
    }

    fn flag(&mut self, name: F, kind: Choice) -> bool {
        self.choice(name, kind) != 0
    }

    #[inline(never)]
    fn settings(&mut self, settings: &mut Settings) {
        // Tags ascend, so the loop ends after six entries whatever the number says.
        let count = self.count(F::SettingCount, u32::MAX, RefusalCode::NumberTooLarge);
        // The lowest tag that may come next.
        let mut due = 0;
        for _ in 0..count {
            if !self.is_good() {
                break;
            }
            let at = self.at();
            let tag = self.choice(F::Setting, Choice::Setting);
            let next = tag.wrapping_add(1);
            if next == due {
                self.refuse(RefusalCode::SettingTwice);
            } else if next < due {
                self.refuse(RefusalCode::SettingOrder);
            }
            due = next;
            let Some(setting) = Setting::of(tag) else { continue };
            self.setting(setting, settings);
            if setting.is_default(settings) {
                self.refuse_at(at, RefusalCode::SettingDefault);
            }
        }
    }

    #[inline(never)]
    fn setting(&mut self, setting: Setting, settings: &mut Settings) {
        match setting {
            Setting::Name => self.name(&mut settings.name),
            Setting::StartBy => {
                let date = Date::from_checked(self.number(F::StartByDate, Q::Date) as u16);
                let time = TimeOfDay::from_checked(self.number(F::StartByTime, Q::TimeOfDay));
                settings.start_by = Some(Civil { date, time });
            }
            Setting::LateTolerance => {
                let ms = self.number(F::LateTolerance, Q::LateTolerance);
                settings.late_tolerance = LateTolerance::from_checked(ms);
            }
            Setting::Outage => {
                settings.outage = match self.choice(F::OutageRule, Choice::Outage) {
                    0 => Outage::KeepStopTime(self.resume()),
                    1 => Outage::MakeUpTime(self.resume()),
                    _ => Outage::Abandon,
                }
            }
            Setting::Fault => {
                settings.fault = match self.choice(F::FaultRule, Choice::Fault) {
                    0 => Fault::Stop,
                    1 => self.retry(),
                    _ => Fault::Close,
                }
            }
            Setting::Limits => settings.limits = self.limits(),
        }
    }

    fn resume(&mut self) -> Resume {
        let within = ResumeWithin::from_checked(self.number(F::ResumeWithin, Q::ResumeWithin));
        Resume { within, while_charging: self.flag(F::WhileCharging, Choice::Flag) }
    }

    fn retry(&mut self) -> Fault {
        let every = RetryEvery::from_checked(self.number(F::RetryEvery, Q::RetryEvery));
        let times = self.number(F::RetryTimes, Q::RetryTimes) as u8;
        Fault::Retry { every, times: NonZeroU8::new(times).unwrap_or(NonZeroU8::MIN) }
    }

    fn limits(&mut self) -> Limits {
        let trip = TripPercent::from_checked(self.number(F::TripPercent, Q::TripPercent));
        let grace = TripGrace::from_checked(self.number(F::TripGrace, Q::TripGrace));
        let limited = self.flag(F::PressureLimit, Choice::Optional);
        let pressure_at_most = limited.then(|| self.pressure(F::PressureAtMost));
        Limits { trip, grace, pressure_at_most }
    }

    #[inline(never)]
    fn step(&mut self, schedule: Target) -> Step {
        use layout::step as tag;
        let kind = self.choice(F::StepKind, Choice::Step);
        let [first, second] = layout::step_numbers(kind);
        let first = first.map_or(0, |(name, kind)| self.number(name, kind));
        let second = second.map_or(0, |(name, kind)| self.number(name, kind));
        let has_own = matches!(kind, tag::RUN_FOR_OWN | tag::RUN_UNTIL_OWN | tag::DRAW_VOLUME_OWN);
        let target = if has_own { self.own_target(schedule) } else { None };
        match kind {
            tag::DATE => Step::WaitForDate(Date::from_checked(first as u16)),
            tag::TIME => Step::WaitForTime(TimeOfDay::from_checked(first)),
            tag::WEEKDAY => Step::WaitForWeekday(Weekdays::from_checked(first as u8)),
            tag::CYCLE => {
                let from = Date::from_checked(first as u16);
                Step::WaitForCycleDay(Cycle::from_checked(from, second as u16))
            }
            tag::RUN_FOR | tag::RUN_FOR_OWN => {
                Step::RunFor { run: DurationMs::from_checked(first), target }
            }
            tag::RUN_UNTIL | tag::RUN_UNTIL_OWN => Step::RunUntil {
                time: TimeOfDay::from_checked(first),
                at_most: DurationMs::from_checked(second),
                target,
            },
            tag::DRAW_VOLUME | tag::DRAW_VOLUME_OWN => Step::DrawVolume {
                volume: Volume::from_checked(first),
                at_most: DurationMs::from_checked(second),
                target,
            },
            tag::HOLD => Step::Hold(DurationMs::from_checked(first)),
            tag::HOLD_UNTIL_RESUMED => Step::HoldUntilResumed {
                at_most: DurationMs::from_checked(first),
                then: match self.choice(F::Then, Choice::Then) {
                    0 => Then::Continue,
                    _ => Then::Close,
                },
            },
            tag::REPEAT => Step::Repeat {
                from: StepNo::from_checked(first as u8),
                passes: Passes::from_checked(second as u16),
                sampler: match self.choice(F::Sampler, Choice::Sampler) {
                    0 => Sampler::Same,
                    1 => Sampler::Fresh,
                    _ => Sampler::FreshConfirmed,
                },
            },
            // FINISH: `choice` has refused every tag that is none of these.
            _ => Step::Finish,
        }
    }
}
