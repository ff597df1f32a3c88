//! Asks every implementation of the encoding the same questions, and compares each answer with the core's.
//!
//! `cargo xtask conformance` builds and runs this.

mod cases;
mod mutate;
mod program;
mod strength;
mod value;

use std::collections::BTreeSet;
use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use draught::wire::RefusalCode;

use crate::cases::{Cases, Tally};
use crate::program::{Case, Program, Verdict};

const USAGE: &str = "\
Usage: draught-conformance <TABLES> <MUTANTS> <SEED> (<NAME> <PROGRAM> [<SCRIPT>])...
       draught-conformance crc

Implementations are parted by `--`.";

/// Cases are handed over in lots of this many.
const LOT: usize = 1_000;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if arguments == ["crc"] {
        return strength::tell();
    }
    let Some((plan, programs)) = plan(&arguments) else {
        eprintln!("{USAGE}");
        return ExitCode::from(2);
    };
    match run(&plan, &programs) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(what) => {
            eprintln!("error: {what}; seed {}", plan.seed);
            ExitCode::FAILURE
        }
    }
}

struct Plan {
    tables: usize,
    mutants: usize,
    seed: u64,
}

fn plan(arguments: &[String]) -> Option<(Plan, Vec<&[String]>)> {
    let (numbers, programs) = arguments.split_at_checked(3)?;
    let plan = Plan {
        tables: numbers[0].parse().ok()?,
        mutants: numbers[1].parse().ok()?,
        seed: numbers[2].parse().ok()?,
    };
    let programs: Vec<_> = programs.split(|a| a == "--").collect();
    programs.iter().all(|p| p.len() >= 2).then_some((plan, programs))
}

fn run(plan: &Plan, programs: &[&[String]]) -> Result<bool, String> {
    let programs: Vec<Program> = programs
        .iter()
        .map(|p| {
            let script: Vec<&Path> = p[2..].iter().map(Path::new).collect();
            Program::start(&p[0], Path::new(&p[1]), &script)
        })
        .collect::<Result<_, _>>()?;
    let ask = |cases: Vec<Case>| -> Result<(), String> {
        let lot = Arc::new(cases);
        programs.iter().try_for_each(|p| p.ask(Arc::clone(&lot)))
    };
    let mut cases = Cases::new(plan.seed);
    let mut progress = Progress::of(plan.tables + plan.mutants);
    ask(cases.vectors())?;
    for lot in lots(plan.tables) {
        ask(cases.random(lot))?;
        progress.go_on(lot);
    }
    for lot in lots(plan.mutants) {
        ask(cases.mutants(lot))?;
        progress.go_on(lot);
    }
    progress.end();
    let verdicts: Vec<Verdict> =
        programs.into_iter().map(Program::finish).collect::<Result<_, _>>()?;
    tell(plan, &cases, &verdicts);
    let missing = codes_never_met(&cases.tally);
    if !missing.is_empty() {
        println!("\nnever met: {}", missing.join(", "));
    }
    Ok(missing.is_empty() && verdicts.iter().all(|v| v.disagreements == 0))
}

fn lots(all: usize) -> impl Iterator<Item = usize> {
    (0..all).step_by(LOT).map(move |done| LOT.min(all - done))
}

fn tell(plan: &Plan, cases: &Cases, verdicts: &[Verdict]) {
    let read: u64 = cases.tally.values().sum();
    println!("seed {}", plan.seed);
    println!("{} random schedules, written and read", plan.tables);
    println!("{} mutated blocks, {} with a right CRC", plan.mutants, cases.sealed);
    println!("{read} blocks read in all, the vectors included:\n");
    println!("{:<20}{:>10}", "answer", "blocks");
    let mut tally: Vec<_> = cases.tally.iter().collect();
    tally.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
    tally.iter().for_each(|(code, count)| println!("{code:<20}{count:>10}"));
    println!("\n{:<20}{:>10}{:>15}", "against the core", "asked", "disagreements");
    for v in verdicts {
        println!("{:<20}{:>10}{:>15}", v.name, v.asked, v.disagreements);
    }
    for v in verdicts.iter().filter(|v| v.disagreements > 0) {
        println!("\n{}, the first disagreements:\n\n{}", v.name, v.first.join("\n\n"));
    }
}

/// Codes that no block was refused for: then the comparison says nothing about them.
fn codes_never_met(tally: &Tally) -> Vec<&'static str> {
    let all: BTreeSet<_> = RefusalCode::ALL.iter().map(|c| c.as_str()).collect();
    all.into_iter().filter(|code| !tally.contains_key(*code)).collect()
}

/// How far it is, on a terminal.
struct Progress {
    all: usize,
    done: usize,
    shown: bool,
}

impl Progress {
    fn of(all: usize) -> Self {
        Self { all, done: 0, shown: std::io::stderr().is_terminal() }
    }

    fn go_on(&mut self, by: usize) {
        self.done += by;
        if self.shown {
            eprint!(
                "\r{:>3} %  {} of {} blocks",
                self.done * 100 / self.all.max(1),
                self.done,
                self.all
            );
            let _ = std::io::stderr().flush();
        }
    }

    fn end(&self) {
        if self.shown {
            eprint!("\r{:60}\r", "");
        }
    }
}
