//! A plan beside the method that it names: flow, volume, time, and the mass where a concentration is expected.
//!
//! Only what was seen or computed decides. The method is the host's: it is not in the bytes that a pump gets.

use draught::step::Step;
use draught::units::RawVolume;

use super::finding::{Finding, Findings};
use super::method_compare::Compared;
use super::outlook::Range;
use super::read::At;
use super::ready::Ready;
use crate::methods::{Entry, How, KEYS, Library, Named, fit};

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
    let takes = fit::that_take(&entries, &numbers.flows());
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
        .filter(|v| v.tag == How::Memory)
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
pub(super) struct Numbers {
    /// Flows of the steps that pump, in L/min; `None` under pressure control.
    pub flows: Option<Vec<f64>>,
    /// Of each sample, least and most of all, in L.
    pub volumes_l: Option<Range2>,
    /// The same of pumping, in min.
    pub minutes: Option<Range2>,
}

pub(super) type Range2 = (f64, f64);

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

    /// Those flows; none under pressure control.
    fn flows(&self) -> Vec<f64> {
        self.flows.clone().unwrap_or_default()
    }

    pub fn flow_fits(&self, entry: &Entry) -> bool {
        fit::takes_flows(&entry.values, &self.flows())
    }
}
