//! The pressure drop across the sampling train, beside the flow.

use embedded_hal::i2c::I2c;

use super::sensor::RegisterSensor;
use crate::port::{Faulty, FlowReading, FlowSensor};

/// A flow sensor, and a second sensor for the pressure drop across the sampling train: the outside air less the air in front of the
/// flow element.
///
/// Constant pressure, the pressure limit and the correction of the flow to the sampler's inlet take it. A drop below zero is none.
/// Where the second sensor does not answer the flow still counts: the reading has no drop, and the record says for how long
/// ([`SampleRow::uncorrected_ms`](crate::record::SampleRow::uncorrected_ms)).
///
/// ```
/// use draught::adapt::{ByteOrder, Field, RegisterSensor, SensorLayout, WithDrop};
/// use draught::port::{Faulty, FlowReading, FlowSensor};
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
///
/// /// Measures 2 L/min, whatever happens.
/// struct Steady;
/// impl FlowSensor for Steady {
///     fn read(&mut self) -> Result<FlowReading, Faulty> {
///         Ok(FlowReading { flow_ul_per_min: 2_000_000, drop_pa: None, air_mk: None })
///     }
/// }
/// const LAYOUT: SensorLayout = SensorLayout {
///     address: 0x2c,
///     start: &[],
///     request: &[],
///     data_len: 2,
///     checksum: None,
///     status: None,
///     pressure: Field { numerator: 1_000, ..Field::signed(0, 16, ByteOrder::Big) }, // 1 Pa
///     temperature: None,
/// };
/// let bus = Mock::new(&[Transaction::read(0x2c, vec![0x09, 0xc4])]);
/// let mut sensor = WithDrop::new(Steady, RegisterSensor::new(bus, LAYOUT)?);
/// assert_eq!(sensor.read()?.drop_pa, Some(2_500));
/// # sensor.into_inner().1.into_inner().done();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct WithDrop<F, I> {
    flow: F,
    drop: RegisterSensor<I>,
}

impl<F: FlowSensor, I: I2c> WithDrop<F, I> {
    /// Of both. Nothing is sent yet.
    pub const fn new(flow: F, drop: RegisterSensor<I>) -> Self {
        Self { flow, drop }
    }

    /// The flow sensor, to measure its zero.
    pub const fn flow(&mut self) -> &mut F {
        &mut self.flow
    }

    /// The sensor for the drop, to start it.
    pub const fn drop_sensor(&mut self) -> &mut RegisterSensor<I> {
        &mut self.drop
    }

    /// Gives both back.
    pub fn into_inner(self) -> (F, RegisterSensor<I>) {
        (self.flow, self.drop)
    }
}

impl<F: FlowSensor, I: I2c> FlowSensor for WithDrop<F, I> {
    fn read(&mut self) -> Result<FlowReading, Faulty> {
        let reading = self.flow.read()?;
        // To the nearest Pa.
        let pa = |mpa: i32| mpa.max(0).unsigned_abs().saturating_add(500) / 1_000;
        let drop_pa = self.drop.read().ok().map(|values| pa(values.pressure_mpa));
        Ok(FlowReading { drop_pa, ..reading })
    }
}
