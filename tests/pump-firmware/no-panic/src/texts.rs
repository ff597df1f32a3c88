//! Every text for people: `Display`, codes and sentences.
//!
//! `Debug` is left out: how Rust's library writes a string or a 64-bit number for programmers holds panics of its own.

use core::fmt::{Display, Result, Write};

use draught::adapt::{CalibrationRefused, LayoutRefused, NotSet, SupplyRefused, ZeroRefused};
use draught::audit::{FitFault, FitRule, TableFault, TableRule};
use draught::event::Limit;
use draught::journal::{JournalError, RegionRefused, ShelfError};
use draught::machine::{ArmRefused, CommandRefused, ResumeRefused};
use draught::prelude::*;
use draught::table::NameRefused;
use draught::units::OutOfRange;
use draught::wire::{self, BufferTooSmall, ScheduleId};

use crate::opaque;

struct Screen;

impl Write for Screen {
    fn write_str(&mut self, text: &str) -> Result {
        opaque(text);
        Ok(())
    }
}

#[inline(never)]
fn display<T: Display>(value: &T) {
    let _ = write!(Screen, "{}", opaque(value));
}

/// Everything once.
pub fn all() {
    let fault: TableFault = *opaque(&TableFault { step: StepNo::FIRST, rule: TableRule::NoFinish });
    display(&fault);
    opaque((fault.rule.code(), fault.rule.sentence()));
    let fault: FitFault = *opaque(&FitFault { step: None, rule: FitRule::NoFlowControl });
    display(&fault);
    opaque(fault.rule.code());
    let refused: ArmRefused = *opaque(&ArmRefused::NothingPumps);
    display(&refused);
    opaque(refused.code());
    let refused: CommandRefused = *opaque(&CommandRefused::NotArmed);
    display(&refused);
    opaque(refused.code());
    let refused: ResumeRefused = *opaque(&ResumeRefused::NotArmed);
    display(&refused);
    opaque(refused.code());
    opaque(opaque(Limit::FlowLow).code());
    let refused: NameRefused = *opaque(&NameRefused::TooLong);
    display(&refused);
    opaque(refused.code());
    if let Err(out_of_range) = Passes::new(opaque(0)) {
        display::<OutOfRange>(&out_of_range);
    }
    if let Err(refused) = wire::decode_into(opaque(&[]), &mut StepTable::<1>::empty()) {
        display(&refused);
        display(&refused.code);
        opaque(refused.code.as_str());
    }
    let refused: BufferTooSmall = *opaque(&BufferTooSmall { needed: 0 });
    display(&refused);
    display::<RegionRefused>(opaque(&RegionRefused::NotAligned));
    display::<JournalError>(opaque(&JournalError::Full));
    display::<ShelfError>(opaque(&ShelfError::Empty));
    display::<CalibrationRefused>(opaque(&CalibrationRefused::Empty));
    display::<LayoutRefused>(opaque(&LayoutRefused::Address));
    display::<NotSet>(opaque(&NotSet::Year));
    display::<SupplyRefused>(opaque(&SupplyRefused::Discharge));
    display::<ZeroRefused>(opaque(&ZeroRefused::TooFew));
    display::<ScheduleId>(opaque(&ScheduleId([0; 4])));
}
