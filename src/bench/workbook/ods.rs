//! The cells of an `.ods`: a walk through its `content.xml`, in which any cell and any row may say how often it is repeated.
//!
//! The package that reads `.xlsx` also reads these, but only whole and repeated cells written out, which a small file can turn into
//! gigabytes; here a cell that is repeated counts against the limits as often as it stands there.

use std::collections::HashSet;
use std::io::{BufReader, Read};
use std::ops::Range;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::archive::{AGAIN, entry, fault, locked};
use super::gate::{MAX_COLUMNS, MAX_DEPTH, MAX_ROWS, attribute};
use super::text::{Writer, Written};
use super::value::{Value, iso_duration};
use super::xlsx::unwritable;
use super::{Listed, TextDecimal};
use crate::bench::error::BenchError;
use crate::bench::text::clip_sentence;

/// Blanks that a text may hold in one place (`text:s`).
const MAX_BLANKS: u64 = 1_000;
/// Sheets in one workbook.
const MAX_SHEETS: usize = 1_000;

/// The sheets of a workbook, in its order.
pub(super) fn sheets(file: &str, bytes: &[u8]) -> Result<Vec<Listed>, BenchError> {
    refuse_password(file, bytes)?;
    let mut hidden_styles = HashSet::new();
    let mut style = None;
    let mut found = Vec::new();
    walk(file, bytes, "content.xml", &mut |step| {
        match step {
            Step::Start("style:style", e) => style = attribute(e, "name")?,
            Step::Start("style:table-properties", e)
                if attribute(e, "display")?.as_deref() == Some("false") =>
            {
                hidden_styles.extend(style.clone());
            }
            Step::Start("table:table", e) => {
                if found.len() >= MAX_SHEETS {
                    return Err(format!("more than {MAX_SHEETS} sheets").into());
                }
                let styled = attribute(e, "style-name")?;
                found.push(Listed {
                    name: attribute(e, "name")?.unwrap_or_default(),
                    hidden: styled.is_some_and(|s| hidden_styles.contains(&s)),
                    entry: String::new(),
                });
            }
            _ => {}
        }
        Ok(())
    })?;
    Ok(found)
}

/// Entries of a workbook with a password say so in its manifest.
fn refuse_password(file: &str, bytes: &[u8]) -> Result<(), BenchError> {
    walk(
        file,
        bytes,
        "META-INF/manifest.xml",
        &mut |step| match step {
            Step::Start("manifest:encryption-data", _) => Err(Stop::Fault(locked(file))),
            _ => Ok(()),
        },
    )
}

/// The sheet's text.
pub(super) fn text(
    file: &str,
    bytes: &[u8],
    sheet: &Listed,
    decimal: TextDecimal,
) -> Result<Written, BenchError> {
    let label = format!("{file}#{}", sheet.name);
    let mut table = Cells {
        label: &label,
        wanted: &sheet.name,
        state: State::Before,
        writer: Writer::default(),
        row: 1,
        rows: 1,
        hidden_rows: 0,
        column: 1,
        cells: Vec::new(),
        cell: None,
    };
    walk(file, bytes, "content.xml", &mut |step| table.take(&step))?;
    let written = table.writer.finish(decimal);
    let mut written = written.map_err(|e| unwritable(&label, &e, 1, 1))?;
    written.hidden_rows = table.hidden_rows;
    Ok(written)
}

/// What the walk meets.
enum Step<'a, 'e> {
    Start(&'a str, &'a BytesStart<'e>),
    Text(&'a str),
    End(&'a str),
}

/// Why the walk stops.
enum Stop {
    Found(String),
    Fault(BenchError),
}

impl From<String> for Stop {
    fn from(found: String) -> Self {
        Stop::Found(found)
    }
}

/// Subtrees that hold no cells of the sheet: notes, pictures, earlier versions.
const PASSED_OVER: [&str; 5] = [
    "office:annotation",
    "draw:frame",
    "table:shapes",
    "table:tracked-changes",
    "office:forms",
];

/// Walks through an entry, with its sub-trees of no interest left out.
fn walk(
    file: &str,
    bytes: &[u8],
    name: &str,
    take: &mut dyn FnMut(Step<'_, '_>) -> Result<(), Stop>,
) -> Result<(), BenchError> {
    entry(file, bytes, name, &mut |reader| {
        steps(reader, take).map_err(|stop| match stop {
            Stop::Fault(fault) => fault,
            Stop::Found(found) => fault(
                file,
                format!(
                    "an entry `{name}` that cannot be read: {}",
                    clip_sentence(&found)
                ),
                AGAIN,
            ),
        })
    })
}

fn steps(
    reader: &mut dyn Read,
    take: &mut dyn FnMut(Step<'_, '_>) -> Result<(), Stop>,
) -> Result<(), Stop> {
    let mut xml = Reader::from_reader(BufReader::new(reader));
    xml.config_mut().expand_empty_elements = true;
    let mut buffer = Vec::new();
    let mut depth = 0;
    // Depth at which a subtree to be passed over began.
    let mut passing: Option<usize> = None;
    loop {
        buffer.clear();
        match xml.read_event_into(&mut buffer) {
            Ok(Event::Start(e)) => {
                depth += 1;
                if depth > MAX_DEPTH {
                    return Err(format!("elements nested more than {MAX_DEPTH} deep").into());
                }
                let name = e.name();
                if passing.is_none() {
                    if PASSED_OVER.contains(&name.as_ref()) {
                        passing = Some(depth);
                    } else {
                        take(Step::Start(name.as_ref(), &e))?;
                    }
                }
            }
            Ok(Event::End(e)) => {
                if passing.is_none() {
                    take(Step::End(e.name().as_ref()))?;
                } else if passing == Some(depth) {
                    passing = None;
                }
                depth = depth.saturating_sub(1);
            }
            Ok(Event::Text(t)) if passing.is_none() => take(Step::Text(&t.xml10_content()))?,
            Ok(Event::CData(t)) if passing.is_none() => take(Step::Text(&t.xml10_content()))?,
            Ok(Event::GeneralRef(r)) if passing.is_none() => {
                let name: &str = r.as_ref();
                let resolved = quick_xml::escape::unescape(&format!("&{name};"))
                    .map_err(|e| format!("an entity `{name}` ({e})"))?
                    .into_owned();
                take(Step::Text(&resolved))?;
            }
            // Declared entities are how a few lines of XML grow into gigabytes; no spreadsheet program writes any.
            Ok(Event::DocType(_)) => return Err("a document type declaration".to_owned().into()),
            Ok(Event::Eof) if depth > 0 => return Err("XML that is cut off".to_owned().into()),
            Ok(Event::Eof) => return Ok(()),
            Ok(_) => {}
            Err(e) => return Err(format!("XML that is damaged ({e})").into()),
        }
    }
}

#[derive(PartialEq)]
enum State {
    /// The sheet has not come yet.
    Before,
    /// Inside it, so many tables deep: a cell may hold a table of its own.
    Inside(usize),
    /// It has passed.
    After,
}

/// Cells of one sheet on their way to the text.
struct Cells<'a> {
    label: &'a str,
    wanted: &'a str,
    state: State,
    writer: Writer,
    /// The current row, counting from 1, and how often it stands there.
    row: u64,
    rows: u64,
    hidden_rows: usize,
    column: u64,
    /// The row's cells that hold anything: columns, content, rows spanned.
    cells: Vec<(Range<u64>, Value<'static>, u64)>,
    cell: Option<Open>,
}

/// A cell being read.
struct Open {
    columns: u64,
    spanned: u64,
    kind: String,
    is_error: bool,
    value: Option<String>,
    text: String,
    paragraphs: usize,
}

/// A count from an attribute, at least 1 and at most `most`.
fn count(e: &BytesStart<'_>, name: &str, most: u64) -> Result<u64, Stop> {
    let Some(text) = attribute(e, name)? else {
        return Ok(1);
    };
    // More than the sheet can have is as much as it can have.
    let digits = text.trim();
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(format!("{name} = \"{}\"", crate::bench::text::clip(&text)).into());
    }
    Ok(digits.parse::<u64>().unwrap_or(most).clamp(1, most))
}

impl Cells<'_> {
    fn take(&mut self, step: &Step<'_, '_>) -> Result<(), Stop> {
        let tables = match (&self.state, step) {
            (State::After, _) => return Ok(()),
            (State::Before, Step::Start("table:table", e)) => {
                if attribute(e, "name")?.unwrap_or_default() == self.wanted {
                    self.state = State::Inside(1);
                }
                return Ok(());
            }
            (State::Before, _) => return Ok(()),
            (State::Inside(n), _) => *n,
        };
        match step {
            Step::Start("table:table", _) => self.state = State::Inside(tables + 1),
            Step::End("table:table") if tables == 1 => self.state = State::After,
            Step::End("table:table") => self.state = State::Inside(tables - 1),
            _ if tables > 1 => {}
            Step::Start("table:table-row", e) => {
                self.rows = count(e, "number-rows-repeated", MAX_ROWS)?;
                self.column = 1;
                self.cells.clear();
                let shown = attribute(e, "visibility")?;
                if matches!(shown.as_deref(), Some("collapse" | "filter")) {
                    self.hidden_rows += 1;
                }
            }
            Step::End("table:table-row") => self.end_row()?,
            Step::Start("table:table-cell" | "table:covered-table-cell", e) => {
                self.cell = Some(Open {
                    columns: count(e, "number-columns-repeated", MAX_COLUMNS)?,
                    spanned: count(e, "number-rows-spanned", MAX_ROWS)?,
                    kind: typed(e, "office:value-type")?.unwrap_or_default(),
                    is_error: typed(e, "calcext:value-type")?.as_deref() == Some("error"),
                    value: stored(e)?,
                    text: String::new(),
                    paragraphs: 0,
                });
            }
            Step::End("table:table-cell" | "table:covered-table-cell") => self.end_cell(),
            Step::Start(name, e) => {
                if let Some(cell) = &mut self.cell {
                    match *name {
                        "text:p" => {
                            cell.paragraphs += 1;
                            if cell.paragraphs > 1 {
                                cell.text.push(' ');
                            }
                        }
                        "text:s" => {
                            let n = count(e, "c", MAX_BLANKS)?;
                            cell.text.extend((0..n).map(|_| ' '));
                        }
                        "text:tab" | "text:line-break" => cell.text.push(' '),
                        _ => {}
                    }
                }
            }
            Step::Text(text) => {
                if let Some(cell) = self.cell.as_mut().filter(|c| c.paragraphs > 0) {
                    cell.text.push_str(text);
                }
            }
            Step::End(_) => {}
        }
        Ok(())
    }

    fn end_cell(&mut self) {
        let Some(cell) = self.cell.take() else {
            return;
        };
        let (columns, spanned) = (cell.columns, cell.spanned);
        let first = self.column;
        self.column = (self.column + columns).min(MAX_COLUMNS + 1);
        if let Some(value) = cell.content() {
            self.cells.push((first..self.column, value, spanned));
        }
    }

    fn end_row(&mut self) -> Result<(), Stop> {
        let first = self.row;
        self.row += self.rows;
        if self.cells.is_empty() {
            return Ok(());
        }
        let last = self.row.min(MAX_ROWS + 1);
        for row in first..last {
            for (columns, value, spanned) in &self.cells {
                for column in columns.clone() {
                    self.writer
                        .put(row, column, value, row + spanned - 1)
                        .map_err(|e| Stop::Fault(unwritable(self.label, &e, row, column)))?;
                }
            }
        }
        if self.row > MAX_ROWS + 1 {
            return Err(format!("more than {MAX_ROWS} rows in a sheet").into());
        }
        Ok(())
    }
}

/// An attribute by its name with the prefix: two kinds of value stand side by side.
fn typed(e: &BytesStart<'_>, name: &str) -> Result<Option<String>, Stop> {
    let found = e
        .try_get_attribute(name)
        .map_err(|e| format!("an attribute that is damaged ({e})"))?;
    Ok(found.map(|a| a.value.into_owned()))
}

/// The value that a cell carries beside what it shows.
fn stored(e: &BytesStart<'_>) -> Result<Option<String>, Stop> {
    for key in [
        "value",
        "date-value",
        "time-value",
        "boolean-value",
        "string-value",
    ] {
        if let Some(value) = attribute(e, key)? {
            return Ok(Some(value));
        }
    }
    Ok(None)
}

impl Open {
    /// What the cell holds; none where it is empty.
    fn content(self) -> Option<Value<'static>> {
        let shown = self.text.trim().to_owned();
        if self.is_error {
            let shown = if shown.is_empty() {
                "#VALUE!".to_owned()
            } else {
                shown
            };
            return Some(Value::Error(shown.into()));
        }
        let stored = self.value.unwrap_or_default();
        let value = match self.kind.as_str() {
            "float" | "percentage" | "currency" => match stored.trim().parse::<f64>() {
                Ok(v) => Value::Number(v),
                Err(_) => Value::Text(stored.into()),
            },
            "date" => Value::Text(stored.into()),
            "time" => match iso_duration(&stored) {
                Some(s) => Value::Clock(s),
                None => Value::Text(stored.into()),
            },
            "boolean" => Value::Flag(stored == "true"),
            "string" if !stored.is_empty() => Value::Text(stored.into()),
            _ => Value::Text(shown.into()),
        };
        match &value {
            Value::Text(t) if t.trim().is_empty() => None,
            _ => Some(value),
        }
    }
}
