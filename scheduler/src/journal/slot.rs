//! One slot: its bytes, and whether they are one.

use crate::wire::crc::Crc32IsoHdlc;

/// The format of a slot; 0 and 255 will never be one, so that neither zeros nor blank flash can be a slot.
pub(super) const VERSION: u8 = 1;

/// Where the payload begins.
pub(super) const HEAD: usize = 6;

/// What a slot takes besides its payload: sequence, version, kind, CRC.
pub(super) const OVERHEAD: usize = HEAD + 4;

/// The version byte of a mark, which opens a session and says nothing.
const MARK: u8 = VERSION | 0x80;

/// What a slot is there for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// It keeps a payload of this kind.
    Data { kind: u8 },
    /// It takes the one place that an earlier cut may have spoilt without a trace.
    Mark,
}

/// Whose slots these are: part of every CRC, so that a slot that was written by another pump, for another ring or for
/// another place of this ring is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Owner {
    /// The number of this pump, such as the serial number of its processor.
    pub device: u64,
    /// The number of the ring or shelf: another one for each on this pump.
    pub ring: u8,
}

/// What stands in a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// Nothing: every bit is 1.
    Blank,
    /// A slot.
    Valid { seq: u32, sort: Sort },
    /// Something else: torn, rotten, someone else's, or not readable at all.
    Torn,
}

/// The CRC of a slot before its own bytes: what it stands for but does not hold.
fn begin(owner: Owner, index: u32) -> Crc32IsoHdlc {
    let mut crc = Crc32IsoHdlc::new();
    crc.extend(&owner.device.to_le_bytes());
    crc.extend(&index.to_le_bytes());
    crc.update(owner.ring);
    crc
}

/// Makes a slot of a buffer. A payload that is shorter than its room is filled up with zeros.
pub(super) fn write(
    slot: &mut [u8],
    owner: Owner,
    index: u32,
    seq: u32,
    sort: Sort,
    payload: &[u8],
) {
    let Some((body, crc)) = slot.split_last_chunk_mut::<4>() else { return };
    body.fill(0);
    let sort = match sort {
        Sort::Data { kind } => [VERSION, kind],
        Sort::Mark => [MARK, 0],
    };
    let head = seq.to_le_bytes().into_iter().chain(sort);
    let bytes = head.chain(payload.iter().copied());
    body.iter_mut().zip(bytes).for_each(|(place, byte)| *place = byte);
    let mut sum = begin(owner, index);
    sum.extend(body);
    *crc = sum.bytes();
}

/// Looks at the bytes of a place.
pub(super) fn judge(slot: &[u8], owner: Owner, index: u32) -> Found {
    if is_blank(slot) {
        return Found::Blank;
    }
    let mut crc = begin(owner, index);
    crc.extend(slot);
    let [a, b, c, d, version, kind, ..] = slot else { return Found::Torn };
    let sort = match *version {
        VERSION => Sort::Data { kind: *kind },
        MARK => Sort::Mark,
        _ => return Found::Torn,
    };
    if !crc.is_sealed() {
        return Found::Torn;
    }
    Found::Valid { seq: u32::from_le_bytes([*a, *b, *c, *d]), sort }
}

/// Whether every bit is 1, as after an erase.
pub(super) fn is_blank(bytes: &[u8]) -> bool {
    bytes.iter().all(|&b| b == u8::MAX)
}

/// Whether `a` comes after `b`, of two sequence numbers that are less than 2³¹ apart.
pub(super) const fn is_after(a: u32, b: u32) -> bool {
    let ahead = a.wrapping_sub(b);
    ahead != 0 && ahead <= i32::MAX as u32
}
