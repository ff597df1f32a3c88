//! `fibres`, `calendar`, `completeness`.

use jiff::civil::Date;

use super::super::io::Failure;
use super::super::table::Side;
use super::read::{date, positive, problem, quantity, with_weekday, wrong};
use super::shown::{Shown, number};
use crate::hygiene::calendar::Cycle;
use crate::hygiene::completeness::{WANTED_PERCENT, quarters};
use crate::hygiene::fibres::{AREA_25_MM_FILTER_MM2, Count, DENSITY_PER_MM2, minutes};
use crate::hygiene::parse::Kind;
use crate::hygiene::source;

/// How long to sample until a filter carries enough fibres to count, and not too many.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught compute fibres --flow \"2 L/min\" --level \"0.1 f/mL\"

--level is what is to be told, by the method half the limit.")]
pub struct Fibres {
    /// Flow.
    #[arg(long, value_name = "FLOW")]
    flow: String,
    /// The concentration to be told: half the limit.
    #[arg(long, value_name = "CONCENTRATION")]
    level: String,
    /// Effective area of the filter.
    #[arg(long, value_name = "AREA", default_value = "385 mm2")]
    area: String,
    /// Fewest fibres on the filter.
    #[arg(long, value_name = "DENSITY", default_value = "100 f/mm2")]
    fewest: String,
    /// Most fibres on the filter.
    #[arg(long, value_name = "DENSITY", default_value = "1300 f/mm2")]
    most: String,
}

impl Fibres {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("fibres");
        let count = Count {
            area_mm2: positive("--area", &self.area, Kind::Area)?,
            flow_l_per_min: positive("--flow", &self.flow, Kind::Flow)?,
            level_per_ml: positive("--level", &self.level, Kind::FibreConcentration)?,
        };
        let densities = [
            ("shortest", positive("--fewest", &self.fewest, Kind::FibreDensity)?),
            ("longest", positive("--most", &self.most, Kind::FibreDensity)?),
        ];
        if densities[0].1 > densities[1].1 {
            return Err(wrong(
                "--fewest",
                "it is more than --most",
                "give the smaller number as --fewest",
            ));
        }
        for (name, text) in [
            ("flow Q", &self.flow),
            ("level L", &self.level),
            ("filter area Ac", &self.area),
            ("fewest fibres E", &self.fewest),
            ("most fibres E", &self.most),
        ] {
            shown.given(name, text);
        }
        for (name, density) in densities {
            let time = minutes(count, density).map_err(|p| problem("--flow, --level", p))?;
            let with_numbers = format!(
                "{} x {} / ({} x {} x 1000) = {} min",
                number(count.area_mm2),
                number(density),
                number(count.flow_l_per_min),
                number(count.level_per_ml),
                number(time)
            );
            shown.formula("t = Ac E / (Q L 1000)", with_numbers);
            shown.rounded(name, time, 1, "min")?;
        }
        let usual = count.area_mm2 == AREA_25_MM_FILTER_MM2
            && (densities[0].1, densities[1].1) == DENSITY_PER_MM2;
        if !usual {
            shown
                .note("area or densities are not those of the method (385 mm2; 100 to 1300 f/mm2)");
        }
        shown.source(source::FIBRES);
        shown.caution("other dust may spoil the count sooner: look at the filter, and follow the method and the laboratory");
        Ok(shown)
    }
}

/// A cycle of days.
#[derive(clap::Args, Debug)]
struct CycleArgs {
    /// A day of the cycle, from the published calendar.
    #[arg(long, value_name = "DATE")]
    anchor: String,
    /// One day in so many.
    #[arg(long, value_name = "DAYS")]
    every: i32,
    /// From this day.
    #[arg(long, value_name = "DATE")]
    from: String,
    /// To this day.
    #[arg(long, value_name = "DATE")]
    to: String,
    /// A day of the cycle without a valid sample.
    #[arg(long, value_name = "DATE")]
    missed: Vec<String>,
}

impl CycleArgs {
    fn read(&self, shown: &mut Shown) -> Result<(Cycle, Vec<Date>, Vec<Date>), Failure> {
        let anchor = date("--anchor", &self.anchor)?;
        let (from, to) = (date("--from", &self.from)?, date("--to", &self.to)?);
        shown.given("anchor", &with_weekday(anchor));
        shown.given("cycle", &format!("one day in {}", self.every));
        shown.given("from", &with_weekday(from));
        shown.given("to", &with_weekday(to));
        let cycle = Cycle::new(anchor, self.every).map_err(|p| problem("--every", p))?;
        let days = cycle.days(from, to).map_err(|p| problem("--from, --to", p))?;
        let mut missed = Vec::new();
        for text in &self.missed {
            let day = date("--missed", text)?;
            shown.given("missed", &with_weekday(day));
            if !days.contains(&day) {
                return Err(wrong(
                    "--missed",
                    &format!("{} is not a sampling day from --from to --to", with_weekday(day)),
                    "check it against draught compute calendar",
                ));
            }
            missed.push(day);
        }
        Ok((cycle, days, missed))
    }
}

/// The days of a cycle, and when a missed one can be made up.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute calendar --anchor 2027-03-02 --every 6 --from 2027-03-01 --to 2027-03-31
  draught compute calendar --anchor 2027-03-02 --every 3 --from 2027-03-01 --to 2027-03-14 --missed 2027-03-05

Take the anchor from the calendar that is published for the year.")]
pub struct Calendar {
    #[command(flatten)]
    cycle: CycleArgs,
}

impl Calendar {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("calendar");
        let (cycle, days, missed) = self.cycle.read(&mut shown)?;
        let mut rows = Vec::new();
        for day in &days {
            let mut row = vec![with_weekday(*day), String::new()];
            if missed.contains(day) {
                let make_up = cycle.make_up(*day).map_err(|p| problem("--missed", p))?;
                let before = make_up.before_next.map(|(first, last)| {
                    if first == last {
                        with_weekday(first)
                    } else {
                        format!("{} to {}", with_weekday(first), with_weekday(last))
                    }
                });
                let week = with_weekday(make_up.week_later);
                row[1] = match (before, make_up.week_later_is_taken) {
                    (Some(before), false) => format!("missed; make up {before}, or {week}"),
                    (Some(before), true) => {
                        format!("missed; make up {before}; {week} is a sampling day itself")
                    }
                    (None, false) => format!("missed; no day between; make up {week}"),
                    (None, true) => format!(
                        "missed; no day to make it up: none between, and {week} is a sampling day itself"
                    ),
                };
            }
            rows.push(row);
        }
        shown.table(&[("sampling day", Side::Left), ("", Side::Left)], rows);
        shown.formula("a day is one of the cycle if (day - anchor) is a multiple of the cycle", "");
        shown.result("days", days.len() as f64, digits(days.len()), "")?;
        shown.source(source::ONE_IN_N);
        if !missed.is_empty() {
            shown.source(source::MAKE_UP);
        }
        shown.caution("the network's published calendar decides; days are midnight to midnight in local standard time");
        Ok(shown)
    }
}

/// Share of the scheduled samples that were valid or made up, by quarter.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Example:
  draught compute completeness --anchor 2027-01-01 --every 6 --from 2027-01-01 --to 2027-06-30 --missed 2027-01-13 --missed 2027-02-12 --made-up \"2027-02-12, 2027-02-14\"

A make-up sample counts for the day that it replaces.")]
pub struct Completeness {
    #[command(flatten)]
    cycle: CycleArgs,
    /// A missed day, and the day on which it was made up.
    #[arg(long, value_name = "DATE, DATE")]
    made_up: Vec<String>,
    /// The share that is wanted.
    #[arg(long, value_name = "PERCENT")]
    wanted: Option<String>,
}

impl Completeness {
    pub(super) fn compute(&self) -> Result<Shown, Failure> {
        let mut shown = Shown::new("completeness");
        let (cycle, days, mut missed) = self.cycle.read(&mut shown)?;
        let mut used: Vec<Date> = Vec::new();
        for text in &self.made_up {
            let [day, on] = super::read::parts("--made-up", text, "2027-02-12, 2027-02-14")?;
            let (day, on) = (date("--made-up", day)?, date("--made-up", on)?);
            if !missed.contains(&day) {
                return Err(wrong(
                    "--made-up",
                    &format!("{} is not among the missed days", with_weekday(day)),
                    "give it with --missed too, and make it up once",
                ));
            }
            let make_up = cycle.make_up(day).map_err(|p| problem("--made-up", p))?;
            if !make_up.takes(on) || used.contains(&on) {
                let between = make_up.before_next.map_or(String::new(), |(first, last)| {
                    format!("{} to {}, or ", with_weekday(first), with_weekday(last))
                });
                return Err(wrong(
                    "--made-up",
                    &format!("{} does not make up for {}", with_weekday(on), with_weekday(day)),
                    format!(
                        "it can be made up on {between}{}, each day once",
                        with_weekday(make_up.week_later)
                    ),
                ));
            }
            used.push(on);
            shown.given("made up", &format!("{} on {}", with_weekday(day), with_weekday(on)));
            missed.retain(|m| *m != day);
        }
        let wanted = match &self.wanted {
            None => WANTED_PERCENT,
            Some(text) => quantity("--wanted", text, Kind::Percent)?,
        };
        shown.given("wanted", &format!("{} %", number(wanted)));
        let scheduled: Vec<(Date, bool)> = days.iter().map(|d| (*d, !missed.contains(d))).collect();
        let found = quarters(&scheduled, &cycle, wanted)
            .map_err(|p| problem("--from, --to, --wanted", p))?;
        let rows = found.iter().map(|q| {
            vec![
                format!("{} Q{}", q.year, q.quarter),
                q.scheduled.to_string(),
                q.valid.to_string(),
                format!("{:.1} %", q.percent),
                match q.complete {
                    _ if q.scheduled < q.in_all => {
                        let told = match q.complete {
                            Some(true) => "complete, whatever came of the others",
                            Some(false) => "below what is wanted, whatever came of the others",
                            None => "cannot be told",
                        };
                        format!("part of the quarter, {} of {} days: {told}", q.scheduled, q.in_all)
                    }
                    Some(true) => "complete".to_owned(),
                    _ => "below what is wanted".to_owned(),
                },
            ]
        });
        shown.table(
            &[
                ("quarter", Side::Left),
                ("scheduled", Side::Right),
                ("valid", Side::Right),
                ("share", Side::Right),
                ("", Side::Left),
            ],
            rows.collect(),
        );
        shown.formula("share = 100 valid / scheduled", "");
        let complete = found.iter().filter(|q| q.complete == Some(true)).count();
        shown.result("quarters complete", complete as f64, digits(complete), "")?;
        let open = found.iter().filter(|q| q.complete.is_none()).count();
        if open > 0 {
            shown.result("cannot be told", open as f64, digits(open), "")?;
            shown.note("of a part of a quarter the share is that of its days; give --from and --to at the ends of quarters");
        }
        shown.result("quarters in all", found.len() as f64, digits(found.len()), "")?;
        if self.wanted.is_none() {
            shown.source(source::COMPLETENESS);
        }
        shown.source(source::MAKE_UP);
        shown.caution("which samples are valid, and what completeness is required, the programme's quality plan says");
        Ok(shown)
    }
}

/// How many digits a count has.
fn digits(count: usize) -> u8 {
    u8::try_from(count.to_string().len()).unwrap_or(1)
}
