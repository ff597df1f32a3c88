//! An uncertainty budget against chance: the same spreads, thrown a hundred thousand times from a fixed seed.

use draught_sim::hygiene::air::{Conditions, standard_factor};
use draught_sim::hygiene::budgets::{
    ConcentrationKnown, ToStandard, VolumeKnown, concentration_budget, volume_budget,
};
use draught_sim::hygiene::uncertainty::Spread;

const THROWS: usize = 100_000;

/// xorshift64*, by Marsaglia and Vigna; the seed is fixed.
struct Dice(u64);

impl Dice {
    /// From 0 to 1.
    fn even(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn within(&mut self, half_width: f64) -> f64 {
        (2.0 * self.even() - 1.0) * half_width
    }

    fn normal(&mut self, standard: f64) -> f64 {
        let (a, b) = (self.even().max(1e-300), self.even());
        standard * (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// Standard deviation, and the half width that takes in 95 %.
fn spread(mut values: Vec<f64>, around: f64) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let deviation = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    for value in &mut values {
        *value = (*value - around).abs();
    }
    values.sort_by(f64::total_cmp);
    (deviation, values[(0.95 * n) as usize])
}

fn agrees(found: f64, wanted: f64, percent: f64) {
    assert!(
        (found / wanted - 1.0).abs() < percent / 100.0,
        "{found} is not {wanted} within {percent} %"
    );
}

#[test]
fn a_volume_at_standard_conditions() {
    let roof = Conditions::new(10.0, 84.0).expect("air");
    let known = VolumeKnown {
        flow_l_per_min: 16.67,
        calibration_percent: Spread::Expanded { expanded: 2.0, k: 2.0 },
        drift_l_per_min: 0.5,
        repeated: None,
        minutes: 1440.0,
        time_half_width_min: 5.0,
        standard: Some(ToStandard {
            actual: roof,
            standard: Conditions::EPA_STANDARD,
            temperature_half_width_k: 2.0,
            pressure_half_width_kpa: 1.333,
        }),
    };
    let budget = volume_budget(&known, 0.95).expect("a budget");
    let mut dice = Dice(20_270_308);
    let thrown = (0..THROWS).map(|_| {
        let flow = 16.67 * (1.0 + dice.normal(0.01)) + dice.within(0.25);
        let minutes = 1440.0 + dice.within(5.0);
        let air = Conditions::new(10.0 + dice.within(2.0), 84.0 + dice.within(1.333)).expect("air");
        flow * minutes * standard_factor(air, Conditions::EPA_STANDARD)
    });
    let (deviation, half_width) = spread(thrown.collect(), budget.result);
    agrees(deviation, budget.combined, 1.5);
    // A normal distribution is taken for a sum that is not quite one.
    agrees(half_width, budget.expanded, 4.0);
}

#[test]
fn a_concentration_with_a_blank() {
    let known = ConcentrationKnown {
        mass_mg: 0.112,
        mass_spread: Spread::Normal { standard: 0.0045 },
        blank_mg: 0.012,
        blank_spread: Some(Spread::Triangular { half_width: 0.006 }),
        volume_l: 480.0,
        volume_spread: Spread::Rectangular { half_width: 15.0 },
    };
    let budget = concentration_budget(&known, 0.95).expect("a budget");
    let mut dice = Dice(7);
    let thrown = (0..THROWS).map(|_| {
        let mass = 0.112 + dice.normal(0.0045);
        let blank = 0.012 + dice.within(0.003) + dice.within(0.003);
        1000.0 * (mass - blank) / (480.0 + dice.within(15.0))
    });
    let (deviation, half_width) = spread(thrown.collect(), budget.result);
    agrees(deviation, budget.combined, 1.5);
    agrees(half_width, budget.expanded, 3.0);
}

/// The factor of few readings: that of Student's t takes in 95 %, that of the normal distribution would not.
#[test]
fn three_readings_need_a_larger_factor() {
    let mut dice = Dice(99);
    let (mut within_t, mut within_normal) = (0, 0);
    for _ in 0..20_000 {
        let readings = [(); 3].map(|()| 2.0 + dice.normal(0.05));
        let mean = readings.iter().sum::<f64>() / 3.0;
        let squares: f64 = readings.iter().map(|r| (r - mean).powi(2)).sum();
        let deviation = (squares / 2.0).sqrt();
        let known = VolumeKnown {
            flow_l_per_min: mean,
            calibration_percent: Spread::Normal { standard: 0.0 },
            drift_l_per_min: 0.0,
            repeated: Some((deviation, 3)),
            minutes: 100.0,
            time_half_width_min: 0.0,
            standard: None,
        };
        let budget = volume_budget(&known, 0.95).expect("a budget");
        let off = (budget.result - 200.0).abs();
        within_t += u32::from(off <= budget.expanded);
        within_normal += u32::from(off <= 1.96 * budget.combined);
    }
    let share = |n| f64::from(n) / 20_000.0;
    assert!((share(within_t) - 0.95).abs() < 0.005, "{}", share(within_t));
    assert!(share(within_normal) < 0.85, "{}", share(within_normal));
}
