//! The field sheet and custody form, to print and fill in with a pen: one page of HTML that needs nothing else.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::field::{FlowReadings, HandOver, Kind, Sampler};
use super::folder::Folder;
use crate::hygiene::round;
use crate::plan::step_words::meaning;
use crate::record_file::NOTICE;
pub use crate::report::page::Paper;

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
:root { color: #111; background: #fff; font: 9.5pt/1.3 'Source Sans 3', 'Noto Sans', 'Liberation Sans', sans-serif; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 190mm; padding: 6mm 4mm; }
h1 { font-size: 15pt; margin: 0 0 1mm; } h2 { font-size: 11.5pt; margin: 0 0 1.5mm; } h3 { font-size: 9.5pt; margin: 2.5mm 0 1mm; }
p { margin: 0 0 1mm; } .small { font-size: 8.5pt; } .id { white-space: nowrap; }
.notice { border: 1.2pt solid #b00; color: #900; font-weight: 700; padding: 1mm 2mm; margin: 0 0 2mm; text-align: center; }
section { break-inside: avoid; border-top: 1.2pt solid #111; padding-top: 2mm; margin-top: 4mm; }
section.sampler { break-inside: avoid; }
.facts { display: grid; grid-template-columns: repeat(auto-fit, minmax(42mm, 1fr)); gap: 1mm 3mm; margin: 0; }
.facts div { min-width: 0; } dt, th { font-size: 8pt; font-weight: 600; color: #444; } dd { margin: 0; min-height: 6mm; border-bottom: .6pt solid #777; padding: .6mm 0; overflow-wrap: anywhere; }
.wrap { overflow-x: auto; } table { border-collapse: collapse; width: 100%; } th, td { border: .6pt solid #777; padding: .7mm 1.2mm; text-align: left; vertical-align: top; }
td { height: 6.5mm; overflow-wrap: break-word; } table.even { table-layout: fixed; } td.n { text-align: right; font-variant-numeric: tabular-nums; }
ul { margin: 0; padding-left: 5mm; } ol { margin: 0; padding-left: 6mm; columns: 2; }
@media (max-width: 600px) { ol { columns: 1; } }
@media print { body { max-width: none; padding: 0; } .wrap { overflow: visible; } a { color: inherit; } }
";

/// The page.
#[must_use]
pub fn html(folder: &Folder, paper: Paper) -> String {
    let e = &folder.field.event;
    let name = e.name.clone().unwrap_or_else(|| "Event".to_owned());
    let simulated = folder.records.iter().any(|r| r.file.origin != "pump");
    let size = match paper {
        Paper::A4 => "@page { size: A4; margin: 13mm 12mm; }",
        Paper::Letter => "@page { size: Letter; margin: 13mm 12mm; }",
    };
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:";
                link rel="icon" href="data:,";
                title { "Field sheet: " (name) @if simulated { " (" (NOTICE) ")" } }
                style { (PreEscaped(STYLE)) (PreEscaped(size)) }
            }
            body {
                main {
                    @if simulated { p.notice { (NOTICE) } }
                    h1 { "Field sheet: " (name) }
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
    html! { @if let Some(value) = value { (value) } @else { (PreEscaped("&nbsp;")) } }
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
                (fact("Worker", s.worker.as_ref().map(|w| w.is.as_str())))
                (fact("Place", s.place.as_deref()))
                @if s.kind == Kind::Pump {
                    (fact("Pump", s.pump.as_ref().map(|p| p.is.as_str())))
                    (fact("Sample of its record", s.sample.as_ref().map(|n| n.says.as_str())))
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
            div style="height: 12mm; border: .6pt solid #777" {}
        }
    }
}

fn flow(s: &Sampler) -> Markup {
    html! {
        h3 { "Flow, with the sampler in line" }
        div.wrap {
            table.even {
                // Wide enough for a pen, in %: which, when, readings, mean, air, meter, who.
                colgroup { @for width in [8, 17, 10, 10, 10, 9, 7, 8, 12, 9] { col style={ "width: " (width) "%" }; } }
                thead { tr { @for head in ["", "At", "1, L/min", "2, L/min", "3, L/min", "Mean", "°C", "kPa", "Meter", "By"] { th scope="col" { (head) } } } }
                tbody {
                    (readings("Before", s.before.last()))
                    (readings("After", s.after.first()))
                }
            }
        }
    }
}

/// The unit stands in the head of the table.
fn number(value: Option<f64>, n: u8) -> Option<String> {
    round::significant(value?, n).ok()
}

fn readings(which: &str, r: Option<&FlowReadings>) -> Markup {
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
    html! {
        tr {
            th scope="row" { (which) }
            td { (text(at)) }
            @for i in 0..3 { td.n { (text(number(flows.get(i).copied(), 4).as_deref())) } }
            td.n { (text(number(mean, 4).as_deref())) }
            td.n { (text(number(r.and_then(|r| r.temperature_c), 3).as_deref())) }
            td.n { (text(number(r.and_then(|r| r.pressure_kpa), 4).as_deref())) }
            td { (text(meter.as_deref())) }
            td { (text(r.and_then(|r| r.by.as_deref()))) }
        }
    }
}

fn checks(s: &Sampler) -> Markup {
    let rows = s.checks.len().max(3);
    html! {
        h3 { "In-shift checks" }
        div.wrap {
            table.even {
                thead { tr { @for head in ["At", "Flow, L/min", "Pump shows, min", "Initials", "Sampler, tube, clip in place"] { th scope="col" { (head) } } } }
                tbody {
                    @for i in 0..rows {
                        @let check = s.checks.get(i);
                        tr {
                            td { (text(check.and_then(|c| c.when.as_ref()).map(|w| w.says.as_str()))) }
                            td.n { (text(number(check.and_then(|c| c.flow_l_per_min), 4).as_deref())) }
                            td.n { (text(number(check.and_then(|c| c.minutes), 4).as_deref())) }
                            td { (text(check.and_then(|c| c.by.as_deref()))) }
                            td { (PreEscaped("&nbsp;")) }
                        }
                    }
                }
            }
        }
    }
}

/// The custody form: who had which sampler.
fn form(folder: &Folder, simulated: bool) -> Markup {
    html! {
        section style="break-before: page; break-inside: auto" {
            @if simulated { p.notice { (NOTICE) } }
            h2 { "Chain of custody" }
            p.small { "One row a sampler; sign at each hand over. " @if let Some(l) = &folder.field.event.laboratory { "Laboratory: " (l) "." } }
            div.wrap {
                table {
                    thead { tr { @for head in ["Sampler", "Kind", "Seal", "Lot, good until", "Analyse for", "Storage", "Retrieve by"] { th scope="col" { (head) } } } }
                    tbody {
                        @for s in &folder.field.samplers {
                            @let lot = [s.media_lot.clone(), s.expiry.as_ref().map(|e| e.says.clone())].into_iter().flatten().collect::<Vec<_>>().join(", ");
                            @let what = s.lab.iter().filter_map(|l| l.analyte.clone()).collect::<Vec<_>>().join(", ");
                            tr {
                                th scope="row" { (s.id.is) }
                                td { (s.kind.word()) }
                                td { (text(s.seal.as_deref())) }
                                td { (text(Some(lot.as_str()).filter(|l| !l.is_empty()))) }
                                td { (text(Some(what.as_str()).filter(|l| !l.is_empty()))) }
                                td { (text(s.custody.storage.as_deref())) }
                                td { (text(s.custody.retrieve_by.as_ref().map(|r| r.says.as_str()))) }
                            }
                        }
                    }
                }
            }
            h3 { "Hand overs" }
            div.wrap {
                table.even {
                    thead { tr { @for head in ["Samplers", "Relinquished by", "At", "Signature", "Received by", "At", "Signature", "Seals whole"] { th scope="col" { (head) } } } }
                    tbody { @for hand in hands(folder) { (hand_over(&hand)) } }
                }
            }
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

fn hand_over((ids, gave, took): &Hand) -> Markup {
    let at = |h: &HandOver| h.when.as_ref().map(|w| w.says.clone());
    html! {
        tr {
            td { @for (n, id) in ids.iter().enumerate() { @if n > 0 { ", " } span.id { (id) } } }
            td { (text(gave.by.as_deref())) }
            td { (text(at(gave).as_deref())) }
            td { (PreEscaped("&nbsp;")) }
            td { (text(took.by.as_deref())) }
            td { (text(at(took).as_deref())) }
            td { (PreEscaped("&nbsp;")) }
            td { (PreEscaped("&nbsp;")) }
        }
    }
}
