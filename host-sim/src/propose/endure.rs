//! How long a simulated pump goes on at a flow: its battery, and its filter up to the rated drop.
//!
//! Minute by minute, with the world's own constants and the formulas of the bench: the drop over the train grows with the dust
//! on the filter; the drive that keeps the flow against it follows from the pump's line; the current from drive and drop.
//! Nothing wanders here, and the air is that of the world's mean temperature and pressure.

use crate::bench::physics::PlantWorld;

/// A pump of a world, and the dust in front of it.
#[derive(Clone, Debug)]
pub struct PumpWorld {
    plant: PlantWorld,
    dust_mg_m3: f64,
}

/// How long it goes on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Runs {
    /// Until the supply says that it is about to go, or the flow is no longer kept; in min. No end on mains.
    pub battery_min: f64,
    /// Until the drop over the train is the rated one, in min. No end without dust.
    pub filter_min: f64,
}

/// Looked ahead as far as a run may be set: 31 days.
const FAR_MIN: u32 = 44_640;

impl PumpWorld {
    /// A pump whose filter gets this dust; the world's own where none is given.
    #[must_use]
    pub fn new(plant: PlantWorld, dust_mg_m3: Option<f64>) -> Self {
        let dust_mg_m3 = dust_mg_m3.unwrap_or(plant.path.dust);
        Self { plant, dust_mg_m3 }
    }

    /// The dust in front of it, in mg/m³.
    #[must_use]
    pub fn dust_mg_m3(&self) -> f64 {
        self.dust_mg_m3
    }

    /// The flows that it keeps, in L/min.
    #[must_use]
    pub fn flow_l_per_min(&self) -> (f64, f64) {
        (self.plant.rated.least / 1e6, self.plant.rated.most / 1e6)
    }

    /// The drop at which its filter is taken as loaded, in Pa.
    #[must_use]
    pub fn rated_drop_pa(&self) -> f64 {
        self.plant.rated.drop
    }

    /// The drop over the train, in Pa: clean parts, and what the dust adds.
    fn drop_pa(&self, flow_ul: f64, dust_mg: f64) -> f64 {
        let path = &self.plant.path;
        let part = flow_ul / self.plant.rated.flow;
        (path.filter + path.tube + path.added + path.per_mg * dust_mg) * part
            + path.fittings * part * part
    }

    /// Until the drop over the train is the rated one: it grows in proportion to the dust, so this can be solved.
    fn filter_min(&self, flow_ul: f64) -> f64 {
        let path = &self.plant.path;
        let part = flow_ul / self.plant.rated.flow;
        let left_pa = self.plant.rated.drop - self.drop_pa(flow_ul, 0.0);
        let pa_per_min = path.per_mg * part * flow_ul * 1e-9 * self.dust_mg_m3;
        if left_pa <= 0.0 {
            0.0
        } else if pa_per_min > 0.0 {
            left_pa / pa_per_min
        } else {
            f64::INFINITY
        }
    }

    /// How long it goes on at a flow.
    #[must_use]
    pub fn runs(&self, flow_l_per_min: f64) -> Runs {
        let (pump, battery, air) = (&self.plant.pump, &self.plant.battery, &self.plant.air);
        let flow = flow_l_per_min * 1e6;
        let mg_per_min = flow * 1e-9 * self.dust_mg_m3;
        let kelvin = air.celsius + 273.15;
        let warmer = (kelvin + self.plant.element.warming) / kelvin;
        let mut left_mah = battery.mah * battery.start;
        let mut runs = Runs { battery_min: f64::INFINITY, filter_min: self.filter_min(flow) };
        let mut last_drop = f64::NAN;
        for minute in 0..FAR_MIN {
            let drop = self.drop_pa(flow, mg_per_min * f64::from(minute));
            // A fresh filter follows a loaded one: the battery never works against more than the rated drop.
            let drop = drop.min(self.plant.rated.drop);
            let inside = flow * air.pressure / (air.pressure - drop) * warmer;
            let needed = inside + pump.free_flow / pump.stall_pressure * drop;
            let drive = pump.dead + (1.0 - pump.dead) * needed / pump.free_flow;
            let open = battery.open_volts(left_mah / battery.mah.max(1e-9), pump.volts);
            let motor_ma = battery.free_ma * drive + battery.ma_per_kpa * drop / 1_000.0;
            // The voltage under load sets the duty, and the duty the load: two rounds settle both.
            let (mut volts, mut milliamps) = (open, battery.idle_ma);
            for _ in 0..2 {
                milliamps = battery.idle_ma + drive * pump.volts / volts.max(0.1) * motor_ma;
                volts =
                    if battery.mains { open } else { open - milliamps * battery.milliohm / 1e6 };
            }
            let kept = drive * pump.volts <= volts;
            if !kept || (!battery.mains && (volts < battery.failing_v || left_mah <= 0.0)) {
                runs.battery_min = f64::from(minute);
                return runs;
            }
            left_mah -= milliamps / 60.0;
            if battery.mains && minute > 0 && drop == last_drop {
                return runs;
            }
            last_drop = drop;
        }
        runs
    }
}
