//! A step table as compact canonical bytes: strict reader, writer, CRC.
//!
//! The bytes are described in `docs/encoding.md`, completely enough to write another reader from. One
//! schedule has exactly one block, so the CRC at its end is the schedule's id.
//!
//! ```
//! use draught::prelude::*;
//! use draught::wire;
//!
//! let target = Target::flow(Flow::from_ul_per_min(2_500_000)?); // 2.5 L/min
//! let mut table = StepTable::<8>::new(Settings::new(UtcOffset::UTC, target));
//! for step in [
//!     Step::WaitForDate(Date::from_ymd(2027, 3, 8).unwrap()),
//!     Step::WaitForTime(TimeOfDay::from_hms(7, 30, 0).unwrap()),
//!     Step::RunFor { run: DurationMs::from_ms(15 * 60_000)?, target: None },
//!     Step::Finish,
//! ] {
//!     table.push(step).unwrap();
//! }
//! let mut bytes = [0; wire::max_len(8)];
//! let len = wire::encode(table.checked().unwrap(), &mut bytes).unwrap();
//! assert_eq!(len, 20);
//!
//! let mut read_back = StepTable::<8>::empty();
//! wire::decode_into(&bytes[..len], &mut read_back).unwrap();
//! assert_eq!(read_back, table);
//! # Ok::<(), draught::units::OutOfRange>(())
//! ```

mod crc;
mod grammar;
mod layout;
mod observe;
mod reader;
mod refused;
mod text;

use heapless::VecView;

use self::crc::Crc32c;
use self::observe::{Unwatched, Watched};
use self::reader::Reader;
use crate::audit;
use crate::step::Step;
use crate::table::{Settings, StepTable};

pub use self::layout::{VERSION, max_len};
pub use self::observe::{Field, FieldName, Observer, Value};
pub use self::refused::{Detail, RefusalCode, Refused};
pub use crate::audit::STEPS_MAX;

/// The CRC-32C that stands at the end of a block whose other bytes are these.
///
/// For tools that look into damaged blocks or make blocks for tests; [`encode`] writes it by itself.
#[must_use]
pub fn seal(bytes: &[u8]) -> [u8; 4] {
    Crc32c::of(bytes).bytes()
}

/// Reads a block into a table.
///
/// # Errors
/// [`Refused`]: the first thing that is wrong, in the order of [`RefusalCode::ALL`] and of the bytes.
/// A block that its bytes refuse leaves the table as it was; one that only a table rule refuses
/// leaves it empty. So nothing is ever half-applied.
pub fn decode_into<const N: usize>(bytes: &[u8], table: &mut StepTable<N>) -> Result<(), Refused> {
    let (settings, steps) = table.parts_mut();
    decode(bytes, settings, steps)
}

/// Reads the bytes twice, so that there need not be a second table: once for whether they are good,
/// once to keep what they say.
fn decode(bytes: &[u8], settings: &mut Settings, steps: &mut VecView<Step>) -> Result<(), Refused> {
    let room = steps.capacity();
    let mut scratch = Settings::EMPTY;
    let mut reader = Reader::new(Unwatched);
    reader.open(bytes);
    reader.read(&mut scratch, None, room, room);
    reader.end();
    if reader.is_good() {
        *settings = Settings::EMPTY;
        steps.clear();
        reader.read(settings, Some(steps), room, room);
        if let Err(fault) = audit::table_rules(steps) {
            *settings = Settings::EMPTY;
            steps.clear();
            // Once more as far as the step at fault, for its offset.
            reader.read(&mut scratch, None, fault.step.index(), room);
            reader.step = Some(fault.step);
            reader.refuse_at(reader.at(), RefusalCode::Table(fault.rule));
        }
    }
    reader.verdict()
}

/// Reads a block like [`decode_into`] for a table of `capacity` steps, but keeps nothing: tells an
/// observer of each field instead. Table rules are not looked at.
///
/// # Errors
/// [`Refused`]; the observer has then been told of every good field before the one at fault.
pub fn observe(bytes: &[u8], capacity: usize, observer: impl Observer) -> Result<(), Refused> {
    let mut reader = Reader::new(Watched(observer));
    reader.open(bytes);
    reader.read(&mut Settings::EMPTY.clone(), None, capacity, capacity);
    reader.end();
    reader.verdict()
}
