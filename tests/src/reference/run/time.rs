//! Time passing, commands coming, and the line that the plan stands on.

use super::super::Ms;
use super::super::log::{By, End, Happening, Stretch, Why};
use super::super::world::{Asks, Wish};
use super::{Among, Due, Entry, Leave, Pump, Then, Through};

impl Pump<'_> {
    /// Lets time pass up to the next look; answers commands on the way. A command that is obeyed is a look too. Waits
    /// and holds go on after an outage or do not, other outages are told.
    pub(super) fn pass_time(&mut self, wish: &Wish, among: Among<'_>) -> Result<Then, Leave> {
        self.enough_written()?;
        loop {
            self.advance(wish)?;
            let refused = match self.here.asks {
                Asks::Look => {
                    self.uncalled = false;
                    return Ok(Then::Look);
                }
                Asks::Stop => {
                    self.obey();
                    if let Among::Pumping(stretch, at_begin) = among {
                        // Everything up to the stop is this step's.
                        self.write(Happening::Stopped(Stretch {
                            end: self.here.clocks,
                            drawn: self.here.drawn - at_begin,
                            by: By::Operator,
                            over: 0,
                            ..stretch.clone()
                        }));
                    }
                    return Err(Leave::Over(End::Stop));
                }
                Asks::Disarm if !matches!(among, Among::Pumping(..)) => {
                    self.obey();
                    return Err(Leave::Over(End::Disarm));
                }
                Asks::Disarm => Why::Pumping,
                Asks::Trip(limit) if matches!(among, Among::Pumping(..)) => {
                    self.obey();
                    return Ok(Then::Tripped(limit));
                }
                Asks::Trip(_) => Why::NotPumping,
                Asks::Outage(wall) => {
                    let outage = self.power_is_back(wall);
                    match among {
                        Among::Waiting => continue,
                        Among::Holding(..) => {
                            self.hold_goes_on_after(outage)?;
                            continue;
                        }
                        Among::Pumping(..) | Among::Resting => return Ok(Then::Outage(outage)),
                    }
                }
                Asks::Resume(no) => match among {
                    Among::Holding(Some(hold), end)
                        if hold == no && self.here.clocks.mono < end =>
                    {
                        self.obey();
                        return Ok(Then::Resumed);
                    }
                    _ => Why::NotThatHold,
                },
                // Where both reasons hold the page names neither first.
                Asks::Confirm if matches!(among, Among::Pumping(..)) => Why::Pumping,
                Asks::Confirm if !self.plan.asks_for_samplers => Why::NobodyAsked,
                Asks::Confirm => {
                    self.confirmed = true;
                    self.obey();
                    return Ok(Then::Look);
                }
            };
            self.write(Happening::Refused(refused));
        }
    }

    fn obey(&mut self) {
        self.uncalled = false;
        self.write(Happening::Obeyed);
    }

    /// Once ended, nothing changes any more.
    pub(super) fn after_the_end(&mut self) {
        while self.advance(&Wish::default()).is_ok() {
            match self.here.asks {
                Asks::Look => {}
                Asks::Outage(_) => self.write(Happening::Refused(Why::NothingToResume)),
                _ => self.write(Happening::Refused(Why::NoEvent)),
            }
        }
    }

    pub(super) fn advance(&mut self, wish: &Wish) -> Through {
        if self.moments > 0 {
            let wake = if self.is_dark() { Some(0) } else { wish.ahead(&self.here) };
            self.story.keeps.push(wish.keeps);
            self.story.wakes.push(wake);
        }
        self.here = self.world.next(wish).ok_or(Leave::NoMoreMoments)?;
        self.moments += 1;
        self.written_here = 0;
        Ok(())
    }

    pub(super) fn enough_written(&self) -> Through {
        if self.story.entries.len() < self.limit { Ok(()) } else { Err(Leave::NoMoreMoments) }
    }

    pub(super) fn write(&mut self, what: Happening) {
        let moment = self.moments.saturating_sub(1);
        let (clocks, passes, sample) = (self.here.clocks, self.passes.clone(), self.samples);
        self.written_here += 1;
        self.story.entries.push(Entry { moment, clocks, passes, sample, what });
    }

    // ---- The line the plan stands on

    /// At a wall instant that is not ahead of the wall clock.
    pub(super) fn on_both_clocks(&self, at: Ms, wall_now: Ms) -> Due {
        Due { mono: (self.here.clocks.mono - (wall_now - at)).max(0), wall: Some(at) }
    }

    pub(super) fn due_later(&self, by: Ms) -> Due {
        Due { mono: self.due.mono + by, wall: self.due.wall.map(|w| w + by) }
    }

    pub(super) fn due_now(&self) -> Due {
        let mono = self.here.clocks.mono;
        let moved = mono - self.due.mono;
        Due { mono, wall: self.here.clocks.wall.or(self.due.wall.map(|w| w + moved)) }
    }
}
