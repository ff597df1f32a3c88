//! What a data sheet says of a sensor's registers, as plain data.

use core::fmt;

/// The most data bytes of one reading, without checksums.
pub const FRAME_MAX: usize = 24;

/// Which byte of a number comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ByteOrder {
    /// The one that counts most.
    Big,
    /// The one that counts least.
    Little,
}

/// A number among the data bytes, and what it means: raw times numerator over denominator, to the nearest, plus the offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Field {
    /// Its first byte, counted from 0 among the data bytes; checksums do not count.
    pub at: u8,
    /// How many bits it has, 1 to 32, from the lowest up; the rest of its bytes is not looked at.
    pub bits: u8,
    /// The order of its bytes.
    pub order: ByteOrder,
    /// Negative numbers in two's complement.
    pub signed: bool,
    /// The scale's numerator; negative where the sensor is plumbed the other way round.
    pub numerator: i32,
    /// The scale's denominator, not 0.
    pub denominator: u32,
    /// Added after scaling.
    pub offset: i32,
}

impl Field {
    /// A number in two's complement that needs no scaling.
    #[must_use]
    pub const fn signed(at: u8, bits: u8, order: ByteOrder) -> Self {
        Self { at, bits, order, signed: true, numerator: 1, denominator: 1, offset: 0 }
    }

    /// A number without sign that needs no scaling.
    #[must_use]
    pub const fn unsigned(at: u8, bits: u8, order: ByteOrder) -> Self {
        Self { signed: false, ..Self::signed(at, bits, order) }
    }

    const fn check(&self, data_len: u8) -> Result<(), LayoutRefused> {
        if self.denominator == 0 || self.numerator == 0 {
            return Err(LayoutRefused::Scale);
        }
        let end = (self.at as u16).saturating_add(self.bits.div_ceil(8) as u16);
        if self.bits < 1 || self.bits > 32 || end > data_len as u16 {
            return Err(LayoutRefused::Field);
        }
        Ok(())
    }
}

/// A checksum of 8 bits behind every so many data bytes. Bits are not reversed, and the address is not part of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Crc8 {
    /// The polynomial without its highest power, the bit of power 7 first: x^8 + x^2 + x + 1 is 0x07.
    pub polynomial: u8,
    /// What it begins with.
    pub initial: u8,
    /// What its bits are inverted by at the end.
    pub final_xor: u8,
    /// Behind how many data bytes it stands.
    pub after: u8,
}

impl Crc8 {
    /// One byte on.
    const fn next(&self, sum: u8, byte: u8) -> u8 {
        let (mut sum, mut bit) = (sum ^ byte, 0);
        while bit < 8 {
            sum = if sum & 0x80 != 0 { sum << 1 ^ self.polynomial } else { sum << 1 };
            bit += 1;
        }
        sum
    }

    /// The checksum of some bytes.
    ///
    /// ```
    /// use draught::adapt::Crc8;
    /// // The check value of CRC-8/SMBUS in the catalogue of parametrised CRC algorithms (reveng.sourceforge.io).
    /// let smbus = Crc8 { polynomial: 0x07, initial: 0, final_xor: 0, after: 9 };
    /// assert_eq!(smbus.of(b"123456789"), 0xf4);
    /// ```
    #[must_use]
    pub fn of(&self, bytes: &[u8]) -> u8 {
        bytes.iter().fold(self.initial, |sum, byte| self.next(sum, *byte)) ^ self.final_xor
    }
}

/// Bits that say whether a reading is to be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// Their byte, counted from 0 among the data bytes.
    pub at: u8,
    /// Which bits of it.
    pub mask: u8,
    /// What these are in a good reading.
    pub good: u8,
}

/// How a sensor is asked and what it answers.
///
/// A sensor that measures on its own is started once by [`start`](Self::start). One that measures when asked, and answers while the
/// master waits, is asked by [`request`](Self::request). A sensor that must be asked and left alone for some ms is set up to
/// measure on its own instead; where it cannot, the board needs a driver of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SensorLayout {
    /// Its 7-bit address, 0x08 to 0x77.
    pub address: u8,
    /// Written before the first reading, and again after one that failed; may be empty.
    pub start: &'static [u8],
    /// Written before each reading, in one transaction with it (a register's number, for example); may be empty.
    pub request: &'static [u8],
    /// Data bytes that are read, without checksums; at most [`FRAME_MAX`].
    pub data_len: u8,
    /// The checksum, if it has one.
    pub checksum: Option<Crc8>,
    /// Bits that must be right in every reading, if it has such.
    pub status: Option<Status>,
    /// The pressure, in mPa.
    pub pressure: Field,
    /// The temperature, in mK, if it tells one. From 0 °C it is 273,150 mK: an offset.
    pub temperature: Option<Field>,
}

/// What is wrong with a description of registers. A board finds this once, when it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LayoutRefused {
    /// The address is outside 0x08 to 0x77.
    Address,
    /// A reading of no data, or of more than [`FRAME_MAX`] bytes.
    Length,
    /// A field of no bits, of more than 32, or beyond the data.
    Field,
    /// A scale with a 0 in it.
    Scale,
    /// A checksum behind no byte, or one whose groups do not make up the data.
    Checksum,
    /// Status bits beyond the data, of no bit, or that can never be good.
    Status,
    /// Clock registers that overlap or leave a gap.
    Registers,
    /// The flag for a lost clock has no bit, or is one of another register's.
    LostFlag,
}

impl LayoutRefused {
    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Address => "layout-address",
            Self::Length => "layout-length",
            Self::Field => "layout-field",
            Self::Scale => "layout-scale",
            Self::Checksum => "layout-checksum",
            Self::Status => "layout-status",
            Self::Registers => "layout-registers",
            Self::LostFlag => "layout-lost-flag",
        }
    }
}

impl fmt::Display for LayoutRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Address => "the address is not one of 0x08 to 0x77; leave the read/write bit out",
            Self::Length => "a reading has 1 to 24 data bytes",
            Self::Field => "a field has 1 to 32 bits and ends within the data bytes; checksums do not count",
            Self::Scale => "a scale's numerator and denominator are not 0",
            Self::Checksum => "the checksum stands behind groups of data bytes that make up the whole reading",
            Self::Status => "status bits lie within the data bytes, and what is good lies within their mask",
            Self::Registers => "the registers of a clock follow one another without a gap; name each once",
            Self::LostFlag => "the flag for a lost clock has one bit or more, none of them a digit's or written as 1; a clock without one cannot be used",
        })?;
        write!(f, " ({})", self.code())
    }
}

impl core::error::Error for LayoutRefused {}

impl SensorLayout {
    /// Whether it can be right; in a `const`, when the firmware is compiled.
    ///
    /// # Errors
    /// [`LayoutRefused`]: the first thing that is wrong.
    pub const fn check(&self) -> Result<(), LayoutRefused> {
        if !is_address(self.address) {
            return Err(LayoutRefused::Address);
        }
        if self.data_len < 1 || self.data_len as usize > FRAME_MAX {
            return Err(LayoutRefused::Length);
        }
        if let Some(checksum) = self.checksum
            && !matches!(self.data_len.checked_rem(checksum.after), Some(0))
        {
            return Err(LayoutRefused::Checksum);
        }
        if let Some(Status { at, mask, good }) = self.status
            && (at >= self.data_len || mask == 0 || good & !mask != 0)
        {
            return Err(LayoutRefused::Status);
        }
        if let Some(temperature) = &self.temperature
            && let Err(refused) = temperature.check(self.data_len)
        {
            return Err(refused);
        }
        self.pressure.check(self.data_len)
    }
}

/// Outside are what the I²C-bus specification reserves.
pub(super) const fn is_address(address: u8) -> bool {
    address >= 0x08 && address <= 0x77
}
