//! Straight lines between points, in whole numbers.

use crate::arithmetic::divide;

/// A point of a rising line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Point {
    pub(super) x: u32,
    pub(super) y: u32,
}

impl Point {
    pub(super) const ORIGIN: Self = Self { x: 0, y: 0 };

    /// Whether both coordinates are above another's.
    pub(super) const fn is_above(self, other: Self) -> bool {
        self.x > other.x && self.y > other.y
    }
}

/// The height of the line through two points at `x`, to the nearest whole number, halves up; `x` may lie beyond `to`, where the
/// height stays at what 32 bits hold, but not before `from`.
///
/// Rounding a rising line gives one that does not fall, and at both points nothing is rounded.
pub(super) const fn height(from: Point, to: Point, x: u32) -> u32 {
    let run = to.x.saturating_sub(from.x);
    let rise = to.y.saturating_sub(from.y);
    let along = x.saturating_sub(from.x);
    // At most (2^32 - 1)^2, and half a run more still fits.
    let product = (along as u64).wrapping_mul(rise as u64);
    match divide(product.wrapping_add((run / 2) as u64), run as u64) {
        Some(above) if above <= u32::MAX as u64 => from.y.saturating_add(above as u32),
        Some(_) => u32::MAX,
        // Two points above one another: there is no line.
        None => from.y,
    }
}

/// The two points between which `x` lies, of points that rise; the last two where it lies beyond. The line begins at `origin`.
pub(super) fn around(origin: Point, points: &[Point], x: u32) -> (Point, Point) {
    let (mut from, mut to) = (origin, origin);
    for point in points {
        (from, to) = (to, *point);
        if x <= point.x {
            break;
        }
    }
    (from, to)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_numbers() {
        let top = Point { x: u32::MAX, y: u32::MAX };
        assert_eq!(height(Point::ORIGIN, top, u32::MAX), u32::MAX);
        assert_eq!(height(Point::ORIGIN, top, 1 << 31), 1 << 31);
        // Beyond the second point of a steep line.
        assert_eq!(height(Point::ORIGIN, Point { x: 1, y: u32::MAX }, u32::MAX), u32::MAX);
        assert_eq!(height(top, top, 5), u32::MAX);
    }

    #[test]
    fn halves_go_up() {
        let two = Point { x: 2, y: 1 };
        assert_eq!(height(Point::ORIGIN, two, 1), 1);
        assert_eq!(height(Point::ORIGIN, Point { x: 3, y: 1 }, 1), 0);
    }
}
