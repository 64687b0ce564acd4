//! Whatever the fit room is asked, it answers with finite figures or refuses; it never panics.

use std::cell::Cell;
use std::collections::BTreeMap;

use nalgebra::DMatrix;
use steadydraw::fit::{
    CurveFit, CurveRequest, Equation, HUBER_TUNING, fit_curve, huber, least_squares, median_slope,
    rank_report, york,
};

/// A fixed stream of numbers (xorshift; G. Marsaglia, J. Stat. Soft. 8 (2003) 14).
struct Stream(Cell<u64>);

impl Stream {
    fn new(seed: u64) -> Self {
        Self(Cell::new(seed))
    }

    fn below(&self, end: usize) -> usize {
        let mut state = self.0.get();
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        self.0.set(state);
        (state % end as u64) as usize
    }

    fn pick<T: Copy>(&self, from: &[T]) -> T {
        from[self.below(from.len())]
    }
}

const PARTS: [&str; 31] = [
    "a",
    "b",
    "c",
    "d",
    "x",
    "z",
    "2",
    "0",
    "1e5",
    "-3",
    "(a+b)",
    "exp(b*x)",
    "log(c*x)",
    "x^b",
    "(x-c)",
    "sqrt(a)",
    "sin(d*x)",
    "abs(c-x)",
    "max(a,x)",
    "min(b,x)",
    "1/(c+x)",
    "atan(d)",
    "b^2",
    "a*b",
    "x^2",
    "(1+exp(-c*x))",
    "c^x",
    "log(a)",
    "x^-d",
    "1e300",
    "1e-300",
];

#[test]
fn a_curve_is_fitted_in_finite_figures_or_refused() {
    let stream = Stream::new(0x9e37_79b9_7f4a_7c15);
    let mut fitted = 0;
    for round in 0..1500 {
        let parts: Vec<&str> = (0..2 + stream.below(4))
            .map(|_| stream.pick(&PARTS))
            .collect();
        let mut text = format!("y = {}", parts[0]);
        for part in &parts[1..] {
            text += stream.pick(&["+", "-", "*", "/", "^"]);
            text += part;
        }
        let columns = ["x", "y", "z"].map(str::to_owned);
        let Ok(curve) = Equation::parse(&text).and_then(|e| e.with_columns(&columns)) else {
            continue;
        };
        let n = stream.below(12);
        let shift = if round % 2 == 0 { 10.0 } else { 0.0 };
        let column = |scale: f64| -> Vec<f64> {
            (0..n)
                .map(|_| scale * (stream.below(2001) as f64 / 100.0 - shift))
                .collect()
        };
        let scale = stream.pick(&[1.0, 1e-8, 1e8, 1e200, 0.0]);
        let given = [
            ("x", column(1.0)),
            ("z", column(scale)),
            ("y", column(scale.max(1e-3))),
        ];
        let named = |name: &String| given.iter().find(|(n, _)| n == name).unwrap().1.clone();
        let mut request = CurveRequest {
            data: curve.columns().iter().map(named).collect(),
            at: vec![
                curve
                    .right_columns()
                    .iter()
                    .map(|name| ((*name).to_owned(), 0.0))
                    .collect(),
            ],
            trace: 5,
            ..CurveRequest::default()
        };
        for name in curve.parameters() {
            if stream.below(4) > 0 {
                request
                    .starts
                    .insert(name.clone(), stream.pick(&[1.0, 0.1, -1.0, 0.0, 1e6, 1e-9]));
            }
            if stream.below(3) == 0 {
                let range = stream.pick(&[
                    (0.0, 10.0),
                    (-1.0, 1.0),
                    (1.0, 1.0),
                    (0.0, f64::INFINITY),
                    (1e-6, 1e6),
                ]);
                request.ranges.insert(name.clone(), range);
            }
        }
        if stream.below(3) == 0 {
            request.weights = Some(
                (0..n)
                    .map(|_| stream.pick(&[0.0, 1.0, 1e-10, 5.0]))
                    .collect(),
            );
        }
        if let Ok(fit) = fit_curve(&curve, &request) {
            fitted += 1;
            assert!(is_finite(&fit), "{text}: {fit:?}");
        }
    }
    assert!(fitted > 200, "{fitted}");
}

fn is_finite(fit: &CurveFit) -> bool {
    let pair = |ends: Option<(f64, f64)>| {
        ends.is_none_or(|(low, high)| low.is_finite() && high.is_finite())
    };
    let maybe = |value: Option<f64>| value.is_none_or(f64::is_finite);
    fit.parameters
        .iter()
        .all(|p| p.value.is_finite() && maybe(p.std_error) && pair(p.interval))
        && fit
            .values
            .iter()
            .chain(&fit.trace)
            .all(|v| maybe(v.value) && maybe(v.std_error) && pair(v.mean) && pair(v.observation))
        && fit.rss.is_finite()
        && [fit.residual_sd, fit.aicc, fit.condition, fit.loo_rmse]
            .into_iter()
            .all(maybe)
        && fit.covariance.iter().flatten().all(|c| c.is_finite())
}

#[test]
fn matrices_and_points_of_any_size_are_fitted_or_refused() {
    let stream = Stream::new(0x1234_5678_9abc_def1);
    let odd = [
        0.0,
        -0.0,
        1.0,
        -1.0,
        3.0,
        1e-320,
        1e-200,
        1e200,
        f64::MAX,
        f64::NAN,
        f64::INFINITY,
        0.1,
    ];
    let tame = [0.0, 1.0, -1.0, 2.0, 0.5, 7.0, 1e3];
    for round in 0..3000 {
        let (n, p) = (stream.below(8), stream.below(5));
        let value = || {
            if round % 3 == 0 {
                stream.pick(&odd)
            } else {
                stream.pick(&tame)
            }
        };
        let x = DMatrix::from_fn(n, p, |_, _| value());
        let y: Vec<f64> = (0..n).map(|_| value()).collect();
        let w: Vec<f64> = (0..n).map(|_| value()).collect();
        let report = rank_report(&x, &[]);
        assert!(report.rank <= p && report.condition >= 1.0);
        if let Ok(fit) = least_squares(&x, &y, (round % 2 == 0).then_some(&w)) {
            assert!(
                fit.coef.iter().chain(&fit.residuals).all(|v| v.is_finite()) && fit.rss.is_finite()
            );
            assert!(fit.leverage.iter().all(|h| (0.0..=1.0).contains(h)));
            assert!(!fit.press().is_nan() && !fit.aicc().is_nan());
            assert!(fit.leave_group_out(&w).is_some());
        }
        if let Ok(fit) = huber(&x, &y, HUBER_TUNING) {
            assert!(fit.fit.coef.iter().all(|v| v.is_finite()));
        }
        if let Ok(line) = york(&y, &w, &vec![0.1; n], &y, None) {
            assert!(line.slope.is_finite() && line.u_slope.is_finite() && !line.at(1.0).1.is_nan());
        }
        if let Ok(line) = median_slope(&y, &w, 0.9) {
            assert!(line.slope.is_finite());
        }
    }
}

/// A request without data, or with columns of unequal length, is refused too.
#[test]
fn a_request_that_does_not_fit_the_curve_is_refused() {
    let curve = || {
        let columns = ["x", "y"].map(str::to_owned);
        Equation::parse("y = a + b*x")
            .unwrap()
            .with_columns(&columns)
            .unwrap()
    };
    for data in [
        vec![],
        vec![vec![1.0; 3]],
        vec![vec![1.0; 3], vec![1.0; 2]],
        vec![vec![], vec![]],
    ] {
        assert!(
            fit_curve(
                &curve(),
                &CurveRequest {
                    data,
                    ..CurveRequest::default()
                }
            )
            .is_err()
        );
    }
    let data = vec![vec![1.0, 2.0, 4.0], vec![1.0, 2.0, 3.0]];
    let weights = Some(vec![1.0; 2]);
    assert!(
        fit_curve(
            &curve(),
            &CurveRequest {
                data,
                weights,
                ..CurveRequest::default()
            }
        )
        .is_err()
    );
    let starts = BTreeMap::from([("a".to_owned(), f64::NAN)]);
    let data = vec![vec![1.0, 2.0, 4.0], vec![1.0, 2.0, 3.0]];
    assert!(
        fit_curve(
            &curve(),
            &CurveRequest {
                data,
                starts,
                ..CurveRequest::default()
            }
        )
        .is_err()
    );
}
