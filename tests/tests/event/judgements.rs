//! What is used where nobody has said: which volume, which uncertainty, which blanks.

use draught_sim::event::Record;
use draught_sim::methods::Library;
use draught_sim::results::{Results, SampleResult, compute};

use super::{folder, shift};

fn of(field: &str, change: impl Fn(&mut Record)) -> Results {
    let mut record = shift()[0].clone();
    change(&mut record);
    compute(&folder(field, &[record]), &Library::default())
}

/// One sampler, of which the flow was read so.
fn read(top: &str, before: &str, after: &str, more: &str) -> String {
    let readings = |which: &str, flow: &str| match flow {
        "" => String::new(),
        flow => format!("{which} = [{{ flow = \"{flow} L/min\" }}]\n"),
    };
    format!(
        "[event]\nname = \"x\"\n{top}\n[[sampler]]\nid = \"S\"\npump = \"P1\"\nrecord = \"records/p1.json\"\nmedia-lot = \"L\"\n{}{}{more}\n",
        readings("before", before),
        readings("after", after)
    )
}

fn only(results: &Results) -> &SampleResult {
    results.samples.first().expect("a sample")
}

fn codes(r: &Results) -> Vec<&str> {
    only(r).flags.iter().map(|f| f.code.as_str()).collect()
}

fn used(r: &Results) -> (Option<&str>, f64) {
    let v = only(r).volume.as_ref().expect("a volume");
    (v.used_is.as_deref(), v.used_l.unwrap_or_default())
}

/// The demo's pump keeps 2.0 L/min for 150 min.
#[test]
fn the_pumps_volume_is_used_until_the_meter_contradicts_it() {
    let litres = |r: &Results| only(r).volume.as_ref().and_then(|v| v.integrated_l).expect("one");
    let within = of(&read("", "1.95", "1.93", ""), |_| ());
    assert_eq!(used(&within), (Some("integrated"), litres(&within)));
    assert_eq!(codes(&within), Vec::<&str>::new());
    // 2.0 against 1.88 is 6.4 % off: the meter has the certificate.
    let beyond = of(&read("", "1.88", "1.88", ""), |_| ());
    assert_eq!((used(&beyond).0, codes(&beyond)), (Some("mean-flow-time"), vec!["pump-off-meter"]));
    assert!((used(&beyond).1 - 1.88 * 150.0).abs() < 1e-9);
    let because = &only(&beyond).volume.as_ref().expect("a volume").used_because;
    assert!(because.contains("further off the meter's than the limit of 5 %"), "{because}");
    // The limit is that of the sheet, and what the sheet asks for is used.
    let wide = of(&read("[verification]\nlimit = \"7 %\"", "1.88", "1.88", ""), |_| ());
    assert_eq!((used(&wide).0, codes(&wide)), (Some("integrated"), vec!["off-required"]));
    let asked = of(&read("", "1.88", "1.88", "volume-from = \"integrated\""), |_| ());
    assert_eq!(used(&asked).0, Some("integrated"));
    // Nobody contradicts it: it is used, and flagged as not verified.
    let unread = of(&read("", "", "", ""), |_| ());
    assert_eq!((used(&unread).0, codes(&unread)), (Some("integrated"), vec!["not-verified"]));
}

/// A sampler that was blocked for a while draws less than the meter saw before and after: that is no fault of the pump's sensor, and
/// mean flow x time would be far too much.
#[test]
fn what_happened_in_between_is_seen_by_integration_only() {
    let blocked = |r: &mut Record| {
        let row = &mut r.file.samples[0];
        row.flags = vec!["flow-unsteady".to_owned(), "limit-tripped".to_owned()];
        row.volume_raw_ul_ms_per_min = row.volume_raw_ul_ms_per_min / 4 * 3;
        if let Some(flow) = &mut row.flow_ul_per_min {
            flow.mean = flow.mean / 4 * 3;
        }
    };
    let r = of(&read("", "2.0", "2.0", ""), blocked);
    assert_eq!(used(&r).0, Some("integrated"));
    assert!(used(&r).1 < 230.0 && !codes(&r).contains(&"pump-off-meter"), "{:?}", codes(&r));
    // Why the two differ: the sensor is right, and the flow was not what it was set to.
    let why = &only(&r).volume.as_ref().expect("a volume").why_they_differ;
    assert!(why.iter().any(|w| w.starts_with("the flow was not all of the time")), "{why:?}");
    assert!(!why.iter().any(|w| w.contains("sensor")), "{why:?}");
    // The meter against the target: still off, where it is.
    let r = of(&read("", "1.88", "1.88", ""), blocked);
    assert!(codes(&r).contains(&"pump-off-meter"), "{:?}", codes(&r));
}

#[test]
fn no_uncertainty_is_stated_for_a_flow_that_nobody_verified() {
    let r = of(&read("", "", "", ""), |_| ());
    assert_eq!(only(&r).uncertainty, None);
    assert!(r.assumptions.iter().any(|a| a.contains("no uncertainty is stated")));
    // Without the meter's: the limit, rectangular. 5 / sqrt 3 %.
    let r = of(&read("", "2.0", "2.0", ""), |_| ());
    let b = only(&r).uncertainty.as_ref().expect("a budget");
    assert!((b.terms[0].standard_percent - 5.0 / 3_f64.sqrt()).abs() < 1e-9);
    // A difference that is larger takes its place: 1.86 is 7 % less than 2.0.
    let r = of(&read("", "2.0", "1.86", "volume-from = \"mean-flow-time\""), |_| ());
    let b = only(&r).uncertainty.as_ref().expect("a budget");
    assert!((b.terms[0].standard_percent - 7.0 / 3_f64.sqrt()).abs() < 1e-9);
    // Verified once with a meter that is known: it may have drifted by up to the limit, half of that on average.
    let once = "volume-from = \"mean-flow-time\"\n[[sampler.before]]\nflow = \"2.0 L/min\"\nmeter-u = \"0.5 %\"";
    let r = of(&read("", "", "", once), |_| ());
    let b = only(&r).uncertainty.as_ref().expect("a budget");
    let drift = b.terms.iter().find(|t| t.name == "flow drift").expect("a term");
    assert!((drift.standard_percent - 2.5 / 3_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn the_flow_that_was_set_is_beside_the_planned_one() {
    // 2.15 is 7.5 % more than 2.0; the mean of before and after is not.
    let r = of(&read("", "2.15", "1.95", "volume-from = \"integrated\""), |_| ());
    assert!(codes(&r).contains(&"off-required"), "{:?}", codes(&r));
    let says = &only(&r).flags.iter().find(|f| f.code == "off-required").expect("it").says;
    assert_eq!(says, "before 2.150 L/min, planned 2.000 L/min: +7.5 %");
    let r = of(
        &read("[verification]\nrequired = \"8 %\"\nlimit = \"20 %\"", "2.15", "1.95", ""),
        |_| (),
    );
    assert_eq!(codes(&r), Vec::<&str>::new());
    // Outdoors from 2 % on (App. L 9.2.4 to 9.2.6), worn over 5 %.
    let outdoors = of(&read("method = \"epa-app-l\"", "2.04", "2.03", ""), |_| ());
    assert!(codes(&outdoors).contains(&"off-required"));
    let worn = of(&read("", "2.04", "2.03", ""), |_| ());
    assert_eq!(codes(&worn), Vec::<&str>::new());
}

const LAB: &str = "[[sampler.lab]]\nanalyte = \"dust\"\nmass = \"0.60 mg\"\nu = \"5 %\"\n";

fn blank(id: &str, figures: &str) -> String {
    format!(
        "[[sampler]]\nid = \"{id}\"\nkind = \"field-blank\"\nmedia-lot = \"L\"\n[[sampler.lab]]\nanalyte = \"dust\"\n{figures}\n"
    )
}

#[test]
fn a_blank_below_its_limit_counts_as_nothing_and_lowers_no_result() {
    let net = |blanks: &[String]| {
        let field = read("", "2.0", "2.0", LAB) + &blanks.concat();
        let r = of(&field, |_| ());
        let a = only(&r).laboratory[0].clone();
        (a.net_mass_mg.expect("a mass"), a.blank_from, r.assumptions, a.budget)
    };
    let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
    let found = |id: &str| blank(id, "mass = \"0.03 mg\"\nu = \"10 %\"");
    let below = |id: &str| blank(id, "below = \"0.02 mg\"");
    let (mg, from, said, budget) = net(&[found("B1")]);
    assert!(near(mg, 0.57) && from == ["B1"], "{mg}");
    assert!(said.iter().any(|a| a.contains("one field blank")), "{said:?}");
    // Anything from nothing to 0.06 mg, of the 0.57 mg that are left.
    let term = budget.expect("one").terms.iter().find(|t| t.name == "blank").cloned();
    assert!(
        (term.expect("a term").standard_percent - 100.0 * 0.03 / 3_f64.sqrt() / 0.57).abs() < 1e-9
    );
    // A mean of 0.03 and less than 0.02 is less than 0.025, and not 0.03.
    let (mg, from, said, _) = net(&[found("B1"), below("B2")]);
    assert!(near(mg, 0.585) && from == ["B1", "B2"], "{mg}");
    assert!(said.iter().any(|a| a.contains("below its limit and counts as nothing")), "{said:?}");
    let (mg, from, ..) = net(&[below("B1"), below("B2")]);
    assert!(near(mg, 0.6) && from.is_empty(), "{mg}");
    // Two that were found: their mean, 0.03 mg, and their scatter, s = sqrt(2 x 0.01^2 / 1), of one and of the mean.
    let (mg, from, _, budget) =
        net(&[blank("B1", "mass = \"0.04 mg\""), blank("B2", "mass = \"0.02 mg\"")]);
    assert!(near(mg, 0.57) && from == ["B1", "B2"]);
    let term = budget.expect("one").terms.iter().find(|t| t.name == "blank").cloned();
    assert!(
        (term.expect("a term").standard_percent
            - 100.0 * 0.0002_f64.sqrt() * 1.5_f64.sqrt() / 0.57)
            .abs()
            < 1e-9
    );
}

/// A blank that was not parted is taken off the front of tubes that were.
#[test]
fn a_blank_in_one_piece_is_not_lost() {
    let tube = "[[sampler.lab]]\nanalyte = \"dust\"\nmass-front = \"0.50 mg\"\nmass-back = \"0.01 mg\"\nlod = \"0.001 mg\"\n";
    let field = read("", "2.0", "2.0", tube) + &blank("B1", "mass = \"0.03 mg\"");
    let r = of(&field, |_| ());
    assert!((only(&r).laboratory[0].net_mass_mg.expect("a mass") - 0.48).abs() < 1e-12);
}
