//! What the world does to a pump, in order of time.

use super::physics::{Fault, FaultKind};

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
            let ends_ms = f.ends_ms().filter(|_| f.kind != FaultKind::PowerCut)?;
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

    /// When power is back that is cut until `ends_ms`: cuts that begin meanwhile last on.
    pub fn power_back_ms(&self, ends_ms: u64) -> u64 {
        let cuts = self.edges.iter().rev().filter(|e| e.fault.kind == FaultKind::PowerCut);
        cuts.fold(ends_ms, |ends, cut| match cut.fault.ends_ms() {
            Some(later) if cut.at_ms <= ends => ends.max(later),
            _ => ends,
        })
    }

    /// The next one, if it is due.
    pub fn due(&mut self, now_ms: u64) -> Option<Edge> {
        self.edges.pop_if(|edge| edge.at_ms <= now_ms)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(at_ms: u64, lasts_ms: u64) -> Fault {
        Fault { at_ms, lasts_ms, kind: FaultKind::PowerCut }
    }

    #[test]
    fn a_cut_that_begins_during_another_lasts_on() {
        let script = Script::new(&[cut(50, 10), cut(10, 20), cut(25, 30)]);
        assert_eq!(script.power_back_ms(30), 60);
        assert_eq!(script.power_back_ms(9), 9);
    }

    #[test]
    fn edges_come_in_order_of_time() {
        let kink = Fault { at_ms: 5, lasts_ms: 10, kind: FaultKind::Kink(1.0) };
        let mut script = Script::new(&[cut(10, 2), kink]);
        assert_eq!(script.due(4), None);
        let told: Vec<_> = std::iter::from_fn(|| script.due(99)).collect();
        let told: Vec<_> = told.iter().map(|edge| (edge.at_ms, edge.begins)).collect();
        assert_eq!(told, [(5, true), (10, true), (15, false)]);
    }
}
