//! How calls are drawn by lot.

use proptest::prelude::*;

use super::{Clock, Move, Wanted, When};

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
    ];
    proptest::option::weighted(0.2, (any::<bool>(), wanted))
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
    (when(), clock(), 0..2_000u16, 0..3_000_000u32, asks())
        .prop_map(|(when, clock, flow, loose, asks)| Move { when, clock, flow, loose, asks })
}
