//! Another table than the one that was armed.

use super::*;

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
fn a_command_with_another_table_ends_the_event() {
    let hold = Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Continue };
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[hold, run(MIN)]);
    s.arm().unwrap();
    s.call(s.start);
    s.steps.insert(0, run(MIN));
    let answer = s.command(Command::Resume { step: StepNo::FIRST }, s.start).unwrap();
    assert_eq!(answer.event, Some(Event::Ended(EndReason::WrongTable)));
}
