//! What may happen to a pump, drawn by lot.

use draught::table::{Fault, Outage, Resume, ResumeWithin, RetryEvery};
use draught_tests::plans::{Scene, scene};
use proptest::prelude::*;

/// What happens next.
#[derive(Clone, Copy, Debug)]
pub enum Deed {
    /// The machine is called at its wake.
    Wake,
    /// So many thousandths of the way to it.
    Early(u16),
    /// So many ms after it.
    Late(u32),
    /// A limit trips.
    Trip(u8),
    /// The power fails for so many ms, and the clock that knows the date with it or not.
    Cut(u32, bool),
    /// The clock that knows the date is set.
    SetClock,
    /// The operator confirms a sampler.
    Confirm,
    /// The operator resumes whatever hold is under way.
    ResumeHold,
}

pub fn deed() -> impl Strategy<Value = Deed> {
    let gap = prop_oneof![
        1 => Just(0u32),
        3 => 1..=600_000u32,
        2 => 1..=7_200_000u32,
        1 => 1..=200_000_000u32,
    ];
    prop_oneof![
        8 => Just(Deed::Wake),
        3 => (0..1_000u16).prop_map(Deed::Early),
        2 => (1..=5_000_000u32).prop_map(Deed::Late),
        4 => (0..5u8).prop_map(Deed::Trip),
        4 => (gap, prop::bool::weighted(0.15)).prop_map(|(ms, blind)| Deed::Cut(ms, blind)),
        2 => Just(Deed::SetClock),
        1 => Just(Deed::Confirm),
        1 => Just(Deed::ResumeHold),
    ]
}

fn fault() -> impl Strategy<Value = Fault> {
    let retry = (prop_oneof![1..=600u32, 1..=86_400u32], 1..=4u8).prop_map(|(seconds, times)| {
        Fault::Retry {
            every: RetryEvery::from_ms(seconds * 1_000).unwrap(),
            times: times.try_into().unwrap(),
        }
    });
    prop_oneof![1 => Just(Fault::Stop), 1 => Just(Fault::Close), 5 => retry]
}

fn outage() -> impl Strategy<Value = Outage> {
    let minutes = prop_oneof![10..=1_600u32, 1..=44_640u32];
    let resume = minutes.prop_map(|minutes| Resume {
        within: ResumeWithin::from_ms(minutes * 60_000).unwrap(),
        while_charging: false,
    });
    (0..5u8, resume).prop_map(|(rule, resume)| match rule {
        0..2 => Outage::KeepStopTime(resume),
        2..4 => Outage::MakeUpTime(resume),
        _ => Outage::Abandon,
    })
}

pub fn troubled_scene() -> impl Strategy<Value = Scene> {
    (scene(), fault(), outage()).prop_map(|(mut scene, fault, outage)| {
        (scene.settings.fault, scene.settings.outage) = (fault, outage);
        scene
    })
}
