//! Histories of a journal, cut at every operation or at random, and held to what was acknowledged.
//!
//! After every cut all that was in RAM is dropped and opened anew from flash alone. What a history may find then:
//! the last thing that was acknowledged, or one that was begun after it.

pub mod checkpoints;
pub mod explore;
pub mod outcomes;
pub mod records;
pub mod shelf;

use crate::nor::Nor;

/// Something that is done with a journal, step by step, and knows what must be found.
pub trait History<const WORD: usize, const PAGE: usize>: Clone {
    /// Opens the journal from flash alone.
    fn boot(&mut self, nor: &mut Nor<WORD, PAGE>);

    /// Does the next thing.
    fn act(&mut self, nor: &mut Nor<WORD, PAGE>);

    /// Whether what is found is right.
    ///
    /// # Errors
    /// What is wrong with it.
    fn check(&self, nor: &mut Nor<WORD, PAGE>) -> Result<(), String>;
}

/// Whose slots the histories write.
pub const OWNER: draught::journal::Owner =
    draught::journal::Owner { device: 0x00d2_a064_7e57_0001, ring: 1 };

/// A payload that says which one it is in every byte.
#[must_use]
pub fn payload<const P: usize>(number: u32) -> [u8; P] {
    let [a, b, c, d] = number.to_le_bytes();
    core::array::from_fn(|at| match at % 5 {
        0 => a,
        1 => b,
        2 => c,
        3 => d,
        _ => (at as u8).wrapping_mul(31) ^ a,
    })
}

/// Which one a payload is, if it is one.
#[must_use]
pub fn number<const P: usize>(bytes: &[u8; P]) -> Option<u32> {
    let number = u32::from_le_bytes(*bytes.first_chunk()?);
    (payload::<P>(number) == *bytes).then_some(number)
}
