//! A run as means over 5 min, for whoever draws it later.

use draught::clock::Now;

use super::observe::{Observer, Reading};

/// The length of an interval.
pub const SERIES_MS: u64 = 300_000;

/// Means over an interval, over the time of it in which readings were taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When its first reading begins.
    pub from: Now,
    /// For how long readings were taken in it, in ms.
    pub read_ms: u64,
    /// Metered flow, in µL/min.
    pub ul_per_min: f64,
    /// True flow at the inlet, in µL/min.
    pub true_ul_per_min: f64,
    /// Pressure drop across the train, in Pa.
    pub drop_pa: f64,
    /// Outside temperature, in mK.
    pub temperature_mk: f64,
    /// Outside pressure, in Pa.
    pub pressure_pa: f64,
    /// What is left of the battery at the end, in 0.01 %; `None`: mains.
    pub battery_per_myriad: Option<u16>,
}

/// Collects the points of a whole pump's run: intervals are counted from arming on, those without a reading are left out.
#[derive(Clone, Debug)]
pub struct Series {
    armed: Now,
    number: Option<u64>,
    points: Vec<Point>,
}

impl Series {
    /// Nothing yet.
    #[must_use]
    pub const fn new(armed: Now) -> Self {
        Self { armed, number: None, points: Vec::new() }
    }

    /// The points, in order of time.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }
}

impl Observer for Series {
    fn reading(&mut self, reading: &Reading) {
        let Some(around) = reading.around else { return };
        let begin = reading.at.mono.minus_ms(reading.covers_ms);
        let number = Some(begin.since(self.armed.mono) / SERIES_MS);
        let values = [
            reading.ul_per_min.into(),
            around.true_ul_per_min.into(),
            around.drop_pa.into(),
            around.temperature_mk.into(),
            around.pressure_pa.into(),
        ];
        if number != self.number {
            self.number = number;
            let wall = reading.at.wall.and_then(|w| {
                draught::clock::WallMs::from_ms(w.as_ms().checked_sub(reading.covers_ms)?)
            });
            self.points.push(Point {
                from: Now { mono: begin, wall },
                read_ms: 0,
                ul_per_min: 0.0,
                true_ul_per_min: 0.0,
                drop_pa: 0.0,
                temperature_mk: 0.0,
                pressure_pa: 0.0,
                battery_per_myriad: None,
            });
        }
        let Some(point) = self.points.last_mut() else { return };
        point.read_ms += reading.covers_ms;
        point.battery_per_myriad = around.battery_per_myriad;
        let part = reading.covers_ms as f64 / point.read_ms as f64;
        let means = [
            &mut point.ul_per_min,
            &mut point.true_ul_per_min,
            &mut point.drop_pa,
            &mut point.temperature_mk,
            &mut point.pressure_pa,
        ];
        for (mean, value) in means.into_iter().zip::<[f64; 5]>(values) {
            *mean += (value - *mean) * part;
        }
    }
}
