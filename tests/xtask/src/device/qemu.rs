//! Runs images under QEMU.

use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::budgets::{IDLE_INSTRUCTIONS, Report};
use super::toolchain::{Target, Toolchain};
use crate::shell::{self, Failure, Outcome, cargo, fail, read, root, target_folder};

const QEMU: &str = "qemu-system-arm";
/// Far more than any image here takes; a guest that hangs must not hang the checks.
const LONGEST: Duration = Duration::from_secs(180);

/// Every golden vector, told by two microcontrollers and by this machine, must give the same lines.
pub fn compare(tools: &Toolchain, report: &mut Report) -> Outcome {
    let here = lines_here()?;
    let vectors = here.lines().filter(|l| l.starts_with("vector ")).count();
    if vectors == 0 {
        return fail("there is no vector in tests/vectors: nothing was compared");
    }
    for (target, board, processor) in [
        (Target::Thumbv7m, "lm3s6965evb", "Cortex-M3"),
        (Target::Thumbv6m, "microbit", "Cortex-M0"),
    ] {
        shell::quietly(tools.cargo("build", target).args(["-p", "run", "--bin", "vectors"]))?;
        let image = Toolchain::image(target, "vectors");
        let there = run(&image, &["-machine", board], &format!("vectors-{board}.txt"))?;
        let (stack, told): (Vec<&str>, Vec<&str>) =
            there.lines().partition(|line| line.starts_with("stack "));
        if stack.is_empty() {
            return fail(format!("the image on {board} did not come to its end:\n{there}"));
        }
        same_lines(&here, &told.join("\n"), processor)?;
        let lines = here.lines().count();
        report.say(&format!("{processor} ({board}): {vectors} vectors, {lines} lines, as here"));
        for line in stack {
            let words: Vec<&str> = line.splitn(3, ' ').collect();
            let &[_, bytes, what] = words.as_slice() else { continue };
            let bytes = bytes.parse().map_err(|_| Failure::Check(line.to_owned()))?;
            report.told(&format!("  stack seen: {what}"), bytes, "bytes");
        }
    }
    Ok(())
}

fn lines_here() -> Outcome<String> {
    let mut command = cargo();
    command
        .current_dir(root().join("tests/pump-firmware"))
        .args(["run", "--quiet", "--locked", "-p", "lines", "--bin", "host-lines", "--target-dir"])
        .arg(target_folder().join("device"));
    shell::quietly(&mut command)
}

fn same_lines(here: &str, there: &str, processor: &str) -> Outcome {
    let (mut ours, mut theirs) = (here.lines(), there.lines());
    let mut vector = "";
    for number in 1.. {
        match (ours.next(), theirs.next()) {
            (None, None) => break,
            (Some(our), Some(their)) if our == their => {
                vector = if our.starts_with("vector ") { our } else { vector };
            }
            (our, their) => {
                return fail(format!(
                    "line {number} differs, in {vector}\n  here:      {}\n  {processor}: {}",
                    our.unwrap_or("(no more lines)"),
                    their.unwrap_or("(no more lines)")
                ));
            }
        }
    }
    Ok(())
}

/// The instructions of `advance`, counted on a Cortex-M0's instructions.
pub fn count(tools: &Toolchain, report: &mut Report) -> Outcome {
    let target = Target::Thumbv6m;
    shell::quietly(tools.cargo("build", target).args(["-p", "run", "--bin", "count"]))?;
    // The code is a Cortex-M0's, which this board's Cortex-M3 runs as it is; its timer is finer than microbit's.
    // With `shift=5` every instruction takes 32 ns of the guest's time.
    let board = ["-machine", "mps2-an385", "-icount", "shift=5"];
    let text = run(&Toolchain::image(target, "count"), &board, "count.txt")?;
    report.say("instructions of one call of `advance`, thumbv6m:");
    let mut counted = 0;
    for line in text.lines() {
        let words: Vec<&str> = line.splitn(3, ' ').collect();
        let &[kind, number, what] = words.as_slice() else { continue };
        let Ok(number) = number.parse() else { continue };
        counted += 1;
        if kind == "idle" {
            let what = format!("  nothing due: {what}");
            report.held(&what, number, IDLE_INSTRUCTIONS, "instructions");
        } else {
            report.told(&format!("  {what}"), number, "instructions");
        }
    }
    if counted == 0 { fail(format!("the image counted nothing:\n{text}")) } else { Ok(()) }
}

/// Runs an image to its end; what it wrote is the answer.
fn run(image: &Path, board: &[&str], output: &str) -> Outcome<String> {
    if !shell::is_installed(QEMU) {
        return fail(format!(
            "{QEMU} is not installed; on Debian: apt-get install qemu-system-arm"
        ));
    }
    let path = target_folder().join("device").join(output);
    let file = File::create(&path)
        .map_err(|e| Failure::Check(format!("cannot write {}: {e}", path.display())))?;
    let mut command = Command::new(QEMU);
    command
        .args(board)
        .args(["-nographic", "-monitor", "none", "-serial", "none"])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(image)
        .stdin(Stdio::null())
        .stdout(file);
    // What the emulator itself remarks.
    let remarks = path.with_extension("err");
    if let Ok(file) = File::create(&remarks) {
        command.stderr(file);
    }
    let mut guest = command
        .spawn()
        .map_err(|e| Failure::Check(format!("cannot start `{}`: {e}", shell::line(&command))))?;
    let begin = Instant::now();
    let status = loop {
        match guest.try_wait() {
            Ok(Some(status)) => break status,
            Ok(None) if begin.elapsed() < LONGEST => std::thread::sleep(Duration::from_millis(20)),
            _ => {
                let _ = guest.kill();
                let _ = guest.wait();
                return fail(format!("`{}` did not end in time", shell::line(&command)));
            }
        }
    };
    let text = read(&path)?;
    if status.success() {
        return Ok(text);
    }
    let tail: Vec<&str> = text.lines().rev().take(5).collect();
    let tail = tail.into_iter().rev().collect::<Vec<_>>().join("\n");
    let remarks = read(&remarks).unwrap_or_default();
    fail(format!("`{}`: {status}; its last lines:\n{tail}\n{remarks}", shell::line(&command)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_different_line_is_named() {
        assert!(same_lines("vector a\n  1\n", "vector a\n  1\n", "M0").is_ok());
        let other = same_lines("vector a\n  1\n", "vector a\n  2\n", "M0").unwrap_err();
        assert!(other.to_string().contains("line 2 differs, in vector a"));
        let shorter = same_lines("vector a\n  1\n", "vector a\n", "M0").unwrap_err();
        assert!(shorter.to_string().contains("(no more lines)"));
    }
}
