//! Delimited tables: CSV, TSV, `;` with decimal commas; units in the headings.

use std::borrow::Cow;

use super::error::{BenchError, Fault, Finding, MOST_FAULTS, Place};
pub(crate) use super::text::clip;
use super::text::decode;
use super::workbook::{self, TextDecimal, is_error_value};
use crate::quantity::{Heading, Unit, UnitErrorKind};

/// The largest table read into memory. Raw logs are streamed and have no such limit.
const MAX_BYTES: usize = 256 << 20;
/// More columns than any bench has; past it the delimiter was guessed wrong or the file is no table.
const MAX_COLUMNS: usize = 2_000;

/// A column's heading, taken apart.
#[derive(Clone, Debug)]
pub struct Column {
    /// Name without the unit.
    pub name: String,
    /// The unit in square brackets, where there is one that is known.
    pub unit: Option<Unit>,
    /// What stands in the square brackets, where it is no known unit: only a column that is used needs one.
    pub unknown_unit: Option<String>,
    /// Field number, counting from 1.
    pub number: usize,
}

/// A table read whole, cells trimmed.
#[derive(Clone, Debug)]
pub struct Table {
    /// File name for messages.
    pub file: String,
    /// Line of the headings.
    pub heading_line: usize,
    /// Headings. A column with an empty name has empty cells: spreadsheets leave such columns behind.
    pub columns: Vec<Column>,
    /// Rows: line number and cells, as many as there are columns.
    pub rows: Vec<(usize, Vec<String>)>,
    /// Whether numbers are written with a decimal comma.
    pub decimal_comma: bool,
}

impl Table {
    /// Reads a table from a file's bytes: a sheet where the name is a workbook's (`book.xlsx#Runs`, else its first), text otherwise.
    /// What there is to say of the choice goes to `findings`.
    ///
    /// # Errors
    /// As [`Table::read`]; for a workbook that cannot be read, what is wrong with it.
    pub fn open(
        name: &str,
        bytes: &[u8],
        findings: &mut Vec<Finding>,
    ) -> Result<Table, BenchError> {
        if !workbook::is_workbook(workbook::split(name).0) {
            return Table::read(name, bytes);
        }
        let sheet = workbook::read(name, bytes, TextDecimal::Usual)?;
        findings.extend(sheet.findings);
        Table::of_text(&sheet.name, &sheet.text, Some(b'\t'))
    }

    /// Reads a table from bytes: UTF-8 with or without BOM, `,` `;` or tab between cells, `#` lines skipped.
    ///
    /// # Errors
    /// [`BenchError::Faults`] naming line and column for text that is not UTF-8, a row with too many
    /// or too few cells, a repeated heading, cells under an empty heading, or a table without rows.
    pub fn read(file: &str, bytes: &[u8]) -> Result<Table, BenchError> {
        Table::of_text(file, bytes, None)
    }

    /// As [`Table::read`], with the delimiter where it is known.
    fn of_text(file: &str, bytes: &[u8], known: Option<u8>) -> Result<Table, BenchError> {
        if bytes.len() > MAX_BYTES {
            return Err(Fault::new(
                Place::file(file),
                format!("{} MB", bytes.len() >> 20),
                format!("a table of at most {} MB", MAX_BYTES >> 20),
            )
            .remedy("raw logs go in [[log]] sections, not in a table")
            .into());
        }
        let text = decode(
            file,
            bytes,
            "a table as text in UTF-8",
            "save the sheet as CSV with the encoding UTF-8",
        )?;
        let text = text.as_ref();
        let (heading_offset_line, first) = text
            .lines()
            .enumerate()
            .find(|(_, l)| !l.trim().is_empty() && !l.starts_with('#'))
            .ok_or_else(|| {
                Fault::new(
                    Place::file(file),
                    "an empty file",
                    "a line of headings such as `run,mode,fan,intake_temp [degC],power [W]` and a row for each run",
                )
                .remedy("export the sheet again; lines that begin with # count as comments")
            })?;
        let delimiter = known.unwrap_or_else(|| guess_delimiter(first));
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut records = reader.records();
        let heading_line = heading_offset_line + 1;
        let headings = match records.next() {
            Some(Ok(r)) => r,
            _ => {
                return Err(Fault::new(
                    Place::line(file, heading_line),
                    "no readable headings",
                    "a line of headings",
                )
                .remedy("export the sheet again as plain CSV")
                .into());
            }
        };
        let columns = read_headings(file, heading_line, &headings)?;
        let mut faults = Vec::new();
        let mut rows = Vec::new();
        let mut lines = LineCounter::new(text);
        for record in records {
            let record = match record {
                Ok(r) => r,
                Err(e) => {
                    faults.push(
                        Fault::new(Place::file(file), e.to_string(), "a readable row")
                            .remedy("export the sheet again as plain CSV"),
                    );
                    break;
                }
            };
            let line = lines.of(record.position().map_or(0, |p| p.byte() as usize));
            let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
            if cells.iter().all(String::is_empty) {
                continue;
            }
            // Spreadsheets leave empty cells at a row's end, and headings without a name; they carry nothing.
            while cells.len() > columns.len() && cells.last().is_some_and(String::is_empty) {
                cells.pop();
            }
            while columns
                .get(cells.len())
                .is_some_and(|_| columns.iter().skip(cells.len()).all(|c| c.name.is_empty()))
            {
                cells.push(String::new());
            }
            if cells.len() == columns.len() {
                rows.push((line, cells));
            } else {
                let place = Place::line(file, line);
                faults.push(if known.is_some() {
                    beyond_headings(file, line, &cells, columns.len())
                } else {
                    wrong_count(place, &cells, columns.len(), delimiter)
                });
            }
            if faults.len() >= MOST_FAULTS {
                break;
            }
        }
        for column in columns.iter().filter(|c| c.name.is_empty()) {
            let cell = |r: &(usize, Vec<String>)| r.1.get(column.number - 1).cloned();
            let filled = rows.iter().find_map(|r| cell(r).filter(|c| !c.is_empty()));
            if let Some(cell) = filled {
                faults.push(
                    Fault::new(
                        Place::at(file, heading_line, column.number),
                        format!("no heading over cells such as `{}`", clip(&cell)),
                        "a name for the column",
                    )
                    .remedy("name the column, or empty its cells"),
                );
            }
        }
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        if rows.is_empty() {
            return Err(Fault::new(
                Place::line(file, heading_line),
                "headings but no rows",
                "a row for each run",
            )
            .remedy("write the runs below the headings; lines that begin with # count as comments")
            .into());
        }
        let cells = || rows.iter().flat_map(|(_, c)| c);
        let commas = cells().filter(|c| is_decimal_number(c, ',')).count();
        let points = cells().filter(|c| is_decimal_number(c, '.')).count();
        let decimal_comma = delimiter != b',' && commas > points;
        Ok(Table {
            file: file.to_owned(),
            heading_line,
            columns,
            rows,
            decimal_comma,
        })
    }

    /// Index of the column with this name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|c| c.name == name)
    }

    /// The place of a cell.
    pub fn place(&self, line: usize, column: usize) -> Place {
        Place::at(&self.file, line, column + 1)
    }

    /// Reads a cell as a number; `None` where it is empty.
    ///
    /// # Errors
    /// A fault with the cell's place where it is neither empty nor a finite number.
    pub fn number(
        &self,
        line: usize,
        column: usize,
        cell: &str,
    ) -> Result<Option<f64>, Box<Fault>> {
        if cell.is_empty() || cell == "-" || cell == "–" {
            return Ok(None);
        }
        let text = match self.decimal_comma {
            true if cell.contains('.') => {
                return Err(Box::new(
                    Fault::new(
                        self.place(line, column),
                        format!("`{}` in a table with decimal commas", clip(cell)),
                        "a decimal comma, and nothing between thousands",
                    )
                    .remedy("write all numbers of a table in one way"),
                ));
            }
            true => Cow::Owned(cell.replace(',', ".")),
            false => Cow::Borrowed(cell),
        };
        let heading = self.columns.get(column).map_or("", |c| c.name.as_str());
        match text.parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(Some(v)),
            Ok(_) => Err(Box::new(
                Fault::new(
                    self.place(line, column),
                    format!("`{}` under `{}`", clip(cell), clip(heading)),
                    "a finite number",
                )
                .remedy("leave the cell empty where there is no reading"),
            )),
            Err(_) => {
                let fault = Fault::new(
                    self.place(line, column),
                    format!("`{}` under `{}`", clip(cell), clip(heading)),
                    "a number",
                );
                Err(Box::new(if is_error_value(cell) {
                    fault.remedy(ERROR_VALUE)
                } else if cell.contains(',') {
                    fault.remedy("write a decimal point and nothing between thousands; decimal commas are read where all numbers have them and the cells are separated by `;` or tabs")
                } else {
                    fault.remedy("the unit goes in the heading's square brackets; leave the cell empty where there is no reading")
                }))
            }
        }
    }
}

/// What to do about an error value.
const ERROR_VALUE: &str =
    "the formula has no result: mend it, or empty the cell where there is no reading";

/// The fault of a name (of a run, a mode, a fan level) that is an error value of a spreadsheet.
pub(super) fn error_value(place: Place, cell: &str, heading: &str) -> Option<Fault> {
    is_error_value(cell).then(|| {
        Fault::new(
            place,
            format!("the error value `{}` under `{}`", clip(cell), clip(heading)),
            "a name",
        )
        .remedy("the formula has no result: mend it, or write the name")
    })
}

/// Turns byte positions, which only grow, into line numbers. The reader reports where it began to look for a
/// row, which is before the empty and comment lines that it then skips.
struct LineCounter<'a> {
    text: &'a str,
    at: usize,
    line: usize,
}

impl<'a> LineCounter<'a> {
    fn new(text: &'a str) -> Self {
        LineCounter {
            text,
            at: 0,
            line: 1,
        }
    }

    fn of(&mut self, byte: usize) -> usize {
        let passed = self.text.as_bytes().get(self.at..byte).unwrap_or_default();
        self.line += passed.iter().filter(|&&b| b == b'\n').count();
        self.at = self.at.max(byte);
        let rest = self.text.get(self.at..).unwrap_or_default();
        let skipped = rest
            .split('\n')
            .take_while(|l| l.trim_end_matches('\r').is_empty() || l.starts_with('#'))
            .count();
        self.line + skipped
    }
}

fn guess_delimiter(headings: &str) -> u8 {
    // Brackets hold units such as [m3/h]; a delimiter inside quotes is rare in headings.
    let count = |c: char| headings.matches(c).count();
    let (tabs, semis, commas) = (count('\t'), count(';'), count(','));
    if tabs > 0 && tabs >= semis && tabs >= commas {
        b'\t'
    } else if semis > 0 && semis >= commas {
        b';'
    } else {
        b','
    }
}

/// Digits, the given mark, digits; with or without a sign.
fn is_decimal_number(cell: &str, mark: char) -> bool {
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|c| c.is_ascii_digit());
    cell.trim_start_matches(['-', '+'])
        .split_once(mark)
        .is_some_and(|(a, b)| digits(a) && digits(b))
}

/// A row with more or fewer cells than there are headings, and what may have gone wrong.
fn wrong_count(place: Place, cells: &[String], headings: usize, delimiter: u8) -> Fault {
    let delimiter = char::from(delimiter);
    let other = [',', ';', '\t'].into_iter().find(|mark| {
        let marks: usize = cells.iter().map(|c| c.matches(*mark).count()).sum();
        *mark != delimiter && marks > 0 && cells.len() + marks == headings
    });
    let count = |n: usize| format!("{n} cell{}", if n == 1 { "" } else { "s" });
    let name = |mark: char| match mark {
        '\t' => "tabs".to_owned(),
        mark => format!("`{mark}`"),
    };
    Fault::new(
        place,
        count(cells.len()),
        format!("{}, one for each heading", count(headings)),
    )
    .remedy(match other {
        Some(mark) => format!(
            "the headings are separated by {}, cells of this row by {}; use one of them throughout",
            name(delimiter),
            name(mark)
        ),
        None => "a cell that itself holds the delimiter goes in double quotes; a quote that is never closed swallows lines".to_owned(),
    })
}

/// A row of a sheet with cells to the right of the headings.
fn beyond_headings(file: &str, line: usize, cells: &[String], headings: usize) -> Fault {
    let (at, cell) = cells
        .iter()
        .enumerate()
        .skip(headings)
        .find(|(_, c)| !c.is_empty())
        .map_or((headings, ""), |(i, c)| (i, c.as_str()));
    Fault::new(
        Place::at(file, line, at + 1),
        format!("`{}` to the right of the headings", clip(cell)),
        "headings in the first row that is filled, and cells under them alone",
    )
    .remedy("name the column in the row of headings, or empty the cell; notes may stand in rows that begin with #")
}

fn read_headings(
    file: &str,
    line: usize,
    headings: &csv::StringRecord,
) -> Result<Vec<Column>, BenchError> {
    if headings.len() > MAX_COLUMNS {
        return Err(Fault::new(
            Place::line(file, line),
            format!("{} columns", headings.len()),
            format!("at most {MAX_COLUMNS} columns"),
        )
        .remedy("a points table has a row for each run and a column for each quantity; raw logs go in [[log]] sections")
        .into());
    }
    let mut columns: Vec<Column> = Vec::with_capacity(headings.len());
    let mut faults = Vec::new();
    for (i, heading) in headings.iter().enumerate() {
        let place = Place::at(file, line, i + 1);
        let mut column = Column {
            name: String::new(),
            unit: None,
            unknown_unit: None,
            number: i + 1,
        };
        match Heading::parse(heading) {
            Ok(Heading { name, unit, .. }) => {
                column.name = name;
                column.unit = unit;
            }
            Err(e) if matches!(e.kind, UnitErrorKind::UnknownUnit { .. }) => {
                let (name, unit) = heading.split_once('[').unwrap_or((heading, ""));
                column.name = name.trim().to_owned();
                column.unknown_unit = Some(unit.trim_end_matches(']').trim().to_owned());
            }
            Err(_) if heading.trim().is_empty() => {}
            Err(e) => faults.push(
                Fault::new(
                    place.clone(),
                    format!("the heading `{}`", clip(heading)),
                    e.expected,
                )
                .remedy("write the name and, in square brackets, the unit"),
            ),
        }
        let first = columns
            .iter()
            .find(|c| c.name == column.name && !column.name.is_empty());
        if let Some(first) = first {
            faults.push(
                Fault::new(
                    place,
                    format!(
                        "the heading `{}` again (first in column {})",
                        clip(&column.name),
                        first.number
                    ),
                    "each heading once",
                )
                .remedy("rename or remove one of the two columns"),
            );
        }
        columns.push(column);
    }
    if faults.is_empty() {
        Ok(columns)
    } else {
        Err(BenchError::Faults(faults))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_units_from_headings_and_keeps_line_numbers() {
        let t = Table::read(
            "p.csv",
            b"\xEF\xBB\xBF# note\nrun,power [W]\na,1.5\n\nb,2\n",
        )
        .unwrap();
        assert_eq!(t.columns[1].name, "power");
        assert_eq!(t.rows[0].0, 3);
        assert_eq!(t.rows[1].0, 5);
        assert_eq!(t.number(3, 1, "1.5").unwrap(), Some(1.5));
    }

    #[test]
    fn reads_semicolons_with_decimal_commas() {
        let t = Table::read("p.csv", b"run;power [W]\na;1,5\n").unwrap();
        assert!(t.decimal_comma);
        assert_eq!(t.number(2, 1, "1,5").unwrap(), Some(1.5));
    }

    #[test]
    fn names_the_line_with_a_missing_cell() {
        let e = Table::read("p.csv", b"run,mode,fan\na,b,1\nc,d\n").unwrap_err();
        assert!(e.to_string().contains("p.csv, line 3"), "{e}");
    }

    #[test]
    fn refuses_binary_and_repeated_headings() {
        assert!(Table::read("p.csv", b"run\0,b\n1,2\n").is_err());
        assert!(Table::read("p.csv", &[0xff, 0xfe, 0x31]).is_err());
        let e = Table::read("p.csv", b"run,run\n1,2\n").unwrap_err();
        assert!(e.to_string().contains("column 2"), "{e}");
    }
}
