//! Numbers from a file of columns: comma, semicolon, tab or blanks between cells.

use std::borrow::Cow;
use std::path::Path;

use crate::bench::workbook::{self, TextDecimal, is_error_value};
use crate::bench::{BenchError, Fault, Finding, Place, clip};

/// The largest file read.
const MAX_BYTES: u64 = 1 << 30;
/// Faults collected before reading stops.
const MAX_FAULTS: usize = 50;

/// What separates cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Separator {
    Byte(u8),
    Blanks,
}

/// A file of columns, its headings read.
#[derive(Debug, Clone)]
pub struct ColumnFile {
    name: String,
    text: String,
    separator: Separator,
    headings: Vec<String>,
    /// What stands in square brackets after each heading.
    units: Vec<String>,
    /// Whether the headings stand in the file; otherwise columns are called `c1`, `c2`, ….
    named: bool,
    findings: Vec<Finding>,
}

/// The rows of some columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbers {
    /// One vector a column asked for, in that order, all of one length.
    pub columns: Vec<Vec<f64>>,
    /// The line in the file from which each row comes.
    pub lines: Vec<usize>,
    /// Rows left out because a cell was empty.
    pub incomplete: usize,
}

impl ColumnFile {
    /// Reads a file: text, or a sheet of a workbook (`book.xlsx#Sheet`, else its first).
    ///
    /// # Errors
    /// [`BenchError::Io`] where the system refuses, [`BenchError::Faults`] as [`from_bytes`](Self::from_bytes) and for a workbook that
    /// cannot be read.
    pub fn open(path: &Path) -> Result<Self, BenchError> {
        let asked = path.display().to_string();
        let (book, sheet) = match path.symlink_metadata() {
            // A file of that very name, whatever stands in it.
            Ok(_) => (asked.as_str(), None),
            Err(_) => workbook::split(&asked),
        };
        let path = if sheet.is_some() {
            Path::new(book)
        } else {
            path
        };
        let io = |source| BenchError::Io {
            path: path.to_path_buf(),
            source,
        };
        let name = path.display().to_string();
        let is_workbook = workbook::is_workbook(&name);
        let length = std::fs::metadata(path).map_err(io)?.len();
        if length > MAX_BYTES {
            let found = format!("{} MB", length >> 20);
            let limit = format!("at most {} MB", MAX_BYTES >> 20);
            return Err(Fault::new(Place::file(name), found, limit).into());
        }
        let bytes = std::fs::read(path).map_err(io)?;
        if !is_workbook {
            return Self::from_bytes(&name, bytes);
        }
        let sheet = workbook::read(&asked, &bytes, TextDecimal::Usual)?;
        let mut file = Self::of_text(&sheet.name, sheet.text, Some(Separator::Byte(b'\t')))?;
        file.findings = sheet.findings;
        Ok(file)
    }

    /// Reads the headings of a file's contents: the first line that is neither empty nor starts with `#`. A unit in
    /// square brackets does not belong to a column's name. Where that line holds nothing but numbers, the columns are
    /// called `c1`, `c2`, ….
    ///
    /// # Errors
    /// [`BenchError::Faults`] for contents that are not UTF-8 text or hold no line.
    pub fn from_bytes(name: &str, bytes: Vec<u8>) -> Result<Self, BenchError> {
        Self::of_text(name, bytes, None)
    }

    /// As [`from_bytes`](Self::from_bytes), with the separator where it is known.
    fn of_text(name: &str, bytes: Vec<u8>, known: Option<Separator>) -> Result<Self, BenchError> {
        let fault = |place, found: &str, expected: &str| {
            BenchError::from(Fault::new(place, found, expected))
        };
        let text = String::from_utf8(bytes).map_err(|e| {
            let before = e
                .as_bytes()
                .get(..e.utf8_error().valid_up_to())
                .unwrap_or_default();
            let line = 1 + before.iter().filter(|b| **b == b'\n').count();
            fault(
                Place::line(name, line),
                "bytes that are not UTF-8 text",
                "a text file in UTF-8",
            )
        })?;
        let text = text
            .strip_prefix('\u{feff}')
            .map(str::to_owned)
            .unwrap_or(text);
        if let Some(at) = text.find('\0') {
            let line = 1 + text.get(..at).unwrap_or_default().matches('\n').count();
            return Err(fault(
                Place::line(name, line),
                "a NUL byte",
                "a text file in UTF-8",
            ));
        }
        let Some((_, first)) = content(&text).next() else {
            let expected = "a line of headings such as `x,y` and rows of numbers";
            return Err(fault(Place::file(name), "no lines", expected));
        };
        let count = |c: char| first.matches(c).count();
        let guessed = match (count('\t'), count(';'), count(',')) {
            (0, 0, 0) => Separator::Blanks,
            (t, s, c) if t >= s && t >= c => Separator::Byte(b'\t'),
            (_, s, c) if s >= c => Separator::Byte(b';'),
            _ => Separator::Byte(b','),
        };
        let separator = known.unwrap_or(guessed);
        let cells = cells(first, separator);
        let named = cells.iter().any(|cell| number(cell, separator).is_none());
        let (mut headings, mut units): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
        for (index, cell) in cells.iter().enumerate() {
            let (name, unit) = cell.split_once('[').unwrap_or((cell, ""));
            let unit = unit.trim_end().trim_end_matches(']').trim().to_owned();
            // Between blanks a unit is a cell of its own; it belongs to the name before it.
            if separator == Separator::Blanks && name.is_empty() && !units.is_empty() {
                units.pop();
                units.push(unit);
                continue;
            }
            headings.push(if named {
                name.trim().to_owned()
            } else {
                format!("c{}", index + 1)
            });
            units.push(unit);
        }
        Ok(Self {
            name: name.to_owned(),
            text,
            separator,
            headings,
            units,
            named,
            findings: Vec::new(),
        })
    }

    /// What a careful reader would be told of the file: which of several sheets was read, merged cells, hidden rows.
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The columns' names, without units.
    pub fn headings(&self) -> &[String] {
        &self.headings
    }

    /// The unit written after a column's name; empty where there is none.
    pub fn unit(&self, name: &str) -> &str {
        let place = self.headings.iter().position(|h| h == name);
        place
            .and_then(|place| self.units.get(place))
            .map_or("", String::as_str)
    }

    /// Whether the headings stand in the file.
    pub fn is_named(&self) -> bool {
        self.named
    }

    /// The numbers of some columns, row by row. A row where one of these cells is empty is left out and counted.
    ///
    /// # Errors
    /// [`BenchError::Faults`] with line and column for a column that is not there or is there twice, for a row with too
    /// few cells, for cells that are not finite numbers, and for a file without rows.
    pub fn numbers(&self, wanted: &[String]) -> Result<Numbers, BenchError> {
        let heading_line = content(&self.text).next().map_or(1, |(line, _)| line);
        let mut places = Vec::with_capacity(wanted.len());
        for name in wanted {
            let mut found = (0..self.headings.len()).filter(|&i| self.headings[i] == *name);
            match (found.next(), found.next()) {
                (Some(place), None) => places.push(place),
                (Some(_), Some(again)) => {
                    let place = Place::at(&self.name, heading_line, again + 1);
                    return Err(Fault::new(
                        place,
                        format!("the heading `{}` again", clip(name)),
                        "each heading once",
                    )
                    .into());
                }
                (None, _) => {
                    let found = format!("the columns {}", listed(&self.headings));
                    let place = Place::line(&self.name, heading_line);
                    return Err(
                        Fault::new(place, found, format!("a column `{}`", clip(name))).into(),
                    );
                }
            }
        }
        let mut faults = Vec::new();
        let mut numbers = Numbers {
            columns: vec![Vec::new(); wanted.len()],
            lines: Vec::new(),
            incomplete: 0,
        };
        let mut row = Vec::with_capacity(wanted.len());
        for (line, text) in content(&self.text).skip(usize::from(self.named)) {
            if faults.len() >= MAX_FAULTS {
                break;
            }
            let cells = cells(text, self.separator);
            if cells.iter().all(|cell| cell.is_empty()) {
                continue;
            }
            if cells.len() < self.headings.len() {
                let found = format!("{} cells", cells.len());
                let expected = format!("{} cells, one for each heading", self.headings.len());
                faults.push(Fault::new(Place::line(&self.name, line), found, expected));
                continue;
            }
            row.clear();
            let mut complete = true;
            for (&place, name) in places.iter().zip(wanted) {
                let cell = &cells[place];
                match number(cell, self.separator) {
                    _ if cell.is_empty() => complete = false,
                    Some(value) if value.is_finite() => row.push(value),
                    _ => {
                        let place = Place::at(&self.name, line, place + 1);
                        let fault = Fault::new(
                            place,
                            format!("`{}` under `{}`", clip(cell), clip(name)),
                            "a finite number",
                        );
                        faults.push(fault.remedy(if is_error_value(cell) {
                            "the formula has no result: mend it, or empty the cell"
                        } else {
                            "leave the cell empty where there is no value"
                        }));
                        complete = false;
                    }
                }
            }
            if complete {
                numbers
                    .columns
                    .iter_mut()
                    .zip(&row)
                    .for_each(|(column, value)| column.push(*value));
                numbers.lines.push(line);
            } else {
                numbers.incomplete += 1;
            }
        }
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        if numbers.lines.is_empty() {
            let found = if numbers.incomplete > 0 {
                "no complete row"
            } else {
                "no rows"
            };
            let expected = format!("rows with numbers under {}", listed(wanted));
            return Err(Fault::new(Place::file(&self.name), found, expected).into());
        }
        Ok(numbers)
    }
}

/// Names for a message: the first of them, and how many more there are.
fn listed(names: &[String]) -> String {
    const SHOWN: usize = 20;
    let first: Vec<String> = names.iter().take(SHOWN).map(|n| clip(n)).collect();
    let more = names.len() - first.len();
    let tail = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    format!("{}{tail}", first.join(", "))
}

/// Lines with their numbers, but for empty ones and those that start with `#`.
fn content(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let numbered = text
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line));
    numbered.filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
}

fn cells(line: &str, separator: Separator) -> Vec<Cow<'_, str>> {
    match separator {
        Separator::Blanks => line.split_whitespace().map(Cow::Borrowed).collect(),
        // Quotes are rare in columns of numbers: most lines need no more than a split.
        Separator::Byte(byte) if !line.contains('"') => line
            .split(char::from(byte))
            .map(|cell| Cow::Borrowed(cell.trim()))
            .collect(),
        Separator::Byte(byte) => {
            let mut reader = csv::ReaderBuilder::new()
                .delimiter(byte)
                .has_headers(false)
                .from_reader(line.as_bytes());
            let record = reader
                .records()
                .next()
                .and_then(Result::ok)
                .unwrap_or_default();
            record
                .iter()
                .map(|cell| Cow::Owned(cell.trim().to_owned()))
                .collect()
        }
    }
}

/// A cell as a number; a decimal comma is understood where commas do not separate cells.
fn number(cell: &str, separator: Separator) -> Option<f64> {
    match cell.parse() {
        Ok(value) => Some(value),
        Err(_) if separator != Separator::Byte(b',') && cell.matches(',').count() == 1 => {
            cell.replace(',', ".").parse().ok()
        }
        Err(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, wanted: &[&str]) -> Result<Numbers, BenchError> {
        let wanted: Vec<String> = wanted.iter().map(|w| (*w).to_owned()).collect();
        ColumnFile::from_bytes("a.csv", text.as_bytes().to_vec())
            .and_then(|file| file.numbers(&wanted))
    }

    #[test]
    fn every_separator_gives_the_same_numbers() {
        let expected = vec![vec![1.5, -2e-3], vec![10.0, 20.0]];
        for text in [
            "x [degC],note,y [W]\n1.5,a,10\n-2e-3,\"b, c\",20\n",
            "\u{feff}# a comment\n\nx\tnote\ty\n1.5\ta\t10\n\n-2e-3\tb\t20\n",
            "x;note;y\r\n1,5;a;10\r\n-2e-3;b;20\r\n",
            "x [degC]   note y [W]\n 1.5  a  10\n -2e-3 b 20",
        ] {
            assert_eq!(read(text, &["x", "y"]).unwrap().columns, expected, "{text}");
        }
        let file = ColumnFile::from_bytes("a", b"x [degC] y z [m3/h]\n1 2 3".to_vec()).unwrap();
        assert_eq!(
            (
                file.unit("x"),
                file.unit("y"),
                file.unit("z"),
                file.unit("w")
            ),
            ("degC", "", "m3/h", "")
        );
        assert_eq!(read("1 2\n3 4\n", &["c2"]).unwrap().columns, [[2.0, 4.0]]);
    }

    #[test]
    fn incomplete_rows_are_counted_and_lines_kept() {
        let numbers = read("x,y\n1,2\n,3\n4,\n5,6\n", &["x", "y"]).unwrap();
        assert_eq!((numbers.incomplete, numbers.lines), (2, vec![2, 5]));
    }

    #[test]
    fn faults_name_line_and_column() {
        let said = |text: &str, wanted: &[&str]| {
            read(text, wanted)
                .unwrap_err()
                .to_string()
                .replace('\n', " ")
        };
        assert_eq!(
            said("x,y\n1,2\n3,four\n", &["x", "y"]),
            "a.csv, line 3, column 2   found:    `four` under `y`   expected: a finite number   to do:    leave the cell empty where there is no value"
        );
        assert!(said("x,y\n1,NaN\n", &["y"]).contains("line 2, column 2"));
        assert!(said("x,y\n1\n", &["y"]).contains("1 cells"));
        assert!(said("x,y\n", &["y"]).contains("no rows"));
        assert!(said("x,y\n1,\n", &["y"]).contains("no complete row"));
        assert!(said("x,y\n1,2\n", &["z"]).contains("expected: a column `z`"));
        assert!(
            said("y,x,x\n0,1,2\n", &["x"])
                .contains("line 1, column 3   found:    the heading `x` again")
        );
        assert!(said("", &["x"]).contains("no lines"));
        assert!(
            ColumnFile::from_bytes("a", vec![b'x', b'\n', 0xff])
                .unwrap_err()
                .to_string()
                .contains("line 2")
        );
    }

    #[test]
    fn of_many_names_twenty_are_said_and_the_rest_counted() {
        let names: Vec<String> = (1..=23).map(|k| format!("n{k}")).collect();
        assert!(listed(&names).ends_with("n19, n20 and 3 more"));
        assert!(listed(&names[..20]).ends_with("n19, n20"));
    }

    #[test]
    fn a_byte_of_nought_is_told_with_its_line() {
        let said = |text: &str| {
            let refused = ColumnFile::from_bytes("data.csv", text.as_bytes().to_vec());
            refused.unwrap_err().to_string()
        };
        let third = said("x,y\n1,2\n3,\0\n");
        assert!(
            third.contains("a NUL byte") && third.contains("line 3"),
            "{third}"
        );
        assert!(said("x,\0\n").contains("line 1"));
    }
}
