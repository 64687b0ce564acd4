//! A table as CSV: every digit, a unit in each heading, and no cell that a spreadsheet would run.

use super::{Cell, Kind, Table};
use crate::report::words;

impl Table {
    /// The table as comma-separated text with a heading line, in the form that a bench is read in: `draw [W]`.
    ///
    /// An interval takes two columns. Title and note are left out, so that any program can read the file.
    pub fn to_csv(&self) -> String {
        let mut out = String::new();
        let headings = self.columns.iter().flat_map(|column| {
            let unit = if column.unit.is_empty() {
                String::new()
            } else {
                format!(" [{}]", column.unit)
            };
            match column.kind {
                Kind::Interval => vec![
                    format!("{} low{unit}", column.name),
                    format!("{} high{unit}", column.name),
                ],
                Kind::Text | Kind::Number => vec![format!("{}{unit}", column.name)],
            }
        });
        push_record(
            &mut out,
            headings.map(|heading| quoted(&disarmed(&heading))),
        );
        for row in self.rows() {
            let fields = row
                .iter()
                .zip(&self.columns)
                .flat_map(|(cell, column)| fields(cell, column.kind));
            push_record(&mut out, fields);
        }
        out
    }
}

/// A cell's fields, as many as its column has.
fn fields(cell: &Cell, kind: Kind) -> Vec<String> {
    let mut fields = match cell {
        Cell::Absent => Vec::new(),
        Cell::Text(words) => vec![quoted(&disarmed(words))],
        Cell::Number { value, .. } => vec![digits(*value)],
        Cell::Interval { low, high, .. } if kind == Kind::Interval => {
            vec![digits(*low), digits(*high)]
        }
        Cell::Interval { .. } => vec![quoted(&cell.shown())],
    };
    fields.resize(if kind == Kind::Interval { 2 } else { 1 }, String::new());
    fields
}

/// The shortest digits that give the same number back; nothing where it is not finite.
fn digits(value: f64) -> String {
    if value.is_finite() {
        format!("{value}")
    } else {
        String::new()
    }
}

/// Words that a spreadsheet takes for words: what would start a formula gets an apostrophe before it.
///
/// A text that is a plain number, such as the fan level `-1`, is left alone.
fn disarmed(words: &str) -> String {
    let words = words::visible(words.trim());
    let runs = words.starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠', '|', '%']);
    if runs && words.parse::<f64>().is_err() {
        format!("'{words}")
    } else {
        words.into_owned()
    }
}

/// A field in double quotes where it needs them (RFC 4180, section 2, 2005).
fn quoted(words: &str) -> String {
    if words.contains([',', '"', '\n', '\r', ';']) {
        format!("\"{}\"", words.replace('"', "\"\""))
    } else {
        words.to_owned()
    }
}

fn push_record(out: &mut String, fields: impl Iterator<Item = String>) {
    for (i, field) in fields.enumerate() {
        if i > 0 {
            out.push(',');
        }
        out.push_str(&field);
    }
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::super::Column;
    use super::*;

    #[test]
    fn keeps_every_digit_and_splits_intervals() {
        let mut table = Table::new(
            "t",
            [
                Column::text("mode"),
                Column::number("draw", "W"),
                Column::interval("run", "W"),
            ],
        );
        table.row([
            "eco, quiet".into(),
            Cell::number(1.0 / 3.0, 1),
            Cell::interval(0.1, 0.5, 0),
        ]);
        table.row([
            "a \"b\"".into(),
            Cell::Absent,
            Cell::interval(1.0, f64::INFINITY, 0),
        ]);
        let csv = table.to_csv();
        assert_eq!(
            csv,
            "mode,draw [W],run low [W],run high [W]\n\"eco, quiet\",0.3333333333333333,0.1,0.5\n\"a \"\"b\"\"\",,1,\n"
        );
        let mut reader = ::csv::Reader::from_reader(csv.as_bytes());
        let records: Vec<_> = reader
            .records()
            .collect::<Result<_, _>>()
            .expect("readable");
        assert_eq!(records[1].get(0), Some("a \"b\""));
        assert_eq!(
            records[0].get(1).and_then(|t| t.parse::<f64>().ok()),
            Some(1.0 / 3.0)
        );
    }

    #[test]
    fn formulas_are_disarmed_and_numbers_are_not() {
        for hostile in [
            "=1+1",
            "+cmd|' /C calc'!A0",
            "-2+3",
            "@SUM(A1)",
            "\t=1",
            " =1",
            "＝1",
        ] {
            let mut table = Table::new("", [Column::text("mode")]);
            table.row([hostile.into()]);
            let field = table.to_csv().lines().nth(1).expect("a row").to_owned();
            assert!(field.starts_with('\''), "{hostile:?} became {field:?}");
        }
        let mut table = Table::new("", [Column::text("fan"), Column::number("shift", "W")]);
        table.row(["-1".into(), Cell::number(-2.5, 1)]);
        assert_eq!(table.to_csv(), "fan,shift [W]\n-1,-2.5\n");
    }
}
