//! The keys of a plan: each stands here once.

/// At the top of a plan.
pub(super) const PLAN: &[&str] = &[
    "name",
    "zone",
    "utc-offset",
    "time",
    "flow",
    "pressure",
    "start-by",
    "method",
    "steps",
    "rules",
    "limits",
];
/// In `[rules]`.
pub(super) const RULES: &[&str] = &["late-tolerance", "outage", "fault"];
/// In `rules.outage`.
pub(super) const OUTAGE: &[&str] = &["keep", "resume-within", "while-charging"];
/// In `rules.fault`.
pub(super) const RETRY: &[&str] = &["retry-every", "times"];
/// In `[limits]`.
pub(super) const LIMITS: &[&str] = &[
    "pump-flow",
    "pump-pressure",
    "volume",
    "sampler-flow-at-most",
    "flow-off",
    "pressure-at-most",
    "expect",
];
/// In `limits.flow-off`.
pub(super) const FLOW_OFF: &[&str] = &["by", "for"];
/// In `wait-for-cycle-day`.
pub(super) const CYCLE: &[&str] = &["from", "every"];

/// What a step does: exactly one of these is in each step, with the keys that may go with it.
pub(super) const ACTIONS: &[(&str, &[&str])] = &[
    ("wait-for-date", &[]),
    ("wait-for-time", &[]),
    ("wait-for-weekday", &[]),
    ("wait-for-cycle-day", &[]),
    ("run-for", &["flow", "pressure"]),
    ("run-until", &["at-most", "flow", "pressure"]),
    ("draw-volume", &["at-most", "flow", "pressure"]),
    ("hold", &["at-most", "then"]),
    ("repeat-from", &["passes", "sampler"]),
    ("finish", &[]),
];

/// Where a key belongs, for one that stands somewhere else.
pub(super) const HOMES: &[(&str, &str)] = &[
    ("late-tolerance", "[rules]"),
    ("outage", "[rules]"),
    ("fault", "[rules]"),
    ("pump-flow", "[limits]"),
    ("pump-pressure", "[limits]"),
    ("volume", "[limits]"),
    ("sampler-flow-at-most", "[limits]"),
    ("flow-off", "[limits]"),
    ("pressure-at-most", "[limits]"),
    ("expect", "[limits]"),
    ("name", "the top of the plan"),
    ("method", "the top of the plan"),
    ("zone", "the top of the plan"),
    ("utc-offset", "the top of the plan"),
    ("start-by", "the top of the plan"),
    ("keep", "rules.outage"),
    ("resume-within", "rules.outage"),
    ("while-charging", "rules.outage"),
    ("retry-every", "rules.fault"),
    ("times", "rules.fault"),
    ("wait-for-date", "a step"),
    ("wait-for-time", "a step"),
    ("wait-for-weekday", "a step"),
    ("wait-for-cycle-day", "a step"),
    ("run-for", "a step"),
    ("run-until", "a step"),
    ("draw-volume", "a step"),
    ("hold", "a step"),
    ("repeat-from", "a step"),
    ("finish", "a step"),
];
