//! What outlives a cut of the power: checkpoints, records and schedules, on NOR flash.
//!
//! A [`Ring`] keeps slots of one size. Of [`Ring::checkpoints`] the newest counts, and the ring is never full; of
//! [`Ring::records`] every slot counts until it is [released](Ring::release). A [`Shelf`] keeps whole schedules in
//! numbered places. All three work over any [`nor_flash::NorFlash`].
//!
//! # What is acknowledged, and when
//!
//! `Ok` from [`Ring::append`], [`Shelf::store`] or [`Shelf::remove`] is given after everything was programmed or erased,
//! read back and compared. From then on it survives a cut at any instant, also during the recovery from another cut.
//! What was begun and not acknowledged may be found later or not, but whole or not at all: what is found is the last
//! acknowledged or something begun after it, never anything older, mixed or made up.
//!
//! # Invariants
//!
//! 1. Slot *k* stands at *k* times the stride. No length and no pointer is read from flash to find a slot.
//! 2. A word is programmed once between two erases. There are no delete marks, and a torn slot is left as it is.
//! 3. A slot is programmed only where its place was read as blank just before.
//! 4. A page is erased whenever the ring comes to its first slot, in the same session (power-on) in which that slot is
//!    programmed: a page that looks blank may be half erased.
//! 5. A payload is programmed only into the slot after one that this run of the engine programmed, or into a page that it erased.
//!    The first slot of a session takes a **mark** instead: a cut in its first word can have left
//!    a slot spoilt that still reads as blank, and only the very next slot can be that one.
//! 6. The CRC covers the whole slot, its place, the device and the ring: a slot that was copied or misplaced is none.
//! 7. Sequence number and place go on together, torn slots included. So a number is never given twice, and a torn
//!    slot that reads well one day is older than everything acknowledged since.
//! 8. A page is erased only when the newest slot is elsewhere and, in a ring of records, all its slots are released.
//! 9. What cannot be read is no slot; it is no error.
//! 10. A schedule comes into force by its header, which is programmed after the block was read back; the older half is
//!     erased after the second header was begun, which says that the first was read back.
//!
//! # A slot
//!
//! ```text
//!  0            4     5     6                                      stride-4   stride
//!  +------------+-----+-----+--------------------------------------+----------+
//!  | sequence   | ver | kind| payload, then zeros                  | CRC-32   |
//!  | u32        | u8  | u8  | stride - 10 bytes                    | u32      |
//!  +------------+-----+-----+--------------------------------------+----------+
//! ```
//!
//! All numbers are little-endian. The version is 1, of a mark 129. The CRC is CRC-32/ISO-HDLC over the device number (u64), the index of the
//! slot in its ring (u32), the ring's number (u8), then bytes 0 to stride - 4.
//!
//! # A place of a shelf
//!
//! ```text
//!  half A, whole pages                                half B
//!  0          64         128                          0
//!  +----------+----------+----------------------+     +----------+---
//!  | header   | header   | block, as            |     | header   |
//!  |          | again    | docs/encoding.md     |     |          |
//!  +----------+----------+----------------------+     +----------+---
//! ```
//!
//! A header is a slot of 64 bytes with index 4 x place + 2 x half + copy; its payload is the length of the block (u16), its id (4 bytes), the
//! length of its name (u8) and its name. The block ends in its own CRC-32C, which is its id.
//!
//! # What a board must provide
//!
//! * Pages that nothing else uses: two or more for a ring (four or more for records, or collecting them
//!   too late stops the pump), two halves a place for a shelf.
//! * Reads that come from the flash, not from a cache of what was written; an erase that returns when it is done.
//! * An error, and not a fault of the processor, for a word that the flash cannot correct. On parts where reading such a word
//!   raises a bus fault or an interrupt, the driver must catch it and return an error.
//! * That a cut during a program or erase spoils only the words or the page that it was at.
//!
//! One loss is left that no order of writing prevents on two pages: a word cut so late that it reads well at one boot and
//! not at the next. The slot it ends was never acknowledged, but counts as the newest meanwhile. It takes a page full of such sessions
//! in a row, each cut in its first slot, to have the last acknowledged one erased in its favour.
//!
//! # Wear
//!
//! [`wear`] gives the sum: 64 slots of 64 B a page of 4 KiB at one a minute are 22.5 erases a day; on two pages of 10,000
//! erases 2.4 years, on eight 9.7. Each boot that writes takes one slot more, for its mark.
//!
//! # Example
//!
//! ```
//! use draught::journal::{Owner, Region, Ring};
//! # use draught::journal::nor_flash::{self, ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
//! /// Two pages of 256 B, programmed in words of 4 B, in RAM.
//! struct Chip([u8; 512]);
//! # impl ErrorType for Chip { type Error = NorFlashErrorKind; }
//! # impl ReadNorFlash for Chip {
//! #     const READ_SIZE: usize = 1;
//! #     fn read(&mut self, at: u32, to: &mut [u8]) -> Result<(), NorFlashErrorKind> {
//! #         nor_flash::check_read(self, at, to.len())?;
//! #         to.copy_from_slice(&self.0[at as usize..][..to.len()]);
//! #         Ok(())
//! #     }
//! #     fn capacity(&self) -> usize { self.0.len() }
//! # }
//! # impl NorFlash for Chip {
//! #     const WRITE_SIZE: usize = 4;
//! #     const ERASE_SIZE: usize = 256;
//! #     fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
//! #         nor_flash::check_erase(self, from, to)?;
//! #         self.0[from as usize..to as usize].fill(0xff);
//! #         Ok(())
//! #     }
//! #     fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
//! #         nor_flash::check_write(self, at, bytes.len())?;
//! #         self.0[at as usize..].iter_mut().zip(bytes).for_each(|(cell, byte)| *cell &= byte);
//! #         Ok(())
//! #     }
//! # }
//!
//! let mut chip = Chip([0; 512]);
//! let region = Region::new(&chip, 0, 2)?;
//! let owner = Owner { device: 0x0123_4567_89ab_cdef, ring: 1 };
//! let mut ring = Ring::<64>::checkpoints(&mut chip, region, owner);
//! for litres in 1..=20_u32 {
//!     ring.append(&mut chip, 0, &litres.to_le_bytes())?;
//! }
//!
//! // Power goes, and comes back: nothing but the flash is left.
//! let ring = Ring::<64>::checkpoints(&mut chip, region, owner);
//! let newest = ring.newest(&mut chip).unwrap();
//! assert_eq!(newest.payload_of::<4>(), Some(&20_u32.to_le_bytes()));
//!
//! // The same bytes in another pump are none of its.
//! let other = Owner { device: 2, ..owner };
//! assert_eq!(Ring::<64>::checkpoints(&mut chip, region, other).newest(&mut chip), None);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod region;
mod ring;
mod shelf;
mod slot;
mod tape;
mod wear;

use core::fmt;

pub use embedded_storage::nor_flash;

pub use self::region::{Region, RegionRefused};
pub use self::ring::{Cursor, Entry, Ring, Seq};
pub use self::shelf::{Shelf, Shelved};
pub use self::slot::Owner;
pub use self::wear::{Use, Wear, wear};
use crate::wire::Refused;

/// What a ring found at opening that should not be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Damage {
    /// Places that hold something that is no slot: torn by a cut, rotten, not readable, or of another pump.
    pub torn: u16,
}

/// Why a slot was not written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum JournalError {
    /// Every page has slots that were not released.
    Full,
    /// No slot of the ring took it and read back.
    Worn,
}

impl JournalError {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Full => "journal-full",
            Self::Worn => "journal-worn",
        }
    }
}

impl fmt::Display for JournalError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Full => "the flash is full of records; collect them",
            Self::Worn => {
                "no slot of the flash keeps what is written to it; it is worn out, or does not answer: have it looked at"
            }
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for JournalError {}

/// Why a schedule was not stored or not loaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ShelfError {
    /// The shelf has fewer places.
    NoSuchPlace {
        /// How many it has; the first is 0.
        places: u16,
    },
    /// Nothing is in this place.
    Empty,
    /// A schedule was in this place and is not whole any more.
    Damaged,
    /// The block is longer than a place.
    TooLong {
        /// Its bytes.
        found: usize,
        /// The bytes that fit.
        limit: usize,
    },
    /// The buffer is shorter than the block.
    BufferTooSmall {
        /// The bytes of the block.
        needed: usize,
    },
    /// The block is not one that this pump can hold.
    Refused(Refused),
    /// The flash did not keep what was written, or was not erased.
    Worn,
}

impl ShelfError {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoSuchPlace { .. } => "no-such-place",
            Self::Empty => "place-empty",
            Self::Damaged => "place-damaged",
            Self::TooLong { .. } => "block-too-long",
            Self::BufferTooSmall { .. } => "buffer-too-small",
            Self::Refused(refused) => refused.code.as_str(),
            Self::Worn => "shelf-worn",
        }
    }
}

impl fmt::Display for ShelfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchPlace { places } => {
                write!(f, "there are {places} places for schedules, numbered from 0")?;
            }
            Self::Empty => f.write_str("no schedule is in this place; send one")?,
            Self::Damaged => {
                f.write_str("the schedule in this place is not whole; send it again")?
            }
            Self::TooLong { found, limit } => {
                write!(
                    f,
                    "the block has {found} bytes, a place holds {limit}; shorten the schedule"
                )?;
            }
            Self::BufferTooSmall { needed } => {
                write!(f, "the schedule needs a buffer of {needed} bytes")?;
            }
            // It ends in its code by itself.
            Self::Refused(refused) => return refused.fmt(f),
            Self::Worn => f.write_str(
                "the flash of this place does not keep what is written to it; use another place",
            )?,
        }
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for ShelfError {}
