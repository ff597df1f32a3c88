//! The event, its limits and its records, as they stand at the top.

use super::flow::Rule;
use super::{EventHead, Limit, RecordHead};
use crate::event::folder::table_of;
use crate::event::{Field, Folder, Record, Sampler};
use crate::hygiene::verify::Limit as FlowLimit;
use crate::methods::{Library, Named};
use crate::plan::step_words::meaning;

pub(super) fn limits(field: &Field) -> Vec<Limit> {
    let of = |l: &crate::event::LimitValue| Limit {
        value_mg_m3: l.value_mg_m3,
        says: l.says.clone(),
        kind: l.kind.to_owned(),
        source: l.source.clone(),
        analyte: l.analyte.clone(),
        sae: l.sae,
        in_ppm: l.in_ppm,
    };
    field.event.limits.iter().map(of).collect()
}

/// The limits of verification: as the field sheet has them, else by the kind of sampling.
pub(super) fn rule(folder: &Folder, sampler: Option<&Sampler>) -> Rule {
    let given = &folder.field.verification;
    let own = sampler.and_then(|s| s.method.as_ref()).map(|m| m.is.clone());
    let ambient = own.or(folder.event_method()).is_some_and(|m| m.starts_with("epa-"));
    let (limit, required) = if ambient {
        (FlowLimit::AMBIENT, FlowLimit::AMBIENT_REQUIRED)
    } else {
        (FlowLimit::WORN, FlowLimit::WORN_REQUIRED)
    };
    let source = match (given.limit_percent, ambient) {
        (Some(_), _) => given.source.clone().unwrap_or_else(|| "no source given".to_owned()),
        (None, true) => limit.source.text.to_owned(),
        (None, false) => "common practice, no source".to_owned(),
    };
    let changed = |limit: FlowLimit, percent: Option<f64>| {
        percent.map_or(limit, |percent| limit.changed(percent, limit.source))
    };
    Rule {
        limit: changed(limit, given.limit_percent),
        required: changed(required, given.required_percent),
        source,
    }
}

pub(super) fn head(folder: &Folder, library: &Library, rule: &Rule, limits: &[Limit]) -> EventHead {
    let e = &folder.field.event;
    let method = folder.event_method();
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
                if !tags.contains(&value.tag.words()) {
                    tags.push(value.tag.words());
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
