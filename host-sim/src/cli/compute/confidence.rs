//! Whether a result is over a limit.

use super::super::io::Failure;
use super::read::{OneUnit, fraction, parts, positive, problem, wrong};
use super::shown::{Shown, number};
use crate::hygiene::Amount;
use crate::hygiene::confidence::{Class, Sample, consecutive, sae_from_cv, single};
use crate::hygiene::parse::Kind;
use crate::hygiene::source;

/// Whether a result is over a limit, with the errors of sampling and analysis allowed for.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute confidence --result \"6.07 mg/m3\" --limit \"5 mg/m3\" --sae 0.23
  draught compute confidence --sample \"4 h, 0.9 mg/m3\" --sample \"4 h, 1.3 mg/m3\" --limit \"1 mg/m3\" --cv \"7 %\"")]
pub struct Confidence {
    /// The result of one sample over the whole time.
    #[arg(
        long,
        value_name = "CONCENTRATION",
        required_unless_present = "sample",
        conflicts_with = "sample"
    )]
    result: Option<String>,
    /// One of several samples that follow one another.
    #[arg(long, value_name = "TIME, CONCENTRATION")]
    sample: Vec<String>,
    /// The limit.
    #[arg(long, value_name = "CONCENTRATION")]
    limit: String,
    /// Sampling and analytical error, a fraction or a percentage, from the method.
    #[arg(long, value_name = "SAE", required_unless_present = "cv", conflicts_with = "cv")]
    sae: Option<String>,
    /// Coefficient of variation instead: SAE = 1.645 CV.
    #[arg(long, value_name = "CV")]
    cv: Option<String>,
}

impl Confidence {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("confidence");
        let mut units = OneUnit::default();
        let mut found = |argument: &str, text: &str| match units.amount(argument, text)? {
            Amount::Found(x) => Ok(x),
            _ => Err(wrong(
                argument,
                "a result below its limit of detection has no limits of confidence",
                "compare it as it is: draught compute twa --sample \"8 h, < 0.1 mg/m3\" --limit ...",
            )),
        };
        let mut samples = Vec::new();
        let mut one = None;
        if let Some(text) = &self.result {
            shown.given("result X", text);
            one = Some(found("--result", text)?);
        }
        for (i, text) in self.sample.iter().enumerate() {
            let [time, concentration] = parts("--sample", text, "4 h, 0.9 mg/m3")?;
            shown.given(format!("sample {}", i + 1), text);
            samples.push(Sample {
                minutes: positive("--sample", time, Kind::Duration)?,
                found: found("--sample", concentration)?,
            });
        }
        let limit = units.limit("--limit", &self.limit)?;
        shown.given("limit L", &self.limit);
        let sae = match (&self.sae, &self.cv) {
            (Some(text), _) => {
                shown.given("SAE", text);
                fraction("--sae", text)?
            }
            (None, Some(text)) => {
                shown.given("CV", text);
                let cv = fraction("--cv", text)?;
                let sae = sae_from_cv(cv).map_err(|p| problem("--cv", p))?;
                shown
                    .formula("SAE = 1.645 CV", format!("1.645 x {} = {}", number(cv), number(sae)));
                shown.source(source::SAE_CV);
                sae
            }
            (None, None) => return Err(wrong("--sae", "it is missing", "give --sae or --cv")),
        };
        let limits = match one {
            Some(x) => {
                let limits = single(x, limit, sae).map_err(|p| problem("--result, --sae", p))?;
                shown.formula(
                    "Y = X / L;  LCL = Y - SAE;  UCL = Y + SAE",
                    format!(
                        "{} / {} = {};  {} -/+ {}",
                        number(x),
                        number(limit),
                        number(limits.severity),
                        number(limits.severity),
                        number(sae)
                    ),
                );
                limits
            }
            None => {
                let limits =
                    consecutive(&samples, limit, sae).map_err(|p| problem("--sample, --sae", p))?;
                shown.formula(
                    "Y = sum(T X) / (L sum T);  LCL, UCL = Y -/+ SAE sqrt(sum(T^2 X^2)) / (L sum T)",
                    format!("{} -/+ {}", number(limits.severity), number(limits.upper - limits.severity)),
                );
                shown.source(source::SAE_UPPER);
                limits
            }
        };
        shown.result("result / limit Y", limits.severity, 3, "")?;
        shown.result("lower limit LCL", limits.lower, 3, "")?;
        shown.result("upper limit UCL", limits.upper, 3, "")?;
        let code = match limits.class {
            Class::NoViolation => "not-over",
            Class::Possible => "possible",
            Class::Violation => "over",
        };
        shown.verdict(code, limits.class.words());
        shown.source(source::SAE);
        shown.caution(
            "95 %, one-sided; the SAE must be that of the method and the laboratory that were used",
        );
        shown.caution("it is not how a day differs from other days: that is often more, and for the hygienist to judge");
        Ok(shown)
    }
}
