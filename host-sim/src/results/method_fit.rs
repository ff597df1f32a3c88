//! A sample beside the method that it follows: flow, volume and time here, the mass with what the laboratory found.
//!
//! What a method asks, and when it is met, stands in [`crate::methods::fit`], by which plans are checked too.

use super::sample::MethodRow;
use super::{Flag, flags};
use crate::event::{Folder, Lab, Sampler};
use crate::hygiene::{Amount, round::figures, strictly_over};
use crate::methods::fit::{Demand, Of, Standing, What, demand, demands, that_take};
use crate::methods::units::{mass as shown_mass, minutes as shown_minutes};
use crate::methods::{Air, Entry, Library, Named};

/// What a sampler follows.
#[derive(Default)]
pub(super) struct Followed {
    /// The method's name, with the variant where it is known.
    pub name: Option<String>,
    /// What it asks.
    pub entry: Option<Entry>,
    /// What there is to say about that.
    pub says: Option<String>,
    /// Of variants that are all ruled out by the flow: what each takes.
    flows: Option<String>,
}

/// The method of a sampler; where it has variants and none is named, the one that takes the flow.
pub(super) fn followed(
    library: &Library,
    folder: &Folder,
    sampler: &Sampler,
    flow: Option<f64>,
) -> Followed {
    let Some(name) = folder.method_of(sampler) else {
        let says = "no method is named: nothing is compared".to_owned();
        return Followed { says: Some(says), ..Followed::default() };
    };
    let Named::Found(method, entries) = library.named(&name) else {
        let says = format!("{name} is not in the library: nothing is compared");
        return Followed { name: Some(name), says: Some(says), ..Followed::default() };
    };
    let flows: Vec<f64> = flow.into_iter().collect();
    let takes = that_take(&entries, &flows);
    let only = match (entries.as_slice(), takes.as_slice()) {
        ([only], _) => Some(only),
        (_, [only]) => Some(*only),
        _ => None,
    };
    if let Some(only) = only {
        let by_flow = (only.id != name).then(|| format!("taken as {}, by its flow", only.id));
        return Followed {
            name: Some(only.id.clone()),
            entry: Some(only.clone()),
            says: by_flow,
            flows: None,
        };
    }
    // What holds for every variant holds still.
    let entry = Entry { id: method.id.clone(), what: String::new(), values: method.values.clone() };
    let ids: Vec<&str> = entries.iter().map(|e| e.id.as_str()).collect();
    let ids = ids.join(", ");
    let (says, flows) = if takes.is_empty() {
        let each = entries
            .iter()
            .filter_map(|e| Some(format!("{} ({})", e.values.get("flow")?.shown, e.what)));
        let each = each.collect::<Vec<_>>().join(", ");
        (
            format!("none of {ids} takes this flow: only what they have in common is compared"),
            Some(each),
        )
    } else {
        (
            format!(
                "several take this flow: only what they have in common is compared; name one of {ids}"
            ),
            None,
        )
    };
    Followed { name: Some(name), entry: Some(entry), says: Some(says), flows }
}

/// What was drawn.
pub(super) struct Drawn {
    /// The flow that goes with the volume that is used, in L/min.
    pub flow: Option<f64>,
    /// The volume that is used.
    pub volume_l: Option<f64>,
    /// How long it was pumped, in min.
    pub minutes: f64,
    /// "actual" or "standard": the conditions of the volume that concentrations are of.
    pub volume_is: &'static str,
    /// What was found in it, in mg/m³: where a method states a volume at a concentration, the mass decides.
    pub concentration_mg_m3: Option<f64>,
}

/// Flow, volume and time, with flags for what does not fit.
pub(super) fn compare(followed: &Followed, drawn: &Drawn) -> (Vec<MethodRow>, Vec<Flag>) {
    let Some(entry) = &followed.entry else { return (Vec::new(), Vec::new()) };
    let mut rows = Vec::new();
    let mut found = Vec::new();
    let air = Air { concentration_mg_m3: drawn.concentration_mg_m3, dust_mg_m3: None };
    let mass_decides = demand(&entry.values, What::Mass, air).is_some();
    for mut demand in demands(&entry.values, air) {
        let by_mass = demand.what == What::Volume && demand.stated.by_mass;
        if by_mass {
            let limits = entry.values.limits(air);
            (demand.least, demand.most) = (limits.least_l, limits.most_l);
        }
        let (value, is) = match demand.what {
            What::Flow => (drawn.flow, drawn.flow.map(|q| format!("{} L/min", figures(q, 4)))),
            What::Volume | What::RecommendedVolume => {
                (drawn.volume_l, drawn.volume_l.map(|v| format!("{} L", figures(v, 4))))
            }
            What::Time | What::RecommendedTime => {
                (Some(drawn.minutes), Some(shown_minutes(drawn.minutes.round())))
            }
            What::Mass => continue,
        };
        let row = row(&demand, value, is.unwrap_or_else(|| "not known".to_owned()));
        // What is asked of the mass is flagged there.
        if row.standing == "outside" && !(by_mass && mass_decides) {
            let code = match demand.what {
                what if what.is_recommended() => "off-recommended",
                What::Flow => "flow-outside",
                What::Time => "duration-outside",
                _ => "volume-outside",
            };
            found.push(flags::flag(code, format!("{}, method {}", row.is, row.wants)));
        }
        rows.push(row);
    }
    if let (Some(each), Some(flow)) = (&followed.flows, drawn.flow) {
        let is = format!("{} L/min", figures(flow, 4));
        found.push(flags::flag("flow-outside", format!("{is}, method {each}")));
        rows.insert(0, said("flow", is, each.clone(), "outside", "not one of these"));
    }
    if let Some(value) = entry.values.get("conditions") {
        let fits = value.shown.starts_with(drawn.volume_is);
        let (standing, says) = if fits { ("fits", "fits") } else { ("outside", "not these") };
        let is = format!("{} conditions", drawn.volume_is);
        if !fits {
            found.push(flags::flag("conditions-outside", format!("{is}, method {}", value.shown)));
        }
        rows.push(MethodRow {
            from: value.from.clone(),
            ..said("volume reported at", is, value.shown.clone(), standing, says)
        });
    }
    for (key, what, why) in [
        ("load-max", "dust on the filter", "not compared: all dust is meant, whatever is measured"),
        ("density", "fibres on the filter", "not compared: the laboratory counts them"),
    ] {
        if let Some(value) = entry.values.get(key) {
            rows.push(MethodRow {
                from: value.from.clone(),
                ..said(what, "not known".to_owned(), value.shown.clone(), "not-known", why)
            });
        }
    }
    (rows, found)
}

/// The mass of an analyte: what was found less its blanks against the least, what was found itself against the most.
pub(super) fn mass(
    entry: Option<&Entry>,
    analyte: &str,
    lab: &Lab,
    found: Amount,
    net: Amount,
) -> (Option<MethodRow>, Vec<Flag>) {
    let mut raised = Vec::new();
    let text = |mg: f64| format!("{} mg", figures(mg, 3));
    let own = |key: &str| entry.and_then(|e| e.values.one(key));
    let (lod, loq) = (lab.lod_mg.or(own("lod")), lab.loq_mg.or(own("loq")));
    let mut flag =
        |code: &str, says: String| raised.push(flags::flag(code, format!("{analyte}: {says}")));
    let mut told = true;
    match net {
        Amount::Below(x) => {
            flag("below-lod", Amount::Below(x).text(2, "mg").unwrap_or_default());
            told = false;
        }
        Amount::Found(x) => {
            if let Some(lod) = lod.filter(|lod| strictly_over(*lod, x)) {
                flag("below-lod", format!("{}, detected from {}", text(x), text(lod)));
                told = false;
            } else if let Some(loq) = loq.filter(|loq| strictly_over(*loq, x)) {
                flag("below-loq", format!("{}, quantified from {}", text(x), text(loq)));
                told = false;
            }
        }
        _ => {}
    }
    let Some(demand) = entry.and_then(|e| demand(&e.values, What::Mass, Air::default())) else {
        return (None, raised);
    };
    let most = found.high().unwrap_or(found.low());
    let is = net.text(3, "mg").unwrap_or_default();
    let mut row = match net {
        Amount::Found(x) => row(&demand, Some(x), is),
        _ => row(&demand, None, is),
    };
    if demand.standing(most, most, Of::Sample) == Standing::Above {
        row = MethodRow { standing: "outside".to_owned(), says: "too much".to_owned(), ..row };
    } else if matches!(net, Amount::Below(_)) {
        row = MethodRow { says: "not known: below what can be told".to_owned(), ..row };
    }
    // What cannot be told is said already.
    if row.standing == "outside" && (told || row.says == "too much") {
        let is = if row.says == "too much" { shown_mass(most) } else { row.is.clone() };
        raised.push(flags::flag("mass-outside", format!("{analyte}: {is}, method {}", row.wants)));
    }
    (Some(MethodRow { analyte: Some(analyte.to_owned()), ..row }), raised)
}

fn row(demand: &Demand, value: Option<f64>, is: String) -> MethodRow {
    let (standing, says) = match value.map(|x| demand.standing(x, x, Of::Sample)) {
        None => ("not-known", "not known"),
        Some(_) if value.is_some_and(|x| demand.cannot_tell(x, x, Of::Sample)) => {
            ("not-known", "cannot be told: it depends on what is in the air")
        }
        Some(Standing::Inside | Standing::Partly) => ("fits", "fits"),
        Some(Standing::Below) => ("outside", "too little"),
        Some(Standing::Above) => ("outside", "too much"),
    };
    MethodRow {
        value,
        unit: Some(demand.what.unit().to_owned()),
        least: demand.least,
        most: demand.most,
        from: demand.from.clone(),
        ..said(demand.what.word(), is, demand.wants.clone(), standing, says)
    }
}

fn said(what: &str, is: String, wants: String, standing: &str, says: &str) -> MethodRow {
    MethodRow {
        what: what.to_owned(),
        is,
        wants,
        standing: standing.to_owned(),
        says: says.to_owned(),
        ..MethodRow::default()
    }
}
