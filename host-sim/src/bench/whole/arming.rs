//! Schedules are drawn and armed.

use draught::clock::{Now, WallMs};
use draught::forecast::Forecast;
use draught::machine::EventId;
use draught::pump::{Config, StartRefused};
use draught::table::StepTable;
use draught::wire;

use super::broken::{Broken, Promise};
use super::calm::Outlook;
use super::faults::FaultKind;
use super::plans::{Asks, schedule};
use super::trial::{Run, Under};
use super::watch::Watch;
use crate::bench::nor::Torn;
use crate::bench::random::Stream;

/// So many schedules are drawn until one can be armed.
const ARMINGS_MAX: u32 = 100;

impl Run<'_> {
    /// Loads and arms a schedule; one that cannot be armed (its first start lies in the past, nothing pumps) is drawn again.
    /// False when nothing can be armed any more: the battery is too weak to begin.
    pub(super) fn arm(&mut self, chance: &mut Stream, asks: Asks) -> Result<bool, Broken> {
        let last = self.event.id;
        for _ in 0..ARMINGS_MAX {
            self.wait_for_a_second()?;
            let now = self.pump.now();
            // A clock that is lost: the schedule is drawn as for the begin of the century.
            let table = schedule(chance, asks, now.wall.unwrap_or(WallMs::FIRST));
            let mut block = [0; wire::max_len(32)];
            let Ok(len) = table.checked().map_or(Ok(0), |t| wire::encode(t, &mut block)) else {
                continue;
            };
            if self.pump.load(&block[..len], 0).is_err() {
                continue;
            }
            if let Some(id) = self.arm_loaded(&table)? {
                let later = id.0.wrapping_sub(last.0);
                if later == 0 || later > 1_000 {
                    let what = format!("event {} comes after event {}", id.0, last.0);
                    return Err(self.broken(Promise::RecordLost, what));
                }
                self.event.id = id;
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// In a calm trial, until a second begins, so that no instant of the schedule falls on either side by chance.
    fn wait_for_a_second(&mut self) -> Result<(), Broken> {
        let wall = self.pump.now().wall;
        let over = wall.map_or(0, |wall| wall.as_ms() % 1_000);
        if self.trial.calm && over > 500 { self.pass(1_000 - over + 1) } else { self.pass(1) }
    }

    fn arm_loaded(&mut self, table: &StepTable<32>) -> Result<Option<EventId>, Broken> {
        let before = self.pump.record().event;
        let cut = if self.in_arm.is_empty() { None } else { Some(self.in_arm.remove(0)) };
        if let Some(FaultKind::CutInArm { operations, torn, .. }) = cut.map(|f| f.kind) {
            self.board.flash(|nor| nor.cut_after(operations, torn));
        }
        let now = self.pump.now();
        let outlook = Outlook::new(table, &self.config.fit, now);
        let limits = table.settings().limits;
        let truth = self.board.truth();
        self.watch = Watch::new(&self.drawn.world, &self.trial.faults, limits, &truth);
        let last_ms =
            self.trial.faults.iter().map(|f| f.at_ms + f.kind.lasts_ms().unwrap_or(0)).max();
        self.event = Under {
            id: before,
            ends_ms: self.now().max(last_ms.unwrap_or(0)) + length_ms(table, &self.config, now),
            outlook,
            table: Some(table.clone()),
            polls: self.event.polls,
            ..Under::default()
        };
        let mut armed = self.pump.arm();
        if let Err(StartRefused::JournalFull { .. }) = armed {
            self.collect()?;
            armed = self.pump.arm();
        }
        let hit = self.board.flash(|nor| nor.hit().is_some());
        if let (Some(FaultKind::CutInArm { off_ms, .. }), true) = (cut.map(|f| f.kind), hit) {
            self.outage(off_ms)?;
            let is = self.pump.record().event;
            if let Ok((id, _)) = armed
                && id != is
            {
                return Err(self.broken(Promise::RecordLost, "an event that was armed is gone"));
            }
            return Ok((is != before).then_some(is));
        }
        self.board.flash(|nor| {
            if cut.is_some() {
                nor.cut_after(u64::MAX, Torn::Prefix);
            }
        });
        if armed.is_ok() && self.pump.status().drawn.as_raw() != 0 {
            return Err(self.broken(Promise::CountedTwice, "something is drawn before it begins"));
        }
        Ok(armed.ok().map(|(id, _)| id))
    }
}

/// How long the schedule takes with every hold running out, which takes longest, in ms.
fn length_ms(table: &StepTable<32>, config: &Config, now: Now) -> u64 {
    let Ok(checked) = table.checked() else { return 0 };
    let last = Forecast::new(checked, &config.fit, now).ok().and_then(Iterator::last);
    last.map_or(0, |span| span.to.mono.since(now.mono))
}
