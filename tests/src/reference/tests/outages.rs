//! Outages. Times after arming in minutes. Unless a rule is named the stop time is kept after up to 10 min.

use core::num::NonZeroU8;

use draught::table::{Resume, ResumeWithin, RetryEvery};

use super::super::log::{Limit, Why};
use super::*;

mod pumping;

/// One thing in the life of a pump.
#[derive(Clone, Copy)]
enum Life {
    /// It is called.
    Call(Ms),
    /// It is asked something.
    Ask(Ms, Asks),
    /// It is called, and after so much has happened there is no more power up to then.
    CallCut(Ms, usize, Ms),
    /// The latest checkpoint, and when the pump is resumed.
    Outage(Ms, Ms),
    /// The same, but nobody knows when.
    Dark(Ms),
}
use Life::{Ask, Call, CallCut, Dark, Outage as Out};

const TRIP: Asks = Asks::Trip(Limit::Supply);

fn lived(plan: &Plan, life: &[Life]) -> Story {
    let mut clockless = false;
    let mut moments = Vec::new();
    for part in life {
        let mut push = |at: Ms, asks, cut_after| {
            let now = clocks(at * MIN);
            let wall = now.wall.filter(|_| !clockless);
            let clocks = Clocks { wall, ..now };
            moments.push(Moment { clocks, drawn: 0.into(), asks, cut_after });
        };
        let back = |at: Ms| Asks::Outage(Some(FRIDAY + at * MIN));
        match *part {
            Call(at) => push(at, Asks::Look, None),
            Ask(at, asks) => push(at, asks, None),
            CallCut(at, things, to) => {
                push(at, Asks::Look, Some(things));
                push(at, back(to), None);
            }
            Out(from, to) => push(from, back(to), None),
            Dark(from) => {
                push(from, Asks::Outage(None), None);
                clockless = true;
            }
        }
    }
    told(plan, moments)
}

fn minutes(story: &Story) -> Vec<(Ms, Ms)> {
    runs(story).iter().map(|(a, b)| (a / MIN, b / MIN)).collect()
}

fn within() -> Resume {
    Resume { within: ResumeWithin::DEFAULT, while_charging: false }
}

fn make_up(steps: &[Step]) -> Plan {
    ruled(steps, Fault::Stop, Outage::MakeUpTime(within()))
}

fn abandon(steps: &[Step]) -> Plan {
    ruled(steps, Fault::Stop, Outage::Abandon)
}

fn retried_every(minutes: Ms) -> Fault {
    let every = RetryEvery::from_ms(u32::try_from(minutes * MIN).unwrap()).unwrap();
    Fault::Retry { every, times: NonZeroU8::MAX }
}

fn retrying(steps: &[Step]) -> Plan {
    ruled(steps, retried_every(1), Outage::DEFAULT)
}

fn hour() -> [Step; 2] {
    [run_for(HOUR), Step::Finish]
}

/// An hour, and something that tells where the line is: a hold of 30 min after it.
fn hour_and_hold() -> [Step; 4] {
    [run_for(HOUR), Step::Hold(d(30 * MIN)), run_for(MIN), Step::Finish]
}

fn over(end: End) -> Option<Happening> {
    Some(Happening::Over(end))
}

#[test]
fn nothing_is_resumed_after_the_end() {
    let story = lived(&plan(&hour()), &[Call(0), Ask(5, Asks::Stop), Out(6, 7)]);
    assert_eq!(end(&story), Some(&Happening::Refused(Why::NothingToResume)));
}

#[test]
fn the_monotonic_clock_goes_on_from_the_checkpoint() {
    let back = |story: Story| match story.entries[1].what {
        Happening::PowerIsBack(mono, lasted) => (mono - 1_000, lasted),
        ref other => panic!("{other:?}"),
    };
    let plan = plan(&hour());
    assert_eq!(back(lived(&plan, &[Call(0), Out(20, 25)])), (25 * MIN, Some(5 * MIN)));
    assert_eq!(back(lived(&plan, &[Call(0), Out(20, 15)])), (20 * MIN, None), "it went back");
    assert_eq!(back(lived(&plan, &[Call(0), Dark(20)])), (20 * MIN, None));
    let lost_before = Moment::whole(
        Clocks { wall: None, ..clocks(20 * MIN) },
        0.into(),
        Asks::Outage(Some(FRIDAY + 25 * MIN)),
    );
    let looked = Moment::whole(clocks(0), 0.into(), Asks::Look);
    assert_eq!(
        back(told(&plan, [looked, lost_before])),
        (20 * MIN, None),
        "at t0 it was not known"
    );
}

#[test]
fn between_two_steps_it_is_as_it_was() {
    let steps = [run_for(HOUR), run_for(HOUR), run_for(HOUR), Step::Finish];
    // The first has ended, the second not begun. It is due at 60, before the resume at 65: it ends at 120. The third is
    // due at 120, after the latest resume: it is entered in time.
    let life = [Call(0), CallCut(60, 1, 65), Call(65), Call(119), Call(120), Call(179), Call(180)];
    assert_eq!(minutes(&lived(&plan(&steps), &life)), [(0, 60), (65, 120), (120, 180)]);
    // Time that is made up is not shortened, however late, nor for an abandon.
    let life = [Call(0), CallCut(60, 1, 65), Call(65), Call(124), Call(125), Call(185)];
    assert_eq!(minutes(&lived(&make_up(&steps), &life)), [(0, 60), (65, 125), (125, 185)]);
    assert_eq!(minutes(&lived(&abandon(&steps), &life)), [(0, 60), (65, 125), (125, 185)]);
    // Two hours without power: the second is lost, and the third, due at 120 and entered at 130, ends at 180.
    let life = [Call(0), CallCut(60, 1, 130), Call(130), Call(180)];
    let story = lived(&plan(&steps), &life);
    assert_eq!(minutes(&story), [(0, 60), (130, 180)]);
    assert_eq!(happened(&story, &Happening::Lost(2, Lost::Past)), 1);
    // At 120 itself its end has come.
    let story = lived(&plan(&steps), &[Call(0), CallCut(60, 1, 120), Call(120), Call(180)]);
    assert_eq!(minutes(&story), [(0, 60), (120, 180)]);
}

#[test]
fn before_its_first_call_it_is_between_two_steps() {
    let story = lived(&plan(&hour()), &[Out(0, 5), Call(5), Call(60)]);
    assert_eq!(minutes(&story), [(5, 60)]);
}

#[test]
fn a_run_until_that_waits_for_a_clock_is_between_two_steps() {
    // Its clock is lost when it is entered after the hold, at 60; 18:00 is 120.
    let plan = abandon(&[Step::Hold(d(HOUR)), until(18, 3 * HOUR), Step::Finish]);
    let blind =
        |at: Ms, asks| Moment::whole(Clocks { wall: None, ..clocks(at * MIN) }, 0.into(), asks);
    let seeing = |mono: Ms, wall: Ms| {
        let clocks = Clocks { mono: 1_000 + mono * MIN, wall: Some(FRIDAY + wall * MIN) };
        Moment::whole(clocks, 0.into(), Asks::Look)
    };
    // The outage from 70 to 100 is one of unknown length.
    let back = Asks::Outage(Some(FRIDAY + 100 * MIN));
    let story = told(
        &plan,
        [seeing(0, 0), blind(60, Asks::Look), blind(70, back), seeing(71, 101), seeing(90, 120)],
    );
    assert_eq!(minutes(&story), [(71, 90)]);
}

#[test]
fn an_appointment_keeps_its_instant() {
    let steps = [at(17, 0), run_for(HOUR), Step::Finish];
    // Met half a minute late is met; the tolerance is one minute.
    let met = lived(&plan(&steps), &[Call(0), Out(30, 61), Call(61), Call(120)]);
    assert_eq!(happened(&met, &Happening::Met(1, FRIDAY + HOUR, MIN)), 1);
    // The run is due at 60, before the resume at 61: it ends at 120.
    assert_eq!(minutes(&met), [(61, 120)]);
    let missed = lived(&plan(&steps), &[Call(0), Out(30, 62), Call(62)]);
    assert_eq!(end(&missed), over(End::Missed).as_ref());
    // Back before it, it is met in time and pumps its hour.
    let early = lived(&abandon(&steps), &[Call(0), Out(30, 59), Call(59), Call(60), Call(120)]);
    assert_eq!(minutes(&early), [(60, 120)]);
    // Without a clock it waits.
    let dark = lived(&plan(&steps), &[Call(0), Dark(30), Call(31), Call(600)]);
    assert_eq!(
        (end(&dark), minutes(&dark)),
        (Some(&Happening::PowerIsBack(1_000 + 30 * MIN, None)), vec![])
    );
}

#[test]
fn a_hold_goes_on_if_the_length_of_the_outage_is_known() {
    let steps = [Step::Hold(d(HOUR)), run_for(HOUR), Step::Finish];
    // However long the outage, and whatever the rule.
    for plan in [plan(&steps), make_up(&steps), abandon(&steps)] {
        let story = lived(&plan, &[Call(0), Out(10, 50), Call(50), Call(60), Call(120)]);
        assert_eq!(minutes(&story), [(60, 120)]);
    }
    // Over at 60, entered at 70, to 120.
    let story = lived(&plan(&steps), &[Call(0), Out(10, 70), Call(70), Call(120)]);
    assert_eq!(minutes(&story), [(70, 120)]);
    // Not known: only a plan that makes up time goes on, on the clock of the checkpoint.
    let life = [Call(0), Dark(10), Call(10), Call(59), Call(60), Call(120)];
    for plan in [plan(&steps), abandon(&steps)] {
        let story = lived(&plan, &life);
        assert_eq!((minutes(&story), end(&story)), (vec![], over(End::ClockLost).as_ref()));
    }
    assert_eq!(minutes(&lived(&make_up(&steps), &life)), [(60, 120)]);
}

#[test]
fn a_hold_until_resumed_may_be_resumed_after_an_outage() {
    let hold =
        |then| [Step::HoldUntilResumed { at_most: d(HOUR), then }, run_for(MIN), Step::Finish];
    let resume = |at| Ask(at, Asks::Resume(1));
    let story = lived(&plan(&hold(Then::Close)), &[Call(0), Out(10, 59), resume(59), Call(60)]);
    assert_eq!(minutes(&story), [(59, 60)]);
    // Its time was over while there was no power.
    let story = lived(&plan(&hold(Then::Close)), &[Call(0), Out(10, 60), resume(60), Call(60)]);
    assert_eq!(end(&story), over(End::HoldRanOut).as_ref());
    let story = lived(&plan(&hold(Then::Continue)), &[Call(0), Dark(10), resume(11), Call(12)]);
    let refused = Happening::Refused(Why::NoEvent);
    assert_eq!((happened(&story, &refused), end(&story)), (1, over(End::ClockLost).as_ref()));
}
