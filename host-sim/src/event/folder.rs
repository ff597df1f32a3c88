//! Loading an event folder: everything that can be read is read, and what cannot be is said.

use std::io::{self, Read};
use std::path::Path;

use draught::clock::{MonoMs, Now, WallMs};
use draught::table::StepTable;
use draught::wire;
use jiff::Timestamp;

use super::contradictions;
use super::field::{Field, Sampler};
use super::read::read;
use crate::methods::Library;
use crate::plan::finding::{Finding, Findings, Severity};
use crate::plan::outlook::Outlook;
use crate::plan::site::{self, SiteTime};
use crate::plan::source::Source;
use crate::plan::{self, ArmedAt, CAPACITY, Loaded};
use crate::record_file::{self, Instant, RecordFile};

/// The names of the files in a folder.
pub const PLAN: &str = "plan.toml";
/// The block.
pub const BLOCK: &str = "schedule.dra";
/// What people fill in.
pub const FIELD: &str = "field.toml";
/// The folder of records.
pub const RECORDS: &str = "records";

/// No file in a folder has as many bytes as this by far.
const BYTES_AT_MOST: u64 = 64 << 20;

/// A record that was read.
#[derive(Clone, Debug)]
pub struct Record {
    /// Its path in the folder.
    pub path: String,
    /// What it says.
    pub file: RecordFile,
}

/// What is in a folder.
#[derive(Debug)]
pub struct Folder {
    /// Its path; none for records alone.
    pub path: Option<String>,
    /// The plan, as armed when the first record was.
    pub plan: Option<Loaded>,
    /// The block.
    pub block: Option<Vec<u8>>,
    /// The text of field.toml.
    pub field_source: Source,
    /// What is in it.
    pub field: Field,
    /// Whether there is one.
    pub has_field: bool,
    /// The records.
    pub records: Vec<Record>,
    /// What was found in field.toml and between the files.
    pub findings: Findings,
}

/// Why there is nothing to load.
#[derive(Debug)]
pub struct NotLoaded {
    /// The path.
    pub path: String,
    /// Why.
    pub error: io::Error,
}

impl Folder {
    /// Loads a folder and compares what is in it.
    ///
    /// # Errors
    /// [`NotLoaded`]: it is no folder, or a file in it cannot be read at all.
    pub fn load(path: &str, library: &Library, now: WallMs) -> Result<Self, NotLoaded> {
        let at = |name: &str| Path::new(path).join(name).display().to_string();
        let not = |path: String| move |error| NotLoaded { path, error };
        std::fs::read_dir(path).map_err(not(path.to_owned()))?;
        let mut findings = Findings::new();
        let field_text = text(&at(FIELD)).map_err(not(at(FIELD)))?;
        let has_field = field_text.is_some();
        let field_source = Source::new(at(FIELD), field_text.unwrap_or_default());
        let field = if has_field {
            let (field, found) = read(&field_source);
            findings.extend(found.sorted().into_iter().cloned());
            field.unwrap_or_default()
        } else {
            Field::default()
        };
        let block = bytes(&at(BLOCK)).map_err(not(at(BLOCK)))?;
        let mut records = Vec::new();
        for name in record_paths(path, &field).map_err(not(at(RECORDS)))? {
            match text(&at(&name)).map_err(not(at(&name)))? {
                None => {} // Said by what is missing.
                Some(text) => match record_file::read(&text) {
                    Ok(file) => records.push(Record { path: name, file }),
                    Err(e) => findings.push(
                        Finding::error("not-a-record", format!("{name}: {}", e.what)).help(e.help),
                    ),
                },
            }
        }
        let armed = records.iter().find_map(|r| r.armed()).and_then(|now| now.wall);
        let plan = text(&at(PLAN)).map_err(not(at(PLAN)))?.map(|text| {
            let armed = armed.map_or(ArmedAt::Now(now), ArmedAt::Instant);
            plan::load_with(Source::new(at(PLAN), text), armed, library)
        });
        let mut folder = Self {
            path: Some(path.to_owned()),
            plan,
            block,
            field_source,
            field,
            has_field,
            records,
            findings,
        };
        let more = contradictions::all(&folder, library);
        folder.findings.extend(more);
        Ok(folder)
    }

    /// Records alone: each sample of them is a sampler of which nothing else is known.
    #[must_use]
    pub fn of_records(records: Vec<Record>) -> Self {
        let mut field = Field::default();
        for record in &records {
            let stem =
                Path::new(&record.path).file_stem().map(|s| s.to_string_lossy().into_owned());
            let stem = stem.unwrap_or_else(|| record.path.clone());
            let several = record.file.samples.len() > 1;
            for sample in &record.file.samples {
                let id = if several { format!("{stem}-{}", sample.sample) } else { stem.clone() };
                // Two files of one name in two folders are still two samplers.
                let id = match field.samplers.iter().filter(|s| s.id.is == id).count() {
                    0 => id,
                    n => format!("{id} ({})", n + 1),
                };
                field.samplers.push(Sampler::on_pump(id, record.path.clone(), sample.sample));
            }
        }
        Self {
            path: None,
            plan: None,
            block: None,
            field_source: Source::new("", ""),
            field,
            has_field: false,
            records,
            findings: Findings::new(),
        }
    }

    /// The record of a path.
    #[must_use]
    pub fn record(&self, path: &str) -> Option<&Record> {
        self.records.iter().find(|r| r.path == path)
    }

    /// The record of a sampler.
    #[must_use]
    pub fn record_of(&self, sampler: &Sampler) -> Option<&Record> {
        self.record(&sampler.record.as_ref()?.is)
    }

    /// The method of a sampler: its own, else the event's, else the plan's.
    #[must_use]
    pub fn method_of(&self, sampler: &Sampler) -> Option<String> {
        sampler.method.as_ref().map(|m| m.is.clone()).or_else(|| self.event_method())
    }

    /// The method of samplers that name none.
    #[must_use]
    pub fn event_method(&self) -> Option<String> {
        let of_plan = || {
            let ready = self.plan.as_ref()?.ready.as_ref()?;
            ready.plan.wanted.method.as_ref().map(|m| m.value.clone())
        };
        self.field.event.method.as_ref().map(|m| m.is.clone()).or_else(of_plan)
    }

    /// Whether anything contradicts.
    #[must_use]
    pub fn contradicts(&self) -> bool {
        self.findings.has_errors()
            || self.plan.as_ref().is_some_and(|p| p.findings.count(Severity::Error) > 0)
    }

    /// How many other samplers are on the same sample of the same record.
    #[must_use]
    pub fn shares_sample(&self, sampler: &Sampler) -> bool {
        let Some(record) = &sampler.record else { return false };
        let number = self.sample_number(sampler);
        let same = |other: &&Sampler| {
            other.record.as_ref().is_some_and(|r| r.is == record.is)
                && self.sample_number(other) == number
        };
        number.is_some() && self.field.samplers.iter().filter(same).count() > 1
    }

    /// The number of a sampler's sample: as stated, or the only one of its record.
    #[must_use]
    pub fn sample_number(&self, sampler: &Sampler) -> Option<u32> {
        if let Some(number) = &sampler.sample {
            return Some(number.is);
        }
        match self.record_of(sampler)?.file.samples.as_slice() {
            [only] => Some(only.sample),
            _ => None,
        }
    }

    /// Whether a tube's volume can only be its own verified flow x time: the pump keeps a pressure, or several tubes share it.
    #[must_use]
    pub fn on_manifold(&self, sampler: &Sampler) -> bool {
        let keeps_pressure = match self.record_of(sampler).and_then(Record::table) {
            Some(table) => keeps_pressure(&table),
            None => self
                .plan
                .as_ref()
                .and_then(|p| p.ready.as_ref())
                .is_some_and(|ready| keeps_pressure(&ready.table)),
        };
        keeps_pressure || self.shares_sample(sampler)
    }
}

fn keeps_pressure(table: &StepTable<CAPACITY>) -> bool {
    let Ok(table) = table.checked() else { return false };
    let own = table.steps().iter().filter(|s| s.is_pumping());
    let targets = own.map(|s| s.own_target().unwrap_or(table.settings().target));
    targets.into_iter().any(|t| t.as_flow().is_none())
}

impl Record {
    /// When it was armed; the monotonic clock begins at 0 there.
    #[must_use]
    pub fn armed(&self) -> Option<Now> {
        let wall = wall(self.file.event.as_ref()?.armed.as_ref()?)?;
        Some(Now { mono: MonoMs::from_ms(0), wall: Some(wall) })
    }

    /// The schedule that was armed, from its block.
    #[must_use]
    pub fn table(&self) -> Option<Box<StepTable<CAPACITY>>> {
        table_of(&from_hex(&self.file.schedule.block_hex)?)
    }

    /// What the schedule would do from arming on.
    #[must_use]
    pub fn outlook(&self) -> Option<Outlook> {
        let table = self.table()?;
        Outlook::new(table.checked().ok()?, self.armed()?).ok()
    }

    /// The time in which its local instants are.
    #[must_use]
    pub fn site(&self) -> SiteTime {
        self.file.site.time().unwrap_or_else(SiteTime::utc)
    }
}

/// A schedule from its block.
#[must_use]
pub fn table_of(block: &[u8]) -> Option<Box<StepTable<CAPACITY>>> {
    let mut table = Box::new(StepTable::<CAPACITY>::empty());
    wire::decode_into(block, &mut table).ok()?;
    Some(table)
}

/// An instant of a record as the pump's clock has it.
#[must_use]
pub fn wall(instant: &Instant) -> Option<WallMs> {
    site::wall_from_unix_ms(instant.utc.parse::<Timestamp>().ok()?.as_millisecond())
}

fn from_hex(hex: &str) -> Option<Vec<u8>> {
    let pairs = hex.as_bytes().chunks(2);
    let read = pairs.map(|p| u8::from_str_radix(std::str::from_utf8(p).ok()?, 16).ok());
    read.collect::<Option<_>>().filter(|_| hex.len().is_multiple_of(2) && hex.is_ascii())
}

/// Every record that field.toml names, and every other in the folder of records.
fn record_paths(folder: &str, field: &Field) -> io::Result<Vec<String>> {
    let named = field.samplers.iter().filter_map(|s| Some(s.record.as_ref()?.is.clone()));
    let mut paths: Vec<String> = Vec::new();
    for path in named {
        if !paths.contains(&path) {
            paths.push(path);
        }
    }
    let mut there = Vec::new();
    match std::fs::read_dir(Path::new(folder).join(RECORDS)) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => {}
        Err(e) => return Err(e),
        Ok(entries) => {
            for entry in entries {
                let name = entry?.file_name().to_string_lossy().into_owned();
                if name.ends_with(".json") {
                    there.push(format!("{RECORDS}/{name}"));
                }
            }
        }
    }
    there.sort();
    paths.extend(there.into_iter().filter(|p| !paths.contains(p)).collect::<Vec<_>>());
    Ok(paths)
}

/// A file's bytes; `None`: it is not there.
fn bytes(path: &str) -> io::Result<Option<Vec<u8>>> {
    let file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(e),
    };
    let mut read = Vec::new();
    file.take(BYTES_AT_MOST + 1).read_to_end(&mut read)?;
    if read.len() as u64 > BYTES_AT_MOST {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "it is far too large"));
    }
    Ok(Some(read))
}

/// The same as text.
pub(crate) fn text(path: &str) -> io::Result<Option<String>> {
    let not_text = |_| io::Error::new(io::ErrorKind::InvalidData, "it is not text in UTF-8");
    bytes(path)?.map(|b| String::from_utf8(b).map_err(not_text)).transpose()
}
