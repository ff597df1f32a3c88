//! The bench and what it writes: equal to the forecast where nothing is off, the same for the same seed, and sums that agree.

use std::fs;
use std::path::{Path, PathBuf};

use draught::audit::Fit;
use draught::forecast::{Forecast, Span, What};
use draught::prelude::*;
use draught_sim::bench::{
    Expected, Happened, Outcome, Resume, Setup, Stretch, Stretches, Within, World, run,
};
use draught_sim::plan::source::Source;
use draught_sim::plan::{Ready, load, shortly_before};
use draught_sim::report::picture::{self, Caption, Collect};
use draught_sim::report::trace::Trace;
use draught_tests::strategies::{Scope, tables};
use proptest::prelude::*;

const DAY_MS: u64 = 86_400_000;

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every example plan, ready to be armed shortly before its first start.
fn examples() -> Vec<(String, Ready)> {
    let mut examples: Vec<(String, Ready)> = fs::read_dir(repository().join("docs/examples"))
        .expect("a folder of examples")
        .map(|entry| entry.expect("a readable folder").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| {
            let name = path.file_stem().expect("a file name").to_string_lossy().into_owned();
            let source = Source::new(name.clone(), fs::read_to_string(&path).expect("a text"));
            let armed = shortly_before(&source);
            (name, load(source, armed).ready.expect("an example that can be armed"))
        })
        .collect();
    examples.sort_by(|a, b| a.0.cmp(&b.0));
    assert!(examples.len() >= 6, "at least six examples");
    examples
}

fn example(name: &str) -> Ready {
    examples().into_iter().find(|(n, _)| n == name).expect("this example").1
}

fn ideal(resume: Resume) -> World {
    let mut world = World::ideal();
    world.operator.resume = resume;
    world
}

/// What happened in a run, as stretches of time.
fn stretches(setup: &Setup<'_>) -> (Outcome, Vec<Stretch>) {
    let mut all = Vec::new();
    let outcome = run(setup, &mut Stretches::new(|s| all.push(s))).expect("it can be armed");
    (outcome, all)
}

/// A span of the core's forecast as a stretch; `None` for what takes no time and is no stretch.
fn forecast_stretch(span: &Span) -> Option<Stretch> {
    let what = match span.what {
        What::Wait { met, .. } => Within::Wait { met },
        What::Pump { target, by } => Within::Pump { target, by },
        What::Hold { by, .. } => Within::Hold { by },
        What::End(reason) => Within::End(reason),
        What::Lost(_) => return None,
    };
    // A run has no step of its own at its end.
    let Span { step, sample, from, to, .. } = *span;
    Some(Stretch { step, sample, what, from, to, volume: span.volume.unwrap_or(RawVolume::ZERO) })
}

/// The same but for what the forecast cannot know: a volume under pressure control; and the step of the end.
fn alike(forecast: &[Span], run: &[Stretch]) {
    let expected: Vec<Stretch> = forecast.iter().filter_map(forecast_stretch).collect();
    assert_eq!(expected.len(), run.len(), "{expected:#?}\n{run:#?}");
    for (expected, mut got) in expected.iter().zip(run.iter().copied()) {
        match got.what {
            Within::Pump { target, .. } if target.as_flow().is_none() => {
                got.volume = RawVolume::ZERO
            }
            Within::End(_) => got.step = expected.step,
            _ => {}
        }
        assert_eq!(*expected, got);
    }
}

#[test]
fn in_an_ideal_world_every_example_is_its_forecast() {
    for (name, ready) in examples() {
        let (never, at_once) = (ideal(Resume::Never), ideal(Resume::After(0)));
        for (world, line) in [(&never, &ready.outlook.run_out), (&at_once, &ready.outlook.resumed)]
        {
            let metered = Setup::new(ready.table(), world, 1, ready.armed);
            let (outcome, run) = stretches(&metered);
            alike(&line.0, &run);
            let total = &outcome.record.total;
            assert_eq!(Some(total.volume), line.volume(), "{name}: metered is forecast");
            assert_eq!(total.truly_drawn, total.volume, "{name}: metered is true");
            assert_eq!(total.pumped_ms, line.pumped_ms(), "{name}");
            // Without readings the loop jumps from wake to wake, and comes to the same.
            let (tickless, without) = stretches(&Setup { metering: false, ..metered });
            assert_eq!(run, without, "{name}");
            assert!(tickless.wakes < 100 && outcome.readings > 800, "{name}");
        }
    }
}

#[test]
fn in_the_default_world_every_example_goes_as_forecast() {
    let world = World::default();
    let perfect = world.as_forecast();
    for (name, ready) in examples() {
        let setup = Setup::new(ready.table(), &world, 7, ready.armed);
        let mut expected = Expected::new(&setup, &perfect).unwrap();
        let outcome = run(&setup, &mut expected).unwrap();
        let comparison = expected.comparison();
        assert!(comparison.as_forecast(), "{name}: {comparison:?}");
        let fixed = !ready.table().steps().iter().any(|s| matches!(s, Step::DrawVolume { .. }));
        assert!(!fixed || comparison.worst_ms == 0, "{name}: in time, to the millisecond");
        assert_eq!(comparison.metered, outcome.record.total.volume);
        assert!(outcome.record.total.flow.gaps == 0);
        let off = comparison.metered.as_raw() as f64 / comparison.forecast.as_raw() as f64 - 1.0;
        assert!(off.abs() < 0.005, "{name}: {off}");
        // The sensor reads 0.6 % too much, so the truth is that much less.
        let truth = outcome.record.total.truly_drawn.as_raw() as f64;
        let gain = comparison.metered.as_raw() as f64 / truth - 1.0;
        assert!((gain - 0.006).abs() < 0.001, "{name}: {gain}");
    }
}

#[test]
fn a_day_at_the_design_flow_is_24_cubic_metres() {
    // 40 CFR 50 App. L 7.4.1: 16.67 L/min; 3.1: a nominal 24 m3 in 24 h.
    let target = Target::flow(Flow::from_ul_per_min(16_670_000).unwrap());
    let mut table = StepTable::<4>::new(Settings::new(UtcOffset::UTC, target));
    let run_for = DurationMs::from_ms(86_400_000).unwrap();
    table.push(Step::RunFor { run: run_for, target: None }).unwrap();
    table.push(Step::Finish).unwrap();
    let world = World::ideal();
    let armed = Now { mono: MonoMs::from_ms(5), wall: None };
    let (outcome, _) = stretches(&Setup::new(table.checked().unwrap(), &world, 1, armed));
    let total = &outcome.record.total;
    // 16,670 mL/min · 1,440 min, exactly.
    assert_eq!(total.volume.as_raw(), 16_670 * 1_440 * RawVolume::PER_ML);
    assert_eq!(outcome.readings, 86_400);
    assert_eq!(total.flow.mean_ul_per_min, Some(16_670_000));
    assert_eq!(total.flow.cv_per_myriad, Some(0));
    assert_eq!(total.flow.worst.unwrap().deviation(), 0.0);
}

/// The terms of docs/accuracy.md, against two hundred runs.
#[test]
fn the_error_of_a_run_is_the_sum_of_its_terms() {
    let ready = example("bakery-night");
    let world = World::default();
    let perfect = world.as_forecast();
    let off: Vec<f64> = (0..200)
        .map(|seed| {
            let setup = Setup::new(ready.table(), &world, seed, ready.armed);
            let mut expected = Expected::new(&setup, &perfect).unwrap();
            run(&setup, &mut expected).unwrap();
            let c = expected.comparison();
            assert_eq!(c.forecast.as_raw(), 2_000_000 * 27_000_000, "900 L in 7 h 30 min");
            c.metered.as_raw() as f64 / c.forecast.as_raw() as f64 - 1.0
        })
        .collect();
    let n = off.len() as f64;
    let mean = off.iter().sum::<f64>() / n;
    let spread = (off.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    // Each of two starts leaves out flow · rise time.
    let missing = -2.0 * 2.0 / 27_000.0;
    let wander = 0.004 * (2.0 * 120.0 / 27_000.0_f64).sqrt();
    let noise = 0.008 / 27_000.0_f64.sqrt();
    let expected = (wander * wander + noise * noise).sqrt();
    assert!((mean - missing).abs() < 3.0 * expected / n.sqrt(), "{mean:.6} {missing:.6}");
    assert!((spread / expected - 1.0).abs() < 0.15, "{spread:.6} {expected:.6}");
}

#[test]
fn a_drifting_wall_clock_moves_appointments_and_no_duration() {
    let path = repository().join("docs/examples/weekdays.toml");
    let text = fs::read_to_string(path).expect("a text");
    let timed = text.replace("run-until = \"16:00\", at-most = \"8 h 5 min\"", "run-for = \"8 h\"");
    assert_ne!(timed, text);
    let source = Source::new("weekdays", timed);
    let armed = shortly_before(&source);
    let ready = load(source, armed).ready.expect("it can be armed");
    let mut world = World::ideal();
    world.clock.wall_gain_ppb = -500_000; // 43 s a day
    let setup = Setup::new(ready.table(), &world, 1, ready.armed);
    let (outcome, run) = stretches(&setup);
    assert_eq!(outcome.record.total.pumped_ms, 5 * 8 * 3_600_000);
    let start_of = |spans: &[Stretch], n: usize| {
        spans.iter().filter(|s| matches!(s.what, Within::Pump { .. })).nth(n).unwrap().from
    };
    let straight = stretches(&Setup { world: &World::ideal(), ..setup }).1;
    for day in 0..5 {
        let (drifting, steady) = (start_of(&run, day), start_of(&straight, day));
        assert_eq!(drifting.wall, steady.wall, "met on the wall clock");
        let gone = steady.mono.since(ready.armed.mono);
        assert_eq!(drifting.mono.since(steady.mono), (gone * 500).div_ceil(999_500));
    }
}

/// A clock that loses a minute a month costs no run-until of an example its end, and moves none by more than it loses.
#[test]
fn examples_leave_room_for_a_clock_that_is_off() {
    let mut world = World::ideal();
    world.clock.wall_gain_ppb = -23_148; // 40 CFR 50 App. L 7.4.12(a)(1): 1 min a month, here of 30 days
    let perfect = world.as_forecast();
    for (name, ready) in examples() {
        let setup = Setup::new(ready.table(), &world, 7, ready.armed);
        let mut expected = Expected::new(&setup, &perfect).unwrap();
        run(&setup, &mut expected).unwrap();
        let comparison = expected.comparison();
        assert!(comparison.as_forecast(), "{name}: {comparison:?}");
    }
}

#[test]
fn an_operator_who_stays_away_costs_passes_and_holds() {
    let ready = example("one-day-in-six");
    let mut world = World::ideal();
    world.operator.confirms = false;
    let setup = Setup::new(ready.table(), &world, 1, ready.armed);
    let mut happened: Vec<Happened> = Vec::new();
    let outcome = run(&Setup { metering: false, ..setup }, &mut happened).unwrap();
    assert_eq!(outcome.record.passes_skipped, 14);
    assert_eq!(outcome.record.samples.len(), 1);
    let skipped = happened.iter().filter(|h| matches!(h.event, Event::PassSkipped { .. })).count();
    assert_eq!(skipped, 14);
}

/// What a run of an example writes.
fn written(ready: &Ready, world: &World, seed: u64, every_ms: u64) -> (Outcome, String, String) {
    let setup = Setup::new(ready.table(), world, seed, ready.armed);
    let about = ["SIMULATED, NOT A SAMPLE".to_owned()];
    let mut trace =
        Trace::begin(Vec::new(), &about, &ready.time, ready.armed, (every_ms, false)).unwrap();
    let mut collect = Collect::default();
    let outcome = run(&setup, &mut (&mut trace, &mut collect)).unwrap();
    let (_, csv) = trace.end().unwrap();
    let caption = Caption {
        name: "a <name> & \"more\"".to_owned(),
        happened: "It ran.".to_owned(),
        made_in: "In a test.".to_owned(),
    };
    let svg = picture::draw(&collect, &ready.time, &caption);
    (outcome, String::from_utf8(csv).unwrap(), svg)
}

#[test]
fn one_seed_gives_one_run_byte_for_byte() {
    let ready = example("bakery-night");
    let world = World::default();
    let (first, again, other) = (
        written(&ready, &world, 7, 0),
        written(&ready, &world, 7, 0),
        written(&ready, &world, 8, 0),
    );
    assert_eq!(first, again);
    assert!(first.1 != other.1 && first.2 != other.2 && first.0.record != other.0.record);
    // The same bytes on every computer: IEEE 754 sums, products, quotients and roots only.
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(first.1.as_bytes());
    assert_eq!(
        (first.1.len(), crc),
        TRACE,
        "a change of the default world, of the trace or of chance changes this on purpose"
    );
}

/// Length and CRC-32 of the trace of bakery-night in the default world with seed 7.
const TRACE: (usize, u32) = (3_823_056, 2_891_377_559);

#[test]
fn the_trace_sums_to_the_record() {
    let world = World::default();
    for name in ["eight-short-samples", "two-flows", "fixed-volume"] {
        let ready = example(name);
        for every_ms in [0, 60_000] {
            let (outcome, csv, _) = written(&ready, &world, 3, every_ms);
            let record = &outcome.record;
            let mut sums = vec![(0_u64, 0_u64); record.samples.len() + 1];
            let mut last_raw = 0;
            let mut rows =
                csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(csv.as_bytes());
            let columns = rows.headers().unwrap().clone();
            let at = |column: &str| columns.iter().position(|c| c == column).unwrap();
            for row in rows.records() {
                let row = row.unwrap();
                assert_eq!(&row[at("origin")], "SIMULATED");
                last_raw = row[at("volume_raw")].parse().unwrap();
                if &row[at("row")] == "reading" {
                    let number = |column| row[at(column)].parse::<u64>().unwrap();
                    let (flow, ms) = (number("flow_ul_per_min"), number("covers_ms"));
                    let sum = &mut sums[usize::from(row[at("sample")].parse::<u16>().unwrap())];
                    sum.0 += flow * ms;
                    sum.1 += ms;
                }
            }
            assert_eq!(last_raw, record.total.volume.as_raw(), "{name}");
            for sample in &record.samples {
                let (raw, ms) = sums[sample.number as usize];
                assert_eq!(ms, sample.total.pumped_ms, "{name}");
                // Means of several readings are rounded to a µL/min; single readings are as they were.
                let most_off = if every_ms == 0 { 0 } else { ms / 2 };
                assert!(raw.abs_diff(sample.total.volume.as_raw()) <= most_off, "{name}");
            }
            let total: u64 = record.spans.iter().map(|s| s.volume.as_raw()).sum();
            assert_eq!(total, record.total.volume.as_raw());
            let total: u64 = record.samples.iter().map(|s| s.total.volume.as_raw()).sum();
            assert_eq!(total, record.total.volume.as_raw());
        }
    }
}

#[test]
fn every_picture_is_well_formed_and_says_what_it_is() {
    let world = World::default();
    for (name, ready) in examples() {
        let (_, _, svg) = written(&ready, &world, 7, 0);
        let document = roxmltree::Document::parse(&svg).unwrap_or_else(|e| panic!("{name}: {e}"));
        let root = document.root_element();
        assert_eq!(root.tag_name().name(), "svg");
        let text_of = |tag: &str| {
            let found =
                root.descendants().find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", tag)));
            found.and_then(|n| n.text()).unwrap_or("").to_owned()
        };
        assert!(text_of("title").contains("SIMULATED"), "{name}");
        assert!(text_of("title").contains("a <name> & \"more\""), "{name}: escaped and back");
        assert!(text_of("desc").len() > 40, "{name}");
        let texts = root.descendants().filter(roxmltree::Node::is_element);
        let marked = texts.filter(|n| n.text() == Some("SIMULATED")).count();
        assert_eq!(marked, 2, "{name}: each panel is marked");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{name}");
        assert!(svg.len() < 200_000, "{name}: {} bytes", svg.len());
    }
}

#[test]
fn a_run_that_never_pumps_still_has_a_picture() {
    let site = draught_sim::plan::site::SiteTime::utc();
    let caption = Caption { name: String::new(), happened: String::new(), made_in: String::new() };
    let svg = picture::draw(&Collect::default(), &site, &caption);
    assert!(roxmltree::Document::parse(&svg).is_ok() && svg.contains("never started"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, max_global_rejects: 1_000_000, ..ProptestConfig::default() })]

    /// Any schedule at all, both lines of the forecast, with and without readings.
    #[test]
    fn in_an_ideal_world_any_schedule_is_its_forecast(
        own in tables(Scope::Everyday, 10),
        at_once in any::<bool>(),
        mono in 0..DAY_MS,
        wall in 0..40 * DAY_MS,
    ) {
        let table = own.table();
        // From 15 February 2027 on.
        let wall = WallMs::from_ms(Date::from_ymd(2027, 2, 15).unwrap().days() as u64 * DAY_MS + wall);
        let armed = Now { mono: MonoMs::from_ms(mono), wall };
        let Ok(forecast) = Forecast::new(table, &Fit::ANY, armed) else { return Ok(()) };
        let forecast = if at_once { forecast.resumed_at_once() } else { forecast };
        let spans: Vec<Span> = forecast.take(2_000).collect();
        prop_assume!(spans.len() < 2_000);
        let world = ideal(if at_once { Resume::After(0) } else { Resume::Never });
        let setup = Setup::new(table, &world, 1, armed);
        // Under pressure control a draw takes what this world's flow takes; the forecast knows none.
        let unknown = table.steps().iter().filter(|s| s.is_pumping())
            .any(|s| s.own_target().unwrap_or(table.settings().target).as_flow().is_none());
        let draws = table.steps().iter().any(|s| matches!(s, Step::DrawVolume { .. }));
        prop_assume!(!(unknown && draws));
        alike(&spans, &stretches(&Setup { metering: false, ..setup }).1);
        let pumped: u64 = spans.iter().filter(|s| matches!(s.what, What::Pump { .. }))
            .map(|s| s.to.mono.since(s.from.mono)).sum();
        if pumped < 3 * DAY_MS && !unknown {
            alike(&spans, &stretches(&setup).1);
        }
    }
}
