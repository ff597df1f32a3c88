//! Passes of nested repeats.

use super::*;

#[test]
fn nested_repeats_count_each_for_itself() {
    let steps =
        [run(MIN), repeat(1, 2, Sampler::Same), Step::Hold(ms(MIN)), repeat(1, 3, Sampler::Fresh)];
    let s = Scene::new(wall(2027, 3, 8, 7, 0), &steps);
    let armed = s.input(s.start).now;
    let spans: Vec<_> =
        crate::forecast::Forecast::new(s.table(), &Fit::ANY, armed).unwrap().collect();
    let pumped: Vec<_> = spans
        .iter()
        .filter(|s| matches!(s.what, crate::forecast::What::Pump { .. }))
        .map(|s| (s.passes.0, s.sample))
        .collect();
    let want = [
        ([1, 1, 0, 0], 1),
        ([1, 2, 0, 0], 1),
        ([2, 1, 0, 0], 2),
        ([2, 2, 0, 0], 2),
        ([3, 1, 0, 0], 3),
        ([3, 2, 0, 0], 3),
    ];
    assert_eq!(pumped, want);
    assert_eq!(spans.last().unwrap().to.mono.since(armed.mono), u64::from(9 * MIN));
}

#[test]
fn a_skipped_pass_starts_the_repeats_inside_it_again() {
    let steps = [
        Step::WaitForTime(time(8, 0)),
        run(MIN),
        repeat(1, 3, Sampler::Same),
        repeat(1, 3, Sampler::FreshConfirmed),
    ];
    let start = wall(2027, 3, 8, 7, 0);
    let mut s = Scene::new(start, &steps);
    s.arm().unwrap();
    s.call(start);
    for day in 8..11 {
        s.call(wall(2027, 3, day, 8, 0));
        s.call(wall(2027, 3, day, 8, 1));
    }
    // Second pass of the outer repeat: the first inner pass is missed, and in the second nobody has confirmed.
    let (events, _) = s.call(wall(2027, 3, 12, 8, 0));
    assert!(has(&events, |e| matches!(e, Event::AppointmentMissed { .. })), "{events:?}");
    assert!(has(&events, |e| matches!(e, Event::PassSkipped { .. })), "{events:?}");
    s.command(Command::ConfirmSampler, wall(2027, 3, 12, 9, 0)).unwrap();
    let (events, _) = s.call(wall(2027, 3, 13, 8, 0));
    let third = PassCount([3, 1, 0, 0]);
    assert!(
        has(
            &events,
            |e| matches!(e, Event::PumpingBegan { passes, sample: 2, .. } if *passes == third)
        ),
        "{events:?}"
    );
}
