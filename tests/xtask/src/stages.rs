//! Named stages with their times.

use std::time::{Duration, Instant};

use crate::shell::{Failure, Outcome};

/// Runs stages one after the other and remembers how long each took.
#[derive(Debug, Default)]
pub struct Stages {
    done: Vec<(&'static str, Duration)>,
}

impl Stages {
    /// Runs one stage; its failure names it.
    pub fn run<T>(&mut self, name: &'static str, stage: impl FnOnce() -> Outcome<T>) -> Outcome<T> {
        println!("\n==> {name}");
        let begin = Instant::now();
        let outcome = stage();
        self.done.push((name, begin.elapsed()));
        outcome.map_err(|failure| match failure {
            Failure::Check(what) => Failure::Check(format!("stage `{name}`: {what}")),
            wrong_use => wrong_use,
        })
    }

    /// The table of times.
    pub fn summary(&self) -> String {
        let mut text = String::from("\n");
        for (name, time) in &self.done {
            text.push_str(&format!("{name:<24}{:>8.1} s\n", time.as_secs_f64()));
        }
        let total: Duration = self.done.iter().map(|(_, time)| *time).sum();
        text.push_str(&format!("{:<24}{:>8.1} s", "total", total.as_secs_f64()));
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shell::fail;

    #[test]
    fn a_failure_names_its_stage_and_later_stages_can_still_be_timed() {
        let mut stages = Stages::default();
        let failure = stages.run("docs", || fail::<()>("no")).unwrap_err();
        assert_eq!(failure.to_string(), "stage `docs`: no");
        assert_eq!(stages.run("lints", || Ok(3)).unwrap(), 3);
        let summary = stages.summary();
        assert!(
            summary.contains("docs ") && summary.contains("lints ") && summary.contains("total ")
        );
    }
}
