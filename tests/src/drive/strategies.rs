//! How calls are drawn by lot.

use proptest::prelude::*;

use draught::event::Limit;
use proptest::sample::select;

use super::{Clock, Failure, Move, Until, Wanted, When, Written};

/// Calls that come on time, early, late, bunched, or not for days.
pub fn when() -> impl Strategy<Value = When> {
    prop_oneof![
        5 => Just(When::Exact),
        2 => (0..1_000u16).prop_map(When::Early),
        2 => (1..=70_000u32).prop_map(When::Late),
        1 => (1..=10_000_000u32).prop_map(When::Late),
        1 => (-1..=1i8).prop_map(When::AtTolerance),
        1 => (-1..=1i8).prop_map(When::AtMidnight),
        1 => (any::<u8>(), -1..=1i8).prop_map(|(which, off)| When::AtTimeOf(which, off)),
        2 => (0..=2u32).prop_map(When::After),
        1 => (0..=200_000_000u32).prop_map(When::After),
        1 => (0..=3_000_000_000u32).prop_map(When::After),
    ]
}

fn clock() -> impl Strategy<Value = Clock> {
    prop_oneof![
        20 => Just(Clock::Runs),
        1 => Just(Clock::IsLost),
        2 => Just(Clock::IsFound),
        2 => (-2_000..=2_000i32).prop_map(Clock::IsSet),
        1 => (-54_000_000..=54_000_000i32).prop_map(Clock::IsSet),
    ]
}

fn asks() -> impl Strategy<Value = Option<(bool, Wanted)>> {
    let wanted = prop_oneof![
        6 => Just(Wanted::Resume),
        2 => (1..30u8).prop_map(Wanted::ResumeStep),
        6 => Just(Wanted::Confirm),
        1 => Just(Wanted::Stop),
        1 => Just(Wanted::Disarm),
        8 => select(&Limit::ALL[..]).prop_map(Wanted::Trip),
    ];
    proptest::option::weighted(0.3, (any::<bool>(), wanted))
}

/// One call in a world with good clocks and nobody near.
pub fn unattended() -> impl Strategy<Value = Move> {
    (when(), 500..1_500u16, 0..3_000_000u32).prop_map(|(when, flow, loose)| Move {
        when,
        flow,
        loose,
        ..Move::EXACT
    })
}

/// One call in a world in which anything may happen.
pub fn anything() -> impl Strategy<Value = Move> {
    (when(), clock(), 0..2_000u16, 0..3_000_000u32, asks()).prop_map(
        |(when, clock, flow, loose, asks)| Move { when, clock, flow, loose, asks, fails: None },
    )
}

/// One call in a world in which anything may happen, and the power fails now and then.
pub fn powerless() -> impl Strategy<Value = Move> {
    (anything(), proptest::option::weighted(0.15, failure()))
        .prop_map(|(next, fails)| Move { fails, ..next })
}

/// One call in a world with a good clock and nobody near, in which limits trip and the power flickers.
pub fn flickering() -> impl Strategy<Value = Move> {
    let when = prop_oneof![
        6 => Just(When::Exact),
        6 => (0..1_000u16).prop_map(When::Early),
        2 => (1..=70_000u32).prop_map(When::Late),
        2 => (0..=1u32).prop_map(When::After),
    ];
    let trip = select(&Limit::ALL[..]).prop_map(|limit| (true, Wanted::Trip(limit)));
    let until = prop_oneof![
        4 => (0..=600_000u32).prop_map(Until::After),
        1 => (-1..=1i8).prop_map(Until::Within),
        2 => (-1..=1i16).prop_map(Until::Wake),
        3 => (-30_000..=30_000i16).prop_map(Until::Wake),
    ];
    let fails = (failure(), until).prop_map(|(failure, until)| Failure {
        until,
        clock: Clock::Runs,
        ..failure
    });
    (
        (when, 500..1_500u16, 0..3_000_000u32),
        proptest::option::weighted(0.2, trip),
        proptest::option::weighted(0.2, fails),
    )
        .prop_map(|((when, flow, loose), asks, fails)| Move {
            when,
            flow,
            loose,
            asks,
            fails,
            ..Move::EXACT
        })
}

fn failure() -> impl Strategy<Value = Failure> {
    let checkpoint = prop_oneof![
        2 => Just(Written::Uncalled),
        2 => (1..=4u8).prop_map(Written::Within),
        2 => Just(Written::AtRest(0)),
        2 => (0..=1_000u16).prop_map(Written::AtRest),
    ];
    let until = prop_oneof![
        1 => (0..=2u32).prop_map(Until::After),
        3 => (0..=600_000u32).prop_map(Until::After),
        1 => (0..=200_000_000u32).prop_map(Until::After),
        2 => (-1..=1i8).prop_map(Until::Within),
        2 => (-1..=1i16).prop_map(Until::Wake),
        2 => (-30_000..=30_000i16).prop_map(Until::Wake),
    ];
    let clock = prop_oneof![
        12 => Just(Clock::Runs),
        2 => Just(Clock::IsLost),
        2 => Just(Clock::IsFound),
        2 => (-600_000..=600_000i32).prop_map(Clock::IsSet),
        1 => (-54_000_000..=54_000_000i32).prop_map(Clock::IsSet),
    ];
    (checkpoint, 0..=3u8, until, clock).prop_map(|(checkpoint, lost_calls, until, clock)| Failure {
        checkpoint,
        lost_calls,
        until,
        clock,
    })
}
