//! Appointments, the wall clock and start-by.

use super::*;

#[test]
fn weekdays_at_eight_entered_on_friday_afternoon_means_monday() {
    // 2027-03-05 is a Friday.
    let mut s = Scene::new(
        wall(2027, 3, 5, 16, 0),
        &[weekdays(), Step::WaitForTime(time(8, 0)), run(15 * MIN)],
    );
    assert_eq!(s.arm().unwrap().at.wall, Some(wall(2027, 3, 8, 8, 0)));
    let (_, answer) = s.call(s.start);
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 8, 8, 0)));
    assert!(matches!(
        s.machine.phase(s.table(), s.input(wall(2027, 3, 7, 23, 59)).now),
        Phase::WaitForDate { .. }
    ));
    assert!(matches!(
        s.machine.phase(s.table(), s.input(wall(2027, 3, 8, 0, 0)).now),
        Phase::WaitForTime { .. }
    ));
}

#[test]
fn a_date_and_time_that_are_over_are_refused() {
    let steps = [Step::WaitForDate(date(2027, 3, 8)), Step::WaitForTime(time(7, 30)), run(MIN)];
    let mut s = Scene::new(wall(2027, 3, 8, 7, 35), &steps);
    let step = StepNo::new(2).unwrap();
    assert_eq!(s.arm(), Err(ArmRefused::NoSuchInstant { step }));
    assert!(!s.machine.is_armed(), "a refused arming changes nothing");
    // On the minute itself it starts at once.
    let mut s = Scene::new(wall(2027, 3, 8, 7, 30), &steps);
    assert_eq!(s.arm().unwrap().at.wall, Some(s.start));
}

#[test]
fn an_appointment_met_within_the_tolerance_starts_late_and_says_so() {
    let steps = [Step::WaitForTime(time(8, 0)), run(10 * MIN)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    let late = wall(2027, 3, 8, 8, 1);
    let (events, answer) = s.call(late);
    assert!(has(&events, |e| matches!(e, Event::AppointmentMet { late_ms: 60_000, .. })));
    // It gets its whole ten minutes, though the line ends at 08:10.
    let Wake::At { mono: Some(stop), .. } = answer.wake else { panic!("{answer:?}") };
    assert_eq!(stop, s.input(late).now.mono.plus_ms(u64::from(10 * MIN)));
}

#[test]
fn outside_a_repeat_a_missed_appointment_closes_the_event() {
    let steps = [Step::WaitForTime(time(8, 0)), run(10 * MIN)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    let too_late = wall(2027, 3, 8, 8, 1).plus_ms(1).unwrap();
    let (events, answer) = s.call(too_late);
    assert!(has(&events, |e| matches!(e, Event::AppointmentMissed { at: Some(_), .. })));
    assert_eq!(events.last(), Some(&Event::Ended(EndReason::Missed)));
    assert_eq!(answer.demand, Demand::Off);
    assert_eq!(answer.wake, Wake::At { mono: None, wall: None, drawn: None });
}

#[test]
fn inside_a_repeat_a_missed_day_costs_that_day_only() {
    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR), repeat(1, 3, Sampler::Fresh)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    // Nobody calls until the afternoon of the first day.
    let (events, answer) = s.call(wall(2027, 3, 8, 15, 0));
    assert!(has(&events, |e| matches!(e, Event::PassedOn { done: 1, .. })));
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 9, 8, 0)));
    // Two days later: one more pass missed, the third is on time.
    let (events, _) = s.call(wall(2027, 3, 10, 8, 0));
    assert!(has(&events, |e| matches!(e, Event::PassedOn { done: 2, .. })));
    assert!(
        has(&events, |e| matches!(
            e,
            Event::PumpingBegan { passes: PassCount([3, ..]), sample: 1, .. }
        )),
        "the first air drawn is on sample 1: {events:?}"
    );
}

#[test]
fn a_whole_day_wait_is_missed_only_when_its_day_is_over() {
    let steps = [Step::WaitForDate(date(2027, 3, 9)), run(HOUR)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    let (_, answer) = s.call(start);
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 9, 0, 0)));
    let mut other = Scene { steps: s.steps.clone(), settings: s.settings.clone(), ..s };
    let kept = other.machine;
    assert!(has(&other.call(wall(2027, 3, 9, 23, 59)).0, |e| matches!(
        e,
        Event::PumpingBegan { .. }
    )));
    other.machine = kept;
    let (events, _) = other.call(wall(2027, 3, 10, 0, 0));
    assert_eq!(events.last(), Some(&Event::Ended(EndReason::Missed)));
}

#[test]
fn the_same_day_is_not_used_twice_without_a_time() {
    let steps = [weekdays(), run(MIN), repeat(1, 2, Sampler::Same)];
    let start = wall(2027, 3, 5, 12, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    assert!(has(&s.call(start).0, |e| matches!(e, Event::PumpingBegan { .. })), "it is a weekday");
    let (_, answer) = s.call(wall(2027, 3, 5, 12, 1));
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 8, 0, 0)));
}

#[test]
fn start_by_bounds_the_due_instant_and_is_inclusive() {
    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR)];
    let mut s = Scene::new(wall(2027, 3, 8, 8, 1), &steps);
    s.settings.start_by = Some(Civil { date: date(2027, 3, 9), time: time(8, 0) });
    assert_eq!(s.arm().unwrap().at.wall, Some(wall(2027, 3, 9, 8, 0)));
    s.machine = Machine::new();
    s.settings.start_by = Some(Civil { date: date(2027, 3, 9), time: time(7, 59) });
    assert!(matches!(s.arm(), Err(ArmRefused::StartsTooLate { .. })));
}

#[test]
fn without_a_wall_clock_durations_go_on_and_appointments_wait() {
    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR), until(10, 0, 2 * HOUR)];
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &steps);
    s.arm().unwrap();
    s.call(s.start);
    s.call(wall(2027, 3, 8, 8, 0));
    let mut input = s.input(wall(2027, 3, 8, 9, 0));
    input.now.wall = None;
    let mut machine = s.machine;
    let ended = machine.advance(s.table(), input);
    assert!(matches!(ended.event, Some(Event::PumpingEnded(_))));
    let waits = machine.advance(s.table(), input);
    assert_eq!(waits.wake, Wake::At { mono: None, wall: Some(WallMs::FIRST), drawn: None });
    assert!(matches!(machine.phase(s.table(), input.now), Phase::WaitForClock { .. }));
    let began = machine.advance(s.table(), s.input(wall(2027, 3, 8, 9, 1)));
    assert!(matches!(began.event, Some(Event::PumpingBegan { .. })));
    // It loses the clock again: the at-most, from where the schedule stands, stops it at 11:00.
    input.now.mono = s.input(wall(2027, 3, 8, 11, 0)).now.mono;
    let ended = machine.advance(s.table(), input);
    let Some(Event::PumpingEnded(p)) = ended.event else { panic!("{ended:?}") };
    assert_eq!((p.by, p.overrun_ms), (PumpEnd::Limit, 0));
}
