//! From a solved curve to what a reader wants to know of it.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use super::solve::Solved;
use super::{CurveFit, CurveRequest, CurveValue, FittedParameter, Rows};
use crate::fit::diagnostics::gaussian_aicc;
use crate::fit::equation::Curve;
use crate::fit::lack_of_fit::lack_of_fit;
use crate::fit::nonlinear::Termination;
use crate::stats::student_t;

/// From this condition number on the parameters are said to be hard to tell apart.
const HARD_TO_TELL_APART: f64 = 1e8;
/// Sums of squares that differ by less than this share belong to one minimum.
const SAME_MINIMUM: f64 = 1e-6;

pub(super) fn summarise(
    curve: &Curve,
    request: &CurveRequest,
    solved: &Solved,
    rows: Rows,
) -> CurveFit {
    let (n, p) = (rows.observed.len(), solved.params.len());
    let dof = n.saturating_sub(p);
    let sigma2 = (dof > 0).then(|| solved.rss / dof as f64);
    let free: Vec<usize> = (0..p).filter(|&j| !solved.at_bound[j]).collect();
    let covariance = solved.tangent.as_ref().zip(sigma2).map(|(tangent, s2)| {
        let mut covariance = DMatrix::zeros(p, p);
        for (i, &row) in free.iter().enumerate() {
            for (j, &col) in free.iter().enumerate() {
                covariance[(row, col)] = s2 * tangent.cov_unscaled[(i, j)];
            }
        }
        covariance
    });
    let quantile = student_t::two_sided(request.level, dof as f64);
    let around = |value: f64, se: f64| (value - quantile * se, value + quantile * se);
    let parameters = curve.parameters().iter().enumerate().map(|(j, name)| {
        let variance = covariance
            .as_ref()
            .filter(|_| !solved.at_bound[j])
            .map(|c| c[(j, j)]);
        let std_error = variance.map(f64::sqrt).filter(|se| se.is_finite());
        let value = solved.params[j];
        let interval = std_error.map(|se| around(value, se));
        FittedParameter {
            name: name.clone(),
            value,
            std_error,
            interval,
            at_bound: solved.at_bound[j],
        }
    });
    let value = |at: &BTreeMap<String, f64>| {
        let point: Vec<Vec<f64>> = curve
            .columns()
            .iter()
            .map(|name| vec![at.get(name).copied().unwrap_or(0.0)])
            .collect();
        let (mut value, mut slopes) = ([f64::NAN], vec![0.0; p]);
        curve
            .on_data(&point, 1)
            .with_derivatives(&solved.params, &mut value, &mut slopes);
        let row: Vec<f64> = free.iter().map(|&j| slopes[j]).collect();
        let factor = solved
            .tangent
            .as_ref()
            .map(|t| t.mean_variance_factor(&row))
            .filter(|f| f.is_finite());
        let error = |extra: f64| {
            Some((sigma2? * (extra + factor?)).sqrt()).filter(|_| value[0].is_finite())
        };
        CurveValue {
            at: at.clone(),
            value: Some(value[0]).filter(|v| v.is_finite()),
            std_error: error(0.0),
            mean: error(0.0).map(|se| around(value[0], se)),
            observation: error(1.0).map(|se| around(value[0], se)),
        }
    };
    let log_weights: f64 = rows.weights.iter().flatten().map(|w| w.ln()).sum();
    let aicc = Some(gaussian_aicc(n, p, solved.rss, log_weights)).filter(|v| v.is_finite());
    let press = solved.tangent.as_ref().map(|t| t.press());
    let right: Vec<usize> = curve
        .right_columns()
        .iter()
        .filter_map(|name| curve.columns().iter().position(|c| c == name))
        .collect();
    let conditions: Vec<Vec<u64>> = (0..n)
        .map(|i| right.iter().map(|&c| rows.data[c][i].to_bits()).collect())
        .collect();
    let mut fit = CurveFit {
        parameters: parameters.collect(),
        linear: solved.termination.is_none(),
        residual_sd: sigma2.map(f64::sqrt),
        covariance: covariance.clone(),
        rss: solved.rss,
        n,
        dof,
        loo_rmse: press
            .map(|v| (v / n as f64).sqrt())
            .filter(|v| v.is_finite()),
        aicc,
        condition: solved.tangent.as_ref().map(|t| t.condition),
        converged: solved
            .termination
            .as_ref()
            .is_none_or(Termination::converged),
        termination: solved.termination.clone(),
        iterations: solved.iterations,
        lack_of_fit: lack_of_fit(
            &conditions,
            &rows.observed,
            rows.weights.as_deref(),
            solved.rss,
            p,
        ),
        fitted: curve.right_values(&solved.params, &rows.data, n),
        leverage: solved
            .tangent
            .as_ref()
            .map(|t| t.leverage.clone())
            .unwrap_or_default(),
        values: request.at.iter().map(value).collect(),
        trace: places(curve, &rows, request.trace)
            .iter()
            .map(value)
            .collect(),
        rows: Vec::new(),
        observed: rows.observed,
        notes: Vec::new(),
    };
    fit.notes = remarks(curve, request, solved, &fit, rows.weights.as_deref());
    fit
}

/// Places along the only column of the right side.
fn places(curve: &Curve, rows: &Rows, count: usize) -> Vec<BTreeMap<String, f64>> {
    let [name] = curve.right_columns()[..] else {
        return Vec::new();
    };
    let Some(column) = curve.columns().iter().position(|c| c == name) else {
        return Vec::new();
    };
    let low = rows.data[column]
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min);
    let high = rows.data[column]
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let last = count.saturating_sub(1).max(1) as f64;
    let place =
        |k: usize| BTreeMap::from([(name.to_owned(), low + (high - low) * k as f64 / last)]);
    (0..count).map(place).collect()
}

/// What the reader should know beside the figures.
fn remarks(
    curve: &Curve,
    request: &CurveRequest,
    solved: &Solved,
    fit: &CurveFit,
    weights: Option<&[f64]>,
) -> Vec<String> {
    let mut notes = Vec::new();
    let names = |which: &dyn Fn(usize) -> bool| -> String {
        let chosen = curve
            .parameters()
            .iter()
            .enumerate()
            .filter(|(j, _)| which(*j));
        chosen
            .map(|(_, name)| name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    match &solved.termination {
        None => notes.push("The equation is linear in its parameters, so it was solved directly; no start is needed.".to_owned()),
        Some(Termination::Flat(flat)) => notes.push(format!(
            "NOT CONVERGED: where the search ended, {} have no influence of their own on the curve, so their values say nothing. Try another start, or a simpler equation.",
            names(&|j| flat.contains(&j))
        )),
        Some(end) if !end.converged() => {
            notes.push(format!("NOT CONVERGED: {end}. The figures are not a best fit; try another start."));
        }
        Some(_) => notes.push(
            "Standard errors and intervals of a curve that is not linear in its parameters come from its tangent at the best fit: they are approximate.".to_owned(),
        ),
    }
    if solved.at_bound.iter().any(|b| *b) {
        let held = names(&|j| solved.at_bound[j]);
        notes.push(format!(
            "{held} ended at the edge of the given range and would go further without it: no standard error can be given there, and the others' hold only with {held} fixed."
        ));
    }
    if fit.dof == 0 {
        notes.push("There are as many parameters as rows: the curve passes through every point and nothing can be said about uncertainty.".to_owned());
    }
    if let Some(condition) = fit.condition.filter(|c| *c > HARD_TO_TELL_APART) {
        notes.push(format!(
            "The parameters are hard to tell apart (condition number {condition:.0e}): their values move together with small changes in the data, while the curve itself is better known than they are."
        ));
    }
    let others = solved.attempts.iter().filter(|a| a.termination.converged());
    if others
        .clone()
        .any(|a| a.rss > solved.rss * (1.0 + SAME_MINIMUM))
        && fit.converged
    {
        let worst = others.map(|a| a.rss).fold(solved.rss, f64::max);
        notes.push(format!(
            "The sum of squares has more than one minimum: another search ended at {worst:.6e}. The lowest found is reported; a lower one cannot be ruled out."
        ));
    }
    if weights.is_some() {
        notes.push("Weights are taken as proportional to 1/variance; the residual standard deviation is that of a row of weight 1.".to_owned());
    }
    if curve.left_text() != curve.columns().first().map_or("", String::as_str) {
        notes.push(format!(
            "Residuals, their sum of squares and all values of the curve are those of {}.",
            curve.left_text()
        ));
    }
    if let Some(split) = &fit.lack_of_fit
        && let (Some(f), Some(p)) = (split.f, split.p)
        && p < 1.0 - request.level
    {
        notes.push(format!(
            "Repeated rows scatter less than the curve misses them (lack of fit: F = {f:.3} with {} and {} degrees of freedom, p = {p:.2e}): the equation does not have the right shape, and its intervals are too hopeful.",
            split.lack_df, split.pure_df
        ));
    }
    notes
}

/// The names and values of a point, for messages.
pub fn point_in_words(at: &BTreeMap<String, f64>) -> String {
    at.iter()
        .map(|(name, value)| format!("{name} = {value}"))
        .collect::<Vec<_>>()
        .join(", ")
}

#[cfg(test)]
mod tests {
    use super::super::{CurveRequest, fit_curve};
    use crate::fit::equation::Equation;
    use std::collections::BTreeMap;

    fn notes(
        equation: &str,
        name: &str,
        range: (f64, f64),
        of: impl Fn(f64) -> f64,
    ) -> (f64, f64, Option<String>) {
        let curve = Equation::parse(equation)
            .unwrap()
            .with_columns(&["x".to_owned(), "y".to_owned()])
            .unwrap();
        let x: Vec<f64> = (0..25)
            .map(|k| 0.25 * f64::from(k) + 0.004 * f64::from(k).sin())
            .collect();
        let y: Vec<f64> = { x.iter().enumerate() }
            .map(|(k, x)| of(*x) + if k % 2 == 0 { 0.01 } else { -0.01 })
            .collect();
        let request = CurveRequest {
            data: vec![y, x],
            ranges: BTreeMap::from([(name.to_owned(), range)]),
            ..CurveRequest::default()
        };
        let fit = fit_curve(&curve, &request).unwrap();
        let said = fit
            .notes
            .iter()
            .find(|n| n.contains("more than one minimum"));
        (fit.parameters[0].value, fit.rss, said.cloned())
    }

    #[test]
    fn several_minima_are_spoken_of_where_there_are_several() {
        // Read every quarter, a cosine at 3 looks like one at 8π − 3 = 22.13; the places wander a little, so that the one at 3 fits better.
        // A decay has one minimum.
        let (rate, rss, said) = notes("y = cos(w*x)", "w", (2.5, 23.0), |x| (3.0 * x).cos());
        assert!((rate - 3.0).abs() < 0.01, "{rate}");
        let said = said.unwrap();
        let worst: f64 = { said.split(|c: char| c.is_whitespace()) }
            .filter_map(|w| w.trim_end_matches('.').parse().ok())
            .next_back()
            .unwrap();
        assert!(worst > 10.0 * rss, "{said} {rss}");
        let (rate, _, said) = notes("y = exp(-k*x)", "k", (0.1, 5.0), |x| (-0.8 * x).exp());
        assert!((rate - 0.8).abs() < 0.05, "{rate}");
        assert_eq!(said, None);
    }

    #[test]
    fn a_trace_goes_in_equal_steps_from_the_least_to_the_greatest() {
        let curve = Equation::parse("y = a + b*x")
            .unwrap()
            .with_columns(&["x".to_owned(), "y".to_owned()])
            .unwrap();
        let rows = super::Rows {
            data: vec![vec![0.0; 3], vec![6.0, 2.0, 3.0]],
            observed: vec![0.0; 3],
            weights: None,
        };
        let x = |count| -> Vec<f64> {
            let list = super::places(&curve, &rows, count);
            list.iter().map(|p| p["x"]).collect()
        };
        assert_eq!(x(5), [2.0, 3.0, 4.0, 5.0, 6.0]);
        assert_eq!(x(2), [2.0, 6.0]);
        assert_eq!(x(1), [2.0]);
        assert!(x(0).is_empty());
    }
}
