//! A motor on pulse-width modulation.

use embedded_hal::pwm::SetDutyCycle;

use crate::port::{Duty, Faulty, Motor};

/// At which level of the pin the motor runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Polarity {
    /// It runs while the pin is high.
    ActiveHigh,
    /// It runs while the pin is low: a driver that inverts. Such a pin drives the motor fully until it is set up, so
    /// it needs a resistor that holds it high while the processor starts.
    ActiveLow,
}

/// A motor whose driver takes pulses: [`Motor`] on [`SetDutyCycle`].
///
/// [`Duty::OFF`] is no pulse at all and [`Duty::FULL`] no gap, whatever the resolution; between them the duty is rounded to the nearest
/// that the timer has. The timer must go on while the board sleeps: a pump that runs may sleep only as deep as its timer allows.
///
/// ```
/// use draught::adapt::{Polarity, PwmMotor};
/// use draught::port::{Duty, Motor};
/// use embedded_hal_mock::eh1::pwm::{Mock, Transaction};
///
/// let pwm = Mock::new(&[
///     // Off at once: nobody knows what the timer did before.
///     Transaction::max_duty_cycle(255),
///     Transaction::set_duty_cycle(0),
///     Transaction::max_duty_cycle(255),
///     Transaction::set_duty_cycle(64), // a quarter of 255, rounded
/// ]);
/// let mut motor = PwmMotor::new(pwm, Polarity::ActiveHigh)?;
/// motor.drive(Duty::from_per_myriad(2_500))?;
/// # motor.into_inner().done();
/// # Ok::<(), draught::port::Faulty>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct PwmMotor<P> {
    pwm: P,
    polarity: Polarity,
}

impl<P: SetDutyCycle> PwmMotor<P> {
    /// Takes the timer over and stops the motor.
    ///
    /// # Errors
    /// The driver did not take the demand.
    pub fn new(pwm: P, polarity: Polarity) -> Result<Self, Faulty> {
        let mut motor = Self { pwm, polarity };
        motor.drive(Duty::OFF)?;
        Ok(motor)
    }

    /// Gives the timer back, at the duty it has.
    pub fn into_inner(self) -> P {
        self.pwm
    }
}

impl<P: SetDutyCycle> Motor for PwmMotor<P> {
    fn drive(&mut self, duty: Duty) -> Result<(), Faulty> {
        let most = self.pwm.max_duty_cycle();
        let on = scaled(duty, most);
        let level = match self.polarity {
            Polarity::ActiveHigh => on,
            Polarity::ActiveLow => most.saturating_sub(on),
        };
        self.pwm.set_duty_cycle(level).map_err(|_| Faulty)
    }
}

/// A duty in steps of a timer, to the nearest.
fn scaled(duty: Duty, most: u16) -> u16 {
    let full = u32::from(Duty::FULL.per_myriad());
    // At most 10,000 times 65,535.
    let product = u32::from(duty.per_myriad()).saturating_mul(most.into());
    // No duty is more than full, so this is no more than `most`.
    (product.saturating_add(5_000) / full.max(1)) as u16
}
