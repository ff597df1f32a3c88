//! Results, for people.

use super::table::{Side, Table};
use crate::hygiene::Amount;
use crate::hygiene::round::{figures, signed_percent};
use crate::record_file::NOTICE;
use crate::report::page::number::figures as whole_figures;
use crate::results::{Budget, FlowSet, Results, SampleResult, Verification, Volumes};

/// A number without zeros at its end.
fn plain(value: f64) -> String {
    format!("{value}")
}

/// The whole screen.
pub(super) fn text(r: &Results) -> String {
    let mut t = String::new();
    if let Some(notice) = &r.notice {
        t += &format!("{notice}\n\n");
    }
    t += &head(r);
    for sample in &r.samples {
        t += &format!("\n{}", one(sample));
    }
    t += &workers(r);
    if !r.pairs.is_empty() {
        t += "\nduplicates\n";
        let mut table = Table::new(&[Side::Left; 3]).indent(2);
        for p in &r.pairs {
            table.row([format!("{}, {}", p.first, p.second), p.what.clone(), p.says.clone()]);
        }
        t += &table.render();
    }
    if !r.blanks.is_empty() {
        t += "\nblanks\n";
        let mut table = Table::new(&[Side::Left; 4]).indent(2);
        for b in &r.blanks {
            let used = if b.used_for.is_empty() {
                "subtracted from none".to_owned()
            } else {
                format!("subtracted from {}", b.used_for.join(", "))
            };
            table.row([b.sampler.clone(), b.analyte.clone(), b.says.clone(), used]);
        }
        t += &table.render();
    }
    for (title, list) in
        [("assumed", &r.assumptions), ("missing", &r.missing), ("mind", &r.cautions)]
    {
        if !list.is_empty() {
            t += &format!("\n{title}\n");
            for line in list {
                t += &format!("  {line}\n");
            }
        }
    }
    if let Some(notice) = &r.notice {
        t += &format!("\n{notice}\n");
    }
    t
}

fn head(r: &Results) -> String {
    let e = &r.event;
    let mut table = Table::new(&[Side::Left, Side::Left]);
    let mut row = |what: &str, is: Option<&str>| {
        if let Some(is) = is {
            table.row([what, is]);
        }
    };
    row("event", e.name.as_deref());
    row("site", e.site.as_deref());
    row("task", e.task.as_deref());
    row("laboratory", e.laboratory.as_deref());
    let method = e.method.as_ref().map(|m| {
        let title = e.method_title.as_ref().map_or(String::new(), |t| format!(", {t}"));
        let known = e.method_known.as_ref().map_or(String::new(), |k| format!(" ({k})"));
        format!("{m}{title}{known}")
    });
    row("method", method.as_deref());
    for l in &e.limits {
        let of = l.analyte.as_ref().map_or(String::new(), |a| format!("{a}: "));
        let from = l.source.as_deref().unwrap_or("no source given");
        row("limit", Some(&format!("{of}{}, {}, {from}", l.says, l.kind)));
    }
    let schedule = e.schedule_id.as_ref().map(|id| {
        format!("{id}{}", e.schedule_name.as_ref().map_or(String::new(), |n| format!(", {n}")))
    });
    row("schedule", schedule.as_deref());
    for record in &r.event.records {
        let world = record.world.as_ref().map_or(String::new(), |w| {
            format!(", world {w}, seed {}", record.seed.unwrap_or_default())
        });
        row("record", Some(&format!("{}, {}{world}", record.file, record.origin)));
    }
    table.render()
}

fn one(s: &SampleResult) -> String {
    let mut about = vec![s.sampler.clone()];
    if s.kind != "pump" {
        about.push(s.kind.replace('-', " "));
    }
    about.extend(s.worker.iter().map(|w| format!("worker {w}")));
    about.extend(s.place.clone());
    about.extend(s.pump.iter().map(|p| format!("pump {p}")));
    about.extend(s.group.clone());
    about.extend(s.duplicate_of.iter().map(|d| format!("duplicate of {d}")));
    let mut t = about.join(", ");
    if s.simulated {
        t += &format!("   {NOTICE}");
    }
    t.push('\n');
    if !s.side_by_side.is_empty() {
        let mut table = Table::new(&[Side::Left; 4]).indent(2);
        table.row(["", "planned", "happened"]);
        for row in &s.side_by_side {
            table.row([&row.what, &row.planned, &row.happened, &row.note]);
        }
        t += &table.render();
    }
    t += &method(s);
    let mut table = Table::new(&[Side::Left, Side::Left, Side::Left]).indent(2);
    if let Some(v) = &s.verification {
        verification(&mut table, v);
    }
    if let Some(v) = &s.volume {
        volume(&mut table, v);
    }
    if let Some(b) = &s.uncertainty {
        budget(&mut table, b);
    }
    for a in &s.laboratory {
        let net = match (a.mass_mg, a.below_mg, a.blank_mg) {
            (Some(m), _, Some(b)) => {
                format!("{} mg less blank {} mg", figures(m, 3), figures(b, 2))
            }
            (Some(m), ..) => format!("{} mg", figures(m, 3)),
            (None, Some(x), _) => format!("< {} mg", figures(x, 2)),
            _ => String::new(),
        };
        table.row([a.analyte.clone(), a.says.clone(), net]);
        if let (Some(share), Some(limit)) = (a.share_of_limit_percent, &a.limit) {
            let below = if a.below_mg_m3.is_some() { "at most " } else { "" };
            let text = format!("{below}{} % of {}", whole_figures(share, 2), limit.says);
            table.row([String::new(), text, a.verdict.clone().unwrap_or_default()]);
        }
        if let Some(b) = &a.budget {
            budget(&mut table, b);
        }
    }
    let table = table.render();
    if !table.trim().is_empty() {
        t += &format!("\n{table}");
    }
    for f in &s.flags {
        let says = if f.says.is_empty() { String::new() } else { format!(": {}", f.says) };
        t += &format!(
            "\n  {}[{}]{says}\n    {}.\n    Do: {}.\n",
            f.level, f.code, f.means, f.do_this
        );
    }
    t
}

/// What the method asks, and whether the sample fits.
fn method(s: &SampleResult) -> String {
    if s.method_fit.is_empty() && s.method_says.is_none() {
        return String::new();
    }
    let name = s.method.as_deref().unwrap_or("-");
    let mut t = format!("\n  method {name}");
    if let Some(says) = &s.method_says {
        t += &format!(": {says}");
    }
    t.push('\n');
    let mut table = Table::new(&[Side::Left; 4]).indent(4);
    for row in &s.method_fit {
        let verdict = if row.standing == "outside" {
            format!("OUTSIDE: {}", row.says)
        } else {
            row.says.clone()
        };
        let what = match &row.analyte {
            Some(analyte) => format!("{}, {analyte}", row.what),
            None => row.what.clone(),
        };
        table.row([what, row.is.clone(), row.wants.clone(), verdict]);
    }
    t + &table.render()
}

fn verification(table: &mut Table, v: &Verification) {
    let set = |s: &FlowSet| {
        let n = s.readings.len();
        let of = if n > 1 { format!("mean of {n}") } else { "one reading".to_owned() };
        let at = s.at.as_ref().map_or(String::new(), |at| format!(", {at}"));
        let meter = s.meter_kind.as_deref() == Some("rotameter");
        let corrected = if meter { format!("; {}", s.correction) } else { String::new() };
        (format!("{} L/min", figures(s.mean_l_per_min, 4)), format!("{of}{at}{corrected}"))
    };
    for (which, s) in [("flow before", &v.before), ("flow after", &v.after)] {
        match s {
            Some(s) => {
                let (flow, how) = set(s);
                table.row([which.to_owned(), flow, how]);
            }
            None => table.row([which, "not read", ""]),
        }
    }
    if let Some(d) = v.difference_percent {
        let over = if v.over == Some(true) { "OVER" } else { "ok" };
        let limit = format!("{over}, limit {} %: {}", plain(v.limit_percent), v.limit_source);
        table.row(["difference".to_owned(), signed_percent(d), limit]);
    }
    for c in &v.checks {
        let flow = c.flow_l_per_min.map_or("-".to_owned(), |q| format!("{} L/min", figures(q, 4)));
        let d = c.difference_percent.map_or(String::new(), |d| format!(", {}", signed_percent(d)));
        let by = c.by.as_ref().map_or(String::new(), |by| format!(", {by}"));
        table.row([
            "in-shift check".to_owned(),
            flow,
            format!("{}{d}{by}", c.at.as_deref().unwrap_or("no time")),
        ]);
    }
}

fn volume(table: &mut Table, v: &Volumes) {
    let litres = |x: f64| format!("{} L", figures(x, 4));
    let used = |way: &str| if v.used_is.as_deref() == Some(way) { "used" } else { "" };
    if let Some(x) = v.integrated_l {
        table.row(["integrated", &litres(x), used("integrated")]);
    }
    if let Some(x) = v.mean_flow_time_l {
        let d = v.difference_percent.map_or(String::new(), signed_percent);
        let word = used("mean-flow-time");
        let remark =
            [d.as_str(), word].iter().filter(|s| !s.is_empty()).copied().collect::<Vec<_>>();
        table.row(["mean flow x time", &litres(x), &remark.join(", ")]);
    }
    if let Some(x) = v.verified_tube_l {
        table.row(["tube's flow x time", &litres(x), used("verified-tube")]);
    }
    if let Some(x) = v.standard_l {
        table.row(["standard", &litres(x), v.standard_is.as_deref().unwrap_or("")]);
    }
    table.row(["volume", &v.says]);
    table.row(["", &v.used_because]);
    for why in &v.why_they_differ {
        table.row(["", why]);
    }
}

fn budget(table: &mut Table, b: &Budget) {
    for term in &b.terms {
        let df =
            term.degrees_of_freedom.map_or(String::new(), |n| format!(", {} d.f.", figures(n, 2)));
        table.row([
            format!("  u: {}", term.name),
            format!("{} %", figures(term.standard_percent, 2)),
            format!(
                "{} % of the variance; {} {} {}{df}",
                figures(term.share_percent, 2),
                term.distribution,
                figures(term.value, 2),
                term.unit
            ),
        ]);
    }
    table.row([
        "  u: combined".to_owned(),
        format!("{} %", figures(b.combined_percent, 2)),
        format!("expanded {} %, k = {}, 95 %", figures(b.expanded_percent, 2), figures(b.k, 3)),
    ]);
}

fn workers(r: &Results) -> String {
    if r.workers.is_empty() {
        return String::new();
    }
    let mut t = "\nworkers\n".to_owned();
    let mut table =
        Table::new(&[Side::Left, Side::Left, Side::Left, Side::Left, Side::Right, Side::Left])
            .indent(2)
            .gap(2);
    table.row(["worker", "analyte", "over", "exposure", "of limit", "samplers"]);
    let bound = |share: Amount| share.text(2, "%").unwrap_or_default();
    let mut verdicts = Vec::new();
    for w in &r.workers {
        let share = match w.share_of_limit_percent {
            None => "-".to_owned(),
            // A bound is rounded so that it stays true.
            Some(s) if w.below_mg_m3.is_some() => bound(Amount::Below(s)),
            Some(s) if w.least_mg_m3.is_some() => bound(Amount::AtLeast(s)),
            Some(s) => format!("{} %", whole_figures(s, 2)),
        };
        let bounds = match (w.lcl, w.ucl) {
            (Some(l), Some(u)) => format!(" (LCL {}, UCL {})", figures(l, 3), figures(u, 3)),
            _ => String::new(),
        };
        let of =
            [w.worker.clone(), w.analyte.clone(), w.divisor_name.clone(), w.says.clone(), share];
        table.row(of.into_iter().chain([w.samples.join(", ")]));
        // Of several limits, which.
        let same =
            |o: &&crate::results::WorkerResult| (&o.worker, &o.analyte) == (&w.worker, &w.analyte);
        let of_limit = match &w.limit {
            Some(limit) if r.workers.iter().filter(same).count() > 1 => {
                format!(", {} {}", limit.says, limit.kind)
            }
            _ => String::new(),
        };
        let to_review: Vec<&str> = r
            .samples
            .iter()
            .filter(|s| w.samples.contains(&s.sampler))
            .filter(|s| s.flags.iter().any(|f| f.level == "review"))
            .map(|s| s.sampler.as_str())
            .collect();
        let bounds = match to_review.as_slice() {
            [] => bounds,
            ids => format!("{bounds}; review the flags of {}", ids.join(", ")),
        };
        let about = format!("{}, {}{of_limit}", w.worker, w.analyte);
        verdicts.push(format!("  {about}: {}{bounds}\n", w.verdict));
    }
    t += &table.render();
    t += "\n";
    t + &verdicts.concat()
}
