//! What a method asks of a sample's volume and mass at a concentration: one rule for proposals, checks and results.
//!
//! A volume that a method states at a concentration stands for the mass that it holds there: NMAM 0500 takes 133 L at 15 mg/m³, which is
//! 1.995 mg, and at 0.5 mg/m³ that mass is in 3990 L. So where the concentration is known, the mass decides, and the volume follows.

use super::Values;

/// What is in the air that is sampled, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Air {
    /// What is measured, in mg/m³.
    pub concentration_mg_m3: Option<f64>,
    /// All dust, in mg/m³.
    pub dust_mg_m3: Option<f64>,
}

/// Between what volume and mass of one sample must lie.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// The least volume of all that is asked, in L.
    pub least_l: Option<f64>,
    /// The most.
    pub most_l: Option<f64>,
    /// The least volume that holds by itself, in L: stated for any concentration, or for one while that of the air is not known.
    pub fixed_least_l: Option<f64>,
    /// The most.
    pub fixed_most_l: Option<f64>,
    /// The least volume is stated for a concentration, and that of the air is not known: whether it holds cannot be told.
    pub least_depends: bool,
    /// The same of the most.
    pub most_depends: bool,
    /// The least mass in mg, and what it is.
    pub least_mass: Option<(f64, &'static str)>,
    /// The most mass that is measured, in mg.
    pub most_mass_mg: Option<f64>,
    /// The most dust on the filter, whatever is measured, in mg.
    pub load_max_mg: Option<f64>,
}

impl Values {
    /// Between what volume and mass of one sample must lie in such air.
    ///
    /// The method's own masses go before those of its volumes: the least is the LOQ, the bottom of the range, what the least volume holds, or the LOD; the most is
    /// the top of the range, or what the most volume holds. Where the method limits the dust on the filter, its most volume is that of the
    /// dust. V = 1000 · m / C.
    ///
    /// ```
    /// use draught_sim::methods::{Air, Library, Named};
    /// let library = Library::default();
    /// let Named::Found(_, entries) = library.named("nmam-0500") else { panic!() };
    /// let at = |c| entries[0].values.limits(Air { concentration_mg_m3: c, dust_mg_m3: None });
    /// assert_eq!((at(None).least_l, at(None).most_l), (Some(7.0), Some(133.0)));
    /// let thin = at(Some(0.5));
    /// assert!((thin.least_l.unwrap() - 210.0).abs() < 1e-9 && (thin.most_l.unwrap() - 3990.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn limits(&self, air: Air) -> Limits {
        let Air { concentration_mg_m3, dust_mg_m3 } = air;
        let stated = |key: &str| {
            let at = self.get(key)?.at.as_ref().map(|at| at.0);
            Some((self.one(key)?, at))
        };
        let (least, most) = (stated("volume-min"), stated("volume-max"));
        let held = |v: Option<(f64, Option<f64>)>| v.and_then(|(l, at)| Some(l * at? / 1_000.0));
        let load_max_mg = self.one("load-max");
        // A most volume of dust says nothing of the mass that is measured.
        let of_dust = load_max_mg.is_some();
        let least_mass = self.least_own_mass_mg().or_else(|| {
            held(least)
                .map(|mg| (mg, "what the least volume holds"))
                .or_else(|| self.one("lod").map(|mg| (mg, "detected from")))
        });
        let most_mass_mg =
            self.range("mass").map(|r| r.1).or_else(|| held(most).filter(|_| !of_dust));
        let most_air = if of_dust { dust_mg_m3 } else { concentration_mg_m3 };
        let fixed = |v: Option<(f64, Option<f64>)>, air: Option<f64>| {
            v.filter(|(_, at)| at.is_none() || air.is_none()).map(|v| v.0)
        };
        let depends = |v: Option<(f64, Option<f64>)>, air: Option<f64>| {
            v.is_some_and(|(_, at)| at.is_some()) && air.is_none()
        };
        let (fixed_least_l, fixed_most_l) =
            (fixed(least, concentration_mg_m3), fixed(most, most_air));
        let for_mass = |mg: Option<f64>, air: Option<f64>| Some(1_000.0 * mg? / air?);
        let by_mass = for_mass(least_mass.map(|m| m.0), concentration_mg_m3);
        let at_most = [
            fixed_most_l,
            for_mass(most_mass_mg, concentration_mg_m3),
            for_mass(load_max_mg, dust_mg_m3),
        ];
        Limits {
            least_l: [fixed_least_l, by_mass].into_iter().flatten().reduce(f64::max),
            most_l: at_most.into_iter().flatten().reduce(f64::min),
            fixed_least_l,
            fixed_most_l,
            least_depends: depends(least, concentration_mg_m3),
            most_depends: depends(most, most_air),
            least_mass,
            most_mass_mg,
            load_max_mg,
        }
    }

    /// The values without the volumes, where others are given by hand.
    #[must_use]
    pub fn without_volumes(&self) -> Self {
        let keep = |key: &str| !matches!(key, "volume-min" | "volume-max" | "volume-recommended");
        Self(self.0.iter().filter(|v| keep(v.key)).cloned().collect())
    }
}
