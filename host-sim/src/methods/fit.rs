//! What a method asks of one sample, and whether something fits it: one rule for what is planned and for what was sampled.
//!
//! Only what was read or computed asks for anything; what is remembered does not.

use super::units::{concentration, joined, mass, span, volume};
use super::{Air, Entry, Value, Values};
use crate::hygiene::round;

/// What a demand is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The flow, in L/min.
    Flow,
    /// The volume of a sample, in L.
    Volume,
    /// The volume that is to be aimed at, in L.
    RecommendedVolume,
    /// How long a sample pumps, in min.
    Time,
    /// How long it should pump, in min.
    RecommendedTime,
    /// What is collected, in mg.
    Mass,
}

impl What {
    /// Its name on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Flow => "flow",
            Self::Volume | Self::RecommendedVolume => "volume",
            Self::Time | Self::RecommendedTime => "time",
            Self::Mass => "mass",
        }
    }

    /// The unit of its numbers.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Flow => "L/min",
            Self::Volume | Self::RecommendedVolume => "L",
            Self::Time | Self::RecommendedTime => "min",
            Self::Mass => "mg",
        }
    }

    /// A recommendation: to miss it is worth a remark, and no more.
    #[must_use]
    pub const fn is_recommended(self) -> bool {
        matches!(self, Self::RecommendedVolume | Self::RecommendedTime)
    }
}

/// One thing that a method asks.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// About what.
    pub what: What,
    /// The least, where there is one.
    pub least: Option<f64>,
    /// The most, where there is one.
    pub most: Option<f64>,
    /// What is asked, as people read it: "1 to 2 L/min".
    pub wants: String,
    /// What the least of a mass is: "quantified from", "bottom of the method's range", "detected from".
    pub least_is: &'static str,
    /// Where it comes from.
    pub from: String,
    /// Of a volume that the method states at a concentration: what became of that.
    pub stated: Stated,
}

/// A volume that a method states at a concentration, where another may be in the air; see [`Values::limits`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stated {
    /// The concentration is known: the mass decides, and not this.
    pub by_mass: bool,
    /// It is not known, and whether the least holds cannot be told.
    pub least_open: bool,
    /// The same of the most.
    pub most_open: bool,
    /// The most is one of dust.
    pub of_dust: bool,
}

/// What is compared with a demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// A plan: compared as it is, but for the rounding of binary fractions; a recommendation is met within 1 %.
    Plan,
    /// A sample that was drawn: compared as it is shown, see [`Demand::standing`].
    Sample,
}

/// How something stands to a demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// All of it is what is asked.
    Inside,
    /// A part of it is.
    Partly,
    /// All of it is too little.
    Below,
    /// All of it is too much.
    Above,
}

/// What a pump makes of a single flow or a recommended volume: within 5 %, as 40 CFR 50 App. L 7.4.3.1 has it of its flow.
const HELD: f64 = 0.05;
/// How near a plan must come to what is recommended.
const NEAR: f64 = 0.01;
/// Below this two numbers differ by the rounding of binary fractions only.
const DUST: f64 = 1e-6;

impl Demand {
    /// Whether a volume lies outside only of what is stated at a concentration that is not known.
    #[must_use]
    pub fn cannot_tell(&self, low: f64, high: f64, of: Of) -> bool {
        let only = |least: Option<f64>, most: Option<f64>| {
            Self { least, most, ..self.clone() }.standing(low, high, of) == Standing::Inside
        };
        let (least, most) = (only(self.least, None), only(None, self.most));
        !(least && most) && (least || self.stated.least_open) && (most || self.stated.most_open)
    }

    /// How a number, or all from `low` to `high`, stands to it.
    ///
    /// Of a sample, a flow is rounded to three figures first and a volume to four, a time to the minute, as they are shown; a
    /// single flow, and what is recommended, is met within 5 %. These are conventions of ours, for a meter reads no edge exactly.
    #[must_use]
    pub fn standing(&self, low: f64, high: f64, of: Of) -> Standing {
        let single = self.least.is_some() && self.least == self.most;
        let part = match of {
            Of::Plan if self.what.is_recommended() => NEAR,
            Of::Plan => 0.0,
            Of::Sample if self.what.is_recommended() || self.what == What::Flow && single => HELD,
            Of::Sample => 0.0,
        };
        let least = self.least.map_or(0.0, |x| x * (1.0 - part) * (1.0 - DUST));
        let most = self.most.map_or(f64::INFINITY, |x| x * (1.0 + part) * (1.0 + DUST));
        let as_shown = |x: f64| match (of, self.what) {
            (Of::Plan, _) | (Of::Sample, What::Mass) => x,
            (_, What::Flow) => figures(x, 3),
            (_, What::Volume | What::RecommendedVolume) => figures(x, 4),
            (_, What::Time | What::RecommendedTime) => x.round(),
        };
        let (low, high) = (as_shown(low), as_shown(high));
        if high < least {
            Standing::Below
        } else if low > most {
            Standing::Above
        } else if low >= least && high <= most {
            Standing::Inside
        } else {
            Standing::Partly
        }
    }
}

fn figures(x: f64, n: u8) -> f64 {
    round::significant(x, n).ok().and_then(|text| text.parse().ok()).unwrap_or(x)
}

/// Everything that a method asks of a sample in such air.
#[must_use]
pub fn demands(values: &Values, air: Air) -> Vec<Demand> {
    [flow(values), volumes(values, air), recommended_volume(values), time(values), masses(values)]
        .into_iter()
        .flatten()
        .collect()
}

/// One of them.
#[must_use]
pub fn demand(values: &Values, what: What, air: Air) -> Option<Demand> {
    demands(values, air).into_iter().find(|d| d.what == what)
}

/// Of several ways of using a method, those that take a flow; all of them where it is not known.
#[must_use]
pub fn that_take<'e>(entries: &'e [Entry], flows: &[f64]) -> Vec<&'e Entry> {
    let takes = |e: &&Entry| takes_flows(&e.values, flows);
    entries.iter().filter(takes).collect()
}

/// Whether a method takes each of some flows.
#[must_use]
pub fn takes_flows(values: &Values, flows: &[f64]) -> bool {
    let Some(demand) = flow(values) else { return true };
    flows.iter().all(|f| demand.standing(*f, *f, Of::Plan) == Standing::Inside)
}

fn ranged(what: What, value: &Value, range: (f64, f64)) -> Demand {
    Demand {
        what,
        least: Some(range.0),
        most: Some(range.1),
        wants: value.shown.clone(),
        least_is: "",
        from: value.from.clone(),
        stated: Stated::default(),
    }
}

fn flow(values: &Values) -> Option<Demand> {
    Some(ranged(What::Flow, values.get("flow")?, values.range("flow")?))
}

fn volumes(values: &Values, air: Air) -> Option<Demand> {
    let (least, most) = (values.get("volume-min"), values.get("volume-max"));
    let limits = values.limits(air);
    let at = |v: Option<&Value>| v.and_then(|v| Some(v.at.as_ref()?.1.clone()));
    let stated = Stated {
        by_mass: at(least).is_some() && !limits.least_depends
            || at(most).is_some() && !limits.most_depends,
        least_open: limits.least_depends,
        most_open: limits.most_depends,
        of_dust: limits.load_max_mg.is_some() && at(most).is_some(),
    };
    let between = |least: Option<String>, most: Option<String>| match (least, most) {
        (Some(a), Some(b)) => Some(joined(&a, &b)),
        (Some(a), None) => Some(format!("{a} or more")),
        (None, Some(b)) => Some(format!("{b} or less")),
        (None, None) => None,
    };
    let wants = match air.concentration_mg_m3.filter(|_| stated.by_mass) {
        Some(c) => {
            let here = between(limits.least_l.map(volume), limits.most_l.map(volume))?;
            format!("{here} at {}", concentration(c))
        }
        None => {
            let shown = |v: Option<&Value>| v.map(|v| v.shown.clone());
            let as_stated = between(shown(least), shown(most))?;
            match at(most).or_else(|| at(least)) {
                Some(at) => format!("{as_stated} at {at}"),
                None => as_stated,
            }
        }
    };
    Some(Demand {
        what: What::Volume,
        least: limits.fixed_least_l,
        most: limits.fixed_most_l,
        wants,
        least_is: "",
        from: least.or(most)?.from.clone(),
        stated,
    })
}

fn recommended_volume(values: &Values) -> Option<Demand> {
    let (value, one) = (values.get("volume-recommended")?, values.one("volume-recommended")?);
    let wants = format!("{} recommended", volume(one));
    Some(Demand { wants, ..ranged(What::RecommendedVolume, value, (one, one)) })
}

fn time(values: &Values) -> Option<Demand> {
    if let (Some(value), Some(range)) = (values.get("duration"), values.range("duration")) {
        return Some(ranged(What::Time, value, range));
    }
    // A recommended volume at the method's flow is its time.
    let none = values.get("volume-recommended").is_none();
    let value = values.get("duration-recommended").filter(|_| none)?;
    let one = values.one("duration-recommended")?;
    let wants = format!("{} recommended", value.shown);
    Some(Demand { wants, ..ranged(What::RecommendedTime, value, (one, one)) })
}

fn masses(values: &Values) -> Option<Demand> {
    let limits = values.limits(Air::default());
    let (least, most) = (limits.least_mass, limits.most_mass_mg);
    let wants = match (least, most) {
        (Some((a, _)), Some(b)) => span(a, b, mass),
        (Some((a, "detected from")), None) => format!("{} or more to be detected", mass(a)),
        (Some((a, _)), None) => format!("{} or more", mass(a)),
        (None, Some(b)) => format!("{} or less", mass(b)),
        (None, None) => return None,
    };
    let from =
        ["loq", "mass", "volume-min", "volume-max", "lod"].iter().find_map(|key| values.get(key));
    Some(Demand {
        what: What::Mass,
        least: least.map(|l| l.0),
        most,
        wants,
        least_is: least.map_or("", |l| l.1),
        from: from.map_or_else(String::new, |v| v.from.clone()),
        stated: Stated::default(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(what: What, least: f64, most: f64) -> Demand {
        Demand {
            what,
            least: Some(least),
            most: Some(most),
            wants: String::new(),
            least_is: "",
            from: String::new(),
            stated: Stated::default(),
        }
    }

    #[test]
    fn a_plan_is_compared_as_it_is() {
        let volume = range(What::Volume, 17.0, 333.0);
        let at = |x: f64| volume.standing(x, x, Of::Plan);
        assert_eq!([at(17.0), at(333.0)], [Standing::Inside; 2]);
        assert_eq!([at(16.99), at(333.02)], [Standing::Below, Standing::Above]);
        assert_eq!(volume.standing(10.0, 20.0, Of::Plan), Standing::Partly);
        let recommended = range(What::RecommendedVolume, 12.0, 12.0);
        assert_eq!(recommended.standing(12.1, 12.1, Of::Plan), Standing::Inside);
        assert_eq!(recommended.standing(12.2, 12.2, Of::Plan), Standing::Above);
    }

    #[test]
    fn a_sample_is_compared_as_it_is_shown() {
        let at = |d: &Demand, x: f64| d.standing(x, x, Of::Sample);
        let flow = range(What::Flow, 1.0, 2.0);
        assert_eq!(at(&flow, 2.004), Standing::Inside, "2.00");
        assert_eq!(at(&flow, 2.006), Standing::Above, "2.01");
        assert_eq!(at(&flow, 0.994), Standing::Below, "0.994");
        let one = range(What::Flow, 1.7, 1.7);
        assert_eq!([at(&one, 1.62), at(&one, 1.78)], [Standing::Inside; 2], "within 5 %");
        assert_eq!([at(&one, 1.60), at(&one, 1.80)], [Standing::Below, Standing::Above]);
        let day = range(What::Time, 1_380.0, 1_500.0);
        assert_eq!([at(&day, 1_379.6), at(&day, 1_500.4)], [Standing::Inside; 2]);
        assert_eq!([at(&day, 1_379.4), at(&day, 1_500.6)], [Standing::Below, Standing::Above]);
        let volume = range(What::Volume, 240.0, 1_050.0);
        assert_eq!(at(&volume, 239.96), Standing::Inside, "240.0");
        assert_eq!(at(&volume, 239.9), Standing::Below);
    }
}
