//! Compares every implementation of the encoding.

use std::process::Command;
use std::time::{SystemTime, UNIX_EPOCH};

use crate::shell::{self, Failure, Outcome, cargo, root, target_folder};

/// `cargo xtask conformance --help`
pub const HELP: &str = "\
Asks the readers and writers in C and Python of tests/reference/ and the frozen reader of version 1 the same
questions as the core: the vectors, random schedules and damaged blocks. Any other answer is a failure.

Usage: cargo xtask conformance [--tables N] [--mutants N] [--seed N]

  --tables N    random schedules to write and read (default 100000)
  --mutants N   damaged blocks to read (default 1000000)
  --seed N      makes the same blocks again (default: a new one, printed)

Also counts which errors the CRC lets through. Needs python3 and a C compiler (cc).";

/// A pass that takes seconds, for every change.
pub const SHORT: [&str; 4] = ["--tables", "4000", "--mutants", "60000"];

/// The C program's warnings are errors.
const STRICT: [&str; 8] =
    ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wshadow", "-O2"];

/// `cargo xtask conformance`
pub fn run(arguments: &[String]) -> Outcome {
    let numbers = numbers(arguments)?;
    let program = compile_c()?;
    let mut build = cargo();
    build.args(["build", "--release", "--quiet", "--locked", "-p", "draught-conformance"]);
    shell::run(&mut build)?;
    let conformance = || Command::new(target_folder().join("release/draught-conformance"));
    shell::run(conformance().arg("crc"))?;
    println!();
    let mut command = conformance();
    command.args(numbers.map(|n| n.to_string()));
    command.arg("c").arg(program);
    command.args(["--", "python", "python3", "-B"]);
    shell::run(command.arg(root().join("tests/reference/python/conformance.py")))
}

/// Tables, mutants, seed.
fn numbers(arguments: &[String]) -> Outcome<[u64; 3]> {
    let seed = SystemTime::now().duration_since(UNIX_EPOCH).map_or(1, |now| now.as_secs());
    let mut numbers = [100_000, 1_000_000, seed];
    for pair in arguments.chunks(2) {
        let place = ["--tables", "--mutants", "--seed"].iter().position(|name| *name == pair[0]);
        let number = pair.get(1).and_then(|n| n.parse().ok());
        let (Some(place), Some(number)) = (place, number) else {
            return Err(Failure::Use(format!("`{}` is not understood", pair.join(" "))));
        };
        numbers[place] = number;
    }
    Ok(numbers)
}

fn compile_c() -> Outcome<std::path::PathBuf> {
    if !shell::is_installed("cc") {
        return shell::fail("no C compiler is installed; on Debian: apt-get install gcc");
    }
    let program = target_folder().join("conformance-c");
    let mut cc = Command::new("cc");
    cc.current_dir(root().join("tests/reference/c")).args(STRICT).arg("-o").arg(&program);
    shell::run(cc.args(["conformance.c", "draught_block.c"]))?;
    Ok(program)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        text.split_whitespace().map(str::to_owned).collect()
    }

    #[test]
    fn numbers_are_taken_by_name() {
        let [tables, mutants, seed] = numbers(&words("--mutants 7 --seed 3")).unwrap();
        assert_eq!((tables, mutants, seed), (100_000, 7, 3));
        for wrong in ["--tables", "--tables x", "--blocks 3", "--seed -1"] {
            assert!(matches!(numbers(&words(wrong)), Err(Failure::Use(_))), "{wrong}");
        }
        let [tables, mutants, _] = numbers(&SHORT.map(str::to_owned)).unwrap();
        assert!(tables > 0 && mutants > 0);
    }
}
