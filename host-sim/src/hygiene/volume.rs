//! The volume that was sampled, both ways: integrated by the pump, and mean flow times time.

use super::error::{Problem, not_negative, positive, result};

/// Mean flow times time: `V = Q t`.
///
/// Range: flow in L/min and time in min above 0. Source: 40 CFR 50 App. B 10.1.1, 10.2 (2015 edition).
///
/// # Errors
/// One that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::volume::mean_flow_time_l;
/// assert_eq!(mean_flow_time_l(2.0, 240.0)?, 480.0);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn mean_flow_time_l(flow_l_per_min: f64, minutes: f64) -> Result<f64, Problem> {
    let volume = positive("flow", flow_l_per_min)? * positive("time", minutes)?;
    positive("volume", result("volume", volume)?)
}

/// How long a volume takes: `t = V / Q`, in min.
///
/// Range: both above 0. Source: arithmetic.
///
/// # Errors
/// One that is not above 0; too large.
///
/// ```
/// use draught_sim::hygiene::volume::minutes_for;
/// assert_eq!(minutes_for(18.0, 0.2)?, 90.0);
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn minutes_for(volume_l: f64, flow_l_per_min: f64) -> Result<f64, Problem> {
    result("time", positive("volume", volume_l)? / positive("flow", flow_l_per_min)?)
}

/// What is known of a sample for a comparison of its two volumes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sampled {
    /// What the pump counted, in L.
    pub integrated_l: f64,
    /// The verified flow that is used, in L/min.
    pub flow_used_l_per_min: f64,
    /// The verified flow before, in L/min.
    pub flow_before_l_per_min: f64,
    /// The verified flow after, if any.
    pub flow_after_l_per_min: Option<f64>,
    /// From start to stop, in min: what a watch would say.
    pub elapsed_minutes: f64,
    /// Of these, with the pump at work.
    pub pumping_minutes: f64,
    /// The flow that the pump believed it kept while it was verified, in L/min, where that is not its mean: of a sampler that was
    /// blocked for a while, its target.
    pub flow_kept_l_per_min: Option<f64>,
}

/// One reason why the two volumes differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// Pauses and outages: a watch counts them, the pump does not.
    TimeOff {
        /// How long, in min.
        minutes: f64,
    },
    /// The flow used is not the mean of before and after.
    FlowChosen,
    /// The pump's own flow sensor against the verified flow.
    SensorGain {
        /// Pump's mean flow over mean verified flow, less 1, in %.
        percent: f64,
    },
    /// The flow was not all of the time what the pump kept while it was verified.
    Unsteady,
}

impl Why {
    /// For people.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::TimeOff { minutes } => format!(
                "pauses and outages: mean flow x time counts {} min in which nothing was pumped",
                super::round::significant(minutes, 3).unwrap_or_default()
            ),
            Self::FlowChosen => "the flow used is not the mean of before and after".to_owned(),
            Self::SensorGain { percent } => format!(
                "the pump's sensor reads {} % {} than the meter of the verification",
                super::round::significant(percent.abs(), 2).unwrap_or_default(),
                if percent < 0.0 { "less" } else { "more" }
            ),
            Self::Unsteady => {
                "the flow was not all of the time what it was when it was verified".to_owned()
            }
        }
    }
}

/// The two volumes side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Beside {
    /// By the pump, in L.
    pub integrated_l: f64,
    /// Mean flow times elapsed time, in L.
    pub mean_flow_time_l: f64,
    /// Integrated minus mean flow times time, in L.
    pub difference_l: f64,
    /// The same in % of mean flow times time.
    pub difference_percent: f64,
    /// Where it comes from, in L each; they add up to the difference.
    pub reasons: Vec<(Why, f64)>,
    /// By how much the mean of before and after can be off if the flow did not change evenly, in L: half their
    /// difference times the pumping time (40 CFR 50 App. B 6.2 warns of it, and recommends integration).
    pub uneven_drift_l: f64,
}

/// Puts the pump's integrated volume beside mean flow times elapsed time, and divides the difference into its
/// reasons:
///
/// `Vi - Qu te = -Qu (te - tp) + (Qm - Qu) tp + (Qk - Qm) tp + (Vi - Qk tp)`: time off, flow chosen, sensor gain, unsteady
/// flow; Vi integrated, Qu flow used, Qm mean of before and after (before alone, if there is none after), Qk the flow that the pump
/// kept (Vi / tp, if no other is given), te elapsed and tp pumping time.
///
/// Range: volumes, flows, times above 0; pumping time not over elapsed time. Source: arithmetic; the two volumes, 40 CFR
/// 50 App. B 10 and 6.2 (2015 edition).
///
/// # Errors
/// Numbers out of range; more pumping than elapsed time.
///
/// ```
/// use draught_sim::hygiene::volume::{Sampled, beside};
/// let found = beside(&Sampled {
///     integrated_l: 899.7,
///     flow_used_l_per_min: 2.0,
///     flow_before_l_per_min: 2.01,
///     flow_after_l_per_min: Some(1.99),
///     elapsed_minutes: 480.0,
///     pumping_minutes: 450.0,
///     flow_kept_l_per_min: None,
/// })?;
/// assert_eq!((found.mean_flow_time_l, found.difference_l.round()), (960.0, -60.0));
/// # Ok::<(), draught_sim::hygiene::Problem>(())
/// ```
pub fn beside(sampled: &Sampled) -> Result<Beside, Problem> {
    let integrated = positive("integrated volume", sampled.integrated_l)?;
    let used = positive("flow used", sampled.flow_used_l_per_min)?;
    let before = positive("flow before", sampled.flow_before_l_per_min)?;
    let after = positive("flow after", sampled.flow_after_l_per_min.unwrap_or(before))?;
    let elapsed = positive("elapsed time", sampled.elapsed_minutes)?;
    let pumping = positive("pumping time", sampled.pumping_minutes)?;
    let off = elapsed - pumping;
    if super::strictly_over(pumping, elapsed) {
        return Err(Problem::Contradiction {
            what: "there is more pumping time than time from start to stop",
            help: "elapsed time is from start to stop, pauses and outages included",
        });
    }
    let traditional = mean_flow_time_l(used, elapsed)?;
    let mean = before / 2.0 + after / 2.0;
    let by_mean = positive("volume", result("volume", mean * pumping)?)?;
    let mut reasons = Vec::new();
    let by_kept = match sampled.flow_kept_l_per_min {
        Some(kept) => result("volume", positive("flow kept", kept)? * pumping)?,
        None => integrated,
    };
    let gain = result("sensor gain", 100.0 * (by_kept / by_mean - 1.0))?;
    for (why, litres) in [
        (Why::TimeOff { minutes: not_negative("time off", off.max(0.0))? }, -used * off.max(0.0)),
        (Why::FlowChosen, (mean - used) * pumping),
        (Why::SensorGain { percent: gain }, by_kept - by_mean),
        (Why::Unsteady, integrated - by_kept),
    ] {
        // What is less than a millionth of the volume is the dust of arithmetic.
        if litres.abs() > traditional.max(integrated) * 1e-6 {
            reasons.push((why, result("difference of the volumes", litres)?));
        }
    }
    let difference_l = integrated - traditional;
    Ok(Beside {
        integrated_l: integrated,
        mean_flow_time_l: traditional,
        difference_l,
        difference_percent: result(
            "difference of the volumes",
            100.0 * (difference_l / traditional),
        )?,
        reasons,
        uneven_drift_l: result("drift", (after - before).abs() / 2.0 * pumping)?,
    })
}
