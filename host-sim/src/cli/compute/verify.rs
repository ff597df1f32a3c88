//! `verify`.

use super::super::io::Failure;
use super::against::ambient;
use super::drift::{Rule, flag_drift, limit_words};
use super::read::{air, parts, positive, problem, wrong};
use super::shown::{Shown, number};
use crate::hygiene::air::{Conditions, MeterKind, MeterRead, both_at_site};
use crate::hygiene::parse::Kind;
use crate::hygiene::round;
use crate::hygiene::source;
use crate::hygiene::verify::{FlowChoice, Measured, Reading, Run, measure, off, verify};

/// Which flow enters the volume.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Use {
    /// Mean of before and after.
    Mean,
    /// The lower of the two.
    Lower,
    /// Before only.
    Before,
    /// The cyclone's nominal flow, where the method says so.
    Nominal,
}

impl Use {
    /// With the nominal flow, where that is wanted.
    pub fn choice(self, nominal: Option<&str>) -> Result<FlowChoice, Failure> {
        match (self, nominal) {
            (Self::Nominal, Some(text)) => {
                Ok(FlowChoice::Nominal(positive("--nominal", text, Kind::Flow)?))
            }
            (Self::Nominal, None) => Err(wrong(
                "--nominal",
                "it is missing, and --use nominal needs it",
                "give the cyclone's nominal flow, as in --nominal \"1.7 L/min\"",
            )),
            (_, Some(_)) => Err(wrong(
                "--nominal",
                "a nominal flow is given and not used",
                "add --use nominal, if the method says so; or leave it out",
            )),
            (Self::Mean, None) => Ok(FlowChoice::Mean),
            (Self::Lower, None) => Ok(FlowChoice::Lower),
            (Self::Before, None) => Ok(FlowChoice::BeforeOnly),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Meter {
    Bubble,
    Piston,
    Rotameter,
    Other,
}

/// Flow before and after, with the rule that is applied; or a sampler's indicated flow against a standard.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute verify --before \"2.01 L/min\" --after \"1.97 L/min\"
  draught compute verify --before \"2.01 L/min\" --before \"2.02 L/min\" --before \"2.01 L/min\" --after \"1.88 L/min\"
  draught compute verify --before-run \"500 mL, 14.9 s\" --before-run \"500 mL, 15.0 s\" --before-run \"500 mL, 15.1 s\"
  draught compute verify --before \"2.0 L/min\" --after \"2.0 L/min\" --meter rotameter --calibration-air \"25 C, 760 mm Hg\" --before-air \"12 C, 84 kPa\" --after-air \"18 C, 84 kPa\"
  draught compute verify --before \"2.09 L/min\" --required \"2.0 L/min\" --required-limit \"4 %\"
  draught compute verify --indicated \"16.67 L/min\" --standard \"16.10 L/min\" --required \"16.67 L/min\"

A difference over the limit flags a sample for review. It voids nothing by itself.")]
pub struct Verify {
    /// A reading before; several are averaged.
    #[arg(long, value_name = "FLOW", conflicts_with = "before_run")]
    before: Vec<String>,
    /// A timing before; three are wanted.
    #[arg(long, value_name = "VOLUME, TIME")]
    before_run: Vec<String>,
    /// A reading after; several are averaged.
    #[arg(long, value_name = "FLOW", conflicts_with = "after_run")]
    after: Vec<String>,
    /// A timing after; three are wanted.
    #[arg(long, value_name = "VOLUME, TIME")]
    after_run: Vec<String>,
    #[command(flatten)]
    rule: Rule,
    /// Which flow is used; mean, or before where there is none after.
    #[arg(long = "use", value_name = "WHICH", value_enum)]
    choice: Option<Use>,
    /// The cyclone's nominal flow, for --use nominal.
    #[arg(long, value_name = "FLOW")]
    nominal: Option<String>,
    /// What measured the flow.
    #[arg(long, value_name = "KIND", value_enum, default_value = "other")]
    meter: Meter,
    /// The air in which a rotameter was calibrated.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    calibration_air: Option<String>,
    /// The air at the readings before.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    before_air: Option<String>,
    /// The air at the readings after.
    #[arg(long, value_name = "TEMPERATURE, PRESSURE", allow_hyphen_values = true)]
    after_air: Option<String>,
    /// What a sampler outdoors indicates, against --standard.
    #[arg(long, value_name = "FLOW", requires = "standard", conflicts_with_all = ["before", "before_run", "after", "after_run"])]
    indicated: Option<String>,
    /// What a flow standard reads at the same time.
    #[arg(long, value_name = "FLOW", requires = "indicated")]
    standard: Option<String>,
    /// The flow that is required: that before, or the one indicated, is compared with it.
    #[arg(long, value_name = "FLOW")]
    required: Option<String>,
    /// Another limit for that, in percent of the required flow.
    #[arg(long, value_name = "PERCENT", requires = "required", conflicts_with = "indicated")]
    required_limit: Option<String>,
}

impl Verify {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        match (&self.indicated, &self.standard) {
            (Some(indicated), Some(standard)) => {
                ambient(indicated, standard, self.required.as_deref())
            }
            _ => self.before_and_after(),
        }
    }

    /// The flow before beside the one that is required.
    fn off_required(&self, before: f64, shown: &mut Shown) -> Result<(), Failure> {
        let Some(text) = &self.required else { return Ok(()) };
        let required = positive("--required", text, Kind::Flow)?;
        let limit = self.rule.required(self.required_limit.as_deref())?;
        shown.given("required", text);
        let (percent, over) = off(before, required, limit).map_err(|p| problem("--required", p))?;
        shown.formula(
            "d = 100 (before - required) / required",
            format!(
                "100 x ({} - {}) / {} = {} %",
                number(before),
                number(required),
                number(required),
                number(percent)
            ),
        );
        shown.difference("off the required flow", percent, 1, "%")?;
        if over {
            shown.flag(
                "off-required",
                format!(
                    "off the required flow {}: set the flow anew, and verify again",
                    limit_words(limit)
                ),
            );
        }
        shown.source(limit.source);
        Ok(())
    }

    fn before_and_after(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("verify");
        let limit = self.rule.limit()?;
        let Some((first, before)) = self.side(Side::Before, &mut shown)? else {
            return Err(wrong(
                "--before",
                "there is no flow before",
                "give a reading, as in --before \"2.01 L/min\"; or timings, --before-run \"500 mL, 14.9 s\"",
            ));
        };
        let last = self.side(Side::After, &mut shown)?;
        let (before, after) = self.at_site(before, last.map(|l| l.1), &mut shown)?;
        let mut apart = false;
        for (word, measured) in [("before", Some(first)), ("after", last.map(|l| l.0))] {
            if let Some(measured) = measured.filter(|m| m.is_apart(limit)) {
                apart = true;
                shown.flag(
                    "readings-apart",
                    format!(
                        "{word}: largest less smallest {} %, and {} they are hardly of one flow: read again, and leave out a slip of the pen",
                        round::to_places(measured.spread_percent.unwrap_or(0.0), 1).unwrap_or_default(),
                        limit_words(limit)
                    ),
                );
            }
        }
        if apart {
            shown.source(source::READINGS_APART);
        }
        let default = if after.is_some() { Use::Mean } else { Use::Before };
        let choice = self.choice.unwrap_or(default).choice(self.nominal.as_deref())?;
        let found = verify(before, after, limit, choice).map_err(|p| problem("--after", p))?;
        if let (Some(after), Some(percent)) = (after, found.difference_percent) {
            shown.formula(
                "d = 100 (after - before) / before",
                format!(
                    "100 x ({} - {}) / {} = {} %",
                    number(after),
                    number(before),
                    number(before),
                    number(percent)
                ),
            );
        }
        shown.result("flow before", found.before_l_per_min, 4, "L/min")?;
        match (found.after_l_per_min, found.difference_percent) {
            (Some(after), Some(percent)) => {
                shown.result("flow after", after, 4, "L/min")?;
                shown.difference("difference", percent, 1, "%")?;
            }
            _ => shown
                .note("no flow after: drift is not known; the sample is not complete without it"),
        }
        self.off_required(found.before_l_per_min, &mut shown)?;
        shown.result("flow used", found.flow_used_l_per_min, 4, "L/min")?;
        shown.note(format!("flow used: {}", choice.words()));
        if !flag_drift(&found, &mut shown) && found.difference_percent.is_some() {
            if apart {
                shown.verdict(
                    "cannot-tell",
                    "the difference cannot be told from readings that lie so far apart",
                );
            } else {
                let words = limit_words(limit);
                shown.verdict("within-limit", format!("within the limit ({words} is flagged)"));
            }
        }
        shown.source(limit.source);
        match choice {
            FlowChoice::Mean => shown.source(source::VOLUME),
            FlowChoice::Nominal(_) => shown.source(source::NOMINAL),
            FlowChoice::Lower => shown.source(source::LOWER_FLOW),
            FlowChoice::BeforeOnly => shown.source(source::BEFORE_ONLY),
        }
        shown.caution("verify with the sampler in line; the method says which flow is used when before and after differ");
        Ok(shown)
    }

    /// Both sides in the air of the site where the meter needs it, or neither.
    fn at_site(
        &self,
        before: (f64, Option<Conditions>),
        after: Option<(f64, Option<Conditions>)>,
        shown: &mut Shown,
    ) -> Result<(f64, Option<f64>), Failure> {
        let calibration = match &self.calibration_air {
            None => None,
            Some(text) => {
                shown.given("air of calibration", text);
                Some(air("--calibration-air", text)?)
            }
        };
        let meter = match self.meter {
            Meter::Bubble => MeterKind::Bubble,
            Meter::Piston => MeterKind::Piston,
            Meter::Rotameter => MeterKind::Rotameter,
            Meter::Other => MeterKind::Other,
        };
        let read = |(flow_l_per_min, site): (f64, Option<Conditions>)| MeterRead {
            flow_l_per_min,
            meter,
            calibration,
            site,
        };
        let (first, last) = both_at_site(read(before), after.map(read))
            .map_err(|p| problem("--before, --after", p))?;
        let airs = before.1.is_some() || after.is_some_and(|a| a.1.is_some());
        if airs || calibration.is_some() || self.meter == Meter::Rotameter {
            for (word, at) in [("before", Some(first)), ("after", last)] {
                if let Some(at) = at {
                    shown.note(format!("{word}: x {}, {}", number(at.factor), at.why));
                }
            }
            shown.source(source::ROTAMETER);
        }
        // Some air was given and not all: it was to be corrected, and is not.
        if self.meter == Meter::Rotameter && (airs || calibration.is_some()) && first.factor == 1.0
        {
            let sides = [
                ("--calibration-air", calibration.is_none()),
                ("--before-air", before.1.is_none()),
                ("--after-air", after.is_some_and(|a| a.1.is_none())),
            ];
            let missing: Vec<&str> = sides.iter().filter(|s| s.1).map(|s| s.0).collect();
            if !missing.is_empty() {
                shown.flag(
                    "rotameter-not-corrected",
                    format!(
                        "a rotameter is corrected on all sides or on none, and {} is missing: nothing is corrected; give it, or look it up for that day",
                        missing.join(" and ")
                    ),
                );
            }
        }
        Ok((first.flow_l_per_min, last.map(|l| l.flow_l_per_min)))
    }

    /// What was read on one side, its mean flow, and the air.
    fn side(&self, side: Side, shown: &mut Shown) -> Result<Option<SideRead>, Failure> {
        let (flows, runs, air_text) = match side {
            Side::Before => (&self.before, &self.before_run, &self.before_air),
            Side::After => (&self.after, &self.after_run, &self.after_air),
        };
        let [word, flow_arg, run_arg, air_arg] = match side {
            Side::Before => ["before", "--before", "--before-run", "--before-air"],
            Side::After => ["after", "--after", "--after-run", "--after-air"],
        };
        let site = match air_text {
            None => None,
            Some(text) => {
                shown.given(format!("air {word}"), text);
                Some(air(air_arg, text)?)
            }
        };
        let measured = if !flows.is_empty() {
            let read: Vec<f64> = flows
                .iter()
                .map(|f| positive(flow_arg, f, Kind::Flow))
                .collect::<Result<_, _>>()?;
            shown.given(word, &flows.join(", "));
            let sum: Vec<String> = read.iter().map(|q| number(*q)).collect();
            mean_of(word, &sum, "Q = mean of the readings", shown);
            measure(Reading::Flows(&read)).map_err(|p| problem(flow_arg, p))?
        } else if !runs.is_empty() {
            let mut read = Vec::new();
            for run in runs {
                let [volume, time] = parts(run_arg, run, "500 mL, 14.9 s")?;
                read.push(Run {
                    volume_ml: positive(run_arg, volume, Kind::Volume)? * 1000.0,
                    time_s: positive(run_arg, time, Kind::Duration)? * 60.0,
                });
            }
            shown.given(word, &runs.join("; "));
            shown.source(source::BUBBLE);
            let each = read.iter();
            let each: Vec<String> = each
                .map(|r| format!("{} / {}", number(r.volume_ml * 0.06), number(r.time_s)))
                .collect();
            mean_of(word, &each, "Q = mean of V / t (0.06 V in mL, t in s: L/min)", shown);
            measure(Reading::Timed(&read)).map_err(|p| problem(run_arg, p))?
        } else {
            return Ok(None);
        };
        said(word, &measured, shown);
        Ok(Some((measured, (measured.flow_l_per_min, site))))
    }
}

/// What was read on one side; its flow, and the air.
type SideRead = (Measured, (f64, Option<Conditions>));

#[derive(Clone, Copy)]
enum Side {
    Before,
    After,
}

/// The mean of one side, with its numbers.
fn mean_of(word: &str, each: &[String], formula: &'static str, shown: &mut Shown) {
    let with_numbers = match each {
        [one] => format!("{word}: {one}"),
        several => format!("{word}: ({}) / {}", several.join(" + "), several.len()),
    };
    shown.formula(formula, with_numbers);
}

fn said(word: &str, measured: &Measured, shown: &mut Shown) {
    if let Some(spread) = measured.spread_percent {
        let spread = round::to_places(spread, 2).unwrap_or_default();
        shown.note(format!("{word}: mean of {}, largest less smallest {spread} %", measured.count));
    }
    if measured.too_few_runs {
        shown.flag(
            "few-timings",
            format!(
                "{word}: {} timed, and three are wanted",
                if measured.count == 1 { "one" } else { "two" }
            ),
        );
    }
}
