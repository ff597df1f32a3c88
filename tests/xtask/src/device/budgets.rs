//! The numbers to hold, each in one place.

use crate::shell::{Outcome, fail};

/// Flash of table, machine, audit, forecast, wire and meter on a Cortex-M0, opt-level s: see
/// `docs/decisions/0007-flash-budget-of-the-core.md`.
pub const FLASH_BYTES: u64 = 16 * 1024;
/// RAM of a table of 32 steps, a machine, a meter and a forecast that is being walked.
pub const RAM_BYTES: u64 = 1024;
/// The deepest stack of any job of the engine.
pub const STACK_BYTES: u64 = 1024;
/// Flash of the whole pump: the engine with regulator, limits, records and journal. See
/// `docs/decisions/0010-flash-of-the-whole-pump.md`.
pub const PUMP_FLASH_BYTES: u64 = 45 * 1024;
/// RAM of the whole pump with a table of 32 steps, and a buffer for its block.
pub const PUMP_RAM_BYTES: u64 = 4 * 1024;
/// Instructions of one call of `advance` when nothing is due, on a Cortex-M0.
pub const IDLE_INSTRUCTIONS: u64 = 200;

/// What was measured, against what is allowed.
#[derive(Debug, Default)]
pub struct Report {
    lines: Vec<String>,
    over: Vec<String>,
}

impl Report {
    /// A number that has a budget.
    pub fn held(&mut self, what: &str, measured: u64, budget: u64, unit: &str) {
        let percent = measured * 100 / budget;
        self.say(&format!("{what:<44}{measured:>8} {unit} of {budget} ({percent} %)"));
        if measured > budget {
            self.over.push(format!("{what}: {measured} {unit}, {} over", measured - budget));
        }
    }

    /// A number for information.
    pub fn told(&mut self, what: &str, measured: u64, unit: &str) {
        self.say(&format!("{what:<44}{measured:>8} {unit}"));
    }

    /// A remark.
    pub fn say(&mut self, line: &str) {
        println!("  {line}");
        self.lines.push(line.to_owned());
    }

    /// Everything said so far.
    pub fn text(&self) -> String {
        self.lines.join("\n") + "\n"
    }

    /// Fails if a budget is not held.
    pub fn verdict(&self) -> Outcome {
        if self.over.is_empty() {
            Ok(())
        } else {
            fail(format!("over budget: {}", self.over.join("; ")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_budget_itself_is_within_it_and_one_more_is_not() {
        let mut report = Report::default();
        report.held("flash", 12, 12, "bytes");
        assert!(report.verdict().is_ok());
        report.held("stack", 13, 12, "bytes");
        assert!(report.verdict().unwrap_err().to_string().contains("stack: 13 bytes, 1 over"));
    }
}
