//! How inputs are changed: by libFuzzer byte for byte, and here by whole steps, fields and lines, so that more
//! of them still mean something.

use std::ops::Range;

use draught::wire::{self, Field, FieldName, Observer, RefusalCode};

use crate::block::sealed;

/// libFuzzer's own changes: bytes, how many of them count, and how many there may be; gives how many there are.
pub type Bytes = fn(&mut [u8], usize, usize) -> usize;

/// Small numbers for choices, from the number that libFuzzer gives.
struct Dice(u64);

impl Dice {
    fn new(seed: u32) -> Self {
        Self(u64::from(seed) << 20 | 0x5_1234)
    }

    /// Below `sides`; 0 when there are none.
    fn below(&mut self, sides: usize) -> usize {
        // A linear congruence (Knuth, MMIX); its upper bits are the good ones.
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % sides.max(1)
    }
}

/// A body taken apart.
#[derive(Debug, Default)]
struct Parts {
    fields: Vec<Range<usize>>,
    steps: Vec<Range<usize>>,
    count: Option<Range<usize>>,
    end: usize,
}

impl Observer for Parts {
    fn field(&mut self, field: &Field<'_>) {
        let range = field.at..field.at + field.len;
        self.end = range.end;
        if field.name == FieldName::StepCount {
            self.count = Some(range.clone());
        }
        match self.steps.last_mut() {
            _ if field.step.is_none() => {}
            Some(step) if field.name != FieldName::StepKind => step.end = range.end,
            _ => self.steps.push(range.clone()),
        }
        self.fields.push(range);
    }
}

/// How many bytes at the beginning are the body of a block; `None` when they are none.
///
/// A body says itself where it ends, so what comes after it needs no length in front of it and stays what it
/// is when the body grows.
#[must_use]
pub fn body_len(input: &[u8]) -> Option<usize> {
    match wire::observe(&sealed(input), wire::STEPS_MAX, ()) {
        Ok(()) => Some(input.len()),
        Err(refused) => (refused.code == RefusalCode::TrailingBytes).then_some(refused.at),
    }
}

/// Changes an input of which a body of a block is the beginning: one time in two what comes after it, or its bytes
/// when nothing does.
pub fn body_and_rest(data: &mut [u8], size: usize, max: usize, seed: u32, bytes: Bytes) -> usize {
    let mut dice = Dice::new(seed);
    let Some(split) = body_len(&data[..size]) else { return bytes(data, size, max) };
    match dice.below(8) {
        0..4 if split < size.min(max) => {
            split + bytes(&mut data[split..], size - split, max - split)
        }
        0..5 => bytes(data, size, max),
        _ => body(data, size, max, &mut dice, bytes),
    }
}

/// Changes an input that is a body of a block: one time in two by fields and steps.
pub fn body_only(data: &mut [u8], size: usize, max: usize, seed: u32, bytes: Bytes) -> usize {
    let mut dice = Dice::new(seed);
    match dice.below(2) {
        0 => bytes(data, size, max),
        _ => body(data, size, max, &mut dice, bytes),
    }
}

/// One step of each kind, as bytes.
const STEPS: [&[u8]; 14] = [
    &[0],
    &[1, 0xc8, 0x4d],
    &[2, 0x8a, 0x0e],
    &[3, 0x1f],
    &[4, 0xc8, 0x4d, 6],
    &[5, 0x3e],
    &[6, 0x3e, 0, 0x63],
    &[7, 0x8a, 0x0e, 0x33],
    &[8, 0x8a, 0x0e, 0x33, 1, 0x0b],
    &[9, 0x0a, 0x33],
    &[10, 0x0a, 0x33, 0, 0x63],
    &[11, 0x16],
    &[12, 0x3e, 1],
    &[13, 1, 3, 2],
];

/// Changes a body by a field or a step.
fn body(data: &mut [u8], size: usize, max: usize, dice: &mut Dice, bytes: Bytes) -> usize {
    let mut parts = Parts::default();
    // Whatever is read before the fault is good enough.
    let _ = wire::observe(&sealed(&data[..size]), wire::STEPS_MAX, &mut parts);
    let what = dice.below(6);
    let (Some(count), true) = (&parts.count, (1..127).contains(&parts.steps.len()) && what < 4)
    else {
        let any = dice.below(parts.fields.len());
        let field = parts.fields.get(any).filter(|f| !f.is_empty()).cloned();
        let Some(field) = field else { return bytes(data, size, max) };
        let len = field.len();
        bytes(&mut data[field], len, len);
        return size;
    };
    let n = parts.steps.len();
    let (from, to) = (dice.below(n), dice.below(n));
    let mut steps: Vec<&[u8]> = parts.steps.iter().map(|s| &data[s.clone()]).collect();
    match what {
        0 => _ = steps.remove(from),
        1 => steps.insert(to, steps[from]),
        2 => steps.insert(to, STEPS[dice.below(STEPS.len())]),
        _ => steps.swap(from, to),
    }
    let mut new = data[..count.start].to_vec();
    new.push(steps.len() as u8);
    steps.iter().for_each(|s| new.extend_from_slice(s));
    let first = parts.steps.last().map_or(count.end, |s| s.end);
    new.extend_from_slice(&data[first..size]);
    new.truncate(max.min(data.len()));
    data[..new.len()].copy_from_slice(&new);
    new.len()
}

/// Changes a text: three times in four by lines and values, with pieces of plans, so that it stays TOML more often.
pub fn lines(
    data: &mut [u8],
    size: usize,
    max: usize,
    seed: u32,
    pieces: &[Vec<u8>],
    bytes: Bytes,
) -> usize {
    let mut dice = Dice::new(seed);
    let what = dice.below(12);
    let mut lines: Vec<Vec<u8>> =
        data[..size].split_inclusive(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
    if what < 3 || lines.is_empty() {
        return bytes(data, size, max);
    }
    let (from, to) = (dice.below(lines.len()), dice.below(lines.len()));
    let piece = &pieces[dice.below(pieces.len())];
    match what {
        3 => _ = lines.remove(from),
        4 => lines.insert(to, lines[from].clone()),
        5 => lines.swap(from, to),
        6 => lines.insert(to, piece.clone()),
        7 | 8 => put_where_it_belongs(&mut lines, piece, &mut dice),
        // A value of a piece or another line in place of one of this line; mostly one of the same sort.
        9 | 10 => {
            let others = if what == 9 { pieces } else { &lines };
            let alike: Vec<&Vec<u8>> =
                others.iter().filter(|l| first_word(l) == first_word(&lines[from])).collect();
            let other = match dice.below(4) {
                0 => None,
                _ => alike.get(dice.below(alike.len())).copied(),
            };
            let other = other.unwrap_or(piece).clone();
            put_value(&mut lines[from], &other, &mut dice);
        }
        // Bytes of one value.
        _ => {
            let Some(value) = value(&lines[from], &mut dice) else { return bytes(data, size, max) };
            let mut room = [0; 64];
            let len = value.len().min(room.len());
            room[..len].copy_from_slice(&lines[from][value.start..value.start + len]);
            let new = bytes(&mut room, len, 64);
            lines[from].splice(value.start..value.start + len, room[..new].iter().copied());
        }
    }
    let mut new = lines.concat();
    new.truncate(max.min(data.len()));
    data[..new.len()].copy_from_slice(&new);
    new.len()
}

/// Puts a step among the steps, and a key in place of the same key or into its section.
fn put_where_it_belongs(lines: &mut Vec<Vec<u8>>, piece: &[u8], dice: &mut Dice) {
    let is_step = |line: &[u8]| line.trim_ascii_start().starts_with(b"{");
    let places: Vec<usize> =
        (0..lines.len()).filter(|at| is_step(&lines[*at]) == is_step(piece)).collect();
    if is_step(piece) {
        let at = places.get(dice.below(places.len())).copied().unwrap_or(lines.len());
        let instead = usize::from(at < lines.len() && dice.below(2) == 0);
        lines.splice(at..at + instead, [piece.to_vec()]);
        return;
    }
    if let Some(same) = places.iter().find(|at| first_word(&lines[**at]) == first_word(piece)) {
        lines[*same] = piece.to_vec();
        return;
    }
    let section: &[u8] = match first_word(piece) {
        b"late-tolerance" | b"outage" | b"fault" => b"[rules]",
        b"flow-off"
        | b"pressure-at-most"
        | b"pump-flow"
        | b"pump-pressure"
        | b"volume"
        | b"sampler-flow-at-most" => b"[limits]",
        _ => return lines.insert(0, piece.to_vec()),
    };
    let head = lines.iter().position(|l| l.trim_ascii() == section);
    if head.is_none() {
        lines.push([b"\n", section, b"\n"].concat());
    }
    lines.insert(head.map_or(lines.len(), |at| at + 1), piece.to_vec());
}

/// Where one of the texts between quotes stands.
fn value(line: &[u8], dice: &mut Dice) -> Option<Range<usize>> {
    let quotes: Vec<usize> =
        line.iter().enumerate().filter(|(_, b)| **b == b'"').map(|(at, _)| at).collect();
    let pair = 2 * dice.below(quotes.len() / 2);
    Some(quotes.get(pair)? + 1..*quotes.get(pair + 1)?)
}

/// The key that a line begins with.
fn first_word(line: &[u8]) -> &[u8] {
    let line = line.trim_ascii_start();
    let line = line.strip_prefix(b"{").unwrap_or(line).trim_ascii_start();
    line.split(|b| b" =".contains(b)).next().unwrap_or(line)
}

fn put_value(line: &mut Vec<u8>, other: &[u8], dice: &mut Dice) {
    if let (Some(old), Some(new)) = (value(line, dice), value(other, dice)) {
        line.splice(old, other[new].iter().copied());
    }
}

/// The pieces of plans in a libFuzzer dictionary: those that are whole lines.
///
/// # Panics
/// When it has none.
#[must_use]
pub fn pieces(dictionary: &str) -> Vec<Vec<u8>> {
    let pieces: Vec<Vec<u8>> = dictionary.lines().filter_map(piece).collect();
    assert!(pieces.len() > 50, "{} pieces of plans", pieces.len());
    pieces
}

/// A line of a libFuzzer dictionary: the bytes between its quotes, if they are a whole line of a plan.
fn piece(line: &str) -> Option<Vec<u8>> {
    let mut rest = line.strip_prefix('"')?.strip_suffix('"').filter(|l| l.ends_with("\\x0A"))?;
    let mut piece = Vec::new();
    while let Some((before, escaped)) = rest.split_once('\\') {
        piece.extend_from_slice(before.as_bytes());
        let hex = escaped.get(..3).and_then(|e| u8::from_str_radix(e.strip_prefix('x')?, 16).ok());
        piece.push(hex.or_else(|| escaped.bytes().next())?);
        rest = escaped.get(if hex.is_some() { 3 } else { 1 }..)?;
    }
    piece.extend_from_slice(rest.as_bytes());
    Some(piece)
}
