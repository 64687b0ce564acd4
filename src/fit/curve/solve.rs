//! Solving: directly where the curve is linear, else by search.

use nalgebra::DMatrix;

use super::{CurveError, CurveProblem, CurveRequest, Rows};
use crate::fit::equation::Curve;
use crate::fit::error::FitError;
use crate::fit::extended::least_squares_extended;
use crate::fit::linear::{LinearFit, least_squares};
use crate::fit::nonlinear::{
    Attempt, NonlinearFit, Settings, Termination, complete_start, fit_nonlinear, search_starts,
};
use crate::fit::real::DoubleDouble;

/// Up to this many multiplications a linear curve is solved in doubled precision: well under a second.
const EXTENDED_UP_TO: usize = 5_000_000;

/// A fit by whichever way, with what both offer.
pub(super) struct Solved {
    pub(super) params: Vec<f64>,
    pub(super) at_bound: Vec<bool>,
    pub(super) rss: f64,
    /// The fit to the curve's tangent over the parameters not at a bound; for a linear curve the fit itself. `None`
    /// where the search did not end at a minimum.
    pub(super) tangent: Option<LinearFit>,
    /// Why the search ended; `None` where none was needed.
    pub(super) termination: Option<Termination>,
    pub(super) iterations: u64,
    pub(super) attempts: Vec<Attempt>,
}

pub(super) fn solve(
    curve: &Curve,
    request: &CurveRequest,
    rows: &Rows,
) -> Result<Solved, CurveError> {
    if let Some(fit) = linear(curve, request, rows)? {
        return Ok(Solved {
            params: fit.coef.clone(),
            at_bound: vec![false; fit.p],
            rss: fit.rss,
            tangent: Some(fit),
            termination: None,
            iterations: 0,
            attempts: Vec::new(),
        });
    }
    let fit = searched(curve, request, rows)?;
    let converged = fit.converged();
    Ok(Solved {
        params: fit.params,
        at_bound: fit.at_bound,
        rss: fit.rss,
        tangent: fit.tangent.filter(|_| converged),
        termination: Some(fit.termination),
        iterations: fit.iterations,
        attempts: fit.attempts,
    })
}

fn named(curve: &Curve, error: FitError) -> CurveError {
    let name = |j: usize| curve.parameters().get(j).cloned().unwrap_or_default();
    match error {
        FitError::RankDeficient { groups, .. } => CurveError::Dependent {
            groups: groups
                .into_iter()
                .map(|g| g.into_iter().map(name).collect())
                .collect(),
        },
        FitError::BadStart { parameter } => CurveError::BadValue {
            name: name(parameter),
            what: "the range",
            why: "both its ends must be finite",
        },
        FitError::NotFinite { row, .. } => CurveError::RightNotFinite {
            row,
            at_start: false,
        },
        FitError::NotComputable { row } => CurveError::RightNotFinite {
            row,
            at_start: true,
        },
        other => CurveError::Fit(other),
    }
}

/// The direct solution of a linear curve; `None` where the curve is not linear or a range stands in the way.
fn linear(
    curve: &Curve,
    request: &CurveRequest,
    rows: &Rows,
) -> Result<Option<LinearFit>, CurveError> {
    if !curve.is_linear() {
        return Ok(None);
    }
    let (p, n) = (curve.parameters().len(), rows.observed.len());
    let weights = rows.weights.as_deref();
    let fit = if n.saturating_mul(p * p) <= EXTENDED_UP_TO {
        // The curve with one parameter 1 and the others 0, less the curve with all 0, is that parameter's column.
        let number = |v: f64| DoubleDouble::from_sum(v, 0.0);
        let right = |which: Option<usize>| -> Vec<DoubleDouble> {
            let unit: Vec<_> = (0..p)
                .map(|k| number(if which == Some(k) { 1.0 } else { 0.0 }))
                .collect();
            curve.right_values(&unit, &rows.data, n)
        };
        let fixed = right(None);
        let minus = |values: Vec<DoubleDouble>| {
            values
                .iter()
                .zip(&fixed)
                .map(|(&a, &b)| a - b)
                .collect::<Vec<_>>()
        };
        let columns: Vec<_> = (0..p).map(|j| minus(right(Some(j)))).collect();
        least_squares_extended(&columns, &minus(curve.left_values(&rows.data, n)), weights)
    } else {
        let on_data = curve.on_data(&rows.data, n);
        let (mut fixed, mut columns) = (vec![0.0; n], vec![0.0; n * p]);
        on_data.with_derivatives(&vec![0.0; p], &mut fixed, &mut columns);
        let y: Vec<f64> = rows
            .observed
            .iter()
            .zip(&fixed)
            .map(|(a, b)| a - b)
            .collect();
        least_squares(&DMatrix::from_vec(n, p, columns), &y, weights)
    };
    let fit = fit.map_err(|e| named(curve, e))?;
    let inside = curve
        .parameters()
        .iter()
        .zip(&fit.coef)
        .all(|(name, value)| {
            request
                .ranges
                .get(name)
                .is_none_or(|(low, high)| (low..=high).contains(&value))
        });
    Ok(inside.then_some(fit))
}

/// The search for a curve that is not linear, or that is but for its ranges.
fn searched(
    curve: &Curve,
    request: &CurveRequest,
    rows: &Rows,
) -> Result<NonlinearFit, CurveError> {
    let n = rows.observed.len();
    let problem = CurveProblem::new(
        curve.on_data(&rows.data, n),
        rows.observed.clone(),
        rows.weights.as_deref(),
    )
    .map_err(CurveError::Fit)?;
    let names = curve.parameters();
    let range = |name: &String| {
        request
            .ranges
            .get(name)
            .copied()
            .unwrap_or((f64::NEG_INFINITY, f64::INFINITY))
    };
    let settings = Settings {
        lower: names.iter().map(|name| range(name).0).collect(),
        upper: names.iter().map(|name| range(name).1).collect(),
        linear: curve.linear_parameters().to_vec(),
        observer: request.observer.clone(),
        ..Settings::default()
    };
    let start = |j: usize| request.starts.get(&names[j]).copied();
    let is_linear = |j: usize| settings.linear.get(j) == Some(&true);
    let finite = |j: usize| settings.lowest(j).is_finite() && settings.highest(j).is_finite();
    let missing: Vec<usize> = (0..names.len())
        .filter(|&j| start(j).is_none() && !is_linear(j))
        .collect();
    let unknown: Vec<String> = missing
        .iter()
        .filter(|&&j| !finite(j))
        .map(|&j| names[j].clone())
        .collect();
    if !unknown.is_empty() {
        return Err(CurveError::NoStart { names: unknown });
    }
    // Linear parameters without a start begin at their best, at least inside their range.
    let begin: Vec<f64> = (0..names.len())
        .map(|j| {
            start(j)
                .unwrap_or(0.0)
                .clamp(settings.lowest(j), settings.highest(j))
        })
        .collect();
    let fit = if missing.is_empty() {
        let open: Vec<bool> = (0..names.len())
            .map(|j| is_linear(j) && start(j).is_none())
            .collect();
        let begin = complete_start(&problem, &begin, &open).unwrap_or(begin);
        fit_nonlinear(&problem, &begin, &settings)
    } else {
        let spread: Vec<(f64, f64)> = (0..names.len())
            .map(|j| {
                if missing.contains(&j) {
                    range(&names[j])
                } else {
                    (begin[j], begin[j])
                }
            })
            .collect();
        search_starts(&problem, &spread, &settings)
    };
    fit.map_err(|e| named(curve, e))
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::fit::curve::fit_curve;
    use crate::fit::equation::Equation;

    #[test]
    fn with_many_rows_a_linear_curve_has_the_parameters_that_made_it() {
        // 2 + Σ k sin(k x) over whole turns: too many rows and parameters for doubled precision, the values from the parameters 1, 2, … 40.
        const TERMS: usize = 40;
        let rows = EXTENDED_UP_TO / (TERMS * TERMS) + 1;
        let terms: Vec<String> = (1..=TERMS).map(|k| format!("b{k}*sin({k}*x)")).collect();
        let curve = Equation::parse(&format!("y = 2 + {}", terms.join(" + ")))
            .unwrap()
            .with_columns(&["x".to_owned(), "y".to_owned()])
            .unwrap();
        let turn = std::f64::consts::TAU / rows as f64;
        let x: Vec<f64> = (0..rows).map(|i| turn * i as f64).collect();
        let of = |x: &f64| -> f64 {
            2.0 + (1..=TERMS)
                .map(|k| k as f64 * (k as f64 * x).sin())
                .sum::<f64>()
        };
        let y: Vec<f64> = x.iter().map(of).collect();
        let request = CurveRequest {
            data: vec![y, x],
            ..CurveRequest::default()
        };
        let fit = fit_curve(&curve, &request).unwrap();
        assert!(fit.linear && fit.n == rows);
        for (k, found) in fit.parameters.iter().enumerate() {
            assert!((found.value - (k + 1) as f64).abs() < 1e-10, "{found:?}");
        }
    }
}
