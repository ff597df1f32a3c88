//! The ring without its types: a tape of slots that goes round, its stride a number.
//!
//! One copy of this code serves rings of every stride.

use embedded_storage::nor_flash::NorFlash;

use super::region::{self, Region};
use super::slot::{self, Found, Owner, Sort};
use super::{Damage, JournalError};

/// Where a slot is, and its place in the sequence. Both go on together: a slot that is skipped skips a sequence
/// number, so no number is ever given twice, whatever a torn slot turns out to be later.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) page: u16,
    pub(super) slot: u16,
    pub(super) seq: u32,
}

/// How the pages are divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Geometry {
    pub(super) stride: u32,
    pub(super) per_page: u16,
}

/// What must outlive an erase.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Keep {
    /// The newest slot.
    Newest,
    /// The newest slot, and every slot after the one that was released last.
    Unreleased { released: Option<u32> },
}

/// How far a walk has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Walk {
    page: u16,
    slot: u16,
    left: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Tape {
    region: Region,
    owner: Owner,
    geometry: Geometry,
    keep: Keep,
    /// Where the next slot goes.
    head: Place,
    /// The newest slot with a payload.
    newest: Option<Place>,
    /// The page of the head was erased since the head came to its first slot.
    entered: bool,
    /// Nothing was ever programmed at the head or behind it since the page was erased, for certain: this run of the engine
    /// erased the page, or programmed the slot before.
    clean: bool,
    damage: Damage,
}

impl Tape {
    /// Looks at every slot.
    pub(super) fn open<F: NorFlash>(
        flash: &mut F,
        region: Region,
        owner: Owner,
        geometry: Geometry,
        keep: Keep,
        slot: &mut [u8],
    ) -> Self {
        let head = Place { page: 0, slot: 0, seq: 0 };
        let damage = Damage { torn: 0 };
        let (entered, clean) = (false, false);
        let mut tape =
            Self { region, owner, geometry, keep, head, newest: None, entered, clean, damage };
        let mut last: Option<Place> = None;
        let mut walk = tape.walk();
        while let Some((at, found)) = tape.step(flash, &mut walk, slot) {
            match found {
                Found::Blank => {}
                Found::Torn => tape.damage.torn = tape.damage.torn.saturating_add(1),
                Found::Valid { seq, sort } => {
                    let place = Place { seq, ..at };
                    let newer =
                        |than: Option<Place>| than.is_none_or(|p| slot::is_after(seq, p.seq));
                    if newer(last) {
                        last = Some(place);
                    }
                    if sort != Sort::Mark && newer(tape.newest) {
                        tape.newest = Some(place);
                    }
                }
            }
        }
        if let Some(last) = last {
            tape.head = last;
            tape.advance();
        }
        // A ring that lost what was released, such as an exchanged chip, must not number anew what counts as released.
        if let Keep::Unreleased { released: Some(released) } = keep
            && !slot::is_after(tape.head.seq, released)
        {
            tape.head.seq = released.wrapping_add(1);
        }
        tape
    }

    /// Programs a payload into the next good slot and says which it is.
    pub(super) fn append<F: NorFlash>(
        &mut self,
        flash: &mut F,
        kind: u8,
        payload: &[u8],
        slot: &mut [u8],
    ) -> Result<u32, JournalError> {
        // Every slot once, and every page.
        let mut tries = self.slots().saturating_add(self.region.pages.into());
        while tries > 0 {
            tries = tries.wrapping_sub(1);
            if self.head.slot == 0 && !self.entered {
                self.enter(flash, slot)?;
                continue;
            }
            let place = self.head;
            let stands = if self.clean {
                self.program(flash, Sort::Data { kind }, payload, slot)
            } else {
                self.program(flash, Sort::Mark, &[], slot)
            };
            self.advance();
            if stands && self.clean {
                self.newest = Some(place);
                return Ok(place.seq);
            }
            self.clean |= stands;
        }
        Err(JournalError::Worn)
    }

    /// Erases the page that the head came to. A page that looks blank is erased too: an erase that was cut can look so.
    fn enter<F: NorFlash>(&mut self, flash: &mut F, slot: &mut [u8]) -> Result<(), JournalError> {
        if self.is_kept(flash, self.head.page, slot) {
            // The page before has nothing but marks and torn slots when power was cut over and over: once more, then.
            let back = self.head.page.checked_sub(1).unwrap_or(self.region.pages.wrapping_sub(1));
            if self.is_kept(flash, back, slot) {
                return Err(JournalError::Full);
            }
            self.head.page = back;
            self.head.seq = self
                .head
                .seq
                .wrapping_add(self.slots().wrapping_sub(self.geometry.per_page.into()));
        }
        let at = self.region.page::<F>(self.head.page);
        if region::erase(flash, at, 1) {
            self.entered = true;
            self.clean = true;
        } else {
            self.head.seq = self.head.seq.wrapping_add(self.geometry.per_page.into());
            self.next_page();
        }
        Ok(())
    }

    /// Whether a page holds anything that must not be erased.
    fn is_kept<F: NorFlash>(&self, flash: &mut F, page: u16, slot: &mut [u8]) -> bool {
        if self.newest.is_some_and(|newest| newest.page == page) {
            return true;
        }
        if self.keep == Keep::Newest {
            return false;
        }
        let mut walk = Walk { page, slot: 0, left: self.geometry.per_page.into() };
        while let Some((_, found)) = self.step(flash, &mut walk, slot) {
            if self.is_wanted(found).is_some() {
                return true;
            }
        }
        false
    }

    /// Sequence and kind of a slot with a payload that was not released. One that opening did not see, since it was torn
    /// so that it reads well only sometimes, does not come up later.
    fn is_wanted(&self, found: Found) -> Option<(u32, u8)> {
        let Found::Valid { seq, sort: Sort::Data { kind } } = found else { return None };
        let gone = match self.keep {
            Keep::Newest | Keep::Unreleased { released: None } => false,
            Keep::Unreleased { released: Some(released) } => !slot::is_after(seq, released),
        };
        (!gone && slot::is_after(self.head.seq, seq)).then_some((seq, kind))
    }

    /// Programs the slot at the head, if it is blank. `true` only when it stands there, read back.
    fn program<F: NorFlash>(
        &self,
        flash: &mut F,
        sort: Sort,
        payload: &[u8],
        slot: &mut [u8],
    ) -> bool {
        let Place { page, slot: number, seq } = self.head;
        let at = self.address::<F>(page, number);
        if flash.read(at, slot).is_err() || !slot::is_blank(slot) {
            return false;
        }
        slot::write(slot, self.owner, self.index(page, number), seq, sort, payload);
        region::program(flash, at, slot)
    }

    fn advance(&mut self) {
        self.head.seq = self.head.seq.wrapping_add(1);
        self.head.slot = self.head.slot.wrapping_add(1);
        if self.head.slot >= self.geometry.per_page {
            self.head.slot = 0;
            self.next_page();
        }
    }

    fn next_page(&mut self) {
        self.head.page = self.page_after(self.head.page);
        self.entered = false;
    }

    fn page_after(&self, page: u16) -> u16 {
        let next = page.wrapping_add(1);
        if next < self.region.pages { next } else { 0 }
    }

    /// Once round the ring from the head: the oldest slot first.
    pub(super) fn walk(&self) -> Walk {
        Walk { page: self.head.page, slot: self.head.slot, left: self.slots() }
    }

    /// One slot of a walk, whatever it holds. The sequence of the place is not known before the slot was looked at.
    fn step<F: NorFlash>(
        &self,
        flash: &mut F,
        walk: &mut Walk,
        slot: &mut [u8],
    ) -> Option<(Place, Found)> {
        walk.left = walk.left.checked_sub(1)?;
        let Walk { page, slot: number, .. } = *walk;
        walk.slot = number.wrapping_add(1);
        if walk.slot >= self.geometry.per_page {
            walk.slot = 0;
            walk.page = self.page_after(page);
        }
        Some((Place { page, slot: number, seq: 0 }, self.look(flash, page, number, slot)))
    }

    /// The next slot of a walk with a payload that was not released: its sequence and kind; its bytes are in the buffer.
    pub(super) fn next<F: NorFlash>(
        &self,
        flash: &mut F,
        walk: &mut Walk,
        slot: &mut [u8],
    ) -> Option<(u32, u8)> {
        loop {
            let (_, found) = self.step(flash, walk, slot)?;
            if let Some(wanted) = self.is_wanted(found) {
                return Some(wanted);
            }
        }
    }

    /// The newest slot with a payload, likewise, released or not.
    pub(super) fn newest<F: NorFlash>(&self, flash: &mut F, slot: &mut [u8]) -> Option<(u32, u8)> {
        let Place { page, slot: number, seq } = self.newest?;
        match self.look(flash, page, number, slot) {
            Found::Valid { seq: found, sort: Sort::Data { kind } } if found == seq => {
                Some((seq, kind))
            }
            _ => None,
        }
    }

    fn look<F: NorFlash>(&self, flash: &mut F, page: u16, number: u16, slot: &mut [u8]) -> Found {
        // Flash that corrects errors refuses to read what it cannot correct, such as a word that a cut left half done.
        if flash.read(self.address::<F>(page, number), slot).is_err() {
            return Found::Torn;
        }
        slot::judge(slot, self.owner, self.index(page, number))
    }

    /// Forgets what must be kept, up to a slot.
    pub(super) fn release(&mut self, seq: u32) {
        if let Keep::Unreleased { released } = &mut self.keep
            && released.is_none_or(|before| slot::is_after(seq, before))
        {
            *released = Some(seq);
        }
    }

    /// How many payloads fit before the ring is full, if every blank slot is good.
    pub(super) fn free<F: NorFlash>(&self, flash: &mut F, slot: &mut [u8]) -> u32 {
        let per_page = u32::from(self.geometry.per_page);
        let (mut page, mut free, mut left) = (self.head.page, 0_u32, self.region.pages);
        if self.head.slot > 0 || self.entered {
            let rest = per_page.saturating_sub(self.head.slot.into());
            let mut walk = Walk { left: rest, ..self.walk() };
            while let Some((_, found)) = self.step(flash, &mut walk, slot) {
                free = free.saturating_add((found == Found::Blank).into());
            }
            // One for the mark.
            free = free.saturating_sub((!self.clean).into());
            page = self.page_after(page);
            left = left.wrapping_sub(1);
        }
        while left > 0 && !self.is_kept(flash, page, slot) {
            free = free.saturating_add(per_page);
            page = self.page_after(page);
            left = left.wrapping_sub(1);
        }
        free
    }

    pub(super) const fn damage(&self) -> Damage {
        self.damage
    }

    fn slots(&self) -> u32 {
        u32::from(self.region.pages).wrapping_mul(self.geometry.per_page.into())
    }

    fn index(&self, page: u16, number: u16) -> u32 {
        u32::from(page).wrapping_mul(self.geometry.per_page.into()).wrapping_add(number.into())
    }

    fn address<F: NorFlash>(&self, page: u16, number: u16) -> u32 {
        self.region.page::<F>(page).wrapping_add(self.geometry.stride.wrapping_mul(number.into()))
    }
}
