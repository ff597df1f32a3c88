//! A proposal, or why there is none, for machines; `docs/schema/propose.json` describes it.

use serde::Serialize;

use super::io::{Failure, Io};
use super::propose::Tried;
use crate::propose::{Answer, Change, Limit};

#[derive(Serialize)]
struct Json<'t> {
    format: u8,
    possible: bool,
    chosen: Option<usize>,
    tried: Vec<JsonTried<'t>>,
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct JsonTried<'t> {
    method: Option<&'t str>,
    title: &'t str,
    file: Option<&'t str>,
    time_min: f64,
    expect_mg_m3: Option<f64>,
    limit_mg_m3: Option<f64>,
    least_mass_mg: Option<f64>,
    most_mass_mg: Option<f64>,
    proposal: Option<JsonProposal<'t>>,
    collisions: Vec<JsonCollision>,
    remarks: &'t [String],
}

#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct JsonProposal<'t> {
    flow_l_per_min: f64,
    flow_least_l_per_min: f64,
    flow_most_l_per_min: f64,
    minutes: f64,
    minutes_least: f64,
    minutes_most: f64,
    volume_l: f64,
    volume_least: Option<JsonLimit>,
    volume_most: Option<JsonLimit>,
    samples: u32,
    change_min: f64,
    total_min: f64,
    covers_all: bool,
    mass_expect_mg: Option<f64>,
    mass_limit_mg: Option<f64>,
    why_flow: &'t str,
    why_time: &'t str,
    /// `None` without a world, or where there is no end.
    battery_min: Option<f64>,
    filter_min: Option<f64>,
}

#[derive(Serialize)]
struct JsonLimit {
    l: f64,
    of: &'static str,
}

#[derive(Serialize)]
struct JsonCollision {
    code: &'static str,
    says: String,
    remedies: Vec<JsonRemedy>,
}

#[derive(Serialize)]
struct JsonRemedy {
    says: String,
    changes: &'static str,
    to: Option<f64>,
    unit: Option<&'static str>,
}

pub(super) fn write(
    tried: &[Tried],
    chosen: Option<usize>,
    io: &mut Io<'_>,
) -> Result<(), Failure> {
    let tried = tried.iter().map(json).collect();
    let answer = Json { format: 1, possible: chosen.is_some(), chosen, tried };
    serde_json::to_writer_pretty(&mut *io.out, &answer).map_err(std::io::Error::from)?;
    writeln!(io.out)?;
    Ok(())
}

fn json(one: &Tried) -> JsonTried<'_> {
    let limit = |l: Option<Limit>| l.map(|l| JsonLimit { l: l.l, of: l.source.code() });
    let finite = |min: f64| Some(min).filter(|m| m.is_finite());
    let proposal = one.proposal().map(|p| JsonProposal {
        flow_l_per_min: p.flow_l_per_min,
        flow_least_l_per_min: p.flows_l_per_min.0,
        flow_most_l_per_min: p.flows_l_per_min.1,
        minutes: p.minutes,
        minutes_least: p.minutes_between.0,
        minutes_most: p.minutes_between.1,
        volume_l: p.volume_l,
        volume_least: limit(p.least),
        volume_most: limit(p.most),
        samples: p.samples,
        change_min: one.wish.change_min,
        total_min: p.total_min,
        covers_all: p.covers_all,
        mass_expect_mg: p.mass_expect_mg,
        mass_limit_mg: p.mass_limit_mg,
        why_flow: &p.why_flow,
        why_time: &p.why_time,
        battery_min: one.lasts.as_ref().and_then(|l| finite(l.battery_min)),
        filter_min: one.lasts.as_ref().and_then(|l| finite(l.filter_min)),
    });
    let collisions = match &one.answer {
        Answer::Possible(_) => Vec::new(),
        Answer::Impossible(found) => found
            .iter()
            .map(|c| JsonCollision {
                code: c.code(),
                says: c.says(),
                remedies: c
                    .remedies(&one.wish)
                    .into_iter()
                    .map(|r| {
                        let (changes, to, unit) = change(r.change);
                        JsonRemedy { says: r.says, changes, to, unit }
                    })
                    .collect(),
            })
            .collect(),
    };
    JsonTried {
        method: Some(one.id.as_str()).filter(|id| !id.is_empty()),
        title: &one.title,
        file: one.file.as_deref(),
        time_min: one.wish.time_min,
        expect_mg_m3: one.wish.expect_mg_m3,
        limit_mg_m3: one.wish.limit_mg_m3,
        least_mass_mg: one.wish.least_mass_mg,
        most_mass_mg: one.wish.most_mass_mg,
        proposal,
        collisions,
        remarks: &one.remarks,
    }
}

fn change(change: Change) -> (&'static str, Option<f64>, Option<&'static str>) {
    match change {
        Change::Time(min) => ("time", Some(min), Some("min")),
        Change::Pump(flow) => ("pump", Some(flow), Some("L/min")),
        Change::LeastMass(mg) => ("least-mass", Some(mg), Some("mg")),
        Change::Concentration(c) => ("concentration", Some(c), Some("mg/m3")),
        Change::Other => ("other", None, None),
    }
}
