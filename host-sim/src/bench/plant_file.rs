//! The plant of a world file: `[plant]` and what goes with it, one row a constant.

use std::path::Path;

use toml::de::DeValue;

use super::physics::{AirSeries, PlantWorld};
use super::world::World;
use super::world_file::{out_of_range, plain_number};
use crate::plan::fields::{Entry, Reader};
use crate::plan::finding::Finding;
use crate::plan::source::Source;

/// Units in which a constant may be written, with what one is in the unit that it is kept in; the first is used in messages.
pub(super) type Units = &'static [(&'static str, f64)];

pub(super) const FLOW: Units = &[("L/min", 1e6), ("mL/min", 1e3)];
const PRESSURE: Units = &[("kPa", 1_000.0), ("Pa", 1.0)];
pub(super) const PART: Units = &[("%", 0.01)];
pub(super) const TIME: Units =
    &[("s", 1_000.0), ("ms", 1.0), ("min", 60_000.0), ("h", 3_600_000.0)];
const VOLTS: Units = &[("V", 1.0)];
const CURRENT: Units = &[("mA", 1.0), ("A", 1_000.0)];
const CELSIUS: Units = &[("C", 1.0), ("°C", 1.0)];
const KELVIN: Units = &[("K", 1.0)];

/// A constant: its key, its units, its limits in the first of them, and where it goes.
struct Row {
    section: &'static str,
    key: &'static str,
    units: Units,
    limits: (f64, f64),
    place: fn(&mut PlantWorld) -> &mut f64,
}

macro_rules! rows {
    ($($section:literal { $($key:literal: $units:expr, $least:literal to $most:literal => $part:ident.$field:ident;)+ })+) => {
        const ROWS: &[Row] = &[$($(Row {
            section: $section,
            key: $key,
            units: $units,
            limits: ($least, $most),
            place: |plant| &mut plant.$part.$field,
        },)+)+];
    };
}

rows! {
    "plant" {
        "free-flow": FLOW, 0.001 to 3000.0 => pump.free_flow;
        "stall-pressure": PRESSURE, 0.1 to 100.0 => pump.stall_pressure;
        "dead-drive": PART, 0.0 to 80.0 => pump.dead;
        "voltage": VOLTS, 1.0 to 400.0 => pump.volts;
        "rise": TIME, 0.0 to 60.0 => pump.rise_ms;
        "fall": TIME, 0.0 to 60.0 => pump.fall_ms;
        "pulsation": PART, 0.0 to 100.0 => pump.pulsation;
        "pulsation-at": &[("Hz", 1.0)], 1.0 to 1000.0 => pump.pulsation_hz;
    }
    "rated" {
        "flow": FLOW, 0.001 to 2000.0 => rated.flow;
        "least-flow": FLOW, 0.001 to 2000.0 => rated.least;
        "most-flow": FLOW, 0.001 to 2000.0 => rated.most;
        "drop": PRESSURE, 0.01 to 80.0 => rated.drop;
    }
    "path" {
        "filter": PRESSURE, 0.0 to 80.0 => path.filter;
        "tube": PRESSURE, 0.0 to 80.0 => path.tube;
        "fittings": PRESSURE, 0.0 to 80.0 => path.fittings;
        "added": PRESSURE, 0.0 to 80.0 => path.added;
        "dust": &[("mg/m3", 1.0)], 0.0 to 1000.0 => path.dust;
        "loading": &[("kPa/mg", 1_000.0)], 0.0 to 100.0 => path.per_mg;
    }
    "element" {
        "zero": &[("mL/min", 1e3)], -1000.0 to 1000.0 => element.zero;
        "drift-per-10-K": PART, -10.0 to 10.0 => element.drift_per_10k;
        "full-scale": FLOW, 0.001 to 4000.0 => element.full_scale;
        "warming": KELVIN, 0.0 to 50.0 => element.warming;
        "drop-error": PART, -50.0 to 50.0 => element.drop_error;
    }
    "ambient" {
        "temperature": CELSIUS, -50.0 to 60.0 => air.celsius;
        "swing": KELVIN, 0.0 to 30.0 => air.swing;
        "warmest-at": &[("h", 3_600_000.0)], 0.0 to 24.0 => air.warmest_ms;
        "pressure": PRESSURE, 30.0 to 120.0 => air.pressure;
        "temperature-error": KELVIN, -10.0 to 10.0 => air.celsius_error;
        "pressure-error": PRESSURE, -10.0 to 10.0 => air.pressure_error;
    }
    "battery" {
        "cells": &[("cells", 1.0)], 1.0 to 20.0 => battery.cells;
        "capacity": &[("mAh", 1.0)], 1.0 to 1000000.0 => battery.mah;
        "charge": PART, 0.0 to 100.0 => battery.start;
        "resistance": &[("mOhm", 1.0)], 0.0 to 10000.0 => battery.milliohm;
        "idle-current": CURRENT, 0.0 to 10000.0 => battery.idle_ma;
        "free-current": CURRENT, 0.0 to 100000.0 => battery.free_ma;
        "current-per-kPa": CURRENT, 0.0 to 10000.0 => battery.ma_per_kpa;
        "low-at": VOLTS, 0.0 to 400.0 => battery.low_v;
        "failing-at": VOLTS, 0.0 to 400.0 => battery.failing_v;
    }
    "crystal" {
        "gain": &[("ppm", 1.0)], -1000.0 to 1000.0 => crystal.ppm;
        "parabola": &[("ppm/K2", 1.0)], 0.0 to 1.0 => crystal.parabola;
        "turnover": CELSIUS, -20.0 to 60.0 => crystal.turnover;
    }
}

/// Constants that are no number with a unit.
const OTHERS: &[(&str, &str)] = &[
    ("element", "law"),
    ("element", "measures-drop"),
    ("ambient", "series"),
    ("ambient", "measured"),
    ("battery", "kind"),
];

/// Sections of the plant, in order.
pub(super) const SECTIONS: [&str; 7] =
    ["plant", "rated", "path", "element", "ambient", "battery", "crystal"];

/// The keys of a section of the plant.
pub(super) fn keys(section: &str) -> Vec<&'static str> {
    let rows = ROWS.iter().filter(|r| r.section == section).map(|r| r.key);
    let others = OTHERS.iter().filter(|o| o.0 == section).map(|o| o.1);
    rows.chain(others).collect()
}

/// Sets a constant of the plant.
pub(super) fn set(
    reader: &mut Reader<'_>,
    is: &Entry<'_, '_>,
    (section, key): (&str, &str),
    source: &Source,
    world: &mut World,
) -> Option<()> {
    let plant = world.plant.get_or_insert_default();
    if let Some(row) = ROWS.iter().find(|r| (r.section, r.key) == (section, key)) {
        *(row.place)(plant) = number(reader, is, row.units, row.limits)?;
        return Some(());
    }
    match key {
        "law" => {
            let laws = [("laminar", false), ("orifice", true)];
            plant.element.orifice = reader.choice(is, &laws)?;
        }
        "measures-drop" => plant.element.measures_drop = reader.flag(is)?,
        "measured" => plant.air.measured = reader.flag(is)?,
        "kind" => {
            let kinds = [("lithium-ion", false), ("mains", true)];
            plant.battery.mains = reader.choice(is, &kinds)?;
        }
        _ => plant.air.series = Some(series(reader, is, source)?),
    }
    Some(())
}

/// A series of the outside air from a file beside the world's.
fn series(reader: &mut Reader<'_>, is: &Entry<'_, '_>, source: &Source) -> Option<AirSeries> {
    let name = reader.text(is, "week.csv")?;
    let path = Path::new(&source.name).with_file_name(name);
    let read = std::fs::read_to_string(&path).map_err(|e| format!("it cannot be read: {e}"));
    match read.and_then(|text| AirSeries::from_csv(&text)) {
        Ok(series) => Some(series),
        Err(why) => {
            reader.report(
                Finding::error("no-series", format!("{name:?} is no series of the outside air"))
                    .at(is.value_span(), why)
                    .help("give a file beside this one, with the columns time_s, temperature_c and pressure_pa"),
            );
            None
        }
    }
}

/// A number with one of some units, in the unit that it is kept in.
pub(super) fn number(
    reader: &mut Reader<'_>,
    is: &Entry<'_, '_>,
    units: Units,
    (least, most): (f64, f64),
) -> Option<f64> {
    let (first, scale) = units[0];
    let text = reader.text(is, &format!("1 {first}"))?.trim();
    let read = units.iter().find_map(|(unit, scale)| {
        let number = text.strip_suffix(unit).map(str::trim).and_then(plain_number)?;
        Some(number * scale)
    });
    let Some(value) = read else {
        let names: Vec<&str> = units.iter().map(|u| u.0).collect();
        let names = names.join(" or ");
        reader.report(
            Finding::error("not-a-quantity", format!("{text:?} is not a number of {names}"))
                .at(is.value_span(), format!("a number and {names} are expected here"))
                .help(format!("write it as in \"1 {first}\"")),
        );
        return None;
    };
    // A little more than the limits, for what the scale rounds.
    let (low, high) = (least * scale, most * scale);
    let slack = (high - low) * 1e-12;
    if value >= low - slack && value <= high + slack {
        return Some(value);
    }
    out_of_range(reader, is, &format!("{least} {first} to {most} {first}"));
    None
}

/// Whether a world file has a plant.
pub(super) fn is_there(entry: Option<&Entry<'_, '_>>) -> bool {
    entry.is_some_and(|e| matches!(e.value.get_ref(), DeValue::Table(_)))
}
