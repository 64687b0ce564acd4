//! Finding the columns of a log by its headings.

use std::borrow::Cow;

use super::cells::{lines, split_quoted};
use super::number::has_decimal_comma;
use super::pattern::PatternFault;
use super::stamp::StampReader;
use super::text::decode;
use crate::bench::logs::{ColumnRef, Decimal, Encoding, LogSpec};
use crate::bench::table::clip;
use crate::bench::{BenchError, Fault, Place};
use crate::quantity::{Heading, Unit};

/// Lines searched for the headings: exports have been seen with blocks of up to 45 lines before the table.
const SEARCHED: usize = 300;

/// Where everything stands in one file of a log.
#[derive(Clone, Debug)]
pub struct Layout {
    /// What stands between cells.
    pub delimiter: u8,
    /// Whether numbers have a decimal comma.
    pub decimal_comma: bool,
    /// Columns of the time, counting from 0, in the order in which they are read.
    pub time: Vec<usize>,
    /// How times are read.
    pub stamps: StampReader,
    /// Columns of the channels, in the order of [`LogSpec::channels`].
    pub channels: Vec<Column>,
    /// Only rows whose cell in this column reads so.
    pub only: Option<(usize, Vec<u8>)>,
    /// Cells that mean "no reading".
    pub missing: Vec<Vec<u8>>,
    /// The line of the headings as it stands, to know it when it comes again.
    pub heading: Option<Vec<u8>>,
    /// Number of the first line of readings.
    pub first_line: usize,
    /// Bytes of the first block before that line.
    pub skip: usize,
    /// Cells to look at in a row.
    pub width: usize,
    /// The cells to read of a plain row, in the order in which they stand; empty where rows need a closer look.
    pub plain: Vec<(usize, Role)>,
}

/// What a cell of a plain row is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The time.
    Time,
    /// The channel with this index.
    Channel(usize),
}

/// A measured column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Index, counting from 0.
    pub at: usize,
    /// Its unit.
    pub unit: Unit,
}

/// Finds the columns that `spec` names in the first block of a file.
///
/// # Errors
/// A fault for a column that is not there (with the headings that are), one that stands there twice, or one without a unit.
pub fn find(
    spec: &LogSpec,
    file: &str,
    block: &[u8],
    encoding: Encoding,
) -> Result<Layout, BenchError> {
    let head: Vec<(usize, &[u8])> = lines(block, 1).take(SEARCHED).collect();
    let names = named(spec);
    let found = if names.is_empty() {
        headless(spec, &head)
    } else {
        with_heading(spec, file, &head, encoding, &names)?
    };
    let Found {
        delimiter,
        at_line,
        cells,
    } = found;
    let column = |c: &ColumnRef| match c {
        ColumnRef::Number(n) => Ok(n - 1),
        ColumnRef::Name(name) => place_of(name, &cells, file, at_line, spec),
    };
    let time = spec
        .time
        .columns
        .iter()
        .map(column)
        .collect::<Result<Vec<_>, _>>()?;
    let data_at = at_line.map_or(0, |line| line + spec.unit_rows);
    let unit_cells = unit_rows(&head, at_line, spec.unit_rows, delimiter, encoding);
    let mut channels = Vec::new();
    let mut faults = Vec::new();
    for c in &spec.channels {
        let at = column(&c.column)?;
        let heading = cells.get(at).map(String::as_str);
        match c
            .unit
            .or_else(|| unit_of(heading, at, &unit_cells, c.channel.dimension()))
        {
            Some(unit) => channels.push(Column { at, unit }),
            None => faults.push(
                Fault::new(
                    c.place.clone(),
                    format!(
                        "`{}` without a unit, here or in the heading `{}` of {file}",
                        c.channel.name(),
                        clip(heading.unwrap_or_default())
                    ),
                    format!(
                        "{} with its unit, one of {}",
                        c.channel.dimension().words(),
                        c.channel.dimension().accepted().join(", ")
                    ),
                )
                .remedy("add unit = \"…\" to the entry"),
            ),
        }
    }
    if !faults.is_empty() {
        return Err(BenchError::Faults(faults));
    }
    let only = match &spec.only {
        Some((c, value)) => Some((column(c)?, encode(value, encoding))),
        None => None,
    };
    let width = time
        .iter()
        .chain(channels.iter().map(|c| &c.at))
        .chain(only.iter().map(|(at, _)| at))
        .max()
        .map_or(1, |m| m + 1);
    let first_line = data_at + 1;
    let skip = after_lines(block, data_at);
    let heading = at_line
        .and_then(|n| head.get(n - 1))
        .map(|(_, line)| line.to_vec());
    let decimal_comma = match spec.decimal {
        Some(d) => d == Decimal::Comma,
        None => delimiter != b',' && commas_in(&head, data_at, delimiter, &channels),
    };
    let stamps = StampReader::new(&spec.time.format, spec.time.year, decimal_comma)
        .map_err(|f| pattern_fault(spec, f))?
        .with_dates(spec.time.dated);
    let plain = match (time.as_slice(), &only, spec.missing.is_empty()) {
        ([at], None, true) if delimiter != b' ' => {
            let mut plain: Vec<(usize, Role)> = channels
                .iter()
                .enumerate()
                .map(|(i, c): (usize, &Column)| (c.at, Role::Channel(i)))
                .chain([(*at, Role::Time)])
                .collect();
            plain.sort_by_key(|(at, _)| *at);
            // A column read twice is no plain row.
            let twice = plain.windows(2).any(|p| matches!(p, [a, b] if a.0 == b.0));
            if twice { Vec::new() } else { plain }
        }
        _ => Vec::new(),
    };
    Ok(Layout {
        plain,
        delimiter,
        decimal_comma,
        time,
        stamps,
        channels,
        only,
        missing: spec.missing.iter().map(|m| encode(m, encoding)).collect(),
        heading,
        first_line,
        skip,
        width,
    })
}

/// A time pattern's fault, with its place in `bench.toml`.
pub fn pattern_fault(spec: &LogSpec, fault: PatternFault) -> Fault {
    Fault::new(spec.time.format_place.clone(), fault.found, fault.expected)
}

struct Found {
    delimiter: u8,
    /// Number of the heading line; none in a file without headings.
    at_line: Option<usize>,
    cells: Vec<String>,
}

/// All columns that the log names by heading.
fn named(spec: &LogSpec) -> Vec<&str> {
    spec.time
        .columns
        .iter()
        .chain(spec.channels.iter().map(|c| &c.column))
        .chain(spec.only.iter().map(|(c, _)| c))
        .filter_map(|c| match c {
            ColumnRef::Name(name) => Some(name.as_str()),
            ColumnRef::Number(_) => None,
        })
        .collect()
}

/// Delimiters tried where none is given, in this order. Common practice, no source.
const DELIMITERS: [u8; 4] = [b'\t', b';', b',', b'|'];

fn candidates(spec: &LogSpec) -> Vec<u8> {
    spec.delimiter
        .map_or_else(|| DELIMITERS.to_vec(), |d| vec![d])
}

/// A file without headings: the delimiter that most often gives enough cells.
fn headless(spec: &LogSpec, head: &[(usize, &[u8])]) -> Found {
    let need = spec
        .time
        .columns
        .iter()
        .chain(spec.channels.iter().map(|c| &c.column))
        .filter_map(|c| match c {
            ColumnRef::Number(n) => Some(*n),
            ColumnRef::Name(_) => None,
        })
        .max()
        .unwrap_or(1);
    let enough = |d: u8| {
        head.iter()
            .filter(|(_, l)| split_quoted(l, d).len() >= need)
            .count()
    };
    let mut tried = candidates(spec);
    if spec.delimiter.is_none() {
        tried.push(b' ');
    }
    // The first of equals: a table of one column has no delimiter at all.
    let mut best = (0, b',');
    for d in tried {
        let n = enough(d);
        if n > best.0 {
            best = (n, d);
        }
    }
    Found {
        delimiter: best.1,
        at_line: None,
        cells: Vec::new(),
    }
}

fn with_heading(
    spec: &LogSpec,
    file: &str,
    head: &[(usize, &[u8])],
    encoding: Encoding,
    names: &[&str],
) -> Result<Found, BenchError> {
    let mut best: (usize, Option<Found>) = (0, None);
    for delimiter in candidates(spec) {
        for (number, line) in head {
            let cells: Vec<String> = split_quoted(line, delimiter)
                .iter()
                .map(|c| tidy(&decode(c, encoding)))
                .collect();
            let hits = names
                .iter()
                .filter(|n| !matching(n, &cells).is_empty())
                .count();
            // A single cell that happens to be a name is no heading line among many columns.
            if hits > best.0 {
                let found = Found {
                    delimiter,
                    at_line: Some(*number),
                    cells,
                };
                if hits == names.len() {
                    return Ok(found);
                }
                best = (hits, Some(found));
            }
        }
    }
    match best.1 {
        Some(found) => {
            let faults: Vec<Fault> = names
                .iter()
                .filter(|n| matching(n, &found.cells).is_empty())
                .map(|n| no_column(n, file, &found))
                .collect();
            Err(BenchError::Faults(faults))
        }
        None => {
            let list: Vec<String> = names.iter().map(|n| format!("`{}`", clip(n))).collect();
            let first = head
                .iter()
                .find(|(_, l)| !l.trim_ascii().is_empty())
                .map_or_else(String::new, |(_, l)| {
                    format!(
                        "; the file begins with `{}`",
                        clip(&tidy(&decode(l, encoding)))
                    )
                });
            Err(Fault::new(
                Place::file(file),
                format!("no line with the headings {}{first}", list.join(", ")),
                "the headings that bench.toml names, in the first 300 lines",
            )
            .remedy("write the headings as they stand in the file, or name columns by number (column = 2) where it has none")
            .into())
        }
    }
}

fn no_column(name: &str, file: &str, found: &Found) -> Fault {
    let there: Vec<String> = found
        .cells
        .iter()
        .filter(|c| !c.is_empty())
        .take(12)
        .map(|c| format!("`{}`", clip(c)))
        .collect();
    let near = found
        .cells
        .iter()
        .map(|c| (strsim::damerau_levenshtein(c, name), c))
        .min()
        .filter(|(d, _)| *d <= 2);
    let fault = Fault::new(
        found
            .at_line
            .map_or(Place::file(file), |l| Place::line(file, l)),
        format!("no column `{}`", clip(name)),
        format!("one of the headings {}", there.join(", ")),
    );
    match near {
        Some((_, c)) => fault.remedy(format!("did you mean `{}`?", clip(c))),
        None => fault.remedy("write the heading in bench.toml as it stands in the file"),
    }
}

/// The column of a heading, counting from 0.
fn place_of(
    name: &str,
    cells: &[String],
    file: &str,
    at_line: Option<usize>,
    spec: &LogSpec,
) -> Result<usize, BenchError> {
    match matching(name, cells).as_slice() {
        [one] => Ok(*one),
        [] => Err(Fault::new(
            spec.place.clone(),
            format!("no column `{}` in {file}", clip(name)),
            "a heading of the file",
        )
        .into()),
        several => {
            let list: Vec<String> = several.iter().map(|i| (i + 1).to_string()).collect();
            Err(Fault::new(
                at_line.map_or(Place::file(file), |l| Place::line(file, l)),
                format!(
                    "the heading `{}` {} times, in columns {}",
                    clip(name),
                    several.len(),
                    list.join(", ")
                ),
                "a heading that stands there once",
            )
            .remedy("name the column by its number instead, such as column = 3")
            .into())
        }
    }
}

/// Cells that a name fits: exactly; else but for case and blanks; else but for what stands in square brackets.
fn matching(name: &str, cells: &[String]) -> Vec<usize> {
    let name = tidy(name);
    let lower = name.to_lowercase();
    let all = |fits: &dyn Fn(&str) -> bool| -> Vec<usize> {
        cells
            .iter()
            .enumerate()
            .filter(|(_, c)| fits(c))
            .map(|(i, _)| i)
            .collect()
    };
    let exact = all(&|c| c == name);
    if !exact.is_empty() {
        return exact;
    }
    let loose = all(&|c| c.to_lowercase() == lower);
    if !loose.is_empty() {
        return loose;
    }
    all(&|c| c.split_once('[').is_some_and(|(n, _)| n.trim() == name))
}

/// A heading without stray blanks and byte-order marks.
fn tidy(text: &str) -> String {
    text.trim_start_matches('\u{feff}')
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The cells of the rows below the headings that hold units.
fn unit_rows(
    head: &[(usize, &[u8])],
    at_line: Option<usize>,
    rows: usize,
    delimiter: u8,
    encoding: Encoding,
) -> Vec<Vec<String>> {
    head.iter()
        .skip(at_line.unwrap_or(0))
        .take(rows)
        .map(|(_, l)| {
            split_quoted(l, delimiter)
                .iter()
                .map(|c| tidy(&decode(c, encoding)))
                .collect()
        })
        .collect()
}

/// A unit from the heading's square brackets or a unit row.
fn unit_of(
    heading: Option<&str>,
    at: usize,
    rows: &[Vec<String>],
    want: crate::quantity::Dimension,
) -> Option<Unit> {
    let fits = |u: &Unit| u.measures(want);
    heading
        .and_then(|h| Heading::parse(h).ok())
        .and_then(|h| h.unit)
        .filter(fits)
        .or_else(|| {
            rows.iter().filter_map(|r| r.get(at)).find_map(|cell| {
                let bare = cell.trim_matches(['[', ']', '(', ')', ' ']);
                Unit::parse(bare).ok().filter(fits)
            })
        })
}

/// Whether the measured cells of the first rows have decimal commas and no points.
fn commas_in(head: &[(usize, &[u8])], data_at: usize, delimiter: u8, channels: &[Column]) -> bool {
    let mut commas = 0;
    let mut points = 0;
    for (_, line) in head.iter().skip(data_at) {
        let cells = split_quoted(line, delimiter);
        for cell in channels.iter().filter_map(|c| cells.get(c.at)) {
            let cell: &Cow<'_, [u8]> = cell;
            commas += usize::from(has_decimal_comma(cell));
            points += usize::from(cell.contains(&b'.'));
        }
    }
    commas > 0 && commas > points
}

/// Text in the bytes of the file.
fn encode(text: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Latin1 => text
            .chars()
            .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'))
            .collect(),
        _ => text.as_bytes().to_vec(),
    }
}

/// Bytes that the first `count` lines of a block take.
fn after_lines(block: &[u8], count: usize) -> usize {
    if count == 0 {
        return 0;
    }
    block
        .iter()
        .enumerate()
        .filter(|(_, b)| **b == b'\n')
        .nth(count - 1)
        .map_or(block.len(), |(at, _)| at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_fit_exactly_before_loosely() {
        let cells: Vec<String> = ["Time", "TIME", "in [degF]", "U  (V)"]
            .iter()
            .map(|c| tidy(c))
            .collect();
        assert_eq!(matching("Time", &cells), [0]);
        assert_eq!(matching("time", &cells), [0, 1]);
        assert_eq!(matching("in", &cells), [2]);
        assert_eq!(matching("u (v)", &cells), [3]);
        assert_eq!(matching("out", &cells), [] as [usize; 0]);
    }

    #[test]
    fn units_come_from_brackets_or_unit_rows() {
        let rows = vec![vec![String::new(), "°C".to_owned(), "(%)".to_owned()]];
        let temp = crate::quantity::Dimension::Temperature;
        let symbol = |u: Option<Unit>| u.map(|u| u.symbol());
        assert_eq!(
            symbol(unit_of(Some("in [degF]"), 1, &rows, temp)),
            Some("degF")
        );
        assert_eq!(
            symbol(unit_of(Some("Zulauf"), 1, &rows, temp)),
            Some("degC")
        );
        assert_eq!(symbol(unit_of(Some("Zulauf"), 2, &rows, temp)), None);
        let share = crate::quantity::Dimension::Fraction;
        assert_eq!(symbol(unit_of(None, 2, &rows, share)), Some("%"));
    }
}
