//! Prints what errors the CRC lets through.

use std::process::ExitCode;

use draught_tests::crc_strength::{Count, bursts, double, marks_of, quadruple, single, triple};
use draught_tests::vectors;

/// Up to this length the Hamming distance is 6 (`docs/encoding.md`).
const FOUR_BITS_UP_TO_BYTES: usize = 659;

/// Counts on the longest golden block, after checking that what a flipped bit does is the same in every other.
pub fn tell() -> ExitCode {
    let blocks = vectors::valid();
    let Some(longest) = blocks.iter().max_by_key(|v| v.hex.len()) else {
        eprintln!("error: there are no vectors");
        return ExitCode::FAILURE;
    };
    let marks = marks_of(&longest.hex);
    let alike = blocks.iter().filter(|v| marks_of(&v.hex) == marks[..8 * v.hex.len()]).count();
    println!("a flipped bit does the same to the CRC of {alike} of {} golden blocks", blocks.len());
    println!("\n{:<34}{:>24}{:>12}", "errors", "all of them", "undetected");
    let mut undetected = 0;
    let mut row = |kind: &str, bytes: usize, count: Count| {
        println!(
            "{:<34}{:>24}{:>12}",
            format!("{kind}, {bytes} bytes"),
            count.errors,
            count.undetected
        );
        undetected += count.undetected;
    };
    let all = longest.hex.len();
    row("1 bit", all, single(&marks));
    row("2 bits", all, double(&marks));
    row("3 bits", all, triple(&marks));
    row("4 bits", FOUR_BITS_UP_TO_BYTES, quadruple(&marks[..8 * FOUR_BITS_UP_TO_BYTES]));
    row("bursts of up to 32 bits", all, bursts(&marks));
    if undetected == 0 && alike == blocks.len() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
