//! What a cut leaves on flash and what the pump finds then, as a table for `docs/power-loss.md`.
//!
//! Every line is run, in every way of tearing a word or page; nothing in it is written by hand.

use std::collections::BTreeMap;
use std::fmt::Write;

use draught::journal::{Region, Ring, Shelf};
use draught::prelude::*;
use draught::wire;

use super::shelf::{block, number as schedule_number};
use super::{OWNER, number, payload};
use crate::nor::{Hit, Nor, Torn};

/// Two pages of four slots of 64 bytes, programmed in words of 8.
type Flash = Nor<8, 256>;

const PAGES: u16 = 2;
const STRIDE: usize = 64;
const LEN: usize = 20;

/// A journal for the table: what is done is one number after the other.
trait Journal {
    /// Opens it from flash, as after a boot.
    fn open(flash: &mut Flash) -> Self;
    /// Writes a number. `false` when it was not acknowledged.
    fn write(&mut self, flash: &mut Flash, number: u32) -> bool;
    /// What a pump finds.
    fn found(&self, flash: &mut Flash) -> String;
    /// What stands on flash, piece by piece.
    fn picture(flash: &mut Flash) -> String;
    /// What stands at this offset once the write is done.
    fn part(flash: &mut Flash, at: usize) -> (String, usize, usize);
}

/// What a slot holds: a number, `M`, `~` for torn, `.` for blank.
fn slot(flash: &mut Flash, index: usize) -> String {
    let bytes = flash.raw()[index * STRIDE..][..STRIDE].to_vec();
    if bytes.iter().all(|&b| b == u8::MAX) {
        return ".".into();
    }
    // A ring that sees this slot only says what it is.
    let mut alone = Flash::new(PAGES.into(), 0);
    alone.raw().fill(0);
    alone.raw()[index * STRIDE..][..STRIDE].copy_from_slice(&bytes);
    let region = Region::new(&alone, 0, PAGES).unwrap();
    let ring = Ring::<STRIDE>::checkpoints(&mut alone, region, OWNER);
    let valid = usize::from(ring.damage().torn) < usize::from(PAGES) * 4;
    match ring.newest(&mut alone).map(|e| e.payload_of::<LEN>().and_then(number)) {
        Some(Some(number)) => number.to_string(),
        _ if valid => "M".into(),
        _ => "~".into(),
    }
}

struct Checkpoints(Ring<STRIDE>);

impl Journal for Checkpoints {
    fn open(flash: &mut Flash) -> Self {
        let region = Region::new(flash, 0, PAGES).unwrap();
        Self(Ring::checkpoints(flash, region, OWNER))
    }

    fn write(&mut self, flash: &mut Flash, number: u32) -> bool {
        self.0.append(flash, 0, &payload::<LEN>(number)).is_ok()
    }

    fn found(&self, flash: &mut Flash) -> String {
        let newest = self.0.newest(flash);
        newest.map_or("none".into(), |entry| {
            entry.payload_of::<LEN>().and_then(number).unwrap().to_string()
        })
    }

    fn picture(flash: &mut Flash) -> String {
        let page = |flash: &mut Flash, page: usize| {
            (0..4).map(|n| slot(flash, page * 4 + n)).collect::<Vec<_>>().join(" ")
        };
        format!("{} / {}", page(flash, 0), page(flash, 1))
    }

    fn part(flash: &mut Flash, at: usize) -> (String, usize, usize) {
        let what = match slot(flash, at / STRIDE).as_str() {
            "M" => "the mark".into(),
            number => format!("slot {number}"),
        };
        (what, at % STRIDE / 8, STRIDE / 8)
    }
}

struct Schedules(Shelf);

/// What half of a place holds: two headers (`H`), then the number of its block; `~` for torn, `.` for blank.
fn half(flash: &mut Flash, half: usize) -> String {
    let bytes = flash.raw()[half * 256..][..256].to_vec();
    let piece = |range: std::ops::Range<usize>, whole: Option<String>| {
        let blank = bytes[range].iter().all(|&b| b == u8::MAX);
        whole.unwrap_or_else(|| if blank { "." } else { "~" }.into())
    };
    let mut table = StepTable::<4>::empty();
    let sealed =
        (1..80).rev().find(|&n| wire::decode_into(&bytes[128..128 + n], &mut table).is_ok());
    let block = sealed.and(schedule_number(&table)).map(|n| n.to_string());
    let header = |flash: &mut Flash, copy: usize| {
        // A place with this header only, over the block of its own time.
        let mut alone = Flash::new(2, 0);
        alone.raw().fill(0);
        let from = half * 256 + copy * 64;
        alone.raw()[from..from + 64].copy_from_slice(&flash.raw()[from..from + 64]);
        let shelf = Schedules::open(&mut alone).0;
        (shelf.show(&mut alone, 0) == Err(draught::journal::ShelfError::Damaged))
            .then(|| "H".into())
    };
    let (one, two) = (header(flash, 0), header(flash, 1));
    format!("{} {} {}", piece(0..64, one), piece(64..128, two), piece(128..256, block))
}

impl Journal for Schedules {
    fn open(flash: &mut Flash) -> Self {
        let region = Region::new(flash, 0, 2).unwrap();
        Self(Shelf::new(region, OWNER, 1).unwrap())
    }

    fn write(&mut self, flash: &mut Flash, number: u32) -> bool {
        match number {
            0 => self.0.remove(flash, 0).is_ok(),
            _ => self.0.store(flash, 0, &block(number), &mut StepTable::<4>::empty()).is_ok(),
        }
    }

    fn found(&self, flash: &mut Flash) -> String {
        let mut table = StepTable::<4>::empty();
        let mut buffer = [0; wire::max_len(4)];
        match self.0.load(flash, 0, &mut buffer, &mut table) {
            Ok(_) => schedule_number(&table).unwrap().to_string(),
            Err(error) => error.code().trim_start_matches("place-").into(),
        }
    }

    fn picture(flash: &mut Flash) -> String {
        format!("{} / {}", half(flash, 0), half(flash, 1))
    }

    fn part(_: &mut Flash, at: usize) -> (String, usize, usize) {
        match at % 256 {
            at @ 0..64 => ("the header".into(), at / 8, 8),
            at @ 64..128 => ("the header again".into(), at / 8 - 8, 8),
            at => ("the block".into(), at / 8 - 16, block(2).len().div_ceil(32) * 4),
        }
    }
}

/// One line: the operations that it is about, what is on flash, and what is found in which ways.
struct Line {
    part: String,
    first: usize,
    last: usize,
    of: usize,
    flash: String,
    found: BTreeMap<String, Vec<Torn>>,
    next: String,
}

/// A new chip, full of zeros, on which all of `before` was done; a `None` is a boot.
fn replay<J: Journal>(before: &[Option<u32>]) -> (Flash, J) {
    let mut flash = Flash::new(2, 0);
    flash.raw().fill(0);
    let mut journal = J::open(&mut flash);
    for step in before {
        match step {
            Some(number) => assert!(journal.write(&mut flash, *number)),
            None => journal = J::open(&mut flash),
        }
    }
    (flash, journal)
}

/// Does `before`, then cuts the writing of `last` at every operation.
fn lines<J: Journal>(before: &[Option<u32>], last: u32) -> Vec<Line> {
    // The write uncut, to say what is where when it is done.
    let (mut done, mut journal) = replay::<J>(before);
    assert!(journal.write(&mut done, last));
    let mut log = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    for operation in 0.. {
        let mut found: BTreeMap<String, Vec<Torn>> = BTreeMap::new();
        let (mut picture, mut next, mut hit) = (String::new(), String::new(), None);
        for torn in Torn::ALL {
            let (mut flash, mut journal) = replay::<J>(before);
            flash.cut_after(operation, torn);
            journal.write(&mut flash, last);
            hit = flash.hit();
            if hit.is_none() {
                break;
            }
            flash.boot();
            let mut journal = J::open(&mut flash);
            let mut outcome = journal.found(&mut flash);
            let mut later = flash.clone();
            later.boot();
            let after = J::open(&mut later).found(&mut later);
            if after != outcome {
                write!(outcome, " (not at the next boot)").unwrap();
            }
            found.entry(outcome).or_default().push(torn);
            if torn == Torn::Garbage {
                picture = J::picture(&mut flash);
                journal.write(&mut flash, last + 1);
                next = J::picture(&mut flash);
            }
        }
        let Some(hit) = hit else { break };
        log.push((hit, picture, found, next));
    }
    for (hit, flash, found, next) in log {
        let (part, word, of) = match hit {
            Hit::Erase(at) => (
                format!("erase of {}", ["the first page", "the second page"][at as usize / 256]),
                0,
                1,
            ),
            Hit::Program(at) => J::part(&mut done, at as usize),
        };
        match lines.last_mut() {
            Some(line)
                if line.part == part
                    && line.found == found
                    && line.next == next
                    && line.flash == flash =>
            {
                line.last = word;
            }
            _ => lines.push(Line { part, first: word, last: word, of, flash, found, next }),
        }
    }
    let mut whole = done.clone();
    let found = J::open(&mut whole).found(&mut whole);
    let flash = J::picture(&mut whole);
    J::open(&mut whole).write(&mut whole, last + 1);
    lines.push(Line {
        part: "all done".into(),
        first: 0,
        last: 0,
        of: 1,
        flash,
        found: BTreeMap::from([(found, Torn::ALL.to_vec())]),
        next: J::picture(&mut whole),
    });
    lines
}

fn section<J: Journal>(title: &str, before: &[Option<u32>], last: u32, page: &mut String) {
    writeln!(page, "\n**{title}**\n").unwrap();
    writeln!(page, "| cut at | on flash then | found at boot | on flash after the next write |")
        .unwrap();
    writeln!(page, "|---|---|---|---|").unwrap();
    for line in lines::<J>(before, last) {
        let words = match (line.first + 1, line.last + 1, line.of) {
            (_, _, 1) => line.part,
            (first, last, of) if first == last => format!("word {first} of {of} of {}", line.part),
            (first, last, of) => format!("words {first} to {last} of {of} of {}", line.part),
        };
        // The outcome of most ways first, the others with the ways that lead to them.
        let mut outcomes: Vec<_> = line.found.iter().collect();
        outcomes.sort_by_key(|(_, ways)| std::cmp::Reverse(ways.len()));
        let mut found = String::new();
        for (at, (outcome, ways)) in outcomes.iter().enumerate() {
            let ways: Vec<_> = ways.iter().map(|t| t.name()).collect();
            match at {
                0 => found.push_str(outcome),
                _ => write!(found, "; {}: {outcome}", ways.join(", ")).unwrap(),
            }
        }
        writeln!(page, "| {words} | `{}` | {found} | `{}` |", line.flash, line.next).unwrap();
    }
}

/// The whole table.
#[must_use]
pub fn table() -> String {
    let mut page = String::new();
    let some = |numbers: &[u32]| numbers.iter().copied().map(Some).collect::<Vec<_>>();
    let first: Vec<Option<u32>> = vec![Some(1), Some(2), None];
    section::<Checkpoints>("Checkpoint 3, later in a session", &some(&[1, 2]), 3, &mut page);
    section::<Checkpoints>("Checkpoint 3, the first after a boot", &first, 3, &mut page);
    section::<Checkpoints>(
        "Checkpoint 5, for which a page is entered for the first time",
        &some(&[1, 2, 3, 4]),
        5,
        &mut page,
    );
    section::<Checkpoints>(
        "Checkpoint 9, for which a page of older ones is erased",
        &some(&[1, 2, 3, 4, 5, 6, 7, 8]),
        9,
        &mut page,
    );
    section::<Schedules>(
        "Schedule 2 over schedule 1, in the same place",
        &some(&[1]),
        2,
        &mut page,
    );
    section::<Schedules>("Schedule 2 taken away", &some(&[1, 2]), 0, &mut page);
    page.trim_start().to_owned()
}
