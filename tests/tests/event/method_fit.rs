//! A sample beside its method, against the library's own data and arithmetic of the test's own.

use draught_sim::event::Record;
use draught_sim::methods::{Library, Values, read};
use draught_sim::plan::source::Source;
use draught_sim::results::{MethodRow, Results, SampleResult, compute};

use super::{folder, same, shift};

/// 2.0 L/min for 150 min, by the meter.
fn field(method: &str, mass: &str) -> String {
    let named = if method.is_empty() { String::new() } else { format!("method = \"{method}\"\n") };
    format!(
        "[event]\nname = \"x\"\n[[sampler]]\nid = \"S\"\npump = \"P1\"\nrecord = \"records/p1.json\"\n{named}\
         volume-from = \"mean-flow-time\"\nbefore = [{{ flow = \"2.0 L/min\" }}]\nafter = [{{ flow = \"2.0 L/min\" }}]\n{mass}"
    )
}

fn lab(mass: &str) -> String {
    format!("[[sampler.lab]]\nanalyte = \"dust\"\n{mass}\n")
}

fn with(library: &Library, method: &str, mass: &str, change: impl Fn(&mut Record)) -> SampleResult {
    let mut record = shift()[0].clone();
    change(&mut record);
    let results: Results = compute(&folder(&field(method, mass), &[record]), library);
    results.samples.into_iter().next().expect("a sample")
}

fn one(method: &str, mass: &str) -> SampleResult {
    with(&Library::default(), method, mass, |_| ())
}

fn codes(s: &SampleResult) -> Vec<&str> {
    s.flags.iter().map(|f| f.code.as_str()).collect()
}

fn row<'s>(s: &'s SampleResult, what: &str) -> Option<&'s MethodRow> {
    s.method_fit.iter().find(|r| r.what == what)
}

/// Own arithmetic: between the two, or not.
fn within(x: f64, least: Option<f64>, most: Option<f64>) -> bool {
    x >= least.unwrap_or(0.0) - 1e-9 && x <= most.unwrap_or(f64::INFINITY) + 1e-9
}

fn ends(values: &Values, least: &str, most: &str) -> Option<(Option<f64>, Option<f64>)> {
    let (a, b) = (values.one(least), values.one(most));
    (a.is_some() || b.is_some()).then_some((a, b))
}

#[test]
fn every_entry_of_the_library_is_compared_by_its_own_values() {
    let library = Library::default();
    let mut compared = [0; 3];
    for entry in library.methods().iter().flat_map(|m| m.entries()) {
        let s = one(&entry.id, "");
        assert_eq!(s.method.as_deref(), Some(entry.id.as_str()));
        let v = &entry.values;
        let range = |key: &str| v.range(key).map(|(a, b)| (Some(a), Some(b)));
        let volume = ends(v, "volume-min", "volume-max");
        let all = [
            ("flow", 2.0, range("flow")),
            ("volume", 300.0, volume),
            ("time", 150.0, range("duration")),
        ];
        for (i, (what, is, asked)) in all.into_iter().enumerate() {
            let Some((least, most)) = asked else { continue };
            compared[i] += 1;
            let row = row(&s, what).unwrap_or_else(|| panic!("{}: no row of {what}", entry.id));
            assert_eq!((row.least, row.most), (least, most), "{}: {what}", entry.id);
            assert!(same(row.value.expect("a value"), is), "{}: {what}", entry.id);
            // A single flow is met within 5 %.
            let fits = if what == "flow" && least == most {
                (is / least.expect("one") - 1.0).abs() <= 0.05
            } else {
                within(is, least, most)
            };
            // A volume that is stated at a concentration, where nobody knows that of the air.
            let stated_at = |key: &str| v.get(key).is_some_and(|v| v.at.is_some());
            let end = if least.is_some_and(|l| is < l) { "volume-min" } else { "volume-max" };
            let open = what == "volume" && stated_at(end);
            let outside = if open { "not-known" } else { "outside" };
            assert_eq!(row.standing, if fits { "fits" } else { outside }, "{}: {what}", entry.id);
            let code = ["flow-outside", "volume-outside", "duration-outside"][i];
            assert_eq!(codes(&s).contains(&code), !fits && !open, "{}: {what}", entry.id);
            assert!(!row.from.is_empty() && !row.wants.is_empty(), "{}: {what}", entry.id);
        }
        let recommended = v.one("volume-recommended");
        let asked = v.one("duration-recommended");
        let asked = asked.filter(|_| recommended.is_none() && v.range("duration").is_none());
        for (what, is, asked) in [("volume", 300.0, recommended), ("time", 150.0, asked)] {
            let of = |r: &&MethodRow| r.what == what && r.wants.ends_with("recommended");
            let row = s.method_fit.iter().find(of);
            let Some(asked) = asked else {
                assert_eq!(row, None, "{}: {what}", entry.id);
                continue;
            };
            let row = row.unwrap_or_else(|| panic!("{}: no recommended {what}", entry.id));
            assert_eq!((row.least, row.most), (Some(asked), Some(asked)), "{}: {what}", entry.id);
            let near = (is / asked - 1.0_f64).abs() <= 0.05;
            assert_eq!(row.standing, if near { "fits" } else { "outside" }, "{}: {what}", entry.id);
            assert!(near || codes(&s).contains(&"off-recommended"), "{}: {what}", entry.id);
        }
        // What is only remembered asks for nothing.
        for key in ["flow", "volume-min", "duration"] {
            if v.any(key).is_some() && v.get(key).is_none() {
                let what = if key == "volume-min" { "volume" } else { key };
                assert!(row(&s, what).is_none_or(|r| r.least.is_none()), "{}: {key}", entry.id);
            }
        }
    }
    assert!(compared.iter().all(|n| *n >= 3), "{compared:?}");
}

/// L-TIME, App. L 3.3 and 7.4.13: 1380 to 1500 min; B-TIME, App. B 8.15; J, 7.1.5.
#[test]
fn a_day_is_24_h_within_1_h() {
    let library = Library::default();
    for method in ["epa-app-l", "epa-app-b", "epa-app-j"] {
        for (minutes, says) in [
            (1_379, "too little"),
            (1_380, "fits"),
            (1_440, "fits"),
            (1_500, "fits"),
            (1_501, "too much"),
        ] {
            let s = with(&library, method, "", |r| r.file.samples[0].pumped_ms = minutes * 60_000);
            assert_eq!(row(&s, "time").expect("a row").says, says, "{method} {minutes}");
            assert_eq!(codes(&s).contains(&"duration-outside"), says != "fits");
        }
    }
}

/// NMAM 0501 takes 0.25 to 5 mg (read in a copy).
#[test]
fn masses_are_beside_the_range_and_beside_what_can_be_told() {
    let of = |mass: &str| one("nmam-0501", &lab(mass));
    for (mass, says, flag) in [
        ("mass = \"0.25 mg\"", "fits", None),
        ("mass = \"5 mg\"", "fits", None),
        ("mass = \"0.249 mg\"", "too little", Some("mass-outside")),
        ("mass = \"5.01 mg\"", "too much", Some("mass-outside")),
        // What the laboratory cannot quantify is said once.
        ("mass = \"0.2 mg\"\nloq = \"0.3 mg\"", "too little", Some("below-loq")),
        ("below = \"0.075 mg\"", "not known: below what can be told", Some("below-lod")),
    ] {
        let s = of(mass);
        let row = row(&s, "mass").expect("a row");
        assert_eq!((row.says.as_str(), row.analyte.as_deref()), (says, Some("dust")), "{mass}");
        let raised: Vec<&str> = codes(&s).into_iter().filter(|c| *c != "no-volume").collect();
        assert_eq!(raised, flag.into_iter().collect::<Vec<_>>(), "{mass}");
    }
}

fn own(text: &str) -> Library {
    let head =
        "id = \"ours\"\ntitle = \"Ours\"\nissuer = \"our laboratory\"\nmeasures = \"dust\"\n";
    let mut library = Library::default();
    let method = read(&Source::new("ours.toml", format!("{head}{text}")));
    library.add(method.unwrap_or_else(|f| panic!("{:?}", f.sorted())));
    library
}

const FROM: &str = "from = \"our sheet\", tag = \"seen\" }";

#[test]
fn limits_of_the_method_hold_where_the_laboratory_gives_none() {
    let library =
        own(&format!("lod = {{ is = \"0.03 mg\", {FROM}\nloq = {{ is = \"0.1 mg\", {FROM}"));
    let of = |mass: &str| with(&library, "ours", &lab(mass), |_| ());
    for (mass, flag) in [
        ("mass = \"0.1 mg\"", None),
        ("mass = \"0.09 mg\"", Some("below-loq")),
        ("mass = \"0.02 mg\"", Some("below-lod")),
        ("mass = \"0.09 mg\"\nloq = \"0.05 mg\"", Some("mass-outside")),
    ] {
        assert_eq!(codes(&of(mass)), flag.into_iter().collect::<Vec<_>>(), "{mass}");
    }
}

#[test]
fn the_variant_is_the_one_that_takes_the_flow_and_none_is_guessed() {
    let variant = |id: &str, flow: &str, most: &str| {
        format!(
            "[[variant]]\nid = \"{id}\"\nwhat = \"{id} sampler\"\nflow = {{ is = \"{flow}\", {FROM}\nvolume-max = {{ is = \"{most}\", {FROM}\n"
        )
    };
    let small = variant("small", "1.7 L/min", "100 L");
    let by_flow = own(&(small.clone() + &variant("large", "2.0 L/min", "400 L")));
    let s = with(&by_flow, "ours", "", |_| ());
    assert_eq!(s.method.as_deref(), Some("ours/large"));
    assert_eq!(s.method_says.as_deref(), Some("taken as ours/large, by its flow"));
    assert_eq!(codes(&s), Vec::<&str>::new());
    // The other's 100 L are not held against it; named, they are.
    let s = with(&by_flow, "ours/small", "", |_| ());
    assert_eq!(
        (codes(&s), s.method_says.as_deref()),
        (vec!["flow-outside", "volume-outside"], None)
    );
    let several =
        own(&(variant("small", "2.0 L/min", "100 L") + &variant("large", "2.0 L/min", "400 L")));
    let s = with(&several, "ours", "", |_| ());
    assert_eq!((codes(&s), s.method_fit.len()), (vec![], 0));
    assert!(s.method_says.expect("said").contains("name one of ours/small, ours/large"));
    let none = own(&(small + &variant("large", "2.5 L/min", "400 L")));
    let s = with(&none, "ours", "", |_| ());
    assert_eq!(codes(&s), ["flow-outside"]);
    let flow = row(&s, "flow").expect("a row");
    assert_eq!(flow.wants, "1.7 L/min (small sampler), 2.5 L/min (large sampler)");
}

#[test]
fn without_a_method_nothing_is_compared_and_that_is_said() {
    let s = one("", "");
    assert!(s.method_fit.is_empty() && codes(&s).is_empty());
    assert_eq!(s.method_says.as_deref(), Some("no method is named: nothing is compared"));
}

/// 40 CFR 50 App. B 10.2 and 10.4: concentrations are of the volume at 298 K and 101 kPa.
#[test]
fn a_method_at_standard_conditions_has_its_concentration_there() {
    let library = Library::default();
    let mass = lab("mass = \"0.6 mg\"");
    let s = with(&library, "epa-app-b", &mass, |_| ());
    let standard = s.volume.as_ref().and_then(|v| v.standard_l).expect("a volume");
    assert!(same(s.laboratory[0].concentration_mg_m3.expect("one"), 0.6 * 1_000.0 / standard));
    assert_eq!(row(&s, "volume reported at").expect("a row").standing, "fits");
    let s = with(&library, "epa-app-b", &mass, |r| r.file.samples[0].air_measured_ms = 0);
    assert!(same(s.laboratory[0].concentration_mg_m3.expect("one"), 2.0));
    assert!(codes(&s).contains(&"conditions-outside"));
    let s = with(&library, "epa-app-l", &mass, |_| ());
    assert_eq!(s.laboratory[0].volume_is.as_deref(), Some("actual"));
    assert_eq!(row(&s, "volume reported at").expect("a row").standing, "fits");
}
