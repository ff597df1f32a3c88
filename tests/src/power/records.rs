//! A ring of which every slot counts until it is released.

use draught::journal::{JournalError, Region, Ring, Seq};

use super::{History, OWNER, number, payload};
use crate::nor::Nor;

/// The bytes of a record here.
const LEN: usize = 21;

/// Record after record; the oldest half is collected every fifth time, and all when the ring is full.
#[derive(Clone, Debug)]
pub struct Records<const STRIDE: usize> {
    ring: Option<Ring<STRIDE>>,
    pages: u16,
    acts: u32,
    attempted: u32,
    /// Acknowledged and not collected, oldest first.
    kept: Vec<(u32, Seq)>,
    /// As a pump keeps it in its checkpoint: safe.
    released: Option<Seq>,
    wrong: Option<String>,
}

impl<const STRIDE: usize> Records<STRIDE> {
    /// On so many pages, from the first on.
    #[must_use]
    pub const fn new(pages: u16) -> Self {
        Self {
            ring: None,
            pages,
            acts: 0,
            attempted: 0,
            kept: Vec::new(),
            released: None,
            wrong: None,
        }
    }

    /// Collects so many of the oldest.
    fn collect(&mut self, count: usize) {
        if let Some((_, seq)) = self.kept.drain(..count).next_back() {
            self.released = Some(seq);
            self.ring.as_mut().unwrap().release(seq);
        }
    }

    fn append<const WORD: usize, const PAGE: usize>(
        &mut self,
        nor: &mut Nor<WORD, PAGE>,
    ) -> Result<(), JournalError> {
        let ring = self.ring.as_mut().unwrap();
        let free = ring.free(nor);
        let done = ring.append(nor, 7, &payload::<LEN>(self.attempted));
        match done {
            Ok(seq) => self.kept.push((self.attempted, seq)),
            Err(JournalError::Full) if free > 0 && nor.hit().is_none() => {
                self.wrong = Some(format!("full, after {free} were free"));
            }
            Err(_) => {}
        }
        done.map(|_| ())
    }
}

impl<const STRIDE: usize, const WORD: usize, const PAGE: usize> History<WORD, PAGE>
    for Records<STRIDE>
{
    fn boot(&mut self, nor: &mut Nor<WORD, PAGE>) {
        let region = Region::new(nor, 0, self.pages).unwrap();
        self.ring = Some(Ring::records(nor, region, OWNER, self.released));
    }

    fn act(&mut self, nor: &mut Nor<WORD, PAGE>) {
        self.acts += 1;
        if self.acts.is_multiple_of(5) {
            self.collect(self.kept.len() / 2);
        }
        self.attempted += 1;
        let clean = nor.bad_words.is_empty() && nor.bad_pages.is_empty();
        if self.append(nor) == Err(JournalError::Full) {
            self.collect(self.kept.len());
            if self.append(nor) == Err(JournalError::Full) && clean && nor.hit().is_none() {
                self.wrong = Some("full, with every record collected".into());
            }
        }
        if !clean {
            // What turns out bad takes room that was said to be free.
            self.wrong = None;
        }
    }

    fn check(&self, nor: &mut Nor<WORD, PAGE>) -> Result<(), String> {
        if let Some(wrong) = &self.wrong {
            return Err(wrong.clone());
        }
        let ring = self.ring.as_ref().ok_or("not booted")?;
        let mut kept = self.kept.iter().peekable();
        let (mut walk, mut before) = (ring.oldest(), 0);
        while let Some(entry) = ring.next(nor, &mut walk) {
            let one = entry.payload_of::<LEN>().and_then(number).ok_or("a phantom record")?;
            if one <= before || one > self.attempted || entry.kind != 7 {
                return Err(format!("record {one} after {before}"));
            }
            if kept.next_if(|k| **k == (one, entry.seq)).is_none()
                && self.kept.iter().any(|k| k.0 == one)
            {
                return Err(format!("record {one} is out of order, or has another number"));
            }
            before = one;
        }
        match kept.next() {
            Some((lost, _)) => Err(format!("record {lost} was acknowledged and is lost")),
            None => Ok(()),
        }
    }
}
