//! Limits and outages: the core against the independent reference, over random schedules, trips at random instants,
//! and outages anywhere: between two calls of one instant, right after another, with clocks that are lost, found and
//! set. Events, demands, wakes and ends are the same, to the millisecond and to the raw unit of volume.

use std::collections::BTreeMap;

use draught::step::Step;
use draught::table::{Fault, Outage};
use draught_tests::compare::assert_same;
use draught_tests::drive::{Move, Tape, drive, flickering, powerless};
use draught_tests::plans::{Scene, scene};
use draught_tests::reference::Ms;
use draught_tests::reference::log::{By, End, Happening, Lost, Stretch, Why};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

proptest! {
    #![proptest_config(cases(4_000))]

    /// Whatever happens, and however often the power fails.
    #[test]
    fn after_any_outage_the_machine_is_the_reference(
        scene in scene(),
        moves in prop::collection::vec(powerless(), 0..60),
    ) {
        if let Ok(tape) = drive(&scene, &moves, Move::EXACT, 150) {
            assert_same(&scene, &tape);
        }
    }

    /// Nobody is about and the clock is good; limits trip and the power fails, mostly for a short while.
    #[test]
    fn through_trips_and_short_outages_the_machine_is_the_reference(
        scene in scene(),
        moves in prop::collection::vec(flickering(), 0..60),
    ) {
        if let Ok(tape) = drive(&scene, &moves, Move::EXACT, 200) {
            assert_same(&scene, &tape);
        }
    }
}

/// The properties above would hold for pumps to which nothing happens. To these happens what the page has a rule for,
/// and often.
#[test]
fn every_rule_of_limits_and_outages_is_met() {
    let mut runner = TestRunner::deterministic();
    let scenes = scene();
    let (any, short) =
        (prop::collection::vec(powerless(), 40), prop::collection::vec(flickering(), 40));
    let all = 4_000;
    let mut met: BTreeMap<String, u32> = BTreeMap::new();
    for case in 0..all {
        let scene = scenes.new_tree(&mut runner).expect("most sketches are legal").current();
        let moves = if case % 2 == 0 {
            any.new_tree(&mut runner).expect("nothing is filtered").current()
        } else {
            short.new_tree(&mut runner).expect("nothing is filtered").current()
        };
        let Ok(tape) = drive(&scene, &moves, Move::EXACT, 200) else { continue };
        let mut labels = labels(&scene, &tape);
        labels.sort_unstable();
        labels.dedup();
        for label in labels {
            *met.entry(label).or_default() += 1;
        }
    }
    println!("of {all}, cases in which: {met:#?}");
    for label in RULES {
        let times = met.get(*label).copied().unwrap_or(0);
        assert!(times >= 3, "{label}: in {times} of {all}");
    }
}

/// The rows of both tables of the page, and what else it says.
const RULES: &[&str] = &[
    // Limits.
    "tripped, stop: ends",
    "tripped, stop: ends the pass",
    "tripped, retry: rests",
    "tripped, retry: ends the pass",
    "tripped, close: ends",
    "trip refused, Steps",
    "trip refused, Waiting",
    "trip refused, Holding",
    "trip refused, Paused",
    "trip refused, Cut",
    "not again, Paused",
    "ended by hand, Paused",
    "again, 0 outages, 2 pauses",
    // What it was doing.
    "nothing to resume",
    "Steps, within an instant",
    "Steps, keep, known: goes on",
    "Steps, keep, unknown: goes on",
    "Waiting, keep, known: goes on",
    "Waiting, keep, known: another end",
    "Waiting, abandon, unknown: goes on",
    "Holding, abandon, known: goes on",
    "Holding, abandon, unknown: clock lost",
    "Holding, keep, unknown: clock lost",
    "Holding, make up, unknown: goes on",
    "Pumping, within an instant",
    "Paused, within an instant",
    // A pumping step.
    "Pumping, abandon, known: outage",
    "Pumping, abandon, unknown: outage",
    "Pumping, keep, unknown: clock lost",
    "Pumping, make up, unknown: goes on",
    "Pumping, keep, known: outage",
    "Pumping, keep, known: goes on",
    "Pumping, keep, known: not again",
    "Pumping, make up, known: outage",
    "Pumping, make up, known: goes on",
    "Pumping, make up, known: not again",
    "Paused, abandon, known: outage",
    "Paused, keep, unknown: clock lost",
    "Paused, make up, unknown: goes on",
    "Paused, keep, known: outage",
    "Paused, keep, known: goes on",
    "Paused, make up, known: goes on",
    // An outage right after a resume.
    "Cut, keep, known: goes on",
    "Cut, keep, known: not again",
    "Cut, keep, unknown: clock lost",
    "Cut, make up, known: goes on",
    // Several in a step, and pauses too.
    "again, 2 outages, 0 pauses",
    "again, 1 outages, 2 pauses",
    "again, 2 outages, 2 pauses",
    // The stop time kept.
    "run-for shortened by an outage",
    "run-for shortened by the first of several outages",
    "run-for shortened, entered late",
    "run-for lost",
    "draw shortened by an outage",
    "draw shortened by the first of several outages",
    "ended by hand, Cut",
];

/// What the pump was in the midst of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Amid {
    Steps,
    Waiting,
    Holding,
    Pumping,
    Paused,
    Cut,
    Over,
}

fn labels(scene: &Scene, tape: &Tape) -> Vec<String> {
    let (fault, outage) = (rule_of_fault(scene), rule_of_outage(scene));
    let mut labels = Vec::new();
    let mut amid = Amid::Steps;
    // Of the present pumping step: the time pumped, its outages, its pauses.
    let (mut pumped, mut outages, mut pauses): (Ms, u32, u32) = (0, 0, 0);
    let mut resumed = false;
    for (i, (moment, what)) in tape.log.iter().enumerate() {
        let next = tape.log.get(i + 1).map(|(_, what)| what);
        match what {
            Happening::Appointed(..) => amid = Amid::Waiting,
            Happening::HoldBegan(_) => amid = Amid::Holding,
            Happening::Started(_) => {
                if !matches!(amid, Amid::Paused | Amid::Cut) {
                    (pumped, outages, pauses) = (0, 0, 0);
                } else {
                    labels.push(
                        format!("again, {outages} outages, {pauses} pauses")
                            .replace(|c: char| c.is_ascii_digit() && c > '2', "2"),
                    );
                }
                amid = Amid::Pumping;
            }
            Happening::Stopped(s) => {
                pumped += s.end.mono - s.begin.mono;
                amid = match s.by {
                    By::Tripped(_) => {
                        labels.push(format!("tripped, {fault}: {}", rest_of_trip(next)));
                        pauses += 1;
                        Amid::Paused
                    }
                    By::Outage => Amid::Cut,
                    _ => {
                        labels.extend(shortened(scene, s, pumped, outages, resumed));
                        Amid::Steps
                    }
                };
            }
            Happening::PowerIsBack(_, lasted) => {
                outages += 1;
                resumed = true;
                let was = match amid {
                    // No pause: the pass is over, and the end or the next pass not told yet.
                    Amid::Paused if fault != "retry" => Amid::Steps,
                    other => other,
                };
                let known = if lasted.is_some() { "known" } else { "unknown" };
                let after = match tape.log[i + 1..].iter().map(|(_, w)| w).find(|w| {
                    !matches!(
                        w,
                        Happening::Stopped(Stretch { by: By::Outage, .. })
                            | Happening::Obeyed
                            | Happening::Refused(_)
                    )
                }) {
                    Some(Happening::Over(End::Outage)) => "outage",
                    Some(Happening::Over(End::ClockLost)) => "clock lost",
                    Some(Happening::Over(_)) => "another end",
                    Some(Happening::NotAgain) => "not again",
                    Some(Happening::PowerIsBack(..)) => "another outage",
                    Some(_) => "goes on",
                    None => continue,
                };
                labels.push(format!("{was:?}, {outage}, {known}: {after}"));
                let before = moment.checked_sub(1).and_then(|m| tape.moments.get(m));
                if before.is_some_and(|m| m.cut_after.is_some()) {
                    labels.push(format!("{was:?}, within an instant"));
                }
            }
            Happening::Lost(no, Lost::Past) => {
                let run_for = matches!(scene.steps[usize::from(*no) - 1], Step::RunFor { .. });
                if run_for {
                    labels.push("run-for lost".to_owned());
                }
                amid = Amid::Steps;
            }
            Happening::Refused(why) => labels.push(match why {
                Why::NotPumping => format!("trip refused, {amid:?}"),
                Why::NothingToResume => "nothing to resume".to_owned(),
                other => format!("{other:?}, {amid:?}"),
            }),
            Happening::NotAgain => {
                labels.push(format!("not again, {amid:?}"));
                amid = Amid::Steps;
            }
            Happening::Over(_) => amid = Amid::Over,
            Happening::Obeyed => {
                if matches!(next, Some(Happening::Over(End::Stop | End::Disarm))) {
                    labels.push(format!("ended by hand, {amid:?}"));
                }
            }
            _ => amid = Amid::Steps,
        }
    }
    labels
}

fn rest_of_trip(next: Option<&Happening>) -> &'static str {
    match next {
        Some(Happening::Over(End::Fault(_))) => "ends",
        Some(Happening::RoundAgain(..) | Happening::RoundsDone(_)) => "ends the pass",
        Some(Happening::PowerIsBack(..)) => "the power fails",
        _ => "rests",
    }
}

/// Whether a step that ended by its time pumped less than it says.
fn shortened(
    scene: &Scene,
    s: &Stretch,
    pumped: Ms,
    outages: u32,
    resumed: bool,
) -> Option<String> {
    let (d, by, kind) = match scene.steps[usize::from(s.no) - 1] {
        Step::RunFor { run, .. } => (run, By::Time, "run-for"),
        Step::DrawVolume { at_most, .. } => (at_most, By::AtMost, "draw"),
        _ => return None,
    };
    let short = s.by == by && pumped - s.over < Ms::from(d.as_ms());
    short.then(|| match (outages, resumed) {
        (0, true) => format!("{kind} shortened, entered late"),
        (0, false) => panic!("shortened for no reason: {s:?}"),
        (1, _) => format!("{kind} shortened by an outage"),
        _ => format!("{kind} shortened by the first of several outages"),
    })
}

fn rule_of_fault(scene: &Scene) -> &'static str {
    match scene.settings.fault {
        Fault::Stop => "stop",
        Fault::Retry { .. } => "retry",
        Fault::Close => "close",
    }
}

fn rule_of_outage(scene: &Scene) -> &'static str {
    match scene.settings.outage {
        Outage::KeepStopTime(_) => "keep",
        Outage::MakeUpTime(_) => "make up",
        Outage::Abandon => "abandon",
    }
}
