//! The crystal that both clocks count.

use super::constants::CrystalWorld;

impl CrystalWorld {
    /// What it gains at a temperature, in ppm: a tuning fork is fastest at its turnover and loses with the square of the
    /// distance from it.
    pub(super) fn gain_ppm(&self, celsius: f64) -> f64 {
        let off = celsius - self.turnover;
        self.ppm - self.parabola * off * off
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frost_costs_seconds_a_day() {
        let crystal = CrystalWorld { ppm: 0.0, parabola: 0.034, turnover: 25.0 };
        assert_eq!(crystal.gain_ppm(25.0), 0.0);
        // 45 K off: 68.85 ppm, 5.9 s a day.
        assert!((crystal.gain_ppm(-20.0) + 68.85).abs() < 1e-9);
        assert_eq!(crystal.gain_ppm(70.0), crystal.gain_ppm(-20.0));
    }
}
