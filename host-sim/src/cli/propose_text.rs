//! A proposal, or why there is none, for people.

use super::paint::Paint;
use super::propose::Tried;
use super::table::{Side, Table};
use crate::methods::units::{concentration, figures, flow, mass, minutes, span, volume};
use crate::plan::format;
use crate::propose::{Answer, Limit, Proposal, Wish};

/// What stands under every proposal.
const CAUTION: &str = "\
Follow the method, the accredited laboratory, the site's hygienist and local code. Verify the flow with a sampler in line.
Not an alarm and no protection; nothing here makes a pump intrinsically safe.
";

/// The screen.
pub(super) fn text(tried: &[Tried], chosen: Option<usize>, paint: Paint) -> String {
    let mut text = String::new();
    match chosen
        .and_then(|i| Some((i, tried.get(i)?)))
        .and_then(|(i, t)| Some((i, t, t.proposal()?)))
    {
        Some((i, one, proposal)) => {
            head(one, paint, &mut text);
            possible(one, proposal, paint, &mut text);
            others(tried, i, &mut text);
        }
        None => {
            for one in tried {
                head(one, paint, &mut text);
                impossible(one, paint, &mut text);
            }
        }
    }
    let mut remarks: Vec<&String> = Vec::new();
    let shown = chosen.map_or(tried, |i| &tried[i..=i]);
    for remark in shown.iter().flat_map(|t| &t.remarks) {
        if !remarks.contains(&remark) {
            remarks.push(remark);
        }
    }
    for remark in remarks {
        text.push_str(&format!("note: {remark}\n"));
    }
    text.push('\n');
    text.push_str(CAUTION);
    text
}

fn head(one: &Tried, paint: Paint, text: &mut String) {
    if one.id.is_empty() {
        text.push_str(&paint.lead("by hand"));
        text.push('\n');
    } else {
        text.push_str(&format!("{}   {}\n", paint.lead(&one.id), one.title));
    }
    if let Some(file) = &one.file {
        text.push_str(&format!("from {file}\n"));
    }
    text.push_str(&asked(&one.wish));
    text.push_str("\n\n");
}

fn asked(wish: &Wish) -> String {
    let mut parts = Vec::new();
    if let Some(c) = wish.expect_mg_m3 {
        parts.push(format!("expected {}", concentration(c)));
    }
    if let Some(c) = wish.limit_mg_m3 {
        parts.push(format!("limit {}", concentration(c)));
    }
    if let Some(f) = wish.fibres {
        parts.push(format!("fibres counted at {} f/mL", figures(f.level_f_ml)));
    }
    parts.push(format!("time {}", minutes(wish.time_min)));
    if let Some(pump) = wish.pump_flow {
        parts.push(format!("pump {}", flows(pump)));
    }
    parts.join(", ")
}

fn flows((from, to): (f64, f64)) -> String {
    span(from, to, flow)
}

fn limits(least: Option<Limit>, most: Option<Limit>) -> String {
    match (least, most) {
        (Some(a), Some(b)) if (a.l - b.l).abs() <= 1e-9 * b.l => volume(a.l) + " wanted",
        (Some(a), Some(b)) => span(a.l, b.l, volume),
        (Some(a), None) => format!("{} or more", volume(a.l)),
        (None, Some(b)) => format!("{} or less", volume(b.l)),
        (None, None) => "no limits known".to_owned(),
    }
}

fn possible(one: &Tried, p: &Proposal, paint: Paint, text: &mut String) {
    let ok = paint.good("ok");
    let mut table = Table::new(&[Side::Left; 4]);
    table.row([
        "flow".to_owned(),
        flow(p.flow_l_per_min),
        format!("possible {}", flows(p.flows_l_per_min)),
        ok.clone(),
    ]);
    let between = if (p.minutes_between.0 - p.minutes_between.1).abs() < 1e-9 {
        format!("exactly {}", minutes(p.minutes_between.0))
    } else {
        let (least, most) = p.minutes_between;
        if least < 1.0 / 60.0 {
            format!("possible up to {}", minutes(most))
        } else {
            format!("possible {} to {}", minutes(least), minutes(most))
        }
    };
    let each = if p.samples > 1 {
        format!("{} samples of {}", p.samples, minutes(p.minutes))
    } else {
        minutes(p.minutes)
    };
    table.row(["time".to_owned(), each, between, ok.clone()]);
    table.row([
        "volume".to_owned(),
        volume(p.volume_l) + of_each(p),
        limits(p.least, p.most),
        ok.clone(),
    ]);
    for (what, c, mg) in [
        ("expected", one.wish.expect_mg_m3, p.mass_expect_mg),
        ("at the limit", one.wish.limit_mg_m3, p.mass_limit_mg),
    ] {
        if let Some((_, mg)) = c.zip(mg) {
            let (wanted, verdict) = told(&one.wish, mg, paint);
            table.row(["mass".to_owned(), format!("{} {what}", mass(mg)), wanted, verdict]);
        }
    }
    if let Some(f) = one.wish.fibres {
        let on_filter = f.level_f_ml * p.volume_l * 1_000.0 / f.area_mm2;
        let (least, most) = f.density_f_mm2;
        table.row([
            "fibres".to_owned(),
            format!("{on_filter:.0} f/mm2 at {} f/mL", figures(f.level_f_ml)),
            format!("{least:.0} to {most:.0} f/mm2"),
            ok.clone(),
        ]);
    }
    let part = if p.covers_all { ok.clone() } else { paint.careful("part") };
    let change = one.wish.change_min;
    let total = if p.samples > 1 && change > 0.0 {
        format!("of {}; {} to change the sampler", minutes(one.wish.time_min), minutes(change))
    } else {
        format!("of {}", minutes(one.wish.time_min))
    };
    table.row(["pumping".to_owned(), minutes(p.total_min), total, part]);
    if let Some(lasts) = &one.lasts {
        let end = |min: f64| if min.is_finite() { minutes(min) } else { "no end".to_owned() };
        table.row([
            "battery".to_owned(),
            end(lasts.battery_min),
            format!("{} needed", minutes(p.total_min)),
            ok.clone(),
        ]);
        table.row([
            "filter".to_owned(),
            end(lasts.filter_min),
            format!("{} needed", minutes(p.minutes)),
            ok,
        ]);
    }
    text.push_str(&table.render());
    text.push_str(&format!("\nwhy this flow: {}\nwhy this time: {}\n", p.why_flow, p.why_time));
    if let Some(lasts) = &one.lasts {
        text.push_str(&format!("battery and filter, SIMULATED: {}\n", lasts.how));
    }
}

fn of_each(p: &Proposal) -> &'static str {
    if p.samples > 1 { " each" } else { "" }
}

/// What is wanted of a mass, and whether it is so. Only the expected one, and the limit's where nothing is expected, decide.
fn told(wish: &Wish, mg: f64, paint: Paint) -> (String, String) {
    let least = wish.least_mass_mg.is_none_or(|least| mg >= least * (1.0 - 1e-9));
    let most = wish.most_mass_mg.is_none_or(|most| mg <= most * (1.0 + 1e-9));
    let wanted = match (wish.least_mass_mg, wish.most_mass_mg) {
        (Some(a), Some(b)) => span(a, b, mass),
        (Some(a), None) => format!("{} or more", mass(a)),
        (None, Some(b)) => format!("{} or less", mass(b)),
        (None, None) => return ("no range known".to_owned(), "-".to_owned()),
    };
    let verdict = match (least, most) {
        (true, true) => paint.good("ok"),
        (false, _) => paint.careful("below"),
        (_, false) => paint.careful("above"),
    };
    (wanted, verdict)
}

/// What the other variants come to.
fn others(tried: &[Tried], chosen: usize, text: &mut String) {
    if tried.len() < 2 {
        return;
    }
    text.push_str("\nNo variant was named; this one does with the fewest samples. The others\n");
    let mut table = Table::new(&[Side::Left; 5]).indent(2);
    for one in tried.iter().enumerate().filter(|(i, _)| *i != chosen).map(|(_, t)| t) {
        match &one.answer {
            Answer::Possible(p) => table.row([
                one.id.clone(),
                flow(p.flow_l_per_min),
                format!(
                    "{} of {}",
                    format::count(p.samples as usize, "sample"),
                    minutes(p.minutes)
                ),
                volume(p.volume_l) + of_each(p),
                if p.covers_all { String::new() } else { "covers part".to_owned() },
            ]),
            Answer::Impossible(found) => {
                let codes: Vec<&str> = found.iter().map(|c| c.code()).collect();
                table.row([one.id.clone(), format!("impossible: {}", codes.join(", "))]);
            }
        }
    }
    text.push_str(&table.render());
    text.push_str("  Name the one that is used: --method ID/VARIANT\n");
}

fn impossible(one: &Tried, paint: Paint, text: &mut String) {
    let Answer::Impossible(found) = &one.answer else { return };
    text.push_str(&format!(
        "{}: {}\n",
        paint.bad("impossible"),
        format::count(found.len(), "collision")
    ));
    for collision in found {
        text.push_str(&format!("\n{}: {}\n", paint.bad(collision.code()), collision.says()));
        let remedies = collision.remedies(&one.wish);
        if !remedies.is_empty() {
            text.push_str("  possible with one of\n");
        }
        for remedy in remedies {
            text.push_str(&format!("  - {}\n", remedy.says));
        }
    }
    text.push('\n');
}
