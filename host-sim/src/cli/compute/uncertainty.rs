//! Uncertainty budgets.

use super::super::io::Failure;
use super::super::table::Side;
use super::read::{fraction, parts, plain, positive, problem, quantity, wrong};
use super::shown::{Shown, number};
use crate::hygiene::budgets::{
    ConcentrationKnown, VolumeKnown, concentration_budget, volume_budget,
};
use crate::hygiene::parse::Kind;
use crate::hygiene::source;
use crate::hygiene::uncertainty::{Budget, Spread, Term, budget};

/// An uncertainty budget: of a volume, of a concentration when --mass is given, or of terms of your own.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute uncertainty --flow \"2.0 L/min\" --calibration \"2 %\" --drift \"0.06 L/min\" --spread \"0.01 L/min\" --readings 3 --time \"240 min\" --time-within \"1 min\"
  draught compute uncertainty --flow \"2.0 L/min\" --calibration \"2 %\" --time \"240 min\" --mass \"0.412 mg\" --mass-u \"4 %\" --blank \"0.004 mg\" --blank-u \"0.002 mg\"
  draught compute uncertainty --value 100 --term \"flow, 5, rectangular\" --term \"time, 0.12, normal\"

--term is NAME, SIZE, KIND [, SENSITIVITY]. SIZE is half the width (rectangular, triangular, u-shaped) or the standard
uncertainty (normal, t4: from readings, with 4 degrees of freedom).")]
pub struct Uncertainty {
    /// The flow that is used.
    #[arg(long, value_name = "FLOW", requires = "time", conflicts_with = "term")]
    flow: Option<String>,
    /// Expanded uncertainty (k = 2) of the meter of the verification, in percent, as a certificate states it; field.toml wants the standard one, half of it.
    #[arg(long, value_name = "PERCENT", requires = "flow")]
    calibration: Option<String>,
    /// Difference of the flows before and after.
    #[arg(long, value_name = "FLOW", requires = "flow")]
    drift: Option<String>,
    /// Deviation of the readings of the verification.
    #[arg(long, value_name = "FLOW", requires = "readings")]
    spread: Option<String>,
    /// How many readings there were.
    #[arg(long, value_name = "N", requires = "spread")]
    readings: Option<usize>,
    /// Sampling time.
    #[arg(long, value_name = "DURATION", requires = "flow")]
    time: Option<String>,
    /// How far off the time may be, either way.
    #[arg(long, value_name = "DURATION", requires = "flow")]
    time_within: Option<String>,
    /// What the laboratory found.
    #[arg(long, value_name = "MASS", requires = "mass_u", requires = "flow")]
    mass: Option<String>,
    /// Its standard uncertainty: a mass, or a percentage of it.
    #[arg(long, value_name = "MASS", requires = "mass")]
    mass_u: Option<String>,
    /// What is subtracted as a blank.
    #[arg(long, value_name = "MASS", requires = "mass", requires = "blank_u")]
    blank: Option<String>,
    /// Its standard uncertainty.
    #[arg(long, value_name = "MASS", requires = "blank")]
    blank_u: Option<String>,
    /// The result, with terms of your own.
    #[arg(long, value_name = "NUMBER", requires = "term", allow_hyphen_values = true)]
    value: Option<String>,
    /// A term of your own.
    #[arg(long, value_name = "NAME, SIZE, KIND")]
    term: Vec<String>,
    /// How much is meant to lie within the expanded uncertainty.
    #[arg(long, value_name = "PERCENT", default_value = "95 %")]
    coverage: String,
}

impl Uncertainty {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let coverage = fraction("--coverage", &self.coverage)?;
        let mut shown = Shown::new("uncertainty");
        match (&self.flow, &self.time) {
            (Some(flow), Some(time)) => self.measured(flow, time, coverage, &mut shown)?,
            _ if !self.term.is_empty() => self.own(coverage, &mut shown)?,
            _ => {
                return Err(wrong(
                    "--flow",
                    "there is nothing to make a budget of",
                    "give --flow, --calibration and --time; or --value and --term",
                ));
            }
        }
        shown.source(source::GUM);
        shown.caution("terms are taken as independent; what sampling itself adds, and how days differ, is not in it");
        Ok(shown)
    }

    fn measured(
        &self,
        flow: &str,
        time: &str,
        coverage: f64,
        shown: &mut Shown,
    ) -> Result<(), Failure> {
        let mut optional = |argument: &str, name: &str, text: &Option<String>, kind| match text {
            None => Ok(None),
            Some(text) => {
                shown.given(name, text);
                quantity(argument, text, kind).map(Some)
            }
        };
        let flow_text = Some(flow.to_owned());
        let q = optional("--flow", "flow", &flow_text, Kind::Flow)?.unwrap_or(0.0);
        let calibration =
            optional("--calibration", "calibration, k = 2", &self.calibration, Kind::Percent)?;
        let drift = optional("--drift", "before less after", &self.drift, Kind::Flow)?;
        let spread = optional("--spread", "deviation of readings", &self.spread, Kind::Flow)?;
        let time_text = Some(time.to_owned());
        let t = optional("--time", "time", &time_text, Kind::Duration)?.unwrap_or(0.0);
        let within = optional("--time-within", "time within", &self.time_within, Kind::Duration)?;
        let volume = volume_budget(
            &VolumeKnown {
                flow_l_per_min: q,
                calibration_percent: Spread::Expanded {
                    expanded: calibration.unwrap_or(0.0),
                    k: 2.0,
                },
                drift_l_per_min: drift.unwrap_or(0.0),
                repeated: spread.zip(self.readings),
                minutes: t,
                time_half_width_min: within.unwrap_or(0.0),
                standard: None,
            },
            coverage,
        )
        .map_err(|p| {
            problem("--flow, --calibration, --drift, --spread, --readings, --time-within", p)
        })?;
        if let Some(n) = self.readings {
            shown.given("readings", &n.to_string());
        }
        let Some(mass_text) = &self.mass else {
            shown.formula(
                "V = Q t",
                format!("{} x {} = {} L", number(q), number(t), number(volume.result)),
            );
            return said(&volume, "volume", "L", shown);
        };
        let mass = positive("--mass", mass_text, Kind::Mass)?;
        shown.given("mass", mass_text);
        let mass_u = match &self.mass_u {
            None => {
                shown.note("no --mass-u: what the laboratory adds is NOT in it; ask the laboratory for its standard uncertainty");
                0.0
            }
            Some(text) => {
                shown.given("mass, standard u", text);
                if text.contains('%') {
                    mass * fraction("--mass-u", text)?
                } else {
                    quantity("--mass-u", text, Kind::Mass)?
                }
            }
        };
        let (mut blank, mut blank_spread) = (0.0, None);
        if let (Some(text), Some(u)) = (&self.blank, &self.blank_u) {
            shown.given("blank", text);
            shown.given("blank, standard u", u);
            blank = quantity("--blank", text, Kind::Mass)?;
            blank_spread = Some(Spread::Normal { standard: quantity("--blank-u", u, Kind::Mass)? });
        }
        let standard = volume.combined;
        let volume_spread = match volume.freedom {
            Some(freedom) => Spread::Student { standard, freedom },
            None => Spread::Normal { standard },
        };
        let known = ConcentrationKnown {
            mass_mg: mass,
            mass_spread: Spread::Normal { standard: mass_u },
            blank_mg: blank,
            blank_spread,
            volume_l: volume.result,
            volume_spread,
        };
        let found =
            concentration_budget(&known, coverage).map_err(|p| problem("--mass, --blank", p))?;
        shown.formula(
            "C = 1000 (m - b) / V",
            format!(
                "1000 x ({} - {}) / {} = {} mg/m3",
                number(mass),
                number(blank),
                number(volume.result),
                number(found.result)
            ),
        );
        shown.with_uncertainty("volume", volume.result, volume.expanded, "L")?;
        shown.note("the budget of the volume alone: the same without --mass");
        said(&found, "concentration", "mg/m3", shown)
    }

    fn own(&self, coverage: f64, shown: &mut Shown) -> Result<(), Failure> {
        let Some(value) = &self.value else {
            return Err(wrong("--value", "it is missing", "give the result, as in --value 100"));
        };
        shown.given("value", value);
        let value = plain("--value", value, "--value 100")?;
        let terms = self.term.iter().map(|t| own_term(t)).collect::<Result<Vec<_>, _>>()?;
        let found =
            budget(value, &terms, coverage).map_err(|p| problem("--term, --coverage", p))?;
        shown.formula("u = sqrt(sum of (c u)^2);  U = k u", {
            let squares: Vec<String> =
                found.lines.iter().map(|l| format!("{}^2", number(l.contribution))).collect();
            format!("sqrt({}) = {}", squares.join(" + "), number(found.combined))
        });
        said(&found, "value", "", shown)
    }
}

fn own_term(text: &str) -> Result<Term, Failure> {
    const EXAMPLE: &str = "flow, 5, rectangular";
    let (head, sensitivity) = match text.split(',').count() {
        4 => match text.rsplit_once(',') {
            Some((head, c)) => (head, plain("--term", c, "--term \"flow, 5, rectangular, 1\"")?),
            None => (text, 1.0),
        },
        _ => (text, 1.0),
    };
    let [name, size, kind] = parts("--term", head, EXAMPLE)?;
    let size = plain("--term", size, "--term \"flow, 5, rectangular\"")?;
    let spread = match kind {
        "normal" => Spread::Normal { standard: size },
        "rectangular" => Spread::Rectangular { half_width: size },
        "triangular" => Spread::Triangular { half_width: size },
        "u-shaped" => Spread::UShaped { half_width: size },
        other => match other.strip_prefix('t').map(|n| n.trim().parse::<f64>()) {
            Some(Ok(freedom)) => Spread::Student { standard: size, freedom },
            _ => {
                return Err(wrong(
                    "--term",
                    &format!("{other:?} is no kind of term"),
                    "kinds: normal, rectangular, triangular, u-shaped, or t with degrees of freedom, as in t4",
                ));
            }
        },
    };
    Ok(Term { name: name.to_owned(), value: 0.0, unit: "", spread, sensitivity })
}

/// Terms, then the combined and the expanded uncertainty.
fn said(found: &Budget, name: &str, unit: &'static str, shown: &mut Shown) -> Result<(), Failure> {
    let rows = found.lines.iter().map(|line| {
        let term = &line.term;
        let with_unit =
            |x: f64| format!("{} {}", number(four_figures(x)), term.unit).trim_end().to_owned();
        vec![
            term.name.clone(),
            with_unit(term.spread.stated()),
            term.spread.words().to_owned(),
            number(four_figures(term.spread.divisor())),
            number(four_figures(term.sensitivity)),
            format!("{} {unit}", number(four_figures(line.contribution))).trim_end().to_owned(),
            term.spread.freedom().map_or("inf".to_owned(), |v| number(four_figures(v))),
            format!("{:.1} %", line.share_percent),
        ]
    });
    shown.table(
        &[
            ("term", Side::Left),
            ("stated", Side::Right),
            ("spread", Side::Left),
            ("divisor", Side::Right),
            ("sensitivity", Side::Right),
            ("u in result", Side::Right),
            ("dof", Side::Right),
            ("share", Side::Right),
        ],
        rows.collect(),
    );
    shown.result("combined u", found.combined, 3, unit)?;
    if let Some(freedom) = found.freedom.filter(|v| *v < 1000.0) {
        shown.result("degrees of freedom", freedom, 3, "")?;
    }
    shown.result("coverage factor k", found.k, 3, "")?;
    shown.result("expanded U", found.expanded, 2, unit)?;
    if found.result != 0.0 {
        shown.result(
            "expanded, relative",
            100.0 * (found.expanded / found.result).abs(),
            2,
            "%",
        )?;
    }
    shown.with_uncertainty(name, found.result, found.expanded, unit)?;
    shown.note(format!(
        "+/- is the expanded uncertainty, {} % coverage",
        number(100.0 * found.coverage)
    ));
    Ok(())
}

/// To four significant figures, for tables.
fn four_figures(x: f64) -> f64 {
    crate::hygiene::round::significant(x, 4).ok().and_then(|t| t.parse().ok()).unwrap_or(x)
}
