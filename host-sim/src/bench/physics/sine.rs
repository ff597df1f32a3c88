//! A sine that every computer rounds alike.

use std::f64::consts::TAU;

/// The sine of a number of whole turns, to about 12 digits.
pub(super) fn sine_of_turns(turns: f64) -> f64 {
    // Into -0.25 to 0.25 turns, where the series is short.
    let turn = turns - turns.round();
    let folded = if turn > 0.25 {
        0.5 - turn
    } else if turn < -0.25 {
        -0.5 - turn
    } else {
        turn
    };
    let x = folded * TAU;
    let (mut term, mut sum) = (x, x);
    for n in 1..9 {
        let n = f64::from(2 * n);
        term *= -x * x / (n * (n + 1.0));
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sine_is_right() {
        for i in -4_000..4_000 {
            let turns = f64::from(i) * 0.000_7;
            let (ours, theirs) = (sine_of_turns(turns), (turns * TAU).sin());
            assert!((ours - theirs).abs() < 1e-11, "{turns}: {ours} {theirs}");
        }
    }
}
