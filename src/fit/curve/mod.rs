//! A curve in plain algebra, fitted to columns of data.

use std::collections::BTreeMap;

use nalgebra::DMatrix;
use thiserror::Error;

use super::equation::Curve;
use super::error::FitError;
use super::lack_of_fit::LackOfFit;
use super::nonlinear::{Observer, Termination};

mod problem;
pub mod show;
mod solve;
mod summary;

pub use problem::CurveProblem;
pub use summary::point_in_words;

/// What to fit, and how.
#[derive(Clone)]
pub struct CurveRequest {
    /// One vector a column of the curve, in its order.
    pub data: Vec<Vec<f64>>,
    /// Weights proportional to 1/variance, one a row.
    pub weights: Option<Vec<f64>>,
    /// Start values by parameter. Parameters that enter linearly need none.
    pub starts: BTreeMap<String, f64>,
    /// Lowest and highest allowed values by parameter; a parameter without a start is searched for between them.
    pub ranges: BTreeMap<String, (f64, f64)>,
    /// Confidence level of the intervals.
    pub level: f64,
    /// Points at which the curve is wanted, each with a value for every column on the right side.
    pub at: Vec<BTreeMap<String, f64>>,
    /// Where the right side holds one column: how many points of the curve are wanted, evenly from its lowest to its
    /// highest value.
    pub trace: usize,
    /// Told of every iteration.
    pub observer: Option<Observer>,
}

impl Default for CurveRequest {
    fn default() -> Self {
        Self {
            data: Vec::new(),
            weights: None,
            starts: BTreeMap::new(),
            ranges: BTreeMap::new(),
            level: 0.95,
            at: Vec::new(),
            trace: 0,
            observer: None,
        }
    }
}

/// A parameter after the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedParameter {
    /// Its name in the equation.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Its standard error, from the scatter about the curve.
    pub std_error: Option<f64>,
    /// The ends of its confidence interval.
    pub interval: Option<(f64, f64)>,
    /// Whether a bound keeps it from moving on.
    pub at_bound: bool,
}

/// The curve at a point.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveValue {
    /// The right side's columns there.
    pub at: BTreeMap<String, f64>,
    /// The curve, in the units of the left side; `None` where it has no finite value.
    pub value: Option<f64>,
    /// Standard error of the curve there.
    pub std_error: Option<f64>,
    /// Confidence interval of the curve there.
    pub mean: Option<(f64, f64)>,
    /// Interval that holds one further observation of weight 1.
    pub observation: Option<(f64, f64)>,
}

/// A fitted curve.
#[derive(Debug, Clone)]
pub struct CurveFit {
    /// The parameters, in order of appearance.
    pub parameters: Vec<FittedParameter>,
    /// Whether the curve is linear in its parameters and was solved as such.
    pub linear: bool,
    /// Covariance of the parameters, in their order.
    pub covariance: Option<DMatrix<f64>>,
    /// Weighted residual sum of squares.
    pub rss: f64,
    /// Residual standard deviation of an observation of weight 1.
    pub residual_sd: Option<f64>,
    /// Rows that count.
    pub n: usize,
    /// Degrees of freedom.
    pub dof: usize,
    /// Root of the mean squared leave-one-out residual (for nonlinear curves by their tangent).
    pub loo_rmse: Option<f64>,
    /// Akaike's criterion with small-sample correction.
    pub aicc: Option<f64>,
    /// Condition number of the (tangent) design with its columns scaled.
    pub condition: Option<f64>,
    /// Whether the parameters are at a minimum of the sum of squares.
    pub converged: bool,
    /// Why the search ended; `None` for linear curves, which need none.
    pub termination: Option<Termination>,
    /// Iterations made.
    pub iterations: u64,
    /// Observed left sides, row by row.
    pub observed: Vec<f64>,
    /// The curve, row by row.
    pub fitted: Vec<f64>,
    /// Leverage, row by row; empty where there is none.
    pub leverage: Vec<f64>,
    /// What repeated observations say.
    pub lack_of_fit: Option<LackOfFit>,
    /// The curve at the points asked for.
    pub values: Vec<CurveValue>,
    /// The curve along its only column, for drawing; empty where it has more or none was asked for.
    pub trace: Vec<CurveValue>,
    /// The rows that count, by their number in the data.
    pub rows: Vec<usize>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Why a curve could not be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum CurveError {
    /// A start, a range or a point names something that the equation does not have.
    #[error("`{name}` is not a {what} of the equation; it has {}{}", .known.join(", "), near(.name, .known))]
    Unknown {
        /// The name.
        name: String,
        /// What it should be.
        what: &'static str,
        /// The names that there are.
        known: Vec<String>,
    },
    /// A parameter that does not enter linearly has neither start nor range.
    #[error("{} start: the equation is not linear in {}; give a start, or a range of two finite ends to search in", if .names.len() == 1 { "a parameter has no" } else { "parameters have no" }, .names.join(", "))]
    NoStart {
        /// The parameters.
        names: Vec<String>,
    },
    /// A point lacks a column.
    #[error("the point needs a value for {}", .names.join(", "))]
    PointIncomplete {
        /// The columns.
        names: Vec<String>,
    },
    /// The left side has no finite value in a row.
    #[error("the left side has no finite value in row {} of the data", .row + 1)]
    LeftNotFinite {
        /// The row, from 0.
        row: usize,
    },
    /// The right side has no finite value in a row, whatever the parameters (linear) or at the start (nonlinear).
    #[error("the right side has no finite value in row {} of the data{}", .row + 1, if *.at_start { " at the start: choose another start" } else { "" })]
    RightNotFinite {
        /// The row, from 0.
        row: usize,
        /// Whether another start may help.
        at_start: bool,
    },
    /// Parameters that cannot be told apart.
    #[error("the data cannot tell apart {}: they have the same effect on every row (or none). Leave one of them out, or vary what would tell them apart", .groups.iter().map(|g| g.join(", ")).collect::<Vec<_>>().join("; and "))]
    Dependent {
        /// The parameters, group by group.
        groups: Vec<Vec<String>>,
    },
    /// A start or a range is not usable.
    #[error("{what} of `{name}` cannot be used: {why}")]
    BadValue {
        /// The parameter.
        name: String,
        /// Start or range.
        what: &'static str,
        /// Why not.
        why: &'static str,
    },
    /// Least squares refused the problem.
    #[error(transparent)]
    Fit(FitError),
}

fn near(name: &str, known: &[String]) -> String {
    let distance = |k: &&String| strsim::damerau_levenshtein(k, name);
    match known.iter().min_by_key(distance) {
        Some(k) if distance(&k) <= 1 && k != name => format!("; did you mean `{k}`?"),
        _ => String::new(),
    }
}

/// Fits a curve.
///
/// Linear in its parameters: solved directly, in doubled precision unless the data are many. Otherwise searched from
/// the starts given; parameters that enter linearly and have no start begin at their best for the others' starts, and
/// ranges replace missing starts.
///
/// # Example
/// ```
/// use steadydraw::fit::{CurveRequest, Equation, fit_curve};
/// let curve = Equation::parse("y = a + b*x")?.with_columns(&["x".into(), "y".into()])?;
/// // Data in the order of `curve.columns()`: y, x.
/// let data = vec![vec![1.0, 3.0, 5.0, 8.0], vec![0.0, 1.0, 2.0, 3.0]];
/// let fit = fit_curve(&curve, &CurveRequest { data, ..CurveRequest::default() })?;
/// assert!((fit.parameters[1].value - 2.3).abs() < 1e-14);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`CurveError`] names the parameter, column or row at fault.
pub fn fit_curve(curve: &Curve, request: &CurveRequest) -> Result<CurveFit, CurveError> {
    check_names(curve, request)?;
    let rows = request.data.first().map_or(0, Vec::len);
    let counts = |i: &usize| {
        request
            .weights
            .as_ref()
            .is_none_or(|w| w.get(*i) != Some(&0.0))
    };
    let kept: Vec<usize> = (0..rows).filter(counts).collect();
    let pick = |column: &Vec<f64>| {
        kept.iter()
            .filter_map(|&i| column.get(i).copied())
            .collect::<Vec<f64>>()
    };
    let data = Rows {
        data: request.data.iter().map(pick).collect(),
        observed: Vec::new(),
        weights: request.weights.as_ref().map(pick),
    };
    let observed: Vec<f64> = curve.left_values(&data.data, kept.len());
    if let Some(row) = observed.iter().position(|v| !v.is_finite()) {
        return Err(CurveError::LeftNotFinite { row: kept[row] });
    }
    let data = Rows { observed, ..data };
    let solved = solve::solve(curve, request, &data).map_err(|error| match error {
        CurveError::RightNotFinite { row, at_start } => CurveError::RightNotFinite {
            row: kept.get(row).copied().unwrap_or(row),
            at_start,
        },
        other => other,
    })?;
    let mut fit = summary::summarise(curve, request, &solved, data);
    let left_out = rows - kept.len();
    fit.rows = kept;
    if left_out > 0 {
        fit.notes.insert(
            0,
            format!("{left_out} of {rows} rows have weight zero and were left out."),
        );
    }
    Ok(fit)
}

/// The rows that count.
struct Rows {
    /// One vector a column of the curve.
    data: Vec<Vec<f64>>,
    /// The left side.
    observed: Vec<f64>,
    weights: Option<Vec<f64>>,
}

fn check_names(curve: &Curve, request: &CurveRequest) -> Result<(), CurveError> {
    let known = curve.parameters();
    for name in request.starts.keys().chain(request.ranges.keys()) {
        if !known.contains(name) {
            return Err(CurveError::Unknown {
                name: name.clone(),
                what: "parameter",
                known: known.to_vec(),
            });
        }
    }
    for (name, start) in &request.starts {
        let bad = |why| {
            Err(CurveError::BadValue {
                name: name.clone(),
                what: "the start",
                why,
            })
        };
        if !start.is_finite() {
            return bad("it is not a finite number");
        }
        if request
            .ranges
            .get(name)
            .is_some_and(|(low, high)| start < low || start > high)
        {
            return bad("it lies outside its own range");
        }
    }
    for (name, (low, high)) in &request.ranges {
        if low.is_nan() || high.is_nan() || low > high {
            let why = "its lower end lies above its upper end";
            return Err(CurveError::BadValue {
                name: name.clone(),
                what: "the range",
                why,
            });
        }
    }
    let columns: Vec<String> = curve
        .right_columns()
        .into_iter()
        .map(str::to_owned)
        .collect();
    for at in &request.at {
        if let Some(name) = at.keys().find(|name| !columns.contains(name)) {
            let what = "column on the right side";
            return Err(CurveError::Unknown {
                name: name.clone(),
                what,
                known: columns,
            });
        }
        let names: Vec<String> = columns
            .iter()
            .filter(|c| !at.contains_key(*c))
            .cloned()
            .collect();
        if !names.is_empty() {
            return Err(CurveError::PointIncomplete { names });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_one_letter_off_is_suggested_and_no_other() {
        let known = ["rate".to_owned(), "start".to_owned()];
        assert_eq!(near("rtae", &known), "; did you mean `rate`?");
        assert_eq!(near("width", &known), "");
        assert_eq!(near("start", &known), "", "known, but as something else");
    }
}
