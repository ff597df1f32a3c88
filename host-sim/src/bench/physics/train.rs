//! Where the pump's curve meets the train's: the flow.

/// What lies between the outside and the pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Path {
    /// Drop in Pa for a µL/min.
    pub linear: f64,
    /// Drop in Pa for the square of a µL/min.
    pub square: f64,
    /// Nothing comes through the inlet.
    pub blocked: bool,
    /// What leaks in behind the train, in µL/min for a Pa.
    pub leak: f64,
}

/// Where a pump stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Balance {
    /// Through the inlet, at outside conditions.
    pub inlet: f64,
    /// Through flow element and pump, at the conditions there.
    pub inside: f64,
    /// Outside less inside pressure.
    pub drop: f64,
}

/// How the air expands on its way in: outside pressure, and inside over outside temperature.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expansion {
    pub pressure: f64,
    pub warmer: f64,
}

impl Expansion {
    fn at(self, drop: f64) -> f64 {
        self.pressure / (self.pressure - drop) * self.warmer
    }
}

/// The flow of a pump that draws `free` against nothing and `lost_per_pa` less for each Pa, through a path.
///
/// With Q the flow at the inlet, r the expansion, H what leaks in and past the valves for a Pa: drop p = A·Q + B·Q², and
/// r·Q + H·p = free. For a given r that is a quadratic equation for Q; r follows from p, and a few rounds settle both.
pub(super) fn balance(free: f64, lost_per_pa: f64, path: &Path, air: Expansion) -> Balance {
    let lost = lost_per_pa + path.leak;
    // No pump here draws more than nine tenths of the air away.
    let most = air.pressure * 0.9;
    let mut now = Balance::default();
    if path.blocked {
        now.drop = (free / lost).min(most);
        now.inside = path.leak * now.drop;
        return now;
    }
    for _ in 0..12 {
        let r = air.at(now.drop);
        let b = r + lost * path.linear;
        let a = lost * path.square;
        // Of a·Q² + b·Q = free the positive root, in the form that loses no digits when a is small.
        now.inlet = 2.0 * free / (b + (b * b + 4.0 * a * free).sqrt());
        now.drop = (now.inlet * (path.linear + path.square * now.inlet)).min(most);
    }
    now.inside = now.inlet * air.at(now.drop) + path.leak * now.drop;
    now
}

#[cfg(test)]
mod tests {
    use super::*;

    const AIR: Expansion = Expansion { pressure: 101_325.0, warmer: 1.0 };

    #[test]
    fn the_balance_satisfies_both_curves() {
        for (linear, square, leak) in
            [(3e-3, 0.0, 0.0), (0.0, 1e-9, 0.0), (1e-3, 1e-9, 5.0), (0.1, 1e-7, 50.0)]
        {
            let path = Path { linear, square, blocked: false, leak };
            let Balance { inlet, inside, drop } = balance(4e6, 225.0, &path, AIR);
            let train = linear * inlet + square * inlet * inlet;
            assert!((drop - train).abs() < 1.0, "{drop} {train}");
            let pump = 4e6 - 225.0 * drop;
            assert!((inside - pump).abs() < 500.0, "{inside} {pump}");
            // What goes in comes through, less dense by the drop.
            let through = inlet * 101_325.0 / (101_325.0 - drop) + leak * drop;
            assert!((inside - through).abs() < 1.0);
        }
    }

    #[test]
    fn a_blocked_inlet_leaves_the_leak() {
        let path = Path { linear: 1e-3, square: 0.0, blocked: true, leak: 25.0 };
        let b = balance(4.5e6, 225.0, &path, AIR);
        assert_eq!(b.inlet, 0.0);
        assert!((b.drop - 18_000.0).abs() < 1e-6);
        assert!((b.inside - 450_000.0).abs() < 1e-6);
    }
}
