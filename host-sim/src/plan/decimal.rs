//! Exact non-negative numbers: a decimal as written, times and over whole numbers.

/// A fraction of two whole numbers, not below zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Decimal {
    over: u128,
    under: u128,
}

/// Why a text is not a decimal number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NotADecimal {
    /// It begins with a minus.
    Negative,
    /// It has a comma in it.
    Comma,
    /// More than 18 digits.
    TooLong,
    /// Anything else.
    Malformed,
}

/// Reads digits with at most one point, such as "2", "2.5", "0.001"; `_` may separate digits.
pub(crate) fn parse(text: &str) -> Result<Decimal, NotADecimal> {
    if text.starts_with('-') {
        return Err(NotADecimal::Negative);
    }
    if text.contains(',') {
        return Err(NotADecimal::Comma);
    }
    let text = text.strip_prefix('+').unwrap_or(text);
    let (whole, fraction) = text.split_once('.').unwrap_or((text, "0"));
    let grouped =
        |s: &str| s.split('_').all(|g| !g.is_empty() && g.bytes().all(|b| b.is_ascii_digit()));
    if !grouped(whole) || !grouped(fraction) {
        return Err(NotADecimal::Malformed);
    }
    let digits: String = whole.chars().chain(fraction.chars()).filter(|c| *c != '_').collect();
    if digits.len() > 18 {
        return Err(NotADecimal::TooLong);
    }
    let places = fraction.chars().filter(|c| *c != '_').count() as u32;
    let over = digits.parse().map_err(|_| NotADecimal::Malformed)?;
    Ok(Decimal { over, under: 10_u128.pow(places) })
}

impl Decimal {
    pub(crate) const ZERO: Self = Self { over: 0, under: 1 };

    pub(crate) fn times(self, n: u64) -> Option<Self> {
        Some(Self { over: self.over.checked_mul(n.into())?, under: self.under })
    }

    pub(crate) fn over(self, n: u64) -> Option<Self> {
        Some(Self { over: self.over, under: self.under.checked_mul(n.into())? })
    }

    pub(crate) fn plus(self, other: Self) -> Option<Self> {
        let a = self.over.checked_mul(other.under)?;
        let b = other.over.checked_mul(self.under)?;
        Some(
            Self { over: a.checked_add(b)?, under: self.under.checked_mul(other.under)? }.reduced(),
        )
    }

    fn reduced(self) -> Self {
        let (mut a, mut b) = (self.over, self.under);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        Self { over: self.over / a, under: self.under / a }
    }

    /// The value, if it is a whole number that fits.
    pub(crate) fn whole(self) -> Option<u64> {
        if !self.over.is_multiple_of(self.under) {
            return None;
        }
        // Beyond u64 is far beyond every range, which is what the caller checks next.
        Some(u64::try_from(self.over / self.under).unwrap_or(u64::MAX))
    }

    /// The whole numbers just below and above.
    pub(crate) fn neighbours(self) -> (u64, u64) {
        let below = u64::try_from(self.over / self.under).unwrap_or(u64::MAX);
        (below, below.saturating_add(1))
    }

    /// As a decimal with up to three places, rounded to nearest, for people.
    pub(crate) fn approximately(self) -> String {
        let thousandths = (self.over.saturating_mul(1_000) + self.under / 2) / self.under;
        let text = format!("{}.{:03}", thousandths / 1_000, thousandths % 1_000);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_exact() {
        let tenth = parse("0.1").unwrap();
        let sum = (0..10).fold(Decimal::ZERO, |sum, _| sum.plus(tenth).unwrap());
        assert_eq!(sum.whole(), Some(1));
        assert_eq!(parse("1_000.5").unwrap().times(2).unwrap().whole(), Some(2_001));
        for text in ["", ".", "1.", ".5", "1_", "_1", "1e3", "1.2.3", "+-1", "٣"] {
            assert_eq!(parse(text), Err(NotADecimal::Malformed), "{text:?}");
        }
        assert_eq!(parse("-0"), Err(NotADecimal::Negative));
        assert_eq!(parse("1234567890123456789"), Err(NotADecimal::TooLong));
    }
}
