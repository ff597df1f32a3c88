//! Blocks made wrong on purpose, mostly in one place, so that every refusal is met and not only the first.

use draught::wire::{self, Field, Observer};
use draught_tests::oracle::{Body, Sampler, Step};
use proptest::prelude::Rng;

/// A wrong block, or one that happens to be right, and the room of its reader.
pub struct Mutant {
    /// Its bytes.
    pub block: Vec<u8>,
    /// How many steps the reader has room for.
    pub capacity: usize,
    /// Whether its CRC was made right again.
    pub sealed: bool,
}

/// Changes a block: its bytes, with its CRC made right again two times out of three, or its steps, with a right CRC.
pub fn mutant(block: &[u8], other: &[u8], rng: &mut impl Rng) -> Mutant {
    let mut chance = Chance(rng);
    match Body::read(block).filter(|_| chance.below(3) == 0) {
        Some(mut body) => {
            for _ in 0..chance.pick(&[1, 1, 2, 3, 6]) {
                rearrange(&mut body, &mut chance);
            }
            let capacity = chance.capacity(body.steps.len());
            Mutant { block: body.block(), capacity, sealed: true }
        }
        None => with_other_bytes(block, other, &mut chance),
    }
}

fn with_other_bytes(block: &[u8], other: &[u8], chance: &mut Chance<impl Rng>) -> Mutant {
    let mut fields = Fields(Vec::new());
    // What there is to change; of a good block all of it.
    let _ = wire::observe(block, wire::STEPS_MAX, &mut fields);
    let mut body = block[..block.len() - 4].to_vec();
    for _ in 0..chance.pick(&[1, 1, 1, 1, 2, 3]) {
        change(&mut body, &fields.0, other, chance);
    }
    let sealed = chance.below(3) > 0;
    let crc = if sealed { wire::seal(&body) } else { crc_gone_wrong(block, &body, chance) };
    body.extend(crc);
    if !sealed && chance.below(8) == 0 {
        body.truncate(chance.below(body.len() + 1));
    }
    // Without settings, this is how many steps there are.
    let steps = body.get(6).map_or(0, |&b| usize::from(b));
    Mutant { block: body, capacity: chance.capacity(steps), sealed }
}

/// Offset and length of every field.
struct Fields(Vec<(usize, usize)>);

impl Observer for Fields {
    fn field(&mut self, field: &Field<'_>) {
        self.0.push((field.at, field.len));
    }
}

fn crc_gone_wrong(block: &[u8], body: &[u8], chance: &mut Chance<impl Rng>) -> [u8; 4] {
    let mut crc = match chance.below(3) {
        // As it was before the change.
        0 => *block.last_chunk().expect("a block has a CRC"),
        _ => wire::seal(body),
    };
    match chance.below(4) {
        0 => crc.reverse(),
        1 => crc.iter_mut().for_each(|b| *b = !*b),
        _ => crc[chance.below(4)] ^= 1 << chance.below(8),
    }
    crc
}

fn change(
    body: &mut Vec<u8>,
    fields: &[(usize, usize)],
    other: &[u8],
    chance: &mut Chance<impl Rng>,
) {
    // Earlier changes may have moved the fields: then this hits beside them, which is as good.
    let (at, len) = fields[chance.below(fields.len())];
    let (at, end) = (at.min(body.len()), (at + len).min(body.len()));
    let field = at..end;
    let (place, byte, bit) = (chance.below(body.len()), chance.byte(), 1 << chance.below(8));
    match chance.below(16) {
        0 => body[place] ^= bit,
        1 => body[place] = byte,
        2 => body.insert(place, byte),
        3 => drop(body.remove(place)),
        4 => body.truncate(place),
        5 => body.push(byte),
        6 => drop(body.splice(field, chance.number())),
        7 => over_long(body, field),
        8 => body[field].iter_mut().take(1).for_each(|b| *b = b.wrapping_add(1)),
        9 => body[field].iter_mut().take(1).for_each(|b| *b = b.wrapping_sub(1)),
        // Another unit for the same number.
        10 => body[field].iter_mut().take(1).for_each(|b| *b ^= 1 + byte % 3),
        11 => drop(body.splice(field, [])),
        // The field twice, or after all that follow it.
        12 => drop(body.splice(at..at, body[field].to_vec())),
        13 => body[at..].rotate_left(end - at),
        14 => {
            let from = chance.below(other.len());
            let to = (from + 1 + chance.below(12)).min(other.len());
            drop(body.splice(field, other[from..to].iter().copied()));
        }
        _ => body[field].iter_mut().for_each(|b| *b = chance.pick(&[0, 1, 0x7f, 0x80, 0xff])),
    }
    if body.is_empty() {
        body.push(b'D');
    }
}

/// Takes out, puts in, moves or changes a step, with no regard for the table rules.
fn rearrange(body: &mut Body, chance: &mut Chance<impl Rng>) {
    let (schedule, steps) = (&body.target, &mut body.steps);
    let (at, to) = (chance.below(steps.len()), chance.below(steps.len()));
    match (chance.below(8), steps.get(at).cloned()) {
        (0, Some(_)) => drop(steps.remove(at)),
        (1, Some(_)) => steps.swap(at, to),
        (2, Some(step)) => steps.insert(to, step),
        // Repeats of just what the repeat before them repeats: each a level deeper.
        (3, Some(Step::Repeat(from, ..))) => {
            let deeper = vec![Step::Repeat(from, 2, Sampler::Fresh); chance.below(5)];
            drop(steps.splice(at..at, deeper));
        }
        (4, Some(Step::RunFor(run))) => steps[at] = Step::RunForOwn(run, schedule.clone()),
        _ => steps.insert(at, any_step(steps.len(), chance)),
    }
    steps.truncate(wire::STEPS_MAX + 1);
}

/// A step with a value of its kind, mostly waits and repeats: those are what the table rules are about.
fn any_step(steps: usize, chance: &mut Chance<impl Rng>) -> Step {
    // In March 2027, so that days meet now and then.
    let day = 9_921 + chance.below(14) as u16;
    match chance.below(8) {
        0 => Step::Date(day),
        // A whole hour: unit 3.
        1 => Step::Time(chance.below(24) as u32 * 4 + 3),
        2 => Step::Weekday(chance.pick(&[1, 2, 4, 8, 16, 31, 32, 64, 96, 127])),
        3 => Step::Cycle(day, chance.pick(&[1, 2, 6, 7, 14, 21, 49, 365, 366])),
        4 => Step::Finish,
        5 => Step::Hold(2 << 2 | 1),
        _ => {
            let from = chance.below(steps.min(254) + 1) as u8 + 1;
            let passes = chance.pick(&[2, 2, 3, 7, 16, 255, 256, 257, 32_768, 65_535]);
            let sampler = chance.below(3);
            let sampler = [Sampler::Same, Sampler::Fresh, Sampler::FreshConfirmed][sampler].clone();
            Step::Repeat(from, passes, sampler)
        }
    }
}

/// The same number with a byte more than it needs.
fn over_long(body: &mut Vec<u8>, field: std::ops::Range<usize>) {
    if let Some(last) = field.end.checked_sub(1).filter(|&last| last < body.len()) {
        body[last] |= 0x80;
        body.insert(last + 1, 0);
    }
}

/// Random choices.
struct Chance<'r, R>(&'r mut R);

impl<R: Rng> Chance<'_, R> {
    /// From 0 to one less than `count`; 0 when there is nothing to choose from.
    fn below(&mut self, count: usize) -> usize {
        (self.0.next_u64() % (count as u64).max(1)) as usize
    }

    /// Room for a reader of so many steps: mostly all there can be, now and then too little.
    fn capacity(&mut self, steps: usize) -> usize {
        match self.below(8) {
            0 => self.below(wire::STEPS_MAX) + 1,
            1 => steps.clamp(2, wire::STEPS_MAX) - 1,
            _ => wire::STEPS_MAX,
        }
    }

    fn byte(&mut self) -> u8 {
        self.0.next_u32() as u8
    }

    fn pick<T: Copy>(&mut self, among: &[T]) -> T {
        among[self.below(among.len())]
    }

    /// A number of any size as the format writes it, now and then with a byte more or bits beyond 32.
    fn number(&mut self) -> Vec<u8> {
        let mut left = self.0.next_u32() >> self.below(32);
        if self.below(4) == 0 {
            left = self.pick(&[0, 1, 127, 128, 16_383, 16_384, 65_535, 65_536, u32::MAX]);
        }
        let mut bytes = Vec::new();
        while left > 0x7f {
            bytes.push(left as u8 | 0x80);
            left >>= 7;
        }
        bytes.push(left as u8);
        if bytes.len() == 5 && self.below(2) == 0 {
            bytes[4] = self.byte();
        }
        bytes
    }
}
