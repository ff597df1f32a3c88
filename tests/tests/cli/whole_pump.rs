//! `draught simulate` of whole pumps, as its users meet it.

use std::fs;
use std::path::PathBuf;

use draught_sim::bench::worlds::BUILT_IN;
use draught_sim::record_file;
use serde_json::Value;

use crate::harness::{Answer, at_top, run_with, same_as_stored, type_in};
use crate::machine_readable::{fault, schema};

const NIGHT: &str = "docs/examples/bakery-night.toml";
const BAD_DAY: &str = "worn-2-l-min-bad-day";

/// A folder of its own that goes with the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let folder =
            std::env::temp_dir().join(format!("draught-whole-{name}-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a temporary folder");
        Self(folder)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).to_str().expect("a path").to_owned()
    }

    fn with(&self, name: &str, text: &str) -> String {
        let path = self.path(name);
        fs::write(&path, text).expect("a temporary file");
        path
    }

    fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).expect("it was written")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn simulate(plan: &str, world: &str, more: &[&str]) -> Answer {
    at_top();
    let mut arguments = vec!["simulate", plan, "--world", world];
    arguments.extend(more);
    run_with(&arguments, b"")
}

#[test]
fn screens_of_whole_pumps() {
    let mut told = String::new();
    for (line, code) in [
        ("draught simulate docs/examples/bakery-night.toml --world worn-2-l-min", 0),
        ("draught simulate docs/examples/bakery-night.toml --world worn-2-l-min-bad-day", 1),
        ("draught simulate docs/examples/short-term.toml --world low-flow-tube", 0),
        ("draught simulate docs/examples/eight-short-samples.toml --world worn-2-l-min", 1),
        ("draught simulate docs/examples/two-flows.toml --world ambient-16-67", 1),
    ] {
        let answer = type_in(line);
        assert_eq!(answer.code, code, "{line}\n{}", answer.screen());
        // What is above the record is the forecast, which has screens of its own.
        let screen = answer.screen();
        let (_, record) = screen.split_once("\nSIMULATED, ").unwrap_or(("", &screen));
        told.push_str(&format!("$ {line}\n{record}\n"));
    }
    same_as_stored("tests/tests/cli/screens/whole-pump.txt".as_ref(), &told);
}

/// Everything that tells of one run tells the same.
#[test]
fn words_rows_and_json_tell_the_same() {
    let folder = Folder::new("same");
    let (record, csv, svg) = (folder.path("r.json"), folder.path("t.csv"), folder.path("p.svg"));
    let words = simulate(NIGHT, BAD_DAY, &["--record", &record, "--csv", &csv, "--svg", &svg]);
    let json = simulate(NIGHT, BAD_DAY, &["--json"]);
    assert_eq!((words.code, json.code), (1, 1), "a limit ended it");
    let value: Value = serde_json::from_slice(&json.out).expect("JSON");
    let at = |path: &str| value.pointer(path).unwrap_or_else(|| panic!("{path}")).clone();

    let file = record_file::read(&folder.text("r.json")).expect("a record");
    let event = file.event.as_ref().expect("an event that is over");
    let raw = event.volume_raw_ul_ms_per_min;
    let of_spans: u64 = file.spans.iter().map(|s| s.volume_raw_ul_ms_per_min).sum();
    let of_samples: u64 = file.samples.iter().map(|s| s.volume_raw_ul_ms_per_min).sum();
    assert_eq!((of_spans, of_samples), (raw, raw));
    for path in [
        "/happened/volume_raw",
        "/pump/event/volume_raw_ul_ms_per_min",
        "/pump/volume/metered_raw",
        "/samples/0/volume_raw",
    ] {
        assert_eq!(at(path).as_u64(), Some(raw), "{path}");
    }
    let litres = format!("{:.1} L", raw as f64 / 6e10);
    let screen = words.screen();
    assert!(screen.lines().any(|l| l.starts_with("volume") && l.contains(&litres)), "{screen}");
    assert!(folder.text("p.svg").contains(&format!("drew {litres}")));
    assert_eq!(at("/pump/samples/0"), serde_json::to_value(&file.samples[0]).expect("JSON"));
    assert_eq!(at("/pump/spans/1"), serde_json::to_value(&file.spans[1]).expect("JSON"));
    assert_eq!(at("/pump/event"), serde_json::to_value(event).expect("JSON"));

    // The power cut is in each of them.
    assert_eq!(
        (event.interruptions, event.resumes, file.spans[0].ended_by.as_str()),
        (1, 1, "outage")
    );
    assert_eq!(at("/spans/0/ended_by"), "outage");
    assert_eq!(at("/pump/power_cuts"), 1);
    assert!(screen.contains("world  power cut for 2 min"), "{screen}");
    assert!(screen.contains("power is back after 2 min"), "{screen}");
    let csv = folder.text("t.csv");
    assert!(csv.contains(",world,power cut for 2 min,") && csv.contains(",pumping ended: outage,"));
    assert!(folder.text("p.svg").contains(">power cut 2 min</text>"));
    assert!(event.flags.iter().any(|f| f == "interrupted"));

    // And so is what the limits did.
    assert_eq!((event.trips.flow_low, event.reason.as_str()), (1, "fault-flow-low"));
    assert_eq!(at("/happened/ended/reason"), "fault");
    assert!(csv.contains(",pumping ended: too little flow,"));
    assert!(screen.contains("pump off: limit tripped, too little flow"));
}

/// The picture that docs/cli.md shows.
#[test]
fn the_picture_in_the_documents_is_the_real_one() {
    let folder = Folder::new("picture");
    simulate(NIGHT, BAD_DAY, &["--svg", &folder.path("p.svg")]);
    let picture = folder.text("p.svg");
    assert!(roxmltree::Document::parse(&picture).is_ok());
    same_as_stored("docs/pictures/bad-day.svg".as_ref(), &picture);
}

#[test]
fn what_a_whole_pump_says_to_machines_keeps_its_schemas() {
    at_top();
    let (simulated, records) = (schema("simulate"), schema("record"));
    for (plan, world) in [
        (NIGHT, BAD_DAY),
        ("docs/examples/short-term.toml", "low-flow-tube"),
        ("docs/examples/ambient-day.toml", "ambient-16-67"),
    ] {
        let folder = Folder::new(world);
        let path = folder.path("r.json");
        let answer = simulate(plan, world, &["--json", "--record", &path]);
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &simulated, &simulated, ""), None, "{plan}");
        assert_eq!((&value["kind"], &value["origin"]), (&"whole-pump".into(), &"simulated".into()));
        let text = folder.text("r.json");
        let record: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(fault(&record, &records, &records, ""), None, "{plan}");
        let file = record_file::read(&text).expect("a record");
        assert_eq!(file.to_json(), text, "{plan}: it comes back as it was");
        // The series covers what was pumped, and says whose it is.
        let series = file.series.expect("a series");
        let read: u64 = series.points.iter().map(|p| p.read_ms).sum();
        let metered: u64 = file.samples.iter().map(|s| s.metered_ms).sum();
        let lost = file.event.map_or(0, |e| u64::from(e.unaccounted_ms));
        assert!(read >= metered && read <= metered + lost + 2_000, "{read} {metered} {lost}");
        assert_eq!(series.origin, "simulator");
        // Off, it sleeps from one thing that happens to the next; pumping, from reading to reading.
        let wakes = |which: &str| value["pump"][which].as_u64().expect("a number");
        let readings = value["happened"]["readings"].as_u64().expect("a number");
        assert!(wakes("wakes_off") < 12, "{plan}");
        assert!(wakes("wakes_pumping") < readings + 50, "{plan}");
        // The block is the one that encode makes.
        let hex = |digits: &str| -> Vec<u8> {
            let pairs = digits.as_bytes().chunks(2);
            pairs
                .map(|p| u8::from_str_radix(std::str::from_utf8(p).unwrap(), 16).unwrap())
                .collect()
        };
        let explained = run_with(&["explain", "-", "--json"], &hex(&file.schedule.block_hex));
        assert_eq!(explained.code, 0, "{plan}: {}", explained.screen());
    }
    let plain = run_with(&["simulate", NIGHT, "--json"], b"");
    let value: Value = serde_json::from_slice(&plain.out).expect("JSON");
    assert_eq!((&value["kind"], &value["pump"]), (&"schedule".into(), &Value::Null));
}

#[test]
fn a_record_that_was_edited_is_refused() {
    let folder = Folder::new("edited");
    let path = folder.path("r.json");
    simulate(NIGHT, BAD_DAY, &["--record", &path]);
    let text = folder.text("r.json");
    let good: Value = serde_json::from_str(&text).expect("JSON");
    let refused = |change: &dyn Fn(&mut Value)| {
        let mut value = good.clone();
        change(&mut value);
        record_file::read(&value.to_string()).expect_err("it was edited").what
    };
    let told = [
        refused(&|v| v["event"]["volume_ml"] = 900_000.into()),
        refused(&|v| v["samples"][0]["pumped_ms"] = 1.into()),
        refused(&|v| v["spans"][0]["row_hex"] = "00".into()),
        refused(&|v| v["spans"] = Value::Array(Vec::new())),
        refused(&|v| v["notice"] = Value::Null),
        refused(&|v| v["origin"] = "pump".into()),
        refused(&|v| v["format"] = 2.into()),
        refused(&|v| v["site"]["utc_offset_minutes"] = 7.into()),
        refused(&|v| v["schedule"]["id"] = "00000000".into()),
        refused(&|v| v["weather"] = "fine".into()),
        refused(&|v| *v = Value::Array(Vec::new())),
        record_file::read("{").expect_err("half of it").what,
    ];
    same_as_stored(
        "tests/tests/cli/screens/records-refused.txt".as_ref(),
        &(told.join("\n") + "\n"),
    );
}

#[test]
fn one_seed_gives_one_run_byte_for_byte() {
    let run = |seed: &str| {
        let folder = Folder::new(&format!("seed-{seed}"));
        let (record, csv, svg) = (folder.path("r"), folder.path("t"), folder.path("p"));
        let plan = "docs/examples/short-term.toml";
        let out = ["--seed", seed, "--json", "--record", &record, "--csv", &csv, "--svg", &svg];
        let answer = simulate(plan, "low-flow-tube", &out);
        let files = [folder.text("r"), folder.text("t"), folder.text("p")];
        (answer.out, files)
    };
    let (first, again, other) = (run("7"), run("7"), run("8"));
    assert!(first == again);
    for (a, b) in first.1.iter().zip(&other.1) {
        assert_ne!(a, b, "another seed is another run");
    }
}

#[test]
fn worlds_go_by_their_names() {
    let help = run_with(&["simulate", "--help"], b"").screen();
    for world in BUILT_IN {
        let listed = help.lines().find(|l| l.trim_start().starts_with(&format!("{} ", world.name)));
        assert!(listed.is_some_and(|l| l.contains(world.about)), "{}\n{help}", world.name);
    }
    let answer = simulate(NIGHT, "wrn-2-l-min", &[]);
    assert_eq!(answer.code, 2);
    assert!(BUILT_IN.iter().all(|world| answer.err.contains(world.name)), "{}", answer.err);
    let named = simulate(NIGHT, "ideal", &[]).out;
    assert!(named == simulate(NIGHT, "docs/examples/worlds/ideal.toml", &[]).out);
    // Without a world, the last line says which whole pump would do.
    let line = |plan: &str| {
        let screen = run_with(&["simulate", plan], b"").screen();
        screen.lines().last().expect("a line").to_owned()
    };
    assert!(line(NIGHT).contains("--world worn-2-l-min "), "{}", line(NIGHT));
    assert!(line("docs/examples/ambient-day.toml").contains("--world ambient-16-67 "));
    assert!(line("docs/examples/short-term.toml").contains("--world low-flow-tube "));
    assert!(line("docs/examples/two-flows.toml").contains("no built-in world"));
    let wrong = run_with(&["simulate", NIGHT, "--record", "r.json"], b"");
    assert_eq!(wrong.code, 2);
    assert!(wrong.err.contains("--record needs a whole pump"), "{}", wrong.err);
}

/// Each scripted fault leaves its trace in what is told, and none is told that did not happen.
#[test]
fn every_fault_is_told() {
    let folder = Folder::new("faults");
    let mut world = "name = \"trouble\"\n[plant]\n".to_owned();
    let faults = [
        ("kink", "10 min", "lasts = \"5 s\"\ndrop = \"10 kPa\"", "kink 5 s"),
        ("sensor-failing", "20 min", "lasts = \"8 s\"", "sensor silent 8 s"),
        ("clock-stepped", "30 min", "by = \"-60 s\"", "clock set"),
        ("power-cut", "2412 s", "lasts = \"20 s\"", "power cut 20 s"),
        ("power-cut", "50 min", "lasts = \"90 s\"", "power cut 1 min 30 s"),
        ("leak", "60 min", "lasts = \"5 min\"\nflow-at-1-kPa = \"0.2 L/min\"", "leak 5 min"),
        ("clock-lost", "70 min", "lasts = \"30 s\"", "clock lost 30 s"),
        ("battery-weak", "80 min", "charge = \"50 %\"", "battery weak"),
        ("blockage", "90 min", "lasts = \"30 s\"", "blockage 30 s"),
        ("sensor-stuck", "100 min", "lasts = \"8 s\"", "sensor stuck 8 s"),
    ];
    for (what, at, more, _) in faults {
        world += &format!("[[fault]]\nwhat = \"{what}\"\nat = \"{at}\"\n{more}\n");
    }
    let world = folder.with("world.toml", &world);
    let plan = "name = \"two-hours\"\nzone = \"Europe/Vienna\"\nflow = \"2.0 L/min\"\n\
                steps = [ { run-for = \"2 h\" }, { finish = true } ]\n";
    let plan = folder.with("plan.toml", plan);
    let (svg, record) = (folder.path("p.svg"), folder.path("r.json"));
    let answer = simulate(&plan, &world, &["--json", "--svg", &svg, "--record", &record]);
    let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
    let picture = folder.text("p.svg");
    for (_, _, _, label) in faults {
        assert!(picture.contains(&format!(">{label}</text>")), "{label}\n{picture}");
    }
    let event = &value["pump"]["event"];
    let flags = event["flags"].to_string();
    for flag in
        ["flow-unknown", "interrupted", "time-unaccounted", "clock-stepped", "clock-untrusted"]
    {
        assert!(flags.contains(flag), "{flag} in {flags}");
    }
    // Only the longer of the two cuts is an interruption of more than a minute.
    assert_eq!((&event["resumes"], &event["interruptions"]), (&2.into(), &1.into()));
    let world_lines = |what: &str| {
        let story = value["pump"]["story"].as_array().expect("a story");
        let of_world = story.iter().filter(|l| l["who"] == "world");
        of_world.filter(|l| l["what"].as_str().is_some_and(|w| w.contains(what))).count()
    };
    assert_eq!(world_lines("power cut"), 2);
    assert_eq!(world_lines("again"), 6, "what lasts is over again, but for cuts");
    // What is in no record, but for the run-down at each stop, is at most a checkpoint interval a cut.
    let volume = &value["pump"]["volume"];
    let lost = volume["true_in_no_record_raw"].as_f64().expect("a volume") / 6e10;
    assert!(lost > 0.1 && lost < 2.0 * 2.1 + 0.5, "{lost} L");
    assert!(volume["leaked_past_the_sampler_raw"].as_u64().expect("a volume") > 0);
    no_labels_overlap(&picture);
}

/// The operator of the world changes samplers in the hold that is there for it, resumes, or does neither.
#[test]
fn the_operator_of_the_world_does_what_it_says() {
    let folder = Folder::new("operator");
    let plan = "name = \"three\"\nutc-offset = \"+01:00\"\nflow = \"2.0 L/min\"\nsteps = [\n\
                { run-for = \"10 min\" }, { hold = \"5 min\" },\n\
                { repeat-from = 1, passes = 3, sampler = \"fresh-confirmed\" },\n\
                { hold = \"until-resumed\", at-most = \"1 h\", then = \"continue\" },\n\
                { run-for = \"10 min\" }, { finish = true } ]\n";
    let plan = folder.with("plan.toml", plan);
    let run = |operator: &str| {
        let world = format!("name = \"w\"\n[operator]\n{operator}\n[plant]\n");
        let answer = simulate(&plan, &folder.with("world.toml", &world), &["--json"]);
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        let happened = &value["happened"];
        let sum = |key: &str| happened[key].as_u64().expect("a number");
        (answer.code, sum("spans"), sum("passes_skipped"), sum("holds_resumed"), sum("pumped_ms"))
    };
    assert_eq!(run(""), (0, 4, 0, 1, 2_400_000));
    let absent = "confirms-samplers = { is = false, from = \"assumed\" }\n\
                  resumes-holds = { is = \"never\", from = \"assumed\" }";
    let (code, spans, skipped, resumed, _) = run(absent);
    // That, too, is as forecast: the forecast knows the operator.
    assert_eq!((code, spans, skipped, resumed), (0, 2, 2, 0));
}

/// No two labels of marks lie over each other.
fn no_labels_overlap(picture: &str) {
    let document = roxmltree::Document::parse(picture).expect("a picture");
    let number = |node: &roxmltree::Node<'_, '_>, name: &str| -> f64 {
        node.attribute(name).and_then(|v| v.parse().ok()).expect("a number")
    };
    let mut boxes = Vec::new();
    for node in document.descendants().filter(|n| n.has_tag_name("text")) {
        if !node.attribute("class").is_some_and(|c| c.starts_with("mark-text")) {
            continue;
        }
        let text = node.text().unwrap_or_default();
        let (x, y) = (number(&node, "x"), number(&node, "y"));
        boxes.push((x, x + 5.7 * text.chars().count() as f64, y, text.to_owned()));
    }
    assert!(boxes.len() > 5, "{boxes:?}");
    for (i, a) in boxes.iter().enumerate() {
        assert!(a.1 <= 1_000.0, "{a:?} leaves the paper");
        for b in &boxes[..i] {
            let apart = a.1 <= b.0 || b.1 <= a.0 || (a.2 - b.2).abs() > 11.0;
            assert!(apart, "{a:?} lies over {b:?}");
        }
    }
    assert!(document.descendants().any(|n| n.has_tag_name("desc")), "a text alternative");
}
