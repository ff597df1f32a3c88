//! The report page: whatever a text holds it stays a text, every sampler has its section, and every number is one of the results.

use draught_sim::report::page::{Paper, page};
use draught_sim::report::result_rows;
use draught_sim::results::{BlankResult, Flag, PairResult, Results, WorkerResult};
use draught_tests::report_cases;
use proptest::prelude::*;

/// What would do harm if it were taken for more than text.
fn hostile() -> impl Strategy<Value = String> {
    let pieces = prop::sample::select(vec![
        "<script>alert(1)</script>",
        "</style>",
        "</title>",
        "\"><img src=x onerror=alert(1)>",
        "' onmouseover='x",
        "<!--",
        "]]>",
        "&lt;",
        "<svg/onload=x>",
        "\\",
        "\"}</style><b>",
        "\u{202e}",
        "=1+1",
        "javascript:x",
        "\n",
        "S-1",
    ]);
    prop::collection::vec(prop_oneof![pieces.prop_map(str::to_owned), any::<String>()], 0..4)
        .prop_map(|parts| parts.concat())
}

/// Every text of the results is replaced, wherever it is: the JSON is walked.
fn with_texts(results: &Results, texts: &[String]) -> Results {
    fn walk(value: &mut serde_json::Value, texts: &[String], n: &mut usize) {
        match value {
            serde_json::Value::String(text) => {
                text.clone_from(&texts[*n % texts.len()]);
                *n += 1;
            }
            serde_json::Value::Array(all) => all.iter_mut().for_each(|v| walk(v, texts, n)),
            serde_json::Value::Object(all) => all.values_mut().for_each(|v| walk(v, texts, n)),
            _ => {}
        }
    }
    let mut value = serde_json::to_value(results).unwrap();
    walk(&mut value, texts, &mut 0);
    serde_json::from_value(value).unwrap()
}

/// The names of all elements, in order; texts can add none.
fn elements(html: &str) -> Vec<&str> {
    let names = html.split('<').skip(1).map(|rest| {
        let end = rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '/' && c != '!');
        rest.get(..end.unwrap_or(rest.len())).unwrap_or("")
    });
    names.collect()
}

const KNOWN: [&str; 50] = [
    "!DOCTYPE",
    "html",
    "head",
    "meta",
    "title",
    "link",
    "style",
    "body",
    "a",
    "div",
    "header",
    "main",
    "footer",
    "section",
    "nav",
    "p",
    "strong",
    "h1",
    "h2",
    "h3",
    "ul",
    "ol",
    "li",
    "dl",
    "dt",
    "dd",
    "span",
    "data",
    "table",
    "caption",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "figure",
    "figcaption",
    "svg",
    "desc",
    "g",
    "text",
    "line",
    "rect",
    "circle",
    "polyline",
    "details",
    "summary",
    "br",
    "bdi",
    "b",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn a_text_stays_a_text(texts in prop::collection::vec(hostile(), 1..6), case in 0_usize..6) {
        let (_, results) = report_cases::all().swap_remove(case);
        let html = page(&with_texts(&results, &texts), Some(Paper::A4));
        for element in elements(&html) {
            let name = element.trim_start_matches('/');
            prop_assert!(KNOWN.contains(&name) && name != "b", "an element <{element}>");
        }
        // A quote that ended an attribute would begin another.
        prop_assert!(!html.contains("\"><img") && !html.contains("<script"));
        prop_assert_eq!(html.matches("<style>").count(), 1);
        prop_assert_eq!(html.matches("</style>").count(), 1);
        let csv = result_rows::csv(&with_texts(&results, &texts));
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        for row in reader.records() {
            for cell in row.unwrap().iter() {
                let formula = cell.starts_with(['=', '@', '\t', '\r']);
                let number = cell.parse::<f64>().is_ok();
                prop_assert!(!formula && (number || !cell.starts_with(['+', '-'])), "a formula: {cell:?}");
            }
        }
    }
}

#[test]
fn a_page_loads_and_sends_nothing() {
    for (name, results) in report_cases::all() {
        let html = page(&results, None);
        for word in ["<script", " src=", "http:", "https:", "url(", "@import", " onclick", "<form"]
        {
            assert!(!html.contains(word), "{name}: {word}");
        }
    }
}

#[test]
fn one_section_a_sampler() {
    for (name, results) in report_cases::all() {
        let html = page(&results, None);
        assert_eq!(
            html.matches("<section class=\"sampler").count(),
            results.samples.len(),
            "{name}"
        );
        for (i, sample) in results.samples.iter().enumerate() {
            assert!(
                html.contains(&format!("id=\"sampler-{}\"", i + 1)),
                "{name}: {}",
                sample.sampler
            );
        }
    }
}

#[test]
fn every_number_is_one_of_the_results() {
    for (name, results) in report_cases::all() {
        let html = page(&results, None);
        let json = serde_json::to_value(&results).unwrap();
        let mut numbers = 0;
        for element in html.split("<data ").skip(1) {
            let attribute = |key: &str| {
                let from = element.find(&format!("{key}=\"")).unwrap() + key.len() + 2;
                element[from..].split('"').next().unwrap()
            };
            let pointer = attribute("data-value");
            let value: f64 = attribute("value").parse().unwrap();
            let own = json.pointer(pointer).and_then(serde_json::Value::as_f64);
            assert_eq!(own, Some(value), "{name}: {pointer}");
            numbers += 1;
        }
        assert!(numbers > 30 || name == "nothing-filled-in", "{name}: {numbers} numbers");
    }
}

#[test]
fn what_is_simulated_says_so() {
    for (name, results) in report_cases::all() {
        let html = page(&results, None);
        let expected = if results.simulated { 3 } else { 0 };
        assert!(html.matches("SIMULATED, NOT A SAMPLE").count() >= expected, "{name}");
        assert_eq!(html.contains("SIMULATED"), results.simulated, "{name}");
        let csv = result_rows::csv(&results);
        let marked =
            csv.lines().skip(1).filter(|l| l.starts_with("\"SIMULATED, NOT A SAMPLE\"")).count();
        assert_eq!(marked > 0, results.simulated, "{name}");
    }
}

#[test]
fn below_is_never_nothing() {
    let html = page(&report_cases::six_workers(), None);
    assert!(
        html.contains("&lt;\u{a0}0.032\u{a0}mg/m³"),
        "a result below detection is shown as such"
    );
}

#[test]
fn every_flag_says_what_it_means_and_what_to_do() {
    let results = report_cases::many_faults();
    let html = page(&results, None);
    let flags: Vec<&Flag> = results.samples.iter().flat_map(|s| &s.flags).collect();
    assert!(flags.len() >= 5);
    for flag in flags {
        assert!(
            html.contains(&format!("<span class=\"code\">{}</span>", flag.code)),
            "{}",
            flag.code
        );
    }
    assert_eq!(html.matches("What to do: ").count(), results.samples[0].flags.len());
}

/// No number, however odd, breaks a page.
#[test]
fn odd_numbers_are_shown_as_such() {
    for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -1.0, 1e300, 1e-300] {
        let mut results = report_cases::six_workers();
        for sample in &mut results.samples {
            sample.series.iter_mut().for_each(|p| {
                p.flow_l_per_min = odd;
                p.drop_kpa = odd;
                p.cumulative_l = odd;
            });
            if let Some(volume) = &mut sample.volume {
                (volume.used_l, volume.expanded_l) = (Some(odd), Some(odd));
            }
            if let Some(planned) = &mut sample.planned {
                planned.flow_l_per_min = Some(odd);
            }
        }
        results.workers.push(WorkerResult {
            share_of_limit_percent: Some(odd),
            sampled_h: odd,
            ..WorkerResult::default()
        });
        results.blanks.push(BlankResult::default());
        results.pairs.push(PairResult { difference_percent: Some(odd), ..PairResult::default() });
        let html = page(&results, None);
        assert!(html.ends_with("</html>"), "{odd}");
        assert!(
            !html.contains("points=\"NaN") && !html.contains(",NaN") && !html.contains("inf,"),
            "{odd}"
        );
    }
}
