//! The latest things that happened, for whoever looks at a pump; counters that survive what the ring forgets.

use crate::clock::Now;
use crate::event::Event;

/// The last `M` events with when they happened, and how many there were in all.
///
/// The record is in the rows; this is for a screen and for finding out what a pump did last.
#[derive(Clone, Debug)]
pub struct Log<const M: usize> {
    latest: [Option<(Now, Event)>; M],
    /// Where the next one goes: where the oldest is.
    next: usize,
    told: u32,
    counts: Counts,
}

/// How often each kind of thing happened since power-on; a count stays at its largest number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counts {
    /// Stretches of pumping that began.
    pub began: u32,
    /// Stretches that ended.
    pub ended: u32,
    /// Appointments missed, runs lost, passes skipped.
    pub missed: u32,
    /// Events that came to an end.
    pub closed: u32,
}

impl<const M: usize> Default for Log<M> {
    fn default() -> Self {
        Self { latest: [const { None }; M], next: 0, told: 0, counts: Counts::default() }
    }
}

impl<const M: usize> Log<M> {
    /// Notes an event.
    pub fn note(&mut self, now: Now, event: Event) {
        self.told = self.told.saturating_add(1);
        let count = match event {
            Event::PumpingBegan { .. } => Some(&mut self.counts.began),
            Event::PumpingEnded(_) => Some(&mut self.counts.ended),
            Event::AppointmentMissed { .. } | Event::RunLost { .. } | Event::PassSkipped { .. } => {
                Some(&mut self.counts.missed)
            }
            Event::Ended(_) => Some(&mut self.counts.closed),
            _ => None,
        };
        if let Some(count) = count {
            *count = count.saturating_add(1);
        }
        if let Some(place) = self.latest.get_mut(self.next) {
            *place = Some((now, event));
        }
        let after = self.next.saturating_add(1);
        self.next = if after < M { after } else { 0 };
    }

    /// The latest, oldest first.
    pub fn latest(&self) -> impl Iterator<Item = &(Now, Event)> {
        let (newer, older) = self.latest.split_at_checked(self.next).unwrap_or_default();
        older.iter().chain(newer).flatten()
    }

    /// How many there were in all, those that the ring forgot included.
    #[must_use]
    pub const fn told(&self) -> u32 {
        self.told
    }

    /// How many of each kind.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.counts
    }
}
