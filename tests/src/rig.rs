//! The least board that a pump engine runs on: time that the test moves, a motor whose flow follows its duty at once, and a flash
//! that can be cut off.
//!
//! Everything is in one place behind a counted pointer, so that a test looks at it and changes it while a pump owns it, and so
//! that it outlives the pump when the power goes.

use std::cell::{Ref, RefCell, RefMut};
use std::collections::VecDeque;
use std::rc::Rc;

use draught::audit::Fit;
use draught::clock::{MonoMs, WallMs};
use draught::journal::Region;
use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use draught::limits;
use draught::port::{
    Air, Ambient, Duty, Faulty, FlowReading, FlowSensor, Indications, Key, Monotonic, Motor, Panel,
    Power, Supply, WallClock,
};
use draught::pump::{Board, Booted, Config, Pump, Regions};
use draught::record::{EventRow, Origin, RowKind, SampleRow, SpanRow};
use draught::regulator::{self, Curve};
use draught::step::Step;
use draught::table::{Settings, StepTable};
use draught::wire;

use crate::nor::Nor;

/// The pages of the rig's flash.
pub const PAGE: usize = 4_096;

/// Those of them that hold checkpoints.
pub const CHECKPOINT_PAGES: std::ops::Range<usize> = 8..16;

/// A pump on the rig.
pub type Pumping = Pump<Rig, 32>;

/// The block of a schedule; the finish is added.
///
/// # Panics
/// When it is no schedule.
#[must_use]
pub fn block(settings: Settings, steps: &[Step]) -> Vec<u8> {
    let mut table = StepTable::<32>::new(settings);
    for step in steps.iter().chain([&Step::Finish]) {
        table.push(*step).expect("room for 32 steps");
    }
    let mut block = [0; wire::max_len(32)];
    let len = wire::encode(table.checked().expect("a schedule"), &mut block).expect("room");
    block[..len].to_vec()
}

/// What surrounds the pump.
#[derive(Clone, Debug)]
pub struct Surroundings {
    /// Time, in ms from the beginning of the test; power or not.
    pub ms: u64,
    /// When power came on last.
    pub on_ms: u64,
    /// The wall clock at the beginning of the test; `None` while it cannot be trusted.
    pub wall: Option<WallMs>,
    /// So many readings of the wall clock fail, from now on.
    pub wall_fails: u32,
    /// So many readings of it succeed before those.
    pub wall_skips: u32,
    /// The pressure drop across the sampling train, in Pa, where it is measured.
    pub drop_pa: Option<u32>,
    /// How hard the motor is driven.
    pub duty: Duty,
    /// What full duty draws with nothing in the way, in µL/min.
    pub full_ul_per_min: u64,
    /// How much of the flow gets through, in percent.
    pub open_percent: u64,
    /// For how long a sample must be drawn, in ms.
    pub sample_ms: Option<(u64, u64)>,
    /// The sensor answers.
    pub sensor_works: bool,
    /// The outside air, where it is measured.
    pub air: Option<Air>,
    /// The sensor for it answers.
    pub air_sensor_works: bool,
    /// The supply.
    pub power: Power,
    /// Keys to be pressed.
    pub keys: VecDeque<Key>,
    /// What the panel shows.
    pub shown: Indications,
    /// What was drawn, in µL·ms/min.
    pub truly_drawn: u64,
    /// For how long the motor ran, in ms.
    pub truly_pumped_ms: u64,
    /// The flash.
    pub nor: Nor<4, PAGE>,
    /// The flash refuses to be written, and power is there.
    pub flash_fails: bool,
    /// So many writes to the flash fail, from now on.
    pub flash_hiccups: u32,
    /// The motor's driver does not take what it is told.
    pub motor_fails: bool,
    /// How often it was written while the motor ran.
    pub written_while_driven: u64,
}

impl Surroundings {
    fn flow(&self) -> u64 {
        self.full_ul_per_min * u64::from(self.duty.per_myriad()) / 10_000 * self.open_percent / 100
    }
}

/// The board, and all of its ports.
#[derive(Clone, Debug)]
pub struct Rig(Rc<RefCell<Surroundings>>);

impl Rig {
    /// With power, at an instant.
    #[must_use]
    pub fn new(wall: WallMs, seed: u64) -> Self {
        Self(Rc::new(RefCell::new(Surroundings {
            ms: 0,
            on_ms: 0,
            wall: Some(wall),
            wall_fails: 0,
            wall_skips: 0,
            drop_pa: None,
            duty: Duty::OFF,
            full_ul_per_min: 5_000_000,
            open_percent: 100,
            sample_ms: None,
            sensor_works: true,
            air: None,
            air_sensor_works: true,
            power: Power { left_percent: Some(80), ..Power::GOOD },
            keys: VecDeque::new(),
            shown: Indications::default(),
            truly_drawn: 0,
            truly_pumped_ms: 0,
            nor: Nor::new(64, seed),
            flash_fails: false,
            flash_hiccups: 0,
            motor_fails: false,
            written_while_driven: 0,
        })))
    }

    /// Looks at it.
    #[must_use]
    pub fn look(&self) -> Ref<'_, Surroundings> {
        self.0.borrow()
    }

    /// Changes it.
    #[must_use]
    pub fn set(&self) -> RefMut<'_, Surroundings> {
        self.0.borrow_mut()
    }

    /// Time passes.
    pub fn pass(&self, ms: u64) {
        let mut s = self.set();
        s.truly_drawn += s.flow() * ms;
        s.truly_pumped_ms += if s.duty == Duty::OFF { 0 } else { ms };
        s.ms += ms;
    }

    /// Power is gone for a time, and comes back: nothing is left but the flash and the wall clock.
    pub fn outage(&self, ms: u64) {
        let mut s = self.set();
        s.duty = Duty::OFF;
        s.ms += ms;
        s.on_ms = s.ms;
        s.nor.boot();
    }

    /// Boots a pump on it.
    ///
    /// # Panics
    /// When the flash is not laid out as it must be.
    #[must_use]
    pub fn boot(&self, checkpoint_ms: u32) -> (Pumping, Booted) {
        let region = |from: usize, pages| {
            Region::new(&*self, (from * PAGE) as u32, pages).expect("pages of the rig")
        };
        let config = Config {
            device: 7,
            origin: Origin::Simulated,
            fit: Fit::ANY,
            regulator: regulator::Config {
                flow: Curve::tuned(self.look().full_ul_per_min as u32, 0, 100, 1_000, 1_000),
                ..regulator::Config::default()
            },
            limits: limits::Config::default(),
            reading_ms: 1_000,
            checkpoint_ms,
            sample_ms: self.look().sample_ms,
            regions: Regions {
                shelf: region(0, 8),
                shelf_half_pages: 1,
                checkpoints: region(CHECKPOINT_PAGES.start, CHECKPOINT_PAGES.len() as u16),
                records: region(16, 16),
            },
        };
        let mut pump = Pump::new(self.clone(), config).expect("regions of the rig");
        let booted = pump.boot(&mut [0; 640]);
        (pump, booted)
    }

    fn may_write(&self) -> Result<(), NorFlashErrorKind> {
        let mut s = self.set();
        s.written_while_driven += u64::from(s.duty != Duty::OFF);
        let hiccup = s.flash_hiccups > 0;
        s.flash_hiccups -= u32::from(hiccup);
        if s.flash_fails || hiccup { Err(NorFlashErrorKind::Other) } else { Ok(()) }
    }

    fn mono_now(&self) -> u64 {
        let s = self.look();
        s.ms - s.on_ms
    }

    fn wall_now(&self) -> Option<WallMs> {
        let mut s = self.set();
        if s.wall_skips > 0 {
            s.wall_skips -= 1;
        } else if s.wall_fails > 0 {
            s.wall_fails -= 1;
            return None;
        }
        s.wall?.plus_ms(s.ms)
    }

    /// Polls a pump at each wake until a time, or until the flash is cut off. Whether power is still there is the answer.
    pub fn run(&self, pump: &mut Pumping, until_ms: u64) -> bool {
        while self.look().ms < until_ms {
            let wake = pump.poll();
            if self.look().nor.hit().is_some() {
                return false;
            }
            let left = until_ms - self.look().ms;
            self.pass(self.time_to(pump, wake).clamp(1, left.max(1)));
        }
        true
    }

    fn time_to(&self, pump: &mut Pumping, wake: draught::machine::Wake) -> u64 {
        let draught::machine::Wake::At { mono, wall, .. } = wake else { return 0 };
        let now = pump.now();
        let mono = mono.map(|at| at.since(now.mono));
        let wall = wall.zip(now.wall).map(|(at, now)| at.since(now));
        mono.into_iter().chain(wall).min().unwrap_or(60_000)
    }
}

/// The rows of the journal.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rows {
    /// Stretches of pumping.
    pub spans: Vec<SpanRow>,
    /// Samples.
    pub samples: Vec<SampleRow>,
    /// Events.
    pub events: Vec<EventRow>,
}

impl Rows {
    /// All that a pump keeps.
    ///
    /// # Panics
    /// When a row cannot be read.
    #[must_use]
    pub fn of(pump: &mut Pumping) -> Self {
        let mut rows = Self::default();
        pump.each_row(|_, kind, row| match kind {
            RowKind::Span => rows.spans.push(SpanRow::from_bytes(row).expect("a span")),
            RowKind::Sample => rows.samples.push(SampleRow::from_bytes(row).expect("a sample")),
            RowKind::Event => rows.events.push(EventRow::from_bytes(row).expect("an event")),
        });
        rows
    }
}

impl Monotonic for Rig {
    fn now(&mut self) -> MonoMs {
        MonoMs::from_ms(self.mono_now())
    }
}

impl WallClock for Rig {
    fn now(&mut self) -> Option<WallMs> {
        self.wall_now()
    }
}

impl Motor for Rig {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        let mut s = self.set();
        if s.motor_fails {
            return Err(Faulty);
        }
        s.duty = duty;
        Ok(())
    }
}

impl FlowSensor for Rig {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        let s = self.look();
        if !s.sensor_works {
            return Err(Faulty);
        }
        let flow_ul_per_min = u32::try_from(s.flow()).expect("a flow");
        Ok(FlowReading { flow_ul_per_min, drop_pa: s.drop_pa, air_mk: None })
    }
}

impl Supply for Rig {
    fn read(&mut self) -> Power {
        self.look().power
    }
}

impl Ambient for Rig {
    fn read(&mut self) -> Option<Air> {
        let s = self.look();
        if s.air_sensor_works { s.air } else { None }
    }

    fn is_there(&self) -> bool {
        self.look().air.is_some()
    }
}

impl Panel for Rig {
    fn show(&mut self, indications: Indications) {
        self.set().shown = indications;
    }

    fn key(&mut self) -> Option<Key> {
        self.set().keys.pop_front()
    }
}

impl ErrorType for Rig {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Rig {
    const READ_SIZE: usize = 1;

    fn read(&mut self, at: u32, to: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.set().nor.read(at, to)
    }

    fn capacity(&self) -> usize {
        self.look().nor.capacity()
    }
}

impl NorFlash for Rig {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.may_write()?;
        self.set().nor.erase(from, to)
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        self.may_write()?;
        self.set().nor.write(at, bytes)
    }
}

impl Board for Rig {
    type Mono = Self;
    type Wall = Self;
    type Motor = Self;
    type Flow = Self;
    type Supply = Self;
    type Ambient = Self;
    type Flash = Self;
    type Panel = Self;

    fn mono(&mut self) -> &mut Self {
        self
    }
    fn wall(&mut self) -> &mut Self {
        self
    }
    fn motor(&mut self) -> &mut Self {
        self
    }
    fn flow(&mut self) -> &mut Self {
        self
    }
    fn supply(&mut self) -> &mut Self {
        self
    }
    fn ambient(&mut self) -> &mut Self {
        self
    }
    fn flash(&mut self) -> &mut Self {
        self
    }
    fn panel(&mut self) -> &mut Self {
        self
    }
}
