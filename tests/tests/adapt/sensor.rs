//! A sensor's bytes.

use draught::adapt::embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use draught::adapt::{
    ByteOrder, Crc8, FRAME_MAX, Field, LayoutRefused, RegisterSensor, SensorLayout, Status, Values,
};
use draught::port::{Air, Ambient, Faulty};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use num_rational::Ratio;
use proptest::prelude::*;

const ADDRESS: u8 = 0x2a;
const CRC: Crc8 = Crc8 { polynomial: 0x1d, initial: 0xff, final_xor: 0xff, after: 2 };

/// Pressure in 1/48 Pa, temperature in 1/100 °C, a checksum behind each.
pub const LAYOUT: SensorLayout = SensorLayout {
    address: ADDRESS,
    start: &[0x20, 0x01],
    request: &[],
    data_len: 4,
    checksum: Some(CRC),
    status: None,
    pressure: Field { numerator: 125, denominator: 6, ..Field::signed(0, 16, ByteOrder::Big) },
    temperature: Some(Field {
        numerator: 10,
        offset: 273_150,
        ..Field::signed(2, 16, ByteOrder::Big)
    }),
};

/// Register 0x10: a pressure in mPa.
pub const PLAIN: SensorLayout = SensorLayout {
    address: ADDRESS,
    start: &[],
    request: &[0x10],
    data_len: 4,
    checksum: None,
    status: None,
    pressure: Field::signed(0, 32, ByteOrder::Big),
    temperature: None,
};

const NO_ANSWER: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

/// 123.375 Pa at 21.5 °C, in the first layout.
pub const GOOD: [u8; 6] = [0x17, 0x22, 0x4e, 0x08, 0x66, 0x3e];

fn start() -> Transaction {
    Transaction::write(ADDRESS, vec![0x20, 0x01])
}

fn read(bytes: &[u8]) -> Transaction {
    Transaction::read(ADDRESS, bytes.to_vec())
}

/// What a sensor says after these transactions, reading by reading.
fn readings(
    layout: SensorLayout,
    bus: &[Transaction],
    count: usize,
) -> Vec<Result<Values, Faulty>> {
    let mut sensor = RegisterSensor::new(Mock::new(bus), layout).unwrap();
    let all = (0..count).map(|_| sensor.read()).collect();
    sensor.into_inner().done();
    all
}

const SAID: Values = Values { pressure_mpa: 123_375, temperature_mk: Some(294_650) };

#[test]
fn checksums_are_those_of_another_implementation() {
    // An open standard's: SAE J1850.
    let other = crc::Crc::<u8>::new(&crc::CRC_8_SAE_J1850);
    assert_eq!(CRC.of(b"123456789"), 0x4b);
    for word in 0..=u16::MAX {
        assert_eq!(CRC.of(&word.to_be_bytes()), other.checksum(&word.to_be_bytes()));
    }
    assert_eq!((GOOD[2], GOOD[5]), (other.checksum(&GOOD[..2]), other.checksum(&GOOD[3..5])));
    let itu = Crc8 { polynomial: 0x07, initial: 0, final_xor: 0x55, after: 1 };
    assert_eq!(
        itu.of(b"123456789"),
        crc::Crc::<u8>::new(&crc::CRC_8_I_432_1).checksum(b"123456789")
    );
}

#[test]
fn it_is_started_once_and_then_read() {
    // The reading that starts it is a gap: nothing was measured yet.
    let bus = [start(), read(&GOOD), read(&GOOD)];
    assert_eq!(readings(LAYOUT, &bus, 3), [Err(Faulty), Ok(SAID), Ok(SAID)]);

    let mut sensor = RegisterSensor::new(Mock::new(&[start(), read(&GOOD)]), LAYOUT).unwrap();
    sensor.start().unwrap();
    assert_eq!(sensor.read(), Ok(SAID));
    sensor.into_inner().done();
}

#[test]
fn a_request_and_its_answer_are_one_transaction() {
    let bus = [Transaction::write_read(ADDRESS, vec![0x10], vec![0xff, 0xff, 0xff, 0xfe])];
    let said = Values { pressure_mpa: -2, temperature_mk: None };
    assert_eq!(readings(PLAIN, &bus, 1), [Ok(said)]);
}

#[test]
fn a_sensor_that_does_not_answer_is_started_anew() {
    let bus = [
        start().with_error(NO_ANSWER),
        start(),
        read(&GOOD),
        read(&[0; 6]).with_error(NO_ANSWER),
        start(),
        read(&GOOD),
    ];
    let gap = Err(Faulty);
    assert_eq!(readings(LAYOUT, &bus, 6), [gap, gap, Ok(SAID), gap, gap, Ok(SAID)]);
    // One that needs no start is asked again at once.
    let ask = |bytes: [u8; 4]| Transaction::write_read(ADDRESS, vec![0x10], bytes.to_vec());
    let bus = [ask([0; 4]).with_error(ErrorKind::ArbitrationLoss), ask([0, 0, 0, 7])];
    let said = Values { pressure_mpa: 7, temperature_mk: None };
    assert_eq!(readings(PLAIN, &bus, 2), [gap, Ok(said)]);
}

#[test]
fn any_wrong_bit_makes_a_gap_and_no_new_start() {
    for bit in 0..48 {
        let mut bytes = GOOD;
        bytes[bit / 8] ^= 1 << (bit % 8);
        let bus = [start(), read(&bytes), read(&GOOD)];
        assert_eq!(readings(LAYOUT, &bus, 3), [Err(Faulty), Err(Faulty), Ok(SAID)], "bit {bit}");
    }
}

#[test]
fn status_bits_decide() {
    // The upper two bits of a word of 16: 0 is fresh, 2 is stale.
    let layout = SensorLayout {
        request: &[],
        data_len: 2,
        status: Some(Status { at: 0, mask: 0xc0, good: 0 }),
        pressure: Field::unsigned(0, 14, ByteOrder::Big),
        ..PLAIN
    };
    let bus = [read(&[0x3f, 0xff]), read(&[0x80, 0x01]), read(&[0x40, 0x01])];
    let said = Values { pressure_mpa: 0x3fff, temperature_mk: None };
    assert_eq!(readings(layout, &bus, 3), [Ok(said), Err(Faulty), Err(Faulty)]);
}

#[test]
fn numbers_of_every_width_and_order() {
    let cases: [(Field, [u8; 4], Option<i32>); 12] = [
        (Field::signed(0, 8, ByteOrder::Big), [0x80, 0, 0, 0], Some(-128)),
        (Field::unsigned(3, 8, ByteOrder::Big), [0, 0, 0, 0xff], Some(255)),
        (Field::signed(1, 24, ByteOrder::Big), [9, 0xff, 0xff, 0xfe], Some(-2)),
        (Field::signed(0, 24, ByteOrder::Little), [0xfe, 0xff, 0xff, 9], Some(-2)),
        (Field::signed(0, 12, ByteOrder::Big), [0xf8, 0x00, 0, 0], Some(-2_048)),
        (Field::signed(0, 12, ByteOrder::Little), [0xff, 0xf7, 0, 0], Some(2_047)),
        (Field::signed(0, 32, ByteOrder::Little), [0, 0, 0, 0x80], Some(i32::MIN)),
        (Field::unsigned(0, 32, ByteOrder::Big), [0x7f, 0xff, 0xff, 0xff], Some(i32::MAX)),
        // Does not fit, before and after the offset.
        (Field::unsigned(0, 32, ByteOrder::Big), [0x80, 0, 0, 0], None),
        (
            Field { offset: 1, ..Field::signed(0, 32, ByteOrder::Big) },
            [0x7f, 0xff, 0xff, 0xff],
            None,
        ),
        (Field { numerator: i32::MIN, ..Field::unsigned(0, 32, ByteOrder::Big) }, [0xff; 4], None),
        (Field { numerator: -3, ..Field::signed(0, 1, ByteOrder::Big) }, [1, 0, 0, 0], Some(3)),
    ];
    for (pressure, bytes, value) in cases {
        let bus = [Transaction::write_read(ADDRESS, vec![0x10], bytes.to_vec())];
        let said = value.map(|pressure_mpa| Values { pressure_mpa, temperature_mk: None });
        assert_eq!(readings(SensorLayout { pressure, ..PLAIN }, &bus, 1), [said.ok_or(Faulty)]);
    }
}

proptest! {
    #[test]
    fn scales_round_to_the_nearest(raw: i32, numerator: i32, denominator: u32, offset: i32) {
        prop_assume!(numerator != 0 && denominator != 0);
        let pressure = Field { numerator, denominator, offset, ..PLAIN.pressure };
        let bus = [Transaction::write_read(ADDRESS, vec![0x10], raw.to_be_bytes().to_vec())];
        let said = readings(SensorLayout { pressure, ..PLAIN }, &bus, 1)[0];
        let exact = Ratio::new(i128::from(raw) * i128::from(numerator), denominator.into());
        // `round` goes to the nearest, halves away from zero.
        let nearest = exact.round().to_integer() + i128::from(offset);
        let expected = i32::try_from(nearest).map_err(|_| Faulty);
        prop_assert_eq!(said.map(|v| v.pressure_mpa), expected);
    }

    /// Small scales, as they are: most numbers fit.
    #[test]
    fn usual_scales_round_to_the_nearest(raw: i16, numerator in 1..5_000, denominator in 1_u32..5_000) {
        let pressure = Field { numerator, denominator, ..Field::signed(0, 16, ByteOrder::Big) };
        let layout = SensorLayout { data_len: 2, pressure, ..PLAIN };
        let bus = [Transaction::write_read(ADDRESS, vec![0x10], raw.to_be_bytes().to_vec())];
        let exact = Ratio::new(i64::from(raw) * i64::from(numerator), denominator.into());
        let said = readings(layout, &bus, 1)[0].unwrap();
        prop_assert_eq!(i64::from(said.pressure_mpa), exact.round().to_integer());
    }
}

#[test]
fn outside_air_from_a_sensor_that_computes_it() {
    let layout = SensorLayout {
        data_len: 8,
        temperature: Some(Field::signed(4, 32, ByteOrder::Big)),
        ..PLAIN
    };
    let says = |mpa: i32, mk: i32| {
        let bytes = [mpa.to_be_bytes(), mk.to_be_bytes()].concat();
        Transaction::write_read(ADDRESS, vec![0x10], bytes)
    };
    let bus = [
        says(101_325_499, 293_150),
        says(101_324_500, 293_150),
        says(-1, 293_150),
        says(101_325_000, 0),
        says(101_325_000, -5),
        says(101_325_000, 293_150).with_error(NO_ANSWER),
    ];
    let mut sensor = RegisterSensor::new(Mock::new(&bus), layout).unwrap();
    let air = Some(Air { temperature_mk: 293_150, pressure_pa: 101_325 });
    for expected in [air, air, None, None, None, None] {
        assert_eq!(Ambient::read(&mut sensor), expected);
    }
    sensor.into_inner().done();
    // A sensor without a temperature is none for the air.
    let bus = [Transaction::write_read(ADDRESS, vec![0x10], vec![1, 0, 0, 0])];
    let mut sensor = RegisterSensor::new(Mock::new(&bus), PLAIN).unwrap();
    assert_eq!(Ambient::read(&mut sensor), None);
    sensor.into_inner().done();
}

#[test]
fn layouts_that_cannot_be_right() {
    let field = |at, bits| Field::signed(at, bits, ByteOrder::Big);
    let crc = |after| Some(Crc8 { after, ..CRC });
    let status = |at, mask, good| Some(Status { at, mask, good });
    let cases = [
        (SensorLayout { address: 0x07, ..PLAIN }, LayoutRefused::Address),
        (SensorLayout { address: 0x78, ..PLAIN }, LayoutRefused::Address),
        (SensorLayout { data_len: 0, ..PLAIN }, LayoutRefused::Length),
        (SensorLayout { data_len: FRAME_MAX as u8 + 1, ..PLAIN }, LayoutRefused::Length),
        (SensorLayout { pressure: field(0, 0), ..PLAIN }, LayoutRefused::Field),
        (SensorLayout { pressure: field(0, 33), data_len: 5, ..PLAIN }, LayoutRefused::Field),
        (SensorLayout { pressure: field(1, 25), ..PLAIN }, LayoutRefused::Field),
        (SensorLayout { temperature: Some(field(255, 8)), ..PLAIN }, LayoutRefused::Field),
        (
            SensorLayout { pressure: Field { denominator: 0, ..field(0, 8) }, ..PLAIN },
            LayoutRefused::Scale,
        ),
        (
            SensorLayout { pressure: Field { numerator: 0, ..field(0, 8) }, ..PLAIN },
            LayoutRefused::Scale,
        ),
        (SensorLayout { checksum: crc(0), ..PLAIN }, LayoutRefused::Checksum),
        (SensorLayout { checksum: crc(3), ..PLAIN }, LayoutRefused::Checksum),
        (SensorLayout { status: status(4, 1, 0), ..PLAIN }, LayoutRefused::Status),
        (SensorLayout { status: status(0, 0, 0), ..PLAIN }, LayoutRefused::Status),
        (SensorLayout { status: status(0, 1, 2), ..PLAIN }, LayoutRefused::Status),
    ];
    for (layout, refused) in cases {
        assert_eq!(layout.check(), Err(refused), "{layout:?}");
        let mut bus = Mock::new(&[]);
        assert_eq!(RegisterSensor::new(bus.clone(), layout).err(), Some(refused));
        bus.done();
        assert!(refused.to_string().ends_with(&format!("({})", refused.code())));
    }
    let longest = SensorLayout { data_len: FRAME_MAX as u8, checksum: crc(1), ..PLAIN };
    let mut bytes = Vec::new();
    for byte in 1..=FRAME_MAX as u8 {
        bytes.extend([byte, CRC.of(&[byte])]);
    }
    let bus = [Transaction::write_read(ADDRESS, vec![0x10], bytes)];
    assert_eq!(readings(longest, &bus, 1)[0].map(|v| v.pressure_mpa), Ok(0x0102_0304));
}
