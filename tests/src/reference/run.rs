//! The interpreter: it runs a plan from arming to its end, pulling moments out of a world.

mod outage;
mod pumping;
mod stretch;
mod time;

use jiff::civil::Date;

use super::log::{Clocks, End, Happening, Limit, Stretch};
use super::plan::{Condition, Keep, No, Node, Plan, Sampler};
use super::world::{Asks, Moment, Wish, World};
use super::{Ml, Ms, WALL_LAST};
use outage::Outage;

/// What happened, and at which moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Which of the world's moments, from 0.
    pub moment: usize,
    /// What the clocks said.
    pub clocks: Clocks,
    /// The pass of each repeat around it, outermost first, from 1.
    pub passes: Vec<u32>,
    /// The sample so far; 0 before the first pumping.
    pub sample: u32,
    /// What happened.
    pub what: Happening,
}

/// All that a run left behind.
#[derive(Clone, Debug, Default)]
pub struct Story {
    /// What happened, in order.
    pub entries: Vec<Entry>,
    /// What the pump kept constant after each moment; `None` for off.
    pub keeps: Vec<Option<Keep>>,
    /// How long after each moment the pump has to be called again, if the flow is at its target.
    pub wakes: Vec<Option<Ms>>,
    /// Where the plan stood on the wall clock at each start of the pump.
    pub due_at_start: Vec<Option<Ms>>,
}

/// Runs a plan that was armed at this moment, for as long as the world has moments and at most `limit`
/// things have happened.
pub fn run(plan: &Plan, armed: Clocks, world: &mut dyn World, limit: usize) -> Story {
    let mut pump = Pump {
        plan,
        world,
        limit,
        armed,
        here: Moment::whole(armed, Ml::from(0), Asks::Look),
        moments: 0,
        written_here: 0,
        due: Due { mono: armed.mono, wall: armed.wall },
        last_appointment: None,
        group: Vec::new(),
        passes: Vec::new(),
        samples: 0,
        new_sample: false,
        unconfirmed: None,
        confirmed: false,
        latest_resume: None,
        uncalled: false,
        story: Story::default(),
    };
    let outcome =
        pump.pass_time(&Wish::default(), Among::Waiting).and_then(|_| pump.all_of(&plan.body));
    if let Err(Leave::Over(end)) = outcome {
        if pump.until_it_can_be_told().is_ok() {
            pump.write(Happening::Over(end));
            pump.after_the_end();
        }
    } else {
        assert_eq!(outcome, Err(Leave::NoMoreMoments), "a plan ends, or its moments do");
    }
    pump.story
}

/// Why steps are left before they are through.
#[derive(Debug, PartialEq, Eq)]
enum Leave {
    /// An appointment was missed: the innermost repeat goes on.
    Pass,
    /// A sampler is missing: this repeat goes on.
    PassOf(No),
    /// The event is over.
    Over(End),
    /// The world has no more moments.
    NoMoreMoments,
}

type Through = Result<(), Leave>;

/// The line the plan would be on had nothing gone wrong.
#[derive(Clone, Copy, Debug)]
struct Due {
    mono: Ms,
    wall: Option<Ms>,
}

/// What the pump is in the midst of while time passes.
#[derive(Clone, Copy)]
enum Among<'a> {
    Waiting,
    /// A stretch, and what had been drawn when it began.
    Pumping(&'a Stretch, Ml),
    /// A hold; the operator may resume this one before this instant.
    Holding(Option<No>, Ms),
    /// A pumping step between two of its stretches.
    Resting,
}

/// What ended a stretch of time.
#[derive(PartialEq, Eq)]
enum Then {
    Look,
    Resumed,
    Tripped(Limit),
    Outage(Outage),
}

struct Pump<'a> {
    plan: &'a Plan,
    world: &'a mut dyn World,
    limit: usize,
    armed: Clocks,
    here: Moment,
    moments: usize,
    /// How much has been written at this moment.
    written_here: usize,
    due: Due,
    last_appointment: Option<Ms>,
    /// The waits seen so far of the group that is being read.
    group: Vec<(No, &'a Condition)>,
    passes: Vec<u32>,
    samples: u32,
    new_sample: bool,
    unconfirmed: Option<No>,
    confirmed: bool,
    /// When the pump last came back after an outage.
    latest_resume: Option<Ms>,
    /// It has not been called since.
    uncalled: bool,
    story: Story,
}

impl<'a> Pump<'a> {
    fn all_of(&mut self, nodes: &'a [Node]) -> Through {
        nodes.iter().try_for_each(|node| self.one(node))
    }

    fn one(&mut self, node: &'a Node) -> Through {
        self.between_steps()?;
        match node {
            Node::Wait { no, until, goes_on } => {
                self.group.push((*no, until));
                if *goes_on { Ok(()) } else { self.keep_appointment() }
            }
            Node::Pump { no, keep, stop } => self.pump(*no, *keep, *stop),
            Node::Hold { no, lasts } => self.hold(*no, *lasts),
            Node::HoldForOperator { no, at_most, closes } => {
                self.hold_for_operator(*no, *at_most, *closes)
            }
            Node::Again { no, body, passes, sampler } => self.again(*no, body, *passes, *sampler),
            Node::Finish => Err(Leave::Over(End::Finished)),
        }
    }

    // ---- Repeats

    fn again(&mut self, no: No, body: &'a [Node], passes: u32, sampler: Sampler) -> Through {
        for pass in 1..=passes {
            self.passes.push(pass);
            let went = self.all_of(body);
            self.passes.pop();
            match went {
                Ok(()) | Err(Leave::Pass) => {}
                Err(Leave::PassOf(repeat)) if repeat == no => {}
                Err(further) => return Err(further),
            }
            self.between_steps()?;
            if pass < passes {
                self.write(Happening::RoundAgain(no, pass, sampler));
                self.new_sample |= sampler != Sampler::Same;
                if sampler == Sampler::Confirmed {
                    self.unconfirmed = Some(no);
                }
            }
            self.enough_written()?;
        }
        self.write(Happening::RoundsDone(no));
        if self.unconfirmed == Some(no) {
            self.unconfirmed = None;
        }
        Ok(())
    }

    // ---- Waits

    fn keep_appointment(&mut self) -> Through {
        let group = core::mem::take(&mut self.group);
        let (first, last) = (group[0].0, group[group.len() - 1].0);
        let conditions: Vec<&Condition> = group.iter().map(|(_, c)| *c).collect();
        let Some(at) = self.resolve(&conditions) else {
            self.write(Happening::Missed(first, last, None));
            return self.missed();
        };
        self.write(Happening::Appointed(first, last, at));
        let wall = loop {
            match self.here.clocks.wall {
                Some(wall) if wall >= at && !self.is_dark() => break wall,
                _ => self.pass_time(&Wish { wall: Some(at), ..Wish::default() }, Among::Waiting)?,
            };
        };
        let due_before = self.due.wall.expect("armed by a trusted wall clock");
        if at > due_before {
            self.due = self.on_both_clocks(at, wall);
        }
        self.last_appointment = Some(at);
        let timed = conditions.iter().any(|c| matches!(c, Condition::At(_)));
        let missed = if timed {
            wall > at.max(due_before) + self.plan.tolerance
        } else {
            self.plan.clock.day(wall) > self.plan.clock.day(at)
        };
        if missed {
            self.write(Happening::Missed(first, last, Some(at)));
            return self.missed();
        }
        self.write(Happening::Met(last, at, wall - at));
        Ok(())
    }

    fn missed(&mut self) -> Through {
        Err(if self.passes.is_empty() { Leave::Over(End::Missed) } else { Leave::Pass })
    }

    /// The instant of an appointment.
    fn resolve(&self, conditions: &[&Condition]) -> Option<Ms> {
        let clock = &self.plan.clock;
        let due = self.due.wall.expect("armed by a trusted wall clock");
        if due > WALL_LAST {
            // The plan stands after the end of all appointments, however wide the tolerance.
            return None;
        }
        let fitting = |day: Date| conditions.iter().all(|c| c.allows(day));
        let time = conditions.iter().find_map(|c| match c {
            Condition::At(time) => Some(*time),
            _ => None,
        });
        if let Some(time) = time {
            let by_tolerance = due - self.plan.tolerance;
            let by_history = match self.last_appointment {
                Some(last) => last + 1,
                None => self.armed.wall.expect("armed by a trusted wall clock"),
            };
            let earliest = by_tolerance.max(by_history);
            clock.first_time(time, earliest, |day, at| at >= earliest && fitting(day))
        } else {
            let used = self.last_appointment.map(|last| clock.day(last));
            clock
                .days_from(due)
                .find(|day| fitting(*day) && used.is_none_or(|used| *day > used))
                .map(|day| due.max(clock.instant(day, 0)))
                .filter(|at| *at <= WALL_LAST)
        }
    }

    // ---- Holds

    fn hold(&mut self, no: No, lasts: Ms) -> Through {
        self.write(Happening::HoldBegan(no));
        let end = self.due.mono + lasts;
        while self.here.clocks.mono < end || self.is_dark() {
            let wish = Wish { mono: Some(end), ..Wish::default() };
            self.pass_time(&wish, Among::Holding(None, end))?;
        }
        self.write(Happening::HoldRanOut(no));
        self.due = self.due_later(lasts);
        Ok(())
    }

    fn hold_for_operator(&mut self, no: No, at_most: Ms, closes: bool) -> Through {
        self.write(Happening::HoldBegan(no));
        let end = self.due.mono + at_most;
        while self.here.clocks.mono < end || self.is_dark() {
            let wish = Wish { mono: Some(end), resumable: Some(no), ..Wish::default() };
            if self.pass_time(&wish, Among::Holding(Some(no), end))? == Then::Resumed {
                self.due = self.due_now();
                self.write(Happening::HoldResumed(no));
                return Ok(());
            }
        }
        self.write(Happening::HoldRanOut(no));
        if closes {
            return Err(Leave::Over(End::HoldRanOut));
        }
        self.due = self.due_later(at_most);
        Ok(())
    }
}
