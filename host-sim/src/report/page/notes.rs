//! Where things come from, each said once for the whole report: a place that rests on one names its number.

use std::cell::RefCell;

use maud::{Markup, html};

use super::number::nice;

/// The notes of a page, in the order in which they are first needed.
#[derive(Default)]
pub struct Notes(RefCell<Vec<String>>);

impl Notes {
    /// "note 3", for a text that stands below; nothing for no text.
    pub fn refer(&self, text: &str) -> Markup {
        if text.trim().is_empty() {
            return html! {};
        }
        let mut all = self.0.borrow_mut();
        let known = all.iter().position(|note| note == text);
        let number = known.unwrap_or_else(|| {
            all.push(text.to_owned());
            all.len() - 1
        });
        html! { span.ref { "note\u{a0}" (number + 1) } }
    }

    /// All of them, as a numbered list.
    pub fn list(&self) -> Markup {
        let all = self.0.borrow();
        html! {
            @if !all.is_empty() {
                h3 id="notes" { "Notes" }
                ol.notes { @for note in all.iter() { li { (nice(note)) } } }
            }
        }
    }

    /// Whether there are any.
    pub fn is_empty(&self) -> bool {
        self.0.borrow().is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_is_said_once() {
        let notes = Notes::default();
        let first = notes.refer("App. B 6.2").into_string();
        assert!(first.contains("note\u{a0}1"));
        assert!(notes.refer("the laboratory").into_string().contains("note\u{a0}2"));
        assert_eq!(notes.refer("App. B 6.2").into_string(), first);
        assert_eq!(notes.refer(" ").into_string(), "");
        assert_eq!(notes.list().into_string().matches("<li>").count(), 2);
    }
}
