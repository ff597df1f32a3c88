//! Values just outside their ranges.

use super::{FINISH, FIRST, RUN, STEP_1, Spot, add, number, sealed, with_setting, with_steps};
use crate::vectors::Refused;

fn out_of_range(all: &mut Vec<Refused>, name: &str, meaning: &str, block: Vec<u8>, spot: Spot) {
    add(all, &format!("range-{name}"), meaning, block, "out-of-range", spot);
}

pub(super) fn head(all: &mut Vec<Refused>) {
    for (name, byte) in [("offset-57", 57), ("offset-minus-49", 0xCF), ("offset-minus-128", 0x80)] {
        let block = sealed(&[b'D', 1, byte, 0, 103, 0, 1, 0]);
        out_of_range(all, name, "beyond -12:00 to +14:00", block, Spot(2, None));
    }
    let target = |bytes: &[u8]| sealed(&[&[b'D', 1, 0], bytes, &[0, 1, 0]].concat());
    let targets: [(&str, &str, &[u8]); 6] = [
        ("flow-0", "no flow", &[0, 3]),
        ("flow-above", "2,000.1 L/min", &[0, 0x87, 0xF1, 0x04]),
        ("flow-far-above", "more than 32 bits of µL/min", &[0, 0xFF, 0xFF, 0xFF, 0xFF, 0x0F]),
        ("flow-too-fine", "1,000,000,001 µL/min", &[0, 0x84, 0xD0, 0xAC, 0xF3, 0x0E]),
        ("pressure-0", "no pressure", &[1, 3]),
        ("pressure-above", "201 kPa", &[1, 0xA7, 0x06]),
    ];
    for (name, meaning, bytes) in targets {
        out_of_range(all, name, meaning, target(bytes), Spot(4, None));
    }
    let just: [(&str, &str, u8, u32); 2] = [
        ("flow-just-above", "1 mL/min too much", 0, 2_000_001 << 2 | 1),
        ("pressure-just-above", "1 Pa too much", 1, 200_001 << 2),
    ];
    for (name, meaning, kind, scaled) in just {
        let block = target(&[&[kind], &number(scaled)[..]].concat());
        out_of_range(all, name, meaning, block, Spot(4, None));
    }
    let late = [&[2], &number(86_400_001 << 2)[..]].concat();
    let spot = Spot(FIRST + 1, None);
    out_of_range(all, "late-tolerance-just-above", "24 h and 1 ms", with_setting(&late), spot);
    let grace = [&[5, 20], &number(3_600_001 << 2)[..], &[0]].concat();
    let spot = Spot(FIRST + 2, None);
    out_of_range(all, "trip-grace-just-above", "1 h and 1 ms", with_setting(&grace), spot);
    let entries: [(&str, &str, &[u8], usize); 13] = [
        ("start-by-date", "day 49,673", &[1, 0x89, 0x84, 0x03, 3], 1),
        ("start-by-time", "24:00", &[1, 1, 99], 2),
        ("late-tolerance-below", "4 s", &[2, 17], 1),
        ("late-tolerance-above", "25 h", &[2, 103], 1),
        ("resume-within-below", "999 ms", &[3, 0, 0x9C, 0x1F, 0], 2),
        ("resume-within-above", "745 h", &[3, 1, 0xA7, 0x17, 0], 2),
        ("retry-every-below", "999 ms", &[4, 1, 0x9C, 0x1F, 1], 2),
        ("retry-every-above", "25 h", &[4, 1, 103, 1], 2),
        ("retry-times", "no time", &[4, 1, 6, 0], 3),
        ("trip-percent-below", "0 %", &[5, 0, 6, 0], 1),
        ("trip-percent-above", "51 %", &[5, 51, 6, 0], 1),
        ("trip-grace", "2 h", &[5, 20, 11, 0], 2),
        ("pressure-at-most", "no pressure", &[5, 20, 6, 1, 3], 4),
    ];
    for (name, meaning, bytes, at) in entries {
        out_of_range(all, name, meaning, with_setting(bytes), Spot(FIRST + at, None));
    }
}

pub(super) fn steps(all: &mut Vec<Refused>) {
    let rows: [(&str, &str, &[u8], usize); 20] = [
        ("date", "day 49,673", &[1, 0x89, 0x84, 0x03], 1),
        ("time", "24:00", &[2, 99], 1),
        ("weekdays-none", "no day", &[3, 0], 1),
        ("weekdays-eighth", "an eighth day", &[3, 128], 1),
        ("cycle-from", "day 49,673", &[4, 0x89, 0x84, 0x03, 6], 1),
        ("cycle-every-0", "every 0 days", &[4, 1, 0], 2),
        ("cycle-every-367", "every 367 days", &[4, 1, 0xEF, 0x02], 2),
        ("run-0", "no time", &[5, 3], 1),
        ("run-above", "745 h", &[5, 0xA7, 0x17], 1),
        ("run-wraps", "33,554,433 h, 1 h in 32 bits", &[5, 0x87, 0x80, 0x80, 0x40], 1),
        ("run-too-fine", "1,000,000,001 ms", &[5, 0x84, 0xD0, 0xAC, 0xF3, 0x0E], 1),
        ("until", "24:00", &[7, 99, 7], 1),
        ("at-most", "no time", &[7, 7, 3], 2),
        ("volume-0", "nothing", &[9, 3, 7], 1),
        ("volume-above", "4,000,010 L", &[9, 0x87, 0xD4, 0x61, 7], 1),
        ("own-flow", "no flow", &[6, 6, 0, 3], 3),
        ("hold", "no time", &[11, 3], 1),
        ("hold-at-most", "745 h", &[12, 0xA7, 0x17, 0], 1),
        ("repeat-from", "step 0", &[13, 0, 2, 0], 1),
        ("passes", "one pass", &[13, 1, 1, 0], 2),
    ];
    for (name, meaning, bytes, at) in rows {
        let block = with_steps(&[RUN, bytes, FINISH]);
        out_of_range(all, &format!("step-{name}"), meaning, block, Spot(STEP_1 + 2 + at, Some(2)));
    }
}
