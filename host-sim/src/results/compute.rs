//! The whole: an event folder, or records alone, to results. Pure: it reads no file and no clock.

use super::flow::{Rule, Verified, verified};
use super::heads::{self, head, limits, rule};
use super::outside::outside;
use super::sample::{Custody, HandOver, SampleResult};
use super::workers::{self, Part};
use super::{
    Flag, Limit, Results, analytes, blanks, compare, flags, from_record, method_fit, pump_flags,
    volumes,
};
use crate::event::folder::wall;
use crate::event::{Folder, Kind, Sampler, missing};
use crate::hygiene::Amount;
use crate::hygiene::round::{figures, signed_percent};
use crate::methods::{Entry, Library, ReportedAt, Value};
use crate::record_file::{NOTICE, SampleRecord};

/// Computes what came of an event.
#[must_use]
pub fn compute(folder: &Folder, library: &Library) -> Results {
    let simulated = folder.records.iter().any(|r| r.file.origin != "pump");
    let limits = limits(&folder.field);
    let rule = rule(folder, None);
    let mut results = Results {
        simulated,
        notice: simulated.then(|| NOTICE.to_owned()),
        program: "draught".to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        event: head(folder, library, &rule, &limits),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        missing: missing::all(folder).iter().map(missing::Missing::line).collect(),
        ..Results::default()
    };
    let mut parts = Vec::new();
    for sampler in &folder.field.samplers {
        let rule = heads::rule(folder, Some(sampler));
        let sample =
            one(folder, library, &rule, &limits, sampler, &mut parts, &mut results.assumptions);
        results.samples.push(sample);
    }
    results.workers = workers::results(
        &folder.field,
        &parts,
        &limits,
        &mut results.assumptions,
        &mut results.missing,
    );
    manifolds(&mut results.samples);
    results.blanks = blanks::results(&folder.field);
    results.pairs = compare::pairs(&results.samples);
    if folder.field.samplers.iter().any(|s| s.kind == Kind::FieldBlank) {
        results.assumptions.push(match folder.field.event.subtract_blanks {
            Some(false) => "field blanks are not subtracted, as the field sheet says".to_owned(),
            _ => "the mean of the field blanks of the same media lot and analyte is subtracted (NMAM 0501, 1401); those below their limit count as nothing in it"
                .to_owned(),
        });
    }
    let unstated = |s: &&SampleResult| {
        s.uncertainty.is_none() && s.volume.as_ref().is_some_and(|v| v.used_l.is_some())
    };
    if results.samples.iter().any(|s| unstated(&s)) {
        let says = "of a volume whose flow was not verified, no uncertainty is stated";
        results.assumptions.push(says.to_owned());
    }
    let mut seen = std::collections::BTreeSet::new();
    results.assumptions.retain(|line| seen.insert(line.clone()));
    results
}

const CAUTIONS: [&str; 5] = [
    "Follow the method, the accredited laboratory, the site's hygienist and the local code; this is arithmetic, not judgement.",
    "A flag asks for a review. It does not void a sample.",
    "Not an alarm, and no protection of anybody.",
    "Nothing here makes a pump intrinsically safe. Never open, charge or connect one in a classified area.",
    "Uncertainty is of flow, time and laboratory. Where the worker stood and how the sampler takes in dust are not in it.",
];

fn one(
    folder: &Folder,
    library: &Library,
    rule: &Rule,
    limits: &[Limit],
    sampler: &Sampler,
    parts: &mut Vec<Part>,
    assumptions: &mut Vec<String>,
) -> SampleResult {
    let record = folder.record_of(sampler);
    let number = folder.sample_number(sampler);
    let row = record.zip(number).and_then(|(r, n)| r.file.samples.iter().find(|s| s.sample == n));
    let wanted = folder.plan.as_ref().and_then(|p| p.ready.as_ref()).and_then(|ready| {
        let (least, most) = ready.plan.wanted.volume.as_ref()?.value;
        Some((least.as_ml() as f64 / 1e3, most.as_ml() as f64 / 1e3))
    });
    let on_manifold = sampler.kind == Kind::Pump && folder.on_manifold(sampler);
    let planned = record.zip(row).and_then(|(record, row)| {
        from_record::planned(record, &record.outlook()?, row.sample, wanted)
    });
    let happened =
        record.zip(row).map(|(record, row)| from_record::happened(record, row, planned.as_ref()));
    let mean = happened.as_ref().and_then(|h| h.mean_flow_l_per_min);
    let flow = planned.as_ref().and_then(|p| p.flow_l_per_min).or(mean);
    let followed = method_fit::followed(library, folder, sampler, flow);
    let entry = followed.entry.as_ref();
    let pump = sampler.kind == Kind::Pump;
    let checked = verified(sampler, rule);
    let mut all: Vec<Flag> = Vec::new();
    if let Some((record, row)) = record.zip(row) {
        all.extend(pump_flags::of_sample(record, row));
    }
    // Before anything has happened there is nothing to review.
    let begun = row.is_some() || checked.before.is_some() || checked.after.is_some();
    if pump && folder.has_field && begun {
        all.extend(checked.flags.iter().cloned());
    }
    let volume = row.map(|row| {
        volumes::volume(&volumes::Known {
            sampler,
            row,
            verified: &checked,
            rule,
            on_manifold,
            target_l_per_min: planned.as_ref().and_then(|p| p.flow_l_per_min),
        })
    });
    all.extend(volume.iter().flat_map(|v| v.flags.clone()));
    let used_l = volume.as_ref().and_then(|v| v.shown.used_l);
    let expired = folder.findings.sorted().iter().any(|f| {
        f.code == "media-expired" && f.message.starts_with(&format!("{}: ", sampler.id.is))
    });
    if let Some(expiry) = sampler.expiry.as_ref().filter(|_| expired) {
        all.push(flags::flag("media-expired", format!("good until {}", expiry.says)));
    }
    let at = conditions(entry, volume.as_ref(), used_l, row);
    let known = analytes::Known {
        field: &folder.field,
        sampler,
        method: entry,
        volume_l: at.volume_l,
        volume_is: at.volume_is,
        at_reference: at.reference,
        air_relative: row.map_or(0.0, air_relative),
        volume_budget: volume.as_ref().and_then(|v| v.computed.as_ref()),
        limits,
    };
    let (mut laboratory, mut masses) = (Vec::<super::AnalyteResult>::new(), Vec::new());
    for lab in &sampler.lab {
        let found = analytes::analyte(&known, lab);
        all.extend(found.flags);
        assumptions.extend(found.notes);
        masses.extend(found.row);
        if let (Some(worker), Some(row), true) = (&sampler.worker, row, pump) {
            // Without a result it is at least nothing.
            let concentration = found.concentration.unwrap_or(Amount::AtLeast(0.0));
            // Where the laboratory states no uncertainty, that of the volume alone.
            let of_all = found.shown.budget.as_ref().map(|b| b.combined_percent / 100.0);
            let of_volume = volume.as_ref().and_then(|v| v.computed.as_ref());
            let relative = of_all.or(of_volume.map(|b| b.combined / b.result));
            parts.push(Part {
                at_reference: at.reference,
                relative_95: relative.map(|u| 1.645 * u),
                pending: found.concentration.is_none(),
                ..part(sampler, &worker.is, &found.shown.analyte, row, concentration)
            });
        }
        laboratory.push(found.shown);
    }
    if let (Some(worker), Some(row), true) = (&sampler.worker, row, pump && sampler.lab.is_empty())
    {
        let waits = part(sampler, &worker.is, "", row, Amount::AtLeast(0.0));
        parts.push(Part { pending: true, ..waits });
    }
    let mut rows = Vec::new();
    if let (Some(row), true) = (row, pump) {
        all.extend(outside(sampler, row, used_l, wanted));
        let flow = volume.as_ref().and_then(|v| v.flow_used_l_per_min).or(mean);
        let minutes = row.pumped_ms as f64 / 60_000.0;
        // Of several analytes it is not known which the method means.
        let concentration_mg_m3 = match laboratory.as_slice() {
            [one] => one.concentration_mg_m3,
            _ => None,
        };
        let drawn = method_fit::Drawn {
            flow,
            volume_l: used_l,
            minutes,
            volume_is: at.volume_is,
            concentration_mg_m3,
        };
        let (found, flags) = method_fit::compare(&followed, &drawn);
        rows.extend(found);
        all.extend(flags);
    }
    rows.extend(masses);
    // Plan and method may ask the same, and both sides of a verification have the same fault.
    let mut seen = std::collections::BTreeSet::new();
    all.retain(|f| seen.insert((f.code.clone(), measured(&f.says).to_owned())));
    assumptions.extend(checked.notes.iter().cloned());
    note_budget(volume.as_ref(), assumptions);
    let verification = shown_verification(&checked, pump);
    let own = missing::all(folder);
    let simulated = record.is_some_and(|r| r.file.origin != "pump");
    SampleResult {
        sampler: sampler.id.is.clone(),
        kind: sampler.kind.word().to_owned(),
        simulated,
        worker: sampler.worker.as_ref().map(|w| w.is.clone()),
        place: sampler.place.clone(),
        pump: sampler.pump.as_ref().map(|p| p.is.clone()),
        record: sampler.record.as_ref().map(|r| r.is.clone()),
        sample: number.filter(|_| pump),
        schedule_id: record.map(|r| r.file.schedule.id.clone()),
        schedule_name: record.map(|r| r.file.schedule.name.clone()).filter(|n| !n.is_empty()),
        method: followed.name,
        group: sampler.group.map(|g| g.word().to_owned()),
        duplicate_of: sampler.duplicate_of.as_ref().map(|d| d.is.clone()),
        side_by_side: record
            .zip(happened.as_ref())
            .map(|(r, h)| from_record::side_by_side(r, planned.as_ref(), h))
            .unwrap_or_default(),
        planned,
        happened,
        verification,
        flow_used_l_per_min: volume.as_ref().and_then(|v| v.flow_used_l_per_min),
        flow_used_is: volume.as_ref().and_then(|v| v.flow_used_is).map(str::to_owned),
        uncertainty: volume.as_ref().and_then(|v| v.budget.clone()),
        volume: volume.map(|v| v.shown),
        laboratory,
        method_says: followed.says.filter(|_| pump && row.is_some()),
        method_fit: rows,
        flags: all,
        series: record.zip(row).map(|(r, row)| from_record::series(r, row)).unwrap_or_default(),
        marks: record.zip(row).map(|(r, row)| from_record::marks(r, row)).unwrap_or_default(),
        spans: record
            .zip(row)
            .map(|(r, row)| from_record::spans(r, row.sample))
            .unwrap_or_default(),
        custody: custody(sampler),
        missing: own
            .iter()
            .filter(|m| m.of == sampler.id.is)
            .map(|m| format!("{}, {}", m.key, m.what))
            .collect(),
    }
}

/// The flows of the tubes of a manifold are together that of its pump.
fn manifolds(samples: &mut [SampleResult]) {
    let key = |s: &SampleResult| s.record.clone().zip(s.sample);
    let keys: std::collections::BTreeSet<_> = samples.iter().filter_map(key).collect();
    for of in keys {
        let own = || samples.iter().filter(|s| key(s).as_ref() == Some(&of));
        if own().count() < 2 {
            continue;
        }
        let flows: Option<Vec<f64>> = own().map(|s| s.flow_used_l_per_min).collect();
        let pump = own().find_map(|s| s.happened.as_ref()?.mean_flow_l_per_min);
        let limit = own().find_map(|s| Some(s.verification.as_ref()?.limit_percent));
        let (Some(flows), Some(pump), Some(limit)) = (flows, pump, limit) else { continue };
        let sum: f64 = flows.iter().sum();
        let off = 100.0 * (sum - pump) / pump;
        if off.abs() > limit {
            let says = format!(
                "{} tubes {} L/min together, the pump {} L/min: {}",
                flows.len(),
                figures(sum, 4),
                figures(pump, 4),
                signed_percent(off)
            );
            for s in samples.iter_mut().filter(|s| key(s).as_ref() == Some(&of)) {
                s.flags.push(flags::flag("tubes-off-pump", says.clone()));
            }
        }
    }
}

/// The part of a flag's words that says what was measured: "238.0 L" of "238.0 L, method 400 to 800 L".
fn measured(says: &str) -> &str {
    says.split_once(", ").map_or(says, |(is, _)| is)
}

fn shown_verification(checked: &Verified, pump: bool) -> Option<super::Verification> {
    let v = &checked.shown;
    let any = v.before.is_some() || v.after.is_some() || !v.checks.is_empty();
    (pump && any).then(|| v.clone())
}

fn part(s: &Sampler, worker: &str, analyte: &str, row: &SampleRecord, found: Amount) -> Part {
    let at = |i: &Option<super::Instant>| i.as_ref().and_then(wall).map(|w| w.as_ms());
    Part {
        sampler: s.id.is.clone(),
        worker: worker.to_owned(),
        analyte: analyte.to_owned(),
        group: s.group,
        duplicate: s.duplicate_of.is_some(),
        minutes: row.pumped_ms as f64 / 60_000.0,
        concentration: found,
        at_reference: None,
        relative_95: None,
        pending: false,
        window: at(&row.begin).zip(at(&row.end)),
    }
}

/// A volume at the conditions that the method asks for.
struct AtConditions {
    volume_l: Option<f64>,
    volume_is: &'static str,
    /// This volume over that at 25 °C and 101.325 kPa (760 mm Hg), where the air was measured.
    reference: Option<f64>,
}

fn conditions(
    entry: Option<&Entry>,
    volume: Option<&volumes::Volume>,
    used_l: Option<f64>,
    row: Option<&SampleRecord>,
) -> AtConditions {
    let reported_at = entry.and_then(|e| e.values.get("conditions")).and_then(Value::conditions);
    let asks = reported_at == Some(ReportedAt::Standard);
    // A standard volume that does not cover the sample is none.
    let covered = row.is_some_and(|r| r.air_measured_ms >= r.metered_ms);
    let standard_l = volume.and_then(|v| v.shown.standard_l).filter(|_| covered);
    match standard_l.filter(|_| asks) {
        Some(standard) => {
            AtConditions { volume_l: Some(standard), volume_is: "standard", reference: Some(1.0) }
        }
        None => AtConditions {
            volume_l: used_l,
            volume_is: "actual",
            reference: used_l.zip(standard_l).map(|(used, standard)| used / standard),
        },
    }
}

/// Relative standard uncertainty of a standard volume by that of the air: within 2 K and 10 mm Hg (40 CFR 50 App. L 7.4.8, 7.4.9), rectangular.
fn air_relative(row: &SampleRecord) -> f64 {
    let (Some(t), Some(p)) = (row.temperature_mk, row.pressure_pa) else { return 0.0 };
    let of_temperature = 2_000.0 / f64::from(t.mean) / 3_f64.sqrt();
    let of_pressure = 1_333.2 / f64::from(p.mean) / 3_f64.sqrt();
    of_temperature.hypot(of_pressure)
}

fn note_budget(volume: Option<&volumes::Volume>, assumptions: &mut Vec<String>) {
    for term in volume.and_then(|v| v.budget.as_ref()).iter().flat_map(|b| &b.terms) {
        if let Some(said) = term.source.strip_prefix("assumed: ") {
            let line = format!("{}: {said}", term.name);
            if !assumptions.contains(&line) {
                assumptions.push(line);
            }
        }
    }
}

fn custody(s: &Sampler) -> Custody {
    let hands = |all: &[crate::event::HandOver]| {
        all.iter()
            .map(|h| HandOver { by: h.by.clone(), at: h.when.as_ref().map(|w| w.says.clone()) })
            .collect()
    };
    Custody {
        media_lot: s.media_lot.clone(),
        expiry: s.expiry.as_ref().map(|e| e.says.clone()),
        seal: s.seal.clone(),
        placed_by: s.custody.placed_by.clone(),
        removed_by: s.custody.removed_by.clone(),
        relinquished: hands(&s.custody.relinquished),
        received: hands(&s.custody.received),
        storage: s.custody.storage.clone(),
        retrieve_by: s.custody.retrieve_by.as_ref().map(|r| r.says.clone()),
    }
}
