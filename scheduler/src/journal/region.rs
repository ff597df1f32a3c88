//! A stretch of flash, and how bytes get on and off it.

use core::fmt;

use embedded_storage::nor_flash::NorFlash;

use super::slot;

/// How much is read back at a time; the unit of a slot's stride.
pub(super) const CHUNK: usize = 32;

/// Whole pages of flash that belong to one ring or shelf alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Region {
    pub(super) from: u32,
    pub(super) pages: u16,
}

/// Why a stretch of flash was refused. A board finds this once, when it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RegionRefused {
    /// It does not begin where a page begins.
    NotAligned,
    /// A single page: while it is erased nothing would be left.
    TooFewPages,
    /// It ends behind the end of the flash.
    OutOfBounds,
    /// Two that belong to different things share a page.
    Overlap,
}

impl RegionRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotAligned => "region-not-aligned",
            Self::TooFewPages => "region-too-few-pages",
            Self::OutOfBounds => "region-out-of-bounds",
            Self::Overlap => "region-overlap",
        }
    }
}

impl fmt::Display for RegionRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotAligned => {
                "the flash of a ring begins inside a page; begin it at a multiple of the page size"
            }
            Self::TooFewPages => "a ring needs two pages of flash or more, so that one is whole while another is erased, and records need four; give it more",
            Self::OutOfBounds => "the flash of a ring ends behind the end of the chip; move it or give it fewer pages",
            Self::Overlap => "two regions of flash share a page; move one of them",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for RegionRefused {}

impl Region {
    /// So many pages from an offset on.
    ///
    /// # Errors
    /// [`RegionRefused`]: fewer than two pages, not at the beginning of one, or beyond the chip.
    pub fn new<F: NorFlash>(flash: &F, from: u32, pages: u16) -> Result<Self, RegionRefused> {
        let page = const { page_size::<F>() };
        if pages < 2 {
            return Err(RegionRefused::TooFewPages);
        }
        if !from.is_multiple_of(page) {
            return Err(RegionRefused::NotAligned);
        }
        let end = u64::from(from).saturating_add(u64::from(page).saturating_mul(pages.into()));
        let capacity = u64::try_from(flash.capacity()).unwrap_or(u64::MAX);
        if end > capacity.min(u32::MAX.into()) {
            return Err(RegionRefused::OutOfBounds);
        }
        Ok(Self { from, pages })
    }

    /// How many pages it has.
    pub(crate) const fn pages(self) -> u16 {
        self.pages
    }

    /// Whether it shares a page with another.
    pub(crate) fn overlaps<F: NorFlash>(self, other: Self) -> bool {
        self.from < other.page::<F>(other.pages) && other.from < self.page::<F>(self.pages)
    }

    /// Where a page begins. No sum here can wrap: [`Region::new`] looked at the end.
    pub(super) fn page<F: NorFlash>(self, page: u16) -> u32 {
        self.from.wrapping_add(page_size::<F>().wrapping_mul(page.into()))
    }
}

/// The page size; that it fits is shown when the firmware is compiled.
pub(super) const fn page_size<F: NorFlash>() -> u32 {
    assert!(F::ERASE_SIZE > 0 && F::ERASE_SIZE <= 1 << 30, "a page of 1 B to 1 GiB");
    F::ERASE_SIZE as u32
}

/// What of the flash's word sizes the journal relies on; fails when the firmware is compiled.
pub(super) const fn check_words<F: NorFlash>() {
    assert!(
        F::WRITE_SIZE > 0 && CHUNK.is_multiple_of(F::WRITE_SIZE),
        "the journal takes flash that is programmed in words of 1, 2, 4, 8, 16 or 32 bytes"
    );
    assert!(
        F::READ_SIZE > 0 && CHUNK.is_multiple_of(F::READ_SIZE),
        "the journal takes flash that is read in words of 1, 2, 4, 8, 16 or 32 bytes"
    );
}

/// Erases pages. `false` when the chip says that it could not.
pub(super) fn erase<F: NorFlash>(flash: &mut F, from: u32, pages: u16) -> bool {
    let to = from.wrapping_add(page_size::<F>().wrapping_mul(pages.into()));
    flash.erase(from, to).is_ok()
}

/// Programs bytes and reads them back. `true` only when they stand there.
pub(super) fn program<F: NorFlash>(flash: &mut F, at: u32, bytes: &[u8]) -> bool {
    flash.write(at, bytes).is_ok() && {
        let mut stands = true;
        each_chunk(flash, at, bytes.len(), |part, from| {
            stands &= bytes.get(from..).is_some_and(|rest| rest.starts_with(part));
        }) && stands
    }
}

/// Whether all of a stretch is blank; one that cannot be read is not.
pub(super) fn is_blank<F: NorFlash>(flash: &mut F, at: u32, len: usize) -> bool {
    let mut blank = true;
    each_chunk(flash, at, len, |part, _| blank &= slot::is_blank(part)) && blank
}

/// Shows a stretch piece by piece, with how far into it each is. `false` when one could not be read.
pub(super) fn each_chunk<F: NorFlash>(
    flash: &mut F,
    at: u32,
    len: usize,
    mut show: impl FnMut(&[u8], usize),
) -> bool {
    let mut chunk = [0; CHUNK];
    let mut from = 0;
    while from < len {
        if flash.read(at.wrapping_add(from as u32), &mut chunk).is_err() {
            return false;
        }
        let left = len.wrapping_sub(from).min(CHUNK);
        show(chunk.get(..left).unwrap_or_default(), from);
        from = from.wrapping_add(CHUNK);
    }
    true
}
