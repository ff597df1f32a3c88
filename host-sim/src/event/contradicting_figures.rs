//! Figures in a folder that contradict each other: the laboratory's, a shift's, and a record's that two people share.

use super::field::{Kind, Sampler};
use super::folder::Folder;
use crate::hygiene::{Amount, strictly_over};
use crate::plan::finding::Finding;
use crate::plan::format;

/// What a laboratory reported of one sampler.
pub(super) fn laboratory(s: &Sampler, found: &mut Vec<Finding>) {
    for (i, lab) in s.lab.iter().enumerate() {
        let id = &s.id.is;
        let below = match lab.mass_mg {
            Some(Amount::Below(x)) => Some(x),
            _ => None,
        };
        if let Some((below, lod)) = below.zip(lab.lod_mg)
            && strictly_over(lod, below)
        {
            found.push(
                Finding::error(
                    "below-under-lod",
                    format!("{id}: \"below {below} mg\", and the limit of detection is {lod} mg"),
                )
                .at(lab.at.clone(), "nothing can be told below the limit of detection")
                .help("ask the laboratory which of the two it is"),
            );
        }
        if let Some((loq, lod)) = lab.loq_mg.zip(lab.lod_mg)
            && strictly_over(lod, loq)
        {
            found.push(
                Finding::error(
                    "loq-under-lod",
                    format!("{id}: quantified from {loq} mg, and detected from {lod} mg"),
                )
                .at(lab.at.clone(), "\"loq\" is below \"lod\"")
                .help("the two may have changed places; ask the laboratory"),
            );
        }
        let same = |other: &&super::field::Lab| {
            let names = other.analyte.as_ref().zip(lab.analyte.as_ref());
            names.is_some_and(|(a, b)| a.eq_ignore_ascii_case(b))
        };
        if let Some(other) = s.lab.iter().take(i).find(same) {
            let analyte = lab.analyte.as_deref().unwrap_or_default();
            found.push(
                Finding::error("analyte-twice", format!("{id}: {analyte:?} was reported twice"))
                    .at(lab.at.clone(), "once more")
                    .at(other.at.clone(), "the first")
                    .help("keep the one that the laboratory stands by"),
            );
        }
    }
}

/// A worker cannot be sampled for longer than the shift.
pub(super) fn shifts(folder: &Folder, found: &mut Vec<Finding>) {
    for worker in &folder.field.workers {
        let Some(shift_min) = worker.shift_min else { continue };
        let own = folder.field.samplers.iter().filter(|s| {
            let of_shift = s.group.is_none_or(|g| g == super::Group::Shift);
            s.worker.as_ref().is_some_and(|w| w.is == worker.id.is)
                && s.kind == Kind::Pump
                && s.duplicate_of.is_none()
                && of_shift
        });
        let pumped_ms = |s: &Sampler| {
            let (record, number) = folder.record_of(s).zip(folder.sample_number(s))?;
            Some(record.file.samples.iter().find(|row| row.sample == number)?.pumped_ms)
        };
        // Two analytes may be drawn side by side: the longest of those that begin together would do, and the longest of all is enough here.
        let longest = own.filter_map(pumped_ms).max().unwrap_or(0);
        if longest as f64 / 60_000.0 > shift_min * 1.05 + 1.0 {
            let shift = format::duration((shift_min * 60_000.0) as u64);
            let sampled = format::duration(longest);
            found.push(
                Finding::error(
                    "longer-than-shift",
                    format!("{}: {sampled} were sampled in a shift of {shift}", worker.id.is),
                )
                .at(worker.id.at.clone(), "its shift is shorter than its sample")
                .help("correct the shift, or write the worker whose sample it is"),
            );
        }
    }
}

/// One sample of one pump, worn by two people: more often a slip of the pen than a manifold.
pub(super) fn shared_records(folder: &Folder, found: &mut Vec<Finding>) {
    let samplers = &folder.field.samplers;
    for (i, b) in samplers.iter().enumerate() {
        let same = |a: &&Sampler| {
            let record = a.record.as_ref().zip(b.record.as_ref());
            let worker = a.worker.as_ref().zip(b.worker.as_ref());
            record.is_some_and(|(a, b)| a.is == b.is)
                && folder.sample_number(a) == folder.sample_number(b)
                && worker.is_some_and(|(a, b)| a.is != b.is)
        };
        let (Some(a), Some(worker)) = (samplers.iter().take(i).find(same), &b.worker) else {
            continue;
        };
        found.push(
            Finding::warning(
                "two-workers",
                format!("{} and {} are on one pump, and on two workers", a.id.is, b.id.is),
            )
            .at(worker.at.clone(), "another worker")
            .help("write each sampler's own record; tubes on one pump are worn by one person"),
        );
    }
}

/// One record under two names would be two samples of two people.
pub(super) fn same_records(folder: &Folder, found: &mut Vec<Finding>) {
    for (i, b) in folder.records.iter().enumerate() {
        let is_same = |a: &&super::Record| {
            let rows = |r: &super::Record| -> Vec<String> {
                r.file.spans.iter().map(|s| s.row_hex.clone()).collect()
            };
            a.path != b.path && a.file.event == b.file.event && rows(a) == rows(b)
        };
        if let Some(a) = folder.records.iter().take(i).find(is_same) {
            found.push(
                Finding::error("same-record", format!("{} and {} are one record", a.path, b.path))
                    .help("one of them was copied from the wrong pump: collect it again"),
            );
        }
    }
}

/// A limit of an analyte that nobody looked for is compared with nothing.
pub(super) fn limits_of_nothing(folder: &Folder, found: &mut Vec<Finding>) {
    let labs = || folder.field.samplers.iter().flat_map(|s| &s.lab);
    let mut there: Vec<&str> = labs().filter_map(|l| l.analyte.as_deref()).collect();
    there.sort_unstable();
    there.dedup();
    if there.is_empty() {
        return;
    }
    for limit in &folder.field.event.limits {
        let Some(analyte) = &limit.analyte else { continue };
        if !there.iter().any(|a| a.eq_ignore_ascii_case(analyte)) {
            found.push(
                Finding::warning(
                    "limit-of-nothing",
                    format!("no sampler has {analyte:?}, and a limit is of it"),
                )
                .at(limit.at.clone(), "compared with nothing")
                .help(format!("the laboratory reported {}; write it alike", there.join(", "))),
            );
        }
    }
}
