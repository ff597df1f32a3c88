//! docs/tutorial.md, told and believed: its commands are run, its files written, its screens compared, and what came of it is reckoned
//! once more with whole fractions.

mod elide;
mod exposure;
mod fractions;
mod page;
mod records;
mod report;
mod sheet;
mod volumes;
mod walk;
