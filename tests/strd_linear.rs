//! Linear least squares against the certified values of the NIST Statistical Reference Datasets.

#[path = "reference/strd/sets.rs"]
mod sets;

use nalgebra::DMatrix;
use sets::{Set, digits};
use steadydraw::fit::{
    Curve, DoubleDouble, Equation, LinearFit, TotalAbout, least_squares, least_squares_extended,
};

fn curve(set: &Set) -> Curve {
    let names: Vec<String> = set.columns.iter().map(|(name, _)| name.clone()).collect();
    Equation::parse(&set.model)
        .unwrap()
        .with_columns(&names)
        .unwrap()
}

fn data<'s>(set: &'s Set, curve: &Curve) -> Vec<&'s [f64]> {
    curve
        .columns()
        .iter()
        .map(|name| set.column(name))
        .collect()
}

/// Asserts the least digits of estimates, standard errors, residual sum, R² and F.
fn check(set: &Set, fit: &LinearFit, estimates: f64, errors: f64) {
    let se = fit.std_errors().unwrap();
    for (j, (name, estimate, sd)) in set.certified.iter().enumerate() {
        let found = digits(fit.coef[j], *estimate, 1.0);
        assert!(
            found >= estimates,
            "{} {name}: {found:.1} digits, {}",
            set.name,
            fit.coef[j]
        );
        let found = digits(se[j], *sd, *estimate);
        assert!(
            found >= errors,
            "{} sd of {name}: {found:.1} digits, {}",
            set.name,
            se[j]
        );
    }
    assert_eq!(fit.dof(), set.residual_df);
    let total = fit.total_ss(TotalAbout::Zero);
    let found = digits(fit.rss, set.residual_ss.unwrap(), total);
    assert!(
        found >= errors,
        "{} residual sum: {found:.1} digits, {}",
        set.name,
        fit.rss
    );
    let found = digits(
        fit.residual_sd().unwrap(),
        set.residual_sd.unwrap(),
        total.sqrt(),
    );
    assert!(
        found >= errors,
        "{} residual sd: {found:.1} digits",
        set.name
    );
    let Some((r_squared, about_mean)) = set.r_squared else {
        return;
    };
    let about = if about_mean {
        TotalAbout::Mean
    } else {
        TotalAbout::Zero
    };
    assert!(
        digits(fit.r_squared(about).unwrap(), r_squared, 1.0) >= 9.0,
        "{}",
        set.name
    );
    if let Some(f) = set.f_statistic {
        let explained = fit.total_ss(about) - fit.rss;
        let df = fit.p - usize::from(about_mean);
        assert!(
            digits(explained / df as f64 / fit.sigma2().unwrap(), f, 1.0) >= errors,
            "{} F",
            set.name
        );
    }
}

#[test]
fn in_double_precision_every_set_reaches_nine_digits() {
    let sets = sets::all(true);
    assert_eq!(sets.len(), 11);
    for set in &sets {
        let curve = curve(set);
        let (data, rows, p) = (
            data(set, &curve),
            set.columns[0].1.len(),
            set.certified.len(),
        );
        // Columns of the design: the curve with one coefficient 1, the others 0.
        let columns: Vec<f64> = (0..p)
            .flat_map(|j| {
                let unit: Vec<f64> = (0..p).map(|k| if k == j { 1.0 } else { 0.0 }).collect();
                curve.right_values::<f64, _>(&unit, &data, rows)
            })
            .collect();
        let fit =
            least_squares(&DMatrix::from_vec(rows, p, columns), set.column("y"), None).unwrap();
        // Powers up to the tenth, rounded to double precision, keep no more of Filip.
        let (estimates, errors) = if set.name == "Filip" {
            (7.0, 7.0)
        } else {
            (9.0, 8.0)
        };
        check(set, &fit, estimates, errors);
    }
}

#[test]
fn in_doubled_precision_only_the_rounding_of_the_data_is_left() {
    for set in &sets::all(true) {
        let curve = curve(set);
        let (data, rows, p) = (
            data(set, &curve),
            set.columns[0].1.len(),
            set.certified.len(),
        );
        let columns: Vec<Vec<DoubleDouble>> = (0..p)
            .map(|j| {
                let unit = |k| DoubleDouble::from_sum(if k == j { 1.0 } else { 0.0 }, 0.0);
                curve.right_values(&(0..p).map(unit).collect::<Vec<_>>(), &data, rows)
            })
            .collect();
        let y: Vec<DoubleDouble> = set
            .column("y")
            .iter()
            .map(|v| DoubleDouble::from_sum(*v, 0.0))
            .collect();
        check(
            set,
            &least_squares_extended(&columns, &y, None).unwrap(),
            13.0,
            13.0,
        );
    }
}
