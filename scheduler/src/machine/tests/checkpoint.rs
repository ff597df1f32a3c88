//! The bytes of a checkpoint: what is no checkpoint is none.

use super::*;

/// Checkpoints of every state.
fn every_state() -> Vec<Checkpoint> {
    let hold = Step::HoldUntilResumed { at_most: ms(HOUR), then: Then::Close };
    let steps = [Step::WaitForTime(time(8, 0)), draw(5_000, HOUR), hold, until(12, 0, 9 * HOUR)];
    let mut s = Scene::new(hour(7, 0), &steps);
    s.settings.fault = retry(MIN, 3);
    let mut kept = std::vec![s.checkpoint(hour(7, 0))];
    s.arm().unwrap();
    kept.push(s.checkpoint(hour(7, 0)));
    s.call(hour(7, 0));
    kept.push(s.checkpoint(hour(7, 10)));
    s.call(hour(8, 0));
    kept.push(s.checkpoint(hour(8, 10)));
    s.trip(hour(8, 20));
    kept.push(s.checkpoint(hour(8, 20)));
    s.call(hour(8, 21));
    s.drawn = RawVolume::from_raw(u64::MAX / 2);
    s.call(hour(8, 30));
    kept.push(s.checkpoint(hour(8, 30)));
    let third = StepNo::new(3).unwrap();
    s.command(Command::Resume { step: third }, hour(8, 40)).unwrap();
    let blind = s.blind(hour(8, 40));
    s.call_with(blind);
    kept.push(s.machine.checkpoint(s.table(), blind));
    s.call(hour(8, 41));
    kept.push(s.checkpoint(hour(8, 41)));
    s.trip(hour(8, 42));
    kept.push(s.checkpoint(hour(8, 42)));
    s.lose_power(hour(8, 42), hour(8, 43));
    kept.push(s.checkpoint(hour(8, 43)));
    s.call(hour(8, 43));
    s.command(Command::Stop(StopReason::Host), hour(8, 50)).unwrap();
    kept.push(s.checkpoint(hour(8, 50)));
    s.call(hour(8, 50));
    kept.push(s.checkpoint(hour(8, 50)));
    kept
}

#[test]
fn every_state_comes_back_as_it_was() {
    let mut kinds = Vec::new();
    for kept in every_state() {
        assert_eq!(Checkpoint::from_bytes(&kept.to_bytes()), Some(kept));
        kinds.push(core::mem::discriminant(&kept.machine.state));
    }
    kinds.dedup();
    assert!(kinds.len() >= 8, "all kinds of state: {kinds:?}");
}

#[test]
fn no_field_is_left_out_or_taken_for_another() {
    let at = |minute| Some(hour(3, minute));
    let mono = MonoMs::from_ms;
    let target = Target::pressure(Pressure::from_pa(4_321).unwrap());
    let begin = Now { mono: mono(1), wall: at(1) };
    let drawn = RawVolume::from_raw;
    let state = State::Pumping { index: 5, retries: 6, target, begin, drawn: drawn(2) };
    let deadline = Deadline { mono: mono(3), wall: at(2), drawn: drawn(4) };
    let mut machine = Machine {
        state,
        deadline,
        due: Due { mono: mono(5), wall: at(3) },
        armed: at(4),
        last_appointment: at(5),
        resumed: mono(6),
        done: [7, 8, 9, 0x0a0b],
        id: EventId(0x0102_0304),
        sample: 0x0506_0708,
        steps: 200,
        fresh: false,
        confirm_for: Some(StepNo::new(77).unwrap()),
        confirmed: true,
    };
    let now = Now { mono: mono(8), wall: at(6) };
    let schedule = crate::wire::ScheduleId([1, 2, 3, 4]);
    let paused =
        State::Paused { index: 5, retries: 6, end: mono(7), moves_from: mono(9), full: drawn(9) };
    let states = [state, paused];
    for (state, drawn_until) in states.into_iter().zip([deadline.drawn, Deadline::NEVER.drawn]) {
        machine.state = state;
        machine.deadline.drawn = drawn_until;
        let kept = Checkpoint { machine, schedule, at: now, drawn: drawn(11) };
        assert_eq!(Checkpoint::from_bytes(&kept.to_bytes()), Some(kept));
    }
}

#[test]
fn the_bytes_fill_their_length() {
    for kept in every_state() {
        assert!(kept.drawn != RawVolume::from_raw(u64::MAX));
        let marked = Checkpoint { drawn: RawVolume::from_raw(u64::MAX), ..kept };
        assert_eq!(marked.to_bytes()[Checkpoint::LEN - 8..], [0xff; 8]);
    }
}

#[test]
fn what_a_state_does_not_use_must_be_zero() {
    // The byte, and in which of the states it must be what it is: all of the bytes of a state that it has no use for.
    let mut refused = 0;
    for kept in every_state() {
        let bytes = kept.to_bytes();
        for at in 0..32 {
            let mut other = bytes;
            other[at] ^= 0x40;
            match Checkpoint::from_bytes(&other) {
                Some(read) => assert_eq!(read.to_bytes(), other, "one checkpoint, one sequence"),
                None => refused += 1,
            }
        }
    }
    assert!(refused > 200, "{refused}");
}

#[test]
fn what_cannot_be_is_no_checkpoint() {
    let kept = every_state();
    let none = |machine: Machine| {
        Checkpoint::from_bytes(&Checkpoint { machine, ..kept[2] }.to_bytes()).is_none()
    };
    let (idle, entering, waiting, pumping) =
        (kept[0].machine, kept[1].machine, kept[2].machine, kept[3].machine);
    assert!(!none(waiting) && !none(pumping), "these are");
    assert!(none(Machine { sample: 1, ..idle }), "nothing armed, and a sample");
    assert!(none(Machine { steps: 0, ..entering }), "at a step that the table has not");
    assert!(none(Machine { deadline: Deadline::NEVER, ..waiting }), "waiting for nothing");
    let State::Waiting { first, last, at } = waiting.state else { panic!() };
    let state = State::Waiting { first: last + 1, last, at };
    assert!(none(Machine { state, ..waiting }), "a group that ends before it begins: {first}");
    assert!(none(Machine { sample: 0, ..pumping }), "pumping on no sample");
    assert!(none(Machine { fresh: true, ..pumping }), "pumping, and yet to begin on the sample");
    let holding = Machine { state: State::Holding { index: 2 }, ..pumping };
    assert!(none(holding), "a hold that ends by a volume");
}
