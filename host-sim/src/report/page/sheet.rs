//! The style of the page, and what is printed at the edge of every sheet.

use std::fmt::Write as _;

use crate::record_file::NOTICE;

const STYLE: &str = include_str!("style.css");

/// What a page is printed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// 210 by 297 mm.
    A4,
    /// 8.5 by 11 in.
    Letter,
}

impl Paper {
    const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}

/// The style sheet, with the head and the foot of printed sheets.
pub fn style(title: &str, simulated: bool, paper: Option<Paper>) -> String {
    STYLE.to_owned() + &edges(title, simulated, paper)
}

/// What stands at the edges of every printed sheet: what it belongs to, that it is simulated, and its number.
#[must_use]
pub fn edges(title: &str, simulated: bool, paper: Option<Paper>) -> String {
    let mut style = String::new();
    let size = paper.map_or(String::new(), |p| format!("size: {};", p.name()));
    let font = "font: 8pt system-ui, sans-serif; color: #505d69;";
    let alert = if simulated { NOTICE } else { "" };
    let _ = write!(
        style,
        "@page {{ {size} margin: 15mm 14mm 14mm;\n\
         @top-left {{ content: \"{}\"; {font} }}\n\
         @top-right {{ content: \"{alert}\"; font: 700 8pt system-ui, sans-serif; color: #a3211a; }}\n\
         @bottom-right {{ content: counter(page) \" of \" counter(pages); {font} }} }}\n",
        css_text(title)
    );
    style
}

/// A text inside the quotes of a style sheet: everything but letters and digits is written as its number, so that nothing ends the text,
/// the rule or the style element.
fn css_text(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars().take(90) {
        match c {
            ' ' | '-' | '.' | ',' | ':' => out.push(c),
            c if c.is_alphanumeric() => out.push(c),
            c if c.is_control() => out.push(' '),
            c => {
                let _ = write!(out, "\\{:x} ", u32::from(c));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_stays_a_text() {
        assert_eq!(css_text("Oven line, bay 3"), "Oven line, bay 3");
        assert_eq!(css_text("\"}</style>"), "\\22 \\7d \\3c \\2f style\\3e ");
        assert_eq!(css_text("a\\\nb"), "a\\5c  b");
    }

    #[test]
    fn the_style_asks_for_nothing() {
        let style = style("x", true, Some(Paper::Letter));
        assert!(style.contains("size: letter;") && style.contains("SIMULATED, NOT A SAMPLE"));
        for word in ["url(", "@import", "http", "</"] {
            assert!(!style.contains(word), "{word}");
        }
    }
}
