//! What in a folder contradicts.

use draught::calendar::{Civil, UtcOffset};
use draught::clock::WallMs;
use draught::wire;

use super::contradicting_figures::{
    laboratory, limits_of_nothing, same_records, shared_records, shifts,
};
use super::field::{FlowReadings, Kind, Sampler, Stated, VolumeFrom};
use super::folder::{BLOCK, Folder, PLAN, table_of, wall};
use crate::methods::{Library, Named};
use crate::plan::finding::Finding;
use crate::plan::{self, CAPACITY, when};

pub(super) fn all(folder: &Folder, library: &Library) -> Vec<Finding> {
    let mut found = Vec::new();
    schedules(folder, &mut found);
    let named = folder.field.samplers.iter().filter_map(|s| s.method.as_ref());
    for method in named.chain(&folder.field.event.method) {
        if !matches!(library.named(&method.is), Named::Found(..)) {
            found.push(
                Finding::error("no-such-method", format!("no method is called {:?}", method.is))
                    .at(method.at.clone(), "not in the library")
                    .help("draught methods lists them; --methods DIR adds your own"),
            );
        }
    }
    for (i, sampler) in folder.field.samplers.iter().enumerate() {
        references(folder, sampler, &mut found);
        of_record(folder, sampler, &mut found);
        times(folder, sampler, &mut found);
        manifold(folder, sampler, &mut found);
        laboratory(sampler, &mut found);
        let earlier = folder.field.samplers.iter().take(i);
        for other in earlier {
            pumps(other, sampler, &mut found);
        }
    }
    shifts(folder, &mut found);
    shared_records(folder, &mut found);
    same_records(folder, &mut found);
    limits_of_nothing(folder, &mut found);
    found
}

/// Plan, block and records are of one schedule.
fn schedules(folder: &Folder, found: &mut Vec<Finding>) {
    let block = match folder.block.as_deref().map(|bytes| (bytes, table_of(bytes))) {
        Some((_, None)) => {
            found.push(
                Finding::error("not-a-block", format!("{BLOCK} is not a block that can be used"))
                    .help(format!("make it again: draught encode {PLAN} -o {BLOCK}")),
            );
            None
        }
        Some((_, Some(table))) => Some(table),
        None => None,
    };
    let id_of = |t: &draught::table::StepTable<CAPACITY>| {
        t.checked().ok().map(|t| wire::schedule_id(t).to_string())
    };
    let block_id = block.as_deref().and_then(id_of);
    if let (Some(block), Some(block_id), Some(plan)) = (&block, &block_id, &folder.plan) {
        let offset = block.checked().ok().map(|t| t.settings().utc_offset);
        // Where records say when the pumps were armed, the plan has the offset of that time; else that of the block will do.
        let armed = folder.records.iter().any(|r| r.armed().is_some());
        let of_plan = match &plan.ready {
            Some(ready) if armed => id_of(&ready.table),
            _ => plan::table(&plan.source).0.and_then(|mut table| {
                table.settings_mut().utc_offset = offset.unwrap_or(UtcOffset::UTC);
                id_of(&table)
            }),
        };
        if let Some(of_plan) = of_plan.filter(|id| id != block_id) {
            found.push(
                Finding::error(
                    "block-differs",
                    format!("{PLAN} makes schedule {of_plan}, and {BLOCK} holds {block_id}"),
                )
                .note("draught diff plan.toml schedule.dra says what differs")
                .help(format!(
                    "if the pumps have not run yet, make {BLOCK} again; if they have, find the plan they ran"
                )),
            );
        }
    }
    for record in &folder.records {
        let id = &record.file.schedule.id;
        if record.table().and_then(|t| id_of(&t)).as_ref() != Some(id) {
            let what = format!("{}: its block is not that of schedule {id}", record.path);
            found.push(
                Finding::error("record-differs", what).help("use the file as it was written"),
            );
        } else if let Some(block) = block_id.as_ref().filter(|b| *b != id) {
            let what = format!("{} is of schedule {id}, and {BLOCK} holds {block}", record.path);
            found
                .push(Finding::error("record-differs", what).help(
                    "the pump ran another schedule: put its record into a folder of its own",
                ));
        }
    }
}

/// Ids that are named are there.
fn references(folder: &Folder, s: &Sampler, found: &mut Vec<Finding>) {
    if let Some(worker) = s.worker.as_ref().filter(|w| folder.field.worker(&w.is).is_none()) {
        let ids: Vec<&str> = folder.field.workers.iter().map(|w| w.id.is.as_str()).collect();
        let help = if ids.is_empty() {
            format!("add [[worker]] with id = {:?}", worker.is)
        } else {
            format!("workers here: {}", ids.join(", "))
        };
        found.push(
            Finding::error("no-such-worker", format!("no worker is called {:?}", worker.is))
                .at(worker.at.clone(), "not among [[worker]]")
                .help(help),
        );
    }
    if let Some(other) = &s.duplicate_of {
        let known = folder.field.sampler(&other.is);
        if known.is_none() || other.is == s.id.is {
            found.push(
                Finding::error("no-such-sampler", format!("no other sampler is {:?}", other.is))
                    .at(other.at.clone(), "not among the others")
                    .help("write the id of the sampler that this one doubles"),
            );
        }
    }
}

/// The record has the sample that is named.
fn of_record(folder: &Folder, s: &Sampler, found: &mut Vec<Finding>) {
    let (Some(record), Some(number)) = (folder.record_of(s), &s.sample) else { return };
    if !record.file.samples.iter().any(|row| row.sample == number.is) {
        let n = record.file.samples.len();
        found.push(
            Finding::error(
                "no-such-sample",
                format!("{} has no sample {}", record.path, number.is),
            )
            .at(number.at.clone(), format!("it has {}", plan::format::count(n, "sample")))
            .help("samples are counted from 1, a fresh sampler each"),
        );
    }
}

/// Verification and custody lie around the sample.
fn times(folder: &Folder, s: &Sampler, found: &mut Vec<Finding>) {
    let row = folder.record_of(s).zip(folder.sample_number(s)).and_then(|(record, number)| {
        let row = record.file.samples.iter().find(|row| row.sample == number)?;
        let offset = record.site().offset;
        let civil = |i: &Option<crate::record_file::Instant>| {
            i.as_ref().and_then(wall).and_then(|w: WallMs| offset.civil(w))
        };
        Some((civil(&row.begin), civil(&row.end)))
    });
    let (begin, end) = row.unwrap_or_default();
    let first = |of: &[FlowReadings]| of.iter().filter_map(|r| r.when.clone()).min_by_key(key);
    let last = |of: &[FlowReadings]| of.iter().filter_map(|r| r.when.clone()).max_by_key(key);
    let mut order = |a: Option<&Stated<Civil>>, b: Option<Civil>, what: &str, than: &str| {
        let (Some(a), Some(b)) = (a, b) else { return };
        if key(a) > (b.date, b.time) {
            let at = format!("{} {}", when::date_text(b.date), when::time_text(b.time));
            found.push(
                Finding::error("wrong-order", format!("{}: {what} is after {than}", s.id.is))
                    .at(a.at.clone(), format!("{than} is at {at}"))
                    .help("check both times; they are in the site's time"),
            );
        }
    };
    order(last(&s.before).as_ref(), begin, "the flow before", "the beginning of the sample");
    let after = first(&s.after);
    order(last(&s.before).as_ref(), after.as_ref().map(|a| a.is), "the flow before", "that after");
    if let (Some(after), Some(end)) = (&after, end)
        && key(after) < minute(end)
    {
        let at = format!("{} {}", when::date_text(end.date), when::time_text(end.time));
        found.push(
            Finding::error(
                "wrong-order",
                format!("{}: the flow after was read before the sample ended", s.id.is),
            )
            .at(after.at.clone(), format!("it ended at {at}"))
            .help("check both times; they are in the site's time"),
        );
    }
    let mut early = |a: Option<&Stated<Civil>>, b: Option<Civil>, what: &str, than: &str| {
        let (Some(a), Some(b)) = (a, b) else { return };
        if key(a) < minute(b) {
            let at = format!("{} {}", when::date_text(b.date), when::time_text(b.time));
            found.push(
                Finding::error("wrong-order", format!("{}: {what} is before {than}", s.id.is))
                    .at(a.at.clone(), format!("{than} is at {at}"))
                    .help("check both times; they are in the site's time"),
            );
        }
    };
    for check in &s.checks {
        early(check.when.as_ref(), begin, "a check", "the beginning of the sample");
    }
    for lab in &s.lab {
        early(lab.when.as_ref(), end, "the laboratory's report", "the end of the sample");
    }
    for (gave, took) in s.custody.relinquished.iter().zip(&s.custody.received) {
        let gave = gave.when.as_ref().map(|w| w.is);
        early(took.when.as_ref(), gave, "a reception", "what was relinquished");
    }
    for check in &s.checks {
        if let (Some(at), Some(end)) = (&check.when, end)
            && key(at) > (end.date, end.time)
        {
            let text = format!("{} {}", when::date_text(end.date), when::time_text(end.time));
            found.push(
                Finding::error(
                    "wrong-order",
                    format!("{}: a check after the sample ended", s.id.is),
                )
                .at(at.at.clone(), format!("it ended at {text}"))
                .help("check both times; a flow read after the end is [[sampler.after]]"),
            );
        }
    }
    if let (Some(before), Some(begin)) = (last(&s.before), begin)
        && (i32::from(begin.date.days()) - i32::from(before.is.date.days())) > 1
    {
        let days = i32::from(begin.date.days()) - i32::from(before.is.date.days());
        found.push(
            Finding::warning(
                "old-verification",
                format!("{}: its flow was verified {days} days before", s.id.is),
            )
            .at(before.at.clone(), format!("it began on {}", when::date_text(begin.date)))
            .help("a flow is verified on the day of the sample (common practice, no source)"),
        );
    }
    if let (Some(expiry), Some(begin)) = (&s.expiry, begin)
        && expiry.is < begin.date
    {
        found.push(
            Finding::warning("media-expired", format!("{}: its media were too old", s.id.is))
                .at(expiry.at.clone(), format!("it was used on {}", when::date_text(begin.date)))
                .help("ask the laboratory; the sample is flagged for review"),
        );
    }
}

fn key(at: &Stated<Civil>) -> (draught::calendar::Date, draught::calendar::TimeOfDay) {
    (at.is.date, at.is.time)
}

/// Times on a sheet are to the minute.
fn minute(c: Civil) -> (draught::calendar::Date, draught::calendar::TimeOfDay) {
    let ms = c.time.as_ms() / 60_000 * 60_000;
    (c.date, draught::calendar::TimeOfDay::from_ms(ms).unwrap_or(c.time))
}

/// A tube on a manifold never has the pump's volume.
fn manifold(folder: &Folder, s: &Sampler, found: &mut Vec<Finding>) {
    let Some(asked) = &s.volume_from else { return };
    if s.kind == Kind::Pump && asked.is != VolumeFrom::VerifiedTube && folder.on_manifold(s) {
        found.push(
            Finding::error(
                "manifold-volume",
                format!("{}: a tube on a manifold does not have the pump's volume", s.id.is),
            )
            .at(asked.at.clone(), "the pump draws through all tubes at once")
            .help("write volume-from = \"verified-tube\": its own verified flow x time"),
        );
    }
}

/// One pump has one record, and one record is of one pump.
fn pumps(a: &Sampler, b: &Sampler, found: &mut Vec<Finding>) {
    let (Some(ra), Some(rb)) = (&a.record, &b.record) else { return };
    if let (Some(pa), Some(pb)) = (&a.pump, &b.pump)
        && ra.is == rb.is
        && pa.is != pb.is
    {
        found.push(
            Finding::error(
                "two-pumps",
                format!("{} is the record of {} and of {}", ra.is, pa.is, pb.is),
            )
            .at(pb.at.clone(), "another pump")
            .at(pa.at.clone(), "the first")
            .help("each pump has a record of its own"),
        );
    }
}
