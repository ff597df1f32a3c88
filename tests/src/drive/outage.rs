//! The power fails, and the machine is resumed from its latest checkpoint.

use draught::clock::Now;
use draught::machine::{Advance, Checkpoint, Demand, Machine, ResumeRefused, Wake};
use draught::table::Outage;

use super::{Bench, Failure, Move, Until, When, Written};
use crate::reference::log::{Happening, Why};
use crate::reference::world::Asks;

impl Bench<'_> {
    pub(super) fn fail(&mut self, failure: Failure) {
        let cut = self.tape.moments.last().is_some_and(|m| m.cut_after.is_some());
        if let Written::AtRest(thousandths) = failure.checkpoint
            && thousandths > 0
            && !cut
        {
            self.pass_time(Move { when: When::Early(thousandths), ..Move::EXACT });
        }
        let checkpoint = self.checkpoint();
        let wake = self.until_wake();
        self.calls_that_are_lost(failure.lost_calls);

        let within = match self.table.settings().outage {
            Outage::KeepStopTime(r) | Outage::MakeUpTime(r) => r.within.as_ms(),
            Outage::Abandon => 0,
        };
        let after = match failure.until {
            Until::After(ms) => ms.into(),
            Until::Within(off) => u64::from(within).saturating_add_signed(off.into()),
            Until::Wake(off) => wake.unwrap_or(1_000).saturating_add_signed(off.into()),
        };
        self.wall = self.wall.map(|wall| wall.saturating_add(after));
        self.turn(failure.clock);
        let wall = self.shown();
        let moment = self.note(Asks::Outage(wall.map(|w| w.as_ms().into())));
        let (mono, lasted) = checkpoint.continued(wall);
        self.now = Now { mono, wall };
        match Machine::resume(self.table, &checkpoint, self.input()) {
            Ok((machine, event)) => {
                self.machine = machine;
                let back = Happening::PowerIsBack(mono.as_ms().into(), lasted.map(i128::from));
                self.tape.log.push((moment, back));
                self.last = Advance { demand: Demand::Off, wake: Wake::Again, event };
                self.take(moment, self.last);
            }
            Err(ResumeRefused::NotArmed) => {
                self.gone = true;
                self.tape.log.push((moment, Happening::Refused(Why::NothingToResume)));
                self.last = Advance { demand: Demand::Off, wake: Wake::NEVER, event: None };
            }
            Err(other) => panic!("{other:?}"),
        }
        self.rests_on(self.last);
    }

    /// A checkpoint, as its bytes give it back.
    fn checkpoint(&self) -> Checkpoint {
        let checkpoint = self.machine.checkpoint(self.table, self.input());
        assert_eq!(Checkpoint::from_bytes(&checkpoint.to_bytes()), Some(checkpoint));
        checkpoint
    }

    /// What happens after a checkpoint leaves no trace.
    fn calls_that_are_lost(&mut self, calls: u8) {
        let (now, wall, trusted, drawn) = (self.now, self.wall, self.trusted, self.drawn);
        let (machine, last, holding, over) =
            (self.machine, self.last, self.holding, self.tape.over);
        let tape = &self.tape;
        let lengths = (tape.moments.len(), tape.log.len(), tape.keeps.len(), tape.most_at_once);
        for _ in 0..calls {
            self.call(Move::EXACT);
        }
        (self.now, self.wall, self.trusted, self.drawn) = (now, wall, trusted, drawn);
        (self.machine, self.last, self.holding, self.tape.over) = (machine, last, holding, over);
        self.tape.moments.truncate(lengths.0);
        self.tape.log.truncate(lengths.1);
        self.tape.keeps.truncate(lengths.2);
        self.tape.wakes.truncate(lengths.2);
        self.tape.most_at_once = lengths.3;
    }
}
