//! From the laboratory's figures to concentrations.

use super::budgets::{COVERAGE, shown};
use super::laboratory::{AnalyteResult, BlankResult, Breakthrough};
use super::volumes::with_expanded;
use super::{Flag, Limit, MethodRow, flags, method_fit};
use crate::event::{Field, Group, Kind, Lab, Sampler};
use crate::hygiene::budgets::{ConcentrationKnown, concentration_budget};
use crate::hygiene::concentration::{self, concentration_mg_m3, mean_blank_mg, net_mg, sorbent_mg};
use crate::hygiene::exposure::compare;
use crate::hygiene::round::figures;
use crate::hygiene::uncertainty::{self, Spread};
use crate::hygiene::{Amount, Problem};
use crate::methods::Entry;

/// What a concentration is computed from.
pub(super) struct Known<'a> {
    pub field: &'a Field,
    pub sampler: &'a Sampler,
    pub method: Option<&'a Entry>,
    pub volume_l: Option<f64>,
    pub volume_is: &'static str,
    pub volume_budget: Option<&'a uncertainty::Budget>,
    pub limits: &'a [Limit],
}

/// The blanks of a sampler's lot and an analyte, in mg. One that is below its limit counts as nothing in a mean, so that no
/// result becomes too low by it.
#[derive(Default)]
struct Blanks<'a> {
    from: Vec<&'a Sampler>,
    below: Vec<&'a Sampler>,
    whole_mg: Vec<f64>,
    front_mg: Vec<f64>,
    back_mg: Vec<f64>,
    /// Of a single one: its standard uncertainty, in percent.
    u_percent: Option<f64>,
}

fn same(a: Option<&String>, b: Option<&String>) -> bool {
    a.zip(b).is_some_and(|(a, b)| a.eq_ignore_ascii_case(b))
}

fn blanks<'a>(field: &'a Field, sampler: &Sampler, analyte: Option<&String>) -> Blanks<'a> {
    let mut found = Blanks::default();
    if field.event.subtract_blanks == Some(false) || sampler.kind != Kind::Pump {
        return found;
    }
    let of_lot = |s: &&Sampler| {
        s.kind == Kind::FieldBlank && same(s.media_lot.as_ref(), sampler.media_lot.as_ref())
    };
    let number = |a: Option<Amount>| match a {
        Some(Amount::Found(x)) => Some(x),
        _ => None,
    };
    for blank in field.samplers.iter().filter(of_lot) {
        for lab in blank.lab.iter().filter(|l| same(l.analyte.as_ref(), analyte)) {
            let Some(whole) = lab.found() else { continue };
            let (front, back) = (number(lab.front_mg), number(lab.back_mg));
            let whole = number(Some(whole)).or_else(|| Some(front? + back.unwrap_or(0.0)));
            match whole.or(back) {
                Some(_) => found.from.push(blank),
                None => found.below.push(blank),
            }
            let whole = whole.or(back).unwrap_or(0.0);
            found.whole_mg.push(whole);
            // A blank that was not parted is taken off the front.
            let parted = lab.front_mg.is_some() || lab.back_mg.is_some();
            found.front_mg.push(if parted { front.unwrap_or(0.0) } else { whole });
            found.back_mg.push(back.unwrap_or(0.0));
            found.u_percent = lab.u_percent;
        }
    }
    found
}

fn mean(all: &[f64]) -> f64 {
    mean_blank_mg(all).unwrap_or(0.0)
}

/// From what is below its limit nothing is subtracted.
fn takes_blanks(lab: &Lab) -> bool {
    let found = |a: Option<Amount>| matches!(a, Some(Amount::Found(_)));
    found(lab.mass_mg) || found(lab.front_mg) || found(lab.back_mg)
}

/// What is left of a mass, and whether it broke through.
struct Net {
    mass_mg: Amount,
    blank_mg: f64,
    broke: Option<concentration::Breakthrough>,
}

fn net(lab: &Lab, blanks: &Blanks<'_>) -> Option<Result<Net, Problem>> {
    let sections = lab.front_mg.zip(lab.back_mg).filter(|_| lab.mass_mg.is_none());
    if let Some((front, back)) = sections {
        let (bf, bb) = (mean(&blanks.front_mg), mean(&blanks.back_mg));
        let tube = sorbent_mg(front, back, bf, bb, lab.lod_mg);
        return Some(tube.map(|t| Net {
            mass_mg: t.mass_mg,
            blank_mg: bf + bb,
            broke: Some(t.breakthrough),
        }));
    }
    let blank_mg = mean(&blanks.whole_mg);
    let mass_mg = match lab.found()? {
        Amount::Found(m) => net_mg(m, blank_mg, lab.lod_mg),
        // Below already: a blank can only lower it, and the upper bound stays.
        other => Ok(other),
    };
    Some(mass_mg.map(|mass_mg| Net { mass_mg, blank_mg, broke: None }))
}

/// A result with what later steps need of it.
pub(super) struct Analyte {
    pub shown: AnalyteResult,
    pub concentration: Option<Amount>,
    pub flags: Vec<Flag>,
    /// Beside the method.
    pub row: Option<MethodRow>,
}

/// One analyte of a sampler.
pub(super) fn analyte(k: &Known<'_>, lab: &Lab) -> Analyte {
    let name = lab.analyte.clone().unwrap_or_else(|| "not named".to_owned());
    let blanks = blanks(k.field, k.sampler, lab.analyte.as_ref());
    let number = |a: Option<Amount>| match a {
        Some(Amount::Found(x)) => Some(x),
        _ => None,
    };
    let mut r = AnalyteResult {
        analyte: name.clone(),
        mass_mg: number(lab.found()),
        mass_front_mg: number(lab.front_mg),
        mass_back_mg: number(lab.back_mg),
        below_mg: match lab.found() {
            Some(Amount::Below(x)) => Some(x),
            _ => None,
        },
        lod_mg: lab.lod_mg,
        loq_mg: lab.loq_mg,
        volume_l: k.volume_l,
        volume_is: k.volume_l.map(|_| k.volume_is.to_owned()),
        reported_by: lab.reported_by.clone(),
        reported_at: lab.when.as_ref().map(|w| w.says.clone()),
        ..AnalyteResult::default()
    };
    let mut flags = Vec::new();
    let net = match net(lab, &blanks) {
        Some(Ok(net)) => net,
        Some(Err(problem)) => {
            flags.push(flags::flag("laboratory-figures", format!("{name}: {problem}")));
            r.says = "no result".to_owned();
            return Analyte { shown: r, concentration: None, flags, row: None };
        }
        None => {
            r.says = "not reported".to_owned();
            return Analyte { shown: r, concentration: None, flags, row: None };
        }
    };
    if !blanks.from.is_empty() && takes_blanks(lab) {
        r.blank_mg = Some(net.blank_mg);
        r.blank_from = blanks.from.iter().map(|s| s.id.is.clone()).collect();
    }
    r.net_mass_mg = number(Some(net.mass_mg));
    if let (Some(broke), Some(front), Some(back)) = (net.broke, lab.front_mg, lab.back_mg) {
        if front.low() > 0.0 {
            r.breakthrough = Some(Breakthrough {
                back_of_front_percent: 100.0 * back.high().unwrap_or(back.low()) / front.low(),
                limit_percent: 10.0,
                over: broke == concentration::Breakthrough::Yes,
            });
        }
        match broke {
            concentration::Breakthrough::Yes => {
                flags.push(flags::flag(
                    "breakthrough",
                    format!("{name}: {}", percents(front, back)),
                ));
            }
            concentration::Breakthrough::CannotTell => {
                flags.push(flags::flag("breakthrough-unknown", name.clone()));
            }
            concentration::Breakthrough::No => {}
        }
    }
    let mut row = None;
    // Of a blank, little is what is hoped for; of a bulk sample there is no limit.
    if k.sampler.kind == Kind::Pump
        && let Some(found) = lab.found()
    {
        let (of_method, raised) = method_fit::mass(k.method, &name, lab, found, net.mass_mg);
        row = of_method;
        flags.extend(raised);
    }
    if k.sampler.kind != Kind::Pump {
        r.says = net.mass_mg.text(3, "mg").unwrap_or_default();
        return Analyte { shown: r, concentration: None, flags, row };
    }
    let Some(volume_l) = k.volume_l else {
        r.says = net.mass_mg.text(3, "mg").unwrap_or_default() + ", no volume";
        return Analyte { shown: r, concentration: None, flags, row };
    };
    let Ok(mut found) = concentration_mg_m3(net.mass_mg, volume_l) else {
        r.says = "no result".to_owned();
        return Analyte { shown: r, concentration: None, flags, row };
    };
    if net.broke == Some(concentration::Breakthrough::Yes) {
        found = Amount::AtLeast(found.low());
    }
    (r.concentration_mg_m3, r.below_mg_m3, r.least_mg_m3) = match found {
        Amount::Found(x) => (Some(x), None, None),
        Amount::Below(x) => (None, Some(x), None),
        Amount::Between(a, b) => (None, Some(b), Some(a)),
        Amount::AtLeast(a) => (None, None, Some(a)),
    };
    let computed = budget(k, lab, &blanks, net.blank_mg, found, volume_l);
    if let Some((b, sources)) = &computed {
        r.expanded_mg_m3 = Some(b.expanded);
        r.k = Some(b.k);
        r.budget = Some(shown(&format!("concentration of {name}"), "mg/m3", b, sources));
    }
    r.says = match (&computed, found) {
        (Some((b, _)), Amount::Found(x)) => with_expanded(x, b.expanded, b.k, "mg/m3"),
        (_, Amount::Found(_)) => found.text(3, "mg/m3").unwrap_or_default(),
        _ => found.text(2, "mg/m3").unwrap_or_default(),
    };
    against(k, &mut r, &name, found, &mut flags);
    Analyte { shown: r, concentration: Some(found), flags, row }
}

fn percents(front: Amount, back: Amount) -> String {
    let share = 100.0 * back.low() / front.high().unwrap_or(front.low());
    format!("{} % of the front on the back", figures(share, 3))
}

type Sources = Vec<(&'static str, String)>;

fn budget(
    k: &Known<'_>,
    lab: &Lab,
    blanks: &Blanks<'_>,
    blank_mg: f64,
    found: Amount,
    volume_l: f64,
) -> Option<(uncertainty::Budget, Sources)> {
    let (Amount::Found(_), Some(Amount::Found(mass_mg))) = (found, lab.found()) else {
        return None;
    };
    let volume = k.volume_budget?;
    let u = lab.u_percent?;
    let n = blanks.whole_mg.len();
    let blank_spread = match n {
        0 => None,
        // How blanks scatter is not known of one.
        1 => blanks.u_percent.map(|u| Spread::Normal { standard: blank_mg * u / 100.0 }),
        _ => {
            let squares: f64 = blanks.whole_mg.iter().map(|b| (b - blank_mg).powi(2)).sum();
            let standard = (squares / (n - 1) as f64 / n as f64).sqrt();
            Some(Spread::Student { standard, freedom: (n - 1) as f64 })
        }
    };
    let blank_spread = blank_spread.filter(|_| blank_mg > 0.0);
    // The share of the volume, for a volume at other conditions too.
    let standard = volume.combined / volume.result * volume_l;
    let volume_spread = match volume.freedom {
        Some(freedom) => Spread::Student { standard, freedom },
        None => Spread::Normal { standard },
    };
    let known = ConcentrationKnown {
        mass_mg,
        mass_spread: Spread::Normal { standard: mass_mg * u / 100.0 },
        blank_mg,
        blank_spread,
        volume_l,
        volume_spread,
    };
    let sources = vec![
        (
            "mass",
            format!("the laboratory: {} % of the mass, a standard uncertainty", figures(u, 2)),
        ),
        (
            "blank",
            match n {
                1 => {
                    "the laboratory's, of the one blank; how blanks scatter is not known".to_owned()
                }
                n => format!("the scatter of {n} blanks, of their mean"),
            },
        ),
        ("volume", "the budget of the volume".to_owned()),
    ];
    Some((concentration_budget(&known, COVERAGE).ok()?, sources))
}

/// A sample beside the limit of its kind.
fn against(k: &Known<'_>, r: &mut AnalyteResult, name: &str, found: Amount, flags: &mut Vec<Flag>) {
    let short = k.sampler.group == Some(Group::ShortTerm);
    let limit = k.limits.iter().find(|l| {
        let fits = l.analyte.as_ref().is_none_or(|a| a.eq_ignore_ascii_case(name));
        fits && (l.kind == "twa-8h") != short
    });
    let Some(limit) = limit else { return };
    let Ok(compared) = compare(found, limit.value_mg_m3) else { return };
    r.limit = Some(limit.clone());
    r.share_of_limit_percent =
        compared.share.high().or(Some(compared.share.low())).map(|s| 100.0 * s);
    let words = compared.verdict.words();
    r.verdict = Some(if short {
        words.to_owned()
    } else {
        format!("{words}, as the mean of its own time; the exposure over 8 h is the worker's")
    });
    if compared.verdict == crate::hygiene::exposure::Verdict::Over {
        flags.push(flags::flag("over-limit", format!("{name}: {}, limit {}", r.says, limit.says)));
    }
}

/// What the blanks say.
pub(super) fn blank_results(field: &Field) -> Vec<BlankResult> {
    let mut results = Vec::new();
    for blank in field.samplers.iter().filter(|s| s.kind == Kind::FieldBlank) {
        for lab in &blank.lab {
            let used = field.samplers.iter().filter(|s| {
                s.kind == Kind::Pump
                    && s.lab.iter().any(|l| {
                        takes_blanks(l)
                            && same(l.analyte.as_ref(), lab.analyte.as_ref())
                            && blanks(field, s, l.analyte.as_ref())
                                .from
                                .iter()
                                .any(|b| b.id.is == blank.id.is)
                    })
            });
            let found = lab.found();
            results.push(BlankResult {
                sampler: blank.id.is.clone(),
                media_lot: blank.media_lot.clone(),
                analyte: lab.analyte.clone().unwrap_or_else(|| "not named".to_owned()),
                mass_mg: match found {
                    Some(Amount::Found(x)) => Some(x),
                    _ => None,
                },
                below_mg: match found {
                    Some(Amount::Below(x)) => Some(x),
                    _ => None,
                },
                used_for: used.map(|s| s.id.is.clone()).collect(),
                says: found.map_or_else(
                    || "not reported".to_owned(),
                    |f| f.text(2, "mg").unwrap_or_default(),
                ),
            });
        }
    }
    results
}

/// What there is to say about the blanks of a sampler.
pub(super) fn blank_words(field: &Field, sampler: &Sampler, lab: &Lab) -> Option<String> {
    if field.event.subtract_blanks == Some(false) || !takes_blanks(lab) {
        return None;
    }
    let found = blanks(field, sampler, lab.analyte.as_ref());
    let id = &sampler.id.is;
    let ids =
        |all: &[&Sampler]| all.iter().map(|s| s.id.is.as_str()).collect::<Vec<_>>().join(", ");
    match (found.from.len(), found.below.len()) {
        (0, 0) => Some(format!("{id}: no field blank of its media lot; nothing is subtracted")),
        (_, n) if n > 0 => Some(format!(
            "{id}: {} below the limit counts as nothing in the mean of the blanks, so that the result is not too low",
            ids(&found.below)
        )),
        (1, _) => Some(format!(
            "{id}: one field blank; how blanks scatter is not known, and not in the uncertainty"
        )),
        _ => None,
    }
}
