//! The contract of the state machine, clause by clause (`scheduler/src/machine.rs`).

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{EndReason, Event, PumpEnd, StopReason};
use draught::forecast::{Forecast, What};
use draught::machine::{
    Advance, ArmRefused, Command, CommandRefused, Demand, EventId, Input, Machine, Wake,
};
use draught::prelude::*;
use draught_tests::drive::{Move, Wanted, When, anything, drive};
use draught_tests::plans::{Scene, scene};
use draught_tests::reference::log::{Clocks, Happening};
use proptest::prelude::*;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

const ARMED: Now = Now { mono: MonoMs::from_ms(50_000), wall: Some(WallMs::FIRST) };

fn ms(ms: u32) -> DurationMs {
    DurationMs::from_ms(ms).unwrap()
}

fn settings() -> Settings {
    let target = Target::flow(Flow::from_ul_per_min(2_000_000).unwrap());
    Settings::new(UtcOffset::UTC, target)
}

fn run_for(run: u32) -> Step {
    Step::RunFor { run: ms(run), target: None }
}

fn repeat(from: u8, passes: u16) -> Step {
    Step::Repeat {
        from: StepNo::new(from).unwrap(),
        passes: Passes::new(passes).unwrap(),
        sampler: Sampler::Same,
    }
}

fn after(ms: u64) -> Input {
    Input { now: ARMED.plus_ms(ms), drawn: RawVolume::ZERO }
}

fn armed(table: TableRef<'_>) -> Machine {
    let mut machine = Machine::new();
    machine.arm(table, &Fit::ANY, EventId(1), after(0)).unwrap();
    machine
}

/// The events of all calls at one instant, until it asks for no other.
fn settle(machine: &mut Machine, table: TableRef<'_>, input: Input) -> (Vec<Event>, Advance) {
    let mut events = Vec::new();
    loop {
        let answer = machine.advance(table, input);
        events.extend(answer.event);
        if answer.wake != Wake::Again {
            return (events, answer);
        }
    }
}

// ---- One transition and at most one event a call

#[test]
fn however_late_a_call_makes_one_transition() {
    let settings = settings();
    let steps = [run_for(60_000), run_for(60_000), Step::Hold(ms(1)), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let mut machine = armed(table);
    let began = machine.advance(table, after(0));
    assert!(matches!(began.event, Some(Event::PumpingBegan { step, .. }) if step.get() == 1));
    // A whole day later, four calls see: the end of the first run, and the begin of the second.
    let day = after(86_400_000);
    let ended = machine.advance(table, day);
    assert!(matches!(ended.event, Some(Event::PumpingEnded(p)) if p.step.get() == 1));
    assert_eq!(ended.wake, Wake::Again);
    let (events, rest) = settle(&mut machine, table, day);
    assert_eq!(events.len(), 1, "{events:?}");
    assert!(matches!(events[0], Event::PumpingBegan { step, .. } if step.get() == 2));
    assert!(
        matches!(rest.demand, Demand::Pump(_)),
        "a step is never skipped because a call was late"
    );
}

// ---- The same input changes nothing; wakes lie ahead; refused commands change nothing.
// The driver checks all of these after every single call.

proptest! {
    #![proptest_config(cases(1_500))]

    #[test]
    fn at_rest_the_same_input_changes_nothing_and_wakes_lie_ahead(
        scene in scene(),
        moves in prop::collection::vec(anything(), 0..80),
    ) {
        let _ = drive(&scene, &moves, Move::EXACT, 160);
    }

    /// However often it is called in between, the same things happen at the same times.
    #[test]
    fn early_calls_are_harmless(
        scene in scene(),
        early in prop::collection::vec(0..1_000u16, 1..12),
    ) {
        let scene = scene.without_confirmations();
        let Ok(exact) = drive(&scene, &[], Move::EXACT, 60) else { return Ok(()) };
        let mut moves = vec![Move::EXACT];
        for _ in 1..60 {
            for part in &early {
                moves.push(Move { when: When::Early(*part), ..Move::EXACT });
            }
            moves.push(Move::EXACT);
        }
        let often = drive(&scene, &moves, Move::EXACT, moves.len()).expect("it armed");
        let times = |tape: &draught_tests::drive::Tape| -> Vec<(Clocks, Happening)> {
            tape.log.iter().map(|(i, what)| (tape.moments[*i].clocks, what.clone())).collect()
        };
        prop_assert_eq!(times(&exact), times(&often));
    }

    /// A resume that comes at another moment is refused and never remembered.
    #[test]
    fn a_resume_is_never_latched(
        scene in scene(),
        moves in prop::collection::vec((0..1_000u16, 1..30u8), 0..40),
    ) {
        let calls = moves.len() + 20;
        let call = |asks| {
            move |(part, _): &(u16, u8)| Move { when: When::Early(*part), asks, ..Move::EXACT }
        };
        let quiet: Vec<Move> = moves.iter().map(call(None)).collect();
        let Ok(quiet) = drive(&scene, &quiet, Move::EXACT, calls) else { return Ok(()) };
        // The same, with a resume of some step at every call; of the holds themselves never.
        let loud: Vec<Move> = moves
            .iter()
            .map(|(part, step)| {
                let no = usize::from(*step - 1);
                let hold = matches!(scene.steps.get(no), Some(Step::HoldUntilResumed { .. }));
                let asks = (!hold).then_some((false, Wanted::ResumeStep(*step)));
                Move { when: When::Early(*part), asks, ..Move::EXACT }
            })
            .collect();
        let refused = loud.iter().filter(|m| m.asks.is_some()).count();
        let loud = drive(&scene, &loud, Move::EXACT, calls + refused).expect("it armed");
        let events = |tape: &draught_tests::drive::Tape| -> Vec<(Clocks, Happening)> {
            tape.log
                .iter()
                .filter(|(_, what)| !matches!(what, Happening::Refused(_)))
                .map(|(i, what)| (tape.moments[*i].clocks, what.clone()))
                .collect()
        };
        prop_assert!(!loud.log.iter().any(|(_, what)| *what == Happening::Obeyed));
        prop_assert_eq!(events(&quiet), events(&loud));
    }

    /// Whatever it is given, in whatever order, also another table of the same length: it does not panic and comes
    /// to rest.
    #[test]
    fn nonsense_does_no_harm(
        scene in scene(),
        (at, instead) in (any::<prop::sample::Index>(), 0..4u8),
        calls in prop::collection::vec(
            (any::<(u64, u64, u64)>(), 0..4u8, 0..12u8, any::<u8>()), 1..60
        ),
    ) {
        let mut other = scene.steps.clone();
        let last = other.len() - 1;
        if last > 0 {
            other[at.index(last)] = match instead {
                0 => run_for(77),
                1 => Step::Hold(ms(77)),
                2 => Step::WaitForTime(TimeOfDay::from_ms(77).unwrap()),
                _ => repeat(1, 3),
            };
        }
        let other = TableRef::new(&scene.settings, &other).unwrap_or(scene.table());
        let mut machine = Machine::new();
        let start = Input { now: scene.armed, drawn: RawVolume::ZERO };
        let _ = machine.arm(scene.table(), &Fit::ANY, EventId(3), start);
        for ((mono, wall, drawn), near, what, step) in calls {
            // Near the arm instant, or anywhere at all.
            let mono = [mono, scene.armed.mono.as_ms().wrapping_add(mono % 1_000_000_000), 0, u64::MAX]
                [usize::from(near)];
            let last = WallMs::LAST.as_ms();
            let walls = [wall % (last * 2), last - wall % 100_000, wall, last];
            let wall = WallMs::from_ms(walls[usize::from(near)]);
            let now = Now { mono: MonoMs::from_ms(mono), wall };
            let input = Input { now, drawn: RawVolume::from_raw(drawn) };
            let table = if what >= 9 { other } else { scene.table() };
            let command = match what {
                0 => Command::Resume { step: StepNo::new(step.max(1)).unwrap() },
                1 => Command::ConfirmSampler,
                2 if step < 16 => Command::Stop(StopReason::Fault),
                3 if step < 16 => Command::Disarm,
                4 if step < 64 => {
                    let _ = machine.arm(table, &Fit::ANY, EventId(4), input);
                    continue;
                }
                _ => {
                    // Not always to its rest: commands may come in between.
                    for _ in 0..=step % 4 {
                        let before = machine;
                        let answer = machine.advance(table, input);
                        if answer.wake != Wake::Again {
                            let at_rest = machine;
                            machine.advance(table, input);
                            prop_assert_eq!(at_rest, machine);
                            break;
                        }
                        prop_assert!(machine != before, "again, and nothing has changed");
                    }
                    continue;
                }
            };
            let before = machine;
            if machine.command(table, command, input).is_err() {
                prop_assert_eq!(before, machine);
            }
        }
    }
}

// ---- Another table than the one it was armed with

#[test]
fn another_table_of_another_length_ends_the_event() {
    let settings = settings();
    let (mine, other) = ([run_for(9), Step::Finish], [run_for(9), run_for(9), Step::Finish]);
    let table = TableRef::new(&settings, &mine).unwrap();
    let mut machine = armed(table);
    settle(&mut machine, table, after(0));
    let other = TableRef::new(&settings, &other).unwrap();
    let (events, rest) = settle(&mut machine, other, after(1));
    assert_eq!(events.last(), Some(&Event::Ended(EndReason::WrongTable)));
    assert_eq!(rest.demand, Demand::Off);
}

/// A sampler is demanded by a repeat, and where that repeat stood there is now a run-for. A skipped pass that goes
/// on at a step that is skipped in turn would go on for ever.
#[test]
fn another_table_of_the_same_length_comes_to_rest() {
    let settings = settings();
    let asks = Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(2).unwrap(),
        sampler: Sampler::FreshConfirmed,
    };
    let mine = [run_for(9), asks, Step::Finish];
    let other = [run_for(9), run_for(9), Step::Finish];
    let table = TableRef::new(&settings, &mine).unwrap();
    let mut machine = armed(table);
    settle(&mut machine, table, after(0));
    machine.advance(table, after(9));
    let passed_on = machine.advance(table, after(9));
    assert!(matches!(passed_on.event, Some(Event::PassedOn { .. })), "{passed_on:?}");
    let other = TableRef::new(&settings, &other).unwrap();
    let rests = (0..100).any(|_| machine.advance(other, after(9)).wake != Wake::Again);
    assert!(rests, "called again and again for ever");
}

// ---- Resuming

#[test]
fn a_hold_is_resumed_only_while_it_lasts() {
    let settings = settings();
    let hold = |at_most| Step::HoldUntilResumed { at_most: ms(at_most), then: Then::Continue };
    let steps = [run_for(1_000), hold(1_000), hold(1_000), run_for(1_000), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let mut machine = armed(table);
    let resume = |no| Command::Resume { step: StepNo::new(no).unwrap() };
    let command = |m: &mut Machine, c, at| m.command(table, c, after(at)).map(|a| a.event);
    settle(&mut machine, table, after(0));
    assert_eq!(
        command(&mut machine, resume(2), 500),
        Err(CommandRefused::NotThatHold),
        "too early"
    );
    settle(&mut machine, table, after(1_000));
    assert_eq!(command(&mut machine, resume(3), 1_500), Err(CommandRefused::NotThatHold), "next");
    assert_eq!(command(&mut machine, resume(1), 1_500), Err(CommandRefused::NotThatHold), "a run");
    assert_eq!(command(&mut machine, resume(2), 2_000), Err(CommandRefused::NotThatHold), "late");
    assert!(command(&mut machine, resume(2), 1_999).is_ok());
    settle(&mut machine, table, after(1_999));
    assert_eq!(command(&mut machine, resume(2), 2_000), Err(CommandRefused::NotThatHold), "twice");
    // The next hold began when the one before was resumed.
    let (_, rest) = settle(&mut machine, table, after(2_998));
    assert_eq!(rest.demand, Demand::Off);
    let (_, rest) = settle(&mut machine, table, after(2_999));
    assert!(matches!(rest.demand, Demand::Pump(_)));
}

// ---- Stopping and disarming

#[test]
fn a_stop_ends_the_run_at_once_and_nothing_starts_again() {
    let settings = settings();
    let steps = [run_for(60_000), repeat(1, 9), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let mut machine = armed(table);
    settle(&mut machine, table, after(0));
    assert_eq!(machine.command(table, Command::Disarm, after(5)), Err(CommandRefused::Pumping));
    let input = Input { drawn: RawVolume::from_raw(77), ..after(30_000) };
    let stopped = machine.command(table, Command::Stop(StopReason::Host), input).unwrap();
    assert_eq!(stopped.demand, Demand::Off);
    let mut events: Vec<Event> = stopped.event.into_iter().collect();
    events.extend(settle(&mut machine, table, input).0);
    let Event::PumpingEnded(p) = events[0] else { panic!("{events:?}") };
    assert_eq!((p.by, p.pumped_ms(), p.volume.as_raw()), (PumpEnd::Stopped, 30_000, 77));
    assert_eq!(events[1..], [Event::Ended(EndReason::Stopped(StopReason::Host))]);
    let ended = machine;
    let (events, rest) = settle(&mut machine, table, after(u64::from(u32::MAX)));
    assert_eq!((events, rest.demand, machine), (vec![], Demand::Off, ended));
    for command in [Command::Stop(StopReason::Host), Command::Disarm, Command::ConfirmSampler] {
        let refused = machine.command(table, command, after(99));
        assert_eq!(refused, Err(CommandRefused::NotArmed), "{command:?}");
    }
}

#[test]
fn a_machine_that_is_not_armed_asks_for_nothing() {
    let settings = settings();
    let steps = [run_for(1), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let mut machine = Machine::new();
    let (events, rest) = settle(&mut machine, table, after(9));
    assert_eq!((events, rest.demand, machine), (vec![], Demand::Off, Machine::new()));
    assert_eq!(rest.wake, Wake::At { mono: None, wall: None, drawn: None });
    let stop = machine.command(table, Command::Stop(StopReason::Operator), after(9));
    assert_eq!(stop, Err(CommandRefused::NotArmed));
}

#[test]
fn an_armed_machine_is_not_armed_again() {
    let settings = settings();
    let steps = [Step::Hold(ms(1_000)), run_for(1), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let mut machine = armed(table);
    let before = machine;
    let again = machine.arm(table, &Fit::ANY, EventId(2), after(0));
    assert_eq!((again.unwrap_err(), machine), (ArmRefused::AlreadyArmed, before));
    // After its end it may be.
    machine.command(table, Command::Disarm, after(5)).unwrap();
    settle(&mut machine, table, after(5));
    assert!(machine.arm(table, &Fit::ANY, EventId(2), after(6)).is_ok());
}

// ---- Sizes, and time

#[test]
fn a_machine_is_small() {
    assert!(size_of::<Machine>() <= 160, "{} bytes", size_of::<Machine>());
}

/// A forecast is of fixed size and has nothing to drop, so it owns no memory: what it takes cannot grow with what it walks.
#[test]
fn sixty_five_thousand_passes_are_forecast_in_constant_memory() {
    const { assert!(!core::mem::needs_drop::<Forecast<'static>>(), "it owns no memory") };
    assert!(size_of::<Forecast<'static>>() <= 512, "{} bytes", size_of::<Forecast<'static>>());
    let settings = settings();
    let at_eight = Step::WaitForTime(TimeOfDay::from_hms(8, 0, 0).unwrap());
    for (body, spans) in [
        (vec![run_for(1_000)], 1),
        (vec![Step::Hold(ms(5)), run_for(1_000)], 2),
        (vec![run_for(1_000), run_for(1_000), Step::Hold(ms(1)), run_for(7)], 4),
    ] {
        let mut steps = body;
        steps.extend([repeat(1, 65_535), Step::Finish]);
        let table = TableRef::new(&settings, &steps).unwrap();
        let forecast = Forecast::new(table, &Fit::ANY, ARMED).unwrap();
        let (mut pumped, mut count) = (0, 0usize);
        let mut last = None;
        for span in forecast {
            count += 1;
            if matches!(span.what, What::Pump { .. }) {
                pumped += span.to.mono.since(span.from.mono);
            }
            last = Some(span);
        }
        assert_eq!(count, 65_535 * spans + 1);
        let each: u64 = steps
            .iter()
            .map(|s| match s {
                Step::RunFor { run, .. } => u64::from(run.as_ms()),
                _ => 0,
            })
            .sum();
        assert_eq!(pumped, 65_535 * each);
        assert_eq!(last.unwrap().what, What::End(EndReason::Finished));
    }
    // A day each: the calendar ends first, in 2135. From then on every pass is missed at once.
    let steps = [at_eight, run_for(1_000), repeat(1, 65_535), Step::Finish];
    let table = TableRef::new(&settings, &steps).unwrap();
    let spans: Vec<_> = Forecast::new(table, &Fit::ANY, ARMED).unwrap().collect();
    let ran = spans.iter().filter(|s| matches!(s.what, What::Pump { .. })).count();
    // 2020-01-01 to 2135-12-31, once a day.
    assert_eq!(ran, 49_673 - 7_305);
    let missed = |s: &&draught::forecast::Span| {
        matches!(s.what, What::Wait { appointment: None, met: false })
    };
    assert_eq!(spans.iter().filter(missed).count(), 65_535 - ran);
}

#[test]
fn arming_gives_up_after_four_thousand_transitions() {
    let settings = settings();
    let arm = |passes, holds| {
        // A pass is three transitions: the hold begins, it ends, the repeat counts. A hold is two.
        let mut steps = vec![Step::Hold(ms(1)), repeat(1, passes)];
        steps.extend((0..holds).map(|_| Step::Hold(ms(1))));
        steps.extend([run_for(1), Step::Finish]);
        let table = TableRef::new(&settings, &steps).unwrap();
        Machine::new().arm(table, &Fit::ANY, EventId(1), after(0)).map(|first| first.at)
    };
    // The first pumping begins with transition 4,096 or sooner.
    assert_eq!(arm(1_365, 0), Ok(ARMED.plus_ms(1_365)), "the 4,096th");
    assert_eq!(arm(1_364, 2), Err(ArmRefused::TooFarAhead), "the 4,097th");
    assert_eq!(arm(65_535, 0), Err(ArmRefused::TooFarAhead));
}

// ---- The properties above mean something

#[test]
fn most_random_scenes_can_be_armed() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let can_be_armed = |scene: &Scene| {
        let input = Input { now: scene.armed, drawn: RawVolume::ZERO };
        Machine::new().arm(scene.table(), &Fit::ANY, EventId(1), input).is_ok()
    };
    let count = (0..500)
        .filter(|_| can_be_armed(&scene().new_tree(&mut runner).unwrap().current()))
        .count();
    assert!(count >= 350, "{count} of 500");
}
