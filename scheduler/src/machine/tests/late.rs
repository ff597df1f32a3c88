//! Runs that an outage makes late.

use super::outage::{keep, make_up, with};
use super::*;

#[test]
fn a_run_that_an_outage_made_late_ends_where_it_would_have() {
    let steps = [run(HOUR), run(HOUR), run(HOUR), run(HOUR)];
    let mut s = with(keep(24 * 60), &steps);
    // Away from 07:20 to 09:30: the first is over, the second is lost, the third ends at 10:00, the fourth is whole.
    s.lose_power(hour(7, 20), hour(9, 30));
    let (events, answer) = s.call(hour(9, 30));
    let second = StepNo::new(2).unwrap();
    assert_eq!(events[0], Event::RunLost { step: second, cause: LostCause::Past });
    assert!(pumps(&events[1..]));
    assert_eq!(stops_at(&s, &answer), Some(hour(10, 0)));
    // A few minutes late from here on, by the calls alone.
    let (_, answer) = s.call(hour(10, 5));
    assert_eq!(stops_at(&s, &answer), Some(hour(11, 5)), "not late because of an outage");
}

#[test]
fn a_late_run_is_lost_from_the_ms_on_at_which_it_would_have_ended() {
    for (back, lost) in [(hour(8, 0), false), (hour(8, 1), true)] {
        let mut s = with(keep(24 * 60), &[Step::Hold(ms(MIN)), run(HOUR), Step::Hold(ms(HOUR))]);
        s.lose_power(hour(7, 0), back);
        let (events, _) = s.call(back);
        assert_eq!(has(&events, |e| matches!(e, Event::RunLost { .. })), lost, "{events:?}");
        assert_eq!(pumps(&events), !lost);
    }
}

#[test]
fn a_run_entered_late_is_whole_with_make_up_time() {
    let mut s = with(make_up(24 * 60), &[Step::Hold(ms(MIN)), run(HOUR)]);
    s.lose_power(hour(7, 0), hour(7, 30));
    let (_, answer) = s.call(hour(7, 30));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 30)));
}

#[test]
fn the_end_of_a_late_run_moves_with_a_pause_and_stands_in_an_outage() {
    let steps = [Step::Hold(ms(MIN)), run(HOUR)];
    let mut s = under_way(retry(5 * MIN, 9), keep(24 * 60), &steps);
    s.lose_power(hour(7, 0), hour(7, 30));
    let (_, answer) = s.call(hour(7, 30));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 1)));
    s.trip(hour(7, 40));
    let (_, answer) = s.call(hour(7, 45));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 6)));
    s.lose_power(hour(7, 50), hour(8, 0));
    let (_, answer) = s.call(hour(8, 0));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 6)));
}

#[test]
fn a_draw_that_is_late_has_its_whole_at_most() {
    let mut s = with(keep(24 * 60), &[Step::Hold(ms(MIN)), draw(1_000_000, HOUR)]);
    s.lose_power(hour(7, 0), hour(7, 30));
    let (_, answer) = s.call(hour(7, 30));
    assert_eq!(stops_at(&s, &answer), Some(hour(8, 30)));
}
