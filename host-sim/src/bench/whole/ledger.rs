//! Every row that a pump ever showed: none may vanish, change, or come twice.

use std::collections::{BTreeMap, BTreeSet};

use draught::journal::Seq;
use draught::machine::EventId;
use draught::record::{EventRow, RowBytes, RowKind, SampleRow, SpanRow};

use super::broken::{Broken, Promise};
use super::trial::Engine;

#[derive(Clone, Debug, Default)]
pub(super) struct Ledger {
    rows: BTreeMap<u32, (RowKind, RowBytes)>,
    /// Rows up to this one were let go of.
    released: Option<u32>,
    /// The same, and a checkpoint says so.
    kept: Option<u32>,
    /// Rows that rot may take.
    pub rotten: usize,
    /// It has taken one.
    has_rotted: bool,
}

/// The rows of one event.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    pub spans: Vec<SpanRow>,
    pub samples: Vec<SampleRow>,
    pub events: Vec<EventRow>,
}

impl Ledger {
    /// Looks at all that is in the journal.
    pub fn look(&mut self, pump: &mut Engine, now: u64) -> Result<(), Broken> {
        let mut found = BTreeMap::new();
        let mut twice = None;
        pump.each_row(|seq, kind, row| {
            if found.insert(seq.0, (kind, *row)).is_some() {
                twice = Some(seq.0);
            }
        });
        let lost = |what: String| Err(Promise::RecordLost.broken(what, now));
        if let Some(seq) = twice {
            return lost(format!("two rows have the number {seq}"));
        }
        let is_kept = |seq: &&u32| self.kept.is_some_and(|up_to| **seq <= up_to);
        if let Some(seq) = found.keys().find(is_kept)
            && self.rotten == 0
            && !self.has_rotted
        {
            let what = format!("row {seq} was released, and is offered again");
            return Err(Promise::CountedTwice.broken(what, now));
        }
        let last = self.rows.keys().next_back().copied();
        let mut taken = Vec::new();
        for (seq, (kind, row)) in &self.rows {
            match found.get(seq) {
                Some((k, r)) if k == kind && r == row => {}
                // The newest row has rotted, and its number is given once more.
                Some(_) if self.rotten > taken.len() && Some(*seq) == last => taken.push(*seq),
                Some(_) => return lost(format!("row {seq} has changed")),
                None if self.released.is_some_and(|up_to| *seq <= up_to) => {}
                None if self.rotten > taken.len() => taken.push(*seq),
                None => return lost(format!("row {seq} ({kind:?}) is gone")),
            }
        }
        // A row that rotted while the checkpoint still held it is written again.
        for seq in taken {
            self.rotten -= 1;
            self.has_rotted = true;
            self.rows.remove(&seq);
        }
        for (seq, row) in found {
            if self.rows.contains_key(&seq) {
                continue;
            }
            if last.is_some_and(|last| seq <= last) && !self.has_rotted {
                return lost(format!("row {seq} was not there before"));
            }
            self.rows.insert(seq, row);
        }
        Ok(())
    }

    /// A poll has come to its end: a checkpoint holds what the host let go of.
    pub const fn polled(&mut self) {
        self.kept = self.released;
    }

    /// The host collects all and lets go of it.
    pub fn collect(&mut self, pump: &mut Engine, now: u64) -> Result<(), Broken> {
        self.look(pump, now)?;
        if let Some(last) = self.rows.keys().next_back() {
            pump.release_rows(Seq(*last));
            self.released = Some(*last);
        }
        Ok(())
    }

    /// The rows of an event; no two may be the same one.
    pub fn of(&self, event: EventId, now: u64) -> Result<Rows, Broken> {
        let mut rows = Rows::default();
        for (kind, row) in self.rows.values() {
            match kind {
                RowKind::Span => rows.spans.extend(SpanRow::from_bytes(row)),
                RowKind::Sample => rows.samples.extend(SampleRow::from_bytes(row)),
                RowKind::Event => rows.events.extend(EventRow::from_bytes(row)),
            }
        }
        rows.spans.retain(|row| row.event == event);
        rows.samples.retain(|row| row.event == event);
        rows.events.retain(|row| row.event == event);
        let spans: BTreeSet<u16> = rows.spans.iter().map(|row| row.number).collect();
        let samples: BTreeSet<u32> = rows.samples.iter().map(|row| row.number).collect();
        let twice = |what: &str| Err(Promise::CountedTwice.broken(what, now));
        if spans.len() < rows.spans.len() {
            return twice("two rows of one stretch");
        }
        if samples.len() < rows.samples.len() {
            return twice("two rows of one sample");
        }
        if rows.events.len() > 1 {
            return twice("two records of one event");
        }
        Ok(rows)
    }
}
