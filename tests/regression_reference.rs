//! Regression figures against worked examples. Each file in `tests/reference/regression/` names its source and how its
//! values were verified; tests compare with the values recomputed in full precision, which keep the published digits.

use nalgebra::DMatrix;
use serde_json::Value;
use steadydraw::fit::{
    HUBER_TUNING, LinearFit, TotalAbout, huber, lack_of_fit, least_squares, median_slope, york,
};
use steadydraw::stats::{f, student_t};

fn read(name: &str) -> Value {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// A number written as such or as a string.
fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .or_else(|| value.as_str()?.parse().ok())
        .unwrap_or_else(|| panic!("{value}"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

/// Asserts at least `least` agreeing decimal digits.
#[track_caller]
fn agree(found: f64, expected: &Value, least: f64) {
    let expected = number(expected);
    let digits = -((found - expected).abs() / expected.abs()).log10();
    assert!(
        digits >= least,
        "{found} against {expected}: {digits:.1} digits"
    );
}

#[track_caller]
fn all_agree(found: &[f64], expected: &Value, least: f64) {
    let expected = expected.as_array().unwrap();
    assert_eq!(found.len(), expected.len());
    found
        .iter()
        .zip(expected)
        .for_each(|(f, e)| agree(*f, e, least));
}

/// A constant and these columns.
fn with_constant(columns: &[Vec<f64>]) -> DMatrix<f64> {
    DMatrix::from_fn(columns[0].len(), columns.len() + 1, |i, j| {
        if j == 0 { 1.0 } else { columns[j - 1][i] }
    })
}

fn powers(x: &[f64], degree: usize) -> DMatrix<f64> {
    DMatrix::from_fn(x.len(), degree + 1, |i, j| x[i].powi(j as i32))
}

fn hc3_errors(fit: &LinearFit) -> Vec<f64> {
    fit.hc3()
        .unwrap()
        .diagonal()
        .iter()
        .map(|v| v.sqrt())
        .collect()
}

#[test]
fn criteria_leave_one_out_and_influence_on_certified_sets() {
    let reference = read("regression/reg_criteria_strd");
    let expected = reference["recomputed"].as_object().unwrap();
    assert_eq!(expected.len(), 7);
    for (case, e) in expected {
        let set = read(&format!("strd/{}", case.split(':').next().unwrap()));
        let column = |name: &str| numbers(&set["data"][name]);
        let y = column("y");
        let terms: Vec<&str> = e["terms"]
            .as_array()
            .unwrap()
            .iter()
            .map(|t| t.as_str().unwrap())
            .collect();
        let design = if terms.contains(&"x") {
            powers(&column("x"), terms.len() - 1)
        } else {
            with_constant(&terms[1..].iter().map(|t| column(t)).collect::<Vec<_>>())
        };
        let fit = least_squares(&design, &y, None).unwrap();
        agree(fit.rss, &e["rss"], 11.0);
        agree(fit.log_likelihood(), &e["log_likelihood"], 11.0);
        agree(fit.aic(), &e["aic"], 11.0);
        agree(fit.aicc(), &e["aicc"], 11.0);
        agree(fit.bic(), &e["bic"], 11.0);
        agree(fit.press(), &e["press"], 10.0);
        agree((fit.press() / fit.n as f64).sqrt(), &e["loo_rmse"], 10.0);
        agree(fit.r_squared(TotalAbout::Mean).unwrap(), &e["r2"], 12.0);
        agree(
            1.0 - fit.press() / fit.total_ss(TotalAbout::Mean),
            &e["r2_predicted"],
            12.0,
        );
        all_agree(&fit.std_errors().unwrap(), &e["se_ols"], 10.0);
        all_agree(&hc3_errors(&fit), &e["se_hc3"], 10.0);
        agree(
            fit.leverage.iter().copied().fold(0.0, f64::max),
            &e["leverage_max"],
            10.0,
        );
        let row = |key: &str| number(&e[key]["row_1_based"]) as usize - 1;
        let size = |v: &Option<f64>| v.unwrap().abs();
        let largest = |values: &[Option<f64>]| {
            (0..values.len())
                .max_by(|&a, &b| size(&values[a]).total_cmp(&size(&values[b])))
                .unwrap()
        };
        let outer = fit.studentised_external();
        let key = "largest_external_studentized_residual";
        assert_eq!(largest(&outer), row(key), "{case}");
        agree(outer[row(key)].unwrap(), &e[key]["value"], 10.0);
        let cook = fit.cook_distance();
        assert_eq!(largest(&cook), row("largest_cook_distance"), "{case}");
        agree(
            cook[row("largest_cook_distance")].unwrap(),
            &e["largest_cook_distance"]["value"],
            10.0,
        );
    }
}

/// Brownlee (1965), stack loss; Montgomery, Peck and Vining, delivery times.
#[test]
fn published_regressions_with_criteria_press_and_hc3() {
    let cases = [
        (
            "reg_hc3_press_stackloss",
            &["airflow", "watertemp", "acid"][..],
        ),
        ("reg_press_delivery", &["cases", "distance"][..]),
    ];
    for (name, columns) in cases {
        let example = read(&format!("regression/{name}"));
        let data = |key: &str| numbers(&example["data"][key]);
        let design = with_constant(&columns.iter().map(|c| data(c)).collect::<Vec<_>>());
        let fit = least_squares(&design, &data("y"), None).unwrap();
        let e = &example["recomputed"];
        let names = std::iter::once("intercept").chain(columns.iter().copied());
        fit.coef
            .iter()
            .zip(names)
            .for_each(|(c, name)| agree(*c, &e["coefficients"][name], 12.0));
        all_agree(&fit.std_errors().unwrap(), &e["std_errors"], 12.0);
        agree(fit.rss, &e["residual_ss"], 12.0);
        agree(fit.residual_sd().unwrap(), &e["residual_sd"], 12.0);
        agree(
            fit.r_squared(TotalAbout::Mean).unwrap(),
            &e["r_squared"],
            12.0,
        );
        agree(fit.aic(), &e["criteria"]["AIC"], 12.0);
        agree(fit.aicc(), &e["criteria"]["AICc"], 12.0);
        agree(fit.bic(), &e["criteria"]["BIC"], 12.0);
        agree(fit.press(), &e["PRESS"], 12.0);
        all_agree(&hc3_errors(&fit), &e["HC3"], 12.0);
        // As printed.
        fit.coef
            .iter()
            .zip(numbers(&example["published"]["coefficients"]))
            .for_each(|(c, printed)| {
                assert!(
                    (c - printed).abs() <= 0.000_6 * printed.abs().max(1e-3),
                    "{c} {printed}"
                );
            });
    }
}

/// NIST/SEMATECH e-Handbook 4.6.1, load cell: repeats against a straight line and a quadratic.
#[test]
fn lack_of_fit_with_repeated_loads() {
    let example = read("regression/ex_lackfit_load_cell_40");
    let (x, y) = (
        numbers(&example["data"]["x_load"]),
        numbers(&example["data"]["y_deflection"]),
    );
    let expected = &example["expected"];
    let mut sums = Vec::new();
    for (degree, key) in [(1, "line"), (2, "quadratic")] {
        let e = &expected[key];
        let fit = least_squares(&powers(&x, degree), &y, None).unwrap();
        all_agree(&fit.coef, &e["coefficients"], 11.0);
        all_agree(&fit.std_errors().unwrap(), &e["standard_errors"], 11.0);
        agree(fit.rss, &e["residual_ss"], 11.0);
        let split = lack_of_fit(&x, &y, None, fit.rss, degree + 1).unwrap();
        agree(split.pure_ss, &e["pure_error_ss"], 10.0);
        assert_eq!(
            (split.pure_df, split.lack_df),
            (20, number(&e["lack_of_fit_df"]) as usize)
        );
        agree(split.repeat_sd(), &e["replication_sd"], 10.0);
        agree(split.lack_ss, &e["lack_of_fit_ss"], 9.0);
        agree(split.f.unwrap(), &e["lack_of_fit_F"], 9.0);
        agree(split.p.unwrap(), &e["lack_of_fit_p"], 8.0);
        sums.push(fit.rss);
    }
    let e = &expected["nested_F_line_in_quadratic"];
    let ratio = (sums[0] - sums[1]) / (sums[1] / 37.0);
    agree(ratio, &e["F"], 9.0);
    agree(f::sf(ratio, 1.0, 37.0), &e["p"], 7.0);
}

/// NIST/SEMATECH e-Handbook 4.6.2, Alaska pipeline: ordinary, log-log and weighted lines.
#[test]
fn weighted_line_under_growing_scatter() {
    let example = read("regression/ex_wls_alaska_pipeline");
    let (x, y) = (
        numbers(&example["data"]["x_lab"]),
        numbers(&example["data"]["y_field"]),
    );
    let logs = |v: &[f64]| v.iter().map(|v| v.ln()).collect::<Vec<f64>>();
    let weights: Vec<f64> = x.iter().map(|x| x.powf(-1.5)).collect();
    for (key, x, y, weights) in [
        ("ols", x.clone(), y.clone(), None),
        ("log_log", logs(&x), logs(&y), None),
        ("wls_weight_x_pow_minus_1_5", x, y, Some(&weights[..])),
    ] {
        let e = &example["expected"][key];
        let fit = least_squares(&powers(&x, 1), &y, weights).unwrap();
        all_agree(&fit.coef, &e["coefficients"], 12.0);
        all_agree(&fit.std_errors().unwrap(), &e["standard_errors"], 12.0);
        agree(fit.residual_sd().unwrap(), &e["residual_sd"], 12.0);
        agree(
            fit.r_squared(TotalAbout::Mean).unwrap(),
            &e["r_squared"],
            12.0,
        );
        assert_eq!(fit.dof(), 105);
    }
}

/// NIST/SEMATECH e-Handbook 4.5.1, pressure and temperature: means and further readings.
#[test]
fn a_line_with_intervals_for_its_mean_and_for_a_further_reading() {
    let example = read("regression/ex_prediction_pressure_temperature");
    let (x, y) = (
        numbers(&example["data"]["x_temperature"]),
        numbers(&example["data"]["y_pressure"]),
    );
    let e = &example["expected"];
    let fit = least_squares(&powers(&x, 1), &y, None).unwrap();
    agree(fit.coef[0], &e["intercept"], 12.0);
    agree(fit.coef[1], &e["slope"], 12.0);
    all_agree(&fit.std_errors().unwrap(), &e["se"], 12.0);
    let t = student_t::two_sided(0.95, fit.dof() as f64);
    agree(t, &e["t_0_975"], 12.0);
    for p in e["predictions"].as_array().unwrap() {
        let row = [1.0, number(&p["x"])];
        let mean = fit.predict(&row);
        agree(mean, &p["y_hat"], 12.0);
        let u = (fit.mean_variance_factor(&row) * fit.sigma2().unwrap()).sqrt();
        agree(u, &p["u_mean"], 11.0);
        agree(mean - t * u, &p["ci95_mean"][0], 11.0);
        let reading = ((1.0 + fit.mean_variance_factor(&row)) * fit.sigma2().unwrap()).sqrt();
        agree(reading, &p["u_prediction"], 11.0);
    }
}

/// JCGM 100:2008, H.3: calibration of a thermometer, correlated parameters.
#[test]
fn thermometer_calibration_of_the_guide() {
    let example = read("regression/gum_h3_thermometer");
    let t: Vec<f64> = numbers(&example["data"]["t_degC"])
        .iter()
        .map(|t| t - number(&example["t0"]))
        .collect();
    let fit = least_squares(&powers(&t, 1), &numbers(&example["data"]["b_degC"]), None).unwrap();
    let e = &example["recomputed"];
    agree(fit.coef[0], &e["y1"], 12.0);
    agree(fit.coef[1], &e["y2"], 11.0);
    let covariance = fit.covariance().unwrap();
    agree(covariance[(0, 0)].sqrt(), &e["s_y1"], 11.0);
    agree(covariance[(1, 1)].sqrt(), &e["s_y2"], 11.0);
    agree(
        covariance[(0, 1)] / (covariance[(0, 0)] * covariance[(1, 1)]).sqrt(),
        &e["r_y1_y2"],
        12.0,
    );
    agree(fit.residual_sd().unwrap(), &e["s"], 11.0);
    assert_eq!(fit.dof(), number(&example["published"]["dof"]) as usize);
    agree(fit.predict(&[1.0, 10.0]), &e["b_at_30"], 11.0);
    agree(
        (fit.mean_variance_factor(&[1.0, 10.0]) * fit.sigma2().unwrap()).sqrt(),
        &e["u_b_at_30"],
        11.0,
    );
    for (found, expected) in fit.residuals.iter().zip(e["residuals"].as_array().unwrap()) {
        assert!((found - number(expected)).abs() < 1e-14);
    }
    // As printed in the guide.
    let u30 = (fit.mean_variance_factor(&[1.0, 10.0]) * fit.sigma2().unwrap()).sqrt();
    for (found, name) in [
        (fit.coef[0], "y1"),
        (fit.coef[1], "y2"),
        (covariance[(0, 0)].sqrt(), "s_y1"),
        (covariance[(1, 1)].sqrt(), "s_y2"),
        (fit.residual_sd().unwrap(), "s"),
        (fit.predict(&[1.0, 10.0]), "b_at_30"),
        (u30, "u_b_at_30"),
    ] {
        let text = example["published"][name].as_str().unwrap();
        let decimals = text.split_once('.').map_or(0, |(_, d)| d.len());
        assert_eq!(format!("{found:.decimals$}"), text, "{name}");
    }
}

/// Pearson's data with York's weights; Williamson (1968), York et al. (2004).
#[test]
fn errors_in_both_variables() {
    let example = read("regression/reg_york_pearson");
    let data = |key: &str| numbers(&example["data"][key]);
    let uncertainty = |key: &str| {
        data(key)
            .iter()
            .map(|w| 1.0 / w.sqrt())
            .collect::<Vec<f64>>()
    };
    let line = york(
        &data("x"),
        &data("y"),
        &uncertainty("w_x"),
        &uncertainty("w_y"),
        None,
    )
    .unwrap();
    let e = &example["recomputed"];
    assert!(line.converged);
    agree(line.intercept, &e["a"], 12.0);
    agree(line.slope, &e["b"], 12.0);
    agree(line.u_intercept, &e["sigma_a_expected_points"], 12.0);
    agree(line.u_slope, &e["sigma_b_expected_points"], 12.0);
    agree(line.chi_square, &e["S"], 12.0);
    agree(
        line.chi_square / line.dof as f64,
        &e["S_over_n_minus_2"],
        12.0,
    );
    agree(
        line.u_intercept * line.widening().unwrap(),
        &e["sigma_a_expected_scaled"],
        12.0,
    );
    agree(
        line.u_slope * line.widening().unwrap(),
        &e["sigma_b_expected_scaled"],
        12.0,
    );
    agree(line.p.unwrap(), &e["chi2_upper_tail"], 11.0);
    agree(
        line.intercept,
        &example["published"]["Williamson_1968"]["a"],
        11.5,
    );
    agree(
        line.slope,
        &example["published"]["Williamson_1968"]["b"],
        10.5,
    );
}

/// Huber's estimate on the stack-loss data, iterated to full convergence.
#[test]
fn robust_line_by_reweighting() {
    let example = read("regression/reg_huber_stackloss");
    let data = |key: &str| numbers(&example["data"][key]);
    let names = ["airflow", "watertemp", "acid"];
    let design = with_constant(&names.map(data));
    let found = huber(&design, &data("y"), HUBER_TUNING).unwrap();
    let e = &example["recomputed"];
    assert!(found.converged);
    let keys = ["intercept", "airflow", "watertemp", "acid"];
    found
        .fit
        .coef
        .iter()
        .zip(keys)
        .for_each(|(c, key)| agree(*c, &e[key], 11.0));
    agree(found.scale, &e["scale"], 11.0);
    all_agree(
        &found.std_errors.unwrap(),
        &e["std_errors_intercept_first"],
        11.0,
    );
    for (weight, expected) in found.row_weights.iter().zip(numbers(&e["weights"])) {
        assert!((weight - expected).abs() < 1e-9);
    }
}

/// Sen (1968), numerical example. The interval there, said to hold 93 %, is wider than it needs to be: between the 4th
/// and the 18th slope it holds 97.0 %; the exact 93.1 % interval lies between the 5th and the 17th.
#[test]
fn median_of_slopes() {
    let example = read("regression/reg_theil_sen");
    let (x, y) = (
        numbers(&example["data"]["x"]),
        numbers(&example["data"]["y"]),
    );
    let e = &example["recomputed"];
    for (level, k) in [(0.86, 0), (0.93, 1), (0.95, 2)] {
        let line = median_slope(&x, &y, level).unwrap();
        agree(line.slope, &e["slope"], 15.0);
        agree(
            line.intercept,
            &e["intercept_median_y_minus_b_median_x"],
            15.0,
        );
        let expected = &e["intervals_from_order_statistics"][k];
        let (low, high) = line.interval.unwrap();
        agree(low, &expected["lower_dec"], 7.5);
        agree(high, &expected["upper_dec"], 7.5);
        agree(line.coverage.unwrap(), &expected["exact_coverage"], 9.5);
    }
    // Seven points have too few slopes for more.
    assert_eq!(median_slope(&x, &y, 0.9999).unwrap().interval, None);
}
