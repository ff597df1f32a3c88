//! Holds, confirmations, stops.

use super::*;

#[test]
fn a_hold_ends_on_the_line_and_a_resumed_one_moves_it() {
    let hold = Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Close };
    let mut s =
        Scene::new(wall(2027, 3, 8, 7, 0), &[run(HOUR), Step::Hold(ms(HOUR)), hold, run(MIN)]);
    s.arm().unwrap();
    s.call(s.start);
    // The run ends ten minutes late; the hold still ends at 09:00.
    let (_, answer) = s.call(wall(2027, 3, 8, 8, 10));
    let Wake::At { mono: Some(end), .. } = answer.wake else { panic!() };
    assert_eq!(end.since(s.input(s.start).now.mono), u64::from(2 * HOUR));
    s.call(wall(2027, 3, 8, 9, 0));
    let third = StepNo::new(3).unwrap();
    let other = Command::Resume { step: StepNo::new(2).unwrap() };
    assert_eq!(s.command(other, wall(2027, 3, 8, 9, 5)), Err(CommandRefused::NotThatHold));
    let kept = s.machine;
    let answer = s.command(Command::Resume { step: third }, wall(2027, 3, 8, 9, 5)).unwrap();
    assert_eq!(answer.event, Some(Event::HoldEnded { step: third, by: HoldEnd::Resumed }));
    assert_eq!(s.machine.due_wall(), Some(wall(2027, 3, 8, 9, 5)));
    s.machine = kept;
    let over = wall(2027, 3, 8, 10, 0);
    assert_eq!(s.command(Command::Resume { step: third }, over), Err(CommandRefused::NotThatHold));
    assert_eq!(s.call(over).0.last(), Some(&Event::Ended(EndReason::HoldRanOut)));
}

#[test]
fn an_unconfirmed_sampler_skips_the_pass() {
    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR), repeat(1, 3, Sampler::FreshConfirmed)];
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &steps);
    s.arm().unwrap();
    s.call(s.start);
    s.call(wall(2027, 3, 8, 8, 0));
    assert_eq!(
        s.command(Command::ConfirmSampler, wall(2027, 3, 8, 8, 30)),
        Err(CommandRefused::Pumping)
    );
    s.call(wall(2027, 3, 8, 9, 0));
    let (events, answer) = s.call(wall(2027, 3, 9, 8, 0));
    assert!(has(&events, |e| matches!(e, Event::PassSkipped { .. })), "{events:?}");
    assert_eq!(answer.demand, Demand::Off);
    s.command(Command::ConfirmSampler, wall(2027, 3, 9, 12, 0)).unwrap();
    let (events, _) = s.call(wall(2027, 3, 10, 8, 0));
    assert!(has(&events, |e| matches!(e, Event::PumpingBegan { sample: 2, .. })), "{events:?}");
}

#[test]
fn stop_keeps_what_was_drawn_and_disarm_needs_the_pump_off() {
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(HOUR)]);
    s.arm().unwrap();
    assert_eq!(s.arm(), Err(ArmRefused::AlreadyArmed));
    s.call(s.start);
    let at = wall(2027, 3, 8, 7, 20);
    s.drawn = RawVolume::from_raw(99);
    assert_eq!(s.command(Command::Disarm, at), Err(CommandRefused::Pumping));
    let answer = s.command(Command::Stop(StopReason::Operator), at).unwrap();
    let Some(Event::PumpingEnded(p)) = answer.event else { panic!("{answer:?}") };
    assert_eq!((p.by, p.volume, p.pumped_ms()), (PumpEnd::Stopped, s.drawn, 1_200_000));
    let end = EndReason::Stopped(StopReason::Operator);
    assert_eq!(s.call(at).0, [Event::Ended(end)]);
    assert_eq!(s.command(Command::Disarm, at), Err(CommandRefused::NotArmed));
}

#[test]
fn an_event_that_is_ending_keeps_its_first_reason() {
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(HOUR)]);
    s.arm().unwrap();
    assert_eq!(s.machine.event_id(), EventId(7));
    s.call(s.start);
    let at = wall(2027, 3, 8, 7, 20);
    s.command(Command::Stop(StopReason::Fault), at).unwrap();
    assert_eq!(s.command(Command::Disarm, at), Err(CommandRefused::NotArmed));
    let stop = Command::Stop(StopReason::Operator);
    assert_eq!(s.command(stop, at), Err(CommandRefused::NotArmed));
    assert_eq!(s.call(at).0, [Event::Ended(EndReason::Stopped(StopReason::Fault))]);
}

#[test]
fn a_forecast_may_resume_a_hold_at_any_moment() {
    let hold = Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Close };
    let s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(MIN), hold, run(MIN)]);
    let armed = s.input(s.start).now;
    for (after, lasts) in [
        (0, 0),
        (1, 1),
        (20 * MIN, 20 * MIN),
        (HOUR - 1, HOUR - 1),
        (HOUR, HOUR - 1),
        (u32::MAX, HOUR - 1),
    ] {
        let forecast = crate::forecast::Forecast::new(s.table(), &Fit::ANY, armed).unwrap();
        let spans: Vec<_> = forecast.resumed_after(after).collect();
        let held = spans[1].to.mono.since(spans[1].from.mono);
        assert_eq!((held, spans.len()), (u64::from(lasts), 4), "resumed after {after} ms");
    }
}
