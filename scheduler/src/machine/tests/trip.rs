//! "Limits": a stretch is cut short, and the fault rule decides.

use super::*;

const TRIP: Command = Command::Trip(Limit::FlowLow);
const FAULT: Event = Event::Ended(EndReason::Fault(Limit::FlowLow));

#[test]
fn stop_outside_a_repeat_ends_the_event_and_keeps_what_was_drawn() {
    let mut s = under_way(Fault::Stop, Outage::DEFAULT, &[run(HOUR), run(HOUR)]);
    let due = s.machine.due_wall();
    s.drawn = RawVolume::from_raw(77);
    let events = s.trip(hour(7, 20));
    let Event::PumpingEnded(p) = events[0] else { panic!("{events:?}") };
    assert_eq!((p.by, p.volume, p.overrun_ms), (PumpEnd::Tripped(Limit::FlowLow), s.drawn, 0));
    assert_eq!((p.pumped_ms(), p.sample), (20 * u64::from(MIN), 1));
    assert_eq!(events[1..], [FAULT]);
    assert_eq!(s.machine.due_wall(), due, "due stays");
}

#[test]
fn stop_inside_repeats_ends_the_innermost_pass() {
    let steps = [
        run(HOUR),
        run(HOUR),
        repeat(1, 2, Sampler::Same),
        Step::Hold(ms(MIN)),
        repeat(1, 2, Sampler::Fresh),
    ];
    let mut s = under_way(Fault::Stop, Outage::DEFAULT, &steps);
    let events = s.trip(hour(7, 20));
    let began = |passes, number| {
        move |e: &Event| {
            matches!(e, Event::PumpingBegan { passes: PassCount(p), step, .. }
                if *p == passes && step.get() == number)
        }
    };
    assert!(has(&events, began([1, 2, 0, 0], 1)), "{events:?}");
    let events = s.trip(hour(7, 30));
    assert!(has(&events, |e| matches!(e, Event::RepeatDone { .. })), "it counted the pass");
    assert!(has(&events, |e| matches!(e, Event::HoldBegan { .. })), "{events:?}");
}

#[test]
fn close_ends_the_event_inside_a_repeat_too() {
    let steps = [run(HOUR), repeat(1, 3, Sampler::Same)];
    let mut s = under_way(Fault::Close, Outage::DEFAULT, &steps);
    assert_eq!(s.trip(hour(7, 20))[1..], [FAULT]);
}

#[test]
fn each_limit_is_told_by_its_name() {
    for (limit, code) in
        Limit::ALL.into_iter().zip(["flow-low", "flow-high", "pressure", "supply", "sensor"])
    {
        let mut s = under_way(Fault::Stop, Outage::DEFAULT, &[run(HOUR)]);
        s.command(Command::Trip(limit), hour(7, 1)).unwrap();
        assert_eq!(s.call(hour(7, 1)).0, [Event::Ended(EndReason::Fault(limit))]);
        assert_eq!(limit.code(), code);
    }
}

#[test]
fn a_retried_step_pumps_again_on_the_same_sample_for_the_rest_of_its_time() {
    let mut s = under_way(retry(5 * MIN, 2), Outage::DEFAULT, &[run(HOUR), run(MIN)]);
    let mut events = s.trip(hour(7, 20));
    assert_eq!(events.len(), 1, "nothing but the end of the stretch: {events:?}");
    let at = hour(7, 24);
    let until = s.input(hour(7, 25)).now.mono;
    let step = StepNo::FIRST;
    assert_eq!(s.machine.phase(s.table(), s.input(at).now), Phase::Paused { step, until });
    let (nothing, answer) = s.call(at);
    assert_eq!((nothing, answer.demand), (std::vec![], Demand::Off));
    assert_eq!(answer.wake, Wake::At { mono: Some(until), wall: None, drawn: None });
    let (began, answer) = s.call(hour(7, 25));
    assert!(matches!(began[..], [Event::PumpingBegan { sample: 1, .. }]), "{began:?}");
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 5)), "40 min are left");
    events.extend(s.call(hour(8, 5)).0);
    let tripped = PumpEnd::Tripped(Limit::FlowLow);
    assert_eq!(stretches(&s, &events), [(1, 0, 20, tripped), (1, 25, 65, PumpEnd::Time)]);
    assert_eq!(s.machine.due_wall(), Some(hour(8, 0)), "the line moved by an hour");
}

#[test]
fn a_pause_that_is_over_late_takes_no_pumping_time() {
    let mut s = under_way(retry(5 * MIN, 2), Outage::DEFAULT, &[run(HOUR)]);
    s.trip(hour(7, 20));
    let (_, answer) = s.call(hour(7, 50));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 30)), "40 min are left");
}

#[test]
fn after_so_many_retries_a_trip_is_a_stop_and_each_step_counts_anew() {
    let steps = [run(HOUR), repeat(1, 2, Sampler::Same)];
    let mut s = under_way(retry(MIN, 2), Outage::DEFAULT, &steps);
    for (trip, again) in [(10, 11), (20, 21)] {
        assert!(!pumps(&s.trip(hour(7, trip))));
        assert!(pumps(&s.call(hour(7, again)).0));
    }
    let events = s.trip(hour(7, 30));
    assert!(has(&events, |e| matches!(e, Event::PassedOn { done: 1, .. })), "{events:?}");
    assert!(pumps(&events), "the second pass begins");
    for (trip, again) in [(40, 41), (50, 51)] {
        assert!(!pumps(&s.trip(hour(7, trip))), "its own two retries");
        assert!(pumps(&s.call(hour(7, again)).0));
    }
    let events = s.trip(hour(7, 55));
    assert!(has(&events, |e| matches!(e, Event::RepeatDone { .. })), "{events:?}");
}

#[test]
fn a_draw_counts_from_the_begin_of_its_first_stretch() {
    let mut s = under_way(retry(MIN, 9), Outage::DEFAULT, &[draw(10_000, HOUR)]);
    s.drawn = RawVolume::from_raw(4 * 60_000_000_000);
    s.trip(hour(7, 4));
    let (_, answer) = s.call(hour(7, 5));
    let Wake::At { drawn: Some(full), .. } = answer.wake else { panic!("{answer:?}") };
    assert_eq!(full.as_ml(), 10_000);
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 1)), "56 min of pumping are left");
    s.drawn = full;
    let (events, _) = s.call(hour(7, 11));
    let Event::PumpingEnded(p) = events[0] else { panic!("{events:?}") };
    assert_eq!((p.by, p.volume.as_ml()), (PumpEnd::Volume, 6_000));
    assert_eq!(s.machine.due_wall(), Some(hour(7, 11)));
}

#[test]
fn a_draw_that_comes_out_short_after_a_pause_moves_the_line_by_its_at_most() {
    let mut s = under_way(retry(MIN, 9), Outage::DEFAULT, &[draw(10_000, 30 * MIN), run(MIN)]);
    s.trip(hour(7, 4));
    s.call(hour(7, 5));
    let (events, _) = s.call(hour(7, 31));
    assert_eq!(stretches(&s, &events), [(1, 5, 31, PumpEnd::Limit)]);
    assert_eq!(s.machine.due_wall(), Some(hour(7, 30)));
}

#[test]
fn a_run_until_ends_at_its_time_whether_paused_or_not() {
    let steps = [until(8, 0, 2 * HOUR), Step::Hold(ms(MIN))];
    let mut s = under_way(retry(10 * MIN, 9), Outage::DEFAULT, &steps);
    s.trip(hour(7, 30));
    let (_, answer) = s.call(hour(7, 40));
    assert_eq!(wakes_at(&answer), Some(hour(8, 0)));
    s.trip(hour(7, 55));
    let (nothing, answer) = s.call(hour(7, 59));
    assert!(nothing.is_empty());
    assert_eq!(wakes_at(&answer), Some(hour(8, 0)), "before it would pump again");
    let (events, answer) = s.call(hour(8, 0));
    assert!(matches!(events[..], [Event::HoldBegan { .. }]), "no more to tell: {events:?}");
    assert_eq!(s.machine.due_wall(), Some(hour(8, 0)));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 1)));
}

#[test]
fn a_paused_run_until_without_a_clock_ends_at_its_at_most() {
    let steps = [until(8, 0, 2 * HOUR), Step::Hold(ms(MIN))];
    let mut s = under_way(retry(10 * MIN, 9), Outage::DEFAULT, &steps);
    s.trip(hour(7, 58));
    let input = s.blind(hour(8, 8));
    let (events, answer) = s.call_with(input);
    assert!(pumps(&events));
    assert_eq!(stops_at(&s, &answer), Some(hour(9, 0)));
    // With more pause than is left to its at-most.
    s.command(TRIP, hour(8, 55)).unwrap();
    let input = s.blind(hour(9, 0));
    assert!(matches!(s.call_with(input).0[..], [Event::HoldBegan { .. }, ..]));
    assert_eq!(s.machine.due_wall(), Some(hour(8, 1)), "08:00, and the hold that is over");
}

#[test]
fn a_limit_trips_only_while_the_pump_runs() {
    let steps = [Step::Hold(ms(MIN)), run(HOUR), Step::Hold(ms(MIN))];
    let mut s = Scene::new(hour(7, 0), &steps);
    s.settings.fault = retry(MIN, 1);
    assert_eq!(s.command(TRIP, s.start), Err(CommandRefused::NotArmed));
    s.arm().unwrap();
    let refuses = |s: &mut Scene, at| {
        let before = s.machine;
        assert_eq!(s.command(TRIP, at), Err(CommandRefused::NotPumping));
        assert_eq!(s.machine, before, "a refused command changes nothing");
    };
    refuses(&mut s, hour(7, 0));
    s.call(hour(7, 0));
    refuses(&mut s, hour(7, 0));
    s.call(hour(7, 1));
    s.command(TRIP, hour(7, 2)).unwrap();
    refuses(&mut s, hour(7, 2));
    s.call(hour(7, 3));
    s.command(TRIP, hour(7, 4)).unwrap();
    assert_eq!(s.command(TRIP, hour(7, 4)), Err(CommandRefused::NotArmed), "it is ending");
}

#[test]
fn a_paused_step_may_be_stopped_and_disarmed() {
    for (command, reason) in [
        (Command::Stop(StopReason::Operator), EndReason::Stopped(StopReason::Operator)),
        (Command::Stop(StopReason::Supply), EndReason::Stopped(StopReason::Supply)),
        (Command::Disarm, EndReason::Disarmed),
    ] {
        let mut s = under_way(retry(MIN, 1), Outage::DEFAULT, &[run(HOUR)]);
        s.trip(hour(7, 20));
        let answer = s.command(command, hour(7, 20)).unwrap();
        assert_eq!(answer.event, Some(Event::Ended(reason)), "its stretch was told already");
        assert_eq!(s.call(hour(7, 30)).1.wake, Wake::NEVER);
    }
}

#[test]
fn a_sampler_confirmed_in_a_pause_is_for_the_next_pass() {
    let steps = [run(HOUR), repeat(1, 2, Sampler::FreshConfirmed)];
    let mut s = under_way(retry(MIN, 1), Outage::DEFAULT, &steps);
    s.trip(hour(7, 20));
    assert!(!s.machine.wants_operator(s.table()));
    s.command(Command::ConfirmSampler, hour(7, 20)).unwrap();
    assert!(has(&s.call(hour(7, 21)).0, |e| matches!(e, Event::PumpingBegan { sample: 1, .. })));
    let (events, _) = s.call(hour(8, 1));
    assert!(has(&events, |e| matches!(e, Event::PumpingBegan { sample: 2, .. })), "{events:?}");
}

#[test]
fn what_has_had_all_it_asks_does_not_pump_again() {
    // The limit trips in the very call that would have ended the step, before the machine has looked.
    let mut s = under_way(retry(MIN, 1), Outage::DEFAULT, &[run(HOUR), Step::Hold(ms(MIN))]);
    s.command(TRIP, hour(8, 0)).unwrap();
    assert!(s.call(hour(8, 0)).0.is_empty(), "paused");
    assert!(matches!(s.call(hour(8, 1)).0[..], [Event::HoldBegan { .. }, ..]));
    assert_eq!(s.machine.due_wall(), Some(hour(8, 1)), "the hold of a minute is over too");

    let mut s = under_way(retry(MIN, 1), Outage::DEFAULT, &[draw(1, HOUR), Step::Hold(ms(HOUR))]);
    s.drawn = RawVolume::from_raw(60_000_000);
    s.command(TRIP, hour(7, 5)).unwrap();
    assert!(matches!(s.call(hour(7, 6)).0[..], [Event::HoldBegan { .. }]));
    assert_eq!(s.machine.due_wall(), Some(hour(7, 6)), "a volume moves the line to the call");
}

#[test]
fn a_trip_with_another_table_ends_the_event() {
    let mut s = under_way(retry(MIN, 1), Outage::DEFAULT, &[run(HOUR)]);
    s.steps.insert(0, run(MIN));
    let answer = s.command(TRIP, hour(7, 1)).unwrap();
    assert!(matches!(answer.event, Some(Event::PumpingEnded(Pumped { by: PumpEnd::Stopped, .. }))));
    assert_eq!(s.call(hour(7, 1)).0, [Event::Ended(EndReason::WrongTable)]);
}
