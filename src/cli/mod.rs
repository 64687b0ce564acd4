//! One file a command: arguments, library call, words or JSON. No arithmetic here.

mod budget;
mod check;
mod claims;
mod compare;
mod coupling;
mod curve;
mod discharge;
mod fit;
mod new;
mod plan;
mod predict;
mod progress;
mod reduce;
mod report;
mod runtime;
mod settings;
mod words;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ColorChoice, Parser, Subcommand};

use crate::bench::{Bench, BenchError, Fault, Reads, visible};
use crate::made;
use crate::quantity::System;
use crate::report::figure::{Figure, Lettering, Size, Theme};
use crate::report::write::{Existing, Output, write_all};

/// Exit codes: 0 answered, 2 misuse, 3 bad input, 4 the data cannot answer.
const MISUSE: u8 = 2;
const BAD_INPUT: u8 = 3;
const NO_ANSWER: u8 = 4;

#[derive(Parser)]
#[command(
    name = "steadydraw",
    version,
    about = "From bench runs of a small DC air conditioner to fitted curves, a coupling verdict, honest predictions and a write-up",
    after_help = "Start with:\n  steadydraw report                    the built-in demo, written to ./report\n  steadydraw new my-bench              a bench of your own to start from\n  steadydraw check my-bench            what is there, what is wrong, what cannot be told apart\n  steadydraw coupling my-bench         are fan level and compressor tied together?\n  steadydraw predict my-bench --intake 35degC --ambient 38degC\n\nWithout a bench named, a command uses the built-in demo and says so.\nExit codes: 0 answered, 2 misuse, 3 bad input, 4 the data cannot answer this."
)]
struct Program {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

/// Options that every command takes.
#[derive(Args, Clone, Debug)]
pub struct Common {
    /// Print the answer as one JSON object instead of words
    #[arg(long, global = true)]
    pub json: bool,
    /// Units in words and tables (JSON is always W, degC, h, A)
    #[arg(long, global = true, value_enum, default_value_t = Units::Si, hide_possible_values = false)]
    pub units: Units,
    /// Confidence level of all intervals
    #[arg(long, global = true, value_name = "SHARE", default_value_t = 0.95, value_parser = parse_level, allow_negative_numbers = true)]
    pub level: f64,
    /// Seed of everything random
    #[arg(
        long,
        global = true,
        value_name = "N",
        default_value_t = 1,
        allow_negative_numbers = true
    )]
    pub seed: u64,
    /// Folder for the files that the command writes
    #[arg(long, global = true, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Overwrite files that are already there
    #[arg(long, global = true)]
    pub force: bool,
    /// Only the answer: no notes, no progress
    #[arg(long, short, global = true)]
    pub quiet: bool,
    /// Colour in words
    #[arg(long, global = true, value_enum, default_value_t = ColorChoice::Auto)]
    pub color: ColorChoice,
    /// What the command reads.
    #[arg(skip)]
    pub reads: Reads,
}

/// Units for the reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Units {
    /// degC, W, m3/h
    Si,
    /// degF, Btu/h for capacity, cfm
    Us,
}

impl Common {
    /// The system of units for the reader.
    pub fn system(&self) -> System {
        match self.units {
            Units::Si => System::Si,
            Units::Us => System::Us,
        }
    }
}

#[derive(Subcommand)]
enum Command {
    /// A bench to start from: bench.toml with every key explained, and its tables
    New(new::NewArgs),
    /// What to run, in which order, what that can decide, and the next run worth doing
    Plan(Box<plan::PlanArgs>),
    /// What is there, what is wrong, what is confounded or drifting
    Check(check::CheckArgs),
    /// Raw logs to steady points with uncertainty
    Reduce(reduce::ReduceArgs),
    /// Draw and capacity curves, candidates compared, equations to paste
    Fit(fit::FitArgs),
    /// Are fan level and compressor tied together?
    Coupling(coupling::CouplingArgs),
    /// Draw and capacity where nothing was tested
    Predict(predict::PredictArgs),
    /// Hours on a battery, and a day on it
    Runtime(runtime::RuntimeArgs),
    /// A battery's discharge test: Ah, Wh, against the rating, cost per Wh
    Discharge(Box<discharge::DischargeArgs>),
    /// Least-squares fit of any curve in plain algebra
    Curve(curve::CurveArgs),
    /// The maker's figures: holds, fails, cannot tell
    Claims(claims::ClaimsArgs),
    /// Two units or more at the same conditions
    Compare(compare::CompareArgs),
    /// The write-up: figures, tables, methods, cautions
    Report(report::ReportArgs),
}

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
}

impl CliError {
    fn code(&self) -> u8 {
        match self {
            CliError::Misuse(_) => MISUSE,
            CliError::Input(_)
            | CliError::BadFile(_)
            | CliError::Write(_)
            | CliError::Differs(_) => BAD_INPUT,
            CliError::NoAnswer(_) => NO_ANSWER,
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
            CliError::NoAnswer(_) => "cannot-answer",
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

/// Reads the process arguments, runs the command, and gives the exit code.
pub fn run_from_env() -> ExitCode {
    let program = match Program::try_parse() {
        Ok(p) => p,
        Err(e) => {
            // Help and version come this way too, with code 0.
            let code = u8::try_from(e.exit_code()).unwrap_or(MISUSE);
            if code != 0 && std::env::args_os().any(|a| a == "--json") {
                let message = e.to_string();
                print(&pretty(&error_json(
                    None,
                    "misuse",
                    message.trim_end(),
                    &[],
                )));
            }
            let _ = e.print();
            return ExitCode::from(code);
        }
    };
    let common = &program.common;
    match common.color {
        ColorChoice::Always => anstream::ColorChoice::Always.write_global(),
        ColorChoice::Never => anstream::ColorChoice::Never.write_global(),
        ColorChoice::Auto => {}
    }
    let (name, result) = match &program.command {
        Command::New(a) => ("new", new::run(a, common)),
        Command::Plan(a) => ("plan", plan::run(a, common)),
        Command::Check(a) => ("check", check::run(a, common)),
        Command::Reduce(a) => ("reduce", reduce::run(a, common)),
        Command::Fit(a) => ("fit", fit::run(a, common)),
        Command::Coupling(a) => ("coupling", coupling::run(a, common)),
        Command::Predict(a) => ("predict", predict::run(a, common)),
        Command::Runtime(a) => ("runtime", runtime::run(a, common)),
        Command::Discharge(a) => ("discharge", discharge::run(a, common)),
        Command::Curve(a) => ("curve", curve::run(a, common)),
        Command::Claims(a) => ("claims", claims::run(a, common)),
        Command::Compare(a) => ("compare", compare::run(a, common)),
        Command::Report(a) => ("report", report::run(a, common)),
    };
    match result {
        Ok(answer) => {
            show(answer, common);
            ExitCode::SUCCESS
        }
        Err(CliError::Differs(answer)) => {
            show(*answer, common);
            ExitCode::from(BAD_INPUT)
        }
        Err(error) => {
            let message = error.to_string();
            if common.json {
                print(&pretty(&error_json(
                    Some(name),
                    error.kind(),
                    &message,
                    &error.faults(),
                )));
            }
            let mut err = anstream::stderr();
            let bold = anstyle::Style::new().bold();
            // Lines are ours; what stands in them may be the user's own.
            let lines: Vec<_> = message.lines().map(visible).collect();
            let _ = writeln!(err, "{bold}steadydraw {name}:{bold:#} {}", lines.join("\n"));
            ExitCode::from(error.code())
        }
    }
}

/// Draws a figure into files that end in `.svg` or `.png`; gives their paths.
fn figure_files(
    figure: &Figure,
    paths: &[PathBuf],
    common: &Common,
) -> Result<Vec<PathBuf>, CliError> {
    let drawn = |path: &PathBuf| {
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
        let bytes =
            bytes.map_err(|e| CliError::NoAnswer(format!("the figure cannot be drawn: {e}")))?;
        Ok(Output {
            path: path.clone(),
            bytes,
        })
    };
    let outputs = paths.iter().map(drawn).collect::<Result<Vec<_>, _>>()?;
    let existing = if common.force {
        Existing::Replace
    } else {
        Existing::Keep
    };
    write_all(&outputs, existing).map_err(|e| CliError::Write(e.to_string()))?;
    Ok(paths.to_vec())
}

/// Prints the answer. A reader that has seen enough (a closed pipe) is no failure.
fn print(text: &str) {
    let mut out = anstream::stdout();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}

fn pretty(value: &serde_json::Value) -> String {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_else(|_| "{}".to_owned());
    text.push('\n');
    text
}

fn show(answer: Answer, common: &Common) {
    print(&if common.json {
        pretty(&with_maker(answer.json, common))
    } else {
        answer.words
    });
}

/// Adds what made the answer and from which files, before the notes, so that it can be made again.
fn with_maker(mut json: serde_json::Value, common: &Common) -> serde_json::Value {
    if let Some(answer) = json.as_object_mut() {
        let notes = answer.shift_remove("notes");
        answer.insert(
            "made_by".to_owned(),
            serde_json::json!({
                "program": env!("CARGO_PKG_NAME"),
                "version": env!("CARGO_PKG_VERSION"),
                "seed": common.seed,
                "level": common.level,
                "inputs": common.reads.inputs(),
            }),
        );
        if let Some(notes) = notes {
            answer.insert("notes".to_owned(), notes);
        }
    }
    json
}

fn error_json(
    command: Option<&str>,
    kind: &str,
    message: &str,
    faults: &[Fault],
) -> serde_json::Value {
    serde_json::json!({
        "schema": 1,
        "command": command,
        "error": { "kind": kind, "message": message, "faults": faults },
        "notes": [],
    })
}

fn parse_level(text: &str) -> Result<f64, String> {
    let (number, scale) = match text.strip_suffix('%') {
        Some(n) => (n.trim(), 0.01),
        None => (text, 1.0),
    };
    match number.parse::<f64>() {
        Ok(v) if (0.5..=0.999).contains(&(v * scale)) => Ok(v * scale),
        _ => Err("a confidence level is a share from 0.5 to 0.999, such as 0.95".to_owned()),
    }
}
