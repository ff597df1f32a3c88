//! Which world a plan is simulated in.

use draught::step::Step;
use draught::units::{Quantity, TargetKind};

use super::common;
use super::files::{Wanted, read_source};
use super::io::{Failure, Io};
use crate::bench::worlds::{BUILT_IN, by_name};
use crate::bench::{PumpRefused, Resume, World};
use crate::plan::{Ready, format, quantity};
use crate::report::numbers;

/// The world that `--world` names, with what `--resume-after` says of it.
///
/// # Errors
/// Wrong use when there is no such world; [`Failure::Data`] when the file has errors.
pub(super) fn world(
    named: Option<&str>,
    resume_after: Option<&str>,
    io: &mut Io<'_>,
) -> Result<World, Failure> {
    let mut world = match named {
        None => World::default(),
        Some(name) => named_or_file(name, io)?,
    };
    match resume_after {
        None => {}
        Some("never") => world.operator.resume = Resume::Never,
        Some(text) => world.operator.resume = Resume::After(duration("--resume-after", text)?),
    }
    Ok(world)
}

/// A world by its name, or from a file.
///
/// # Errors
/// Wrong use when there is no such world; [`Failure::Data`] when the file has errors.
pub(super) fn named_or_file(name: &str, io: &mut Io<'_>) -> Result<World, Failure> {
    let source = match by_name(name) {
        Some(built_in) => built_in.source(),
        // A bare word that is no file is meant as a name.
        None if is_like_a_name(name) => {
            let names: Vec<&str> = BUILT_IN.iter().map(|world| world.name).collect();
            let help = format!("give a file, or one of {}", names.join(", "));
            return Err(Failure::Usage(format!("there is no world {name:?}"), help));
        }
        None => read_source(name, Wanted::World, io)?,
    };
    World::read(&source).or_else(|findings| {
        let all = findings.sorted();
        common::say_findings(&all, &source, io.colour_err, io.err)?;
        writeln!(io.err, "{}. {name} cannot be used.", common::verdict(&findings))?;
        Err(Failure::Data)
    })
}

/// No file by this name, and nothing in it that a path has.
fn is_like_a_name(name: &str) -> bool {
    let plain = name.len() > 1 && !name.contains(['.', '/', '\\']);
    plain && !std::path::Path::new(name).exists()
}

/// A time on the command line, in ms.
pub(super) fn duration(option: &str, text: &str) -> Result<u64, Failure> {
    if matches!(text.trim(), "0 s" | "0 min" | "0 h") {
        return Ok(0);
    }
    quantity::parse(text, Quantity::Duration)
        .map(u64::from)
        .map_err(|e| Failure::Usage(format!("{option} {text:?}: {}", e.message), e.help))
}

/// The flows of a plan's pumping, least and most, in µL/min; `None` when it keeps a pressure constant, or never pumps.
fn flows(ready: &Ready) -> Option<(u32, u32)> {
    let pumping = ready.table.steps().iter().filter(|step| step.is_pumping());
    let own = pumping.map(|step: &Step| step.own_target());
    let mut range = None;
    for target in own.map(|own| own.unwrap_or(ready.table.settings().target)) {
        let TargetKind::Flow(flow) = target.kind() else { return None };
        let flow = flow.ul_per_min();
        let (least, most) = range.unwrap_or((flow, flow));
        range = Some((flow.min(least), flow.max(most)));
    }
    range
}

/// The built-in worlds with a whole pump that draws what a plan wants.
fn fitting(ready: &Ready) -> Vec<&'static str> {
    let Some((least, most)) = flows(ready) else { return Vec::new() };
    let fits = |world: &World| {
        world.plant.as_ref().is_some_and(|plant| {
            f64::from(least) >= plant.rated.least && f64::from(most) <= plant.rated.most
        })
    };
    let worlds = BUILT_IN.iter().filter(|w| w.world().is_some_and(|world| fits(&world)));
    worlds.map(|world| world.name).collect()
}

/// One line: in which built-in world a whole pump runs this plan.
pub(super) fn whole_pump_line(ready: &Ready) -> String {
    match (fitting(ready).first(), flows(ready)) {
        (Some(name), _) => {
            format!("Schedule and meter only; --world {name} runs a whole pump.\n")
        }
        (None, Some((least, most))) => {
            let flows = numbers::flow_range(least.into(), most.into());
            format!("Schedule and meter only; no built-in world has a whole pump for {flows}.\n")
        }
        (None, None) => {
            "Schedule and meter only; --world low-flow-tube runs a whole pump.\n".to_owned()
        }
    }
}

/// Why the pump of a world refuses a plan, and what to do.
pub(super) fn refused(ready: &Ready, world: &World, refused: &PumpRefused) -> (String, String) {
    let rated = world.plant.as_ref().map(|plant| plant.rated);
    let (least, most) = rated.map_or((0.0, 0.0), |r| (r.least, r.most));
    let outside = |flow: u32| f64::from(flow) < least || f64::from(flow) > most;
    let wrong = flows(ready).and_then(|(a, b)| [a, b].into_iter().find(|flow| outside(*flow)));
    let Some(flow) = wrong else {
        return (refused.to_string(), "change the plan, or give another world".to_owned());
    };
    let why = format!(
        "it draws {}, and the plan asks for {}",
        numbers::flow_range(least, most),
        format::flow(flow.into())
    );
    let help = match fitting(ready).first() {
        Some(name) => format!("--world {name} has a pump for this plan"),
        None => "no built-in world has a pump for this plan; give one with other [rated] flows"
            .to_owned(),
    };
    (why, help)
}
