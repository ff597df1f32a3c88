//! One poll.

use super::board::Board;
use super::boot::WARNED_MS;
use super::state::Pump;
use crate::arithmetic::divide;
use crate::clock::Now;
use crate::event::Limit;
use crate::limits::Seen;
use crate::machine::{Command, Demand, Wake};
use crate::port::{Ambient, Duty, FlowSensor, Motor, Panel, Supply};
use crate::record::Flags;
use crate::units::TargetKind;

/// A wall clock that went this much another way than the monotonic one between two polls was set, in ms.
const STEP_MS: u64 = 2_000;

/// How often a pump looks whether the charger was taken away, in ms.
const HELD_MS: u64 = 10_000;

impl<B: Board, const N: usize> Pump<B, N> {
    /// Does what is to be done now, and says when to be called next.
    ///
    /// Call it at the wake, when a key was pressed, and when the supply warns. Early calls are harmless; late ones are recorded
    /// and caught up with. The answer is never [`Wake::Again`].
    pub fn poll(&mut self) -> Wake {
        if !self.booted {
            return Wake::NEVER;
        }
        let now = self.now();
        self.power = self.board.supply().read();
        if self.is_held() {
            self.keys_while_held();
            if let (Some(held), true) = (self.held, self.changed) {
                // Rows that were collected, or a lamp that was put out.
                self.keep_as_found(held.at);
            }
            // One that missed that it shall stand still must not run for as long as the event is held.
            self.motor_unsure = !self.rest();
            self.watch_clock(now);
            self.indicate(now);
            let again = if self.motor_unsure { self.config.reading_ms.into() } else { HELD_MS };
            return Wake::At { mono: Some(now.mono.plus_ms(again)), wall: None, drawn: None };
        }
        let now = self.now();
        self.watch_clock(now);
        let tripped = self.meter(now);
        let stretch = self.run.event.spans;
        self.keys(now);
        if let Some(limit) = tripped {
            self.trip(limit, stretch, now);
        }
        let mut wake = self.settle(now);
        if !self.act(now) {
            // The motor did not do as it was told.
            self.trip(Limit::Sensor, self.run.event.spans, now);
            self.changed |= !self.indications.fault;
            self.indications.fault = true;
            wake = self.settle(now);
            self.act(now);
        }
        self.indicate(now);
        self.next(wake, now)
    }

    /// Adds what was drawn since the poll before, and judges the limits.
    #[inline(never)]
    pub(super) fn meter(&mut self, now: Now) -> Option<Limit> {
        let Demand::Pump(target) = self.run.demand else {
            self.run.tally.idle(now.mono);
            return None;
        };
        let before = self.run.tally.meter().last();
        let air = self.board.ambient().read();
        let watched = self.board.ambient().is_there();
        let (gaps, metered_ms) =
            (self.run.tally.meter().gaps(), self.run.tally.meter().metered_ms());
        let (air_ms, uncorrected_ms) = (self.run.tally.air_ms(), self.run.tally.uncorrected_ms());
        let read = self.board.flow().read();
        let flow = match &read {
            Ok(reading) => Some(self.run.tally.reading(now.mono, reading, air)),
            Err(_) => {
                self.run.tally.gap(now.mono);
                None
            }
        };
        let tally = &self.run.tally;
        let metered_ms = tally.meter().metered_ms().wrapping_sub(metered_ms);
        let without_air = watched && tally.air_ms().wrapping_sub(air_ms) < metered_ms;
        let has_gap = tally.meter().gaps() != gaps;
        self.run.corrects |= tally.uncorrected_ms().wrapping_sub(uncorrected_ms) < metered_ms;
        if has_gap {
            self.run.flag(Flags::FLOW_UNKNOWN);
        }
        if without_air {
            self.run.flag(Flags::AIR_UNKNOWN);
        }
        let ms = now.mono.since(before);
        // A poll that is later than 49 days is no concern here.
        self.pumped_since_boot_ms = self.pumped_since_boot_ms.saturating_add(ms as u32);
        let drop_pa = read.ok().and_then(|reading| reading.drop_pa);
        let seen = Seen {
            flow_ul_per_min: flow,
            drop_pa,
            duty: self.regulator.duty(),
            supply_low: self.power.low,
        };
        self.regulator.step(target, flow, drop_pa, ms);
        let tripped = self.limits.judge(target, &self.table.settings().limits, &seen, ms);
        if self.limits.is_off_target() {
            self.run.flag(Flags::FLOW_OFF);
        }
        tripped
    }

    /// A limit ends the stretch that it was judged on, unless that came to its end at this very instant.
    fn trip(&mut self, limit: Limit, stretch: u16, now: Now) {
        self.settle(now);
        if self.run.event.spans == stretch {
            // Refused when nothing is pumped any more: then there is nothing to trip.
            let _ = self.ask(Command::Trip(limit), now);
        }
    }

    /// Calls the machine until there is nothing more to do at this instant.
    #[inline(never)]
    pub(super) fn settle(&mut self, now: Now) -> Wake {
        loop {
            let Ok(table) = self.table.checked() else { return Wake::NEVER };
            let input = self.run.input(now);
            let answer = self.run.machine.advance(table, input);
            if let Some(event) = answer.event {
                self.happened(now, event);
            }
            if answer.wake != Wake::Again {
                // Only now: between two steps the motor runs on, and what is known of its train with it.
                self.demand(answer.demand);
                return answer.wake;
            }
        }
    }

    /// Takes a demand over; a motor that starts, starts from nothing known.
    pub(super) fn demand(&mut self, demand: Demand) {
        if demand != self.run.demand {
            match demand {
                Demand::Pump(target) => {
                    self.regulator.start(target);
                    self.limits.start();
                }
                Demand::Off => self.regulator.stop(),
            }
            self.run.demand = demand;
        }
    }

    /// The motor and the journal, in the order in which a cut does least harm.
    /// False when the motor did not do as it was told.
    #[inline(never)]
    fn act(&mut self, now: Now) -> bool {
        let mut obeys = self.rest();
        let since_kept = now.mono.since(self.run.kept);
        // A supply that warned and then held: what is pumped since must not go unaccounted for in silence.
        let lasts = since_kept >= WARNED_MS.into();
        let held = self.warned && self.run.is_pumping() && (!self.power.failing || lasts);
        self.warned_in_vain = self.power.failing && (held || self.warned_in_vain);
        let pumped_on = self.run.is_pumping() && since_kept >= self.config.checkpoint_ms.into();
        let warns = self.power.failing && !self.warned_in_vain;
        let warned = warns && self.run.machine.is_armed() && !self.warned;
        if self.pumped_since_boot_ms >= self.config.checkpoint_ms {
            self.run.resumes_in_row = 0;
        }
        if self.changed || pumped_on || warned || held {
            // Tried again at the next poll when it fails.
            let _ = self.keep(now);
        }
        if self.run.is_pumping() {
            let duty = if self.is_kept(now) { self.regulator.duty() } else { Duty::OFF };
            obeys = self.drive(duty);
        }
        self.motor_unsure = !obeys;
        obeys
    }

    /// Whether the journal knows enough for the motor to run: that it started, or, while it runs on, what it drew until an
    /// interval and a reading ago. A pump whose flash fails draws nothing; if that lasts, the limit on too little flow trips.
    fn is_kept(&self, now: Now) -> bool {
        // A checkpoint that says "warned" promises that hardly anything is pumped after it.
        let interval_ms = if self.warned { WARNED_MS } else { self.config.checkpoint_ms };
        let most_ms = u64::from(interval_ms).saturating_add(self.config.reading_ms.into());
        !self.changed || (self.driven && now.mono.since(self.run.kept) < most_ms)
    }

    /// Stops the motor if nothing asks for it. False when it does not do as it is told.
    pub(super) fn rest(&mut self) -> bool {
        self.run.is_pumping() || self.drive(Duty::OFF)
    }

    /// Tells the motor; one that does not do as it is told is flagged.
    #[inline(never)]
    pub(super) fn drive(&mut self, duty: Duty) -> bool {
        self.driven = duty != Duty::OFF;
        let obeys = self.board.motor().drive(duty).is_ok();
        if !obeys {
            self.run.flag(Flags::MOTOR_FAILED);
            if duty == Duty::OFF {
                // It runs on through the sampler that is still in place.
                self.run.sample.flags.set(Flags::MOTOR_FAILED);
            }
        }
        obeys
    }

    #[inline(never)]
    fn watch_clock(&mut self, now: Now) {
        if self.run.machine.is_armed() {
            let last = core::mem::replace(&mut self.polled_last, now);
            let flag = match now.wall {
                // From the poll before for a step; from further back as well, since a clock that is set by a little over and over is set.
                Some(_) if goes_with(last, now) && goes_with(self.polled, now) => return,
                Some(_) if self.polled.wall.is_some() => Flags::CLOCK_STEPPED,
                _ => Flags::CLOCK_UNTRUSTED,
            };
            // By a checkpoint of before, the length of an outage would be wrong. While the pump runs there will be another soon; a clock
            // that goes astray all the time is not worth the flash.
            self.changed |= !self.run.event.flags.has(flag) || !self.run.is_pumping();
            self.run.flag(flag);
        }
        (self.polled, self.polled_last) = (now, now);
    }

    #[inline(never)]
    fn indicate(&mut self, now: Now) {
        let wants_operator =
            self.table.checked().is_ok_and(|table| self.run.machine.wants_operator(table));
        let shown = crate::port::Indications {
            pumping: self.run.is_pumping(),
            armed: self.run.machine.is_armed(),
            fault: self.indications.fault,
            supply_low: self.power.low,
            clock_untrusted: now.wall.is_none(),
            wants_operator,
        };
        self.indications = shown;
        self.board.panel().show(shown);
    }

    /// While the pump runs the next reading is due before most else.
    fn next(&self, wake: Wake, now: Now) -> Wake {
        let Wake::At { mono, wall, drawn } = wake else { return wake };
        let mut ms = u64::from(self.config.reading_ms);
        match self.run.demand {
            // A volume is full between two readings, and a checkpoint is due; one that is late already is tried at readings.
            Demand::Pump(target) => {
                let due = self.run.kept.plus_ms(self.config.checkpoint_ms.into()).since(now.mono);
                if due > 0 {
                    ms = ms.min(due);
                }
                if let (Some(full), TargetKind::Flow(flow)) = (drawn, target.kind()) {
                    let left = full.since(self.run.input(now).drawn).as_raw();
                    let until = divide(left, flow.ul_per_min().into()).unwrap_or(ms);
                    ms = ms.min(until.saturating_add(1));
                }
            }
            Demand::Off if self.motor_unsure => {}
            // What could not be kept is tried again.
            Demand::Off if self.changed => ms = HELD_MS,
            Demand::Off => return wake,
        }
        let reading = now.mono.plus_ms(ms);
        let mono = Some(mono.map_or(reading, |mono| mono.min(reading)));
        Wake::At { mono, wall, drawn }
    }
}

/// Whether the wall clock went as far as the monotonic one between two moments, both with a time of day.
#[inline(never)]
fn goes_with(before: Now, now: Now) -> bool {
    let Some((before_wall, wall)) = before.wall.zip(now.wall) else { return false };
    let passed = now.mono.since(before.mono);
    let expected = before_wall.as_ms().saturating_add(passed);
    // 1 in 8,192, 122 parts per million, is more than two crystals differ by.
    let may = (passed >> 13).saturating_add(STEP_MS);
    wall.as_ms().abs_diff(expected) <= may
}
