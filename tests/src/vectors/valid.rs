//! Blocks that decode: every step kind, setting and unit, and the ends of every range.

use draught::prelude::*;
use draught::table::{
    Fault, LateTolerance, Limits, Name, Outage, Resume, ResumeWithin, RetryEvery, TripGrace,
    TripPercent,
};
use draught::wire;

use super::{Pump, Valid};

/// All of them. The plain schedule beneath most is UTC and 2.5 L/min, armed on Monday
/// 2027-03-08 at 06:00.
#[must_use]
pub fn all() -> Vec<Valid> {
    let mut all = Vec::new();
    whole_schedules(&mut all);
    steps(&mut all);
    repeats(&mut all);
    targets(&mut all);
    settings(&mut all);
    ends_of_ranges(&mut all);
    sizes(&mut all);
    all
}

fn date(year: u16, month: u8, day: u8) -> Date {
    Date::from_ymd(year, month, day).expect("a date")
}
fn clock(hour: u8, minute: u8) -> TimeOfDay {
    TimeOfDay::from_hms(hour, minute, 0).expect("a time")
}
fn ms(ms: u32) -> DurationMs {
    DurationMs::from_ms(ms).expect("a duration")
}
fn minutes(n: u32) -> DurationMs {
    ms(n * 60_000)
}
fn flow(ul_per_min: u32) -> Target {
    Target::flow(Flow::from_ul_per_min(ul_per_min).expect("a flow"))
}
fn pressure(pa: u32) -> Pressure {
    Pressure::from_pa(pa).expect("a pressure")
}
fn run(n: u32) -> Step {
    Step::RunFor { run: minutes(n), target: None }
}
fn at(hour: u8, minute: u8) -> Step {
    Step::WaitForTime(clock(hour, minute))
}
fn on(year: u16, month: u8, day: u8) -> Step {
    Step::WaitForDate(date(year, month, day))
}
fn weekdays(bits: u8) -> Step {
    Step::WaitForWeekday(Weekdays::from_bits(bits).expect("days"))
}
fn cycle(from: Date, every: u16) -> Step {
    Step::WaitForCycleDay(Cycle::new(from, every).expect("a cycle"))
}
fn draw(ml: u32, at_most: u32, target: Option<Target>) -> Step {
    let volume = Volume::from_ml(ml).expect("a volume");
    Step::DrawVolume { volume, at_most: ms(at_most), target }
}
fn repeat(from: u8, passes: u16, sampler: Sampler) -> Step {
    Step::Repeat {
        from: StepNo::new(from).expect("a step"),
        passes: Passes::new(passes).expect("passes"),
        sampler,
    }
}

const PLAIN_FLOW: u32 = 2_500_000;

fn plain() -> Settings {
    Settings::new(UtcOffset::UTC, flow(PLAIN_FLOW))
}

fn offset(quarters: i8) -> UtcOffset {
    UtcOffset::from_quarter_hours(quarters).expect("an offset")
}

/// Adds a vector; `finish` is put at the end.
fn add(all: &mut Vec<Valid>, name: &str, meaning: &str, settings: Settings, steps: &[Step]) {
    let mut steps = steps.to_vec();
    steps.push(Step::Finish);
    let table = TableRef::new(&settings, &steps).unwrap_or_else(|e| panic!("{name}: {e}"));
    let mut block = vec![0; wire::max_len(steps.len())];
    let len = wire::encode(table, &mut block).unwrap_or_else(|e| panic!("{name}: {e}"));
    block.truncate(len);
    assert!(all.iter().all(|v| v.name != name), "{name} is there twice");
    let armed = Civil { date: date(2027, 3, 8), time: clock(6, 0) };
    all.push(Valid::new(name, meaning, block, armed));
}

fn plainly(all: &mut Vec<Valid>, name: &str, meaning: &str, steps: &[Step]) {
    add(all, name, meaning, plain(), steps);
}

/// The last vector is armed on a worn pump: 0.5 to 5 L/min, no pressure control.
fn on_worn_pump(all: &mut [Valid]) {
    if let Some(last) = all.last_mut() {
        last.pump = Pump { flow_ul_per_min: Some((500_000, 5_000_000)), pressure_pa: None };
    }
}

fn whole_schedules(all: &mut Vec<Valid>) {
    plainly(all, "shortest", "nothing but finish; arming refuses it, since nothing pumps", &[]);
    let short_term = [on(2027, 3, 8), at(7, 30), run(15)];
    plainly(all, "worked-example", "8 March 2027, 07:30, 15 min at 2.5 L/min", &short_term);
    on_worn_pump(all);

    let mut shift = Settings::new(offset(-28), flow(2_000_000));
    shift.name = Name::new("demo-press-hall").expect("a name");
    shift.start_by = Some(Civil { date: date(2027, 3, 8), time: clock(22, 10) });
    let until = Step::RunUntil { time: clock(6, 0), at_most: minutes(240), target: None };
    let lunch = Step::HoldUntilResumed { at_most: minutes(45), then: Then::Continue };
    let steps = [on(2027, 3, 8), at(22, 0), run(240), lunch, until];
    add(all, "full-shift", "a night shift at UTC-07:00 around a hold", shift, &steps);
    on_worn_pump(all);

    let mut ambient = Settings::new(offset(4), flow(16_670_000));
    ambient.name = Name::new("demo-roof-1-in-6").expect("a name");
    ambient.outage = Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(86_400_000).expect("in range"),
        while_charging: true,
    });
    let every_sixth = cycle(date(2027, 3, 10), 6);
    let steps = [every_sixth, at(0, 0), run(1_440), repeat(1, 15, Sampler::FreshConfirmed)];
    add(all, "one-day-in-six", "midnight to midnight, 15 times, 16.67 L/min", ambient, &steps);

    let steps = [weekdays(0b1_1111), at(8, 0), run(480), repeat(1, 5, Sampler::Fresh)];
    plainly(all, "monday-to-friday", "five working days, a fresh sampler each", &steps);
    plainly(all, "fixed-volume", "100 L, at most 1 h", &[draw(100_000, 3_600_000, None)]);
}

fn steps(all: &mut Vec<Valid>) {
    let own = Some(flow(1_000_000));
    let kpa = Some(Target::pressure(pressure(2_000)));
    let until = |target| Step::RunUntil { time: clock(9, 0), at_most: minutes(240), target };
    let for_ = |target| Step::RunFor { run: minutes(15), target };
    let resumed = |then| Step::HoldUntilResumed { at_most: minutes(45), then };
    for (name, meaning, step) in [
        ("wait-for-date", "the day after arming, whole-day", on(2027, 3, 9)),
        ("wait-for-time", "07:30", at(7, 30)),
        ("wait-for-weekday", "Wednesday", weekdays(0b100)),
        ("wait-for-cycle-day", "every third day from 7 March 2027", cycle(date(2027, 3, 7), 3)),
        ("run-for", "15 min", for_(None)),
        ("run-for-own-flow", "15 min at 1 L/min", for_(own)),
        ("run-for-own-pressure", "15 min at 2 kPa", for_(kpa)),
        ("run-until", "until 09:00, at most 4 h", until(None)),
        ("run-until-own-flow", "until 09:00, at most 4 h, at 1 L/min", until(own)),
        ("run-until-own-pressure", "until 09:00, at most 4 h, at 2 kPa", until(kpa)),
        ("draw-volume", "30 L, at most 15 min", draw(30_000, 900_000, None)),
        ("draw-volume-own-flow", "12 L, at most 15 min, at 1 L/min", draw(12_000, 900_000, own)),
        ("draw-volume-own-pressure", "12 L, at most 15 min, at 2 kPa", draw(12_000, 900_000, kpa)),
        ("hold", "off for 45 min", Step::Hold(minutes(45))),
        ("hold-then-continue", "off until resumed, else on after 45 min", resumed(Then::Continue)),
        ("hold-then-close", "off until resumed, else closed after 45 min", resumed(Then::Close)),
    ] {
        let meaning = format!("{meaning}, then 1 min of pumping");
        plainly(all, name, &meaning, &[step, run(1)]);
    }
    let all_waits = [weekdays(0b10), cycle(date(2027, 3, 5), 4), at(12, 0), on(2027, 3, 9), run(1)];
    plainly(all, "all-waits", "one appointment of all four waits: 9 March 2027, 12:00", &all_waits);
}

fn repeats(all: &mut Vec<Valid>) {
    let twice = |sampler| [at(7, 30), run(15), repeat(1, 2, sampler)];
    plainly(all, "repeat-same", "two days, one sample", &twice(Sampler::Same));
    plainly(all, "repeat-fresh", "two days, two samples", &twice(Sampler::Fresh));
    let confirmed = twice(Sampler::FreshConfirmed);
    plainly(all, "repeat-fresh-confirmed", "two days, the second if confirmed", &confirmed);
    let nested = [
        run(1),
        repeat(1, 16, Sampler::Same),
        repeat(1, 16, Sampler::Same),
        repeat(1, 16, Sampler::Same),
        repeat(1, 16, Sampler::Same),
    ];
    plainly(all, "repeats-deepest", "four repeats inside each other, 65,536 passes", &nested);
    let past_date = [on(2027, 3, 9), at(7, 30), run(15), repeat(2, 3, Sampler::Fresh)];
    plainly(all, "repeat-past-date", "9 March 2027, then every day, three in all", &past_date);
    let apart = [
        run(1),
        Step::Hold(minutes(1)),
        repeat(1, 2, Sampler::Same),
        run(2),
        run(3),
        repeat(5, 3, Sampler::Fresh),
        repeat(4, 2, Sampler::Same),
    ];
    plainly(all, "repeats-apart", "a repeat, and after it a nesting of two", &apart);
    let mut beside: Vec<Step> = Vec::new();
    for from in [1, 3, 5, 7, 9] {
        beside.extend([run(1), repeat(from, 30, Sampler::Same)]);
    }
    beside.push(repeat(1, 2, Sampler::Same));
    let meaning = "five repeats beside each other inside one: two deep, 300 passes, not 48,600,000";
    plainly(all, "repeats-beside", meaning, &beside);
    let twice_300 = [
        run(1),
        repeat(1, 300, Sampler::Same),
        run(1),
        repeat(3, 300, Sampler::Same),
        repeat(1, 2, Sampler::Same),
    ];
    let meaning = "two repeats of 300 passes beside each other: 600 and 600, not 180,000";
    plainly(all, "repeats-of-300-beside", meaning, &twice_300);
    let seventh = [weekdays(64), cycle(date(2027, 3, 8), 6), run(1)];
    let meaning = "Sundays of a cycle of six days: the first is its seventh";
    plainly(all, "cycle-meets-at-last", meaning, &seventh);
    let again = [at(7, 30), run(15), at(9, 30), run(15)];
    plainly(all, "waits-alike-apart", "two times of day, a run between them", &again);
    for passes in [2, 127, 128, 16_383, 16_384, 65_535] {
        let steps = [Step::Hold(ms(1)), run(1), repeat(2, passes, Sampler::Same)];
        let meaning = format!("{passes} passes of 1 min");
        plainly(all, &format!("passes-{passes}"), &meaning, &steps);
    }
}

fn targets(all: &mut Vec<Valid>) {
    let flows = [
        (1, "the smallest, 1 µL/min"),
        (31, "the last of one byte in µL/min"),
        (32, "the first of two bytes"),
        (4_095, "the last of two bytes in µL/min"),
        (4_096, "the first of three bytes"),
        (7_000, "in mL/min"),
        (70_000, "in 10 mL/min"),
        (700_000, "in 100 mL/min"),
        (3_100_000, "the last of one byte, 127"),
        (409_500_000, "the last of two bytes, 16,383"),
        (999_999_999, "the largest in µL/min"),
        (1_000_001_000, "above 1,000 L/min: whole mL/min"),
        (1_999_999_000, "just below the largest"),
        (2_000_000_000, "the largest, 2,000 L/min"),
    ];
    for (ul_per_min, meaning) in flows {
        let settings = Settings::new(UtcOffset::UTC, flow(ul_per_min));
        let meaning = format!("{ul_per_min} µL/min: {meaning}");
        add(all, &format!("flow-{ul_per_min}"), &meaning, settings, &[run(15)]);
    }
    for pa in [1, 31, 32, 70, 700, 7_000, 199_999, 200_000] {
        let settings = Settings::new(UtcOffset::UTC, Target::pressure(pressure(pa)));
        let meaning = format!("{pa} Pa kept constant");
        add(all, &format!("pressure-{pa}"), &meaning, settings, &[run(15)]);
    }
}

fn settings(all: &mut Vec<Valid>) {
    let mut set = |name: &str, meaning: &str, change: &dyn Fn(&mut Settings)| {
        let mut settings = plain();
        change(&mut settings);
        add(all, name, meaning, settings, &[at(7, 30), run(15)]);
    };
    for (key, text) in [
        ("one-byte", "x"),
        ("longest", "demo-24-bytes-of-a-name."),
        ("two-byte-letters", "Prüfstand-Süd"),
        ("three-byte-letters", "三時間の試料採取"),
        ("four-byte-letters", "𝄞 𝄞 𝄞"),
    ] {
        let meaning = format!("named {text}");
        set(&format!("name-{key}"), &meaning, &|s| s.name = Name::new(text).expect("a name"));
    }
    let civil = |date, time| Some(Civil { date, time });
    set("start-by", "not started later than 07:40 on 8 March 2027", &|s| {
        s.start_by = civil(date(2027, 3, 8), clock(7, 40));
    });
    let (first, last) = (date(2000, 1, 1), TimeOfDay::from_ms(86_399_999).expect("a time"));
    set("start-by-first", "start-by long past: arming refuses it", &|s| {
        s.start_by = civil(first, clock(0, 0));
    });
    set("start-by-last", "start-by at the last instant", &|s| s.start_by = civil(Date::LAST, last));
    for ms in [5_000, 59_999, 60_001, 86_399_999, 86_400_000] {
        let meaning = format!("appointments may be met {ms} ms late");
        set(&format!("late-tolerance-{ms}"), &meaning, &|s| {
            s.late_tolerance = LateTolerance::from_ms(ms).expect("in range");
        });
    }
    let resume = |ms, while_charging| Resume {
        within: ResumeWithin::from_ms(ms).expect("in range"),
        while_charging,
    };
    let outages = [
        ("keep-shortest", Outage::KeepStopTime(resume(1_000, false))),
        ("keep-charging", Outage::KeepStopTime(resume(600_000, true))),
        ("keep-longest", Outage::KeepStopTime(resume(2_678_400_000, true))),
        ("make-up-default-time", Outage::MakeUpTime(resume(600_000, false))),
        ("make-up-finest", Outage::MakeUpTime(resume(999_999_999, true))),
        ("abandon", Outage::Abandon),
    ];
    for (key, outage) in outages {
        set(&format!("outage-{key}"), &format!("{outage:?}"), &|s| s.outage = outage);
    }
    let retry = |ms, times: u8| Fault::Retry {
        every: RetryEvery::from_ms(ms).expect("in range"),
        times: times.try_into().expect("not zero"),
    };
    let faults = [
        ("retry-least", retry(1_000, 1)),
        ("retry-most", retry(86_399_999, 255)),
        ("retry-128", retry(60_000, 128)),
        ("close", Fault::Close),
    ];
    for (key, fault) in faults {
        set(&format!("fault-{key}"), &format!("{fault:?}"), &|s| s.fault = fault);
    }
    let limits = |percent, ms, pa: Option<u32>| Limits {
        trip: TripPercent::from_percent(percent).expect("in range"),
        grace: TripGrace::from_ms(ms).expect("in range"),
        pressure_at_most: pa.map(pressure),
    };
    for (key, l) in [
        ("least", limits(1, 1_000, None)),
        ("most", limits(50, 3_600_000, Some(200_000))),
        ("finest", limits(50, 3_599_999, Some(199_999))),
        ("pressure-only", limits(10, 60_000, Some(1))),
    ] {
        set(&format!("limits-{key}"), &format!("{l:?}"), &|s| s.limits = l);
    }
    for quarters in [-48, -1, 1, 19, 56] {
        let meaning = format!("UTC offset of {quarters} quarter-hours");
        set(&format!("utc-offset-{quarters}"), &meaning, &|s| s.utc_offset = offset(quarters));
    }
}

fn ends_of_ranges(all: &mut Vec<Valid>) {
    for days in [0, 1, 127, 128, 9_929, 16_383, 16_384, 49_672] {
        let day = Date::from_days(days).expect("a date");
        let meaning = format!("day {days} after 2000-01-01; before 2027-03-08 arming refuses it");
        plainly(all, &format!("date-{days}"), &meaning, &[Step::WaitForDate(day), run(1)]);
    }
    for time in [0, 1, 1_000, 60_000, 3_600_000, 82_800_000, 86_399_999] {
        let step = Step::WaitForTime(TimeOfDay::from_ms(time).expect("a time"));
        let meaning = format!("{time} ms after midnight");
        plainly(all, &format!("time-{time}"), &meaning, &[step, run(1)]);
    }
    for bits in [1, 64, 127] {
        let meaning = format!("weekdays {bits:07b}, Monday last");
        plainly(all, &format!("weekdays-{bits}"), &meaning, &[weekdays(bits), at(7, 0), run(1)]);
    }
    for (from, every) in [(0, 1), (9_928, 127), (9_928, 128), (16_384, 366), (49_672, 7)] {
        let from = Date::from_days(from).expect("a date");
        let meaning = format!("every {every} days from day {}", from.days());
        let name = format!("cycle-{}-{every}", from.days());
        plainly(all, &name, &meaning, &[cycle(from, every), at(7, 0), run(1)]);
    }
    for run in [
        1,             // 4, one byte
        31,            // 124, the last of one byte in ms
        32,            // 128, two bytes
        4_095,         // 16,380
        4_096,         // 16,384, three bytes
        524_287,       // 2,097,148
        524_288,       // 2,097,152, four bytes
        67_108_863,    // 268,435,452
        67_108_864,    // 268,435,456, five bytes
        111_600_000,   // 31 h: 127, one byte again
        115_200_000,   // 32 h
        999_999_999,   // the largest in ms
        1_000_001_000, // whole seconds
        2_678_400_000, // 31 days
    ] {
        let step = Step::RunFor { run: ms(run), target: None };
        plainly(all, &format!("run-{run}"), &format!("{run} ms of pumping"), &[step]);
    }
    for ml in [1, 31, 32, 100, 1_000, 10_000, 310_000, 999_999_999, 1_000_000_100, 4_000_000_000] {
        let meaning = format!("{ml} mL, at most 31 days");
        plainly(all, &format!("volume-{ml}"), &meaning, &[draw(ml, 2_678_400_000, None)]);
    }
}

fn longest_settings() -> Settings {
    let mut s = Settings::new(offset(56), flow(999_999_999));
    s.name = Name::new("demo-24-bytes-of-a-name.").expect("a name");
    let time = TimeOfDay::from_ms(86_399_999).expect("a time");
    s.start_by = Some(Civil { date: Date::LAST, time });
    s.late_tolerance = LateTolerance::from_ms(86_399_999).expect("in range");
    s.outage = Outage::MakeUpTime(Resume {
        within: ResumeWithin::from_ms(999_999_999).expect("in range"),
        while_charging: true,
    });
    s.fault = Fault::Retry {
        every: RetryEvery::from_ms(86_399_999).expect("in range"),
        times: 255.try_into().expect("not zero"),
    };
    s.limits = Limits {
        trip: TripPercent::from_percent(50).expect("in range"),
        grace: TripGrace::from_ms(3_599_999).expect("in range"),
        pressure_at_most: Some(pressure(199_999)),
    };
    s
}

fn sizes(all: &mut Vec<Valid>) {
    let longest = draw(999_999_999, 999_999_999, Some(flow(999_999_998)));
    for steps in [32, 255] {
        let meaning = format!("the longest block of {steps} steps: every field at its longest");
        let rows = vec![longest; steps - 1];
        add(all, &format!("longest-{steps}"), &meaning, longest_settings(), &rows);
    }
    for steps in [127, 128] {
        let meaning = format!("{steps} steps: where their number takes a second byte");
        plainly(all, &format!("steps-{steps}"), &meaning, &vec![run(1); steps - 1]);
    }
    let mut rows = vec![run(1); 253];
    rows.push(repeat(253, 2, Sampler::Same));
    plainly(all, "steps-255", "the most steps; the last but one goes back to 253", &rows);
}
