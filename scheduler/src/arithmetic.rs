//! Wide arithmetic in little code: bit by bit where the compiler's library brings half a kilobyte.
//!
//! Nothing here runs more than once a reading; most runs once a record or once a forecast step.

/// The quotient, rounded down; `None` for a division by 0.
#[inline(never)]
pub(crate) const fn divide(number: u64, by: u64) -> Option<u64> {
    if by == 0 {
        return None;
    }
    let (mut rest, mut quotient, mut bits) = (0_u64, number, 64);
    while bits > 0 {
        // The rest stays below the divisor, so the bit that a shift loses is one that is taken off at once.
        let lost = rest >> 63 != 0;
        rest = rest << 1 | quotient >> 63;
        quotient <<= 1;
        if lost || rest >= by {
            rest = rest.wrapping_sub(by);
            quotient |= 1;
        }
        bits -= 1;
    }
    Some(quotient)
}

/// The product of a 64-bit and a 32-bit number, whole.
#[inline(never)]
pub(crate) fn wide_product(a: u64, b: u32) -> u128 {
    let half = |part: u64| part.wrapping_mul(b.into());
    let low = u128::from(half(a & 0xffff_ffff));
    let high = u128::from(half(a >> 32));
    low.wrapping_add(high << 32)
}

/// The square root, rounded down.
pub(crate) fn square_root(number: u64) -> u32 {
    let (mut rest, mut root, mut bit) = (number, 0_u64, 1_u64 << 62);
    while bit != 0 {
        let trial = root.wrapping_add(bit);
        root >>= 1;
        if rest >= trial {
            rest = rest.wrapping_sub(trial);
            root |= bit;
        }
        bit >>= 2;
    }
    root as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// Around every power of two, where carries are.
    fn edges() -> Vec<u64> {
        let around = |b: u32| [(1_u64 << b).wrapping_sub(1), 1 << b, (1_u64 << b).wrapping_add(1)];
        (0..64).flat_map(around).chain([u64::MAX, 60_000, 60_000_000]).collect()
    }

    #[test]
    fn as_the_library_does_it() {
        for a in edges() {
            assert_eq!(u64::from(square_root(a)), a.isqrt());
            for b in edges() {
                assert_eq!(divide(a, b), a.checked_div(b), "{a} / {b}");
                let b = b as u32;
                assert_eq!(wide_product(a, b), u128::from(a) * u128::from(b), "{a} * {b}");
            }
        }
    }
}
