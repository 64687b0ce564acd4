//! Which heading names the time, the current, the voltage.

use std::borrow::Cow;

use super::columns::Wish;
use crate::bench::logs::Encoding;
use crate::bench::{BenchError, Fault, Place, SourceFile, clip};
use crate::logs::cells::split_quoted;
use crate::logs::text::decode;
use crate::quantity::{Dimension, Unit};

/// Delimiters tried, in this order. Common practice, no source.
const DELIMITERS: [u8; 4] = [b'\t', b';', b',', b'|'];

/// A column's role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Time,
    Current,
    Voltage,
}

impl Role {
    pub const ALL: [Role; 3] = [Role::Time, Role::Current, Role::Voltage];

    pub fn word(self) -> &'static str {
        match self {
            Role::Time => "time",
            Role::Current => "current",
            Role::Voltage => "voltage",
        }
    }

    pub fn dimension(self) -> Dimension {
        match self {
            Role::Time => Dimension::Time,
            Role::Current => Dimension::Current,
            Role::Voltage => Dimension::Voltage,
        }
    }

    pub fn unit_like(self) -> &'static str {
        match self {
            Role::Time => "s",
            Role::Current => "A",
            Role::Voltage => "V",
        }
    }

    /// How well a name without its unit fits, 0 for not at all. The words are those of the trade.
    fn fit(self, name: &str) -> u32 {
        let exact: &[(&str, u32)] = match self {
            Role::Time => &[
                ("total time", 6),
                ("test time", 6),
                ("elapsed time", 5),
                ("elapsed", 5),
                ("time", 4),
                ("timestamp", 4),
                ("date time", 4),
                ("datetime", 4),
                ("real time", 3),
                ("last changed", 2),
                ("t", 2),
            ],
            Role::Current => &[
                ("current", 6),
                ("battery current", 6),
                ("load current", 5),
                ("amps", 5),
                ("amperes", 5),
                ("milliamps", 5),
                ("m amps", 5),
                ("mamps", 5),
                ("i", 3),
                ("a", 2),
            ],
            Role::Voltage => &[
                ("voltage", 6),
                ("battery voltage", 6),
                ("pack voltage", 6),
                ("terminal voltage", 6),
                ("volts", 5),
                ("millivolts", 5),
                ("mvolts", 5),
                ("u", 3),
                ("v", 3),
            ],
        };
        if let Some((_, score)) = exact.iter().find(|(word, _)| *word == name) {
            return *score;
        }
        let holds = |word: &str| name.split(' ').any(|w| w == word);
        match self {
            Role::Time => u32::from(holds("time") && !holds("step")),
            Role::Current => u32::from(holds("current")),
            Role::Voltage => u32::from(holds("voltage")),
        }
    }
}

/// A heading taken apart: its name in plain lower case, and the unit that it names.
pub(super) fn apart(heading: &str, want: Dimension) -> (String, Option<Unit>) {
    let unit_in = |open: char, close: char| {
        let (name, rest) = heading.split_once(open)?;
        let unit = Unit::parse_for(rest.split_once(close)?.0, want).ok()?;
        Some((name, unit))
    };
    let last_word = || {
        let (name, last) = heading.rsplit_once(['_', ' ', '/', ','])?;
        Some((name, Unit::parse_for(last, want).ok()?))
    };
    // The unit is the whole name.
    let whole = || {
        let symbol = match heading.to_lowercase().as_str() {
            "volts" => "V",
            "millivolts" | "mvolts" => "mV",
            "amps" | "amperes" => "A",
            "milliamps" | "mamps" => "mA",
            _ => return None,
        };
        Some((heading, Unit::parse_for(symbol, want).ok()?))
    };
    let found = unit_in('[', ']')
        .or_else(|| unit_in('(', ')'))
        .or_else(whole)
        .or_else(last_word);
    let (name, unit) = match found {
        Some((name, unit)) => (name, Some(unit)),
        // What stands in brackets and is no unit is a remark.
        None => (heading.split('(').next().unwrap_or(heading), None),
    };
    let mut spaced = String::with_capacity(name.len());
    let mut lower = false;
    for c in name.chars() {
        // `TestTime` is two words.
        if lower && c.is_uppercase() {
            spaced.push(' ');
        }
        lower = c.is_lowercase();
        spaced.push(c);
    }
    let plain = spaced
        .to_lowercase()
        .replace(['_', '-', '.', ':'], " ")
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    (plain, unit)
}

/// A heading line found.
pub(super) struct Line {
    pub number: usize,
    pub delimiter: u8,
    pub cells: Vec<String>,
    /// The best column for each role, in the order of [`Role::ALL`], with its score.
    pub best: [Option<(usize, u32)>; 3],
    /// Others that fit as well.
    rivals: [Vec<usize>; 3],
}

/// The heading line that fits best.
pub(super) fn find_line(
    file: &SourceFile,
    head: &[(usize, &[u8])],
    encoding: Encoding,
    wish: &Wish,
    needed: &[usize],
) -> Result<Line, BenchError> {
    let mut best: Option<(u32, Line)> = None;
    for delimiter in wish.delimiter.map_or(DELIMITERS.to_vec(), |d| vec![d]) {
        for (number, text) in head {
            let cells: Vec<String> = split_quoted(text, delimiter)
                .iter()
                .map(|c: &Cow<'_, [u8]>| {
                    let text = decode(c, encoding);
                    text.trim_start_matches('\u{feff}')
                        .split_whitespace()
                        .collect::<Vec<_>>()
                        .join(" ")
                })
                .collect();
            if cells.len() < 2 {
                continue;
            }
            let line = score(*number, delimiter, cells);
            let found = |k: &usize| line.best.get(*k).copied().flatten();
            let total: u32 = needed.iter().filter_map(found).map(|(_, s)| 10 + s).sum();
            if total > best.as_ref().map_or(0, |b| b.0) {
                best = Some((total, line));
            }
        }
    }
    let missing = |line: Option<&Line>| -> Vec<&'static str> {
        needed
            .iter()
            .filter(|k| line.is_none_or(|l| l.best.get(**k).copied().flatten().is_none()))
            .filter_map(|k| Role::ALL.get(*k).map(|r| r.word()))
            .collect()
    };
    let line = best.map(|b| b.1);
    let lacks = missing(line.as_ref());
    match line {
        // A table without a current is read all the same: what it lacks is told where it is needed.
        Some(line) if lacks.is_empty() || lacks == ["current"] => {
            for k in needed {
                let rivals = line.rivals.get(*k).map_or(&[][..], Vec::as_slice);
                if let (false, Some(role)) = (rivals.is_empty(), Role::ALL.get(*k)) {
                    let names: Vec<String> = line
                        .best
                        .get(*k)
                        .copied()
                        .flatten()
                        .map(|b| b.0)
                        .iter()
                        .chain(rivals)
                        .filter_map(|at| line.cells.get(*at))
                        .map(|c| format!("`{}`", clip(c)))
                        .collect();
                    return Err(Fault::new(
                        Place::line(&file.name, line.number),
                        format!(
                            "{} columns that may be the {}: {}",
                            names.len(),
                            role.word(),
                            names.join(", ")
                        ),
                        "one column",
                    )
                    .remedy(format!(
                        "name it: --{} \"…\", or by number: --{0} \"#3 [{}]\"",
                        role.word(),
                        role.unit_like()
                    ))
                    .into());
                }
            }
            Ok(line)
        }
        _ => Err(nothing(file, &lacks)),
    }
}

pub(super) fn nothing(file: &SourceFile, lacks: &[&str]) -> BenchError {
    let options: Vec<String> = lacks
        .iter()
        .map(|l| match *l {
            "time" => "--time \"Time [s]\"".to_owned(),
            "current" => "--current \"I [A]\"".to_owned(),
            _ => "--voltage \"U [V]\"".to_owned(),
        })
        .collect();
    Fault::new(
        Place::file(&file.name),
        format!("no heading that names a {}", lacks.join(" or a ")),
        "a line of headings such as `time [s],current [A],voltage [V]` in the first 300 lines",
    )
    .remedy(format!(
        "name the columns by heading or, in a table without headings, by number (\"#3 [A]\"): {}",
        options.join(" ")
    ))
    .into()
}

fn score(number: usize, delimiter: u8, cells: Vec<String>) -> Line {
    let mut best = [None; 3];
    let mut rivals = [const { Vec::new() }; 3];
    for (at, cell) in cells.iter().enumerate() {
        for ((role, best), rivals) in Role::ALL.into_iter().zip(&mut best).zip(&mut rivals) {
            let (name, unit) = apart(cell, role.dimension());
            let fit = role.fit(&name);
            // Headings that name their unit are the more likely.
            let fit = if fit > 0 {
                2 * fit + u32::from(unit.is_some())
            } else {
                0
            };
            match *best {
                _ if fit == 0 => {}
                Some((_, score)) if score > fit => {}
                Some((_, score)) if score == fit => rivals.push(at),
                _ => {
                    *best = Some((at, fit));
                    rivals.clear();
                }
            }
        }
    }
    Line {
        number,
        delimiter,
        cells,
        best,
        rivals,
    }
}
