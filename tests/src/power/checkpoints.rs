//! A ring of which the newest slot counts.

use draught::journal::{Region, Ring};

use super::{History, OWNER, number, payload};
use crate::nor::Nor;

/// The bytes of a checkpoint here: as many as fit 32.
const LEN: usize = 22;

/// Checkpoint after checkpoint, each with the next number.
#[derive(Clone, Debug)]
pub struct Checkpoints<const STRIDE: usize> {
    ring: Option<Ring<STRIDE>>,
    pages: u16,
    acknowledged: u32,
    attempted: u32,
}

impl<const STRIDE: usize> Checkpoints<STRIDE> {
    /// On so many pages, from the first on.
    #[must_use]
    pub const fn new(pages: u16) -> Self {
        Self { ring: None, pages, acknowledged: 0, attempted: 0 }
    }

    /// The number that is found.
    ///
    /// # Errors
    /// When what is found was never written.
    pub fn found<const WORD: usize, const PAGE: usize>(
        &self,
        nor: &mut Nor<WORD, PAGE>,
    ) -> Result<u32, String> {
        let ring = self.ring.as_ref().ok_or("not booted")?;
        let Some(entry) = ring.newest(nor) else { return Ok(0) };
        let found = entry.payload_of::<LEN>().and_then(number).ok_or("a phantom is the newest")?;
        if entry.kind != found as u8 {
            return Err(format!("checkpoint {found} has kind {}", entry.kind));
        }
        Ok(found)
    }

    /// The last number that was acknowledged.
    #[must_use]
    pub const fn acknowledged(&self) -> u32 {
        self.acknowledged
    }
}

impl<const STRIDE: usize, const WORD: usize, const PAGE: usize> History<WORD, PAGE>
    for Checkpoints<STRIDE>
{
    fn boot(&mut self, nor: &mut Nor<WORD, PAGE>) {
        let region = Region::new(nor, 0, self.pages).unwrap();
        self.ring = Some(Ring::checkpoints(nor, region, OWNER));
    }

    fn act(&mut self, nor: &mut Nor<WORD, PAGE>) {
        self.attempted += 1;
        let ring = self.ring.as_mut().unwrap();
        let kind = self.attempted as u8;
        if ring.append(nor, kind, &payload::<LEN>(self.attempted)).is_ok() {
            self.acknowledged = self.attempted;
        }
    }

    fn check(&self, nor: &mut Nor<WORD, PAGE>) -> Result<(), String> {
        let found = self.found(nor)?;
        if found < self.acknowledged {
            return Err(format!(
                "checkpoint {} was acknowledged, {found} is found",
                self.acknowledged
            ));
        }
        if found > self.attempted {
            return Err(format!("checkpoint {found} was never written"));
        }
        // Older ones are of no use to a pump, but each must be one, in order.
        let ring = self.ring.as_ref().unwrap();
        let (mut walk, mut before) = (ring.oldest(), 0);
        while let Some(entry) = ring.next(nor, &mut walk) {
            let one = entry.payload_of::<LEN>().and_then(number).ok_or("a phantom on the way")?;
            if one <= before || one > self.attempted {
                return Err(format!("checkpoint {one} after {before}"));
            }
            before = one;
        }
        Ok(())
    }
}
