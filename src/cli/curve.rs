//! `steadydraw curve`: a least-squares fit of any curve in plain algebra.

mod files;

use std::collections::BTreeMap;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::words::Words;
use super::{Answer, CliError, Common};
use crate::bench::{SourceFile, did_you_mean};
use crate::fit::curve::show::{for_pasting, rounded, shortest};
use crate::fit::curve::{CurveError, CurveFit, CurveRequest, fit_curve, point_in_words};
use crate::fit::nonlinear::{Observer, Progress};
use crate::fit::{ColumnFile, Curve, Equation, EquationError};
use crate::report::tables::{Cell, Column, Table};

/// Arguments of `curve`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Names that are columns of the file are data, all others are parameters.\n\
    An equation that is linear in its parameters needs no --start; nor do parameters that enter linearly.\n\
    Where the search ends at no best fit, the exit code is 4 and --json says \"converged\": false.\n\
    Functions: exp ln log log10 sqrt sin cos tan atan abs min max, and pi; log is the natural logarithm.\n\n\
    Examples:\n  \
      steadydraw curve runs.csv --equation \"y = b1*(1 - exp(-b2*x))\" --start b1=500,b2=0.5\n  \
      steadydraw curve runs.csv --equation \"log(y) = a + b*x\" --at x=3"
)]
pub struct CurveArgs {
    /// File of columns: CSV, TSV, semicolons or blanks, or a sheet (book.xlsx#Sheet); units in square brackets after a heading are left aside
    pub file: PathBuf,
    /// The curve, such as "y = b1*(1 - exp(-b2*x))"
    #[arg(long, value_name = "EQUATION", allow_hyphen_values = true)]
    pub equation: String,
    /// Start values, such as b1=500,b2=1e-4
    #[arg(long, value_name = "NAME=VALUE", value_delimiter = ',', value_parser = parse_start)]
    pub start: Vec<(String, f64)>,
    /// Allowed ranges, such as b1=0..1000 or b1=0.. ; a parameter without a start is searched for inside its range
    #[arg(long, value_name = "NAME=LOW..HIGH", value_delimiter = ',', value_parser = parse_range)]
    pub range: Vec<(String, (f64, f64))>,
    /// Column of weights, proportional to 1/variance; rows of weight 0 are left out
    #[arg(long, value_name = "COLUMN")]
    pub weight: Option<String>,
    /// The column that the equation calls x
    #[arg(long, value_name = "COLUMN")]
    pub x: Option<String>,
    /// The column that the equation calls y
    #[arg(long, value_name = "COLUMN")]
    pub y: Option<String>,
    /// Another name for a column, for use in the equation, such as t="intake temp"
    #[arg(long, value_name = "NAME=COLUMN", value_parser = parse_name)]
    pub column: Vec<(String, String)>,
    /// Points at which the curve is wanted, such as x=3; may be given several times
    #[arg(long, value_name = "NAME=VALUE", value_delimiter = ',', value_parser = parse_start)]
    pub at: Vec<(String, f64)>,
    /// Write a figure of rows and curve to this file (.svg or .png)
    #[arg(long, value_name = "FILE")]
    pub plot: Option<PathBuf>,
}

fn parse_start(text: &str) -> Result<(String, f64), String> {
    let (name, value) = text.split_once('=').ok_or("write it like b1=500")?;
    let value = value.trim();
    match value.parse::<f64>() {
        Ok(v) if v.is_finite() => Ok((name.trim().to_owned(), v)),
        _ => Err(format!(
            "`{value}` is not a finite number; write it like b1=500 or b2=1e-4"
        )),
    }
}

fn parse_range(text: &str) -> Result<(String, (f64, f64)), String> {
    const LIKE: &str = "write it like b1=0..1000, b1=0.. or b1=..10";
    let (name, range) = text.split_once('=').ok_or(LIKE)?;
    let (low, high) = range.split_once("..").ok_or(LIKE)?;
    let end = |text: &str, open: f64| match text.trim() {
        "" => Ok(open),
        number => number
            .parse::<f64>()
            .map_err(|_| format!("`{number}` is not a number; {LIKE}")),
    };
    let (low, high) = (end(low, f64::NEG_INFINITY)?, end(high, f64::INFINITY)?);
    if low <= high {
        Ok((name.trim().to_owned(), (low, high)))
    } else {
        Err(format!("it holds no value; {LIKE}"))
    }
}

fn parse_name(text: &str) -> Result<(String, String), String> {
    let (name, column) = text.split_once('=').ok_or("write it like t=intake_temp")?;
    Ok((name.trim().to_owned(), column.trim().to_owned()))
}

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

/// The names that the user gives to columns.
fn aliases(args: &CurveArgs, headings: &[String]) -> Result<BTreeMap<String, String>, CliError> {
    let named = |name: &str, column: &Option<String>| column.clone().map(|c| (name.to_owned(), c));
    let all = named("x", &args.x)
        .into_iter()
        .chain(named("y", &args.y))
        .chain(args.column.iter().cloned());
    let aliases: BTreeMap<String, String> = all.collect();
    for column in aliases.values().chain(&args.weight) {
        if !headings.contains(column) {
            return Err(CliError::Misuse(format!(
                "{} has no column `{column}`; it has {}{}",
                args.file.display(),
                headings.join(", "),
                did_you_mean(column, headings.iter().map(String::as_str))
            )));
        }
    }
    Ok(aliases)
}

fn once<V: Clone>(option: &str, given: &[(String, V)]) -> Result<BTreeMap<String, V>, CliError> {
    let mut result = BTreeMap::new();
    for (name, value) in given {
        if result.insert(name.clone(), value.clone()).is_some() {
            return Err(CliError::Misuse(format!("{option} names `{name}` twice")));
        }
    }
    Ok(result)
}

/// Points in the order given; a name that comes again starts the next point.
fn points(given: &[(String, f64)]) -> Vec<BTreeMap<String, f64>> {
    let mut points: Vec<BTreeMap<String, f64>> = Vec::new();
    for (name, value) in given {
        match points.last_mut() {
            Some(point) if !point.contains_key(name) => {
                point.insert(name.clone(), *value);
            }
            _ => points.push(BTreeMap::from([(name.clone(), *value)])),
        }
    }
    points
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

fn in_words(
    args: &CurveArgs,
    common: &Common,
    curve: &Curve,
    fit: &CurveFit,
    notes: &[String],
) -> String {
    let percent = format!("{} %", for_pasting(100.0 * common.level));
    let mut words = Words::default();
    words.heading(curve.text());
    let scatter = fit.residual_sd.map(|sd| {
        format!(
            "; residual standard deviation {}",
            rounded(sd, Some(sd / 100.0))
        )
    });
    let not = if fit.converged {
        ""
    } else {
        "NOT a best fit: "
    };
    words.paragraph(&format!(
        "{not}{} rows of {}, fitted {}, {} degrees of freedom{}.",
        fit.n,
        args.file.display(),
        if fit.linear { "directly" } else { "by search" },
        fit.dof,
        scatter.unwrap_or_default(),
    ));
    let mut table = Table::new(
        "",
        [
            Column::text("parameter"),
            Column::number("value", ""),
            Column::number("standard error", ""),
            Column::interval(format!("{percent} interval"), ""),
        ],
    );
    for p in &fit.parameters {
        table.row([
            Cell::text(&p.name),
            Cell::text(rounded(p.value, p.std_error)),
            p.std_error
                .map_or(Cell::Absent, |se| Cell::text(rounded(se, Some(se)))),
            interval(p.interval, p.std_error),
        ]);
    }
    words.table(&table);
    words.gap().verbatim(&pasted(curve, fit, for_pasting));
    if !fit.values.is_empty() {
        let mut table = Table::new(
            "",
            [
                Column::text("at"),
                Column::number(curve.left_text(), ""),
                Column::interval(format!("curve, {percent}"), ""),
                Column::interval(format!("one further row, {percent}"), ""),
            ],
        );
        for v in &fit.values {
            table.row([
                Cell::text(point_in_words(&v.at)),
                v.value.map_or(Cell::Absent, |value| {
                    Cell::text(rounded(value, v.std_error))
                }),
                interval(v.mean, v.std_error),
                interval(v.observation, v.std_error),
            ]);
        }
        words.table(&table);
    }
    words.notes(notes, common.quiet);
    words.finish()
}

fn interval(ends: Option<(f64, f64)>, u: Option<f64>) -> Cell {
    ends.map_or(Cell::Absent, |(low, high)| {
        Cell::text(format!("{} to {}", rounded(low, u), rounded(high, u)))
    })
}

fn pasted(curve: &Curve, fit: &CurveFit, digits: fn(f64) -> String) -> String {
    curve.with_values(
        &fit.parameters
            .iter()
            .map(|p| digits(p.value))
            .collect::<Vec<_>>(),
    )
}

fn in_json(
    args: &CurveArgs,
    common: &Common,
    curve: &Curve,
    fit: &CurveFit,
    notes: &[String],
) -> Value {
    let low = |ends: Option<(f64, f64)>| ends.map(|e| e.0);
    let high = |ends: Option<(f64, f64)>| ends.map(|e| e.1);
    let covariance = fit.covariance.as_ref().map(|c| {
        c.row_iter()
            .map(|row| row.iter().copied().collect::<Vec<f64>>())
            .collect::<Vec<_>>()
    });
    json!({
        "schema": 1,
        "command": "curve",
        "file": args.file.display().to_string(),
        "equation": curve.text(),
        "fitted_equation": pasted(curve, fit, shortest),
        "level": common.level,
        "params": fit.parameters.iter().map(|p| json!({
            "name": p.name,
            "value": p.value,
            "std_error": p.std_error,
            "low": low(p.interval),
            "high": high(p.interval),
            "at_bound": p.at_bound,
        })).collect::<Vec<_>>(),
        "covariance": covariance,
        "rss": fit.rss,
        "residual_sd": fit.residual_sd,
        "n": fit.n,
        "dof": fit.dof,
        "loo_rmse": fit.loo_rmse,
        "aicc": fit.aicc,
        "condition": fit.condition,
        "method": if fit.linear { "linear" } else { "nonlinear" },
        "converged": fit.converged,
        "termination": fit.termination.as_ref().map_or("direct", |t| t.code()),
        "iterations": fit.iterations,
        "lack_of_fit": fit.lack_of_fit.as_ref().map(|l| json!({
            "repeat_sd": l.repeat_sd(),
            "pure_df": l.pure_df,
            "lack_df": l.lack_df,
            "f": l.f,
            "p": l.p,
        })),
        "values": fit.values.iter().map(|v| json!({
            "at": v.at,
            "value": v.value,
            "std_error": v.std_error,
            "mean_low": low(v.mean),
            "mean_high": high(v.mean),
            "run_low": low(v.observation),
            "run_high": high(v.observation),
        })).collect::<Vec<_>>(),
        "notes": notes,
    })
}
