//! What `curve` is asked on the command line.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::bench::did_you_mean;
use crate::cli::CliError;

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

/// The names that the user gives to columns.
pub(super) fn aliases(
    args: &CurveArgs,
    headings: &[String],
) -> Result<BTreeMap<String, String>, CliError> {
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

pub(super) fn once<V: Clone>(
    option: &str,
    given: &[(String, V)],
) -> Result<BTreeMap<String, V>, CliError> {
    let mut result = BTreeMap::new();
    for (name, value) in given {
        if result.insert(name.clone(), value.clone()).is_some() {
            return Err(CliError::Misuse(format!("{option} names `{name}` twice")));
        }
    }
    Ok(result)
}

/// Points in the order given; a name that comes again starts the next point.
pub(super) fn points(given: &[(String, f64)]) -> Vec<BTreeMap<String, f64>> {
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
