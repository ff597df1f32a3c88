//! A schedule is armed and called: `body of a block | what the clocks, the meter and the operator do`.

mod script;
mod watch;
mod world;

use draught::prelude::*;
use draught::wire;

use crate::block::sealed;
use crate::counts::Counts;
use crate::mutate::body_len;

use self::script::Script;
use self::world::World;

static COUNTS: Counts<5> =
    Counts::new(["executions", "past the CRC", "decoded", "armed", "transitions"]);

/// One input; whether it has a schedule in it, and so is worth keeping: `block` looks after the others.
///
/// # Panics
/// When a promise is broken.
#[must_use]
pub fn one(input: &[u8]) -> bool {
    COUNTS.execution();
    COUNTS.add(1, 1);
    let Some(len) = body_len(input) else { return false };
    let mut table = StepTable::<255>::empty();
    if wire::decode_into(&sealed(&input[..len]), &mut table).is_err() {
        return false;
    }
    COUNTS.add(2, 1);
    let table = table.checked().expect("decoding applies every table rule");
    let mut script = Script(&input[len..]);
    let Some(mut world) = World::armed(table, &mut script) else { return true };
    COUNTS.add(3, 1);
    while !script.0.is_empty() && world.goes_on() {
        world.play(&mut script);
    }
    world.run_out();
    COUNTS.add(4, world.transitions());
    true
}
