//! CRCs of 32 bits, half a byte at a time: a table of 64 bytes instead of 1,024.
//!
//! Both are reflected, begin with 0xFFFFFFFF and are inverted by it at the end, as the catalogue of parametrised
//! CRC algorithms (reveng.sourceforge.io) lists them. Only the polynomial differs:
//!
//! * a block of a schedule ends in its CRC-32C: CRC-32/ISCSI of the catalogue, also RFC 3720 appendix B.4,
//!   polynomial 0x1EDC6F41, check value for "123456789" 0xE3069283;
//! * the journal uses CRC-32/ISO-HDLC, polynomial 0x04C11DB7, check value 0xCBF43926. It must be another one, since
//!   a CRC-32C over anything that ends in its own CRC-32C comes out the same whatever it is.

/// A CRC over the bytes seen so far; the polynomial has its bits in reverse order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Crc32<const REFLECTED: u32>(u32);

/// 0x1EDC6F41 with its bits in reverse order.
pub(crate) type Crc32c = Crc32<0x82F6_3B78>;

/// 0x04C11DB7 with its bits in reverse order.
pub(crate) type Crc32IsoHdlc = Crc32<0xEDB8_8320>;

const fn nibbles(reflected: u32) -> [u32; 16] {
    let mut table = [0; 16];
    let mut i = 0;
    while i < 16 {
        table[i] = half_byte(reflected, i as u32);
        i += 1;
    }
    table
}

/// Four bits on, bit by bit.
const fn half_byte(reflected: u32, mut crc: u32) -> u32 {
    let mut bit = 0;
    while bit < 4 {
        crc = if crc & 1 == 1 { (crc >> 1) ^ reflected } else { crc >> 1 };
        bit += 1;
    }
    crc
}

/// Where a CRC stands after its own four bytes (the residue of the catalogue): they invert all its bits, whatever
/// these are, so it goes on from all ones.
const fn after_itself(reflected: u32) -> u32 {
    let (mut crc, mut half_bytes) = (u32::MAX, 0);
    while half_bytes < 8 {
        crc = half_byte(reflected, crc);
        half_bytes += 1;
    }
    crc
}

impl<const REFLECTED: u32> Crc32<REFLECTED> {
    const NIBBLES: [u32; 16] = nibbles(REFLECTED);
    const AFTER_ITSELF: u32 = after_itself(REFLECTED);

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
        self.0 = Self::NIBBLES.get(place).copied().unwrap_or(0) ^ (self.0 >> 4);
    }

    /// The CRC, as it stands at the end of a block: little-endian.
    pub(crate) const fn bytes(self) -> [u8; 4] {
        (!self.0).to_le_bytes()
    }

    /// Whether the last four bytes were the CRC of those before them: a CRC that goes on over itself
    /// always ends at the same number.
    pub(crate) const fn is_sealed(self) -> bool {
        self.0 == Self::AFTER_ITSELF
    }

    /// The CRC of a whole slice.
    pub(crate) fn of(bytes: &[u8]) -> Self {
        let mut crc = Self::new();
        crc.extend(bytes);
        crc
    }

    /// Goes on by all bytes of a slice.
    pub(crate) fn extend(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|&b| self.update(b));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_value_of_the_catalogue() {
        assert_eq!(u32::from_le_bytes(Crc32c::of(b"123456789").bytes()), 0xE306_9283);
        assert_eq!(Crc32c::of(b"").bytes(), [0; 4]);
        assert_eq!(u32::from_le_bytes(Crc32IsoHdlc::of(b"123456789").bytes()), 0xCBF4_3926);
        // Residues of the catalogue.
        assert_eq!(Crc32c::AFTER_ITSELF, 0xB798_B438);
        assert_eq!(Crc32IsoHdlc::AFTER_ITSELF, 0xDEBB_20E3);
    }

    #[test]
    fn the_test_patterns_of_rfc_3720() {
        // RFC 3720 appendix B.4, "CRC Examples", in the order in which the bytes are sent.
        let ascending: [u8; 32] = core::array::from_fn(|i| i as u8);
        let descending: [u8; 32] = core::array::from_fn(|i| 31 - i as u8);
        assert_eq!(Crc32c::of(&[0; 32]).bytes(), [0xaa, 0x36, 0x91, 0x8a]);
        assert_eq!(Crc32c::of(&[0xff; 32]).bytes(), [0x43, 0xab, 0xa8, 0x62]);
        assert_eq!(Crc32c::of(&ascending).bytes(), [0x4e, 0x79, 0xdd, 0x46]);
        assert_eq!(Crc32c::of(&descending).bytes(), [0x5c, 0xdb, 0x3f, 0x11]);
    }
}
