//! The plan from the TOML tree: settings, rules, limits. Every fault found is a finding; reading
//! goes on after it.

use std::ops::Range;

use draught::calendar::UtcOffset;
use draught::table::{Fault, LateTolerance, Name, NameRefused, Outage, Resume, ResumeWithin};
use draught::table::{RetryEvery, Settings, TripGrace, TripPercent};
use draught::units::{Flow, Pressure, Quantity, Target, Volume};
use jiff::tz::TimeZone;
use toml::de::{DeTable, DeValue};

use super::fields::{Entry, Fields, Reader};
use super::finding::{Finding, Findings};
use super::read_steps::{self, PlanStep};
use super::site::{self, Site};
use super::source::Source;
use super::{keys, words};
use crate::hygiene::parse::Kind;

/// A value with its place in the text.
#[derive(Clone, Debug)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Its key and value in the text.
    pub span: Range<usize>,
}

/// A plan that has been read: what it says, and where.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The text it was read from.
    pub source: Source,
    /// Everything a table holds besides its steps; the offset is not resolved yet.
    pub settings: Settings,
    /// The steps.
    pub steps: Vec<PlanStep>,
    /// Where the pump stands.
    pub site: At<Site>,
    /// Where the target stands.
    pub target: Range<usize>,
    /// Where `start-by` stands.
    pub start_by: Option<Range<usize>>,
    /// What is wanted, and what the equipment takes.
    pub wanted: Wanted,
}

/// What only the host checks: it is not in the bytes that a pump gets.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The flow that the pump keeps, least and most.
    pub pump_flow: Option<At<(Flow, Flow)>>,
    /// The pressure difference that the pump keeps, least and most.
    pub pump_pressure: Option<At<(Pressure, Pressure)>>,
    /// The volume that each sample should have, least and most.
    pub volume: Option<At<(Volume, Volume)>>,
    /// The largest flow that the sampler takes.
    pub sampler_flow: Option<At<Flow>>,
    /// The method that it follows: "nmam-0600", or with its variant "nmam-0600/nylon".
    pub method: Option<At<String>>,
    /// The concentration that is expected, in mg/m³.
    pub expect_mg_m3: Option<At<f64>>,
}

/// Reads a plan; `None` when its findings have errors that leave nothing to check further.
pub(super) fn plan(source: &Source) -> (Option<Plan>, Findings) {
    let mut reader = Reader { text: &source.text, findings: Findings::new(), step: None };
    let (tree, errors) = DeTable::parse_recoverable(&source.text);
    if !errors.is_empty() {
        for error in &errors {
            reader.report(super::syntax::finding(error.message(), error.span(), source));
        }
        return (None, reader.findings);
    }
    let plan = top(&mut reader, &Fields { table: tree.get_ref(), span: tree.span() }, source);
    (plan, reader.findings)
}

fn top(reader: &mut Reader<'_>, f: &Fields<'_, '_>, source: &Source) -> Option<Plan> {
    reader.unknown_keys(f, keys::PLAN, "a plan");
    let name = f.get("name").map(|e| name(reader, &e));
    let site = site(reader, f);
    let target = read_steps::target(reader, f.get("flow"), f.get("pressure"));
    if let Some(None) = target {
        missing(reader, f, "flow", "what the pump keeps constant", "flow = \"2.0 L/min\"");
    }
    let target_span = f.get("flow").or_else(|| f.get("pressure")).map(|e| e.whole_span());
    let start_by = f.get("start-by").map(|e| (e.whole_span(), reader.civil(&e)));
    let steps = match f.get("steps") {
        Some(entry) => read_steps::steps(reader, &entry),
        None => {
            let example = "steps = [ { run-for = \"4 h\" }, { finish = true } ]";
            missing(reader, f, "steps", "what the pump does, one after the other", example);
            Vec::new()
        }
    };
    let (at_utc, any) = (UtcOffset::UTC, Target::flow(Flow::SMALLEST));
    let mut settings = Settings::new(at_utc, target.flatten().unwrap_or(any));
    if let Some(Some(name)) = name {
        settings.name = name;
    }
    let mut start_by_span = None;
    if let Some((span, civil)) = start_by {
        (settings.start_by, start_by_span) = (civil, Some(span));
    }
    if let Some(fields) = f.get("rules").and_then(|e| table(reader, &e)) {
        rules(reader, &fields, &mut settings);
    }
    let mut wanted = Wanted::default();
    if let Some(fields) = f.get("limits").and_then(|e| table(reader, &e)) {
        limits(reader, &fields, &mut settings, &mut wanted);
    }
    wanted.method = f.get("method").and_then(|e| {
        let value = reader.text(&e, "nmam-0600")?.to_owned();
        Some(At { value, span: e.whole_span() })
    });
    Some(Plan {
        source: source.clone(),
        settings,
        steps,
        site: site?,
        target: target_span?,
        start_by: start_by_span,
        wanted,
    })
}

fn missing(reader: &mut Reader<'_>, f: &Fields<'_, '_>, key: &str, what: &str, example: &str) {
    let first = f.table.keys().map(|k| k.span()).min_by_key(|s| s.start).unwrap_or(0..0);
    reader.report(
        Finding::error("missing-key", format!("a plan needs {key:?}: {what}"))
            .at(first, format!("{key:?} is missing from this plan"))
            .help(format!("add {example}")),
    );
}

fn table<'s, 'i>(reader: &mut Reader<'_>, entry: &Entry<'s, 'i>) -> Option<Fields<'s, 'i>> {
    if let DeValue::Table(table) = entry.value.get_ref() {
        return Some(Fields { table, span: entry.value_span() });
    }
    reader.report(
        Finding::error("wrong-type", format!("{:?} must be a table", entry.key))
            .at(entry.value_span(), "not a table")
            .help(format!("write [{}] on a line of its own, and its keys below it", entry.key)),
    );
    None
}

fn name(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<Name> {
    let text = reader.text(entry, "bakery-night")?;
    let refused = match Name::new(text) {
        Ok(name) => return Some(name),
        Err(refused) => refused,
    };
    reader.report(match refused {
        NameRefused::TooLong => Finding::error(
            "name-too-long",
            format!("a name has at most {} bytes, and this has {}", Name::MAX_BYTES, text.len()),
        )
        .at(entry.value_span(), format!("at most {} bytes", Name::MAX_BYTES))
        .help("shorten it; letters outside A to Z take 2 to 4 bytes each"),
        NameRefused::ControlCharacter => {
            Finding::error("name-control", "a name has no line breaks or other control characters")
                .at(entry.value_span(), "has a control character")
                .help("write it in one line")
        }
    });
    None
}

fn site(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<At<Site>> {
    let standard = match f.get("time") {
        None => Some(false),
        Some(e) => reader.choice(&e, &[("civil", false), ("standard", true)]),
    };
    match (f.get("zone"), f.get("utc-offset")) {
        (None, None) => {
            let example = "zone = \"America/Denver\", or utc-offset = \"-07:00\"";
            missing(reader, f, "zone", "where the pump stands", example);
            None
        }
        (Some(zone), Some(offset)) => {
            self::zone(reader, &zone);
            self::offset(reader, &offset);
            reader.report(
                Finding::error("zone-and-offset", "a plan has a zone or a utc-offset, not both")
                    .at(offset.whole_span(), "the offset")
                    .at(zone.whole_span(), "the zone")
                    .help("keep zone for a place, utc-offset for an offset that never changes"),
            );
            None
        }
        (None, Some(entry)) => {
            if let (Some(time), Some(true)) = (f.get("time"), standard) {
                reader.report(
                    Finding::error("time-without-zone", "only a zone has a standard time")
                        .at(time.whole_span(), "a utc-offset never changes")
                        .help("delete \"time\", or give the site's zone"),
                );
            }
            let offset = offset(reader, &entry)?;
            Some(At { value: Site::Fixed(offset), span: entry.whole_span() })
        }
        (Some(entry), None) => {
            let (zone, name) = zone(reader, &entry)?;
            let value = Site::Zone { zone, name, standard: standard? };
            Some(At { value, span: entry.whole_span() })
        }
    }
}

fn offset(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<UtcOffset> {
    let text = reader.text(entry, "-07:00")?;
    let finding = match site::parse_offset(text) {
        Some(Ok(offset)) => return Some(offset),
        Some(Err(_)) => Finding::error("bad-offset", format!("no pump has the UTC offset {text:?}"))
            .at(entry.value_span(), "whole quarter-hours from -12:00 to +14:00")
            .help("write the offset of the site, as in \"-07:00\""),
        None => Finding::error("bad-offset", format!("{text:?} is not a UTC offset"))
            .at(entry.value_span(), "not understood")
            .help("write hours and minutes with a sign, as in \"-07:00\"; for a place, write zone = ..."),
    };
    reader.report(finding);
    None
}

fn zone(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<(TimeZone, String)> {
    let text = reader.text(entry, "America/Denver")?;
    let database = jiff::tz::db();
    if let Ok(zone) = database.get(text)
        && let Some(name) = zone.iana_name().map(str::to_owned)
    {
        return Some((zone, name));
    }
    let names: Vec<String> = database.available().map(|n| n.to_string()).collect();
    let city = text.rsplit(['/', ' ']).next().unwrap_or(text).replace(' ', "_");
    let same_city = names
        .iter()
        .find(|n| n.rsplit('/').next().is_some_and(|last| last.eq_ignore_ascii_case(&city)));
    let close = words::closest(text, names.iter().map(String::as_str));
    let help = match same_city.map(String::as_str).or(close) {
        Some(meant) => format!("did you mean {meant:?}?"),
        None if text.starts_with(['+', '-']) => {
            format!("for a fixed offset, write utc-offset = {text:?}")
        }
        None => "write the IANA name of the zone, such as \"America/Denver\" or \"Europe/Oslo\""
            .to_owned(),
    };
    reader.report(
        Finding::error("no-such-zone", format!("no time zone is called {text:?}"))
            .at(entry.value_span(), "unknown zone")
            .help(help),
    );
    None
}

fn rules(reader: &mut Reader<'_>, f: &Fields<'_, '_>, settings: &mut Settings) {
    reader.unknown_keys(f, keys::RULES, "[rules]");
    if let Some(e) = f.get("late-tolerance")
        && let Some(ms) = reader.quantity(&e, Quantity::LateTolerance)
        && let Some(tolerance) = reader.checked(&e, LateTolerance::from_ms(ms))
    {
        settings.late_tolerance = tolerance;
    }
    if let Some(outage) = f.get("outage").and_then(|e| outage(reader, &e)) {
        settings.outage = outage;
    }
    if let Some(fault) = f.get("fault").and_then(|e| fault(reader, &e)) {
        settings.fault = fault;
    }
}

fn outage(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<Outage> {
    let DeValue::Table(table) = entry.value.get_ref() else {
        let table = "{ keep = \"stop-time\", resume-within = \"10 min\" }";
        return reader.choice_or(entry, &[("abandon", Outage::Abandon)], table);
    };
    let f = Fields { table, span: entry.value_span() };
    reader.unknown_keys(&f, keys::OUTAGE, "rules.outage");
    let keep = match f.get("keep") {
        Some(e) => {
            let stop_time: fn(Resume) -> Outage = Outage::KeepStopTime;
            reader.choice(&e, &[("stop-time", stop_time), ("run-time", Outage::MakeUpTime)])
        }
        None => Some(Outage::KeepStopTime as fn(Resume) -> Outage),
    };
    let within = match f.get("resume-within") {
        None => Some(ResumeWithin::DEFAULT),
        Some(e) => reader
            .quantity(&e, Quantity::ResumeWithin)
            .and_then(|ms| reader.checked(&e, ResumeWithin::from_ms(ms))),
    };
    let while_charging = match f.get("while-charging") {
        None => Some(false),
        Some(e) => reader.flag(&e),
    };
    Some(keep?(Resume { within: within?, while_charging: while_charging? }))
}

fn fault(reader: &mut Reader<'_>, entry: &Entry<'_, '_>) -> Option<Fault> {
    let DeValue::Table(table) = entry.value.get_ref() else {
        let table = "{ retry-every = \"60 s\", times = 3 }";
        return reader.choice_or(entry, &[("stop", Fault::Stop), ("close", Fault::Close)], table);
    };
    let f = Fields { table, span: entry.value_span() };
    reader.unknown_keys(&f, keys::RETRY, "rules.fault");
    let every = match f.get("retry-every") {
        None => Some(RetryEvery::DEFAULT),
        Some(e) => reader
            .quantity(&e, Quantity::RetryEvery)
            .and_then(|ms| reader.checked(&e, RetryEvery::from_ms(ms))),
    };
    let Some(times) = f.get("times") else {
        reader.report(
            Finding::error("missing-key", "a retry needs \"times\": how often in one pumping step")
                .at(entry.value_span(), "how often?")
                .help("write fault = { retry-every = \"60 s\", times = 3 }"),
        );
        return None;
    };
    let times = reader.integer(&times, Quantity::RetryTimes)?;
    let times = u8::try_from(times).ok().and_then(std::num::NonZeroU8::new)?;
    Some(Fault::Retry { every: every?, times })
}

fn limits(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    settings: &mut Settings,
    wanted: &mut Wanted,
) {
    reader.unknown_keys(f, keys::LIMITS, "[limits]");
    wanted.pump_flow = range(reader, f, "pump-flow", Quantity::Flow, Flow::from_ul_per_min);
    wanted.pump_pressure = range(reader, f, "pump-pressure", Quantity::Pressure, Pressure::from_pa);
    wanted.volume = range(reader, f, "volume", Quantity::Volume, Volume::from_ml);
    if let Some(e) = f.get("sampler-flow-at-most")
        && let Some(base) = reader.quantity(&e, Quantity::Flow)
        && let Some(value) = reader.checked(&e, Flow::from_ul_per_min(base))
    {
        wanted.sampler_flow = Some(At { value, span: e.whole_span() });
    }
    if let Some(e) = f.get("expect")
        && let Some(value) = reader.measured(e.key, e.value, Kind::MassConcentration)
    {
        wanted.expect_mg_m3 = Some(At { value, span: e.whole_span() });
    }
    if let Some(e) = f.get("pressure-at-most")
        && let Some(base) = reader.quantity(&e, Quantity::Pressure)
    {
        settings.limits.pressure_at_most = reader.checked(&e, Pressure::from_pa(base));
    }
    let Some(off) = f.get("flow-off") else { return };
    let DeValue::Table(table) = off.value.get_ref() else {
        reader.report(
            Finding::error("wrong-type", "\"flow-off\" needs how far, and for how long")
                .at(off.value_span(), "by how much, and for how long?")
                .help("write flow-off = { by = \"10 %\", for = \"60 s\" }"),
        );
        return;
    };
    let f = Fields { table, span: off.value_span() };
    reader.unknown_keys(&f, keys::FLOW_OFF, "flow-off");
    if let Some(e) = f.get("by")
        && let Some(base) = reader.quantity(&e, Quantity::TripPercent)
        && let Some(trip) = reader.checked(&e, TripPercent::from_percent(base))
    {
        settings.limits.trip = trip;
    }
    if let Some(e) = f.get("for")
        && let Some(base) = reader.quantity(&e, Quantity::TripGrace)
        && let Some(grace) = reader.checked(&e, TripGrace::from_ms(base))
    {
        settings.limits.grace = grace;
    }
}

fn range<T>(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    key: &'static str,
    quantity: Quantity,
    make: fn(u32) -> Result<T, draught::units::OutOfRange>,
) -> Option<At<(T, T)>> {
    let entry = f.get(key)?;
    let (from, to) = reader.range(&entry, quantity)?;
    let value = (reader.checked(&entry, make(from))?, reader.checked(&entry, make(to))?);
    Some(At { value, span: entry.whole_span() })
}
