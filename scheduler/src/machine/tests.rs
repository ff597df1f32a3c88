//! The meaning of the steps, scenario by scenario: each test is a sentence of `docs/steps.md`.

use std::vec::Vec;

use super::*;
use crate::audit::Fit;
use crate::event::{HoldEnd, LostCause, PumpEnd, Pumped, StopReason};
use crate::prelude::*;

const MIN: u32 = 60_000;
const HOUR: u32 = 60 * MIN;

fn date(y: u16, m: u8, d: u8) -> Date {
    Date::from_ymd(y, m, d).unwrap()
}

fn time(h: u8, m: u8) -> TimeOfDay {
    TimeOfDay::from_hms(h, m, 0).unwrap()
}

fn wall(y: u16, mo: u8, d: u8, h: u8, mi: u8) -> WallMs {
    UtcOffset::UTC.instant(Civil { date: date(y, mo, d), time: time(h, mi) }).unwrap()
}

fn ms(v: u32) -> DurationMs {
    DurationMs::from_ms(v).unwrap()
}

fn run(v: u32) -> Step {
    Step::RunFor { run: ms(v), target: None }
}

fn until(h: u8, m: u8, at_most: u32) -> Step {
    Step::RunUntil { time: time(h, m), at_most: ms(at_most), target: None }
}

fn repeat(from: u8, passes: u16, sampler: Sampler) -> Step {
    let (from, passes) = (StepNo::new(from).unwrap(), Passes::new(passes).unwrap());
    Step::Repeat { from, passes, sampler }
}

fn weekdays() -> Step {
    Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY)
}

/// A machine, its table and the two clocks, started at a wall instant.
struct Scene {
    settings: Settings,
    steps: Vec<Step>,
    machine: Machine,
    start: WallMs,
    drawn: RawVolume,
}

impl Scene {
    fn new(start: WallMs, steps: &[Step]) -> Self {
        let target = Target::flow(Flow::from_ul_per_min(1_000_000).unwrap());
        let settings = Settings::new(UtcOffset::UTC, target);
        let steps = [steps, &[Step::Finish]].concat();
        Self { settings, steps, machine: Machine::new(), start, drawn: RawVolume::ZERO }
    }

    fn input(&self, at: WallMs) -> Input {
        let mono = MonoMs::from_ms(1_000_000 + at.since(self.start));
        Input { now: Now { mono, wall: Some(at) }, drawn: self.drawn }
    }

    fn table(&self) -> TableRef<'_> {
        TableRef::new(&self.settings, &self.steps).unwrap()
    }

    fn arm(&mut self) -> Result<FirstStart, ArmRefused> {
        let mut machine = self.machine;
        let first = machine.arm(self.table(), &Fit::ANY, EventId(7), self.input(self.start));
        self.machine = machine;
        first
    }

    /// Called at an instant: until the wake is not `Again`.
    fn call(&mut self, at: WallMs) -> (Vec<Event>, Advance) {
        let mut events = Vec::new();
        loop {
            let mut machine = self.machine;
            let answer = machine.advance(self.table(), self.input(at));
            self.machine = machine;
            events.extend(answer.event);
            if answer.wake != Wake::Again {
                let mut again = self.machine;
                assert_eq!(again.advance(self.table(), self.input(at)), answer);
                assert_eq!(again, self.machine, "the same input changes nothing");
                return (events, answer);
            }
        }
    }

    fn command(&mut self, c: Command, at: WallMs) -> Result<Advance, CommandRefused> {
        let mut machine = self.machine;
        let answer = machine.command(self.table(), c, self.input(at));
        self.machine = machine;
        answer
    }
}

fn wakes_at(answer: &Advance) -> Option<WallMs> {
    match answer.wake {
        Wake::At { wall, .. } => wall,
        Wake::Again => None,
    }
}

fn has(events: &[Event], wanted: impl Fn(&Event) -> bool) -> bool {
    events.iter().any(wanted)
}

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
fn a_run_until_is_lost_when_past_and_when_too_far() {
    let steps = [run(2 * HOUR), until(9, 0, 3 * HOUR), until(12, 0, 30 * MIN), run(MIN)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    // The line stands at 09:00: the next 09:00 is a day off, 12:00 is more than 30 min off.
    let (events, _) = s.call(wall(2027, 3, 8, 9, 0));
    let lost =
        events.iter().filter(|e| matches!(e, Event::RunLost { cause: LostCause::TooFar, .. }));
    assert_eq!(lost.count(), 2);

    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR), until(9, 30, HOUR), run(MIN)];
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    s.call(wall(2027, 3, 8, 8, 0));
    let (events, _) = s.call(wall(2027, 3, 8, 9, 30));
    assert!(has(&events, |e| matches!(e, Event::RunLost { cause: LostCause::Past, .. })));
    assert_eq!(s.machine.due_wall(), Some(wall(2027, 3, 8, 9, 30)));
}

#[test]
fn what_was_demanded_is_what_happened() {
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(10 * MIN), run(10 * MIN)]);
    s.arm().unwrap();
    s.call(s.start);
    s.drawn = RawVolume::from_raw(12 * 60_000 * 1_000_000);
    let (events, answer) = s.call(wall(2027, 3, 8, 7, 12));
    let Some(Event::PumpingEnded(p)) = events.first() else { panic!("{events:?}") };
    assert_eq!((p.pumped_ms(), p.overrun_ms, p.by), (720_000, 120_000, PumpEnd::Time));
    assert_eq!(p.volume, s.drawn);
    let Wake::At { mono: Some(stop), .. } = answer.wake else { panic!() };
    assert_eq!(stop.since(s.input(s.start).now.mono), u64::from(22 * MIN), "whole ten minutes");
}

#[test]
fn a_draw_ends_by_volume_or_comes_out_short() {
    let draw = Step::DrawVolume {
        volume: Volume::from_ml(5_000).unwrap(),
        at_most: ms(10 * MIN),
        target: None,
    };
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[draw]);
    s.arm().unwrap();
    let (_, answer) = s.call(s.start);
    let Wake::At { drawn: Some(full), .. } = answer.wake else { panic!() };
    assert_eq!(full.as_ml(), 5_000);
    let kept = s.machine;
    s.drawn = full;
    let (events, _) = s.call(wall(2027, 3, 8, 7, 5));
    assert!(matches!(events[0], Event::PumpingEnded(Pumped { by: PumpEnd::Volume, .. })));
    s.machine = kept;
    s.drawn = RawVolume::from_raw(full.as_raw() - 1);
    let (events, _) = s.call(wall(2027, 3, 8, 7, 10));
    assert!(matches!(events[0], Event::PumpingEnded(Pumped { by: PumpEnd::Limit, .. })));
}

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
fn nested_repeats_count_each_for_itself() {
    let steps =
        [run(MIN), repeat(1, 2, Sampler::Same), Step::Hold(ms(MIN)), repeat(1, 3, Sampler::Fresh)];
    let s = Scene::new(wall(2027, 3, 8, 7, 0), &steps);
    let armed = s.input(s.start).now;
    let spans: Vec<_> =
        crate::forecast::Forecast::new(s.table(), &Fit::ANY, armed).unwrap().collect();
    let pumped: Vec<_> = spans
        .iter()
        .filter(|s| matches!(s.what, crate::forecast::What::Pump { .. }))
        .map(|s| (s.passes.0, s.sample))
        .collect();
    let want = [
        ([1, 1, 0, 0], 1),
        ([1, 2, 0, 0], 1),
        ([2, 1, 0, 0], 2),
        ([2, 2, 0, 0], 2),
        ([3, 1, 0, 0], 3),
        ([3, 2, 0, 0], 3),
    ];
    assert_eq!(pumped, want);
    assert_eq!(spans.last().unwrap().to.mono.since(armed.mono), u64::from(9 * MIN));
}

#[test]
fn a_table_of_another_length_ends_the_event() {
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(HOUR)]);
    s.arm().unwrap();
    s.call(s.start);
    s.steps.insert(0, run(MIN));
    let (events, _) = s.call(wall(2027, 3, 8, 7, 1));
    assert!(
        matches!(events[0], Event::PumpingEnded(Pumped { by: PumpEnd::Stopped, .. })),
        "what was drawn is kept: {events:?}"
    );
    assert_eq!(events[1], Event::Ended(EndReason::WrongTable));
}

#[test]
fn a_total_beyond_the_counter_is_no_deadline() {
    // 31 days at 2,000 L/min, five times: more than a `u64` of µL·ms/min in all.
    let mut s =
        Scene::new(wall(2027, 3, 8, 7, 0), &[run(31 * 24 * HOUR), repeat(1, 5, Sampler::Same)]);
    s.settings.target = Target::flow(Flow::LARGEST);
    let armed = s.input(s.start).now;
    let forecast = crate::forecast::Forecast::new(s.table(), &Fit::ANY, armed).unwrap();
    let lengths: Vec<_> = forecast
        .filter(|s| matches!(s.what, crate::forecast::What::Pump { .. }))
        .map(|s| (s.to.mono.since(s.from.mono), s.volume.unwrap().as_ml()))
        .collect();
    assert_eq!(lengths, [(31 * 24 * u64::from(HOUR), 89_280_000_000); 5]);

    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[Step::WaitForTime(time(8, 0)), run(MIN)]);
    s.arm().unwrap();
    s.drawn = RawVolume::from_raw(u64::MAX);
    let (_, answer) = s.call(s.start);
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 8, 8, 0)), "not met early");
}

#[test]
fn a_skipped_pass_starts_the_repeats_inside_it_again() {
    let steps = [
        Step::WaitForTime(time(8, 0)),
        run(MIN),
        repeat(1, 3, Sampler::Same),
        repeat(1, 3, Sampler::FreshConfirmed),
    ];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    for day in 8..11 {
        s.call(wall(2027, 3, day, 8, 0));
        s.call(wall(2027, 3, day, 8, 1));
    }
    // Second pass of the outer repeat: the first inner pass is missed, and in the second nobody has confirmed.
    let (events, _) = s.call(wall(2027, 3, 12, 8, 0));
    assert!(has(&events, |e| matches!(e, Event::AppointmentMissed { .. })), "{events:?}");
    assert!(has(&events, |e| matches!(e, Event::PassSkipped { .. })), "{events:?}");
    s.command(Command::ConfirmSampler, wall(2027, 3, 12, 9, 0)).unwrap();
    let (events, _) = s.call(wall(2027, 3, 13, 8, 0));
    let third = PassCount([3, 1, 0, 0]);
    assert!(
        has(
            &events,
            |e| matches!(e, Event::PumpingBegan { passes, sample: 2, .. } if *passes == third)
        ),
        "{events:?}"
    );
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
fn a_command_with_another_table_ends_the_event() {
    let hold = Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Continue };
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[hold, run(MIN)]);
    s.arm().unwrap();
    s.call(s.start);
    s.steps.insert(0, run(MIN));
    let answer = s.command(Command::Resume { step: StepNo::FIRST }, s.start).unwrap();
    assert_eq!(answer.event, Some(Event::Ended(EndReason::WrongTable)));
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
