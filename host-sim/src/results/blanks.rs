//! The field blanks of a sampler: which they are, what is subtracted for them, and how well that is known.

use super::laboratory::BlankResult;
use crate::event::{Field, Kind, Lab, Sampler};
use crate::hygiene::Amount;
use crate::hygiene::concentration::mean_blank_mg;
use crate::hygiene::round::figures;
use crate::hygiene::uncertainty::Spread;

/// What a blank had **at the least**, in mg: what is below its limit counts as nothing, so that never more is subtracted than was found and
/// no exposure comes out too low. A filter that lost mass has less than nothing.
struct Blank<'a> {
    sampler: &'a Sampler,
    front_mg: f64,
    back_mg: f64,
    /// Not found in all of its parts.
    below: bool,
    /// Reported in one piece.
    whole: bool,
}

impl<'a> Blank<'a> {
    fn of(sampler: &'a Sampler, lab: &Lab) -> Option<Self> {
        if let Some(lost) = lab.lost_mg {
            let whole = Self { sampler, front_mg: -lost, back_mg: 0.0, below: false, whole: true };
            return Some(whole);
        }
        let is_found = |a: Amount| matches!(a, Amount::Found(_));
        match (lab.mass_mg, lab.front_mg) {
            (Some(all), _) => Some(Self {
                sampler,
                front_mg: all.low(),
                back_mg: 0.0,
                below: !is_found(all),
                whole: true,
            }),
            (None, Some(front)) => Some(Self {
                sampler,
                front_mg: front.low(),
                back_mg: lab.back_mg.map_or(0.0, Amount::low),
                below: !is_found(front) || lab.back_mg.is_some_and(|b| !is_found(b)),
                whole: false,
            }),
            (None, None) => None,
        }
    }

    fn all_mg(&self) -> f64 {
        self.front_mg + self.back_mg
    }
}

/// The blanks of a sampler's lot, for one analyte.
pub(super) struct Blanks<'a>(Vec<Blank<'a>>);

fn same(a: Option<&String>, b: Option<&String>) -> bool {
    a.zip(b).is_some_and(|(a, b)| a.eq_ignore_ascii_case(b))
}

impl<'a> Blanks<'a> {
    /// Those that are subtracted; none for what drew no air, and none if the field sheet says so.
    pub fn of(field: &'a Field, sampler: &Sampler, analyte: Option<&String>) -> Self {
        if field.event.subtract_blanks == Some(false) || sampler.kind != Kind::Pump {
            return Self(Vec::new());
        }
        let of_lot = field.samplers.iter().filter(|s| {
            s.kind == Kind::FieldBlank && same(s.media_lot.as_ref(), sampler.media_lot.as_ref())
        });
        let labs = of_lot.flat_map(|s| s.lab.iter().map(move |lab| (s, lab)));
        let of_it = labs.filter(|(_, lab)| same(lab.analyte.as_ref(), analyte));
        Self(of_it.filter_map(|(s, lab)| Blank::of(s, lab)).collect())
    }

    /// The samplers that they are.
    pub fn ids(&self) -> Vec<String> {
        self.0.iter().map(|b| b.sampler.id.is.clone()).collect()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether there is just one.
    pub fn is_single(&self) -> bool {
        self.0.len() == 1
    }

    /// Whether all of them are nothing, so that nothing is subtracted.
    pub fn are_nothing(&self) -> bool {
        self.0.iter().all(|b| b.front_mg == 0.0 && b.back_mg == 0.0)
    }

    /// Whether one of them is below its limit.
    pub fn any_below(&self) -> bool {
        self.0.iter().any(|b| b.below)
    }

    /// Whether one of them was reported in one piece.
    pub fn any_whole(&self) -> bool {
        self.0.iter().any(|b| b.whole)
    }

    fn mean(&self, of: impl Fn(&Blank<'a>) -> f64) -> f64 {
        mean_blank_mg(&self.0.iter().map(of).collect::<Vec<_>>()).unwrap_or(0.0)
    }

    /// Their mean, all in one, in mg.
    pub fn mean_mg(&self) -> f64 {
        self.mean(Blank::all_mg)
    }

    /// Their mean on front and back, in mg; what was reported in one piece is on the front.
    pub fn sections_mg(&self) -> (f64, f64) {
        (self.mean(|b| b.front_mg), self.mean(|b| b.back_mg))
    }

    /// How far what is subtracted may be from what this sampler's own blank was, and why.
    ///
    /// Of two and more: their deviation s, for one that is not among them, s · sqrt(1 + 1/n) with n - 1 degrees of freedom. Of a single one
    /// nothing is known but itself: anywhere from nothing to twice as much. Source: GUM, from memory.
    pub fn spread(&self) -> Option<(Spread, String)> {
        let n = self.0.len();
        let mean = self.mean_mg();
        if n >= 2 {
            let squares: f64 = self.0.iter().map(|b| (b.all_mg() - mean).powi(2)).sum();
            let freedom = (n - 1) as f64;
            let standard = (squares / freedom * (1.0 + 1.0 / n as f64)).sqrt();
            let says = format!("the scatter of {n} blanks, of one and of their mean");
            return Some((Spread::Student { standard, freedom }, says));
        }
        let half_width = mean.abs();
        (n == 1 && half_width > 0.0).then(|| {
            let says = format!(
                "assumed: a single blank, so anywhere from nothing to {} mg, rectangular",
                figures(2.0 * mean, 3)
            );
            (Spread::Rectangular { half_width }, says)
        })
    }
}

/// From what is below its limit nothing is subtracted.
pub(super) fn takes_blanks(lab: &Lab) -> bool {
    let found = |a: Option<Amount>| matches!(a, Some(Amount::Found(_)));
    found(lab.mass_mg) || found(lab.front_mg) || found(lab.back_mg)
}

/// What the blanks say.
pub(super) fn results(field: &Field) -> Vec<BlankResult> {
    let blanks = field.samplers.iter().filter(|s| s.kind == Kind::FieldBlank);
    let labs = blanks.flat_map(|s| s.lab.iter().map(move |lab| (s, lab)));
    labs.map(|(blank, lab)| result(field, blank, lab)).collect()
}

fn result(field: &Field, blank: &Sampler, lab: &Lab) -> BlankResult {
    let takes = |s: &&Sampler| {
        s.lab.iter().any(|l| {
            takes_blanks(l) && same(l.analyte.as_ref(), lab.analyte.as_ref()) && {
                let blanks = Blanks::of(field, s, l.analyte.as_ref());
                !blanks.are_nothing() && blanks.ids().contains(&blank.id.is)
            }
        })
    };
    let used = field.samplers.iter().filter(|s| s.kind == Kind::Pump).filter(takes);
    let found = lab.found();
    BlankResult {
        sampler: blank.id.is.clone(),
        media_lot: blank.media_lot.clone(),
        analyte: lab.analyte.clone().unwrap_or_else(|| "not named".to_owned()),
        mass_mg: match found {
            Some(Amount::Found(x)) => Some(x),
            _ => lab.lost_mg.map(|lost| -lost),
        },
        below_mg: match found {
            Some(Amount::Below(x)) => Some(x),
            _ => None,
        },
        used_for: used.map(|s| s.id.is.clone()).collect(),
        says: match (found, lab.lost_mg) {
            (_, Some(lost)) => format!("-{} mg, lost", figures(lost, 3)),
            (Some(found), None) => found.text(2, "mg").unwrap_or_default(),
            (None, None) => "not reported".to_owned(),
        },
    }
}
