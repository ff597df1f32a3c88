//! One sampler of a case.

use draught_sim::record_file::Trips;
use draught_sim::results::{
    AnalyteResult, Custody, Flag, FlowReading, FlowSet, HandOver, Happened, InShift, Instant, Mark,
    Planned, Point, SampleResult, SideBySide, SpanResult, Verification,
};
use jiff::Timestamp;

use super::figures::{budget, lab, volumes};

const MIN: i64 = 60_000;

/// How a pump runs in a case.
#[derive(Clone, Debug)]
pub struct Run {
    /// When it starts, in hours after the beginning of Mon 2027-03-08 in the site's time.
    pub start_h: i64,
    /// For how long it is to run.
    pub minutes: i64,
    /// The planned flow, in L/min.
    pub flow: f64,
    /// A power cut, in minutes after the start.
    pub cut_min: Option<(i64, i64)>,
    /// More of them.
    pub more_cuts_min: Vec<(i64, i64)>,
    /// From here on the sampler is blocked until the pump gives up.
    pub blocked_at_min: Option<i64>,
    /// Flow after over flow before.
    pub drift: f64,
    /// Whether it runs from a battery.
    pub battery: bool,
}

impl Run {
    /// A day shift at 2 L/min.
    pub fn shift() -> Self {
        Self {
            start_h: 7,
            minutes: 480,
            flow: 2.0,
            cut_min: None,
            more_cuts_min: vec![],
            blocked_at_min: None,
            drift: 0.994,
            battery: true,
        }
    }

    fn cuts(&self) -> Vec<(i64, i64)> {
        let mut all: Vec<(i64, i64)> =
            self.cut_min.iter().chain(&self.more_cuts_min).copied().collect();
        all.sort_unstable();
        all
    }

    fn end(&self) -> i64 {
        self.blocked_at_min.map_or(self.minutes, |at| at + 6)
    }

    fn at(&self, minute: i64) -> Instant {
        // The site is an hour ahead of UTC.
        let midnight: Timestamp = "2027-03-07T23:00:00Z".parse().expect("a moment");
        let ms = midnight.as_millisecond() + self.start_h * 60 * MIN + minute * MIN;
        let text = |ms: i64, tail: &str| {
            let at = Timestamp::from_millisecond(ms).expect("a moment");
            format!("{}{tail}", at.strftime("%Y-%m-%dT%H:%M:%S.000"))
        };
        Instant { utc: text(ms, "Z"), local: text(ms + 60 * MIN, "+01:00") }
    }

    fn time(&self, minute: i64) -> String {
        let at = self.at(minute).local;
        format!("{} {}", &at[..10], &at[11..16])
    }
}

/// A number between -1 and 1 that is always the same for the same place.
fn wobble(seed: u64, n: i64) -> f64 {
    let mut x =
        seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (n as u64).wrapping_mul(0xD1B5_4A32_D192_ED03);
    x ^= x >> 29;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 32;
    (x % 20_001) as f64 / 10_000.0 - 1.0
}

fn series(run: &Run, seed: u64) -> Vec<Point> {
    let mut points = Vec::new();
    let mut cumulative = 0.0;
    let cuts = run.cuts();
    for n in 0..(run.end() + 4) / 5 {
        let (from, to) = (n * 5, ((n + 1) * 5).min(run.end()));
        let off: i64 = cuts.iter().map(|(a, b)| (to.min(*b) - from.max(*a)).max(0)).sum();
        let on = to - from - off;
        if on <= 0 {
            continue;
        }
        // After a cut readings begin when the pump does.
        let begin = cuts.iter().find(|(a, b)| *a <= from && *b > from).map_or(from, |(_, b)| *b);
        let part = from as f64 / run.minutes as f64;
        let blocked = run.blocked_at_min.filter(|at| to > *at);
        let flow = run.flow * (1.0 + 0.004 * wobble(seed, n));
        let flow = if blocked.is_some() { flow * 0.55 } else { flow };
        cumulative += flow * on as f64;
        let (load, block) = (0.4 * part, if blocked.is_some() { 4.4 } else { 0.0 });
        points.push(Point {
            from: Some(run.at(begin)),
            ms_after_arming: ((begin + 12) * MIN) as u64,
            read_ms: (on * MIN) as u64,
            flow_l_per_min: flow,
            true_flow_l_per_min: Some(flow * (0.994 - 0.006 * part)),
            cumulative_l: cumulative,
            drop_kpa: 1.2 + load + block + 0.03 * wobble(seed + 1, n),
            temperature_c: 17.0 + 6.0 * (part * 3.0).sin() + 0.2 * wobble(seed + 2, n),
            pressure_kpa: 99.6 - 0.3 * part + 0.01 * wobble(seed + 3, n),
            battery_percent: run.battery.then_some(97.0 - 58.0 * part),
        });
    }
    points
}

fn spans(run: &Run, points: &[Point]) -> Vec<SpanResult> {
    let mut edges = vec![0];
    for (from, to) in run.cuts().into_iter().filter(|(_, to)| *to < run.end()) {
        edges.extend([from, to]);
    }
    edges.push(run.end());
    let total: f64 = points.last().map_or(0.0, |p| p.cumulative_l);
    let on: i64 = edges.chunks(2).map(|e| e[1] - e[0]).sum();
    let spans = edges.chunks(2).enumerate().map(|(i, e)| SpanResult {
        span: i as u16 + 1,
        step: 2,
        passes: vec![],
        begin: Some(run.at(e[0])),
        end: Some(run.at(e[1])),
        pumped_ms: ((e[1] - e[0]) * MIN) as u64,
        volume_l: total * (e[1] - e[0]) as f64 / on as f64,
        ended_by: if e[1] == run.end() {
            if run.blocked_at_min.is_some() { "flow-low" } else { "time" }
        } else {
            "outage"
        }
        .to_owned(),
    });
    spans.collect()
}

fn set(run: &Run, minute: i64, flow: f64, seed: u64) -> FlowSet {
    let readings: Vec<FlowReading> = (0..3)
        .map(|n| FlowReading {
            flow_l_per_min: flow * (1.0 + 0.002 * wobble(seed, n)),
            volume_ml: None,
            time_s: None,
        })
        .collect();
    let mean = readings.iter().map(|r| r.flow_l_per_min).sum::<f64>() / 3.0;
    FlowSet {
        at: Some(run.time(minute)),
        readings,
        mean_l_per_min: mean,
        cv_percent: Some(0.18),
        temperature_c: Some(19.0),
        pressure_kpa: Some(99.8),
        meter: Some("M-3".to_owned()),
        meter_kind: Some("piston".to_owned()),
        by: Some("A. Demo".to_owned()),
        correction: "none: the meter reads actual flow".to_owned(),
    }
}

/// A flag.
pub fn flag(code: &str, level: &str, says: &str, means: &str, do_this: &str) -> Flag {
    Flag {
        code: code.to_owned(),
        level: level.to_owned(),
        says: says.to_owned(),
        means: means.to_owned(),
        do_this: do_this.to_owned(),
    }
}

fn flags(run: &Run) -> Vec<Flag> {
    let mut flags = Vec::new();
    if run.blocked_at_min.is_some() {
        flags.push(flag(
            "fault-flow-low",
            "review",
            "The flow was more than 10 % below 2.0 L/min for 60 s, and the pump stopped.",
            "Something kept air from the sampler: a kink, a wet or overloaded filter. Until then the volume was metered.",
            "Look at the sampler and the tubing; decide whether the time that was sampled is enough for the method.",
        ));
    }
    if !run.cuts().is_empty() {
        flags.push(flag(
            "interrupted",
            "review",
            &format!("Sampling was interrupted {} time(s).", run.cuts().len()),
            "No air was drawn meanwhile; what the worker did then is not in the result.",
            "Ask what went on in those minutes, and say in the report whether it matters.",
        ));
    }
    if (run.drift - 1.0).abs() > 0.05 {
        flags.push(flag(
            "flow-drift",
            "review",
            &format!("The flow after differs from that before by {:.1} %; the limit is 5 %.", (run.drift - 1.0) * 100.0),
            "The volume rests on a flow that changed by more than is usual (common practice, no source).",
            "Let the hygienist decide; check the pump before it is used again.",
        ));
    }
    flags
}

fn marks(run: &Run) -> Vec<Mark> {
    let mark = |kind: &str, from: i64, to: Option<i64>, says: &str| Mark {
        kind: kind.to_owned(),
        at: Some(run.at(from)),
        to: to.map(|m| run.at(m)),
        says: says.to_owned(),
    };
    let mut marks = vec![mark("start", 0, None, "start"), mark("stop", run.end(), None, "stop")];
    for (from, to) in run.cuts() {
        marks.push(mark("interruption", from, Some(to), "no power; the pump went on by itself"));
    }
    if let Some(at) = run.blocked_at_min {
        marks.push(mark("fault", at, None, "scripted: the sampler is blocked"));
        marks.push(mark("trip", at + 6, None, "flow too low for 60 s: the pump stopped"));
    }
    marks.push(mark("check", 95, None, "looked at by B. Demo: 2.00 L/min, 95 min"));
    marks
}

fn side_by_side(run: &Run, pumped: i64, volume: f64) -> Vec<SideBySide> {
    let row = |what: &str, planned: String, happened: String, note: &str| SideBySide {
        what: what.to_owned(),
        planned,
        happened,
        note: note.to_owned(),
    };
    let on_time = if run.end() == run.minutes { "on time" } else { "early: review" };
    let hours = |min: i64| format!("{} h {:02} min", min / 60, min % 60);
    vec![
        row("start", run.time(0), run.time(0), "on time"),
        row("stop", run.time(run.minutes), run.time(run.end()), on_time),
        row("pumping", hours(run.minutes), hours(pumped), ""),
        row(
            "volume",
            format!("{:.0} L", run.flow * run.minutes as f64),
            format!("{volume:.1} L"),
            "actual, at the inlet",
        ),
        row(
            "mean flow",
            format!("{:.3} L/min", run.flow),
            format!("{:.3} L/min", volume / pumped as f64),
            "ok",
        ),
        row("interruptions", "-".to_owned(), run.cuts().len().to_string(), ""),
    ]
}

fn verification(run: &Run, seed: u64) -> Verification {
    let before = set(run, -20, run.flow * 1.002, seed);
    let after = set(run, run.end() + 10, run.flow * 1.002 * run.drift, seed + 9);
    let difference = (after.mean_l_per_min / before.mean_l_per_min - 1.0) * 100.0;
    Verification {
        mean_l_per_min: Some(f64::midpoint(before.mean_l_per_min, after.mean_l_per_min)),
        difference_percent: Some(difference),
        limit_percent: 5.0,
        limit_source: "common practice, no source".to_owned(),
        over: Some(difference.abs() > 5.0),
        rule: "The mean of before and after is the verified flow.".to_owned(),
        checks: vec![InShift {
            at: Some(run.time(95)),
            flow_l_per_min: Some(run.flow * 1.001),
            minutes: Some(95.0),
            by: Some("B. Demo".to_owned()),
            difference_percent: Some(-0.1),
        }],
        before: Some(before),
        after: Some(after),
    }
}

fn custody() -> Custody {
    Custody {
        media_lot: Some("LOT-D-22".to_owned()),
        expiry: Some("2027-09-01".to_owned()),
        seal: Some("0412".to_owned()),
        placed_by: Some("A. Demo".to_owned()),
        removed_by: Some("A. Demo".to_owned()),
        relinquished: vec![HandOver {
            by: Some("A. Demo".to_owned()),
            at: Some("2027-03-08 16:10".to_owned()),
        }],
        received: vec![],
        storage: Some("upright, at room temperature".to_owned()),
        retrieve_by: None,
    }
}

/// A sampler with a pump.
pub fn sampler(id: &str, worker: &str, pump: &str, seed: u64, run: &Run) -> SampleResult {
    let points = series(run, seed);
    let integrated = points.last().map_or(0.0, |p| p.cumulative_l);
    let spans = spans(run, &points);
    let pumped: u64 = spans.iter().map(|s| s.pumped_ms).sum();
    let minutes = pumped as f64 / 60_000.0;
    let verification = verification(run, seed);
    let by_flow = verification.mean_l_per_min.unwrap_or(run.flow) * minutes;
    let volume_budget = budget("volume", by_flow, "L", false);
    let flows = || points.iter().map(|p| p.flow_l_per_min);
    let limit = super::limit();
    let happened = Happened {
        start: Some(run.at(0)),
        stop: Some(run.at(run.end())),
        pumped_ms: pumped,
        metered_ms: pumped,
        volume_l: integrated,
        mean_flow_l_per_min: Some(integrated / minutes),
        least_flow_l_per_min: flows().reduce(f64::min),
        most_flow_l_per_min: flows().reduce(f64::max),
        interruptions: Some(run.cuts().len() as u16),
        trips: Some(Trips {
            flow_low: u8::from(run.blocked_at_min.is_some()),
            flow_high: 0,
            pressure: 0,
            supply: 0,
            sensor: 0,
        }),
        battery_armed_percent: run.battery.then_some(97),
        battery_ended_percent: run.battery.then_some(39),
        reason: Some("finished".to_owned()),
        true_volume_l: Some(integrated * 0.991),
        ..Happened::default()
    };
    SampleResult {
        sampler: id.to_owned(),
        kind: "pump".to_owned(),
        simulated: true,
        worker: Some(worker.to_owned()),
        place: Some("breathing zone".to_owned()),
        pump: Some(pump.to_owned()),
        record: Some(format!("records/{}.json", pump.to_lowercase())),
        sample: Some(1),
        schedule_id: Some("7C3A91E4".to_owned()),
        schedule_name: Some("mixing-day".to_owned()),
        method: Some("demo-respirable".to_owned()),
        group: Some("shift".to_owned()),
        planned: Some(Planned {
            flow_l_per_min: Some(run.flow),
            start: Some(run.at(0)),
            stop: Some(run.at(run.minutes)),
            ..Planned::default()
        }),
        happened: Some(happened),
        side_by_side: side_by_side(run, (minutes) as i64, integrated),
        flow_used_l_per_min: verification.mean_l_per_min,
        flow_used_is: Some("verified".to_owned()),
        volume: Some(volumes(integrated, by_flow, &volume_budget)),
        uncertainty: Some(volume_budget),
        laboratory: vec![lab("respirable dust", 0.43, by_flow, false, &limit)],
        flags: flags(run),
        marks: marks(run),
        verification: Some(verification),
        spans,
        series: points,
        custody: custody(),
        ..SampleResult::default()
    }
}

/// A field blank.
pub fn blank(id: &str) -> SampleResult {
    SampleResult {
        sampler: id.to_owned(),
        kind: "field-blank".to_owned(),
        laboratory: vec![AnalyteResult {
            analyte: "respirable dust".to_owned(),
            below_mg: Some(0.03),
            lod_mg: Some(0.03),
            says: "< 0.03 mg".to_owned(),
            ..AnalyteResult::default()
        }],
        custody: custody(),
        ..SampleResult::default()
    }
}
