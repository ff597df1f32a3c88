//! Where the interpreter's moments come from: a script that somebody recorded, or perfect clocks.

use super::log::{Clocks, Limit};
use super::plan::{Keep, No};
use super::{Ml, Ms, WALL_LAST};

/// One moment at which the pump is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// What the clocks say.
    pub clocks: Clocks,
    /// What has been drawn since arming.
    pub drawn: Ml,
    /// What is asked of it.
    pub asks: Asks,
    /// After how many things written at this moment the power fails; `None` if everything that is due is done.
    pub cut_after: Option<usize>,
}

impl Moment {
    /// A moment at which everything that is due is done.
    #[must_use]
    pub fn whole(clocks: Clocks, drawn: Ml, asks: Asks) -> Self {
        Self { clocks, drawn, asks, cut_after: None }
    }
}

/// What a call asks of the pump.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asks {
    /// To look at its clocks and do what is due.
    Look,
    /// To resume this hold.
    Resume(No),
    /// To take note of a new sampler.
    Confirm,
    /// To stop.
    Stop,
    /// To take the plan out of force.
    Disarm,
    /// To take note that a limit has tripped.
    Trip(Limit),
    /// Nothing: the moment is that of a checkpoint. The power fails later, and the pump comes back to what stands in
    /// it when the wall clock says this.
    Outage(Option<Ms>),
}

/// What the interpreter is waiting for, and what the pump does meanwhile.
#[derive(Clone, Debug, Default)]
pub struct Wish {
    /// An instant of the monotonic clock.
    pub mono: Option<Ms>,
    /// An instant of the wall clock.
    pub wall: Option<Ms>,
    /// A total volume.
    pub drawn: Option<Ml>,
    /// What the pump keeps constant; `None` while it is off.
    pub keeps: Option<Keep>,
    /// The hold that the operator may resume now.
    pub resumable: Option<No>,
}

impl Wish {
    /// How long after a moment the first of it comes about on perfect clocks, with the flow at its target.
    #[must_use]
    pub fn ahead(&self, from: &Moment) -> Option<Ms> {
        let until_mono = self.mono.map(|m| m - from.clocks.mono);
        let until_wall = self.wall.zip(from.clocks.wall).map(|(due, now)| due - now);
        let until_drawn = self
            .drawn
            .filter(|_| self.ml_per_ms() > Ml::from(0))
            .map(|v| ((v - from.drawn) / self.ml_per_ms()).ceil().to_integer());
        let first = [until_mono, until_wall, until_drawn].into_iter().flatten().min()?;
        Some(first.max(0))
    }

    /// A flow of q µL/min is q / 60,000,000 mL in each ms; a pressure says nothing of the volume.
    fn ml_per_ms(&self) -> Ml {
        match self.keeps {
            Some(Keep::Flow(ul_per_min)) => Ml::new(ul_per_min, 60_000_000),
            _ => Ml::from(0),
        }
    }
}

/// A source of moments.
pub trait World {
    /// The next moment, or `None` if there is none.
    fn next(&mut self, wish: &Wish) -> Option<Moment>;

    /// Whether every new sampler is taken to be confirmed in time.
    fn samplers_are_confirmed(&self) -> bool {
        false
    }
}

/// Moments that were recorded: wishes are not heard.
#[derive(Debug)]
pub struct Script<I>(pub I);

impl<I: Iterator<Item = Moment>> World for Script<I> {
    fn next(&mut self, _: &Wish) -> Option<Moment> {
        self.0.next()
    }
}

/// Perfect clocks, a flow exactly at its target, and a call exactly when something is due.
#[derive(Clone, Debug)]
pub struct Perfect {
    now: Clocks,
    drawn: Ml,
    /// Whether the operator resumes every hold at once, or never.
    resumes_at_once: bool,
    begun: bool,
    /// Nothing is asked for once the pump runs.
    until_it_pumps: bool,
}

impl Perfect {
    /// Armed at this moment.
    #[must_use]
    pub fn from(armed: Clocks, resumes_at_once: bool) -> Self {
        let drawn = Ml::from(0);
        Self { now: armed, drawn, resumes_at_once, begun: false, until_it_pumps: false }
    }

    /// Ends when the pump starts.
    #[must_use]
    pub fn until_it_pumps(self) -> Self {
        Self { until_it_pumps: true, ..self }
    }

    fn moment(&self, asks: Asks) -> Option<Moment> {
        Some(Moment::whole(self.now, self.drawn, asks))
    }
}

impl World for Perfect {
    fn next(&mut self, wish: &Wish) -> Option<Moment> {
        if !self.begun {
            self.begun = true;
            return self.moment(Asks::Look);
        }
        if self.until_it_pumps && wish.keeps.is_some() {
            return None;
        }
        if let Some(no) = wish.resumable.filter(|_| self.resumes_at_once) {
            return self.moment(Asks::Resume(no));
        }
        let step = wish.ahead(&self.moment(Asks::Look)?)?;
        self.drawn += wish.ml_per_ms() * step;
        self.now.mono += step;
        self.now.wall = self.now.wall.map(|w| w + step).filter(|w| *w <= WALL_LAST);
        self.moment(Asks::Look)
    }

    fn samplers_are_confirmed(&self) -> bool {
        true
    }
}
