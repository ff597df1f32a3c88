//! A plan beside one way of using its method: one row and its findings for each demand.

use super::finding::{Finding, Severity};
use super::method_checks::{MethodRow, Numbers};
use super::ready::Ready;
use crate::methods::fit::{Demand, Of, Standing, What, demand};
use crate::methods::units::{concentration, mass, minutes, span, volume};
use crate::methods::{Air, Entry};
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
        let Some(demand) = demand(&entry.values, What::Flow, Air::default()) else { return };
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
        self.row("flow", shown, demand.wants.clone(), "method-flow");
        if numbers.flow_fits(entry) {
            let nominal = entry.values.get("nominal-flow").zip(entry.values.one("nominal-flow"));
            let is = |nominal: f64| {
                let near = |f: &f64| (f / nominal - 1.0).abs() <= 0.001;
                numbers.flows.iter().flatten().all(near)
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
                .note(format!("from {}", demand.from))
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
        let expect = ready.plan.wanted.expect_mg_m3.as_ref().map(|e| e.value);
        let air = Air { concentration_mg_m3: expect, dust_mg_m3: None };
        let range = demand(&entry.values, What::Volume, air);
        let recommended = demand(&entry.values, What::RecommendedVolume, air);
        let Some(row) = range.as_ref().or(recommended.as_ref()) else { return };
        let drawn = numbers.volumes_l;
        let shown = drawn.map(|(a, b)| span(a, b, volume));
        let inside =
            |d: &Demand| drawn.is_none_or(|(a, b)| d.standing(a, b, Of::Plan) == Standing::Inside);
        // Where only what is expected decides of the volume, the finding is that of the mass.
        let by_mass = range.as_ref().is_some_and(|r| r.stated.by_mass && inside(r));
        let code = if by_mass { "method-mass" } else { "method-volume" };
        self.row("volume", shown, row.wants.clone(), code);
        let Some((low, high)) = drawn else { return };
        let shown = span(low, high, volume);
        if let Some(range) = range {
            let words = (
                "the volume is not one that the method takes",
                "the volume may not be one that the method takes",
            );
            let label = format!("a sample has {shown}; it takes {}", range.wants);
            if range.cannot_tell(low, high, Of::Plan) {
                self.volume_not_told(&range, at, label);
            } else {
                let help =
                    "pump for another time or at another flow; draught propose looks for both";
                self.judge("method-volume", &range, (low, high), words, (at, label, help));
            }
        }
        if let Some(asked) = recommended {
            let words = ("this is not the volume that the method recommends", "");
            let label = format!("a sample has {shown}; {}", asked.wants);
            let help = "pump for the recommended volume, or ask the laboratory";
            self.judge("method-volume", &asked, (low, high), words, (at, label, help));
        }
    }

    /// The method states the volume at a concentration, and nothing is said of the air.
    fn volume_not_told(&mut self, range: &Demand, at: &std::ops::Range<usize>, label: String) {
        let says =
            "whether the method takes the volume cannot be told: it depends on what is in the air";
        let (finding, help) = if range.stated.of_dust && range.stated.most_open {
            // A plan has no word for dust: of that, nobody can be warned away.
            if let Some(row) = self.rows.last_mut() {
                row.known = false;
            }
            let help = "find out how much dust is in the air, and ask draught propose with --dust";
            (Finding::note_only("method-volume", says), help)
        } else {
            let help = "say what is expected, as in expect = \"0.5 mg/m3\" in [limits]";
            (Finding::warning("method-volume", says), help)
        };
        let from = format!("from {}", range.from);
        self.findings.push(finding.at(at.clone(), label).note(from).help(help));
    }

    fn time(&mut self, numbers: &Numbers, entry: &Entry, at: &std::ops::Range<usize>) {
        let asked = [What::Time, What::RecommendedTime];
        let Some(asked) =
            asked.into_iter().find_map(|what| demand(&entry.values, what, Air::default()))
        else {
            return;
        };
        let Some((low, high)) = numbers.minutes else { return };
        let shown = span(low, high, minutes);
        self.row("time", Some(shown.clone()), asked.wants.clone(), "method-time");
        let (words, label, help) = if asked.what == What::Time {
            (
                (
                    "the method wants samples of another length",
                    "a sample may not have the length that the method wants",
                ),
                format!("a sample pumps for {shown}; it wants {}", asked.wants),
                "change the time for which each sample is pumped",
            )
        } else {
            (
                ("this is not the time that the method asks for", ""),
                format!("a sample pumps for {shown}; {}", asked.wants),
                "pump for that time, or ask the laboratory",
            )
        };
        self.judge("method-time", &asked, (low, high), words, (at, label, help));
    }

    /// An error where all of it is outside, a warning where a part is or where something is only recommended.
    fn judge(
        &mut self,
        code: &'static str,
        demand: &Demand,
        (low, high): (f64, f64),
        (outside, partly): (&'static str, &'static str),
        (at, label, help): (&std::ops::Range<usize>, String, &'static str),
    ) {
        let finding = match demand.standing(low, high, Of::Plan) {
            Standing::Inside => return,
            _ if demand.what.is_recommended() => Finding::warning(code, outside),
            Standing::Partly => Finding::warning(code, partly),
            Standing::Below | Standing::Above => Finding::error(code, outside),
        };
        let from = format!("from {}", demand.from);
        self.findings.push(finding.at(at.clone(), label).note(from).help(help));
    }

    fn mass(
        &mut self,
        numbers: &Numbers,
        entry: &Entry,
        ready: &Ready,
        at: &std::ops::Range<usize>,
    ) {
        let Some(demand) = demand(&entry.values, What::Mass, Air::default()) else { return };
        let Some(expect) = &ready.plan.wanted.expect_mg_m3 else {
            self.rows.push(MethodRow {
                what: "mass",
                is: "expect not given in [limits]".to_owned(),
                wants: format!("method {}", demand.wants),
                code: "method-mass",
                known: false,
            });
            return;
        };
        let c = expect.value;
        let drawn = numbers.volumes_l;
        let masses = drawn.map(|(a, b)| (mass_mg(c, a), mass_mg(c, b)));
        let shown = masses.map(|(a, b)| format!("{} at {}", span(a, b, mass), concentration(c)));
        self.row("mass", shown, demand.wants.clone(), "method-mass");
        let Some((low, high)) = masses else { return };
        let shown = span(low, high, mass);
        let one = |mg: f64| demand.standing(mg, mg, Of::Plan);
        if let Some(mg) = demand.least.filter(|_| one(low) == Standing::Below) {
            let is = demand.least_is;
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
        if let Some(mg) = demand.most.filter(|_| one(high) == Standing::Above) {
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
