//! One file a command: arguments, library call, words or JSON. No arithmetic here.

mod budget;
mod check;
mod claims;
mod compare;
mod completions;
mod coupling;
mod curve;
mod discharge;
mod fit;
mod manual;
mod new;
mod plan;
mod predict;
mod program;
mod progress;
mod reduce;
mod report;
mod runtime;
mod schema;
mod settings;
mod words;

use std::io::Write;
use std::path::{Path, PathBuf};

use crate::bench::{Bench, BenchError, Fault};
use crate::made;
use crate::report::figure::{Figure, Lettering, Size, Theme};
use crate::report::passing::remove_on_signals;
use crate::report::write::{Existing, Output, write_all};

use program::parse_level;
pub use program::{Common, Units, run_from_env};

/// Exit codes: 0 answered, 2 misuse, 3 bad input, 4 the data cannot answer.
const MISUSE: u8 = 2;
const BAD_INPUT: u8 = 3;
const NO_ANSWER: u8 = 4;

/// What a command has to say.
#[derive(Debug)]
pub struct Answer {
    /// In words, ready to print.
    pub words: String,
    /// As JSON, with `schema` and `command` first.
    pub json: serde_json::Value,
}

/// Why a command has no answer.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The command line does not make sense; exit code 2.
    #[error("{0}")]
    Misuse(String),
    /// The input is at fault; exit code 3.
    #[error(transparent)]
    Input(#[from] BenchError),
    /// An input at fault that is no bench; exit code 3.
    #[error("{0}")]
    BadFile(String),
    /// The data cannot answer; exit code 4.
    #[error("{0}")]
    NoAnswer(String),
    /// A file could not be written; exit code 3.
    #[error("{0}")]
    Write(String),
    /// A write-up is not what its bench gives; the answer says where; exit code 3.
    #[error("the write-up and the bench differ")]
    Differs(Box<Answer>),
    /// The data do not settle the answer: why, and what there is of it, which is shown all the same; exit code 4.
    #[error("{0}")]
    NotSettled(String, Box<Answer>),
}

impl CliError {
    fn code(&self) -> u8 {
        match self {
            CliError::Misuse(_) => MISUSE,
            CliError::Input(_)
            | CliError::BadFile(_)
            | CliError::Write(_)
            | CliError::Differs(_) => BAD_INPUT,
            CliError::NoAnswer(_) | CliError::NotSettled(..) => NO_ANSWER,
        }
    }

    /// Every fault with its place; none where the input is not at fault.
    fn faults(&self) -> Vec<Fault> {
        match self {
            CliError::Input(e) => e.faults(),
            _ => Vec::new(),
        }
    }

    fn kind(&self) -> &'static str {
        match self {
            CliError::Misuse(_) => "misuse",
            CliError::Input(_) | CliError::BadFile(_) => "bad-input",
            CliError::Write(_) => "cannot-write",
            CliError::Differs(_) => "differs",
            CliError::NoAnswer(_) | CliError::NotSettled(..) => "cannot-answer",
        }
    }
}

/// A bench, and whether it is the built-in demo.
pub struct Opened {
    /// The bench.
    pub bench: Bench,
    /// Whether no bench was named and the demo stands in.
    pub demo: bool,
}

/// Opens the bench named on the command line, or the demo.
///
/// # Errors
/// [`CliError::Input`] with the place of every fault.
pub fn open(path: Option<&Path>, common: &Common) -> Result<Opened, CliError> {
    match path {
        Some(path) => Ok(Opened {
            bench: Bench::open_noting(path, &common.reads)?,
            demo: false,
        }),
        None => Ok(Opened {
            bench: Bench::embedded_noting(made::demo::files(), &common.reads)?,
            demo: true,
        }),
    }
}

impl Opened {
    /// The sentence that says that the demo stands in.
    pub fn demo_note(&self) -> Option<&'static str> {
        self.demo.then_some(
            "No bench was named, so this is the built-in demo: an invented 24 V cabin cooler on a canal boat.",
        )
    }
}

/// Draws a figure into files that end in `.svg` or `.png`; gives their paths.
fn figure_files(
    figure: &Figure,
    paths: &[PathBuf],
    common: &Common,
) -> Result<Vec<PathBuf>, CliError> {
    let drawn = |path: &PathBuf| figure_file(figure, path);
    let outputs = paths.iter().map(drawn).collect::<Result<Vec<_>, _>>()?;
    write_files(&outputs, common)?;
    Ok(paths.to_vec())
}

/// A figure as its file's name asks: `.svg` or `.png`.
fn figure_file(figure: &Figure, path: &Path) -> Result<Output, CliError> {
    let ending = path.extension().and_then(|e| e.to_str());
    let bytes = match ending.map(str::to_lowercase).as_deref() {
        Some("svg") => figure
            .to_svg(Size::PAGE, Theme::Light, Lettering::Outlines, "")
            .map(String::into_bytes),
        Some("png") => figure.to_png(Size::PAGE, Theme::Light),
        _ => {
            return Err(CliError::Misuse(format!(
                "{}: a figure's name ends in .svg or .png",
                path.display()
            )));
        }
    };
    Ok(Output {
        path: path.to_owned(),
        bytes: bytes.map_err(|e| CliError::NoAnswer(format!("the figure cannot be drawn: {e}")))?,
    })
}

/// Writes files whole or not at all; over others only where `--force` says so.
fn write_files(files: &[Output], common: &Common) -> Result<(), CliError> {
    write_replacing(files, common.force)
}

fn write_replacing(files: &[Output], replace: bool) -> Result<(), CliError> {
    let existing = if replace {
        Existing::Replace
    } else {
        Existing::Keep
    };
    remove_on_signals();
    write_all(files, existing).map_err(|e| CliError::Write(e.to_string()))
}

/// Prints the answer. A reader that has seen enough (a closed pipe) is no failure.
fn print(text: &str) {
    let mut out = anstream::stdout();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}
