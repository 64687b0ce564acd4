//! The program: its commands, the options that all of them take, and how an answer or an error leaves it.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Args, ColorChoice, CommandFactory, FromArgMatches, Parser, Subcommand};

use super::progress::Seconds;
use super::{
    Answer, BAD_INPUT, CliError, MISUSE, NO_ANSWER, check, claims, compare, completions, coupling,
    curve, discharge, fit, manual, new, plan, predict, print, reduce, report, runtime, schema,
};
use crate::bench::{Fault, Reads, visible};
use crate::quantity::System;

const AFTER_HELP: &str = "\
Start with:
  steadydraw report                    the built-in demo, written to ./report
  steadydraw new my-bench              a bench of your own to start from
  steadydraw check my-bench            what is there, what is wrong, what cannot be told apart
  steadydraw coupling my-bench         are fan level and compressor tied together?
  steadydraw predict my-bench --intake 35degC --ambient 38degC

Without a bench named, a command uses the built-in demo and says so.
`steadydraw COMMAND --help` teaches by example; `steadydraw man` is the manual.
Exit codes: 0 answered, 2 misuse, 3 bad input, 4 the data cannot answer this.";

#[derive(Parser)]
#[command(
    name = "steadydraw",
    version,
    about = "From bench runs of a small DC air conditioner to fitted curves, a coupling verdict, honest predictions and a write-up",
    after_help = AFTER_HELP
)]
struct Program {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

/// Options that every command takes.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Options that every command takes")]
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
    /// Seed of everything random; the same seed gives the same answer
    #[arg(
        long,
        global = true,
        value_name = "N",
        default_value_t = 1,
        allow_negative_numbers = true
    )]
    pub seed: u64,
    /// Folder for the files that the command writes; a command that writes none refuses it
    #[arg(long, global = true, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Overwrite files that are already there; likewise
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
    /// What a command's --json holds, as a JSON Schema
    Schema(schema::SchemaArgs),
    /// Completions for a shell
    Completions(completions::CompletionsArgs),
    /// The manual, for `man`
    Man(manual::ManArgs),
}

impl Program {
    /// Runs the command.
    fn answer(&self) -> Result<Answer, CliError> {
        let common = &self.common;
        self.refuse_without_files()?;
        match &self.command {
            Command::New(a) => new::run(a, common),
            Command::Plan(a) => plan::run(a, common),
            Command::Check(a) => check::run(a, common),
            Command::Reduce(a) => reduce::run(a, common),
            Command::Fit(a) => fit::run(a, common),
            Command::Coupling(a) => coupling::run(a, common),
            Command::Predict(a) => predict::run(a, common),
            Command::Runtime(a) => runtime::run(a, common),
            Command::Discharge(a) => discharge::run(a, common),
            Command::Curve(a) => curve::run(a, common),
            Command::Claims(a) => claims::run(a, common),
            Command::Compare(a) => compare::run(a, common),
            Command::Report(a) => report::run(a, common),
            Command::Schema(a) => schema::run(a),
            Command::Completions(a) => completions::run(a),
            Command::Man(a) => manual::run(a, common),
        }
    }

    /// `--out` and `--force` promise something that a command without files does not do.
    fn refuse_without_files(&self) -> Result<(), CliError> {
        let option = match &self.common {
            Common { out: Some(_), .. } => "--out",
            Common { force: true, .. } => "--force",
            _ => return Ok(()),
        };
        let name = self.command.name();
        if WRITERS.contains(&name) {
            return Ok(());
        }
        let last = WRITERS.len() - 1;
        Err(CliError::Misuse(format!(
            "`{name}` writes no files, so {option} has nothing to do; leave it out. Files are written by {} and {}",
            WRITERS[..last].join(", "),
            WRITERS[last]
        )))
    }
}

/// Commands that write files, or do so when asked.
const WRITERS: [&str; 9] = [
    "new",
    "plan",
    "reduce",
    "runtime",
    "discharge",
    "curve",
    "compare",
    "report",
    "man",
];

impl Command {
    fn name(&self) -> &'static str {
        match self {
            Command::New(_) => "new",
            Command::Plan(_) => "plan",
            Command::Check(_) => "check",
            Command::Reduce(_) => "reduce",
            Command::Fit(_) => "fit",
            Command::Coupling(_) => "coupling",
            Command::Predict(_) => "predict",
            Command::Runtime(_) => "runtime",
            Command::Discharge(_) => "discharge",
            Command::Curve(_) => "curve",
            Command::Claims(_) => "claims",
            Command::Compare(_) => "compare",
            Command::Report(_) => "report",
            Command::Schema(_) => "schema",
            Command::Completions(_) => "completions",
            Command::Man(_) => "man",
        }
    }
}

/// The program's commands and options, in the colours asked for.
pub(super) fn command() -> clap::Command {
    let mut command = Program::command();
    if let Some(choice) = colour_asked() {
        command = command.color(choice);
    }
    command
}

/// What `--color` says, found before anything else is read: help and misuse obey it too.
fn colour_asked() -> Option<ColorChoice> {
    let mut choice = None;
    let mut args = std::env::args().skip(1).take_while(|a| a != "--");
    while let Some(arg) = args.next() {
        let value = match arg.strip_prefix("--color") {
            Some("") => args.next(),
            Some(rest) => rest.strip_prefix('=').map(str::to_owned),
            None => None,
        };
        if let Some(found) = value.and_then(|v| v.parse().ok()) {
            choice = Some(found);
        }
    }
    choice
}

/// Where a word stands in the place of a command, and a file or folder has its name: the command was forgotten.
fn forgotten_command(error: &clap::Error) -> Option<String> {
    if error.kind() != ErrorKind::InvalidSubcommand {
        return None;
    }
    match error.get(ContextKind::InvalidSubcommand) {
        Some(ContextValue::String(word)) if Path::new(word).exists() => {
            let word = visible(word);
            Some(format!(
                "`{word}` is a file or folder, and a command is missing before it: steadydraw check {word}"
            ))
        }
        _ => None,
    }
}

/// Reads the process arguments, runs the command, and gives the exit code.
pub fn run_from_env() -> ExitCode {
    let parsed = command()
        .try_get_matches_from(std::env::args_os())
        .and_then(|m| Program::from_arg_matches(&m));
    let program = match parsed {
        Ok(p) => p,
        Err(e) => {
            // Help and version come this way too, with code 0.
            let code = u8::try_from(e.exit_code()).unwrap_or(MISUSE);
            if code != 0 && std::env::args_os().any(|a| a == "--json") {
                let message = forgotten_command(&e).unwrap_or_else(|| e.to_string());
                print(&pretty(&error_json(
                    None,
                    "misuse",
                    message.trim_end(),
                    &[],
                )));
            }
            match forgotten_command(&e) {
                Some(message) => complain("steadydraw", &message),
                None => {
                    let _ = e.print();
                }
            }
            return ExitCode::from(code);
        }
    };
    let common = &program.common;
    match common.color {
        ColorChoice::Always => anstream::ColorChoice::Always.write_global(),
        ColorChoice::Never => anstream::ColorChoice::Never.write_global(),
        ColorChoice::Auto => {}
    }
    let name = program.command.name();
    let seconds = Seconds::of(name, common);
    let result = program.answer();
    drop(seconds);
    match result {
        Ok(answer) => {
            show(name, answer, common);
            ExitCode::SUCCESS
        }
        Err(CliError::Differs(answer)) => {
            show(name, *answer, common);
            ExitCode::from(BAD_INPUT)
        }
        Err(CliError::NotSettled(why, answer)) => {
            show(name, *answer, common);
            complain(&format!("steadydraw {name}"), &why);
            ExitCode::from(NO_ANSWER)
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
            complain(&format!("steadydraw {name}"), &message);
            ExitCode::from(error.code())
        }
    }
}

/// Says on standard error what went wrong.
fn complain(who: &str, message: &str) {
    let mut err = anstream::stderr();
    let bold = anstyle::Style::new().bold();
    // Lines are ours; what stands in them may be the user's own.
    let lines: Vec<_> = message.lines().map(visible).collect();
    let _ = writeln!(err, "{bold}{who}:{bold:#} {}", lines.join("\n"));
}

fn pretty(value: &serde_json::Value) -> String {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_else(|_| "{}".to_owned());
    text.push('\n');
    text
}

fn show(name: &str, answer: Answer, common: &Common) {
    print(&match (common.json, name) {
        (false, _) => answer.words,
        // A schema is printed as it is published.
        (true, "schema") => pretty(&answer.json),
        (true, _) => pretty(&with_maker(answer.json, common)),
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

pub(super) fn parse_level(text: &str) -> Result<f64, String> {
    let (number, scale) = match text.strip_suffix('%') {
        Some(n) => (n.trim(), 0.01),
        None => (text, 1.0),
    };
    match number.parse::<f64>() {
        Ok(v) if (0.5..=0.999).contains(&(v * scale)) => Ok(v * scale),
        _ => Err("a confidence level is a share from 0.5 to 0.999, such as 0.95".to_owned()),
    }
}
