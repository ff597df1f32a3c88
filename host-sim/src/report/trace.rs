//! A run as CSV: one row a reading, one row a thing that happened.
//!
//! The first lines begin with `#` and say that it is simulated, and so does the first column of every row. What the core was given stands
//! there as it was given: whole milliseconds, whole µL/min, exact µL·ms/min.

use std::io::{self, Write};

use draught::calendar::UtcOffset;
use draught::clock::{Now, WallMs};
use draught::event::{Event, HoldEnd, Limit, LostCause, PumpEnd};
use draught::step::StepNo;
use draught::units::{RawVolume, Target};

use super::fault_words;
use crate::bench::{Around, FaultSeen, Happened, Observer, Reading};
use crate::plan::format;
use crate::plan::site::SiteTime;

/// The columns.
pub const COLUMNS: [&str; 14] = [
    "origin",
    "utc",
    "site_time",
    "elapsed_s",
    "row",
    "what",
    "step",
    "sample",
    "demand",
    "flow_ul_per_min",
    "covers_ms",
    "volume_ml",
    "volume_raw",
    "true_volume_ml",
];

/// What the trace of a whole pump has beside them: what is true at the reading, but for the flow, whose mean over the row it is.
pub const COLUMNS_OF_A_PUMP: [&str; 6] = [
    "true_flow_ul_per_min",
    "drop_pa",
    "battery_percent",
    "supply_mv",
    "temperature_c",
    "pressure_pa",
];

/// Writes a trace while a run goes on.
pub struct Trace<W: Write> {
    csv: csv::Writer<W>,
    site: SiteTime,
    every_ms: u64,
    armed: Now,
    /// Of a whole pump.
    whole: bool,
    /// Readings not written yet: begin of the row, what had been metered then, the latest of them.
    pending: Option<(u64, RawVolume, Reading)>,
    /// True flow · time of them, in µL·ms/min.
    truly: u64,
    written: RawVolume,
    demand: Option<Target>,
    rows: u64,
    failed: Option<io::Error>,
}

impl<W: Write> Trace<W> {
    /// A trace with a row for every reading, or, when `every_ms` is longer than a reading covers, one row for all the readings
    /// of such a time with their mean flow. That of a whole pump has [`COLUMNS_OF_A_PUMP`], too. `about` are lines for the top.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(
        mut to: W,
        about: &[String],
        site: &SiteTime,
        armed: Now,
        (every_ms, whole): (u64, bool),
    ) -> io::Result<Self> {
        for line in about {
            writeln!(to, "# {}", line.replace(['\r', '\n'], " "))?;
        }
        let mut csv = csv::WriterBuilder::new().from_writer(to);
        let more: &[&str] = if whole { &COLUMNS_OF_A_PUMP } else { &[] };
        csv.write_record(COLUMNS.iter().chain(more))?;
        Ok(Self {
            csv,
            site: site.clone(),
            every_ms,
            armed,
            whole,
            truly: 0,
            pending: None,
            written: RawVolume::ZERO,
            demand: None,
            rows: 0,
            failed: None,
        })
    }

    /// Ends it; gives the number of rows and what it was written to.
    ///
    /// # Errors
    /// The first error there was in writing any of it.
    pub fn end(mut self) -> io::Result<(u64, W)> {
        self.flush_readings();
        if let Some(failed) = self.failed {
            return Err(failed);
        }
        let rows = self.rows;
        let to =
            self.csv.into_inner().map_err(|e| io::Error::new(e.error().kind(), e.to_string()))?;
        Ok((rows, to))
    }

    fn flush_readings(&mut self) {
        let Some((covers_ms, before, last)) = self.pending.take() else { return };
        let more = last.drawn.since(before).as_raw();
        // One reading: exactly what was read. Several: their mean, to the nearest.
        let flow = (more + covers_ms / 2) / covers_ms.max(1);
        let row = Row {
            at: last.at,
            row: "reading",
            what: "",
            step: Some(last.step),
            sample: last.sample,
            flow: Some((flow, covers_ms)),
            drawn: last.drawn,
            truly_drawn: last.truly_drawn,
            around: last.around.map(|around| {
                let truly = (self.truly + covers_ms / 2) / covers_ms.max(1);
                Around { true_ul_per_min: u32::try_from(truly).unwrap_or(u32::MAX), ..around }
            }),
        };
        self.write(&row);
        self.truly = 0;
        self.written = last.drawn;
    }

    fn write(&mut self, row: &Row<'_>) {
        if self.failed.is_some() {
            return;
        }
        self.rows += 1;
        let stamp = |offset, at: Option<WallMs>| at.map_or(String::new(), |w| stamp(offset, w));
        let (flow, covers) = row.flow.map_or((String::new(), String::new()), |(flow, ms)| {
            (flow.to_string(), ms.to_string())
        });
        let mut cells = vec![
            "SIMULATED".to_owned(),
            stamp(UtcOffset::UTC, row.at.wall),
            stamp(self.site.offset, row.at.wall),
            seconds(row.at.mono.since(self.armed.mono)),
            row.row.to_owned(),
            row.what.to_owned(),
            row.step.map_or(String::new(), |s| s.get().to_string()),
            if row.sample == 0 { String::new() } else { row.sample.to_string() },
            self.demand.map_or("off".to_owned(), format::target),
            flow,
            covers,
            millilitres(row.drawn),
            row.drawn.as_raw().to_string(),
            millilitres(row.truly_drawn),
        ];
        if self.whole {
            cells.extend(row.around.map_or_else(Default::default, around_cells));
        }
        let result = self.csv.write_record(cells);
        if let Err(e) = result {
            self.failed = Some(io::Error::other(e));
        }
    }
}

struct Row<'a> {
    at: Now,
    row: &'a str,
    what: &'a str,
    step: Option<StepNo>,
    sample: u32,
    flow: Option<(u64, u64)>,
    drawn: RawVolume,
    truly_drawn: RawVolume,
    around: Option<Around>,
}

/// Cells for [`COLUMNS_OF_A_PUMP`].
fn around_cells(a: Around) -> [String; 6] {
    let hundredths = |n: i64| {
        let sign = if n < 0 { "-" } else { "" };
        format!("{sign}{}.{:02}", n.abs() / 100, n.abs() % 100)
    };
    [
        a.true_ul_per_min.to_string(),
        a.drop_pa.to_string(),
        a.battery_per_myriad.map_or(String::new(), |b| hundredths(b.into())),
        a.supply_mv.to_string(),
        hundredths((i64::from(a.temperature_mk) - 273_150).div_euclid(10)),
        a.pressure_pa.to_string(),
    ]
}

impl<W: Write> Observer for Trace<W> {
    fn reading(&mut self, reading: &Reading) {
        let (covers_ms, before) = match self.pending {
            Some((ms, before, _)) => (ms, before),
            None => (0, self.written),
        };
        let covers_ms = covers_ms + reading.covers_ms;
        let truly = reading.around.map_or(0, |a| u64::from(a.true_ul_per_min));
        self.truly += truly * reading.covers_ms;
        self.pending = Some((covers_ms, before, *reading));
        if covers_ms >= self.every_ms {
            self.flush_readings();
        }
    }

    fn event(&mut self, happened: &Happened) {
        self.flush_readings();
        let (what, step, sample) = words(&happened.event);
        match happened.event {
            Event::PumpingBegan { target, .. } => self.demand = Some(target),
            Event::PumpingEnded(_) | Event::Ended(_) => self.demand = None,
            _ => {}
        }
        self.write(&Row {
            at: happened.input.now,
            row: "event",
            what,
            step,
            sample,
            flow: None,
            drawn: happened.input.drawn,
            truly_drawn: happened.truly_drawn,
            around: None,
        });
        // After a power cut less has been metered than before it: the record goes back to its newest checkpoint.
        self.written = happened.input.drawn;
    }

    fn fault(&mut self, seen: &FaultSeen) {
        self.flush_readings();
        let what = if seen.begins {
            fault_words::begins(&seen.fault)
        } else {
            fault_words::over(&seen.fault).to_owned()
        };
        self.write(&Row {
            at: seen.at,
            row: "world",
            what: &what,
            step: None,
            sample: 0,
            flow: None,
            drawn: seen.drawn,
            truly_drawn: seen.truly_drawn,
            around: None,
        });
    }
}

/// What an event is called in a trace, its step and sample.
fn words(event: &Event) -> (&'static str, Option<StepNo>, u32) {
    match event {
        Event::AppointmentSet { step, .. } => ("appointment set", Some(*step), 0),
        Event::AppointmentMet { step, .. } => ("appointment met", Some(*step), 0),
        Event::AppointmentMissed { step, .. } => ("appointment missed", Some(*step), 0),
        Event::PumpingBegan { step, sample, .. } => ("pumping began", Some(*step), *sample),
        Event::PumpingEnded(p) => {
            let what = match p.by {
                PumpEnd::Time => "pumping ended: time",
                PumpEnd::Volume => "pumping ended: volume",
                PumpEnd::Limit => "pumping ended: at-most",
                PumpEnd::Stopped => "pumping ended: stopped",
                PumpEnd::Tripped(Limit::FlowLow) => "pumping ended: too little flow",
                PumpEnd::Tripped(Limit::FlowHigh) => "pumping ended: too much flow",
                PumpEnd::Tripped(Limit::Pressure) => "pumping ended: too much pressure",
                PumpEnd::Tripped(Limit::Supply) => "pumping ended: supply too weak",
                PumpEnd::Tripped(Limit::Sensor) => "pumping ended: sensor at fault",
                PumpEnd::Outage => "pumping ended: outage",
            };
            (what, Some(p.step), p.sample)
        }
        Event::RunLost { step, cause: LostCause::TooFar } => {
            ("run lost: too far off", Some(*step), 0)
        }
        Event::RunLost { step, cause: LostCause::Past } => {
            ("run lost: already over", Some(*step), 0)
        }
        Event::HoldBegan { step } => ("hold began", Some(*step), 0),
        Event::HoldEnded { step, by: HoldEnd::RanOut } => ("hold ended: its time", Some(*step), 0),
        Event::HoldEnded { step, by: HoldEnd::Resumed } => ("hold ended: resumed", Some(*step), 0),
        Event::PassedOn { step, .. } => ("next pass", Some(*step), 0),
        Event::RepeatDone { step } => ("repeat done", Some(*step), 0),
        Event::PassSkipped { step } => ("pass skipped", Some(*step), 0),
        Event::Ended(_) => ("event ended", None, 0),
    }
}

/// "2027-02-12T05:00:01.000", in UTC with a Z after it.
fn stamp(offset: UtcOffset, wall: WallMs) -> String {
    let Some(civil) = offset.civil(wall) else { return String::new() };
    let (year, month, day) = civil.date.ymd();
    let ms = civil.time.as_ms();
    let (h, m, s, rest) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1_000 % 60, ms % 1_000);
    let z = if offset == UtcOffset::UTC { "Z" } else { "" };
    format!("{year:04}-{month:02}-{day:02}T{h:02}:{m:02}:{s:02}.{rest:03}{z}")
}

fn seconds(ms: u64) -> String {
    format!("{}.{:03}", ms / 1_000, ms % 1_000)
}

/// To a µL, rounded down, in mL.
fn millilitres(raw: RawVolume) -> String {
    let ul = raw.as_ul();
    format!("{}.{:03}", ul / 1_000, ul % 1_000)
}
