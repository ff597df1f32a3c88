//! How many days of a pump's life are simulated in a second, by the clock on the wall.

use std::time::{Duration, Instant};

use draught::prelude::*;
use draught_sim::bench::{Setup, World, run};

use crate::tables::{Table, daily};

/// Runs are repeated for at least so long, so that one is not all chance.
const AT_LEAST: Duration = Duration::from_millis(800);

/// One line: days per second with the flow read every second of pumping, and without readings.
pub fn tell() {
    let table = daily();
    println!("{:.0},{:.0}", days_per_second(&table, true), days_per_second(&table, false));
}

fn days_per_second(table: &Table, metering: bool) -> f64 {
    let civil = Date::from_ymd(2027, 3, 8).map(Civil::midnight);
    let wall = civil.and_then(|civil| UtcOffset::UTC.instant(civil));
    let armed = Now { mono: MonoMs::from_ms(0), wall };
    let world = World::default();
    let table = table.checked().expect("a legal table");
    let (begin, mut days) = (Instant::now(), 0.0);
    while begin.elapsed() < AT_LEAST {
        let mut setup = Setup::new(table, &world, 1, armed);
        setup.metering = metering;
        let outcome = run(&setup, &mut ()).expect("it can be armed");
        assert_eq!(outcome.readings > 0, metering);
        days += f64::from(crate::tables::DAYS);
    }
    days / begin.elapsed().as_secs_f64()
}
