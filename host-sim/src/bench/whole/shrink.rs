//! A failing trial, made as small as it stays failing.

use super::broken::Broken;
use super::faults::Fault;
use super::trial::{Trial, trial};

/// The shortest that a length of time is made, in ms.
const SHORT_MS: u64 = 1_000;

/// The same failing trial with as little happening as it takes: each fault that can be left out is, then those that are left are made
/// shorter and come earlier, by halves.
pub(super) fn shrunk(mut failing: Trial, mut broken: Broken) -> (Trial, Broken) {
    let mut n = 0;
    while n < failing.faults.len() {
        let mut fewer = failing.clone();
        fewer.faults.remove(n);
        match trial(&fewer) {
            Ok(_) => n += 1,
            Err(other) => (failing, broken) = (fewer, other),
        }
    }
    let halves: [fn(&mut Fault) -> bool; 2] = [
        |fault| match fault.kind.lasts_ms() {
            Some(ms) if ms >= 2 * SHORT_MS => {
                fault.kind = fault.kind.lasting(ms / 2);
                true
            }
            _ => false,
        },
        |fault| {
            fault.at_ms /= 2;
            fault.at_ms >= SHORT_MS
        },
    ];
    for n in 0..failing.faults.len() {
        for halve in halves {
            loop {
                let mut less = failing.clone();
                if !halve(&mut less.faults[n]) {
                    break;
                }
                less.faults.sort_by_key(|fault| fault.at_ms);
                if less.faults[n].number != failing.faults[n].number {
                    break;
                }
                match trial(&less) {
                    Ok(_) => break,
                    Err(other) => (failing, broken) = (less, other),
                }
            }
        }
    }
    (failing, broken)
}

/// What happens in a trial, as a list from which [`pick`] makes it again: numbers, and where it is not as the seed has it, when in
/// ms, and for how long in ms. `none` when nothing does.
#[must_use]
pub fn picks(of: &Trial) -> String {
    let all = Trial::new(of.seed).faults;
    let one = |fault: &Fault| {
        let mut text = fault.number.to_string();
        let as_drawn = all.get(fault.number);
        if as_drawn.is_none_or(|drawn| drawn.at_ms != fault.at_ms) {
            text.push_str(&format!("@{}", fault.at_ms));
        }
        if let Some(ms) = fault.kind.lasts_ms()
            && as_drawn.is_none_or(|drawn| drawn.kind.lasts_ms() != Some(ms))
        {
            text.push_str(&format!("/{ms}"));
        }
        text
    };
    let list: Vec<String> = of.faults.iter().map(one).collect();
    if list.is_empty() { "none".to_owned() } else { list.join(",") }
}

/// The trial of a seed with only what a list says; `None` when the list is none of this trial's.
#[must_use]
pub fn pick(seed: u64, list: &str) -> Option<Trial> {
    let mut trial = Trial::new(seed);
    let all = std::mem::take(&mut trial.faults);
    if list != "none" {
        for item in list.split(',') {
            trial.faults.push(one(&all, item.trim())?);
        }
    }
    Some(trial)
}

fn one(all: &[Fault], item: &str) -> Option<Fault> {
    let (item, for_ms) = match item.split_once('/') {
        Some((item, ms)) => (item, Some(ms.parse().ok()?)),
        None => (item, None),
    };
    let (number, at_ms) = match item.split_once('@') {
        Some((number, ms)) => (number, Some(ms.parse().ok()?)),
        None => (item, None),
    };
    let mut fault = *all.get(number.parse::<usize>().ok()?)?;
    fault.at_ms = at_ms.unwrap_or(fault.at_ms);
    if let Some(ms) = for_ms {
        fault.kind.lasts_ms()?;
        fault.kind = fault.kind.lasting(ms);
    }
    Some(fault)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_makes_the_trial_again() {
        for seed in 0..200 {
            let all = Trial::new(seed);
            assert_eq!(pick(seed, &picks(&all)).unwrap().faults, all.faults, "{seed}");
            let mut other = all.clone();
            other.faults.truncate(3);
            for fault in &mut other.faults {
                fault.at_ms /= 2;
                fault.kind = fault.kind.lasting(7);
            }
            assert_eq!(pick(seed, &picks(&other)).unwrap(), other, "{}", picks(&other));
        }
        assert_eq!(pick(3, "99"), None);
        assert_eq!(pick(3, "x"), None);
    }
}
