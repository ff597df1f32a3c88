//! The outside air: constant, with the day, or as a file says.

use super::constants::AirWorld;
use super::sine::sine_of_turns;

const DAY_MS: f64 = 86_400_000.0;
const ZERO_CELSIUS_K: f64 = 273.15;

/// The air at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirPoint {
    /// Since the begin, in ms.
    pub at_ms: f64,
    /// Temperature, in °C.
    pub celsius: f64,
    /// Absolute pressure, in Pa.
    pub pressure: f64,
}

/// Air as it was measured somewhere, in order of time; between two points in proportion, before the first and after the last as there.
#[derive(Clone, Debug, PartialEq)]
pub struct AirSeries(Vec<AirPoint>);

impl AirSeries {
    /// From comma-separated text with the columns `time_s`, `temperature_c` and `pressure_pa`.
    ///
    /// # Errors
    /// What is wrong with it, and in which line.
    pub fn from_csv(text: &str) -> Result<Self, String> {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let names = reader.headers().map_err(|e| e.to_string())?;
        if names.iter().ne(["time_s", "temperature_c", "pressure_pa"]) {
            return Err("its first line must be time_s,temperature_c,pressure_pa".to_owned());
        }
        let mut points: Vec<AirPoint> = Vec::new();
        for row in reader.records() {
            let row = row.map_err(|e| e.to_string())?;
            let line = row.position().map_or(0, csv::Position::line);
            let mut numbers = row.iter().map(|field| {
                let number = field.parse().ok().filter(|n: &f64| n.is_finite());
                number.ok_or_else(|| format!("line {line}: {field:?} is not a number"))
            });
            let mut next = || numbers.next().unwrap_or(Ok(0.0));
            let point = AirPoint { at_ms: next()? * 1_000.0, celsius: next()?, pressure: next()? };
            if points.last().is_some_and(|last| last.at_ms >= point.at_ms) {
                return Err(format!("line {line}: not later than the line before"));
            }
            if !(-60.0..=70.0).contains(&point.celsius) {
                return Err(format!("line {line}: the temperature must be -60 to 70 °C"));
            }
            if !(30_000.0..=120_000.0).contains(&point.pressure) {
                return Err(format!("line {line}: the pressure must be 30000 to 120000 Pa"));
            }
            points.push(point);
        }
        if points.is_empty() { Err("it has no lines".to_owned()) } else { Ok(Self(points)) }
    }

    fn at(&self, ms: f64) -> (f64, f64) {
        let after = self.0.partition_point(|p| p.at_ms <= ms);
        match (after.checked_sub(1).map(|i| self.0[i]), self.0.get(after).copied()) {
            (Some(a), Some(b)) => {
                let part = (ms - a.at_ms) / (b.at_ms - a.at_ms);
                (
                    a.celsius + (b.celsius - a.celsius) * part,
                    a.pressure + (b.pressure - a.pressure) * part,
                )
            }
            (Some(p), None) | (None, Some(p)) => (p.celsius, p.pressure),
            // A series has a point.
            (None, None) => (20.0, 101_325.0),
        }
    }
}

impl AirWorld {
    /// Temperature in °C and pressure in Pa at a time after the begin, which was so many ms after midnight.
    pub(super) fn at(&self, ms: f64, begin_ms: f64) -> (f64, f64) {
        match &self.series {
            Some(series) => series.at(ms),
            None if self.swing == 0.0 => (self.celsius, self.pressure),
            None => {
                // A quarter of a turn at the warmest.
                let turns = (ms + begin_ms - self.warmest_ms) / DAY_MS + 0.25;
                (self.celsius + self.swing * sine_of_turns(turns), self.pressure)
            }
        }
    }
}

pub(super) fn kelvin(celsius: f64) -> f64 {
    celsius + ZERO_CELSIUS_K
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_has_a_warmest_and_a_coldest_hour() {
        let air = AirWorld {
            celsius: 10.0,
            swing: 8.0,
            warmest_ms: 15.0 * 3_600_000.0,
            pressure: 95_000.0,
            ..AirWorld::default()
        };
        let noon = DAY_MS / 2.0;
        assert!((air.at(3.0 * 3_600_000.0, noon).0 - 18.0).abs() < 1e-9);
        assert!((air.at(15.0 * 3_600_000.0, noon).0 - 2.0).abs() < 1e-9);
        assert_eq!(air.at(0.0, 0.0).1, 95_000.0);
    }

    #[test]
    fn a_series_is_read_and_interpolated() {
        let text = "time_s,temperature_c,pressure_pa\n0, 10, 100000\n3600, 14, 99000\n";
        let series = AirSeries::from_csv(text).unwrap();
        assert_eq!(series.at(-5.0), (10.0, 100_000.0));
        assert_eq!(series.at(1_800_000.0), (12.0, 99_500.0));
        assert_eq!(series.at(9e9), (14.0, 99_000.0));
    }

    #[test]
    fn what_is_wrong_with_a_series_is_said() {
        let wrong = |body: &str| {
            AirSeries::from_csv(&format!("time_s,temperature_c,pressure_pa\n{body}")).unwrap_err()
        };
        assert!(AirSeries::from_csv("a,b\n1,2\n").unwrap_err().contains("time_s"));
        assert!(wrong("").contains("no lines"));
        assert!(wrong("0,x,100000").contains("line 2: \"x\""));
        assert!(wrong("0,1,100000\n0,1,100000").contains("line 3: not later"));
        assert!(wrong("0,1,1000").contains("30000"));
        assert!(wrong("0,99,100000").contains("70"));
        assert!(wrong("0,nan,100000").contains("not a number"));
    }
}
