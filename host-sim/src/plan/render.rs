//! Findings as text, in the manner of a good compiler: code, place, the line, a caret, what to do.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use super::finding::{Finding, Severity};
use super::source::Source;

/// Renders one finding, ending in a line break.
#[must_use]
pub fn render(finding: &Finding, source: &Source, colour: bool) -> String {
    let level = match finding.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let mut group: Group<'_> =
        Group::with_title(level.primary_title(finding.title()).id(finding.code));
    if !finding.labels.is_empty() {
        let annotations = finding.labels.iter().enumerate().map(|(i, label)| {
            let kind = if i == 0 { AnnotationKind::Primary } else { AnnotationKind::Context };
            let annotation = kind.span(visible(&label.span, &source.text));
            if label.text.is_empty() { annotation } else { annotation.label(label.text.as_str()) }
        });
        group = group.element(
            Snippet::source(source.text.as_str())
                .path(source.name.as_str())
                .annotations(annotations),
        );
    }
    for note in &finding.notes {
        group = group.element(Level::NOTE.message(note.as_str()));
    }
    for help in &finding.helps {
        group = group.element(Level::HELP.message(help.as_str()));
    }
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let mut text = renderer.render(&[group]);
    text.push('\n');
    text
}

/// A span that lies inside the text, on character boundaries: at the end of a text there is
/// nothing to point at, so the last character is pointed at instead.
fn visible(span: &std::ops::Range<usize>, text: &str) -> std::ops::Range<usize> {
    let mut start = span.start.min(text.len());
    let mut end = span.end.clamp(start, text.len());
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..end
}
