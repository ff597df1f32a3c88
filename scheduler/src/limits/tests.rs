//! Series by hand, at the boundaries.

use super::*;
use crate::units::{Flow, Pressure};

const TWO_LITRES: u32 = 2_000_000;

fn target() -> Target {
    Target::flow(Flow::from_ul_per_min(TWO_LITRES).unwrap())
}

struct Series {
    limits: Limits,
    table: table::Limits,
    target: Target,
}

impl Series {
    fn new() -> Self {
        let limits = Limits::new(Config::default());
        Self { limits, table: table::Limits::DEFAULT, target: target() }
    }

    /// The same second, again and again; the first to trip, from 1, and what.
    fn seconds(&mut self, count: u32, seen: Seen) -> Option<(u32, Limit)> {
        (1..=count).find_map(|second| {
            let tripped = self.limits.judge(self.target, &self.table, &seen, 1_000);
            Some((second, tripped?))
        })
    }

    fn flow(&mut self, count: u32, percent: f64) -> Option<(u32, Limit)> {
        self.seconds(count, Seen::flow((f64::from(TWO_LITRES) * percent / 100.0).round() as u32))
    }
}

#[test]
fn ten_percent_is_not_more_than_ten_percent() {
    for percent in [90.0, 110.0] {
        assert_eq!(Series::new().flow(3_600, percent), None);
    }
    let mut s = Series::new();
    assert_eq!(s.seconds(61, Seen::flow(1_799_999)), Some((61, Limit::FlowLow)));
    let mut s = Series::new();
    assert_eq!(s.seconds(61, Seen::flow(2_200_001)), Some((61, Limit::FlowHigh)));
}

#[test]
fn sixty_seconds_are_not_longer_than_sixty_seconds() {
    let mut s = Series::new();
    assert_eq!(s.flow(100, 100.0), None);
    assert_eq!(s.flow(60, 0.0), None);
    assert_eq!(s.limits.judge(s.target, &s.table, &Seen::flow(0), 0), None);
    assert_eq!(s.limits.judge(s.target, &s.table, &Seen::flow(0), 1), Some(Limit::FlowLow));
}

#[test]
fn an_excursion_of_55_s_does_not_trip_however_often() {
    let mut s = Series::new();
    for _ in 0..20 {
        assert_eq!(s.flow(55, 89.0), None);
        assert_eq!(s.flow(5, 100.0), None);
    }
    assert_eq!(s.flow(61, 89.0), Some((61, Limit::FlowLow)));
}

#[test]
fn a_single_reading_inside_does_not_end_an_excursion() {
    let mut s = Series::new();
    assert_eq!(s.flow(30, 89.0), None);
    assert_eq!(s.flow(4, 100.0), None);
    // 30 + 4 + 26 are 60.
    assert_eq!(s.flow(27, 89.0), Some((27, Limit::FlowLow)));
}

#[test]
fn only_a_reading_outside_trips() {
    let mut s = Series::new();
    assert_eq!(s.flow(58, 89.0), None);
    assert_eq!(s.flow(4, 100.0), None);
    assert_eq!(s.flow(1, 100.0), None);
    assert_eq!(s.flow(60, 89.0), None, "the excursion before had ended");
}

#[test]
fn a_short_grace_waits_until_the_pump_has_settled() {
    let mut s = Series::new();
    s.table.grace = table::TripGrace::from_ms(1_000).unwrap();
    assert_eq!(s.flow(9, 50.0), None);
    assert_eq!(s.flow(1, 50.0), Some((1, Limit::FlowLow)));
    s.limits.start();
    assert_eq!(s.flow(9, 50.0), None);
    assert_eq!(s.flow(100, 100.0), None);
    assert_eq!(s.flow(2, 50.0), Some((2, Limit::FlowLow)));
}

#[test]
fn a_shut_inlet_at_the_start_trips_after_the_grace() {
    assert_eq!(Series::new().flow(100, 0.0), Some((61, Limit::FlowLow)));
}

#[test]
fn a_start_forgets() {
    let mut s = Series::new();
    assert_eq!(s.flow(59, 0.0), None);
    s.limits.start();
    assert_eq!(s.flow(60, 0.0), None);
}

#[test]
fn a_late_call_stands_for_five_seconds() {
    let mut s = Series::new();
    for _ in 0..12 {
        assert_eq!(s.limits.judge(s.target, &s.table, &Seen::flow(0), 600_000), None);
    }
    assert_eq!(s.limits.judge(s.target, &s.table, &Seen::flow(0), u64::MAX), Some(Limit::FlowLow));
}

#[test]
fn pressure_above_its_limit_trips_after_the_grace() {
    let mut s = Series::new();
    s.table.pressure_at_most = Some(Pressure::from_pa(5_000).unwrap());
    let at = |drop| Seen { drop_pa: Some(drop), ..Seen::flow(TWO_LITRES) };
    assert_eq!(s.seconds(3_600, at(5_000)), None);
    assert_eq!(s.seconds(60, at(5_001)), None);
    assert_eq!(s.seconds(4, at(5_000)), None);
    assert_eq!(s.seconds(1, at(5_001)), Some((1, Limit::Pressure)));
    s.limits.start();
    s.table.pressure_at_most = None;
    assert_eq!(s.seconds(3_600, at(50_000)), None);
}

#[test]
fn a_constant_pressure_is_judged_by_pressure() {
    let mut s = Series::new();
    s.target = Target::pressure(Pressure::from_pa(2_000).unwrap());
    let at = |drop| Seen { drop_pa: Some(drop), ..Seen::flow(1) };
    assert_eq!(s.seconds(200, at(2_200)), None);
    assert_eq!(s.seconds(61, at(2_201)), Some((61, Limit::FlowHigh)));
    s.limits.start();
    assert_eq!(s.seconds(61, at(1_799)), Some((61, Limit::FlowLow)));
    s.limits.start();
    assert_eq!(s.seconds(11, Seen::flow(1)), Some((11, Limit::Sensor)), "no pressure is measured");
}

#[test]
fn a_low_supply_may_dip() {
    let mut s = Series::new();
    let low = Seen { supply_low: true, ..Seen::flow(TWO_LITRES) };
    for _ in 0..10 {
        assert_eq!(s.seconds(2, low), None);
        assert_eq!(s.flow(1, 100.0), None);
    }
    assert_eq!(s.seconds(3, low), Some((3, Limit::Supply)));
}

#[test]
fn a_sensor_may_miss_a_reading() {
    let mut s = Series::new();
    let none = Seen { flow_ul_per_min: None, ..Seen::flow(0) };
    for _ in 0..10 {
        assert_eq!(s.seconds(10, none), None);
        assert_eq!(s.flow(1, 100.0), None);
    }
    assert_eq!(s.seconds(11, none), Some((11, Limit::Sensor)));
}

#[test]
fn what_is_not_known_does_not_end_an_excursion() {
    let mut s = Series::new();
    let none = Seen { flow_ul_per_min: None, ..Seen::flow(0) };
    assert_eq!(s.flow(40, 89.0), None);
    assert_eq!(s.seconds(10, none), None);
    assert_eq!(s.flow(11, 89.0), Some((11, Limit::FlowLow)));
}

#[test]
fn the_same_reading_while_the_duty_moves_is_a_stuck_sensor() {
    let driven = |flow, duty| Seen { duty: Duty::from_per_myriad(duty), ..Seen::flow(flow) };
    let mut s = Series::new();
    assert_eq!(s.seconds(3_600, driven(2_010_000, 5_000)), None, "a quiet sensor, a steady pump");
    assert_eq!(s.seconds(100, driven(2_010_000, 4_001)), None);
    assert_eq!(s.seconds(1, driven(2_010_000, 4_000)), Some((1, Limit::Sensor)));
    // Another reading, and it is forgotten.
    assert_eq!(s.seconds(1, driven(2_010_001, 4_000)), None);
    assert_eq!(s.seconds(10, driven(2_010_001, 9_000)), None);
    assert_eq!(s.seconds(1, driven(2_010_001, 9_000)), Some((1, Limit::Sensor)));
}

#[test]
fn nothing_read_is_a_shut_inlet_and_no_stuck_sensor() {
    let mut s = Series::new();
    for (seconds, duty) in [(30, 1_000), (30, 10_000)] {
        let seen = Seen { duty: Duty::from_per_myriad(duty), ..Seen::flow(0) };
        assert_eq!(s.seconds(seconds, seen), None);
    }
    assert_eq!(s.flow(1, 0.0), Some((1, Limit::FlowLow)));
}

#[test]
fn a_noisy_sensor_may_not_be_quiet() {
    let mut s = Series::new();
    s.limits = Limits::new(Config { same_at_most_ms: Some(60_000), ..Config::default() });
    // The first of them is not yet the same as one before.
    assert_eq!(s.flow(61, 100.0), None);
    assert_eq!(s.flow(1, 100.0), Some((1, Limit::Sensor)));
}

#[test]
fn five_percent_off_for_five_minutes_is_told() {
    let mut s = Series::new();
    s.flow(300, 105.0);
    assert!(!s.limits.is_off_target());
    s.flow(299, 105.0);
    s.seconds(1, Seen::flow(2_100_300));
    assert!(s.limits.is_off_target());
    // Half of an interval 9 % off, half on target: 4.5 %.
    s.flow(150, 91.0);
    assert!(s.limits.is_off_target(), "the latest whole one");
    s.flow(150, 100.0);
    assert!(!s.limits.is_off_target());
    s.flow(300, 94.9);
    assert!(s.limits.is_off_target());
    s.limits.start();
    assert!(!s.limits.is_off_target());
}
