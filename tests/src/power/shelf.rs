//! A shelf of schedules, stored and removed.

use draught::journal::{Owner, Region, Shelf, ShelfError};
use draught::prelude::*;
use draught::wire;

use super::{History, OWNER};
use crate::nor::Nor;

/// What a place was made to hold: a schedule by its number, or nothing.
type Held = Option<u32>;

/// Schedule after schedule, into all places in turn; every fourth time a place is emptied instead.
#[derive(Clone, Debug)]
pub struct Schedules {
    shelf: Option<Shelf>,
    pages: u16,
    half_pages: u16,
    acts: u32,
    /// Of each place: what was acknowledged last.
    acknowledged: Vec<Held>,
    /// Of each place: what was begun since.
    attempted: Vec<Vec<Held>>,
}

impl Schedules {
    /// On so many pages, from the first on.
    #[must_use]
    pub fn new(pages: u16, half_pages: u16) -> Self {
        let places = usize::from(pages / half_pages / 2);
        let (acknowledged, attempted) = (vec![None; places], vec![Vec::new(); places]);
        Self { shelf: None, pages, half_pages, acts: 0, acknowledged, attempted }
    }
}

/// The block of a schedule that runs for so many seconds; some are longer than others.
#[must_use]
pub fn block(number: u32) -> Vec<u8> {
    let target = Target::flow(Flow::from_ul_per_min(2_000_000).unwrap());
    let mut settings = Settings::new(UtcOffset::UTC, target);
    if number.is_multiple_of(2) {
        settings.name = draught::table::Name::new(&format!("demo {number}")).unwrap();
    }
    let mut table = StepTable::<4>::new(settings);
    let run = DurationMs::from_ms(1000 * (number + 1)).unwrap();
    table.push(Step::RunFor { run, target: None }).unwrap();
    table.push(Step::Finish).unwrap();
    let mut bytes = vec![0; wire::max_len(4)];
    let len = wire::encode(table.checked().unwrap(), &mut bytes).unwrap();
    bytes.truncate(len);
    bytes
}

/// Which schedule a table is.
#[must_use]
pub fn number(table: &StepTable<4>) -> Option<u32> {
    match table.steps() {
        [Step::RunFor { run, .. }, Step::Finish] => Some(run.as_ms() / 1000 - 1),
        _ => None,
    }
}

impl<const WORD: usize, const PAGE: usize> History<WORD, PAGE> for Schedules {
    fn boot(&mut self, nor: &mut Nor<WORD, PAGE>) {
        let region = Region::new(nor, 0, self.pages).unwrap();
        let owner = Owner { ring: 3, ..OWNER };
        self.shelf = Some(Shelf::new(region, owner, self.half_pages).unwrap());
    }

    fn act(&mut self, nor: &mut Nor<WORD, PAGE>) {
        self.acts += 1;
        let shelf = self.shelf.unwrap();
        let place = self.acts as usize % self.acknowledged.len();
        let held = if self.acts.is_multiple_of(4) { None } else { Some(self.acts) };
        self.attempted[place].push(held);
        let done = match held {
            Some(number) => shelf
                .store(nor, place as u16, &block(number), &mut StepTable::<4>::empty())
                .map(|_| ()),
            None => shelf.remove(nor, place as u16),
        };
        if done.is_ok() {
            self.acknowledged[place] = held;
            self.attempted[place].clear();
        }
    }

    fn check(&self, nor: &mut Nor<WORD, PAGE>) -> Result<(), String> {
        let shelf = self.shelf.ok_or("not booted")?;
        for (place, acknowledged) in self.acknowledged.iter().enumerate() {
            let may = |held: Held| *acknowledged == held || self.attempted[place].contains(&held);
            let mut table = StepTable::<4>::empty();
            let mut buffer = [0; wire::max_len(4)];
            match shelf.load(nor, place as u16, &mut buffer, &mut table) {
                Ok(id) => {
                    let found = number(&table).ok_or("a phantom schedule")?;
                    if !may(Some(found)) {
                        return Err(format!(
                            "place {place} holds {found}; {acknowledged:?} was acknowledged"
                        ));
                    }
                    let what = shelf.show(nor, place as u16).map_err(|e| e.to_string())?;
                    if what.id != id || what.name != table.settings().name {
                        return Err(format!("place {place} shows {what:?}"));
                    }
                }
                Err(ShelfError::Empty | ShelfError::Damaged) if may(None) => {}
                Err(error) => {
                    return Err(format!(
                        "place {place}: {error}; {acknowledged:?} was acknowledged"
                    ));
                }
            }
        }
        Ok(())
    }
}
