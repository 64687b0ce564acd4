//! A block of lines, read into numbers.

use std::borrow::Cow;

use super::cells::{Cells, lines, split_quoted};
use super::dropout::stands_in;
use super::heading::Layout;
use super::number::{Cell, read};
use super::stamp::{Stamp, StampFault};

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

/// Reads the lines of a block, of which the first has the number `first_line`.
pub fn read_block(layout: &Layout, block: &[u8], first_line: usize) -> Batch {
    let mut batch = Batch {
        missing: vec![0; layout.channels.len()],
        ..Batch::default()
    };
    let mut cells = Cells::default();
    let quotes = block.contains(&b'"');
    let mut joined = Vec::new();
    for (number, line) in lines(block, first_line) {
        if line.iter().all(u8::is_ascii_whitespace) {
            continue;
        }
        if quotes && line.contains(&b'"') {
            let owned = split_quoted(line, layout.delimiter);
            let get = |i: usize| owned.get(i).map(Cow::as_ref);
            read_line(
                layout,
                &mut batch,
                number,
                line,
                owned.len(),
                &get,
                &mut joined,
            );
        } else {
            cells.split(line, layout.delimiter, layout.width);
            let get = |i: usize| cells.get(line, i);
            read_line(
                layout,
                &mut batch,
                number,
                line,
                cells.count(),
                &get,
                &mut joined,
            );
        }
    }
    batch
}

fn read_line<'a>(
    layout: &Layout,
    batch: &mut Batch,
    number: usize,
    line: &[u8],
    count: usize,
    get: &dyn Fn(usize) -> Option<&'a [u8]>,
    joined: &mut Vec<u8>,
) {
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
    let stamp = match layout.stamps.read(text) {
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

impl Layout {
    fn is_missing(&self, cell: &[u8]) -> bool {
        !self.missing.is_empty() && self.missing.iter().any(|m| m == cell.trim_ascii())
    }
}

impl Batch {
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
