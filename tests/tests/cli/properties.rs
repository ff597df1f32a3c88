//! Any schedule comes back through its plan; any text is answered.

use draught::wire;
use draught_sim::plan::source::Source;
use draught_sim::plan::{ArmedAt, load, render, table, write};
use draught_tests::strategies::{Scope, tables};
use proptest::prelude::*;

use crate::harness::{now, plans};

proptest! {
    /// A schedule, written as a plan and read again, has the same bytes.
    #[test]
    fn every_schedule_comes_back_through_its_plan(own in tables(Scope::Wide, 40)) {
        let text = write::plan(own.table());
        let (read, findings) = table(&Source::new("written", text.as_str()));
        let Some(read) = read else {
            return Err(TestCaseError::fail(format!("{text}\n{findings:?}")));
        };
        let mut bytes = [[0; wire::max_len(64)]; 2];
        let len = wire::encode(own.table(), &mut bytes[0]).expect("room");
        let again = wire::encode(read.checked().expect("legal"), &mut bytes[1]).expect("room");
        prop_assert_eq!(&bytes[0][..len], &bytes[1][..again], "{}", text);
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
