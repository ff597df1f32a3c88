//! A second writer and reader of the encoding, sharing no code with the core's: serde derives and the
//! `postcard` crate for the fields, the `crc` crate for the CRC, own unit tables.
//!
//! The types below are the schema of format version 1 as serde sees it. Their variants stand in the order of
//! the tags.

use crc::{CRC_32_ISCSI, Crc};
use draught::prelude as core_;
use draught::table as policy;
use serde::{Deserialize, Serialize};

/// A block without its CRC.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Body {
    /// `D`.
    pub magic: u8,
    /// 1.
    pub version: u8,
    /// Quarter-hours.
    pub utc_offset: i8,
    /// The schedule's target.
    pub target: Target,
    /// Settings that are not defaults.
    pub settings: Vec<Setting>,
    /// All steps.
    pub steps: Vec<Step>,
}

/// A scaled number as it stands in the bytes.
type Scaled = u32;

/// What the pump keeps constant.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Target {
    /// Flow.
    Flow(Scaled),
    /// Pressure.
    Pressure(Scaled),
}

/// One setting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Setting {
    /// Name.
    Name(String),
    /// Date, time of day.
    StartBy(u16, Scaled),
    /// Late tolerance.
    LateTolerance(Scaled),
    /// Outage rule.
    Outage(Outage),
    /// Fault rule.
    Fault(Fault),
    /// Percent, grace, largest pressure.
    Limits(u8, Scaled, Option<Scaled>),
}

/// Outage rule: longest outage, and whether to resume while charging.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outage {
    /// Keep the stop time.
    KeepStopTime(Scaled, bool),
    /// Make up the time.
    MakeUpTime(Scaled, bool),
    /// Abandon.
    Abandon,
}

/// Fault rule.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Fault {
    /// Never written.
    Stop,
    /// After how long, and how often.
    Retry(Scaled, u8),
    /// Close.
    Close,
}

/// What a hold does that nobody resumed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Then {
    /// Continue.
    Continue,
    /// Close.
    Close,
}

/// Which sampler the next pass is on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Sampler {
    /// The same.
    Same,
    /// A fresh one.
    Fresh,
    /// A fresh one, confirmed.
    FreshConfirmed,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[expect(missing_docs, reason = "named as in docs/encoding.md")]
pub enum Step {
    Finish,
    Date(u16),
    Time(Scaled),
    Weekday(u8),
    Cycle(u16, u16),
    RunFor(Scaled),
    RunForOwn(Scaled, Target),
    RunUntil(Scaled, Scaled),
    RunUntilOwn(Scaled, Scaled, Target),
    DrawVolume(Scaled, Scaled),
    DrawVolumeOwn(Scaled, Scaled, Target),
    Hold(Scaled),
    HoldUntilResumed(Scaled, Then),
    Repeat(u8, u16, Sampler),
}

const TIME: [u64; 4] = [1, 1_000, 60_000, 3_600_000];
const FLOW: [u64; 4] = [1, 1_000, 10_000, 100_000];
const VOLUME: [u64; 4] = [1, 100, 1_000, 10_000];
const PRESSURE: [u64; 4] = [1, 10, 100, 1_000];

fn scaled(base: u32, units: [u64; 4]) -> Scaled {
    let base = u64::from(base);
    let unit = (0..4).rev().find(|&u| base % units[u] == 0).expect("1 divides everything");
    u32::try_from(base / units[unit] * 4 + unit as u64).expect("a legal value fits")
}

fn time(ms: u32) -> Scaled {
    scaled(ms, TIME)
}

impl Target {
    fn of(target: core_::Target) -> Self {
        match target.kind() {
            core_::TargetKind::Flow(f) => Self::Flow(scaled(f.ul_per_min(), FLOW)),
            core_::TargetKind::Pressure(p) => Self::Pressure(scaled(p.as_pa(), PRESSURE)),
        }
    }
}

impl Body {
    /// The mirror of a table.
    #[must_use]
    pub fn of(table: core_::TableRef<'_>) -> Self {
        let s = table.settings();
        let schedule = Target::of(s.target);
        Self {
            magic: b'D',
            version: 1,
            utc_offset: s.utc_offset.quarter_hours(),
            settings: settings(s),
            steps: table.steps().iter().map(|step| Step::of(step, &schedule)).collect(),
            target: schedule,
        }
    }

    /// The block: the body as postcard writes it, and its CRC.
    ///
    /// # Panics
    /// When postcard cannot write to memory.
    #[must_use]
    pub fn block(&self) -> Vec<u8> {
        let mut bytes = postcard::to_stdvec(self).expect("postcard writes to memory");
        bytes.extend(crc_32c(&bytes).to_le_bytes());
        bytes
    }

    /// Reads a block with postcard, which is lenient: over-long numbers and foreign scales pass.
    #[must_use]
    pub fn read(block: &[u8]) -> Option<Self> {
        let (body, crc) = block.split_last_chunk::<4>()?;
        let (read, rest) = postcard::take_from_bytes::<Self>(body).ok()?;
        (crc_32c(body).to_le_bytes() == *crc && rest.is_empty()).then_some(read)
    }
}

/// CRC-32/ISCSI by the `crc` crate, which takes its parameters from the catalogue.
#[must_use]
pub fn crc_32c(bytes: &[u8]) -> u32 {
    Crc::<u32>::new(&CRC_32_ISCSI).checksum(bytes)
}

fn settings(s: &core_::Settings) -> Vec<Setting> {
    let mut all = Vec::new();
    if !s.name.as_str().is_empty() {
        all.push(Setting::Name(s.name.as_str().to_owned()));
    }
    if let Some(civil) = s.start_by {
        all.push(Setting::StartBy(civil.date.days(), time(civil.time.as_ms())));
    }
    if s.late_tolerance.as_ms() != 60_000 {
        all.push(Setting::LateTolerance(time(s.late_tolerance.as_ms())));
    }
    match s.outage {
        policy::Outage::KeepStopTime(r) if r.within.as_ms() == 600_000 && !r.while_charging => {}
        policy::Outage::KeepStopTime(r) => {
            let rule = Outage::KeepStopTime(time(r.within.as_ms()), r.while_charging);
            all.push(Setting::Outage(rule));
        }
        policy::Outage::MakeUpTime(r) => {
            let rule = Outage::MakeUpTime(time(r.within.as_ms()), r.while_charging);
            all.push(Setting::Outage(rule));
        }
        policy::Outage::Abandon => all.push(Setting::Outage(Outage::Abandon)),
    }
    match s.fault {
        policy::Fault::Stop => {}
        policy::Fault::Retry { every, times } => {
            all.push(Setting::Fault(Fault::Retry(time(every.as_ms()), times.get())));
        }
        policy::Fault::Close => all.push(Setting::Fault(Fault::Close)),
    }
    let l = s.limits;
    if (l.trip.as_percent(), l.grace.as_ms(), l.pressure_at_most) != (10, 60_000, None) {
        let pressure = l.pressure_at_most.map(|p| scaled(p.as_pa(), PRESSURE));
        all.push(Setting::Limits(l.trip.as_percent() as u8, time(l.grace.as_ms()), pressure));
    }
    all
}

impl Step {
    fn of(step: &core_::Step, schedule: &Target) -> Self {
        let own = step.own_target().map(Target::of).filter(|own| own != schedule);
        match *step {
            core_::Step::WaitForDate(d) => Self::Date(d.days()),
            core_::Step::WaitForTime(t) => Self::Time(time(t.as_ms())),
            core_::Step::WaitForWeekday(w) => Self::Weekday(w.bits()),
            core_::Step::WaitForCycleDay(c) => Self::Cycle(c.from().days(), c.every()),
            core_::Step::RunFor { run, .. } => {
                let run = time(run.as_ms());
                own.map_or(Self::RunFor(run), |own| Self::RunForOwn(run, own))
            }
            core_::Step::RunUntil { time: t, at_most, .. } => {
                let (t, most) = (time(t.as_ms()), time(at_most.as_ms()));
                own.map_or(Self::RunUntil(t, most), |own| Self::RunUntilOwn(t, most, own))
            }
            core_::Step::DrawVolume { volume, at_most, .. } => {
                let (v, most) = (scaled(volume.as_ml(), VOLUME), time(at_most.as_ms()));
                own.map_or(Self::DrawVolume(v, most), |own| Self::DrawVolumeOwn(v, most, own))
            }
            core_::Step::Hold(d) => Self::Hold(time(d.as_ms())),
            core_::Step::HoldUntilResumed { at_most, then } => Self::HoldUntilResumed(
                time(at_most.as_ms()),
                match then {
                    core_::Then::Continue => Then::Continue,
                    core_::Then::Close => Then::Close,
                },
            ),
            core_::Step::Repeat { from, passes, sampler } => Self::Repeat(
                from.get(),
                passes.get(),
                match sampler {
                    core_::Sampler::Same => Sampler::Same,
                    core_::Sampler::Fresh => Sampler::Fresh,
                    core_::Sampler::FreshConfirmed => Sampler::FreshConfirmed,
                },
            ),
            core_::Step::Finish => Self::Finish,
        }
    }
}
