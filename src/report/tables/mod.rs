//! One neutral table, written as terminal text, HTML, Markdown or CSV.
//!
//! A command or a page fills a [`Table`] once; how it looks is decided here alone.
//!
//! ```
//! use steadydraw::report::tables::{Cell, Column, Table};
//!
//! let mut table = Table::new(
//!     "Draw at 35 °C intake",
//!     [Column::text("mode"), Column::number("draw", "W"), Column::interval("95 % interval", "W")],
//! );
//! table.row([Cell::text("eco"), Cell::number(412.36, 1), Cell::interval(398.2, 426.6, 1)]);
//! assert!(table.to_text(80).contains("412.4"));
//! assert!(table.to_csv().contains("eco,412.36,398.2,426.6"));
//! ```

mod csv;
mod html;
mod markdown;
mod text;

use super::words;

/// A table: what it shows, its columns, its rows, and a note below it.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What the table shows; may be empty.
    pub title: String,
    /// The columns, left to right.
    pub columns: Vec<Column>,
    /// The rows; each has one cell a column.
    rows: Vec<Vec<Cell>>,
    /// What a reader must know to read the table rightly; may be empty.
    pub note: String,
}

/// A column: its heading, its unit, and what its cells hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// The heading.
    pub name: String,
    /// The unit in the spelling that files use (`degC`, `m3/h`), empty for none.
    pub unit: String,
    /// What the cells hold, which settles how they are aligned and written to CSV.
    pub kind: Kind,
}

/// What a column's cells hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Words, to the left.
    Text,
    /// One number a cell, to the right.
    Number,
    /// A lower and an upper end, to the right; two columns in CSV.
    Interval,
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// No figure; `–` to a reader, nothing in CSV.
    Absent,
    /// Words.
    Text(String),
    /// A number, and the decimals that a reader sees. CSV keeps every digit.
    Number {
        /// The value, in the column's unit.
        value: f64,
        /// Digits after the decimal point.
        decimals: u8,
    },
    /// A lower and an upper end.
    Interval {
        /// The lower end, in the column's unit.
        low: f64,
        /// The upper end, in the column's unit.
        high: f64,
        /// Digits after the decimal point.
        decimals: u8,
    },
}

impl Column {
    /// A column of words.
    pub fn text(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            unit: String::new(),
            kind: Kind::Text,
        }
    }

    /// A column of numbers in `unit`, which is empty for a bare number.
    pub fn number(name: impl Into<String>, unit: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            unit: unit.into(),
            kind: Kind::Number,
        }
    }

    /// A column of intervals in `unit`.
    pub fn interval(name: impl Into<String>, unit: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            unit: unit.into(),
            kind: Kind::Interval,
        }
    }
}

impl Cell {
    /// A cell of words.
    pub fn text(words: impl Into<String>) -> Self {
        Self::Text(words.into())
    }

    /// A number shown with `decimals`; absent where it is not finite.
    pub fn number(value: f64, decimals: u8) -> Self {
        if value.is_finite() {
            Self::Number { value, decimals }
        } else {
            Self::Absent
        }
    }

    /// A number rounded to two digits of its uncertainty; see [`words::decimals_for`].
    pub fn rounded(value: f64, uncertainty: f64) -> Self {
        Self::number(value, words::decimals_for(uncertainty))
    }

    /// A number that may be missing.
    pub fn maybe(value: Option<f64>, decimals: u8) -> Self {
        value.map_or(Self::Absent, |v| Self::number(v, decimals))
    }

    /// An interval; absent where both ends are missing, and an open end is written as such.
    pub fn interval(low: f64, high: f64, decimals: u8) -> Self {
        if low.is_nan() || high.is_nan() || (low.is_infinite() && high.is_infinite()) {
            Self::Absent
        } else {
            Self::Interval {
                low,
                high,
                decimals,
            }
        }
    }

    /// The cell as a reader sees it, before any escaping that a format needs.
    pub fn shown(&self) -> String {
        match self {
            Self::Absent => words::ABSENT.to_owned(),
            Self::Text(words) => words::visible(words.trim()).into_owned(),
            Self::Number { value, decimals } => words::number(*value, *decimals),
            Self::Interval {
                low,
                high,
                decimals,
            } => {
                let (a, b) = (
                    words::number(*low, *decimals),
                    words::number(*high, *decimals),
                );
                match (low.is_finite(), high.is_finite()) {
                    (true, true) => format!("{a} to {b}"),
                    (true, false) => format!("{a} or more"),
                    (false, true) => format!("{b} or less"),
                    (false, false) => words::ABSENT.to_owned(),
                }
            }
        }
    }
}

impl From<&str> for Cell {
    fn from(words: &str) -> Self {
        Self::text(words)
    }
}

impl From<String> for Cell {
    fn from(words: String) -> Self {
        Self::Text(words)
    }
}

impl Table {
    /// A table without rows yet.
    pub fn new(title: impl Into<String>, columns: impl IntoIterator<Item = Column>) -> Self {
        Self {
            title: title.into(),
            columns: columns.into_iter().collect(),
            rows: Vec::new(),
            note: String::new(),
        }
    }

    /// Adds a row. Cells missing at the end are absent; cells beyond the last column are dropped.
    pub fn row(&mut self, cells: impl IntoIterator<Item = Cell>) -> &mut Self {
        let mut cells: Vec<Cell> = cells.into_iter().collect();
        debug_assert_eq!(cells.len(), self.columns.len(), "one cell a column");
        cells.resize(self.columns.len(), Cell::Absent);
        self.rows.push(cells);
        self
    }

    /// Sets the note below the table.
    pub fn with_note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }

    /// The rows, each with one cell a column.
    pub fn rows(&self) -> &[Vec<Cell>] {
        &self.rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_shows_what_is_known_and_no_more() {
        assert_eq!(Cell::number(f64::NAN, 1), Cell::Absent);
        assert_eq!(Cell::rounded(412.3567, 3.2).shown(), "412.4");
        assert_eq!(Cell::maybe(None, 1).shown(), "–");
        assert_eq!(Cell::interval(1.0, f64::INFINITY, 1).shown(), "1.0 or more");
        assert_eq!(
            Cell::interval(f64::NEG_INFINITY, 2.0, 0).shown(),
            "2 or less"
        );
        assert_eq!(Cell::interval(f64::NAN, 2.0, 0), Cell::Absent);
        assert_eq!(Cell::text(" high\u{7}").shown(), "high\\u{7}");
    }
}
