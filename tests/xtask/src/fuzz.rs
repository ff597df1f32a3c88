//! Builds the fuzz targets for coverage with the ordinary toolchain, runs them, and says what they reached.

mod seeds;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::shell::{self, Failure, Outcome, cargo, fail, quietly, root, target_folder};

/// `cargo xtask fuzz --help`
pub const HELP: &str = "\
Coverage-guided fuzzing of the block reader, the plan reader and the state machine

Usage: cargo xtask fuzz [TARGET...] [--seconds N]
       cargo xtask fuzz TARGET --replay FILE|HEX

Targets (all, unless some are named):
  block_decode   a block with a right CRC: decode, encode, observe, explain, and a second reader
  plan_parse     a text: read, check, show findings; encode, decode, write the plan and read it again
  arm_advance    a schedule: arm, forecast, and call with any clocks, volumes, commands and tables

  --seconds N    for how long each is run; 60 unless given
  --replay       runs one input, given as a file or as hex digits

Seeds come from tests/vectors and docs/examples. What is found goes to tests/fuzz/corpus, an input that breaks a
promise to tests/fuzz/artifacts; the log of a run is target/fuzz/TARGET.log. Needs a C++ compiler, since
libFuzzer is written in C++, and neither a nightly toolchain nor cargo-fuzz.";

const TARGETS: [&str; 3] = ["block_decode", "plan_parse", "arm_advance"];

/// What compiles code so that libFuzzer sees which edges are taken.
const COVERAGE: [&str; 12] = [
    "-C",
    "passes=sancov-module",
    "-C",
    "llvm-args=-sanitizer-coverage-level=4",
    "-C",
    "llvm-args=-sanitizer-coverage-inline-8bit-counters",
    "-C",
    "llvm-args=-sanitizer-coverage-pc-table",
    "-C",
    "codegen-units=1",
    "--cfg",
    "fuzzing",
];

/// Longer inputs are cut: the seeds are shorter, but for a few of their longest.
const BYTES_MAX: &str = "-max_len=2048";

/// One input may take so many seconds; a thousand times as long as any does.
const SECONDS_AN_INPUT: &str = "-timeout=20";

/// `cargo xtask fuzz`
pub fn run(arguments: &[String]) -> Outcome {
    let wanted = Wanted::of(arguments)?;
    let compiler = std::env::var("CXX").unwrap_or("c++".to_owned());
    if !Path::new(&compiler).is_file() && !shell::is_installed(&compiler) {
        return fail(format!(
            "there is no C++ compiler `{compiler}`, which libFuzzer needs; on Debian: apt-get install g++"
        ));
    }
    let mut build = instrumented("build")?;
    build.args(["--quiet", "--bins"]);
    shell::run(&mut build)?;
    if let Some(input) = &wanted.replay {
        return replay(wanted.targets[0], input);
    }
    for target in wanted.targets {
        let corpus = fuzz_folder().join("corpus").join(target);
        seeds::write(target, &corpus)?;
        fuzz(target, &corpus, wanted.seconds)?;
    }
    Ok(())
}

/// What was asked for.
#[derive(Debug, PartialEq, Eq)]
struct Wanted {
    targets: Vec<&'static str>,
    seconds: u32,
    replay: Option<String>,
}

impl Wanted {
    fn of(arguments: &[String]) -> Outcome<Self> {
        let mut wanted = Self { targets: Vec::new(), seconds: 60, replay: None };
        let wrong = |what: String| Err(Failure::Use(what));
        let mut arguments = arguments.iter();
        while let Some(argument) = arguments.next() {
            match argument.as_str() {
                "--seconds" => {
                    let seconds = arguments.next().and_then(|n| n.parse().ok());
                    let Some(seconds @ 1..) = seconds else {
                        return wrong("--seconds takes a whole number from 1 on".to_owned());
                    };
                    wanted.seconds = seconds;
                }
                "--replay" => {
                    let Some(input) = arguments.next() else {
                        return wrong("--replay takes a file or hex digits".to_owned());
                    };
                    wanted.replay = Some(input.clone());
                }
                name => match TARGETS.iter().find(|t| **t == name) {
                    Some(target) => wanted.targets.push(target),
                    None => return wrong(format!("there is no target `{name}`")),
                },
            }
        }
        if wanted.replay.is_some() && wanted.targets.len() != 1 {
            return wrong("--replay takes one target, the one that the input is for".to_owned());
        }
        if wanted.targets.is_empty() {
            wanted.targets = TARGETS.to_vec();
        }
        Ok(wanted)
    }
}

/// Cargo in the workspace of the fuzz targets, with their profile and flags.
pub fn instrumented(task: &str) -> Outcome<Command> {
    let mut command = cargo();
    command
        .current_dir(fuzz_folder())
        .args([task, "--locked", "--release", "--target", &host()?, "--target-dir"])
        .arg(target_folder().join("fuzz"))
        .env("CARGO_ENCODED_RUSTFLAGS", COVERAGE.join("\x1f"));
    Ok(command)
}

fn fuzz_folder() -> PathBuf {
    root().join("tests/fuzz")
}

/// This machine as rustc names it. It is named to cargo so that the flags do not reach build scripts.
fn host() -> Outcome<String> {
    let rustc = std::env::var_os("RUSTC").unwrap_or("rustc".into());
    let version = quietly(Command::new(rustc).current_dir(root()).arg("-vV"))?;
    match version.lines().find_map(|l| l.strip_prefix("host: ")) {
        Some(host) => Ok(host.to_owned()),
        None => fail("`rustc -vV` names no host"),
    }
}

fn binary(target: &str) -> Outcome<Command> {
    let mut command =
        Command::new(target_folder().join("fuzz").join(host()?).join("release").join(target));
    // The panic says where; the stack above it is libFuzzer's.
    command.env("RUST_BACKTRACE", "0").stdin(Stdio::null());
    Ok(command)
}

/// Runs one target, shows what it came to, and fails if an input breaks a promise.
fn fuzz(target: &str, corpus: &Path, seconds: u32) -> Outcome {
    let log = target_folder().join("fuzz").join(format!("{target}.log"));
    let counts = log.with_extension("counts");
    let artifacts = fuzz_folder().join("artifacts").join(target);
    let cannot = |e: std::io::Error| Failure::Check(format!("cannot write {}: {e}", log.display()));
    fs::create_dir_all(&artifacts).map_err(cannot)?;
    let _ = fs::remove_file(&counts);
    let mut command = binary(target)?;
    command
        .args([BYTES_MAX, SECONDS_AN_INPUT])
        .arg(format!("-max_total_time={seconds}"))
        .arg(format!("-artifact_prefix={}/", artifacts.display()));
    if target == "plan_parse" {
        command.arg("-mutate_depth=3");
        command.arg(format!("-dict={}", fuzz_folder().join("plan_parse.dict").display()));
    }
    let status = command
        .arg(corpus)
        .env("DRAUGHT_FUZZ_COUNTS", &counts)
        .stdout(Stdio::null())
        .stderr(fs::File::create(&log).map_err(cannot)?)
        .status()
        .map_err(|e| Failure::Check(format!("cannot start {target}: {e}")))?;
    let said = fs::read(&log).map_err(cannot)?;
    let said = String::from_utf8_lossy(&said);
    if !status.success() {
        return fail(broken(target, &said));
    }
    // A run that is short or slow may not have come to its first count.
    let counts = fs::read_to_string(&counts).unwrap_or_default();
    match summary(target, &said, &counts) {
        Some(summary) => {
            println!("{summary}");
            Ok(())
        }
        None => fail(format!("{target} did not say what it did; see {}", log.display())),
    }
}

/// What a run came to, from libFuzzer's log and the target's own counts.
fn summary(target: &str, said: &str, counts: &str) -> Option<String> {
    let done = said.lines().find_map(|l| l.strip_prefix("Done "))?;
    let mut words = done.split(' ');
    let runs: u64 = words.next()?.parse().ok()?;
    let seconds: u64 = words.nth(2)?.parse().ok()?;
    let last = said.lines().rfind(|l| l.contains("DONE"))?;
    let edges = last.split_whitespace().skip_while(|w| *w != "cov:").nth(1)?;
    let mut text = format!(
        "{target:<14}{runs:>12} executions in {seconds} s, {} a second; {edges} edges\n{:<14}",
        runs / seconds.max(1),
        ""
    );
    let mut counts = counts.lines().filter_map(|l| l.split_once(' '));
    let whole: u64 = counts.next()?.0.parse().ok()?;
    for (count, name) in counts {
        let count: u64 = count.parse().ok()?;
        let each = count as f64 / whole as f64;
        text.push_str(&match each {
            0.0..=1.0 => format!("  {name}: {:.1} %", each * 100.0),
            _ => format!("  {name}: {each:.1} each"),
        });
    }
    Some(text)
}

/// A broken promise: what the panic said, the input, and what replays it.
fn broken(target: &str, said: &str) -> String {
    let panic: Vec<&str> = said
        .lines()
        .skip_while(|l| !l.contains("panicked at"))
        .take_while(|l| !l.starts_with("note:") && !l.starts_with("=="))
        .collect();
    let why = if panic.is_empty() {
        let lines: Vec<&str> = said.lines().collect();
        lines[lines.len().saturating_sub(12)..].join("\n")
    } else {
        panic.join("\n")
    };
    let written = said.lines().find_map(|l| l.split_once("Test unit written to "));
    let Some((_, path)) = written else { return format!("{target} failed:\n{why}") };
    let hex: String =
        fs::read(path).unwrap_or_default().iter().map(|b| format!("{b:02x}")).collect();
    let file = Path::new(path).strip_prefix(root()).unwrap_or(Path::new(path)).display();
    format!(
        "{target}: an input breaks a promise:\n{why}\n\n\
         the input is kept in {file}; write a test with it first, then mend the fault. This runs it again:\n\
         cargo xtask fuzz {target} --replay {hex}"
    )
}

/// Runs one input, given as a file or as hex digits.
fn replay(target: &str, input: &str) -> Outcome {
    let mut file = PathBuf::from(input);
    if !file.is_file() {
        let Some(bytes) = seeds::bytes(input) else {
            return Err(Failure::Use(format!("{input} is no file, and not hex digits either")));
        };
        file = target_folder().join("fuzz").join(format!("{target}.replay"));
        fs::write(&file, bytes)
            .map_err(|e| Failure::Check(format!("cannot write {}: {e}", file.display())))?;
    }
    let output = shell::capture(binary(target)?.arg(SECONDS_AN_INPUT).arg(&file))?;
    if output.success {
        println!("{target}: this input breaks no promise");
        return Ok(());
    }
    fail(broken(target, &output.err))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(arguments: &[&str]) -> Outcome<Wanted> {
        Wanted::of(&arguments.iter().map(|a| (*a).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn arguments_are_understood_or_refused() {
        let all = wanted(&[]).unwrap();
        assert_eq!((all.targets.as_slice(), all.seconds), (&TARGETS[..], 60));
        let one = wanted(&["plan_parse", "--seconds", "5"]).unwrap();
        assert_eq!((one.targets.as_slice(), one.seconds), (&["plan_parse"][..], 5));
        let wrong: [&[&str]; 6] = [
            &["plan"],
            &["--seconds"],
            &["--seconds", "0"],
            &["--replay", "00"],
            &["block_decode", "plan_parse", "--replay", "00"],
            &["block_decode", "--replay"],
        ];
        for arguments in wrong {
            assert!(matches!(wanted(arguments), Err(Failure::Use(_))), "{arguments:?}");
        }
    }

    #[test]
    fn a_run_is_summed_up() {
        let said = "#9\tINITED cov: 7\n#600\tDONE   cov: 1973 ft: 66 corp: 1/2b\nDone 600 runs in 3 second(s)\n";
        let text = summary("x", said, "400 executions\n300 past the CRC\n900 calls\n").unwrap();
        assert!(text.contains("600 executions in 3 s, 200 a second; 1973 edges"), "{text}");
        assert!(text.ends_with("  past the CRC: 75.0 %  calls: 2.2 each"), "{text}");
        assert_eq!(summary("x", "Done nothing", ""), None);
    }

    #[test]
    fn a_broken_promise_says_what_and_how_to_run_it_again() {
        let file = std::env::temp_dir().join(format!("draught-fuzz-{}", std::process::id()));
        fs::write(&file, [1, 0xab]).unwrap();
        let said = format!(
            "INFO: x\nthread 'a' panicked at src/b.rs:1:2:\nit is wrong\nnote: run with\n== ERROR\n\
             artifact_prefix='x'; Test unit written to {}\n",
            file.display()
        );
        let text = broken("arm_advance", &said);
        fs::remove_file(&file).unwrap();
        assert!(text.contains("b.rs:1:2:\nit is wrong\n\n"), "{text}");
        assert!(text.ends_with("cargo xtask fuzz arm_advance --replay 01ab"), "{text}");
        assert!(broken("arm_advance", "no such option").contains("no such option"));
    }
}
