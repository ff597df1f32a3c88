//! The whole: an event folder, or records alone, to results. Pure: it reads no file and no clock.

use super::flow::{Rule, Verified, figures, verified};
use super::sample::{Custody, HandOver, SampleResult};
use super::workers::{self, Part, quarter};
use super::{
    EventHead, Flag, Limit, RecordHead, Results, analytes, compare, flags, from_record, volumes,
};
use crate::event::folder::{table_of, wall};
use crate::event::{Field, Folder, Group, Kind, Record, Sampler, missing};
use crate::hygiene::Amount;
use crate::hygiene::verify::Limit as FlowLimit;
use crate::methods::{Entry, Library, Named};
use crate::plan::step_words::meaning;
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
            _ => "the mean of the field blanks of the same media lot and analyte is subtracted (NMAM 0501, 1401); those below their limit are not"
                .to_owned(),
        });
    }
    results.assumptions.dedup();
    results
}

const CAUTIONS: [&str; 5] = [
    "Follow the method, the accredited laboratory, the site's hygienist and the local code; this is arithmetic, not judgement.",
    "A flag asks for a review. It does not void a sample.",
    "Not an alarm, and no protection of anybody.",
    "Nothing here makes a pump intrinsically safe. Never open, charge or connect one in a classified area.",
    "Uncertainty is of flow, time and laboratory. Where the worker stood and how the sampler takes in dust are not in it.",
];

fn limits(field: &Field) -> Vec<Limit> {
    let of = |l: &crate::event::LimitValue| Limit {
        value_mg_m3: l.value_mg_m3,
        says: l.says.clone(),
        kind: l.kind.to_owned(),
        source: l.source.clone(),
        analyte: l.analyte.clone(),
        sae: l.sae,
    };
    field.event.limits.iter().map(of).collect()
}

/// The limit of verification: as the field sheet has it, else by the kind of sampling.
fn rule(folder: &Folder) -> Rule {
    let field = &folder.field;
    let method = field.event.method.as_ref().map(|m| m.is.as_str());
    let ambient = method.is_some_and(|m| m.starts_with("epa-"));
    let default = if ambient { FlowLimit::AMBIENT } else { FlowLimit::WORN };
    match field.verification.limit_percent {
        // The ambient rule is "4 % or more": a limit of one's own is one that is passed.
        Some(percent) => Rule {
            limit: FlowLimit {
                percent,
                from_it_on: ambient && percent == default.percent,
                ..default
            },
            source: field
                .verification
                .source
                .clone()
                .unwrap_or_else(|| "no source given".to_owned()),
        },
        None => Rule {
            limit: default,
            source: if ambient {
                default.source.text.to_owned()
            } else {
                "common practice, no source".to_owned()
            },
        },
    }
}

fn head(folder: &Folder, library: &Library, rule: &Rule, limits: &[Limit]) -> EventHead {
    let e = &folder.field.event;
    let method = e.method.as_ref().map(|m| m.is.clone());
    let found = method.as_deref().and_then(|m| match library.named(m) {
        Named::Found(method, _) => Some(method),
        _ => None,
    });
    let record = folder.records.first();
    let table = folder.block.as_deref().and_then(table_of).or_else(|| record?.table());
    let checked = table.as_ref().and_then(|t| t.checked().ok());
    let plan = checked.map(|t| {
        let target = t.settings().target;
        let lines = t.steps().iter().enumerate();
        lines.map(|(i, s)| format!("{}  {}", i + 1, meaning(*s, target))).collect()
    });
    EventHead {
        name: e.name.clone(),
        site: e.site.clone(),
        task: e.task.clone(),
        why: e.why.clone(),
        prepared_by: e.prepared_by.clone(),
        reviewed_by: e.reviewed_by.clone(),
        laboratory: e.laboratory.clone(),
        method,
        method_title: found.map(|m| format!("{}, {}", m.title, m.issuer)),
        method_known: found.map(|m| {
            let mut tags: Vec<&str> = Vec::new();
            for value in m.values.0.iter().chain(m.variants.iter().flat_map(|v| &v.values.0)) {
                if !tags.contains(&value.tag.shown()) {
                    tags.push(value.tag.shown());
                }
            }
            tags.join(", ")
        }),
        limit: limits.first().cloned(),
        limits: limits.to_vec(),
        verification_limit_percent: rule.limit.percent,
        verification_limit_source: rule.source.clone(),
        zone: record.and_then(|r| r.file.site.zone.clone()),
        abbreviation: record.and_then(|r| r.file.site.abbreviation.clone()),
        utc_offset_minutes: record.map_or_else(
            || checked.map_or(0, |t| i32::from(t.settings().utc_offset.quarter_hours()) * 15),
            |r| r.file.site.utc_offset_minutes,
        ),
        schedule_name: checked
            .map(|t| t.settings().name.as_str().to_owned())
            .filter(|name| !name.is_empty()),
        schedule_id: checked.map(|t| draught::wire::schedule_id(t).to_string()),
        plan: plan.unwrap_or_default(),
        records: folder.records.iter().map(|r| record_head(folder, r)).collect(),
    }
}

fn record_head(folder: &Folder, r: &Record) -> RecordHead {
    let pump = folder.field.samplers.iter().find_map(|s| {
        let same = s.record.as_ref().is_some_and(|record| record.is == r.path);
        s.pump.as_ref().filter(|_| same).map(|p| p.is.clone())
    });
    let (event, simulation) = (r.file.event.as_ref(), r.file.simulation.as_ref());
    RecordHead {
        file: r.path.clone(),
        pump,
        origin: r.file.origin.clone(),
        made_by: r.file.made_by.clone(),
        schedule_id: r.file.schedule.id.clone(),
        event: event.map(|e| e.event),
        world: simulation.map(|s| s.world.clone()),
        seed: simulation.map(|s| s.seed),
        flags: event.map(|e| e.flags.clone()).unwrap_or_default(),
        reason: event.map(|e| e.reason.clone()),
    }
}

/// The entry of the method that a sampler follows; where it has variants, the one that takes the planned flow.
fn entry(
    library: &Library,
    folder: &Folder,
    sampler: &Sampler,
    flow: Option<f64>,
) -> (Option<String>, Option<Entry>) {
    let name = sampler.method.as_ref().or(folder.field.event.method.as_ref()).map(|m| m.is.clone());
    let Some(Named::Found(method, entries)) = name.as_deref().map(|n| library.named(n)) else {
        return (name, None);
    };
    let takes = |e: &&Entry| {
        let range = e.values.range("flow");
        range.zip(flow).is_some_and(|((a, b), q)| q >= a * 0.999 && q <= b * 1.001)
    };
    let found = match entries.as_slice() {
        [only] => Some(only.clone()),
        several => several.iter().find(takes).cloned(),
    };
    // What holds for every variant holds still.
    let common =
        || Entry { id: method.id.clone(), what: String::new(), values: method.values.clone() };
    let entry = found.unwrap_or_else(common);
    (Some(entry.id.clone()), Some(entry))
}

#[expect(clippy::too_many_arguments, reason = "the two last are where it puts what others need")]
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
    let flow = planned.as_ref().and_then(|p| p.flow_l_per_min);
    let (method, entry) = entry(library, folder, sampler, flow);
    let pump = sampler.kind == Kind::Pump;
    let checked = verified(sampler, rule);
    let mut all: Vec<Flag> = Vec::new();
    let event = record.and_then(|r| r.file.event.as_ref());
    for code in event.iter().flat_map(|e| &e.flags) {
        all.push(flags::flag(code, event_words(code, record)));
    }
    if pump && folder.has_field {
        all.extend(checked.flags.iter().cloned());
    }
    let volume = row.map(|row| {
        volumes::volume(&volumes::Known {
            sampler,
            row,
            verified: &checked,
            rule,
            on_manifold,
            unaccounted_ms: event.map_or(0, |e| e.unaccounted_ms),
        })
    });
    all.extend(volume.iter().flat_map(|v| v.flags.clone()));
    let used_l = volume.as_ref().and_then(|v| v.shown.used_l);
    if let (Some(row), true) = (row, pump) {
        let flow = match on_manifold {
            true => checked.flow_l_per_min(),
            false => happened.as_ref().and_then(|h| h.mean_flow_l_per_min),
        };
        outside(&mut all, sampler, row, used_l, flow, wanted, entry.as_ref());
    }
    let expired = folder.findings.sorted().iter().any(|f| {
        f.code == "media-expired" && f.message.starts_with(&format!("{}: ", sampler.id.is))
    });
    if let Some(expiry) = sampler.expiry.as_ref().filter(|_| expired) {
        all.push(flags::flag("media-expired", format!("good until {}", expiry.says)));
    }
    let (at, volume_is) = conditions(entry.as_ref(), volume.as_ref(), used_l, row);
    let known = analytes::Known {
        field: &folder.field,
        sampler,
        method: entry.as_ref(),
        volume_l: at,
        volume_is,
        volume_budget: volume.as_ref().and_then(|v| v.computed.as_ref()),
        limits,
    };
    let mut laboratory = Vec::new();
    for lab in &sampler.lab {
        let found = analytes::analyte(&known, lab);
        all.extend(found.flags);
        if let (Some(concentration), Some(worker), Some(row)) =
            (found.concentration, &sampler.worker, row)
        {
            parts.push(part(sampler, &worker.is, &found.shown.analyte, row, concentration));
        }
        if pump && analytes::blank_below(&folder.field, sampler, lab) {
            assumptions.push(format!(
                "{}: a blank of its lot is below its limit; nothing is subtracted for it, so the result is not too low",
                sampler.id.is
            ));
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
        method,
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
    let asks =
        entry.and_then(|e| e.values.get("conditions")).is_some_and(|v| v.shown == "standard");
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

/// What is so, for a flag of the pump's record.
fn event_words(code: &str, record: Option<&Record>) -> String {
    let Some(event) = record.and_then(|r| r.file.event.as_ref()) else { return String::new() };
    let t = &event.trips;
    match code {
        "limit-tripped" => format!(
            "flow too low {}, flow too high {}, pressure {}, supply {}, sensor {} times",
            t.flow_low, t.flow_high, t.pressure, t.supply, t.sensor
        ),
        "interrupted" | "many-interruptions" => format!(
            "{} interruptions of more than 1 min, {} resumed of any length",
            event.interruptions, event.resumes
        ),
        "time-unaccounted" => {
            format!("at most {}", crate::plan::format::duration(event.unaccounted_ms.into()))
        }
        "late" => format!("at most {} late", crate::plan::format::duration(event.late_ms.into())),
        "ended-early" => event.reason.replace('-', " "),
        _ => "of the whole event".to_owned(),
    }
}

/// What is outside of what plan and method ask.
fn outside(
    all: &mut Vec<Flag>,
    sampler: &Sampler,
    row: &SampleRecord,
    used_l: Option<f64>,
    flow: Option<f64>,
    wanted: Option<(f64, f64)>,
    entry: Option<&Entry>,
) {
    let minutes = row.pumped_ms as f64 / 60_000.0;
    let by_method = entry.map(|e| {
        (
            e.values.one("volume-min").unwrap_or(0.0),
            e.values.one("volume-max").unwrap_or(f64::INFINITY),
        )
    });
    for (who, range) in [("plan", wanted), ("method", by_method)] {
        let (Some(used), Some((least, most))) = (used_l, range) else { continue };
        let shown = format!("{} L, {who}", figures(used, 4));
        // To the last figure that is shown: 240.0 L of a wanted 240 L is enough.
        if used < least * 0.9995 {
            let says = format!("{shown} from {} L on", figures(least, 3));
            all.push(flags::flag("volume-outside", says));
        } else if used > most * 1.0005 {
            let says = format!("{shown} up to {} L", figures(most, 3));
            all.push(flags::flag("volume-outside", says));
        }
    }
    if let Some((least, most)) = entry.and_then(|e| e.values.range("duration"))
        && (minutes < least - 0.5 || minutes > most + 0.5)
    {
        let says = format!("{} min, method {} to {} min", figures(minutes, 4), least, most);
        all.push(flags::flag("duration-outside", says));
    }
    if let (Some((least, most)), Some(q)) = (entry.and_then(|e| e.values.range("flow")), flow)
        // A single flow is meant within what a verification allows.
        && (q < least * 0.95 || q > most * 1.05)
    {
        let says = format!("{} L/min, method {least} to {most} L/min", figures(q, 4));
        all.push(flags::flag("flow-outside", says));
    }
    if sampler.group == Some(Group::ShortTerm) && quarter(minutes) != workers::QUARTER_MIN {
        all.push(flags::flag("short-term-not-15-min", format!("{} min", figures(minutes, 4))));
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
