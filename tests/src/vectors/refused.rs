//! Blocks that are refused, written byte by byte: every code, and which of two faults comes first.

use super::Refused;
use crate::oracle::crc_32c;

mod ranges;

/// Magic, version, UTC, flow, 2.5 L/min.
const HEAD: [u8; 5] = [b'D', 1, 0, 0, 103];
/// 1 min of pumping.
const RUN: &[u8] = &[5, 6];
const FINISH: &[u8] = &[0];
/// The offset of the first setting, and of the first step without settings.
const FIRST: usize = 6;
const STEP_1: usize = 7;

/// All of them.
#[must_use]
pub fn all() -> Vec<Refused> {
    let mut all = Vec::new();
    envelope(&mut all);
    numbers(&mut all);
    tags(&mut all);
    ranges::head(&mut all);
    ranges::steps(&mut all);
    settings(&mut all);
    names(&mut all);
    steps(&mut all);
    table_rules(&mut all);
    first_fault_wins(&mut all);
    all
}

/// A body with its CRC.
fn sealed(body: &[u8]) -> Vec<u8> {
    [body, &crc_32c(body).to_le_bytes()].concat()
}

/// A number as the format writes it.
fn number(mut left: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    while left > 0x7F {
        bytes.push(left as u8 | 0x80);
        left >>= 7;
    }
    bytes.push(left as u8);
    bytes
}

/// A sealed block of settings entries and steps.
fn block(settings: &[&[u8]], steps: &[&[u8]]) -> Vec<u8> {
    let mut body = HEAD.to_vec();
    body.push(settings.len() as u8);
    body.extend(settings.concat());
    body.push(steps.len() as u8);
    body.extend(steps.concat());
    sealed(&body)
}

/// A sealed block with one setting, and a run.
fn with_setting(setting: &[u8]) -> Vec<u8> {
    block(&[setting], &[RUN, FINISH])
}

/// A sealed block with these steps.
fn with_steps(steps: &[&[u8]]) -> Vec<u8> {
    block(&[], steps)
}

struct Spot(usize, Option<u8>);

fn add(all: &mut Vec<Refused>, name: &str, meaning: &str, block: Vec<u8>, code: &str, spot: Spot) {
    assert!(all.iter().all(|v| v.name != name), "{name} is there twice");
    all.push(Refused {
        name: name.into(),
        meaning: meaning.into(),
        hex: block,
        capacity: 32,
        code: code.into(),
        at: spot.0,
        step: spot.1,
    });
}

fn envelope(all: &mut Vec<Refused>) {
    let good = with_steps(&[RUN, FINISH]);
    let end = good.len() - 4;
    add(all, "empty", "no byte at all", vec![], "too-short", Spot(0, None));
    let five = sealed(b"D");
    add(all, "five-bytes", "five bytes, with a right CRC", five, "too-short", Spot(5, None));
    for (name, at) in [("first", 0), ("version", 1), ("body", 8), ("crc", end)] {
        let mut bad = good.clone();
        bad[at] ^= 0x10;
        let meaning = format!("bit 4 of byte {at} is wrong");
        add(all, &format!("crc-{name}"), &meaning, bad, "crc", Spot(end, None));
    }
    let mut swapped = good.clone();
    swapped[end..].reverse();
    add(all, "crc-big-endian", "the CRC, highest byte first", swapped, "crc", Spot(end, None));
    let inverted = good.iter().enumerate().map(|(i, b)| if i < end { *b } else { !b }).collect();
    add(
        all,
        "crc-not-inverted",
        "the CRC without its last inversion",
        inverted,
        "crc",
        Spot(end, None),
    );
    let small = sealed(&[b'd', 1, 0]);
    add(all, "magic", "a small d", small, "bad-magic", Spot(0, None));
    let zero = sealed(&[b'D', 0]);
    add(all, "version-0", "version 0, shortest envelope", zero, "bad-version", Spot(1, None));
    for version in [2, 127, 128, 255] {
        let newer = sealed(&[b'D', version, 0xFF, 0xFF]);
        let name = format!("version-{version}");
        add(all, &name, "whatever follows", newer, "newer-format", Spot(1, None));
    }
}

fn numbers(all: &mut Vec<Refused>) {
    let head = |rest: &[u8]| sealed(&[&HEAD[..4], rest].concat());
    let whole = &good_body()[..];
    // Every field of it has one byte.
    for cut in 2..whole.len() {
        let step = match cut {
            9.. => Some(2),
            7.. => Some(1),
            _ => None,
        };
        let meaning = format!("only the first {cut} bytes of a good body, sealed anew");
        let name = format!("ends-early-{cut}");
        add(all, &name, &meaning, sealed(&whole[..cut]), "ends-early", Spot(cut, step));
    }
    let meaning = "the flow says that a byte follows, and none does";
    add(all, "ends-early-in-number", meaning, head(&[0xE7]), "ends-early", Spot(4, None));
    let meaning = "three bytes of a short number that says that more follow, and none does";
    let block = sealed(&[&HEAD[..], &[0, 1, 1, 0x80, 0x80, 0x80]].concat());
    add(all, "ends-early-in-short-number", meaning, block, "ends-early", Spot(8, Some(1)));
    let long = [
        ("flow", head(&[0xE7, 0x80, 0x00, 0, 1, 0]), 4, None),
        ("flow-five-bytes", head(&[0xE7, 0x80, 0x80, 0x80, 0x00, 0, 1, 0]), 4, None),
        ("settings", sealed(&[&HEAD[..], &[0x80, 0, 1, 0]].concat()), 5, None),
        ("steps", sealed(&[&HEAD[..], &[0, 0x81, 0, 0]].concat()), 6, None),
        ("date", with_steps(&[&[1, 0x81, 0x00], RUN, FINISH]), STEP_1 + 1, Some(1)),
        ("name", with_setting(&[0, 0x81, 0x00, b'x']), FIRST + 1, None),
        (
            "date-four-bytes",
            with_steps(&[&[1, 0x80, 0x80, 0x80, 0x00], RUN, FINISH]),
            STEP_1 + 1,
            Some(1),
        ),
    ];
    for (name, block, at, step) in long {
        let meaning = "more groups of seven bits than the number needs";
        add(all, &format!("over-long-{name}"), meaning, block, "over-long", Spot(at, step));
    }
    let large = [
        ("bit-32", head(&[0xFF, 0xFF, 0xFF, 0xFF, 0x10, 0, 1, 0]), 4, None),
        ("six-bytes", head(&[0x80, 0x80, 0x80, 0x80, 0x80, 0x01, 0, 1, 0]), 4, None),
        ("fifth-byte-goes-on", head(&[0x80, 0x80, 0x80, 0x80, 0x80]), 4, None),
        ("settings", sealed(&[&HEAD[..], &[0xFF; 5], &[0, 1, 0]].concat()), 5, None),
        ("date", with_steps(&[&[1, 0x80, 0x80, 0x04], RUN, FINISH]), STEP_1 + 1, Some(1)),
        ("every", with_steps(&[&[4, 1, 0x80, 0x80, 0x04], RUN, FINISH]), STEP_1 + 2, Some(1)),
    ];
    for (name, block, at, step) in large {
        let meaning = "the number does not fit the type of its field";
        add(all, &format!("too-large-{name}"), meaning, block, "number-too-large", Spot(at, step));
    }
    let scales = [
        ("litre", head(&[0xA1, 0x1F, 0, 1, 0]), 4, None),
        ("seconds", with_steps(&[&[5, 0x91, 0x1C], FINISH]), STEP_1 + 1, Some(1)),
        ("hour-in-minutes", with_steps(&[&[5, 0xF2, 0x01], FINISH]), STEP_1 + 1, Some(1)),
        ("midnight-in-ms", with_steps(&[&[2, 0], RUN, FINISH]), STEP_1 + 1, Some(1)),
        ("midnight-in-minutes", with_steps(&[&[2, 2], RUN, FINISH]), STEP_1 + 1, Some(1)),
    ];
    for (name, block, at, step) in scales {
        let meaning = "a larger unit divides the value";
        add(all, &format!("scale-{name}"), meaning, block, "scale-not-largest", Spot(at, step));
    }
}

/// 1 min at 2.5 L/min, without its CRC.
fn good_body() -> Vec<u8> {
    let mut block = with_steps(&[RUN, FINISH]);
    block.truncate(block.len() - 4);
    block
}

fn tags(all: &mut Vec<Refused>) {
    let spots = [
        ("target", sealed(&[b'D', 1, 0, 2, 103, 0, 1, 0]), 3, None),
        ("setting", with_setting(&[6, 0]), FIRST, None),
        ("outage", with_setting(&[3, 3]), FIRST + 1, None),
        ("while-charging", with_setting(&[3, 0, 10, 2]), FIRST + 3, None),
        ("fault", with_setting(&[4, 3]), FIRST + 1, None),
        ("pressure-limit", with_setting(&[5, 20, 6, 2]), FIRST + 3, None),
        ("step", with_steps(&[&[14], FINISH]), STEP_1, Some(1)),
        ("step-two-bytes", with_steps(&[&[0x80, 0x00]]), STEP_1, Some(1)),
        ("then", with_steps(&[&[12, 6, 2], RUN, FINISH]), STEP_1 + 2, Some(1)),
        ("sampler", with_steps(&[RUN, &[13, 1, 2, 3], FINISH]), STEP_1 + 5, Some(2)),
        ("own-target", with_steps(&[&[6, 6, 2, 7], FINISH]), STEP_1 + 2, Some(1)),
    ];
    for (name, block, at, step) in spots {
        let meaning = "a tag, flag or option that version 1 does not have";
        add(all, &format!("tag-{name}"), meaning, block, "unknown-tag", Spot(at, step));
    }
}

fn settings(all: &mut Vec<Refused>) {
    let (name, close): (&[u8], &[u8]) = (&[0, 1, b'x'], &[4, 2]);
    let twice = block(&[name, name], &[RUN, FINISH]);
    let at = Spot(FIRST + 3, None);
    add(all, "setting-twice", "the name stands twice", twice, "setting-twice", at);
    let order = block(&[close, name], &[RUN, FINISH]);
    let meaning = "the name after the fault rule";
    add(all, "setting-order", meaning, order, "setting-order", Spot(FIRST + 2, None));
    let tolerance: &[u8] = &[2, 21];
    let again = block(&[name, close, name], &[RUN, FINISH]);
    let at = Spot(FIRST + 5, None);
    add(all, "setting-again", "the name again, after the fault rule", again, "setting-order", at);
    let many: Vec<&[u8]> = vec![name, tolerance, &[3, 2], close, &[5, 20, 6, 0], &[5, 20, 6, 0]];
    let at = Spot(FIRST + 3 + 2 + 2 + 2 + 4, None);
    add(
        all,
        "setting-last-twice",
        "the limits twice",
        block(&many, &[FINISH]),
        "setting-twice",
        at,
    );
    let defaults: [(&str, &[u8]); 5] = [
        ("name", &[0, 0]),
        ("late-tolerance", &[2, 6]),
        ("outage", &[3, 0, 42, 0]),
        ("fault", &[4, 0]),
        ("limits", &[5, 10, 6, 0]),
    ];
    for (name, bytes) in defaults {
        let meaning = "a setting with its default value, which must be left out";
        let block = block(&[bytes], &[RUN, FINISH]);
        add(all, &format!("default-{name}"), meaning, block, "setting-default", Spot(FIRST, None));
    }
}

fn names(all: &mut Vec<Refused>) {
    let named = |text: &[u8]| with_setting(&[&[0, text.len() as u8], text].concat());
    let long = named(&[b'x'; 25]);
    add(all, "name-25-bytes", "at most 24 bytes", long, "name-too-long", Spot(FIRST + 1, None));
    let endless = with_setting(&[0, 0xFF, 0xFF, 0xFF, 0xFF, 0x0F]);
    add(
        all,
        "name-4-gib",
        "longer than the block",
        endless,
        "name-too-long",
        Spot(FIRST + 1, None),
    );
    let text = Spot(FIRST + 2, None);
    let cut = sealed(&[&HEAD[..], &[1, 0, 24, b'x', 0]].concat());
    add(all, "name-cut", "the block ends inside the name", cut, "ends-early", text);
    let cut = sealed(&[&HEAD[..], &[1, 0, 3, b'x', 0]].concat());
    let text = Spot(FIRST + 2, None);
    add(all, "name-cut-by-one", "the block ends one byte early", cut, "ends-early", text);
    let not_text: [(&str, &str, &[u8]); 8] = [
        ("ff", "0xFF is in no UTF-8", &[b'x', 0xFF]),
        ("continuation", "a continuation byte alone", &[0x80]),
        ("half", "half a letter", &[0xC3]),
        ("over-long", "an over-long NUL", &[0xC0, 0x80]),
        ("surrogate", "a surrogate", &[0xED, 0xA0, 0x80]),
        ("over-long-3", "U+07FF in three bytes, the last that two hold", &[0xE0, 0x9F, 0xBF]),
        ("surrogate-last", "U+DFFF, the last surrogate", &[0xED, 0xBF, 0xBF]),
        ("beyond", "U+110000, one more than there are", &[0xF4, 0x90, 0x80, 0x80]),
    ];
    for (name, meaning, bytes) in not_text {
        let spot = Spot(FIRST + 2, None);
        add(all, &format!("name-not-utf8-{name}"), meaning, named(bytes), "name-not-utf8", spot);
    }
    let control = [
        ("nul", "\0"),
        ("line", "two\nlines"),
        ("last-below-space", "\u{1f}"),
        ("delete", "\u{7f}"),
        ("next-line", "\u{85}"),
        ("last", "\u{9f}"),
    ];
    for (name, text) in control {
        let (meaning, spot) = ("a control character", Spot(FIRST + 2, None));
        let block = named(text.as_bytes());
        add(all, &format!("name-control-{name}"), meaning, block, "name-control", spot);
    }
}

fn steps(all: &mut Vec<Refused>) {
    let mut rows = vec![RUN; 32];
    rows.push(FINISH);
    let block = with_steps(&rows);
    let meaning = "33 steps for a table of 32";
    add(all, "steps-33", meaning, block, "too-many-steps", Spot(6, None));
    for (name, count) in [("256", [0x80, 0x02]), ("16383", [0xFF, 0x7F])] {
        let block = sealed(&[&HEAD[..], &[0], &count].concat());
        let meaning = "more steps than any table holds, and none there";
        add(all, &format!("steps-{name}"), meaning, block, "too-many-steps", Spot(6, None));
        if let Some(last) = all.last_mut() {
            last.capacity = 255;
        }
    }
    let own: [(&str, &[u8], usize); 3] = [
        ("run-for", &[6, 6, 0, 103], 2),
        ("run-until", &[8, 7, 7, 0, 103], 3),
        ("draw-volume", &[10, 7, 7, 0, 103], 3),
    ];
    for (name, bytes, at) in own {
        let block = with_steps(&[RUN, bytes, FINISH]);
        let meaning = "an own target that is the schedule's";
        let spot = Spot(STEP_1 + 2 + at, Some(2));
        add(all, &format!("own-same-{name}"), meaning, block, "own-target-same", spot);
    }
    for extra in [&[0][..], &[0xFF; 9]] {
        let block = sealed(&[&good_body()[..], extra].concat());
        let name = format!("trailing-{}", extra.len());
        let spot = Spot(good_body().len(), None);
        add(all, &name, "bytes before the CRC", block, "trailing-bytes", spot);
    }
    let double = [with_steps(&[RUN, FINISH]), with_steps(&[RUN, FINISH])].concat();
    let end = double.len() - 4;
    add(all, "two-blocks", "a block and the same block again", double, "crc", Spot(end, None));
}

fn table_rules(all: &mut Vec<Refused>) {
    // In bytes: day 9,928 is Monday 8 March 2027, day 9,929 Tuesday.
    let (monday, tuesday): (&[u8], &[u8]) = (&[1, 0xC8, 0x4D], &[1, 0xC9, 0x4D]);
    let (at_8, at_9): (&[u8], &[u8]) = (&[2, 35], &[2, 39]);
    let on_mondays: &[u8] = &[3, 1];
    let twice_from_1: &[u8] = &[13, 1, 2, 0];
    let sixteen: &[u8] = &[13, 1, 16, 0];
    let weekly_tuesday: &[u8] = &[4, 0xC9, 0x4D, 7];
    let mut rule = |name: &str, code: &str, steps: &[&[u8]], broken: usize, meaning: &str| {
        let at = STEP_1 + steps.iter().take(broken - 1).map(|s| s.len()).sum::<usize>();
        add(all, name, meaning, with_steps(steps), code, Spot(at, Some(broken as u8)));
    };
    rule("rule-no-step", "no-finish", &[], 1, "no step at all");
    rule("rule-no-finish", "no-finish", &[RUN, RUN], 2, "the last step is a run");
    rule("rule-after-finish", "after-finish", &[RUN, FINISH, RUN, FINISH], 3, "a run after finish");
    rule("rule-finish-twice", "after-finish", &[FINISH, FINISH], 2, "finish after finish");
    let twice = [at_8, on_mondays, at_9, RUN, FINISH];
    rule("rule-time-twice", "same-wait-twice", &twice, 3, "two times in one appointment");
    let never = [tuesday, on_mondays, RUN, FINISH];
    rule("rule-date-not-weekday", "never-met", &never, 2, "a Tuesday that is a Monday");
    let never = [on_mondays, weekly_tuesday, RUN, FINISH];
    rule("rule-cycle-not-weekday", "never-met", &never, 2, "Tuesdays that are Mondays");
    let never = [monday, weekly_tuesday, RUN, FINISH];
    rule("rule-date-before-cycle", "never-met", &never, 2, "a day before the cycle begins");
    let week_before: &[u8] = &[1, 0xC2, 0x4D];
    let never = [week_before, weekly_tuesday, RUN, FINISH];
    let meaning = "a day that the cycle would meet had it begun a week earlier";
    rule("rule-date-a-cycle-before", "never-met", &never, 2, meaning);
    // 4 - 8 days wraps to a multiple of 4 in 32 bits.
    let four_before: &[u8] = &[1, 0xC4, 0x4D];
    let never = [four_before, &[4, 0xC8, 0x4D, 4], RUN, FINISH];
    rule("rule-date-before-cycle-of-4", "never-met", &never, 2, "four days before a cycle of four");
    let never = [on_mondays, &[4, 0x88, 0x84, 0x03, 238, 2], RUN, FINISH];
    let meaning = "a cycle whose first Monday lies after the last day";
    rule("rule-cycle-too-late", "never-met", &never, 2, meaning);
    let itself = [RUN, &[13, 2, 2, 0], FINISH];
    rule("rule-repeat-itself", "repeat-forward", &itself, 2, "a repeat of itself");
    let later = [RUN, &[13, 3, 2, 0], FINISH];
    rule("rule-repeat-later", "repeat-forward", &later, 2, "a repeat of a later step");
    let beyond = [RUN, &[13, 255, 2, 0], FINISH];
    rule("rule-repeat-beyond", "repeat-forward", &beyond, 2, "a repeat of no step");
    let crossing = [RUN, RUN, twice_from_1, &[13, 2, 2, 0], FINISH];
    rule("rule-repeats-cross", "repeat-crosses", &crossing, 4, "steps 1 to 2 and 2 to 3");
    let onto = [RUN, twice_from_1, &[13, 2, 2, 0], FINISH];
    rule("rule-repeat-of-repeat", "repeat-crosses", &onto, 3, "a body that is only a repeat");
    let deep = [RUN, twice_from_1, twice_from_1, twice_from_1, twice_from_1, twice_from_1, FINISH];
    rule("rule-five-deep", "too-deep", &deep, 6, "five repeats inside each other");
    let passes = [RUN, sixteen, sixteen, sixteen, &[13, 1, 17, 0], FINISH];
    rule("rule-passes", "too-many-passes", &passes, 5, "16 · 16 · 16 · 17 passes");
    let enters = [at_8, on_mondays, RUN, &[13, 2, 2, 0], FINISH];
    rule(
        "rule-enters-waits",
        "enters-waits",
        &enters,
        4,
        "back into an appointment, past its time",
    );
    let dated = [monday, at_8, RUN, twice_from_1, FINISH];
    rule("rule-date-repeats", "date-repeats", &dated, 4, "a date in a repeat");
    let dated = [RUN, on_mondays, monday, RUN, &[13, 2, 2, 0], FINISH];
    rule("rule-date-repeats-later", "date-repeats", &dated, 5, "a date inside a repeat");
    // A body always holds a step that takes time or a repeat, and a repeat's body again: only one
    // that breaks a rule itself could be empty, so this code comes from no block. See the test.
}

fn first_fault_wins(all: &mut Vec<Refused>) {
    let mut wrong = sealed(&[b'x', 9, 57, 2]);
    wrong[4] ^= 1;
    add(all, "first-crc", "CRC, magic, version, offset wrong", wrong, "crc", Spot(4, None));
    let block = sealed(&[b'x', 9, 57, 2]);
    add(all, "first-magic", "magic, version, offset wrong", block, "bad-magic", Spot(0, None));
    let block = sealed(&[b'D', 9, 57, 2]);
    add(all, "first-version", "version and offset wrong", block, "newer-format", Spot(1, None));
    let block = sealed(&[b'D', 1, 57, 2]);
    add(all, "first-offset", "offset and target wrong", block, "out-of-range", Spot(2, None));
    let block = with_steps(&[RUN, RUN, &[14]]);
    let meaning = "an unknown step, and no finish";
    add(all, "first-step", meaning, block, "unknown-tag", Spot(STEP_1 + 4, Some(3)));
    let block = sealed(&[&with_steps(&[RUN])[..STEP_1 + 2], &[0]].concat());
    let meaning = "a trailing byte, and no finish";
    add(all, "first-trailing", meaning, block, "trailing-bytes", Spot(STEP_1 + 2, None));
    let block = with_setting(&[2, 0x80, 0xD3, 0x0E]);
    let meaning = "the default late tolerance in ms";
    add(all, "first-scale", meaning, block, "scale-not-largest", Spot(FIRST + 1, None));
    let own = with_steps(&[RUN, &[6, 6, 0, 0x80, 0xAD, 0xE2, 0x04], FINISH]);
    let meaning = "the schedule's target as own target, in µL/min";
    add(all, "first-own", meaning, own, "scale-not-largest", Spot(STEP_1 + 5, Some(2)));
}
