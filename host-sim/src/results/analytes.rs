//! From the laboratory's figures to concentrations.

use super::blanks::{Blanks, takes_blanks};
use super::budgets::{COVERAGE, shown};
use super::laboratory::{AnalyteResult, Breakthrough};
use super::volumes::with_expanded;
use super::{Flag, Limit, MethodRow, flags, limits, method_fit};
use crate::event::{Field, Group, Kind, Lab, Sampler};
use crate::hygiene::budgets::{ConcentrationKnown, concentration_budget};
use crate::hygiene::concentration::{self, concentration_mg_m3, net_mg, sorbent_mg};
use crate::hygiene::exposure::{Verdict, compare};
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
    /// What makes a concentration one at 25 °C and 760 mm Hg, where the air was measured.
    pub at_reference: Option<f64>,
    /// What temperature and pressure add to a volume at standard conditions: a relative standard uncertainty.
    pub air_relative: f64,
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
        let (bf, bb) = blanks.sections_mg();
        let tube = sorbent_mg(front, back, bf, bb, lab.lod_mg);
        return Some(tube.map(|t| Net {
            mass_mg: t.mass_mg,
            blank_mg: bf + bb,
            broke: Some(t.breakthrough),
        }));
    }
    let blank_mg = blanks.mean_mg();
    let mass_mg = match lab.found()? {
        Amount::Found(m) => net_mg(m, blank_mg, lab.lod_mg),
        // Below already: a blank can only lower it, and the upper bound stays.
        other => Ok(other),
    };
    Some(mass_mg.map(|mass_mg| Net { mass_mg, blank_mg, broke: None }))
}

/// A result with what later steps need of it.
#[derive(Default)]
pub(super) struct Analyte {
    pub shown: AnalyteResult,
    pub concentration: Option<Amount>,
    pub flags: Vec<Flag>,
    /// What was assumed.
    pub notes: Vec<String>,
    /// Beside the method.
    pub row: Option<MethodRow>,
}

/// One analyte of a sampler.
pub(super) fn analyte(k: &Known<'_>, lab: &Lab) -> Analyte {
    let name = lab.analyte.clone().unwrap_or_else(|| "not named".to_owned());
    let blanks = Blanks::of(k.field, k.sampler, lab.analyte.as_ref());
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
    let (mut flags, mut notes) = (Vec::new(), Vec::new());
    if let Some(lost) = lab.lost_mg {
        r.mass_mg = Some(-lost);
        r.says = format!("-{} mg, lost", figures(lost, 3));
        return Analyte { shown: r, ..Analyte::default() };
    }
    let net = match net(lab, &blanks) {
        Some(Ok(net)) => net,
        Some(Err(problem)) => {
            flags.push(flags::flag("laboratory-figures", format!("{name}: {problem}")));
            r.says = "no result".to_owned();
            return Analyte { shown: r, flags, ..Analyte::default() };
        }
        None => {
            r.says = "not reported".to_owned();
            return Analyte { shown: r, flags, ..Analyte::default() };
        }
    };
    let any_blank = k.field.samplers.iter().any(|s| s.kind == Kind::FieldBlank);
    let subtracts = k.field.event.subtract_blanks != Some(false) && k.sampler.kind == Kind::Pump;
    if any_blank && subtracts && blanks.is_empty() && takes_blanks(lab) {
        let lot =
            k.sampler.media_lot.as_deref().map_or("no lot".to_owned(), |l| format!("lot {l}"));
        flags.push(flags::flag("no-blank", format!("{name}, {lot}")));
    }
    if takes_blanks(lab) {
        let id = &k.sampler.id.is;
        if !blanks.are_nothing() {
            r.blank_mg = Some(net.blank_mg);
            r.blank_from = blanks.ids();
        }
        if blanks.is_single() && !blanks.are_nothing() {
            notes.push(format!(
                "{id}: one field blank: how blanks scatter is not known, so it may be anything from nothing to twice itself"
            ));
        }
        if blanks.any_below() {
            notes.push(format!(
                "{id}: a blank of its lot is below its limit and counts as nothing in their mean, so that no more is subtracted than was found"
            ));
        }
        if blanks.any_whole() && net.broke.is_some() {
            notes.push(format!(
                "{id}: its blank was reported in one piece; all of it is subtracted from the front section"
            ));
        }
    }
    r.net_mass_mg = number(Some(net.mass_mg));
    // Nothing was drawn through a blank, so nothing broke through.
    let drawn = net.broke.filter(|_| k.sampler.kind == Kind::Pump);
    if let (Some(broke), Some(front), Some(back)) = (drawn, lab.front_mg, lab.back_mg) {
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
        return Analyte { shown: r, flags, notes, row, ..Analyte::default() };
    }
    let Some(volume_l) = k.volume_l else {
        r.says = net.mass_mg.text(3, "mg").unwrap_or_default() + ", no volume";
        return Analyte { shown: r, flags, notes, row, ..Analyte::default() };
    };
    let Ok(mut found) = concentration_mg_m3(net.mass_mg, volume_l) else {
        r.says = "no result".to_owned();
        return Analyte { shown: r, flags, notes, row, ..Analyte::default() };
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
    against(k, &mut r, &name, found, &mut flags, &mut notes);
    Analyte { shown: r, concentration: Some(found), flags, notes, row }
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
    let (blank_spread, blank_says) = blanks.spread().unzip();
    // The share of the volume, for a volume at other conditions too; those bring their own doubt.
    let (air, of_volume) = match k.volume_is {
        "standard" => (
            k.air_relative,
            "the budget of the volume; temperature within 2 K and pressure within 10 mm Hg, rectangular (App. L 7.4.8, 7.4.9)",
        ),
        _ => (0.0, "the budget of the volume"),
    };
    let standard = (volume.combined / volume.result).hypot(air) * volume_l;
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
    let of_mass =
        format!("the laboratory: {} % of the mass, a standard uncertainty", figures(u, 2));
    let mut sources = vec![("mass", of_mass), ("volume", of_volume.to_owned())];
    sources.extend(blank_says.map(|says| ("blank", says)));
    Some((concentration_budget(&known, COVERAGE).ok()?, sources))
}

/// A sample beside the limits of its kind: the one that it comes nearest to is shown, and each that it is over is flagged.
fn against(
    k: &Known<'_>,
    r: &mut AnalyteResult,
    name: &str,
    found: Amount,
    flags: &mut Vec<Flag>,
    notes: &mut Vec<String>,
) {
    let short = k.sampler.group == Some(Group::ShortTerm);
    for limit in k.limits.iter().filter(|l| l.is_of(name)) {
        let referred = limits::referred(limit, found, k.at_reference, notes);
        let own_kind = (limit.kind == "twa-8h") != short;
        let value = match (own_kind, limit.kind.as_str()) {
            (true, _) => referred,
            // The mean of all of a shift says what some part of it was at the least.
            (false, "short-term" | "ceiling") => Amount::AtLeast(referred.low()),
            (false, _) => continue,
        };
        let Ok(compared) = compare(value, limit.value_mg_m3) else { continue };
        if compared.verdict == Verdict::Over {
            let says = format!("{name}: {}, limit {} ({})", r.says, limit.says, limit.kind);
            flags.push(flags::flag("over-limit", says));
        }
        let share = 100.0 * compared.share.high().unwrap_or(compared.share.low());
        if own_kind && r.share_of_limit_percent.is_none_or(|before| share > before) {
            r.limit = Some(limit.clone());
            r.share_of_limit_percent = Some(share);
            let words = compared.verdict.words();
            r.verdict = Some(if short {
                words.to_owned()
            } else {
                format!(
                    "{words}, as the mean of its own time; the exposure over 8 h is the worker's"
                )
            });
        }
    }
}
