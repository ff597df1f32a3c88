//! Tables: with a caption, scopes, and on a narrow screen a row for itself.

use maud::{Markup, html};

/// A column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    head: &'static str,
    is_figure: bool,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub const fn text(head: &'static str) -> Self {
        Self { head, is_figure: false }
    }

    /// A column of figures.
    #[must_use]
    pub const fn figure(head: &'static str) -> Self {
        Self { head, is_figure: true }
    }
}

/// A table with no more rows than this is not parted by the end of a sheet.
const SHORT: usize = 14;

/// A table; the first cell of a row is its head. The roles are spelled out, since on a narrow screen the style takes the rows apart.
pub fn table(caption: &str, columns: &[Column], rows: Vec<Vec<Markup>>) -> Markup {
    totalled(&html! { (caption) }, columns, rows, None)
}

/// The same with a last row that sums up.
pub fn totalled(
    caption: &Markup,
    columns: &[Column],
    rows: Vec<Vec<Markup>>,
    total: Option<Vec<Markup>>,
) -> Markup {
    html! {
        table.table.short[rows.len() <= SHORT] role="table" {
            caption { (caption) }
            thead role="rowgroup" {
                tr role="row" {
                    @for column in columns {
                        th.figure[column.is_figure] role="columnheader" scope="col" { (column.head) }
                    }
                }
            }
            tbody role="rowgroup" {
                @for row in rows { tr role="row" { (cells(columns, row)) } }
                @if let Some(row) = total { tr.total role="row" { (cells(columns, row)) } }
            }
        }
    }
}

fn cells(columns: &[Column], row: Vec<Markup>) -> Markup {
    html! {
        @for (i, (column, cell)) in columns.iter().zip(row).enumerate() {
            @if i == 0 {
                th role="rowheader" scope="row" { (cell) }
            } @else if cell.0.is_empty() {
                td role="cell" {}
            } @else {
                td.figure[column.is_figure] role="cell" data-label=(column.head) { span { (cell) } }
            }
        }
    }
}
