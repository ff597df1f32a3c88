//! Keeps flow or pressure at its target: feed-forward and a PI regulator in whole numbers.
//!
//! Duty = feed-forward + proportional part + trim. The **feed-forward** is the duty that draws the target through the lightest sampling
//! train on a full battery, so a start begins near its target and from below. The **trim** is what load and a weaker
//! battery need on top; it is the integral part, and stops where the duty is limited (no windup).
//!
//! While the flow rises it is below its target however right the duty is, and a regulator that takes that for an error overshoots. So
//! after a start a reading is right if it lies between the target and what this pump would read by then: a first-order rise whose time
//! constant is [`Curve::integral_ms`], which by the tuning rule is the pump's own.
//!
//! A kinked tube looks to a regulator like a filter that loaded within a second. So from [`Config::start_ms`] after a start on, too
//! little counts for no more than [`Config::error_at_most_per_mille`] of the target: a filter loads over hours and is followed all the
//! same, and a kink leaves little to overshoot with. Too much counts whole, so what a long kink did leave is gone in seconds.
//!
//! How much a pressure rises with the duty depends on the train: a light one needs more duty for a Pa than the one that the pressure
//! curve was tuned with, a heavy one less. Where flow and pressure are both read, the error counts by that
//! ([`Regulator::step`]), so a start through a clean tube is as quick as through a loaded one.
//!
//! # Tuning
//!
//! Measure three things of a pump, with the lightest train and a full battery, and the rest follows:
//!
//! 1. [`Curve::at_full`] and [`Curve::dead_per_myriad`]: what it draws at full duty, and the duty below which it draws nothing. (For pressure:
//!    what it reaches at full duty against a closed inlet.)
//! 2. By how many percent of [`Curve::at_full`] the reading rises for 100 % of duty, where that is most: the gain of the pump.
//! 3. The time constant of the reading after a step of the duty, and its delay: half a reading interval for the mean that a
//!    reading is, half a one for the duty that is held until the next, and what the sensor adds.
//!
//! [`Curve::tuned`] makes the gains from these by the rule PI = lag / (gain · (closed lag + delay)), integral time = lag, at most
//! 4 · (closed lag + delay), with a closed lag of 3/4 of the delay (S. Skogestad's rule for a first-order process, from memory; he
//! has the whole delay, and 3/4 is what settles a loaded train in time here).
//!
//! ```
//! use draught::port::Duty;
//! use draught::regulator::{Config, Curve, Regulator};
//! use draught::units::{Flow, Target};
//!
//! // 4.5 L/min at full duty, nothing below 10 %; lag 0.8 s, readings once a second.
//! let flow = Curve::tuned(4_500_000, 1_000, 110, 800, 1_000);
//! let config = Config { flow, pressure: None, ..Config::default() };
//! let mut regulator = Regulator::new(config);
//! let target = Target::flow(Flow::from_ul_per_min(2_000_000)?);
//! regulator.start(target);
//! assert_eq!(regulator.duty().per_myriad(), 5_000); // 10 % + 90 % · 2.0/4.5
//! let duty = regulator.step(target, Some(500_000), None, 1_000); // too little, even for its first second
//! assert!(duty.per_myriad() > 5_000);
//! regulator.stop();
//! assert_eq!(regulator.duty(), Duty::OFF);
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

mod gain;

use self::gain::Gain;
use crate::arithmetic::divide;
use crate::meter::GAP_MS;
use crate::port::Duty;
use crate::units::{Target, TargetKind};

/// Duty is held in 1/65,536 of a hundredth of a percent: full duty is below 2^30.
const FINE_BITS: u32 = 16;
const FULL_FINE: u32 = (Duty::FULL.per_myriad() as u32) << FINE_BITS;

/// How what is kept constant answers to the duty, and the gains made from that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Curve {
    /// What full duty draws, in µL/min or Pa: with the lightest train and a full battery for flow, with a closed inlet for pressure. So the
    /// feed-forward never asks for too much.
    pub at_full: u32,
    /// The duty below which nothing is drawn, in 0.01 %.
    pub dead_per_myriad: u16,
    /// Duty, in percent of full, for an error of 100 % of `at_full`.
    pub gain_percent: u16,
    /// Integral time, in ms: how long it takes the trim to add as much again as the proportional part. 0 counts as 1.
    pub integral_ms: u32,
}

impl Curve {
    /// Gains by the tuning rule of the module.
    ///
    /// `rise_percent`: by how many percent of `at_full` the reading rises for 100 % of duty, where that is most.
    #[must_use]
    pub const fn tuned(
        at_full: u32,
        dead_per_myriad: u16,
        rise_percent: u16,
        lag_ms: u32,
        delay_ms: u32,
    ) -> Self {
        // Closed lag and delay, 3/4 and 1.
        let closed_ms = (delay_ms as u64).saturating_mul(7) / 4;
        let per_rise = closed_ms.saturating_mul(rise_percent as u64);
        let gain = match divide((lag_ms as u64).saturating_mul(10_000), per_rise) {
            Some(gain) if gain <= MOST_GAIN_PERCENT as u64 => gain as u16,
            _ => MOST_GAIN_PERCENT,
        };
        let slowest_ms = closed_ms.saturating_mul(4);
        let integral_ms = if (lag_ms as u64) < slowest_ms { lag_ms } else { slowest_ms as u32 };
        Self { at_full, dead_per_myriad, gain_percent: gain, integral_ms }
    }
}

/// More gain than this is taken for this: the proportional part of an error of a tenth would be all the duty there is.
const MOST_GAIN_PERCENT: u16 = 1_000;

/// How a motor is driven.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config {
    /// For a constant flow.
    pub flow: Curve,
    /// For a constant pressure difference; `None`: this pump cannot, and its duty stays at `least`.
    pub pressure: Option<Curve>,
    /// The least duty while it pumps, at which the motor does not stall.
    pub least: Duty,
    /// The most duty while it pumps.
    pub most: Duty,
    /// By how much the duty may change in a second, in 0.01 %.
    pub slew_per_myriad_per_s: u16,
    /// After this time from a start too little is bounded, in ms.
    pub start_ms: u32,
    /// To how much of the target.
    pub error_at_most_per_mille: u16,
}

impl Default for Config {
    /// A curve of a worn pump, assumed; from 5 % to full duty, all of it within 2 s; 10 s of start (the settling time that is
    /// promised), then errors up to 2 % of the target count: as fast as half of that a second, or a filter that blocks within
    /// a minute.
    fn default() -> Self {
        Self {
            flow: Curve::tuned(4_500_000, 1_000, 110, 800, 1_000),
            pressure: None,
            least: Duty::from_per_myriad(500),
            most: Duty::FULL,
            slew_per_myriad_per_s: 5_000,
            start_ms: 10_000,
            error_at_most_per_mille: 20,
        }
    }
}

/// An error counts as the curve says.
const AS_TUNED: i32 = 16;
/// For a heavier train it counts for no less than a quarter, for a lighter one no more than three times as much: a train whose pressure
/// rises with the square of the flow would overshoot otherwise.
const LEAST_WEIGHT: u64 = 4;
const MOST_WEIGHT: u64 = 48;

/// What is kept constant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Kept {
    Flow,
    Pressure,
}

/// A regulator; the same readings give the same duty on every machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Regulator {
    config: Config,
    kept: Kept,
    /// The target that the rest belongs to; 0: the pump is off.
    target: u32,
    proportional: Gain,
    /// For a ms.
    integral: Gain,
    /// What is to be read by now, below or above the target only for a while after a start.
    expected: u32,
    /// What is read too little counts for no more than this once started.
    error_at_most: i32,
    since_ms: u32,
    /// Feed-forward, trim and duty, fine.
    ahead: i32,
    trim: i32,
    duty: i32,
}

impl Regulator {
    /// A motor that is off.
    #[must_use]
    pub const fn new(config: Config) -> Self {
        Self {
            config,
            kept: Kept::Flow,
            target: 0,
            proportional: Gain::NONE,
            integral: Gain::NONE,
            expected: 0,
            error_at_most: 0,
            since_ms: 0,
            ahead: 0,
            trim: 0,
            duty: 0,
        }
    }

    /// Pumps to a target from now on.
    ///
    /// Off before: begins at what the feed-forward says, no further from off than a second of slew. On before: goes on from the duty
    /// that it has, and keeps the trim, since train and battery are the same.
    pub fn start(&mut self, target: Target) {
        let (kept, value, curve) = match target.kind() {
            TargetKind::Flow(flow) => (Kept::Flow, flow.ul_per_min(), Some(self.config.flow)),
            TargetKind::Pressure(p) => (Kept::Pressure, p.as_pa(), self.config.pressure),
        };
        if self.target == 0 {
            self.expected = 0;
        } else if kept != self.kept {
            // What it will read of this on the way is not known.
            self.expected = value;
        }
        if self.target == 0 || kept != self.kept {
            self.trim = 0;
        }
        (self.kept, self.target, self.since_ms) = (kept, value, 0);
        (self.proportional, self.integral) = (Gain::NONE, Gain::NONE);
        self.ahead = 0;
        if let Some(curve) = curve {
            self.tune(curve);
        }
        self.limit(self.ahead.saturating_add(self.trim), 1_000);
    }

    fn tune(&mut self, curve: Curve) {
        let at_full = u64::from(curve.at_full.max(1));
        // 2^30 · 1,000 is below 2^40.
        let gain =
            u64::from(FULL_FINE).wrapping_mul(curve.gain_percent.min(MOST_GAIN_PERCENT).into());
        let by = at_full.wrapping_mul(100);
        self.proportional = Gain::of(gain, by);
        // 2^32 · 100 · 2^20 is below 2^59.
        self.integral = Gain::of(gain, by.wrapping_mul(curve.integral_ms.clamp(1, 1 << 20).into()));
        let dead = fine(Duty::from_per_myriad(curve.dead_per_myriad));
        let above = u64::from(FULL_FINE.saturating_sub(dead as u32));
        let share = divide(above.wrapping_mul(self.target.into()), at_full).unwrap_or(0);
        self.ahead = dead.saturating_add(share.min(FULL_FINE.into()) as i32);
        // Below 2^31 · 1,000.
        let bounded = u64::from(self.target)
            .wrapping_mul(self.config.error_at_most_per_mille.min(1_000).into());
        self.error_at_most = divide(bounded, 1_000).unwrap_or(0) as i32;
    }

    /// Stops: the next start knows nothing of this one.
    pub const fn stop(&mut self) {
        (self.target, self.trim, self.duty) = (0, 0, 0);
    }

    /// How hard the motor is to be driven now.
    #[must_use]
    pub const fn duty(&self) -> Duty {
        // Below 2^30.
        Duty::from_per_myriad((self.duty.wrapping_add(1 << (FINE_BITS - 1)) >> FINE_BITS) as u16)
    }

    /// Takes a reading, of the flow at the sampler's inlet in µL/min and of the pressure difference in Pa, that stands for the last
    /// `ms`; answers how hard to drive the motor from now on.
    ///
    /// Without a reading of what is kept constant the duty stays as it is. Where a pressure is kept and the flow is read as well, both
    /// tell how heavy the train is. Another target than before is a [`start`](Self::start).
    pub fn step(
        &mut self,
        target: Target,
        flow_ul_per_min: Option<u32>,
        drop_pa: Option<u32>,
        ms: u64,
    ) -> Duty {
        let (kept, value, reading) = match target.kind() {
            TargetKind::Flow(flow) => (Kept::Flow, flow.ul_per_min(), flow_ul_per_min),
            TargetKind::Pressure(p) => (Kept::Pressure, p.as_pa(), drop_pa),
        };
        if (kept, value) != (self.kept, self.target) {
            self.start(target);
        }
        if let Some(reading) = reading {
            let weight = match (self.kept, flow_ul_per_min) {
                (Kept::Pressure, Some(flow)) => self.weight(flow, reading),
                _ => AS_TUNED,
            };
            // A reading that is late stands for no more than the longest that one may stand for.
            self.take(reading, weight, ms.min(GAP_MS) as u32);
        }
        self.duty()
    }

    /// How much an error of the pressure counts with this train, in sixteenths of what it was tuned for.
    ///
    /// A pump loses flow in proportion to the pressure, so with a train of which the part a = (pressure / pressure at full) /
    /// (flow / flow at full) is known, the pressure rises by 1 / (1 + 1/a) of what the flow rises by.
    fn weight(&self, flow: u32, drop: u32) -> i32 {
        let Some(pressure) = self.config.pressure else { return AS_TUNED };
        // What is read of a train that is hardly blown through says nothing of it.
        if drop < self.target >> 2 {
            return AS_TUNED;
        }
        let at_full = &self.config.flow;
        // Below 2^32 · 2^18 · 2^4, which is 2^54: no schedule holds a pressure of 2^18 Pa.
        let lightness = divide(
            u64::from(flow).wrapping_mul(pressure.at_full.into()).wrapping_mul(16),
            u64::from(drop).wrapping_mul(at_full.at_full.into()),
        );
        let lightness = lightness.unwrap_or(0).min(u16::MAX.into()).wrapping_add(16);
        let weight = divide(
            lightness.wrapping_mul(at_full.gain_percent.into()),
            pressure.gain_percent.into(),
        );
        weight.unwrap_or(0).clamp(LEAST_WEIGHT, MOST_WEIGHT) as i32
    }

    fn take(&mut self, reading: u32, weight: i32, ms: u32) {
        self.expect(ms);
        // Both are 0 to 2^31 - 1 (a target is below 2^31): their difference fits.
        let reading = reading.min(i32::MAX as u32) as i32;
        // Between what is expected and the target a reading is as it should be.
        let (expected, target) = (self.expected as i32, self.target as i32);
        let should = reading.max(expected.min(target)).min(expected.max(target));
        let mut error = should.wrapping_sub(reading);
        self.since_ms = self.since_ms.saturating_add(ms);
        if self.since_ms > self.config.start_ms {
            error = error.min(self.error_at_most);
        }
        // An error of 2^31 · 8 is held to what is beyond full duty anyway.
        let error = (error >> 4).saturating_mul(weight);
        let more = self.integral.times(error, ms);
        // Each of the four is within 2^30: a sum that saturates is far beyond full duty.
        let trimmed = self.trim.saturating_add(more);
        let wanted =
            self.ahead.saturating_add(self.proportional.times(error, 1)).saturating_add(trimmed);
        let got = self.limit(wanted, ms);
        // No windup: a trim that asks for more of what cannot be had stays as it is.
        let in_vain = (wanted > got && more > 0) || (wanted < got && more < 0);
        if !in_vain {
            self.trim = trimmed.clamp(-(FULL_FINE as i32), FULL_FINE as i32);
        }
    }

    /// Lets what is expected come nearer to the target for `ms`.
    fn expect(&mut self, ms: u32) {
        let left = self.target.abs_diff(self.expected);
        if left == 0 {
            return;
        }
        let curve = match (self.kept, self.config.pressure) {
            (Kept::Pressure, Some(curve)) => curve,
            _ => self.config.flow,
        };
        // A first-order rise in one step of any length: the part of ms in ms and the time constant. Below 2^31 · 5,000, and no more than left.
        let moved = divide(
            u64::from(left).wrapping_mul(ms.into()),
            u64::from(curve.integral_ms.max(1)).wrapping_add(ms.into()),
        );
        let moved = moved.unwrap_or(0) as u32;
        // What is less than 1 % is there.
        let is_there = left.wrapping_sub(moved) <= self.target >> 7;
        self.expected = match (is_there, self.expected < self.target) {
            (true, _) => self.target,
            (false, true) => self.expected.saturating_add(moved),
            (false, false) => self.expected.saturating_sub(moved),
        };
    }

    /// Sets the duty as near to `wanted` as the limits and the slew of `ms` allow.
    fn limit(&mut self, wanted: i32, ms: u32) -> i32 {
        // Below 2^16 · 5,000 < 2^29; times 65,536/1,000 = 65.536, as 67,109/1,024.
        let slew = u64::from(self.config.slew_per_myriad_per_s)
            .wrapping_mul(ms.into())
            .wrapping_mul(67_109);
        let slew = (slew >> 10).min(FULL_FINE.into()) as i32;
        let wanted = wanted
            .min(self.duty.saturating_add(slew))
            .max(self.duty.saturating_sub(slew))
            .min(fine(self.config.most))
            .max(fine(self.config.least));
        self.duty = wanted;
        wanted
    }
}

const fn fine(duty: Duty) -> i32 {
    (duty.per_myriad() as i32) << FINE_BITS
}

#[cfg(test)]
mod tests;
