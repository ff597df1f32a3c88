//! A flow and a time that satisfy a method, an expected concentration and the time there is; or why there are none.
//!
//! Pure: numbers in, numbers out. A sample of flow Q (L/min) and time t (min) draws the volume V = Q · t (L) and collects the mass
//! m = C · V / 1000 (mg) at a concentration C (mg/m³). Every demand is a limit of Q, of t or of V:
//!
//! * the method's flow range and the pump's;
//! * the method's volumes;
//! * the least mass that the laboratory can tell, at the concentration that is expected: V ≥ 1000 · m / C;
//! * the most mass that the method takes, at the larger of expected and limit concentration: V ≤ 1000 · m / C;
//! * the most dust that the filter takes, at the dust in the air;
//! * fibres on the filter by NMAM 7400, step 4: V = A · E / (1000 · L);
//! * the time there is, and what one sample must take of it;
//! * battery and filter, where a world says how long they last.

mod collide;
mod endure;
mod solve;

pub use collide::{Change, Collision, Remedy};
pub use endure::{PumpWorld, Runs};
pub use solve::{Endurance, propose};

use crate::hygiene::fibres;

/// What is wanted, and what there is. Flows in L/min, volumes in L, masses in mg, concentrations in mg/m³, times in min.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// The method's flow, least and most; a nominal flow twice.
    pub method_flow: Option<(f64, f64)>,
    /// The pump's.
    pub pump_flow: Option<(f64, f64)>,
    /// The least volume of a sample.
    pub volume_min_l: Option<f64>,
    /// The most.
    pub volume_max_l: Option<f64>,
    /// The one that the method recommends: aimed at exactly.
    pub volume_recommended_l: Option<f64>,
    /// The least mass that the laboratory can tell.
    pub least_mass_mg: Option<f64>,
    /// The most mass that the method takes.
    pub most_mass_mg: Option<f64>,
    /// The most dust that the filter takes.
    pub load_max_mg: Option<f64>,
    /// Dust in the air, where it is not what is measured.
    pub dust_mg_m3: Option<f64>,
    /// The concentration that is expected.
    pub expect_mg_m3: Option<f64>,
    /// The limit that it is compared with.
    pub limit_mg_m3: Option<f64>,
    /// Fibres that are counted.
    pub fibres: Option<Fibres>,
    /// The time there is.
    pub time_min: f64,
    /// What one sample must take of it, least and most.
    pub sample_min: Option<(f64, f64)>,
    /// How long a sample of the method may take, least and most.
    pub method_min: Option<(f64, f64)>,
    /// What it takes to change the sampler, pump off, between two samples; may be nothing.
    pub change_min: f64,
    /// More samples than this are not proposed.
    pub samples_at_most: u32,
}

impl Default for Wish {
    /// A shift of 8 h, and nothing else asked.
    fn default() -> Self {
        Self {
            method_flow: None,
            pump_flow: None,
            volume_min_l: None,
            volume_max_l: None,
            volume_recommended_l: None,
            least_mass_mg: None,
            most_mass_mg: None,
            load_max_mg: None,
            dust_mg_m3: None,
            expect_mg_m3: None,
            limit_mg_m3: None,
            fibres: None,
            time_min: 480.0,
            sample_min: None,
            method_min: None,
            change_min: 0.0,
            samples_at_most: 12,
        }
    }
}

/// Fibres that are counted on a filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fibres {
    /// The level that they are counted for, in fibres/mL: by NMAM 7400 one half of the current standard.
    pub level_f_ml: f64,
    /// The filter's collecting area, in mm².
    pub area_mm2: f64,
    /// Fibres on the filter, least and most, in fibres/mm².
    pub density_f_mm2: (f64, f64),
}

impl Fibres {
    /// The volume that gives so many fibres on the filter, in L: A · E / (1000 · L).
    #[must_use]
    pub fn volume_l(&self, density_f_mm2: f64) -> f64 {
        fibres::volume_l(self.area_mm2, density_f_mm2, self.level_f_ml)
    }

    /// The least and the most time at a flow, in min: t = A · E / (1000 · Q · L), NMAM 7400 issue 2, step 4.
    ///
    /// ```
    /// let fibres = draught_sim::propose::Fibres { level_f_ml: 0.1, area_mm2: 385.0, density_f_mm2: (100.0, 1300.0) };
    /// let (least, most) = fibres.minutes(2.0);
    /// assert!((least - 192.5).abs() < 1e-9 && (most - 2502.5).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn minutes(&self, flow_l_per_min: f64) -> (f64, f64) {
        let (least, most) = self.density_f_mm2;
        (self.volume_l(least) / flow_l_per_min, self.volume_l(most) / flow_l_per_min)
    }
}

/// The mass that a volume holds, in mg: m = C · V / 1000, with C in mg/m³ and V in L.
///
/// ```
/// // NMAM 0600: 20 L at 5 mg/m³ are the bottom of its range, 0.1 mg.
/// assert!((draught_sim::propose::mass_mg(5.0, 20.0) - 0.1).abs() < 1e-12);
/// ```
#[must_use]
pub fn mass_mg(concentration_mg_m3: f64, volume_l: f64) -> f64 {
    concentration_mg_m3 * volume_l / 1_000.0
}

/// The volume that holds a mass, in L: V = 1000 · m / C.
#[must_use]
pub fn volume_for_mass_l(mass_mg: f64, concentration_mg_m3: f64) -> f64 {
    mass_mg * 1_000.0 / concentration_mg_m3
}

/// Where a limit of the volume comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The method, or the hand that wrote it.
    Volume,
    /// The volume that the method recommends.
    Recommended,
    /// The least mass that the laboratory can tell.
    LeastMass,
    /// The most mass that the method takes.
    MostMass,
    /// The most dust that the filter takes.
    Load,
    /// Fibres on the filter.
    Fibres,
}

impl Source {
    /// As it is said.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Volume => "the method's volume",
            Self::Recommended => "the recommended volume",
            Self::LeastMass => "the least mass that can be told",
            Self::MostMass => "the most mass that the method takes",
            Self::Load => "the most dust that the filter takes",
            Self::Fibres => "the fibres on the filter",
        }
    }

    /// For machines.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Volume => "volume",
            Self::Recommended => "recommended",
            Self::LeastMass => "least-mass",
            Self::MostMass => "most-mass",
            Self::Load => "load",
            Self::Fibres => "fibres",
        }
    }
}

/// A limit of the volume, in L.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The volume.
    pub l: f64,
    /// Where it comes from.
    pub source: Source,
}

/// A number that no sample can have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// What is wrong, and the limit.
    pub says: String,
    /// What to do.
    pub help: String,
}

/// What is proposed.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The flow, in L/min.
    pub flow_l_per_min: f64,
    /// The flows among which it was chosen.
    pub flows_l_per_min: (f64, f64),
    /// How long each sample takes, in min.
    pub minutes: f64,
    /// How long it may take at that flow.
    pub minutes_between: (f64, f64),
    /// The volume of each sample, in L.
    pub volume_l: f64,
    /// The tightest limits of that volume.
    pub least: Option<Limit>,
    /// The same at the other end.
    pub most: Option<Limit>,
    /// How many samples follow each other.
    pub samples: u32,
    /// Pumping in all, in min.
    pub total_min: f64,
    /// Whether the samples cover the time there is.
    pub covers_all: bool,
    /// What a sample collects at the expected concentration, in mg.
    pub mass_expect_mg: Option<f64>,
    /// The same at the limit.
    pub mass_limit_mg: Option<f64>,
    /// Why this flow.
    pub why_flow: String,
    /// Why this many samples, and this time.
    pub why_time: String,
}

/// The answer to a wish.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// There is a flow and a time.
    Possible(Box<Proposal>),
    /// There is none: what collides.
    Impossible(Vec<Collision>),
}

impl Wish {
    /// The concentration at which the least mass must be there: the expected one, else the limit.
    #[must_use]
    pub fn low_mg_m3(&self) -> Option<f64> {
        self.expect_mg_m3.or(self.limit_mg_m3)
    }

    /// The concentration at which the most mass must not be passed: the larger of expected and limit.
    #[must_use]
    pub fn high_mg_m3(&self) -> Option<f64> {
        match (self.expect_mg_m3, self.limit_mg_m3) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        }
    }

    /// Every limit below which the volume must not be.
    #[must_use]
    pub fn least(&self) -> Vec<Limit> {
        let mut all = Vec::new();
        let mut add = |l: Option<f64>, source| all.extend(l.map(|l| Limit { l, source }));
        add(self.volume_min_l, Source::Volume);
        add(self.volume_recommended_l, Source::Recommended);
        let mass = self.least_mass_mg.zip(self.low_mg_m3());
        add(mass.map(|(mg, c)| volume_for_mass_l(mg, c)), Source::LeastMass);
        add(self.fibres.map(|f| f.volume_l(f.density_f_mm2.0)), Source::Fibres);
        all
    }

    /// Every limit above which the volume must not be.
    #[must_use]
    pub fn most(&self) -> Vec<Limit> {
        let mut all = Vec::new();
        let mut add = |l: Option<f64>, source| all.extend(l.map(|l| Limit { l, source }));
        add(self.volume_max_l, Source::Volume);
        add(self.volume_recommended_l, Source::Recommended);
        let mass = self.most_mass_mg.zip(self.high_mg_m3());
        add(mass.map(|(mg, c)| volume_for_mass_l(mg, c)), Source::MostMass);
        let load = self.load_max_mg.zip(self.dust_mg_m3);
        add(load.map(|(mg, c)| volume_for_mass_l(mg, c)), Source::Load);
        add(self.fibres.map(|f| f.volume_l(f.density_f_mm2.1)), Source::Fibres);
        all
    }

    /// Says which number no sample can have.
    ///
    /// # Errors
    /// [`Wrong`]: not a number, not above zero, a range that begins above its end, or no flow at all.
    pub fn check(&self) -> Result<(), Wrong> {
        let one = |name: &'static str, value: Option<f64>| value.map(|v| (name, v, v));
        let two = |name: &'static str, range: Option<(f64, f64)>| range.map(|r| (name, r.0, r.1));
        let fibres = self.fibres;
        let all = [
            two("the method's flow", self.method_flow),
            two("the pump's flow", self.pump_flow),
            one("the least volume", self.volume_min_l),
            one("the most volume", self.volume_max_l),
            one("the recommended volume", self.volume_recommended_l),
            one("the least mass", self.least_mass_mg),
            one("the most mass", self.most_mass_mg),
            one("the most dust", self.load_max_mg),
            one("the dust in the air", self.dust_mg_m3),
            one("the expected concentration", self.expect_mg_m3),
            one("the limit", self.limit_mg_m3),
            one("the fibre concentration", fibres.map(|f| f.level_f_ml)),
            one("the filter's area", fibres.map(|f| f.area_mm2)),
            two("the number of fibres", fibres.map(|f| f.density_f_mm2)),
            one("the time there is", Some(self.time_min)),
            two("the time of one sample", self.sample_min),
            two("the method's time of one sample", self.method_min),
        ];
        for (name, least, most) in all.into_iter().flatten() {
            let usable = |v: f64| v.is_finite() && v > 0.0;
            if !usable(least) || !usable(most) {
                return Err(Wrong {
                    says: format!("{name} must be a number above zero"),
                    help: "write a number and its unit".to_owned(),
                });
            }
            if least > most {
                return Err(Wrong {
                    says: format!("{name} begins above its end"),
                    help: "the least comes first".to_owned(),
                });
            }
        }
        if self.method_flow.or(self.pump_flow).is_none() {
            return Err(Wrong {
                says: "no flow is known".to_owned(),
                help: "give a method, or --flow, or the pump's range with --pump".to_owned(),
            });
        }
        if !self.change_min.is_finite() || self.change_min < 0.0 {
            return Err(Wrong {
                says: "the time to change the sampler cannot be negative".to_owned(),
                help: "write a number and its unit".to_owned(),
            });
        }
        if self.samples_at_most == 0 {
            return Err(Wrong {
                says: "at least one sample is wanted".to_owned(),
                help: "give --samples 1 or more".to_owned(),
            });
        }
        Ok(())
    }
}
