//! Writes blocks. One writer counts, sums the CRC and fills a buffer, as far as there is one.

use super::crc::Crc32c;
use super::layout::{self, Form, Setting};
use crate::step::{Sampler, Step, Then};
use crate::table::{Fault, Outage, Resume, Settings, TableRef};
use crate::units::{Quantity as Q, Target, TargetKind, largest_unit};

pub(super) struct Writer<'o> {
    out: &'o mut [u8],
    len: usize,
    crc: Crc32c,
}

impl<'o> Writer<'o> {
    /// A buffer that is too small, or empty, takes what it can; the length and CRC are right anyway.
    pub(super) const fn new(out: &'o mut [u8]) -> Self {
        Self { out, len: 0, crc: Crc32c::new() }
    }

    /// Writes the whole block; its length and CRC are the answer.
    pub(super) fn block(mut self, table: TableRef<'_>) -> (usize, [u8; 4]) {
        let settings = table.settings();
        self.byte(layout::MAGIC);
        self.byte(layout::VERSION);
        self.number(Q::UtcOffset, settings.utc_offset.shifted());
        self.target(settings.target);
        self.settings(settings);
        self.varint(table.steps().len() as u32);
        table.steps().iter().for_each(|step| self.step(step, settings.target));
        let crc = self.crc.bytes();
        crc.iter().for_each(|&b| self.byte(b));
        (self.len, crc)
    }

    #[inline(never)]
    fn byte(&mut self, byte: u8) {
        self.crc.update(byte);
        if let Some(place) = self.out.get_mut(self.len) {
            *place = byte;
        }
        self.len = self.len.saturating_add(1);
    }

    #[inline(never)]
    fn varint(&mut self, mut number: u32) {
        while number > 0x7f {
            self.byte(number as u8 | 0x80);
            number >>= 7;
        }
        self.byte(number as u8);
    }

    #[inline(never)]
    fn number(&mut self, kind: Q, base: u32) {
        match Form::of(kind) {
            Form::Byte => self.byte(base as u8),
            Form::Offset => self.byte((base as u8).wrapping_sub(48)),
            Form::Short => self.varint(base),
            Form::Scaled(units) => {
                let (number, unit) = largest_unit(base, units);
                // A legal number has at most 30 bits (`Quantity::check`).
                self.varint(number.wrapping_shl(2) | u32::from(unit));
            }
        }
    }

    #[inline(never)]
    fn target(&mut self, target: Target) {
        match target.kind() {
            TargetKind::Flow(flow) => {
                self.byte(0);
                self.number(Q::Flow, flow.ul_per_min());
            }
            TargetKind::Pressure(pressure) => {
                self.byte(1);
                self.number(Q::Pressure, pressure.as_pa());
            }
        }
    }

    fn settings(&mut self, settings: &Settings) {
        let written = || Setting::ALL.iter().filter(|s| !s.is_default(settings));
        // `count` would add with a check that can panic.
        self.varint(written().fold(0, |n: u32, _| n.saturating_add(1)));
        for &setting in written() {
            self.byte(setting.tag());
            self.setting(setting, settings);
        }
    }

    #[inline(never)]
    fn setting(&mut self, setting: Setting, settings: &Settings) {
        match setting {
            Setting::Name => {
                let text = settings.name.as_bytes();
                self.varint(text.len() as u32);
                text.iter().for_each(|&b| self.byte(b));
            }
            Setting::StartBy => {
                if let Some(start_by) = settings.start_by {
                    self.number(Q::Date, start_by.date.days().into());
                    self.number(Q::TimeOfDay, start_by.time.as_ms());
                }
            }
            Setting::LateTolerance => {
                self.number(Q::LateTolerance, settings.late_tolerance.as_ms());
            }
            Setting::Outage => match settings.outage {
                Outage::KeepStopTime(resume) => self.resume(0, resume),
                Outage::MakeUpTime(resume) => self.resume(1, resume),
                Outage::Abandon => self.byte(2),
            },
            Setting::Fault => match settings.fault {
                Fault::Stop => self.byte(0),
                Fault::Retry { every, times } => {
                    self.byte(1);
                    self.number(Q::RetryEvery, every.as_ms());
                    self.number(Q::RetryTimes, times.get().into());
                }
                Fault::Close => self.byte(2),
            },
            Setting::Limits => {
                let limits = &settings.limits;
                self.number(Q::TripPercent, limits.trip.as_percent());
                self.number(Q::TripGrace, limits.grace.as_ms());
                self.byte(limits.pressure_at_most.is_some().into());
                if let Some(pressure) = limits.pressure_at_most {
                    self.number(Q::Pressure, pressure.as_pa());
                }
            }
        }
    }

    fn resume(&mut self, rule: u8, resume: Resume) {
        self.byte(rule);
        self.number(Q::ResumeWithin, resume.within.as_ms());
        self.byte(resume.while_charging.into());
    }

    /// A step; an own target that is the schedule's means the same as none, and is written as none.
    #[inline(never)]
    fn step(&mut self, step: &Step, schedule: Target) {
        let tag = layout::step_tag(step);
        let (first, second) = match *step {
            Step::WaitForDate(date) => (date.days().into(), 0),
            Step::WaitForTime(time) => (time.as_ms(), 0),
            Step::WaitForWeekday(days) => (days.bits().into(), 0),
            Step::WaitForCycleDay(cycle) => (cycle.from().days().into(), cycle.every().into()),
            Step::RunFor { run, .. } => (run.as_ms(), 0),
            Step::RunUntil { time, at_most, .. } => (time.as_ms(), at_most.as_ms()),
            Step::DrawVolume { volume, at_most, .. } => (volume.as_ml(), at_most.as_ms()),
            Step::Hold(at_most) | Step::HoldUntilResumed { at_most, .. } => (at_most.as_ms(), 0),
            Step::Repeat { from, passes, .. } => (from.get().into(), passes.get().into()),
            Step::Finish => (0, 0),
        };
        let own = step.own_target().filter(|own| *own != schedule);
        // The tag with an own target is the one after that without.
        self.byte(tag.wrapping_add(own.is_some().into()));
        let [first_kind, second_kind] = layout::step_numbers(tag);
        if let Some((_, kind)) = first_kind {
            self.number(*kind, first);
        }
        if let Some((_, kind)) = second_kind {
            self.number(*kind, second);
        }
        match *step {
            Step::HoldUntilResumed { then: Then::Continue, .. } => self.byte(0),
            Step::HoldUntilResumed { then: Then::Close, .. } => self.byte(1),
            Step::Repeat { sampler: Sampler::Same, .. } => self.byte(0),
            Step::Repeat { sampler: Sampler::Fresh, .. } => self.byte(1),
            Step::Repeat { sampler: Sampler::FreshConfirmed, .. } => self.byte(2),
            _ => {}
        }
        if let Some(target) = own {
            self.target(target);
        }
    }
}
