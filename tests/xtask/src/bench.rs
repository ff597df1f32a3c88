//! Instruction counts, encoded sizes and speed, as tables for docs/performance.md.

use std::process::Command;

use crate::performance::{self, UPDATE};
use crate::shell::{self, Failure, Outcome, capture, cargo, fail, quietly, target_folder};

/// `cargo xtask bench --help`
pub const HELP: &str = "\
Instruction counts, encoded sizes and speed as ratios: the tables of docs/performance.md

Usage: cargo xtask bench [--update]

With --update the tables of docs/performance.md are written anew.

Counts instructions with valgrind's callgrind, so the numbers are the same on a busy machine. Times
are taken only where it says so, and given as ratios. Needs valgrind.";

/// `cargo xtask bench`
pub fn run(arguments: &[String]) -> Outcome {
    if let Some(unknown) = arguments.iter().find(|a| *a != UPDATE) {
        return Err(Failure::Use(format!("`{unknown}` is not understood")));
    }
    if !shell::is_installed("valgrind") {
        return fail("valgrind is not installed; on Debian: apt-get install valgrind");
    }
    shell::run(cargo().args(["build", "--release", "--quiet", "--locked", "-p", "draught-bench"]))?;
    let counts = counts()?;
    let tables = [instructions(&counts)?, sizes()?, speed()?, power()?].join("\n");
    println!("{tables}");
    if arguments.is_empty() { Ok(()) } else { performance::update("bench", &tables) }
}

fn bench(arguments: &[&str]) -> Command {
    let mut command = Command::new(target_folder().join("release/draught-bench"));
    command.args(arguments);
    command
}

/// Every job with its count of instructions.
fn counts() -> Outcome<Vec<(String, u64)>> {
    let jobs = quietly(&mut bench(&["jobs"]))?;
    jobs.lines().map(|job| Ok((job.to_owned(), count(job)?))).collect()
}

fn count(job: &str) -> Outcome<u64> {
    let mut command = Command::new("valgrind");
    command
        .args(["--tool=callgrind", "--toggle-collect=*counted_region*"])
        .arg("--callgrind-out-file=/dev/null")
        .arg(target_folder().join("release/draught-bench"))
        .args(["job", job]);
    let output = capture(&mut command)?;
    match collected(&output.err) {
        Some(count) if output.success && count > 0 => Ok(count),
        _ => fail(format!("`{}` counted nothing:\n{}", shell::line(&command), output.err)),
    }
}

/// callgrind's line `Collected : 12345`.
fn collected(remarks: &str) -> Option<u64> {
    let line = remarks.lines().find_map(|l| l.split_once("Collected :"))?;
    line.1.trim().parse().ok()
}

/// Each job, what it is counted per, and what it is compared with.
const ROWS: [(&str, u64, &str); 13] = [
    ("forecast of 10 runs", 10, "forecast of 100,000 runs"),
    ("forecast of 1,000 runs", 1_000, "forecast of 100,000 runs"),
    ("forecast of 100,000 runs", 100_000, "forecast of 100,000 runs"),
    ("encode 4 steps", 1, "decode 4 steps"),
    ("decode 4 steps", 1, "decode 4 steps"),
    ("encode 40 steps", 1, "decode 40 steps"),
    ("decode 40 steps", 1, "decode 40 steps"),
    ("decode 40 steps, JSON", 1, "decode 40 steps"),
    ("decode 40 steps, CBOR", 1, "decode 40 steps"),
    ("decode 40 steps, protobuf", 1, "decode 40 steps"),
    ("1,000 x advance, nothing due", 1_000, "1,000 x advance, nothing due"),
    ("1,000 x advance, a transition each", 1_000, "1,000 x advance, nothing due"),
    ("1,000 x meter reading", 1_000, "1,000 x advance, nothing due"),
];

fn instructions(counts: &[(String, u64)]) -> Outcome<String> {
    let each = |job: &str| {
        let per = ROWS.iter().find(|(name, ..)| *name == job).map(|(_, per, _)| *per);
        let count = counts.iter().find(|(name, _)| name == job).map(|(_, count)| *count);
        per.zip(count).map(|(per, count)| count as f64 / per as f64)
    };
    let mut table = String::from("| job | instructions | of one | ratio |\n|---|---:|---:|---:|\n");
    for (job, count) in counts {
        let row = ROWS.iter().find(|(name, ..)| name == job);
        let Some((own, base)) = row.and_then(|(_, _, base)| Some((each(job)?, each(base)?))) else {
            return fail(format!("the job `{job}` has no row in tests/xtask/src/bench.rs"));
        };
        table.push_str(&format!("| {job} | {count} | {own:.0} | {:.2} |\n", own / base));
    }
    Ok(table)
}

/// The sizes of three schedules in five encodings.
fn sizes() -> Outcome<String> {
    let text = quietly(&mut bench(&["sizes"]))?;
    let mut table = String::from(
        "| schedule | steps | block | JSON | CBOR, words as keys | CBOR, one-byte keys | protobuf |\n\
         |---|---:|---:|---:|---:|---:|---:|\n",
    );
    for line in text.lines() {
        let fields: Vec<&str> = line.split(',').collect();
        let &[name, steps, block, ref others @ ..] = fields.as_slice() else { continue };
        let bytes: f64 = block.parse().unwrap_or(f64::NAN);
        table.push_str(&format!("| {name} | {steps} | {block} |"));
        for other in others {
            let ratio = other.parse::<f64>().unwrap_or(f64::NAN) / bytes;
            table.push_str(&format!(" {other} ({ratio:.1} x) |"));
        }
        table.push('\n');
    }
    Ok(table)
}

/// How much faster than life the simulation is: times, so only their ratio means something elsewhere.
fn speed() -> Outcome<String> {
    let text = quietly(&mut bench(&["speed"]))?;
    let numbers: Vec<f64> = text.trim().split(',').filter_map(|n| n.parse().ok()).collect();
    let &[metered, unmetered] = numbers.as_slice() else {
        return fail(format!("the speed of the simulation is not two numbers: {text}"));
    };
    Ok(format!(
        "| a pump that runs eight hours a day | days a second (this machine) | ratio |\n|---|---:|---:|\n\
         | flow read every second | {metered:.0} | 1 |\n\
         | no readings | {unmetered:.0} | {:.0} |\n",
        unmetered / metered
    ))
}

/// How often a whole pump wakes, and what that costs: simulated, so the same everywhere.
fn power() -> Outcome<String> {
    let text = quietly(&mut bench(&["power"]))?;
    let mut table = String::from(
        "| a whole pump that | in the world | wakes a day | motor, mAh a day | board always awake, mAh a day | \
         board asleep between wakes, mAh a day |\n|---|---|---:|---:|---:|---:|\n",
    );
    let before = table.len();
    for line in text.lines() {
        // What it does may hold commas itself.
        let fields: Vec<&str> = line.rsplitn(6, ',').collect();
        let &[asleep, awake, motor, wakes, world, what] = fields.as_slice() else { continue };
        table.push_str(&format!("| {what} | {world} | {wakes} | {motor} | {awake} | {asleep} |\n"));
    }
    if table.len() == before { fail("no wakes were counted") } else { Ok(table) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_count_is_taken_from_callgrinds_remarks() {
        let remarks = "==1== Events    : Ir\n==1== Collected : 108542\n==1==\n";
        assert_eq!(collected(remarks), Some(108_542));
        assert_eq!(collected("==1== nothing"), None);
    }

    #[test]
    fn every_row_is_compared_with_a_row() {
        for (job, per, base) in ROWS {
            assert!(per > 0 && ROWS.iter().any(|(name, ..)| *name == base), "{job}");
        }
    }
}
