//! The reader of version 1 of the encoding, as it was when the version was released.
//!
//! **Never changed.** It shows that what today's core writes as version 1 is read by a pump that was built when version 1
//! was new, and that every golden block of version 1 is read as it was then (`tests/tests/frozen.rs`). A new
//! version gets a folder of its own beside this one; how is written in DEVELOPERS.md.

#![no_std]
#![expect(dead_code, reason = "a copy keeps what nobody asks for any more")]
#![forbid(unsafe_code)]

pub mod audit;
pub mod calendar;
pub mod step;
pub mod table;
pub mod units;
pub mod wire;

mod quantity;
mod repeats;
mod waits;
