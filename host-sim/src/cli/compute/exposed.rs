//! `twa`, `mixture`.

use super::super::io::Failure;
use super::read::{Assume, OneUnit, parts, positive, problem, quantity, wrong};
use super::shown::{Shown, amount as put_in, number};
use crate::hygiene::exposure::{Compared, Divisor, Stretch, Unsampled, Verdict, compare, mean};
use crate::hygiene::mixture::{Part, SilicaPercent, additive, silica_limit_mg_m3};
use crate::hygiene::parse::Kind;
use crate::hygiene::{Amount, source, strictly_over};

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Over {
    /// 8 h, whatever the shift.
    #[value(name = "8h")]
    EightHours,
    /// All hours exposed, sampled or not.
    Exposed,
}

/// Reads "2 h, 150 ppm".
pub(super) fn stretches(
    texts: &[String],
    units: &mut OneUnit,
    shown: &mut Shown,
) -> Result<Vec<Stretch>, Failure> {
    let mut read = Vec::new();
    for (i, text) in texts.iter().enumerate() {
        let [time, concentration] = parts("--sample", text, "2 h, 150 ppm")?;
        shown.given(format!("sample {}", i + 1), text);
        read.push(Stretch {
            minutes: positive("--sample", time, Kind::Duration)?,
            concentration: units.found("--sample", concentration)?,
        });
    }
    Ok(read)
}

/// What is assumed of the rest, from --assume or --at-most.
pub(super) fn assumed(
    assume: Option<Assume>,
    at_most: Option<&str>,
    units: &mut OneUnit,
) -> Result<Option<Unsampled>, Failure> {
    Ok(match (assume, at_most) {
        (_, Some(text)) => Some(Unsampled::AtMost(units.limit("--at-most", text)?)),
        (Some(assume), None) => Some(assume.into()),
        (None, None) => None,
    })
}

pub(super) fn compared(shown: &mut Shown, found: &Compared) -> Result<(), Failure> {
    shown.amount("share of the limit", found.share, 3, "")?;
    shown.verdict(code(found.verdict), found.verdict.words());
    Ok(())
}

/// The code of a verdict.
pub(super) const fn code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NotOver => "not-over",
        Verdict::Over => "over",
        Verdict::CannotTell => "cannot-tell",
    }
}

/// Time-weighted mean exposure, from samples that follow one another.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute twa --sample \"2 h, 150 ppm\" --sample \"2 h, 75 ppm\" --sample \"4 h, 50 ppm\" --limit \"100 ppm\"
  draught compute twa --sample \"7 h, 0.40 mg/m3\" --unsampled \"1 h\" --assume not-exposed
  draught compute twa --sample \"5 h, 0.40 mg/m3\" --sample \"2 h, < 0.10 mg/m3\" --unsampled \"1 h\" --at-most \"2 mg/m3\" --limit \"1 mg/m3\"
  draught compute twa --sample \"6 h, 0.19 mg/m3\" --over exposed
  draught compute twa --sample \"2 h, 150 ppm\" --unsampled \"6 h\" --assume not-exposed --over exposed

Nothing is assumed of time that was not sampled unless it is said: --unsampled needs --assume or --at-most. Without
--unsampled, what is left of the 8 h is not known, and the result a lower bound. With it, samples and --unsampled are
the whole shift.")]
pub struct Twa {
    /// Time and concentration of a sample; also "< limit".
    #[arg(long, value_name = "TIME, CONCENTRATION", required = true)]
    sample: Vec<String>,
    /// What the sum is divided by.
    #[arg(long, value_name = "HOURS", value_enum, default_value = "8h")]
    over: Over,
    /// Time at work without a sample.
    #[arg(long, value_name = "DURATION")]
    unsampled: Option<String>,
    /// What is assumed of it.
    #[arg(
        long,
        value_name = "WHAT",
        value_enum,
        requires = "unsampled",
        conflicts_with = "at_most"
    )]
    assume: Option<Assume>,
    /// The most that it can have been in that time.
    #[arg(long, value_name = "CONCENTRATION", requires = "unsampled")]
    at_most: Option<String>,
    /// The limit to compare with.
    #[arg(long, value_name = "CONCENTRATION")]
    limit: Option<String>,
}

impl Twa {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("twa");
        let mut units = OneUnit::default();
        let samples = stretches(&self.sample, &mut units, &mut shown)?;
        let assumption = assumed(self.assume, self.at_most.as_deref(), &mut units)?;
        let divisor = match self.over {
            Over::EightHours => Divisor::EightHours,
            Over::Exposed => Divisor::HoursExposed,
        };
        let sampled: f64 = samples.iter().map(|s| s.minutes).sum();
        let left = 480.0 - sampled;
        let unsampled = match (&self.unsampled, assumption) {
            (None, _) if divisor == Divisor::EightHours && strictly_over(480.0, sampled) => {
                shown.note(format!(
                    "{} h of the 8 h are neither sampled nor named, and not known: the result is a lower bound; name them with --unsampled and --assume",
                    number(left / 60.0)
                ));
                (left, Unsampled::Unknown)
            }
            (None, _) => (0.0, Unsampled::NotExposed),
            (Some(text), Some(assumption)) => {
                shown.given("not sampled", text);
                shown.note(format!("time not sampled: {}", assumption.words()));
                (quantity("--unsampled", text, Kind::Duration)?, assumption)
            }
            (Some(_), None) => {
                return Err(wrong(
                    "--unsampled",
                    "it is not said what is assumed of that time",
                    "add --assume not-exposed, as-sampled or unknown; or --at-most with a concentration",
                ));
            }
        };
        let found = mean(&samples, divisor, unsampled).map_err(|p| problem("--sample", p))?;
        let terms: Vec<String> = samples
            .iter()
            .map(|s| format!("{} x {}", put_in(s.concentration), number(s.minutes / 60.0)))
            .collect();
        let formula = match divisor {
            Divisor::EightHours => "E = (C1 T1 + C2 T2 + ...) / 8 h",
            Divisor::HoursExposed => "E = (C1 T1 + C2 T2 + ...) / hours exposed",
        };
        let rest = if found.unsampled_minutes > 0.0 { " + not sampled" } else { "" };
        shown.formula(
            formula,
            format!(
                "({}{rest}) / {} h = {}",
                terms.join(" + "),
                number(found.divisor_minutes / 60.0),
                put_in(found.value)
            ),
        );
        shown.amount(format!("exposure {}", divisor.words()), found.value, 4, units.unit())?;
        let known = found.sampled_minutes + found.unsampled_minutes;
        match divisor {
            Divisor::EightHours if strictly_over(480.0, known) => shown.note(format!(
                "samples and --unsampled are the whole shift: the other {} h of the 8 h are taken as without exposure",
                number((480.0 - known) / 60.0)
            )),
            Divisor::HoursExposed if found.unsampled_minutes > 0.0 => {
                shown.note(if unsampled.1 == Unsampled::NotExposed {
                    "hours without exposure are none of the hours exposed: not divided by"
                } else {
                    "the hours that were not sampled count as hours exposed"
                });
            }
            _ => {}
        }
        if let Some(text) = &self.limit {
            let limit = units.limit("--limit", text)?;
            shown.given("limit", text);
            compared(&mut shown, &compare(found.value, limit).map_err(|p| problem("--limit", p))?)?;
            shown.note("compared without uncertainty: see draught compute confidence");
        }
        shown.source(divisor.source());
        shown.caution("the standard says which divisor holds; whether samples stand for a shift is for the hygienist to judge");
        Ok(shown)
    }
}

/// Several substances that act together, each as a share of its limit.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute mixture --part \"500 ppm, 1000 ppm\" --part \"45 ppm, 200 ppm\" --part \"40 ppm, 200 ppm\"
  draught compute mixture --silica \"5 %, 2 %, 0 %\"

--part is exposure, limit. --silica is quartz, cristobalite, tridymite in respirable dust: a former limit, as arithmetic.")]
pub struct Mixture {
    /// Exposure to a substance, and its limit.
    #[arg(
        long,
        value_name = "EXPOSURE, LIMIT",
        required_unless_present = "silica",
        conflicts_with = "silica"
    )]
    part: Vec<String>,
    /// Quartz, cristobalite and tridymite in respirable dust.
    #[arg(long, value_name = "PERCENT, PERCENT, PERCENT")]
    silica: Option<String>,
}

impl Mixture {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("mixture");
        if let Some(text) = &self.silica {
            return silica(text, shown);
        }
        let mut read = Vec::new();
        for (i, text) in self.part.iter().enumerate() {
            let [exposure, limit] = parts("--part", text, "45 ppm, 200 ppm")?;
            shown.given(format!("part {}", i + 1), text);
            let mut units = OneUnit::default();
            let exposure = units.amount("--part", exposure)?;
            read.push(Part { exposure, limit: units.limit("--part", limit)? });
        }
        let found = additive(&read).map_err(|p| problem("--part", p))?;
        let terms: Vec<String> =
            read.iter().map(|p| format!("{}/{}", put_in(p.exposure), number(p.limit))).collect();
        shown.formula(
            "Em = C1/L1 + C2/L2 + ...",
            format!("{} = {}", terms.join(" + "), put_in(found.share)),
        );
        compared(&mut shown, &found)?;
        shown.source(source::MIXTURE);
        shown.caution(
            "only for substances that act additively on the same organ: the hygienist's judgement",
        );
        Ok(shown)
    }
}

fn silica(text: &str, mut shown: Shown) -> Result<Shown, Failure> {
    let [quartz, cristobalite, tridymite] = parts("--silica", text, "5 %, 2 %, 0 %")?;
    let percent = |text: &str| quantity("--silica", text, Kind::Percent);
    for (name, text) in
        [("quartz", quartz), ("cristobalite", cristobalite), ("tridymite", tridymite)]
    {
        shown.given(name, text);
    }
    let dust = SilicaPercent {
        quartz: percent(quartz)?,
        cristobalite: percent(cristobalite)?,
        tridymite: percent(tridymite)?,
    };
    let limit = silica_limit_mg_m3(dust).map_err(|p| problem("--silica", p))?;
    shown.formula(
        "L = 10 / (quartz % + 2 cristobalite % + 2 tridymite % + 2)",
        format!(
            "10 / ({} + 2 x {} + 2 x {} + 2) = {} mg/m3",
            number(dust.quartz),
            number(dust.cristobalite),
            number(dust.tridymite),
            number(limit)
        ),
    );
    shown.amount("former limit", Amount::Found(limit), 2, "mg/m3")?;
    shown.source(source::SILICA);
    shown.caution(
        "arithmetic of a limit that was since replaced: ask the hygienist which limit is in force",
    );
    Ok(shown)
}
