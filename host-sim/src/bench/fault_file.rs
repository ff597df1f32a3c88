//! The faults of a world file: `[[fault]]`.

use toml::de::DeValue;

use super::physics::{Fault, FaultKind};
use super::plant_file::{FLOW, PART, TIME, Units, number};
use crate::plan::fields::{Entry, Fields, Reader};
use crate::plan::finding::Finding;

/// A kind of fault: the key that says how much with its units and limits, and whether it lasts.
struct Kind {
    how_much: Option<(&'static str, Units, (f64, f64))>,
    lasts: bool,
    make: fn(f64) -> FaultKind,
}

impl Kind {
    fn name(&self) -> &'static str {
        (self.make)(0.0).name()
    }
}

const KPA: Units = &[("kPa", 1_000.0), ("Pa", 1.0)];
const DAYS: (f64, f64) = (0.0, 2_678_400.0);

const KINDS: &[Kind] = &[
    Kind { how_much: Some(("drop", KPA, (0.01, 10_000.0))), lasts: true, make: FaultKind::Kink },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::Blockage },
    Kind {
        how_much: Some(("flow-at-1-kPa", FLOW, (0.000_001, 1_000.0))),
        lasts: true,
        make: FaultKind::Leak,
    },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::SensorStuck },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::SensorFailing },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::ClockLost },
    Kind {
        how_much: Some(("by", TIME, (-31_536_000.0, 31_536_000.0))),
        lasts: false,
        make: |ms| FaultKind::ClockStepped(ms as i64),
    },
    Kind {
        how_much: Some(("charge", PART, (0.0, 100.0))),
        lasts: false,
        make: FaultKind::BatteryWeak,
    },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::PowerCut },
    Kind {
        how_much: Some(("drop", KPA, (0.01, 10_000.0))),
        lasts: true,
        make: FaultKind::Clogging,
    },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::MotorDisobeys },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::MotorStalls },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::SupplyWarns },
    Kind { how_much: None, lasts: true, make: |_| FaultKind::Charging },
];

/// Reads the faults; each that is wrong is a finding.
pub(super) fn read(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<Vec<Fault>> {
    let wrong = |reader: &mut Reader<'_>| {
        reader.report(
            Finding::error("wrong-type", "\"fault\" is a list of sections")
                .at(entry.value_span(), "not a list of sections")
                .help("write [[fault]] on a line of its own, and its keys below, for each fault"),
        );
    };
    let DeValue::Array(all) = entry.value.get_ref() else {
        wrong(reader);
        return None;
    };
    let mut faults = Vec::new();
    for one in all.iter() {
        let DeValue::Table(table) = one.get_ref() else {
            wrong(reader);
            return None;
        };
        faults.extend(fault(reader, &Fields { table, span: one.span() }));
    }
    Some(faults)
}

fn fault(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Fault> {
    let what = required(reader, f, "what", "what = \"kink\"")?;
    let names: Vec<(&str, usize)> = KINDS.iter().enumerate().map(|(i, k)| (k.name(), i)).collect();
    let kind = &KINDS[reader.choice(&what, &names)?];
    let mut known = vec!["what", "at"];
    known.extend(kind.lasts.then_some("lasts"));
    known.extend(kind.how_much.map(|(key, ..)| key));
    reader.unknown_keys(f, &known, &format!("a {}", kind.name()));
    let at = required(reader, f, "at", "at = \"2 h\"")?;
    let at_ms = number(reader, &at, TIME, DAYS)? as u64;
    let lasts_ms = if kind.lasts {
        let lasts = required(reader, f, "lasts", "lasts = \"5 s\"")?;
        number(reader, &lasts, TIME, (0.001, DAYS.1))? as u64
    } else {
        0
    };
    let much = match kind.how_much {
        None => 0.0,
        Some((key, units, limits)) => {
            let entry = required(reader, f, key, &format!("{key} = \"1 {}\"", units[0].0))?;
            number(reader, &entry, units, limits)?
        }
    };
    Some(Fault { at_ms, lasts_ms, kind: (kind.make)(much) })
}

fn required<'s, 'i>(
    reader: &mut Reader<'_>,
    f: &Fields<'s, 'i>,
    key: &'static str,
    example: &str,
) -> Option<Entry<'s, 'i>> {
    let entry = f.get(key);
    if entry.is_none() {
        reader.report(
            Finding::error("missing-key", format!("this fault has no {key:?}"))
                .at(f.span.clone(), format!("no {key:?}"))
                .help(format!("write {example}")),
        );
    }
    entry
}
