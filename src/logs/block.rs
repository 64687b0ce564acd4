//! A block of lines, read into numbers.

use std::borrow::Cow;

use super::cells::{Cells, split_quoted};
use super::dropout::stands_in;
use super::heading::{Layout, Role};
use super::number::{Cell, quick, read};
use super::stamp::{Stamp, StampCursor, StampFault};

/// Problems kept with their place; the rest are counted.
pub const KEPT_PROBLEMS: usize = 20;

/// The readings of a block, in the order of the file.
#[derive(Debug, Default)]
pub struct Batch {
    /// Times of the rows.
    pub stamps: Vec<Stamp>,
    /// Line numbers of the rows.
    pub lines: Vec<usize>,
    /// Readings, row after row, each row with one for each channel; NaN where there is none.
    pub values: Vec<f64>,
    /// Bytes of the file that were read for it.
    pub bytes: usize,
    /// Lines that hold anything at all.
    pub rows: usize,
    /// Lines that could not be read whole.
    pub broken: usize,
    /// The first of them.
    pub problems: Vec<Problem>,
    /// Lines that repeat the headings.
    pub headings: usize,
    /// Lines of other devices, passed over.
    pub others: usize,
    /// Cells without a reading, for each channel.
    pub missing: Vec<usize>,
}

/// A line that could not be read whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Its number.
    pub line: usize,
    /// What is wrong with it.
    pub kind: ProblemKind,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ProblemKind {
    /// Fewer cells than the columns asked for.
    Short {
        /// Cells found.
        cells: usize,
        /// Cells needed.
        needed: usize,
    },
    /// The time cannot be read.
    Time {
        /// What stands there.
        text: String,
        /// Its column, counting from 1.
        column: usize,
        /// Whether it looks right but is no date.
        no_such: bool,
    },
    /// A reading is no number.
    Number {
        /// What stands there.
        text: String,
        /// Its column, counting from 1.
        column: usize,
    },
}

/// Reads the lines of a block, of which the first has the number `first_line`, into `batch`, which is emptied first.
pub fn read_block(layout: &Layout, block: &[u8], first_line: usize, batch: &mut Batch) {
    batch.clear(layout.channels.len());
    let mut cursor = StampCursor::new(&layout.stamps);
    let quotes = block.contains(&b'"');
    let mut scratch = Scratch::default();
    let mut row = vec![f64::NAN; layout.channels.len()];
    let mut at = 0;
    let mut number = first_line;
    while at < block.len() {
        if !layout.plain.is_empty()
            && !quotes
            && let Some((stamp, next)) = plain_row(layout, block, at, &mut cursor, &mut row)
        {
            batch.rows += 1;
            batch.stamps.push(stamp);
            batch.lines.push(number);
            // A loop, since a call to copy a few numbers costs more than they do.
            batch.values.extend(row.iter().copied());
            at = next;
        } else {
            let rest = block.get(at..).unwrap_or_default();
            let end = rest.iter().position(|b| *b == b'\n');
            let line = rest.get(..end.unwrap_or(rest.len())).unwrap_or(rest);
            at += end.map_or(rest.len(), |e| e + 1);
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            any_row(layout, batch, number, line, &mut cursor, &mut scratch);
        }
        number += 1;
    }
}

/// Reads a row in one pass, where every cell that is wanted is plain; else nothing, and [`any_row`] has a closer look.
/// Gives its time and where the next row begins.
fn plain_row(
    layout: &Layout,
    block: &[u8],
    start: usize,
    cursor: &mut StampCursor<'_>,
    row: &mut [f64],
) -> Option<(Stamp, usize)> {
    let delimiter = layout.delimiter;
    let mark = if layout.decimal_comma { b',' } else { b'.' };
    let mut at = start;
    let mut column = 0;
    let mut stamp = None;
    for (want, role) in &layout.plain {
        while column < *want {
            let rest = block.get(at..)?;
            let n = rest.iter().position(|b| *b == delimiter || *b == b'\n')?;
            if rest.get(n) != Some(&delimiter) {
                return None;
            }
            at += n + 1;
            column += 1;
        }
        match role {
            Role::Time => {
                let rest = block.get(at..)?;
                let (read, n) = match cursor.same_minute(rest) {
                    Some((read, n)) if ends(rest, n, delimiter) => (read, n),
                    _ => {
                        let n = rest
                            .iter()
                            .position(|b| *b == delimiter || *b == b'\n' || *b == b'\r')?;
                        (cursor.read(rest.get(..n)?).ok()?, n)
                    }
                };
                stamp = Some(read);
                at += n;
            }
            Role::Channel(i) => {
                let (value, end) = quick(block, at, mark)?;
                if stands_in(value) || !ends(block, end, delimiter) {
                    return None;
                }
                *row.get_mut(*i)? = value;
                at = end;
            }
        }
        if block.get(at) == Some(&delimiter) {
            at += 1;
            column += 1;
        } else {
            // The row ends here: fine after the last cell that is wanted, else the next is missing.
            column = usize::MAX;
        }
    }
    let rest = block.get(at..).unwrap_or_default();
    let next = match rest.iter().position(|b| *b == b'\n') {
        Some(n) => at + n + 1,
        None => block.len(),
    };
    Some((stamp?, next))
}

/// Whether a cell ends at a place.
#[inline]
fn ends(text: &[u8], at: usize, delimiter: u8) -> bool {
    match text.get(at) {
        None | Some(b'\n') => true,
        Some(b'\r') => matches!(text.get(at + 1), None | Some(b'\n')),
        Some(b) => *b == delimiter,
    }
}

/// Memory used from row to row.
#[derive(Default)]
struct Scratch {
    cells: Cells,
    joined: Vec<u8>,
}

/// Reads any row.
fn any_row(
    layout: &Layout,
    batch: &mut Batch,
    number: usize,
    line: &[u8],
    cursor: &mut StampCursor<'_>,
    scratch: &mut Scratch,
) {
    if line.iter().all(u8::is_ascii_whitespace) {
        return;
    }
    let Scratch { cells, joined } = scratch;
    let row = Row {
        layout,
        number,
        line,
    };
    if line.contains(&b'"') {
        let owned = split_quoted(line, layout.delimiter);
        let get = |i: usize| owned.get(i).map(Cow::as_ref);
        row.read(batch, owned.len(), &get, cursor, joined);
    } else {
        cells.split(line, layout.delimiter, layout.width);
        let get = |i: usize| cells.get(line, i);
        row.read(batch, cells.count(), &get, cursor, joined);
    }
}

/// A line and what it is read by.
struct Row<'a> {
    layout: &'a Layout,
    number: usize,
    line: &'a [u8],
}

impl Row<'_> {
    fn read<'c>(
        &self,
        batch: &mut Batch,
        count: usize,
        get: &dyn Fn(usize) -> Option<&'c [u8]>,
        cursor: &mut StampCursor<'_>,
        joined: &mut Vec<u8>,
    ) {
        let Row {
            layout,
            number,
            line,
        } = *self;
        batch.rows += 1;
        if let Some((at, want)) = &layout.only
            && let Some(cell) = get(*at)
            && cell.trim_ascii() != want.as_slice()
        {
            batch.others += 1;
            return;
        }
        let text = match layout.time.as_slice() {
            [one] => get(*one).unwrap_or_default(),
            several => {
                joined.clear();
                for at in several {
                    if !joined.is_empty() {
                        joined.push(b' ');
                    }
                    joined.extend_from_slice(get(*at).unwrap_or_default().trim_ascii());
                }
                joined.as_slice()
            }
        };
        let stamp = match cursor.read(text.trim_ascii()) {
            Ok(stamp) => stamp,
            Err(fault) => {
                if layout.heading.as_deref().map(<[u8]>::trim_ascii) == Some(line.trim_ascii()) {
                    batch.headings += 1;
                    return;
                }
                let kind = if count < layout.width {
                    ProblemKind::Short {
                        cells: count,
                        needed: layout.width,
                    }
                } else {
                    ProblemKind::Time {
                        text: shown(text),
                        column: layout.time.first().map_or(1, |c| c + 1),
                        no_such: fault == StampFault::NoSuchTime,
                    }
                };
                batch.problem(number, kind);
                return;
            }
        };
        if count < layout.width {
            batch.problem(
                number,
                ProblemKind::Short {
                    cells: count,
                    needed: layout.width,
                },
            );
            return;
        }
        batch.stamps.push(stamp);
        batch.lines.push(number);
        let mut bad = None;
        for (i, column) in layout.channels.iter().enumerate() {
            let cell = get(column.at).unwrap_or_default();
            let mut value = f64::NAN;
            match read(cell, layout.decimal_comma) {
                Cell::Number(v) if !stands_in(v) && !layout.is_missing(cell) => value = v,
                Cell::Unreadable if !layout.is_missing(cell) => {
                    bad = bad.or(Some((cell, column.at + 1)));
                }
                _ => {
                    if let Some(n) = batch.missing.get_mut(i) {
                        *n += 1;
                    }
                }
            }
            batch.values.push(value);
        }
        if let Some((cell, column)) = bad {
            batch.problem(
                number,
                ProblemKind::Number {
                    text: shown(cell),
                    column,
                },
            );
        }
    }
}

impl Layout {
    fn is_missing(&self, cell: &[u8]) -> bool {
        !self.missing.is_empty() && self.missing.iter().any(|m| m == cell.trim_ascii())
    }
}

impl Batch {
    /// Empties the batch for a file of so many channels; its memory stays.
    fn clear(&mut self, channels: usize) {
        self.stamps.clear();
        self.lines.clear();
        self.values.clear();
        self.problems.clear();
        self.missing.clear();
        self.missing.resize(channels, 0);
        self.rows = 0;
        self.broken = 0;
        self.headings = 0;
        self.others = 0;
    }

    fn problem(&mut self, line: usize, kind: ProblemKind) {
        self.broken += 1;
        if self.problems.len() < KEPT_PROBLEMS {
            self.problems.push(Problem { line, kind });
        }
    }
}

fn shown(bytes: &[u8]) -> String {
    let text: String = String::from_utf8_lossy(bytes)
        .trim()
        .chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    crate::bench::table::clip(&text)
}
