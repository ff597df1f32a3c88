//! The blocks that everyone is asked about: the vectors, random schedules, and mutants of both.

use std::collections::BTreeMap;

use draught::prelude::*;
use draught::wire;
use draught_tests::strategies::{OwnTable, Scope, tables};
use draught_tests::vectors::{self, hex};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use crate::mutate::{Mutant, mutant};
use crate::program::Case;
use crate::value::{Line, answer};

/// How often each code, and `ok`, was the core's answer to a block.
pub type Tally = BTreeMap<String, u64>;

/// Makes cases from a seed: the same seed, the same cases.
pub struct Cases {
    runner: TestRunner,
    /// Blocks to make mutants of.
    pool: Vec<Vec<u8>>,
    table: StepTable<255>,
    /// What the core answered to blocks.
    pub tally: Tally,
    /// Mutants whose CRC was made right.
    pub sealed: u64,
}

impl Cases {
    /// With nothing made yet.
    pub fn new(seed: u64) -> Self {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
        Self {
            runner: TestRunner::new_with_rng(Config::default(), rng),
            pool: Vec::new(),
            table: StepTable::empty(),
            tally: Tally::new(),
            sealed: 0,
        }
    }

    /// Every vector, read; the valid ones written, too.
    pub fn vectors(&mut self) -> Vec<Case> {
        let mut cases = Vec::new();
        for v in vectors::valid() {
            cases.push(self.read(&v.hex, wire::STEPS_MAX));
            cases.push(self.write_again(&v.hex));
            self.pool.push(v.hex);
        }
        for v in vectors::refused() {
            let mut case = self.read(&v.hex, v.capacity);
            let step = v.step.map_or("-".into(), |s| s.to_string());
            // The file is the authority, not the core.
            case.answer = format!("refused {} {} {step}", v.code, v.at);
            cases.push(case);
        }
        cases
    }

    /// Random schedules, written and read.
    pub fn random(&mut self, count: usize) -> Vec<Case> {
        (0..count).flat_map(|_| self.one_random()).collect()
    }

    fn one_random(&mut self) -> [Case; 2] {
        let (scope, steps) = match self.runner.rng().next_u32() % 16 {
            0 => (Scope::Wide, 255),
            1..4 => (Scope::Everyday, 32),
            4..8 => (Scope::Wide, 8),
            _ => (Scope::Wide, 32),
        };
        let tree = tables(scope, steps).new_tree(&mut self.runner);
        let mut own = tree.expect("a table can always be made").current();
        self.spell_out_same_targets(&mut own);
        let block = encoded(own.table());
        let write = Case { ask: format!("write {}", Line(own.table())), answer: hex::text(&block) };
        let read = self.read(&block, wire::STEPS_MAX);
        self.pool.push(block);
        [write, read]
    }

    /// Gives some steps the schedule's target as their own, which a writer must leave out.
    fn spell_out_same_targets(&mut self, own: &mut OwnTable) {
        let schedule = own.settings.target;
        for step in &mut own.steps {
            let (Step::RunFor { target, .. }
            | Step::RunUntil { target, .. }
            | Step::DrawVolume { target, .. }) = step
            else {
                continue;
            };
            if target.is_none() && self.runner.rng().next_u32().is_multiple_of(4) {
                *target = Some(schedule);
            }
        }
    }

    /// Mutants of the vectors and of the schedules made so far.
    pub fn mutants(&mut self, count: usize) -> Vec<Case> {
        (0..count).map(|_| self.one_mutant()).collect()
    }

    fn one_mutant(&mut self) -> Case {
        let rng = self.runner.rng();
        let mut pick = || &self.pool[(rng.next_u64() % self.pool.len() as u64) as usize];
        let (block, other) = (pick(), pick());
        let Mutant { block, capacity, sealed } = mutant(block, other, self.runner.rng());
        self.sealed += u64::from(sealed);
        self.read(&block, capacity)
    }

    fn read(&mut self, block: &[u8], capacity: usize) -> Case {
        let digits = if block.is_empty() { "-".into() } else { hex::text(block) };
        let answer = self.core_reads(block, capacity);
        let code = answer.split(' ').nth(usize::from(answer.starts_with("refused"))).unwrap_or("");
        *self.tally.entry(code.to_owned()).or_default() += 1;
        Case { ask: format!("read {capacity} {digits}"), answer }
    }

    /// What the core says, with room for `capacity` steps.
    fn core_reads(&mut self, block: &[u8], capacity: usize) -> String {
        // A table has its room from its type. A smaller one differs only where the number of steps is read: so the
        // observer, which takes any capacity, says whether the bytes are good.
        if let Err(refused) = wire::observe(block, capacity, ()) {
            return answer(Err(refused));
        }
        let read = decode_into(block, &mut self.table);
        answer(read.map(|()| self.table.checked().expect("decoding applies every table rule")))
    }

    fn write_again(&mut self, block: &[u8]) -> Case {
        decode_into(block, &mut self.table).expect("a valid vector");
        let line = Line(self.table.checked().expect("a valid vector"));
        Case { ask: format!("write {line}"), answer: hex::text(block) }
    }
}

fn encoded(table: TableRef<'_>) -> Vec<u8> {
    let mut out = vec![0; wire::max_len(table.steps().len())];
    let len = wire::encode(table, &mut out).expect("max_len is enough");
    out.truncate(len);
    out
}
