//! What ends a pumping step.

use super::*;

#[test]
fn a_run_until_is_lost_when_past_and_when_too_far() {
    let steps = [run(2 * HOUR), until(9, 0, 3 * HOUR), until(12, 0, 30 * MIN), run(MIN)];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    // The line stands at 09:00: the next 09:00 is a day off, 12:00 is more than 30 min off.
    let (events, _) = s.call(wall(2027, 3, 8, 9, 0));
    let lost =
        events.iter().filter(|e| matches!(e, Event::RunLost { cause: LostCause::TooFar, .. }));
    assert_eq!(lost.count(), 2);

    let steps = [Step::WaitForTime(time(8, 0)), run(HOUR), until(9, 30, HOUR), run(MIN)];
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    s.call(wall(2027, 3, 8, 8, 0));
    let (events, _) = s.call(wall(2027, 3, 8, 9, 30));
    assert!(has(&events, |e| matches!(e, Event::RunLost { cause: LostCause::Past, .. })));
    assert_eq!(s.machine.due_wall(), Some(wall(2027, 3, 8, 9, 30)));
}

#[test]
fn what_was_demanded_is_what_happened() {
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[run(10 * MIN), run(10 * MIN)]);
    s.arm().unwrap();
    s.call(s.start);
    s.drawn = RawVolume::from_raw(12 * 60_000 * 1_000_000);
    let (events, answer) = s.call(wall(2027, 3, 8, 7, 12));
    let Some(Event::PumpingEnded(p)) = events.first() else { panic!("{events:?}") };
    assert_eq!((p.pumped_ms(), p.overrun_ms, p.by), (720_000, 120_000, PumpEnd::Time));
    assert_eq!(p.volume, s.drawn);
    let Wake::At { mono: Some(stop), .. } = answer.wake else { panic!() };
    assert_eq!(stop.since(s.input(s.start).now.mono), u64::from(22 * MIN), "whole ten minutes");
}

#[test]
fn a_draw_ends_by_volume_or_comes_out_short() {
    let draw = Step::DrawVolume {
        volume: Volume::from_ml(5_000).unwrap(),
        at_most: ms(10 * MIN),
        target: None,
    };
    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[draw]);
    s.arm().unwrap();
    let (_, answer) = s.call(s.start);
    let Wake::At { drawn: Some(full), .. } = answer.wake else { panic!() };
    assert_eq!(full.as_ml(), 5_000);
    let kept = s.machine;
    s.drawn = full;
    let (events, _) = s.call(wall(2027, 3, 8, 7, 5));
    assert!(matches!(events[0], Event::PumpingEnded(Pumped { by: PumpEnd::Volume, .. })));
    s.machine = kept;
    s.drawn = RawVolume::from_raw(full.as_raw() - 1);
    let (events, _) = s.call(wall(2027, 3, 8, 7, 10));
    assert!(matches!(events[0], Event::PumpingEnded(Pumped { by: PumpEnd::Limit, .. })));
}

#[test]
fn a_total_beyond_the_counter_is_no_deadline() {
    // 31 days at 2,000 L/min, five times: more than a `u64` of µL·ms/min in all.
    let mut s =
        Scene::new(wall(2027, 3, 8, 7, 0), &[run(31 * 24 * HOUR), repeat(1, 5, Sampler::Same)]);
    s.settings.target = Target::flow(Flow::LARGEST);
    let armed = s.input(s.start).now;
    let forecast = crate::forecast::Forecast::new(s.table(), &Fit::ANY, armed).unwrap();
    let lengths: Vec<_> = forecast
        .filter(|s| matches!(s.what, crate::forecast::What::Pump { .. }))
        .map(|s| (s.to.mono.since(s.from.mono), s.volume.unwrap().as_ml()))
        .collect();
    assert_eq!(lengths, [(31 * 24 * u64::from(HOUR), 89_280_000_000); 5]);

    let mut s = Scene::new(wall(2027, 3, 8, 7, 0), &[Step::WaitForTime(time(8, 0)), run(MIN)]);
    s.arm().unwrap();
    s.drawn = RawVolume::from_raw(u64::MAX);
    let (_, answer) = s.call(s.start);
    assert_eq!(wakes_at(&answer), Some(wall(2027, 3, 8, 8, 0)), "not met early");
}
