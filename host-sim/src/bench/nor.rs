//! A NOR flash that can be cut off at any operation, and that takes nothing amiss silently.
//!
//! * Programming only clears bits. A word is programmed once between two erases; a second time is noted in
//!   [`Nor::wrong_use`], as is every access that is not aligned.
//! * One **operation** is one word programmed or one page erased. A cut hits one operation and leaves it torn in one of
//!   the ways of [`Torn`]; from then on every access fails until [`Nor::boot`].
//! * Words and pages can be bad from the start: a bad word takes something else than what it is given and says
//!   nothing; a bad page is not erased and says so.

use std::collections::BTreeSet;

use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

use super::random::Stream;

/// How a cut leaves the word or page that it hit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Torn {
    /// The word as it was before. Of a page the first half is erased, the second as it was.
    Prefix,
    /// Some of the bits that were to change did.
    Some,
    /// Anything.
    Garbage,
    /// The chip cannot correct it: reading is an error.
    ReadError,
    /// It reads differently each time.
    Unstable,
    /// It reads as blank, but what is programmed over it does not last until the next boot.
    LooksBlank,
    /// It reads as it should until the boot after the next, then as anything.
    LooksRight,
    /// Anything, and so is all that the same call was still to program.
    Rest,
    /// As before, but all that the same call was still to program is there.
    OutOfOrder,
}

impl Torn {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Prefix,
        Self::Some,
        Self::Garbage,
        Self::ReadError,
        Self::Unstable,
        Self::LooksBlank,
        Self::LooksRight,
        Self::Rest,
        Self::OutOfOrder,
    ];

    /// Its name, as docs/power-loss.md has it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Prefix => "prefix",
            Self::Some => "some bits",
            Self::Garbage => "garbage",
            Self::ReadError => "read error",
            Self::Unstable => "unstable",
            Self::LooksBlank => "looks blank",
            Self::LooksRight => "looks right",
            Self::Rest => "rest garbage",
            Self::OutOfOrder => "out of order",
        }
    }
}

/// What a word is, besides its bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Word {
    Blank,
    Programmed,
    ReadError,
    Unstable,
    /// Reads as blank but was programmed or torn; see [`Torn::LooksBlank`].
    Spoilt,
    /// Reads as programmed for so many boots more.
    Fading(u8),
}

/// What a cut hit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hit {
    /// The word at this offset.
    Program(u32),
    /// The page at this offset.
    Erase(u32),
}

/// The flash: words of `WORD` bytes, pages of `PAGE`.
#[derive(Clone, Debug)]
pub struct Nor<const WORD: usize, const PAGE: usize> {
    bytes: Vec<u8>,
    words: Vec<Word>,
    random: Stream,
    cut: Option<(u64, Torn)>,
    hit: Option<Hit>,
    operations: u64,
    /// First bytes of words that take something else than they are given, silently.
    pub bad_words: BTreeSet<usize>,
    /// Pages that are not erased, and say so.
    pub bad_pages: BTreeSet<usize>,
    /// What was done to the flash that nobody may do.
    pub wrong_use: Vec<String>,
}

impl<const WORD: usize, const PAGE: usize> Nor<WORD, PAGE> {
    /// A chip as it comes: full of anything.
    #[must_use]
    pub fn new(pages: usize, seed: u64) -> Self {
        let mut random = Stream::new(seed, "flash");
        Self {
            bytes: (0..pages * PAGE).map(|_| random.bits() as u8).collect(),
            words: vec![Word::Programmed; pages * PAGE / WORD],
            random,
            cut: None,
            hit: None,
            operations: 0,
            bad_words: BTreeSet::new(),
            bad_pages: BTreeSet::new(),
            wrong_use: Vec::new(),
        }
    }

    /// Cuts the power at the operation after so many more.
    pub fn cut_after(&mut self, operations: u64, torn: Torn) {
        self.cut = Some((operations, torn));
    }

    /// What the cut hit, if power is off.
    #[must_use]
    pub const fn hit(&self) -> Option<Hit> {
        self.hit
    }

    /// Operations so far.
    #[must_use]
    pub const fn operations(&self) -> u64 {
        self.operations
    }

    /// Power comes back, or goes and comes back between two operations.
    pub fn boot(&mut self) {
        self.hit = None;
        self.cut = None;
        for word in 0..self.words.len() {
            match self.words[word] {
                Word::Fading(0) => {
                    self.scramble(word);
                    self.settle(word);
                }
                Word::Fading(boots) => self.words[word] = Word::Fading(boots - 1),
                _ => {}
            }
        }
    }

    /// Flips a bit, as rot does.
    pub fn flip(&mut self, bit: usize) {
        self.bytes[bit / 8] ^= 1 << (bit % 8);
    }

    /// The bytes as they stand, for tests that look or put something there themselves.
    pub fn raw(&mut self) -> &mut [u8] {
        &mut self.bytes
    }

    /// Says that a stretch was programmed, after [`Nor::raw`] put something there.
    pub fn mark_programmed(&mut self, from: usize, len: usize) {
        self.words[from / WORD..(from + len) / WORD].fill(Word::Programmed);
    }

    fn scramble(&mut self, word: usize) {
        for byte in &mut self.bytes[word * WORD..][..WORD] {
            *byte = self.random.bits() as u8;
        }
    }

    /// A word that was programmed, or torn, and all the same reads as blank is not to be programmed again.
    fn settle(&mut self, word: usize) {
        let blank = self.bytes[Self::range(word)].iter().all(|&b| b == u8::MAX);
        self.words[word] = if blank { Word::Spoilt } else { Word::Programmed };
    }

    fn range(word: usize) -> std::ops::Range<usize> {
        word * WORD..(word + 1) * WORD
    }

    /// Counts an operation; says how it is torn if the cut hits it.
    fn operation(&mut self, hit: Hit) -> Option<Torn> {
        self.operations += 1;
        let (left, torn) = self.cut?;
        if left > 0 {
            self.cut = Some((left - 1, torn));
            return None;
        }
        self.hit = Some(hit);
        Some(torn)
    }

    fn program(&mut self, word: usize, data: &[u8]) {
        for (cell, byte) in self.bytes[Self::range(word)].iter_mut().zip(data) {
            *cell &= byte;
        }
        if self.bad_words.contains(&(word * WORD)) {
            self.scramble(word);
        }
        match self.words[word] {
            Word::Spoilt => self.words[word] = Word::Fading(0),
            Word::Unstable => {}
            _ => self.settle(word),
        }
    }

    fn tear_word(&mut self, word: usize, data: &[u8], torn: Torn) {
        match torn {
            Torn::Prefix | Torn::OutOfOrder => {}
            Torn::Some => {
                let some: Vec<u8> = data.iter().map(|b| b | self.random.bits() as u8).collect();
                self.program(word, &some);
            }
            Torn::Garbage | Torn::Rest => {
                self.scramble(word);
                self.settle(word);
            }
            Torn::ReadError => self.words[word] = Word::ReadError,
            Torn::Unstable => self.words[word] = Word::Unstable,
            Torn::LooksBlank => self.words[word] = Word::Spoilt,
            Torn::LooksRight => {
                self.program(word, data);
                self.words[word] = Word::Fading(1);
            }
        }
    }

    fn tear_page(&mut self, page: usize, torn: Torn) {
        let words = page * PAGE / WORD..(page + 1) * PAGE / WORD;
        let half = words.start + words.len() / 2;
        for word in words {
            match torn {
                Torn::Prefix | Torn::OutOfOrder if word < half => self.blank(word),
                Torn::Prefix | Torn::OutOfOrder => {}
                Torn::Some => {
                    for at in Self::range(word) {
                        self.bytes[at] |= self.random.bits() as u8;
                    }
                    self.settle(word);
                }
                Torn::Garbage | Torn::Rest => {
                    self.scramble(word);
                    self.settle(word);
                }
                Torn::ReadError => self.words[word] = Word::ReadError,
                Torn::Unstable => self.words[word] = Word::Unstable,
                Torn::LooksBlank => {
                    self.blank(word);
                    self.words[word] = Word::Spoilt;
                }
                Torn::LooksRight => self.words[word] = Word::Fading(1),
            }
        }
    }

    fn blank(&mut self, word: usize) {
        self.bytes[Self::range(word)].fill(u8::MAX);
        self.words[word] = Word::Blank;
    }

    fn powered(&self) -> Result<(), NorFlashErrorKind> {
        if self.hit.is_some() { Err(NorFlashErrorKind::Other) } else { Ok(()) }
    }

    fn check(
        &mut self,
        what: &str,
        at: u32,
        len: usize,
        unit: usize,
    ) -> Result<(), NorFlashErrorKind> {
        self.powered()?;
        let at = at as usize;
        if !at.is_multiple_of(unit) || !len.is_multiple_of(unit) || at + len > self.bytes.len() {
            self.wrong_use.push(format!("{what} {len} bytes at {at}, in units of {unit}"));
            return Err(NorFlashErrorKind::NotAligned);
        }
        Ok(())
    }
}

impl<const WORD: usize, const PAGE: usize> ErrorType for Nor<WORD, PAGE> {
    type Error = NorFlashErrorKind;
}

impl<const WORD: usize, const PAGE: usize> ReadNorFlash for Nor<WORD, PAGE> {
    const READ_SIZE: usize = WORD;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.check("read", offset, bytes.len(), WORD)?;
        let from = offset as usize;
        bytes.copy_from_slice(&self.bytes[from..from + bytes.len()]);
        for (n, part) in bytes.chunks_mut(WORD).enumerate() {
            match self.words[from / WORD + n] {
                Word::ReadError => return Err(NorFlashErrorKind::Other),
                Word::Unstable => part.fill_with(|| self.random.bits() as u8),
                _ => {}
            }
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WORD: usize, const PAGE: usize> NorFlash for Nor<WORD, PAGE> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.check("erase", from, to.saturating_sub(from) as usize, PAGE)?;
        for page in from as usize / PAGE..to as usize / PAGE {
            if let Some(torn) = self.operation(Hit::Erase((page * PAGE) as u32)) {
                self.tear_page(page, torn);
                return Err(NorFlashErrorKind::Other);
            }
            if self.bad_pages.contains(&page) {
                self.tear_page(page, Torn::LooksBlank);
                return Err(NorFlashErrorKind::Other);
            }
            (page * PAGE / WORD..(page + 1) * PAGE / WORD).for_each(|word| self.blank(word));
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        self.check("write", offset, bytes.len(), WORD)?;
        let mut torn = None;
        for (n, data) in bytes.chunks(WORD).enumerate() {
            let word = offset as usize / WORD + n;
            match torn {
                None => {}
                Some(Torn::Rest) => self.tear_word(word, data, Torn::Garbage),
                Some(Torn::OutOfOrder) => self.program(word, data),
                Some(_) => break,
            }
            if torn.is_some() {
                continue;
            }
            // An unstable word can have read as blank; it stays what it is.
            if !matches!(self.words[word], Word::Blank | Word::Spoilt | Word::Unstable) {
                self.wrong_use.push(format!("the word at {} is programmed twice", word * WORD));
                return Err(NorFlashErrorKind::Other);
            }
            torn = self.operation(Hit::Program((word * WORD) as u32));
            match torn {
                Some(torn) => self.tear_word(word, data, torn),
                None => self.program(word, data),
            }
        }
        if torn.is_some() { Err(NorFlashErrorKind::Other) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests;
