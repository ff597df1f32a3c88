//! Tables for people: columns aligned, two or more spaces between them, no lines drawn.

use unicode_width::UnicodeWidthStr;

/// To which side the cells of a column go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Text.
    Left,
    /// Numbers.
    Right,
}

/// A table that is filled row by row and then printed.
#[derive(Clone, Debug)]
pub struct Table {
    sides: Vec<Side>,
    rows: Vec<Vec<String>>,
    indent: usize,
    gap: usize,
}

impl Table {
    /// A table whose columns go to these sides.
    #[must_use]
    pub fn new(sides: &[Side]) -> Self {
        Self { sides: sides.to_vec(), rows: Vec::new(), indent: 0, gap: 3 }
    }

    /// Moves the whole table to the right.
    #[must_use]
    pub const fn indent(mut self, spaces: usize) -> Self {
        self.indent = spaces;
        self
    }

    /// The number of spaces between columns.
    #[must_use]
    pub const fn gap(mut self, spaces: usize) -> Self {
        self.gap = spaces;
        self
    }

    /// Adds a row. A row with fewer cells than columns ends early; the last cell of such a row takes
    /// no part in the widths, so a long remark does not spread the columns.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Removes the columns in which no row below the first (the heading) says anything.
    #[must_use]
    pub fn without_empty_columns(mut self) -> Self {
        let said = |column: usize, rows: &[Vec<String>]| {
            rows.iter().skip(1).any(|r| r.get(column).is_some_and(|c| !c.is_empty()))
        };
        for column in (0..self.sides.len()).rev() {
            if !said(column, &self.rows) {
                self.sides.remove(column);
                for row in self.rows.iter_mut().filter(|r| r.len() > column) {
                    row.remove(column);
                }
            }
        }
        self
    }

    /// The text, each row ending in a line break, no spaces at line ends.
    #[must_use]
    pub fn render(&self) -> String {
        let columns = self.sides.len();
        let mut widths = vec![0; columns];
        for row in &self.rows {
            for (i, cell) in row.iter().enumerate().take(columns) {
                let last_of_short = row.len() < columns && i + 1 == row.len() && i > 0;
                if !last_of_short {
                    widths[i] = widths[i].max(width(cell));
                }
            }
        }
        let mut text = String::new();
        for row in &self.rows {
            let mut line = " ".repeat(self.indent);
            for (i, cell) in row.iter().enumerate() {
                let fill =
                    " ".repeat(widths.get(i).copied().unwrap_or(0).saturating_sub(width(cell)));
                let gap = if i == 0 { 0 } else { self.gap };
                line.push_str(&" ".repeat(gap));
                match self.sides.get(i) {
                    Some(Side::Right) => line.push_str(&(fill + cell)),
                    _ => line.push_str(&(cell.clone() + &fill)),
                }
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}

/// The width on screen: colour codes take none.
fn width(cell: &str) -> usize {
    let mut visible = String::new();
    let mut chars = cell.chars();
    while let Some(c) = chars.next() {
        if c == '\u{1b}' {
            // A colour code ends at its first letter.
            let _ = chars.by_ref().find(char::is_ascii_alphabetic);
        } else {
            visible.push(c);
        }
    }
    visible.width()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_whatever_is_in_them() {
        let mut t = Table::new(&[Side::Left, Side::Right, Side::Left]).gap(2);
        t.row(["a", "1", "x"]);
        t.row(["\u{1b}[32mµL\u{1b}[0m", "100", ""]);
        t.row(["b", "a long remark that ends the row"]);
        assert_eq!(
            t.render(),
            "a     1  x\n\u{1b}[32mµL\u{1b}[0m  100\nb   a long remark that ends the row\n"
        );
    }

    #[test]
    fn empty_columns_go() {
        let mut t = Table::new(&[Side::Left, Side::Left, Side::Left]).gap(1);
        t.row(["step", "pass", "what"]);
        t.row(["1", "", "pump"]);
        assert_eq!(t.without_empty_columns().render(), "step what\n1    pump\n");
    }
}
