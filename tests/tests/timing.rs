//! The core against the independent reference, over random schedules and random calls.
//!
//! *Called at each wake*: machine, forecast and reference give the same spans, to the millisecond and to
//! the raw unit of volume. *Under any other pattern of calls*: the machine equals the reference that is fed
//! the same moments. A failing case is shrunk and printed whole.

use std::collections::{BTreeMap, BTreeSet};

use draught::audit::Fit;
use draught::calendar::{Civil, Date, TimeOfDay, UtcOffset};
use draught::clock::{MonoMs, Now, WallMs};
use draught::forecast::Forecast;
use draught::machine::{ArmRefused, EventId, FirstStart, Input, Machine};
use draught::step::{Passes, Sampler, Step, StepNo, Then};
use draught::table::Settings;
use draught::units::{DurationMs, Flow, RawVolume, Target};
use draught_tests::compare::{assert_same, of_core, of_story};
use draught_tests::drive::{Clock, Move, Wanted, When, anything, drive, unattended};
use draught_tests::plans::{Scene, scene};
use draught_tests::reference::WALL_LAST;
use draught_tests::reference::arming::{Unarmed, arm};
use draught_tests::reference::log::{By, End, Happening, Lost, clocks};
use draught_tests::reference::plan::Plan;
use draught_tests::reference::run::run as run_plan;
use draught_tests::reference::world::Perfect;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

/// How much of a long story is looked at.
const THINGS: usize = 300;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

fn armed(scene: &Scene) -> Result<FirstStart, ArmRefused> {
    let input = Input { now: scene.armed, drawn: RawVolume::ZERO };
    Machine::new().arm(scene.table(), &Fit::ANY, EventId(1), input)
}

/// The core's forecast is the reference's.
fn assert_same_forecast(scene: &Scene, resumed_at_once: bool) {
    let plan = Plan::of(scene.table());
    let now = clocks(scene.armed);
    let story = run_plan(&plan, now, &mut Perfect::from(now, resumed_at_once), THINGS);
    let expected = of_story(&plan, &story);
    let forecast = Forecast::new(scene.table(), &Fit::ANY, scene.armed).expect("it can be armed");
    let forecast = if resumed_at_once { forecast.resumed_at_once() } else { forecast };
    // A story that was cut short says nothing of what comes after.
    let cut = story.entries.len() >= THINGS;
    let spans: Vec<_> = forecast.take(expected.len() + 1).map(|s| of_core(&s)).collect();
    for (i, (core, reference)) in spans.iter().zip(&expected).enumerate() {
        assert_eq!(core, reference, "span {i}, resumed at once: {resumed_at_once}");
    }
    assert!(spans.len() >= expected.len(), "the reference goes on: {:?}", expected.last());
    assert!(cut || spans.len() == expected.len(), "the core goes on: {:?}", spans.last());
}

/// The machine, called at each wake with the flow at its target, is the reference on perfect clocks.
fn assert_exact(scene: &Scene, resumed_at_once: bool) {
    let asks = resumed_at_once.then_some((false, Wanted::ResumeEvery));
    let tape = drive(scene, &[], Move { asks, ..Move::EXACT }, 200).expect("it can be armed");
    let plan = Plan::of(scene.table());
    let now = clocks(scene.armed);
    let story = run_plan(&plan, now, &mut Perfect::from(now, resumed_at_once), tape.log.len() + 1);
    let answers = |what: &Happening| matches!(what, Happening::Obeyed | Happening::Refused(_));
    let machine = tape.log.iter().filter(|(_, w)| !answers(w));
    let mut reference = story.entries.iter().filter(|e| !answers(&e.what));
    for (moment, what) in machine {
        let entry = reference.next().expect("the reference goes on as long as the machine");
        let now = tape.moments[*moment].clocks;
        assert_eq!((now, what), (entry.clocks, &entry.what), "resumed: {resumed_at_once}");
    }
    assert!(!tape.over || reference.next().is_none(), "only the reference goes on");
}

proptest! {
    #![proptest_config(cases(2_000))]

    /// What may be armed, and when it first pumps.
    #[test]
    fn arming_agrees(scene in scene()) {
        let reference = arm(&Plan::of(scene.table()), clocks(scene.armed));
        match (armed(&scene), reference) {
            (Ok(core), Ok(first)) => {
                prop_assert_eq!(core.step.get(), first.no);
                prop_assert_eq!(clocks(core.at), first.at);
                // The core has no wall instant after 2135.
                let due = first.due.filter(|due| *due <= WALL_LAST);
                prop_assert_eq!(core.due.map(|d| i128::from(d.as_ms())), due);
            }
            (Err(ArmRefused::ClockUntrusted), Err(Unarmed::NoClock))
            | (Err(ArmRefused::StartsTooLate { .. }), Err(Unarmed::TooLate))
            | (Err(ArmRefused::TooFarAhead), Err(Unarmed::TooLong)) => {}
            (Err(ArmRefused::NothingPumps), Err(_))
                if !scene.steps.iter().any(Step::is_pumping) => {}
            (Err(core), Err(Unarmed::Nothing { missed, lost, end })) => {
                let agrees = match core {
                    ArmRefused::NoSuchInstant { step } => missed.contains(&step.get()),
                    ArmRefused::RunLost { step, .. } => lost.iter().any(|l| l.0 == step.get()),
                    ArmRefused::NothingPumps => missed.is_empty() && lost.is_empty(),
                    _ => false,
                };
                prop_assert!(agrees, "{core:?}, but missed {missed:?}, lost {lost:?}, {end:?}");
            }
            (core, reference) => prop_assert!(false, "{core:?} against {reference:?}"),
        }
    }

    /// Forecast and reference, with holds resumed at once and never.
    #[test]
    fn forecasts_agree(scene in scene()) {
        if armed(&scene).is_ok() {
            assert_same_forecast(&scene, false);
            assert_same_forecast(&scene, true);
        }
    }

    /// The machine, called exactly at each wake, and the reference on perfect clocks.
    #[test]
    fn called_at_each_wake_the_machine_is_the_forecast(scene in scene()) {
        // Between two passes without a pause there is no moment at which a sampler could be confirmed.
        let scene = scene.without_confirmations();
        if armed(&scene).is_ok() {
            assert_exact(&scene, false);
            assert_exact(&scene, true);
        }
    }

    /// Called early, late, bunched and not at all.
    #[test]
    fn under_any_calls_the_machine_is_the_reference(
        scene in scene(),
        moves in prop::collection::vec(unattended(), 0..40),
    ) {
        if let Ok(tape) = drive(&scene, &moves, Move::EXACT, 120) {
            assert_same(&scene, &tape);
        }
    }

    /// ... while clocks are lost and set, and an operator is about.
    #[test]
    fn whatever_happens_the_machine_is_the_reference(
        scene in scene(),
        moves in prop::collection::vec(anything(), 0..60),
    ) {
        if let Ok(tape) = drive(&scene, &moves, Move::EXACT, 150) {
            assert_same(&scene, &tape);
        }
    }
}

/// The properties above would hold for schedules that do nothing: these do something, and everything
/// that can happen does.
#[test]
fn the_random_schedules_are_alive() {
    let mut runner = TestRunner::deterministic();
    let (scenes, calls) = (scene(), prop::collection::vec(anything(), 40));
    let (all, mut arms, mut pump_twice) = (1_000, 0, 0);
    let mut kinds = BTreeSet::new();
    let mut seen: BTreeMap<&str, u32> = BTreeMap::new();
    for _ in 0..all {
        let scene = scenes.new_tree(&mut runner).expect("most sketches are legal").current();
        let moves = calls.new_tree(&mut runner).expect("nothing is filtered").current();
        kinds.extend(scene.steps.iter().map(Step::name));
        let Ok(tape) = drive(&scene, &moves, Move::EXACT, 150) else { continue };
        arms += 1;
        let here: Vec<&str> = tape.log.iter().map(|(_, what)| label(what)).collect();
        let stretches = tape.log.iter().filter(|(_, w)| matches!(w, Happening::Stopped(_)));
        pump_twice += u32::from(stretches.count() >= 2);
        for label in here.into_iter().collect::<BTreeSet<_>>() {
            *seen.entry(label).or_default() += 1;
        }
    }
    println!("of {all}: {arms} arm, {pump_twice} pump twice; cases in which: {seen:#?}");
    assert_eq!(kinds.len(), 10, "every kind of step: {kinds:?}");
    assert!(arms * 10 >= all * 7, "{arms} of {all} can be armed");
    assert!(pump_twice * 10 >= all * 4, "{pump_twice} of {all} pump twice or more");
    for label in LABELS {
        let times = seen.get(label).copied().unwrap_or(0);
        assert!(times >= 5, "{label}: in {times} of {all}");
    }
}

/// Everything that can happen while there is power.
const LABELS: [&str; 30] = [
    "appointed",
    "met in time",
    "met late",
    "missed",
    "missed for ever",
    "started",
    "a second sample",
    "inside two repeats",
    "run in time",
    "run overrun",
    "volume reached",
    "at most reached",
    "stopped by hand",
    "tripped",
    "lost, too far",
    "lost, past",
    "hold began",
    "hold ran out",
    "hold resumed",
    "round again",
    "rounds done",
    "skipped",
    "finished",
    "ended missed",
    "ended by start-by",
    "ended by a hold",
    "ended by hand",
    "ended by a limit",
    "obeyed",
    "refused",
];

fn label(what: &Happening) -> &'static str {
    match what {
        Happening::Appointed(..) => "appointed",
        Happening::Met(_, _, 0) => "met in time",
        Happening::Met(..) => "met late",
        Happening::Missed(_, _, Some(_)) => "missed",
        Happening::Missed(_, _, None) => "missed for ever",
        Happening::Started(s) if s.passes.len() >= 2 => "inside two repeats",
        Happening::Started(s) if s.sample >= 2 => "a second sample",
        Happening::Started(_) => "started",
        Happening::Stopped(s) => match s.by {
            By::Time if s.over > 0 => "run overrun",
            By::Time => "run in time",
            By::Volume => "volume reached",
            By::AtMost => "at most reached",
            By::Operator => "stopped by hand",
            By::Tripped(_) => "tripped",
            By::Outage => "cut by an outage",
        },
        Happening::Lost(_, Lost::TooFar) => "lost, too far",
        Happening::Lost(_, Lost::Past) => "lost, past",
        Happening::HoldBegan(_) => "hold began",
        Happening::HoldRanOut(_) => "hold ran out",
        Happening::HoldResumed(_) => "hold resumed",
        Happening::RoundAgain(..) => "round again",
        Happening::RoundsDone(_) => "rounds done",
        Happening::Skipped(_) => "skipped",
        Happening::Over(End::Finished) => "finished",
        Happening::Over(End::Missed) => "ended missed",
        Happening::Over(End::StartBy) => "ended by start-by",
        Happening::Over(End::HoldRanOut) => "ended by a hold",
        Happening::Over(End::Stop | End::Disarm) => "ended by hand",
        Happening::Over(End::Fault(_)) => "ended by a limit",
        Happening::Over(End::Outage | End::ClockLost) => "ended by an outage",
        Happening::PowerIsBack(..) => "power is back",
        Happening::NotAgain => "not again",
        Happening::Obeyed => "obeyed",
        Happening::Refused(_) => "refused",
    }
}

#[test]
fn armed_without_a_clock_only_what_needs_none() {
    let mut runner = TestRunner::deterministic();
    let (mut with, mut without) = (0, 0);
    for _ in 0..300 {
        let mut scene = scene().new_tree(&mut runner).expect("a scene").current();
        scene.armed = Now { wall: None, ..scene.armed };
        let needs =
            scene.settings.start_by.is_some() || scene.steps.iter().any(Step::needs_wall_clock);
        let refused = armed(&scene) == Err(ArmRefused::ClockUntrusted);
        assert_eq!(refused, needs, "{scene:#?}");
        *(if needs { &mut with } else { &mut without }) += 1;
    }
    assert!(with > 20 && without > 10, "{with} need a clock, {without} do not");
}

// ---- Cases that chance does not find

fn case(steps: Vec<Step>, start_by: Option<Civil>, wall: WallMs) -> Scene {
    let target = Target::flow(Flow::from_ul_per_min(2_000_000).unwrap());
    let mut settings = Settings::new(UtcOffset::UTC, target);
    settings.start_by = start_by;
    Scene { settings, steps, armed: Now { mono: MonoMs::from_ms(9), wall: Some(wall) } }
}

fn ms(ms: u32) -> DurationMs {
    DurationMs::from_ms(ms).unwrap()
}

/// The line of the plan leaves the wall clock behind at the end of 2135; it is later than any start-by all
/// the same.
#[test]
fn a_line_after_2135_is_later_than_start_by() {
    let civil = Civil::midnight(Date::from_ymd(2135, 12, 31).unwrap());
    let run = Step::RunFor { run: ms(1), target: None };
    let hour = WallMs::from_ms(WallMs::LAST.as_ms() - 3_600_000).unwrap();
    let late = case(vec![Step::Hold(ms(7_200_000)), run, Step::Finish], Some(civil), hour);
    assert_eq!(arm(&Plan::of(late.table()), clocks(late.armed)), Err(Unarmed::TooLate));
    assert!(matches!(armed(&late), Err(ArmRefused::StartsTooLate { .. })), "{:?}", armed(&late));
}

/// A clock that is set back leaves the line before the last appointment; the end of a run-until is later than both.
#[test]
fn a_run_until_ends_after_the_last_appointment() {
    let eight = TimeOfDay::from_hms(8, 0, 0).unwrap();
    let steps = vec![
        Step::WaitForTime(eight),
        Step::HoldUntilResumed { at_most: ms(3_600_000), then: Then::Close },
        Step::RunUntil { time: eight, at_most: ms(86_400_000 + 1_000), target: None },
        Step::Finish,
    ];
    let scene = case(steps, None, WallMs::FIRST);
    let resumed = Move {
        when: When::After(500),
        clock: Clock::IsSet(-1_000),
        asks: Some((true, Wanted::Resume)),
        ..Move::EXACT
    };
    let moves = [Move::EXACT, Move::EXACT, resumed];
    let tape = drive(&scene, &moves, Move::EXACT, 20).unwrap();
    assert_same(&scene, &tape);
    let ran = tape.log.iter().find_map(|(_, what)| match what {
        Happening::Stopped(s) => Some(s.end.mono - s.begin.mono),
        _ => None,
    });
    assert_eq!(ran, Some(86_400_500), "to eight on the next day, not for half a second");
}

/// The page numbers samples from 1 and names no last number; two repeats one after the other draw through more than
/// 65,535 samplers.
#[test]
fn more_samples_than_a_repeat_has_passes() {
    let run = Step::RunFor { run: ms(1), target: None };
    let fresh = |from| Step::Repeat {
        from: StepNo::new(from).unwrap(),
        passes: Passes::new(65_535).unwrap(),
        sampler: Sampler::Fresh,
    };
    let steps = vec![run, fresh(1), run, fresh(3), Step::Finish];
    let scene = case(steps, None, WallMs::FIRST);
    let plan = Plan::of(scene.table());
    let now = clocks(scene.armed);
    let story = run_plan(&plan, now, &mut Perfect::from(now, false), usize::MAX);
    let last = of_story(&plan, &story).pop().unwrap().sample;
    assert_eq!(last, 131_069, "the second repeat begins on the sample on which the first ended");
    let forecast = Forecast::new(scene.table(), &Fit::ANY, scene.armed).unwrap();
    assert_eq!(forecast.last().unwrap().sample, last);
}
