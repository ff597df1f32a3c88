//! `concentration`, `ppm`.

use super::super::io::Failure;
use super::read::{air, amount, parts, positive, problem, quantity, wrong};
use super::shown::{Shown, amount as put_in, number};
use crate::hygiene::concentration::{
    Blank, Breakthrough, Part, Weighed, concentration_mg_m3, mean_of_blanks_mg, net_between_mg,
    sorbent_mg, together_mg_m3,
};
use crate::hygiene::parse::{self, Kind};
use crate::hygiene::ppm::{MolarVolume, mg_m3_to_ppm, ppm_to_mg_m3};
use crate::hygiene::{Amount, source};

/// Mass over volume. One of: --mass, --weighed (filter), --front and --back (sorbent), several --sample.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute concentration --mass \"0.412 mg\" --volume \"480 L\"
  draught compute concentration --mass \"< 0.03 mg\" --volume \"480 L\"
  draught compute concentration --weighed \"14.200 mg, 14.618 mg\" --blank \"0.004 mg\" --blank \"-0.002 mg\" --detection \"0.03 mg\" --volume \"480 L\"
  draught compute concentration --mass \"0.412 mg\" --blank \"0.012 mg\" --blank \"< 0.010 mg\" --volume \"480 L\"
  draught compute concentration --front \"0.85 mg\" --back \"< 0.01 mg\" --volume \"12 L\"
  draught compute concentration --sample \"0.855 mg, 405 L\" --sample \"0.619 mg, 326 L\"")]
pub struct Concentration {
    /// What the laboratory found, or "< limit".
    #[arg(long, value_name = "MASS", conflicts_with_all = ["weighed", "front", "sample"])]
    mass: Option<String>,
    /// A filter before and after sampling.
    #[arg(long, value_name = "MASS, MASS", conflicts_with_all = ["front", "sample"])]
    weighed: Option<String>,
    /// Front section of a sorbent tube, or "< limit".
    #[arg(long, value_name = "MASS", requires = "back", conflicts_with = "sample")]
    front: Option<String>,
    /// Back section, or "< limit".
    #[arg(long, value_name = "MASS", requires = "front")]
    back: Option<String>,
    /// A field blank: what was found on it, by how much it changed, or "< limit". Several are averaged.
    #[arg(long, value_name = "MASS", allow_hyphen_values = true, conflicts_with_all = ["front", "sample"])]
    blank: Vec<String>,
    /// Front section of the blank tubes, their mean.
    #[arg(long, value_name = "MASS", requires = "front")]
    blank_front: Option<String>,
    /// Back section of the blank tubes, their mean.
    #[arg(long, value_name = "MASS", requires = "front")]
    blank_back: Option<String>,
    /// The method's limit of detection.
    #[arg(long, value_name = "MASS")]
    detection: Option<String>,
    /// Sampled volume.
    #[arg(long, value_name = "VOLUME", conflicts_with = "sample")]
    volume: Option<String>,
    /// One of several samples that belong together.
    #[arg(long, value_name = "MASS, VOLUME")]
    sample: Vec<String>,
}

impl Concentration {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("concentration");
        if self.sample.is_empty() {
            self.one(&mut shown)?;
        } else {
            self.several(&mut shown)?;
        }
        shown.caution(
            "blanks, limits and corrections are those of the method and the accredited laboratory",
        );
        Ok(shown)
    }

    fn detection(&self, shown: &mut Shown) -> Result<Option<f64>, Failure> {
        let Some(text) = &self.detection else { return Ok(None) };
        shown.given("limit of detection", text);
        positive("--detection", text, Kind::Mass).map(Some)
    }

    fn one(&self, shown: &mut Shown) -> Result<(), Failure> {
        let mass = if let Some(text) = &self.mass {
            self.found(text, shown)?
        } else if let Some(text) = &self.weighed {
            self.filter(text, shown)?
        } else if let (Some(front), Some(back)) = (&self.front, &self.back) {
            self.tube(front, back, shown)?
        } else {
            return Err(wrong(
                "--mass",
                "there is no mass",
                "give --mass, --weighed, --front and --back, or several --sample",
            ));
        };
        let Some(text) = &self.volume else {
            return Err(wrong(
                "--volume",
                "there is no volume",
                "give it, as in --volume \"480 L\"",
            ));
        };
        let volume = positive("--volume", text, Kind::Volume)?;
        shown.given("volume", text);
        let found = concentration_mg_m3(mass, volume).map_err(|p| problem("--volume", p))?;
        shown.formula(
            "C = 1000 m / V",
            format!("1000 x {} mg / {} L = {} mg/m3", put_in(mass), number(volume), put_in(found)),
        );
        shown.amount("mass", mass, figures(mass), "mg")?;
        said(found, shown)
    }

    fn found(&self, text: &str, shown: &mut Shown) -> Result<Amount, Failure> {
        shown.given("mass", text);
        let mass = found_mass("--mass", text)?;
        let blank = self.mean_blank(shown)?;
        let detection = self.detection(shown)?;
        shown.source(source::GRAVIMETRIC);
        match mass {
            Amount::Found(m) => {
                if let Some(blank) = blank {
                    shown.formula(
                        "m = found - mean of blanks",
                        format!("{} - {} mg", number(m), mean_text(blank)),
                    );
                }
                net_between_mg(m, blank.unwrap_or_default(), detection)
                    .map_err(|p| problem("--mass, --blank", p))
            }
            below => {
                if blank.is_some() {
                    shown.note("below its limit already: the blank is not subtracted from a limit");
                }
                Ok(below)
            }
        }
    }

    /// The mean of the blanks, at least and at most.
    fn mean_blank(&self, shown: &mut Shown) -> Result<Option<(f64, f64)>, Failure> {
        if self.blank.is_empty() {
            shown.note("no field blank given: nothing is subtracted");
            return Ok(None);
        }
        shown.given("blanks", &self.blank.join(", "));
        let read: Vec<Blank> = self.blank.iter().map(|b| blank(b)).collect::<Result<_, _>>()?;
        let mean = mean_of_blanks_mg(&read).map_err(|p| problem("--blank", p))?;
        if read.iter().any(|b| matches!(b, Blank::Below(_))) {
            shown.note(format!(
                "blanks below a limit: their mean is {} mg, and none is left out of it",
                mean_text(mean)
            ));
        }
        Ok(Some(mean))
    }

    fn filter(&self, text: &str, shown: &mut Shown) -> Result<Amount, Failure> {
        let [before, after] = parts("--weighed", text, "14.200 mg, 14.618 mg")?;
        shown.given("filter before", before);
        shown.given("filter after", after);
        let filter = Weighed {
            before_mg: quantity("--weighed", before, Kind::Mass)?,
            after_mg: quantity("--weighed", after, Kind::Mass)?,
        };
        let blank = self.mean_blank(shown)?;
        let detection = self.detection(shown)?;
        shown.formula(
            "m = (W2 - W1) - mean of (B2 - B1)",
            format!(
                "({} - {}) - {} mg",
                number(filter.after_mg),
                number(filter.before_mg),
                mean_text(blank.unwrap_or_default())
            ),
        );
        shown.source(source::GRAVIMETRIC);
        let change = filter.change_mg().map_err(|p| problem("--weighed", p))?;
        net_between_mg(change, blank.unwrap_or_default(), detection)
            .map_err(|p| problem("--weighed, --blank", p))
    }

    fn tube(&self, front: &str, back: &str, shown: &mut Shown) -> Result<Amount, Failure> {
        shown.given("front", front);
        shown.given("back", back);
        let (f, b) = (found_mass("--front", front)?, found_mass("--back", back)?);
        let mut blank = |argument: &str, name: &str, text: &Option<String>| match text {
            None => Ok(0.0),
            Some(text) => {
                shown.given(name, text);
                quantity(argument, text, Kind::Mass)
            }
        };
        let blank_front = blank("--blank-front", "front of the blanks", &self.blank_front)?;
        let blank_back = blank("--blank-back", "back of the blanks", &self.blank_back)?;
        let detection = self.detection(shown)?;
        let tube = sorbent_mg(f, b, blank_front, blank_back, detection)
            .map_err(|p| problem("--front, --back", p))?;
        shown.formula(
            "m = Wf + Wb - Bf - Bb",
            format!(
                "{} + {} - {} - {} mg",
                put_in(f),
                put_in(b),
                number(blank_front),
                number(blank_back)
            ),
        );
        match tube.breakthrough {
            Breakthrough::Yes => shown.flag("breakthrough", tube.breakthrough.words()),
            Breakthrough::CannotTell => {
                shown.flag("breakthrough-unknown", tube.breakthrough.words())
            }
            Breakthrough::No => shown.verdict("no-breakthrough", tube.breakthrough.words()),
        }
        shown.source(source::SORBENT);
        shown.source(source::BREAKTHROUGH);
        Ok(tube.mass_mg)
    }

    fn several(&self, shown: &mut Shown) -> Result<(), Failure> {
        let mut read = Vec::new();
        for (i, text) in self.sample.iter().enumerate() {
            let [mass, volume] = parts("--sample", text, "0.855 mg, 405 L")?;
            shown.given(format!("sample {}", i + 1), text);
            read.push(Part {
                mass_mg: found_mass("--sample", mass)?,
                volume_l: positive("--sample", volume, Kind::Volume)?,
            });
        }
        let found = together_mg_m3(&read).map_err(|p| problem("--sample", p))?;
        let sum = |each: Vec<String>| each.join(" + ");
        shown.formula(
            "C = 1000 (m1 + m2 + ...) / (V1 + V2 + ...)",
            format!(
                "1000 x ({}) mg / ({}) L = {} mg/m3",
                sum(read.iter().map(|p| put_in(p.mass_mg)).collect()),
                sum(read.iter().map(|p| number(p.volume_l)).collect()),
                put_in(found)
            ),
        );
        shown.source(source::GRAVIMETRIC);
        shown.note("samples of one person over one time: the mean over all of it");
        said(found, shown)
    }
}

/// A field blank: a mass, a change of mass with its sign, or "< limit".
fn blank(text: &str) -> Result<Blank, Failure> {
    if text.trim_start().starts_with('<') {
        return Ok(match amount("--blank", text, Kind::Mass)? {
            Amount::Below(mg) => Blank::Below(mg),
            other => Blank::Found(other.low()),
        });
    }
    quantity("--blank", text, Kind::Change).map(Blank::Found)
}

/// A mean within bounds, as it is put into a formula.
fn mean_text((least, most): (f64, f64)) -> String {
    if least == most { number(least) } else { format!("({} to {})", number(least), number(most)) }
}

/// What a laboratory found: never 0, which would be "< limit".
fn found_mass(argument: &str, text: &str) -> Result<Amount, Failure> {
    match amount(argument, text, Kind::Mass)? {
        Amount::Found(0.0) => Err(wrong(
            argument,
            "0 is no result of a laboratory",
            "write its limit of detection, as in \"< 0.03 mg\"",
        )),
        found => Ok(found),
    }
}

/// A limit is not known to three figures.
const fn figures(found: Amount) -> u8 {
    if matches!(found, Amount::Below(_)) { 2 } else { 3 }
}

fn said(found: Amount, shown: &mut Shown) -> Result<(), Failure> {
    shown.amount("concentration", found, figures(found), "mg/m3")?;
    match found {
        Amount::Below(_) => {
            shown.note("below the limit of detection: this is \"less than\", and not 0")
        }
        Amount::Between(..) => {
            shown.note("within bounds: what is below a limit is taken as nothing, and as its limit")
        }
        Amount::AtLeast(_) => shown.note("a lower bound: what passed the tube is not known"),
        Amount::Found(_) => {}
    }
    Ok(())
}

/// mg/m3 to ppm, or ppm to mg/m3, of a gas or a vapour.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute ppm --concentration \"1000 ppm\" --molar-mass \"58.08 g/mol\"
  draught compute ppm --concentration \"590 mg/m3\" --molar-mass \"72.11 g/mol\" --air \"35 C, 84 kPa\"")]
pub struct Ppm {
    /// In ppm or mg/m3; also "< limit".
    #[arg(long, value_name = "CONCENTRATION")]
    concentration: String,
    /// Of the substance.
    #[arg(long, value_name = "MASS")]
    molar_mass: String,
    /// Reckon with R T / P of this air; 24.45 L/mol (25 C, 760 mm Hg), unless given.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    air: Option<String>,
}

impl Ppm {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("ppm");
        let text = &self.concentration;
        let (c, kind) = parse::read_concentration(text)
            .map_err(|e| wrong("--concentration", &e.message, e.help))?;
        let molar = positive("--molar-mass", &self.molar_mass, Kind::MolarMass)?;
        shown.given("concentration", text);
        shown.given("molar mass M", &self.molar_mass);
        let volume = match &self.air {
            None => {
                shown.given("molar volume Vm", "24.45 L/mol (customary; 25 C, 760 mm Hg)");
                MolarVolume::CUSTOMARY
            }
            Some(text) => {
                let volume = MolarVolume::exact(air("--air", text)?);
                shown.given(
                    "molar volume Vm",
                    &format!("R T / P = {} L/mol ({text})", number(volume.litres())),
                );
                volume
            }
        };
        let at = |p| problem("--concentration, --molar-mass", p);
        let (m, v) = (number(molar), number(volume.litres()));
        match kind {
            Kind::GasConcentration => {
                let found = ppm_to_mg_m3(c, molar, volume).map_err(at)?;
                shown.formula(
                    "mg/m3 = ppm M / Vm",
                    format!("{} x {m} / {v} = {}", put_in(c), put_in(found)),
                );
                shown.amount("concentration", found, 4, "mg/m3")?;
            }
            Kind::MassConcentration => {
                let found = mg_m3_to_ppm(c, molar, volume).map_err(at)?;
                shown.formula(
                    "ppm = mg/m3 Vm / M",
                    format!("{} x {v} / {m} = {}", put_in(c), put_in(found)),
                );
                shown.amount("concentration", found, 4, "ppm")?;
            }
            _ => {
                return Err(wrong(
                    "--concentration",
                    "fibres have no ppm",
                    "give ppm or mg/m3 of a gas or a vapour",
                ));
            }
        }
        shown.source(volume.source());
        shown.caution(
            "for gases and vapours only: dust has no ppm. Limits are stated at 25 C and 760 mm Hg",
        );
        Ok(shown)
    }
}
