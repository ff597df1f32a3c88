//! The same sums in fractions of whole numbers, where nothing is rounded.

use draught_sim::hygiene::Amount::Found;
use draught_sim::hygiene::concentration::{Breakthrough, Part, breakthrough, together_mg_m3};
use draught_sim::hygiene::exposure::{Divisor, Stretch, Unsampled, mean};
use draught_sim::hygiene::round::{significant, to_places};
use num_rational::Ratio;
use proptest::prelude::*;

type Exact = Ratio<i128>;

/// A number of thousandths, as a fraction and as it is read from a text.
fn both(thousandths: i128) -> (Exact, f64) {
    let text = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    (Exact::new(thousandths, 1000), text.parse().expect("a number"))
}

fn as_f64(exact: Exact) -> f64 {
    *exact.numer() as f64 / *exact.denom() as f64
}

proptest! {
    #[test]
    fn exposure_is_the_sum_over_eight_hours(
        samples in prop::collection::vec((1_i128..200_000, 1_i128..1_000_000), 1..8),
    ) {
        let mut sum = Exact::from(0);
        let mut stretches = Vec::new();
        for (minutes, found) in samples {
            let ((t, minutes), (c, found)) = (both(minutes), both(found));
            sum += t * c;
            stretches.push(Stretch { minutes, concentration: Found(found) });
        }
        let wanted = as_f64(sum / 480);
        let none = (0.0, Unsampled::NotExposed);
        let found = mean(&stretches, Divisor::EightHours, none).expect("an exposure").value.low();
        prop_assert!((found - wanted).abs() <= wanted * 1e-13, "{found} {wanted}");
    }

    #[test]
    fn several_filters_are_mass_over_volume(
        samples in prop::collection::vec((1_i128..10_000, 1_i128..1_000_000), 1..8),
    ) {
        let (mut mass, mut volume) = (Exact::from(0), Exact::from(0));
        let mut parts = Vec::new();
        for (m, v) in samples {
            let ((m, mass_mg), (v, volume_l)) = (both(m), both(v));
            mass += m;
            volume += v;
            parts.push(Part { mass_mg: Found(mass_mg), volume_l });
        }
        let wanted = as_f64(mass * 1000 / volume);
        let found = together_mg_m3(&parts).expect("a concentration").low();
        prop_assert!((found - wanted).abs() <= wanted * 1e-13, "{found} {wanted}");
    }

    #[test]
    fn breakthrough_is_exact_to_the_last_written_digit(front in 1_i128..100_000, off in -2_i128..=2) {
        let back = (front / 10 + off).max(1);
        let ((f, front), (b, back)) = (both(front), both(back));
        let wanted = if b > f / 10 { Breakthrough::Yes } else { Breakthrough::No };
        prop_assert_eq!(breakthrough(Found(front), Found(back)), Ok(wanted));
    }

    #[test]
    fn rounding_is_half_to_even_as_on_paper(written in 0_i128..100_000_000, places in 0_i32..3) {
        let (exact, value) = both(written);
        let scale = 10_i128.pow(places as u32);
        let scaled = exact * scale;
        let (floor, half) = (scaled.floor(), Ratio::new(1, 2));
        let up = scaled - floor > half || scaled - floor == half && floor.numer() % 2 != 0;
        let whole = floor.to_integer() + i128::from(up);
        let wanted = if places == 0 {
            whole.to_string()
        } else {
            format!("{}.{:0width$}", whole / scale, whole % scale, width = places as usize)
        };
        prop_assert_eq!(to_places(value, places), Ok(wanted));
    }

    #[test]
    fn significant_figures_are_as_close_as_they_say(value in 1e-5..1e9_f64, figures in 1_u8..10) {
        let text = significant(value, figures).expect("a number");
        let back: f64 = text.parse().expect("a number");
        prop_assert!((back - value).abs() <= value * 0.5001 * 10_f64.powi(1 - i32::from(figures)));
    }
}
