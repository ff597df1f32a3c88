//! The library of methods: what a published method asks of a sample, each value with its source and how it was come by.
//!
//! Entries are TOML files; those in `host-sim/methods/` come with the program, and a user adds or replaces some with files of
//! their own. What is only remembered is shown as such and never decides anything.

mod agree;
pub mod fit;
mod library;
mod limits;
mod read;
pub mod units;

pub use library::{BUILT_IN, Library, Named, Unusable};
pub use limits::{Air, Limits};
pub use read::read;

use crate::hygiene::parse::Kind;
pub use crate::hygiene::source::How;

/// What a value is. Numbers are in L/min, L, mg, min, mm² and fibres/mm².
#[derive(Clone, Debug, PartialEq)]
pub enum Is {
    /// A text.
    Text(String),
    /// A number.
    One(f64),
    /// A least and a most.
    Range(f64, f64),
}

/// A value with its source.
#[derive(Clone, Debug, PartialEq)]
pub struct Value {
    /// Its key.
    pub key: &'static str,
    /// What it is.
    pub is: Is,
    /// As it is written.
    pub shown: String,
    /// For a volume, the concentration for which the method states it: in mg/m³, and as it is written.
    pub at: Option<(f64, String)>,
    /// Where it comes from.
    pub from: String,
    /// How it was come by.
    pub tag: How,
}

/// At which conditions a method reports volumes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReportedAt {
    /// As drawn.
    Actual,
    /// At standard conditions.
    Standard,
}

impl Value {
    /// Of `conditions`: the first word decides, and what follows it says which standard.
    #[must_use]
    pub fn conditions(&self) -> Option<ReportedAt> {
        let first = self.shown.split(|c: char| !c.is_ascii_alphabetic()).next()?;
        match first {
            "actual" => Some(ReportedAt::Actual),
            "standard" => Some(ReportedAt::Standard),
            _ => None,
        }
    }
}

/// A remark with its source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// What it says.
    pub says: String,
    /// Where it comes from.
    pub from: String,
    /// How it was come by.
    pub tag: How,
}

/// Values by their keys.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Values(pub Vec<Value>);

/// One way of using a method: a sampler, a group of substances, a kind of sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    /// Its name behind the method's: "nylon".
    pub id: String,
    /// What it is.
    pub what: String,
    /// What differs from the method's own values.
    pub values: Values,
}

/// An entry of the library.
#[derive(Clone, Debug, PartialEq)]
pub struct Method {
    /// Its name: "nmam-0600".
    pub id: String,
    /// Its title.
    pub title: String,
    /// Who issues it.
    pub issuer: String,
    /// What is measured with it.
    pub measures: String,
    /// What is measured is the dust itself, all that comes onto the filter.
    pub is_dust: bool,
    /// Its values.
    pub values: Values,
    /// Its variants; where there are some, one of them is used.
    pub variants: Vec<Variant>,
    /// Remarks.
    pub notes: Vec<Note>,
    /// The file that it comes from; `None` if it comes with the program.
    pub file: Option<String>,
    /// Whether it takes the place of one that was there before it.
    pub replaces: bool,
}

/// A method in the variant that is used: all of its values.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// "nmam-0600/nylon", or "nmam-0500" where there are no variants.
    pub id: String,
    /// What the variant is; empty where there are none.
    pub what: String,
    /// The values, the variant's before the method's.
    pub values: Values,
}

impl Method {
    /// What it can be used as: each variant, or the method itself.
    #[must_use]
    pub fn entries(&self) -> Vec<Entry> {
        if self.variants.is_empty() {
            let values = self.values.clone();
            return vec![Entry { id: self.id.clone(), what: String::new(), values }];
        }
        let entry = |v: &Variant| {
            let values = v.values.over(&self.values);
            Entry { id: format!("{}/{}", self.id, v.id), what: v.what.clone(), values }
        };
        self.variants.iter().map(entry).collect()
    }
}

/// A key of a method's values.
pub struct KeyInfo {
    /// The key.
    pub key: &'static str,
    /// What it is, on screens.
    pub heading: &'static str,
    shape: Shape,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Shape {
    Text,
    Flow,
    FlowRange,
    Volume,
    Duration,
    DurationRange,
    Of(Kind),
    RangeOf(Kind),
}

impl KeyInfo {
    /// The unit in which its numbers are kept.
    #[must_use]
    pub const fn unit(&self) -> Option<&'static str> {
        match self.shape {
            Shape::Text => None,
            Shape::Flow | Shape::FlowRange => Some("L/min"),
            Shape::Volume => Some("L"),
            Shape::Duration | Shape::DurationRange => Some("min"),
            Shape::Of(kind) | Shape::RangeOf(kind) => Some(kind.base()),
        }
    }
}

const fn key(key: &'static str, heading: &'static str, shape: Shape) -> KeyInfo {
    KeyInfo { key, heading, shape }
}

/// Every key of a method's values, in the order in which they are shown.
pub const KEYS: &[KeyInfo] = &[
    key("sampler", "sampler", Shape::Text),
    key("flow", "flow", Shape::FlowRange),
    key("nominal-flow", "nominal flow", Shape::Flow),
    key("volume-min", "least volume", Shape::Volume),
    key("volume-max", "most volume", Shape::Volume),
    key("volume-recommended", "recommended volume", Shape::Volume),
    key("duration", "duration", Shape::DurationRange),
    key("duration-recommended", "recommended duration", Shape::Duration),
    key("lod", "detected from", Shape::Of(Kind::Mass)),
    key("loq", "quantified from", Shape::Of(Kind::Mass)),
    key("mass", "range of mass", Shape::RangeOf(Kind::Mass)),
    key("load-max", "most dust on the filter", Shape::Of(Kind::Mass)),
    key("area", "area of the filter", Shape::Of(Kind::Area)),
    key("density", "fibres on the filter", Shape::RangeOf(Kind::FibreDensity)),
    key("conditions", "volume reported at", Shape::Text),
    key("concentration-flow", "flow for the concentration", Shape::Text),
    key("blanks", "blanks", Shape::Text),
];

impl Values {
    /// These, and of others what is not among them.
    fn over(&self, others: &Self) -> Self {
        let more = others.0.iter().filter(|m| self.any(m.key).is_none()).cloned();
        let mut all: Vec<Value> = self.0.iter().cloned().chain(more).collect();
        all.sort_by_key(|v| KEYS.iter().position(|k| k.key == v.key));
        Self(all)
    }

    /// The value of a key, however it was come by.
    #[must_use]
    pub fn any(&self, key: &str) -> Option<&Value> {
        self.0.iter().find(|v| v.key == key)
    }

    /// The value of a key, unless it is only remembered: what decides something comes from here.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Value> {
        self.any(key).filter(|v| v.tag != How::Memory)
    }

    /// The number of a key that may decide something.
    #[must_use]
    pub fn one(&self, key: &str) -> Option<f64> {
        match self.get(key)?.is {
            Is::One(value) => Some(value),
            _ => None,
        }
    }

    /// The range of a key that may decide something.
    #[must_use]
    pub fn range(&self, key: &str) -> Option<(f64, f64)> {
        match self.get(key)?.is {
            Is::Range(least, most) => Some((least, most)),
            _ => None,
        }
    }

    /// The least mass that the method itself quantifies, in mg, and what it is: the LOQ, or the bottom of the range.
    fn least_own_mass_mg(&self) -> Option<(f64, &'static str)> {
        self.one("loq")
            .map(|mg| (mg, "quantified from"))
            .or_else(|| self.range("mass").map(|r| (r.0, "bottom of the method's range")))
    }
}
