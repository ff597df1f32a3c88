//! What contradicts is found, with its place, and nothing is computed.

use super::{ARMED, DEMO, Temporary, draught, shift, text, top};

/// The demo in a folder of its own, its records from runs of this very program.
fn demo(name: &str) -> Temporary {
    let folder = Temporary::new(name);
    std::fs::create_dir_all(folder.0.join("records")).expect("a folder");
    for file in ["plan.toml", "schedule.dra", "field.toml"] {
        std::fs::copy(top().join(DEMO).join(file), folder.0.join(file)).expect(file);
    }
    for record in shift() {
        folder.write(&record.path, &record.file.to_json());
    }
    folder
}

fn codes(folder: &Temporary) -> (u8, Vec<String>) {
    let path = folder.0.to_str().expect("a path");
    let (code, out, err) = draught(&["event", "check", path, "--json"]);
    let value: serde_json::Value =
        serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e} {err}"));
    let findings = value["findings"].as_array().expect("a list");
    let errors = findings.iter().filter(|f| f["severity"] != "note");
    (code, errors.map(|f| f["code"].as_str().expect("a code").to_owned()).collect())
}

#[test]
fn the_demo_contradicts_nothing() {
    let folder = demo("whole");
    assert_eq!(codes(&folder), (0, vec![]));
    let path = folder.0.to_str().expect("a path");
    let (code, out, err) = draught(&["results", path]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(
        out.starts_with("SIMULATED, NOT A SAMPLE\n") && out.ends_with("SIMULATED, NOT A SAMPLE\n")
    );
}

#[test]
fn what_contradicts_in_a_sheet_has_its_code_and_line() {
    let sheet = text(&format!("{DEMO}/field.toml"));
    let cases = [
        ("worker      = \"W1\"", "worker = \"W9\"", "no-such-worker"),
        ("group       = \"shift\"", "duplicate-of = \"S-999\"", "no-such-sampler"),
        ("group       = \"shift\"", "duplicate-of = \"S-101\"", "no-such-sampler"),
        ("method      = \"nmam-0501\"", "method = \"nmam-9999\"", "no-such-method"),
        ("sample      = 1", "sample = 2", "no-such-sample"),
        ("sample      = 1", "sample = 0", "out-of-range"),
        ("\"records/p2.json\"", "\"records/p1.json\"", "two-pumps"),
        ("\"records/p2.json\"", "\"../p1.json\"", "out-of-range"),
        ("\"2027-05-10 06:40\"", "\"2027-05-10 07:40\"", "wrong-order"),
        ("\"2027-05-10 10:10\"", "\"2027-05-10 09:59\"", "wrong-order"),
        ("\"2027-05-10 06:40\"", "\"2027-05-32 06:40\"", "no-such-date"),
        ("expiry      = \"2028-04-30\"", "expiry = \"2027-05-09\"", "media-expired"),
        ("id        = \"S-201\"", "id = \"S-101\"", "same-name"),
        ("id        = \"W2\"", "id = \"W1\"", "same-name"),
        ("temperature = \"19 C\"", "temperature = \"19\"", "missing-unit"),
        ("temperature = \"19 C\"", "temperature = 19", "missing-unit"),
        ("temperature = \"19 C\"", "temperature = \"190 C\"", "out-of-range"),
        ("pressure    = \"101.4 kPa\"", "pressure = \"101.4 L\"", "unknown-unit"),
        ("flow        = [", "flwo = [", "unknown-key"),
        ("[[sampler.check]]", "[[sampler.chekc]]", "unknown-key"),
        ("meter-kind  = \"piston\"", "meter-kind = \"pistol\"", "not-a-choice"),
        ("mass        = \"1.412 mg\"", "mass = \"0 mg\"", "not-positive"),
        ("mass        = \"1.412 mg\"", "mass = \"-1 mg\"", "negative"),
        ("mass        = \"1.412 mg\"", "mass = \"1.4 mg\"\nbelow = \"2 mg\"", "two-ways"),
        ("mass        = \"1.412 mg\"", "mass-back = \"1.4 mg\"", "missing-key"),
        ("kind      = \"field-blank\"", "kind = \"field-blank\"\npump = \"P1\"", "not-here"),
        ("id          = \"S-101\"", "", "missing-key"),
        ("value = \"5 mg/m3\"", "value = \"5 ppm\"", "missing-key"),
        ("value = \"5 mg/m3\"", "value = \"0.1 f/mL\"", "unknown-unit"),
        ("value = \"5 mg/m3\"", "value = \"< 5 mg/m3\"", "not-positive"),
        ("sae = 0.20", "sae = 20", "out-of-range"),
        ("mass        = \"1.412 mg\"", "below = \"0.001 mg\"", "below-under-lod"),
        ("loq         = \"0.25 mg\"", "loq = \"0.05 mg\"", "loq-under-lod"),
        ("shift     = \"3 h\"", "shift = \"1 h\"", "longer-than-shift"),
        ("kind = \"twa-8h\"", "kind = \"twa-8h\", analyte = \"dust total\"", "limit-of-nothing"),
        ("at      = \"2027-05-10 09:00\"", "at = \"2027-05-12 09:00\"", "wrong-order"),
        ("at      = \"2027-05-10 09:00\"", "at = \"2027-05-10 05:00\"", "wrong-order"),
        ("[event]", "[event", "toml"),
    ];
    let folder = demo("sheet");
    for (from, to, code) in cases {
        assert!(sheet.contains(from), "{from}");
        let changed = sheet.replacen(from, to, 1);
        folder.write("field.toml", &changed);
        let (exit, found) = codes(&folder);
        assert!(found.iter().any(|c| c == code), "{to}: {found:?}");
        let warns = ["media-expired", "limit-of-nothing"].contains(&code);
        assert_eq!(exit, u8::from(!warns), "{to}: {found:?}");
        let path = folder.0.to_str().expect("a path");
        let (exit, out, err) = draught(&["results", path]);
        assert_eq!(exit, u8::from(!warns), "{to}\n{err}");
        assert_eq!(out.is_empty(), exit == 1, "{to}");
        assert!(err.contains("field.toml:") && err.contains("= help: "), "{to}\n{err}");
    }
}

#[test]
fn plan_block_and_records_are_of_one_schedule() {
    let folder = demo("schedules");
    let plan = text(&format!("{DEMO}/plan.toml"));
    folder.write("plan.toml", &plan.replace("flow     = \"2.0 L/min\"", "flow = \"1.9 L/min\""));
    assert_eq!(codes(&folder), (1, vec!["block-differs".to_owned()]));
    // Another zone: the steps are the same, the offset of the pumps' time is not.
    folder.write("plan.toml", &plan.replace("Europe/Oslo", "Europe/London"));
    assert_eq!(codes(&folder), (1, vec!["block-differs".to_owned()]));
    folder.write("plan.toml", &plan.replace("steps = [", "steps = [["));
    assert_eq!(codes(&folder).0, 1);
    folder.write("plan.toml", &plan);

    let other = folder.file("other.toml");
    std::fs::write(&other, plan.replace("1 h 15 min", "1 h 10 min")).expect("a plan");
    let block = folder.file("schedule.dra");
    let (code, _, err) = draught(&["encode", &other, "--armed-at", ARMED, "-o", &block]);
    assert_eq!(code, 0, "{err}");
    let (exit, mut found) = codes(&folder);
    found.dedup();
    assert_eq!((exit, found), (1, vec!["block-differs".to_owned(), "record-differs".to_owned()]));
    std::fs::write(&block, b"no block").expect("a file");
    assert!(codes(&folder).1.contains(&"not-a-block".to_owned()));
    std::fs::copy(top().join(DEMO).join("schedule.dra"), &block).expect("the block");
    assert_eq!(codes(&folder), (0, vec![]));

    // A record that was changed by hand is none.
    let json = shift()[0].file.to_json();
    folder.write(
        "records/p1.json",
        &json.replacen("\"pumped_ms\": 9000000", "\"pumped_ms\": 9000001", 1),
    );
    let (exit, found) = codes(&folder);
    assert_eq!((exit, found), (1, vec!["not-a-record".to_owned()]));
}

#[test]
fn a_tube_on_a_manifold_never_has_the_pumps_volume() {
    let folder = demo("manifold");
    let sheet = text(&format!("{DEMO}/field.toml"));
    // Two tubes on one pump: one record, one sample, two samplers.
    let on_one = sheet.replacen("\"records/p2.json\"", "\"records/p1.json\"", 1).replacen(
        "pump      = \"P2\"",
        "pump = \"P1\"",
        1,
    );
    folder.write("field.toml", &on_one);
    assert_eq!(
        codes(&folder).1,
        ["manifold-volume", "two-workers"],
        "more often a slip of the pen"
    );
    let shared = on_one.replacen("worker    = \"W2\"", "worker = \"W1\"", 1);
    folder.write("field.toml", &shared);
    let (exit, found) = codes(&folder);
    assert_eq!((exit, found), (1, vec!["manifold-volume".to_owned()]), "S-101 asks otherwise");
    folder.write("field.toml", &shared.replacen("\"mean-flow-time\"", "\"verified-tube\"", 1));
    assert_eq!(codes(&folder), (0, vec![]));
    // A pump that keeps a pressure has tubes, even if only one is on the sheet.
    let plan = text(&format!("{DEMO}/plan.toml"));
    let pressure = plan
        .replace("flow     = \"2.0 L/min\"", "pressure = \"5 kPa\"")
        .replace("method   = \"nmam-0501\"\n", "");
    let pressure = pressure.split("[limits]").next().expect("a plan").to_owned();
    folder.write("plan.toml", &pressure);
    let (plan, block) = (folder.file("plan.toml"), folder.file("schedule.dra"));
    assert_eq!(draught(&["encode", &plan, "--armed-at", ARMED, "-o", &block]).0, 0);
    std::fs::remove_dir_all(folder.0.join("records")).expect("a folder");
    folder.write("field.toml", &sheet);
    let (exit, found) = codes(&folder);
    assert_eq!((exit, found), (1, vec!["manifold-volume".to_owned()]));
}

#[test]
fn what_is_no_folder_is_told() {
    for asked in [
        ["event", "check", "no-such-folder"],
        ["event", "check", "Cargo.toml"],
        ["results", "no-such-folder", "--json"],
    ] {
        let (code, out, err) = draught(&asked);
        assert_eq!((code, out.as_str()), (2, ""), "{asked:?}\n{err}");
        assert!(err.contains("= help: "), "{err}");
    }
    // An empty folder is one in which everything is missing.
    let empty = Temporary::new("empty");
    let (code, out, _) = draught(&["event", "check", empty.0.to_str().expect("a path")]);
    assert!(code == 0 && out.contains("3 missing"), "{out}");
}

#[test]
fn one_record_under_two_names_is_found() {
    let folder = demo("twice");
    std::fs::copy(folder.file("records/p1.json"), folder.file("records/p2.json")).expect("a copy");
    assert_eq!(codes(&folder), (1, vec!["same-record".to_owned()]));
}

#[test]
fn what_people_and_pumps_have_written_is_not_written_over() {
    let folder = demo("over");
    let path = folder.0.to_str().expect("a path");
    for name in ["field.toml", "plan.toml", "schedule.dra", "records/p1.json"] {
        let file = folder.file(name);
        let before = std::fs::read(&file).expect(name);
        for asked in [
            vec!["report", path, "-o", &file],
            vec!["report", path, "--csv", &file],
            vec!["report", path, "--json", &file],
            vec!["results", path, "--csv", &file],
            vec!["event", "sheet", path, "-o", &file],
        ] {
            let (code, _, err) = draught(&asked);
            assert_eq!(code, 2, "{asked:?}");
            assert!(err.contains("it is what is read"), "{err}");
            assert_eq!(std::fs::read(&file).expect(name), before, "{asked:?}");
        }
    }
    let (code, ..) = draught(&["report", path, "-o", &folder.file("report.html")]);
    assert_eq!(code, 0, "beside them there is room");
}
