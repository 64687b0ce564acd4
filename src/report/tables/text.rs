//! A table as terminal text: a heading, one thin rule, no boxes.

use comfy_table::{
    CellAlignment, ColumnConstraint, ContentArrangement, ContentLineStyle, LineStyle, TableStyle,
    Width,
};

use super::{Kind, Table};
use crate::report::words;

/// Below this many characters nothing can be laid out sensibly, so narrower terminals get this width.
const NARROWEST: usize = 30;
/// A longer word may be broken.
const LONGEST_WORD: usize = 16;

impl Table {
    /// The table as plain text of at most about `width` characters a line, without a closing line break.
    ///
    /// Words are broken over lines where the width asks for it; numbers never are, so a table of many
    /// number columns may be wider than asked.
    pub fn to_text(&self, width: usize) -> String {
        let width = width.max(NARROWEST);
        let mut blocks = Vec::new();
        blocks.extend(words::wrap(&words::visible(&self.title), width));
        if !self.columns.is_empty() {
            blocks.push(self.body(width));
        }
        blocks.extend(words::wrap(&words::visible(&self.note), width));
        blocks.join("\n")
    }

    fn body(&self, width: usize) -> String {
        let mut grid = comfy_table::Table::new();
        grid.load_style(
            TableStyle::new()
                .header_lines(ContentLineStyle::none().junction(' '))
                .header_separator(LineStyle::none().fill('─').junction('─'))
                .content_lines(ContentLineStyle::none().junction(' ')),
        );
        grid.set_width(u16::try_from(width).unwrap_or(u16::MAX));
        grid.set_content_arrangement(ContentArrangement::Dynamic);
        grid.set_header(self.columns.iter().map(|column| {
            let name = words::visible(&column.name);
            let unit = words::unit_sign(&column.unit);
            comfy_table::Cell::new(if unit.is_empty() {
                name.into_owned()
            } else {
                format!("{name}\n{unit}")
            })
        }));
        for row in self.rows() {
            grid.add_row(row.iter().map(|cell| comfy_table::Cell::new(cell.shown())));
        }
        let mut longest = self.longest_words().into_iter();
        for (column, made) in self.columns.iter().zip(grid.column_iter_mut()) {
            made.set_padding((0, 1));
            if column.kind == Kind::Text {
                // Words are broken between words, not inside them, as long as they are of ordinary length.
                let least = longest.next().unwrap_or(0).clamp(1, LONGEST_WORD);
                let least = u16::try_from(least + 1).unwrap_or(u16::MAX);
                made.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(least)));
            } else {
                made.set_cell_alignment(CellAlignment::Right);
                made.set_constraint(ColumnConstraint::ContentWidth);
            }
        }
        grid.trim_fmt()
    }

    /// The longest word of each text column, in characters.
    fn longest_words(&self) -> Vec<usize> {
        let longest = |text: &str| {
            text.split(' ')
                .map(|w| w.chars().count())
                .max()
                .unwrap_or(0)
        };
        self.columns
            .iter()
            .enumerate()
            .filter(|(_, column)| column.kind == Kind::Text)
            .map(|(i, column)| {
                let cells = self.rows().iter().filter_map(|row| row.get(i));
                let widest = cells.map(|cell| longest(&cell.shown())).max().unwrap_or(0);
                widest.max(longest(&column.name))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cell, Column};
    use super::*;

    fn sample() -> Table {
        let mut table = Table::new(
            "Draw by setting",
            [
                Column::text("mode"),
                Column::number("intake", "degC"),
                Column::number("draw", "W"),
                Column::interval("one further run", "W"),
                Column::text("says"),
            ],
        )
        .with_note("A run is the unit of the experiment; its many samples are not.");
        table.row([
            "eco".into(),
            Cell::number(35.0, 1),
            Cell::number(412.36, 0),
            Cell::interval(398.0, 426.0, 0),
            "inside what was tested".into(),
        ]);
        table.row([
            "boost".into(),
            Cell::number(38.5, 1),
            Cell::Absent,
            Cell::Absent,
            "".into(),
        ]);
        table
    }

    #[test]
    fn looks_plain() {
        let expected = "\
Draw by setting
mode   intake  draw  one further run  says
           °C     W                W
─────────────────────────────────────────────────────────────
eco      35.0   412       398 to 426  inside what was tested
boost    38.5     –                –
A run is the unit of the experiment; its many samples are not.";
        let text = sample().to_text(80);
        assert_eq!(text, expected, "\n{text}");
    }

    #[test]
    fn narrow_terminals_break_words_not_numbers() {
        let text = sample().to_text(55);
        assert!(text.lines().all(|l| l.chars().count() <= 55), "\n{text}");
        assert!(
            text.contains("398 to 426") && text.contains("what was"),
            "\n{text}"
        );
    }

    #[test]
    fn hostile_names_cannot_forge_rows_or_colours() {
        let mut table = Table::new(
            "",
            [Column::text("mode\n"), Column::number("x", "\u{1b}[1m")],
        );
        table.row(["a\nb\u{1b}[31m".into(), Cell::number(1.0, 0)]);
        let text = table.to_text(80);
        assert_eq!(text.lines().count(), 4, "\n{text}");
        assert!(!text.contains('\u{1b}'));
    }
}
