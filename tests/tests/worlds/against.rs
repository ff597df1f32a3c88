//! Why PI with feed-forward: the same pump with less. The table stands in `docs/world.md`.

use std::fmt::Write as _;

use draught::port::{Ambient, Duty, FlowSensor, Motor};
use draught::record::Tally;
use draught::regulator::{Config, Curve, Regulator};
use draught_sim::bench::World;
use draught_sim::bench::physics::SimBoard;
use proptest::prelude::*;

use crate::run::{calibrated, flow, plant, range};

const TARGET: u32 = 2_000_000;

#[derive(Clone, Copy)]
enum Law {
    Open,
    Proportional,
    WithoutFeedForward,
    Whole,
}

/// Minutes at 2 L/min: the overshoot of the start, when it is settled, and the mean of the last of them, against the target.
fn run(world: &World, law: Law) -> (f64, Option<usize>, f64) {
    let mut board = SimBoard::new(world, 1, None).unwrap();
    let config = world.plant.as_ref().unwrap().regulator(1_000);
    let target = flow(TARGET);
    let flow_curve = config.flow;
    // A tenth of the feed-forward, for a pump said to be ten times as strong, with the same gains: as near to none as a curve goes.
    let blind = Curve {
        at_full: flow_curve.at_full * 10,
        dead_per_myriad: 0,
        gain_percent: flow_curve.gain_percent * 10,
        ..flow_curve
    };
    let curve = if matches!(law, Law::WithoutFeedForward) { blind } else { flow_curve };
    let mut regulator = Regulator::new(Config { flow: curve, ..config });
    regulator.start(target);
    let ahead = f64::from(regulator.duty().per_myriad());
    board.drive(regulator.duty()).unwrap();
    let mut tally = Tally::new(draught::clock::MonoMs::from_ms(0));
    let mut seen = Vec::new();
    for second in 1..=600 {
        let before = board.truth().drawn_ul;
        board.pass(1_000);
        seen.push((board.truth().drawn_ul - before) * 60.0 / f64::from(TARGET));
        let air = Ambient::read(&mut board);
        let reading = FlowSensor::read(&mut board).unwrap();
        let at = draught::clock::MonoMs::from_ms(second * 1_000);
        let inlet = tally.reading(at, &reading, air);
        let duty = match law {
            Law::Open => Duty::from_per_myriad(ahead as u16),
            Law::Proportional => {
                let error = (f64::from(TARGET) - f64::from(inlet)) / f64::from(config.flow.at_full);
                let duty = ahead + f64::from(config.flow.gain_percent) * 100.0 * error;
                Duty::from_per_myriad(duty.clamp(0.0, 10_000.0) as u16)
            }
            Law::WithoutFeedForward | Law::Whole => {
                regulator.step(target, Some(inlet), None, 1_000)
            }
        };
        board.drive(duty).unwrap();
    }
    let settled = seen.iter().rposition(|f| (f - 1.0).abs() > 0.05).map_or(0, |last| last + 1);
    let mean = seen[540..].iter().sum::<f64>() / 60.0;
    (range(&seen).1 - 1.0, Some(settled).filter(|s| *s < 540), mean - 1.0)
}

/// The table: one row a law.
fn table() -> String {
    let case = |added: f64, charge: f64| {
        let mut world = calibrated("worn-2-l-min");
        let p = plant(&mut world);
        (p.path.dust, p.path.added, p.battery.start) = (0.0, added, charge);
        world
    };
    let cases = [case(0.0, 1.0), case(5_280.0, 1.0), case(5_280.0, 0.1)];
    let mut text = String::from(
        "| | clean filter, full battery | rated drop, full battery | rated drop, 10 % of the charge |\n|---|---|---|---|\n",
    );
    for (law, name) in [
        (Law::Open, "open loop: the duty that the clean train needs"),
        (Law::Proportional, "feed-forward and P"),
        (Law::WithoutFeedForward, "PI with a tenth of the feed-forward"),
        (Law::Whole, "feed-forward and PI"),
    ] {
        write!(text, "| {name} |").unwrap();
        for world in &cases {
            let (over, settled, off) = run(world, law);
            let settled = settled
                .map_or("never within 5 %".to_owned(), |s| format!("within 5 % after {s} s"));
            write!(
                text,
                " {:+.1} %, {settled}, overshoot {:.1} % |",
                off * 100.0,
                over.max(0.0) * 100.0
            )
            .unwrap();
        }
        text.push('\n');
    }
    text
}

#[test]
fn the_table_of_the_page_is_what_comes_out() {
    let table = table();
    let page = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/world.md");
    let text = std::fs::read_to_string(page).expect("docs/world.md");
    assert!(text.contains(&table), "docs/world.md must hold this table:\n{table}");
}

fn curve() -> impl Strategy<Value = Curve> {
    (any::<u32>(), any::<u16>(), any::<u16>(), any::<u32>()).prop_map(
        |(at_full, dead_per_myriad, gain_percent, integral_ms)| Curve {
            at_full,
            dead_per_myriad,
            gain_percent,
            integral_ms,
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    /// Whatever the constants and the readings: the duty stays in its limits and does not jump, and nothing overflows (which
    /// would be a panic here).
    #[test]
    fn the_duty_is_always_in_its_limits(
        flow_curve in curve(),
        limits in (0_u16..=10_000, 0_u16..=10_000),
        slew in any::<u16>(),
        (start_ms, bound) in (any::<u32>(), any::<u16>()),
        target in 1_u32..=2_000_000_000,
        readings in prop::collection::vec((prop::option::of(any::<u32>()), any::<u64>(), 0_u8..3), 1..60),
    ) {
        let (least, most) = (limits.0.min(limits.1), limits.0.max(limits.1));
        let config = Config {
            flow: flow_curve,
            pressure: None,
            least: Duty::from_per_myriad(least),
            most: Duty::from_per_myriad(most),
            slew_per_myriad_per_s: slew,
            start_ms,
            error_at_most_per_mille: bound,
        };
        let mut regulator = Regulator::new(config);
        let target = flow(target / 1_000_000 * 1_000_000 + 1_000_000 * u32::from(target < 1_000_000));
        regulator.start(target);
        let mut before = regulator.duty().per_myriad();
        prop_assert!((least..=most).contains(&before));
        for (reading, ms, scale) in readings {
            let ms = [ms % 10, ms % 6_000, ms][usize::from(scale)];
            let duty = regulator.step(target, reading, None, ms).per_myriad();
            prop_assert!((least..=most).contains(&duty), "{duty} of {least} to {most}");
            let slewed = u64::from(slew) * ms.min(5_000) / 1_000 + 2;
            prop_assert!(u64::from(duty.abs_diff(before)) <= slewed, "{before} to {duty} in {ms} ms");
            before = duty;
        }
        regulator.stop();
        prop_assert_eq!(regulator.duty(), Duty::OFF);
    }
}
