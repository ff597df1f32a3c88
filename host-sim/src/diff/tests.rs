use draught::calendar::{Date, TimeOfDay, UtcOffset, Weekdays};
use draught::step::{Cycle, Passes, Sampler, Then};
use draught::table::{
    Fault, LateTolerance, Limits, Name, Outage, Resume, ResumeWithin, RetryEvery, Settings,
    TripGrace, TripPercent,
};
use draught::units::{DurationMs, Flow, Pressure, Target, Volume};

use super::*;

fn litres(n: u32) -> Target {
    Target::flow(Flow::from_ul_per_min(n * 1_000_000).unwrap())
}

fn settings() -> Settings {
    Settings::new(UtcOffset::UTC, litres(2))
}

fn minutes(n: u32) -> DurationMs {
    DurationMs::from_ms(n * 60_000).unwrap()
}

fn run(n: u32) -> Step {
    Step::RunFor { run: minutes(n), target: None }
}

fn hold(n: u32) -> Step {
    Step::Hold(minutes(n))
}

fn repeat(from: u8, passes: u16) -> Step {
    Step::Repeat {
        from: StepNo::new(from).unwrap(),
        passes: Passes::new(passes).unwrap(),
        sampler: Sampler::Same,
    }
}

fn of_steps(old: &[Step], new: &[Step]) -> Diff {
    let settings = settings();
    let ended = |steps: &[Step]| [steps, &[Step::Finish]].concat();
    let (old, new) = (ended(old), ended(new));
    diff(TableRef::new(&settings, &old).unwrap(), TableRef::new(&settings, &new).unwrap())
}

/// "3>4 run-for: run 4 h > 5 h", a line a step.
fn told(found: &Diff) -> Vec<String> {
    let number = |n: Option<u8>| n.map_or("-".to_owned(), |n| n.to_string());
    let value = |v: &Option<String>| v.clone().unwrap_or("-".to_owned());
    let line = |s: &StepChange| {
        let fields: Vec<_> = s
            .fields
            .iter()
            .map(|f| format!("{} {} > {}", f.field, value(&f.old), value(&f.new)))
            .collect();
        let numbers = format!("{}>{}", number(s.old_step), number(s.new_step));
        format!("{numbers} {} {}: {}", s.what, s.change.word(), fields.join("; "))
    };
    found.steps.iter().map(line).collect()
}

#[test]
fn the_same_is_no_difference() {
    let found = of_steps(&[run(15), hold(5), repeat(1, 3)], &[run(15), hold(5), repeat(1, 3)]);
    assert!(found.is_empty());
    assert_eq!(found, Diff::default());
}

#[test]
fn a_step_put_in_between_changes_nothing_after_it() {
    let old = [hold(1), run(15), hold(5), repeat(2, 3)];
    let new = [hold(1), hold(2), run(15), hold(5), repeat(3, 3)];
    let found = of_steps(&old, &new);
    assert_eq!(told(&found), ["->2 hold added: hold - > 2 min"]);
    let moved = Renumbered { old_step: 4, new_step: 5, old_from: 2, new_from: 3 };
    assert_eq!(found.renumbered, [moved]);

    let back = of_steps(&new, &old);
    assert_eq!(told(&back), ["2>- hold removed: hold 2 min > -"]);
    assert_eq!(back.renumbered.len(), 1);
}

#[test]
fn a_repeat_that_goes_back_to_another_step_is_a_change_also_by_the_same_number() {
    let found = of_steps(&[hold(1), run(15), repeat(2, 3)], &[hold(1), run(15), repeat(1, 3)]);
    assert_eq!(
        told(&found),
        ["3>3 repeat changed: repeat from step step 2, run-for > step 1, hold"]
    );
    let found = of_steps(&[run(15), repeat(1, 3)], &[hold(1), run(15), repeat(1, 4)]);
    assert_eq!(
        told(&found),
        [
            "->1 hold added: hold - > 1 min",
            "2>3 repeat changed: repeat from step step 1, run-for > step 1, hold; passes 3 > 4",
        ]
    );
    assert_eq!(found.renumbered, []);
}

#[test]
fn of_equal_steps_the_added_one_is_that_which_leaves_the_repeat_alone() {
    let before = of_steps(&[run(15), repeat(1, 3)], &[run(15), run(15), repeat(2, 3)]);
    assert_eq!(told(&before), ["->1 run-for added: run - > 15 min; flow - > the schedule's"]);
    let inside = of_steps(&[run(15), repeat(1, 3)], &[run(15), run(15), repeat(1, 3)]);
    assert_eq!(told(&inside), ["->2 run-for added: run - > 15 min; flow - > the schedule's"]);
}

#[test]
fn every_field_of_every_step_is_told() {
    let date = |d| Date::from_ymd(2027, 3, d).unwrap();
    let time = |h| TimeOfDay::from_hms(h, 30, 0).unwrap();
    let volume = |l: u32| Volume::from_ml(l * 1_000).unwrap();
    let pressure = Target::pressure(Pressure::from_pa(1_500).unwrap());
    let cycle = |d, every| Step::WaitForCycleDay(Cycle::new(date(d), every).unwrap());
    let weekdays = |bits| Step::WaitForWeekday(Weekdays::from_bits(bits).unwrap());
    let until = |h, n, target| Step::RunUntil { time: time(h), at_most: minutes(n), target };
    let draw = |l, n, target| Step::DrawVolume { volume: volume(l), at_most: minutes(n), target };
    let resumed = |n, then| Step::HoldUntilResumed { at_most: minutes(n), then };
    let again = |passes, sampler| Step::Repeat {
        from: StepNo::FIRST,
        passes: Passes::new(passes).unwrap(),
        sampler,
    };
    for (old, new, line) in [
        (
            vec![Step::WaitForDate(date(8))],
            vec![Step::WaitForDate(date(9))],
            "1>1 wait-for-date changed: date Mon 2027-03-08 > Tue 2027-03-09",
        ),
        (
            vec![Step::WaitForTime(time(7))],
            vec![Step::WaitForTime(time(8))],
            "1>1 wait-for-time changed: time 07:30 > 08:30",
        ),
        (
            vec![weekdays(31)],
            vec![weekdays(1)],
            "1>1 wait-for-weekday changed: weekdays Mon-Fri > Mon",
        ),
        (
            vec![cycle(8, 6)],
            vec![cycle(9, 1)],
            "1>1 wait-for-cycle-day changed: cycle from Mon 2027-03-08 > Tue 2027-03-09; cycle every 6 days > 1 day",
        ),
        (
            vec![run(15)],
            vec![Step::RunFor { run: minutes(20), target: Some(litres(3)) }],
            "1>1 run-for changed: run 15 min > 20 min; flow the schedule's > 3.0 L/min",
        ),
        (
            vec![until(7, 60, Some(litres(3)))],
            vec![until(8, 90, Some(pressure))],
            "1>1 run-until changed: until 07:30 > 08:30; at-most 1 h > 1 h 30 min; target 3.0 L/min > 1.5 kPa",
        ),
        (
            vec![draw(10, 60, Some(pressure))],
            vec![draw(20, 90, None)],
            "1>1 draw-volume changed: volume 10 L > 20 L; at-most 1 h > 1 h 30 min; target 1.5 kPa > the schedule's",
        ),
        (vec![hold(1)], vec![hold(2)], "1>1 hold changed: hold 1 min > 2 min"),
        (
            vec![resumed(1, Then::Continue)],
            vec![resumed(2, Then::Close)],
            "1>1 hold until resumed changed: at-most 1 min > 2 min; then continue > close",
        ),
        (
            vec![hold(1), again(2, Sampler::Fresh)],
            vec![hold(1), again(1_000, Sampler::FreshConfirmed)],
            "2>2 repeat changed: passes 2 > 1,000; sampler fresh > fresh-confirmed",
        ),
    ] {
        assert_eq!(told(&of_steps(&old, &new)), [line]);
    }
    let kinds = of_steps(&[hold(1)], &[resumed(1, Then::Close)]);
    assert_eq!(kinds.steps.len(), 2, "steps of different kinds are not compared: {kinds:?}");
}

#[test]
fn every_setting_is_told() {
    let mut other = Settings::new(
        UtcOffset::from_quarter_hours(-28).unwrap(),
        Target::pressure(Pressure::from_pa(1_500).unwrap()),
    );
    other.name = Name::new("a \"b\" \u{202e}c").unwrap();
    other.start_by = Some(draught::calendar::Civil {
        date: Date::from_ymd(2027, 3, 8).unwrap(),
        time: TimeOfDay::from_hms(7, 40, 0).unwrap(),
    });
    other.late_tolerance = LateTolerance::from_ms(5_000).unwrap();
    let resume = Resume { within: ResumeWithin::from_ms(3_600_000).unwrap(), while_charging: true };
    other.outage = Outage::MakeUpTime(resume);
    other.fault =
        Fault::Retry { every: RetryEvery::from_ms(120_000).unwrap(), times: 1.try_into().unwrap() };
    other.limits = Limits {
        trip: TripPercent::from_percent(5).unwrap(),
        grace: TripGrace::from_ms(10_000).unwrap(),
        pressure_at_most: Some(Pressure::from_pa(5_000).unwrap()),
    };
    let steps = [Step::Finish];
    let changes = |a: &Settings, b: &Settings| {
        diff(TableRef::new(a, &steps).unwrap(), TableRef::new(b, &steps).unwrap()).settings
    };
    let value = |v: &Option<String>| v.clone().unwrap_or("-".to_owned());
    let lines: Vec<_> = changes(&settings(), &other)
        .iter()
        .map(|f| format!("{}: {} > {}", f.field, value(&f.old), value(&f.new)))
        .collect();
    assert_eq!(
        lines,
        [
            r#"name: - > "a \"b\" \u{202e}c""#,
            "utc-offset: UTC > UTC-07:00",
            "target: 2.0 L/min > 1.5 kPa",
            "start-by: - > Mon 2027-03-08 07:40",
            "late-tolerance: 1 min > 5 s",
            "outage rule: keep-stop-time > make-up-time",
            "resume-within: 10 min > 1 h",
            "while-charging: no > yes",
            "fault rule: stop > retry",
            "retry every: - > 2 min",
            "retry times: - > 1 time",
            "flow deviation limit: 10 % > 5 %",
            "flow deviation time: 1 min > 10 s",
            "pressure at most: - > 5.0 kPa",
        ]
    );
    let mut abandons = settings();
    abandons.outage = Outage::Abandon;
    let fields: Vec<_> = changes(&settings(), &abandons).iter().map(|f| f.field).collect();
    assert_eq!(fields, ["outage rule", "resume-within", "while-charging"]);
}

#[test]
fn a_target_of_its_own_that_is_the_schedules_is_none() {
    let own = Step::RunFor { run: minutes(15), target: Some(litres(2)) };
    assert!(of_steps(&[run(15)], &[own]).is_empty());
}
