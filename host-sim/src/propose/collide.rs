//! Which demands cannot be met together, and what would make it possible.

use super::solve::{Bounds, Endurance, within};
use super::{Limit, Source, Wish, mass_mg};
use crate::methods::units::{about_flow, concentration, flow, mass, minutes, span, volume};

/// Two demands that cannot both be met.
#[derive(Clone, Debug, PartialEq)]
pub enum Collision {
    /// The pump keeps no flow that the method takes.
    Flows {
        /// The method's range.
        method: (f64, f64),
        /// The pump's.
        pump: (f64, f64),
    },
    /// One sample is to take a time that the method does not take.
    Times {
        /// The method's, least and most, in min.
        method: (f64, f64),
        /// What is asked.
        asked: (f64, f64),
    },
    /// One sample must take longer than there is time.
    TimeShort {
        /// What it must take, in min.
        least_min: f64,
        /// What there is.
        time_min: f64,
    },
    /// The least volume is above the most.
    Volumes {
        /// The least.
        least: Limit,
        /// The most.
        most: Limit,
    },
    /// The largest flow in the longest time draws too little.
    TooLittle {
        /// That flow, in L/min.
        flow: f64,
        /// That time, in min.
        minutes: f64,
        /// What is wanted.
        least: Limit,
    },
    /// The smallest flow in the shortest time draws too much.
    TooMuch {
        /// That flow, in L/min.
        flow: f64,
        /// That time, in min.
        minutes: f64,
        /// What is allowed.
        most: Limit,
    },
    /// Battery or filter do not last.
    Lasting(Lasting),
}

/// Battery or filter do not last, at the flow at which they come nearest to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lasting {
    /// Whether it is the battery; else the filter.
    pub is_battery: bool,
    /// The flow, in L/min.
    pub flow: f64,
    /// How long it lasts, in min.
    pub lasts_min: f64,
    /// How long a sample must take, in min.
    pub needs_min: f64,
}

impl Lasting {
    /// At the flow at which the largest part of what is needed lasts.
    pub(super) fn best(
        bounds: &Bounds,
        endurance: &Endurance<'_>,
        flows: impl Iterator<Item = f64>,
    ) -> Option<Self> {
        let at = |flow: f64| {
            let needs_min = bounds.minutes.0.max(bounds.least_l() / flow);
            let (battery, filter) = ((endurance.battery_min)(flow), (endurance.filter_min)(flow));
            let lasts_min = battery.min(filter);
            Self { is_battery: battery <= filter, flow, lasts_min, needs_min }
        };
        let part = |l: &Self| l.lasts_min / l.needs_min;
        flows.map(at).max_by(|a, b| part(a).total_cmp(&part(b)))
    }
}

/// A change of one thing that takes one collision away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The time there is, in min.
    Time(f64),
    /// The pump keeps this flow, in L/min.
    Pump(f64),
    /// The laboratory can tell this mass, in mg.
    LeastMass(f64),
    /// A substance in the air at this concentration or more, in mg/m³.
    Concentration(f64),
    /// Another method, sampler or pump: there is no number for it.
    Other,
}

/// What would make it possible.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// In words.
    pub says: String,
    /// In numbers.
    pub change: Change,
}

/// Everything that collides, endurance aside.
pub(super) fn collisions(wish: &Wish, bounds: &Bounds) -> Vec<Collision> {
    let mut found = Vec::new();
    let ((low, high), (short, long)) = (bounds.flow, bounds.minutes);
    let flows = within(low, high);
    if let (false, Some(method), Some(pump)) = (flows, wish.method_flow, wish.pump_flow) {
        found.push(Collision::Flows { method, pump });
    }
    let times = within(short, long);
    let apart = wish
        .method_min
        .zip(wish.sample_min)
        .filter(|(m, s)| !(within(m.0, s.1) && within(s.0, m.1)));
    if let Some((method, asked)) = apart {
        found.push(Collision::Times { method, asked });
    } else if !times {
        found.push(Collision::TimeShort { least_min: short, time_min: wish.time_min });
    }
    if let Some((least, most)) = bounds.least.zip(bounds.most)
        && !within(least.l, most.l)
    {
        found.push(Collision::Volumes { least, most });
    }
    if let Some(least) = bounds.least.filter(|l| flows && times && !within(l.l, high * long)) {
        found.push(Collision::TooLittle { flow: high, minutes: long, least });
    }
    if let Some(most) = bounds.most.filter(|m| flows && times && !within(low * short, m.l)) {
        found.push(Collision::TooMuch { flow: low, minutes: short, most });
    }
    found
}

fn range((from, to): (f64, f64)) -> String {
    span(from, to, flow)
}

impl Collision {
    /// The stable code.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Flows { .. } => "flows-apart",
            Self::Times { .. } => "times-apart",
            Self::TimeShort { .. } => "time-short",
            Self::Volumes { .. } => "volumes-apart",
            Self::TooLittle { .. } => "too-little",
            Self::TooMuch { .. } => "too-much",
            Self::Lasting(l) if l.is_battery => "battery-short",
            Self::Lasting(_) => "filter-loads",
        }
    }

    /// Which demands collide, and by how much.
    #[must_use]
    pub fn says(&self) -> String {
        match *self {
            Self::Flows { method, pump } => {
                format!("the method takes {}, and the pump keeps {}", range(method), range(pump))
            }
            Self::Times { method, asked } => format!(
                "a sample of {} is asked for, and one of the method takes {}",
                span(asked.0, asked.1, minutes),
                span(method.0, method.1, minutes)
            ),
            Self::TimeShort { least_min, time_min } => format!(
                "one sample takes {} at least, and there are {}",
                minutes(least_min),
                minutes(time_min)
            ),
            Self::Volumes { least, most } => format!(
                "{} wants {} at least, and {} allows {} at most",
                least.source.words(),
                volume(least.l),
                most.source.words(),
                volume(most.l)
            ),
            Self::TooLittle { flow: f, minutes: m, least } => format!(
                "{} wants {} at least, and {} in {} draw {}",
                least.source.words(),
                volume(least.l),
                flow(f),
                minutes(m),
                volume(f * m)
            ),
            Self::TooMuch { flow: f, minutes: m, most } => format!(
                "{} allows {} at most, and {} in {} draw {}",
                most.source.words(),
                volume(most.l),
                flow(f),
                minutes(m),
                volume(f * m)
            ),
            Self::Lasting(l) => format!(
                "a sample takes {} at {}, and the {} lasts {}",
                minutes(l.needs_min),
                flow(l.flow),
                if l.is_battery { "battery" } else { "filter" },
                minutes(l.lasts_min)
            ),
        }
    }

    /// What would take it away, each by itself.
    #[must_use]
    pub fn remedies(&self, wish: &Wish) -> Vec<Remedy> {
        let mut all = Vec::new();
        let mut add = |says: String, change| all.push(Remedy { says, change });
        match *self {
            Self::Flows { method, .. } => {
                add(
                    format!("another pump: one that keeps {}", range(method)),
                    Change::Pump(method.0),
                );
                add("another method, or another sampler of it".to_owned(), Change::Other);
            }
            Self::Times { method, .. } => {
                add(
                    format!("a sample that takes {}", span(method.0, method.1, minutes)),
                    Change::Other,
                );
                add("a method for samples of that length".to_owned(), Change::Other);
            }
            Self::TimeShort { least_min, time_min } => add(
                format!(
                    "{} more time: {} in all",
                    minutes(least_min - time_min),
                    minutes(least_min)
                ),
                Change::Time(least_min),
            ),
            Self::Volumes { least, most } => {
                if least.source == Source::LeastMass
                    && let Some((c, mg)) = wish.low_mg_m3().zip(wish.least_mass_mg)
                {
                    let could = mass_mg(c, most.l);
                    add(
                        format!(
                            "a laboratory that can tell {} rather than {}",
                            mass(could),
                            mass(mg)
                        ),
                        Change::LeastMass(could),
                    );
                    if let (Source::MostMass, Some(e), Some(l)) =
                        (most.source, wish.expect_mg_m3, wish.limit_mg_m3)
                        && l > e
                    {
                        add(
                            format!(
                                "without --limit, for {} alone: a sample at {} would then be overloaded, and lost",
                                concentration(e),
                                concentration(l)
                            ),
                            Change::Other,
                        );
                    }
                    if most.source != Source::MostMass {
                        let from = mg * 1_000.0 / most.l;
                        add(
                            format!(
                                "{} in the air or more, for which these samples do",
                                concentration(from)
                            ),
                            Change::Concentration(from),
                        );
                    }
                }
                add("a method with other volumes".to_owned(), Change::Other);
            }
            Self::TooLittle { flow: f, minutes: m, least } => {
                let may_be_longer = [wish.sample_min, wish.method_min]
                    .into_iter()
                    .flatten()
                    .all(|s| within(least.l / f, s.1));
                if may_be_longer {
                    let needs = least.l / f;
                    add(
                        format!("{} more time: {} in all", minutes(needs - m), minutes(needs)),
                        Change::Time(needs),
                    );
                }
                let needs = least.l / m;
                let method = wish.method_flow.map_or(f64::INFINITY, |r| r.1);
                if within(needs, method) {
                    add(
                        format!("another pump: one that keeps {}", about_flow(needs)),
                        Change::Pump(needs),
                    );
                } else {
                    let most = range(wish.method_flow.unwrap_or((f, f)));
                    add(
                        format!(
                            "another method: it would take {}, and this one takes {most}",
                            about_flow(needs)
                        ),
                        Change::Other,
                    );
                }
                if least.source == Source::LeastMass
                    && let Some((c, mg)) = wish.low_mg_m3().zip(wish.least_mass_mg)
                {
                    let could = mass_mg(c, f * m);
                    add(
                        format!(
                            "a laboratory that can tell {} rather than {}",
                            mass(could),
                            mass(mg)
                        ),
                        Change::LeastMass(could),
                    );
                    let from = mg * 1_000.0 / (f * m);
                    add(
                        format!(
                            "{} in the air or more, for which these samples do",
                            concentration(from)
                        ),
                        Change::Concentration(from),
                    );
                }
            }
            Self::TooMuch { minutes: m, most, .. } => {
                let needs = most.l / m;
                let method = wish.method_flow.map_or(0.0, |r| r.0);
                if within(method, needs) {
                    add(
                        format!("another pump: one that keeps {}", about_flow(needs)),
                        Change::Pump(needs),
                    );
                }
                add("another method, or one whose sample may be shorter".to_owned(), Change::Other);
            }
            Self::Lasting(l) if l.is_battery => {
                let more = (l.needs_min / l.lasts_min - 1.0) * 100.0;
                add(
                    format!("a charge that is {} % larger, or a supply from outside", more.ceil()),
                    Change::Other,
                );
            }
            Self::Lasting(_) => add(
                "a larger filter, or a pump that holds its flow against more".to_owned(),
                Change::Other,
            ),
        }
        all
    }
}
