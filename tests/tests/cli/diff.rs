//! `draught diff` as its users meet it, and what holds for any two schedules.

use draught::prelude::*;
use draught::wire;
use draught_sim::diff::{Change, diff};
use draught_tests::strategies::{OwnTable, Scope, doing, tables, wait};
use proptest::prelude::*;
use serde_json::Value;

use crate::harness::{at_top, run_with, same_as_stored};
use crate::machine_readable::{fault, schema};

const BAKERY: &str = "docs/examples/bakery-night.toml";
const SHORT: &str = "docs/examples/eight-short-samples.toml";

fn text(path: &str) -> String {
    at_top();
    std::fs::read_to_string(path).expect("the plan")
}

/// An example after a replacement that must be there to be made.
fn edited(path: &str, edits: &[(&str, &str)]) -> String {
    edits.iter().fold(text(path), |text, (from, to)| {
        assert!(text.contains(from), "{path} has no {from}");
        text.replace(from, to)
    })
}

fn block(path: &str) -> Vec<u8> {
    let armed = crate::harness::armed_at(path.as_ref());
    run_with(&["encode", path, "--armed-at", &armed, "-o", "-"], b"").out
}

/// Real pairs: two examples, and an example beside what someone made of it.
#[test]
fn screens_of_diff() {
    let mut told = String::new();
    let mut tell = |title: &str, arguments: &[&str], stdin: &[u8], code: u8| {
        let line = format!("draught diff {}", arguments.join(" "));
        let all: Vec<&str> = std::iter::once("diff").chain(arguments.iter().copied()).collect();
        let answer = run_with(&all, stdin);
        assert_eq!(answer.code, code, "{line}\n{}", answer.screen());
        assert!(code == 2 || answer.err.is_empty(), "{}", answer.err);
        assert!(code < 2 || answer.out.is_empty(), "{}", answer.screen());
        told.push_str(&format!("# {title}\n$ {line}\n{}exit code {code}\n\n", answer.screen()));
    };
    let two = ["docs/examples/full-shift.toml", "docs/examples/two-flows.toml"];
    tell("two examples", &two, b"", 1);
    tell("of other kinds", &[BAKERY, SHORT], b"", 1);
    tell("a plan and itself", &[BAKERY, BAKERY], b"", 0);
    tell("a plan and its block", &[BAKERY, "-"], &block(BAKERY), 0);
    let comment = edited(BAKERY, &[("# DEMO", "# Demo"), ("\"1000 L\"", "\"900 L\"")]);
    tell("other comments, other wanted volume", &[BAKERY, "-"], comment.as_bytes(), 0);
    let ventilate =
        ("  { run-for = \"15 min\" },", "  { hold = \"5 min\" },\n  { run-for = \"12 min\" },");
    let later = edited(SHORT, &[ventilate]);
    tell("a step put into the repeat, at its beginning", &[SHORT, "-"], later.as_bytes(), 1);
    let before = ("  { wait-for-date", "  { hold = \"5 min\" },\n  { wait-for-date");
    let later = edited(SHORT, &[before, ("repeat-from = 3", "repeat-from = 4")]);
    tell("a step put before all of them", &["-", SHORT], later.as_bytes(), 1);
    let rules =
        ("outage = { keep = \"stop-time\", resume-within = \"10 min\" }", "outage = \"abandon\"");
    let other = edited(
        BAKERY,
        &[
            rules,
            ("name     = \"bakery-night\"", ""),
            ("flow     = \"2.0 L/min\"", "pressure = \"1.5 kPa\""),
        ],
    );
    let other: String =
        other.lines().filter(|l| !l.contains("pump-flow")).map(|l| format!("{l}\n")).collect();
    let other = other
        .replace("volume    = [\"400 L\", \"1000 L\"]", "pump-pressure = [\"1 kPa\", \"5 kPa\"]");
    tell("settings", &[BAKERY, "-"], other.as_bytes(), 1);

    tell("there is no such file", &[BAKERY, "no-such-file.toml"], b"", 2);
    tell("a plan with errors", &["docs/examples/mistakes/no-finish.toml", BAKERY], b"", 2);
    let mut damaged = block(BAKERY);
    damaged[20] ^= 1;
    tell("a damaged block", &[BAKERY, "-"], &damaged, 2);
    tell("both at fault", &["docs/examples/mistakes/no-finish.toml", "-"], &damaged, 2);
    tell("neither plan nor block", &[BAKERY, "-"], &[0xD8, 0x00, 0xFF], 2);
    tell("too much", &[BAKERY, "-"], &b"x = 1\n".repeat(200_000), 2);
    tell("standard input twice", &["-", "-"], b"", 2);
    tell("one file", &[BAKERY], b"", 2);
    same_as_stored("tests/tests/cli/screens/diff.txt".as_ref(), &told);
}

/// A plan of last month is taken as armed before its start; where the moment is given, it counts.
#[test]
fn plans_that_can_be_armed_no_more_are_compared() {
    let past = edited(BAKERY, &[("2027-01-14", "2026-01-15")]);
    let answer = run_with(&["diff", BAKERY, "-"], past.as_bytes());
    assert_eq!((answer.code, answer.err.as_str()), (1, ""));
    assert!(answer.screen().contains("Thu 2026-01-15"), "{}", answer.screen());
    let asked = ["diff", BAKERY, "-", "--armed-at", "2027-01-14 18:40"];
    let answer = run_with(&asked, past.as_bytes());
    assert_eq!((answer.code, answer.out.len()), (2, 0), "{}", answer.screen());
    assert!(answer.err.contains("this day is over"), "{}", answer.err);
    // A plan that names no day has the offset of its first start: winter or summer.
    let summer = ["diff", "docs/examples/short-term.toml", "-", "--armed-at", "2027-07-01 12:00"];
    let zone = edited("docs/examples/short-term.toml", &[("Asia/Singapore", "Europe/Oslo")]);
    assert!(run_with(&summer, zone.as_bytes()).screen().contains("UTC+02:00"));
    assert!(run_with(&summer[..3], zone.as_bytes()).screen().contains("UTC+01:00"));
}

#[test]
fn json_keeps_its_schema() {
    at_top();
    let schema = schema("diff");
    let longer = edited(
        SHORT,
        &[("  { run-for", "  { hold = \"5 min\" },\n  { run-for"), ("from = 3", "from = 4")],
    );
    for (old, new, stdin, code) in [
        (BAKERY, BAKERY, &[][..], 0),
        (BAKERY, SHORT, &[], 1),
        (SHORT, "-", longer.as_bytes(), 1),
        (BAKERY, "-", &block(BAKERY), 0),
    ] {
        let answer = run_with(&["diff", old, new, "--json"], stdin);
        assert_eq!(answer.code, code);
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &schema, &schema, ""), None, "{value}");
        assert_eq!(value["same"], Value::Bool(code == 0));
    }
    let answer = run_with(&["diff", SHORT, "-", "--json"], longer.as_bytes());
    let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
    assert_eq!(value["renumbered"][0]["new_from"], 4);
    assert_eq!(value["steps"][0]["says"], "pump off for 5 min");
    let none = run_with(&["diff", BAKERY, "no-such-file", "--json"], b"");
    assert_eq!((none.code, none.out.len()), (2, 0));
}

#[test]
fn colour_goes_to_the_words_that_carry_the_answer() {
    let answer = run_with(&["diff", BAKERY, SHORT, "--color", "always"], b"");
    let screen = answer.screen();
    for word in
        ["\u{1b}[32madded\u{1b}[0m", "\u{1b}[33mremoved\u{1b}[0m", "\u{1b}[1mdifferent\u{1b}[0m"]
    {
        assert!(screen.contains(word), "{screen}");
    }
    let bare = run_with(&["diff", BAKERY, SHORT], b"").screen();
    assert!(!bare.contains('\u{1b}'));
}

fn encoded(t: &OwnTable) -> Vec<u8> {
    let mut bytes = vec![0; wire::max_len(255)];
    let len = wire::encode(t.table(), &mut bytes).expect("room");
    bytes.truncate(len);
    bytes
}

/// The same and an empty difference, both ways.
fn agrees(a: &OwnTable, b: &OwnTable) -> Result<bool, TestCaseError> {
    let (there, back) = (diff(a.table(), b.table()), diff(b.table(), a.table()));
    let same = encoded(a) == encoded(b);
    prop_assert_eq!(there.is_empty(), same, "{:?}", there);
    prop_assert_eq!(back.is_empty(), same, "{:?}", back);
    let (added, removed) = (there.count(Change::Added), there.count(Change::Removed));
    prop_assert_eq!(a.steps.len() + added, b.steps.len() + removed, "{:?}", there);
    prop_assert!(there.steps.iter().all(|s| s.change != Change::Changed || !s.fields.is_empty()));
    Ok(same)
}

/// One step put into a table, with what repeats count changed to fit.
fn with_step(t: &OwnTable, at: usize, step: Step) -> OwnTable {
    let mut steps = t.steps.clone();
    steps.insert(at, step);
    for s in &mut steps {
        if let Step::Repeat { from, .. } = s
            && from.index() >= at
        {
            *from = from.next();
        }
    }
    OwnTable { settings: t.settings.clone(), steps }
}

fn is_legal(t: &OwnTable) -> bool {
    TableRef::new(&t.settings, &t.steps).is_ok()
}

proptest! {
    #[test]
    fn nothing_differs_from_itself(t in tables(Scope::Wide, 255)) {
        prop_assert_eq!(diff(t.table(), t.table()), draught_sim::diff::Diff::default());
    }

    #[test]
    fn two_schedules_differ_exactly_when_their_bytes_do(
        a in tables(Scope::Everyday, 12),
        b in tables(Scope::Everyday, 12),
    ) {
        agrees(&a, &b)?;
        // The settings of one with the steps of the other.
        let mut mixed = OwnTable { settings: b.settings.clone(), steps: a.steps.clone() };
        agrees(&a, &mixed)?;
        // A step's own target that is the schedule's, and the same step without it.
        let own = a.steps.iter().find_map(Step::own_target);
        mixed.settings.target = own.unwrap_or(a.settings.target);
        let mut plain = mixed.clone();
        for step in &mut plain.steps {
            if let Step::RunFor { target, .. }
            | Step::RunUntil { target, .. }
            | Step::DrawVolume { target, .. } = step
            {
                *target = target.filter(|t| *t != mixed.settings.target);
            }
        }
        prop_assert!(agrees(&mixed, &plain)?);
    }

    /// Near misses: one byte of a block is another, and it still reads.
    #[test]
    fn a_changed_byte_is_a_difference(
        t in tables(Scope::Wide, 40),
        at in any::<prop::sample::Index>(),
        bytes in prop::collection::vec(any::<u8>(), 16),
    ) {
        let block = encoded(&t);
        let body = &block[..block.len() - 4];
        for byte in bytes {
            let mut other = body.to_vec();
            other[at.index(body.len())] = byte;
            other.extend(wire::seal(&other));
            let mut table = StepTable::<255>::empty();
            if decode_into(&other, &mut table).is_ok() {
                let other = OwnTable { settings: table.settings().clone(), steps: table.steps().to_vec() };
                let same = agrees(&t, &other)?;
                prop_assert_eq!(same, byte == body[at.index(body.len())]);
            }
        }
    }

    /// A step that was put in between is the only difference, whatever stands behind it.
    #[test]
    fn a_step_put_in_between_is_all_that_is_told(
        t in tables(Scope::Everyday, 40),
        at in any::<prop::sample::Index>(),
        step in prop_oneof![wait(Scope::Everyday), doing(Scope::Everyday)],
    ) {
        let at = at.index(t.steps.len());
        let mut longer = with_step(&t, at, step);
        if !is_legal(&longer) {
            // A hold can be anywhere.
            longer = with_step(&t, at, Step::Hold(DurationMs::from_ms(60_000).expect("in range")));
        }
        let there = diff(t.table(), longer.table());
        prop_assert_eq!((there.settings.len(), there.count(Change::Removed)), (0, 0));
        // Where it equals a step nearby, a repeat may be told to begin at another of the two.
        let differs = there.steps.iter().filter(|s| s.change == Change::Changed);
        for s in differs {
            prop_assert_eq!(s.what, "repeat", "{:?}", there);
        }
        prop_assert_eq!(there.count(Change::Added), 1, "{:?}", there);
        agrees(&t, &longer)?;
    }
}
