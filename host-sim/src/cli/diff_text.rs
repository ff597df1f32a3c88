//! What differs, as aligned text.

use super::diff::{Schedule, one_sided_words};
use super::paint::Paint;
use super::table::{Side, Table};
use crate::diff::{Change, Diff, StepChange};
use crate::plan::format;

/// Stands where a side has no such value or step.
const NONE: &str = "-";

/// The whole answer.
pub(super) fn text(old: &Schedule, new: &Schedule, found: &Diff, paint: Paint) -> String {
    if found.is_empty() {
        return format!("the same schedule {}\n", old.id);
    }
    let mut parts = vec![sides(old, new)];
    if !found.settings.is_empty() {
        parts.push(settings(found));
    }
    if !found.steps.is_empty() {
        parts.push(steps(old, new, found, paint));
    }
    parts.push(verdict(found, paint));
    parts.join("\n")
}

fn sides(old: &Schedule, new: &Schedule) -> String {
    let mut table = Table::new(&[Side::Left, Side::Left, Side::Right, Side::Left]);
    for (word, s) in [("old", old), ("new", new)] {
        let steps = format::count(s.table.steps().len(), "step");
        table.row([word, &s.id.to_string(), &steps, &s.name]);
    }
    table.render()
}

fn settings(found: &Diff) -> String {
    let mut table = Table::new(&[Side::Left; 3]);
    table.row(["setting", "was", "is"]);
    for f in &found.settings {
        table.row([f.field, value(&f.old), value(&f.new)]);
    }
    table.render()
}

fn value(words: &Option<String>) -> &str {
    words.as_deref().unwrap_or(NONE)
}

fn steps(old: &Schedule, new: &Schedule, found: &Diff, paint: Paint) -> String {
    let mut table =
        Table::new(&[Side::Right, Side::Right, Side::Left, Side::Left, Side::Left, Side::Left])
            .gap(2);
    table.row(["old", "new", "step", "field", "was", "is"]);
    for step in &found.steps {
        let number = |n: Option<u8>| n.map_or(NONE.to_owned(), |n| n.to_string());
        let numbers = [number(step.old_step), number(step.new_step)];
        match one_sided_words(old, new, step) {
            Some(words) => table.row(one_sided(numbers, step, words, paint)),
            None => {
                for (i, f) in step.fields.iter().enumerate() {
                    // The numbers stand beside the first field only.
                    let [a, b] = if i == 0 { numbers.clone() } else { Default::default() };
                    let what = if i == 0 { step.what } else { "" };
                    table.row([&a, &b, what, f.field, value(&f.old), value(&f.new)]);
                }
            }
        }
    }
    table.render()
}

/// Its words end the row, as they are long and would spread the columns.
fn one_sided(numbers: [String; 2], step: &StepChange, words: String, paint: Paint) -> [String; 5] {
    let [a, b] = numbers;
    let word = step.change.word();
    let word = if step.change == Change::Added { paint.good(word) } else { paint.careful(word) };
    [a, b, step.what.to_owned(), word, words]
}

fn verdict(found: &Diff, paint: Paint) -> String {
    let mut parts = Vec::new();
    if !found.settings.is_empty() {
        parts.push(format::count(found.settings.len(), "setting"));
    }
    for change in [Change::Changed, Change::Added, Change::Removed] {
        match found.count(change) {
            0 => {}
            n => parts.push(format!("{} {}", format::count(n, "step"), change.word())),
        }
    }
    let mut text = format!("{}: {}.", paint.lead("different"), parts.join(", "));
    match found.renumbered.len() {
        0 => {}
        1 => text.push_str(" 1 repeat goes back to the same step as before by its new number."),
        n => text.push_str(&format!(
            " {n} repeats go back to the same steps as before by their new numbers."
        )),
    }
    text + "\n"
}
