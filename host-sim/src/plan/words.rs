//! "Did you mean": the closest of the words that would have done.

/// The candidate most like `word`, if any is like it enough to be meant.
pub(crate) fn closest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let lower = word.to_lowercase().replace('_', "-");
    candidates
        .into_iter()
        .map(|c| (strsim::damerau_levenshtein(&lower, &c.to_lowercase()), c))
        .filter(|(distance, c)| *distance <= c.chars().count().max(3) / 3)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::closest;

    #[test]
    fn near_words_are_found_and_far_ones_are_not() {
        let keys = ["name", "zone", "flow", "pressure", "start-by", "steps"];
        assert_eq!(closest("start_by", keys), Some("start-by"));
        assert_eq!(closest("presure", keys), Some("pressure"));
        assert_eq!(closest("flwo", keys), Some("flow"));
        assert_eq!(closest("colour", keys), None);
    }
}
