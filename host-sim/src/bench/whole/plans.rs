//! Random schedules of an hour or two: every kind of step, outage rule and fault rule comes up.

use draught::prelude::*;
use draught::table::{Fault, LateTolerance, Outage, Resume, ResumeWithin, RetryEvery};

use super::super::random::Stream;

/// The most steps of one.
const STEPS_MAX: usize = 10;

/// A legal schedule, which can be armed at `now`.
#[must_use]
pub fn schedule(chance: &mut Stream, now: WallMs) -> StepTable<32> {
    loop {
        let mut table = StepTable::new(settings(chance));
        let mut last_start = 0;
        for _ in 0..=below(chance, 6) {
            let step = step(chance, now, table.steps().len(), &mut last_start);
            let _ = table.push(step);
        }
        let _ = table.push(run(chance));
        let _ = table.push(Step::Finish);
        if table.steps().len() <= STEPS_MAX && table.checked().is_ok() {
            return table;
        }
    }
}

fn settings(chance: &mut Stream) -> Settings {
    let mut settings = Settings::new(UtcOffset::UTC, target(chance));
    let within = ms(chance, 30_000, 3_600_000);
    let resume = Resume {
        within: ResumeWithin::from_ms(within).unwrap_or(ResumeWithin::DEFAULT),
        while_charging: below(chance, 2) == 0,
    };
    settings.outage = match below(chance, 5) {
        0 | 1 => Outage::KeepStopTime(resume),
        2 | 3 => Outage::MakeUpTime(resume),
        _ => Outage::Abandon,
    };
    settings.fault = match below(chance, 3) {
        0 => Fault::Stop,
        1 => Fault::Close,
        _ => match RetryEvery::from_ms(ms(chance, 5_000, 300_000)) {
            Ok(every) => Fault::Retry { every, times: core::num::NonZeroU8::MIN.saturating_add(2) },
            Err(_) => Fault::Stop,
        },
    };
    if let Ok(tolerance) = LateTolerance::from_ms(ms(chance, 5_000, 1_800_000)) {
        settings.late_tolerance = tolerance;
    }
    settings
}

fn target(chance: &mut Stream) -> Target {
    let flow = 1_000_000 + below(chance, 21) as u32 * 100_000;
    Target::flow(Flow::from_ul_per_min(flow).unwrap_or(Flow::SMALLEST))
}

fn step(chance: &mut Stream, now: WallMs, len: usize, last_start: &mut u64) -> Step {
    match below(chance, 9) {
        0 => {
            // Some minutes on, and after the one before.
            *last_start += (1 + below(chance, 20)) * 60_000;
            let time = (now.as_ms() + *last_start) % 86_400_000 / 1_000 * 1_000;
            TimeOfDay::from_ms(time as u32).map_or(Step::Finish, Step::WaitForTime)
        }
        1 => duration(chance, 1_000, 300_000).map_or(Step::Finish, Step::Hold),
        2 => {
            let then = if below(chance, 2) == 0 { Then::Continue } else { Then::Close };
            match duration(chance, 10_000, 600_000) {
                Some(at_most) => Step::HoldUntilResumed { at_most, then },
                None => Step::Finish,
            }
        }
        3 if len > 0 => {
            let from = StepNo::new(1 + below(chance, len as u64) as u8).unwrap_or(StepNo::FIRST);
            let sampler = match below(chance, 3) {
                0 => Sampler::Same,
                1 => Sampler::Fresh,
                _ => Sampler::FreshConfirmed,
            };
            match Passes::new(2 + below(chance, 2) as u16) {
                Ok(passes) => Step::Repeat { from, passes, sampler },
                Err(_) => Step::Finish,
            }
        }
        4 => {
            let volume = Volume::from_ml(500 + below(chance, 20_000) as u32);
            match (volume, duration(chance, 60_000, 1_200_000)) {
                (Ok(volume), Some(at_most)) => Step::DrawVolume { volume, at_most, target: None },
                _ => Step::Finish,
            }
        }
        5 => {
            *last_start += (1 + below(chance, 20)) * 60_000;
            let time = (now.as_ms() + *last_start) % 86_400_000 / 1_000 * 1_000;
            match (TimeOfDay::from_ms(time as u32), duration(chance, 3_600_000, 7_200_000)) {
                (Ok(time), Some(at_most)) => Step::RunUntil { time, at_most, target: None },
                _ => Step::Finish,
            }
        }
        _ => run(chance),
    }
}

fn run(chance: &mut Stream) -> Step {
    let own = (below(chance, 4) == 0).then(|| target(chance));
    match duration(chance, 1_000, 900_000) {
        Some(run) => Step::RunFor { run, target: own },
        None => Step::Finish,
    }
}

/// Mostly whole seconds, now and then any number of ms.
fn ms(chance: &mut Stream, from: u64, to: u64) -> u32 {
    let ms = from + below(chance, to - from);
    (if below(chance, 4) == 0 { ms } else { ms / 1_000 * 1_000 }) as u32
}

fn duration(chance: &mut Stream, from: u64, to: u64) -> Option<DurationMs> {
    DurationMs::from_ms(ms(chance, from, to).max(1)).ok()
}

/// From 0 to one less than `bound`.
pub(super) fn below(chance: &mut Stream, bound: u64) -> u64 {
    chance.bits() % bound.max(1)
}
