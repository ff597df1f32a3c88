//! An event is over: is what the journal holds what happened?

use draught::event::{EndReason, PumpEnd, StopReason};
use draught::record::{EventRow, Flags, SpanRow};

use super::broken::{Broken, Promise};
use super::faults::{Ask, FaultKind};
use super::ledger::Rows;
use super::rules;
use super::trial::Run;
use crate::bench::physics::FaultKind as InWorld;

/// A battery with less than this part of its charge may be low.
const SPENT: f64 = 0.15;

impl Run<'_> {
    /// The event is over: is what the journal holds what happened?
    pub(super) fn account(&mut self) -> Result<(), Broken> {
        // What rows it has now is acknowledged.
        self.event.mark = (u16::MAX, false);
        self.look()?;
        // One boot more: nothing may come of it.
        let truth = self.board.truth();
        let cuts = self.event.cuts;
        self.waiting_off_ms = None;
        self.board.outage(1_000);
        self.power_on()?;
        self.poll()?;
        let rows = self.ledger.of(self.event.id, self.now())?;
        self.told.rows += (rows.spans.len() + rows.samples.len() + rows.events.len()) as u32;
        if let Some(wrong) = self.board.flash(|nor| nor.wrong_use.first().cloned()) {
            return Err(self.broken(Promise::WrongUse, wrong));
        }
        self.told.pumped_ms += self.watch.asked_ms;
        let rots = self.trial.rots();
        let Some(event) = rows.events.first().copied() else {
            if rots {
                self.told.rotten += 1;
                return self.no_more_than_happened(&rows, None, truth.drawn_ul);
            }
            return Err(self.broken(Promise::RecordLost, "there is no record of the event"));
        };
        self.told.ends.push(event.reason);
        self.told.resumes += u32::from(event.resumes);
        self.told.trips += event.trips.iter().map(|&n| u32::from(n)).sum::<u32>();
        // Of what rots a row may be missing, and with it what it held, or the pump says that one is; nothing else changes.
        if !rots || self.nothing_seems_lost(&rows, &event) {
            self.rows_agree(&rows, &event)?;
        }
        if !rots {
            self.nothing_is_missing(&event, cuts)?;
            self.ended_for_a_reason(&event)?;
            self.steps_were_kept(&rows)?;
        }
        self.no_more_than_happened(&rows, Some(&event), truth.drawn_ul)?;
        match &self.event.outlook {
            Some(outlook) if self.trial.calm && !self.is_spent() => {
                outlook.has_come(&rows, &event, self.now())
            }
            _ => Ok(()),
        }
    }

    /// All rows are there, and the record does not say that one is not.
    fn nothing_seems_lost(&self, rows: &Rows, event: &EventRow) -> bool {
        !event.flags.has(Flags::ROW_LOST)
            && rows.spans.len() == usize::from(event.spans)
            && rows.samples.len() as u32 == event.samples
    }

    fn rows_agree(&self, rows: &Rows, event: &EventRow) -> Result<(), Broken> {
        let differ = |what: String| Err(self.broken(Promise::SumsDiffer, what));
        let numbers: Vec<u16> = rows.spans.iter().map(|s| s.number).collect();
        if numbers != (1..=event.spans).collect::<Vec<_>>() {
            return Err(self
                .broken(Promise::RecordLost, format!("stretches {numbers:?} of {}", event.spans)));
        }
        let volume = event.volume.as_raw();
        let of_spans: u64 = rows.spans.iter().map(|s| s.volume.as_raw()).sum();
        let of_samples: u64 = rows.samples.iter().map(|s| s.volume().as_raw()).sum();
        if of_spans != volume || of_samples != volume {
            return differ(format!(
                "volumes: {of_spans} in spans, {of_samples} in samples, {volume}"
            ));
        }
        let spans: u64 = rows.spans.iter().map(|s| s.pumped_ms).sum();
        let samples: u64 = rows.samples.iter().map(|s| s.pumped_ms).sum();
        if spans != event.pumped_ms || samples != spans {
            return differ(format!("times: {spans}, {samples}, {}", event.pumped_ms));
        }
        // A limit is judged on what was pumped; only a motor that cannot be started trips at once.
        let at_once = |s: &&SpanRow| s.pumped_ms == 0 && matches!(s.by, PumpEnd::Tripped(_));
        let obeys = !self.trial.any_in_world(|kind| *kind == InWorld::MotorDisobeys);
        if let Some(span) = rows.spans.iter().find(at_once).filter(|_| obeys) {
            let what = format!("stretch {} tripped before it pumped", span.number);
            return Err(self.broken(Promise::WrongEnd, what));
        }
        if rows.samples.len() as u32 != event.samples {
            return differ(format!("{} rows of {} samples", rows.samples.len(), event.samples));
        }
        self.flags_agree(rows, event)
    }

    /// What is said of a stretch is said of its sample, and what is said of a sample is said of the event; what is counted for each sample
    /// adds up to what the event counts.
    fn flags_agree(&self, rows: &Rows, event: &EventRow) -> Result<(), Broken> {
        let differ = |what: String| Err(self.broken(Promise::SumsDiffer, what));
        let within = |inner: Flags, outer: Flags| inner.0 & !outer.0 == 0;
        for sample in &rows.samples {
            let of_it = rows.spans.iter().filter(|span| span.sample == sample.number);
            let stretches = of_it.fold(Flags::default(), |mut all, span| {
                all.set(span.flags);
                all
            });
            if !within(stretches, sample.flags) || !within(sample.flags, event.flags) {
                return differ(format!(
                    "flags of sample {}: {:b} in its stretches, {:b} in its row, {:b} in the event",
                    sample.number, stretches.0, sample.flags.0, event.flags.0
                ));
            }
        }
        let interruptions: u32 = rows.samples.iter().map(|s| u32::from(s.interruptions)).sum();
        let unaccounted: u64 = rows.samples.iter().map(|s| u64::from(s.unaccounted_ms)).sum();
        let in_all = (u32::from(event.interruptions), u64::from(event.unaccounted_ms));
        if (interruptions, unaccounted) != in_all {
            return differ(format!(
                "interruptions: {interruptions}, {}; unaccounted ms: {unaccounted}, {}",
                event.interruptions, event.unaccounted_ms
            ));
        }
        Ok(())
    }

    /// Two crystals differ by up to 300 ppm, and each stretch is counted in whole ms.
    fn about_ms(&self, spans: usize) -> u64 {
        self.watch.asked_ms * 3 / 10_000 + 3 * spans as u64 + 5
    }

    fn nothing_is_missing(&mut self, event: &EventRow, cuts: u32) -> Result<(), Broken> {
        let lost_ms = self.watch.asked_ms.saturating_sub(event.pumped_ms);
        let may = u64::from(cuts) * self.may_lose_ms() + self.about_ms(event.spans.into());
        if lost_ms > may {
            let what = format!("{lost_ms} ms of pumping are in no record, {may} ms may be");
            return Err(self.broken(Promise::Unaccounted, what));
        }
        // What the record itself says may be missing, and the reading that was under way at each cut.
        let told = u64::from(event.unaccounted_ms) + self.about_ms(event.spans.into());
        let under_way = u64::from(cuts) * (u64::from(self.config.reading_ms) + self.event.late_ms);
        // A clock that is set while power is off makes an outage seem shorter than what is missing, and no pump can know.
        let may_seem_short =
            self.trial.any_in_world(|kind| matches!(kind, InWorld::ClockStepped(_)));
        if lost_ms > told + under_way && !may_seem_short {
            let what = format!("{lost_ms} ms of pumping are missing, and {told} ms are told of");
            return Err(self.broken(Promise::Unaccounted, what));
        }
        if u32::from(event.resumes) > cuts || event.interruptions > event.resumes {
            let what = format!(
                "{} resumes, {} interruptions, {cuts} cuts",
                event.resumes, event.interruptions
            );
            return Err(self.broken(Promise::SumsDiffer, what));
        }
        if cuts > 0 {
            self.told.lost_a_cut_ms = self.told.lost_a_cut_ms.max(lost_ms / u64::from(cuts));
        }
        Ok(())
    }

    /// Neither more time nor more volume than there was; and no less volume than the error budget explains.
    fn no_more_than_happened(
        &mut self,
        rows: &Rows,
        event: Option<&EventRow>,
        drawn_ul: f64,
    ) -> Result<(), Broken> {
        let spans: u64 = rows.spans.iter().map(|s| s.pumped_ms).sum();
        let pumped = event.map_or(spans, |event| event.pumped_ms.max(spans));
        let (asked, about) = (self.watch.asked_ms, self.about_ms(rows.spans.len()));
        if pumped > asked + about {
            let what = format!("{pumped} ms are recorded and {asked} ms were pumped");
            return Err(self.broken(Promise::CountedTwice, what));
        }
        // A motor that runs on unasked, a leak, a sensor that lies: no record can know.
        let unknowable = self.trial.any_in_world(|kind| {
            matches!(
                kind,
                InWorld::MotorDisobeys
                    | InWorld::Leak(_)
                    | InWorld::SensorStuck
                    | InWorld::SensorFailing
            )
        });
        if unknowable {
            return Ok(());
        }
        let of_spans: u64 = rows.spans.iter().map(|s| s.volume.as_raw()).sum();
        let metered = event.map_or(of_spans, |event| event.volume.as_raw().max(of_spans)) as f64;
        // In µL·ms/min.
        let metered_ul = metered / 60_000.0;
        let truth =
            drawn_ul - (self.board.truth().drawn_ul - self.watch.drawn(&self.board.truth()));
        let (least, most) = self.watch.budget.around(truth);
        let what = || format!("{metered_ul:.0} µL metered of {truth:.0}, {least:.0} to {most:.0}");
        if metered_ul > most {
            return Err(self.broken(Promise::Inexact, what()));
        }
        if !self.trial.rots() && metered_ul < least {
            return Err(self.broken(Promise::Inexact, what()));
        }
        let cuts = self.event.cuts;
        let comparable = self.watch.is_corrected() && cuts == 0 && self.event.late_ms == 0;
        if comparable && self.watch.asked_ms > 600_000 {
            let off = (metered_ul - truth).abs();
            self.told.off = self.told.off.max(off / truth);
            self.told.of_budget = self.told.of_budget.max(off / (most - truth));
        }
        Ok(())
    }

    /// Where the wall clock was right and polls came in time.
    fn steps_were_kept(&self, rows: &Rows) -> Result<(), Broken> {
        let (true, Some(table)) = (!self.clock_was_wrong(), &self.event.table) else {
            return Ok(());
        };
        match rules::broken_by(&rows.spans, table).filter(|_| self.event.late_ms == 0) {
            Some(what) => Err(self.broken(Promise::NotAsAsked, what)),
            None => Ok(()),
        }
    }

    fn clock_was_wrong(&self) -> bool {
        self.trial.any_in_world(|kind| {
            matches!(
                kind,
                InWorld::ClockLost | InWorld::ClockStepped(_) | InWorld::ClockFlickers(_)
            )
        })
    }

    /// A schedule that waits for days can empty a battery.
    fn is_spent(&self) -> bool {
        self.board.truth().left < SPENT
    }

    /// An event ends for what happened to it.
    fn ended_for_a_reason(&self, event: &EventRow) -> Result<(), Broken> {
        let trial = self.trial;
        let asked = |ask| trial.any(|kind| *kind == FaultKind::Asked(ask));
        let cuts = self.event.cuts > 0;
        let clock = self.clock_was_wrong();
        let is = match event.reason {
            EndReason::Finished | EndReason::HoldRanOut => true,
            EndReason::Missed => !trial.calm,
            EndReason::Stopped(StopReason::Operator) => {
                trial.any(|kind| *kind == FaultKind::Pressed(draught::port::Key::Stop))
            }
            EndReason::Stopped(StopReason::Host) => asked(Ask::Stop),
            EndReason::Stopped(StopReason::Supply) => event.resumes >= 5,
            EndReason::Disarmed => asked(Ask::Disarm),
            EndReason::Fault(limit) => event.trips.get(limit as usize).is_some_and(|&n| n > 0),
            EndReason::Outage => cuts,
            EndReason::ClockLost => cuts && clock,
            EndReason::Stopped(StopReason::Fault)
            | EndReason::WrongTable
            | EndReason::StartByPassed => false,
        };
        // Nothing that a limit is there for, and enough of a battery.
        let nothing_to_trip = event.trips != [0; 5]
            && !self.is_spent()
            && !trial.any_in_world(|kind| {
                matches!(
                    kind,
                    InWorld::Kink(_)
                        | InWorld::Blockage
                        | InWorld::Leak(_)
                        | InWorld::Clogging(_)
                        | InWorld::SensorFailing
                        | InWorld::SensorStuck
                        | InWorld::MotorDisobeys
                        | InWorld::MotorStalls
                        | InWorld::BatteryWeak(_)
                )
            });
        if !is || nothing_to_trip {
            let what = format!("{:?}, trips {:?}", event.reason, event.trips);
            return Err(self.broken(Promise::WrongEnd, what));
        }
        Ok(())
    }
}
