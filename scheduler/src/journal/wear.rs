//! How long flash lasts.

use crate::arithmetic::divide;

/// What a ring does to its flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wear {
    /// Pages erased a day, in hundredths, all pages together.
    pub erases_per_day_hundredths: u64,
    /// Days until every page was erased as often as its maker promises; fractions dropped.
    pub days: u64,
}

/// What a ring is used for, in numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Use {
    /// One slot in so many ms, day and night.
    pub interval_ms: u32,
    /// The stride of a slot in bytes.
    pub stride: u32,
    /// The size of a page in bytes.
    pub page: u32,
    /// How many pages the ring has.
    pub pages: u16,
    /// How many erases the maker of the flash promises.
    pub endurance: u32,
}

const DAY_MS: u64 = 86_400_000;

/// The wear of a ring: one erase for every page full of slots. `None` when a number is 0 or no slot fits a page.
///
/// ```
/// use draught::journal::{Use, wear};
/// // Once a minute, 64 slots of 64 B a page, and 10,000 erases promised: two pages last 2.4 years, eight 9.7.
/// let minutes = Use { interval_ms: 60_000, stride: 64, page: 4096, pages: 2, endurance: 10_000 };
/// let two = wear(minutes).unwrap();
/// assert_eq!((two.erases_per_day_hundredths, two.days), (2250, 888));
/// assert_eq!(wear(Use { pages: 8, ..minutes }).unwrap().days, 3555);
/// // Every 4 s, for a board that has no warning of a failing supply: eight pages of 100,000 erases.
/// let warned = Use { interval_ms: 4_000, pages: 8, endurance: 100_000, ..minutes };
/// assert_eq!(wear(warned).unwrap().days, 2370);
/// ```
#[must_use]
pub const fn wear(of: Use) -> Option<Wear> {
    let Some(per_page) = divide(of.page as u64, of.stride as u64) else { return None };
    // A page lasts this long.
    let page_ms = per_page.saturating_mul(of.interval_ms as u64);
    let Some(erases_per_day_hundredths) = divide(DAY_MS * 100, page_ms) else { return None };
    let all = (of.pages as u64).saturating_mul(of.endurance as u64);
    // Numbers too large for the exact way last longer than anyone can wait: whole days a page are near enough.
    let days = match page_ms.checked_mul(all) {
        Some(ms) => divide(ms, DAY_MS),
        None => match divide(page_ms, DAY_MS) {
            Some(days) => Some(days.saturating_mul(all)),
            None => None,
        },
    };
    match days {
        Some(days) => Some(Wear { erases_per_day_hundredths, days }),
        None => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTES: Use =
        Use { interval_ms: 60_000, stride: 64, page: 4096, pages: 2, endurance: 10_000 };

    #[test]
    fn nothing_divides_by_zero() {
        for of in [
            Use { interval_ms: 0, ..MINUTES },
            Use { stride: 0, ..MINUTES },
            Use { stride: 4097, ..MINUTES },
            Use { page: 0, ..MINUTES },
        ] {
            assert_eq!(wear(of), None, "{of:?}");
        }
        assert_eq!(wear(Use { endurance: 0, ..MINUTES }).unwrap().days, 0);
    }

    #[test]
    fn the_largest_numbers_saturate() {
        let most = Use {
            interval_ms: u32::MAX,
            stride: 1,
            page: u32::MAX,
            pages: u16::MAX,
            endurance: u32::MAX,
        };
        assert!(wear(most).unwrap().days > 1 << 60);
        assert_eq!(wear(most).unwrap().erases_per_day_hundredths, 0);
    }
}
