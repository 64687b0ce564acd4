//! Worked examples on series in time: autocorrelation, effective counts, Durbin–Watson.

use nalgebra::{DMatrix, DVector};
use steadydraw::stats::tests::{durbin_watson, durbin_watson_p};
use steadydraw::stats::{autocorrelation, summary};

use crate::{close, number, numbers, reference};

#[test]
fn effective_count_of_flicker_noise() {
    // Method of Zhang (2006), Metrologia 43, S276–S281, on NIST's FLICKER.DAT with the cut-off lag of the source.
    let example = reference("statistics/ex_autocorrelation_n_eff");
    let y = numbers(&example["data"]["flicker"]);
    let want = &example["expected"]["flicker"];
    assert_eq!(y.len(), 1000);
    close(
        summary::standard_error(&y),
        number(&want["u_naive"]),
        1e-13,
        "naive",
    );
    let cut = number(&example["data"]["flicker_cutoff_lag"]) as usize;
    let ratio = autocorrelation::variance_ratio(&y, cut).unwrap();
    close(
        ratio,
        number(&want["variance_ratio_r"]),
        1e-12,
        "variance ratio",
    );
    close(
        ratio.sqrt(),
        number(&want["uncertainty_ratio"]),
        1e-12,
        "uncertainty ratio",
    );
    close(
        1000.0 / ratio,
        number(&want["n_eff"]),
        1e-12,
        "effective count",
    );
    close(
        summary::standard_error(&y) * ratio.sqrt(),
        number(&want["u_autocorrelated"]),
        1e-12,
        "u",
    );
    let acf = autocorrelation::acf(&y, 5).unwrap();
    for (got, want) in acf[1..].iter().zip(numbers(&want["rho_1_to_5"])) {
        close(*got, want, 1e-13, "autocorrelation");
    }
}

#[test]
fn autocorrelations_of_the_beam_deflections() {
    // NIST/SEMATECH e-Handbook 1.3.5.12, LEW.DAT = StRD Lew.
    let example = reference("statistics/ex_autocorrelation_n_eff");
    let y = numbers(&reference("strd/Lew")["data"]["y"]);
    let want = numbers(&example["expected"]["lew_autocorrelation_lag_0_to_49"]);
    let acf = autocorrelation::acf(&y, 49).unwrap();
    assert_eq!((acf.len(), want.len()), (50, 50));
    for (got, want) in acf.into_iter().zip(want) {
        // Sums of 200 products of either sign, the smallest 200 times smaller than the largest.
        close(got, want, 1e-11, "autocorrelation");
    }
}

#[test]
fn effective_count_for_first_order_autocorrelation() {
    let example = reference("statistics/ex_autocorrelation_n_eff");
    let cases = example["expected"]["ar1_formula_cases"]
        .as_array()
        .expect("cases")
        .clone();
    assert_eq!(cases.len(), 4);
    for case in cases {
        let (n, rho) = (number(&case["n"]), number(&case["rho"]));
        let got = autocorrelation::effective_n_first_order(n, rho);
        close(got, number(&case["n_eff_finite"]), 1e-13, &case.to_string());
    }
    let mavro = &example["expected"]["mavro"];
    let y = numbers(&reference("strd/Mavro")["data"]["y"]);
    let rho = summary::lag1(&y);
    // 5 digits of Mavro's data are constant; see strd_univariate.rs.
    close(rho, number(&mavro["r1"]), 1e-11, "lag 1");
    let got = autocorrelation::effective_n_first_order(50.0, rho);
    close(
        got,
        number(&mavro["n_eff_ar1_finite"]),
        1e-11,
        "effective count",
    );
}

#[test]
fn durbin_watson_of_plain_series() {
    let example = reference("statistics/ex_durbin_watson");
    let want = &example["expected"];
    let y = numbers(&example["data"]["series"]);
    assert_eq!(y.len(), 20);
    let mixed = |share: f64| {
        y.windows(2)
            .map(|pair| pair[1] + share * pair[0])
            .collect::<Vec<f64>>()
    };
    let squared: Vec<f64> = y.iter().map(|x| x * x).collect();
    close(
        durbin_watson(&y).unwrap(),
        number(&want["series_d"]),
        1e-14,
        "series",
    );
    close(
        durbin_watson(&squared).unwrap(),
        number(&want["series_squared_d"]),
        1e-14,
        "squared",
    );
    close(
        durbin_watson(&mixed(0.5)).unwrap(),
        number(&want["series_ma_0_5_d"]),
        1e-14,
        "0.5",
    );
    close(
        durbin_watson(&mixed(0.9)).unwrap(),
        number(&want["series_ma_0_9_d"]),
        1e-14,
        "0.9",
    );
}

/// Least-squares residuals by singular values after scaling the columns; enough for a test.
fn residuals(design: &DMatrix<f64>, y: &[f64]) -> Vec<f64> {
    let mut scaled = design.clone();
    for mut column in scaled.column_iter_mut() {
        let norm = column.norm();
        column /= norm;
    }
    let y = DVector::from_column_slice(y);
    let q = scaled.qr().q();
    let once = &y - &q * (q.transpose() * &y);
    // A second projection removes what rounding left inside the design.
    (&once - &q * (q.transpose() * &once)).as_slice().to_vec()
}

#[test]
fn durbin_watson_of_regressions_with_exact_p() {
    // p by Imhof's integral, cross-checked by simulation when the reference was made.
    let want = &reference("statistics/ex_durbin_watson")["expected"];

    let data = &reference("strd/Longley")["data"];
    let y = numbers(&data["y"]);
    let columns: Vec<Vec<f64>> = (1..=6).map(|i| numbers(&data[format!("x{i}")])).collect();
    let design = DMatrix::from_fn(
        y.len(),
        7,
        |i, j| if j == 0 { 1.0 } else { columns[j - 1][i] },
    );
    let found = durbin_watson_p(&residuals(&design, &y), &design).unwrap();
    // Strong collinearity (condition number near 1e5 after scaling) costs about 5 of 16 digits.
    close(found.d, number(&want["longley_d"]), 1e-10, "d");
    close(
        found.p_positive,
        number(&want["longley_p_positive_autocorrelation"]),
        1e-9,
        "p",
    );

    let data = &reference("statistics/ex_prediction_pressure_temperature")["data"];
    let (x, y) = (
        numbers(&data["x_temperature"]),
        numbers(&data["y_pressure"]),
    );
    let design = DMatrix::from_fn(y.len(), 2, |i, j| if j == 0 { 1.0 } else { x[i] });
    let found = durbin_watson_p(&residuals(&design, &y), &design).unwrap();
    close(found.d, number(&want["pressure_temperature_d"]), 1e-12, "d");
    close(
        found.p_positive,
        number(&want["pressure_temperature_p_positive_autocorrelation"]),
        1e-10,
        "p",
    );
    close(
        found.p_positive + found.p_negative,
        1.0,
        1e-15,
        "both sides",
    );
}
