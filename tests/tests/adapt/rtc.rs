//! A real-time clock's registers.

use draught::adapt::embedded_hal::i2c::ErrorKind;
use draught::adapt::{
    ClockLayout, Digits, LayoutRefused, LostFlag, NotSet, RegisterClock, WeekdayRegister,
};
use draught::calendar::{Civil, Date, TimeOfDay, UtcOffset};
use draught::clock::WallMs;
use draught::port::WallClock;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use proptest::prelude::*;

const ADDRESS: u8 = 0x34;

/// Weekday before the day and counted from 1, century beside the month, the flag in a register of its own.
pub const APART: ClockLayout = ClockLayout {
    address: ADDRESS,
    first: 0,
    seconds: Digits::new(0, 0x7f),
    minutes: Digits::new(1, 0x7f),
    hours: Digits::new(2, 0x3f),
    twelve_hours: 0x40,
    weekday: Some(WeekdayRegister { at: 3, monday: 1, ones: 0x08 }),
    day: Digits::new(4, 0x3f),
    month: Digits::new(5, 0x1f),
    century: 0x80,
    year: Digits::new(6, 0xff),
    lost: LostFlag { register: 0x0c, mask: 0x80 },
};

/// No weekday, no century, the flag beside the minutes, an oscillator that runs while a bit is 1.
const TOGETHER: ClockLayout = ClockLayout {
    first: 4,
    seconds: Digits { at: 0, mask: 0x7f, ones: 0x80 },
    twelve_hours: 0,
    day: Digits::new(3, 0x3f),
    weekday: None,
    month: Digits::new(4, 0x1f),
    century: 0,
    year: Digits::new(5, 0xff),
    lost: LostFlag { register: 5, mask: 0x80 },
    ..APART
};

const _: () = assert!(APART.check().is_ok() && TOGETHER.check().is_ok());

pub fn wall(ymd: (u16, u8, u8), hms: (u8, u8, u8)) -> WallMs {
    let date = Date::from_ymd(ymd.0, ymd.1, ymd.2).expect("a date");
    let time = TimeOfDay::from_hms(hms.0, hms.1, hms.2).expect("a time");
    UtcOffset::UTC.instant(Civil { date, time }).expect("2020 to 2135")
}

fn time(registers: [u8; 7]) -> Transaction {
    Transaction::write_read(ADDRESS, vec![0], registers.to_vec())
}

fn flags(flags: u8) -> Transaction {
    Transaction::write_read(ADDRESS, vec![0x0c], vec![flags])
}

fn now(layout: ClockLayout, bus: &[Transaction]) -> Option<WallMs> {
    let mut clock = RegisterClock::new(Mock::new(bus), layout).unwrap();
    let now = clock.now();
    clock.into_inner().done();
    now
}

fn set(layout: ClockLayout, bus: &[Transaction], at: WallMs) -> Result<(), NotSet> {
    let mut clock = RegisterClock::new(Mock::new(bus), layout).unwrap();
    let set = clock.set_time(at);
    // One that was not set says nothing, and is not asked.
    if matches!(set, Err(NotSet::Bus | NotSet::NotKept)) {
        assert_eq!(clock.now(), None);
    }
    clock.into_inner().done();
    set
}

/// What a clock of the first layout says of registers.
fn said(registers: [u8; 7]) -> Option<WallMs> {
    now(APART, &[time(registers), flags(0)])
}

#[test]
fn edges_of_the_calendar() {
    // Seconds, minutes, hours, weekday, day, month with century, year.
    let last = (23, 59, 59);
    let cases = [
        ([0x59, 0x59, 0x23, 2, 0x28, 0x02, 0x27], wall((2027, 2, 28), last)),
        ([0x59, 0x59, 0x23, 2, 0x29, 0x02, 0x28], wall((2028, 2, 29), last)),
        ([0x00, 0x00, 0x00, 2, 0x01, 0x03, 0x28], wall((2028, 3, 1), (0, 0, 0))),
        ([0x00, 0x00, 0x00, 3, 0x01, 0x01, 0x20], wall((2020, 1, 1), (0, 0, 0))),
        ([0x59, 0x59, 0x23, 4, 0x31, 0x12, 0x99], wall((2099, 12, 31), last)),
        ([0x00, 0x00, 0x00, 5, 0x01, 0x81, 0x00], wall((2100, 1, 1), (0, 0, 0))),
        ([0x59, 0x59, 0x23, 0, 0x28, 0x82, 0x00], wall((2100, 2, 28), last)),
        ([0x59, 0x59, 0x23, 6, 0x29, 0x82, 0x04], wall((2104, 2, 29), last)),
        ([0x59, 0x59, 0x23, 6, 0x31, 0x92, 0x35], wall((2135, 12, 31), last)),
    ];
    for (registers, at) in cases {
        assert_eq!(said(registers), Some(at), "{registers:02x?}");
    }
}

#[test]
fn registers_that_hold_no_date_are_not_trusted() {
    let good = [0x59, 0x59, 0x23, 2, 0x28, 0x02, 0x27];
    assert!(said(good).is_some());
    let wrong = [
        (0, 0x60), // seconds
        (0, 0x5a), // no digit
        (1, 0x60),
        (1, 0x0f),
        (2, 0x24), // hours
        (2, 0x63), // 12-h mode
        (4, 0x00), // day
        (4, 0x29), // no leap year
        (4, 0x32),
        (4, 0x1a),
        (5, 0x00), // month
        (5, 0x13),
        (6, 0x9a), // year
        (6, 0xa0),
        (6, 0x19), // before 2020
        (6, 0x00), // a chip that was reset
    ];
    for (at, byte) in wrong {
        let mut registers = good;
        registers[at] = byte;
        assert_eq!(said(registers), None, "register {at}: {byte:#04x}");
    }
    // A chip that takes 2100 for a leap year, and the first second of 2136.
    assert_eq!(said([0, 0, 0, 1, 0x29, 0x82, 0x00]), None);
    assert_eq!(said([0, 0, 0, 1, 0x01, 0x81, 0x36]), None);
    // Bits that are no digits say nothing: the weekday, and what lies outside the masks.
    assert_eq!(said([0xd9, 0xd9, 0xa3, 0xff, 0xe8, 0x62, 0x27]), said(good));
    // Without a bit for the century, year 00 is a chip that was reset.
    let read = |year| Transaction::write_read(ADDRESS, vec![4], vec![0x80, 0, 0, 0x01, 0x81, year]);
    assert_eq!(now(TOGETHER, &[read(0x00)]), None);
    assert_eq!(now(TOGETHER, &[read(0x99)]), Some(wall((2099, 1, 1), (0, 0, 0))));
}

#[test]
fn a_clock_that_was_lost_says_nothing() {
    let good = [0, 0, 0, 1, 0x01, 0x01, 0x27];
    assert_eq!(now(APART, &[time(good), flags(0x7f)]), Some(wall((2027, 1, 1), (0, 0, 0))));
    assert_eq!(now(APART, &[time(good), flags(0x80)]), None);
    let read = |minutes| {
        Transaction::write_read(ADDRESS, vec![4], vec![0x80, minutes, 0, 0x01, 0x01, 0x27])
    };
    assert_eq!(now(TOGETHER, &[read(0x30)]), Some(wall((2027, 1, 1), (0, 30, 0))));
    assert_eq!(now(TOGETHER, &[read(0xb0)]), None);
}

#[test]
fn a_bus_that_fails_says_nothing() {
    let good = [0, 0, 0, 1, 0x01, 0x01, 0x27];
    assert_eq!(now(APART, &[time(good).with_error(ErrorKind::Bus)]), None);
    assert_eq!(now(APART, &[time(good), flags(0).with_error(ErrorKind::Bus)]), None);
}

#[test]
fn setting_writes_the_time_then_clears_the_flag_then_reads_back() {
    let at = wall((2027, 2, 11), (22, 8, 9)); // a Thursday
    let registers = [0x09, 0x08, 0x22, 0x0c, 0x11, 0x02, 0x27];
    let write = Transaction::write(ADDRESS, [&[0], &registers[..]].concat());
    let clear = Transaction::write(ADDRESS, vec![0x0c, 0x28]);
    let bus = [write.clone(), flags(0xa8), clear.clone(), time(registers), flags(0x28)];
    assert_eq!(set(APART, &bus, at), Ok(()));
    // Rounded to the nearest second; two seconds on when it is read back.
    let later = [0x11, 0x08, 0x22, 0x0c, 0x11, 0x02, 0x27];
    let bus = [write.clone(), flags(0xa8), clear.clone(), time(later), flags(0x28)];
    assert_eq!(set(APART, &bus, at.plus_ms(499).unwrap()), Ok(()));
    let before = WallMs::from_ms(at.as_ms() - 500).unwrap();
    assert_eq!(set(APART, &bus, before), Ok(()));

    // A failure at any of them is told, and nothing more is sent.
    let all = [write.clone(), flags(0xa8), clear.clone()];
    for failing in 0..3 {
        let mut bus = all[..=failing].to_vec();
        bus[failing] = bus[failing].clone().with_error(ErrorKind::Bus);
        assert_eq!(set(APART, &bus, at), Err(NotSet::Bus), "transaction {failing}");
    }
    // It stands, it lost what was written, its flag stays, it does not answer.
    let stood = [0x12, 0x08, 0x22, 0x0c, 0x11, 0x02, 0x27];
    let none = [0, 0, 0, 1, 0x01, 0x01, 0x27];
    for (read, kept) in [(stood, 0x28), (none, 0x28), (registers, 0xa8)] {
        let bus = [write.clone(), flags(0xa8), clear.clone(), time(read), flags(kept)];
        assert_eq!(set(APART, &bus, at), Err(NotSet::NotKept));
    }
    let bus = [write, flags(0xa8), clear, time(registers).with_error(ErrorKind::Bus)];
    assert_eq!(set(APART, &bus, at), Err(NotSet::NotKept));
}

#[test]
fn a_clock_that_was_not_set_is_trusted_again_once_it_is() {
    let at = wall((2028, 2, 29), (9, 59, 58));
    let registers = [0xd8, 0x59, 0x09, 0x29, 0x02, 0x28];
    let write = Transaction::write(ADDRESS, [&[4], &registers[..]].concat());
    let read = Transaction::write_read(ADDRESS, vec![4], registers.to_vec());
    let bus = [write.clone().with_error(ErrorKind::Bus), write, read.clone(), read];
    let mut clock = RegisterClock::new(Mock::new(&bus), TOGETHER).unwrap();
    assert_eq!(clock.set_time(at), Err(NotSet::Bus));
    assert_eq!(clock.now(), None);
    assert_eq!(clock.set_time(at), Ok(()));
    assert_eq!(clock.now(), Some(at));
    clock.into_inner().done();
}

#[test]
fn a_flag_beside_the_digits_goes_with_them() {
    let at = wall((2028, 2, 29), (9, 59, 58));
    let registers = [0xd8, 0x59, 0x09, 0x29, 0x02, 0x28];
    let bus = [
        Transaction::write(ADDRESS, [&[4], &registers[..]].concat()),
        Transaction::write_read(ADDRESS, vec![4], registers.to_vec()),
    ];
    assert_eq!(set(TOGETHER, &bus, at), Ok(()));
}

#[test]
fn years_that_it_cannot_hold_are_refused_before_anything_is_sent() {
    assert_eq!(set(TOGETHER, &[], wall((2100, 1, 1), (0, 0, 0))), Err(NotSet::Year));
    assert_eq!(
        set(TOGETHER, &[], wall((2099, 12, 31), (23, 59, 59)).plus_ms(500).unwrap()),
        Err(NotSet::Year)
    );
    assert_eq!(set(APART, &[], WallMs::LAST), Err(NotSet::Year));
    let last = [0x59, 0x59, 0x23, 0x0e, 0x31, 0x92, 0x35];
    let bus = [
        Transaction::write(ADDRESS, [&[0], &last[..]].concat()),
        flags(0x80),
        Transaction::write(ADDRESS, vec![0x0c, 0]),
        time(last),
        flags(0),
    ];
    assert_eq!(set(APART, &bus, wall((2135, 12, 31), (23, 59, 59))), Ok(()));
    for refused in [NotSet::Year, NotSet::Bus, NotSet::NotKept] {
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
}

/// A chip: it takes what is written and says it again.
#[derive(Default)]
struct Chip([u8; 16]);

impl draught::adapt::embedded_hal::i2c::ErrorType for Chip {
    type Error = ErrorKind;
}

impl draught::adapt::embedded_hal::i2c::I2c for Chip {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [draught::adapt::embedded_hal::i2c::Operation<'_>],
    ) -> Result<(), ErrorKind> {
        use draught::adapt::embedded_hal::i2c::Operation;
        assert_eq!(address, ADDRESS);
        let mut register = 0;
        for operation in operations {
            match operation {
                Operation::Write([first, bytes @ ..]) => {
                    register = usize::from(*first);
                    self.0[register..register + bytes.len()].copy_from_slice(bytes);
                }
                Operation::Write([]) => {}
                Operation::Read(bytes) => {
                    bytes.copy_from_slice(&self.0[register..register + bytes.len()]);
                }
            }
        }
        Ok(())
    }
}

proptest! {
    #[test]
    fn what_was_set_is_what_is_read(ms in WallMs::FIRST.as_ms()..=WallMs::LAST.as_ms() - 500) {
        let at = WallMs::from_ms(ms).unwrap();
        for layout in [APART, TOGETHER] {
            let mut clock = RegisterClock::new(Chip([0xff; 16]), layout).unwrap();
            prop_assert_eq!(clock.now(), None);
            if layout == TOGETHER && at.plus_ms(500).unwrap() >= wall((2100, 1, 1), (0, 0, 0)) {
                prop_assert_eq!(clock.set_time(at), Err(NotSet::Year));
                continue;
            }
            prop_assert_eq!(clock.set_time(at), Ok(()));
            prop_assert_eq!(clock.now().unwrap().as_ms(), (ms + 500) / 1_000 * 1_000);
        }
    }

    /// Any bytes at all: `None`, or an instant whose digits are those bytes.
    #[test]
    fn any_registers(registers: [u8; 7]) {
        if let Some(at) = said(registers) {
            let civil = jiff::Timestamp::from_millisecond(at.as_ms() as i64 + 946_684_800_000).unwrap();
            let text = civil.strftime("%S%M%H%d").to_string();
            let digits: String = [(0, 0x7f), (1, 0x7f), (2, 0x3f), (4, 0x3f)]
                .map(|(at, mask): (usize, u8)| format!("{:02x}", registers[at] & mask))
                .concat();
            prop_assert_eq!(text, digits);
        }
    }
}

#[test]
fn layouts_that_cannot_be_right() {
    let cases = [
        (ClockLayout { address: 0xd0, ..APART }, LayoutRefused::Address),
        (ClockLayout { day: Digits::new(3, 0x3f), ..APART }, LayoutRefused::Registers),
        (ClockLayout { weekday: None, ..APART }, LayoutRefused::Registers),
        (ClockLayout { year: Digits::new(7, 0xff), ..APART }, LayoutRefused::Registers),
        (ClockLayout { year: Digits::new(255, 0xff), ..APART }, LayoutRefused::Registers),
        (ClockLayout { twelve_hours: 0x20, ..APART }, LayoutRefused::Registers),
        (ClockLayout { century: 0x10, ..APART }, LayoutRefused::Registers),
        (
            ClockLayout { seconds: Digits { at: 0, mask: 0x7f, ones: 1 }, ..APART },
            LayoutRefused::Registers,
        ),
        (
            ClockLayout { hours: Digits { at: 2, mask: 0x3f, ones: 0x40 }, ..APART },
            LayoutRefused::Registers,
        ),
        (
            ClockLayout { weekday: Some(WeekdayRegister { at: 3, monday: 2, ones: 0 }), ..APART },
            LayoutRefused::Registers,
        ),
        (
            ClockLayout { weekday: Some(WeekdayRegister { at: 255, monday: 1, ones: 0 }), ..APART },
            LayoutRefused::Registers,
        ),
        (
            ClockLayout { lost: LostFlag { register: 15, mask: 0 }, ..APART },
            LayoutRefused::LostFlag,
        ),
        (
            ClockLayout { lost: LostFlag { register: 0, mask: 0x40 }, ..APART },
            LayoutRefused::LostFlag,
        ),
        (
            ClockLayout { lost: LostFlag { register: 5, mask: 0x80 }, ..APART },
            LayoutRefused::LostFlag,
        ),
        (
            ClockLayout { lost: LostFlag { register: 4, mask: 0x80 }, ..TOGETHER },
            LayoutRefused::LostFlag,
        ),
    ];
    for (layout, refused) in cases {
        assert_eq!(layout.check(), Err(refused), "{layout:?}");
        let mut bus = Mock::new(&[]);
        assert_eq!(RegisterClock::new(bus.clone(), layout).err(), Some(refused));
        bus.done();
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
}
