//! One measured job a run, the encoded sizes, or the speed of the simulation.
//!
//! `cargo xtask bench` runs this under callgrind, which counts only what happens inside [`counted_region`].

mod jobs;
mod other;
mod power;
mod speed;
mod tables;

use std::hint::black_box;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["jobs"] => jobs::ALL.iter().for_each(|(name, _)| println!("{name}")),
        ["speed"] => speed::tell(),
        ["power"] => power::tell(),
        ["sizes"] => tables::ALL.iter().for_each(sizes),
        ["job", name] => match jobs::ALL.iter().find(|(job, _)| job == name) {
            Some((_, prepare)) => counted_region(prepare()),
            None => {
                eprintln!("error: there is no job `{name}`");
                return ExitCode::from(2);
            }
        },
        _ => {
            eprintln!("Usage: draught-bench jobs | job <NAME> | sizes | speed | power");
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}

/// The part of a job that is counted.
#[inline(never)]
fn counted_region(job: jobs::Job) {
    black_box(job)();
}

/// One line: name, steps, and bytes as a block and in each other encoding.
fn sizes((name, table): &tables::Named) {
    let table = table();
    let block = tables::block(&table);
    let same = other::Schedule::of(&table);
    let lengths: Vec<String> = same.encodings().iter().map(|e| e.len().to_string()).collect();
    println!("{name},{},{},{}", table.steps().len(), block.len(), lengths.join(","));
}
