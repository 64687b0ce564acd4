//! A table as Markdown.

use super::{Kind, Table};
use crate::report::markdown::escaped;
use crate::report::words;

impl Table {
    /// The table as Markdown: title in bold, a pipe table, the note in a paragraph below.
    pub fn to_markdown(&self) -> String {
        let mut out = String::new();
        if !self.title.is_empty() {
            out.push_str(&format!("**{}**\n\n", escaped(&self.title)));
        }
        if !self.columns.is_empty() {
            push_row(
                &mut out,
                self.columns.iter().map(|column| {
                    let name = escaped(&column.name);
                    let unit = escaped(&words::unit_sign(&column.unit));
                    if unit.is_empty() {
                        name
                    } else {
                        format!("{name} ({unit})")
                    }
                }),
            );
            push_row(
                &mut out,
                self.columns.iter().map(|column| {
                    (if column.kind == Kind::Text {
                        "---"
                    } else {
                        "---:"
                    })
                    .to_owned()
                }),
            );
            for row in self.rows() {
                push_row(
                    &mut out,
                    row.iter().zip(&self.columns).map(|(cell, column)| {
                        // Numbers need no escaping, and keep their decimal point and minus sign.
                        if column.kind == Kind::Text {
                            escaped(&cell.shown())
                        } else {
                            cell.shown()
                        }
                    }),
                );
            }
        }
        if !self.note.is_empty() {
            out.push_str(&format!("\n{}\n", escaped(&self.note)));
        }
        out
    }
}

fn push_row(out: &mut String, cells: impl Iterator<Item = String>) {
    out.push('|');
    for cell in cells {
        out.push_str(&format!(" {cell} |"));
    }
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::super::{Cell, Column};
    use super::*;

    #[test]
    fn writes_a_pipe_table() {
        let mut table = Table::new(
            "Draw",
            [Column::text("mode"), Column::number("intake", "degC")],
        )
        .with_note("Two runs.");
        table.row(["eco".into(), Cell::number(-1.5, 1)]);
        assert_eq!(
            table.to_markdown(),
            "**Draw**\n\n| mode | intake (°C) |\n| --- | ---: |\n| eco | -1.5 |\n\nTwo runs.\n"
        );
    }
}
