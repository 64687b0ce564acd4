//! How searches begin and end.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use super::*;

/// Residuals and their derivatives (row by row) as a plain function of the parameters.
struct Plain<F> {
    parameters: usize,
    rows: usize,
    f: F,
}

impl<F: Fn(&[f64]) -> Vec<(f64, Vec<f64>)>> Residuals for Plain<F> {
    fn observations(&self) -> usize {
        self.rows
    }
    fn parameters(&self) -> usize {
        self.parameters
    }
    fn residuals(&self, at: &[f64], out: &mut [f64]) {
        out.iter_mut()
            .zip((self.f)(at))
            .for_each(|(o, (r, _))| *o = r);
    }
    fn with_derivatives(&self, at: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        for (row, (r, slopes)) in (self.f)(at).into_iter().enumerate() {
            out[row] = r;
            slopes
                .iter()
                .enumerate()
                .for_each(|(j, s)| jacobian[j * self.rows + row] = *s);
        }
    }
    fn magnitude(&self) -> f64 {
        1.0
    }
}

/// `x² + (2 − x²)²`: level at 0 but highest there along x; lowest at x² = 3/2.
fn hill() -> impl Residuals {
    Plain {
        parameters: 1,
        rows: 2,
        f: |x: &[f64]| vec![(x[0], vec![1.0]), (2.0 - x[0] * x[0], vec![-2.0 * x[0]])],
    }
}

/// Rosenbrock's valley (Comput. J. 3 (1960) 175): lowest, with 0, at (1, 1).
fn valley() -> impl Residuals {
    Plain {
        parameters: 2,
        rows: 2,
        f: |x: &[f64]| {
            vec![
                (10.0 * (x[1] - x[0] * x[0]), vec![-20.0 * x[0], 10.0]),
                (1.0 - x[0], vec![-1.0, 0.0]),
            ]
        },
    }
}

/// Values of `sin(ω t)` at 40 times, ω = 3.7: many minima in ω.
fn wave() -> impl Residuals {
    let f = |w: &[f64]| {
        let at = |k: usize| {
            let t = 0.1 * k as f64;
            (
                (w[0] * t).sin() - (3.7 * t).sin(),
                vec![t * (w[0] * t).cos()],
            )
        };
        (0..40).map(at).collect()
    };
    Plain {
        parameters: 1,
        rows: 40,
        f,
    }
}

#[test]
fn a_level_point_that_is_no_minimum_is_left_again() {
    let one = TrustRegion::new(Settings::default());
    let run = Executor::new(hill(), one)
        .configure(|s: SearchState| s.param(vec![0.0]))
        .run()
        .unwrap();
    assert_eq!(run.solver.termination(), Some(&Termination::Saddle));
    let fit = fit_nonlinear(&hill(), &[0.0], &Settings::default()).unwrap();
    assert!(
        fit.converged() && (fit.params[0].powi(2) - 1.5).abs() < 1e-12,
        "{fit:?}"
    );
    assert_eq!(fit.attempts[0].termination, Termination::Saddle);
}

#[test]
fn an_exact_fit_is_found_through_a_curved_valley_also_along_its_wall() {
    let fit = fit_nonlinear(&valley(), &[-1.2, 1.0], &Settings::default()).unwrap();
    assert_eq!(fit.termination, Termination::ExactFit);
    assert!((fit.params[0] - 1.0).abs() < 1e-12 && (fit.params[1] - 1.0).abs() < 1e-12);
    assert_eq!((fit.dof(), fit.sigma2()), (0, None));
    // With x₁ ≤ 0.5 the least sum is at (0.5, 0.25).
    let settings = Settings {
        upper: vec![0.5, f64::INFINITY],
        ..Settings::default()
    };
    let fit = fit_nonlinear(&valley(), &[-1.2, 1.0], &settings).unwrap();
    assert!(
        fit.converged() && fit.params[0] == 0.5 && (fit.params[1] - 0.25).abs() < 1e-12,
        "{fit:?}"
    );
    assert_eq!(fit.at_bound, [true, false]);
}

#[test]
fn starts_spread_over_a_range_find_the_lowest_of_many_minima() {
    let alone = fit_nonlinear(&wave(), &[1.0], &Settings::default()).unwrap();
    assert!(
        (alone.params[0] - 3.7).abs() > 0.1,
        "one start must fail for this to show anything"
    );
    let fit = search_starts(&wave(), &[(0.5, 20.0)], &Settings::default()).unwrap();
    assert!(
        fit.converged() && (fit.params[0] - 3.7).abs() < 1e-10,
        "{fit:?}"
    );
}

#[test]
fn an_observer_hears_every_iteration_and_can_stop_the_search() {
    let heard = Arc::new(AtomicU64::new(0));
    let counter = Arc::clone(&heard);
    let observer: Observer = Arc::new(move |progress| {
        counter.fetch_add(1, Ordering::Relaxed);
        progress.iteration < 3
    });
    let settings = Settings {
        observer: Some(observer),
        ..Settings::default()
    };
    let fit = fit_nonlinear(&valley(), &[-1.2, 1.0], &settings).unwrap();
    assert_eq!(
        (fit.termination, heard.load(Ordering::Relaxed)),
        (Termination::Interrupted, 3)
    );
    let settings = Settings {
        iterations: 2,
        ..Settings::default()
    };
    let fit = fit_nonlinear(&valley(), &[-1.2, 1.0], &settings).unwrap();
    assert!(!fit.converged() && fit.termination == Termination::IterationLimit);
}

#[test]
fn what_cannot_be_searched_is_refused() {
    let refused =
        |start: &[f64], settings: Settings| fit_nonlinear(&valley(), start, &settings).unwrap_err();
    let plain = Settings::default;
    assert_eq!(
        refused(&[1.0, f64::NAN], plain()),
        FitError::BadStart { parameter: 1 }
    );
    assert!(matches!(
        refused(&[1.0], plain()),
        FitError::DimensionMismatch { .. }
    ));
    let crossed = Settings {
        lower: vec![2.0],
        upper: vec![1.0],
        ..plain()
    };
    assert_eq!(
        refused(&[1.0, 1.0], crossed),
        FitError::BoundsCrossed { parameter: 0 }
    );
    assert!(matches!(
        refused(&[1e200, 1.0], plain()),
        FitError::NotComputable { .. } | FitError::OutOfRange
    ));
    let broken = Plain {
        parameters: 2,
        rows: 3,
        f: |_: &[f64]| {
            let slopes = |k: usize| vec![1.0, if k == 1 { f64::NAN } else { 2.0 }];
            (0..3).map(|k| (1.0, slopes(k))).collect()
        },
    };
    assert_eq!(
        fit_nonlinear(&broken, &[0.0; 2], &plain()).unwrap_err(),
        FitError::NotComputable { row: 1 }
    );
    assert!(matches!(
        search_starts(&valley(), &[(0.0, 1.0), (0.0, f64::INFINITY)], &plain()),
        Err(FitError::BadStart { parameter: 1 })
    ));
    let few = Plain {
        parameters: 3,
        rows: 2,
        f: |_: &[f64]| vec![(1.0, vec![1.0; 3]); 2],
    };
    assert_eq!(
        fit_nonlinear(&few, &[0.0; 3], &plain()).unwrap_err(),
        FitError::TooFewRows { n: 2, p: 3 }
    );
}
