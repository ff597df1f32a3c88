//! CRC-32C, half a byte at a time: a table of 64 bytes instead of 1,024.
//!
//! CRC-32/ISCSI of the catalogue of parametrised CRC algorithms (reveng.sourceforge.io), also RFC 3720
//! appendix B.4: polynomial 0x1EDC6F41, reflected, begins with and is inverted by 0xFFFFFFFF. Its
//! check value for "123456789" is 0xE3069283.

/// A CRC-32C over the bytes seen so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Crc32c(u32);

/// 0x1EDC6F41 with its bits in reverse order.
const POLYNOMIAL_REFLECTED: u32 = 0x82F6_3B78;

/// Where a CRC stands after its own four bytes; the residue of the catalogue.
const AFTER_ITSELF: u32 = 0xB798_B438;

const NIBBLES: [u32; 16] = nibbles();

const fn nibbles() -> [u32; 16] {
    let mut table = [0; 16];
    let mut i = 0;
    while i < 16 {
        let mut crc = i as u32;
        let mut bit = 0;
        while bit < 4 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ POLYNOMIAL_REFLECTED } else { crc >> 1 };
            bit += 1;
        }
        table[i] = crc;
        i += 1;
    }
    table
}

impl Crc32c {
    /// Over no byte yet.
    pub(crate) const fn new() -> Self {
        Self(u32::MAX)
    }

    /// Goes on by one byte.
    #[inline(never)]
    pub(crate) fn update(&mut self, byte: u8) {
        self.0 ^= u32::from(byte);
        self.half_byte();
        self.half_byte();
    }

    fn half_byte(&mut self) {
        let place = (self.0 & 15) as usize;
        // The place is below 16, so `get` always finds it; indexing would say the same with a panic path.
        self.0 = NIBBLES.get(place).copied().unwrap_or(0) ^ (self.0 >> 4);
    }

    /// The CRC, as it stands at the end of a block: little-endian.
    pub(crate) const fn bytes(self) -> [u8; 4] {
        (!self.0).to_le_bytes()
    }

    /// Whether the last four bytes were the CRC of those before them: a CRC that goes on over itself
    /// always ends at the same number.
    pub(crate) const fn is_sealed(self) -> bool {
        self.0 == AFTER_ITSELF
    }

    /// The CRC of a whole slice.
    pub(crate) fn of(bytes: &[u8]) -> Self {
        let mut crc = Self::new();
        bytes.iter().for_each(|&b| crc.update(b));
        crc
    }
}
