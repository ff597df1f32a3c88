//! A simulated run beside its forecast and beside what was true in its world, for people.

use draught::event::{Event, PumpEnd};
use draught::step::Step;
use draught::units::RawVolume;

use super::paint::Paint;
use super::simulate::Simulated;
use super::simulate_record::{Clock, end_word};
use super::table::{Side, Table};
use crate::bench::{Parted, Share};
use crate::plan::format;
use crate::report::numbers;

/// How the run compares.
pub(super) fn text(s: &Simulated<'_>, paint: Paint) -> String {
    let (comparison, total) = (&s.comparison, &s.outcome.record.total);
    let mut text = String::new();
    match comparison.parted {
        Some(parted) => text += &format!("{}\n", paint.bad(&parted_words(s, &parted))),
        None if comparison.worst_ms == 0 => {
            // Beside the wall clock they stand a little off then.
            let by = if s.world.clock.wall_gain_ppb == 0 { "" } else { " of the pump's timer" };
            text += &format!("every start and stop as forecast, to the millisecond{by}\n");
        }
        None => {
            let worst = format::distance(comparison.worst_ms);
            text += &format!("every start and stop as forecast, within {worst}{}\n", why(s));
        }
    }
    let mut table = Table::new(&[Side::Left, Side::Right, Side::Left]).gap(2);
    let holds = s.ready.table.steps().iter().any(|s| matches!(s, Step::HoldUntilResumed { .. }));
    let metered = |from: RawVolume| match numbers::difference(total.volume, from) {
        0.0 => "metered exactly".to_owned(),
        off => format!("metered {}", numbers::percent(off)),
    };
    if s.ready.outlook.volume().is_some() {
        let label = if holds { "forecast for this hold" } else { "forecast" };
        let forecast = comparison.forecast;
        table.row([label.to_owned(), numbers::volume(forecast), metered(forecast)]);
    }
    let truth = total.truly_drawn;
    let label = "true volume in this world".to_owned();
    let cause = match &s.pump {
        Some(pump) => causes(s, &pump.share),
        None if s.world.sensor.gain_error == 0.0 => String::new(),
        None => format!(" (sensor gain {})", numbers::percent(s.world.sensor.gain_error)),
    };
    table.row([label, numbers::volume(truth), format!("{}{cause}", metered(truth))]);
    text + &table.render()
}

/// Why a whole pump metered more or less than it truly drew: parts of the true volume that add up to the difference.
fn causes(s: &Simulated<'_>, share: &Share) -> String {
    let truly = share.truly.as_raw() as f64;
    if truly == 0.0 {
        return String::new();
    }
    let unrecorded = -(share.unrecorded().as_raw() as f64) / truly;
    let leaked = share.leaked.as_raw() as f64 / truly;
    let covered = (share.covered.as_raw() as f64 + share.leaked.as_raw() as f64) / truly;
    let gain = s.world.sensor.gain_error * covered;
    let all = numbers::difference(share.metered, share.truly);
    let rest = all - unrecorded - leaked - gain;
    let parts = [
        ("sensor gain", gain),
        ("leak past the sampler", leaked),
        ("in no record", unrecorded),
        ("the rest", rest),
    ];
    let said: Vec<String> = parts
        .iter()
        .filter(|(_, part)| part.abs() >= 0.000_05)
        .map(|(what, part)| format!("{what} {}", numbers::percent(*part)))
        .collect();
    if said.is_empty() { String::new() } else { format!(": {}", said.join(", ")) }
}

/// What moves instants in a run that goes as forecast.
fn why(s: &Simulated<'_>) -> String {
    if s.pump.is_some() {
        return ", by a crystal that is not perfect and readings that are a second apart"
            .to_owned();
    }
    let volumes = s.ready.table.steps().iter().any(|s| matches!(s, Step::DrawVolume { .. }));
    let drifts = s.world.clock.wall_gain_ppb != 0;
    match (volumes, drifts) {
        (true, true) => ": a volume takes what time it takes, and the wall clock drifts".to_owned(),
        (true, false) => ": a volume takes what time it takes".to_owned(),
        (false, true) => ": the wall clock drifts".to_owned(),
        (false, false) => String::new(),
    }
}

fn parted_words(s: &Simulated<'_>, parted: &Parted) -> String {
    let at = parted.at.wall.map(|w| Clock::of(s).rounded(w));
    let at = at.map_or(String::new(), |w| format!(", {}", s.ready.time.stamp(w)));
    let word = |event: Option<Event>| match event {
        None => "nothing more".to_owned(),
        Some(Event::PumpingEnded(p)) => match p.by {
            PumpEnd::Limit => format!("step {} ends at its at-most", p.step.get()),
            PumpEnd::Volume => format!("step {} ends when its volume is full", p.step.get()),
            PumpEnd::Time | PumpEnd::Stopped => format!("step {} ends in time", p.step.get()),
            PumpEnd::Tripped(_) => format!("step {}: a limit trips", p.step.get()),
            PumpEnd::Outage => format!("step {}: the power fails", p.step.get()),
        },
        Some(Event::AppointmentMissed { step, .. }) => format!("step {} is missed", step.get()),
        Some(Event::AppointmentMet { step, .. }) => format!("step {} is met", step.get()),
        Some(Event::RunLost { step, .. }) => format!("step {} is passed over", step.get()),
        Some(Event::PassSkipped { step }) => format!("the pass of step {} is skipped", step.get()),
        Some(Event::PumpingBegan { step, .. }) => format!("step {} pumps", step.get()),
        Some(Event::Ended(reason)) => format!("the event ends ({})", end_word(Some(reason))),
        Some(_) => "another step".to_owned(),
    };
    format!(
        "not as forecast{at}\n  forecast: {}\n  happened: {}",
        word(parted.expected),
        word(parted.happened)
    )
}
