//! Trips, pauses, outages and checkpoints, on random schedules.

use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{Event, Limit, PumpEnd};
use draught::machine::{Advance, Checkpoint, Command, Demand, EventId, Input, Machine, Wake};
use draught::prelude::*;
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::plans::{Scene, scene};
use proptest::prelude::*;

fn cases(cases: u32) -> ProptestConfig {
    // PROPTEST_CASES asks for another number of them.
    let default = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() { default.cases } else { cases };
    ProptestConfig { cases, failure_persistence: None, ..default }
}

/// What happens next.
#[derive(Clone, Copy, Debug)]
enum Deed {
    /// The machine is called at its wake.
    Wake,
    /// So many thousandths of the way to it.
    Early(u16),
    /// So many ms after it.
    Late(u32),
    /// A limit trips.
    Trip(u8),
    /// The power fails for so many ms, and the clock that knows the date with it or not.
    Cut(u32, bool),
    /// The clock that knows the date is set.
    SetClock,
    /// The operator confirms a sampler.
    Confirm,
    /// The operator resumes whatever hold is under way.
    ResumeHold,
}

fn deed() -> impl Strategy<Value = Deed> {
    let gap = prop_oneof![
        1 => Just(0u32),
        3 => 1..=600_000u32,
        2 => 1..=7_200_000u32,
        1 => 1..=200_000_000u32,
    ];
    prop_oneof![
        8 => Just(Deed::Wake),
        3 => (0..1_000u16).prop_map(Deed::Early),
        2 => (1..=5_000_000u32).prop_map(Deed::Late),
        4 => (0..5u8).prop_map(Deed::Trip),
        4 => (gap, prop::bool::weighted(0.15)).prop_map(|(ms, blind)| Deed::Cut(ms, blind)),
        2 => Just(Deed::SetClock),
        1 => Just(Deed::Confirm),
        1 => Just(Deed::ResumeHold),
    ]
}

fn fault() -> impl Strategy<Value = Fault> {
    let retry = (prop_oneof![1..=600u32, 1..=86_400u32], 1..=4u8).prop_map(|(seconds, times)| {
        Fault::Retry {
            every: RetryEvery::from_ms(seconds * 1_000).unwrap(),
            times: times.try_into().unwrap(),
        }
    });
    prop_oneof![1 => Just(Fault::Stop), 1 => Just(Fault::Close), 5 => retry]
}

fn outage() -> impl Strategy<Value = Outage> {
    let minutes = prop_oneof![10..=1_600u32, 1..=44_640u32];
    let resume = minutes.prop_map(|minutes| Resume {
        within: ResumeWithin::from_ms(minutes * 60_000).unwrap(),
        while_charging: false,
    });
    (0..5u8, resume).prop_map(|(rule, resume)| match rule {
        0..2 => Outage::KeepStopTime(resume),
        2..4 => Outage::MakeUpTime(resume),
        _ => Outage::Abandon,
    })
}

fn troubled_scene() -> impl Strategy<Value = Scene> {
    (scene(), fault(), outage()).prop_map(|(mut scene, fault, outage)| {
        (scene.settings.fault, scene.settings.outage) = (fault, outage);
        scene
    })
}

/// A machine at rest, and the world around it.
#[derive(Clone)]
struct World<'t> {
    table: TableRef<'t>,
    machine: Machine,
    mono: u64,
    /// What the wall clock would say if it could be trusted.
    wall: Option<u64>,
    trusted: bool,
    drawn: u64,
    rest: Advance,
    told: Vec<Event>,
}

impl<'t> World<'t> {
    /// Armed, and called; `None` if the schedule cannot be armed.
    fn new(scene: &'t Scene) -> Option<Self> {
        let table = scene.table();
        let mut machine = Machine::new();
        let input = Input { now: scene.armed, drawn: RawVolume::ZERO };
        machine.arm(table, &Fit::ANY, EventId(9), input).ok()?;
        let mut world = Self {
            table,
            machine,
            mono: scene.armed.mono.as_ms(),
            wall: scene.armed.wall.map(WallMs::as_ms),
            trusted: true,
            drawn: 0,
            rest: Advance { demand: Demand::Off, wake: Wake::Again, event: None },
            told: Vec::new(),
        };
        world.settle();
        Some(world)
    }

    fn input(&self) -> Input {
        let wall = self.wall.filter(|_| self.trusted).and_then(WallMs::from_ms);
        let now = Now { mono: MonoMs::from_ms(self.mono), wall };
        Input { now, drawn: RawVolume::from_raw(self.drawn) }
    }

    fn flow(&self) -> u64 {
        let Demand::Pump(target) = self.rest.demand else { return 0 };
        target.as_flow().map_or(777_777, |flow| flow.ul_per_min().into())
    }

    fn pass(&mut self, ms: u64) {
        self.mono = self.mono.saturating_add(ms);
        self.wall = self.wall.map(|wall| wall.saturating_add(ms));
        self.drawn = self.drawn.saturating_add(self.flow().saturating_mul(ms));
    }

    /// How long until the earliest wake; a minute if there is none.
    fn until_wake(&self) -> u64 {
        let Wake::At { mono, wall, drawn } = self.rest.wake else { panic!("not at rest") };
        let Input { now, drawn: so_far } = self.input();
        let by_mono = mono.map(|at| at.since(now.mono));
        let by_wall = wall.zip(now.wall).map(|(at, now)| at.since(now));
        let by_volume = drawn
            .map(|v| v.since(so_far).as_raw())
            .zip(self.flow().into())
            .and_then(|(v, q)| (q > 0).then(|| v.div_ceil(q)));
        [by_mono, by_wall, by_volume].into_iter().flatten().min().unwrap_or(60_000)
    }

    /// Calls until it comes to rest, and checks what must hold of every rest.
    fn settle(&mut self) {
        let input = self.input();
        let mut calls = 0;
        loop {
            let before = self.machine;
            self.rest = self.machine.advance(self.table, input);
            self.told.extend(self.rest.event);
            if self.rest.wake != Wake::Again {
                let mut once_more = self.machine;
                assert_eq!(once_more.advance(self.table, input), self.rest);
                assert_eq!((once_more, self.rest.event), (self.machine, None), "at rest");
                break;
            }
            assert_ne!(before, self.machine, "again, and nothing has changed");
            calls += 1;
            assert!(calls < 2_000_000, "it never comes to rest");
        }
        self.assert_wake_is_ahead();
        self.assert_early_calls_are_harmless();
        let kept = self.machine.checkpoint(self.table, input);
        assert_eq!(Checkpoint::from_bytes(&kept.to_bytes()), Some(kept), "its bytes say all of it");
    }

    fn assert_wake_is_ahead(&self) {
        let Wake::At { mono, wall, drawn } = self.rest.wake else { panic!("not at rest") };
        let Input { now, drawn: so_far } = self.input();
        assert!(mono.is_none_or(|at| at > now.mono), "{mono:?} has come at {now:?}");
        assert!(now.wall.is_none_or(|now| wall.is_none_or(|at| at > now)), "{wall:?} at {now:?}");
        assert!(drawn.is_none_or(|v| v > so_far), "{drawn:?} has been drawn: {so_far:?}");
    }

    fn assert_early_calls_are_harmless(&self) {
        let ms = self.until_wake();
        for early in [ms / 2, ms.saturating_sub(1)] {
            let mut other = self.clone();
            other.pass(early);
            let answer = other.machine.advance(self.table, other.input());
            assert_eq!((answer, other.machine), (self.rest, self.machine), "{early} of {ms} ms");
        }
    }

    fn command(&mut self, command: Command) {
        let before = self.machine;
        match self.machine.command(self.table, command, self.input()) {
            Ok(answer) => {
                self.told.extend(answer.event);
                self.settle();
            }
            Err(_) => assert_eq!(before, self.machine, "a refused command changes nothing"),
        }
    }

    fn lose_power(&mut self, ms: u32, blind: bool) {
        let kept = self.machine.checkpoint(self.table, self.input());
        self.wall = self.wall.map(|wall| wall.saturating_add(ms.into()));
        self.trusted &= !blind;
        let (mono, known) = kept.continued(self.input().now.wall);
        assert_eq!(known.unwrap_or(0), mono.since(kept.at.mono));
        self.mono = mono.as_ms();
        let Ok((machine, event)) = Machine::resume(self.table, &kept, self.input()) else {
            assert!(!self.machine.is_armed());
            return;
        };
        self.machine = machine;
        if let Demand::Pump(_) = self.rest.demand {
            assert!(matches!(event, Some(Event::PumpingEnded(p))
                if p.by == PumpEnd::Outage && p.end == kept.at));
        } else {
            assert_eq!(event, None);
        }
        self.told.extend(event);
        self.rest.demand = Demand::Off;
        self.settle();
    }

    fn does(&mut self, deed: Deed) {
        match deed {
            Deed::Wake => self.pass(self.until_wake()),
            Deed::Early(thousandths) => {
                self.pass(self.until_wake().saturating_mul(thousandths.into()) / 1_000);
            }
            Deed::Late(ms) => self.pass(self.until_wake().saturating_add(ms.into())),
            Deed::Trip(which) => {
                return self.command(Command::Trip(Limit::ALL[usize::from(which)]));
            }
            Deed::Cut(ms, blind) => return self.lose_power(ms, blind),
            Deed::SetClock => self.trusted = true,
            Deed::Confirm => return self.command(Command::ConfirmSampler),
            Deed::ResumeHold => {
                if let draught::machine::Phase::Holding { step, .. } =
                    self.machine.phase(self.table, self.input().now)
                {
                    self.command(Command::Resume { step });
                }
                return;
            }
        }
        self.settle();
    }
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
