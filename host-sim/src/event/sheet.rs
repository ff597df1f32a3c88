//! The field sheet and custody form, to print and fill in with a pen: one page of HTML that needs nothing else.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::field::{FlowReadings, HandOver, Kind, Sampler};
use super::folder::Folder;
use crate::hygiene::round;
use crate::plan::step_words::meaning;
use crate::record_file::NOTICE;
pub use crate::report::page::Paper;
use crate::report::page::number::dated;
use crate::report::page::table::{Column, table};

const CAUTIONS: [&str; 9] = [
    "The pump starts by itself, and may start again by itself after an outage.",
    "Worn pumps: nothing may snag; mind heat and weight; the person agrees to wear it, and may observe and record the results.",
    "Tubes: cut both tips just before use; keep them upright; cap them right after.",
    "Impingers: keep them upright, never lay the person's vest down with one; check for spills.",
    "The exhaust may carry what the sampler does not hold: lead it away from people.",
    "Never open, charge or connect a pump in a classified area. Software makes nothing intrinsically safe.",
    "Verify the flow with a sampler of the same kind in line, before and after, and write down temperature and pressure each time.",
    "Blanks travel, are opened and closed with the samples, and are never pumped.",
    "Follow the method, the accredited laboratory, the site's hygienist and the local code.",
];

const STYLE: &str = "
:root { color: #111; background: #fff; font: 9.5pt/1.3 'Source Sans 3', 'Noto Sans', 'Liberation Sans', sans-serif; color-scheme: only light; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 190mm; padding: 6mm 4mm; }
h1 { font-size: 15pt; margin: 0 0 1mm; } h2 { font-size: 11.5pt; margin: 0 0 1.5mm; } h3 { font-size: 9.5pt; margin: 2.5mm 0 1mm; }
p { margin: 0 0 1mm; } .small { font-size: 8.5pt; } .keep { white-space: nowrap; }
.notice { border: 1.2pt solid #b00; color: #900; font-weight: 700; padding: 1mm 2mm; margin: 0 0 2mm; text-align: center; }
section { break-inside: avoid; border-top: 1.2pt solid #111; padding-top: 2mm; margin-top: 4mm; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(42mm, 1fr)); gap: 1mm 3mm; margin: 0; }
.facts div { min-width: 0; } dt, th { font-size: 8pt; font-weight: 600; color: #444; } dd { margin: 0; min-height: 6mm; border-bottom: .6pt solid #777; padding: .6mm 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; margin-top: 2.5mm; } th, td { border: .6pt solid #777; padding: .7mm 1.2mm; text-align: left; vertical-align: top; }
caption { text-align: left; font-weight: 700; padding-bottom: 1mm; }
td, tbody th { height: 6.5mm; overflow-wrap: break-word; } td.figure { text-align: right; font-variant-numeric: tabular-nums; }
.flow th:nth-child(1) { width: 8%; } .flow th:nth-child(2) { width: 19%; } .flow th:nth-child(7) { width: 7%; } .flow th:nth-child(8) { width: 8%; }
.flow th:nth-child(n + 9) { width: 11%; } .checks th:nth-child(1) { width: 6%; } .hands th:nth-child(1) { width: 5%; } .hands th:nth-child(2) { width: 15%; } .hands th:nth-child(3) { width: 14%; }
.hands th:nth-child(4), .hands th:nth-child(7) { width: 13%; } .hands th:nth-child(9) { width: 8%; } .samplers table { table-layout: auto; }
.seen { height: 12mm; border: .6pt solid #777; }
ul { margin: 0; padding-left: 5mm; } ol { margin: 0; padding-left: 6mm; columns: 2; }
@media screen and (max-width: 46rem) {
  ol { columns: 1; }
  table, tbody, caption, tr, th, td { display: block; border: 0; width: auto !important; }
  thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  tr { border: .6pt solid #777; padding: 1mm; margin-bottom: 1mm; }
  td[data-label], td[data-label].figure { display: grid; height: auto; min-height: 6.5mm; grid-template-columns: 40% 1fr; text-align: left; border-top: .6pt solid #ccc; }
  td[data-label]::before { content: attr(data-label); color: #444; }
}
@media print { body { max-width: none; padding: 0; } a { color: inherit; } }
";

/// The page.
#[must_use]
pub fn html(folder: &Folder, paper: Paper) -> String {
    let e = &folder.field.event;
    let name = e.name.clone().unwrap_or_else(|| "Event".to_owned());
    let simulated = folder.records.iter().any(|r| r.file.origin != "pump");
    // Each sheet says what it belongs to: they part company in the field.
    let title = format!("Field sheet: {name}");
    let edges = crate::report::page::edges(&title, simulated, Some(paper));
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:";
                link rel="icon" href="data:,";
                title { (title) @if simulated { " (" (NOTICE) ")" } }
                style { (PreEscaped(STYLE)) (PreEscaped(edges)) }
            }
            body {
                main {
                    @if simulated { p.notice { (NOTICE) } }
                    h1 { (title) }
                    (head(folder))
                    section { h2 { "Mind" } ul { @for line in CAUTIONS { li { (line) } } } }
                    @for sampler in &folder.field.samplers { (one(sampler, simulated)) }
                    (form(folder, simulated))
                }
            }
        }
    }
    .into_string()
}

fn text(value: Option<&str>) -> Markup {
    html! { @if let Some(value) = value { (dated(value)) } @else { (PreEscaped("&nbsp;")) } }
}

fn fact(label: &str, value: Option<&str>) -> Markup {
    html! { div { dt { (label) } dd { (text(value)) } } }
}

fn head(folder: &Folder) -> Markup {
    let e = &folder.field.event;
    let table = folder.block.as_deref().and_then(super::folder::table_of);
    let table = table.as_ref().and_then(|t| t.checked().ok());
    let id = table.map(|t| draught::wire::schedule_id(t).to_string());
    let limit = e.limits.first().map(|l| format!("{} ({})", l.says, l.kind));
    html! {
        dl.facts {
            (fact("Site", e.site.as_deref()))
            (fact("Task", e.task.as_deref()))
            (fact("Why", e.why.as_deref()))
            (fact("Method", e.method.as_ref().map(|m| m.is.as_str())))
            (fact("Limit", limit.as_deref()))
            (fact("Laboratory", e.laboratory.as_deref()))
            (fact("Prepared by", e.prepared_by.as_deref()))
            (fact("Reviewed by", e.reviewed_by.as_deref()))
            (fact("Schedule id, as on the pump", id.as_deref()))
            (fact("Weather, ventilation, doors", None))
        }
        @if let Some(table) = table {
            section {
                h2 { "What the pump will do" }
                ol { @for step in table.steps() { li { (meaning(*step, table.settings().target)) } } }
            }
        }
    }
}

fn one(s: &Sampler, simulated: bool) -> Markup {
    let c = &s.custody;
    let kind = match s.kind {
        Kind::Pump => "sampler on a pump",
        Kind::FieldBlank => "field blank: never pumped",
        Kind::Bulk => "bulk sample: not air",
        Kind::PassiveNone => "without a pump",
    };
    html! {
        section.sampler {
            h2 { (s.id.is) ", " (kind) @if simulated && s.kind == Kind::Pump { " (" (NOTICE) ")" } }
            dl.facts {
                @if s.kind == Kind::Pump {
                    (fact("Worker", s.worker.as_ref().map(|w| w.is.as_str())))
                }
                @if s.kind != Kind::FieldBlank { (fact("Place", s.place.as_deref())) }
                @if s.kind == Kind::Pump {
                    (fact("Pump", s.pump.as_ref().map(|p| p.is.as_str())))
                    @if let Some(n) = &s.sample { (fact("Sample of its record", Some(&n.says))) }
                }
                @if s.kind != Kind::Bulk {
                    (fact("Media lot", s.media_lot.as_deref()))
                    (fact("Media good until", s.expiry.as_ref().map(|e| e.says.as_str())))
                }
                (fact("Seal", s.seal.as_deref()))
                (fact("Placed by", c.placed_by.as_deref()))
                (fact("Removed by", c.removed_by.as_deref()))
                @if s.kind != Kind::Bulk {
                    (fact("Opened, by the wall clock", None))
                    (fact("Closed, by the wall clock", None))
                }
                @if let Some(other) = &s.duplicate_of { (fact("Duplicate of", Some(&other.is))) }
            }
            @if s.kind == Kind::Pump { (flow(s)) (checks(s)) }
            h3 { "What was done and seen" }
            div.seen {}
        }
    }
}

fn flow(s: &Sampler) -> Markup {
    let columns = [
        Column::text("flow"),
        Column::text("at"),
        Column::figure("1, L/min"),
        Column::figure("2, L/min"),
        Column::figure("3, L/min"),
        Column::figure("mean"),
        Column::figure("°C"),
        Column::figure("kPa"),
        Column::text("meter"),
        Column::text("by"),
    ];
    let rows = vec![readings("before", s.before.last()), readings("after", s.after.first())];
    html! { div.flow { (table("Flow, with the sampler in line", &columns, rows)) } }
}

/// The unit stands in the head of the table.
fn number(value: Option<f64>, n: u8) -> Option<String> {
    round::significant(value?, n).ok()
}

fn readings(which: &str, r: Option<&FlowReadings>) -> Vec<Markup> {
    let flows: Vec<f64> = r.map_or_else(Vec::new, |r| {
        if r.runs.is_empty() {
            r.flows_l_per_min.clone()
        } else {
            r.runs.iter().map(|run| run.volume_ml / run.time_s * 0.06).collect()
        }
    });
    let mean = (!flows.is_empty()).then(|| flows.iter().sum::<f64>() / flows.len() as f64);
    let meter = r.map(|r| {
        let kind = r.meter_kind.map_or("", super::meter_word);
        format!("{} {kind}", r.meter.as_deref().unwrap_or("")).trim().to_owned()
    });
    let at = r.and_then(|r| r.when.as_ref()).map(|w| w.says.as_str());
    let mut cells = vec![html! { (which) }, text(at)];
    cells.extend((0..3).map(|i| text(number(flows.get(i).copied(), 4).as_deref())));
    cells.extend([
        text(number(mean, 4).as_deref()),
        text(number(r.and_then(|r| r.temperature_c), 3).as_deref()),
        text(number(r.and_then(|r| r.pressure_kpa), 4).as_deref()),
        text(meter.as_deref()),
        text(r.and_then(|r| r.by.as_deref())),
    ]);
    cells
}

fn checks(s: &Sampler) -> Markup {
    let columns = [
        Column::text("no."),
        Column::text("at"),
        Column::figure("flow, L/min"),
        Column::figure("pump shows, min"),
        Column::text("initials"),
        Column::text("sampler, tube, clip in place"),
    ];
    let rows = (0..s.checks.len().max(3)).map(|i| {
        let check = s.checks.get(i);
        let at = check.and_then(|c| c.when.as_ref()).map(|w| w.says.as_str());
        vec![
            html! { (i + 1) },
            text(at),
            text(number(check.and_then(|c| c.flow_l_per_min), 4).as_deref()),
            text(number(check.and_then(|c| c.minutes), 4).as_deref()),
            text(check.and_then(|c| c.by.as_deref())),
            text(None),
        ]
    });
    html! { div.checks { (table("In-shift checks", &columns, rows.collect())) } }
}

/// The custody form: who had which sampler.
fn form(folder: &Folder, simulated: bool) -> Markup {
    let columns = [
        Column::text("sampler"),
        Column::text("kind"),
        Column::text("seal"),
        Column::text("lot, good until"),
        Column::text("analyse for"),
        Column::text("storage"),
        Column::text("retrieve by"),
    ];
    let rows = folder.field.samplers.iter().map(|s| {
        let joined = |parts: Vec<String>| Some(parts.join(", ")).filter(|t| !t.is_empty());
        let lot = [s.media_lot.clone(), s.expiry.as_ref().map(|e| e.says.clone())];
        let lot = joined(lot.into_iter().flatten().collect());
        let what = joined(s.lab.iter().filter_map(|l| l.analyte.clone()).collect());
        vec![
            html! { (s.id.is) },
            html! { (s.kind.word().replace('-', " ")) },
            text(s.seal.as_deref()),
            text(lot.as_deref()),
            text(what.as_deref()),
            text(s.custody.storage.as_deref()),
            text(s.custody.retrieve_by.as_ref().map(|r| r.says.as_str())),
        ]
    });
    let hand_columns = [
        Column::text("no."),
        Column::text("samplers"),
        Column::text("relinquished by"),
        Column::text("at"),
        Column::text("signature"),
        Column::text("received by"),
        Column::text("at "),
        Column::text("signature "),
        Column::text("seals whole"),
    ];
    let hands = hands(folder).into_iter().enumerate().map(|(i, hand)| hand_over(i + 1, &hand));
    html! {
        section style="break-before: page; break-inside: auto" {
            @if simulated { p.notice { (NOTICE) } }
            h2 { "Chain of custody" }
            p.small { "One row a sampler; sign at each hand over. " @if let Some(l) = &folder.field.event.laboratory { "Laboratory: " (l) "." } }
            div.samplers { (table("Samplers", &columns, rows.collect())) }
            div.hands { (table("Hand overs", &hand_columns, hands.collect())) }
        }
    }
}

type Hand = (Vec<String>, HandOver, HandOver);

/// The hand overs that are filled in, samplers that went together in one row, and room for two more.
fn hands(folder: &Folder) -> Vec<Hand> {
    let mut all: Vec<Hand> = Vec::new();
    for s in &folder.field.samplers {
        let n = s.custody.relinquished.len().max(s.custody.received.len());
        for i in 0..n {
            let gave = s.custody.relinquished.get(i).cloned().unwrap_or_default();
            let took = s.custody.received.get(i).cloned().unwrap_or_default();
            let says = |h: &HandOver| (h.by.clone(), h.when.as_ref().map(|w| w.is));
            match all.iter_mut().find(|(_, a, b)| says(a) == says(&gave) && says(b) == says(&took))
            {
                Some((ids, ..)) => ids.push(s.id.is.clone()),
                None => all.push((vec![s.id.is.clone()], gave, took)),
            }
        }
    }
    all.extend((0..2).map(|_| Hand::default()));
    all
}

fn hand_over(number: usize, (ids, gave, took): &Hand) -> Vec<Markup> {
    let at = |h: &HandOver| h.when.as_ref().map(|w| w.says.clone());
    vec![
        html! { (number) },
        html! {
            @if ids.is_empty() { (text(None)) }
            @for (i, id) in ids.iter().enumerate() { @if i > 0 { ", " } span.keep { (id) } }
        },
        text(gave.by.as_deref()),
        text(at(gave).as_deref()),
        text(None),
        text(took.by.as_deref()),
        text(at(took).as_deref()),
        text(None),
        text(None),
    ]
}
