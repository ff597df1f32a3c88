//! Flash, RAM and stack of the core, against the budgets.

use super::budgets::{
    FLASH_BYTES, PUMP_FLASH_BYTES, PUMP_RAM_BYTES, RAM_BYTES, Report, STACK_BYTES,
};
use super::calls::CallGraph;
use super::image::Image;
use super::toolchain::{Target, Toolchain};
use crate::shell::{Failure, Outcome, fail, target_folder};

/// What stands in RAM, and under which name in the image.
const RAM_PARTS: [(&str, &str); 4] =
    [("table", "TABLE"), ("machine", "MACHINE"), ("meter", "METER"), ("forecast", "FORECAST")];
/// How many functions are shown; all are in a file.
const LARGEST: usize = 12;

/// Measures the engine image of a target; the budgets hold on the smaller one.
pub fn measure(target: Target, whole_too: bool, report: &mut Report) -> Outcome {
    let stub = Image::read(&Toolchain::image(target, "stub"))?;
    let engine = Image::read(&Toolchain::image(target, "engine"))?;
    let (flash, ram) = (engine.flash - stub.flash, engine.ram - stub.ram);
    report.say(&format!("{}, opt-level s:", target.triple()));
    if target == Target::Thumbv6m {
        report.held("flash, engine less stub", flash, FLASH_BYTES, "bytes");
        report.held("RAM: table of 32 steps, machine, meter, forecast", ram, RAM_BYTES, "bytes");
    } else {
        report.told("flash, engine less stub", flash, "bytes");
        report.told("RAM: table of 32 steps, machine, meter, forecast", ram, "bytes");
    }
    for (what, symbol) in RAM_PARTS {
        if let Some(size) = engine.size_of(&format!("engine::{symbol}")) {
            report.told(&format!("  {what}"), size, "bytes");
        }
    }
    let pump = Image::read(&Toolchain::image(target, "pump"))?;
    let (flash, ram) = (pump.flash - stub.flash, pump.ram - stub.ram);
    if target == Target::Thumbv6m {
        report.held("flash, whole pump less stub", flash, PUMP_FLASH_BYTES, "bytes");
        report.held("RAM: whole pump, buffer for a block", ram, PUMP_RAM_BYTES, "bytes");
    } else {
        report.told("flash, whole pump less stub", flash, "bytes");
        report.told("RAM: whole pump, buffer for a block", ram, "bytes");
    }
    if whole_too {
        let whole = Image::read(&Toolchain::image(target, "whole"))?;
        report.told("flash of everything, texts included", whole.flash - stub.flash, "bytes");
    }
    stack(target, &engine, "no_panic::engine::", Some(STACK_BYTES), report)?;
    stack(target, &pump, "no_panic::pump::", None, report)?;
    per_function(target, "engine", &engine)?;
    per_function(target, "pump", &pump)
}

/// The deepest stack of each job in an image.
fn stack(
    target: Target,
    image: &Image,
    jobs: &str,
    budget: Option<u64>,
    report: &mut Report,
) -> Outcome {
    let graph = CallGraph::of(image);
    let mut jobs: Vec<_> = graph
        .named(jobs)
        .into_iter()
        .filter(|(name, _)| name != "run")
        .map(|(name, address)| (name, graph.deepest(address)))
        .collect();
    jobs.sort_by_key(|(_, deepest)| std::cmp::Reverse(deepest.bytes));
    let Some((name, worst)) = jobs.first() else {
        return fail("an image has none of its jobs");
    };
    for (job, deepest) in &jobs {
        if !deepest.unseen.is_empty() && target == Target::Thumbv6m {
            let unseen: Vec<&str> = deepest.unseen.iter().map(String::as_str).collect();
            return fail(format!("the stack of `{job}` has no bound: {}", unseen.join(", ")));
        }
    }
    let what = format!("stack, deepest job: {name}");
    match budget {
        Some(budget) if target == Target::Thumbv6m => {
            report.held(&what, worst.bytes.into(), budget, "bytes");
        }
        _ => report.told(&what, worst.bytes.into(), "bytes"),
    }
    for (function, frame) in &worst.path {
        report.say(&format!("    {frame:>5}  {function}"));
    }
    for (job, deepest) in jobs.iter().skip(1) {
        report.told(&format!("  stack of {job}"), deepest.bytes.into(), "bytes");
    }
    Ok(())
}

/// Every function's code size and frame, largest first, in a file beside the images.
fn per_function(target: Target, name: &str, image: &Image) -> Outcome {
    let mut functions: Vec<_> = image.functions.iter().collect();
    functions.sort_by_key(|f| std::cmp::Reverse(f.code.len()));
    let mut table = String::from("code,frame,function\n");
    for f in &functions {
        let frame = f.frame.map_or_else(String::new, |b| b.to_string());
        table.push_str(&format!("{},{frame},\"{}\"\n", f.code.len(), f.name));
    }
    println!("  largest functions of {name}:");
    for f in functions.iter().take(LARGEST) {
        println!("    {:>5}  {}", f.code.len(), f.name);
    }
    let path =
        target_folder().join("device").join(format!("{}-{name}-functions.csv", target.triple()));
    std::fs::write(&path, table)
        .map_err(|e| Failure::Check(format!("cannot write {}: {e}", path.display())))
}
