//! An answer as it is shown: what was given, the formula with its numbers, the result, the source, cautions.

use std::fmt::Write as _;

use serde::Serialize;

use super::super::io::{Failure, Io};
use super::super::table::{Side, Table};
use super::read::problem;
use crate::hygiene::{Amount, Problem, Source, round};

/// A figure.
#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Figure {
    name: String,
    /// As on the screen, rounded and with its unit.
    text: String,
    unit: &'static str,
    /// Not rounded; absent where there are bounds only.
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    /// Of what is below a limit or between two.
    #[serde(skip_serializing_if = "Option::is_none")]
    low: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high: Option<f64>,
}

#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
struct Given {
    name: String,
    text: String,
}

#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
struct Formula {
    formula: &'static str,
    with_numbers: Vec<String>,
}

#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
struct Says {
    code: &'static str,
    says: String,
}

#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
struct Listed {
    heading: Vec<&'static str>,
    #[serde(skip)]
    sides: Vec<Side>,
    rows: Vec<Vec<String>>,
}

/// An answer.
#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Shown {
    format: u8,
    compute: &'static str,
    given: Vec<Given>,
    formulas: Vec<Formula>,
    results: Vec<Figure>,
    #[serde(skip_serializing_if = "Option::is_none")]
    table: Option<Listed>,
    verdicts: Vec<Says>,
    flags: Vec<Says>,
    notes: Vec<String>,
    sources: Vec<Source>,
    cautions: Vec<&'static str>,
}

/// A number as it is put into a formula: up to seven figures, no zeros at the end.
pub fn number(value: f64) -> String {
    let text = round::significant(value, 7).unwrap_or_default();
    match text.split_once('e') {
        None if text.contains('.') => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        None => text,
        Some((digits, power)) => {
            format!("{}e{power}", digits.trim_end_matches('0').trim_end_matches('.'))
        }
    }
}

/// An amount as it is put into a formula.
pub fn amount(amount: Amount) -> String {
    match amount {
        Amount::Found(x) => number(x),
        Amount::Below(x) => format!("(< {})", number(x)),
        Amount::Between(a, b) => format!("({} to {})", number(a), number(b)),
        Amount::AtLeast(x) => format!("(at least {})", number(x)),
    }
}

impl Shown {
    /// Nothing yet.
    pub const fn new(compute: &'static str) -> Self {
        Self {
            format: 1,
            compute,
            given: Vec::new(),
            formulas: Vec::new(),
            results: Vec::new(),
            table: None,
            verdicts: Vec::new(),
            flags: Vec::new(),
            notes: Vec::new(),
            sources: Vec::new(),
            cautions: Vec::new(),
        }
    }

    /// Something given, as it was typed.
    pub fn given(&mut self, name: impl Into<String>, text: &str) {
        self.given.push(Given { name: name.into(), text: text.trim().to_owned() });
    }

    /// A formula, and the same with its numbers; several with different numbers make one.
    pub fn formula(&mut self, formula: &'static str, with_numbers: impl Into<String>) {
        let with_numbers = Some(with_numbers.into()).filter(|n: &String| !n.is_empty());
        match self.formulas.last_mut() {
            Some(last) if last.formula == formula => last.with_numbers.extend(with_numbers),
            _ => self
                .formulas
                .push(Formula { formula, with_numbers: with_numbers.into_iter().collect() }),
        }
    }

    /// A result that is there, with so many significant figures.
    pub fn result(
        &mut self,
        name: impl Into<String>,
        value: f64,
        figures: u8,
        unit: &'static str,
    ) -> Result<(), Failure> {
        self.amount(name, Amount::Found(value), figures, unit)
    }

    /// A volume: four significant figures, and not less than the whole litre.
    pub fn litres(&mut self, name: impl Into<String>, value: f64) -> Result<(), Failure> {
        if value < 1000.0 {
            return self.result(name, value, 4, "L");
        }
        self.rounded(name, value, 0, "L")
    }

    /// A result to so many places.
    pub fn rounded(
        &mut self,
        name: impl Into<String>,
        value: f64,
        places: i32,
        unit: &'static str,
    ) -> Result<(), Failure> {
        self.placed(name.into(), (value, places, unit), "")
    }

    /// A result, signed: a difference.
    pub fn difference(
        &mut self,
        name: impl Into<String>,
        value: f64,
        places: i32,
        unit: &'static str,
    ) -> Result<(), Failure> {
        self.placed(name.into(), (value, places, unit), if value > 0.0 { "+" } else { "" })
    }

    /// A number to so many places; a zero has no sign.
    fn placed(
        &mut self,
        name: String,
        (value, places, unit): (f64, i32, &'static str),
        sign: &str,
    ) -> Result<(), Failure> {
        let digits = round::to_places(value, places).map_err(|p| problem("", p))?;
        let is_zero = digits.chars().all(|c| matches!(c, '0' | '.'));
        let sign = if is_zero { "" } else { sign };
        let text = format!("{sign}{digits} {unit}").trim_end().to_owned();
        self.results.push(Figure { name, text, unit, value: Some(value), low: None, high: None });
        Ok(())
    }

    /// A value with its expanded uncertainty.
    pub fn with_uncertainty(
        &mut self,
        name: &str,
        value: f64,
        expanded: f64,
        unit: &'static str,
    ) -> Result<(), Failure> {
        let (v, u) = round::with_uncertainty(value, expanded).map_err(|p| problem("", p))?;
        self.results.push(Figure {
            name: name.into(),
            text: format!("{v} +/- {u} {unit}").trim_end().to_owned(),
            unit,
            value: Some(value),
            low: Some(value - expanded),
            high: Some(value + expanded),
        });
        Ok(())
    }

    /// A result, also below a limit or within bounds.
    pub fn amount(
        &mut self,
        name: impl Into<String>,
        found: Amount,
        figures: u8,
        unit: &'static str,
    ) -> Result<(), Failure> {
        let text = found.text(figures, unit).map_err(|p: Problem| problem("", p))?;
        let exact = matches!(found, Amount::Found(_));
        self.results.push(Figure {
            name: name.into(),
            text,
            unit,
            value: exact.then(|| found.low()),
            low: (!exact).then(|| found.low()),
            high: if exact { None } else { found.high() },
        });
        Ok(())
    }

    /// Rows with a heading.
    pub fn table(&mut self, columns: &[(&'static str, Side)], rows: Vec<Vec<String>>) {
        let (heading, sides) = columns.iter().copied().unzip();
        self.table = Some(Listed { heading, sides, rows });
    }

    /// What follows.
    pub fn verdict(&mut self, code: &'static str, says: impl Into<String>) {
        self.verdicts.push(Says { code, says: says.into() });
    }

    /// What needs a person's look.
    pub fn flag(&mut self, code: &'static str, says: impl Into<String>) {
        self.flags.push(Says { code, says: says.into() });
    }

    /// What else is to be known.
    pub fn note(&mut self, says: impl Into<String>) {
        self.notes.push(says.into());
    }

    /// Where it is from; said once.
    pub fn source(&mut self, source: Source) {
        if !self.sources.contains(&source) {
            self.sources.push(source);
        }
    }

    /// Where it could be misused.
    pub fn caution(&mut self, says: &'static str) {
        self.cautions.push(says);
    }

    /// Prints it.
    pub fn print(&self, json: bool, io: &mut Io<'_>) -> Result<(), Failure> {
        if json {
            serde_json::to_writer_pretty(&mut *io.out, self).map_err(std::io::Error::from)?;
            writeln!(io.out)?;
        } else {
            io.out.write_all(self.text().as_bytes())?;
        }
        Ok(())
    }

    fn text(&self) -> String {
        let pairs = self.given.iter().map(|g| (g.name.as_str(), g.text.as_str()));
        let mut text = columns("given", pairs, &self.all_names());
        if !self.formulas.is_empty() {
            text.push('\n');
        }
        for (i, formula) in self.formulas.iter().enumerate() {
            prose(&mut text, if i == 0 { "formula" } else { "" }, formula.formula);
            for line in &formula.with_numbers {
                prose(&mut text, "", &format!("  {line}"));
            }
        }
        if let Some(listed) = &self.table {
            let mut table = Table::new(&listed.sides).gap(2);
            if listed.heading.iter().any(|h| !h.is_empty()) {
                table.row(listed.heading.iter().copied());
            }
            for row in &listed.rows {
                table.row(row.iter().map(String::as_str));
            }
            text.push('\n');
            text.push_str(&table.render());
        }
        text.push('\n');
        let pairs = self.results.iter().map(|r| (r.name.as_str(), r.text.as_str()));
        text.push_str(&columns("result", pairs, &self.all_names()));
        for (label, said) in [("so", &self.verdicts), ("flag", &self.flags)] {
            for (i, says) in said.iter().enumerate() {
                prose(&mut text, if i == 0 { label } else { "" }, &says.says);
            }
        }
        text.push('\n');
        let sources = self.sources.iter().map(Source::line).collect::<Vec<_>>();
        let cautions = self.cautions.iter().map(|c| (*c).to_owned()).collect();
        for (label, lines) in
            [("note", self.notes.clone()), ("source", sources), ("caution", cautions)]
        {
            for (i, line) in lines.iter().enumerate() {
                prose(&mut text, if i == 0 { label } else { "" }, line);
            }
        }
        while text.ends_with("\n\n") {
            text.pop();
        }
        text
    }

    /// The names in the second column, which both tables share.
    fn all_names(&self) -> Vec<&str> {
        let given = self.given.iter().map(|g| g.name.as_str());
        given.chain(self.results.iter().map(|r| r.name.as_str())).collect()
    }
}

/// How wide the first column is.
const LABEL: usize = 10;

fn columns<'a>(
    label: &str,
    pairs: impl Iterator<Item = (&'a str, &'a str)>,
    names: &[&str],
) -> String {
    let width = names.iter().map(|n| n.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for (i, (name, value)) in pairs.enumerate() {
        let label = if i == 0 { label } else { "" };
        let _ = writeln!(text, "{label:<LABEL$}{name:<width$}   {value}");
    }
    text
}

/// A label and words, broken where a screen ends.
fn prose(text: &mut String, label: &str, words: &str) {
    const WIDTH: usize = 100;
    let indent = words.len() - words.trim_start().len();
    let lead = " ".repeat(indent);
    let mut line = format!("{label:<LABEL$}{lead}");
    let mut room = WIDTH.saturating_sub(LABEL + indent);
    let mut first = true;
    for word in words.split_whitespace() {
        let long = word.chars().count();
        if !first && long + 1 > room {
            text.push_str(line.trim_end());
            text.push('\n');
            line = format!("{:<LABEL$}{lead}  ", "");
            room = WIDTH.saturating_sub(LABEL + indent + 2);
            first = true;
        }
        if !first {
            line.push(' ');
            room = room.saturating_sub(1);
        }
        line.push_str(word);
        room = room.saturating_sub(long);
        first = false;
    }
    text.push_str(line.trim_end());
    text.push('\n');
}
