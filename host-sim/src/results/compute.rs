//! The whole: an event folder, or records alone, to results. Pure: it reads no file and no clock.

use super::flow::{Rule, Verified, verified};
use super::heads::{head, limits, rule};
use super::outside::outside;
use super::sample::{Custody, HandOver, SampleResult};
use super::workers::{self, Part};
use super::{
    Flag, Limit, Results, analytes, compare, flags, from_record, method_fit, pump_flags, volumes,
};
use crate::event::folder::wall;
use crate::event::{Folder, Kind, Sampler, missing};
use crate::hygiene::Amount;
use crate::methods::{Entry, Library};
use crate::record_file::{NOTICE, SampleRecord};

/// Computes what came of an event.
#[must_use]
pub fn compute(folder: &Folder, library: &Library) -> Results {
    let simulated = folder.records.iter().any(|r| r.file.origin != "pump");
    let limits = limits(&folder.field);
    let rule = rule(folder);
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
    results.blanks = analytes::blank_results(&folder.field);
    results.pairs = compare::pairs(&results.samples);
    if folder.field.samplers.iter().any(|s| s.kind == Kind::FieldBlank) {
        results.assumptions.push(match folder.field.event.subtract_blanks {
            Some(false) => "field blanks are not subtracted, as the field sheet says".to_owned(),
            _ => "the mean of the field blanks of the same media lot and analyte is subtracted (NMAM 0501, 1401)"
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
    results.assumptions.retain(|a| seen.insert(a.clone()));
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
            unaccounted_ms: row.unaccounted_ms,
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
    let (at, volume_is) = conditions(entry, volume.as_ref(), used_l, row);
    let mut rows = Vec::new();
    if let (Some(row), true) = (row, pump) {
        all.extend(outside(sampler, row, used_l, wanted));
        let flow = volume.as_ref().and_then(|v| v.flow_used_l_per_min).or(mean);
        let minutes = row.pumped_ms as f64 / 60_000.0;
        let drawn = method_fit::Drawn { flow, volume_l: used_l, minutes, volume_is };
        let (found, flags) = method_fit::compare(&followed, &drawn);
        rows.extend(found);
        all.extend(flags);
    }
    let known = analytes::Known {
        field: &folder.field,
        sampler,
        method: entry,
        volume_l: at,
        volume_is,
        volume_budget: volume.as_ref().and_then(|v| v.computed.as_ref()),
        limits,
    };
    let mut laboratory = Vec::new();
    for lab in &sampler.lab {
        let found = analytes::analyte(&known, lab);
        all.extend(found.flags);
        rows.extend(found.row);
        if let (Some(concentration), Some(worker), Some(row)) =
            (found.concentration, &sampler.worker, row)
        {
            parts.push(part(sampler, &worker.is, &found.shown.analyte, row, concentration));
        }
        if pump && let Some(words) = analytes::blank_words(&folder.field, sampler, lab) {
            assumptions.push(words);
        }
        laboratory.push(found.shown);
    }
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
        window: at(&row.begin).zip(at(&row.end)),
    }
}

/// The volume at the conditions that the method asks for.
fn conditions(
    entry: Option<&Entry>,
    volume: Option<&volumes::Volume>,
    used_l: Option<f64>,
    row: Option<&SampleRecord>,
) -> (Option<f64>, &'static str) {
    let asks = entry
        .and_then(|e| e.values.get("conditions"))
        .is_some_and(|v| v.shown.starts_with("standard"));
    // A standard volume that does not cover the sample is none.
    let covered = row.is_some_and(|r| r.air_measured_ms >= r.metered_ms);
    match volume.and_then(|v| v.shown.standard_l).filter(|_| asks && covered) {
        Some(standard) => (Some(standard), "standard"),
        None => (used_l, "actual"),
    }
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
