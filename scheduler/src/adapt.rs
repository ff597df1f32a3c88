//! Ports on the traits of `embedded-hal` 1.0, so that a board with a driver for its bus and its timer needs to write none of its own.
//!
//! Only with the feature `embedded-hal`, which is off unless asked for: the engine needs none of this, and what is not used
//! takes no flash. How a firmware is built of these is in `docs/porting.md`.
//!
//! | port | adapter | stands on |
//! |---|---|---|
//! | [`Motor`](crate::port::Motor) | [`PwmMotor`] | `SetDutyCycle` |
//! | [`FlowSensor`](crate::port::FlowSensor) | [`FlowElement`]: pressure across a laminar element or an orifice | `I2c` |
//! | [`Ambient`](crate::port::Ambient) | [`RegisterSensor`], of a sensor that computes pressure and temperature itself | `I2c` |
//! | [`WallClock`](crate::port::WallClock) | [`RegisterClock`]: a real-time clock with decimal registers | `I2c` |
//! | [`Supply`](crate::port::Supply) | [`VoltageSupply`] | a closure that reads a voltage |
//! | [`Monotonic`](crate::port::Monotonic) | [`TickClock`] | a closure that reads a 32-bit counter |
//!
//! No part is known here by name. A sensor and a clock are described by what their data sheet says of their registers, as plain data
//! ([`SensorLayout`], [`ClockLayout`]) that can be checked when the firmware is compiled:
//!
//! ```
//! use draught::adapt::{ByteOrder, Crc8, Field, SensorLayout};
//!
//! /// Big-endian words of 16 bits, a checksum behind each: a pressure in 1/48 Pa, and a temperature in 1/100 °C.
//! const LAYOUT: SensorLayout = SensorLayout {
//!     address: 0x2a,
//!     start: &[0x20, 0x01],
//!     request: &[],
//!     data_len: 4,
//!     checksum: Some(Crc8 { polynomial: 0x1d, initial: 0xff, final_xor: 0xff, after: 2 }),
//!     status: None,
//!     pressure: Field { numerator: 125, denominator: 6, ..Field::signed(0, 16, ByteOrder::Big) },
//!     temperature: Some(Field {
//!         numerator: 10,
//!         offset: 273_150,
//!         ..Field::signed(2, 16, ByteOrder::Big)
//!     }),
//! };
//! const _: () = assert!(LAYOUT.check().is_ok());
//! ```

mod calibration;
mod drop;
mod element;
mod layout;
mod line;
mod motor;
mod rtc;
mod rtc_layout;
mod sensor;
mod supply;
mod ticks;

pub use embedded_hal;

pub use self::calibration::{Calibration, CalibrationRefused, Law};
pub use self::drop::WithDrop;
pub use self::element::{FlowElement, ZeroBounds, ZeroRefused, ZeroSum};
pub use self::layout::{ByteOrder, Crc8, FRAME_MAX, Field, LayoutRefused, SensorLayout, Status};
pub use self::motor::{Polarity, PwmMotor};
pub use self::rtc::{NotSet, RegisterClock};
pub use self::rtc_layout::{ClockLayout, Digits, LostFlag, WeekdayRegister};
pub use self::sensor::{RegisterSensor, Values};
pub use self::supply::{Sensed, SupplyRefused, Thresholds, VoltageSupply};
pub use self::ticks::TickClock;

/// The code in `docs/porting.md` compiles, and its sums are right.
#[cfg(doctest)]
#[doc = include_str!("../../docs/porting.md")]
struct Porting;
