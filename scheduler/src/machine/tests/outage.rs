//! "Outages": row by row of both tables, and what comes after.

use super::*;

const OUTAGE: Event = Event::Ended(EndReason::Outage);
const CLOCK_LOST: Event = Event::Ended(EndReason::ClockLost);

fn within(minutes: u32) -> Resume {
    let within = ResumeWithin::from_ms(minutes * MIN).unwrap();
    Resume { within, while_charging: false }
}

pub(super) fn keep(minutes: u32) -> Outage {
    Outage::KeepStopTime(within(minutes))
}

pub(super) fn make_up(minutes: u32) -> Outage {
    Outage::MakeUpTime(within(minutes))
}

pub(super) fn with(outage: Outage, steps: &[Step]) -> Scene {
    under_way(Fault::Stop, outage, steps)
}

const RULES: [fn(u32) -> Outage; 3] = [keep, make_up, |_| Outage::Abandon];

// ---- The first table: what the machine was doing

#[test]
fn nothing_armed_or_ended_is_nothing_to_resume() {
    let mut s = Scene::new(hour(7, 0), &[run(HOUR)]);
    let refused = |s: &Scene| {
        Machine::resume(s.table(), &s.checkpoint(hour(7, 0)), s.input(hour(8, 0))).unwrap_err()
    };
    assert_eq!(refused(&s), ResumeRefused::NotArmed);
    s.arm().unwrap();
    s.call(hour(7, 0));
    s.call(hour(8, 0));
    assert!(!s.machine.is_armed());
    assert_eq!(refused(&s), ResumeRefused::NotArmed);
}

#[test]
fn an_end_that_was_not_reported_yet_is_reported_after_the_outage() {
    let mut s = with(Outage::DEFAULT, &[run(HOUR)]);
    s.command(Command::Stop(StopReason::Host), hour(7, 10)).unwrap();
    assert_eq!(s.lose_power_and_clock(hour(7, 10)), None);
    assert_eq!(s.call(hour(7, 10)).0, [Event::Ended(EndReason::Stopped(StopReason::Host))]);
}

#[test]
fn another_schedule_is_refused() {
    let mut s = with(Outage::DEFAULT, &[run(HOUR)]);
    let kept = s.checkpoint(hour(7, 10));
    s.steps[0] = run(2 * HOUR);
    let refused = Machine::resume(s.table(), &kept, s.input(hour(7, 11)));
    assert_eq!(refused, Err(ResumeRefused::WrongTable));
}

#[test]
fn an_appointment_is_met_met_late_or_missed_as_ever() {
    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR)];
    for rule in RULES {
        // Met on time, whatever the outage rule says of pumping steps, and however long the outage.
        let mut s = with(rule(1), &steps);
        assert_eq!(s.lose_power(hour(7, 10), hour(7, 50)), None);
        assert_eq!(wakes_at(&s.call(hour(7, 50)).1), Some(hour(8, 0)));
        assert!(pumps(&s.call(hour(8, 0)).0));
        let mut s = with(rule(1), &steps);
        s.lose_power(hour(7, 10), hour(8, 1));
        let late = |e: &Event| matches!(e, Event::AppointmentMet { late_ms, .. } if *late_ms == MIN.into());
        assert!(has(&s.call(hour(8, 1)).0, late));
        let mut s = with(rule(1), &steps);
        s.lose_power(hour(7, 10), hour(8, 2));
        assert_eq!(s.call(hour(8, 2)).0.last(), Some(&Event::Ended(EndReason::Missed)));
        // Without a clock it waits for one.
        let mut s = with(rule(1), &steps);
        s.lose_power_and_clock(hour(7, 10));
        let blind = s.blind(hour(7, 10));
        assert!(s.call_with(blind).0.is_empty());
        assert!(pumps(&s.call(hour(8, 0)).0));
    }
}

#[test]
fn between_two_steps_it_is_as_it_was() {
    let mut s = Scene::new(hour(7, 0), &[run(HOUR)]);
    s.settings.outage = Outage::Abandon;
    s.arm().unwrap();
    s.lose_power_and_clock(hour(7, 0));
    assert!(pumps(&s.call(hour(7, 0)).0));
}

#[test]
fn a_hold_goes_on_if_its_end_can_be_told() {
    for hold in
        [Step::Hold(ms(HOUR)), Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Continue }]
    {
        for rule in RULES {
            let mut s = with(rule(1), &[hold, run(MIN)]);
            assert_eq!(s.lose_power(hour(7, 10), hour(7, 50)), None);
            let (_, answer) = s.call(hour(7, 50));
            assert_eq!(stops_at(&s, &answer), Some(hour(8, 0)));

            let mut s = with(rule(1), &[hold, run(MIN)]);
            assert_eq!(s.lose_power_and_clock(hour(7, 10)), None);
            let blind = s.blind(hour(7, 10));
            let (events, answer) = s.call_with(blind);
            if matches!(rule(1), Outage::MakeUpTime(_)) {
                assert_eq!((events, stops_at(&s, &answer)), (std::vec![], Some(hour(8, 0))));
            } else {
                assert_eq!(events, [CLOCK_LOST]);
            }
        }
    }
}

// ---- The second table: whether a pumping step goes on

#[test]
fn the_cut_stretch_ends_at_the_checkpoint() {
    for rule in RULES {
        let mut s = with(rule(10), &[run(HOUR)]);
        s.drawn = RawVolume::from_raw(88);
        let Some(Event::PumpingEnded(p)) = s.lose_power(hour(7, 20), hour(7, 25)) else { panic!() };
        assert_eq!((p.end, p.pumped_ms()), (s.input(hour(7, 20)).now, 20 * u64::from(MIN)));
        assert_eq!((p.volume, p.by, p.overrun_ms), (s.drawn, PumpEnd::Outage, 0));
    }
}

#[test]
fn abandon_ends_the_event() {
    let mut s = with(Outage::Abandon, &[run(HOUR)]);
    s.lose_power(hour(7, 20), hour(7, 20));
    assert_eq!(s.call(hour(7, 20)).0, [OUTAGE]);
    let mut s = with(Outage::Abandon, &[run(HOUR)]);
    s.lose_power_and_clock(hour(7, 20));
    assert_eq!(s.call(hour(7, 20)).0, [OUTAGE]);
}

#[test]
fn without_a_clock_only_make_up_time_goes_on() {
    let mut s = with(keep(10), &[run(HOUR)]);
    s.lose_power_and_clock(hour(7, 20));
    assert_eq!(s.call(hour(7, 20)).0, [CLOCK_LOST]);
    let mut s = with(make_up(1), &[run(HOUR)]);
    s.lose_power_and_clock(hour(7, 20));
    let blind = s.blind(hour(7, 20));
    let (events, answer) = s.call_with(blind);
    assert!(pumps(&events));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 0)), "by the clock that stood still");
}

#[test]
fn the_clock_is_lost_too_if_it_was_not_there_at_the_checkpoint() {
    let mut s = with(keep(10), &[run(HOUR)]);
    let kept = s.machine.checkpoint(s.table(), s.blind(hour(7, 20)));
    assert_eq!(kept.continued(Some(hour(7, 25))), (s.input(hour(7, 20)).now.mono, None));
    let back = Input { now: Now { wall: Some(hour(7, 25)), ..kept.at }, drawn: s.drawn };
    s.machine = Machine::resume(s.table(), &kept, back).unwrap().0;
    assert_eq!(s.call_with(back).0, [CLOCK_LOST]);
}

#[test]
fn a_clock_that_seems_to_have_gone_back_is_an_outage_of_no_time_and_one_that_did_is_not_known() {
    let mut s = with(keep(1), &[run(HOUR)]);
    let kept = s.checkpoint(hour(7, 20));
    let ago = |ms| WallMs::from_ms(hour(7, 20).as_ms() - ms);
    assert_eq!(kept.continued(ago(2_001)), (kept.at.mono, None));
    let back = Input { now: Now { wall: ago(2_000), ..kept.at }, drawn: s.drawn };
    assert_eq!(kept.continued(back.now.wall), (kept.at.mono, Some(0)));
    s.machine = Machine::resume(s.table(), &kept, back).unwrap().0;
    let (events, answer) = s.call_with(back);
    assert!(pumps(&events));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 0)));
}

#[test]
fn an_outage_longer_than_resume_within_ends_the_event() {
    for rule in [keep, make_up] {
        let mut s = with(rule(10), &[run(HOUR)]);
        s.lose_power(hour(7, 20), hour(7, 30));
        assert!(pumps(&s.call(hour(7, 30)).0), "ten minutes are within ten minutes");
        let mut s = with(rule(10), &[run(HOUR)]);
        let late = hour(7, 30).plus_ms(1).unwrap();
        s.lose_power(hour(7, 20), late);
        assert_eq!(s.call(late).0, [OUTAGE]);
    }
}

#[test]
fn a_paused_step_obeys_the_same_table_and_stays_paused() {
    let paused = |outage| {
        let mut s = under_way(retry(10 * MIN, 9), outage, &[run(HOUR)]);
        s.trip(hour(7, 20));
        s
    };
    for rule in [keep, make_up] {
        let mut s = paused(rule(10));
        assert_eq!(s.lose_power(hour(7, 22), hour(7, 26)), None, "its stretch was told already");
        assert!(s.call(hour(7, 29)).0.is_empty());
        let (events, answer) = s.call(hour(7, 30));
        assert!(pumps(&events));
        assert_eq!(stops_at(&s, &answer), Some(hour(8, 10)), "40 min are left");
        let mut s = paused(rule(10));
        s.lose_power(hour(7, 22), hour(7, 33));
        assert_eq!(s.call(hour(7, 33)).0, [OUTAGE]);
    }
    let mut s = paused(Outage::Abandon);
    s.lose_power(hour(7, 22), hour(7, 23));
    assert_eq!(s.call(hour(7, 23)).0, [OUTAGE]);
    let mut s = paused(keep(10));
    s.lose_power_and_clock(hour(7, 22));
    assert_eq!(s.call(hour(7, 22)).0, [CLOCK_LOST]);
    // The outage takes longer than the pause: it pumps again at the first call.
    let mut s = paused(keep(20));
    s.lose_power(hour(7, 22), hour(7, 40));
    let (events, answer) = s.call(hour(7, 40));
    assert!(pumps(&events));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 20)));
}

// ---- How it goes on

#[test]
fn make_up_time_pumps_for_as_long_as_the_step_asks() {
    let mut s = with(make_up(30), &[run(HOUR), run(MIN)]);
    s.lose_power(hour(7, 20), hour(7, 30));
    // The first call is late: that makes up too.
    let (events, answer) = s.call(hour(7, 35));
    assert!(matches!(events[..], [Event::PumpingBegan { sample: 1, .. }]));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 15)));
    s.lose_power(hour(8, 0), hour(8, 10));
    s.call(hour(8, 10));
    let (events, _) = s.call(hour(8, 25));
    assert_eq!(stretches(&s, &events), [(1, 70, 85, PumpEnd::Time)], "20, 25 and 15 min");
    assert_eq!(s.machine.due_wall(), Some(hour(8, 0)));
}

#[test]
fn keep_stop_time_stops_when_it_would_have_without_the_outage() {
    for step in [run(HOUR), draw(1_000_000, HOUR)] {
        let mut s = with(keep(30), &[step, Step::Hold(ms(HOUR))]);
        s.lose_power(hour(7, 20), hour(7, 30));
        let (_, answer) = s.call(hour(7, 35));
        assert_eq!(stops_at(&s, &answer), Some(hour(8, 0)));
        s.lose_power(hour(7, 40), hour(7, 50));
        let (_, answer) = s.call(hour(7, 50));
        assert_eq!(stops_at(&s, &answer), Some(hour(8, 0)), "a later outage does not move it");
        let (events, _) = s.call(hour(8, 0));
        let by = if step == run(HOUR) { PumpEnd::Time } else { PumpEnd::Limit };
        assert_eq!(stretches(&s, &events), [(1, 50, 60, by)]);
        assert_eq!(s.machine.due_wall(), Some(hour(8, 0)));
    }
}

#[test]
fn keep_stop_time_does_not_pump_again_when_that_has_come() {
    for step in [run(HOUR), draw(1_000_000, HOUR), until(8, 0, 2 * HOUR)] {
        let mut s = with(keep(60), &[step, Step::Hold(ms(HOUR))]);
        s.lose_power(hour(7, 20), hour(8, 0));
        let (events, answer) = s.call(hour(8, 0));
        assert!(matches!(events[..], [Event::HoldBegan { .. }]), "{step:?}: {events:?}");
        assert_eq!(stops_at(&s, &answer), Some(hour(9, 0)), "the line moved by an hour");
        // Back before it, and called after it.
        let mut s = with(keep(60), &[step, Step::Hold(ms(HOUR))]);
        s.lose_power(hour(7, 20), hour(7, 59));
        let (events, _) = s.call(hour(8, 0));
        assert!(matches!(events[..], [Event::HoldBegan { .. }]), "{step:?}: {events:?}");
    }
}

#[test]
fn a_later_pause_moves_the_stop_time_by_its_length() {
    let mut s = under_way(retry(5 * MIN, 9), keep(30), &[run(HOUR)]);
    s.lose_power(hour(7, 20), hour(7, 30));
    s.call(hour(7, 30));
    s.trip(hour(7, 40));
    // Due again at 07:45, called at 07:50.
    let (_, answer) = s.call(hour(7, 50));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 10)));
    // A pause that an outage falls into is as long as it is.
    s.trip(hour(8, 0));
    s.lose_power(hour(8, 1), hour(8, 20));
    let (_, answer) = s.call(hour(8, 20));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 30)));
}

#[test]
fn an_earlier_pause_counts_towards_the_stop_time() {
    let mut s = under_way(retry(5 * MIN, 9), keep(30), &[run(HOUR)]);
    s.trip(hour(7, 10));
    s.call(hour(7, 15));
    s.lose_power(hour(7, 20), hour(7, 30));
    let (_, answer) = s.call(hour(7, 30));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 5)));
}

#[test]
fn retries_are_not_counted_anew_after_an_outage() {
    let mut s = under_way(retry(MIN, 1), make_up(30), &[run(HOUR)]);
    s.trip(hour(7, 10));
    s.call(hour(7, 11));
    s.lose_power(hour(7, 20), hour(7, 21));
    s.call(hour(7, 21));
    assert_eq!(s.trip(hour(7, 30))[1..], [Event::Ended(EndReason::Fault(Limit::FlowLow))]);
}

#[test]
fn a_draw_still_ends_by_its_volume() {
    for rule in [keep, make_up] {
        let mut s = with(rule(30), &[draw(10_000, HOUR)]);
        s.drawn = RawVolume::from_raw(4 * 60_000_000_000);
        s.lose_power(hour(7, 4), hour(7, 14));
        let (_, answer) = s.call(hour(7, 14));
        let Wake::At { drawn: Some(full), .. } = answer.wake else { panic!("{answer:?}") };
        assert_eq!(full.as_ml(), 10_000);
        s.drawn = full;
        let (events, _) = s.call(hour(7, 20));
        assert_eq!(stretches(&s, &events), [(1, 14, 20, PumpEnd::Volume)]);
    }
}

#[test]
fn a_run_until_ends_at_its_instant_in_either_case() {
    for rule in [keep, make_up] {
        let mut s = with(rule(30), &[until(8, 0, 2 * HOUR), run(MIN)]);
        s.lose_power(hour(7, 20), hour(7, 40));
        let (events, answer) = s.call(hour(7, 40));
        assert!(pumps(&events));
        assert_eq!(wakes_at(&answer), Some(hour(8, 0)));
        assert_eq!(stops_at(&s, &answer), Some(hour(9, 0)), "its at-most stands where it stood");
    }
}

#[test]
fn before_the_first_call_after_an_outage_the_pump_is_off() {
    let mut s = under_way(retry(5 * MIN, 9), make_up(30), &[run(HOUR)]);
    s.lose_power(hour(7, 20), hour(7, 30));
    assert!(s.machine.target().is_none());
    let trip = Command::Trip(Limit::Supply);
    assert_eq!(s.command(trip, hour(7, 30)), Err(CommandRefused::NotPumping));
    // Cut once more before it: the same again.
    let kept = s.checkpoint(hour(7, 30));
    assert!(kept.is_under_way());
    assert_eq!(s.lose_power(hour(7, 30), hour(7, 40)), None);
    let (_, answer) = s.call(hour(7, 40));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 20)));
    s.lose_power(hour(7, 50), hour(7, 55));
    let stop = s.command(Command::Stop(StopReason::Supply), hour(7, 55)).unwrap();
    assert_eq!(stop.event, Some(Event::Ended(EndReason::Stopped(StopReason::Supply))));
}
