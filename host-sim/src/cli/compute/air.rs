//! `volume`, `standard`, `rotameter`.

use super::super::io::Failure;
use super::drift::{Rule, flag_drift};
use super::read::{air, positive, problem, wrong};
use super::shown::{Shown, number};
use super::verify::Use;
use crate::hygiene::air::{Conditions, rotameter_factor, standard_factor, standard_volume_l};
use crate::hygiene::parse::Kind;
use crate::hygiene::period::Period;
use crate::hygiene::verify::{FlowChoice, verify};
use crate::hygiene::volume::{Sampled, beside, mean_flow_time_l};
use crate::hygiene::{source, strictly_over};

/// Volume = flow x time; with --integrated, beside what the pump counted, the difference explained.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute volume --before \"2.02 L/min\" --after \"1.98 L/min\" --time \"240 min\"
  draught compute volume --before \"2.0 L/min\" --use before --time \"8 h\"
  draught compute volume --before \"2.01 L/min\" --after \"1.99 L/min\" --time \"8 h\" --pumping \"7 h 30 min\" --integrated \"899.7 L\"
  draught compute volume --before \"16.67 L/min\" --use before --time \"1440 min\" --period pm25")]
pub struct Volume {
    /// Verified flow before, at the inlet.
    #[arg(long, value_name = "FLOW")]
    before: String,
    /// Verified flow after.
    #[arg(long, value_name = "FLOW")]
    after: Option<String>,
    /// Which flow is used.
    #[arg(long = "use", value_name = "WHICH", value_enum, default_value = "mean")]
    choice: Use,
    /// The cyclone's nominal flow, for --use nominal.
    #[arg(long, value_name = "FLOW")]
    nominal: Option<String>,
    #[command(flatten)]
    rule: Rule,
    /// From start to stop.
    #[arg(long, value_name = "DURATION")]
    time: String,
    /// Of these, with the pump at work; all of them, unless given.
    #[arg(long, value_name = "DURATION")]
    pumping: Option<String>,
    /// What the pump counted.
    #[arg(long, value_name = "VOLUME")]
    integrated: Option<String>,
    /// A rule for the length of the sample.
    #[arg(long, value_name = "RULE", value_enum)]
    period: Option<PeriodRule>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum PeriodRule {
    /// 1380 to 1500 min.
    Pm25,
    /// 1440 +/- 60 min.
    Tsp,
}

impl Volume {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("volume");
        let before = positive("--before", &self.before, Kind::Flow)?;
        shown.given("flow before", &self.before);
        let after = match &self.after {
            None => None,
            Some(text) => {
                shown.given("flow after", text);
                Some(positive("--after", text, Kind::Flow)?)
            }
        };
        let time = positive("--time", &self.time, Kind::Duration)?;
        shown.given("time", &self.time);
        let choice = self.choice.choice(self.nominal.as_deref())?;
        if after.is_none() && matches!(choice, FlowChoice::Mean | FlowChoice::Lower) {
            return Err(wrong(
                "--after",
                "there is no flow after",
                "measure it and give it; or add --use before",
            ));
        }
        let found = verify(before, after, self.rule.limit()?, choice)
            .map_err(|p| problem("--after, --use", p))?;
        let flow = found.flow_used_l_per_min;
        let pumping = match &self.pumping {
            None => time,
            Some(text) => {
                shown.given("pumping", text);
                positive("--pumping", text, Kind::Duration)?
            }
        };
        if strictly_over(pumping, time) {
            return Err(wrong(
                "--pumping",
                "there is more pumping time than --time",
                "--time is from start to stop, pauses and outages included",
            ));
        }
        shown.note(format!("flow used: {}", choice.words()));
        let volume = mean_flow_time_l(flow, time).map_err(|p| problem("--before, --time", p))?;
        if let (FlowChoice::Mean, Some(after)) = (choice, after) {
            shown.formula(
                "Q = (before + after) / 2",
                format!("({} + {}) / 2 = {} L/min", number(before), number(after), number(flow)),
            );
        }
        shown.formula(
            "V = Q t",
            format!("{} L/min x {} min = {} L", number(flow), number(time), number(volume)),
        );
        shown.litres("mean flow x time", volume)?;
        shown.source(source::VOLUME);
        match found.difference_percent {
            Some(percent) => {
                shown.difference("after less before", percent, 1, "%")?;
                shown.source(found.limit.source);
            }
            None => shown
                .note("no flow after: drift is not known; the sample is not complete without it"),
        }
        flag_drift(&found, &mut shown);
        match choice {
            FlowChoice::Nominal(_) => shown.source(source::NOMINAL),
            FlowChoice::Lower => shown.source(source::LOWER_FLOW),
            FlowChoice::BeforeOnly => shown.source(source::BEFORE_ONLY),
            FlowChoice::Mean => {}
        }
        match &self.integrated {
            Some(text) => {
                shown.given("integrated", text);
                let integrated = positive("--integrated", text, Kind::Volume)?;
                let sampled = Sampled {
                    integrated_l: integrated,
                    flow_used_l_per_min: flow,
                    flow_before_l_per_min: before,
                    flow_after_l_per_min: after,
                    elapsed_minutes: time,
                    pumping_minutes: pumping,
                    flow_kept_l_per_min: None,
                };
                let two = beside(&sampled).map_err(|p| problem("--integrated", p))?;
                shown.litres("integrated", integrated)?;
                shown.difference("difference", two.difference_l, 1, "L")?;
                shown.difference("in percent", two.difference_percent, 1, "%")?;
                for (why, litres) in &two.reasons {
                    shown.note(format!("{litres:+.1} L: {}", why.words()));
                }
                if two.uneven_drift_l > 0.0 {
                    shown.note(format!(
                        "if the flow did not change evenly, its mean is off by up to {:.1} L; integration is not",
                        two.uneven_drift_l
                    ));
                }
                shown.source(source::INTEGRATION);
            }
            None if self.pumping.is_some() => {
                let worked =
                    mean_flow_time_l(flow, pumping).map_err(|p| problem("--pumping", p))?;
                shown.litres("while pumping", worked)?;
            }
            None => {}
        }
        if let Some(rule) = self.period {
            let (rule, code, says) = match rule {
                PeriodRule::Pm25 => (
                    Period::PM25,
                    "time-outside",
                    "pumping time is outside 1380 to 1500 min: flagged, needs review",
                ),
                PeriodRule::Tsp => (
                    Period::TSP,
                    "time-outside",
                    "pumping time is outside 1440 +/- 60 min: not valid by the method",
                ),
            };
            if !rule.holds(pumping).map_err(|p| problem("--time", p))? {
                shown.flag(code, says);
            }
            shown.source(rule.source);
        }
        shown.caution("the volume is actual, at the inlet; say so beside every result");
        Ok(shown)
    }
}

/// An actual volume at standard conditions: 25 C and 760 mm Hg, unless others are given.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute standard --volume \"24.0 m3\" --air \"10 C, 630 mm Hg\"
  draught compute standard --volume \"480 L\" --air \"31 C, 99.1 kPa\" --standard \"20 C, 101.325 kPa\"")]
pub struct Standard {
    /// Actual volume.
    #[arg(long, value_name = "VOLUME")]
    volume: String,
    /// Mean temperature and pressure of the air at the inlet; the pressure at the place, not reduced to sea level.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    air: String,
    /// Other standard conditions.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    standard: Option<String>,
}

impl Standard {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("standard");
        let volume = positive("--volume", &self.volume, Kind::Volume)?;
        let actual = air("--air", &self.air)?;
        shown.given("actual volume", &self.volume);
        shown.given("air", &self.air);
        let standard = match &self.standard {
            None => {
                shown.given("standard conditions", "25 C, 760 mm Hg (US EPA)");
                shown.source(source::STANDARD);
                Conditions::EPA_STANDARD
            }
            Some(text) => {
                shown.given("standard conditions", &format!("{text} (as given)"));
                air("--standard", text)?
            }
        };
        let factor = standard_factor(actual, standard);
        let result =
            standard_volume_l(volume, actual, standard).map_err(|p| problem("--volume", p))?;
        shown.formula(
            "Vstd = V (P / Pstd) (Tstd / T)",
            format!(
                "{} L x ({} / {} kPa) x ({} / {} K) = {} L",
                number(volume),
                number(actual.pressure_kpa()),
                number(standard.pressure_kpa()),
                number(standard.temperature_k()),
                number(actual.temperature_k()),
                number(result)
            ),
        );
        shown.result("factor", factor, 4, "")?;
        shown.litres("standard volume", result)?;
        shown.source(source::PM25_ACTUAL);
        shown.caution("TSP and PM10 are stated at standard volume, PM2.5 and workplace samples at actual volume: never mix them");
        shown.caution("station pressure is wanted; a weather report gives it reduced to sea level");
        Ok(shown)
    }
}

/// The volume by a rotameter that is read in other air than that in which it was calibrated.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught compute rotameter --flow \"2.0 L/min\" --time \"480 min\" --calibration \"25 C, 760 mm Hg\" --site \"35 C, 630 mm Hg\"

For rotameters only: no other meter is corrected like this.")]
pub struct Rotameter {
    /// Flow as read.
    #[arg(long, value_name = "FLOW")]
    flow: String,
    /// Sampling time.
    #[arg(long, value_name = "DURATION")]
    time: String,
    /// The air in which the rotameter was calibrated.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    calibration: String,
    /// The air in which it was read.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    site: String,
}

impl Rotameter {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("rotameter");
        let flow = positive("--flow", &self.flow, Kind::Flow)?;
        let time = positive("--time", &self.time, Kind::Duration)?;
        let calibration = air("--calibration", &self.calibration)?;
        let site = air("--site", &self.site)?;
        for (name, text) in [
            ("flow read", &self.flow),
            ("time", &self.time),
            ("air of calibration (c)", &self.calibration),
            ("air of sampling (s)", &self.site),
        ] {
            shown.given(name, text);
        }
        let uncorrected = mean_flow_time_l(flow, time).map_err(|p| problem("--flow, --time", p))?;
        let factor = rotameter_factor(calibration, site);
        let corrected =
            mean_flow_time_l(flow * factor, time).map_err(|p| problem("--flow, --time", p))?;
        shown.formula(
            "V = Q t sqrt(Pc Ts / (Ps Tc))",
            format!(
                "{} x {} x sqrt({} x {} / ({} x {})) = {} L",
                number(flow),
                number(time),
                number(calibration.pressure_kpa()),
                number(site.temperature_k()),
                number(site.pressure_kpa()),
                number(calibration.temperature_k()),
                number(corrected)
            ),
        );
        shown.result("factor", factor, 5, "")?;
        shown.rounded("volume", corrected, 1, "L")?;
        shown.rounded("not corrected", uncorrected, 1, "L")?;
        shown.source(source::ROTAMETER);
        shown.caution("for rotameters only; a bubble or piston meter, or a pump that controls its flow, is not corrected like this");
        Ok(shown)
    }
}
