//! Random demands: what is proposed is inside all of them, and what is impossible is so by brute force.

use std::cell::Cell;

use draught_sim::methods::{Air, Limits, Values};
use draught_sim::propose::{Answer, Change, Collision, Endurance, Fibres, Proposal, Wish, propose};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use crate::same;

/// A number between powers of ten.
fn between(from: f64, to: f64) -> impl Strategy<Value = f64> {
    (from..to).prop_map(|e| 10_f64.powf(e))
}

fn pair(from: f64, to: f64) -> impl Strategy<Value = (f64, f64)> {
    (between(from, to), between(0.0, 0.7)).prop_map(|(a, factor)| (a, a * factor))
}

fn wishes() -> impl Strategy<Value = Wish> {
    let flows = (
        prop_oneof![pair(-2.0, 1.0), between(-2.0, 1.0).prop_map(|q| (q, q))],
        proptest::option::of(pair(-2.0, 1.0)),
    );
    let volumes = (
        proptest::option::of(between(0.0, 2.5)),
        proptest::option::of(between(0.5, 3.5)),
        proptest::option::weighted(0.1, between(0.5, 2.5)),
    );
    let masses = (
        proptest::option::of(between(-3.0, 0.0)),
        proptest::option::of(between(-1.0, 1.0)),
        proptest::option::weighted(0.2, between(-1.0, 1.0)),
        proptest::option::of(between(-1.0, 1.0)),
        proptest::option::of(between(-2.0, 1.5)),
        proptest::option::of(between(-1.0, 1.5)),
    );
    let fibres = proptest::option::weighted(0.1, between(-2.0, 0.0)).prop_map(|level| {
        level.map(|level_f_ml| Fibres {
            level_f_ml,
            area_mm2: 385.0,
            density_f_mm2: (100.0, 1_300.0),
        })
    });
    let times = (
        between(1.0, 3.2),
        proptest::option::of(prop_oneof![pair(0.5, 2.5), between(0.5, 2.5).prop_map(|t| (t, t))]),
        prop_oneof![Just(0.0), Just(2.0)],
        1_u32..30,
        proptest::option::weighted(0.3, pair(0.5, 2.5)),
    );
    (flows, volumes, masses, fibres, times).prop_map(|(flows, volumes, masses, fibres, times)| {
        Wish {
            method_flow: Some(flows.0),
            pump_flow: flows.1,
            volume_min_l: volumes.0,
            volume_max_l: volumes.1,
            volume_recommended_l: volumes.2,
            least_mass_mg: masses.0,
            most_mass_mg: masses.1,
            load_max_mg: masses.2,
            dust_mg_m3: masses.3,
            expect_mg_m3: masses.4,
            limit_mg_m3: masses.5,
            fibres,
            time_min: times.0,
            sample_min: times.1,
            method_min: times.4,
            change_min: times.2,
            samples_at_most: times.3,
        }
    })
}

const ROUNDING: f64 = 1e-6;

/// Written apart from the program: which demand a sample of this flow and time does not meet.
fn unmet(w: &Wish, flow: f64, minutes: f64, slack: f64) -> Option<&'static str> {
    let below = |a: f64, b: f64| a < b * (1.0 - slack);
    let litres = flow * minutes;
    let cubic = litres / 1_000.0;
    for range in [w.method_flow, w.pump_flow].into_iter().flatten() {
        if below(flow, range.0) || below(range.1, flow) {
            return Some("flow");
        }
    }
    for (least, most) in [w.sample_min, w.method_min].into_iter().flatten() {
        if below(minutes, least) || below(most, minutes) {
            return Some("time");
        }
    }
    if below(w.time_min, minutes) {
        return Some("time");
    }
    if w.volume_min_l.is_some_and(|v| below(litres, v)) {
        return Some("least volume");
    }
    if w.volume_max_l.is_some_and(|v| below(v, litres)) {
        return Some("most volume");
    }
    if w.volume_recommended_l.is_some_and(|v| below(litres, v) || below(v, litres)) {
        return Some("recommended volume");
    }
    let low = if w.expect_mg_m3.is_some() { w.expect_mg_m3 } else { w.limit_mg_m3 };
    if let (Some(c), Some(mg)) = (low, w.least_mass_mg)
        && below(c * cubic, mg)
    {
        return Some("least mass");
    }
    for c in [w.expect_mg_m3, w.limit_mg_m3].into_iter().flatten() {
        if w.most_mass_mg.is_some_and(|mg| below(mg, c * cubic)) {
            return Some("most mass");
        }
    }
    if let (Some(c), Some(mg)) = (w.dust_mg_m3, w.load_max_mg)
        && below(mg, c * cubic)
    {
        return Some("load");
    }
    if let Some(f) = w.fibres {
        let on_filter = f.level_f_ml * litres * 1_000.0 / f.area_mm2;
        if below(on_filter, f.density_f_mm2.0) || below(f.density_f_mm2.1, on_filter) {
            return Some("fibres");
        }
    }
    None
}

fn holds(w: &Wish, p: &Proposal) -> Result<(), String> {
    let fault = |what: &str| Err(format!("{what}: {p:?}"));
    if let Some(what) = unmet(w, p.flow_l_per_min, p.minutes, ROUNDING) {
        return fault(what);
    }
    let n = f64::from(p.samples);
    let span = n * p.minutes + (n - 1.0) * w.change_min;
    if p.samples == 0 || p.samples > w.samples_at_most || span > w.time_min * (1.0 + ROUNDING) {
        return fault("number of samples");
    }
    // Times are rounded down to whole minutes.
    if p.covers_all && span < w.time_min - n * 1.0 - 1e-6 {
        return fault("does not cover the time");
    }
    if (p.volume_l - p.flow_l_per_min * p.minutes).abs() > 1e-9 * p.volume_l {
        return fault("volume");
    }
    for (c, mg) in [(w.expect_mg_m3, p.mass_expect_mg), (w.limit_mg_m3, p.mass_limit_mg)] {
        match (c, mg) {
            (None, None) => {}
            (Some(c), Some(mg)) if (mg - c * p.volume_l / 1e3).abs() <= 1e-9 * mg => {}
            _ => return fault("mass"),
        }
    }
    Ok(())
}

/// So many steps of a grid from one number to another, evenly in their logarithm, ends included.
fn grid(from: f64, to: f64, steps: u32) -> impl Iterator<Item = f64> {
    (0..=steps).map(move |i| from * (to / from).powf(f64::from(i) / f64::from(steps)))
}

/// A flow and a time on a grid that meet all demands, if there are any.
fn brute(w: &Wish) -> Option<(f64, f64)> {
    let any = (1e-3, 1e2);
    let (method, pump) = (w.method_flow.unwrap_or(any), w.pump_flow.unwrap_or(any));
    let (from, to) = (method.0.max(pump.0), method.1.min(pump.1));
    let (short, long) = times(w);
    let short = short.max(0.01);
    if from > to || short > long {
        return None;
    }
    grid(from, to, 60)
        .flat_map(|q| grid(short, long, 120).map(move |t| (q, t)))
        .find(|(q, t)| unmet(w, *q, *t, 1e-12).is_none())
}

/// The shortest and the longest that one sample may be.
fn times(w: &Wish) -> (f64, f64) {
    let ranges = [w.sample_min, w.method_min];
    let short = ranges.iter().flatten().map(|r| r.0).fold(0.0, f64::max);
    (short, ranges.iter().flatten().map(|r| r.1).fold(w.time_min, f64::min))
}

/// Whether a named collision is one: the two demands alone cannot both be met.
fn is_real(w: &Wish, collision: &Collision) -> bool {
    let flows = [w.method_flow, w.pump_flow];
    let most_flow = flows.iter().flatten().map(|r| r.1).fold(f64::INFINITY, f64::min);
    let least_flow = flows.iter().flatten().map(|r| r.0).fold(0.0, f64::max);
    let (short, long) = times(w);
    match *collision {
        Collision::Flows { method, pump } => {
            w.method_flow == Some(method)
                && w.pump_flow == Some(pump)
                && (method.1 < pump.0 || pump.1 < method.0)
        }
        Collision::Times { method, asked } => {
            (w.method_min, w.sample_min) == (Some(method), Some(asked))
                && (method.1 < asked.0 || asked.1 < method.0)
        }
        Collision::TimeShort { least_min, time_min } => {
            least_min == short && time_min == w.time_min && least_min > time_min
        }
        // The most that a sample may have does not reach the least: no volume meets both.
        Collision::Volumes { least, most } => {
            let reaches = |l: f64| demands_volume(w, l);
            least.l > most.l && !grid(1e-3, 1e6, 4_000).any(reaches)
        }
        Collision::TooLittle { least, .. } => {
            most_flow * long < least.l && !volume_is_enough(w, most_flow * long)
        }
        Collision::TooMuch { most, .. } => {
            least_flow * short > most.l && !volume_is_little_enough(w, least_flow * short)
        }
        Collision::Lasting(_) => false,
    }
}

/// A wish about the volume alone: any flow, any time.
fn about_volume(w: &Wish) -> Wish {
    Wish {
        method_flow: Some((1.0, 1.0)),
        pump_flow: None,
        time_min: 1e9,
        sample_min: None,
        method_min: None,
        ..w.clone()
    }
}

fn demands_volume(w: &Wish, litres: f64) -> bool {
    unmet(&about_volume(w), 1.0, litres, 0.0).is_none()
}

/// Only what asks for more air: what is recommended becomes a least, and no filter is too full.
fn volume_is_enough(w: &Wish, litres: f64) -> bool {
    let least = [w.volume_min_l, w.volume_recommended_l].into_iter().flatten().reduce(f64::max);
    let fibres = w.fibres.map(|f| Fibres { density_f_mm2: (f.density_f_mm2.0, f64::MAX), ..f });
    let only_least = Wish {
        volume_min_l: least,
        volume_recommended_l: None,
        volume_max_l: None,
        most_mass_mg: None,
        load_max_mg: None,
        fibres,
        ..about_volume(w)
    };
    unmet(&only_least, 1.0, litres, 0.0).is_none()
}

/// Only what asks for less.
fn volume_is_little_enough(w: &Wish, litres: f64) -> bool {
    let most = [w.volume_max_l, w.volume_recommended_l].into_iter().flatten().reduce(f64::min);
    let fibres = w.fibres.map(|f| Fibres { density_f_mm2: (0.0, f.density_f_mm2.1), ..f });
    let only_most = Wish {
        volume_max_l: most,
        volume_recommended_l: None,
        volume_min_l: None,
        least_mass_mg: None,
        fibres,
        ..about_volume(w)
    };
    unmet(&only_most, 1.0, litres, 0.0).is_none()
}

#[test]
fn what_is_proposed_meets_every_demand_and_what_is_impossible_is_so() {
    let (possible, impossible) = (Cell::new(0_u32), Cell::new(0_u32));
    let mut runner =
        TestRunner::new(Config { cases: 4_000, failure_persistence: None, ..Config::default() });
    let result = runner.run(&wishes(), |wish| {
        match propose(&wish, None).expect("numbers") {
            Answer::Possible(proposal) => {
                possible.set(possible.get() + 1);
                holds(&wish, &proposal).map_err(TestCaseError::fail)?;
            }
            Answer::Impossible(found) => {
                impossible.set(impossible.get() + 1);
                prop_assert!(!found.is_empty(), "impossible, and no reason");
                for collision in &found {
                    prop_assert!(is_real(&wish, collision), "{collision:?} is none");
                }
                if let Some((flow, minutes)) = brute(&wish) {
                    return Err(TestCaseError::fail(format!(
                        "{flow} L/min for {minutes} min: {found:?}"
                    )));
                }
            }
        }
        Ok(())
    });
    result.unwrap_or_else(|e| panic!("{e}"));
    let (possible, impossible) = (possible.get(), impossible.get());
    assert!(possible > 400 && impossible > 400, "{possible} possible, {impossible} not");
}

/// Each remedy with a number takes its collision away.
#[test]
fn each_remedy_takes_its_collision_away() {
    let tried = Cell::new(0_u32);
    let mut runner =
        TestRunner::new(Config { cases: 4_000, failure_persistence: None, ..Config::default() });
    let result = runner.run(&wishes(), |wish| {
        let Answer::Impossible(found) = propose(&wish, None).expect("numbers") else {
            return Ok(());
        };
        for collision in &found {
            let remedies = collision.remedies(&wish);
            prop_assert!(!remedies.is_empty(), "{collision:?} has no remedy");
            for remedy in remedies {
                let mut changed = wish.clone();
                match remedy.change {
                    Change::Time(min) => changed.time_min = min * (1.0 + 1e-6),
                    Change::Pump(flow) => changed.pump_flow = Some((flow, flow)),
                    Change::LeastMass(mg) => changed.least_mass_mg = Some(mg * (1.0 - 1e-6)),
                    Change::Concentration(c) => changed.expect_mg_m3 = Some(c * (1.0 + 1e-6)),
                    Change::Other => continue,
                }
                tried.set(tried.get() + 1);
                // Another demand may be the next in the way; this one is not any more.
                if let Answer::Impossible(after) = propose(&changed, None).expect("numbers") {
                    let still = after.iter().any(|c| match (c, collision) {
                        (
                            Collision::TooLittle { least: a, .. },
                            Collision::TooLittle { least: b, .. },
                        ) => a.source == b.source,
                        (
                            Collision::TooMuch { most: a, .. },
                            Collision::TooMuch { most: b, .. },
                        ) => a.source == b.source,
                        (
                            Collision::Volumes { least: a, most: x },
                            Collision::Volumes { least: b, most: y },
                        ) => a.source == b.source && x.source == y.source,
                        (a, b) => a.code() == b.code(),
                    });
                    prop_assert!(!still, "{} does not help: {after:?}", remedy.says);
                }
            }
        }
        Ok(())
    });
    result.unwrap_or_else(|e| panic!("{e}"));
    assert!(tried.get() > 300, "{} remedies", tried.get());
}

/// Fewer samples cannot cover the time where all flows are looked at.
#[test]
fn no_flow_covers_the_time_in_fewer_samples() {
    let mut runner =
        TestRunner::new(Config { cases: 2_000, failure_persistence: None, ..Config::default() });
    let result = runner.run(&wishes(), |wish| {
        let Answer::Possible(p) = propose(&wish, None).expect("numbers") else { return Ok(()) };
        if !p.covers_all || p.samples == 1 {
            return Ok(());
        }
        let (from, to) = p.flows_l_per_min;
        for n in 1..p.samples {
            let each = (wish.time_min + wish.change_min) / f64::from(n) - wish.change_min;
            let fits = grid(from, to, 400).find(|q| unmet(&wish, *q, each, -1e-9).is_none());
            prop_assert!(fits.is_none(), "{n} samples do at {fits:?}: {p:?}");
        }
        Ok(())
    });
    result.unwrap_or_else(|e| panic!("{e}"));
}

/// Numbers that no sample can have are refused with what is wrong, never with a panic.
#[test]
fn bad_numbers_are_refused() {
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        for wish in [
            Wish { method_flow: Some((bad, 1.0)), ..Wish::default() },
            Wish { pump_flow: Some((1.0, bad)), ..Wish::default() },
            Wish { method_flow: Some((1.0, 1.0)), time_min: bad, ..Wish::default() },
            Wish { method_flow: Some((1.0, 1.0)), volume_min_l: Some(bad), ..Wish::default() },
            Wish { method_flow: Some((1.0, 1.0)), expect_mg_m3: Some(bad), ..Wish::default() },
        ] {
            let wrong = propose(&wish, None).expect_err("refused");
            assert!(!wrong.says.is_empty() && !wrong.help.is_empty());
        }
    }
    assert!(propose(&Wish::default(), None).is_err(), "no flow at all");
    let backwards = Wish { method_flow: Some((2.0, 1.0)), ..Wish::default() };
    assert!(propose(&backwards, None).is_err());
}

fn limits(values: &Values, concentration_mg_m3: Option<f64>, dust_mg_m3: Option<f64>) -> Limits {
    values.limits(Air { concentration_mg_m3, dust_mg_m3 })
}

/// NMAM 0500 at 0.5 mg/m3: 0.105 to 1.995 mg (MASS-2) are 210 to 3990 L, so that 1 L/min over 8 h, 480 L with 0.24 mg, is one sample. NMAM 0600 likewise: 0.1 to
/// 2 mg (MASS-1); 1.7 L/min over 8 h are 816 L with 0.408 mg.
#[test]
fn volumes_stated_at_a_concentration_do_not_cut_a_shift() {
    for (id, least_l, most_l) in
        [("nmam-0500", 210.0, 3_990.0), ("nmam-0600/nylon", 200.0, 4_000.0)]
    {
        let values = crate::entry(id).values;
        let at = limits(&values, Some(0.5), None);
        assert!(same(at.least_l.expect("a least"), least_l), "{id}: {at:?}");
        assert!(same(at.most_l.expect("a most"), most_l), "{id}: {at:?}");
        assert_eq!((at.fixed_least_l, at.fixed_most_l), (None, None), "{id}");
        let wish = Wish {
            method_flow: values.range("flow"),
            least_mass_mg: at.least_mass.map(|m| m.0),
            most_mass_mg: at.most_mass_mg,
            expect_mg_m3: Some(0.5),
            method_min: values.range("duration"),
            ..Wish::default()
        };
        let Answer::Possible(p) = propose(&wish, None).expect("numbers") else {
            panic!("{id} is impossible")
        };
        assert_eq!((p.samples, p.covers_all, p.minutes), (1, true, 480.0), "{id}");
    }
    // As the method states them, where nothing is known of the air: and that it depends is said.
    let stated = limits(&crate::entry("nmam-0500").values, None, None);
    assert_eq!((stated.least_l, stated.most_l), (Some(7.0), Some(133.0)));
    assert!(stated.least_depends && stated.most_depends);
    // 7501: 400 L at 5 mg/m3 are 2 mg of dust, whatever of it is silica; 50 L for any air.
    let silica = crate::entry("nmam-7501/nylon").values;
    let without = limits(&silica, Some(0.5), None);
    assert_eq!((without.fixed_least_l, without.fixed_most_l), (Some(50.0), Some(400.0)));
    assert!(!without.least_depends && without.most_depends);
    assert_eq!(limits(&silica, Some(0.5), Some(4.0)).most_l, Some(500.0), "2 mg of 4 mg/m3");
}

/// A sample of 15 min where the method takes 45 min to 8 h (NMAM 0600) is none of the method.
#[test]
fn a_sample_shorter_than_the_method_takes_is_impossible() {
    let wish = Wish {
        method_flow: Some((1.7, 1.7)),
        sample_min: Some((15.0, 15.0)),
        method_min: Some((45.0, 480.0)),
        time_min: 15.0,
        ..Wish::default()
    };
    let answer = propose(&wish, None).expect("numbers");
    assert_eq!(
        answer,
        Answer::Impossible(vec![Collision::Times { method: (45.0, 480.0), asked: (15.0, 15.0) }])
    );
    let fits = Wish { sample_min: Some((60.0, 60.0)), time_min: 60.0, ..wish };
    assert!(matches!(propose(&fits, None), Ok(Answer::Possible(_))));
}

/// A filter for 8 h and a battery for 15 h 46 min: two samples of 7 h 53 min cover more than one of 8 h.
#[test]
fn what_can_be_covered_is_covered() {
    let wish = Wish {
        method_flow: Some((2.0, 2.0)),
        time_min: 31.0 * 1_440.0,
        change_min: 2.0,
        ..Wish::default()
    };
    let lasts = Endurance { battery_min: &|_| 946.0, filter_min: &|_| 480.0 };
    let Answer::Possible(p) = propose(&wish, Some(&lasts)).expect("numbers") else {
        panic!("impossible")
    };
    assert_eq!((p.samples, p.minutes, p.covers_all), (2, 473.0, false));
}

/// Narrow volumes (16.702 to 17.056 L) in 101.1 min: no flow of two digits does in two samples, and 0.331 L/min does: 16.73 L in 50.55 min.
#[test]
fn fewer_samples_are_looked_for_between_round_flows() {
    let wish = Wish {
        method_flow: Some((0.230_853_749, 0.664_422_217)),
        volume_min_l: Some(16.702_040_925_986_754),
        volume_max_l: Some(17.055_500_264_339_23),
        time_min: 101.1,
        ..Wish::default()
    };
    let Answer::Possible(p) = propose(&wish, None).expect("numbers") else { panic!("impossible") };
    assert_eq!((p.samples, p.covers_all), (2, true), "{p:?}");
    assert!(same(p.flow_l_per_min, 0.331), "{p:?}");
    holds(&wish, &p).expect("a proposal");
}
