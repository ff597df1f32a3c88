//! Results as a table for spreadsheets: a row for each sampler and analyte, units in the heads.

use crate::record_file::NOTICE;
use crate::results::{AnalyteResult, Results, SampleResult, WorkerResult};

const HEADS: [&str; 41] = [
    "notice",
    "row",
    "event",
    "sampler",
    "kind",
    "worker",
    "place",
    "pump",
    "schedule_id",
    "method",
    "start_local",
    "stop_local",
    "pumped_min",
    "mean_flow_l_per_min",
    "flow_before_l_per_min",
    "flow_after_l_per_min",
    "flow_difference_percent",
    "volume_used_l",
    "volume_used_is",
    "volume_integrated_l",
    "volume_mean_flow_time_l",
    "volume_expanded_l",
    "volume_k",
    "analyte",
    "mass_mg",
    "below_mg",
    "blank_mg",
    "net_mass_mg",
    "concentration_mg_m3",
    "below_mg_m3",
    "least_mg_m3",
    "expanded_mg_m3",
    "k",
    "limit_mg_m3",
    "share_of_limit_percent",
    "lcl",
    "ucl",
    "result",
    "verdict",
    "outside_method",
    "flags",
];

/// The table: first a row for each sampler and analyte, or for each sampler without a laboratory result; then a row for each exposure of a worker, whose
/// concentration is its average. What is "below" or "at least" has no concentration, and its bounds.
#[must_use]
pub fn csv(results: &Results) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Nothing can go wrong in memory: every row has as many fields as the head.
    let _ = writer.write_record(HEADS);
    for sample in &results.samples {
        for analyte in &sample.laboratory {
            let _ = writer.write_record(row(results, sample, Some(analyte)));
        }
        if sample.laboratory.is_empty() {
            let _ = writer.write_record(row(results, sample, None));
        }
    }
    for worker in &results.workers {
        let _ = writer.write_record(exposure(results, worker));
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn row(results: &Results, s: &SampleResult, analyte: Option<&AnalyteResult>) -> [String; 41] {
    let happened = s.happened.as_ref();
    let local = |i: Option<&crate::results::Instant>| words(i.map(|i| i.local.as_str()));
    let verified = s.verification.as_ref();
    let volume = s.volume.as_ref();
    let flags: Vec<&str> = s.flags.iter().map(|f| f.code.as_str()).collect();
    // Of the masses only that of this row.
    let outside: Vec<&str> = s
        .method_fit
        .iter()
        .filter(|row| row.standing == "outside")
        .filter(|row| row.analyte.is_none() || row.analyte.as_ref() == analyte.map(|a| &a.analyte))
        .map(|row| row.what.as_str())
        .collect();
    let mg = |value: fn(&AnalyteResult) -> Option<f64>| number(analyte.and_then(value));
    [
        notice(results),
        "sample".to_owned(),
        words(results.event.name.as_deref()),
        words(Some(&s.sampler)),
        words(Some(&s.kind)),
        words(s.worker.as_deref()),
        words(s.place.as_deref()),
        words(s.pump.as_deref()),
        words(s.schedule_id.as_deref()),
        words(s.method.as_deref()),
        local(happened.and_then(|h| h.start.as_ref())),
        local(happened.and_then(|h| h.stop.as_ref())),
        number(happened.map(|h| h.pumped_ms as f64 / 60_000.0)),
        number(happened.and_then(|h| h.mean_flow_l_per_min)),
        number(verified.and_then(|v| v.before.as_ref()).map(|b| b.mean_l_per_min)),
        number(verified.and_then(|v| v.after.as_ref()).map(|a| a.mean_l_per_min)),
        number(verified.and_then(|v| v.difference_percent)),
        number(volume.and_then(|v| v.used_l)),
        words(volume.and_then(|v| v.used_is.as_deref())),
        number(volume.and_then(|v| v.integrated_l)),
        number(volume.and_then(|v| v.mean_flow_time_l)),
        number(volume.and_then(|v| v.expanded_l)),
        number(volume.and_then(|v| v.k)),
        words(analyte.map(|a| a.analyte.as_str())),
        mg(|a| a.mass_mg),
        mg(|a| a.below_mg),
        mg(|a| a.blank_mg),
        mg(|a| a.net_mass_mg),
        mg(|a| a.concentration_mg_m3),
        mg(|a| a.below_mg_m3),
        mg(|a| a.least_mg_m3),
        mg(|a| a.expanded_mg_m3),
        mg(|a| a.k),
        mg(|a| a.limit.as_ref().map(|l| l.value_mg_m3)),
        mg(|a| a.share_of_limit_percent),
        String::new(),
        String::new(),
        words(analyte.map(|a| a.says.as_str())),
        words(analyte.and_then(|a| a.verdict.as_deref())),
        words(Some(&outside.join(" "))),
        words(Some(&flags.join(" "))),
    ]
}

/// A worker's exposure, in the columns that it has a value for.
fn exposure(results: &Results, w: &WorkerResult) -> [String; 41] {
    let mut row = [const { String::new() }; 41];
    let mut put = |head: &str, text: String| {
        if let Some(place) = HEADS.iter().position(|h| *h == head).and_then(|i| row.get_mut(i)) {
            *place = text;
        }
    };
    put("notice", notice(results));
    put("row", "worker".to_owned());
    put("event", words(results.event.name.as_deref()));
    put("sampler", words(Some(&w.samples.join(" "))));
    put("kind", words(Some(&w.kind)));
    put("worker", words(Some(&w.worker)));
    put("pumped_min", number(Some(w.sampled_h * 60.0)));
    put("analyte", words(Some(&w.analyte)));
    put("concentration_mg_m3", number(w.twa_mg_m3));
    put("below_mg_m3", number(w.below_mg_m3));
    put("least_mg_m3", number(w.least_mg_m3));
    put("limit_mg_m3", number(w.limit.as_ref().map(|l| l.value_mg_m3)));
    put("share_of_limit_percent", number(w.share_of_limit_percent));
    put("lcl", number(w.lcl));
    put("ucl", number(w.ucl));
    put("result", words(Some(&w.says)));
    put("verdict", words(Some(&w.verdict)));
    let own = results.samples.iter().filter(|s| w.samples.contains(&s.sampler));
    let codes: std::collections::BTreeSet<&str> =
        own.flat_map(|s| &s.flags).map(|f| f.code.as_str()).collect();
    put("flags", words(Some(&codes.into_iter().collect::<Vec<_>>().join(" "))));
    row
}

fn notice(results: &Results) -> String {
    if results.simulated { NOTICE.to_owned() } else { String::new() }
}

/// To twelve figures: what a double has beyond them is dust of the arithmetic.
fn number(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| {
        format!("{v:.11e}").parse::<f64>().map_or_else(|_| v.to_string(), |v| v.to_string())
    })
}

/// A person's text. What a spreadsheet would take for a formula gets an apostrophe before it.
fn words(text: Option<&str>) -> String {
    let text = text.unwrap_or_default();
    match text.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{text}"),
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_is_a_formula() {
        assert_eq!(words(Some("=1+1")), "'=1+1");
        assert_eq!(words(Some("@x")), "'@x");
        assert_eq!(words(Some("S-101")), "S-101");
        assert_eq!(words(None), "");
    }

    #[test]
    fn samplers_without_results_have_a_row() {
        let sample = SampleResult {
            sampler: "S-1".to_owned(),
            laboratory: vec![AnalyteResult::default(), AnalyteResult::default()],
            ..SampleResult::default()
        };
        let samples = vec![sample, SampleResult::default()];
        let text = csv(&Results { simulated: true, samples, ..Results::default() });
        assert_eq!(text.lines().count(), 4);
        assert!(text.lines().skip(1).all(|l| l.starts_with("\"SIMULATED, NOT A SAMPLE\",")));
    }
}
