//! Results as a table for spreadsheets: a row for each sampler and analyte, units in the heads.

use crate::record_file::NOTICE;
use crate::results::{AnalyteResult, Results, SampleResult};

const HEADS: [&str; 34] = [
    "notice",
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
    "concentration_mg_m3",
    "below_mg_m3",
    "expanded_mg_m3",
    "k",
    "limit_mg_m3",
    "share_of_limit_percent",
    "outside_method",
    "flags",
];

/// The table; a sampler without a laboratory result has one row.
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
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn row(results: &Results, s: &SampleResult, analyte: Option<&AnalyteResult>) -> [String; 34] {
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
        if results.simulated { NOTICE.to_owned() } else { String::new() },
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
        mg(|a| a.concentration_mg_m3),
        mg(|a| a.below_mg_m3),
        mg(|a| a.expanded_mg_m3),
        mg(|a| a.k),
        mg(|a| a.limit.as_ref().map(|l| l.value_mg_m3)),
        mg(|a| a.share_of_limit_percent),
        words(Some(&outside.join(" "))),
        words(Some(&flags.join(" "))),
    ]
}

fn number(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| v.to_string())
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
