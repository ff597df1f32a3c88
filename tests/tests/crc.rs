//! The strength of the CRC, counted on the golden blocks; `cargo xtask conformance` prints the same counts.

use draught::wire::{self, RefusalCode};
use draught_tests::crc_strength::{
    bursts, double, every_odd_error_is_detected, marks_of, quadruple, single, triple,
};
use draught_tests::oracle;
use draught_tests::strategies::{Scope, tables};
use draught_tests::vectors;
use proptest::prelude::*;

fn flip(block: &mut [u8], bit: usize) {
    block[bit / 8] ^= 1 << (bit % 8);
}

fn assert_crc_refuses(name: &str, block: &[u8]) {
    let refused = wire::observe(block, 255, ()).expect_err(name);
    assert_eq!(refused.code, RefusalCode::Crc, "{name}");
    assert_eq!(refused.at, block.len() - 4, "{name}");
}

/// Flips bits, so many at once in every possible way, and has the reader look at each.
fn flip_every(name: &str, block: &mut [u8], bits: usize, below: usize) {
    if bits == 0 {
        return assert_crc_refuses(name, block);
    }
    for bit in bits - 1..below {
        flip(block, bit);
        flip_every(name, block, bits - 1, bit);
        flip(block, bit);
    }
}

fn longest() -> vectors::Valid {
    vectors::valid().into_iter().max_by_key(|v| v.hex.len()).unwrap()
}

#[test]
fn check_value() {
    // Catalogue of parametrised CRC algorithms, CRC-32/ISCSI: check 0xe3069283.
    assert_eq!(wire::seal(b"123456789"), 0xE306_9283_u32.to_le_bytes());
    assert_eq!(oracle::crc_32c(b"123456789"), 0xE306_9283);
}

#[test]
fn what_a_flipped_bit_does_depends_only_on_its_place_from_the_end() {
    let longest = longest();
    assert_eq!(longest.hex.len(), wire::max_len(255));
    let marks = marks_of(&longest.hex);
    for v in vectors::valid() {
        let own = marks_of(&v.hex);
        assert_eq!(own, marks[..own.len()], "{}", v.name);
    }
}

#[test]
fn the_reader_refuses_every_single_bit_error() {
    for v in vectors::valid() {
        let bits = 8 * v.hex.len();
        flip_every(&v.name, &mut v.hex.clone(), 1, bits);
    }
}

#[test]
fn the_reader_refuses_every_double_bit_error_of_blocks_up_to_48_bytes() {
    let small: Vec<_> = vectors::valid().into_iter().filter(|v| v.hex.len() <= 48).collect();
    assert!(small.len() > 100);
    for v in small {
        let bits = 8 * v.hex.len();
        flip_every(&v.name, &mut v.hex.clone(), 2, bits);
    }
}

#[test]
fn the_reader_refuses_every_triple_bit_error_of_the_worked_example() {
    let valid = vectors::valid();
    let v = valid.iter().find(|v| v.name == "worked-example").unwrap();
    flip_every(&v.name, &mut v.hex.clone(), 3, 8 * v.hex.len());
}

#[test]
fn no_error_of_up_to_three_bits_and_no_burst_of_up_to_32_goes_unnoticed_in_the_longest_block() {
    let marks = marks_of(&longest().hex);
    assert_eq!(marks.len(), 35_216);
    assert_eq!(single(&marks).undetected, 0);
    assert_eq!(double(&marks).undetected, 0);
    assert_eq!(triple(&marks).undetected, 0);
    assert_eq!(bursts(&marks).undetected, 0);
}

#[test]
fn the_hamming_distance_is_6_up_to_659_bytes_and_4_beyond() {
    // P. Koopman, "32-Bit Cyclic Redundancy Codes for Internet Applications", DSN 2002, from memory: distance 6 up to
    // 5,243 bits before the CRC. 5,243 + 32 bits are 659 bytes and 3 bits.
    let marks = marks_of(&longest().hex);
    assert!(every_odd_error_is_detected(0x1EDC_6F41));
    assert_eq!(quadruple(&marks[..5_243 + 32]).undetected, 0);
    assert!(quadruple(&marks[..5_243 + 32 + 1]).undetected > 0);
    assert!(wire::max_len(32) <= 659);
}

#[test]
fn the_counts_find_what_a_weaker_crc_lets_through() {
    // The plainest marks that go wrong in each way.
    let alike = [1, 2, 4, 2];
    assert_eq!(double(&alike).undetected, 1);
    let three = [1, 2, 3, 8];
    assert_eq!((double(&three).undetected, triple(&three).undetected), (0, 1));
    let four = [1, 2, 4, 7];
    assert_eq!((triple(&four).undetected, quadruple(&four).undetected), (0, 1));
    assert_eq!(single(&[0, 1]).undetected, 1);
    let mut window: Vec<u32> = (0..32).map(|bit| 1 << bit).collect();
    assert_eq!(bursts(&window).undetected, 0);
    window[31] = 5;
    assert_eq!(bursts(&window).undetected, 1);
    assert!(!every_odd_error_is_detected(0x04C1_1DB7), "another CRC-32 has an odd number of terms");
}

proptest! {
    #[test]
    fn the_reader_refuses_any_burst_of_up_to_32_bits(
        t in tables(Scope::Wide, 32),
        at in any::<prop::sample::Index>(),
        burst in 1..=u32::MAX,
    ) {
        let mut block = vec![0; wire::max_len(t.steps.len())];
        let len = wire::encode(t.table(), &mut block).unwrap();
        block.truncate(len);
        let first = at.index(8 * block.len() - 32);
        (0..32).filter(|bit| burst >> bit & 1 == 1).for_each(|bit| flip(&mut block, first + bit));
        assert_crc_refuses("burst", &block);
    }
}
