//! Fixed layouts in flash: numbers one after another, lowest byte first, with nothing between them.
//!
//! A writer that runs out of room writes no more, a reader that runs out of bytes reads zeros and says so; neither can panic.
//! The lengths of all layouts are constants, and a test shows that each fills its own exactly.

use crate::clock::WallMs;

/// Writes numbers.
pub(crate) struct Put<'b> {
    out: &'b mut [u8],
    at: usize,
}

impl<'b> Put<'b> {
    pub(crate) const fn new(out: &'b mut [u8]) -> Self {
        Self { out, at: 0 }
    }

    #[inline(never)]
    pub(crate) fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            if let Some(place) = self.out.get_mut(self.at) {
                *place = byte;
            }
            self.at = self.at.saturating_add(1);
        }
    }

    #[inline(never)]
    pub(crate) fn u8(&mut self, number: u8) {
        self.bytes(&[number]);
    }

    #[inline(never)]
    pub(crate) fn u16(&mut self, number: u16) {
        self.bytes(&number.to_le_bytes());
    }

    #[inline(never)]
    pub(crate) fn u32(&mut self, number: u32) {
        self.bytes(&number.to_le_bytes());
    }

    /// A time in ms: six bytes last for 8,900 years.
    #[inline(never)]
    pub(crate) fn u48(&mut self, number: u64) {
        let [a, b, c, d, e, f, ..] = number.min((1 << 48) - 1).to_le_bytes();
        self.bytes(&[a, b, c, d, e, f]);
    }

    #[inline(never)]
    pub(crate) fn u64(&mut self, number: u64) {
        self.bytes(&number.to_le_bytes());
    }

    pub(crate) fn u128(&mut self, number: u128) {
        self.bytes(&number.to_le_bytes());
    }

    /// An instant that may be unknown.
    #[inline(never)]
    pub(crate) fn wall(&mut self, wall: Option<WallMs>) {
        self.u64(wall.map_or(0, WallMs::as_ms));
    }

    /// How many bytes were written, or would have been.
    #[cfg(test)]
    pub(crate) const fn len(&self) -> usize {
        self.at
    }
}

/// Reads them back.
pub(crate) struct Take<'b> {
    bytes: &'b [u8],
    good: bool,
}

impl<'b> Take<'b> {
    pub(crate) const fn new(bytes: &'b [u8]) -> Self {
        Self { bytes, good: true }
    }

    #[inline(never)]
    pub(crate) fn array<const N: usize>(&mut self) -> [u8; N] {
        match self.bytes.split_first_chunk() {
            Some((chunk, rest)) => {
                self.bytes = rest;
                *chunk
            }
            None => {
                self.good = false;
                [0; N]
            }
        }
    }

    #[inline(never)]
    pub(crate) fn u8(&mut self) -> u8 {
        u8::from_le_bytes(self.array())
    }

    #[inline(never)]
    pub(crate) fn u16(&mut self) -> u16 {
        u16::from_le_bytes(self.array())
    }

    #[inline(never)]
    pub(crate) fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.array())
    }

    #[inline(never)]
    pub(crate) fn u48(&mut self) -> u64 {
        let [a, b, c, d, e, f] = self.array();
        u64::from_le_bytes([a, b, c, d, e, f, 0, 0])
    }

    #[inline(never)]
    pub(crate) fn u64(&mut self) -> u64 {
        u64::from_le_bytes(self.array())
    }

    pub(crate) fn u128(&mut self) -> u128 {
        u128::from_le_bytes(self.array())
    }

    /// An instant that may be unknown. No trusted instant is 0, so 0 is "unknown".
    #[inline(never)]
    pub(crate) fn wall(&mut self) -> Option<WallMs> {
        let ms = self.u64();
        let wall = WallMs::from_ms(ms);
        self.good &= ms == 0 || wall.is_some();
        wall
    }

    /// Whether everything could be read.
    pub(crate) const fn is_good(&self) -> bool {
        self.good
    }
}
