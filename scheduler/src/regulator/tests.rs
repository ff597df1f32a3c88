use super::*;
use crate::units::{Flow, Pressure};

fn litres(tenths: u32) -> Target {
    Target::flow(Flow::from_ul_per_min(tenths * 100_000).unwrap())
}

/// 5 L/min at full duty, no dead duty, a tenth of full duty for a tenth of full flow, 1 s.
fn config() -> Config {
    let flow =
        Curve { at_full: 5_000_000, dead_per_myriad: 0, gain_percent: 100, integral_ms: 1_000 };
    Config { flow, slew_per_myriad_per_s: 10_000, ..Config::default() }
}

/// Started, and the flow has had its time to rise.
fn risen(config: Config, target: Target) -> Regulator {
    let mut r = Regulator::new(config);
    r.start(target);
    r.expected = r.target;
    r
}

#[test]
fn a_flow_that_rises_as_it_should_is_no_error() {
    // A time constant of 1 s, a step of 1 s: half of the rest each time, until less than 1 % is left.
    let mut r = Regulator::new(config());
    r.start(litres(20));
    for read in [1_000_000, 1_500_000, 1_750_000, 1_875_000, 1_937_500, 1_968_750, 2_000_000] {
        assert_eq!(r.step(litres(20), Some(read), None, 1_000).per_myriad(), 4_000, "{read}");
    }
    // A quicker one is none either, until it is above its target.
    let mut r = Regulator::new(config());
    r.start(litres(20));
    assert_eq!(r.step(litres(20), Some(2_000_000), None, 1_000).per_myriad(), 4_000);
    assert!(r.step(litres(20), Some(2_100_000), None, 1_000).per_myriad() < 4_000);
    // To another target it goes on from the one before, up or down.
    let mut r = risen(config(), litres(20));
    r.start(litres(10));
    assert_eq!(r.step(litres(10), Some(1_500_000), None, 1_000).per_myriad(), 2_000);
    assert!(r.step(litres(10), Some(1_500_000), None, 1_000).per_myriad() < 2_000);
}

#[test]
fn by_hand() {
    let mut r = risen(config(), litres(20));
    assert_eq!(r.duty().per_myriad(), 4_000);
    // 0.5 L/min of 5 is a tenth: proportional 1,000, and as much again as trim in the integral time.
    assert_eq!(r.step(litres(20), Some(1_500_000), None, 1_000).per_myriad(), 6_000);
    // On target: only the trim is left.
    assert_eq!(r.step(litres(20), Some(2_000_000), None, 1_000).per_myriad(), 5_000);
    // No reading: as it was.
    assert_eq!(r.step(litres(20), None, None, 1_000).per_myriad(), 5_000);
}

#[test]
fn halves_of_an_interval_give_the_same_trim() {
    let mut one = risen(config(), litres(20));
    let mut two = one;
    one.step(litres(20), Some(1_900_000), None, 1_000);
    two.step(litres(20), Some(1_900_000), None, 300);
    two.step(litres(20), Some(1_900_000), None, 700);
    assert!((one.trim - two.trim).abs() <= 1);
}

#[test]
fn another_target_keeps_the_trim() {
    let mut r = risen(config(), litres(20));
    r.step(litres(20), Some(1_500_000), None, 1_000);
    r.step(litres(20), Some(2_000_000), None, 1_000);
    r.start(litres(25));
    assert_eq!(r.duty().per_myriad(), 6_000); // 5,000 ahead and 1,000 of trim
    r.stop();
    assert_eq!(r.duty(), Duty::OFF);
    r.start(litres(20));
    assert_eq!(r.duty().per_myriad(), 4_000);
}

#[test]
fn slew_and_limits_hold() {
    let mut r = Regulator::new(Config {
        slew_per_myriad_per_s: 1_000,
        start_ms: u32::MAX,
        most: Duty::from_per_myriad(3_500),
        least: Duty::from_per_myriad(600),
        ..config()
    });
    r.start(litres(20));
    assert_eq!(r.duty().per_myriad(), 1_000);
    assert_eq!(r.step(litres(20), Some(0), None, 500).per_myriad(), 1_500);
    assert_eq!(r.step(litres(20), Some(0), None, 60_000).per_myriad(), 3_500);
    assert_eq!(r.step(litres(20), Some(u32::MAX), None, 1_000).per_myriad(), 2_500);
    assert_eq!(r.step(litres(20), Some(u32::MAX), None, 5_000).per_myriad(), 600);
}

#[test]
fn no_windup_while_the_duty_is_limited() {
    let mut r = Regulator::new(config());
    r.start(litres(20));
    for _ in 0..600 {
        r.step(litres(20), Some(0), None, 1_000);
    }
    assert_eq!(r.duty(), Duty::FULL);
    // What the trim may add to is full duty, no more: on target again, the duty leaves the limit at once.
    assert!(r.trim.saturating_add(r.ahead) <= fine(Duty::FULL));
}

#[test]
fn after_the_start_too_little_counts_little_and_too_much_counts_whole() {
    let mut r = risen(config(), litres(20));
    for _ in 0..10 {
        assert_eq!(r.step(litres(20), Some(2_000_000), None, 1_000).per_myriad(), 4_000);
    }
    // 2 % of 2 L/min are 0.8 % of 5: 80 each of proportional part and trim.
    assert_eq!(r.step(litres(20), Some(0), None, 1_000).per_myriad(), 4_160);
    // 0.5 L/min too much: 1,000 each, of what is 4,080 without the proportional part.
    assert_eq!(r.step(litres(20), Some(2_500_000), None, 1_000).per_myriad(), 2_080);
}

#[test]
fn a_pressure_has_its_own_curve() {
    let pressure =
        Curve { at_full: 20_000, dead_per_myriad: 1_000, gain_percent: 100, integral_ms: 1_000 };
    let two_kpa = Target::pressure(Pressure::from_pa(2_000).unwrap());
    let mut r = risen(Config { pressure: Some(pressure), ..config() }, two_kpa);
    assert_eq!(r.duty().per_myriad(), 1_900);
    assert_eq!(r.step(two_kpa, Some(0), Some(2_000), 1_000).per_myriad(), 1_900);
    assert!(r.step(two_kpa, Some(0), Some(1_000), 1_000).per_myriad() > 1_900);
    let mut cannot = Regulator::new(config());
    cannot.start(two_kpa);
    assert_eq!(cannot.step(two_kpa, Some(0), Some(0), 1_000), cannot.config.least);
}

#[test]
fn the_tuning_rule() {
    // 0.8 s of lag, 1 s of delay, a gain of 1: 0.8/(1 · 1.75) and 0.8 s.
    let c = Curve::tuned(1_000_000, 0, 100, 800, 1_000);
    assert_eq!((c.gain_percent, c.integral_ms), (45, 800));
    // A slow pump: at most 4 · 1.75 s.
    let c = Curve::tuned(1_000_000, 0, 200, 60_000, 1_000);
    assert_eq!((c.gain_percent, c.integral_ms), (1_000, 7_000));
    assert_eq!(Curve::tuned(1, 0, 0, 1, 0).gain_percent, MOST_GAIN_PERCENT);
}
