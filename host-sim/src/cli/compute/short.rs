//! `short-term`.

use super::super::io::Failure;
use super::exposed::{assumed, code, compared, stretches};
use super::read::{Assume, OneUnit, problem, quantity};
use super::shown::{Shown, amount as put_in, number};
use crate::hygiene::exposure::{
    PeakRule, Stretch, Unsampled, compare, highest_quarter, is_quarter, peak, short_term,
};
use crate::hygiene::parse::Kind;
use crate::hygiene::{Amount, source};

/// Exposure over 15 minutes; or samples against a ceiling with a peak.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute short-term --sample \"15 min, 30 ppm\" --limit \"25 ppm\"
  draught compute short-term --sample \"10 min, 30 ppm\" --assume not-exposed --limit \"25 ppm\"
  draught compute short-term --sample \"7 min, 20 ppm\" --sample \"8 min, 40 ppm\" --consecutive --limit \"25 ppm\"
  draught compute short-term --sample \"10 min, 40 ppm\" --sample \"15 min, 20 ppm\" --ceiling \"25 ppm\" --peak \"50 ppm\" --peak-time \"10 min\"")]
pub struct ShortTerm {
    /// Time and concentration of a sample; also "< limit".
    #[arg(long, value_name = "TIME, CONCENTRATION", required = true)]
    sample: Vec<String>,
    /// The samples followed one another without a gap, in this order: those that make 15 minutes together are taken together.
    #[arg(long, conflicts_with = "ceiling")]
    consecutive: bool,
    /// What is assumed of the rest of the 15 minutes; nothing, unless given.
    #[arg(long, value_name = "WHAT", value_enum, conflicts_with = "at_most")]
    assume: Option<Assume>,
    /// The most that it can have been in the rest.
    #[arg(long, value_name = "CONCENTRATION")]
    at_most: Option<String>,
    /// The limit of 15 minutes, or the ceiling without a peak.
    #[arg(long, value_name = "CONCENTRATION", conflicts_with = "ceiling")]
    limit: Option<String>,
    /// A ceiling that may be passed for a while.
    #[arg(long, value_name = "CONCENTRATION", requires = "peak", requires = "peak_time")]
    ceiling: Option<String>,
    /// What is never to be passed.
    #[arg(long, value_name = "CONCENTRATION", requires = "ceiling")]
    peak: Option<String>,
    /// For how long it may be above the ceiling.
    #[arg(long, value_name = "DURATION", requires = "ceiling")]
    peak_time: Option<String>,
}

impl ShortTerm {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("short-term");
        let mut units = OneUnit::default();
        let samples = stretches(&self.sample, &mut units, &mut shown)?;
        shown.caution("a sample's mean hides what is shorter than the sample; this is no alarm and no protection");
        if let (Some(ceiling), Some(top), Some(time)) = (&self.ceiling, &self.peak, &self.peak_time)
        {
            for (name, text) in [("ceiling", ceiling), ("peak", top), ("peak at most", time)] {
                shown.given(name, text);
            }
            let rule = PeakRule {
                ceiling: units.limit("--ceiling", ceiling)?,
                peak: units.limit("--peak", top)?,
                minutes: quantity("--peak-time", time, Kind::Duration)?,
            };
            let found = peak(&samples, rule).map_err(|p| problem("--ceiling, --peak", p))?;
            shown.formula(
                "no sample above the peak; time above the ceiling not over the minutes allowed",
                format!(
                    "highest {} of {}; above {} for {} of {} min",
                    put_in(found.highest),
                    number(rule.peak),
                    number(rule.ceiling),
                    put_in(found.above_minutes),
                    number(rule.minutes)
                ),
            );
            shown.amount("time above the ceiling", found.above_minutes, 3, "min")?;
            shown.amount("highest", found.highest, 3, units.unit())?;
            shown.verdict(code(found.verdict), found.verdict.words());
            for (i, sample) in samples.iter().enumerate() {
                let minutes = number(sample.minutes);
                if sample.minutes > 15.0 && !is_quarter(sample.minutes) {
                    shown.note(format!("sample {}, {minutes} min: its mean hides its highest quarter of an hour; take samples of 15 min or less", i + 1));
                } else if sample.minutes > rule.minutes && rule.minutes > 0.0 {
                    shown.note(format!("sample {}, {minutes} min: its mean hides its highest {} min, which may be as high as if all of it had been drawn in them", i + 1, number(rule.minutes)));
                }
            }
            shown.source(source::CEILING_15);
            shown.source(source::PEAK);
            return Ok(shown);
        }
        let limit = match &self.limit {
            None => None,
            Some(text) => {
                shown.given("limit", text);
                Some(units.limit("--limit", text)?)
            }
        };
        let rest = assumed(self.assume, self.at_most.as_deref(), &mut units)?
            .unwrap_or(Unsampled::Unknown);
        if self.consecutive {
            together(&samples, rest, &units, limit, &mut shown)?;
        } else {
            for (i, sample) in samples.iter().enumerate() {
                let name = if samples.len() > 1 {
                    format!("15 min, sample {}", i + 1)
                } else {
                    "15 min".to_owned()
                };
                by_itself(name, *sample, rest, &units, limit, &mut shown)?;
            }
            let short = samples.iter().filter(|s| s.minutes < 15.0 && !is_quarter(s.minutes));
            if samples.len() > 1 && short.count() > 0 {
                shown.note("each by itself: if they followed one another without a gap, --consecutive takes those together that make 15 min");
            }
        }
        if samples.iter().any(|s| s.minutes != 15.0 && is_quarter(s.minutes)) {
            shown.source(source::NEAR_QUARTER);
        }
        shown.source(source::CEILING_15);
        Ok(shown)
    }
}

/// One sample, whatever was before and after it.
fn by_itself(
    name: String,
    sample: Stretch,
    rest: Unsampled,
    units: &OneUnit,
    limit: Option<f64>,
    shown: &mut Shown,
) -> Result<(), Failure> {
    let found = short_term(sample, rest).map_err(|p| problem("--sample", p))?;
    let minutes = number(sample.minutes);
    let c = put_in(sample.concentration);
    if is_quarter(sample.minutes) {
        shown.formula("E = C of 15 min", format!("{c} in {minutes} min"));
    } else if sample.minutes < 15.0 {
        shown.formula(
            "E = C t / 15 min, and what is assumed of the rest",
            format!("{c} x {minutes} / 15 = {}", put_in(found)),
        );
        shown.note(format!("{minutes} min only: the rest {}", rest.words()));
    } else {
        long(sample.minutes, found, shown);
    }
    against(name, found, units, limit, shown)
}

/// Of more than 15 minutes.
fn long(minutes: f64, found: Amount, shown: &mut Shown) {
    let quarters = (minutes / 15.0 - 1e-9).ceil();
    shown.formula(
        "E from C t / (15 min n), n quarters that cover t, to C t / 15 min",
        format!("t = {} min, n = {}: {}", number(minutes), number(quarters), put_in(found)),
    );
    shown.note(format!(
        "{} min: its highest quarter of an hour is not known; at least 1/{} of what was drawn is in it, and at most all",
        number(minutes),
        number(quarters),
    ));
}

/// Samples that followed one another.
fn together(
    samples: &[Stretch],
    rest: Unsampled,
    units: &OneUnit,
    limit: Option<f64>,
    shown: &mut Shown,
) -> Result<(), Failure> {
    let found = highest_quarter(samples, rest).map_err(|p| problem("--sample", p))?;
    let terms = |first: usize, last: usize| {
        let parts = samples.iter().skip(first).take(last + 1 - first);
        let parts = parts.map(|s| format!("{} x {}", put_in(s.concentration), number(s.minutes)));
        parts.collect::<Vec<_>>().join(" + ")
    };
    let named = |first: usize, last: usize| {
        if first == last {
            format!("sample {}", first + 1)
        } else {
            format!("samples {} to {}", first + 1, last + 1)
        }
    };
    for whole in &found.wholes {
        let minutes: f64 = samples
            .iter()
            .skip(whole.first)
            .take(whole.last + 1 - whole.first)
            .map(|s| s.minutes)
            .sum();
        shown.formula(
            "E = (C1 t1 + C2 t2 + ...) / 15 min",
            format!(
                "{}: ({}) / {} = {}",
                named(whole.first, whole.last),
                terms(whole.first, whole.last),
                number(minutes),
                put_in(whole.value)
            ),
        );
    }
    let covered = |k: usize| found.wholes.iter().any(|w| w.first <= k && k <= w.last);
    let all = (0..samples.len()).all(covered);
    if !all && found.minutes < 15.0 {
        shown.formula(
            "E = (C1 t1 + C2 t2 + ...) / 15 min, and what is assumed of the rest",
            format!("({}) / 15 = {}", terms(0, samples.len() - 1), put_in(found.value)),
        );
        shown.note(format!("{} min only: the rest {}", number(found.minutes), rest.words()));
    } else if !all {
        shown.formula("E within bounds: the samples are not cut where quarters are", "");
        shown.note(format!(
            "{} min together, and no cut after each 15 min: of a sample that lies half within a quarter, any part of what was drawn may be in it",
            number(found.minutes)
        ));
    }
    shown.note("taken as following one another without a gap, as said with --consecutive");
    against("highest 15 min".to_owned(), found.value, units, limit, shown)
}

fn against(
    name: String,
    found: Amount,
    units: &OneUnit,
    limit: Option<f64>,
    shown: &mut Shown,
) -> Result<(), Failure> {
    shown.amount(name, found, 3, units.unit())?;
    if let Some(limit) = limit {
        compared(shown, &compare(found, limit).map_err(|p| problem("--limit", p))?)?;
    }
    Ok(())
}
