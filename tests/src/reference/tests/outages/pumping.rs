//! Outages while a pumping step is under way, and what they leave behind for the steps after it.

use super::*;

#[test]
fn the_stretch_ends_at_the_checkpoint() {
    let drawn =
        |at: Ms, ml, asks| Moment::whole(clocks(at * MIN), super::super::super::Ml::from(ml), asks);
    let back = Asks::Outage(Some(FRIDAY + 25 * MIN));
    let moments = [
        drawn(0, 0, Asks::Look),
        drawn(15, 30_000, Asks::Look),
        drawn(20, 40_000, back),
        drawn(25, 40_000, Asks::Look),
        drawn(60, 110_000, Asks::Look),
    ];
    let story = told(&plan(&hour()), moments);
    let all: Vec<_> = stretches(&story).iter().map(|s| (s.drawn, s.by, s.sample)).collect();
    assert_eq!(all, [(40_000.into(), By::Outage, 1), (70_000.into(), By::Time, 1)]);
    assert_eq!(stretches(&story)[0].end, clocks(20 * MIN));
}

#[test]
fn time_is_made_up() {
    // 20 min, and 40 min from 25. The line is at 60 after it, so the hold is over at 90.
    let life = [Call(0), Out(20, 25), Call(25), Call(64), Call(65), Call(89), Call(90), Call(91)];
    assert_eq!(minutes(&lived(&make_up(&hour_and_hold()), &life)), [(0, 20), (25, 65), (90, 91)]);
}

#[test]
fn the_stop_time_is_kept() {
    // K = 20 + (60 - 20) = 60.
    let life = [Call(0), Out(20, 25), Call(25), Call(59), Call(60), Call(89), Call(90), Call(91)];
    assert_eq!(minutes(&lived(&plan(&hour_and_hold()), &life)), [(0, 20), (25, 60), (90, 91)]);
    // Called late it is told how late.
    let story = lived(&plan(&hour()), &[Call(0), Out(20, 25), Call(25), Call(63)]);
    assert_eq!(stretches(&story)[1].over, 3 * MIN);
    // The call that begins again late does not move it.
    let story = lived(&plan(&hour()), &[Call(0), Out(20, 25), Call(45), Call(60)]);
    assert_eq!(minutes(&story), [(0, 20), (45, 60)]);
}

#[test]
fn a_run_does_not_begin_again_when_its_stop_time_has_come() {
    // K = 60; the line is at 60, and the hold over at 90. No second stretch.
    let life = [Call(0), Out(55, 60), Call(60), Call(90), Call(91)];
    assert_eq!(minutes(&lived(&plan(&hour_and_hold()), &life)), [(0, 55), (90, 91)]);
    // One made up does.
    let life = [Call(0), Out(55, 60), Call(60), Call(65), Call(90), Call(91)];
    assert_eq!(minutes(&lived(&make_up(&hour_and_hold()), &life)), [(0, 55), (60, 65), (90, 91)]);
}

#[test]
fn a_draw_keeps_its_stop_time_and_is_short() {
    let draw = Step::DrawVolume {
        volume: Volume::from_ml(100_000).unwrap(),
        at_most: d(HOUR),
        target: None,
    };
    let steps = [draw, Step::Hold(d(30 * MIN)), run_for(MIN), Step::Finish];
    let story =
        lived(&plan(&steps), &[Call(0), Out(20, 25), Call(25), Call(60), Call(90), Call(91)]);
    assert_eq!(minutes(&story), [(0, 20), (25, 60), (90, 91)]);
    assert_eq!(stretches(&story)[1].by, By::AtMost);
}

#[test]
fn a_run_until_ends_at_its_instant_in_either_case() {
    let steps = [until(18, 3 * HOUR), Step::Hold(d(30 * MIN)), run_for(MIN), Step::Finish];
    for plan in [plan(&steps), make_up(&steps)] {
        let life = [Call(0), Out(20, 25), Call(25), Call(119), Call(120), Call(150), Call(151)];
        assert_eq!(minutes(&lived(&plan, &life)), [(0, 20), (25, 120), (150, 151)]);
        // It has come at the first call: not again.
        let life = [Call(0), Out(115, 125), Call(125), Call(150), Call(151)];
        assert_eq!(minutes(&lived(&plan, &life)), [(0, 115), (150, 151)]);
    }
    // Without a clock, made up: its "at most" is over at 180, and the line at 120; the hold is over already.
    let life = [Call(0), Dark(20), Call(20), Call(179), Call(180), Call(181)];
    assert_eq!(minutes(&lived(&make_up(&steps), &life)), [(0, 20), (20, 180), (180, 181)]);
}

#[test]
fn resume_within_is_the_longest_outage() {
    let story = lived(&plan(&hour()), &[Call(0), Out(20, 30), Call(30), Call(60)]);
    assert_eq!(minutes(&story), [(0, 20), (30, 60)]);
    for plan in [plan(&hour()), make_up(&hour())] {
        let story = lived(&plan, &[Call(0), Out(20, 31), Call(31)]);
        assert_eq!((minutes(&story), end(&story)), (vec![(0, 20)], over(End::Outage).as_ref()));
        let told = story.entries.last().unwrap().moment;
        assert_eq!(told, 2, "at the first call after the resume");
    }
}

#[test]
fn abandon_ends_the_event_after_any_outage() {
    let story = lived(&abandon(&hour()), &[Call(0), Out(20, 20), Ask(20, Asks::Confirm), Call(20)]);
    assert_eq!((minutes(&story), end(&story)), (vec![(0, 20)], over(End::Outage).as_ref()));
    assert_eq!(happened(&story, &Happening::Refused(Why::NoEvent)), 1, "it has ended already");
    let story = lived(&abandon(&hour()), &[Call(0), Dark(20), Call(20)]);
    assert_eq!(end(&story), over(End::Outage).as_ref(), "before its length is asked for");
}

#[test]
fn an_outage_of_unknown_length_can_only_be_made_up() {
    let life = [Call(0), Dark(20), Call(25), Call(65)];
    let story = lived(&make_up(&hour()), &life);
    assert_eq!(minutes(&story), [(0, 20), (25, 65)]);
    let story = lived(&plan(&hour()), &life);
    assert_eq!((minutes(&story), end(&story)), (vec![(0, 20)], over(End::ClockLost).as_ref()));
}

#[test]
fn a_wall_clock_that_seems_to_have_gone_back_costs_no_time() {
    // By 2 s: the monotonic clock stands still from 20, K is 60 on it, and longer than resume-within it was not.
    let now = |mono: Ms, wall: Ms, asks| {
        let clocks = Clocks { mono: 1_000 + mono * MIN, wall: Some(FRIDAY + wall) };
        Moment::whole(clocks, 0.into(), asks)
    };
    let back = Asks::Outage(Some(FRIDAY + 20 * MIN - 2_000));
    let story = told(
        &plan(&hour()),
        [
            now(0, 0, Asks::Look),
            now(20, 20 * MIN, back),
            now(20, 20 * MIN - 2_000, Asks::Look),
            now(60, 60 * MIN - 2_000, Asks::Look),
        ],
    );
    assert_eq!(minutes(&story), [(0, 20), (20, 60)]);
}

#[test]
fn a_later_outage_does_not_move_the_stop_time() {
    let story =
        lived(&plan(&hour()), &[Call(0), Out(20, 25), Call(25), Out(30, 35), Call(35), Call(60)]);
    assert_eq!(minutes(&story), [(0, 20), (25, 30), (35, 60)]);
    // Right after a resume, before it pumps again: no second stretch, and each outage has its own length.
    let story = lived(&plan(&hour()), &[Call(0), Out(20, 30), Out(30, 40), Call(40), Call(60)]);
    assert_eq!(minutes(&story), [(0, 20), (40, 60)]);
    let story = lived(&plan(&hour()), &[Call(0), Out(20, 30), Out(30, 41), Call(41)]);
    assert_eq!(end(&story), over(End::Outage).as_ref());
}

#[test]
fn a_pause_moves_the_stop_time() {
    // Of an outage before: K = 60 at first, 61 after the pause.
    let life = [Call(0), Out(20, 25), Call(25), Ask(40, TRIP), Call(41), Call(60), Call(61)];
    assert_eq!(minutes(&lived(&retrying(&hour()), &life)), [(0, 20), (25, 40), (41, 61)]);
    // Of an outage after: K = 20 + (60 - 19) = 61.
    let life = [Call(0), Ask(10, TRIP), Call(11), Out(20, 25), Call(25), Call(60), Call(61)];
    assert_eq!(minutes(&lived(&retrying(&hour()), &life)), [(0, 10), (11, 20), (25, 61)]);
}

#[test]
fn a_paused_step_stays_paused() {
    // Back in time it pumps again at 11, for 50 min; no stretch was cut, and its stop time is its own.
    let plan = ruled(&hour(), retried_every(5), Outage::DEFAULT);
    let life =
        [Call(0), Ask(10, TRIP), Out(11, 13), Call(13), Call(14), Call(15), Call(64), Call(65)];
    assert_eq!(minutes(&lived(&plan, &life)), [(0, 10), (15, 65)]);
    // Back after that, it pumps again at once.
    let life = [Call(0), Ask(10, TRIP), Out(11, 20), Call(20), Call(69), Call(70)];
    assert_eq!(minutes(&lived(&plan, &life)), [(0, 10), (20, 70)]);
    // Moved by the whole pause, K = 60 is 70 then.
    let life =
        [Call(0), Out(5, 6), Call(6), Ask(10, TRIP), Out(11, 20), Call(20), Call(69), Call(70)];
    assert_eq!(minutes(&lived(&plan, &life)), [(0, 5), (6, 10), (20, 70)]);
}

#[test]
fn the_rules_hold_for_a_paused_step() {
    let life = |to| [Call(0), Ask(10, TRIP), Out(11, to), Call(to)];
    let five = retried_every(5);
    for (plan, life, why) in [
        (ruled(&hour(), five, Outage::Abandon), life(11), End::Outage),
        (ruled(&hour(), five, Outage::DEFAULT), life(22), End::Outage),
        (
            ruled(&hour(), five, Outage::DEFAULT),
            [Call(0), Ask(10, TRIP), Dark(11), Call(11)],
            End::ClockLost,
        ),
    ] {
        let story = lived(&plan, &life);
        assert_eq!((minutes(&story), end(&story)), (vec![(0, 10)], over(why).as_ref()));
    }
    // Made up, it pumps again at 15 of the clock of the checkpoint.
    let plan = ruled(&hour(), five, Outage::MakeUpTime(within()));
    let life = [Call(0), Ask(10, TRIP), Dark(11), Call(14), Call(15), Call(65)];
    assert_eq!(minutes(&lived(&plan, &life)), [(0, 10), (15, 65)]);
}

#[test]
fn a_run_until_that_is_paused_in_an_outage_ends_at_its_instant() {
    let plan = ruled(
        &[until(18, 3 * HOUR), run_for(HOUR), Step::Finish],
        retried_every(30),
        Outage::DEFAULT,
    );
    let life = [Call(0), Ask(110, TRIP), Out(112, 122), Call(122), Call(180)];
    // Over at 120; the next is due then, before the resume at 122, and ends at 180.
    assert_eq!(minutes(&lived(&plan, &life)), [(0, 110), (122, 180)]);
}

#[test]
fn a_run_entered_late_ends_when_it_would_have() {
    // The appointment at 60 is met at 61 after an outage. Its end at 120 moves with a pause ...
    let steps = [at(17, 0), run_for(HOUR), Step::Hold(d(30 * MIN)), run_for(MIN), Step::Finish];
    let life =
        [Call(0), Out(30, 61), Call(61), Ask(80, TRIP), Call(81), Call(120), Call(121), Call(150)];
    let story = lived(&retrying(&steps), &life);
    assert_eq!(minutes(&story), [(61, 80), (81, 121)]);
    // ... and the line is at 120 after it: the hold is over at 150.
    assert_eq!(happened(&story, &Happening::HoldRanOut(3)), 1);
    // An outage does not move it: K would be 100 + (60 - 39) = 121.
    let life = [Call(0), Out(30, 61), Call(61), Out(100, 105), Call(105), Call(119), Call(120)];
    assert_eq!(minutes(&lived(&plan(&steps), &life)), [(61, 100), (105, 120)]);
    // It has come at the call at which it would pump again.
    let life = [Call(0), Out(30, 61), Call(61), Out(115, 120), Call(120), Call(150), Call(151)];
    assert_eq!(minutes(&lived(&plan(&steps), &life)), [(61, 115), (150, 151)]);
}

#[test]
fn a_run_that_is_late_for_another_reason_is_not_shortened() {
    // Resumed at 30, due at 60, called at 61.
    let steps = [at(17, 0), run_for(HOUR), Step::Finish];
    let life = [Call(0), Out(20, 30), Call(30), Call(61), Call(120), Call(121)];
    assert_eq!(minutes(&lived(&plan(&steps), &life)), [(61, 121)]);
}

#[test]
fn what_may_be_asked_before_it_pumps_again() {
    let steps = [run_for(HOUR), repeat(1, 3, Sampler::FreshConfirmed), Step::Finish];
    // A confirmation is a call, and is for the next pass.
    let life = [Call(0), Out(20, 25), Ask(25, TRIP), Ask(25, Asks::Confirm), Call(60), Call(120)];
    let story = lived(&plan(&steps), &life);
    assert_eq!(minutes(&story), [(0, 20), (25, 60), (60, 120)]);
    assert_eq!(happened(&story, &Happening::Refused(Why::NotPumping)), 1);
    assert_eq!(stretches(&story).iter().map(|s| s.sample).collect::<Vec<_>>(), [1, 1, 2]);
    for (asks, why) in [(Asks::Stop, End::Stop), (Asks::Disarm, End::Disarm)] {
        let story = lived(&plan(&steps), &[Call(0), Out(20, 25), Ask(25, asks)]);
        assert_eq!((minutes(&story), end(&story)), (vec![(0, 20)], over(why).as_ref()));
    }
}

#[test]
fn retries_are_not_counted_anew_after_an_outage() {
    let once = Fault::Retry { every: RetryEvery::DEFAULT, times: NonZeroU8::MIN };
    let plan = ruled(&hour(), once, Outage::DEFAULT);
    let life = [Call(0), Ask(10, TRIP), Call(11), Out(20, 25), Call(25), Ask(30, TRIP)];
    let story = lived(&plan, &life);
    assert_eq!(minutes(&story), [(0, 10), (11, 20), (25, 30)]);
    assert_eq!(end(&story), over(End::Fault(Limit::Supply)).as_ref());
}

#[test]
fn an_end_that_was_not_told_yet_stands() {
    // The pump has stopped at the operator's wish; the power fails before the end was told.
    let asks = Asks::Stop;
    let cut = Moment { clocks: clocks(5 * MIN), drawn: 0.into(), asks, cut_after: Some(2) };
    let at = |after: Ms, asks| Moment::whole(clocks(after * MIN), 0.into(), asks);
    let back = Asks::Outage(Some(FRIDAY + 90 * MIN));
    let story = told(&plan(&hour()), [at(0, Asks::Look), cut, at(5, back), at(90, Asks::Look)]);
    assert_eq!((minutes(&story), end(&story)), (vec![(0, 5)], over(End::Stop).as_ref()));
}
