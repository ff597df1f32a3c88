//! A plan beside the method that it names: flow, volume, time, and the mass where a concentration is expected.
//!
//! Only what was seen or computed decides. The method is the host's: it is not in the bytes that a pump gets.

use draught::step::Step;
use draught::units::RawVolume;

use super::finding::{Finding, Findings, Severity};
use super::outlook::Range;
use super::read::At;
use super::ready::Ready;
use crate::methods::units::{concentration, mass, minutes, span, volume};
use crate::methods::{Entry, KEYS, Library, Named, Tag};
use crate::propose::mass_mg;

/// How a plan goes with its method.
#[derive(Clone, Debug, PartialEq)]
pub struct MethodFit {
    /// The method with its variant.
    pub id: String,
    /// The file that it comes from, unless it comes with the program.
    pub file: Option<String>,
    /// What was compared.
    pub rows: Vec<MethodRow>,
}

/// One thing that was compared.
#[derive(Clone, Debug, PartialEq)]
pub struct MethodRow {
    /// What.
    pub what: &'static str,
    /// What the plan comes to.
    pub is: String,
    /// What the method wants.
    pub wants: String,
    /// The code of what is found about it.
    pub code: &'static str,
    /// Whether both were known.
    pub known: bool,
}

/// Compares a plan with its method; `None` if it names none, or one that is not there.
pub(super) fn of(ready: &Ready, library: &Library, findings: &mut Findings) -> Option<MethodFit> {
    let wanted = &ready.plan.wanted;
    let Some(named) = &wanted.method else {
        if let Some(expect) = &wanted.expect_mg_m3 {
            findings.push(
                Finding::warning(
                    "no-method",
                    "a concentration is expected, and no method is named",
                )
                .at(expect.span.clone(), "not compared with anything")
                .help("name it: method = \"nmam-0600\"; draught methods lists them"),
            );
        }
        return None;
    };
    let (method, entries) = match library.named(&named.value) {
        Named::Found(method, entries) => (method, entries),
        other => {
            findings.push(unknown(named, &other));
            return None;
        }
    };
    let numbers = Numbers::of(ready);
    let takes: Vec<&Entry> = entries.iter().filter(|e| numbers.flow_fits(e)).collect();
    let candidates = if takes.is_empty() { entries.iter().collect() } else { takes };
    let compared: Vec<(&Entry, Compared)> = candidates
        .iter()
        .map(|e| (*e, Compared::with(&numbers, e, &entries, ready, &named.span)))
        .collect();
    // The one that it goes with best; the earlier of two that are alike.
    let order = |c: &Compared| std::cmp::Reverse(c.worst());
    let (entry, best) = compared.iter().min_by_key(|(_, c)| order(c))?;
    if compared.len() > 1 && numbers.flow_fits(entry) {
        let same = compared.iter().all(|(_, c)| c.worst() == best.worst());
        let names: Vec<&str> = compared.iter().map(|(e, _)| e.id.as_str()).collect();
        let (finding, label) = if same {
            (
                Finding::note_only("method-variant", "several variants take this flow"),
                "no variant is named",
            )
        } else {
            (
                Finding::warning(
                    "method-variant",
                    "whether this fits depends on the variant that is used",
                ),
                "no variant is named",
            )
        };
        findings.push(
            finding
                .at(named.span.clone(), label)
                .note(format!("compared with {}", entry.id))
                .help(format!("name the one that is used: {}", names.join(", "))),
        );
    }
    let remembered: Vec<String> = entry
        .values
        .0
        .iter()
        .filter(|v| v.tag == Tag::Memory)
        .map(|v| {
            let heading = KEYS.iter().find(|k| k.key == v.key).map_or(v.key, |k| k.heading);
            format!("{heading} {}", v.shown)
        })
        .collect();
    if !remembered.is_empty() {
        findings.push(
            Finding::note_only("method-memory", "part of this method's entry is from memory")
                .at(named.span.clone(), "not used in any check")
                .note(remembered.join(", "))
                .help("look it up in the method"),
        );
    }
    findings.extend(best.findings.clone());
    Some(MethodFit { id: entry.id.clone(), file: method.file.clone(), rows: best.rows.clone() })
}

fn unknown(named: &At<String>, found: &Named<'_>) -> Finding {
    let finding =
        Finding::error("unknown-method", format!("no method is called {:?}", named.value));
    match found {
        Named::NoVariant(method) => {
            let ids: Vec<String> = method.entries().into_iter().map(|e| e.id).collect();
            finding
                .at(named.span.clone(), format!("{} has no such variant", method.id))
                .help(format!("write one of {}", ids.join(", ")))
        }
        Named::NoMethod(Some(near)) => {
            finding.at(named.span.clone(), "unknown method").help(format!("did you mean {near:?}?"))
        }
        _ => finding
            .at(named.span.clone(), "unknown method")
            .help("draught methods lists them; --methods DIR adds your own"),
    }
}

/// What a plan comes to, in the units of methods.
struct Numbers {
    /// Flows of the steps that pump, in L/min; `None` under pressure control.
    flows: Option<Vec<f64>>,
    volumes_l: Option<Range2>,
    minutes: Option<Range2>,
}

type Range2 = (f64, f64);

impl Numbers {
    fn of(ready: &Ready) -> Self {
        let settings = ready.table.settings();
        let pumping = ready.table.steps().iter().filter(|s| Step::is_pumping(s));
        let flow = |s: &Step| {
            let target = s.own_target().unwrap_or(settings.target);
            target.as_flow().map(|f| f64::from(f.ul_per_min()) / 1e6)
        };
        let samples = ready.outlook.samples();
        let litres = |v: RawVolume| v.as_raw() as f64 / RawVolume::PER_ML as f64 / 1e3;
        let volumes: Option<Vec<Range<RawVolume>>> = samples.iter().map(|s| s.volume).collect();
        let over = |ranges: &mut dyn Iterator<Item = Range2>| {
            ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
        };
        let min = |ms: u64| ms as f64 / 60_000.0;
        Self {
            flows: pumping.map(flow).collect(),
            volumes_l: volumes
                .and_then(|v| over(&mut v.iter().map(|r| (litres(r.least), litres(r.most))))),
            minutes: over(
                &mut samples.iter().map(|s| (min(s.pumped_ms.least), min(s.pumped_ms.most))),
            ),
        }
    }

    fn flow_fits(&self, entry: &Entry) -> bool {
        let Some((least, most)) = entry.values.range("flow") else { return true };
        self.flows.iter().flatten().all(|f| inside(*f, least, most))
    }
}

/// Within a range, but for rounding.
fn inside(value: f64, least: f64, most: f64) -> bool {
    value >= least * (1.0 - 1e-6) && value <= most * (1.0 + 1e-6)
}

/// A plan beside one way of using its method.
#[derive(Clone, Debug, Default)]
struct Compared {
    rows: Vec<MethodRow>,
    findings: Vec<Finding>,
}

impl Compared {
    fn with(
        numbers: &Numbers,
        entry: &Entry,
        all: &[Entry],
        ready: &Ready,
        at: &std::ops::Range<usize>,
    ) -> Self {
        let mut compared = Self::default();
        compared.flow(numbers, entry, all, ready);
        compared.volume(numbers, entry, at);
        compared.time(numbers, entry, at);
        compared.mass(numbers, entry, ready, at);
        compared
    }

    /// The gravest that was found.
    fn worst(&self) -> Severity {
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

    fn volume(&mut self, numbers: &Numbers, entry: &Entry, at: &std::ops::Range<usize>) {
        let (least, most) = (entry.values.get("volume-min"), entry.values.get("volume-max"));
        let recommended = entry.values.get("volume-recommended");
        let wants = match (least, most, recommended) {
            (Some(a), Some(b), _) => format!("{} to {}", a.shown, b.shown),
            (Some(a), None, _) => format!("{} or more", a.shown),
            (None, Some(b), _) => format!("{} or less", b.shown),
            (None, None, Some(one)) => format!("{} recommended", one.shown),
            (None, None, None) => return,
        };
        let from = least.or(most).or(recommended).map_or("", |v| v.from.as_str());
        let drawn = numbers.volumes_l;
        self.row("volume", drawn.map(|(a, b)| span(a, b, volume)), wants.clone(), "method-volume");
        let Some((low, high)) = drawn else { return };
        let shown = span(low, high, volume);
        let (from_l, to_l) = (
            entry.values.one("volume-min").unwrap_or(0.0),
            entry.values.one("volume-max").unwrap_or(f64::INFINITY),
        );
        let all_in = inside(low, from_l, to_l) && inside(high, from_l, to_l);
        let none_in = high < from_l * (1.0 - 1e-6) || low > to_l * (1.0 + 1e-6);
        if !all_in {
            let (make, says): (fn(&'static str, &'static str) -> Finding, _) = if none_in {
                (|c, m| Finding::error(c, m), "the volume is not one that the method takes")
            } else {
                (|c, m| Finding::warning(c, m), "the volume may not be one that the method takes")
            };
            self.findings.push(
                make("method-volume", says)
                    .at(at.clone(), format!("a sample has {shown}; it takes {wants}"))
                    .note(format!("from {from}"))
                    .help(
                        "pump for another time or at another flow; draught propose looks for both",
                    ),
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
        let least = entry.values.least_mass_mg();
        let most = entry.values.range("mass").map(|r| r.1);
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
