//! The program itself, as a process: exit codes, streams, colour. What it says is tested in `tests/tests/cli`.

use std::process::{Command, Output};

fn draught(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_draught"));
    command.args(arguments).current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    command
}

fn output(arguments: &[&str]) -> Output {
    draught(arguments).output().expect("the program runs")
}

const GOOD: [&str; 4] =
    ["check", "docs/examples/full-shift.toml", "--armed-at", "2027-05-10 06:15"];
const BAD: [&str; 2] = ["check", "docs/examples/mistakes/not-toml.toml"];

#[test]
fn exit_codes_say_whose_fault_it_is() {
    assert_eq!(output(&GOOD).status.code(), Some(0));
    assert_eq!(output(&BAD).status.code(), Some(1));
    assert_eq!(output(&["check"]).status.code(), Some(2));
    assert_eq!(output(&["--help"]).status.code(), Some(0));
}

#[test]
fn colour_only_where_it_is_wanted() {
    let coloured = |o: &Output| o.stdout.contains(&0x1b) || o.stderr.contains(&0x1b);
    assert!(!coloured(&output(&BAD)), "a pipe is not coloured");
    let always = [&BAD[..], &["--color", "always"]].concat();
    assert!(coloured(&output(&always)));
    let never = [&BAD[..], &["--color", "never"]].concat();
    assert!(!coloured(&output(&never)));
    let refused = draught(&BAD).env("NO_COLOR", "1").output().expect("the program runs");
    assert!(!coloured(&refused));
}

#[test]
fn a_pipeline_gives_the_same_bytes() {
    let armed = ["--armed-at", "2027-05-10 06:15"];
    let encode = |plan: &str, stdin: Option<&[u8]>| {
        let mut child = draught(&[&["encode", plan, "-o", "-"], &armed[..]].concat())
            .stdin(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .spawn()
            .expect("the program runs");
        let mut into = child.stdin.take().expect("a pipe");
        std::io::Write::write_all(&mut into, stdin.unwrap_or(b"")).expect("it reads");
        drop(into);
        child.wait_with_output().expect("it ends").stdout
    };
    let plan = std::fs::read("../docs/examples/full-shift.toml").expect("the plan");
    let from_file = encode("docs/examples/full-shift.toml", None);
    assert!(from_file.len() > 20);
    assert_eq!(encode("-", Some(&plan)), from_file);
}
