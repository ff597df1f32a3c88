//! What each flag means, and what to do. A flag asks for a review, it never voids a sample by itself (40 CFR 50 App. L 10.12).

use super::Flag;

/// A flag with its explanation.
#[derive(Clone, Copy, Debug)]
pub struct Explained {
    /// Its code.
    pub code: &'static str,
    /// "review", "warning" or "note".
    pub level: &'static str,
    /// What is so, in a few words.
    pub brief: &'static str,
    /// What it means.
    pub means: &'static str,
    /// What to do.
    pub do_this: &'static str,
}

macro_rules! table {
    ($($code:literal, $level:literal, $brief:literal, $means:literal, $do:literal;)+) => {
        /// Every flag: those of a pump's record (`draught::record::Flags`), then those that come of what people filled in.
        pub const ALL: &[Explained] =
            &[$(Explained { code: $code, level: $level, brief: $brief, means: $means, do_this: $do },)+];
    };
}

table! {
    "flow-unsteady", "review",
        "5 min were more than 5 % off the mean of their sample",
        "a mean flow over 5 min was more than 5 % off the mean of its sample (40 CFR 50 App. L 7.4.5.2)",
        "look at the flow over time; a filter that loads up or a pinched tube shows there";
    "limit-tripped", "review",
        "a limit stopped the pump",
        "a limit of the plan was passed for longer than it allows, so pumping was stopped or tried again",
        "see which limit and when; check tube, sampler and battery, and what was done there at that time";
    "flow-unknown", "review",
        "pumped without readings for some time: counts as time, not as volume",
        "the pump ran for some time without readings of its flow: that counts as time, not as volume",
        "the volume may be too small, so the concentration too large; compare with mean flow x time";
    "interrupted", "review",
        "power was lost",
        "power was lost while the event was under way; what was drawn before is kept",
        "see how long; decide whether what was sampled stands for the whole task";
    "many-interruptions", "review",
        "more than ten interruptions",
        "more than ten interruptions of more than 1 min: only ten have their times kept (App. L 7.4.15.5)",
        "check battery and contacts; count on the spans for the rest";
    "time-unaccounted", "review",
        "pumped before a cut, and in no record",
        "the pump ran shortly before a cut and no checkpoint holds that: up to one checkpoint interval a cut is missing",
        "the volume may be too small by that time x flow; the uncertainty of the volume has it already, as time";
    "clock-stepped", "review",
        "the clock was set, or went its own way",
        "the wall clock was set or went its own way during the event: times of day may be off, lengths of time are not",
        "compare start and stop with the field sheet";
    "clock-untrusted", "review",
        "the clock did not know the time for a while",
        "the wall clock could not be trusted at some time: there may be no times of day",
        "take start and stop from the field sheet; volume and pumping time stand";
    "air-unknown", "review",
        "air not measured all the time: no standard volume of the whole",
        "temperature or pressure was not measured all of the time: the standard volume does not cover the sample",
        "use the actual volume, or correct it with readings taken beside it";
    "not-at-inlet", "review",
        "flow not corrected to the inlet all the time",
        "the flow was not corrected to the sampler's inlet all of the time",
        "the volume may be off by the pressure drop of the train; see it over time";
    "late", "review",
        "an appointment was met late or missed, or a run was lost",
        "an appointment was met late or missed, or a run was passed over",
        "compare planned and happened; decide whether it still stands for the task";
    "row-lost", "review",
        "a row of the record could not be kept",
        "a row could not be kept in the pump's journal: something is missing in the record",
        "have the pump's memory looked at; do not use sums as complete";
    "ended-early", "review",
        "ended early, by hand or by a fault",
        "the event was ended before its plan was: by hand, or by a fault",
        "see why it ended; a shorter sample may still be good for the time it covers";
    "time-outside", "review",
        "a sample was drawn for too short or too long",
        "a sample was drawn for less or more time than it must be (App. L 3.3, 7.4.13: 1380 to 1500 min)",
        "a shorter one may show that a limit was exceeded, and nothing else (App. L 3.3)";
    "flow-off", "review",
        "5 min were more than 5 % off the target",
        "a mean flow over 5 min was more than 5 % off the target",
        "look at the flow over time; a size-selective sampler may have taken in other sizes";
    "journal-failed", "review",
        "the flash failed for a while: a checkpoint was not written at once",
        "a checkpoint could not be written at once: the pump's memory failed for a moment; the motor was held off for that, which counts as time, not as volume",
        "have the pump looked at before it is used again; the record itself was checked";
    "motor-failed", "review",
        "the motor did not do as it was told",
        "the motor did not do as it was told: it may have run for longer, or less, than the record says",
        "take time and volume as not known until the pump was looked at; do not use it again before";
    "verification-drift", "review",
        "flow after off the flow before",
        "the flow after differs from that before by more than the limit",
        "check tube, filter and meter; say which flow was used, or sample again";
    "not-verified", "review",
        "flow not verified before and after",
        "the flow was not verified both before and after with a meter of its own",
        "the volume rests on the pump's sensor or on one reading; verify, or say so in the report";
    "few-timings", "note",
        "fewer than three timings",
        "fewer than three timings: NMAM chapter D section 7a wants one, and at least two more",
        "time it again next time; the mean is less sure";
    "meter-not-corrected", "review",
        "rotameter not corrected",
        "a rotameter was read without the air of its calibration: it was not corrected",
        "fill in calibrated-temperature and calibrated-pressure, and temperature and pressure at the site";
    "flow-not-as-verified", "review",
        "mean flow x time of a flow that was not steady",
        "the volume is mean verified flow x time, and for a while the flow was another: minutes without flow count as air",
        "use the pump's own volume, or leave out the time in which it was blocked";
    "tubes-off-pump", "review",
        "tubes together off their pump",
        "the verified flows of the tubes on a pump are together not its own flow",
        "see whether each tube names the right record, and whether the manifold leaks";
    "no-blank", "note",
        "no field blank of its lot",
        "there are field blanks, and none of this lot and analyte: nothing was subtracted",
        "see whether the lots are written alike; ask the laboratory what its blanks had";
    "readings-apart", "review",
        "readings too far apart",
        "the readings of one verification are further apart than its limit",
        "they cannot be of one flow: read them again, and look for a leak or a number written wrongly";
    "pump-off-meter", "review",
        "pump's flow off the meter's",
        "the pump's own mean flow differs from the verified flow by more than the limit",
        "have the pump's sensor calibrated; think about volume-from = \"mean-flow-time\"";
    "off-required", "review",
        "verified flow off the planned one",
        "the flow that the meter read is further from the planned one than the limit",
        "set the flow anew before the next sample; a size-selective sampler may have taken in other sizes";
    "in-shift-off", "review",
        "in-shift check off the flow before",
        "an in-shift check found a flow further from that before than the limit",
        "see what was done about it; compare with the pump's flow at that time";
    "volume-outside", "review",
        "volume not the one wanted",
        "the volume is not between the least and the most that are wanted",
        "too little: what is found may be below the limit of detection. Too much: overload or breakthrough. Ask the laboratory";
    "duration-outside", "review",
        "time not the method's",
        "the sample was drawn for less or more time than its method asks",
        "see the method; a part of the time may not be covered";
    "flow-outside", "review",
        "flow not the method's",
        "the mean flow is not one that the method takes",
        "a size-selective sampler may have taken in other sizes; see the method";
    "off-recommended", "note",
        "not what the method recommends",
        "volume or time is not what the method recommends",
        "see the method, and ask the laboratory";
    "conditions-outside", "review",
        "volume not at the method's conditions",
        "the method reports at other conditions than those of the volume that was used",
        "have temperature and pressure measured all of the time, or correct the volume with readings taken beside it";
    "short-term-not-15-min", "review",
        "not a quarter of an hour",
        "a short-term limit is a mean over 15 min, and this sample is longer or shorter",
        "longer: its highest quarter of an hour is at least its mean. Shorter: the rest must be known";
    "mass-outside", "review",
        "mass not in the method's range",
        "the mass is outside the range that the method takes",
        "too much: the sampler may be overloaded. Too little: the number is less sure. Ask the laboratory";
    "below-lod", "note",
        "nothing found",
        "nothing was found above the limit of detection: the result is below a number, never 0, or less sure than it looks",
        "a longer sample or another method may say more";
    "below-loq", "note",
        "found, too little to be quantified well",
        "found, but below the limit of quantification: the number is less sure than its figures",
        "ask the laboratory for its uncertainty there";
    "breakthrough", "review",
        "broke through to the back",
        "more than a tenth of the front was found on the back (NMAM 1401): sample may have been lost, the result is at least this",
        "report it as such; sample again for a shorter time or at a lower flow";
    "breakthrough-unknown", "review",
        "breakthrough cannot be told",
        "a section is below its limit, and that limit is too high to tell whether it broke through",
        "ask the laboratory for a lower limit, or for what it thinks";
    "laboratory-figures", "review",
        "laboratory's figures give no result",
        "the laboratory's figures do not give a result as they stand",
        "do what is said; ask the laboratory";
    "media-expired", "review",
        "media past their last day",
        "the media were past their last day when they were used",
        "ask the laboratory whether the result can stand";
    "no-volume", "review",
        "no volume",
        "there is no volume to compute a concentration with",
        "fill in what is missing, above all record and verification";
    "over-limit", "warning",
        "over the limit",
        "the result is over the limit that it was compared with",
        "tell the site's hygienist; the method, the local code and a competent person decide what follows";
}

/// The explanation of a code.
#[must_use]
pub fn explained(code: &str) -> Option<&'static Explained> {
    ALL.iter().find(|e| e.code == code)
}

/// A flag with what is so in this case.
pub(super) fn flag(code: &str, says: impl Into<String>) -> Flag {
    let none = Explained {
        code: "",
        level: "review",
        brief: "not known to this version",
        means: "a flag that this version does not know",
        do_this: "use the version of draught that wrote the record, or a later one",
    };
    let e = explained(code).copied().unwrap_or(none);
    Flag {
        code: code.to_owned(),
        level: e.level.to_owned(),
        says: says.into(),
        means: e.means.to_owned(),
        do_this: e.do_this.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flag_of_a_record_is_explained_and_each_once() {
        for (_, code) in draught::record::Flags::ALL {
            assert!(explained(code).is_some(), "{code}");
        }
        for (i, e) in ALL.iter().enumerate() {
            assert!(!ALL.iter().take(i).any(|o| o.code == e.code), "{}", e.code);
            assert!(["review", "warning", "note"].contains(&e.level), "{}", e.code);
        }
    }
}
