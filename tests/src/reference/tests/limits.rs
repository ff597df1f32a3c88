//! Limits. Times after arming in minutes; the pump draws 2 L/min.

use core::num::NonZeroU8;

use draught::table::RetryEvery;

use super::super::Ml;
use super::super::log::{Limit, Why};
use super::*;

const TRIP: Asks = Asks::Trip(Limit::LittleFlow);
const LOOK: Asks = Asks::Look;

fn retry(every: Ms, times: u8) -> Fault {
    let every = RetryEvery::from_ms(u32::try_from(every).unwrap()).unwrap();
    Fault::Retry { every, times: NonZeroU8::new(times).unwrap() }
}

fn with(steps: &[Step], fault: Fault) -> Plan {
    ruled(steps, fault, Outage::DEFAULT)
}

fn by(story: &Story) -> Vec<By> {
    stretches(story).iter().map(|s| s.by).collect()
}

/// In minutes.
fn called_at(plan: &Plan, calls: &[(Ms, Asks)]) -> Story {
    called(plan, &calls.iter().map(|(at, asks)| (at * MIN, *asks)).collect::<Vec<_>>())
}

fn minutes(story: &Story) -> Vec<(Ms, Ms)> {
    runs(story).iter().map(|(a, b)| (a / MIN, b / MIN)).collect()
}

const TRIPPED: By = By::Tripped(Limit::LittleFlow);
const FAULT: Happening = Happening::Over(End::Fault(Limit::LittleFlow));

#[test]
fn a_trip_outside_every_repeat_ends_the_event() {
    let story = called_at(&plan(&[run_for(HOUR), Step::Finish]), &[(0, LOOK), (10, TRIP)]);
    assert_eq!((minutes(&story), by(&story)), (vec![(0, 10)], vec![TRIPPED]));
    assert_eq!(end(&story), Some(&FAULT));
}

#[test]
fn a_trip_ends_the_pass_and_leaves_the_line_where_it_is() {
    let steps =
        [run_for(HOUR), repeat(1, 2, Sampler::Same), Step::Hold(d(HOUR)), run_for(1), Step::Finish];
    // The second pass begins at once, but the line is still at 0: it is at 60 after that pass, and the hold is over
    // at 120.
    let calls =
        [(0, LOOK), (10, TRIP), (69, LOOK), (70, LOOK), (119, LOOK), (120, LOOK), (121, LOOK)];
    let story = called_at(&plan(&steps), &calls);
    assert_eq!(minutes(&story), [(0, 10), (10, 70), (120, 121)]);
    assert_eq!(
        happened(&story, &Happening::RoundAgain(2, 1, super::super::plan::Sampler::Same)),
        1
    );
    assert_eq!(end(&story), Some(&Happening::Over(End::Finished)));
}

#[test]
fn a_trip_goes_on_at_the_innermost_repeat() {
    let steps = [
        at(17, 0),
        run_for(HOUR),
        repeat(2, 2, Sampler::Same),
        repeat(1, 2, Sampler::Same),
        Step::Finish,
    ];
    // 17:00 is 60 after arming. The trip at 70 begins the inner repeat's second pass, to 130; then tomorrow.
    let day = 24 * 60;
    let calls = [(0, LOOK), (60, LOOK), (70, TRIP), (130, LOOK), (day + 60, LOOK)];
    let story = called_at(&plan(&steps), &calls);
    assert_eq!(minutes(&story), [(60, 70), (70, 130)]);
    assert_eq!(happened(&story, &Happening::Met(1, FRIDAY + (day + 60) * MIN, 0)), 1);
}

#[test]
fn a_trip_closes_the_event_inside_a_repeat_too() {
    let steps = [run_for(HOUR), repeat(1, 3, Sampler::Same), Step::Finish];
    let story = called_at(&with(&steps, Fault::Close), &[(0, LOOK), (10, TRIP)]);
    assert_eq!((minutes(&story), end(&story)), (vec![(0, 10)], Some(&FAULT)));
}

#[test]
fn a_paused_run_pumps_as_long_as_it_would_have() {
    let steps = [run_for(HOUR), Step::Hold(d(10 * MIN)), run_for(1), Step::Finish];
    let calls = [
        (0, LOOK),
        (10, TRIP),
        (11, LOOK),
        (20, TRIP),
        (21, LOOK),
        (61, LOOK),
        (62, LOOK),
        (69, LOOK),
        (70, LOOK),
        (71, LOOK),
    ];
    let story = called_at(&with(&steps, retry(MIN, 2)), &calls);
    // 10 + 9 + 41 = 60. The line is at 60 after it, and so the hold is over at 70.
    assert_eq!(minutes(&story), [(0, 10), (11, 20), (21, 62), (70, 71)]);
    assert_eq!(by(&story)[..3], [TRIPPED, TRIPPED, By::Time]);
    assert!(stretches(&story).iter().take(3).all(|s| s.sample == 1 && s.over == 0));
}

#[test]
fn a_pause_lasts_up_to_the_call_that_ends_it() {
    let plan = with(&[run_for(HOUR), Step::Finish], retry(2 * MIN, 1));
    let story =
        called_at(&plan, &[(0, LOOK), (10, TRIP), (11, LOOK), (15, LOOK), (64, LOOK), (67, LOOK)]);
    // Called 3 min late it pumps again at 15, for 50 min; and called 2 min late it ends at 67.
    assert_eq!(minutes(&story), [(0, 10), (15, 67)]);
    assert_eq!(stretches(&story)[1].over, 2 * MIN);
}

#[test]
fn retries_are_counted_anew_in_each_step() {
    let steps = [run_for(HOUR), repeat(1, 2, Sampler::Same), Step::Finish];
    let calls = [
        (0, LOOK),
        (10, TRIP),
        (11, LOOK),
        (20, TRIP), // the second in this step: the pass is over
        (30, TRIP),
        (31, LOOK),
        (40, TRIP),
    ];
    let story = called_at(&with(&steps, retry(MIN, 1)), &calls);
    assert_eq!(minutes(&story), [(0, 10), (11, 20), (20, 30), (31, 40)]);
    assert_eq!(end(&story), Some(&Happening::Over(End::Finished)), "the last pass is over too");
    let alone = [run_for(HOUR), Step::Finish];
    let story = called_at(&with(&alone, retry(MIN, 1)), &calls[..4]);
    assert_eq!(end(&story), Some(&FAULT));
}

#[test]
fn a_run_until_ends_at_its_time_while_it_is_paused() {
    let steps = [until(18, 3 * HOUR), run_for(HOUR), Step::Hold(d(HOUR)), run_for(1), Step::Finish];
    // 18:00 is at 120; it would pump again at 150. Called at 125: the line is at 120 all the same, and the hold is
    // over at 240.
    let calls =
        [(0, LOOK), (90, TRIP), (119, LOOK), (125, LOOK), (185, LOOK), (240, LOOK), (241, LOOK)];
    let story = called_at(&with(&steps, retry(HOUR, 1)), &calls);
    assert_eq!(minutes(&story), [(0, 90), (125, 185), (240, 241)]);
    // Without a wall clock it ends after 180, with the line at 120.
    let moments = calls[..3].iter().chain(&[(179, LOOK), (180, LOOK), (240, LOOK)]).enumerate();
    let blind = |(i, (at, asks)): (usize, &(Ms, Asks))| {
        let now = clocks(at * MIN);
        let wall = now.wall.filter(|_| i < 2);
        Moment::whole(Clocks { wall, ..now }, 0.into(), *asks)
    };
    let story = told(&with(&steps, retry(2 * HOUR, 1)), moments.map(blind));
    assert_eq!(minutes(&story), [(0, 90), (180, 240)]);
}

#[test]
fn a_paused_draw_counts_volume_and_time_from_its_first_stretch() {
    let draw = Step::DrawVolume {
        volume: Volume::from_ml(100_000).unwrap(),
        at_most: d(HOUR),
        target: None,
    };
    let plan = with(&[draw, Step::Hold(d(HOUR)), run_for(1), Step::Finish], retry(MIN, 1));
    let tell = |calls: &[(Ms, i128, Asks)]| {
        told(
            &plan,
            calls.iter().map(|(at, litres, asks)| {
                Moment::whole(clocks(at * MIN), Ml::from(litres * 1_000), *asks)
            }),
        )
    };
    // 60 L by 30; the other 40 L from 31 to 51. The line is at 51, and so the hold is over at 111.
    let calls = [(0, 0, LOOK), (30, 60, TRIP), (31, 60, LOOK), (51, 100, LOOK), (111, 100, LOOK)];
    let story = tell(&calls);
    assert_eq!(minutes(&story), [(0, 30), (31, 51)]);
    assert_eq!(
        stretches(&story).iter().map(|s| s.drawn).collect::<Vec<_>>(),
        [60_000, 40_000].map(Ml::from)
    );
    assert_eq!(by(&story), [TRIPPED, By::Volume]);
    assert_eq!(happened(&story, &Happening::HoldRanOut(2)), 1);
    // At half the flow it has pumped for 60 min at 61 and is short: the line is at 60.
    let calls = [
        (0, 0, LOOK),
        (30, 30, TRIP),
        (31, 30, LOOK),
        (60, 59, LOOK),
        (61, 60, LOOK),
        (120, 60, LOOK),
    ];
    let story = tell(&calls);
    assert_eq!((minutes(&story), by(&story)), (vec![(0, 30), (31, 61)], vec![TRIPPED, By::AtMost]));
    assert_eq!(happened(&story, &Happening::HoldRanOut(2)), 1);
}

#[test]
fn a_trip_is_refused_when_nothing_is_pumped() {
    let steps = [Step::Hold(d(HOUR)), run_for(HOUR), Step::Finish];
    let refused = |why| Happening::Refused(why);
    let story = called_at(
        &with(&steps, retry(10 * MIN, 1)),
        &[
            (0, LOOK),
            (1, TRIP),
            (60, LOOK),
            (61, TRIP),
            (62, TRIP),
            (63, Asks::Resume(2)),
            (64, Asks::Confirm),
            (71, LOOK),
            (130, LOOK),
            (131, TRIP),
        ],
    );
    assert_eq!(minutes(&story), [(60, 61), (71, 130)]);
    assert_eq!(happened(&story, &refused(Why::NotPumping)), 2);
    assert_eq!(happened(&story, &refused(Why::NotThatHold)), 1);
    assert_eq!(happened(&story, &refused(Why::NobodyAsked)), 1);
    assert_eq!(end(&story), Some(&refused(Why::NoEvent)));
}

#[test]
fn a_paused_step_may_be_stopped_and_disarmed() {
    let plan = with(&[run_for(HOUR), Step::Finish], retry(10 * MIN, 1));
    for (asks, over) in [(Asks::Stop, End::Stop), (Asks::Disarm, End::Disarm)] {
        let story = called_at(&plan, &[(0, LOOK), (10, TRIP), (12, asks)]);
        assert_eq!((minutes(&story), by(&story)), (vec![(0, 10)], vec![TRIPPED]));
        assert_eq!(end(&story), Some(&Happening::Over(over)));
    }
}

#[test]
fn a_sampler_confirmed_in_a_pause_is_for_the_next_pass() {
    let steps = [run_for(HOUR), repeat(1, 3, Sampler::FreshConfirmed), Step::Finish];
    let calls = [(0, LOOK), (10, TRIP), (11, Asks::Confirm), (12, LOOK), (62, LOOK), (122, LOOK)];
    let story = called_at(&with(&steps, retry(2 * MIN, 1)), &calls);
    assert_eq!(minutes(&story), [(0, 10), (12, 62), (62, 122)]);
    assert_eq!(stretches(&story).iter().map(|s| s.sample).collect::<Vec<_>>(), [1, 1, 2]);
    assert_eq!(happened(&story, &Happening::Skipped(1)), 1);
}
