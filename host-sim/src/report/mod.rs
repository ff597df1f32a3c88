//! What a run looks like to people and to other programs.

pub mod fault_words;
pub mod numbers;
pub mod page;
pub mod picture;
pub mod result_rows;
pub mod trace;
