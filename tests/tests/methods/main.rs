//! The library of methods and what is proposed from it, against published figures, brute force and random demands.

mod endurance;
mod library;
mod plans;
mod proposals;

use draught_sim::methods::{Entry, Library, Named};

/// One way of using a method that comes with the program.
pub fn entry(id: &str) -> Entry {
    match Library::default().named(id) {
        Named::Found(_, entries) => entries.into_iter().next().expect("an entry"),
        other => panic!("{id}: {other:?}"),
    }
}

/// Equal, but for rounding.
pub fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}
