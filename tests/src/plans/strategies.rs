//! How sketches are drawn by lot.

use core::num::NonZeroU8;

use draught::calendar::Date;
use draught::step::{Sampler, Then};
use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught::units::{Flow, Pressure, Target};
use proptest::option::weighted as sometimes;
use proptest::prelude::*;
use proptest::sample::select;

use super::{DAY, Group, MIN, Part, Scene, Sketch, When};

/// Durations from a ms to days; many are whole quarter-hours, so that ends and appointments coincide.
fn duration() -> impl Strategy<Value = u32> {
    prop_oneof![
        4 => (1..=16u32).prop_map(|q| q * 15 * MIN),
        2 => (1..=120u32).prop_map(|s| s * 1_000),
        2 => (1..=48u32).prop_map(|h| h * 60 * MIN),
        1 => 1..=5u32,
        1 => 1..=100_000_000u32,
        1 => (1..=5u32).prop_map(|d| d * 24 * 60 * MIN),
    ]
}

/// How far ahead a run-until may end: mostly a day or more, so that it is not lost.
fn at_most() -> impl Strategy<Value = u32> {
    prop_oneof![
        4 => (24..=50u32).prop_map(|h| h * 60 * MIN),
        2 => (1..=23u32).prop_map(|h| h * 60 * MIN),
        1 => duration(),
    ]
}

fn when() -> impl Strategy<Value = When> {
    prop_oneof![
        3 => (0..96u32).prop_map(When::Quarter),
        2 => (-8..=48i64).prop_map(|q| When::AfterArm(q * 900_000)),
        2 => (-70_000..=70_000i64).prop_map(When::AfterArm),
        1 => Just(When::AfterArm(0)),
        1 => (0..DAY).prop_map(When::AfterArm),
    ]
}

/// Flow mostly, pressure sometimes.
pub fn target() -> impl Strategy<Value = Target> {
    let flow = |ul: u32| Target::flow(Flow::from_ul_per_min(ul).expect("in range"));
    let pressure = |pa: u32| Target::pressure(Pressure::from_pa(pa).expect("in range"));
    prop_oneof![
        6 => select(vec![50_000, 200_000, 1_700_000, 2_000_000, 2_200_000, 16_670_000])
            .prop_map(flow),
        2 => (1..=20_000_000u32).prop_map(flow),
        1 => (1..=200_000u32).prop_map(pressure),
    ]
}

fn own() -> impl Strategy<Value = Option<Target>> {
    prop_oneof![3 => Just(None), 1 => target().prop_map(Some)]
}

fn group() -> impl Strategy<Value = Group> {
    (
        sometimes(0.3, 0..20u16),
        sometimes(0.75, when()),
        sometimes(0.35, 1..=127u8),
        sometimes(0.3, (-30..=12i16, prop_oneof![4 => 1..=14u16, 1 => 1..=366u16])),
        any::<u8>(),
    )
        .prop_map(|(date, time, weekdays, cycle, turned)| Group {
            date,
            time,
            weekdays,
            cycle,
            turned,
        })
}

fn leaf() -> impl Strategy<Value = Part> {
    prop_oneof![
        3 => (duration(), own()).prop_map(|(d, t)| Part::RunFor(d, t)),
        3 => group().prop_map(Part::Waits),
        2 => (when(), at_most(), own()).prop_map(|(w, d, t)| Part::RunUntil(w, d, t)),
        2 => (duration(), duration(), own()).prop_map(|(v, d, t)| Part::Draw(v, d, t)),
        1 => duration().prop_map(Part::Hold),
        1 => (duration(), prop_oneof![Just(Then::Continue), Just(Then::Close)])
            .prop_map(|(d, then)| Part::HoldUntilResumed(d, then)),
    ]
}

fn sampler() -> impl Strategy<Value = Sampler> {
    prop_oneof![Just(Sampler::Same), Just(Sampler::Fresh), Just(Sampler::FreshConfirmed)]
}

fn part() -> impl Strategy<Value = Part> {
    leaf().prop_recursive(3, 16, 4, |inner| {
        (
            sometimes(0.4, 0..10u16),
            proptest::collection::vec(inner, 1..4),
            prop_oneof![12 => 2..=4u16, 2 => 5..=20u16, 1 => 21..=65_535u16],
            sampler(),
        )
            .prop_map(|(lead, body, passes, sampler)| Part::Repeat {
                lead,
                body,
                passes,
                sampler,
            })
    })
}

/// Days after 2000-01-01 on which schedules are armed.
fn day() -> impl Strategy<Value = i64> {
    let ymd = |y, m, d| i64::from(Date::from_ymd(y, m, d).expect("a date").days());
    // Up to five days before and after the days at which calendars go wrong.
    let near = move |y, m, d| (-5..=5i64).prop_map(move |off| ymd(y, m, d) + off);
    prop_oneof![
        12 => ymd(2026, 1, 1)..=ymd(2030, 12, 31),
        1 => near(2028, 2, 29),
        1 => near(2027, 12, 31),
        1 => near(2100, 2, 28),
        1 => near(2135, 12, 20),
        1 => ymd(2020, 1, 1)..ymd(2135, 11, 30),
    ]
}

/// Any fault rule.
pub fn fault() -> impl Strategy<Value = Fault> {
    let every = prop_oneof![
        2 => (1..=60u32).prop_map(|s| s * 1_000),
        2 => (1..=16u32).prop_map(|q| q * 15 * MIN),
        1 => 1_000..=86_400_000u32,
    ];
    let every = every.prop_map(|ms| RetryEvery::from_ms(ms).expect("in range"));
    let times = prop_oneof![3 => 1..=3u8, 1 => 1..=255u8];
    let times = times.prop_map(|n| NonZeroU8::new(n).expect("from 1 on"));
    prop_oneof![
        2 => Just(Fault::Stop),
        4 => (every, times).prop_map(|(every, times)| Fault::Retry { every, times }),
        1 => Just(Fault::Close),
    ]
}

/// Any outage rule.
pub fn outage() -> impl Strategy<Value = Outage> {
    let within = prop_oneof![
        2 => Just(ResumeWithin::DEFAULT.as_ms()),
        2 => (1..=48u32).prop_map(|h| h * 60 * MIN),
        1 => 1_000..=1_000_000_000u32,
        1 => (1..=31u32).prop_map(|d| d * 24 * 60 * MIN),
    ];
    let within = within.prop_map(|ms| ResumeWithin::from_ms(ms).expect("in range"));
    let resume = || {
        let charging = any::<bool>();
        (within.clone(), charging)
            .prop_map(|(within, while_charging)| Resume { within, while_charging })
    };
    prop_oneof![
        4 => resume().prop_map(Outage::KeepStopTime),
        3 => resume().prop_map(Outage::MakeUpTime),
        1 => Just(Outage::Abandon),
    ]
}

/// Any sketch.
pub fn sketch() -> impl Strategy<Value = Sketch> {
    let time = prop_oneof![
        3 => (0..96i64).prop_map(|q| q * 900_000),
        2 => 0..DAY,
        1 => (0..120i64).prop_map(|ms| (ms - 60).rem_euclid(DAY)),
    ];
    let mono = prop_oneof![2 => 0..1_000_000_000u64, 1 => Just(0u64), 1 => 0..1u64 << 50];
    let tolerance = prop_oneof![
        3 => Just(60_000u32),
        1 => Just(5_000u32),
        1 => (1..=96u32).prop_map(|q| q * 15 * MIN),
        1 => 5_000..=86_400_000u32,
    ];
    let offset = prop_oneof![2 => -48..=56i8, 1 => Just(0i8), 1 => Just(-28i8)];
    let start_by = prop_oneof![1 => 0..40_000i64, 1 => -60..3_000i64, 1 => 0..60i64];
    (
        (day(), time, proptest::bool::weighted(0.05), mono, offset),
        (target(), tolerance, sometimes(0.3, start_by), fault(), outage()),
        // Now and then an operator starts it, so that the first run may come late.
        (sometimes(0.1, 1..=48u32), proptest::collection::vec(part(), 1..6)),
    )
        .prop_map(|(when, rules, (hold, mut parts))| {
            if let Some(hours) = hold {
                parts.insert(0, Part::HoldUntilResumed(hours * 60 * MIN, Then::Continue));
            }
            let (day, time, clockless, mono, offset) = when;
            let (target, tolerance, start_by, fault, outage) = rules;
            let wall = (day, time);
            Sketch {
                wall,
                clockless,
                mono,
                offset,
                target,
                tolerance,
                start_by,
                fault,
                outage,
                parts,
            }
        })
}

/// Any legal scene.
pub fn scene() -> impl Strategy<Value = Scene> {
    sketch().prop_filter_map("breaks a table rule", |s| s.scene())
}
