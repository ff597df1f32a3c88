//! A plan beside the method that it names.

use draught_sim::methods::Library;
use draught_sim::plan::source::Source;
use draught_sim::plan::{ArmedAt, Loaded, load, load_with, when};

fn text(head: &str, flow: &str, run: &str, limits: &str) -> String {
    format!(
        "utc-offset = \"+00:00\"\nflow = \"{flow}\"\n{head}\n\
         steps = [{{ run-for = \"{run}\" }}, {{ finish = true }}]\n[limits]\n{limits}"
    )
}

fn looked_at(text: String) -> Loaded {
    let armed = ArmedAt::Civil(when::civil("2027-01-04 06:00").expect("a date"));
    load_with(Source::new("plan.toml", text), armed, &Library::default())
}

fn codes(head: &str, flow: &str, run: &str, limits: &str) -> Vec<String> {
    let loaded = looked_at(text(head, flow, run, limits));
    let found = loaded.findings.sorted();
    found.iter().map(|f| format!("{}[{}]", f.severity.word(), f.code)).collect()
}

/// L-TIME, App. L 3.3 and 7.4.13: 1380 to 1500 min. B-TIME, App. B 8.15: the same.
#[test]
fn l_time_and_b_time_the_length_of_a_day() {
    for (method, flow) in [("epa-app-l", "16.67 L/min"), ("epa-app-b", "1400 L/min")] {
        let head = format!("method = \"{method}\"");
        for (minutes, fits) in
            [(1_379, false), (1_380, true), (1_440, true), (1_500, true), (1_501, false)]
        {
            let found = codes(&head, flow, &format!("{minutes} min"), "");
            let wanted: &[&str] = if fits { &[] } else { &["error[method-time]"] };
            assert_eq!(found, wanted, "{method} {minutes}");
        }
    }
}

#[test]
fn the_flow_must_be_one_that_the_method_takes() {
    let of = |flow: &str| codes("method = \"nmam-0600\"", flow, "2 h", "");
    for flow in ["1.7 L/min", "2.2 L/min", "2.5 L/min"] {
        assert!(of(flow).is_empty(), "{flow}: {:?}", of(flow));
    }
    assert_eq!(of("2.0 L/min"), ["error[method-flow]"]);
    let nylon = |flow: &str| codes("method = \"nmam-0600/nylon\"", flow, "2 h", "");
    assert!(nylon("1.7 L/min").is_empty());
    assert_eq!(nylon("2.2 L/min"), ["error[method-flow]"]);
    let l = |flow: &str| codes("method = \"epa-app-l\"", flow, "24 h", "");
    assert_eq!(l("15.8364 L/min"), ["error[method-flow]"]);
    for flow in ["15.8365 L/min", "16.5 L/min", "17.5035 L/min"] {
        assert_eq!(l(flow), ["warning[method-flow]"], "{flow}: within the range, and not nominal");
    }
    assert!(l("16.67 L/min").is_empty());
    let cotton = |flow: &str| codes("method = \"osha-1910-1043\"", flow, "6 h", "");
    assert_eq!(cotton("7.1 L/min"), ["error[method-flow]"]);
    assert!(cotton("7.4 L/min").is_empty());
}

#[test]
fn the_volume_is_between_least_and_most() {
    // 7601: 400 to 800 L, whatever is in the air; at 2.2 L/min 181.8 to 363.6 min.
    let of = |run: &str| codes("method = \"nmam-7601/hd\"", "2.2 L/min", run, "");
    assert_eq!(of("181 min"), ["error[method-volume]"]);
    assert!(of("182 min").is_empty() && of("363 min").is_empty());
    assert_eq!(of("364 min"), ["error[method-volume]"]);
    // A hold that someone resumes makes a range of it.
    let held = "utc-offset = \"+00:00\"\nflow = \"1.0 L/min\"\nmethod = \"nmam-0501\"\nsteps = [{ wait-for-time = \"08:00\" }, { wait-for-date = \"2027-01-05\" }, { run-for = \"4 h\" }, { hold = \"until-resumed\", at-most = \"3 h\" }, { run-until = \"15:00\", at-most = \"4 h\" }, { finish = true }]";
    let loaded = looked_at(held.to_owned());
    let found: Vec<_> =
        loaded.findings.sorted().iter().map(|f| (f.severity.word(), f.code)).collect();
    assert!(found.contains(&("warning", "method-volume")), "{found:?}");
}

/// NMAM 0500 takes 7 to 133 L at 15 mg/m3: 0.105 to 1.995 mg, MASS-2. At 0.5 mg/m3 these are in 1000 x 0.105 / 0.5 = 210 to 3990 L; where nothing is said of the
/// air, whether 480 L are too much cannot be told.
#[test]
fn a_volume_stated_at_a_concentration_is_a_mass() {
    let of = |run: &str, limits: &str| {
        let mut found = codes("method = \"nmam-0500\"", "1.0 L/min", run, limits);
        found.retain(|f| f != "note[method-memory]");
        found
    };
    assert!(of("480 min", "expect = \"0.5 mg/m3\"").is_empty(), "0.24 mg");
    assert!(of("211 min", "expect = \"0.5 mg/m3\"").is_empty());
    assert_eq!(of("209 min", "expect = \"0.5 mg/m3\""), ["warning[method-mass]"]);
    assert_eq!(of("480 min", "expect = \"15 mg/m3\""), ["warning[method-mass]"], "7.2 mg");
    assert!(of("4 min", "expect = \"30 mg/m3\"").is_empty(), "0.12 mg");
    assert_eq!(of("480 min", ""), ["warning[method-volume]"]);
    assert!(of("100 min", "").is_empty(), "as stated");
    let loaded = looked_at(text("method = \"nmam-0500\"", "1.0 L/min", "480 min", ""));
    let told = &loaded.findings.sorted()[0];
    assert!(told.message.contains("cannot be told"), "{told:?}");
    assert!(told.helps[0].contains("expect"), "{told:?}");
    // 5700: 240 L at 2 ug/m3, and 1050 L at most whatever is in the air: the first is a mass, the second stays.
    let formaldehyde =
        |run: &str, limits: &str| codes("method = \"nmam-5700\"", "2.0 L/min", run, limits);
    assert!(formaldehyde("60 min", "expect = \"20 ug/m3\"").is_empty(), "2.4 of 0.4 ug");
    assert_eq!(formaldehyde("9 h", "expect = \"20 ug/m3\""), ["error[method-volume]"], "1080 L");
    assert_eq!(formaldehyde("60 min", ""), ["warning[method-volume]"]);
}

#[test]
fn the_expected_mass_is_compared_with_the_range() {
    // 0501: 0.25 to 5 mg. 250 L are 0.25 mg at 1 mg/m3, and 5 mg at 20.
    let of = |expect: &str| {
        let limits = format!("expect = \"{expect}\"");
        codes("method = \"nmam-0501\"", "1.0 L/min", "250 min", &limits)
    };
    assert!(of("1 mg/m3").is_empty() && of("20 mg/m3").is_empty());
    assert_eq!(of("0.99 mg/m3"), ["warning[method-mass]"]);
    assert_eq!(of("20.1 mg/m3"), ["warning[method-mass]"]);
}

/// The LOD of NMAM 0500 is from memory: it is said, and decides nothing.
#[test]
fn what_is_remembered_gives_a_note_only() {
    let of = |limits: &str| codes("method = \"nmam-0500\"", "1.0 L/min", "100 min", limits);
    assert_eq!(of(""), ["note[method-memory]"]);
    // 0.02 mg, below the remembered LOD: the note as before, and the computed range decides.
    assert_eq!(of("expect = \"0.2 mg/m3\""), ["warning[method-mass]", "note[method-memory]"]);
}

#[test]
fn a_variant_that_is_not_named_is_asked_for_where_it_matters() {
    let of =
        |method: &str, run: &str| codes(&format!("method = \"{method}\""), "50 mL/min", run, "");
    // Acetone 0.5 to 3 L, the others 1 to 10 L.
    assert_eq!(of("nmam-1300", "40 min"), ["note[method-variant]"]);
    assert_eq!(of("nmam-1300", "80 min"), ["warning[method-variant]"]);
    assert!(of("nmam-1300/others", "80 min").is_empty());
    assert_eq!(of("nmam-1300/acetone", "80 min"), ["error[method-volume]"]);
}

#[test]
fn a_method_that_is_not_there_is_an_error_with_near_names() {
    let loaded = looked_at(text("method = \"nmam-600\"", "1.7 L/min", "2 h", ""));
    let found = loaded.findings.sorted();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].severity.word(), found[0].code), ("error", "unknown-method"));
    assert!(found[0].helps[0].contains("nmam-0600"), "{:?}", found[0].helps);
    assert_eq!(codes("method = 3", "1.7 L/min", "2 h", ""), ["error[wrong-type]"]);
    assert_eq!(codes("", "1.7 L/min", "2 h", "expect = \"3 mg\""), ["error[unknown-unit]"]);
}

/// The method is the host's: a pump gets the same bytes with and without it.
#[test]
fn a_method_is_not_in_the_bytes() {
    let armed = ArmedAt::Civil(when::civil("2027-01-04 06:00").expect("a date"));
    let bytes = |head: &str, limits: &str| {
        let source = Source::new("plan.toml", text(head, "1.7 L/min", "2 h", limits));
        let ready = load(source, armed).ready.expect("a schedule");
        let mut bytes = vec![0; 4_096];
        let len = draught::wire::encode(ready.table(), &mut bytes).expect("room");
        bytes[..len].to_vec()
    };
    assert_eq!(bytes("", ""), bytes("method = \"nmam-0600\"", "expect = \"1 mg/m3\""));
}
