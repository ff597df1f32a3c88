//! `[[sampler]]` and what is below it.

use super::amounts::{
    choice, civil, count, date, known, lost, mass, quantities, quantity, stated_text, table,
    tables, text,
};
use super::field::{
    Custody, FlowFrom, FlowReadings, Group, HandOver, InShift, Kind, Lab, Sampler, VolumeFrom,
};
use super::head::id;
use crate::hygiene::Amount;
use crate::hygiene::air::MeterKind;
use crate::hygiene::parse::Kind as Of;
use crate::hygiene::verify::Run;
use crate::plan::fields::{Fields, Reader};
use crate::plan::finding::Finding;

const SAMPLER: &[&str] = &[
    "id",
    "kind",
    "worker",
    "place",
    "pump",
    "record",
    "sample",
    "method",
    "flow-from",
    "volume-from",
    "media-lot",
    "expiry",
    "seal",
    "duplicate-of",
    "group",
    "before",
    "after",
    "check",
    "custody",
    "lab",
];
const READINGS: &[&str] = &[
    "at",
    "flow",
    "runs",
    "temperature",
    "pressure",
    "meter",
    "meter-kind",
    "meter-u",
    "calibrated-temperature",
    "calibrated-pressure",
    "by",
];
const CHECK: &[&str] = &["at", "flow", "minutes", "by"];
const CUSTODY: &[&str] =
    &["placed-by", "removed-by", "relinquished", "received", "storage", "retrieve-by"];
const LAB: &[&str] = &[
    "analyte",
    "mass",
    "mass-front",
    "mass-back",
    "below",
    "lod",
    "loq",
    "u",
    "reported-by",
    "at",
];
/// A flow that a sampler can have, in L/min.
const FLOWS: (f64, f64) = (1e-6, 2000.0);
const CELSIUS: (f64, f64) = (-80.0, 80.0);
const KPA: (f64, f64) = (30.0, 120.0);
const METERS: [(&str, MeterKind); 4] = [
    ("bubble", MeterKind::Bubble),
    ("piston", MeterKind::Piston),
    ("rotameter", MeterKind::Rotameter),
    ("other", MeterKind::Other),
];

/// The word of a kind of meter.
pub(crate) fn meter_word(kind: MeterKind) -> &'static str {
    METERS.iter().find(|(_, k)| *k == kind).map_or("other", |(word, _)| word)
}

pub(super) fn sampler(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Sampler> {
    known(reader, f, SAMPLER, "[[sampler]]");
    let kind = choice(reader, f, "kind", &Kind::ALL).map_or(Kind::Pump, |k| k.is);
    let flows = [("verified", FlowFrom::Verified), ("pump", FlowFrom::Pump)];
    let before = tables(reader, f, "before", "[[sampler.before]]", true);
    let before: Vec<_> = before.iter().map(|f| readings(reader, f, "before")).collect();
    let after = tables(reader, f, "after", "[[sampler.after]]", true);
    let after: Vec<_> = after.iter().map(|f| readings(reader, f, "after")).collect();
    let checks = tables(reader, f, "check", "[[sampler.check]]", true);
    let checks: Vec<_> = checks.iter().map(|f| check(reader, f)).collect();
    if kind != Kind::Pump {
        for key in ["pump", "record", "sample", "before", "after", "check", "volume-from"] {
            if let Some(entry) = f.get(key) {
                let what = format!("a {} has no {key:?}: it is not on a pump", kind.word());
                reader.report(
                    Finding::error("not-here", what)
                        .at(entry.key_span(), "has no meaning here")
                        .help(format!("delete {key:?}, or write kind = \"pump\"")),
                );
            }
        }
    }
    let custody = table(reader, f, "custody", "[sampler.custody]");
    let custody = custody.map(|f| self::custody(reader, &f)).unwrap_or_default();
    let lab = tables(reader, f, "lab", "[[sampler.lab]]", true);
    let lab: Vec<_> = lab.iter().map(|f| self::lab(reader, f, kind)).collect();
    let worker = stated_text(reader, f, "worker", "W1");
    let place = text(reader, f, "place", "breathing zone");
    let pump = stated_text(reader, f, "pump", "P1");
    let record = stated_text(reader, f, "record", "records/p1.json").filter(|r| {
        let inside = !r.is.starts_with(['/', '\\']) && !r.is.split(['/', '\\']).any(|p| p == "..");
        if !inside {
            reader.report(
                Finding::error("out-of-range", "\"record\" is not in this folder")
                    .at(r.at.clone(), "a path inside the folder is wanted")
                    .help("copy the record into records/, and write record = \"records/p1.json\""),
            );
        }
        inside
    });
    Some(Sampler {
        kind,
        worker,
        place,
        pump,
        record,
        sample: count(reader, f, "sample"),
        method: stated_text(reader, f, "method", "nmam-0600"),
        flow_from: choice(reader, f, "flow-from", &flows).map(|s| s.is),
        volume_from: choice(reader, f, "volume-from", &VolumeFrom::ALL),
        media_lot: text(reader, f, "media-lot", "L-2027-03"),
        expiry: date(reader, f, "expiry"),
        seal: text(reader, f, "seal", "0117"),
        duplicate_of: stated_text(reader, f, "duplicate-of", "S-102"),
        group: choice(reader, f, "group", &Group::ALL).map(|s| s.is),
        before,
        after,
        checks,
        custody,
        lab,
        id: id(reader, f, "sampler", "S-101")?,
    })
}

fn readings(reader: &mut Reader<'_>, f: &Fields<'_, '_>, of: &str) -> FlowReadings {
    known(reader, f, READINGS, &format!("[[sampler.{of}]]"));
    let runs =
        tables(reader, f, "runs", "runs = [{ volume = \"500 mL\", time = \"14.9 s\" }]", false);
    let runs = runs.iter().filter_map(|f| {
        known(reader, f, &["volume", "time"], "a timing");
        let volume = quantity(reader, f, "volume", Of::Volume, (1e-5, 1e4));
        let time = quantity(reader, f, "time", Of::Duration, (1e-4, 1e4));
        if f.get("volume").is_none() || f.get("time").is_none() {
            reader.report(
                Finding::error("missing-key", "a timing needs \"volume\" and \"time\"")
                    .at(f.span.clone(), "one is missing here")
                    .help("write { volume = \"500 mL\", time = \"14.9 s\" }"),
            );
        }
        Some(Run { volume_ml: volume? * 1e3, time_s: time? * 60.0 })
    });
    let runs: Vec<Run> = runs.collect();
    let readings = FlowReadings {
        when: civil(reader, f, "at"),
        flows_l_per_min: quantities(reader, f, "flow", Of::Flow, FLOWS),
        runs,
        temperature_c: quantity(reader, f, "temperature", Of::Temperature, CELSIUS),
        pressure_kpa: quantity(reader, f, "pressure", Of::Pressure, KPA),
        meter: text(reader, f, "meter", "M-3"),
        meter_kind: choice(reader, f, "meter-kind", &METERS).map(|s| s.is),
        meter_u_percent: quantity(reader, f, "meter-u", Of::Percent, (0.001, 50.0)),
        calibrated_c: quantity(reader, f, "calibrated-temperature", Of::Temperature, CELSIUS),
        calibrated_kpa: quantity(reader, f, "calibrated-pressure", Of::Pressure, KPA),
        by: text(reader, f, "by", "A. Demo"),
        at: f.span.clone(),
    };
    if !readings.flows_l_per_min.is_empty() && !readings.runs.is_empty() {
        reader.report(
            Finding::error("two-ways", "flows were read off, and timed as well")
                .at(f.span.clone(), "\"flow\" and \"runs\"")
                .help("write one of the two; another meter has a [[sampler.before]] of its own"),
        );
    }
    readings
}

fn check(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> InShift {
    known(reader, f, CHECK, "[[sampler.check]]");
    InShift {
        when: civil(reader, f, "at"),
        flow_l_per_min: quantity(reader, f, "flow", Of::Flow, FLOWS),
        minutes: quantity(reader, f, "minutes", Of::Duration, (0.0, 1e5)),
        by: text(reader, f, "by", "A. Demo"),
        at: f.span.clone(),
    }
}

fn custody(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Custody {
    known(reader, f, CUSTODY, "[sampler.custody]");
    Custody {
        placed_by: text(reader, f, "placed-by", "A. Demo"),
        removed_by: text(reader, f, "removed-by", "A. Demo"),
        relinquished: hand_overs(reader, f, "relinquished"),
        received: hand_overs(reader, f, "received"),
        storage: text(reader, f, "storage", "dark, below 25 C"),
        retrieve_by: civil(reader, f, "retrieve-by"),
    }
}

fn hand_overs(reader: &mut Reader<'_>, f: &Fields<'_, '_>, key: &'static str) -> Vec<HandOver> {
    let example = format!("{key} = [{{ by = \"A. Demo\", at = \"2027-03-08 16:30\" }}]");
    let all = tables(reader, f, key, &example, true);
    let read = all.iter().map(|f| {
        known(reader, f, &["by", "at"], &format!("{key:?}"));
        HandOver { by: text(reader, f, "by", "A. Demo"), when: civil(reader, f, "at") }
    });
    read.filter(|h| *h != HandOver::default()).collect()
}

fn lab(reader: &mut Reader<'_>, f: &Fields<'_, '_>, kind: Kind) -> Lab {
    known(reader, f, LAB, "[[sampler.lab]]");
    let bare = |amount: Amount| match amount {
        Amount::Found(x) => Amount::Below(x),
        other => other,
    };
    let lost = if kind == Kind::FieldBlank { lost(reader, f, "mass") } else { None };
    let whole = if lost.is_some() { None } else { mass(reader, f, "mass") };
    let front = mass(reader, f, "mass-front");
    let (back, below) = (mass(reader, f, "mass-back"), mass(reader, f, "below").map(bare));
    let ways =
        [whole.is_some() || lost.is_some(), front.is_some() || back.is_some(), below.is_some()];
    if ways.iter().filter(|w| **w).count() > 1 {
        reader.report(
            Finding::error("two-ways", "a mass is given in two ways")
                .at(f.span.clone(), "one of \"mass\", \"below\", or front with back")
                .help("keep what the laboratory reported"),
        );
    }
    if back.is_some() && front.is_none() && f.get("mass-front").is_none() {
        reader.report(
            Finding::error("missing-key", "\"mass-back\" without \"mass-front\"")
                .at(f.span.clone(), "\"mass-front\" is missing here")
                .help("add what was found on the front section, or \"< x\""),
        );
    }
    Lab {
        analyte: text(reader, f, "analyte", "respirable dust"),
        mass_mg: whole.or(below),
        front_mg: front,
        back_mg: back,
        lost_mg: lost,
        lod_mg: quantity(reader, f, "lod", Of::Mass, (1e-12, 1e6)),
        loq_mg: quantity(reader, f, "loq", Of::Mass, (1e-12, 1e6)),
        u_percent: quantity(reader, f, "u", Of::Percent, (0.001, 100.0)),
        reported_by: text(reader, f, "reported-by", "Demo Laboratory"),
        when: civil(reader, f, "at"),
        at: f.span.clone(),
    }
}
