//! Every constructor and accessor of the core's types, with values that nobody has checked before.

use core::num::NonZeroU8;

use draught::audit::Fit;
use draught::event::{PassCount, Pumped};
use draught::forecast::Forecast;
use draught::limits::Seen;
use draught::machine::{Checkpoint, EventId, Machine};
use draught::port::{Duty, FlowReading};
use draught::prelude::*;
use draught::record::{EventRow, Flags, Log, ROW_LEN, RowKind, SampleRow, SpanRow, Tally};
use draught::regulator::{Curve, Regulator};
use draught::table::{
    Fault, LateTolerance, Limits, Name, Outage, Resume, ResumeWithin, RetryEvery, TripGrace,
    TripPercent,
};
use draught::units::Quantity;
use draught::wire::{self, Field, Observer};
use draught::{audit, limits, regulator, table};

use crate::engine::Table;
use crate::opaque;

/// Some moment.
const NOW: Now = Now { mono: MonoMs::from_ms(0), wall: None };

/// Everything once.
pub fn all(table: &mut Table, machine: &mut Machine) {
    units();
    clocks();
    calendar();
    steps();
    settings(table);
    events(machine);
    outage(table, machine);
    records();
    control();
    bytes(table);
    forecast(table);
}

fn units() {
    let word: u32 = opaque(0);
    for quantity in [opaque(Quantity::Duration), opaque(Quantity::Weekdays)] {
        let _ = opaque(quantity.check(opaque(0)));
        opaque((quantity.range(), quantity.scale(), quantity.base_unit(), quantity.name()));
    }
    let duration = DurationMs::from_ms(word);
    opaque(duration.map(|d| (d.as_ms(), d.to_fugit(), DurationMs::from_fugit(d.to_fugit()))).ok());
    let flow = Flow::from_ul_per_min(word);
    let pressure = Pressure::from_pa(opaque(0));
    let volume = Volume::from_ml(opaque(0));
    opaque(volume.map(|v| (v.as_ml(), v.raw())).ok());
    if let Ok(flow) = flow {
        opaque(opaque(RawVolume::ZERO).time_at(flow));
    }
    if let (Ok(flow), Ok(pressure)) = (flow, pressure) {
        opaque((flow.ul_per_min(), pressure.as_pa()));
        for target in [Target::flow(flow), Target::pressure(pressure)] {
            opaque((target.kind(), target.as_flow()));
        }
        opaque(RawVolume::of(flow, opaque(0)).map(|drawn| drawn.time_at(flow)));
        opaque(Fit::flow_only(flow, flow));
    }
    let raw = RawVolume::from_raw(opaque(0));
    opaque((raw.as_raw(), raw.as_ul(), raw.as_ml()));
    opaque((raw.saturating_add(opaque(raw)), raw.since(opaque(raw))));
}

fn clocks() {
    let (a, ms): (u64, u64) = (opaque(0), opaque(0));
    let mono = MonoMs::from_ms(a);
    opaque((mono.as_ms(), mono.plus_ms(ms), mono.minus_ms(ms), mono.since(opaque(mono))));
    opaque(MonoMs::from_fugit(mono.to_fugit()));
    let wall = WallMs::from_ms(a);
    if let Some(wall) = wall {
        opaque((wall.as_ms(), wall.plus_ms(ms), wall.since(opaque(wall))));
    }
    opaque(Now { mono, wall }.plus_ms(ms));
}

fn calendar() {
    let date = Date::from_ymd(opaque(0), opaque(0), opaque(0));
    opaque(date);
    let time = TimeOfDay::from_hms(opaque(0), opaque(0), opaque(0));
    opaque(time.map(TimeOfDay::as_ms));
    let offset = UtcOffset::from_quarter_hours(opaque(0));
    opaque(Weekdays::of(opaque(&[Weekday::Monday])));
    let weekdays = Weekdays::from_bits(opaque(0));
    if let (Ok(date), Ok(time), Ok(offset), Ok(weekdays)) =
        (Date::from_days(opaque(0)), TimeOfDay::from_ms(opaque(0)), offset, weekdays)
    {
        opaque((date.ymd(), date.days(), date.weekday(), date.next()));
        opaque(date.plus_days(opaque(0)));
        opaque((weekdays.bits(), weekdays.contains(opaque(Weekday::Monday))));
        opaque((offset.quarter_hours(), offset.instant(Civil { date, time })));
        opaque(offset.instant(Civil::midnight(date)));
        opaque(WallMs::from_ms(opaque(0)).and_then(|wall| offset.civil(wall)));
    }
}

fn steps() {
    let number = StepNo::new(opaque(0));
    opaque(number.map(|n| (n.get(), n.index(), n.next())).ok());
    opaque(StepNo::at(opaque(0)));
    opaque(Passes::new(opaque(0)).map(Passes::get).ok());
    if let (Ok(from), Ok(day)) = (Date::from_days(opaque(0)), Date::from_days(opaque(0)))
        && let Ok(cycle) = Cycle::new(from, opaque(0))
    {
        opaque((cycle.from(), cycle.every(), cycle.contains(day), cycle.first_from(day)));
    }
    let step: &Step = opaque(&Step::Finish);
    opaque((step.name(), step.is_wait(), step.is_pumping(), step.needs_wall_clock()));
    opaque(step.own_target());
}

fn settings(table: &mut Table) {
    table.clear();
    let _ = opaque(table.push(*opaque(&Step::Finish)));
    opaque((table.capacity(), table.steps().len()));
    let word: u32 = opaque(0);
    let own = table.settings_mut();
    if let Ok(tolerance) = LateTolerance::from_ms(word) {
        own.late_tolerance = tolerance;
        opaque(tolerance.as_ms());
    }
    if let Ok(within) = ResumeWithin::from_ms(word) {
        own.outage = Outage::MakeUpTime(Resume { within, while_charging: opaque(true) });
        opaque(within.as_ms());
    }
    if let (Ok(every), Some(times)) = (RetryEvery::from_ms(word), NonZeroU8::new(opaque(0))) {
        own.fault = Fault::Retry { every, times };
        opaque(every.as_ms());
    }
    if let (Ok(trip), Ok(grace)) = (TripPercent::from_percent(word), TripGrace::from_ms(word)) {
        own.limits = Limits { trip, grace, pressure_at_most: None };
        opaque((trip.as_percent(), grace.as_ms()));
    }
    if let Ok(name) = Name::new(opaque("name")) {
        opaque(name.as_str());
        own.name = name;
    }
    opaque(Settings::new(own.utc_offset, own.target));
    let other: &Table = opaque(table);
    opaque(other.settings() == table.settings() && other == table);
    if let Ok(checked) = table::TableRef::new(table.settings(), table.steps()) {
        opaque((checked.settings(), checked.steps().len()));
        let _ = opaque(audit::fit(checked, opaque(&Fit::ANY)));
    }
}

fn events(machine: &Machine) {
    opaque(PassCount(opaque([0; 4])).innermost());
    let now = *opaque(&NOW);
    let pumped = Pumped {
        step: StepNo::FIRST,
        passes: PassCount::default(),
        sample: 1,
        begin: now,
        end: now,
        volume: RawVolume::ZERO,
        by: draught::event::PumpEnd::Time,
        overrun_ms: 0,
    };
    opaque(opaque(&pumped).pumped_ms());
    let EventId(id) = machine.event_id();
    opaque((id, machine.is_armed(), machine.sample(), machine.due_wall()));
    opaque(*machine == *opaque(machine));
}

/// What is kept over an outage, and going on from it.
fn outage(table: &Table, machine: &mut Machine) {
    let Ok(table) = table.checked() else { return };
    let input = *opaque(&Input { now: NOW, drawn: RawVolume::ZERO });
    let kept = machine.checkpoint(table, input);
    opaque(kept.is_under_way());
    if let Some(kept) = opaque(Checkpoint::from_bytes(opaque(&kept.to_bytes()))) {
        opaque(kept.continued(input.now.wall));
        if let Ok((resumed, event)) = Machine::resume(table, &kept, input) {
            *machine = resumed;
            opaque(event);
        }
    }
    opaque(machine.wants_operator(table));
}

/// What a record is made of, beyond what a pump does with it by itself.
fn records() {
    let mut tally = Tally::new(opaque(MonoMs::from_ms(0)));
    let reading = *opaque(&FlowReading { flow_ul_per_min: 1, drop_pa: None, air_mk: None });
    opaque(tally.reading(opaque(MonoMs::from_ms(1)), &reading, *opaque(&None)));
    tally.gap(opaque(MonoMs::from_ms(2)));
    tally.idle(opaque(MonoMs::from_ms(3)));
    opaque((tally.meter(), tally.standard(), tally.air_ms(), tally.uncorrected_ms()));
    opaque((tally.air(), tally.interval_means()));
    opaque(tally.is_unsteady());
    let times = *opaque(&(None, None));
    let sample = SampleRow::of(EventId(opaque(1)), opaque(1), times, opaque(1), &tally);
    let sample = SampleRow::from_bytes(opaque(&sample.to_bytes())).unwrap_or(sample);
    opaque((sample.volume(), sample.metered_ms(), sample.flow_ul_per_min()));
    opaque((sample.cv_per_myriad(), sample.temperature_mk(), sample.pressure_pa()));
    opaque(SpanRow::from_bytes(opaque(&[0; ROW_LEN])).map(|row| row.to_bytes()));
    opaque(EventRow::from_bytes(opaque(&[0; ROW_LEN])).map(|row| row.to_bytes()));
    opaque(RowKind::from_byte(opaque(1)));
    let mut flags = *opaque(&Flags::default());
    flags.set(*opaque(&Flags::LATE));
    opaque(flags.has(Flags::LATE));
    let mut log = Log::<4>::default();
    log.note(NOW, *opaque(&Event::Ended(EndReason::Finished)));
    opaque((log.told(), log.counts()));
    log.latest().for_each(|happened| {
        opaque(happened);
    });
}

/// How a motor is driven and when it must stop.
fn control() {
    let curve = Curve::tuned(opaque(1), opaque(1), opaque(1), opaque(1), opaque(1));
    let config = regulator::Config { flow: curve, ..regulator::Config::default() };
    let mut regulator = Regulator::new(*opaque(&config));
    let target = Target::flow(Flow::SMALLEST);
    regulator.start(target);
    opaque(regulator.step(target, opaque(None), opaque(None), opaque(1)));
    regulator.stop();
    opaque(regulator.duty().per_myriad());
    opaque(Duty::from_per_myriad(opaque(1)));
    let mut limits = limits::Limits::new(*opaque(&limits::Config::default()));
    limits.start();
    limits.next_sampler();
    let seen = *opaque(&Seen::flow(opaque(1)));
    opaque(limits.judge(target, opaque(&table::Limits::DEFAULT), &seen, opaque(1)));
    opaque(limits.is_off_target());
}

/// The other lines of a forecast.
fn forecast(table: &Table) {
    if let Ok(table) = table.checked()
        && let Ok(forecast) = Forecast::new(table, opaque(&Fit::ANY), *opaque(&NOW))
    {
        opaque(forecast.clone().resumed_at_once().next());
        opaque(forecast.resumed_after(opaque(1)).next());
    }
}

struct Watcher;

impl Observer for Watcher {
    fn field(&mut self, field: &Field<'_>) {
        opaque(field.name.as_str());
        opaque(field);
    }
}

fn bytes(table: &Table) {
    if let Ok(table) = table.checked() {
        opaque((wire::encoded_len(table), wire::schedule_id(table)));
    }
    opaque(wire::max_len(opaque(0)));
    opaque(wire::seal(opaque(&[])));
    let _ = opaque(wire::observe(opaque(&[]), opaque(0), Watcher));
}
