//! What temperature and pressure do to a volume.
//!
//! Ideal gas: the same air has the volume V · T / p. So a flow that is measured in the pump is brought to the sampler's
//! inlet, and a volume at the inlet to standard conditions, by a ratio of pressures and temperatures:
//!
//! * at the inlet: q · (p element / p outside) · (T outside / T element), where p element = p outside - drop;
//! * at standard conditions: q · (p outside / 101,325 Pa) · (298.15 K / T outside) (40 CFR 50 App. J 11.1).
//!
//! Each ratio is one whole number of 1/2^28, rounded down once a reading: less than 2^-28 of 1, that is 3.8 parts in 10^9, so
//! with ratios above 1/4 a corrected volume is low by less than 1.5 parts in 10^8, and by less than one unit a reading.

use crate::arithmetic::{divide, wide_product};
use crate::port::{Air, FlowReading};

/// 25 °C, in mK (40 CFR 50 App. B, J).
pub const STANDARD_MK: u32 = 298_150;
/// One atmosphere, in Pa: 760 mm Hg.
pub const STANDARD_PA: u32 = 101_325;

/// Ratios are counted in 1/2^28.
const ONE_BITS: u32 = 28;

/// A ratio of two conditions, near 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Ratio(u32);

impl Ratio {
    /// (pressure / pressure below) · (temperature above / temperature); `None` outside 1/16 to 8, where a sensor is wrong.
    ///
    /// Pressures in Pa, temperatures in mK.
    fn of(pressures: (u32, u32), temperatures: (u32, u32)) -> Option<Self> {
        let above = product(pressures.0, temperatures.0)?;
        let below = product(pressures.1, temperatures.1)?;
        // Products stay below 2^40, so 24 bits more fit; the last four come from what is left over.
        let ratio = divide(above << 24, below)?;
        let rest = (above << 24).wrapping_sub(ratio.wrapping_mul(below));
        let fine = divide(rest << 4, below)?;
        let ratio = (ratio << 4).saturating_add(fine);
        let ratio = u32::try_from(ratio).ok()?;
        (ratio >> (ONE_BITS - 4) > 0 && ratio >> (ONE_BITS + 3) == 0).then_some(Self(ratio))
    }

    /// A number times the ratio, rounded down.
    pub(crate) fn of_number(self, number: u64) -> u64 {
        u64::try_from(wide_product(number, self.0) >> ONE_BITS).unwrap_or(u64::MAX)
    }
}

/// A product below 2^40, as all are on earth (18 bits of Pa, 19 of mK); `None` above, where a sensor is wrong.
fn product(pressure_pa: u32, temperature_mk: u32) -> Option<u64> {
    let product = u64::from(pressure_pa).wrapping_mul(temperature_mk.into());
    (product >> 40 == 0).then_some(product)
}

/// From the sampler's inlet to standard conditions.
pub(crate) fn to_standard(air: Air) -> Option<Ratio> {
    Ratio::of((air.pressure_pa, STANDARD_PA), (STANDARD_MK, air.temperature_mk))
}

/// From the flow element to the sampler's inlet. `None` when what it takes is not measured, or measured wrong.
///
/// Where the temperature in the element is not measured it is taken to be that outside.
pub(crate) fn to_inlet(reading: &FlowReading, air: Air) -> Option<Ratio> {
    let inside_pa = air.pressure_pa.checked_sub(reading.drop_pa?)?;
    let inside_mk = reading.air_mk.unwrap_or(air.temperature_mk);
    Ratio::of((inside_pa, air.pressure_pa), (air.temperature_mk, inside_mk))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn standard_air_stays_as_it_is() {
        let air = Air { temperature_mk: STANDARD_MK, pressure_pa: STANDARD_PA };
        let ratio = to_standard(air).unwrap();
        assert_eq!(ratio.of_number(u64::MAX >> 4), u64::MAX >> 4);
        assert_eq!(ratio.of_number(1), 1);
    }

    #[test]
    fn thin_cold_air_in_numbers() {
        // 80 kPa, -10 °C: 80000/101325 · 298.15/263.15 = 0.894550399304...
        let air = Air { temperature_mk: 263_150, pressure_pa: 80_000 };
        let ratio = to_standard(air).unwrap();
        let standard = ratio.of_number(1_000_000_000_000);
        assert!((894_550_395_500..=894_550_399_304).contains(&standard), "{standard}");
    }

    #[test]
    fn a_drop_across_the_sampler_makes_the_pump_see_thinner_air() {
        // 5 kPa of 100: 1 L in the pump is 0.95 L outside.
        let air = Air { temperature_mk: 293_150, pressure_pa: 100_000 };
        let reading = FlowReading { flow_ul_per_min: 0, drop_pa: Some(5_000), air_mk: None };
        let at_inlet = to_inlet(&reading, air).unwrap().of_number(1_000_000_000);
        assert!((949_999_990..=950_000_000).contains(&at_inlet), "{at_inlet}");
        let warm = FlowReading { air_mk: Some(303_150), ..reading };
        // Warmer in the pump: 0.95 · 293.15/303.15 = 0.918662...
        let at_inlet = to_inlet(&warm, air).unwrap().of_number(1_000_000_000);
        assert!((918_662_370..=918_662_380).contains(&at_inlet), "{at_inlet}");
    }

    #[test]
    fn a_broken_sensor_corrects_nothing() {
        for (temperature_mk, pressure_pa) in
            [(0, 100_000), (293_150, 0), (1, 100_000), (u32::MAX, u32::MAX), (293_150, 4_000_000)]
        {
            assert_eq!(to_standard(Air { temperature_mk, pressure_pa }), None, "{temperature_mk}");
        }
        let air = Air { temperature_mk: 293_150, pressure_pa: 100_000 };
        let sucked_empty = FlowReading { flow_ul_per_min: 0, drop_pa: Some(100_001), air_mk: None };
        assert_eq!(to_inlet(&sucked_empty, air), None);
        let unmeasured = FlowReading { drop_pa: None, ..sucked_empty };
        assert_eq!(to_inlet(&unmeasured, air), None);
    }
}
