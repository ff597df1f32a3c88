//! A machine in a world in which limits trip and power fails.

use draught::audit::Fit;
use draught::clock::{MonoMs, Now, WallMs};
use draught::event::{Event, Limit, PumpEnd};
use draught::machine::{
    Advance, Checkpoint, Command, Demand, EventId, Input, Machine, Phase, Wake,
};
use draught::table::TableRef;
use draught::units::RawVolume;
use draught_tests::plans::Scene;

use crate::deeds::Deed;

/// A machine at rest, and the world around it.
#[derive(Clone)]
pub struct World<'t> {
    pub table: TableRef<'t>,
    pub machine: Machine,
    mono: u64,
    /// What the wall clock would say if it could be trusted.
    wall: Option<u64>,
    trusted: bool,
    drawn: u64,
    pub rest: Advance,
    pub told: Vec<Event>,
}

impl<'t> World<'t> {
    /// Armed, and called; `None` if the schedule cannot be armed.
    pub fn new(scene: &'t Scene) -> Option<Self> {
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

    pub fn input(&self) -> Input {
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

    pub fn does(&mut self, deed: Deed) {
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
                if let Phase::Holding { step, .. } =
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
