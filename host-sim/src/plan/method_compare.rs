//! A plan beside one way of using its method: one row and its findings for each demand.

use super::finding::{Finding, Severity};
use super::method_checks::{MethodRow, Numbers, inside};
use super::ready::Ready;
use crate::methods::units::{concentration, joined, mass, minutes, span, volume};
use crate::methods::{Entry, Value};
use crate::propose::mass_mg;

/// A plan beside one way of using its method.
#[derive(Clone, Debug, Default)]
pub(super) struct Compared {
    pub rows: Vec<MethodRow>,
    pub findings: Vec<Finding>,
}

impl Compared {
    pub fn with(
        numbers: &Numbers,
        entry: &Entry,
        all: &[Entry],
        ready: &Ready,
        at: &std::ops::Range<usize>,
    ) -> Self {
        let mut compared = Self::default();
        compared.flow(numbers, entry, all, ready);
        compared.volume(numbers, entry, ready, at);
        compared.time(numbers, entry, at);
        compared.mass(numbers, entry, ready, at);
        compared
    }

    /// The gravest that was found.
    pub fn worst(&self) -> Severity {
        self.findings.iter().map(|f| f.severity).min().unwrap_or(Severity::Note)
    }

    fn row(&mut self, what: &'static str, is: Option<String>, wants: String, code: &'static str) {
        let known = is.is_some();
        let is = is.unwrap_or_else(|| "not known under pressure control".to_owned());
        self.rows.push(MethodRow { what, is, wants: format!("method {wants}"), code, known });
    }

    fn flow(&mut self, numbers: &Numbers, entry: &Entry, all: &[Entry], ready: &Ready) {
        let Some(value) = entry.values.get("flow") else { return };
        let shown = numbers.flows.as_ref().map(|flows| {
            let mut texts: Vec<String> = Vec::new();
            for flow in flows {
                let text = crate::methods::units::flow(*flow);
                if !texts.contains(&text) {
                    texts.push(text);
                }
            }
            texts.join(", ")
        });
        self.row("flow", shown, value.shown.clone(), "method-flow");
        if numbers.flow_fits(entry) {
            let nominal = entry.values.get("nominal-flow").zip(entry.values.one("nominal-flow"));
            let is = |nominal: f64| {
                numbers.flows.iter().flatten().all(|f| inside(*f, nominal * 0.999, nominal * 1.001))
            };
            if let Some((value, nominal)) = nominal.filter(|(_, nominal)| !is(*nominal)) {
                let flow = crate::methods::units::flow(nominal);
                self.findings.push(
                    Finding::warning("method-flow", "this is not the method's nominal flow")
                        .at(ready.plan.target.clone(), format!("nominal are {flow}"))
                        .note(format!("from {}", value.from))
                        .help("set the nominal flow: the range is for what the pump makes of it"),
                );
            }
            return;
        }
        let each: Vec<String> = all
            .iter()
            .filter_map(|e| {
                let flow = &e.values.get("flow")?.shown;
                Some(if e.what.is_empty() { flow.clone() } else { format!("{flow} ({})", e.what) })
            })
            .collect();
        self.findings.push(
            Finding::error("method-flow", "the method does not take this flow")
                .at(ready.plan.target.clone(), format!("it takes {}", each.join(", ")))
                .note(format!("from {}", value.from))
                .help("choose a flow that the method takes, or the method that is meant"),
        );
    }

    fn volume(
        &mut self,
        numbers: &Numbers,
        entry: &Entry,
        ready: &Ready,
        at: &std::ops::Range<usize>,
    ) {
        let (least, most) = (entry.values.get("volume-min"), entry.values.get("volume-max"));
        let recommended = entry.values.get("volume-recommended");
        let wants = match (least, most, recommended) {
            (Some(a), Some(b), _) => joined(&a.shown, &b.shown),
            (Some(a), None, _) => format!("{} or more", a.shown),
            (None, Some(b), _) => format!("{} or less", b.shown),
            (None, None, Some(one)) => format!("{} recommended", one.shown),
            (None, None, None) => return,
        };
        let from = least.or(most).or(recommended).map_or("", |v| v.from.as_str());
        let drawn = numbers.volumes_l;
        let expect = ready.plan.wanted.expect_mg_m3.as_ref().map(|e| e.value);
        let demands = entry.values.demands(expect, None);
        let stated_at = |v: Option<&Value>| v.and_then(|v| v.at.as_ref().map(|at| at.1.clone()));
        let by_mass = [(least, demands.least_depends), (most, demands.most_depends)]
            .iter()
            .any(|(v, depends)| v.is_some_and(|v| v.at.is_some()) && !depends);
        let wants = match (by_mass, expect) {
            (true, Some(c)) => {
                let range = match (demands.least_l, demands.most_l) {
                    (Some(a), Some(b)) => span(a, b, volume),
                    (Some(a), None) => format!("{} or more", volume(a)),
                    (None, Some(b)) => format!("{} or less", volume(b)),
                    (None, None) => wants,
                };
                format!("{range} at {}", concentration(c))
            }
            _ => match stated_at(most).or(stated_at(least)) {
                Some(at) => format!("{wants} at {at}"),
                None => wants,
            },
        };
        let (from_l, to_l) =
            (demands.fixed_least_l.unwrap_or(0.0), demands.fixed_most_l.unwrap_or(f64::INFINITY));
        let all_in =
            drawn.is_none_or(|(low, high)| inside(low, from_l, to_l) && inside(high, from_l, to_l));
        // Where only what is expected decides of the volume, the finding is that of the mass.
        let code = if by_mass && all_in { "method-mass" } else { "method-volume" };
        self.row("volume", drawn.map(|(a, b)| span(a, b, volume)), wants.clone(), code);
        let Some((low, high)) = drawn else { return };
        let shown = span(low, high, volume);
        let (too_little, too_much) = (high < from_l * (1.0 - 1e-6), low > to_l * (1.0 + 1e-6));
        let depends = (low < from_l * (1.0 - 1e-6) && demands.least_depends)
            || (high > to_l * (1.0 + 1e-6) && demands.most_depends);
        if !all_in {
            // A plan has no word for dust: of that, nobody can be warned away.
            let of_dust = demands.load_max_mg.is_some() && demands.most_depends;
            if let (true, true, Some(row)) = (of_dust, depends, self.rows.last_mut()) {
                row.known = false;
            }
            let (make, says): (fn(&'static str, &'static str) -> Finding, _) = if depends {
                (
                    if of_dust {
                        |c, m| Finding::note_only(c, m)
                    } else {
                        |c, m| Finding::warning(c, m)
                    },
                    "whether the method takes the volume cannot be told: it depends on what is in the air",
                )
            } else if too_little || too_much {
                (|c, m| Finding::error(c, m), "the volume is not one that the method takes")
            } else {
                (|c, m| Finding::warning(c, m), "the volume may not be one that the method takes")
            };
            let help = match depends {
                true if of_dust => {
                    "find out how much dust is in the air, and ask draught propose with --dust"
                }
                true => "say what is expected, as in expect = \"0.5 mg/m3\" in [limits]",
                false => "pump for another time or at another flow; draught propose looks for both",
            };
            self.findings.push(
                make("method-volume", says)
                    .at(at.clone(), format!("a sample has {shown}; it takes {wants}"))
                    .note(format!("from {from}"))
                    .help(help),
            );
        }
        if let Some(asked) = entry.values.one("volume-recommended")
            && !(inside(low, asked * 0.99, asked * 1.01)
                && inside(high, asked * 0.99, asked * 1.01))
        {
            self.findings.push(
                Finding::warning(
                    "method-volume",
                    "this is not the volume that the method recommends",
                )
                .at(at.clone(), format!("a sample has {shown}; recommended are {}", volume(asked)))
                .note(format!("from {from}"))
                .help("pump for the recommended volume, or ask the laboratory"),
            );
        }
    }

    fn time(&mut self, numbers: &Numbers, entry: &Entry, at: &std::ops::Range<usize>) {
        let window = entry.values.get("duration").zip(entry.values.range("duration"));
        let asked =
            entry.values.get("duration-recommended").zip(entry.values.one("duration-recommended"));
        let Some((low, high)) = numbers.minutes else { return };
        let shown = span(low, high, minutes);
        if let Some((value, (least, most))) = window {
            self.row("time", Some(shown.clone()), value.shown.clone(), "method-time");
            let in_window = |m: f64| inside(m, least, most);
            if in_window(low) && in_window(high) {
                return;
            }
            let finding = if high < least * (1.0 - 1e-6) || low > most * (1.0 + 1e-6) {
                Finding::error("method-time", "the method wants samples of another length")
            } else {
                Finding::warning(
                    "method-time",
                    "a sample may not have the length that the method wants",
                )
            };
            self.findings.push(
                finding
                    .at(at.clone(), format!("a sample pumps for {shown}; it wants {}", value.shown))
                    .note(format!("from {}", value.from))
                    .help("change the time for which each sample is pumped"),
            );
        } else if let Some((value, asked)) = asked
            && entry.values.get("volume-recommended").is_none()
        {
            self.row(
                "time",
                Some(shown.clone()),
                format!("{} recommended", value.shown),
                "method-time",
            );
            if !(inside(low, asked * 0.99, asked * 1.01)
                && inside(high, asked * 0.99, asked * 1.01))
            {
                self.findings.push(
                    Finding::warning(
                        "method-time",
                        "this is not the time that the method asks for",
                    )
                    .at(
                        at.clone(),
                        format!("a sample pumps for {shown}; asked are {}", value.shown),
                    )
                    .note(format!("from {}", value.from))
                    .help("pump for that time, or ask the laboratory"),
                );
            }
        }
    }

    fn mass(
        &mut self,
        numbers: &Numbers,
        entry: &Entry,
        ready: &Ready,
        at: &std::ops::Range<usize>,
    ) {
        let demands = entry.values.demands(None, None);
        let (least, most) = (demands.least_mass, demands.most_mass_mg);
        if least.is_none() && most.is_none() {
            return;
        }
        let wants = match (least, most) {
            (Some((a, _)), Some(b)) => span(a, b, mass),
            (Some((a, "detected from")), None) => format!("{} or more to be detected", mass(a)),
            (Some((a, _)), None) => format!("{} or more", mass(a)),
            (None, Some(b)) => format!("{} or less", mass(b)),
            (None, None) => return,
        };
        let Some(expect) = &ready.plan.wanted.expect_mg_m3 else {
            self.rows.push(MethodRow {
                what: "mass",
                is: "expect not given in [limits]".to_owned(),
                wants: format!("method {wants}"),
                code: "method-mass",
                known: false,
            });
            return;
        };
        let c = expect.value;
        let drawn = numbers.volumes_l;
        let masses = drawn.map(|(a, b)| (mass_mg(c, a), mass_mg(c, b)));
        let shown = masses.map(|(a, b)| format!("{} at {}", span(a, b, mass), concentration(c)));
        self.row("mass", shown, wants.clone(), "method-mass");
        let Some((low, high)) = masses else { return };
        let shown = span(low, high, mass);
        if let Some((mg, is)) = least.filter(|(mg, _)| low < mg * (1.0 - 1e-6)) {
            self.findings.push(
                Finding::warning("method-mass", "what is expected may be too little to be told")
                    .at(
                        expect.span.clone(),
                        format!("a sample collects {shown}; {} is the {is}", mass(mg)),
                    )
                    .at(at.clone(), "the method")
                    .help("draw more air, or ask for a lower LOQ"),
            );
        }
        if let Some(mg) = most.filter(|mg| high > mg * (1.0 + 1e-6)) {
            self.findings.push(
                Finding::warning("method-mass", "what is expected is more than the method takes")
                    .at(
                        expect.span.clone(),
                        format!("a sample collects {shown}; it takes {} at most", mass(mg)),
                    )
                    .at(at.clone(), "the method")
                    .help("draw less air, or take several samples one after the other"),
            );
        }
    }
}
