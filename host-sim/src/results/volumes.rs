//! The volume of a sample in every way that there is, which of them is used, and how uncertain it is.

use super::budgets::{COVERAGE, shown};
use super::flow::{Rule, Verified};
use super::laboratory::Budget;
use super::sample::Volumes;
use super::{Flag, flags};
use crate::event::{FlowFrom, Sampler, VolumeFrom};
use crate::hygiene::air::{Conditions, standard_volume_l};
use crate::hygiene::budgets::{VolumeKnown, volume_budget};
use crate::hygiene::round::{self, figures, signed_percent};
use crate::hygiene::uncertainty::{self, Spread};
use crate::hygiene::verify::off;
use crate::hygiene::volume::{Sampled, beside, mean_flow_time_l};
use crate::record_file::SampleRecord;

/// The pump's unit of volume in L.
pub(super) fn litres(raw_ul_ms_per_min: u64) -> f64 {
    raw_ul_ms_per_min as f64 / 60_000_000_000.0
}

/// A volume with what later steps need of it.
pub(super) struct Volume {
    pub shown: Volumes,
    pub flow_used_l_per_min: Option<f64>,
    pub flow_used_is: Option<&'static str>,
    pub budget: Option<Budget>,
    pub computed: Option<uncertainty::Budget>,
    pub flags: Vec<Flag>,
}

/// What is known about a sample when its volume is computed.
pub(super) struct Known<'a> {
    pub sampler: &'a Sampler,
    pub row: &'a SampleRecord,
    pub verified: &'a Verified,
    pub rule: &'a Rule,
    pub on_manifold: bool,
    pub target_l_per_min: Option<f64>,
}

impl Known<'_> {
    /// Whether the flow was another for a while than that which was verified.
    fn is_unsteady(&self) -> bool {
        const UNSTEADY: [&str; 4] = ["flow-unsteady", "flow-off", "limit-tripped", "flow-unknown"];
        self.row.flags.iter().any(|f| UNSTEADY.contains(&f.as_str()))
    }

    /// The flow that the pump believed it kept while it was verified: its mean where it was steady, else its target, for what stopped or
    /// slowed it during the sample did not do so at the verification.
    fn own_flow_l_per_min(&self) -> Option<f64> {
        let mean = self.row.flow_ul_per_min.map(|f| f64::from(f.mean) / 1e6);
        if self.is_unsteady() { self.target_l_per_min } else { mean.or(self.target_l_per_min) }
    }

    /// The pump's own flow, the meter's, the difference in percent, and whether that is over the limit.
    fn pump_off_meter(&self) -> Option<(f64, f64, f64, bool)> {
        let meter = self.verified.flow_l_per_min().filter(|_| !self.on_manifold)?;
        let pump = self.own_flow_l_per_min()?;
        let (difference, over) = off(pump, meter, self.rule.limit).ok()?;
        Some((pump, meter, difference, over))
    }
}

/// Computes it.
pub(super) fn volume(k: &Known<'_>) -> Volume {
    let minutes = k.row.pumped_ms as f64 / 60_000.0;
    let pump_flow = k.row.flow_ul_per_min.map(|f| f64::from(f.mean) / 1e6);
    let meter_flow = k.verified.flow_l_per_min();
    let integrated = Some(litres(k.row.volume_raw_ul_ms_per_min)).filter(|v| *v > 0.0);
    let tube = meter_flow.and_then(|q| mean_flow_time_l(q, minutes).ok());
    let from_pump = k.sampler.flow_from == Some(FlowFrom::Pump);
    let flow = if from_pump && !k.on_manifold { pump_flow } else { meter_flow };
    let traditional = flow.and_then(|q| mean_flow_time_l(q, minutes).ok());
    let asked = k.sampler.volume_from.as_ref().map(|v| v.is);
    let off_meter = k.pump_off_meter();
    let way = asked.unwrap_or(match off_meter {
        _ if k.on_manifold => VolumeFrom::VerifiedTube,
        // Beyond the limit the meter is believed, which has a certificate.
        // Not where it cannot have seen what happened: minutes without flow would count as air.
        Some((.., true)) if !k.is_unsteady() => VolumeFrom::MeanFlowTime,
        _ => VolumeFrom::Integrated,
    });
    let refused = k.on_manifold && way != VolumeFrom::VerifiedTube;
    let mut v = Volumes {
        // Of all tubes together: no tube has that volume.
        integrated_l: integrated.filter(|_| !k.on_manifold),
        mean_flow_time_l: traditional.filter(|_| !k.on_manifold),
        verified_tube_l: tube.filter(|_| k.on_manifold || way == VolumeFrom::VerifiedTube),
        ..Volumes::default()
    };
    let used = match way {
        _ if refused => None,
        VolumeFrom::Integrated => v.integrated_l,
        VolumeFrom::MeanFlowTime => v.mean_flow_time_l,
        VolumeFrom::VerifiedTube => v.verified_tube_l,
    };
    v.used_l = used;
    v.used_is = used.map(|_| way.word().to_owned());
    v.used_because = because(k, way, asked.is_some(), refused, used);
    standard(&mut v, k);
    why(&mut v, k, minutes);
    let mut flags = Vec::new();
    let counted_as_air = integrated
        .zip(traditional)
        .filter(|_| way == VolumeFrom::MeanFlowTime && !from_pump && k.is_unsteady());
    if let Some((integrated, traditional)) = counted_as_air {
        let says = format!(
            "{} L by mean flow x time, {} L by the pump",
            figures(traditional, 4),
            figures(integrated, 4)
        );
        flags.push(super::flags::flag("flow-not-as-verified", says));
    }
    if used.is_none() {
        flags.push(flags::flag("no-volume", v.used_because.clone()));
    }
    if let Some((pump, meter, off, true)) = off_meter {
        let says = format!(
            "pump {} L/min, meter {} L/min: {}",
            figures(pump, 4),
            figures(meter, 4),
            signed_percent(off)
        );
        flags.push(flags::flag("pump-off-meter", says));
    } else if !k.on_manifold {
        // Where the pump is off its meter, the verified flow is off the plan for that reason.
        flags.extend(k.verified.required(k.target_l_per_min, k.rule));
    }
    let computed = used.and_then(|used| budget(k, way, used, minutes));
    v.expanded_l = computed.as_ref().map(|(b, _)| b.expanded);
    v.k = computed.as_ref().map(|(b, _)| b.k);
    v.says = match (used, &computed) {
        (Some(used), Some((b, _))) => with_expanded(used, b.expanded, b.k, "L"),
        (Some(used), None) => format!("{} L", figures(used, 4)),
        (None, _) => "not known".to_owned(),
    };
    let (flow_used_l_per_min, flow_used_is) = match way {
        VolumeFrom::Integrated => (None, None),
        VolumeFrom::MeanFlowTime if from_pump => (flow, Some("pump")),
        _ => (meter_flow, Some("verified")),
    };
    Volume {
        flow_used_l_per_min: flow_used_l_per_min.filter(|_| used.is_some()),
        flow_used_is: flow_used_is.filter(|_| used.is_some() && flow_used_l_per_min.is_some()),
        budget: computed.as_ref().map(|(b, sources)| shown("volume", "L", b, sources)),
        computed: computed.map(|(b, _)| b),
        shown: v,
        flags,
    }
}

/// "858 ± 73 mg/m3 (k = 2.0)", both to the same place.
pub(super) fn with_expanded(value: f64, expanded: f64, k: f64, unit: &str) -> String {
    match round::with_uncertainty(value, expanded) {
        Ok((value, expanded)) => {
            format!("{value} ± {expanded} {unit} (k = {})", figures(k, 3))
        }
        Err(_) => format!("{} {unit}", figures(value, 3)),
    }
}

fn because(
    k: &Known<'_>,
    way: VolumeFrom,
    asked: bool,
    refused: bool,
    used: Option<f64>,
) -> String {
    if refused {
        return "not computed: a tube on a manifold has its own verified flow x time, never the pump's volume"
            .to_owned();
    }
    if used.is_none() {
        return match way {
            VolumeFrom::Integrated => "not computed: the record has no volume",
            _ => "not computed: the flow was not verified",
        }
        .to_owned();
    }
    let who =
        if asked { "as the field sheet asks" } else { "unless the field sheet asks otherwise" };
    match way {
        VolumeFrom::Integrated => format!(
            "the pump's own, integrated over its readings, {who} (40 CFR 50 App. B 6.2 recommends integration)"
        ),
        VolumeFrom::MeanFlowTime if !asked => format!(
            "mean of the flow before and after x pumping time: the pump's own flow is further off the meter's than the limit of {} %, and the meter is believed",
            figures(k.rule.limit.percent, 2).trim_end_matches(".0")
        ),
        VolumeFrom::MeanFlowTime => {
            let flow = match (k.sampler.flow_from, &k.verified.after) {
                (Some(FlowFrom::Pump), _) => "the pump's mean flow",
                (_, None) => "the one verified flow",
                (_, Some(_)) => "the mean of the flow before and after",
            };
            format!("{flow} x pumping time, {who} (40 CFR 50 App. B 10)")
        }
        VolumeFrom::VerifiedTube => format!("the tube's own verified flow x pumping time, {who}"),
    }
}

fn standard(v: &mut Volumes, k: &Known<'_>) {
    let used_pumps = v.used_is.as_deref() == Some(VolumeFrom::Integrated.word());
    let air = k.row.temperature_mk.zip(k.row.pressure_pa).and_then(|(t, p)| {
        Conditions::new(f64::from(t.mean) / 1e3 - 273.15, f64::from(p.mean) / 1e3).ok()
    });
    v.standard_l = if used_pumps {
        Some(litres(k.row.standard_volume_raw_ul_ms_per_min)).filter(|x| *x > 0.0)
    } else {
        let used = v.used_l.zip(air);
        used.and_then(|(l, air)| standard_volume_l(l, air, Conditions::EPA_STANDARD).ok())
    };
    v.standard_is = v.standard_l.map(|_| {
        let how =
            if used_pumps { "by the pump, reading by reading" } else { "by the mean of the air" };
        format!("25 °C, 101.325 kPa, {how}")
    });
}

/// What makes the two volumes differ.
fn why(v: &mut Volumes, k: &Known<'_>, minutes: f64) {
    let (Some(integrated), Some(traditional)) = (v.integrated_l, v.mean_flow_time_l) else {
        if k.on_manifold {
            v.why_they_differ.push(
                "the pump's volume is that of all tubes together, and is not used".to_owned(),
            );
        }
        return;
    };
    v.difference_percent = Some(100.0 * (traditional - integrated) / integrated);
    let Some(used) = k.verified.flow_l_per_min() else { return };
    let before = k.verified.before.as_ref().map_or(used, |s| s.flow_l_per_min);
    let found = beside(&Sampled {
        integrated_l: integrated,
        flow_used_l_per_min: traditional / minutes,
        flow_before_l_per_min: before,
        flow_after_l_per_min: k.verified.after.as_ref().map(|s| s.flow_l_per_min),
        elapsed_minutes: minutes,
        pumping_minutes: minutes,
        flow_kept_l_per_min: k.is_unsteady().then_some(k.target_l_per_min).flatten(),
    });
    if let Ok(found) = found {
        for (reason, litres) in &found.reasons {
            let sign = if *litres > 0.0 { "+" } else { "" };
            v.why_they_differ.push(format!("{}: {sign}{} L", reason.words(), figures(*litres, 3)));
        }
        if found.uneven_drift_l > integrated * 1e-6 {
            v.why_they_differ.push(format!(
                "if the flow did not change evenly, mean flow x time may be off by {} L (App. B 6.2)",
                figures(found.uneven_drift_l, 2)
            ));
        }
    }
}

type Sources = Vec<(&'static str, String)>;

/// The budget of the volume that is used: `flow x time`, whatever way it came by.
fn budget(
    k: &Known<'_>,
    way: VolumeFrom,
    used: f64,
    minutes: f64,
) -> Option<(uncertainty::Budget, Sources)> {
    // Of a flow that nobody verified nothing is known that could be stated.
    let verified = k.verified.flow_l_per_min()?;
    let (before, after) = (k.verified.before.as_ref(), k.verified.after.as_ref());
    let meter_u = [before, after].into_iter().flatten().map(|s| s.meter_u_percent);
    let meter_u = meter_u.collect::<Option<Vec<f64>>>();
    let meter_u = meter_u.and_then(|all| all.into_iter().reduce(f64::max));
    // What the pump's own sensor makes uncertain.
    let of_pump = way == VolumeFrom::Integrated || k.sampler.flow_from == Some(FlowFrom::Pump);
    let limit = k.rule.limit.percent;
    let mut sources: Sources = Vec::new();
    let (calibration_percent, drift, repeated) = match meter_u {
        Some(u) => {
            let (mut half, mut says) = match before.zip(after) {
                Some((b, a)) => (
                    (a.flow_l_per_min - b.flow_l_per_min).abs() / 2.0,
                    "flow before and after: anywhere between, rectangular",
                ),
                // Half of what it may have drifted by, on average.
                None => (
                    verified * limit / 200.0,
                    "assumed: verified once only, so drift within the verification limit, rectangular",
                ),
            };
            if of_pump
                && let Some((pump, meter, ..)) = k.pump_off_meter()
                && (pump - meter).abs() > half
            {
                half = (pump - meter).abs();
                says = "the pump's own flow off the verified one: no better known than that, rectangular";
            }
            let of_volumes = (used - litres(k.row.volume_raw_ul_ms_per_min)).abs() / minutes;
            if way == VolumeFrom::MeanFlowTime && k.is_unsteady() && of_volumes > half {
                half = of_volumes;
                says = "the flow was not always that which was verified: no better known than what the pump metered, rectangular";
            }
            sources.push((
                "flow calibration",
                "the meter's standard uncertainty, as on the field sheet".to_owned(),
            ));
            sources.push(("flow drift", says.to_owned()));
            sources.push(("flow repeatability", "the readings before".to_owned()));
            let repeated =
                before.and_then(|s| Some((s.measured.deviation_l_per_min?, s.measured.count)));
            (Spread::Normal { standard: u }, half * 2.0, repeated)
        }
        None => {
            let off = k.verified.shown.difference_percent.map_or(0.0, f64::abs);
            let off = match k.pump_off_meter() {
                Some((.., pump, _)) if of_pump => off.max(pump.abs()),
                _ => off,
            };
            let says = "assumed: flow within the verification limit or the difference found, rectangular; the meter's uncertainty is not known";
            sources.push(("flow calibration", says.to_owned()));
            (Spread::Rectangular { half_width: limit.max(off) }, 0.0, None)
        }
    };
    // The pump's timer: its rows are to the ms, a stop within a second; what a cut took is not known.
    let half = (1_000.0 + f64::from(k.row.unaccounted_ms)) / 60_000.0;
    sources.push((
        "time",
        "assumed: 1 s of the pump's timer, and what cuts left unaccounted, rectangular".to_owned(),
    ));
    let known = VolumeKnown {
        flow_l_per_min: used / minutes,
        calibration_percent,
        drift_l_per_min: drift,
        repeated,
        minutes,
        time_half_width_min: half,
        standard: None,
    };
    Some((volume_budget(&known, COVERAGE).ok()?, sources))
}
