//! From pressure to flow, against rationals.

use draught::adapt::{
    Calibration, CalibrationRefused, FlowElement, Law, RegisterSensor, WithDrop, ZeroBounds,
    ZeroRefused, ZeroSum,
};
use draught::port::{Faulty, FlowReading, FlowSensor};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use num_rational::Ratio;
use proptest::prelude::*;

use crate::sensor::{self, LAYOUT, PLAIN};

type Exact = Ratio<i128>;

const BOUNDS: ZeroBounds =
    ZeroBounds { off_at_most_mpa: 1_000, spread_at_most_mpa: 300, readings: 4 };

/// The straight number of the law, as its definition says; not as it is computed.
fn straight(law: Law, mpa: u32) -> i128 {
    match law {
        Law::Laminar => mpa.into(),
        Law::Orifice => (u128::from(mpa) << 32).isqrt().cast_signed(),
    }
}

/// The line through the points at a pressure, exactly, and the end up to which it is known.
fn line(law: Law, points: &[(u32, u32)], mpa: u32) -> (Exact, bool) {
    let x = straight(law, mpa);
    let mut all = vec![(0_i128, 0_i128)];
    all.extend(points.iter().map(|(mpa, flow)| (straight(law, *mpa), i128::from(*flow))));
    let last = all.len() - 1;
    let to = all.iter().skip(1).position(|p| x <= p.0).map_or(last, |at| at + 1);
    let ((x0, y0), (x1, y1)) = (all[to - 1], all[to]);
    let slope = Exact::new(y1 - y0, x1 - x0);
    let is_known = Exact::from(x) <= Exact::from(all[last].0 + all[last].0 / 4);
    (Exact::from(y0) + slope * (x - x0), is_known)
}

fn laws() -> impl Strategy<Value = Law> {
    prop_oneof![Just(Law::Laminar), Just(Law::Orifice)]
}

/// Four points, strictly rising, of any steepness; small and large.
fn points() -> impl Strategy<Value = [(u32, u32); 4]> {
    let step = || prop_oneof![1_u32..20, 1_u32..100_000, 1_u32..1 << 28];
    prop::array::uniform4((step(), step())).prop_map(|steps| {
        let mut at = (0, 0);
        steps.map(|(x, y)| {
            at = (at.0 + x, at.1 + y);
            at
        })
    })
}

proptest! {
    #[test]
    fn between_points_it_is_the_line_to_the_nearest(
        law in laws(), points in points(), part in 0.0..1.4_f64, any: u32,
    ) {
        let table = Calibration::new(law, points).unwrap();
        let within = (f64::from(points[3].0) * part) as u32;
        for mpa in [within, any] {
            let (exact, is_known) = line(law, &points, mpa);
            match table.flow_ul_per_min(mpa) {
                Some(u32::MAX) => prop_assert!(exact + Exact::new(1, 2) >= Exact::from(i128::from(u32::MAX))),
                Some(flow) => {
                    prop_assert!(is_known);
                    let off = exact - i128::from(flow);
                    prop_assert!(off < Exact::new(1, 2) && off >= Exact::new(-1, 2), "{off} off");
                }
                None => prop_assert!(!is_known),
            }
        }
    }

    #[test]
    fn it_is_exact_at_the_points(law in laws(), points in points()) {
        let table = Calibration::new(law, points).unwrap();
        prop_assert_eq!(table.flow_ul_per_min(0), Some(0));
        for (mpa, flow) in points {
            prop_assert_eq!(table.flow_ul_per_min(mpa), Some(flow));
        }
    }

    #[test]
    fn it_never_falls(law in laws(), points in points(), from: u32, by in prop_oneof![0_u32..5, 0_u32..1 << 30]) {
        let table = Calibration::new(law, points).unwrap();
        let from = from % points[3].0.saturating_mul(2);
        let flow = table.flow_ul_per_min(from);
        match table.flow_ul_per_min(from.saturating_add(by)) {
            Some(more) => prop_assert!(flow.is_some_and(|flow| flow <= more)),
            // Once it is not known any more, it stays so.
            None => prop_assert!(!line(law, &points, from.saturating_add(by)).1),
        }
    }

    /// The true law, with a square root of 64 more bits, is no more than the rounding and the points' own steps away.
    #[test]
    fn an_orifice_keeps_its_law(full_pa in 20_u32..2_000, full_ml in 50_u32..30_000, mpa in 1_u32..2_000_000) {
        let (full_mpa, full_ul) = (full_pa * 1_000, full_ml * 1_000);
        prop_assume!(mpa <= full_mpa);
        let table = Calibration::new(Law::Orifice, [(full_mpa, full_ul)]).unwrap();
        let flow = i128::from(table.flow_ul_per_min(mpa).unwrap());
        // flow^2 = full_ul^2 * mpa / full_mpa: the square of a flow two off must enclose it. Half a µL/min is rounding; the roots of
        // pressure and of the point are rounded down to one in 2^24 or better, of up to 30 L/min.
        let square = Exact::new(i128::from(full_ul).pow(2) * i128::from(mpa), full_mpa.into());
        prop_assert!(Exact::from((flow - 2).max(0).pow(2)) <= square);
        prop_assert!(Exact::from((flow + 2).pow(2)) >= square);
    }
}

#[test]
fn tables_that_do_not_rise() {
    let refused = |points: [(u32, u32); 3]| Calibration::new(Law::Laminar, points).err();
    let at = |point| Some(CalibrationRefused::NotRising(point));
    assert_eq!(refused([(1, 1), (2, 2), (3, 3)]), None);
    assert_eq!(refused([(0, 1), (2, 2), (3, 3)]), at(0));
    assert_eq!(refused([(1, 0), (2, 2), (3, 3)]), at(0));
    assert_eq!(refused([(1, 1), (1, 2), (3, 3)]), at(1));
    assert_eq!(refused([(1, 1), (2, 2), (3, 2)]), at(2));
    assert_eq!(Calibration::new(Law::Orifice, []).err(), Some(CalibrationRefused::Empty));
    let twice = [(u32::MAX - 2, 1), (u32::MAX - 1, 2)];
    assert_eq!(Calibration::new(Law::Orifice, twice).err(), at(1));
    let many: [(u32, u32); 300] = std::array::from_fn(|i| (i.min(298) as u32 + 1, i as u32 + 1));
    assert_eq!(Calibration::new(Law::Laminar, many).err(), at(255));
    for refused in [CalibrationRefused::Empty, CalibrationRefused::NotRising(2)] {
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
    assert!(CalibrationRefused::NotRising(2).to_string().starts_with("point 3 "));
}

fn says(mpa: i32) -> Transaction {
    Transaction::write_read(PLAIN.address, vec![0x10], mpa.to_be_bytes().to_vec())
}

/// 1 L/min at 10 Pa.
fn element(bus: &[Transaction]) -> FlowElement<Mock, 1> {
    let table = Calibration::new(Law::Laminar, [(10_000, 1_000_000)]).unwrap();
    FlowElement::new(RegisterSensor::new(Mock::new(bus), PLAIN).unwrap(), table, BOUNDS)
}

fn done(element: FlowElement<Mock, 1>) {
    element.into_inner().into_inner().done();
}

#[test]
fn readings_less_the_zero_and_never_below_nothing() {
    let mut element =
        element(&[says(5_000), says(5_000), says(-800), says(i32::MIN), says(12_500)]);
    let flow = |element: &mut FlowElement<_, 1>| element.read().map(|r| r.flow_ul_per_min);
    assert_eq!(flow(&mut element), Ok(500_000));
    element.set_zero_mpa(-700).unwrap();
    assert_eq!(flow(&mut element), Ok(570_000));
    assert_eq!(flow(&mut element), Ok(0));
    assert_eq!(flow(&mut element), Ok(0));
    // A quarter more than the table's end is known, with the zero it is beyond.
    assert_eq!(flow(&mut element), Err(Faulty));
    done(element);
}

#[test]
fn the_temperature_of_the_air_goes_along_and_failures_are_gaps() {
    let good = sensor::GOOD;
    let mut wrong = good;
    wrong[5] ^= 1;
    let bus = Mock::new(&[
        Transaction::write(LAYOUT.address, LAYOUT.start.to_vec()),
        Transaction::read(LAYOUT.address, good.to_vec()),
        Transaction::read(LAYOUT.address, wrong.to_vec()),
    ]);
    let table = Calibration::new(Law::Orifice, [(123_375, 2_000_000)]).unwrap();
    let mut element = FlowElement::new(RegisterSensor::new(bus, LAYOUT).unwrap(), table, BOUNDS);
    element.sensor().start().unwrap();
    let reading = FlowReading { flow_ul_per_min: 2_000_000, drop_pa: None, air_mk: Some(294_650) };
    assert_eq!(element.read(), Ok(reading));
    assert_eq!(element.read(), Err(Faulty));
    element.into_inner().into_inner().done();
}

/// A zero of these readings, and the zero that then holds.
fn zero_of(readings: &[i32]) -> (Result<i32, ZeroRefused>, i32) {
    let bus: Vec<_> = readings.iter().map(|mpa| says(*mpa)).collect();
    let mut element = element(&bus);
    element.set_zero_mpa(77).unwrap();
    let mut sum = ZeroSum::NONE;
    for _ in readings {
        element.read_zero(&mut sum).unwrap();
    }
    assert_eq!(usize::from(sum.count()), readings.len());
    let answer = (element.take_zero(&sum), element.zero_mpa());
    done(element);
    answer
}

#[test]
fn a_zero_that_cannot_be_believed_changes_nothing() {
    assert_eq!(zero_of(&[400, 401, 402, 403]), (Ok(402), 402)); // 401.5
    assert_eq!(zero_of(&[-400, -401, -402, -403]), (Ok(-402), -402));
    assert_eq!(zero_of(&[-1, 1, -1, 1]), (Ok(0), 0));
    assert_eq!(zero_of(&[1_000; 4]), (Ok(1_000), 1_000));
    assert_eq!(zero_of(&[850, 850, 1_150, 1_150]), (Ok(1_000), 1_000));
    assert_eq!(zero_of(&[]), (Err(ZeroRefused::TooFew), 77));
    assert_eq!(zero_of(&[400; 3]), (Err(ZeroRefused::TooFew), 77));
    assert_eq!(zero_of(&[0, 0, 0, 301]), (Err(ZeroRefused::TooUneven), 77));
    assert_eq!(zero_of(&[i32::MIN, i32::MAX, 0, 0]), (Err(ZeroRefused::TooUneven), 77));
    assert_eq!(zero_of(&[1_001; 4]), (Err(ZeroRefused::TooFar), 77));
    assert_eq!(zero_of(&[-1_001; 4]), (Err(ZeroRefused::TooFar), 77));
    assert_eq!(zero_of(&[i32::MIN; 4]), (Err(ZeroRefused::TooFar), 77));
    for refused in [ZeroRefused::TooFew, ZeroRefused::TooUneven, ZeroRefused::TooFar] {
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
}

#[test]
fn a_reading_that_failed_adds_nothing_to_a_zero() {
    use draught::adapt::embedded_hal::i2c::ErrorKind;
    let mut element = element(&[says(5).with_error(ErrorKind::Bus), says(5)]);
    let mut sum = ZeroSum::NONE;
    assert_eq!(element.read_zero(&mut sum), Err(Faulty));
    assert_eq!(sum, ZeroSum::NONE);
    element.read_zero(&mut sum).unwrap();
    assert_eq!(sum.count(), 1);
    // What was kept over an outage is bounded too.
    assert_eq!(element.set_zero_mpa(i32::MIN), Err(ZeroRefused::TooFar));
    done(element);
}

#[test]
fn the_drop_of_the_train_goes_along_and_its_failure_is_no_gap_in_the_flow() {
    let told = [says(1_499), says(1_500), says(-3_000), says(i32::MAX)];
    let fails = says(0).with_error(draught::adapt::embedded_hal::i2c::ErrorKind::Bus);
    let drop = Mock::new(told.iter().chain([&fails]));
    let mut sensor = WithDrop::new(
        element(&[says(10_000), says(10_000), says(10_000), says(10_000), says(10_000)]),
        RegisterSensor::new(drop, PLAIN).unwrap(),
    );
    let drops: Vec<_> = (0..5).map(|_| sensor.read().map(|r| r.drop_pa).unwrap()).collect();
    assert_eq!(drops, [Some(1), Some(2), Some(0), Some(2_147_484), None]);
    let (element, drop) = sensor.into_inner();
    done(element);
    drop.into_inner().done();
}

#[test]
fn without_a_flow_there_is_no_reading_and_the_drop_is_not_asked_for() {
    let fails = says(0).with_error(draught::adapt::embedded_hal::i2c::ErrorKind::Bus);
    let mut sensor =
        WithDrop::new(element(&[fails]), RegisterSensor::new(Mock::new(&[]), PLAIN).unwrap());
    assert_eq!(sensor.read(), Err(Faulty));
    let (element, drop) = sensor.into_inner();
    done(element);
    drop.into_inner().done();
}
