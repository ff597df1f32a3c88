//! Which steps of two lists belong together: the cheapest way to make one list from the other.

/// What it costs to add or remove a step.
const GAP: u32 = 2;

/// Two steps that belong together, or one that is on one side only, by their places in their lists.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pair {
    Both(usize, usize),
    Old(usize),
    New(usize),
}

/// Where several ways cost the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ties {
    /// Steps are matched as soon as they can be: what was added or removed comes late.
    PairEarly,
    /// What was added or removed comes first.
    PairLate,
}

/// What it costs to tell a step as changed in so many fields: always less than as removed and added,
/// always more than to leave it alone.
pub(super) const fn changed_cost(fields: usize) -> u32 {
    match fields {
        0 => 0,
        1 => GAP,
        _ => GAP + 1,
    }
}

/// Both lists as pairs, in order. `cost` says what it costs to pair two, if they can be.
pub(super) fn pairs<T>(
    old: &[T],
    new: &[T],
    cost: &impl Fn(&T, &T) -> Option<u32>,
    ties: Ties,
) -> Vec<Pair> {
    let rest = costs_of_rest(old, new, cost);
    let (mut i, mut j) = (0, 0);
    let mut pairs = Vec::new();
    while i < old.len() || j < new.len() {
        let here = rest[i][j];
        let paired = || {
            let cost = cost(old.get(i)?, new.get(j)?)?;
            (cost + rest[i + 1][j + 1] == here).then_some(Pair::Both(i, j))
        };
        let removed = || (i < old.len() && GAP + rest[i + 1][j] == here).then_some(Pair::Old(i));
        let added = || (j < new.len() && GAP + rest[i][j + 1] == here).then_some(Pair::New(j));
        let next = match ties {
            Ties::PairEarly => paired().or_else(removed).or_else(added),
            Ties::PairLate => removed().or_else(added).or_else(paired),
        };
        // One of them is how the cost came about.
        let Some(next) = next else { break };
        match next {
            Pair::Both(..) => (i, j) = (i + 1, j + 1),
            Pair::Old(_) => i += 1,
            Pair::New(_) => j += 1,
        }
        pairs.push(next);
    }
    pairs
}

/// What the cheapest way from each pair of places to both ends costs.
fn costs_of_rest<T>(old: &[T], new: &[T], cost: &impl Fn(&T, &T) -> Option<u32>) -> Vec<Vec<u32>> {
    let mut rest = vec![vec![0; new.len() + 1]; old.len() + 1];
    for i in (0..=old.len()).rev() {
        for j in (0..=new.len()).rev() {
            let paired = match (old.get(i), new.get(j)) {
                (Some(a), Some(b)) => cost(a, b).map(|c| c + rest[i + 1][j + 1]),
                _ => None,
            };
            let removed = (i < old.len()).then(|| GAP + rest[i + 1][j]);
            let added = (j < new.len()).then(|| GAP + rest[i][j + 1]);
            rest[i][j] = [paired, removed, added].into_iter().flatten().min().unwrap_or(0);
        }
    }
    rest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Letters of one case are of one kind.
    fn letters(old: &str, new: &str, ties: Ties) -> String {
        let (old, new): (Vec<char>, Vec<char>) = (old.chars().collect(), new.chars().collect());
        let cost = |a: &char, b: &char| {
            let same_kind = a.is_lowercase() == b.is_lowercase();
            same_kind.then(|| changed_cost(usize::from(a != b)))
        };
        let word = |p: &Pair| match *p {
            Pair::Both(i, j) if old[i] == new[j] => old[i].to_string(),
            Pair::Both(i, j) => format!("({}{})", old[i], new[j]),
            Pair::Old(i) => format!("-{}", old[i]),
            Pair::New(j) => format!("+{}", new[j]),
        };
        pairs(&old, &new, &cost, ties).iter().map(word).collect()
    }

    #[test]
    fn what_stayed_is_found_between_what_changed() {
        let early = |a, b| letters(a, b, Ties::PairEarly);
        assert_eq!(early("abcd", "abcd"), "abcd");
        assert_eq!(early("abcd", "abxcd"), "ab+xcd");
        assert_eq!(early("abcd", "acd"), "a-bcd");
        assert_eq!(early("abcd", "abxd"), "ab(cx)d");
        assert_eq!(early("aBc", "abc"), "a-B+bc", "of another kind");
        assert_eq!(early("", "ab"), "+a+b");
        assert_eq!(early("ab", ""), "-a-b");
    }

    #[test]
    fn of_equals_the_first_or_the_last_is_the_added_one() {
        assert_eq!(letters("aab", "aaab", Ties::PairEarly), "aa+ab");
        assert_eq!(letters("aab", "aaab", Ties::PairLate), "+aaab");
    }
}
