//! Who stands beside the pump: resumes holds and changes samplers, as the world says.

use draught::clock::{MonoMs, Now};
use draught::event::Event;
use draught::port::Key;
use draught::step::{Sampler, Step};

use super::physics::SimBoard;
use super::run::Setup;

/// The operator of a world.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Operator {
    /// When the hold under way is resumed.
    pub resume: Option<MonoMs>,
    /// A key was pressed, and the engine has not been polled since.
    pressed: bool,
    /// The sampler for the next pass is in place and confirmed.
    changed: bool,
}

impl Operator {
    /// Sees what the pump does.
    pub fn sees(&mut self, at: Now, event: &Event, setup: &Setup<'_>, board: &SimBoard) {
        let operator = setup.world.operator;
        match event {
            Event::HoldBegan { step } => {
                let steps = setup.table.steps();
                if let Some(Step::HoldUntilResumed { at_most, .. }) = steps.get(step.index()) {
                    let after = operator.resume.after_ms(at_most.as_ms().into());
                    self.resume = after.map(|ms| at.mono.plus_ms(ms));
                }
                // A hold before the next pass is there for changing the sampler: afterwards it may be too late.
                let next = steps.get(step.index() + 1);
                let asks =
                    matches!(next, Some(Step::Repeat { sampler: Sampler::FreshConfirmed, .. }));
                if asks && operator.confirms {
                    self.change_sampler(board);
                    self.changed = true;
                }
            }
            Event::HoldEnded { .. } => self.resume = None,
            // A changer that works by itself.
            Event::PassedOn { sampler: Sampler::Fresh, .. } => board.new_sampler(),
            Event::PassedOn { sampler: Sampler::FreshConfirmed, .. } => {
                let in_place = std::mem::take(&mut self.changed);
                if operator.confirms && !in_place {
                    self.change_sampler(board);
                }
            }
            _ => {}
        }
    }

    /// Resumes a hold when it is time.
    pub fn acts(&mut self, now: MonoMs, board: &SimBoard) {
        if self.resume.is_some_and(|at| now >= at) {
            self.resume = None;
            self.press(Key::Resume, board);
        }
    }

    /// Whether a key was pressed since this was last asked: then the board wakes up.
    pub fn wakes(&mut self) -> bool {
        std::mem::take(&mut self.pressed)
    }

    fn change_sampler(&mut self, board: &SimBoard) {
        board.new_sampler();
        self.press(Key::ConfirmSampler, board);
    }

    fn press(&mut self, key: Key, board: &SimBoard) {
        board.press(key);
        self.pressed = true;
    }
}
