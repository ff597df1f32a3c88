//! The rule of a difference between flows before and after.

use super::super::io::Failure;
use super::read::quantity;
use super::shown::{Shown, number};
use crate::hygiene::parse::Kind;
use crate::hygiene::source::{How, Source};
use crate::hygiene::verify::{Limit, Verification};

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Where {
    /// Over 5 %: common practice, no source.
    Worn,
    /// From 4 % on: as 40 CFR 50 App. L 9.2.5 has it for a sampler beside a standard.
    Ambient,
}

/// Which limit a difference between before and after has.
#[derive(clap::Args, Debug)]
pub struct Rule {
    /// Which limit: of worn pumps, or outdoors.
    #[arg(long, value_name = "WHERE", value_enum, default_value = "worn")]
    sampling: Where,
    /// Another limit, in percent of the flow before.
    #[arg(long, value_name = "PERCENT")]
    limit: Option<String>,
}

impl Rule {
    pub fn limit(&self) -> Result<Limit, Failure> {
        match &self.limit {
            Some(text) => Ok(Limit {
                percent: quantity("--limit", text, Kind::Percent)?,
                from_it_on: false,
                source: Source { text: "limit as given by --limit", how: How::Computed },
            }),
            None if self.sampling == Where::Ambient => Ok(Limit::AMBIENT),
            None => Ok(Limit::WORN),
        }
    }
}

impl Rule {
    /// The limit between a flow and the one that is required.
    pub fn required(&self, given: Option<&str>) -> Result<Limit, Failure> {
        let limit = match self.sampling {
            Where::Ambient => Limit::AMBIENT_REQUIRED,
            Where::Worn => Limit::WORN_REQUIRED,
        };
        let Some(percent) = given else { return Ok(limit) };
        let percent = quantity("--required-limit", percent, Kind::Percent)?;
        let source = Source { text: "limit as given by --required-limit", how: How::Computed };
        Ok(limit.changed(percent, source))
    }
}

/// "over 5 %", "from 4 %".
pub fn limit_words(limit: Limit) -> String {
    let words = if limit.from_it_on { "from" } else { "over" };
    format!("{words} {} %", number(limit.percent))
}

/// Flags a drift over its limit; whether it was one.
pub fn flag_drift(found: &Verification, shown: &mut Shown) -> bool {
    if found.over_limit {
        shown.flag(
            "verification-drift",
            format!(
                "difference {}: flagged for review, not void; find out why, and ask the hygienist",
                limit_words(found.limit)
            ),
        );
    }
    found.over_limit
}
