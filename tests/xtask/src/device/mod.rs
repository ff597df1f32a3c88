//! The core on Cortex-M: built, linked, looked through, measured and run.

mod budgets;
mod calls;
mod image;
mod no_panic;
mod qemu;
mod size;
mod toolchain;

use std::path::PathBuf;

use self::budgets::Report;
use self::toolchain::{Target, Toolchain};
use crate::performance::{self, UPDATE};
use crate::shell::{self, Failure, Outcome, target_folder};
use crate::stages::Stages;

/// `cargo xtask device --help`
pub const HELP: &str = "\
Builds the core for Cortex-M0 and Cortex-M3 and checks it

Usage: cargo xtask device [CHECK]... [--update]

Checks, all of them unless some are named:
  defmt     the core builds with its feature `defmt`
  no-panic  images over the core's public API link, so no panic can be reached; no floating point or allocation
  size      flash, RAM and worst-case stack against their budgets
  run       under QEMU, every golden vector gives the same lines as on this machine
  count     instructions of `advance` under QEMU against their budget

With --update the numbers in docs/performance.md are written anew; that needs all checks.

Examples: cargo xtask device size       how large the core has become, in seconds
          cargo xtask device            everything

Needs a compiler for thumbv6m-none-eabi and thumbv7m-none-eabi (rustup target add, or a system compiler with its
library source) and qemu-system-arm. Writes target/device/report.txt and a table of functions per target.";

const CHECKS: [&str; 5] = ["defmt", "no-panic", "size", "run", "count"];

/// `cargo xtask device`
pub fn run(arguments: &[String]) -> Outcome {
    let checks: Vec<&str> = arguments.iter().map(String::as_str).filter(|a| *a != UPDATE).collect();
    if let Some(unknown) = checks.iter().find(|a| !CHECKS.contains(a)) {
        return Err(Failure::Use(format!("there is no check `{unknown}`")));
    }
    let update = checks.len() < arguments.len();
    if update && !checks.is_empty() {
        return Err(Failure::Use(format!("{UPDATE} needs all checks: name none")));
    }
    let wanted = |check: &str| checks.is_empty() || checks.contains(&check);
    let tools = Toolchain::find()?;
    println!("compiler: {}", tools.describe()?);

    let mut stages = Stages::default();
    let mut report = Report::default();
    if wanted("no-panic") {
        stages.run("device: link", || {
            Target::ALL.iter().try_for_each(|t| no_panic::link(&tools, *t, &no_panic::IMAGES))
        })?;
        stages.run("device: no panic", || {
            no_panic::nothing_left_out()?;
            Target::ALL.iter().try_for_each(|t| no_panic::symbols(*t))?;
            no_panic::control(&tools, Target::Thumbv6m)?;
            // The control fails to link: put the proper image back.
            no_panic::link(&tools, Target::Thumbv6m, &["engine"])
        })?;
    }
    if wanted("size") {
        // The budgets hold on the smaller processor; the larger comes along when its images are there anyway.
        let all = wanted("no-panic");
        let targets = if all { &Target::ALL[..] } else { &[Target::Thumbv6m] };
        let images = if all { &no_panic::IMAGES[..] } else { &["stub", "engine", "pump"] };
        stages.run("device: size", || {
            targets.iter().try_for_each(|target| {
                no_panic::link(&tools, *target, images)?;
                size::measure(*target, all, &mut report)
            })
        })?;
    }
    if wanted("defmt") {
        stages.run("device: defmt", || defmt(&tools))?;
    }
    if wanted("run") {
        stages.run("device: run", || qemu::compare(&tools, &mut report))?;
    }
    if wanted("count") {
        stages.run("device: count", || qemu::count(&tools, &mut report))?;
    }
    let path = report_path();
    std::fs::write(&path, report.text())
        .map_err(|e| Failure::Check(format!("cannot write {}: {e}", path.display())))?;
    println!("{}", stages.summary());
    if update {
        performance::update("device", &format!("```text\n{}```", report.text()))?;
    }
    report.verdict()
}

fn report_path() -> PathBuf {
    target_folder().join("device/report.txt")
}

fn defmt(tools: &Toolchain) -> Outcome {
    for target in Target::ALL {
        let mut command = tools.cargo("build", target);
        shell::quietly(command.args(["-p", "no-panic", "--lib", "--features", "defmt"]))?;
        println!("  {}: the core builds with its feature `defmt`", target.triple());
    }
    Ok(())
}
