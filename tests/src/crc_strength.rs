//! What errors the CRC at the end of a block lets through, counted, not assumed.
//!
//! A CRC is linear: what flipped bits do to it depends on where they are, counted from the end of the block, and not
//! on the bytes. So each flipped bit has one **mark**, the change that it makes to the CRC; bits flipped together
//! change it by the exclusive or of their marks, and go unnoticed exactly when that is 0. Whoever knows the marks of
//! the longest block knows what every shorter one detects. That marks depend on nothing else is checked on every
//! golden block ([`marks_of`]), not taken for granted.

use std::collections::HashSet;

use draught::wire;

/// The mark of every bit of a block, **the last bit first**; bit 0 of a byte comes before its bit 7.
///
/// Found with the core's own CRC, one flipped bit at a time.
///
/// # Panics
/// When the block is shorter than its CRC.
#[must_use]
pub fn marks_of(block: &[u8]) -> Vec<u32> {
    let (body, _) = block.split_last_chunk::<4>().expect("a block has a CRC");
    let mut body = body.to_vec();
    let right = u32::from_le_bytes(wire::seal(&body));
    // A flipped bit of the CRC itself is its own mark.
    let mut marks: Vec<u32> = (0..32).rev().map(|bit| 1 << bit).collect();
    for bit in (0..8 * body.len()).rev() {
        body[bit / 8] ^= 1 << (bit % 8);
        marks.push(u32::from_le_bytes(wire::seal(&body)) ^ right);
        body[bit / 8] ^= 1 << (bit % 8);
    }
    marks
}

/// How many errors of one kind there are, and how many of them go unnoticed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// All of them.
    pub errors: u64,
    /// Those that the CRC lets through.
    pub undetected: u64,
}

/// Every error of one bit.
#[must_use]
pub fn single(marks: &[u32]) -> Count {
    let undetected = marks.iter().filter(|&&m| m == 0).count() as u64;
    Count { errors: marks.len() as u64, undetected }
}

/// Every error of two bits: unnoticed when both have the same mark.
#[must_use]
pub fn double(marks: &[u32]) -> Count {
    let n = marks.len() as u64;
    Count { errors: n * (n - 1) / 2, undetected: pairs_alike(marks.to_vec()) }
}

/// Every error of three bits: unnoticed when the marks of two together are the mark of a third.
#[must_use]
pub fn triple(marks: &[u32]) -> Count {
    let known = Known::new(marks);
    let mut found = 0;
    for (i, a) in marks.iter().enumerate() {
        found += marks[..i].iter().filter(|&b| known.holds(a ^ b)).count() as u64;
    }
    let n = marks.len() as u64;
    // Each three bits were found once for each of the three that could be the third.
    Count { errors: n * (n - 1) * (n - 2) / 6, undetected: found / 3 }
}

/// Every error of four bits: unnoticed when the marks of two together are those of two others together.
#[must_use]
pub fn quadruple(marks: &[u32]) -> Count {
    let together: Vec<u32> =
        (0..marks.len()).flat_map(|i| marks[..i].iter().map(move |b| marks[i] ^ b)).collect();
    let n = marks.len() as u64;
    let errors = n * (n - 1) / 2 * (n - 2) / 3 * (n - 3) / 4;
    // Each four bits make three pairs of pairs.
    Count { errors, undetected: pairs_alike(together) / 3 }
}

/// Every burst: an error whose first and last flipped bit are at most 32 bits apart, both counted.
///
/// The bursts inside 32 neighbouring bits all change the CRC exactly when the 32 marks are linearly independent.
/// Where they are not, the answer counts the places, not the bursts.
#[must_use]
pub fn bursts(marks: &[u32]) -> Count {
    // The first bit, and any of the 31 after it: where fewer are left, only those.
    let errors = (0..marks.len()).map(|left| 1_u64 << left.min(31)).sum();
    let undetected = marks.windows(32).filter(|window| rank(window) < 32).count() as u64;
    Count { errors, undetected }
}

/// Whether only even numbers of flipped bits can go unnoticed: the generator polynomial is divisible by *x* + 1,
/// which is so when it has an even number of terms.
#[must_use]
pub fn every_odd_error_is_detected(polynomial: u32) -> bool {
    // The term x^32 is not written.
    (polynomial.count_ones() + 1).is_multiple_of(2)
}

/// How many of the marks are linearly independent.
fn rank(marks: &[u32]) -> u32 {
    let mut by_top_bit = [0_u32; 32];
    let mut rank = 0;
    for &mark in marks {
        let mut left = mark;
        while left != 0 {
            let top = left.ilog2() as usize;
            if by_top_bit[top] == 0 {
                by_top_bit[top] = left;
                rank += 1;
                break;
            }
            left ^= by_top_bit[top];
        }
    }
    rank
}

fn pairs_alike(mut numbers: Vec<u32>) -> u64 {
    numbers.sort_unstable();
    numbers.chunk_by(|a, b| a == b).map(|c| c.len() as u64 * (c.len() as u64 - 1) / 2).sum()
}

/// The marks, so that most numbers that are none are told from them at a glance.
struct Known {
    glance: Vec<u64>,
    all: HashSet<u32>,
}

impl Known {
    const GLANCE_BITS: u32 = 20;

    fn new(marks: &[u32]) -> Self {
        let mut glance = vec![0; 1 << (Self::GLANCE_BITS - 6)];
        for mark in marks {
            let (word, bit) = Self::place(*mark);
            glance[word] |= bit;
        }
        Self { glance, all: marks.iter().copied().collect() }
    }

    fn place(mark: u32) -> (usize, u64) {
        let low = mark & ((1 << Self::GLANCE_BITS) - 1);
        ((low >> 6) as usize, 1 << (low & 63))
    }

    fn holds(&self, mark: u32) -> bool {
        let (word, bit) = Self::place(mark);
        self.glance[word] & bit != 0 && self.all.contains(&mark)
    }
}
