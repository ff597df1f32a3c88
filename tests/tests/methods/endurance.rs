//! Battery and filter: worked out minute by minute, against arithmetic and against the bench.

use draught_sim::bench::World;
use draught_sim::bench::physics::PlantWorld;
use draught_sim::plan::source::Source;
use draught_sim::propose::{Answer, Collision, Endurance, PumpWorld, Wish, propose};

fn plant() -> PlantWorld {
    let text = include_str!("../../../docs/examples/worlds/worn-2-l-min.toml");
    World::read(&Source::new("world", text)).expect("a world").plant.expect("a plant")
}

/// The filter loads by 1.1 kPa a mg at 2 L/min from 1 kPa to 6.28 kPa: 4.8 mg, 960 L of 5 mg/m3, 8 h.
#[test]
fn the_filter_of_the_example_loads_in_8_h() {
    let runs = PumpWorld::new(plant(), None).runs(2.0);
    assert!((runs.filter_min - 480.0).abs() < 0.1, "{runs:?}");
    let half = PumpWorld::new(plant(), Some(2.5)).runs(2.0);
    assert!((half.filter_min - 960.0).abs() < 0.2, "{half:?}");
    assert!(PumpWorld::new(plant(), Some(5.0)).runs(2.5).filter_min < 300.0);
}

/// Without anything that changes, a battery lasts as long as charge over current says.
#[test]
fn a_steady_battery_lasts_as_long_as_its_charge() {
    let mut plant = plant();
    plant.path.dust = 0.0;
    plant.battery.milliohm = 0.0;
    plant.battery.failing_v = 0.0;
    plant.battery.free_ma = 0.0;
    plant.battery.ma_per_kpa = 0.0;
    plant.battery.idle_ma = 100.0;
    plant.battery.mah = 500.0;
    let runs = PumpWorld::new(plant.clone(), None).runs(1.5);
    assert!((runs.battery_min - 300.0).abs() <= 1.0, "{runs:?}");
    assert!(runs.filter_min.is_infinite());
    plant.battery.mains = true;
    assert!(PumpWorld::new(plant, None).runs(1.5).battery_min.is_infinite());
}

/// The bench itself, with a constant drop, comes to the same time within a tenth.
#[test]
fn the_bench_runs_as_long() {
    let mut plant = plant();
    plant.path.dust = 0.0;
    plant.battery.mah = 300.0;
    let predicted = PumpWorld::new(plant.clone(), None).runs(2.0).battery_min;
    let world = World { plant: Some(plant.clone()), ..World::ideal() };
    let board = draught_sim::bench::physics::SimBoard::new(&world, 1, None).expect("a board");
    // A regulator of our own: the duty is moved until the flow is 2 L/min, once a second.
    let mut duty = 3_000.0_f64;
    let mut minutes = 0.0;
    while board.truth().volts >= plant.battery.failing_v && minutes < 10_000.0 {
        drive(&board, duty);
        board.pass(1_000);
        duty = (duty - (board.truth().inlet - 2e6) / 1e6 * 300.0).clamp(0.0, 10_000.0);
        minutes += 1.0 / 60.0;
    }
    let part = minutes / predicted;
    assert!((0.9..1.1).contains(&part), "bench {minutes:.1} min, predicted {predicted:.1} min");
}

fn drive(board: &draught_sim::bench::physics::SimBoard, per_myriad: f64) {
    use draught::port::{Duty, Motor};
    let mut motor = board.clone();
    motor.drive(Duty::from_per_myriad(per_myriad as u16)).expect("a motor");
}

/// What does not last is a collision of its own, or less of the time is covered.
#[test]
fn what_does_not_last_is_said() {
    let wish = Wish {
        method_flow: Some((1.0, 2.0)),
        volume_min_l: Some(100.0),
        time_min: 480.0,
        ..Wish::default()
    };
    let with = |battery: f64, filter: f64| {
        let endurance = Endurance { battery_min: &|flow| battery / flow, filter_min: &|_| filter };
        propose(&wish, Some(&endurance)).expect("numbers")
    };
    let Answer::Possible(all) = with(2_000.0, 1_000.0) else { panic!("it lasts") };
    assert!(all.covers_all && all.samples == 1);
    let Answer::Possible(part) = with(300.0, 1_000.0) else { panic!("part of it") };
    assert!(!part.covers_all && part.total_min <= 300.0 / part.flow_l_per_min + 1e-6);
    let Answer::Possible(many) = with(2_000.0, 200.0) else { panic!("in parts") };
    assert!(many.covers_all && many.samples == 3 && many.minutes <= 200.0);
    let Answer::Impossible(found) = with(50.0, 1_000.0) else { panic!("100 L are too much") };
    assert!(matches!(found[..], [Collision::Lasting(l)] if l.is_battery), "{found:?}");
    assert_eq!(found[0].code(), "battery-short");
    let Answer::Impossible(found) = with(2_000.0, 20.0) else { panic!("40 L at most") };
    assert_eq!(found[0].code(), "filter-loads");
}
