//! A counter that wraps.

use std::cell::Cell;
use std::num::NonZeroU32;

use draught::adapt::TickClock;
use draught::port::Monotonic;
use proptest::prelude::*;

fn hz(hz: u32) -> NonZeroU32 {
    NonZeroU32::new(hz).expect("a rate")
}

proptest! {
    #[test]
    fn no_tick_is_lost_however_it_is_asked(
        rate in prop_oneof![1_u32..3, 900_u32..1_100, Just(32_768), 1_u32..=u32::MAX],
        begin: u32,
        steps in prop::collection::vec(prop_oneof![0_u32..100, 0_u32..=i32::MAX as u32], 1..60),
    ) {
        let count = Cell::new(begin);
        let mut clock = TickClock::new(|| count.get(), hz(rate));
        let mut ticks = 0_u128;
        for step in steps {
            ticks += u128::from(step);
            count.set(count.get().wrapping_add(step));
            prop_assert_eq!(u128::from(clock.now().as_ms()), ticks * 1_000 / u128::from(rate));
        }
    }

    #[test]
    fn it_never_goes_back(counts in prop::collection::vec(any::<u32>(), 2..100)) {
        let count = Cell::new(0);
        let mut clock = TickClock::new(|| count.get(), hz(1_000));
        let mut before = clock.now();
        for next in counts {
            count.set(next);
            let now = clock.now();
            prop_assert!(now >= before);
            before = now;
        }
    }
}

#[test]
fn a_count_taken_out_of_order_adds_no_time() {
    let count = Cell::new(5_000);
    let mut clock = TickClock::new(|| count.get(), hz(1_000));
    for (next, ms) in [(5_100, 100), (5_099, 100), (5_000, 100), (5_101, 101)] {
        count.set(next);
        assert_eq!(clock.now().as_ms(), ms);
    }
}

#[test]
fn half_a_wrap_is_the_longest_that_may_pass() {
    for rate in [1, 1_000, 32_768, 1_000_000, u32::MAX] {
        let count = Cell::new(0);
        let mut clock = TickClock::new(|| count.get(), hz(rate));
        let longest_ms = clock.longest_sleep_ms();
        let ticks = u128::from(longest_ms) * u128::from(rate) / 1_000;
        for _ in 0..5 {
            let before = clock.now();
            count.set(count.get().wrapping_add(u32::try_from(ticks).unwrap()));
            assert!(clock.now().since(before).abs_diff(longest_ms) <= 1);
        }
        // A ms more is more than that.
        let thousandths = (u128::from(longest_ms) + 1) * u128::from(rate);
        assert!(thousandths > 1_000 * u128::from(i32::MAX.unsigned_abs()));
    }
}
