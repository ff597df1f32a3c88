//! Colour for the few words that carry a verdict.

/// Colours words, or leaves them as they are.
#[derive(Clone, Copy, Debug)]
pub struct Paint(pub bool);

impl Paint {
    fn with(self, code: &str, word: &str) -> String {
        if self.0 { format!("\u{1b}[{code}m{word}\u{1b}[0m") } else { word.to_owned() }
    }

    /// All is well.
    #[must_use]
    pub fn good(self, word: &str) -> String {
        self.with("32", word)
    }

    /// Not wrong, worth a look.
    #[must_use]
    pub fn careful(self, word: &str) -> String {
        self.with("33", word)
    }

    /// Wrong.
    #[must_use]
    pub fn bad(self, word: &str) -> String {
        self.with("1;31", word)
    }

    /// What leads a screen.
    #[must_use]
    pub fn lead(self, word: &str) -> String {
        self.with("1", word)
    }
}
