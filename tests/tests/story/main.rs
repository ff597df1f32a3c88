//! docs/tutorial.md, told and believed: its commands are run, its files written, its screens compared, and what came of it is reckoned
//! once more with whole fractions.

mod elide;
mod page;
mod sheet;
mod walk;
