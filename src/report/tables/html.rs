//! A table as HTML.

use maud::{Markup, html};

use super::{Kind, Table};
use crate::report::words;

impl Table {
    /// The table as HTML inside a box of its own that scrolls sideways on a narrow screen.
    ///
    /// Everything is escaped; the classes are those of the page's own style sheet.
    pub fn to_html(&self) -> Markup {
        let title = words::visible(&self.title);
        let note = words::visible(&self.note);
        html! {
            // A focusable region, so that a keyboard can scroll it too.
            div.table role="region" aria-label=(title) tabindex="0" {
                table {
                    @if !title.is_empty() { caption { span { (title) } } }
                    thead {
                        tr {
                            @for column in &self.columns {
                                th scope="col" class=(class(column.kind)) {
                                    (words::visible(&column.name))
                                    @let unit = words::unit_sign(&column.unit);
                                    @if !unit.is_empty() { " " span.unit { (unit) } }
                                }
                            }
                        }
                    }
                    tbody {
                        @for row in self.rows() {
                            tr {
                                @for (i, (cell, column)) in row.iter().zip(&self.columns).enumerate() {
                                    @if i == 0 && column.kind == Kind::Text {
                                        th scope="row" { (cell.shown()) }
                                    } @else {
                                        td class=(class(column.kind)) { (signed(&cell.shown(), column.kind)) }
                                    }
                                }
                            }
                        }
                    }
                }
            }
            @if !note.is_empty() { p.table-note { (note) } }
        }
    }
}

fn class(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "words",
        Kind::Number | Kind::Interval => "number",
    }
}

/// Numbers with a true minus sign.
fn signed(shown: &str, kind: Kind) -> String {
    if kind == Kind::Text {
        shown.to_owned()
    } else {
        shown.replace('-', "−")
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cell, Column};
    use super::*;

    #[test]
    fn everything_from_a_bench_is_escaped() {
        let mut table = Table::new(
            "<b>\"t\"",
            [Column::text("<i>"), Column::number("x", "<u>")],
        )
        .with_note("</p><script>");
        table.row(["<script>alert(1)</script>".into(), Cell::number(-1.0, 1)]);
        let html = table.to_html().into_string();
        for bad in ["<b>", "<i>", "<u>", "<script", "\"\"t"] {
            assert!(!html.contains(bad), "{bad} in {html}");
        }
        assert!(html.contains("&lt;script&gt;alert(1)") && html.contains("−1.0"));
    }
}
