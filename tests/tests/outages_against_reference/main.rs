//! Trips, pauses, outages and checkpoints, on random schedules.

mod deeds;
mod world;

use draught::event::{Event, PumpEnd};
use draught::machine::{Checkpoint, Input, Machine, Wake};
use draught::prelude::*;
use draught::table::{Outage, Resume, ResumeWithin};
use proptest::prelude::*;

use crate::deeds::{deed, troubled_scene};
use crate::world::World;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

/// The stretches of each pumping step that ended by itself: its step, what it pumped and drew, its last stretch.
fn whole_steps(told: &[Event]) -> Vec<(StepNo, u64, u64, PumpEnd)> {
    let mut whole = Vec::new();
    let mut so_far = (0, 0);
    let mut goes_on = None;
    for event in told {
        match event {
            Event::PumpingBegan { step, .. } => {
                // A paused step that ends tells nothing; then the next step begins.
                if goes_on.take() != Some(*step) {
                    so_far = (0, 0);
                }
            }
            Event::PumpingEnded(p) => {
                so_far.0 += p.pumped_ms() - p.overrun_ms;
                so_far.1 += p.volume.as_raw();
                match p.by {
                    PumpEnd::Time | PumpEnd::Limit | PumpEnd::Volume => {
                        whole.push((p.step, so_far.0, so_far.1, p.by));
                    }
                    PumpEnd::Tripped(_) | PumpEnd::Outage => goes_on = Some(p.step),
                    PumpEnd::Stopped => {}
                }
            }
            // Another step, or the end.
            _ => goes_on = None,
        }
    }
    whole
}

proptest! {
    #![proptest_config(cases(1_500))]

    /// Every rest on the way is one: nothing changes at the same input or before the wake, the wake lies ahead, and the
    /// checkpoint's bytes say all of it.
    #[test]
    fn whatever_trips_or_fails_it_keeps_the_contract(
        scene in troubled_scene(),
        deeds in prop::collection::vec(deed(), 1..60),
    ) {
        let Some(mut world) = World::new(&scene) else { return Ok(()) };
        deeds.into_iter().for_each(|deed| world.does(deed));
    }

    /// Where nothing is pumping, a checkpoint and a resume at the same instant are as if nothing had been.
    #[test]
    fn an_outage_of_no_time_changes_nothing_while_the_pump_is_off(
        scene in troubled_scene(),
        before in prop::collection::vec(deed(), 0..20),
        after in prop::collection::vec(deed(), 1..40),
    ) {
        let mut scene = scene;
        if let Outage::KeepStopTime(resume) = scene.settings.outage {
            // With the stop time kept, a plan that runs late before an outage is late because of it.
            scene.settings.outage = Outage::MakeUpTime(resume);
        }
        let Some(mut world) = World::new(&scene) else { return Ok(()) };
        before.into_iter().for_each(|deed| world.does(deed));
        let kept = world.machine.checkpoint(world.table, world.input());
        let knows = world.input().now.wall.is_some();
        let abandons = scene.settings.outage == Outage::Abandon;
        if !world.machine.is_armed() || kept.is_under_way() || (!knows && abandons) {
            return Ok(());
        }
        let mut other = world.clone();
        let (machine, event) = Machine::resume(world.table, &kept, world.input()).unwrap();
        prop_assert_eq!(event, None);
        other.machine = machine;
        for deed in after {
            world.does(deed);
            other.does(deed);
            prop_assert_eq!((&world.told, world.rest), (&other.told, other.rest));
        }
    }

    /// With make-up-time a step pumps for what it asks, however it is cut up.
    #[test]
    fn stretches_add_up_to_what_the_step_asks(
        scene in troubled_scene(),
        deeds in prop::collection::vec(deed(), 1..80),
    ) {
        let mut scene = scene;
        let within = ResumeWithin::from_ms(2_678_400_000).unwrap();
        scene.settings.outage = Outage::MakeUpTime(Resume { within, while_charging: false });
        let Some(mut world) = World::new(&scene) else { return Ok(()) };
        deeds.into_iter().for_each(|deed| world.does(deed));
        for (step, pumped_ms, drawn, by) in whole_steps(&world.told) {
            match (scene.steps[step.index()], by) {
                (Step::RunFor { run, .. }, PumpEnd::Time) => {
                    prop_assert_eq!(pumped_ms, u64::from(run.as_ms()), "step {}", step.get());
                }
                (Step::DrawVolume { at_most, .. }, PumpEnd::Limit) => {
                    prop_assert_eq!(pumped_ms, u64::from(at_most.as_ms()), "step {}", step.get());
                }
                (Step::DrawVolume { volume, .. }, PumpEnd::Volume) => {
                    prop_assert!(drawn >= volume.raw().as_raw(), "step {}", step.get());
                }
                (Step::RunUntil { .. }, PumpEnd::Time | PumpEnd::Limit) => {}
                other => prop_assert!(false, "{other:?}"),
            }
        }
    }

    /// Damaged bytes make no machine, or one that does no harm.
    #[test]
    fn damaged_bytes_do_no_harm(
        scene in troubled_scene(),
        deeds in prop::collection::vec(deed(), 0..20),
        damage in prop::collection::vec((0..Checkpoint::LEN, any::<u8>()), 1..6),
        calls in prop::collection::vec((any::<u64>(), 0..3u8, any::<u64>()), 50),
    ) {
        let Some(mut world) = World::new(&scene) else { return Ok(()) };
        deeds.into_iter().for_each(|deed| world.does(deed));
        let bytes = damaged(&world, &damage);
        let Some(mut kept) = Checkpoint::from_bytes(&bytes) else { return Ok(()) };
        prop_assert_eq!(kept.to_bytes(), bytes, "one checkpoint, one sequence of bytes");
        let start = world.input();
        harmless(kept.machine, world.table, start, &calls)?;
        // As if the damage had not been noticed by anything.
        kept.schedule = world.machine.checkpoint(world.table, start).schedule;
        if let Ok((machine, _)) = Machine::resume(world.table, &kept, start) {
            harmless(machine, world.table, start, &calls)?;
        }
    }

    /// So do bytes that were never a checkpoint.
    #[test]
    fn any_bytes_do_no_harm(
        scene in troubled_scene(),
        bytes in prop::collection::vec(any::<u8>(), Checkpoint::LEN),
        calls in prop::collection::vec((any::<u64>(), 0..3u8, any::<u64>()), 50),
    ) {
        if let Some(kept) = Checkpoint::from_bytes(&bytes.try_into().unwrap()) {
            let input = Input { now: scene.armed, drawn: RawVolume::ZERO };
            harmless(kept.machine, scene.table(), input, &calls)?;
        }
    }
}

fn damaged(world: &World<'_>, damage: &[(usize, u8)]) -> [u8; Checkpoint::LEN] {
    let mut bytes = world.machine.checkpoint(world.table, world.input()).to_bytes();
    for (at, byte) in damage {
        bytes[*at] = *byte;
    }
    bytes
}

/// Calls a machine at one moment after the other; each call changes something or is a rest.
fn harmless(
    mut machine: Machine,
    table: TableRef<'_>,
    start: Input,
    calls: &[(u64, u8, u64)],
) -> Result<(), TestCaseError> {
    let mut now = start.now;
    for (ms, far, drawn) in calls {
        let ms = [ms % 100_000, ms % 1_000_000_000, *ms][usize::from(*far)];
        now = now.plus_ms(ms);
        let input = Input { now, drawn: RawVolume::from_raw(*drawn) };
        let before = machine;
        let answer = machine.advance(table, input);
        if answer.wake == Wake::Again {
            prop_assert_ne!(before, machine, "again, and nothing has changed");
        } else {
            let at_rest = machine;
            prop_assert_eq!(machine.advance(table, input), answer);
            prop_assert_eq!(at_rest, machine);
        }
    }
    Ok(())
}

// ---- The properties above mean something

/// How often each kind of deed does what it is for.
#[test]
fn random_troubles_are_real_ones() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut tripped, mut cut, mut again, mut lost, mut accepted, mut tried) = (0, 0, 0, 0, 0, 0);
    for _ in 0..400 {
        let scene = troubled_scene().new_tree(&mut runner).unwrap().current();
        let deeds = prop::collection::vec(deed(), 40..60).new_tree(&mut runner).unwrap().current();
        let Some(mut world) = World::new(&scene) else { continue };
        for (nth, deed) in deeds.into_iter().enumerate() {
            world.does(deed);
            if world.machine.is_armed() {
                let at = nth * 37 % Checkpoint::LEN;
                tried += 1;
                let bytes = damaged(&world, &[(at, 7)]);
                accepted += usize::from(Checkpoint::from_bytes(&bytes).is_some());
            }
        }
        let mut goes_on = false;
        for event in &world.told {
            match event {
                Event::PumpingEnded(p) => {
                    tripped += usize::from(matches!(p.by, PumpEnd::Tripped(_)));
                    cut += usize::from(p.by == PumpEnd::Outage);
                    goes_on = matches!(p.by, PumpEnd::Tripped(_) | PumpEnd::Outage);
                    continue;
                }
                Event::PumpingBegan { .. } => again += usize::from(goes_on),
                Event::RunLost { .. } => lost += 1,
                _ => {}
            }
            goes_on = false;
        }
    }
    let counts = [tripped, cut, again, lost];
    assert!(counts.iter().all(|count| *count > 100), "{counts:?}");
    assert!(
        accepted * 10 > tried && accepted < tried,
        "{accepted} of {tried} damaged ones accepted"
    );
}
