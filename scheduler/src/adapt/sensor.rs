//! A sensor for pressure on a bus, read as its layout says.

use embedded_hal::i2c::I2c;

use super::layout::{ByteOrder, Crc8, FRAME_MAX, Field, LayoutRefused, SensorLayout};
use crate::arithmetic::divide;
use crate::port::{Air, Ambient, Faulty};

/// With a checksum behind every byte.
const BUS_MAX: usize = 2 * FRAME_MAX;

/// What a sensor says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Values {
    /// Pressure, in mPa.
    pub pressure_mpa: i32,
    /// Temperature, in mK, where it tells one.
    pub temperature_mk: Option<u32>,
}

/// A sensor whose registers a [`SensorLayout`] describes.
///
/// A reading with a wrong checksum, wrong status bits or a number that does not fit 32 bits is [`Faulty`], like one that the bus did not
/// bring. After a reading that the bus did not bring the sensor is started anew at the next, which is then a gap too: a sensor that
/// was just started has measured nothing.
///
/// Also an [`Ambient`] for a sensor that computes absolute pressure and temperature itself.
///
/// ```
/// use draught::adapt::{ByteOrder, Field, RegisterSensor, SensorLayout, Values};
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
///
/// // Register 0x42: a pressure in Pa, 24 bits, the lowest byte first.
/// const LAYOUT: SensorLayout = SensorLayout {
///     address: 0x2b,
///     start: &[],
///     request: &[0x42],
///     data_len: 3,
///     checksum: None,
///     status: None,
///     pressure: Field { numerator: 1_000, ..Field::signed(0, 24, ByteOrder::Little) },
///     temperature: None,
/// };
/// let bus = Mock::new(&[Transaction::write_read(0x2b, vec![0x42], vec![0xcd, 0x8b, 0x01])]);
/// let mut sensor = RegisterSensor::new(bus, LAYOUT)?;
/// assert_eq!(sensor.read()?, Values { pressure_mpa: 101_325_000, temperature_mk: None });
/// # sensor.into_inner().done();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct RegisterSensor<I> {
    bus: I,
    layout: SensorLayout,
    started: bool,
}

impl<I: I2c> RegisterSensor<I> {
    /// On a bus, or a share of one. Nothing is sent yet.
    ///
    /// # Errors
    /// [`LayoutRefused`]: the layout cannot be right.
    pub fn new(bus: I, layout: SensorLayout) -> Result<Self, LayoutRefused> {
        layout.check()?;
        Ok(Self { bus, layout, started: layout.start.is_empty() })
    }

    /// Starts it, so that the first reading is none too early. Without this the first reading starts it, and is a gap.
    ///
    /// # Errors
    /// The sensor did not answer.
    pub fn start(&mut self) -> Result<(), Faulty> {
        if !self.layout.start.is_empty() {
            self.bus.write(self.layout.address, self.layout.start).map_err(|_| Faulty)?;
        }
        self.started = true;
        Ok(())
    }

    /// What it says now.
    ///
    /// # Errors
    /// The reading is not to be used.
    pub fn read(&mut self) -> Result<Values, Faulty> {
        if !self.started {
            self.start()?;
            return Err(Faulty);
        }
        let Some(data) = self.data() else {
            return Err(Faulty);
        };
        self.layout.values(&data).ok_or(Faulty)
    }

    /// Gives the bus back.
    pub fn into_inner(self) -> I {
        self.bus
    }

    /// One reading off the bus, its checksums taken out.
    fn data(&mut self) -> Option<[u8; FRAME_MAX]> {
        let SensorLayout { address, request, .. } = self.layout;
        let mut bytes = [0; BUS_MAX];
        let bytes = bytes.get_mut(..self.layout.bus_len())?;
        let answered = match request {
            [] => self.bus.read(address, bytes),
            _ => self.bus.write_read(address, request, bytes),
        };
        if answered.is_err() {
            self.started = self.layout.start.is_empty();
            return None;
        }
        without_checksums(bytes, self.layout.checksum.as_ref())
    }
}

impl<I: I2c> Ambient for RegisterSensor<I> {
    fn read(&mut self) -> Option<Air> {
        let values = Self::read(self).ok()?;
        // Half a Pa more, and what is below zero is no air.
        let pressure_pa = u32::try_from(values.pressure_mpa).ok()?.saturating_add(500) / 1_000;
        let temperature_mk = values.temperature_mk.filter(|mk| *mk > 0)?;
        (pressure_pa > 0).then_some(Air { temperature_mk, pressure_pa })
    }
}

impl SensorLayout {
    /// Data bytes and checksums.
    fn bus_len(&self) -> usize {
        let groups = self.checksum.and_then(|crc| self.data_len.checked_div(crc.after));
        usize::from(self.data_len).saturating_add(groups.unwrap_or(0).into())
    }

    fn values(&self, data: &[u8; FRAME_MAX]) -> Option<Values> {
        if let Some(status) = self.status
            && data.get(usize::from(status.at))? & status.mask != status.good
        {
            return None;
        }
        let temperature_mk = match &self.temperature {
            Some(field) => Some(u32::try_from(field.value(data)?).ok()?),
            None => None,
        };
        Some(Values { pressure_mpa: self.pressure.value(data)?, temperature_mk })
    }
}

/// The data bytes; `None` when a checksum is wrong.
fn without_checksums(bytes: &[u8], checksum: Option<&Crc8>) -> Option<[u8; FRAME_MAX]> {
    let mut data = [0; FRAME_MAX];
    let Some(checksum) = checksum else {
        data.get_mut(..bytes.len())?.copy_from_slice(bytes);
        return Some(data);
    };
    let len = usize::from(checksum.after);
    let (mut from, mut to) = (bytes, data.as_mut_slice());
    while !from.is_empty() {
        let (group, rest) = from.split_at_checked(len)?;
        let (sum, rest) = rest.split_first()?;
        if checksum.of(group) != *sum {
            return None;
        }
        let (place, places) = to.split_at_mut_checked(len)?;
        place.copy_from_slice(group);
        (from, to) = (rest, places);
    }
    Some(data)
}

impl Field {
    /// `None` when it does not fit.
    fn value(&self, data: &[u8]) -> Option<i32> {
        let bytes = data.get(usize::from(self.at)..)?.get(..usize::from(self.bits.div_ceil(8)))?;
        let grown = |word: u32, byte: &u8| word << 8 | u32::from(*byte);
        let word = match self.order {
            ByteOrder::Big => bytes.iter().fold(0, grown),
            ByteOrder::Little => bytes.iter().rev().fold(0, grown),
        };
        let unused = 32_u32.wrapping_sub(self.bits.into());
        let high = word.wrapping_shl(unused);
        let raw: i64 = if self.signed {
            high.cast_signed().wrapping_shr(unused).into()
        } else {
            high.wrapping_shr(unused).into()
        };
        // Less than 2^32 times at most 2^31.
        let product = raw.wrapping_mul(self.numerator.into());
        let half = u64::from(self.denominator / 2);
        let size = divide(product.unsigned_abs().saturating_add(half), self.denominator.into())?;
        let size = i64::try_from(size).ok()?;
        let scaled = if product < 0 { size.wrapping_neg() } else { size };
        i32::try_from(scaled.saturating_add(self.offset.into())).ok()
    }
}
