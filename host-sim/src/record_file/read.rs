//! Reading a record back. Every row is decoded from its bytes once more: a file in which the two differ was changed by hand.

use std::fmt;

use draught::record::{EventRow, ROW_LEN, SampleRow, SpanRow};

use super::rows::{EventRecord, SampleRecord, SpanRecord};
use super::{FORMAT, NOTICE, RecordFile};
use crate::plan::site::SiteTime;

/// Why a text is no record that can be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError {
    /// What is wrong, and where.
    pub what: String,
    /// What to do.
    pub help: &'static str,
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for ReadError {}

const GIVE: &str = "give a file that draught simulate --record has written";
const AGAIN: &str = "use the file as it was written; do not edit records";

fn wrong(what: impl Into<String>, help: &'static str) -> ReadError {
    ReadError { what: what.into(), help }
}

/// Reads a record and checks that it says one thing only.
///
/// # Errors
/// [`ReadError`]: not JSON, not a record, of another format, or with a row that differs from its own bytes.
pub fn read(text: &str) -> Result<RecordFile, ReadError> {
    let value: serde_json::Value =
        serde_json::from_str(text).map_err(|e| wrong(format!("this is not JSON: {e}"), GIVE))?;
    let format = value.get("format").and_then(serde_json::Value::as_u64);
    match format {
        None => return Err(wrong("this is JSON, but no record: it has no \"format\"", GIVE)),
        Some(format) if format != u64::from(FORMAT) => {
            let what = format!("this record has format {format}, and {FORMAT} is what can be read");
            return Err(wrong(
                what,
                "use the version of draught that has written it, or a later one",
            ));
        }
        Some(_) => {}
    }
    // From the text again: only so the place of a fault is known.
    let file: RecordFile =
        serde_json::from_str(text).map_err(|e| wrong(format!("this is no record: {e}"), GIVE))?;
    check(&file)?;
    Ok(file)
}

fn check(file: &RecordFile) -> Result<(), ReadError> {
    let minutes = file.site.utc_offset_minutes;
    let no_time = || wrong(format!("utc_offset_minutes {minutes} is no offset of a place"), AGAIN);
    let site = file.site.time().ok_or_else(no_time)?;
    match (file.origin.as_str(), file.notice.as_deref()) {
        ("simulated", Some(NOTICE)) | ("pump", None) => {}
        ("simulated", _) => {
            return Err(wrong(format!("a simulated record says \"notice\": \"{NOTICE}\""), AGAIN));
        }
        ("pump", _) => return Err(wrong("a record of a pump has no notice", AGAIN)),
        (other, _) => {
            let what = format!("origin {other:?} is neither \"simulated\" nor \"pump\"");
            return Err(wrong(what, GIVE));
        }
    }
    if let Some(event) = &file.event {
        let again = decoded(&event.row_hex, EventRow::from_bytes)
            .map(|(row, bytes)| EventRecord::of(&row, &bytes, &site));
        same(event, again, "the event")?;
        if event.origin != file.origin {
            let what = format!("origin is {:?} and in the event {:?}", file.origin, event.origin);
            return Err(wrong(what, AGAIN));
        }
    }
    samples(file, &site)?;
    spans(file, &site)?;
    sums(file)
}

fn samples(file: &RecordFile, site: &SiteTime) -> Result<(), ReadError> {
    for sample in &file.samples {
        let again = decoded(&sample.row_hex, SampleRow::from_bytes)
            .map(|(row, bytes)| SampleRecord::of(&row, &bytes, site));
        same(sample, again, &format!("sample {}", sample.sample))?;
    }
    Ok(())
}

fn spans(file: &RecordFile, site: &SiteTime) -> Result<(), ReadError> {
    for span in &file.spans {
        let again = decoded(&span.row_hex, SpanRow::from_bytes)
            .map(|(row, bytes)| SpanRecord::of(&row, &bytes, site));
        same(span, again, &format!("span {}", span.span))?;
    }
    Ok(())
}

/// A row from its hexadecimal digits; `None` when they are none.
fn decoded<R>(hex: &str, row: impl Fn(&[u8; ROW_LEN]) -> Option<R>) -> Option<(R, [u8; ROW_LEN])> {
    let mut bytes = [0; ROW_LEN];
    if hex.len() != 2 * ROW_LEN || !hex.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    for (byte, digits) in bytes.iter_mut().zip(hex.as_bytes().chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?;
    }
    row(&bytes).map(|row| (row, bytes))
}

fn same<R: PartialEq>(said: &R, again: Option<R>, which: &str) -> Result<(), ReadError> {
    match again {
        None => Err(wrong(format!("{which}: row_hex is no such row"), AGAIN)),
        Some(again) if again != *said => {
            Err(wrong(format!("{which}: what is said differs from the bytes in row_hex"), AGAIN))
        }
        Some(_) => Ok(()),
    }
}

/// All rows are of one event, and nothing is missing of which the event knows.
fn sums(file: &RecordFile) -> Result<(), ReadError> {
    let Some(event) = &file.event else { return Ok(()) };
    let others = file.samples.iter().map(|s| s.event).chain(file.spans.iter().map(|s| s.event));
    if let Some(other) = others.into_iter().find(|id| *id != event.event) {
        let what = format!("a row of event {other} stands in the record of event {}", event.event);
        return Err(wrong(what, AGAIN));
    }
    if event.schedule_id != file.schedule.id {
        let (id, other) = (&file.schedule.id, &event.schedule_id);
        return Err(wrong(format!("the schedule is {id}, and {other} was armed"), AGAIN));
    }
    // A pump whose flash failed says so; then rows may be missing.
    if event.flags.iter().any(|flag| flag == "row-lost") {
        return Ok(());
    }
    let of_spans: u64 = file.spans.iter().map(|s| s.volume_raw_ul_ms_per_min).sum();
    let of_samples: u64 = file.samples.iter().map(|s| s.volume_raw_ul_ms_per_min).sum();
    let all = event.volume_raw_ul_ms_per_min;
    if (of_spans, of_samples) != (all, all) {
        let what =
            format!("volumes differ: {of_spans} in spans, {of_samples} in samples, {all} in all");
        return Err(wrong(
            what,
            "a row is missing, or there twice; use the file as it was written",
        ));
    }
    Ok(())
}
