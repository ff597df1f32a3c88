//! The core's forecast and the reference's story in one shape, and the machine's tape beside that story.

use draught::event;
use draught::forecast::{Span, What};

use crate::drive::Tape;
use crate::plans::Scene;
use crate::reference::log::{By, Clocks, End, Happening, Lost, Start, by, clocks, end, lost};
use crate::reference::plan::{Keep, No, Node, Plan, keep};
use crate::reference::run::{Story, run};
use crate::reference::world::Script;
use crate::reference::{Ml, Ms, ml_of_raw};

/// A span of a forecast.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shape {
    /// First and last step of it; `None` at the end of an event.
    pub steps: Option<(No, No)>,
    /// The passes of the repeats around it; `None` at the end of an event.
    pub passes: Option<Vec<u32>>,
    /// The sample.
    pub sample: u32,
    /// From when.
    pub from: Clocks,
    /// To when.
    pub to: Clocks,
    /// The volume, where it is known.
    pub volume: Option<Ml>,
    /// What it is.
    pub what: Kind,
}

/// What a span is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// An appointment, and whether it is met.
    Wait(Option<Ms>, bool),
    /// Pumping.
    Pump(Keep, By),
    /// A hold: whether it waits for the operator, and whether the operator came.
    Hold(bool, bool),
    /// A lost run-until.
    Lost(Lost),
    /// A skipped pass.
    Skipped,
    /// The end.
    End(End),
}

/// A span of the core's forecast.
///
/// # Panics
/// If it ended for another table.
#[must_use]
pub fn of_core(span: &Span) -> Shape {
    let what = match span.what {
        What::Wait { appointment, met } => Kind::Wait(appointment.map(|a| a.as_ms().into()), met),
        What::Pump { target, by: why } => Kind::Pump(keep(target), by(why)),
        What::Hold { until_resumed, by } => {
            Kind::Hold(until_resumed, by == event::HoldEnd::Resumed)
        }
        What::Lost(cause) => Kind::Lost(lost(cause)),
        What::End(reason) => Kind::End(end(reason).expect("its own table")),
    };
    let at_end = matches!(what, Kind::End(_));
    Shape {
        steps: (!at_end).then(|| (span.first_step.get(), span.step.get())),
        passes: (!at_end)
            .then(|| span.passes.0.iter().filter(|p| **p > 0).map(|p| u32::from(*p)).collect()),
        sample: span.sample,
        from: clocks(span.from),
        to: clocks(span.to),
        volume: span.volume.map(|v| ml_of_raw(v.as_raw())),
        what,
    }
}

/// The spans of a story.
#[must_use]
pub fn of_story(plan: &Plan, story: &Story) -> Vec<Shape> {
    let nothing = Some(Ml::from(0));
    let mut spans = Vec::new();
    let mut since = None;
    let mut appointed = None;
    let mut start: Option<&Start> = None;
    for entry in &story.entries {
        let now = entry.clocks;
        let mut push = |steps, from: Clocks, volume, what| {
            spans.push(Shape {
                steps,
                passes: steps.map(|_| entry.passes.clone()),
                sample: entry.sample,
                from,
                to: now,
                volume,
                what,
            });
        };
        match &entry.what {
            Happening::Appointed(first, _, at) => {
                since = Some(now);
                appointed = Some((*first, *at));
            }
            Happening::Met(last, ..) => {
                let (first, at) = appointed.take().expect("appointed before it is met");
                let from = since.take().expect("appointed before it is met");
                push(Some((first, *last)), from, nothing, Kind::Wait(Some(at), true));
            }
            Happening::Missed(first, last, at) => {
                appointed = None;
                let from = since.take().unwrap_or(now);
                push(Some((*first, *last)), from, nothing, Kind::Wait(*at, false));
            }
            Happening::Started(s) => start = Some(s),
            Happening::Stopped(s) => {
                let keep = start.take().expect("started before it is stopped").keep;
                let known = matches!(keep, Keep::Flow(_)).then_some(s.drawn);
                push(Some((s.no, s.no)), s.begin, known, Kind::Pump(keep, s.by));
            }
            Happening::Lost(no, why) => push(Some((*no, *no)), now, nothing, Kind::Lost(*why)),
            Happening::HoldBegan(_) => since = Some(now),
            Happening::HoldRanOut(no) | Happening::HoldResumed(no) => {
                let resumed = matches!(entry.what, Happening::HoldResumed(_));
                let from = since.take().expect("begun before it ends");
                let operator = waits_for_operator(&plan.body, *no);
                push(Some((*no, *no)), from, nothing, Kind::Hold(operator, resumed));
            }
            Happening::Skipped(no) => push(Some((*no, *no)), now, nothing, Kind::Skipped),
            Happening::Over(end) => push(None, now, nothing, Kind::End(*end)),
            _ => {}
        }
    }
    spans
}

fn waits_for_operator(nodes: &[Node], hold: No) -> bool {
    nodes.iter().any(|node| match node {
        Node::HoldForOperator { no, .. } => *no == hold,
        Node::Again { body, .. } => waits_for_operator(body, hold),
        _ => false,
    })
}

/// The machine's tape is the reference's story of the same moments: events, demands and wakes.
///
/// # Panics
/// If it is not.
pub fn assert_same(scene: &Scene, tape: &Tape) {
    let plan = Plan::of(scene.table());
    let mut script = Script(tape.moments.iter().cloned());
    let story = run(&plan, clocks(scene.armed), &mut script, usize::MAX);
    for (i, (moment, what)) in tape.log.iter().enumerate() {
        let Some(entry) = story.entries.get(i) else {
            panic!("only the machine: {what:?}\nat {moment} {:?}", tape.moments[*moment]);
        };
        assert!(
            (entry.moment, &entry.what) == (*moment, what),
            "at {:?}\nmachine   {moment} {what:?}\nreference {} {:?}\nbefore: {:#?}",
            tape.moments[*moment],
            entry.moment,
            entry.what,
            &tape.log[i.saturating_sub(6)..i],
        );
    }
    let more = story.entries.get(tape.log.len());
    assert_eq!(more, None, "only the reference; before: {:#?}", tape.log.last());
    // The reference says what was demanded after a moment when it comes to the next.
    for (i, moment) in tape.moments.iter().enumerate() {
        let demand = (tape.keeps.get(i), tape.wakes.get(i));
        let reference = (story.keeps.get(i), story.wakes.get(i));
        assert_eq!(demand, reference, "demand and wake after {i} {moment:?}");
    }
}
