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

/// Another problem in another unit, its calls counted.
struct Watched<R> {
    of: R,
    unit: f64,
    calls: AtomicU64,
}

fn watched<R: Residuals>(of: R, unit: f64) -> Watched<R> {
    Watched {
        of,
        unit,
        calls: AtomicU64::new(0),
    }
}

impl<R: Residuals> Residuals for Watched<R> {
    fn observations(&self) -> usize {
        self.of.observations()
    }
    fn parameters(&self) -> usize {
        self.of.parameters()
    }
    fn residuals(&self, at: &[f64], out: &mut [f64]) {
        self.calls.fetch_add(1, Ordering::Relaxed);
        self.of.residuals(at, out);
        out.iter_mut().for_each(|r| *r *= self.unit);
    }
    fn with_derivatives(&self, at: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        self.calls.fetch_add(1, Ordering::Relaxed);
        self.of.with_derivatives(at, out, jacobian);
        let all = out.iter_mut().chain(jacobian);
        all.for_each(|r| *r *= self.unit);
    }
    fn magnitude(&self) -> f64 {
        self.unit * self.of.magnitude()
    }
}

#[test]
fn evaluations_are_counted_as_they_are_made() {
    let plain = watched(hill(), 1.0);
    let fit = fit_nonlinear(&plain, &[0.4], &Settings::default()).unwrap();
    assert!(fit.converged() && fit.iterations > 2);
    assert_eq!(fit.evaluations, plain.calls.load(Ordering::Relaxed));
    // Where linear parameters are solved for, an evaluation calls the curve once or twice.
    let decay = Plain {
        parameters: 2,
        rows: 8,
        f: |at: &[f64]| {
            let row = |k: usize| {
                let (t, e) = (k as f64, (-at[1] * k as f64).exp());
                let seen = 5.0 * (-0.7 * t).exp() + [0.1, -0.1][k % 2];
                (at[0] * e - seen, vec![e, -at[0] * t * e])
            };
            (0..8).map(row).collect()
        },
    };
    let decay = watched(decay, 1.0);
    let settings = Settings {
        linear: vec![true, false],
        ..Settings::default()
    };
    let fit = fit_nonlinear(&decay, &[1.0, 0.1], &settings).unwrap();
    let calls = decay.calls.load(Ordering::Relaxed);
    assert!(fit.converged() && fit.attempts.len() == 2);
    assert!(fit.evaluations < calls && 2 * fit.evaluations > calls);
}

#[test]
fn the_unit_of_the_residuals_changes_nothing() {
    for unit in [1e-9, 1.0, 1e9] {
        let problem = watched(hill(), unit);
        let fit = fit_nonlinear(&problem, &[0.0], &Settings::default()).unwrap();
        assert_eq!(fit.attempts[0].termination, Termination::Saddle, "{unit}");
        assert!(
            (fit.params[0].powi(2) - 1.5).abs() < 1e-12,
            "{unit} {fit:?}"
        );
        // 3/2 + 1/4 of the unit's square are left, far from rounding.
        assert!((fit.rss / (1.75 * unit * unit) - 1.0).abs() < 1e-12);
        assert!(fit.converged() && fit.termination != Termination::ExactFit);
    }
}

/// `x² + (2 − x² − b x³)² + (y − 1)²`: level at (0, 1), a hill along x between two valleys.
fn uneven(b: f64) -> impl Residuals {
    Plain {
        parameters: 2,
        rows: 3,
        f: move |at: &[f64]| {
            let (x, y) = (at[0], at[1]);
            let slope = -2.0 * x - 3.0 * b * x * x;
            vec![
                (x, vec![1.0, 0.0]),
                (2.0 - x * x - b * x * x * x, vec![slope, 0.0]),
                (y - 1.0, vec![0.0, 1.0]),
            ]
        },
    }
}

#[test]
fn off_a_level_point_both_sides_are_searched() {
    // The lower valley of two, 1.462 against 2.248, lies at x = 1.150524 and y = 1, or with the sign of b turned at −1.150524 (a grid of
    // eight million points between −4 and 4, then the derivative's root in 30 digits).
    for sign in [1.0, -1.0] {
        let fit = fit_nonlinear(&uneven(0.2 * sign), &[0.0, 1.0], &Settings::default()).unwrap();
        assert!(fit.converged());
        assert_eq!(fit.attempts[0].termination, Termination::Saddle);
        assert!(
            (fit.params[0] - 1.150_523_924_907_6 * sign).abs() < 1e-10,
            "{fit:?}"
        );
        assert!((fit.params[1] - 1.0).abs() < 1e-9, "{fit:?}");
    }
}

#[test]
fn a_shallow_minimum_is_one() {
    // x² + (0.4975 − x²)²: the second derivative at 0 is 2 (1 − 0.995), one in two hundred of what the tangent says.
    let shallow = Plain {
        parameters: 1,
        rows: 2,
        f: |x: &[f64]| vec![(x[0], vec![1.0]), (0.4975 - x[0] * x[0], vec![-2.0 * x[0]])],
    };
    let fit = fit_nonlinear(&shallow, &[0.0], &Settings::default()).unwrap();
    assert!(fit.converged() && fit.params == [0.0], "{fit:?}");
    assert_eq!(fit.attempts.len(), 1);
}

/// The hill's two rows over and over, in x, and y − 1 in rows of its own: as large as one likes.
struct Range {
    rows: usize,
}

impl Residuals for Range {
    fn observations(&self) -> usize {
        self.rows
    }
    fn parameters(&self) -> usize {
        2
    }
    fn residuals(&self, at: &[f64], out: &mut [f64]) {
        for (i, r) in out.iter_mut().enumerate() {
            *r = [at[0], 2.0 - at[0] * at[0], at[1] - 1.0][i % 3];
        }
    }
    fn with_derivatives(&self, at: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        self.residuals(at, out);
        for i in 0..self.rows {
            jacobian[i] = [1.0, -2.0 * at[0], 0.0][i % 3];
            jacobian[self.rows + i] = [0.0, 0.0, 1.0][i % 3];
        }
    }
    fn magnitude(&self) -> f64 {
        1.0
    }
}

#[test]
fn the_curvature_is_looked_at_up_to_two_million_entries() {
    // Two parameters take four sets of derivatives, of two entries a row each: 300 rows are looked at, 450 000 are not.
    let ended = |rows: usize| {
        let fit = fit_nonlinear(&Range { rows }, &[0.0, 1.0], &Settings::default()).unwrap();
        fit.attempts[0].termination.clone()
    };
    assert_eq!(ended(300), Termination::Saddle);
    assert_eq!(ended(450_000), Termination::GradientVanished);
}

#[test]
fn a_slope_that_is_no_number_is_named_by_its_row() {
    let broken = Plain {
        parameters: 2,
        rows: 3,
        f: |_: &[f64]| {
            let slopes = |k: usize| vec![if k == 2 { f64::NAN } else { 1.0 }, 2.0];
            (0..3).map(|k| (1.0, slopes(k))).collect()
        },
    };
    assert_eq!(
        fit_nonlinear(&broken, &[0.0; 2], &Settings::default()).unwrap_err(),
        FitError::NotComputable { row: 2 }
    );
}
