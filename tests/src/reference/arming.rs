//! Whether a plan may be armed.

use super::Ms;
use super::log::{Clocks, End, Happening, Lost};
use super::plan::{No, Plan};
use super::run::run;
use super::world::Perfect;

/// The first pumping begins with this transition at the latest.
pub const TRANSITIONS_MAX: usize = 4_096;

/// The first pumping of a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct First {
    /// The pumping step.
    pub no: No,
    /// When it begins.
    pub at: Clocks,
    /// When it is due.
    pub due: Option<Ms>,
}

/// Why a plan may not be armed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unarmed {
    /// It needs a wall clock.
    NoClock,
    /// Its first pumping would be due after start-by.
    TooLate,
    /// It ends without pumping; what was lost or missed on the way.
    Nothing {
        /// The last waits of the groups that have no instant.
        missed: Vec<No>,
        /// The run-untils that were lost.
        lost: Vec<(No, Lost)>,
        /// How it ended.
        end: End,
    },
    /// It would begin after [`TRANSITIONS_MAX`] transitions.
    TooLong,
}

/// Runs the plan on perfect clocks up to its first pumping.
///
/// # Errors
/// [`Unarmed`], if it may not be armed.
pub fn arm(plan: &Plan, now: Clocks) -> Result<First, Unarmed> {
    if plan.needs_wall && now.wall.is_none() {
        return Err(Unarmed::NoClock);
    }
    let mut world = Perfect::from(now, true).until_it_pumps();
    // An operator's answer is no transition of its own: there may be one for each.
    let story = run(plan, now, &mut world, 2 * TRANSITIONS_MAX);
    let (mut missed, mut lost) = (Vec::new(), Vec::new());
    let transitions = story.entries.iter().filter(|e| e.what != Happening::Obeyed);
    for entry in transitions.take(TRANSITIONS_MAX) {
        match &entry.what {
            Happening::Started(start) => {
                return Ok(First { no: start.no, at: entry.clocks, due: story.due_at_start[0] });
            }
            Happening::Missed(_, no, _) => missed.push(*no),
            Happening::Lost(no, why) => lost.push((*no, *why)),
            Happening::Over(End::StartBy) => return Err(Unarmed::TooLate),
            Happening::Over(end) => return Err(Unarmed::Nothing { missed, lost, end: *end }),
            _ => {}
        }
    }
    Err(Unarmed::TooLong)
}
