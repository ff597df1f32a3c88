//! The text of a first plan.

use draught::calendar::{Civil, Date, TimeOfDay};
use draught::units::Flow;

use super::new::Kind;
use crate::plan::{format, when};

/// What a first plan is asked to be.
pub(super) struct Wish {
    pub kind: Kind,
    pub name: String,
    pub zone: String,
    pub flow: Flow,
    /// `None`: started by hand.
    pub start: Option<Civil>,
    pub run_ms: u32,
    pub hold_ms: Option<u32>,
    pub volume_ml: u32,
    pub every: u16,
    pub passes: u16,
}

/// The word for a kind, which is also its first plan's name.
pub(super) const fn name(kind: Kind) -> &'static str {
    match kind {
        Kind::Shift => "shift",
        Kind::Short => "short",
        Kind::Day => "day",
        Kind::Cycle => "cycle",
        Kind::Week => "week",
        Kind::Volume => "volume",
    }
}

const fn title(kind: Kind) -> &'static str {
    match kind {
        Kind::Shift => "A worn pump over one shift.",
        Kind::Short => "One short sample.",
        Kind::Day => "24 hours outdoors, midnight to midnight in local standard time.",
        Kind::Cycle => "24 hours outdoors, one day in so many, in local standard time.",
        Kind::Week => "The same hours Monday to Friday, a fresh sampler each day.",
        Kind::Volume => "A fixed volume.",
    }
}

/// The plan.
pub(super) fn plan(w: &Wish) -> String {
    let ambient = matches!(w.kind, Kind::Day | Kind::Cycle);
    let mut text = format!("# {}\n", title(w.kind));
    let mut line = |key: &str, value: String, remark: &str| {
        let setting = format!("{key:<8} = {}", toml_quoted(&value));
        let remark = if remark.is_empty() { String::new() } else { format!("# {remark}") };
        text.push_str(format!("{setting:<38} {remark}").trim_end());
        text.push('\n');
    };
    line("name", w.name.clone(), "up to 24 letters");
    line("zone", w.zone.clone(), "the site's zone, not the computer's");
    if ambient {
        line("time", "standard".to_owned(), "does not change with daylight-saving time");
    }
    line("flow", format::flow(w.flow.ul_per_min().into()), "actual, at the sampler's inlet");
    if let Some(by) = w.start.filter(|_| w.kind != Kind::Cycle).and_then(|s| plus(s, 600_000)) {
        let by = format!("{} {}", when::date_text(by.date), when::time_text(by.time));
        line("start-by", by, "later: do not start");
    }
    text.push_str("\nsteps = [\n");
    for (step, remark) in steps(w) {
        let row = format!("  {{ {step} }},");
        let remark = if remark.is_empty() { String::new() } else { format!("# {remark}") };
        text.push_str(format!("{row:<60} {remark}").trim_end());
        text.push('\n');
    }
    text.push_str("]\n");
    text.push_str(tail(w.kind));
    text
}

pub(super) fn toml_quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => quoted.push_str(&format!("\\u{:04x}", c as u32)),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

pub(super) fn plus(civil: Civil, ms: u32) -> Option<Civil> {
    let sum = civil.time.as_ms() + ms;
    let day = 86_400_000;
    let date = if sum >= day { civil.date.next()? } else { civil.date };
    Some(Civil { date, time: TimeOfDay::from_ms(sum % day).ok()? })
}

type Steps = Vec<(String, String)>;

fn steps(w: &Wish) -> Steps {
    let run = |ms: u32| format!("run-for = \"{}\"", format::duration(ms.into()));
    let mut steps: Steps = Vec::new();
    let mut add = |step: String, remark: &str| steps.push((step, remark.to_owned()));
    let date = |d: Date| format!("wait-for-date = \"{}\"", when::date_text(d));
    let time = |t: TimeOfDay| format!("wait-for-time = \"{}\"", when::time_text(t));
    let weekday = |s: Civil| when::day_name(s.date.weekday());
    if let (Some(s), Kind::Shift | Kind::Short | Kind::Volume | Kind::Day) = (w.start, w.kind) {
        add(date(s.date), weekday(s));
        add(time(s.time), "");
    }
    match w.kind {
        Kind::Shift => {
            let half = w.run_ms / 2 / 60_000 * 60_000;
            match w.hold_ms {
                Some(hold) if half > 0 => {
                    add(run(half), "");
                    let at_most = format::duration(hold.into());
                    add(format!("hold = \"until-resumed\", at-most = \"{at_most}\""), "the break");
                    add(run(w.run_ms - half), "");
                }
                _ => add(run(w.run_ms), ""),
            }
        }
        Kind::Short => {
            if w.start.is_none() {
                add("hold = \"2 min\"".to_owned(), "time to put it on");
            }
            add(run(w.run_ms), "");
        }
        Kind::Volume => {
            let volume = format::volume_ml(w.volume_ml.into());
            // A quarter more than it takes at the full flow, to the next 5 min: room for breaks in the flow.
            let needed_ms = u64::from(w.volume_ml) * 60_000_000 / u64::from(w.flow.ul_per_min());
            let at_most = (needed_ms * 5 / 4).div_ceil(300_000) * 300_000;
            let at_most = format::duration(at_most);
            add(
                format!("draw-volume = \"{volume}\", at-most = \"{at_most}\""),
                "a quarter more than it takes",
            );
        }
        Kind::Day => {
            add("run-until = \"00:00\", at-most = \"24 h 5 min\"".to_owned(), "the next midnight")
        }
        Kind::Cycle => {
            let from = w.start.map_or(String::new(), |s| when::date_text(s.date));
            let every = format::count(w.every.into(), "day");
            add(format!("wait-for-cycle-day = {{ from = \"{from}\", every = \"{every}\" }}"), "");
            add("wait-for-time = \"00:00\"".to_owned(), "");
            add("run-until = \"00:00\", at-most = \"24 h 5 min\"".to_owned(), "the next midnight");
            add(
                format!("repeat-from = 1, passes = {}, sampler = \"fresh-confirmed\"", w.passes),
                "skipped unless someone confirms a new sampler",
            );
        }
        Kind::Week => {
            if let Some(s) = w.start {
                add(date(s.date), weekday(s));
                add("wait-for-weekday = \"Mon-Fri\"".to_owned(), "");
                add(time(s.time), "");
            }
            add(run(w.run_ms), "");
            add(
                format!("repeat-from = 2, passes = {}, sampler = \"fresh\"", w.passes),
                "a fresh sampler each day",
            );
        }
    }
    add("finish = true".to_owned(), "");
    steps
}

const fn tail(kind: Kind) -> &'static str {
    match kind {
        Kind::Day | Kind::Cycle => {
            "
[rules]
# On mains: go on after an outage as long as the day is not over.
outage = { keep = \"stop-time\", resume-within = \"24 h\", while-charging = true }

# What the pump and the sampler take, and the volume wanted: fill in to have it checked.
# [limits]
# pump-flow = [\"15.0 L/min\", \"18.4 L/min\"]
# volume    = [\"23 m3\", \"25 m3\"]
"
        }
        _ => {
            "
# What the pump and the sampler take, and the volume wanted: fill in to have it checked.
# [limits]
# pump-flow = [\"1.0 L/min\", \"3.0 L/min\"]
# volume    = [\"240 L\", \"1000 L\"]
# sampler-flow-at-most = \"2.5 L/min\"
"
        }
    }
}
