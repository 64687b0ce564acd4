//! What can be wrong with a bench, with the place, what was found, what was expected and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::text::{nearest, visible};
use super::workbook;
use crate::quantity::Said;

/// Where in a user's file something stands. Lines and columns count from 1;
/// in a table the column is the field's number, in `bench.toml` the character's.
/// In a sheet of a workbook the file is `book.xlsx#Sheet`, the line the row, and places are shown as cells: `C5`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// File name as the user knows it (relative to the bench folder).
    pub file: String,
    /// Line, counting from 1.
    pub line: Option<usize>,
    /// Column, counting from 1.
    pub column: Option<usize>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Place {
            file: file.into(),
            line: None,
            column: None,
        }
    }

    /// A line of a file.
    pub fn line(file: impl Into<String>, line: usize) -> Self {
        Place {
            file: file.into(),
            line: Some(line),
            column: None,
        }
    }

    /// A line and a column of a file.
    pub fn at(file: impl Into<String>, line: usize, column: usize) -> Self {
        Place {
            file: file.into(),
            line: Some(line),
            column: Some(column),
        }
    }
}

impl Place {
    /// The place inside its file: `line 5, column 3`, `cell C5` or `row 5` in a sheet; empty for a whole file.
    pub fn spot(&self) -> String {
        let is_sheet = workbook::is_sheet(&self.file);
        match (self.line, self.column) {
            (Some(line), Some(column)) if is_sheet => {
                format!("cell {}", workbook::cell_name(line, column))
            }
            (Some(line), None) if is_sheet => format!("row {line}"),
            (Some(line), Some(column)) => format!("line {line}, column {column}"),
            (Some(line), None) => format!("line {line}"),
            (None, Some(column)) => format!("column {column}"),
            (None, None) => String::new(),
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        match self.spot() {
            spot if spot.is_empty() => Ok(()),
            spot => write!(f, ", {spot}"),
        }
    }
}

/// One thing wrong with the input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// Where.
    pub place: Place,
    /// What stands there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
    /// What the user can do about it; may be empty where `expected` says it all.
    pub remedy: String,
}

impl Fault {
    /// A fault with no further remedy than what was expected.
    pub fn new(place: Place, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Fault {
            place,
            found: found.into(),
            expected: expected.into(),
            remedy: String::new(),
        }
    }

    /// Adds what the user can do.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = remedy.into();
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.place)?;
        writeln!(f, "  found:    {}", self.found)?;
        write!(f, "  expected: {}", self.expected)?;
        if !self.remedy.is_empty() {
            write!(f, "\n  to do:    {}", self.remedy)?;
        }
        Ok(())
    }
}

/// Why a bench could not be read.
#[derive(Debug, thiserror::Error)]
pub enum BenchError {
    /// The operating system refused.
    #[error("{}", refused(path, source))]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The contents are at fault; all faults found in one reading, in file order.
    #[error("{}", list_faults(.0))]
    Faults(Vec<Fault>),
    /// Blanks of a starter bench that are still to be filled, all of them.
    #[error("{}", list_blanks(.0))]
    Blanks(Vec<Fault>),
}

impl BenchError {
    /// All faults, each with its place, what was found, what was expected, and what to do.
    pub fn faults(&self) -> Vec<Fault> {
        match self {
            BenchError::Io { path, source } => vec![refused(path, source)],
            BenchError::Faults(faults) | BenchError::Blanks(faults) => faults.clone(),
        }
    }
}

/// What stands beside a path that is not there and has nearly its name.
fn near_name(path: &Path) -> Option<String> {
    /// Names that are looked at; a folder may hold millions.
    const MOST: usize = 2000;
    let asked = path.file_name()?.to_str()?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let there = std::fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let names: Vec<String> = there
        .take(MOST)
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .collect();
    let near = nearest(asked, names.iter().map(String::as_str))?;
    Some(visible(&path.with_file_name(near).display().to_string()).into_owned())
}

fn refused(path: &Path, source: &std::io::Error) -> Fault {
    let place = Place::file(visible(&path.display().to_string()));
    match source.kind() {
        std::io::ErrorKind::NotFound => Fault::new(
            place,
            "nothing of this name",
            "a bench folder, its bench.toml, or a table",
        )
        .remedy(match near_name(path) {
            Some(near) => format!("did you mean `{near}`?"),
            None => {
                "check the spelling; a name is taken from the folder that you are in".to_owned()
            }
        }),
        std::io::ErrorKind::PermissionDenied => Fault::new(
            place,
            "a file or folder that may not be read",
            "one that you have leave to read",
        )
        .remedy("change its permissions, or copy it to a folder of your own"),
        _ => Fault::new(
            place,
            format!("that the system could not read it: {source}"),
            "a file that can be read",
        )
        .remedy("copy it to another folder and try again"),
    }
}

/// The most faults collected before reading stops.
pub(super) const MOST_FAULTS: usize = 200;
/// The most faults shown in words; the count of the rest is told.
const SHOWN_FAULTS: usize = 8;

fn list_faults(faults: &[Fault]) -> String {
    let mut text = faults
        .iter()
        .take(SHOWN_FAULTS)
        .map(Fault::to_string)
        .collect::<Vec<_>>()
        .join("\n");
    if faults.len() > SHOWN_FAULTS {
        let at_least = if faults.len() < MOST_FAULTS {
            ""
        } else {
            "at least "
        };
        text.push_str(&format!(
            "\n… and {at_least}{} more",
            faults.len() - SHOWN_FAULTS
        ));
    }
    text
}

/// One line for each blank, since a bench that is just begun has many.
fn list_blanks(faults: &[Fault]) -> String {
    let mut text = "blanks (____) are still to be filled in".to_owned();
    for fault in faults {
        text.push_str(&format!(
            "\n  {}: {}; expected {}",
            fault.place, fault.found, fault.expected
        ));
    }
    text.push_str(
        "\nWrite the value over the blank. What you do not have: remove the entry, row or column, or empty the cell.",
    );
    text
}

impl From<Fault> for BenchError {
    fn from(fault: Fault) -> Self {
        BenchError::Faults(vec![fault])
    }
}

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Good to know.
    Note,
    /// Weakens an answer.
    Warning,
    /// Makes an answer impossible or wrong.
    Error,
}

/// Something that a careful colleague would point out about a bench that can be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// A short stable name, such as `mode-and-fan-together`.
    pub code: &'static str,
    /// The finding in a sentence or two, with figures and what to do.
    pub message: Said,
    /// The file, where one is to blame.
    pub file: Option<String>,
    /// The line, where one is to blame.
    pub line: Option<usize>,
}

impl Finding {
    /// A finding about the bench as a whole.
    pub fn new(severity: Severity, code: &'static str, message: impl Into<Said>) -> Self {
        Finding {
            severity,
            code,
            message: message.into(),
            file: None,
            line: None,
        }
    }

    /// Adds the place.
    #[must_use]
    pub fn at(mut self, place: &Place) -> Self {
        self.file = Some(place.file.clone());
        self.line = place.line;
        self
    }
}
