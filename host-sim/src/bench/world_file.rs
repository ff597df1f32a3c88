//! A world from its TOML file. Every constant says where it comes from; every fault found is a finding.

use std::ops::RangeInclusive;

use draught::units::Quantity;
use toml::de::{DeTable, DeValue};

use super::world::{Resume, Source as From, World};
use super::{fault_file, plant_file};
use crate::plan::fields::{Entry, Fields, Reader};
use crate::plan::finding::{Finding, Findings};
use crate::plan::source::Source;
use crate::plan::syntax;

const DEFAULT: &str = include_str!("../../../docs/examples/worlds/default.toml");

/// What a plant leaves out is as in this world, which sets everything.
const PLANT: &str = include_str!("../../../docs/examples/worlds/worn-2-l-min.toml");

/// Each section with its keys, in order.
const SECTIONS: &[(&str, &[&str])] = &[
    ("clock", &["wall-gain"]),
    ("pump", &["rise", "fall", "wander", "wander-time"]),
    ("train", &["flow-at-1-kPa"]),
    ("sensor", &["gain-error", "noise", "resolution", "read-every"]),
    ("operator", &["resumes-holds", "confirms-samplers"]),
];

/// The longest that one reading may cover: a longer one is a gap for the meter.
const READ_EVERY_MS: RangeInclusive<u32> = 10..=5_000;

impl Default for World {
    /// Plausible, not measured: `docs/examples/worlds/default.toml`.
    fn default() -> Self {
        let mut world = Self::ideal();
        let source = Source::new("docs/examples/worlds/default.toml", DEFAULT);
        // The file comes with the program, and a test says that nothing in it is at fault.
        let _ = read_onto(&mut world, &source);
        world
    }
}

impl World {
    /// Reads a world file; what it leaves out is as in the default world.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its place.
    pub fn read(source: &Source) -> Result<Self, Findings> {
        let mut world = Self::default();
        let findings = read_onto(&mut world, source);
        if findings.has_errors() { Err(findings) } else { Ok(world) }
    }
}

fn read_onto(world: &mut World, source: &Source) -> Findings {
    let mut reader = Reader { text: &source.text, findings: Findings::new(), step: None };
    let (tree, errors) = DeTable::parse_recoverable(&source.text);
    for error in &errors {
        reader.report(syntax::finding(error.message(), error.span(), source));
    }
    if errors.is_empty() {
        top(&mut reader, &Fields { table: tree.get_ref(), span: tree.span() }, source, world);
    }
    reader.findings
}

fn top(reader: &mut Reader<'_>, f: &Fields<'_, '_>, source: &Source, world: &mut World) {
    let sections = SECTIONS.iter().map(|(section, keys)| (*section, keys.to_vec()));
    let of_plant = plant_file::SECTIONS.iter().map(|s| (*s, plant_file::keys(s)));
    let sections: Vec<(&str, Vec<&str>)> = sections.chain(of_plant).collect();
    let known: Vec<&str> =
        ["name", "fault"].into_iter().chain(sections.iter().map(|s| s.0)).collect();
    reader.unknown_keys(f, &known, "a world");
    match f.get("name") {
        Some(entry) => {
            if let Some(name) = reader.text(&entry, "windy roof") {
                world.name = name.to_owned();
            }
        }
        None => reader.report(
            Finding::error(
                "missing-key",
                "a world has a name, which stands in every record made in it",
            )
            .at(0..0, "no name")
            .help("write name = \"windy roof\" at the top"),
        ),
    }
    let has_plant = plant_file::is_there(f.get("plant").as_ref());
    if has_plant && world.plant.is_none() && source.text != PLANT {
        let plant = Source::new("docs/examples/worlds/worn-2-l-min.toml", PLANT);
        let mut of_plant = World { sources: Vec::new(), ..World::ideal() };
        // The file comes with the program, and a test says that nothing in it is at fault.
        let _ = read_onto(&mut of_plant, &plant);
        world.plant = of_plant.plant;
        let is_of_plant =
            |s: &From| plant_file::SECTIONS.iter().any(|p| s.key.split('.').next() == Some(p));
        world.sources.extend(of_plant.sources.into_iter().filter(is_of_plant));
    }
    for (section, keys) in &sections {
        let Some(entry) = f.get(section) else { continue };
        if !has_plant && plant_file::SECTIONS.contains(section) {
            reader.report(without_plant(&entry, section));
            continue;
        }
        let DeValue::Table(table) = entry.value.get_ref() else {
            reader.report(
                Finding::error("wrong-type", format!("{section:?} is a section"))
                    .at(entry.value_span(), "not a section")
                    .help(format!("write [{section}] on a line of its own, and its keys below")),
            );
            continue;
        };
        let fields = Fields { table, span: entry.value_span() };
        reader.unknown_keys(&fields, keys, &format!("[{section}]"));
        for key in keys {
            if let Some(entry) = fields.get(key) {
                constant(reader, &entry, (section, key), source, world);
            }
        }
    }
    if let Some(entry) = f.get("fault") {
        match (&mut world.plant, fault_file::read(reader, &entry)) {
            (Some(plant), Some(faults)) if has_plant => plant.faults = faults,
            (_, Some(_)) => reader.report(without_plant(&entry, "fault")),
            (_, None) => {}
        }
    }
}

fn without_plant(entry: &Entry<'_, '_>, section: &str) -> Finding {
    Finding::error("no-plant", format!("{section:?} needs a [plant]"))
        .at(entry.whole_span(), "no [plant] in this world")
        .help("write [plant] on a line of its own; what it leaves out is as in worn-2-l-min.toml")
}

/// Reads `{ is = ..., from = "..." }`.
fn constant(
    reader: &mut Reader<'_>,
    entry: &Entry<'_, '_>,
    (section, key): (&str, &'static str),
    source: &Source,
    world: &mut World,
) {
    let DeValue::Table(table) = entry.value.get_ref() else {
        reader.report(
            Finding::error("no-source", format!("{key:?} does not say where its value comes from"))
                .at(entry.value_span(), "only a value")
                .help(format!(
                    "write {key} = {{ is = {}, from = \"assumed\" }}, or name the source",
                    reader.text.get(entry.value_span()).unwrap_or("...")
                )),
        );
        return;
    };
    let f = Fields { table, span: entry.value_span() };
    reader.unknown_keys(&f, &["is", "from"], &format!("{key:?}"));
    let (Some(is), Some(from)) = (f.get("is"), f.get("from")) else {
        let (missing, help) = match f.get("is") {
            None => ("has no value", "is = ..."),
            Some(_) => ("does not say where its value comes from", "from = \"assumed\""),
        };
        reader.report(
            Finding::error("no-source", format!("{key:?} {missing}"))
                .at(entry.value_span(), missing)
                .help(format!("add {help} inside the braces")),
        );
        return;
    };
    let Some(from) = reader.text(&from, "assumed") else { return };
    let done = if plant_file::SECTIONS.contains(&section) {
        plant_file::set(reader, &is, (section, key), source, world)
    } else {
        set(reader, &is, section, key, world)
    };
    if done.is_none() {
        return;
    }
    let shown = match is.value.get_ref() {
        DeValue::String(text) => text.to_string(),
        _ => reader.text.get(is.value_span()).unwrap_or("").to_owned(),
    };
    let source = From { key: format!("{section}.{key}"), is: shown, from: from.to_owned() };
    match world.sources.iter_mut().find(|s| s.key == source.key) {
        Some(known) => *known = source,
        None => world.sources.push(source),
    }
}

fn set(
    reader: &mut Reader<'_>,
    is: &Entry<'_, '_>,
    section: &str,
    key: &str,
    world: &mut World,
) -> Option<()> {
    match (section, key) {
        ("clock", "wall-gain") => {
            let parts_per_million = signed(reader, is, "ppm", -1_000.0..=1_000.0)?;
            world.clock.wall_gain_ppb = (parts_per_million * 1_000.0).round() as i64;
        }
        ("pump", "rise") => world.pump.rise_ms = time(reader, is, 0..=600_000)?,
        ("pump", "fall") => world.pump.fall_ms = time(reader, is, 0..=600_000)?,
        ("pump", "wander") => world.pump.wander = signed(reader, is, "%", 0.0..=50.0)? / 100.0,
        ("pump", "wander-time") => world.pump.wander_ms = time(reader, is, 1..=86_400_000)?,
        ("train", "flow-at-1-kPa") => {
            world.train.flow_at_kpa = reader.quantity(is, Quantity::Flow)?;
        }
        ("sensor", "gain-error") => {
            world.sensor.gain_error = signed(reader, is, "%", -50.0..=50.0)? / 100.0;
        }
        ("sensor", "noise") => world.sensor.noise = signed(reader, is, "%", 0.0..=50.0)? / 100.0,
        ("sensor", "resolution") => {
            world.sensor.resolution = signed(reader, is, "%", 0.0..=10.0)? / 100.0;
        }
        ("sensor", "read-every") => world.sensor.every_ms = time(reader, is, READ_EVERY_MS)?,
        ("operator", "resumes-holds") => world.operator.resume = resume(reader, is)?,
        _ => world.operator.confirms = reader.flag(is)?,
    }
    Some(())
}

/// A time, which may be nothing, in ms.
fn time(reader: &mut Reader<'_>, is: &Entry<'_, '_>, limits: RangeInclusive<u32>) -> Option<u32> {
    let nothing =
        matches!(is.value.get_ref().as_str().map(str::trim), Some("0 s" | "0 ms" | "0 min"));
    let ms = if nothing { 0 } else { reader.quantity(is, Quantity::Duration)? };
    if limits.contains(&ms) {
        return Some(ms);
    }
    let words = format!("{} ms to {} ms", limits.start(), limits.end());
    out_of_range(reader, is, &words);
    None
}

/// A number with a unit that may have a sign.
fn signed(
    reader: &mut Reader<'_>,
    is: &Entry<'_, '_>,
    unit: &str,
    limits: RangeInclusive<f64>,
) -> Option<f64> {
    let example = format!("0.5 {unit}");
    let text = reader.text(is, &example)?;
    let number = text.trim().strip_suffix(unit).map(str::trim).and_then(plain_number);
    let Some(number) = number else {
        reader.report(
            Finding::error("not-a-quantity", format!("{text:?} is not a number of {unit}"))
                .at(is.value_span(), format!("a number and {unit} are expected here"))
                .help(format!("write it as in {example:?}")),
        );
        return None;
    };
    if limits.contains(&number) {
        return Some(number);
    }
    out_of_range(reader, is, &format!("{} {unit} to {} {unit}", limits.start(), limits.end()));
    None
}

/// Digits with at most one point and a sign: not "inf", "nan" or "1e3", which Rust would read too.
pub(super) fn plain_number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let plain = digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.chars().all(|c| c.is_ascii_digit() || c == '.');
    if plain { text.parse().ok() } else { None }
}

pub(super) fn out_of_range(reader: &mut Reader<'_>, is: &Entry<'_, '_>, limits: &str) {
    reader.report(
        Finding::error("out-of-range", "this is outside what a simulated world can have")
            .at(is.value_span(), format!("the limits are {limits}"))
            .help(format!("choose a value from {limits}")),
    );
}

fn resume(reader: &mut Reader<'_>, is: &Entry<'_, '_>) -> Option<Resume> {
    match is.value.get_ref().as_str() {
        Some("usual") => Some(Resume::Usual),
        Some("never") => Some(Resume::Never),
        _ => time(reader, is, 0..=u32::MAX).map(|ms| Resume::After(ms.into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<World, Vec<&'static str>> {
        World::read(&Source::new("world.toml", text))
            .map_err(|findings| findings.sorted().iter().map(|f| f.code).collect())
    }

    #[test]
    fn the_default_world_is_read_whole() {
        let mut world = World::ideal();
        let findings = read_onto(&mut world, &Source::new("default.toml", DEFAULT));
        assert!(findings.sorted().is_empty());
        let keys: Vec<String> = SECTIONS
            .iter()
            .flat_map(|(s, ks)| ks.iter().map(move |k| format!("{s}.{k}")))
            .collect();
        let said: Vec<String> = world.sources.iter().map(|s| s.key.clone()).collect();
        assert_eq!(said, keys);
        assert!(world.sources.iter().all(|s| !s.from.is_empty()));
    }

    #[test]
    fn the_plant_that_others_are_made_from_is_read_whole() {
        let mut world = World::ideal();
        let findings = read_onto(&mut world, &Source::new("worn-2-l-min.toml", PLANT));
        assert!(findings.sorted().is_empty());
        for section in plant_file::SECTIONS {
            for key in plant_file::keys(section).iter().filter(|k| **k != "series") {
                let key = format!("{section}.{key}");
                assert!(world.sources.iter().any(|s| s.key == key), "{key}");
            }
        }
    }

    #[test]
    fn a_plant_says_only_what_differs() {
        let world = |body: &str| read(&format!("name = \"x\"\n{body}")).unwrap();
        assert_eq!(world("").plant, None);
        let whole = read(PLANT).unwrap().plant.unwrap();
        assert_eq!(world("[plant]").plant.unwrap(), whole);
        let mine = world("[plant]\nrise = { is = \"300 ms\", from = \"measured\" }");
        assert_eq!(mine.plant.as_ref().unwrap().pump.rise_ms, 300.0);
        assert_eq!(mine.plant.as_ref().unwrap().battery, whole.battery);
        let sources: Vec<&From> = mine.sources.iter().filter(|s| s.key == "plant.rise").collect();
        assert_eq!((sources.len(), sources[0].from.as_str()), (1, "measured"));
        assert_eq!(mine.sensor, World::default().sensor, "only the plant comes from there");
        let faults = world(
            "[plant]\n[[fault]]\nwhat = \"kink\"\nat = \"2 h\"\nlasts = \"5 s\"\ndrop = \"20 kPa\"\n\
             [[fault]]\nwhat = \"clock-stepped\"\nat = \"90 min\"\nby = \"-2 h\"",
        );
        use crate::bench::physics::{Fault, FaultKind};
        assert_eq!(
            faults.plant.unwrap().faults,
            [
                Fault { at_ms: 7_200_000, lasts_ms: 5_000, kind: FaultKind::Kink(20_000.0) },
                Fault { at_ms: 5_400_000, lasts_ms: 0, kind: FaultKind::ClockStepped(-7_200_000) },
            ]
        );
    }

    #[test]
    fn what_is_wrong_with_a_plant_is_said() {
        let faults = |body: &str| read(&format!("name = \"x\"\n{body}")).unwrap_err();
        let plant = |body: &str| faults(&format!("[plant]\n{body}"));
        assert_eq!(faults("[battery]\n"), ["no-plant"]);
        assert_eq!(
            faults("[[fault]]\nwhat = \"blockage\"\nat = \"1 s\"\nlasts = \"1 s\""),
            ["no-plant"]
        );
        assert_eq!(plant("rize = 1"), ["unknown-key"]);
        assert_eq!(plant("rise = \"2 s\""), ["no-source"]);
        assert_eq!(plant("rise = { is = \"2\", from = \"x\" }"), ["not-a-quantity"]);
        assert_eq!(plant("rise = { is = \"61 s\", from = \"x\" }"), ["out-of-range"]);
        assert_eq!(plant("free-flow = { is = \"1e3 L/min\", from = \"x\" }"), ["not-a-quantity"]);
        assert_eq!(plant("[element]\nlaw = { is = \"linear\", from = \"x\" }"), ["not-a-choice"]);
        assert_eq!(plant("[ambient]\nseries = { is = \"none.csv\", from = \"x\" }"), ["no-series"]);
        assert_eq!(plant("[[fault]]\nwhat = \"kinks\""), ["not-a-choice"]);
        assert_eq!(plant("[[fault]]\nwhat = \"blockage\"\nat = \"1 s\""), ["missing-key"]);
        assert_eq!(
            plant(
                "[[fault]]\nwhat = \"blockage\"\nat = \"1 s\"\nlasts = \"1 s\"\ndrop = \"1 kPa\""
            ),
            ["unknown-key"]
        );
        assert_eq!(faults("fault = 3"), ["wrong-type"]);
        assert_eq!(faults("plant = 3"), ["no-plant"]);
    }

    #[test]
    fn the_ideal_world_of_the_file_is_the_one_of_the_program() {
        let file = include_str!("../../../docs/examples/worlds/ideal.toml");
        let mut world = read(file).unwrap();
        world.sources.clear();
        world.pump.wander_ms = World::ideal().pump.wander_ms;
        assert_eq!(world, World::ideal());
    }

    #[test]
    fn what_is_wrong_is_said() {
        let faults = |body: &str| read(&format!("name = \"x\"\n{body}")).unwrap_err();
        assert_eq!(faults("[pumps]\n"), ["unknown-key"]);
        assert_eq!(faults("[pump]\nrize = { is = \"2 s\", from = \"assumed\" }"), ["unknown-key"]);
        assert_eq!(faults("[pump]\nrise = \"2 s\""), ["no-source"]);
        assert_eq!(faults("[pump]\nrise = { is = \"2 s\" }"), ["no-source"]);
        assert_eq!(faults("[pump]\nrise = { is = \"2\", from = \"assumed\" }"), ["missing-unit"]);
        assert_eq!(
            faults("[sensor]\nnoise = { is = \"1e1 %\", from = \"x\" }"),
            ["not-a-quantity"]
        );
        assert_eq!(faults("[sensor]\nnoise = { is = \"-1 %\", from = \"x\" }"), ["out-of-range"]);
        assert_eq!(
            faults("[sensor]\nread-every = { is = \"6 s\", from = \"x\" }"),
            ["out-of-range"]
        );
        assert_eq!(faults("pump = 3"), ["wrong-type"]);
        assert_eq!(read("").unwrap_err(), ["missing-key"]);
        assert_eq!(read("name = ").unwrap_err(), ["toml"]);
    }
}
