//! `steadydraw curve`: a least-squares fit of any curve in plain algebra.

mod arguments;
mod files;
mod shown;

use std::io::{IsTerminal, Write};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::{Answer, CliError, Common};
use crate::bench::SourceFile;
use crate::fit::curve::{CurveError, CurveRequest, fit_curve};
use crate::fit::nonlinear::{Observer, Progress};
use crate::fit::{ColumnFile, Curve, Equation, EquationError};

pub use arguments::CurveArgs;
use arguments::{aliases, once, points};
use shown::{in_json, in_words};

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for an equation, start, range or point that makes no sense, [`CliError::Input`] for a file that
/// cannot be read, [`CliError::NoAnswer`] where the data cannot carry the curve, [`CliError::NotSettled`] where the search ends at no best fit.
pub fn run(args: &CurveArgs, common: &Common) -> Result<Answer, CliError> {
    let equation = Equation::parse(&args.equation).map_err(|e| in_equation(&e))?;
    SourceFile::on_disk(&args.file, &args.file.display().to_string()).noted(&common.reads);
    let file = ColumnFile::open(&args.file)?;
    let aliases = aliases(args, file.headings())?;
    // An alias hides a column of the same name: the user said which column is meant.
    let mut columns: Vec<String> = aliases.keys().cloned().collect();
    columns.extend(
        file.headings()
            .iter()
            .filter(|h| !aliases.contains_key(*h))
            .cloned(),
    );
    let curve = equation
        .with_columns(&columns)
        .map_err(|e| in_equation(&e))?;
    let heading = |name: &String| aliases.get(name).unwrap_or(name).clone();
    let mut wanted: Vec<String> = curve.columns().iter().map(heading).collect();
    wanted.extend(args.weight.clone());
    let numbers = file.numbers(&wanted)?;
    let mut data = numbers.columns;
    let weights = if args.weight.is_some() {
        data.pop()
    } else {
        None
    };
    if let Some(row) = weights
        .as_ref()
        .and_then(|w| w.iter().position(|v| *v < 0.0))
    {
        let line = numbers.lines.get(row).copied().unwrap_or_default();
        return Err(CliError::BadFile(format!(
            "{}, line {line}: the weight is negative; weights are proportional to 1/variance",
            args.file.display()
        )));
    }
    let request = CurveRequest {
        data,
        weights,
        starts: once("--start", &args.start)?,
        ranges: once("--range", &args.range)?,
        level: common.level,
        at: points(&args.at),
        trace: if args.plot.is_some() || common.out.is_some() {
            200
        } else {
            0
        },
        observer: progress(common),
    };
    let fit =
        fit_curve(&curve, &request).map_err(|e| refused(e, &curve, &columns, &numbers.lines))?;
    let mut notes: Vec<String> = file
        .findings()
        .iter()
        .map(|f| f.message.to_string())
        .collect();
    notes.extend(fit.notes.clone());
    if numbers.incomplete > 0 {
        notes.push(format!(
            "{} rows were left out because a cell is empty.",
            numbers.incomplete
        ));
    }
    if !file.is_named() {
        notes.push("The file has no headings; its columns are called c1, c2, … .".to_owned());
    }
    let source = files::Source {
        curve: &curve,
        fit: &fit,
        request: &request,
        file: &file,
        lines: &numbers.lines,
        heading: &|name| {
            aliases
                .get(name)
                .cloned()
                .unwrap_or_else(|| name.to_owned())
        },
    };
    // A figure or table of a curve that is no best fit would be taken for one.
    let written = if fit.converged {
        files::write(&source, args.plot.as_deref(), common)?
    } else {
        Vec::new()
    };
    let mut words = in_words(args, common, &curve, &fit, &notes);
    for path in &written {
        words.push_str(&format!("Written: {}\n", path.display()));
    }
    let mut json = in_json(args, common, &curve, &fit, &notes);
    json["files"] = written
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    let answer = Answer { words, json };
    if fit.converged {
        Ok(answer)
    } else {
        Err(CliError::NotSettled(
            "the search did not end at a best fit; what is shown is where it ended, and no files were written. Try another --start, a --range, or a simpler equation".to_owned(),
            Box::new(answer),
        ))
    }
}

fn in_equation(error: &EquationError) -> CliError {
    CliError::Misuse(format!(
        "the equation cannot be used: {}\n{}",
        error.problem,
        error.picture()
    ))
}

fn refused(error: CurveError, curve: &Curve, columns: &[String], lines: &[usize]) -> CliError {
    let line = |row: usize| lines.get(row).copied().unwrap_or_default();
    match error {
        CurveError::NoStart { ref names } => CliError::Misuse(format!(
            "{error}: --start {}=…, or --range {}=LOW..HIGH (columns are {}; every other name is a parameter)",
            names.join("=…,"),
            names.first().map_or("", String::as_str),
            columns.join(", ")
        )),
        CurveError::Unknown { .. }
        | CurveError::PointIncomplete { .. }
        | CurveError::BadValue { .. } => CliError::Misuse(error.to_string()),
        CurveError::LeftNotFinite { row } => CliError::NoAnswer(format!(
            "{} has no finite value in line {} of the file",
            curve.left_text(),
            line(row)
        )),
        CurveError::RightNotFinite { row, at_start } => CliError::NoAnswer(format!(
            "{} has no finite value in line {} of the file{}",
            curve.right_text(),
            line(row),
            if at_start {
                " at the start: choose another --start"
            } else {
                ""
            }
        )),
        CurveError::Dependent { .. } => CliError::NoAnswer(format!(
            "{error}. (Columns are {}; every other name is a parameter.)",
            columns.join(", ")
        )),
        other => CliError::NoAnswer(other.to_string()),
    }
}

/// Tells a person at a terminal that a long search is on its way.
fn progress(common: &Common) -> Option<Observer> {
    const PATIENCE: Duration = Duration::from_millis(500);
    if common.quiet || !std::io::stderr().is_terminal() {
        return None;
    }
    let last = Mutex::new(Instant::now());
    Some(Arc::new(move |p: &Progress<'_>| {
        if let Ok(mut last) = last.lock()
            && last.elapsed() > PATIENCE
        {
            *last = Instant::now();
            let line = format!("iteration {}, sum of squares {:.6e}", p.iteration, p.rss);
            let _ = write!(std::io::stderr(), "\r{line}\x1b[K\r");
        }
        true
    }))
}
