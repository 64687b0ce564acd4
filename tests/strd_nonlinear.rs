//! Nonlinear least squares against the certified values of the NIST Statistical Reference Datasets.

#[path = "reference/strd/sets.rs"]
mod sets;

use sets::{Set, digits};
use steadydraw::fit::nonlinear::refit_nonlinear;
use steadydraw::fit::{Curve, CurveProblem, Equation, NonlinearFit, Settings, fit_nonlinear};

/// The certified values and starts in the order in which the model names its parameters.
fn sets_in_order() -> Vec<Set> {
    let mut sets = sets::all(false);
    for set in &mut sets {
        let order: Vec<usize> = curve(set)
            .parameters()
            .iter()
            .map(|name| {
                set.certified
                    .iter()
                    .position(|(n, _, _)| n == name)
                    .unwrap()
            })
            .collect();
        set.certified = order.iter().map(|&k| set.certified[k].clone()).collect();
        for start in &mut set.starts {
            *start = order.iter().map(|&k| start[k]).collect();
        }
    }
    sets
}

fn curve(set: &Set) -> Curve {
    let names: Vec<String> = set.columns.iter().map(|(name, _)| name.clone()).collect();
    Equation::parse(&set.model)
        .unwrap()
        .with_columns(&names)
        .unwrap()
}

fn problem(set: &Set) -> (CurveProblem, Vec<bool>) {
    let curve = curve(set);
    let data: Vec<&[f64]> = curve
        .columns()
        .iter()
        .map(|name| set.column(name))
        .collect();
    let rows = set.columns[0].1.len();
    let observed = curve.left_values(&data, rows);
    let linear = curve.linear_parameters().to_vec();
    (
        CurveProblem::new(curve.on_data(&data, rows), observed, None).unwrap(),
        linear,
    )
}

/// Digits of the worst parameter.
fn least_digits(set: &Set, params: &[f64]) -> f64 {
    let values = params.iter().zip(&set.certified);
    values
        .map(|(found, certified)| digits(*found, certified.1, 1.0))
        .fold(16.0, f64::min)
}

fn worst(set: &Set, fit: &NonlinearFit) -> (f64, f64) {
    let se = fit.std_errors();
    let certified = |j: &usize| set.certified[*j].2.is_finite();
    let errors = (0..fit.p)
        .filter(certified)
        .map(|j| digits(se[j].unwrap_or(0.0), set.certified[j].2, 1.0));
    let errors = errors.fold(16.0, f64::min);
    (least_digits(set, &fit.params), errors)
}

#[test]
fn every_set_reaches_nine_digits_from_both_starts() {
    let sets = sets_in_order();
    assert_eq!(sets.len(), 21);
    for set in &sets {
        let (problem, linear) = problem(set);
        assert_eq!(set.starts.len(), 2);
        for (k, start) in set.starts.iter().enumerate() {
            let settings = Settings {
                linear: linear.clone(),
                ..Settings::default()
            };
            let fit = fit_nonlinear(&problem, start, &settings).unwrap();
            let case = format!("{} from start {}: {fit:?}", set.name, k + 1);
            assert!(fit.converged(), "{case}");
            let (values, errors) = worst(set, &fit);
            assert!(
                values >= 9.0 && errors >= 9.0,
                "{values:.1} {errors:.1} {case}"
            );
            if let (Some(rss), Some(sd)) = (set.residual_ss, set.residual_sd) {
                assert!(digits(fit.rss, rss, 1.0) >= 9.0, "{case}");
                assert!(digits(fit.residual_sd().unwrap(), sd, 1.0) >= 9.0, "{case}");
            }
            assert_eq!(fit.dof(), set.residual_df);
        }
    }
}

/// Without the polish, without solving for linear parameters, and with lengths of the first step that are too long.
#[test]
fn a_single_search_reaches_six_digits_or_does_not_call_itself_converged() {
    let mut failed = Vec::new();
    for set in &sets_in_order() {
        let (problem, _) = problem(set);
        for step_factor in [0.01, 0.1, 1.0, 10.0, 100.0, 1000.0] {
            for (k, start) in set.starts.iter().enumerate() {
                let settings = Settings {
                    step_factor,
                    ..Settings::default()
                };
                let fit = refit_nonlinear(&problem, start, &settings).unwrap();
                let digits = least_digits(set, &fit.params);
                if !fit.termination.converged() {
                    failed.push((set.name.clone(), k + 1, step_factor));
                } else {
                    assert!(
                        digits >= 6.0,
                        "{} from start {} with {step_factor}: {digits:.1}",
                        set.name,
                        k + 1
                    );
                }
            }
        }
    }
    // Known: far too long a first step lands BoxBOD, far too short a one leads MGH10, at a
    // place where its curve is flat; both say so.
    let known = [
        ("BoxBOD".to_owned(), 1, 100.0),
        ("MGH10".to_owned(), 1, 0.01),
    ];
    assert_eq!(failed, known);
}

/// A bound just short of the certified value must be reached, and the others be where they are at their best with that
/// parameter held there.
#[test]
fn a_bound_in_the_way_is_kept_and_the_rest_is_at_its_best() {
    for set in &sets_in_order() {
        let (problem, linear) = problem(set);
        let p = set.certified.len();
        for j in 0..p {
            let best = set.certified[j].1;
            let from_above = set.starts[1][j] > best;
            let bound = if from_above {
                best + 1e-3 * best.abs()
            } else {
                best - 1e-3 * best.abs()
            };
            let fit = |lowest: f64, highest: f64| {
                let (mut lower, mut upper) = (vec![f64::NEG_INFINITY; p], vec![f64::INFINITY; p]);
                (lower[j], upper[j]) = (lowest, highest);
                let settings = Settings {
                    lower,
                    upper,
                    linear: linear.clone(),
                    ..Settings::default()
                };
                fit_nonlinear(&problem, &set.starts[1], &settings).unwrap()
            };
            let bounded = if from_above {
                fit(bound, f64::INFINITY)
            } else {
                fit(f64::NEG_INFINITY, bound)
            };
            let held = fit(bound, bound);
            let case = format!("{} parameter {j}: {bounded:?} {held:?}", set.name);
            assert!(bounded.converged() && held.converged(), "{case}");
            assert!(bounded.params[j] == bound && bounded.at_bound[j], "{case}");
            assert_eq!(bounded.std_errors()[j], None);
            assert!(
                digits(bounded.rss, held.rss, 1.0) >= 9.0
                    && bounded.rss > set.residual_ss.unwrap_or(0.0),
                "{case}"
            );
            for k in 0..p {
                assert!(
                    digits(bounded.params[k], held.params[k], 1.0) >= 6.0,
                    "{case}"
                );
            }
        }
    }
}
