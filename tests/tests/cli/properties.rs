//! Any schedule comes back through its plan; any text is answered.

use draught::wire;
use draught_sim::cli::encode;
use draught_sim::plan::source::Source;
use draught_sim::plan::{ArmedAt, load, render, table};
use draught_tests::strategies::{Scope, full_tables, tables};
use proptest::prelude::*;

use crate::harness::{now, plans, run_with};

proptest! {
    /// The bytes of any schedule, decoded to a plan and encoded again, are the same.
    #[test]
    fn every_block_comes_back_through_its_plan(
        own in prop_oneof![
            8 => tables(Scope::Wide, 40),
            1 => tables(Scope::Everyday, 40),
            1 => full_tables(Scope::Wide),
        ],
    ) {
        let mut block = vec![0; wire::max_len(own.steps.len())];
        let len = wire::encode(own.table(), &mut block).expect("room");
        block.truncate(len);
        let decoded = run_with(&["decode", "-"], &block);
        prop_assert_eq!((decoded.code, decoded.err.as_str()), (0, ""));
        let text = String::from_utf8(decoded.out).expect("a plan is a text");
        // `encode` adds only whether it can be armed: a random one may lie in the past.
        let (read, findings) = table(&Source::new("written", text.as_str()));
        let Some(read) = read else {
            return Err(TestCaseError::fail(format!("{text}\n{findings:?}")));
        };
        prop_assert!(findings.sorted().is_empty(), "{}\n{:?}", text, findings);
        let again = encode::block(read.checked().expect("legal"));
        prop_assert_eq!(again, block, "{}", text);
    }

    /// Whatever is done to a plan's text, it is answered, and every place that is named is in it.
    #[test]
    fn no_text_makes_it_panic(
        which in 0..1_000_usize,
        edits in proptest::collection::vec((any::<prop::sample::Index>(), 0..4_u8, any::<char>()), 1..8),
    ) {
        let plans = plans("docs/examples");
        let mut text = std::fs::read_to_string(&plans[which % plans.len()]).expect("a plan");
        for (at, edit, new) in edits {
            let at = text.char_indices().map(|(i, _)| i).nth(at.index(text.chars().count())).unwrap_or(0);
            match edit {
                0 => drop(text.remove(at)),
                1 => text.insert(at, new),
                2 => text.truncate(at),
                _ => text.insert_str(at, ["\"", "{", "9999999999", "-", "\n", "= ", "min"][at % 7]),
            }
            if text.is_empty() {
                break;
            }
        }
        let loaded = load(Source::new("edited", text.as_str()), ArmedAt::Now(now()));
        for finding in loaded.findings.sorted() {
            prop_assert!(!finding.labels.is_empty(), "{:?} has no place", finding);
            for label in &finding.labels {
                prop_assert!(label.span.end <= text.len(), "{:?}", finding);
            }
            prop_assert!(render::render(finding, &loaded.source, false).contains(finding.code));
        }
        prop_assert!(loaded.ready.is_some() || loaded.findings.has_errors());
    }
}
