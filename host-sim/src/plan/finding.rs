//! What is found wrong, or worth saying, about a plan: collected, never thrown at the first.

use std::ops::Range;

use draught::step::StepNo;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The plan cannot be used.
    Error,
    /// The plan can be used, and may not do what is wanted.
    Warning,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// The word on screens and in JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Note => "note",
        }
    }
}

/// A stretch of the plan's text and what to say about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    /// Byte offsets in the source.
    pub span: Range<usize>,
    /// What is said under it; may be empty.
    pub text: String,
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// The stable kebab-case code; each is listed in `docs/plan.md`.
    pub code: &'static str,
    /// The step it belongs to.
    pub step: Option<StepNo>,
    /// What is wrong, in one sentence without a full stop.
    pub message: String,
    /// Where, the first being the place that is named.
    pub labels: Vec<Label>,
    /// What to know.
    pub notes: Vec<String>,
    /// What to do.
    pub helps: Vec<String>,
}

impl Finding {
    fn new(severity: Severity, code: &'static str, message: impl Into<String>) -> Self {
        Self {
            severity,
            code,
            step: None,
            message: message.into(),
            labels: Vec::new(),
            notes: Vec::new(),
            helps: Vec::new(),
        }
    }

    /// Something that keeps the plan from being used.
    #[must_use]
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, message)
    }

    /// Something that may not be wanted.
    #[must_use]
    pub fn warning(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, code, message)
    }

    /// Something worth knowing.
    #[must_use]
    pub fn note_only(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, message)
    }

    /// Where it is; the first place given is the one that is named.
    #[must_use]
    pub fn at(mut self, span: Range<usize>, text: impl Into<String>) -> Self {
        self.labels.push(Label { span, text: text.into() });
        self
    }

    /// The step it belongs to.
    #[must_use]
    pub fn step(mut self, step: Option<StepNo>) -> Self {
        self.step = step;
        self
    }

    /// Adds something to know.
    #[must_use]
    pub fn note(mut self, text: impl Into<String>) -> Self {
        self.notes.push(text.into());
        self
    }

    /// Adds something to do.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.helps.push(text.into());
        self
    }

    /// The message, with the step in front if it has one.
    #[must_use]
    pub fn title(&self) -> String {
        match self.step {
            Some(step) => format!("step {}: {}", step.get(), self.message),
            None => self.message.clone(),
        }
    }
}

/// Findings as they are collected.
#[derive(Clone, Debug, Default)]
pub struct Findings(Vec<Finding>);

impl Findings {
    /// None yet.
    #[must_use]
    pub const fn new() -> Self {
        Self(Vec::new())
    }

    /// Adds one.
    pub fn push(&mut self, finding: Finding) {
        self.0.push(finding);
    }

    /// Adds what went wrong and gives what went right.
    pub fn keep<T>(&mut self, result: Result<T, Finding>) -> Option<T> {
        result.map_err(|finding| self.push(finding)).ok()
    }

    /// Adds all of another collection.
    pub fn extend(&mut self, others: impl IntoIterator<Item = Finding>) {
        self.0.extend(others);
    }

    /// How many there are of one severity.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        self.0.iter().filter(|f| f.severity == severity).count()
    }

    /// Whether any keeps the plan from being used.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.count(Severity::Error) > 0
    }

    /// All of them: errors first, then warnings, then notes, each in order of place.
    #[must_use]
    pub fn sorted(&self) -> Vec<&Finding> {
        let mut all: Vec<&Finding> = self.0.iter().collect();
        all.sort_by_key(|f| (f.severity, f.labels.first().map_or(usize::MAX, |l| l.span.start)));
        all
    }
}
