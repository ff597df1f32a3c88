//! The reference on stories whose times were worked out by hand from `docs/steps.md`.

use draught::calendar::{Date, TimeOfDay, UtcOffset, Weekdays};
use draught::step::{Cycle, Passes, Sampler, Step, StepNo, Then};
use draught::table::{Fault, Outage, Settings, TableRef};
use draught::units::{DurationMs, Flow, Target, Volume};

use super::Ms;
use super::arming::{Unarmed, arm};
use super::log::{By, Clocks, End, Happening, Lost};
use super::plan::Plan;
use super::run::{Story, run};
use super::world::{Asks, Moment, Perfect, Script};

mod limits;
mod outages;

const MIN: Ms = 60_000;
const HOUR: Ms = 60 * MIN;
/// Friday 2027-02-05, 16:00 UTC: 9,897 days after 2000-01-01.
const FRIDAY: Ms = 9_897 * 24 * HOUR + 16 * HOUR;

fn plan(steps: &[Step]) -> Plan {
    ruled(steps, Fault::Stop, Outage::DEFAULT)
}

/// A plan at 2 L/min with these rules.
fn ruled(steps: &[Step], fault: Fault, outage: Outage) -> Plan {
    let target = Target::flow(Flow::from_ul_per_min(2_000_000).unwrap());
    let mut settings = Settings::new(UtcOffset::UTC, target);
    (settings.fault, settings.outage) = (fault, outage);
    Plan::of(TableRef::new(&settings, steps).unwrap())
}

fn d(ms: Ms) -> DurationMs {
    DurationMs::from_ms(u32::try_from(ms).unwrap()).unwrap()
}

fn at(hour: u8, minute: u8) -> Step {
    Step::WaitForTime(TimeOfDay::from_hms(hour, minute, 0).unwrap())
}

fn until(hour: u8, at_most: Ms) -> Step {
    let time = TimeOfDay::from_hms(hour, 0, 0).unwrap();
    Step::RunUntil { time, at_most: d(at_most), target: None }
}

fn run_for(ms: Ms) -> Step {
    Step::RunFor { run: d(ms), target: None }
}

fn repeat(from: u8, passes: u16, sampler: Sampler) -> Step {
    let (from, passes) = (StepNo::new(from).unwrap(), Passes::new(passes).unwrap());
    Step::Repeat { from, passes, sampler }
}

fn clocks(after: Ms) -> Clocks {
    Clocks { mono: 1_000 + after, wall: Some(FRIDAY + after) }
}

/// Called at these moments after arming; what is asked beside looking.
fn called(plan: &Plan, calls: &[(Ms, Asks)]) -> Story {
    let moment = |(after, asks): &(Ms, Asks)| Moment::whole(clocks(*after), 0.into(), *asks);
    told(plan, calls.iter().map(moment))
}

fn told(plan: &Plan, moments: impl IntoIterator<Item = Moment>) -> Story {
    let moments = moments.into_iter();
    run(plan, clocks(0), &mut Script(moments), usize::MAX)
}

fn looked(plan: &Plan, calls: &[Ms]) -> Story {
    called(plan, &calls.iter().map(|c| (*c, Asks::Look)).collect::<Vec<_>>())
}

fn perfect(plan: &Plan) -> Story {
    run(plan, clocks(0), &mut Perfect::from(clocks(0), false), usize::MAX)
}

/// When the pump ran, after arming.
fn runs(story: &Story) -> Vec<(Ms, Ms)> {
    stretches(story).iter().map(|s| (s.begin.mono - 1_000, s.end.mono - 1_000)).collect()
}

fn stretches(story: &Story) -> Vec<super::log::Stretch> {
    story
        .entries
        .iter()
        .filter_map(|e| match &e.what {
            Happening::Stopped(s) => Some(s.clone()),
            _ => None,
        })
        .collect()
}

fn happened(story: &Story, what: &Happening) -> usize {
    story.entries.iter().filter(|e| e.what == *what).count()
}

fn end(story: &Story) -> Option<&Happening> {
    story.entries.last().map(|e| &e.what)
}

#[test]
fn weekdays_at_eight_on_friday_afternoon_is_monday() {
    let weekdays = Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY);
    let plan = plan(&[at(8, 0), weekdays, run_for(MIN), Step::Finish]);
    let begin = 2 * 24 * HOUR + 16 * HOUR;
    assert_eq!(runs(&perfect(&plan)), [(begin, begin + MIN)]);
}

#[test]
fn a_time_of_day_that_has_gone_by_is_refused_on_its_date() {
    let today = Step::WaitForDate(Date::from_ymd(2027, 2, 5).unwrap());
    let refused =
        arm(&plan(&[today, at(15, 59), run_for(MIN), Step::Finish]), clocks(0)).unwrap_err();
    assert_eq!(refused, Unarmed::Nothing { missed: vec![2], lost: vec![], end: End::Missed });
    assert_eq!(
        arm(&plan(&[today, at(16, 0), run_for(MIN), Step::Finish]), clocks(0)).unwrap().no,
        3
    );
}

#[test]
fn a_date_alone_is_any_instant_of_the_day() {
    let today = Step::WaitForDate(Date::from_ymd(2027, 2, 5).unwrap());
    let tomorrow = Step::WaitForDate(Date::from_ymd(2027, 2, 6).unwrap());
    assert_eq!(runs(&perfect(&plan(&[today, run_for(1), Step::Finish]))), [(0, 1)]);
    let plan = plan(&[tomorrow, run_for(1), Step::Finish]);
    assert_eq!(runs(&perfect(&plan)), [(8 * HOUR, 8 * HOUR + 1)]);
    // Not missed before its day is over.
    assert_eq!(runs(&looked(&plan, &[0, 31 * HOUR, 32 * HOUR])), [(31 * HOUR, 32 * HOUR)]);
    let late = looked(&plan, &[0, 32 * HOUR]);
    assert_eq!(end(&late), Some(&Happening::Over(End::Missed)));
}

#[test]
fn an_appointment_is_met_up_to_the_tolerance_and_no_longer() {
    let plan = plan(&[at(17, 0), run_for(HOUR), Step::Finish]);
    let met = looked(&plan, &[0, HOUR + MIN, HOUR + MIN + HOUR]);
    assert_eq!(runs(&met), [(HOUR + MIN, 2 * HOUR + MIN)]);
    let missed = looked(&plan, &[0, HOUR + MIN + 1]);
    assert_eq!(end(&missed), Some(&Happening::Over(End::Missed)));
}

#[test]
fn lateness_does_not_move_the_line() {
    // The first run is called 5 s late and ends 5 s late; the hold still ends where it should.
    let plan = plan(&[at(17, 0), run_for(HOUR), Step::Hold(d(HOUR)), run_for(1), Step::Finish]);
    let begin = HOUR + 5_000;
    let story = looked(&plan, &[0, begin, begin + HOUR, 3 * HOUR - 1, 3 * HOUR, 3 * HOUR + 1]);
    assert_eq!(runs(&story), [(begin, begin + HOUR), (3 * HOUR, 3 * HOUR + 1)]);
}

#[test]
fn a_late_call_lengthens_the_step_and_is_told() {
    let plan = plan(&[run_for(HOUR), run_for(HOUR), Step::Finish]);
    let story = looked(&plan, &[0, HOUR + 7, 2 * HOUR + 6, 2 * HOUR + 7]);
    assert_eq!(runs(&story), [(0, HOUR + 7), (HOUR + 7, 2 * HOUR + 7)]);
    let over: Vec<Ms> = stretches(&story).iter().map(|s| s.over).collect();
    assert_eq!(over, [7, 0]);
}

#[test]
fn every_day_at_five_misses_a_day_and_goes_on() {
    let plan = plan(&[at(17, 0), run_for(HOUR), repeat(1, 3, Sampler::Fresh), Step::Finish]);
    let day = 24 * HOUR;
    // Nobody calls on the second day.
    let story = looked(&plan, &[0, HOUR, 2 * HOUR, 2 * day, 2 * day + HOUR, 2 * day + 2 * HOUR]);
    assert_eq!(runs(&story), [(HOUR, 2 * HOUR), (2 * day + HOUR, 2 * day + 2 * HOUR)]);
    let samples: Vec<u32> = stretches(&story).iter().map(|s| s.sample).collect();
    assert_eq!(samples, [1, 2]);
    let missed = Happening::Missed(1, 1, Some(FRIDAY + day + HOUR));
    assert!(story.entries.iter().any(|e| e.what == missed));
    assert_eq!(end(&story), Some(&Happening::Over(End::Finished)));
}

#[test]
fn a_cycle_is_entered_in_its_middle() {
    // Every third day from Saturday 30 January on: 2, 5 and 8 February. Friday the 5th at 17:00, then the 8th.
    let cycle = Cycle::new(Date::from_ymd(2027, 1, 30).unwrap(), 3).unwrap();
    let plan = plan(&[
        Step::WaitForCycleDay(cycle),
        at(17, 0),
        run_for(MIN),
        repeat(1, 2, Sampler::Same),
        Step::Finish,
    ]);
    let later = 3 * 24 * HOUR + HOUR;
    assert_eq!(runs(&perfect(&plan)), [(HOUR, HOUR + MIN), (later, later + MIN)]);
}

#[test]
fn a_repeat_that_enters_past_a_date_keeps_it_once() {
    let sunday = Step::WaitForDate(Date::from_ymd(2027, 2, 7).unwrap());
    let steps =
        [sunday, at(9, 0), run_for(MIN), repeat(2, 3, Sampler::Same), run_for(1), Step::Finish];
    let first = 41 * HOUR;
    let runs = runs(&perfect(&plan(&steps)));
    let day = 24 * HOUR;
    assert_eq!(runs[..3], [0, 1, 2].map(|k| (first + k * day, first + k * day + MIN)));
}

#[test]
fn run_until_is_lost_when_past_or_too_far() {
    let steps = [until(18, 3 * HOUR), until(18, 3 * HOUR), run_for(1), Step::Finish];
    // The second "18:00" is tomorrow: too far.
    let story = perfect(&plan(&steps));
    assert_eq!(runs(&story), [(0, 2 * HOUR), (2 * HOUR, 2 * HOUR + 1)]);
    assert!(story.entries.iter().any(|e| e.what == Happening::Lost(2, Lost::TooFar)));
    // First called at 19:00, the first is past, and the line stands at 18:00 after it.
    let story = looked(&plan(&steps), &[3 * HOUR, 3 * HOUR + 1]);
    assert!(story.entries.iter().any(|e| e.what == Happening::Lost(1, Lost::Past)));
    assert_eq!(runs(&story), [(3 * HOUR, 3 * HOUR + 1)]);
}

#[test]
fn run_until_ends_at_its_limit_without_a_wall_clock() {
    let plan = plan(&[until(18, 3 * HOUR), run_for(1), Step::Finish]);
    let blind = |after| Clocks { wall: None, ..clocks(after) };
    let moments = [clocks(0), blind(2 * HOUR), blind(3 * HOUR - 1), blind(3 * HOUR)];
    let moments = moments.map(|clocks| Moment::whole(clocks, 0.into(), Asks::Look));
    let story = told(&plan, moments);
    assert_eq!(runs(&story), [(0, 3 * HOUR)]);
    assert_eq!(stretches(&story)[0].by, By::AtMost);
}

#[test]
fn a_volume_takes_its_time_to_the_millisecond() {
    // 1 L at 2 L/min is 30 s; at 2,000,001 µL/min it is 29,999.985 s, so the 30,000th ms completes it.
    let own = |ul| Some(Target::flow(Flow::from_ul_per_min(ul).unwrap()));
    let draw = |ml, target| Step::DrawVolume {
        volume: Volume::from_ml(ml).unwrap(),
        at_most: d(MIN),
        target,
    };
    let steps = [draw(1_000, None), draw(1_000, own(2_000_001)), draw(3_000, None), Step::Finish];
    let story = perfect(&plan(&steps));
    assert_eq!(runs(&story), [(0, 30_000), (30_000, 60_000), (60_000, 120_000)]);
    let by: Vec<By> = stretches(&story).iter().map(|s| s.by).collect();
    assert_eq!(by, [By::Volume, By::Volume, By::AtMost]);
    assert_eq!(stretches(&story)[0].drawn, super::Ml::from(1_000));
    assert_eq!(stretches(&story)[1].drawn, super::Ml::new(2_000_001, 2_000));
}

#[test]
fn a_hold_is_resumed_while_it_lasts_and_by_its_number() {
    let hold = Step::HoldUntilResumed { at_most: d(HOUR), then: Then::Close };
    let plan = plan(&[hold, run_for(1), Step::Finish]);
    let story = called(
        &plan,
        &[(0, Asks::Look), (1, Asks::Resume(2)), (HOUR - 1, Asks::Resume(1)), (HOUR, Asks::Look)],
    );
    assert_eq!(runs(&story), [(HOUR - 1, HOUR)]);
    let late = called(&plan, &[(0, Asks::Look), (HOUR, Asks::Resume(1)), (HOUR, Asks::Look)]);
    assert_eq!(end(&late), Some(&Happening::Over(End::HoldRanOut)));
    assert_eq!(runs(&late), []);
}

#[test]
fn a_pass_without_a_confirmed_sampler_is_skipped() {
    let steps = [
        Step::Hold(d(HOUR)),
        run_for(HOUR),
        repeat(1, 4, Sampler::FreshConfirmed),
        run_for(1),
        Step::Finish,
    ];
    // Confirmed in the second hold only. A skipped pass takes no pumping time.
    let story = called(
        &plan(&steps),
        &[
            (0, Asks::Look),
            (HOUR, Asks::Look),
            (2 * HOUR, Asks::Look),
            (2 * HOUR + 5, Asks::Confirm),
            (3 * HOUR, Asks::Look),
            (3 * HOUR + 1, Asks::Confirm),
            (4 * HOUR, Asks::Look),
            (5 * HOUR, Asks::Look),
            (6 * HOUR, Asks::Look),
            (6 * HOUR + 1, Asks::Look),
        ],
    );
    let hour = |h: Ms| (h * HOUR, h * HOUR + HOUR);
    // After the repeat a new sample is begun, and nobody need confirm it any more.
    assert_eq!(runs(&story), [hour(1), hour(3), (6 * HOUR, 6 * HOUR + 1)]);
    let skipped: Vec<Ms> = story
        .entries
        .iter()
        .filter(|e| e.what == Happening::Skipped(2))
        .map(|e| e.clocks.mono - 1_000)
        .collect();
    assert_eq!(skipped, [5 * HOUR, 6 * HOUR]);
    let samples: Vec<u32> = stretches(&story).iter().map(|s| s.sample).collect();
    assert_eq!(samples, [1, 2, 3]);
}
