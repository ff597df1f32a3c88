//! Places for schedules, each with two halves: a new one is written into the half that is not in force.

use embedded_storage::nor_flash::NorFlash;

use super::ShelfError;
use super::region::{self, CHUNK, Region, RegionRefused, check_words, page_size};
use super::slot::{self, Found, Owner, Sort};
use crate::arithmetic::divide;
use crate::table::{Name, StepTable};
use crate::wire::crc::Crc32c;
use crate::wire::{self, ScheduleId};

/// The bytes of a header.
const HEADER: usize = 64;

/// Where the block begins in its half: after the header and its copy.
const BLOCK: u32 = 2 * HEADER as u32;

/// What the header of a schedule says.
#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shelved {
    /// The schedule.
    pub id: ScheduleId,
    /// The bytes of its block.
    pub len: u16,
    /// Its name; may be empty.
    pub name: Name,
}

/// Places for schedules, numbered from 0: see [the module](super).
///
/// It holds nothing in RAM but where it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shelf {
    region: Region,
    owner: Owner,
    half_pages: u16,
    places: u16,
}

/// A half of a place that is in order.
struct Good {
    seq: u32,
    what: Shelved,
    /// Its second header was begun, so its first stood: what it replaced may be erased.
    settled: bool,
}

enum Half {
    /// Nothing, or what a cut left.
    None,
    /// A header without the block that it speaks of.
    Damaged,
    Good(Good),
}

impl Shelf {
    /// As many places as there is room for when a half takes so many pages.
    ///
    /// # Errors
    /// [`RegionRefused::TooFewPages`] when there is not room for one.
    pub fn new(region: Region, owner: Owner, half_pages: u16) -> Result<Self, RegionRefused> {
        let place = u64::from(half_pages).wrapping_mul(2);
        match divide(region.pages.into(), place).and_then(|n| u16::try_from(n).ok()) {
            None | Some(0) => Err(RegionRefused::TooFewPages),
            Some(places) => Ok(Self { region, owner, half_pages, places }),
        }
    }

    /// How many places there are.
    #[must_use]
    pub const fn places(&self) -> u16 {
        self.places
    }

    /// The longest block that fits a place.
    #[must_use]
    pub fn room<F: NorFlash>(&self) -> usize {
        const {
            check_words::<F>();
            assert!(
                page_size::<F>().is_multiple_of(CHUNK as u32),
                "a page is a multiple of 32 bytes"
            );
        }
        let half = page_size::<F>().saturating_mul(self.half_pages.into());
        (half.saturating_sub(BLOCK) as usize).min(u16::MAX.into())
    }

    /// Puts a schedule into a place: decoded, written, read back, and only then in force. What was there until then
    /// stays in force until that moment and is erased after it.
    ///
    /// `scratch` is overwritten; it shows that the pump can hold the schedule.
    ///
    /// # Errors
    /// [`ShelfError::NoSuchPlace`], [`ShelfError::Refused`] and [`ShelfError::TooLong`]: nothing was written.
    /// [`ShelfError::Worn`]: the flash did not take it; the place holds what it held, or the new schedule, whole.
    pub fn store<F: NorFlash, const N: usize>(
        &self,
        flash: &mut F,
        place: u16,
        block: &[u8],
        scratch: &mut StepTable<N>,
    ) -> Result<ScheduleId, ShelfError> {
        self.check(place)?;
        wire::decode_into(block, scratch).map_err(ShelfError::Refused)?;
        let limit = self.room::<F>();
        let (Some(id), true, Ok(len)) =
            (block.last_chunk::<4>(), block.len() <= limit, u16::try_from(block.len()))
        else {
            return Err(ShelfError::TooLong { found: block.len(), limit });
        };
        let id = ScheduleId(*id);
        let what = Shelved { id, len, name: scratch.settings().name.clone() };
        self.put(flash, place, block, &what).then_some(id).ok_or(ShelfError::Worn)
    }

    fn put<F: NorFlash>(&self, flash: &mut F, place: u16, block: &[u8], what: &Shelved) -> bool {
        let a = self.look(flash, place, 0);
        let b = self.look(flash, place, 1);
        let (half, seq) = match (a, b) {
            (Half::Good(a), Half::Good(b)) => {
                // Two are in order when power was cut before the older was erased. The newer may be unsound if it
                // never settled; the older is sound unless its erase began, for which the newer had to settle.
                let (newer, newest) = if slot::is_after(a.seq, b.seq) { (0, a) } else { (1, b) };
                (if newest.settled { 1 - newer } else { newer }, newest.seq)
            }
            (Half::Good(a), _) => (1, a.seq),
            (_, Half::Good(b)) => (0, b.seq),
            _ => (0, 0),
        };
        let at = self.at::<F>(place, half);
        region::erase(flash, at, self.half_pages)
            && write_block(flash, at.wrapping_add(BLOCK), block)
            && self.write_header(flash, place, half, 0, seq.wrapping_add(1), what)
            && self.write_header(flash, place, half, 1, seq.wrapping_add(1), what)
            && region::erase(flash, self.at::<F>(place, 1 - half), self.half_pages)
    }

    /// Reads the schedule of a place into a table, through a buffer for its block.
    ///
    /// # Errors
    /// [`ShelfError`]; the table is then as [`wire::decode_into`] leaves it, or as it was.
    pub fn load<F: NorFlash, const N: usize>(
        &self,
        flash: &mut F,
        place: u16,
        buffer: &mut [u8],
        table: &mut StepTable<N>,
    ) -> Result<ScheduleId, ShelfError> {
        let (half, what) = self.newest(flash, place)?;
        let needed = usize::from(what.len);
        let block = buffer.get_mut(..needed).ok_or(ShelfError::BufferTooSmall { needed })?;
        let at = self.at::<F>(place, half).wrapping_add(BLOCK);
        let read = region::each_chunk(flash, at, needed, |part, from| {
            let rest = block.get_mut(from..).unwrap_or_default();
            rest.iter_mut().zip(part).for_each(|(to, byte)| *to = *byte);
        });
        if !read {
            return Err(ShelfError::Damaged);
        }
        wire::decode_into(block, table).map_err(ShelfError::Refused)?;
        Ok(what.id)
    }

    /// What a place holds.
    ///
    /// # Errors
    /// [`ShelfError::NoSuchPlace`], [`ShelfError::Empty`], [`ShelfError::Damaged`].
    pub fn show<F: NorFlash>(&self, flash: &mut F, place: u16) -> Result<Shelved, ShelfError> {
        self.newest(flash, place).map(|(_, what)| what)
    }

    /// Empties a place. `Ok` means that nothing of it comes back; after a cut before that it may hold what it held.
    ///
    /// # Errors
    /// [`ShelfError::NoSuchPlace`]; [`ShelfError::Worn`] when the flash could not be erased.
    pub fn remove<F: NorFlash>(&self, flash: &mut F, place: u16) -> Result<(), ShelfError> {
        self.check(place)?;
        // What is in force goes last, so that nothing older comes to light in between.
        let last = self.newest(flash, place).map_or(1, |(half, _)| half);
        let erased = [1 - last, last]
            .into_iter()
            .all(|half| region::erase(flash, self.at::<F>(place, half), self.half_pages));
        erased.then_some(()).ok_or(ShelfError::Worn)
    }

    const fn check(&self, place: u16) -> Result<(), ShelfError> {
        if place < self.places {
            Ok(())
        } else {
            Err(ShelfError::NoSuchPlace { places: self.places })
        }
    }

    /// The half in force.
    fn newest<F: NorFlash>(&self, flash: &mut F, place: u16) -> Result<(u16, Shelved), ShelfError> {
        self.check(place)?;
        match (self.look(flash, place, 0), self.look(flash, place, 1)) {
            (Half::Good(a), Half::Good(b)) if slot::is_after(b.seq, a.seq) => Ok((1, b.what)),
            (Half::Good(a), _) => Ok((0, a.what)),
            (_, Half::Good(b)) => Ok((1, b.what)),
            (Half::None, Half::None) => Err(ShelfError::Empty),
            _ => Err(ShelfError::Damaged),
        }
    }

    fn look<F: NorFlash>(&self, flash: &mut F, place: u16, half: u16) -> Half {
        let first = self.header(flash, place, half, 0);
        let second = self.header(flash, place, half, 1);
        let Some((seq, what)) = first.or(second) else { return Half::None };
        let at = self.at::<F>(place, half);
        if usize::from(what.len) > self.room::<F>()
            || !is_sealed(flash, at.wrapping_add(BLOCK), &what)
        {
            return Half::Damaged;
        }
        let copy = at.wrapping_add(HEADER as u32);
        let settled = !region::is_blank(flash, copy, HEADER);
        Half::Good(Good { seq, what, settled })
    }

    fn header<F: NorFlash>(
        &self,
        flash: &mut F,
        place: u16,
        half: u16,
        copy: u16,
    ) -> Option<(u32, Shelved)> {
        let mut bytes = [0; HEADER];
        flash.read(self.header_at::<F>(place, half, copy), &mut bytes).ok()?;
        let index = header_index(place, half, copy);
        let Found::Valid { seq, sort: Sort::Data { .. } } = slot::judge(&bytes, self.owner, index)
        else {
            return None;
        };
        let payload = bytes.get(slot::HEAD..)?;
        let (len, payload) = payload.split_first_chunk::<2>()?;
        let (id, payload) = payload.split_first_chunk::<4>()?;
        let (name_len, payload) = payload.split_first()?;
        let text = payload.get(..usize::from(*name_len)).filter(|t| t.len() <= Name::MAX_BYTES)?;
        let mut name = Name::EMPTY;
        name.set_checked(text);
        Some((seq, Shelved { id: ScheduleId(*id), len: u16::from_le_bytes(*len), name }))
    }

    fn write_header<F: NorFlash>(
        &self,
        flash: &mut F,
        place: u16,
        half: u16,
        copy: u16,
        seq: u32,
        what: &Shelved,
    ) -> bool {
        let name = what.name.as_bytes();
        let mut payload = [0; 2 + 4 + 1 + Name::MAX_BYTES];
        let said = what.len.to_le_bytes().into_iter().chain(what.id.0);
        let said = said.chain([name.len() as u8]).chain(name.iter().copied());
        payload.iter_mut().zip(said).for_each(|(place, byte)| *place = byte);
        let mut bytes = [0; HEADER];
        let index = header_index(place, half, copy);
        slot::write(&mut bytes, self.owner, index, seq, Sort::Data { kind: 0 }, &payload);
        region::program(flash, self.header_at::<F>(place, half, copy), &bytes)
    }

    fn at<F: NorFlash>(&self, place: u16, half: u16) -> u32 {
        let half = place.wrapping_mul(2).wrapping_add(half);
        self.region.page::<F>(half.wrapping_mul(self.half_pages))
    }

    fn header_at<F: NorFlash>(&self, place: u16, half: u16, copy: u16) -> u32 {
        self.at::<F>(place, half).wrapping_add(if copy == 0 { 0 } else { HEADER as u32 })
    }
}

/// The slot index that the CRC of a header covers.
fn header_index(place: u16, half: u16, copy: u16) -> u32 {
    u32::from(place)
        .wrapping_mul(4)
        .wrapping_add(u32::from(half).wrapping_mul(2))
        .wrapping_add(copy.into())
}

/// Programs a block in pieces, the last filled up with zeros.
fn write_block<F: NorFlash>(flash: &mut F, at: u32, block: &[u8]) -> bool {
    let mut to = at;
    block.chunks(CHUNK).all(|part| {
        let mut bytes = [0; CHUNK];
        bytes.iter_mut().zip(part).for_each(|(place, byte)| *place = *byte);
        let stands = region::program(flash, to, &bytes);
        to = to.wrapping_add(CHUNK as u32);
        stands
    })
}

/// Whether a block stands there that ends in its own CRC, and in that of the header.
fn is_sealed<F: NorFlash>(flash: &mut F, at: u32, what: &Shelved) -> bool {
    let (mut crc, mut last) = (Crc32c::new(), 0_u32);
    let read = region::each_chunk(flash, at, what.len.into(), |part, _| {
        crc.extend(part);
        part.iter().for_each(|&b| last = last >> 8 | u32::from(b) << 24);
    });
    read && crc.is_sealed() && last.to_le_bytes() == what.id.0
}
