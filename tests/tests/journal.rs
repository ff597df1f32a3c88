//! The journal apart from cuts: its bytes, what it refuses, when it is full, and what rot does to it.

use crc::{CRC_32_ISO_HDLC, Crc};
use draught::journal::nor_flash::NorFlash;
use draught::journal::{JournalError, Owner, Region, RegionRefused, Ring, Seq, Shelf, ShelfError};
use draught::prelude::*;
use draught::wire;
use draught_tests::nor::{Nor, Torn};
use draught_tests::power::shelf::block;
use draught_tests::random::Random;

const OWNER: Owner = Owner { device: 0x0102_0304_0506_0708, ring: 9 };

/// Four slots of 64 bytes a page.
type Flash = Nor<4, 256>;
type Checkpoints = Ring<64>;

fn checkpoints(flash: &mut Flash, pages: u16) -> Checkpoints {
    let region = Region::new(flash, 0, pages).unwrap();
    Ring::checkpoints(flash, region, OWNER)
}

fn records(flash: &mut Flash, pages: u16, released: Option<Seq>) -> Ring<64> {
    let region = Region::new(flash, 0, pages).unwrap();
    Ring::records(flash, region, OWNER, released)
}

/// A slot as the documentation of the journal has it, written by other code with another CRC.
fn slot(index: u32, seq: u32, version: u8, kind: u8, payload: &[u8], owner: Owner) -> [u8; 64] {
    let mut slot = [0; 64];
    slot[0..4].copy_from_slice(&seq.to_le_bytes());
    slot[4] = version;
    slot[5] = kind;
    slot[6..6 + payload.len()].copy_from_slice(payload);
    let crc = Crc::<u32>::new(&CRC_32_ISO_HDLC);
    let mut sum = crc.digest();
    sum.update(&owner.device.to_le_bytes());
    sum.update(&index.to_le_bytes());
    sum.update(&[owner.ring]);
    sum.update(&slot[..60]);
    slot[60..].copy_from_slice(&sum.finalize().to_le_bytes());
    slot
}

/// Flash with these slots at these indices, blank elsewhere.
fn holding(pages: usize, slots: &[(usize, [u8; 64])]) -> Flash {
    let mut flash = Flash::new(pages, 1);
    flash.erase(0, (pages * 256) as u32).unwrap();
    for (index, bytes) in slots {
        flash.raw()[index * 64..][..64].copy_from_slice(bytes);
        flash.mark_programmed(index * 64, 64);
    }
    flash
}

fn newest(flash: &mut Flash, pages: u16) -> Option<u8> {
    checkpoints(flash, pages).newest(flash).map(|e| e.payload()[0])
}

#[test]
fn the_bytes_are_as_documented() {
    let mut flash = Flash::new(2, 1);
    let mut ring = checkpoints(&mut flash, 2);
    assert_eq!(ring.append(&mut flash, 5, &[1, 2, 3]), Ok(Seq(0)));
    // Another session: a mark, then the payload.
    let mut ring = checkpoints(&mut flash, 2);
    assert_eq!(ring.append(&mut flash, 255, &[0xff; 54]), Ok(Seq(2)));
    assert_eq!(flash.raw()[..64], slot(0, 0, 1, 5, &[1, 2, 3], OWNER));
    assert_eq!(flash.raw()[64..128], slot(1, 1, 129, 0, &[], OWNER));
    assert_eq!(flash.raw()[128..192], slot(2, 2, 1, 255, &[0xff; 54], OWNER));
    assert_eq!(flash.raw()[192..256], [0xff; 64]);
}

#[test]
fn slots_that_other_code_wrote_are_read() {
    let good = slot(5, 77, 1, 3, &[42], OWNER);
    let mut flash = holding(2, &[(5, good), (4, slot(4, 76, 1, 3, &[41], OWNER))]);
    let entry = checkpoints(&mut flash, 2).newest(&mut flash).unwrap();
    assert_eq!((entry.seq, entry.kind, entry.payload_of::<1>()), (Seq(77), 3, Some(&[42])));
    assert_eq!(entry.payload().len(), Checkpoints::PAYLOAD);
    assert_eq!(entry.payload_of::<55>(), None);
}

#[test]
fn a_slot_out_of_its_place_is_none() {
    let good = slot(5, 77, 1, 3, &[42], OWNER);
    for index in 0..8 {
        let mut flash = holding(2, &[(index, good)]);
        assert_eq!(newest(&mut flash, 2), (index == 5).then_some(42), "{index}");
        assert_eq!(checkpoints(&mut flash, 2).damage().torn, u16::from(index != 5));
    }
    let other_device = slot(5, 77, 1, 3, &[42], Owner { device: OWNER.device ^ 1, ..OWNER });
    let other_ring = slot(5, 77, 1, 3, &[42], Owner { ring: 8, ..OWNER });
    let other_format = slot(5, 77, 2, 3, &[42], OWNER);
    let mark = slot(5, 77, 129, 0, &[], OWNER);
    for refused in [other_device, other_ring, other_format, mark, [0; 64], [0xff; 64]] {
        let mut flash = holding(2, &[(5, refused)]);
        assert_eq!(newest(&mut flash, 2), None);
    }
}

#[test]
fn the_sequence_goes_on_past_its_last_number() {
    let mut flash = holding(2, &[(3, slot(3, u32::MAX - 2, 1, 0, &[1], OWNER))]);
    let mut ring = checkpoints(&mut flash, 2);
    for number in 2..30_u8 {
        let seq = ring.append(&mut flash, 0, &[number]).unwrap();
        // The second page is entered right away, so there is no mark.
        assert_eq!(seq, Seq((u32::MAX - 3).wrapping_add(number.into())));
        assert_eq!(newest(&mut flash, 2), Some(number));
    }
    assert!(Seq(1).is_after(Seq(u32::MAX)) && !Seq(u32::MAX).is_after(Seq(1)));
    assert!(!Seq(1).is_after(Seq(1)));
}

fn walked(ring: &Ring<64>, flash: &mut Flash) -> Vec<u8> {
    let mut walk = ring.oldest();
    std::iter::from_fn(|| ring.next(flash, &mut walk)).map(|e| e.payload()[0]).collect()
}

#[test]
fn any_rot_in_one_slot_takes_that_slot_only() {
    let mut flash = Flash::new(2, 1);
    let mut ring = records(&mut flash, 2, None);
    for number in 1..=6_u8 {
        ring.append(&mut flash, 0, &[number]).unwrap();
    }
    let seen = |flash: &mut Flash| walked(&records(flash, 2, None), flash);
    assert_eq!(seen(&mut flash), [1, 2, 3, 4, 5, 6]);
    let check = |flash: &mut Flash, place: u8, what: &str| {
        let rest: Vec<u8> = (1..=6).filter(|&n| n != place + 1).collect();
        assert_eq!(seen(flash), rest, "{what}");
        assert_eq!(newest(flash, 2), rest.last().copied(), "{what}");
    };
    for place in 0..6 {
        let from = usize::from(place) * 512;
        for a in from..from + 512 {
            flash.flip(a);
            check(&mut flash, place, &format!("bit {a}"));
            // Every pair in the newest slot; in the others every pair of neighbours.
            let last = if place == 5 { from + 512 } else { (a + 2).min(from + 512) };
            for b in a + 1..last {
                flash.flip(b);
                check(&mut flash, place, &format!("bits {a} and {b}"));
                flash.flip(b);
            }
            flash.flip(a);
        }
        let mut random = Random::new(place.into());
        for _ in 0..2000 {
            let sound = flash.clone();
            for _ in 0..3 + random.below(500) {
                flash.flip(from + random.below(512) as usize);
            }
            if flash.raw() != sound.clone().raw() {
                check(&mut flash, place, "many bits");
            }
            flash = sound;
        }
    }
    assert_eq!(seen(&mut flash), [1, 2, 3, 4, 5, 6]);
}

#[test]
fn records_fill_the_ring_and_are_let_go() {
    let mut flash = Flash::new(3, 1);
    let mut ring = records(&mut flash, 3, None);
    assert_eq!(ring.free(&mut flash), 12);
    let mut last = Seq(0);
    for number in 1..=12_u8 {
        assert_eq!(ring.free(&mut flash), 13 - u32::from(number));
        last = ring.append(&mut flash, 0, &[number]).unwrap();
    }
    assert_eq!(ring.free(&mut flash), 0);
    let before = flash.clone().raw().to_vec();
    assert_eq!(ring.append(&mut flash, 0, &[13]), Err(JournalError::Full));
    assert_eq!(flash.raw(), before);
    // Three of the first page are not enough.
    ring.release(Seq(2));
    assert_eq!(ring.append(&mut flash, 0, &[13]), Err(JournalError::Full));
    ring.release(Seq(3));
    // Releasing less than before takes nothing back.
    ring.release(Seq(1));
    assert_eq!(walked(&ring, &mut flash), [5, 6, 7, 8, 9, 10, 11, 12]);
    assert_eq!(ring.free(&mut flash), 4);
    assert_eq!(ring.append(&mut flash, 0, &[13]), Ok(Seq(last.0 + 1)));
    // Opened without it, what is still there is offered again; with it, not.
    let again = records(&mut flash, 3, None);
    assert_eq!(walked(&again, &mut flash), [5, 6, 7, 8, 9, 10, 11, 12, 13]);
    let ring = records(&mut flash, 3, Some(Seq(6)));
    assert_eq!(walked(&ring, &mut flash), [8, 9, 10, 11, 12, 13]);
    // With all let go, the newest stays, so that the numbers go on.
    let mut ring = records(&mut flash, 3, Some(Seq(12)));
    assert!(walked(&ring, &mut flash).is_empty());
    // A mark, then the rest of this page and two more.
    assert_eq!(ring.free(&mut flash), 2 + 8);
    assert_eq!(ring.append(&mut flash, 0, &[14]), Ok(Seq(14)));
}

#[test]
fn a_ring_that_was_lost_does_not_number_anew_what_was_collected() {
    let mut flash = Flash::new(2, 1);
    let mut ring = records(&mut flash, 2, Some(Seq(500)));
    assert_eq!(ring.append(&mut flash, 0, &[1]), Ok(Seq(501)));
    assert_eq!(walked(&records(&mut flash, 2, Some(Seq(500))), &mut flash), [1]);
}

#[test]
fn flash_that_keeps_nothing_is_said_to_be_worn() {
    let mut flash = Flash::new(4, 1);
    flash.bad_words.extend((0..1024).step_by(64));
    let mut ring = checkpoints(&mut flash, 4);
    assert_eq!(ring.append(&mut flash, 0, &[1]), Err(JournalError::Worn));
    // One good slot is enough.
    flash.bad_words.remove(&(64 * 9));
    assert!(ring.append(&mut flash, 0, &[2]).is_ok());
    assert_eq!(newest(&mut flash, 4), Some(2));
    let mut flash = Flash::new(3, 1);
    flash.bad_pages.extend([0, 1, 2]);
    let mut ring = checkpoints(&mut flash, 3);
    assert_eq!(ring.append(&mut flash, 0, &[1]), Err(JournalError::Worn));
    flash.bad_pages.remove(&1);
    assert!(ring.append(&mut flash, 0, &[2]).is_ok());
    assert_eq!(newest(&mut flash, 3), Some(2));
    assert!(flash.wrong_use.is_empty(), "{:?}", flash.wrong_use);
}

#[test]
fn a_supply_that_fails_over_and_over_loses_nothing() {
    // The motor pulls the supply down at each start: hundreds of boots, each cut somewhere in its first slot or two.
    let ways = Torn::ALL.into_iter().filter(|&t| t != Torn::LooksRight);
    for (way, torn) in ways.enumerate() {
        let mut flash = Flash::new(2, 1);
        let mut ring = checkpoints(&mut flash, 2);
        ring.append(&mut flash, 0, &[99]).unwrap();
        ring = checkpoints(&mut flash, 2);
        for boot in 0..500 {
            flash.cut_after([0, 1, 14, 15, 16][(boot + way) % 5], torn);
            assert!(ring.append(&mut flash, 0, &[1]).is_err(), "{torn:?}, boot {boot}");
            flash.boot();
            ring = checkpoints(&mut flash, 2);
            assert_eq!(ring.newest(&mut flash).unwrap().payload()[0], 99, "{torn:?}, boot {boot}");
        }
        ring.append(&mut flash, 0, &[100]).unwrap();
        assert_eq!(newest(&mut flash, 2), Some(100));
        assert!(flash.wrong_use.is_empty(), "{:?}", flash.wrong_use);
    }
}

#[test]
fn regions_are_looked_at() {
    let flash = Flash::new(4, 1);
    let region = |from, pages| Region::new(&flash, from, pages).map(|_| ());
    assert_eq!(region(0, 4), Ok(()));
    assert_eq!(region(512, 2), Ok(()));
    assert_eq!(region(0, 1), Err(RegionRefused::TooFewPages));
    assert_eq!(region(128, 2), Err(RegionRefused::NotAligned));
    assert_eq!(region(512, 3), Err(RegionRefused::OutOfBounds));
    assert_eq!(region(u32::MAX - 255, u16::MAX), Err(RegionRefused::OutOfBounds));
    assert_eq!(
        RegionRefused::TooFewPages.to_string(),
        "a ring needs two pages of flash or more, so that one is whole while another is erased, \
         and records need four; give it more (region-too-few-pages)"
    );
    assert_eq!(
        JournalError::Full.to_string(),
        "the flash is full of records; collect them (journal-full)"
    );
}

// The shelf.

fn shelf(flash: &Flash) -> Shelf {
    let region = Region::new(flash, 0, 4).unwrap();
    Shelf::new(region, Owner { ring: 2, ..OWNER }, 1).unwrap()
}

fn store(flash: &mut Flash, place: u16, block: &[u8]) -> Result<wire::ScheduleId, ShelfError> {
    shelf(flash).store(flash, place, block, &mut StepTable::<4>::empty())
}

fn load(flash: &mut Flash, place: u16) -> Result<wire::ScheduleId, ShelfError> {
    let mut buffer = [0; wire::max_len(4)];
    shelf(flash).load(flash, place, &mut buffer, &mut StepTable::<4>::empty())
}

#[test]
fn schedules_are_stored_in_their_places() {
    let mut flash = Flash::new(4, 1);
    assert_eq!(shelf(&flash).places(), 2);
    assert_eq!(load(&mut flash, 0), Err(ShelfError::Empty));
    let one = store(&mut flash, 0, &block(1)).unwrap();
    let two = store(&mut flash, 1, &block(2)).unwrap();
    assert_eq!((load(&mut flash, 0), load(&mut flash, 1)), (Ok(one), Ok(two)));
    let shown = shelf(&flash).show(&mut flash, 1).unwrap();
    assert_eq!((shown.id, usize::from(shown.len)), (two, block(2).len()));
    assert_eq!(shown.name.as_str(), "demo 2");
    assert_eq!(store(&mut flash, 2, &block(1)), Err(ShelfError::NoSuchPlace { places: 2 }));
    assert_eq!(load(&mut flash, 2), Err(ShelfError::NoSuchPlace { places: 2 }));
    let three = store(&mut flash, 0, &block(3)).unwrap();
    assert_eq!((load(&mut flash, 0), load(&mut flash, 1)), (Ok(three), Ok(two)));
    shelf(&flash).remove(&mut flash, 0).unwrap();
    assert_eq!((load(&mut flash, 0), load(&mut flash, 1)), (Err(ShelfError::Empty), Ok(two)));
    assert!(flash.wrong_use.is_empty(), "{:?}", flash.wrong_use);
}

#[test]
fn what_is_no_schedule_for_this_pump_is_not_stored() {
    let mut flash = Flash::new(4, 1);
    let one = store(&mut flash, 0, &block(1)).unwrap();
    let before = flash.clone().raw().to_vec();
    let mut broken = block(2);
    broken[5] ^= 1;
    let refused = store(&mut flash, 0, &broken).unwrap_err();
    assert_eq!(refused.code(), "crc");
    assert!(refused.to_string().starts_with("byte "), "{refused}");
    // A pump with room for one step cannot hold two.
    let small = shelf(&flash).store(&mut flash, 0, &block(2), &mut StepTable::<1>::empty());
    assert!(matches!(small, Err(ShelfError::Refused(_))), "{small:?}");
    assert_eq!(flash.raw(), before);
    let mut buffer = [0; 8];
    let short = shelf(&flash).load(&mut flash, 0, &mut buffer, &mut StepTable::<4>::empty());
    assert_eq!(short, Err(ShelfError::BufferTooSmall { needed: block(1).len() }));
    assert_eq!(load(&mut flash, 0), Ok(one));
}

#[test]
fn a_block_longer_than_its_half_is_refused() {
    let mut flash = Nor::<4, 160>::new(2, 1);
    let region = Region::new(&flash, 0, 2).unwrap();
    let shelf = Shelf::new(region, OWNER, 1).unwrap();
    assert_eq!(shelf.room::<Nor<4, 160>>(), 32);
    let target = Target::flow(Flow::from_ul_per_min(2_000_000).unwrap());
    let mut table = StepTable::<16>::new(Settings::new(UtcOffset::UTC, target));
    for minutes in 1..=12 {
        let run = DurationMs::from_ms(60_000 * minutes).unwrap();
        table.push(Step::RunFor { run, target: None }).unwrap();
    }
    table.push(Step::Finish).unwrap();
    let mut bytes = [0; wire::max_len(16)];
    let len = wire::encode(table.checked().unwrap(), &mut bytes).unwrap();
    assert!(len > 32);
    let stored = shelf.store(&mut flash, 0, &bytes[..len], &mut table);
    assert_eq!(stored, Err(ShelfError::TooLong { found: len, limit: 32 }));
    assert!(Shelf::new(region, OWNER, 2).is_err() && Shelf::new(region, OWNER, 0).is_err());
}

#[test]
fn rot_in_a_schedule_never_brings_back_an_older_one() {
    let mut flash = Flash::new(4, 1);
    store(&mut flash, 0, &block(1)).unwrap();
    let id = store(&mut flash, 0, &block(3)).unwrap();
    let half = 256 * 8;
    for bit in half..half + 8 * (128 + block(3).len()) {
        flash.flip(bit);
        // Either header will do; the block has no second.
        let expected = if bit < half + 8 * 128 { Ok(id) } else { Err(ShelfError::Damaged) };
        assert_eq!(load(&mut flash, 0), expected, "bit {bit}");
        flash.flip(bit);
    }
    // Both headers.
    flash.flip(half + 3);
    flash.flip(half + 8 * 64 + 3);
    assert_eq!(load(&mut flash, 0), Err(ShelfError::Empty));
}

#[test]
fn a_schedule_out_of_its_place_is_none() {
    let mut flash = Flash::new(4, 1);
    store(&mut flash, 0, &block(1)).unwrap();
    let half = flash.raw()[..256].to_vec();
    for other in 1..4 {
        let mut copied = Flash::new(4, 2);
        copied.erase(0, 1024).unwrap();
        copied.raw()[other * 256..][..256].copy_from_slice(&half);
        assert_eq!(load(&mut copied, 0), Err(ShelfError::Empty));
        assert_eq!(load(&mut copied, 1), Err(ShelfError::Empty));
    }
}
