//! Everything of the journal, on flash of which nothing is known but its sizes.

use draught::journal::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use draught::journal::{Owner, Region, Ring, Seq, Shelf, ShelfError, Use, wear};
use draught::wire;

use crate::engine::{STEPS, Table};
use crate::opaque;

/// The bytes of a slot, as in the wear sums of the documents.
const STRIDE: usize = 64;

struct Chip;

impl Chip {
    /// Whatever it says.
    fn answer() -> Result<(), NorFlashErrorKind> {
        if opaque(true) { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }
}

impl ErrorType for Chip {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Chip {
    const READ_SIZE: usize = 1;

    #[inline(never)]
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        opaque((offset, bytes));
        Self::answer()
    }

    fn capacity(&self) -> usize {
        opaque(1 << 20)
    }
}

impl NorFlash for Chip {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    #[inline(never)]
    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        opaque((from, to));
        Self::answer()
    }

    #[inline(never)]
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        opaque((offset, bytes));
        Self::answer()
    }
}

/// Everything once.
pub fn all(table: &mut Table) {
    let owner = Owner { device: opaque(0), ring: opaque(0) };
    match Region::new(&Chip, opaque(0), opaque(0)) {
        Ok(region) => {
            checkpoints(region, owner);
            records(region, owner);
            schedules(region, owner, table);
        }
        Err(refused) => {
            opaque(refused.code());
        }
    }
    opaque(wear(Use {
        interval_ms: opaque(0),
        stride: opaque(0),
        page: opaque(0),
        pages: opaque(0),
        endurance: opaque(0),
    }));
}

/// What a pump does with its checkpoints.
#[inline(never)]
pub fn checkpoints(region: Region, owner: Owner) {
    let mut ring = Ring::<STRIDE>::checkpoints(&mut Chip, region, owner);
    if let Some(entry) = ring.newest(&mut Chip) {
        opaque((entry.seq, entry.kind, entry.payload(), entry.payload_of::<48>()));
    }
    if let Err(error) = ring.append(&mut Chip, opaque(0), opaque(&[0; 48])) {
        opaque(error.code());
    }
    opaque(ring.damage());
    opaque(ring == *opaque(&ring));
}

/// What a pump does with its records, in slots of another size.
#[inline(never)]
pub fn records(region: Region, owner: Owner) {
    let released = opaque(Some(Seq(opaque(0))));
    let mut ring = Ring::<96>::records(&mut Chip, region, owner, released);
    let mut walk = ring.oldest();
    while let Some(entry) = ring.next(&mut Chip, &mut walk) {
        opaque((entry.seq.is_after(opaque(entry.seq)), entry.payload()));
        ring.release(entry.seq);
    }
    opaque(ring.free(&mut Chip));
    let _ = opaque(ring.append(&mut Chip, opaque(0), opaque(&[0; 80])));
    opaque(Ring::<96>::slots_per_page::<Chip>());
}

/// What a pump does with its schedules.
#[inline(never)]
pub fn schedules(region: Region, owner: Owner, table: &mut Table) {
    let Ok(shelf) = opaque(Shelf::new(region, owner, opaque(1))) else { return };
    opaque((shelf.places(), shelf.room::<Chip>()));
    let _ = opaque(shelf.store(&mut Chip, opaque(0), opaque(&[]), table));
    let mut buffer = [0; wire::max_len(STEPS)];
    let loaded = opaque(shelf.load(&mut Chip, opaque(0), opaque(&mut buffer), table));
    if let Err(error) = loaded {
        opaque(error.code());
    }
    let shown: Result<_, ShelfError> = shelf.show(&mut Chip, opaque(0));
    if let Ok(shown) = shown {
        opaque((shown.id, shown.len, shown.name.as_str()));
    }
    let _ = opaque(shelf.remove(&mut Chip, opaque(0)));
}
