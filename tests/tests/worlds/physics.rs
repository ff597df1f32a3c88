//! The board itself: sensors, clocks and supply say what they must.

use draught::clock::WallMs;
use draught::port::{Ambient, Duty, FlowSensor, Monotonic, Motor, Supply, WallClock};
use draught_sim::bench::World;
use draught_sim::bench::physics::{Fault, FaultKind, SimBoard};

use crate::run::{plant, world};

fn quiet(name: &str) -> World {
    let mut world = world(name);
    (world.sensor.noise, world.sensor.gain_error, world.sensor.resolution) = (0.0, 0.0, 0.0);
    let p = plant(&mut world);
    p.element = draught_sim::bench::physics::ElementWorld {
        full_scale: p.element.full_scale,
        measures_drop: true,
        ..Default::default()
    };
    (p.pump.pulsation, p.air.celsius_error, p.air.pressure_error) = (0.0, 0.0, 0.0);
    world
}

fn begun(world: &World) -> SimBoard {
    SimBoard::new(world, 1, WallMs::from_ms(857_779_200_000)).unwrap()
}

#[test]
fn a_sensor_without_error_reads_the_mean_of_what_passed() {
    let mut board = begun(&quiet("worn-2-l-min"));
    board.drive(Duty::from_per_myriad(5_000)).unwrap();
    board.pass(60_000);
    FlowSensor::read(&mut board).unwrap();
    let before = board.truth();
    board.pass(1_000);
    let (after, reading) = (board.truth(), FlowSensor::read(&mut board).unwrap());
    let mean = (after.drawn_ul - before.drawn_ul) * 60.0 * after.inside / after.inlet;
    assert!((f64::from(reading.flow_ul_per_min) - mean).abs() < 2.0);
    assert!((f64::from(reading.drop_pa.unwrap()) - after.drop).abs() < 1.0);
    assert_eq!(reading.air_mk, Some(293_150));
    assert_eq!(FlowSensor::read(&mut board), Ok(reading), "asked again at once");
}

#[test]
fn gain_zero_drift_and_an_orifice_each_do_what_they_say() {
    let read = |how: &dyn Fn(&mut World)| {
        let mut world = quiet("worn-2-l-min");
        how(&mut world);
        let mut board = begun(&world);
        board.drive(Duty::from_per_myriad(5_000)).unwrap();
        board.pass(60_000);
        FlowSensor::read(&mut board).unwrap();
        board.pass(1_000);
        let truth = board.truth().inside;
        f64::from(FlowSensor::read(&mut board).unwrap().flow_ul_per_min) / truth
    };
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-4, "{a} {b}");
    near(read(&|_| {}), 1.0);
    near(read(&|w| w.sensor.gain_error = 0.02), 1.02);
    near(read(&|w| plant(w).element.drift_per_10k = 0.01), 1.0);
    near(
        read(&|w| {
            let p = plant(w);
            (p.element.drift_per_10k, p.air.celsius) = (0.01, 35.0);
        }),
        1.015,
    );
    near(
        read(&|w| {
            let p = plant(w);
            (p.element.orifice, p.pump.pulsation) = (true, 0.2);
        }),
        1.02_f64.sqrt(),
    );
    assert!((read(&|w| plant(w).element.zero = 10_000.0) - 1.0 - 0.005).abs() < 1e-3);
}

#[test]
fn less_voltage_and_more_drop_are_less_flow() {
    let flow = |charge: f64, added: f64| {
        let mut world = quiet("worn-2-l-min");
        plant(&mut world).path.added = added;
        let mut board = begun(&world);
        board.charge(charge);
        board.drive(Duty::from_per_myriad(6_000)).unwrap();
        board.pass(10_000);
        board.truth().inlet
    };
    assert!(flow(1.0, 0.0) > flow(0.3, 0.0) * 1.03);
    assert!(flow(1.0, 0.0) > flow(1.0, 3_000.0) * 1.2);
    // Off, it comes to a stand.
    let mut board = begun(&quiet("worn-2-l-min"));
    board.drive(Duty::FULL).unwrap();
    board.pass(5_000);
    board.drive(Duty::OFF).unwrap();
    board.pass(10_000);
    let before = board.truth().drawn_ul;
    board.pass(86_400_000);
    assert_eq!(board.truth().drawn_ul, before);
}

#[test]
fn clocks_run_by_their_crystal() {
    let mut world = quiet("worn-2-l-min");
    let p = plant(&mut world);
    (p.crystal.ppm, p.air.celsius) = (10.0, -20.0);
    let mut board = begun(&world);
    let day = 86_400_000;
    board.pass(day);
    // 10 - 0.034 · 45² = -58.85 ppm: 5.08 s a day.
    let lost = day - Monotonic::now(&mut board).as_ms();
    assert!((5_084..=5_086).contains(&lost), "{lost}");
    let wall = WallClock::now(&mut board).unwrap();
    assert_eq!(wall.since(WallMs::from_ms(857_779_200_000).unwrap()), day - lost);
}

#[test]
fn clocks_can_be_lost_and_set_and_power_can_be_cut() {
    let mut world = quiet("worn-2-l-min");
    plant(&mut world).faults = vec![
        Fault { at_ms: 10_000, lasts_ms: 5_000, kind: FaultKind::ClockLost },
        Fault { at_ms: 20_000, lasts_ms: 0, kind: FaultKind::ClockStepped(-3_600_000) },
    ];
    let mut board = begun(&world);
    let begin = WallClock::now(&mut board).unwrap();
    board.pass(12_000);
    assert_eq!(WallClock::now(&mut board), None);
    board.pass(4_000);
    assert_eq!(WallClock::now(&mut board).unwrap().since(begin), 16_000);
    board.pass(84_000);
    assert_eq!(begin.since(WallClock::now(&mut board).unwrap()), 3_600_000 - 100_000);
    board.drive(Duty::FULL).unwrap();
    board.outage(5_000);
    assert_eq!(Monotonic::now(&mut board).as_ms(), 0);
    assert_eq!(board.truth().duty, 0.0);
    assert_eq!(begin.since(WallClock::now(&mut board).unwrap()), 3_600_000 - 105_000);
}

#[test]
fn a_supply_says_when_it_is_low() {
    let mut board = begun(&quiet("worn-2-l-min"));
    assert_eq!(Supply::read(&mut board).left_percent, Some(100));
    board.charge(0.01);
    board.drive(Duty::FULL).unwrap();
    board.pass(1_000);
    assert!(Supply::read(&mut board).low);
    let mut mains = begun(&quiet("ambient-16-67"));
    mains.drive(Duty::FULL).unwrap();
    mains.pass(86_400_000);
    assert_eq!(Supply::read(&mut mains), draught::port::Power::GOOD);
}

#[test]
fn the_air_follows_the_day() {
    let mut board = begun(&quiet("ambient-16-67"));
    board.pass(15 * 3_600_000);
    let warmest = Ambient::read(&mut board).unwrap();
    assert!(warmest.temperature_mk.abs_diff(294_150) <= 2 && warmest.pressure_pa == 98_000);
    board.pass(12 * 3_600_000);
    assert!(Ambient::read(&mut board).unwrap().temperature_mk.abs_diff(276_150) <= 2);
}
