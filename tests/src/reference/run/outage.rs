//! Going on after an outage.

use super::super::Ms;
use super::super::log::{Clocks, End, Happening, Why};
use super::super::plan::OnOutage;
use super::super::world::{Asks, Wish};
use super::{Leave, Pump, Through};

/// An outage, as far as the pump can tell when it is back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Outage {
    /// The checkpoint.
    pub from: Clocks,
    /// How long it lasted, if that is known.
    pub lasted: Option<Ms>,
}

impl Pump<'_> {
    /// Whether the power failed here before everything was done, or has only just come back.
    pub(super) fn is_dark(&self) -> bool {
        self.uncalled || self.here.cut_after == Some(self.written_here)
    }

    /// Between two steps. After an outage nothing goes on before the pump is called.
    pub(super) fn between_steps(&mut self) -> Through {
        while self.is_dark() {
            self.pass_time(&Wish::default(), super::Among::Waiting)?;
        }
        Ok(())
    }

    /// Sets the clocks after an outage that followed the checkpoint taken here.
    pub(super) fn power_is_back(&mut self, wall: Option<Ms>) -> Outage {
        let from = self.here.clocks;
        let lasted = from.wall.zip(wall).map(|(before, after)| after - before);
        let lasted = lasted.filter(|ms| *ms >= -2_000).map(|ms| ms.max(0));
        let mono = from.mono + lasted.unwrap_or(0);
        self.here.clocks = Clocks { mono, wall };
        self.latest_resume = Some(mono);
        self.uncalled = true;
        self.write(Happening::PowerIsBack(mono, lasted));
        Outage { from, lasted }
    }

    /// Whether a pumping step that was under way goes on after it.
    pub(super) fn goes_on_after(&self, outage: Outage) -> Through {
        let why = match (self.plan.on_outage, outage.lasted) {
            (OnOutage::GiveUp, _) => End::Outage,
            (OnOutage::SameLength(_), None) => return Ok(()),
            (OnOutage::SameEnd(_), None) => End::ClockLost,
            (OnOutage::SameLength(within) | OnOutage::SameEnd(within), Some(lasted)) => {
                if lasted <= within {
                    return Ok(());
                }
                End::Outage
            }
        };
        Err(Leave::Over(why))
    }

    /// Whether a hold goes on after it.
    pub(super) fn hold_goes_on_after(&self, outage: Outage) -> Through {
        let makes_up = matches!(self.plan.on_outage, OnOutage::SameLength(_));
        if outage.lasted.is_none() && !makes_up {
            return Err(Leave::Over(End::ClockLost));
        }
        Ok(())
    }

    /// The end stands, but is told at the next call only.
    pub(super) fn until_it_can_be_told(&mut self) -> Through {
        if !self.is_dark() {
            return Ok(());
        }
        loop {
            self.advance(&Wish::default())?;
            match self.here.asks {
                Asks::Look => {
                    self.uncalled = false;
                    return Ok(());
                }
                Asks::Outage(wall) => {
                    self.power_is_back(wall);
                }
                _ => self.write(Happening::Refused(Why::NoEvent)),
            }
        }
    }
}
