//! What nobody has filled in yet. It is no fault: a sheet fills up from planning to the laboratory.

use super::field::{Field, FlowReadings, Kind, Lab, Sampler};
use super::folder::{BLOCK, FIELD, Folder, PLAN};
use crate::hygiene::air::MeterKind;

/// One thing that is missing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing {
    /// Of what: "event", "W1", "S-101", or the folder.
    pub of: String,
    /// Its key, or a file.
    pub key: String,
    /// What it is.
    pub what: &'static str,
}

impl Missing {
    /// "S-101: seal, the seal of its package".
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}: {}, {}", self.of, self.key, self.what)
    }
}

struct List(Vec<Missing>);

impl List {
    fn need(&mut self, of: &str, key: impl Into<String>, what: &'static str, there: bool) {
        if !there {
            self.0.push(Missing { of: of.to_owned(), key: key.into(), what });
        }
    }
}

/// Everything that is missing in a folder, in the order of its files.
#[must_use]
pub fn all(folder: &Folder) -> Vec<Missing> {
    let mut list = List(Vec::new());
    if folder.path.is_some() {
        list.need("folder", PLAN, "the plan", folder.plan.is_some());
        list.need("folder", BLOCK, "the block: draught encode makes it", folder.block.is_some());
        list.need("folder", FIELD, "what people fill in", folder.has_field);
    }
    if !folder.has_field {
        return list.0;
    }
    let field = &folder.field;
    event(&mut list, field);
    list.need("folder", "[[sampler]]", "at least one sampler", !field.samplers.is_empty());
    for worker in &field.workers {
        let id = &worker.id.is;
        list.need(id, "job", "what the worker does", worker.job.is_some());
        list.need(id, "shift", "how long the shift is", worker.shift_min.is_some());
    }
    for sampler in &field.samplers {
        match sampler.kind {
            Kind::Pump => on_pump(&mut list, folder, sampler),
            Kind::FieldBlank => {
                let id = &sampler.id.is;
                media(&mut list, id, sampler);
                custody(&mut list, id, sampler);
                laboratory(&mut list, id, sampler);
            }
            Kind::PassiveNone | Kind::Bulk => {
                let id = &sampler.id.is;
                list.need(id, "place", "where it was taken", sampler.place.is_some());
                custody(&mut list, id, sampler);
            }
        }
    }
    list.0
}

fn event(list: &mut List, field: &Field) {
    let e = &field.event;
    let mut need = |key: &str, what, there| list.need("event", key, what, there);
    need("name", "what it is called", e.name.is_some());
    need("site", "where it is", e.site.is_some());
    need("task", "what goes on there", e.task.is_some());
    need("why", "why it is sampled", e.why.is_some());
    need("prepared-by", "who prepared it", e.prepared_by.is_some());
    need("reviewed-by", "who reviewed it", e.reviewed_by.is_some());
    need("laboratory", "who analyses it", e.laboratory.is_some());
    let by_sampler = field.samplers.iter().filter(|s| s.kind == Kind::Pump);
    let named = e.method.is_some()
        || (by_sampler.clone().next().is_some() && by_sampler.clone().all(|s| s.method.is_some()));
    need("method", "the method: draught methods lists them", named);
    need("limit", "the limit to compare with, and its source", !e.limits.is_empty());
    for limit in &e.limits {
        need("limit.source", "where the limit comes from", limit.source.is_some());
    }
    let v = &field.verification;
    let source = !v.given || v.source.is_some();
    list.need("verification", "source", "where its limit comes from", source);
}

fn on_pump(list: &mut List, folder: &Folder, s: &Sampler) {
    let id = &s.id.is;
    let area = s.place.as_deref().is_some_and(|p| p.to_lowercase().starts_with("area"));
    list.need(
        id,
        "worker",
        "who wears it; place = \"area, ...\" if nobody",
        s.worker.is_some() || area,
    );
    list.need(id, "place", "where it is, such as \"breathing zone\"", s.place.is_some());
    list.need(id, "pump", "the pump's number", s.pump.is_some());
    match &s.record {
        None => list.need(id, "record", "the pump's record", false),
        Some(record) => {
            let there = folder.record(&record.is).is_some() || unreadable(folder, &record.is);
            list.need(id, record.is.as_str(), "the file of the record", there);
        }
    }
    let several = folder.record_of(s).is_some_and(|r| r.file.samples.len() != 1);
    list.need(
        id,
        "sample",
        "which sample of the record it is, from 1",
        s.sample.is_some() || !several,
    );
    media(list, id, s);
    flow(list, id, "before", &s.before);
    flow(list, id, "after", &s.after);
    for check in &s.checks {
        list.need(id, "check.at", "when the pump was looked at", check.when.is_some());
        list.need(id, "check.flow", "its flow then", check.flow_l_per_min.is_some());
        list.need(id, "check.by", "who looked", check.by.is_some());
    }
    custody(list, id, s);
    laboratory(list, id, s);
}

/// A record that is there and no record: that is a contradiction, and said as such.
fn unreadable(folder: &Folder, path: &str) -> bool {
    let about = format!("{path}: ");
    folder
        .findings
        .sorted()
        .iter()
        .any(|f| f.code == "not-a-record" && f.message.starts_with(&about))
}

fn media(list: &mut List, id: &str, s: &Sampler) {
    list.need(id, "media-lot", "the lot of its media", s.media_lot.is_some());
    list.need(id, "expiry", "the last day on which they are good", s.expiry.is_some());
    list.need(id, "seal", "the number of its seal", s.seal.is_some());
}

fn flow(list: &mut List, id: &str, which: &str, all: &[FlowReadings]) {
    if all.is_empty() {
        let what =
            if which == "before" { "the flow before it began" } else { "the flow after it ended" };
        list.need(id, which, what, false);
    }
    for r in all {
        let mut need =
            |key: &str, what, there| list.need(id, format!("{which}.{key}"), what, there);
        need("at", "when it was read", r.when.is_some());
        let read = !r.flows_l_per_min.is_empty() || !r.runs.is_empty();
        need("flow", "the readings, or runs", read);
        need("temperature", "of the air there", r.temperature_c.is_some());
        need("pressure", "of the air there, absolute", r.pressure_kpa.is_some());
        need("meter", "the meter's number", r.meter.is_some());
        need("meter-kind", "bubble, piston, rotameter or other", r.meter_kind.is_some());
        need("by", "who read it", r.by.is_some());
        if r.meter_kind == Some(MeterKind::Rotameter) {
            let there = r.calibrated_c.is_some() && r.calibrated_kpa.is_some();
            let what = "air of the rotameter's calibration";
            need("calibrated-temperature and -pressure", what, there);
        }
    }
}

fn custody(list: &mut List, id: &str, s: &Sampler) {
    let c = &s.custody;
    let mut need = |key: &str, what, there| list.need(id, format!("custody.{key}"), what, there);
    need("placed-by", "who placed it", c.placed_by.is_some());
    need("removed-by", "who took it off", c.removed_by.is_some());
    need("relinquished", "who gave it away, and when", !c.relinquished.is_empty());
    need("received", "who took it, and when", !c.received.is_empty());
    for (key, all) in [("relinquished", &c.relinquished), ("received", &c.received)] {
        for hand in all {
            need(&format!("{key}.by"), "who", hand.by.is_some());
            need(&format!("{key}.at"), "when", hand.when.is_some());
        }
    }
    need("storage", "how it is kept", c.storage.is_some());
    need("retrieve-by", "by when it must be fetched", c.retrieve_by.is_some());
}

fn laboratory(list: &mut List, id: &str, s: &Sampler) {
    if s.lab.is_empty() {
        list.need(id, "lab", "what the laboratory found", false);
    }
    for lab in &s.lab {
        figures(list, id, lab);
    }
}

fn figures(list: &mut List, id: &str, lab: &Lab) {
    let mut need = |key: &str, what, there| list.need(id, format!("lab.{key}"), what, there);
    need("analyte", "what was looked for", lab.analyte.is_some());
    need(
        "mass",
        "mass, mass-front and -back, or below",
        lab.found().is_some() || lab.lost_mg.is_some(),
    );
    need("lod", "the laboratory's limit of detection", lab.lod_mg.is_some());
    need("u", "the laboratory's uncertainty, such as \"4 %\"", lab.u_percent.is_some());
    need("reported-by", "who reported it", lab.reported_by.is_some());
    need("at", "when it was reported", lab.when.is_some());
}
