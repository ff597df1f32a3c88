//! What the world does to a pump, in order of time.

use super::physics::Fault;

/// A fault begins or is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// When, in ms since the board was switched on.
    pub at_ms: u64,
    /// What.
    pub fault: Fault,
    /// It begins; else it is over.
    pub begins: bool,
}

/// The begins and ends of all faults that have not been told yet.
#[derive(Clone, Debug)]
pub(super) struct Script {
    /// The next one last.
    edges: Vec<Edge>,
}

impl Script {
    pub fn new(faults: &[Fault]) -> Self {
        let begins = faults.iter().map(|f| Edge { at_ms: f.at_ms, fault: *f, begins: true });
        let ends = faults.iter().filter_map(|f| {
            // Whoever cuts the power knows when it is back.
            let ends_ms = f.ends_ms().filter(|_| f.kind != super::physics::FaultKind::PowerCut)?;
            Some(Edge { at_ms: ends_ms, fault: *f, begins: false })
        });
        let mut edges: Vec<Edge> = begins.chain(ends).collect();
        // Stable: what stands first in the world file comes first.
        edges.sort_by_key(|edge| edge.at_ms);
        edges.reverse();
        Self { edges }
    }

    /// When the next one is due.
    pub fn next_ms(&self) -> Option<u64> {
        self.edges.last().map(|edge| edge.at_ms)
    }

    /// The next one, if it is due.
    pub fn due(&mut self, now_ms: u64) -> Option<Edge> {
        self.edges.pop_if(|edge| edge.at_ms <= now_ms)
    }
}
