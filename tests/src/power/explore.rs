//! Cuts at every operation, and cuts at random.

use super::History;
use crate::nor::{Hit, Nor, Torn};
use crate::random::Random;

/// What was tried.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tried {
    /// Cuts while a word was programmed.
    pub programs: u64,
    /// Cuts while a page was erased.
    pub erases: u64,
    /// Boots whose findings were checked.
    pub boots: u64,
}

impl std::ops::AddAssign for Tried {
    fn add_assign(&mut self, more: Self) {
        self.programs += more.programs;
        self.erases += more.erases;
        self.boots += more.boots;
    }
}

/// Drops all RAM, opens anew and checks.
fn boot<const W: usize, const P: usize>(
    nor: &mut Nor<W, P>,
    history: &mut impl History<W, P>,
    tried: &mut Tried,
) -> Result<(), String> {
    nor.boot();
    tried.boots += 1;
    history.boot(nor);
    check(nor, history)
}

fn check<const W: usize, const P: usize>(
    nor: &mut Nor<W, P>,
    history: &impl History<W, P>,
) -> Result<(), String> {
    history.check(nor)?;
    nor.wrong_use.first().map_or(Ok(()), |wrong| Err(wrong.clone()))
}

/// Goes on with a history that was just booted, so many acts, and cuts each at every one of its operations; after
/// each of these cuts likewise, `depth` cuts deep. `first` acts go uncut before.
///
/// # Errors
/// What was found wrong, and the way there.
pub fn every_cut<const W: usize, const P: usize, H: History<W, P>>(
    start: (&Nor<W, P>, &H),
    acts: u32,
    depth: u32,
    torn: Torn,
) -> Result<Tried, String> {
    let (mut nor, mut history) = (start.0.clone(), start.1.clone());
    let mut tried = Tried::default();
    for act in 0..acts {
        for operation in 0.. {
            let (mut nor, mut history) = (nor.clone(), history.clone());
            nor.cut_after(operation, torn);
            history.act(&mut nor);
            let Some(hit) = nor.hit() else { break };
            match hit {
                Hit::Program(_) => tried.programs += 1,
                Hit::Erase(_) => tried.erases += 1,
            }
            let way =
                |wrong| format!("act {act}, operation {operation} ({torn:?}, {hit:?}): {wrong}");
            boot(&mut nor, &mut history, &mut tried).map_err(way)?;
            if depth > 1 {
                tried += every_cut((&nor, &history), acts - act, depth - 1, torn).map_err(way)?;
            } else {
                // What a cut left behind may show only at the boot after the next, or when the ring comes round.
                for _ in 0..2 {
                    history.act(&mut nor);
                    check(&mut nor, &history).map_err(way)?;
                    boot(&mut nor, &mut history, &mut tried).map_err(way)?;
                }
            }
        }
        history.act(&mut nor);
        let way = |wrong| format!("after act {act}, uncut: {wrong}");
        check(&mut nor, &history).map_err(way)?;
    }
    Ok(tried)
}

/// One history with cuts, tidy boots and (sometimes) bad words and pages, all from one seed.
///
/// # Errors
/// What was found wrong, and when.
pub fn random_history<const W: usize, const P: usize>(
    mut nor: Nor<W, P>,
    mut history: impl History<W, P>,
    random: &mut Random,
) -> Result<Tried, String> {
    let mut tried = Tried::default();
    let acts = 10 + random.below(30);
    // Some histories have few cuts, some hardly anything else; some tear in one way, some in all.
    let seldom = 1 + random.below(6);
    let early = random.once_in(3);
    let ways = if random.once_in(2) { vec![random.pick(&Torn::ALL)] } else { Torn::ALL.to_vec() };
    let act_words = 64 / W as u64 + 2;
    boot(&mut nor, &mut history, &mut tried)?;
    for act in 0..acts {
        if random.once_in(seldom) {
            let most = if early { 4 } else { 2 * act_words };
            nor.cut_after(random.below(most), random.pick(&ways));
        }
        history.act(&mut nor);
        let hit = nor.hit();
        match hit {
            Some(Hit::Program(_)) => tried.programs += 1,
            Some(Hit::Erase(_)) => tried.erases += 1,
            None => {}
        }
        let way = |wrong| format!("act {act} (cut: {hit:?}): {wrong}");
        if hit.is_none() {
            check(&mut nor, &history).map_err(way)?;
        }
        if hit.is_some() || random.once_in(8) {
            boot(&mut nor, &mut history, &mut tried).map_err(way)?;
        } else {
            nor.cut_after(u64::MAX, Torn::Prefix);
        }
    }
    boot(&mut nor, &mut history, &mut tried)?;
    Ok(tried)
}
