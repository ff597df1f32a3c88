//! Where a formula or a figure comes from, and whether it was read there: the same words for what is computed and for what methods ask.

/// How it was come by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// Read in the Code of Federal Regulations, annual edition of 2015; later changes not checked.
    Cfr2015,
    /// Read in the text that is named.
    Seen,
    /// Read in a copy of it.
    SeenCopy,
    /// Read in excerpts of a copy only.
    SeenInExcerpts,
    /// The variables or the rule were read, the form of the equation is from memory.
    FormFromMemory,
    /// Recalled, not read: shown, and decides nothing.
    Memory,
    /// Custom in the trade.
    CommonPractice,
    /// Follows by arithmetic or by definition.
    Computed,
}

impl How {
    /// Those that a file of a method can name.
    pub const OF_METHODS: [(&str, Self); 4] = [
        (Self::Seen.code(), Self::Seen),
        (Self::SeenCopy.code(), Self::SeenCopy),
        (Self::Memory.code(), Self::Memory),
        (Self::Computed.code(), Self::Computed),
    ];

    /// The code that files and JSON use.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Cfr2015 => "cfr2015",
            Self::Seen => "seen",
            Self::SeenCopy => "seen-copy",
            Self::SeenInExcerpts => "seen-in-excerpts",
            Self::FormFromMemory => "form-from-memory",
            Self::Memory => "memory",
            Self::CommonPractice => "common-practice",
            Self::Computed => "computed",
        }
    }

    /// In words, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Cfr2015 => "read in the 2015 edition; later changes not checked",
            Self::Seen => "read",
            Self::SeenCopy => "read in a copy",
            Self::SeenInExcerpts => "read in excerpts of a copy only",
            Self::FormFromMemory => "rule read, form of the equation from memory",
            Self::Memory => "from memory",
            Self::CommonPractice => "common practice, no source",
            Self::Computed => "computed",
        }
    }
}

impl serde::Serialize for How {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.code())
    }
}

/// A source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Source {
    /// Which text, and where in it.
    pub text: &'static str,
    /// How it was come by.
    pub how: How,
}

impl Source {
    const fn new(text: &'static str, how: How) -> Self {
        Self { text, how }
    }

    /// "29 CFR 1910.1000(d)(1)(i) (read in ...)".
    #[must_use]
    pub fn line(&self) -> String {
        format!("{} ({})", self.text, self.how.words())
    }
}

/// Volume = flow x time, flow the mean of before and after.
pub const VOLUME: Source = Source::new(
    "40 CFR 50 App. B 10.1.1, 10.2: mean of flow before and after, times time",
    How::Cfr2015,
);
/// Integration of a flow record is recommended.
pub const INTEGRATION: Source = Source::new(
    "40 CFR 50 App. B 6.2: the mean can err if flow changes unevenly; integration is recommended",
    How::Cfr2015,
);
/// Actual to standard.
pub const STANDARD: Source = Source::new(
    "40 CFR 50 App. B 10.4 and App. J 11.1: (P/Pstd)(Tstd/T), 25 C, 760 mm Hg",
    How::Cfr2015,
);
/// PM2.5 at actual conditions.
pub const PM25_ACTUAL: Source =
    Source::new("40 CFR 50 App. L 12.1: PM2.5 is stated at actual volume", How::Cfr2015);
/// Rotameter correction.
pub const ROTAMETER: Source = Source::new(
    "NMAM chapter D section 7a: V = Q t sqrt(Pc Ts / (Ps Tc)), for rotameters only",
    How::SeenCopy,
);
/// Bubble timing.
pub const BUBBLE: Source = Source::new(
    "NMAM chapter D section 7a: repeat the timing at least twice more and average",
    How::SeenCopy,
);
/// Ambient flow check.
pub const AMBIENT_CHECK: Source = Source::new(
    "40 CFR 50 App. L 9.2.5: recalibrate if 4 % or more from the standard",
    How::Cfr2015,
);
/// Ambient drift between before and after.
pub const AMBIENT_DRIFT: Source = Source::new(
    "4 % between before and after: taken over from 40 CFR 50 App. L 9.2.5, which has it for a sampler beside a standard",
    How::CommonPractice,
);
/// Ambient flow against the required one.
pub const AMBIENT_RESET: Source = Source::new(
    "40 CFR 50 App. L 9.2.6: set the flow again if 2 % or more from the required flow",
    How::Cfr2015,
);
/// Readings that lie apart.
pub const READINGS_APART: Source = Source::new(
    "readings of one flow lie within the limit of the verification",
    How::CommonPractice,
);
/// Ambient flow that is set.
pub const AMBIENT_REQUIRED: Source = Source::new(
    "40 CFR 50 App. L 9.2.4 to 9.2.6: set the flow anew if it is 2 % or more off the required one",
    How::Cfr2015,
);
/// Flow that is set, worn pumps.
pub const WORN_REQUIRED: Source =
    Source::new("set anew over 5 % off the required flow", How::CommonPractice);
/// The percent difference of a flow check.
pub const PERCENT_DIFFERENCE: Source = Source::new(
    "40 CFR 58 App. A 3.2.3: d = 100 (indicated - standard) / standard",
    How::FormFromMemory,
);
/// Before and after, worn pumps.
pub const WORN_DRIFT: Source =
    Source::new("flagged over 5 % between before and after", How::CommonPractice);
/// Nominal flow of a cyclone.
pub const NOMINAL: Source =
    Source::new("NMAM 0600 step 6 note 2: a cyclone's nominal flow is used", How::SeenCopy);
/// Gravimetric concentration.
pub const GRAVIMETRIC: Source =
    Source::new("NMAM 0501: C = ((W2 - W1) - (B2 - B1)) 1000 / V", How::FormFromMemory);
/// Sorbent tubes.
pub const SORBENT: Source =
    Source::new("NMAM 1401: C = (Wf + Wb - Bf - Bb) 1000 / V", How::FormFromMemory);
/// Breakthrough.
pub const BREAKTHROUGH: Source =
    Source::new("NMAM 1401: breakthrough if Wb > Wf/10", How::SeenCopy);
/// 24.45.
pub const PPM_CUSTOMARY: Source = Source::new(
    "mg/m3 = ppm M / 24.45; agrees with pairs printed in OSHA 69, 84, 1007 and NMAM 5700",
    How::FormFromMemory,
);
/// R T / P.
pub const PPM_EXACT: Source = Source::new("ideal gas, R = 8.314462618 J/(mol K)", How::Memory);
/// Exposure over 8 h.
pub const TWA_8H: Source =
    Source::new("29 CFR 1910.1000(d)(1)(i): E = (Ca Ta + Cb Tb + ...) / 8", How::Cfr2015);
/// Exposure over the hours exposed.
pub const TWA_EXPOSED: Source = Source::new(
    "29 CFR 1910.1043 App. A: sum of hours x concentration over total hours exposed (cotton dust)",
    How::Cfr2015,
);
/// Ceiling as a 15-minute mean.
pub const CEILING_15: Source = Source::new(
    "29 CFR 1910.1000(a)(1): a ceiling without instantaneous monitoring is a 15-minute mean",
    How::Cfr2015,
);
/// Peaks.
pub const PEAK: Source = Source::new(
    "29 CFR 1910.1000(b): above the ceiling up to the peak, for no more than the minutes stated",
    How::Cfr2015,
);
/// Mixtures.
pub const MIXTURE: Source =
    Source::new("29 CFR 1910.1000(d)(2)(i): Em = C1/L1 + C2/L2 + ..., not over 1", How::Cfr2015);
/// Silica mixture.
pub const SILICA: Source = Source::new(
    "OSHA silica mixture page: 10 / (quartz % + 2 cristobalite % + 2 tridymite % + 2); the limit was since replaced (from memory: 1910.1053, 2016)",
    How::Seen,
);
/// Confidence limits.
pub const SAE: Source = Source::new(
    "OSHA Technical Manual as in Boss & Day, Air Sampling and Industrial Hygiene Engineering, ch. 4: UCL, LCL = Y +/- SAE",
    How::SeenCopy,
);
/// The upper limit of consecutive samples.
pub const SAE_UPPER: Source =
    Source::new("upper limit of consecutive samples: by symmetry with the lower", How::Computed);
/// 1.645 CV.
pub const SAE_CV: Source = Source::new(
    "SAE = 1.645 CV: OSHA ID-160 as in WAC 296-62-07737 (AC - 1.645 CV AC)",
    How::SeenCopy,
);
/// Uncertainty.
pub const GUM: Source = Source::new(
    "Guide to the Expression of Uncertainty in Measurement: root sum of squares, Welch-Satterthwaite, Student t",
    How::Memory,
);
/// Fibres.
pub const FIBRES: Source =
    Source::new("NMAM 7400 issue 2 step 4: t = Ac E / (Q L 1000)", How::SeenCopy);
/// Frequencies of sampling.
pub const ONE_IN_N: Source = Source::new(
    "40 CFR 58.12: one day in 3 or 6; the national calendar's dates are published each year and were not checked",
    How::Cfr2015,
);
/// Make-up samples.
pub const MAKE_UP: Source = Source::new(
    "40 CFR 50 App. N: before the next sampling day, or exactly one week after the missed one",
    How::Cfr2015,
);
/// Completeness.
pub const COMPLETENESS: Source = Source::new(
    "EPA QA Handbook Vol. II App. D (2017): 75 % of scheduled samples per quarter",
    How::SeenInExcerpts,
);
/// Sample period, PM2.5.
pub const PERIOD_L: Source = Source::new("40 CFR 50 App. L 3.3: 1380 to 1500 min", How::Cfr2015);
/// Sample period, TSP.
pub const PERIOD_B: Source = Source::new("40 CFR 50 App. B 8.15: 1440 +/- 60 min", How::Cfr2015);
/// A sample of about 15 minutes.
pub const NEAR_QUARTER: Source =
    Source::new("a sample within 10 s of 15 min counts as one of 15 min", How::CommonPractice);
/// The lower flow.
pub const LOWER_FLOW: Source =
    Source::new("the lower flow: smaller volume, larger concentration", How::CommonPractice);
/// The flow before, alone.
pub const BEFORE_ONLY: Source =
    Source::new("the flow before, where there is none after", How::CommonPractice);
