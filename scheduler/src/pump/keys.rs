//! What the operator, or the host, asks.

use super::board::Board;
use super::state::Pump;
use crate::clock::Now;
use crate::event::{EndReason, StopReason};
use crate::machine::{Command, CommandRefused, Phase};
use crate::port::{Key, Panel};

impl<B: Board, const N: usize> Pump<B, N> {
    #[inline(never)]
    pub(super) fn keys(&mut self, now: Now) {
        while let Some(key) = self.board.panel().key() {
            // A key that cannot be followed now does nothing: the indications say what the pump waits for.
            let _ = match key {
                Key::Clear => {
                    self.clear();
                    Ok(())
                }
                Key::Stop => self.ask(Command::Stop(StopReason::Operator), now),
                Key::ConfirmSampler => self.ask(Command::ConfirmSampler, now),
                Key::Resume => match self.phase(now) {
                    Phase::Holding { step, .. } => self.ask(Command::Resume { step }, now),
                    _ => Ok(()),
                },
            };
        }
    }

    /// While an event waits for the charger to be taken away, it can only be stopped.
    pub(super) fn keys_while_held(&mut self) {
        while let Some(key) = self.board.panel().key() {
            match key {
                Key::Stop => self.let_go(Some(EndReason::Stopped(StopReason::Operator))),
                Key::Clear => self.clear(),
                Key::ConfirmSampler => self.confirm_while_held(),
                Key::Resume => {}
            }
        }
    }

    /// Puts the lamp out, for good.
    fn clear(&mut self) {
        self.indications.fault = false;
        self.changed = true;
    }

    /// Asks the machine at an instant, after it has done what was due until then.
    #[inline(never)]
    pub(super) fn ask(&mut self, command: Command, now: Now) -> Result<(), CommandRefused> {
        self.settle(now);
        if self.changed {
            self.rest();
            // A stretch may have ended and the next begun just now: its row must be kept before the command ends that one, too.
            let _ = self.keep(now);
        }
        let Ok(table) = self.table.checked() else { return Err(CommandRefused::NotArmed) };
        let input = self.run.input(now);
        let answer = self.run.machine.command(table, command, input)?;
        self.changed = true;
        if let Some(event) = answer.event {
            self.happened(now, event);
        }
        // What the motor is asked for now.
        self.settle(now);
        Ok(())
    }

    /// Carries out a command, as an operator's key or the host asks it.
    ///
    /// It is done when this returns; a flash that fails just then may not know of it yet ([`Status::is_kept`](super::Status::is_kept)), and
    /// a cut before it does undoes it.
    ///
    /// # Errors
    /// [`CommandRefused`]; nothing has changed but what was due by now.
    pub fn command(&mut self, command: Command) -> Result<(), CommandRefused> {
        if !self.booted {
            return Err(CommandRefused::NotArmed);
        }
        if self.held.is_some() {
            // The pump is off: it is as in a pause.
            match command {
                Command::Stop(reason) => self.let_go(Some(EndReason::Stopped(reason))),
                Command::Disarm => self.let_go(Some(EndReason::Disarmed)),
                Command::ConfirmSampler => self.confirm_while_held(),
                Command::Resume { .. } => return Err(CommandRefused::NotThatHold),
                Command::Trip(_) => return Err(CommandRefused::NotPumping),
            }
            self.poll();
            return Ok(());
        }
        let now = self.now();
        // What was drawn until now belongs to the stretch that the command may end.
        self.meter(now);
        self.ask(command, now)?;
        self.poll();
        Ok(())
    }

    pub(super) fn phase(&self, now: Now) -> Phase {
        self.table.checked().map_or(Phase::Idle, |table| self.run.machine.phase(table, now))
    }
}
