//! Results of invented events, to make report pages from: what is drawn and said there, not how results are computed.

mod figures;
mod sample;

use draught_sim::hygiene::round;
use draught_sim::results::{
    BlankResult, EventHead, Limit, PairResult, RecordHead, Results, WorkerResult,
};

use self::figures::lab;
use self::sample::{Run, blank, flag, sampler};

/// Every case with its name.
#[must_use]
pub fn all() -> Vec<(&'static str, Results)> {
    vec![
        ("one-good-sample", one_good_sample()),
        ("six-workers", six_workers()),
        ("many-faults", many_faults()),
        ("ambient-day", ambient_day()),
        ("nothing-filled-in", nothing_filled_in()),
        ("a-pump-without-series", without_series()),
    ]
}

fn head(name: &str, schedule: &str) -> EventHead {
    EventHead {
        name: Some(name.to_owned()),
        site: Some("Demo works, hall 2".to_owned()),
        task: Some("Mixing and weighing of dry goods, one line running".to_owned()),
        why: Some("First look after the hoods were moved".to_owned()),
        prepared_by: Some("A. Demo".to_owned()),
        reviewed_by: None,
        laboratory: Some("Demo laboratory".to_owned()),
        method: Some("demo-respirable".to_owned()),
        method_title: Some("respirable dust on a weighed filter (invented)".to_owned()),
        method_known: Some("demo figures".to_owned()),
        limit: Some(limit()),
        limits: vec![limit()],
        verification_limit_percent: 5.0,
        verification_limit_source: "common practice, no source".to_owned(),
        zone: Some("Europe/Vienna".to_owned()),
        abbreviation: Some("CET".to_owned()),
        utc_offset_minutes: 60,
        schedule_name: Some(schedule.to_owned()),
        schedule_id: Some("7C3A91E4".to_owned()),
        plan: vec![
            "1  wait for Mon 2027-03-08 07:00".to_owned(),
            "2  pump for 8 h at 2.0 L/min".to_owned(),
            "3  end".to_owned(),
        ],
        records: vec![],
    }
}

fn limit() -> Limit {
    Limit {
        value_mg_m3: 1.25,
        says: "1.25 mg/m3".to_owned(),
        kind: "twa-8h".to_owned(),
        source: Some("demo limit".to_owned()),
        ..Limit::default()
    }
}

fn results(event: EventHead) -> Results {
    let records = |(pump, world, seed): (&str, &str, u64)| RecordHead {
        file: format!("records/{}.json", pump.to_lowercase()),
        pump: Some(pump.to_owned()),
        origin: "simulated".to_owned(),
        made_by: "draught 0.1.0".to_owned(),
        schedule_id: "7C3A91E4".to_owned(),
        event: Some(17),
        world: Some(world.to_owned()),
        seed: Some(seed),
        flags: vec![],
        reason: Some("finished".to_owned()),
    };
    let event = EventHead { records: vec![records(("P1", "worn-2-l-min", 7))], ..event };
    Results {
        simulated: true,
        notice: Some("SIMULATED, NOT A SAMPLE".to_owned()),
        program: "draught".to_owned(),
        version: "0.1.0".to_owned(),
        event,
        assumptions: vec![
            "The flow between the readings before and after was what the pump metered.".to_owned(),
            "Time in the shift that was not sampled counts as no exposure.".to_owned(),
        ],
        cautions: vec![
            "Follow the method, the accredited laboratory, the site's hygienist and local codes."
                .to_owned(),
            "A flag asks a person to look; it does not void a sample.".to_owned(),
        ],
        ..Results::default()
    }
}

fn worker(name: &str, sampler: &str, twa: f64) -> WorkerResult {
    let share = twa / 1.25;
    WorkerResult {
        worker: name.to_owned(),
        job: Some("mixer".to_owned()),
        shift_h: Some(8.5),
        analyte: "respirable dust".to_owned(),
        kind: "twa".to_owned(),
        twa_mg_m3: Some(twa),
        divisor_h: Some(8.0),
        divisor_name: "8 h".to_owned(),
        sampled_h: 8.0,
        unsampled_h: Some(0.5),
        limit: Some(limit()),
        share_of_limit_percent: Some(share * 100.0),
        lcl: Some(share - 0.09),
        ucl: Some(share + 0.09),
        sae: Some(0.09),
        verdict: if share + 0.09 < 1.0 {
            "below the limit with its confidence limit"
        } else {
            "the limit lies within the confidence limits"
        }
        .to_owned(),
        samples: vec![sampler.to_owned()],
        says: format!("{twa:.2} mg/m3"),
        ..WorkerResult::default()
    }
}

/// One sampler on which nothing went wrong.
#[must_use]
pub fn one_good_sample() -> Results {
    let mut all = results(head("Weighing room, Monday", "weighing-day"));
    all.samples = vec![sampler("S-101", "W1", "P1", 1, &Run::shift())];
    all.workers = vec![worker("W1", "S-101", 0.43)];
    all
}

/// Six workers, one with a blocked sampler, one with a power cut, one below detection; a blank and a duplicate.
#[must_use]
pub fn six_workers() -> Results {
    let mut all = results(head("Mixing line, Monday day shift", "mixing-day"));
    for n in 1..=6_u64 {
        let run = match n {
            3 => Run { blocked_at_min: Some(262), ..Run::shift() },
            5 => Run { cut_min: Some((131, 143)), ..Run::shift() },
            _ => Run::shift(),
        };
        let (id, who) = (format!("S-10{n}"), format!("W{n}"));
        let mut sample = sampler(&id, &who, &format!("P{n}"), n, &run);
        let concentration = 0.2 + 0.18 * n as f64;
        let volume = sample.volume.as_ref().and_then(|v| v.used_l).unwrap_or(960.0);
        sample.laboratory = vec![lab("respirable dust", concentration, volume, n == 6, &limit())];
        if n != 6 {
            let twa = sample.laboratory[0].concentration_mg_m3.unwrap_or(0.0);
            all.workers.push(worker(&who, &id, twa));
        } else {
            let below = sample.laboratory[0].below_mg_m3;
            all.workers.push(WorkerResult {
                twa_mg_m3: None,
                below_mg_m3: below,
                least_mg_m3: Some(0.0),
                share_of_limit_percent: below.map(|b| b / 1.25 * 100.0),
                lcl: None,
                ucl: None,
                verdict: "below the limit".to_owned(),
                says: format!(
                    "< {} mg/m3",
                    round::significant_up(below.unwrap_or(0.0), 2).unwrap_or_default()
                ),
                ..worker(&who, &id, 0.0)
            });
        }
        all.samples.push(sample);
    }
    all.samples[1].duplicate_of = Some("S-101".to_owned());
    all.samples.push(blank("S-107"));
    all.blanks = vec![BlankResult {
        sampler: "S-107".to_owned(),
        media_lot: Some("LOT-D-22".to_owned()),
        analyte: "respirable dust".to_owned(),
        below_mg: Some(0.03),
        used_for: (1..=6).map(|n| format!("S-10{n}")).collect(),
        says: "< 0.03 mg".to_owned(),
        ..BlankResult::default()
    }];
    all.pairs = vec![PairResult {
        first: "S-101".to_owned(),
        second: "S-102".to_owned(),
        what: "respirable dust".to_owned(),
        first_value: Some(0.38),
        second_value: Some(0.41),
        unit: "mg/m3".to_owned(),
        difference_percent: Some(7.6),
        says: "They differ by 7.6 % of their mean.".to_owned(),
    }];
    all.missing = vec![
        "reviewed-by: nobody has reviewed it yet".to_owned(),
        "S-104: the seal is not filled in".to_owned(),
    ];
    all
}

/// One sampler on which nearly everything went wrong.
#[must_use]
pub fn many_faults() -> Results {
    let mut all = results(head("Kiln hall, a bad day", "kiln-day"));
    let run = Run {
        blocked_at_min: Some(380),
        cut_min: Some((61, 75)),
        more_cuts_min: vec![(180, 196), (200, 209)],
        drift: 0.91,
        ..Run::shift()
    };
    let mut sample = sampler("S-201", "W1", "P4", 5, &run);
    sample.flags.extend([
        flag(
            "battery-low",
            "warning",
            "The battery had 9 % left at the end.",
            "The pump may have run weaker at the end than it should.",
            "Charge it fully, or change the cell.",
        ),
        flag(
            "clock-stepped",
            "note",
            "The clock was set while it ran: by 4 s.",
            "Times after that are 4 s later on the pump than before.",
            "Nothing, unless minutes matter.",
        ),
    ]);
    sample.missing = vec!["the temperature at the reading after".to_owned()];
    all.samples = vec![sample];
    all.workers = vec![worker("W1", "S-201", 1.22)];
    all.event.records[0].flags = vec!["resumed".to_owned(), "flow-low".to_owned()];
    all.event.records[0].reason = Some("fault-flow-low".to_owned());
    all
}

/// Ambient air over 24 h at 16.67 L/min, past midnight.
#[must_use]
pub fn ambient_day() -> Results {
    let mut event = head("Roof station, one day", "ambient-day");
    event.task = None;
    event.limit = None;
    event.verification_limit_percent = 4.0;
    event.verification_limit_source = "40 CFR 50 App. L 9.2.5".to_owned();
    let mut all = results(event);
    let run = Run { minutes: 1_440, start_h: 24, flow: 16.67, battery: false, ..Run::shift() };
    let mut sample = sampler("F-0308", "", "A1", 3, &run);
    sample.worker = None;
    sample.place = Some("roof of the demo station, 4 m above ground".to_owned());
    all.samples = vec![sample];
    all
}

/// A pump's own record: no means over 5 min, no world.
#[must_use]
pub fn without_series() -> Results {
    let mut all = results(head("Line 4, three visits", "three-visits"));
    (all.simulated, all.notice) = (false, None);
    all.event.records[0].origin = "pump".to_owned();
    (all.event.records[0].world, all.event.records[0].seed) = (None, None);
    let run = Run { more_cuts_min: vec![(100, 150)], cut_min: Some((300, 330)), ..Run::shift() };
    let mut sample = sampler("S-301", "W9", "P2", 2, &run);
    sample.series.clear();
    sample.simulated = false;
    if let Some(happened) = &mut sample.happened {
        happened.true_volume_l = None;
    }
    sample.laboratory.clear();
    all.samples = vec![sample];
    all
}

/// What there is before anybody has filled anything in.
#[must_use]
pub fn nothing_filled_in() -> Results {
    Results {
        program: "draught".to_owned(),
        version: "0.1.0".to_owned(),
        samples: vec![draught_sim::results::SampleResult {
            sampler: "1".to_owned(),
            kind: "pump".to_owned(),
            ..Default::default()
        }],
        ..Results::default()
    }
}
