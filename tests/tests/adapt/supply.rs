//! A supply by its voltage.

use draught::adapt::{Sensed, SupplyRefused, Thresholds, VoltageSupply};
use draught::port::{Power, Supply};
use num_rational::Ratio;
use proptest::prelude::*;

const THRESHOLDS: Thresholds = Thresholds { low_mv: 3_300, failing_mv: 3_000, hysteresis_mv: 200 };
const POINTS: [(u32, u8); 3] = [(3_400, 5), (3_700, 50), (4_150, 100)];

/// What it says of these voltages, one after the other; 0 is an ADC that failed.
fn says<const N: usize>(points: [(u32, u8); N], volts: &[u32]) -> Vec<Power> {
    let mut at = volts.iter();
    let measure = || {
        let supply_mv = *at.next()?;
        (supply_mv > 0).then_some(Sensed { supply_mv, charging: supply_mv > 4_200 })
    };
    let mut supply = VoltageSupply::new(measure, THRESHOLDS, points).unwrap();
    volts.iter().map(|_| supply.read()).collect()
}

#[test]
fn thresholds_hold_until_it_has_recovered() {
    let volts = [3_300, 3_299, 3_300, 3_499, 3_500, 2_999, 3_000, 3_199, 3_200, 3_499, 3_500];
    let states = says(POINTS, &volts).into_iter().map(|p| (p.low, p.failing)).collect::<Vec<_>>();
    let (good, low, failing) = ((false, false), (true, false), (true, true));
    let expected = [good, low, low, low, good, failing, failing, failing, low, low, good];
    assert_eq!(states, expected);
}

#[test]
fn an_adc_that_fails_leaves_the_state_and_tells_nothing_of_what_is_left() {
    let states = says(POINTS, &[3_100, 0, 4_300, 0]);
    assert_eq!(states[1], Power { left_percent: None, ..states[0] });
    assert!(states[1].low && !states[1].charging);
    assert_eq!(states[2], Power { left_percent: Some(100), charging: true, ..Power::GOOD });
    assert_eq!(states[3], Power { left_percent: None, charging: true, ..Power::GOOD });
    assert_eq!(says(POINTS, &[0]), [Power::GOOD]);
}

#[test]
fn what_is_left_at_and_beyond_the_points() {
    let left = |volts: &[u32]| {
        says(POINTS, volts).into_iter().map(|p| p.left_percent.unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(left(&[3_399, 3_400, 3_700, 4_150, 4_151, u32::MAX]), [0, 5, 50, 100, 100, 100]);
    assert_eq!(says([], &[3_700])[0].left_percent, None);
    assert_eq!(says([(3_700, 50)], &[3_700])[0].left_percent, None);
}

proptest! {
    #[test]
    fn between_points_what_is_left_is_the_line_to_the_nearest(mv in 3_400_u32..4_150) {
        let ((x0, y0), (x1, y1)) =
            if mv < 3_700 { (POINTS[0], POINTS[1]) } else { (POINTS[1], POINTS[2]) };
        let exact = Ratio::new((mv - x0) * u32::from(y1 - y0), x1 - x0) + u32::from(y0);
        let left = says(POINTS, &[mv])[0].left_percent.unwrap();
        prop_assert_eq!(u32::from(left), (exact + Ratio::new(1, 2)).to_integer());
    }
}

#[test]
fn descriptions_that_cannot_be_right() {
    let refused = |low_mv, failing_mv, points: [(u32, u8); 2]| {
        let thresholds = Thresholds { low_mv, failing_mv, hysteresis_mv: 0 };
        VoltageSupply::new(|| None, thresholds, points).err()
    };
    let good = [(3_000, 0), (4_000, 100)];
    assert_eq!(refused(3_000, 3_000, good), None);
    assert_eq!(refused(3_000, 3_001, good), Some(SupplyRefused::Thresholds));
    assert_eq!(refused(3_000, 0, good), Some(SupplyRefused::Thresholds));
    for points in [[(3_000, 0), (3_000, 9)], [(3_000, 9), (3_001, 9)], [(3_000, 9), (3_001, 101)]] {
        assert_eq!(refused(3_000, 2_000, points), Some(SupplyRefused::Discharge));
    }
    for refused in [SupplyRefused::Thresholds, SupplyRefused::Discharge] {
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
}
