//! A ring of slots: checkpoints, or records.

use embedded_storage::nor_flash::NorFlash;

use super::region::{CHUNK, Region, check_words, page_size};
use super::slot::{HEAD, OVERHEAD, Owner};
use super::tape::{Geometry, Keep, Tape, Walk};
use super::{Damage, JournalError};

/// The number of a slot in its ring: each is higher than the one before, but not always by one.
///
/// It wraps after 2³² slots; "after" means less than 2³¹ further on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Seq(pub u32);

impl Seq {
    /// Whether this slot was written after the other.
    #[must_use]
    pub const fn is_after(self, other: Self) -> bool {
        super::slot::is_after(self.0, other.0)
    }
}

/// A slot as it was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry<const STRIDE: usize> {
    /// Its number.
    pub seq: Seq,
    /// What its payload is, as the writer said.
    pub kind: u8,
    bytes: [u8; STRIDE],
}

impl<const STRIDE: usize> Entry<STRIDE> {
    /// The payload, with the zeros after it where it was shorter than [`Ring::PAYLOAD`].
    #[must_use]
    pub fn payload(&self) -> &[u8] {
        let (body, _) = self.bytes.split_last_chunk::<4>().unwrap_or((&[], &[0; 4]));
        body.get(HEAD..).unwrap_or_default()
    }

    /// The payload as it was given to [`Ring::append`]. `None` for a length that no payload of this ring has.
    #[must_use]
    pub fn payload_of<const P: usize>(&self) -> Option<&[u8; P]> {
        self.payload().first_chunk()
    }
}

/// Where a walk through a ring stands; it is held apart, so that the ring can be used in between.
///
/// A slot that is appended meanwhile can make the walk miss the oldest ones, which then are no more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cursor(Walk);

/// Slots of one size on pages of flash: see [the module](super).
///
/// `STRIDE` is a multiple of 32; so many bytes less [10](Ring::PAYLOAD) hold the payload. A stride that does not
/// fit the flash does not compile:
///
/// ```compile_fail
/// # use draught::journal::{Owner, Region, Ring, nor_flash::*};
/// # use core::convert::Infallible;
/// # struct Chip;
/// # impl ErrorType for Chip { type Error = Infallible; }
/// # impl ReadNorFlash for Chip {
/// #     const READ_SIZE: usize = 1;
/// #     fn read(&mut self, _: u32, _: &mut [u8]) -> Result<(), Infallible> { Ok(()) }
/// #     fn capacity(&self) -> usize { 8192 }
/// # }
/// # impl NorFlash for Chip {
/// #     const WRITE_SIZE: usize = 4;
/// #     const ERASE_SIZE: usize = 4096;
/// #     fn erase(&mut self, _: u32, _: u32) -> Result<(), Infallible> { Ok(()) }
/// #     fn write(&mut self, _: u32, _: &[u8]) -> Result<(), Infallible> { Ok(()) }
/// # }
/// # let mut chip = Chip;
/// # let region = Region::new(&chip, 0, 2).unwrap();
/// # let owner = Owner { device: 1, ring: 1 };
/// let ring = Ring::<40>::checkpoints(&mut chip, region, owner); // 40 is no multiple of 32
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ring<const STRIDE: usize>(Tape);

impl<const STRIDE: usize> Ring<STRIDE> {
    /// The longest payload.
    pub const PAYLOAD: usize = STRIDE - OVERHEAD;

    const fn geometry<F: NorFlash>() -> Geometry {
        check_words::<F>();
        assert!(STRIDE > 0 && STRIDE.is_multiple_of(CHUNK), "a stride is a multiple of 32 bytes");
        let per_page = page_size::<F>() as usize / STRIDE;
        assert!(per_page >= 2, "a page holds two slots or more");
        assert!(per_page <= u16::MAX as usize, "a page holds 65,535 slots or fewer");
        Geometry { stride: STRIDE as u32, per_page: per_page as u16 }
    }

    /// How many slots a page of this flash holds. What is left of the page stays unused.
    #[must_use]
    pub const fn slots_per_page<F: NorFlash>() -> u16 {
        const { Self::geometry::<F>() }.per_page
    }

    /// Opens a ring of which the newest slot counts: checkpoints. It is never full.
    ///
    /// Reads every slot once; programs and erases nothing.
    pub fn checkpoints<F: NorFlash>(flash: &mut F, region: Region, owner: Owner) -> Self {
        Self::open(flash, region, owner, Keep::Newest)
    }

    /// Opens a ring of which every slot counts until it is released: records.
    ///
    /// `released` is what [`Ring::release`] was last told before the power went. The ring does not keep it: the caller
    /// does, in its checkpoint. With `None` every record still there is offered once more, and none is lost.
    pub fn records<F: NorFlash>(
        flash: &mut F,
        region: Region,
        owner: Owner,
        released: Option<Seq>,
    ) -> Self {
        Self::open(flash, region, owner, Keep::Unreleased { released: released.map(|s| s.0) })
    }

    fn open<F: NorFlash>(flash: &mut F, region: Region, owner: Owner, keep: Keep) -> Self {
        let geometry = const { Self::geometry::<F>() };
        Self(Tape::open(flash, region, owner, geometry, keep, &mut [0; STRIDE]))
    }

    /// Writes a slot and reads it back. `Ok` means: it survives a cut at the very next instant.
    ///
    /// After an error or a cut it may or may not be there later. The first call after opening may take two slots, and a
    /// call that enters a page takes as long as the erase of one.
    ///
    /// # Errors
    /// [`JournalError::Full`] when nothing more may be erased (records only; nothing was written);
    /// [`JournalError::Worn`] when no slot of the ring takes it.
    pub fn append<F: NorFlash, const P: usize>(
        &mut self,
        flash: &mut F,
        kind: u8,
        payload: &[u8; P],
    ) -> Result<Seq, JournalError> {
        const { assert!(P <= Self::PAYLOAD, "the payload does not fit the stride") };
        self.0.append(flash, kind, payload, &mut [0; STRIDE]).map(Seq)
    }

    /// The newest slot.
    ///
    /// After a boot that can be one whose writing was never acknowledged, since it was cut at its last word: act on
    /// it, but append before you rely on it.
    pub fn newest<F: NorFlash>(&self, flash: &mut F) -> Option<Entry<STRIDE>> {
        let mut bytes = [0; STRIDE];
        if let Some((seq, kind)) = self.0.newest(flash, &mut bytes) {
            return Some(Entry { seq: Seq(seq), kind, bytes });
        }
        // It does not read any more: the newest that does.
        let (mut walk, mut newest) = (self.oldest(), None);
        while let Some(entry) = self.next(flash, &mut walk) {
            newest = Some(entry);
        }
        newest
    }

    /// A walk that begins at the oldest slot.
    #[must_use]
    pub fn oldest(&self) -> Cursor {
        Cursor(self.0.walk())
    }

    /// The next slot of a walk that was not released, oldest first; `None` at the end.
    pub fn next<F: NorFlash>(&self, flash: &mut F, cursor: &mut Cursor) -> Option<Entry<STRIDE>> {
        let mut bytes = [0; STRIDE];
        let (seq, kind) = self.0.next(flash, &mut cursor.0, &mut bytes)?;
        Some(Entry { seq: Seq(seq), kind, bytes })
    }

    /// Lets go of every slot up to this one: it was collected. Its page is erased when the room is needed.
    ///
    /// Nothing is written: see [`Ring::records`]. Of a ring of checkpoints nothing needs to be released.
    pub fn release(&mut self, up_to: Seq) {
        self.0.release(up_to.0);
    }

    /// How many slots can be appended for certain before the ring is full, as long as no slot turns out bad and power stays.
    ///
    /// Each cut costs one more, and one that was being written.
    pub fn free<F: NorFlash>(&self, flash: &mut F) -> u32 {
        self.0.free(flash, &mut [0; STRIDE])
    }

    /// What opening found that should not be there.
    #[must_use]
    pub const fn damage(&self) -> Damage {
        self.0.damage()
    }
}
