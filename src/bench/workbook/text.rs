//! A sheet's cells written as text.

use super::TextDecimal;
use super::gate::MAX_COLUMNS;
use super::value::{Value, clock};

/// Cells of the text, empty ones between and after others among them.
const MAX_CELLS: usize = 40_000_000;
/// Bytes of the text.
const MAX_BYTES: usize = 1 << 28;

/// A sheet's text.
#[derive(Debug, Default)]
pub(super) struct Written {
    pub text: Vec<u8>,
    /// Cells that took the content of one merged over several rows.
    pub filled: usize,
    /// Rows that are not shown.
    pub hidden_rows: usize,
}

/// Why a sheet cannot be written.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum TextFault {
    /// More than is read.
    TooLarge,
    /// A cell comes after one that it should stand before.
    OutOfOrder,
}

/// Writes cells in the order of rows and columns.
#[derive(Debug, Default)]
pub(super) struct Writer {
    out: Vec<u8>,
    /// The row being gathered, counting from 1; rows before it are written.
    row: u64,
    cells: Vec<(u64, Vec<u8>)>,
    /// Their bytes.
    in_row: usize,
    /// The widest row so far: later rows are filled up to it, so that an empty last cell is a cell.
    width: u64,
    count: usize,
    /// Merged cells that reach below their first row: last row, column, content.
    open: Vec<(u64, u64, Vec<u8>)>,
    filled: usize,
    /// Places in `out` of decimal commas among numbers that stand as text, and the count of decimal points among them.
    commas: Vec<usize>,
    points: usize,
}

impl Writer {
    /// Adds a cell; row and column count from 1. `last_row` is below `row` where the cell is merged with those under it.
    pub fn put(
        &mut self,
        row: u64,
        column: u64,
        value: &Value<'_>,
        last_row: u64,
    ) -> Result<(), TextFault> {
        let bytes = cell(value);
        if bytes.is_empty() {
            return Ok(());
        }
        let last = self.cells.last().map_or(0, |c| c.0);
        if row < self.row || (row == self.row && column <= last) {
            return Err(TextFault::OutOfOrder);
        }
        while self.row < row {
            self.end_row()?;
        }
        self.in_row += bytes.len();
        if column > MAX_COLUMNS || self.out.len() + self.in_row > MAX_BYTES {
            return Err(TextFault::TooLarge);
        }
        if last_row > row {
            self.open.push((last_row, column, bytes.clone()));
        }
        self.cells.push((column, bytes));
        Ok(())
    }

    /// Writes the row being gathered and begins the next.
    fn end_row(&mut self) -> Result<(), TextFault> {
        if self.row == 0 {
            self.row = 1;
            return Ok(());
        }
        let row = self.row;
        self.row += 1;
        // A merged cell speaks for the rows that hold anything else.
        if !self.cells.is_empty() && !self.open.is_empty() {
            self.open.retain(|(last, _, _)| *last >= row);
            self.count += self.open.len();
            for (_, column, bytes) in &self.open {
                if let Err(at) = self.cells.binary_search_by_key(column, |c| c.0) {
                    self.cells.insert(at, (*column, bytes.clone()));
                    self.filled += 1;
                }
            }
        }
        let cells = std::mem::take(&mut self.cells);
        self.in_row = 0;
        if let Some((last, _)) = cells.last() {
            self.width = self.width.max(*last);
            self.count += usize::try_from(self.width).unwrap_or(usize::MAX);
        }
        if self.count > MAX_CELLS || self.out.len() > MAX_BYTES {
            return Err(TextFault::TooLarge);
        }
        let mut at = 1;
        for (column, bytes) in &cells {
            self.out.extend(std::iter::repeat_n(
                b'\t',
                usize::try_from(column - at).unwrap_or(0),
            ));
            at = *column;
            match decimal_mark(bytes) {
                Some((b',', k)) => self.commas.push(self.out.len() + k),
                Some(_) => self.points += 1,
                None => {}
            }
            self.out.extend_from_slice(written(bytes));
            if self.out.len() > MAX_BYTES {
                return Err(TextFault::TooLarge);
            }
        }
        if !cells.is_empty() {
            let rest = usize::try_from(self.width - at).unwrap_or(0);
            self.out.extend(std::iter::repeat_n(b'\t', rest));
        }
        self.out.push(b'\n');
        Ok(())
    }

    /// The text, numbers that stand as text with a decimal point.
    pub fn finish(mut self, decimal: TextDecimal) -> Result<Written, TextFault> {
        self.end_row()?;
        let swap = match decimal {
            TextDecimal::Comma => true,
            TextDecimal::Point => false,
            TextDecimal::Usual => self.commas.len() > self.points,
        };
        if swap {
            for at in self.commas {
                if let Some(b) = self.out.get_mut(at) {
                    *b = b'.';
                }
            }
        }
        Ok(Written {
            text: self.out,
            filled: self.filled,
            hidden_rows: 0,
        })
    }
}

/// First byte of a cell's bytes that came from text, so that its decimal mark is looked at.
const AS_TEXT: u8 = 1;

/// A cell's bytes, with [`AS_TEXT`] before those of a text.
fn cell(value: &Value<'_>) -> Vec<u8> {
    match value {
        Value::Text(text) => {
            let tidy = tidy(text);
            if tidy.is_empty() {
                return Vec::new();
            }
            let mut bytes = vec![AS_TEXT];
            quoted(&tidy, &mut bytes);
            bytes
        }
        Value::Number(v) => v.to_string().into_bytes(),
        Value::Clock(s) => clock(*s).into_bytes(),
        Value::Flag(true) => b"true".to_vec(),
        Value::Flag(false) => b"false".to_vec(),
        // A line that begins with # is a comment; an error value is not.
        Value::Error(text) => format!("\"{}\"", tidy(text)).into_bytes(),
    }
}

/// The bytes as they are written.
fn written(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(&[AS_TEXT]).unwrap_or(bytes)
}

/// Text on one line, without blanks around it.
fn tidy(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect::<String>()
        .trim()
        .to_owned()
}

fn quoted(text: &str, out: &mut Vec<u8>) {
    if text.contains('"') && !text.starts_with('#') {
        out.push(b'"');
        out.extend_from_slice(text.replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(text.replace('"', "'").as_bytes());
    }
}

/// The decimal mark of a number that stands as text, and its place in what is written: one comma or point, digits on both sides.
fn decimal_mark(bytes: &[u8]) -> Option<(u8, usize)> {
    let text = bytes.strip_prefix(&[AS_TEXT])?;
    let digits = match text {
        [b'-' | b'+', rest @ ..] => rest,
        _ => text,
    };
    if !digits.first()?.is_ascii_digit() {
        return None;
    }
    let mut marks = text
        .iter()
        .enumerate()
        .filter(|(_, b)| matches!(**b, b',' | b'.'));
    let (at, mark) = marks.next()?;
    let alone = marks.next().is_none();
    let digit = |i: usize| text.get(i).is_some_and(u8::is_ascii_digit);
    (alone && at > 0 && digit(at - 1) && digit(at + 1)).then_some((*mark, at))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(t: &'static str) -> Value<'static> {
        Value::Text(t.into())
    }

    fn put_all(cells: &[(u64, u64, Value<'_>, u64)], decimal: TextDecimal) -> String {
        let mut w = Writer::default();
        for (row, column, value, last) in cells {
            w.put(*row, *column, value, *last).unwrap();
        }
        String::from_utf8(w.finish(decimal).unwrap().text).unwrap()
    }

    #[test]
    fn rows_stand_on_their_lines_and_are_filled_up() {
        let cells = [
            (2, 2, text("a"), 0),
            (2, 4, text("b\tc\nd"), 0),
            (4, 1, Value::Number(0.1 + 0.2), 0),
        ];
        let got = put_all(&cells, TextDecimal::Usual);
        assert_eq!(got, "\n\ta\t\tb c d\n\n0.30000000000000004\t\t\t\n");
    }

    #[test]
    fn decimal_commas_of_texts_become_points() {
        let cells = [
            (1, 1, text("25,6"), 0),
            (1, 2, text("-3,1e-4"), 0),
            (1, 3, text("1,2,3"), 0),
            (1, 4, text("7.5"), 0),
            (1, 5, Value::Number(2.5), 0),
        ];
        let usual = put_all(&cells, TextDecimal::Usual);
        assert_eq!(usual, "25.6\t-3.1e-4\t1,2,3\t7.5\t2.5\n");
        let point = put_all(&cells, TextDecimal::Point);
        assert_eq!(point, "25,6\t-3,1e-4\t1,2,3\t7.5\t2.5\n");
    }

    #[test]
    fn merged_cells_speak_for_their_rows() {
        let cells = [
            (1, 1, text("mode"), 0),
            (1, 2, text("fan"), 0),
            (2, 1, text("eco"), 4),
            (2, 2, Value::Number(1.0), 0),
            (4, 2, Value::Number(2.0), 0),
            (5, 2, Value::Number(3.0), 0),
        ];
        let got = put_all(&cells, TextDecimal::Usual);
        assert_eq!(got, "mode\tfan\neco\t1\n\neco\t2\n\t3\n");
    }

    #[test]
    fn quotes_and_error_values_are_kept_apart_from_comments() {
        let cells = [
            (1, 1, Value::Error("#N/A".into()), 0),
            (1, 2, text("say \"hi\""), 0),
            (2, 1, text("# a \"note\""), 0),
        ];
        let got = put_all(&cells, TextDecimal::Usual);
        assert_eq!(got, "\"#N/A\"\t\"say \"\"hi\"\"\"\n# a 'note'\t\n");
    }

    #[test]
    fn limits_and_order_are_kept() {
        let mut w = Writer::default();
        w.put(2, 2, &Value::Number(1.0), 0).unwrap();
        assert_eq!(
            w.put(2, 2, &Value::Number(1.0), 0),
            Err(TextFault::OutOfOrder)
        );
        assert_eq!(
            w.put(1, 5, &Value::Number(1.0), 0),
            Err(TextFault::OutOfOrder)
        );
        let mut w = Writer::default();
        w.put(1, 16_384, &Value::Number(1.0), 0).unwrap();
        let all: Result<(), TextFault> =
            (2..5_000).try_for_each(|row| w.put(row, 1, &Value::Number(1.0), 0));
        assert_eq!(all, Err(TextFault::TooLarge));
    }
}
