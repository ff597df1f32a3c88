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

pub(crate) mod crc;
mod grammar;
mod layout;
mod observe;
mod reader;
mod refused;
mod text;
mod writer;

use core::fmt;

use heapless::VecView;

use self::crc::Crc32c;
use self::observe::{Unwatched, Watched};
use self::reader::Reader;
use self::writer::Writer;
use crate::audit;
use crate::step::Step;
use crate::table::{Settings, StepTable, TableRef};

pub use self::layout::{VERSION, max_len};
pub use self::observe::{Field, FieldName, Observer, Value};
pub use self::refused::{BufferTooSmall, Detail, RefusalCode, Refused};
pub use crate::audit::STEPS_MAX;

/// What a schedule is known by: the four CRC bytes at the end of its block.
///
/// Schedules that differ have different blocks; two of them share an id once in 2³² by chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ScheduleId(pub [u8; 4]);

impl fmt::Display for ScheduleId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

/// Writes the block of a table and gives its length.
///
/// A step's own target that is the schedule's target means the same as none and is written as none.
///
/// # Errors
/// [`BufferTooSmall`]; what the buffer holds then is no block. [`max_len`] says how large a buffer never is
/// too small.
pub fn encode(table: TableRef<'_>, out: &mut [u8]) -> Result<usize, BufferTooSmall> {
    let room = out.len();
    let (needed, _) = Writer::new(out).block(table);
    if needed > room { Err(BufferTooSmall { needed }) } else { Ok(needed) }
}

/// How many bytes [`encode`] writes.
#[must_use]
pub fn encoded_len(table: TableRef<'_>) -> usize {
    Writer::new(&mut []).block(table).0
}

/// The id of a table's schedule, without a buffer for its block.
///
/// ```
/// use draught::{prelude::*, wire};
/// let target = Target::flow(Flow::from_ul_per_min(2_000_000)?);
/// let mut table = StepTable::<2>::new(Settings::new(UtcOffset::UTC, target));
/// table.push(Step::Finish).unwrap();
/// let table = table.checked().unwrap();
/// let mut block = [0; wire::max_len(2)];
/// let len = wire::encode(table, &mut block).unwrap();
/// assert_eq!(wire::schedule_id(table).0, block[len - 4..len]);
/// # Ok::<(), draught::units::OutOfRange>(())
/// ```
#[must_use]
pub fn schedule_id(table: TableRef<'_>) -> ScheduleId {
    ScheduleId(Writer::new(&mut []).block(table).1)
}

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
