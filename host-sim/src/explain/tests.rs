use super::*;

/// 8 March 2027, 07:30, 15 min at 2.5 L/min.
const GOOD: [u8; 20] = [
    0x44, 0x01, 0x00, 0x00, 0x67, 0x00, 0x04, 0x01, 0xc8, 0x4d, 0x02, 0x8a, 0x0e, 0x05, 0x3e, 0x00,
    0xda, 0x1a, 0xb3, 0x84,
];

fn says<'e>(e: &'e Explanation, field: &str) -> &'e str {
    &e.rows.iter().find(|r| r.field == field).unwrap_or_else(|| panic!("{field}: {e:?}")).says
}

/// Every byte is in exactly one row.
fn covers_every_byte(e: &Explanation) {
    let mut at = 0;
    for row in &e.rows {
        assert_eq!(row.at, at, "{e:?}");
        at += row.bytes.split(' ').filter(|b| !b.is_empty()).count();
    }
    assert_eq!(at, e.len, "{e:?}");
}

fn sealed(body: &[u8]) -> Vec<u8> {
    [body, &wire::seal(body)].concat()
}

#[test]
fn a_good_block() {
    let e = explain(&GOOD);
    assert_eq!(
        e.render(),
        "\
20 bytes, schedule da1ab384, nothing wrong

    at  bytes                    step  field       says
     0  44                             magic       'D': a schedule block
     1  01                             version     format version 1
     2  00                             utc-offset  UTC
     3  00                             target      flow
     4  67                             flow        2.5 L/min (25 × 100 mL/min)
     5  00                             settings    0 settings: all have their defaults
     6  04                             steps       4 steps follow
     7  01                          1  step        wait-for-date
     8  c8 4d                       1  date        Mon 2027-03-08
    10  02                          2  step        wait-for-time
    11  8a 0e                       2  time        07:30 (450 × 1 min)
    13  05                          3  step        run-for
    14  3e                          3  run         15 min (15 × 1 min)
    15  00                          4  step        finish
    16  da 1a b3 84                    CRC-32C     right
"
    );
    covers_every_byte(&e);
}

#[test]
fn a_wrong_crc_comes_first_and_the_fields_are_read_all_the_same() {
    let mut bad = GOOD;
    bad[14] = 0x3d; // 15 s
    let e = explain(&bad);
    assert_eq!(e.damage.len(), 1);
    assert_eq!((e.damage[0].code, e.damage[0].at), ("crc", 16));
    assert_eq!(says(&e, "run"), "15 s (15 × 1 s)");
    assert!(says(&e, "CRC-32C").starts_with("wrong: the bytes before it give "));
    assert_eq!(e.id, None);
    covers_every_byte(&e);
    assert!(e.render().starts_with("20 bytes, damaged\n  byte 16: the CRC is not that"));
    assert!(e.render().contains("\n>   16  da 1a b3 84"));
}

#[test]
fn damage_beneath_a_wrong_crc_is_found_too() {
    let mut bad = GOOD;
    bad[13] = 0x20; // no such step
    let e = explain(&bad);
    let codes: Vec<_> = e.damage.iter().map(|d| (d.code, d.at, d.step)).collect();
    assert_eq!(codes, [("crc", 16, None), ("unknown-tag", 13, Some(3))]);
    assert_eq!(says(&e, "time"), "07:30 (450 × 1 min)");
    let (at_fault, field) = ("refused: unknown-tag; not read from here on", "step");
    let row = e.rows.iter().find(|r| r.at == 13).expect("the row at fault");
    assert_eq!((row.field, row.says.as_str(), row.step), (field, at_fault, Some(3)));
    assert!(e.render().contains("were the CRC right: byte 13, step 3: "));
    covers_every_byte(&e);
}

#[test]
fn a_broken_table_rule_points_at_its_step() {
    let mut body = GOOD[..16].to_vec();
    body[15] = 0x01;
    body.extend([0xc8, 0x4d]);
    let e = explain(&sealed(&body));
    assert_eq!((e.damage[0].code, e.damage[0].at, e.damage[0].step), ("no-finish", 15, Some(4)));
    assert!(e.render().contains("\n>   15  01"));
    covers_every_byte(&e);
}

#[test]
fn settings_in_words() {
    let body = [
        b'D', 1, 0xe4, 1, 0x0b, 6, // UTC-07:00, 2 kPa, six settings
        0, 4, b'd', b'e', b'm', b'o', // name
        1, 0xc8, 0x4d, 0x8a, 0x0e, // start-by
        2, 21, // late-tolerance
        3, 1, 7, 1, // make-up-time within 1 h, while charging
        4, 1, 10, 3, // retry every 2 min, 3 times
        5, 20, 6, 1, 0x17, // 20 % for 1 min, at most 5 kPa
        2, 3, 0x1f, 0, // Monday to Friday, finish
    ];
    let e = explain(&sealed(&body));
    assert_eq!(e.damage, [], "{}", e.render());
    for (field, words) in [
        ("utc-offset", "UTC-07:00"),
        ("target", "pressure"),
        ("pressure", "2.0 kPa (2 × 1 kPa)"),
        ("settings", "6 settings follow"),
        ("name length", "4 bytes follow"),
        ("name", "\"demo\""),
        ("start-by date", "Mon 2027-03-08"),
        ("start-by time", "07:30 (450 × 1 min)"),
        ("late-tolerance", "5 s (5 × 1 s)"),
        ("outage rule", "make-up-time"),
        ("resume-within", "1 h (1 × 1 h)"),
        ("while-charging", "yes"),
        ("fault rule", "retry"),
        ("retry every", "2 min (2 × 1 min)"),
        ("retry times", "3 times"),
        ("flow deviation limit", "20 %"),
        ("flow deviation time", "1 min (1 × 1 min)"),
        ("pressure limit", "limit follows"),
        ("pressure at most", "5.0 kPa (5 × 1 kPa)"),
        ("weekdays", "Mon-Fri"),
    ] {
        assert_eq!(says(&e, field), words);
    }
    covers_every_byte(&e);
}

#[test]
fn steps_in_words() {
    let body = [
        b'D', 1, 0, 0, 103, 0, 6, // six steps
        4, 0xc8, 0x4d, 6, // cycle
        10, 0x83, 0x03, 7, 1, 0x0b, // draw 96 x 10 L, at most 1 h, at 2 kPa
        12, 0xb6, 0x01, 1, // hold until resumed, at most 45 min, close
        8, 0x1b, 0x13, 0, 0x2b, // until 06:00, at most 4 h, at 1 L/min
        13, 1, 0xe8, 0x07, 2, // repeat from 1, 1,000 passes
        0,
    ];
    let e = explain(&sealed(&body));
    assert_eq!(e.damage, [], "{}", e.render());
    for (field, words) in [
        ("cycle from", "Mon 2027-03-08"),
        ("cycle every", "every 6 days"),
        ("volume", "960 L (96 × 10 L)"),
        ("then", "close"),
        ("until", "06:00 (6 × 1 h)"),
        ("repeat from step", "step 1"),
        ("passes", "1,000 in all"),
        ("sampler", "fresh-confirmed"),
    ] {
        assert_eq!(says(&e, field), words);
    }
    covers_every_byte(&e);
}

#[test]
fn every_truncation_and_every_wrong_byte_is_explained() {
    for len in 0..GOOD.len() {
        let e = explain(&GOOD[..len]);
        assert!(!e.damage.is_empty() && e.id.is_none());
        covers_every_byte(&e);
        assert!(e.render().contains("damaged"));
    }
    for at in 0..GOOD.len() {
        for xor in 1..=255 {
            let mut bad = GOOD;
            bad[at] ^= xor;
            let e = explain(&bad);
            assert_eq!(e.damage[0].code, "crc");
            covers_every_byte(&e);
        }
    }
}

/// A setting or a target is judged when it has been read: its fields have their rows already.
#[test]
fn what_is_refused_after_it_was_read_has_its_bytes_once() {
    let head = [b'D', 1, 0, 0, 103];
    for (rest, code, at, fields) in [
        // The default name and the default limits, written out.
        (&[1, 0, 0, 1, 0][..], "setting-default", 6, 10),
        (&[1, 5, 10, 6, 0, 1, 0], "setting-default", 6, 11),
        // A name after a late-tolerance; a late-tolerance twice, with nothing after it.
        (&[2, 2, 21, 0, 1, b'x', 1, 0], "setting-order", 8, 10),
        (&[2, 2, 21, 2], "setting-twice", 8, 10),
        // The schedule's own target.
        (&[0, 2, 6, 62, 0, 103, 0], "own-target-same", 9, 12),
    ] {
        let e = explain(&sealed(&[&head, rest].concat()));
        let first = e.damage.first().map(|d| (d.code, d.at));
        assert_eq!(first, Some((code, at)), "{}", e.render());
        covers_every_byte(&e);
        assert!(e.render().lines().any(|l| l.starts_with(&format!(">  {at:>3}  "))), "{e:?}");
        assert_eq!(e.rows.iter().filter(|r| r.field != "rest").count(), fields, "{}", e.render());
    }
}

#[test]
fn a_long_file_that_is_no_block_stays_short() {
    let e = explain(&[0x55; 5_000]);
    let codes: Vec<_> = e.damage.iter().map(|d| d.code).collect();
    assert_eq!(codes, ["crc", "bad-magic"]);
    covers_every_byte(&e);
    let text = e.render();
    assert!(text.lines().count() < 20, "{text}");
    assert!(text.contains("and 4932 more bytes"), "{text}");
}
