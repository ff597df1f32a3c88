//! The schedules that are measured.

use draught::prelude::*;
use draught::table::Name;
use draught::wire;

/// Room for the largest of them.
pub type Table = StepTable<64>;
/// A table's name, and what builds it.
pub type Named = (&'static str, fn() -> Table);

/// The three whose encoded sizes are compared.
pub const ALL: [Named; 3] =
    [("one run on a day", one_run), ("a working week", working_week), ("40 steps", forty_steps)];

/// The block of a table.
pub fn block(table: &Table) -> Vec<u8> {
    let mut block = vec![0; wire::max_len(table.capacity())];
    let table = table.checked().expect("the tables here are legal");
    let len = wire::encode(table, &mut block).expect("the buffer is large enough");
    block.truncate(len);
    block
}

fn table(ul_per_min: u32, steps: &[Step]) -> Table {
    let flow = Flow::from_ul_per_min(ul_per_min).expect("a legal flow");
    let mut table = Table::new(Settings::new(UtcOffset::UTC, Target::flow(flow)));
    for step in steps {
        table.push(*step).expect("there is room");
    }
    table
}

/// A whole number of minutes.
pub fn minutes(n: u32) -> DurationMs {
    DurationMs::from_ms(n * 60_000).expect("a legal duration")
}

fn at(hour: u8, minute: u8) -> TimeOfDay {
    TimeOfDay::from_hms(hour, minute, 0).expect("a time of day")
}

fn date(day: u8) -> Date {
    Date::from_ymd(2027, 3, day).expect("a date")
}

fn run_for(n: u32) -> Step {
    Step::RunFor { run: minutes(n), target: None }
}

fn repeat(from: u8, passes: u16) -> Step {
    Step::Repeat {
        from: StepNo::new(from).expect("a step number"),
        passes: Passes::new(passes).expect("a number of passes"),
        sampler: Sampler::Same,
    }
}

/// 8 March 2027, 07:30, 15 min at 2.5 L/min.
pub fn one_run() -> Table {
    let steps =
        [Step::WaitForDate(date(8)), Step::WaitForTime(at(7, 30)), run_for(15), Step::Finish];
    table(2_500_000, &steps)
}

/// Monday to Friday from 07:00, a lunch hold, until 15:30; a name and a start-by.
pub fn working_week() -> Table {
    let mut table = table(
        2_200_000,
        &[
            Step::WaitForWeekday(Weekdays::MONDAY_TO_FRIDAY),
            Step::WaitForTime(at(7, 0)),
            run_for(270),
            Step::HoldUntilResumed { at_most: minutes(60), then: Then::Continue },
            Step::RunUntil { time: at(15, 30), at_most: minutes(240), target: None },
            Step::Repeat {
                from: StepNo::FIRST,
                passes: Passes::new(5).expect("a number of passes"),
                sampler: Sampler::Fresh,
            },
            Step::Finish,
        ],
    );
    table.settings_mut().name = Name::new("mill-week").expect("a legal name");
    table.settings_mut().start_by = Some(Civil { date: date(8), time: at(9, 0) });
    table
}

/// 20 runs of different lengths with holds of whole minutes between them.
pub fn forty_steps() -> Table {
    let mut steps = Vec::new();
    for n in 1..20 {
        steps.extend([run_for(10 + n), Step::Hold(minutes(n))]);
    }
    steps.extend([run_for(30), Step::Finish]);
    table(2_000_000, &steps)
}

/// A schedule with so many runs: two a pass.
pub fn runs(occurrences: u16) -> Table {
    let body = [run_for(1), Step::Hold(minutes(1)), run_for(1), Step::Hold(minutes(1))];
    let steps = [body.as_slice(), &[repeat(1, occurrences), Step::Finish]].concat();
    table(2_000_000, &steps)
}

/// For how many days [`daily`] goes on.
pub const DAYS: u16 = 30;

/// Every day from 08:00, eight hours.
pub fn daily() -> Table {
    let steps = [Step::WaitForTime(at(8, 0)), run_for(480), repeat(1, DAYS), Step::Finish];
    table(2_000_000, &steps)
}
