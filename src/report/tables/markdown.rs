//! A table as Markdown.

use super::{Kind, Table};
use crate::report::words;

/// Text in which nothing acts as Markdown or HTML: every sign that could is escaped.
pub fn escaped(text: &str) -> String {
    let text = words::visible(text);
    let mut out = String::with_capacity(text.len() + 8);
    for (i, c) in text.char_indices() {
        let acts = match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '$' | '@' | '#' | '&'
            | '!' => true,
            // Bare addresses become links in many readers.
            ':' => text[i..].starts_with("://"),
            '.' => text[..i].to_ascii_lowercase().ends_with("www") || starts_a_list(&text[..i]),
            // A list or rule at the start of a line.
            '-' | '+' | '=' | ')' => text[..i].trim().is_empty() || starts_a_list(&text[..i]),
            _ => false,
        };
        if acts {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

/// Whether what stands before a `.` or `)` would make it a numbered list.
fn starts_a_list(before: &str) -> bool {
    let before = before.trim_start();
    !before.is_empty() && before.len() <= 9 && before.bytes().all(|b| b.is_ascii_digit())
}

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

    #[test]
    fn nothing_from_a_bench_acts() {
        assert_eq!(escaped("a|b"), "a\\|b");
        assert_eq!(escaped("<script>"), "\\<script\\>");
        assert_eq!(escaped("[x](javascript:y)"), "\\[x\\](javascript:y)");
        assert_eq!(escaped("https://x"), "https\\://x");
        assert_eq!(escaped("WWW.x"), "WWW\\.x");
        assert_eq!(escaped("# a\n# b"), "\\# a \\# b");
        assert_eq!(escaped("- a - b"), "\\- a - b");
        assert_eq!(escaped("12. a"), "12\\. a");
        assert_eq!(escaped("Draw rises. By 3.5 W"), "Draw rises. By 3.5 W");
    }
}
