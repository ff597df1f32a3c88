//! Duties in steps of a timer.

use draught::adapt::{Polarity, PwmMotor};
use draught::port::{Duty, Faulty, Motor};
use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::pwm::{Mock, Transaction};
use num_rational::Ratio;

/// A motor at a resolution that is driven once; what the timer was set to.
fn driven(most: u16, polarity: Polarity, duty: Duty, level: u16) {
    let off = if polarity == Polarity::ActiveLow { most } else { 0 };
    let mut motor = PwmMotor::new(
        Mock::new(&[
            Transaction::max_duty_cycle(most),
            Transaction::set_duty_cycle(off),
            Transaction::max_duty_cycle(most),
            Transaction::set_duty_cycle(level),
        ]),
        polarity,
    )
    .unwrap();
    motor.drive(duty).unwrap();
    motor.into_inner().done();
}

#[test]
fn every_duty_is_the_nearest_step_at_every_resolution() {
    for most in [1, 2, 100, 255, 1_023, 9_999, 10_000, 65_535] {
        for duty in (0..=10_000).step_by(if most < 300 { 1 } else { 7 }).chain([10_000]) {
            let exact = Ratio::new(u32::from(duty) * u32::from(most), 10_000);
            let nearest = u16::try_from((exact + Ratio::new(1, 2)).to_integer()).unwrap();
            let duty = Duty::from_per_myriad(duty);
            driven(most, Polarity::ActiveHigh, duty, nearest);
            driven(most, Polarity::ActiveLow, duty, most - nearest);
        }
    }
}

#[test]
fn off_is_no_pulse_and_full_no_gap() {
    for most in [1, 255, 65_535] {
        driven(most, Polarity::ActiveHigh, Duty::OFF, 0);
        driven(most, Polarity::ActiveHigh, Duty::FULL, most);
        driven(most, Polarity::ActiveLow, Duty::OFF, most);
        driven(most, Polarity::ActiveLow, Duty::FULL, 0);
    }
    // With one step there is nothing between: from one half on it runs.
    driven(1, Polarity::ActiveHigh, Duty::from_per_myriad(4_999), 0);
    driven(1, Polarity::ActiveHigh, Duty::from_per_myriad(5_000), 1);
}

#[test]
fn a_driver_that_fails_is_told() {
    let fails = Transaction::set_duty_cycle(0).with_error(MockError::Io(std::io::ErrorKind::Other));
    let mut pwm = Mock::new(&[Transaction::max_duty_cycle(100), fails.clone()]);
    assert_eq!(PwmMotor::new(pwm.clone(), Polarity::ActiveHigh).err(), Some(Faulty));
    pwm.done();

    let mut pwm = Mock::new(&[
        Transaction::max_duty_cycle(100),
        Transaction::set_duty_cycle(0),
        Transaction::max_duty_cycle(100),
        fails,
    ]);
    let mut motor = PwmMotor::new(pwm.clone(), Polarity::ActiveHigh).unwrap();
    assert_eq!(motor.drive(Duty::OFF), Err(Faulty));
    pwm.done();
}
