//! Tells every golden vector, line by line, and then how much stack the core took for them.

#![no_std]
#![no_main]

use core::fmt::Write;

use cortex_m_rt::entry;
use cortex_m_semihosting::debug::{EXIT_FAILURE, EXIT_SUCCESS, exit};
use draught::machine::Machine;
use lines::{JOBS, Table, VECTORS, decode, tell};
use run::console::Console;
use run::stack::taken_by;

#[entry]
fn main() -> ! {
    let done = run(&mut Table::empty(), &mut Console::new());
    loop {
        exit(if done.is_ok() { EXIT_SUCCESS } else { EXIT_FAILURE });
    }
}

fn run(table: &mut Table, console: &mut Console) -> core::fmt::Result {
    let mut deepest = [(0, ""); 1 + JOBS.len()];
    let [decoding, others @ ..] = &mut deepest;
    for vector in VECTORS {
        tell(vector, table, console)?;
        *decoding = (taken_by(|| decode(vector, table)), vector.name).max(*decoding);
        let Ok(table) = table.checked() else { continue };
        let mut machine = Machine::new();
        for ((_, job), deepest) in JOBS.iter().zip(others.iter_mut()) {
            let taken = taken_by(|| job(vector, table, &mut machine));
            *deepest = (taken, vector.name).max(*deepest);
        }
    }
    let names = ["decode"].into_iter().chain(JOBS.iter().map(|(name, _)| *name));
    for (name, (bytes, vector)) in names.zip(deepest) {
        writeln!(console, "stack {bytes} {name}, at most with {vector}")?;
    }
    Ok(())
}
