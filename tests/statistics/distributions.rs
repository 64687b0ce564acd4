//! Tables of quantiles and tail probabilities computed in 30 to 40 digits.

use serde_json::Value;
use steadydraw::stats::{chi_square, f, noncentral, normal, student_t, studentised_range};

use crate::{close, number, reference};

/// The rows of one table, as many as it is known to have.
fn rows(file: &str, table: &str, count: usize) -> Vec<Value> {
    let file = reference(&format!("statistics/{file}"));
    let rows = file[table].as_array().expect("a table").clone();
    assert_eq!(rows.len(), count, "{table}");
    rows
}

/// Degrees of freedom, which may be infinite.
fn dof(row: &Value) -> f64 {
    if row["df"] == "infinite" {
        f64::INFINITY
    } else {
        number(&row["df"])
    }
}

#[test]
fn central_quantiles_reach_fourteen_digits() {
    // dist_central.json: 40-digit incomplete beta and gamma functions. Tails from 0.95 to 1e-300.
    for row in rows("dist_central", "quantiles", 100) {
        let q = number(&row["upper_tail_p"]);
        let (upper, lower) = match row["dist"].as_str().expect("a name") {
            "normal" => (normal::upper_quantile(q), -normal::quantile(q)),
            "t" => (
                student_t::upper_quantile(q, dof(&row)),
                -student_t::quantile(q, dof(&row)),
            ),
            "chi2" => (chi_square::upper_quantile(q, dof(&row)), f64::NAN),
            "F" => {
                let (d1, d2) = (number(&row["df1"]), number(&row["df2"]));
                // The reciprocal of an F is an F with the degrees of freedom exchanged.
                (f::upper_quantile(q, d1, d2), 1.0 / f::quantile(q, d2, d1))
            }
            other => panic!("unknown distribution {other}"),
        };
        close(upper, number(&row["quantile"]), 1e-14, &row.to_string());
        if !lower.is_nan() {
            close(lower, number(&row["quantile"]), 1e-14, &row.to_string());
        }
    }
}

#[test]
fn central_tails_reach_thirteen_digits() {
    for row in rows("dist_central", "cdf_values", 30) {
        let x = number(&row["x"]);
        let (below, above) = match row["dist"].as_str().expect("a name") {
            "normal" => (normal::cdf(x), normal::sf(x)),
            "t" => (student_t::cdf(x, dof(&row)), student_t::sf(x, dof(&row))),
            "chi2" => (chi_square::cdf(x, dof(&row)), chi_square::sf(x, dof(&row))),
            "F" => {
                let (d1, d2) = (number(&row["df1"]), number(&row["df2"]));
                (f::cdf(x, d1, d2), f::sf(x, d1, d2))
            }
            other => panic!("unknown distribution {other}"),
        };
        close(below, number(&row["cdf"]), 5e-14, &row.to_string());
        close(above, number(&row["upper_tail"]), 5e-14, &row.to_string());
    }
}

#[test]
fn noncentral_tails_reach_fourteen_digits() {
    for row in rows("dist_noncentral", "values", 17) {
        let x = number(&row["x"]);
        let (below, above) = if row["dist"] == "noncentral t" {
            let delta = number(&row["delta"]);
            (
                noncentral::t_cdf(x, dof(&row), delta),
                noncentral::t_sf(x, dof(&row), delta),
            )
        } else {
            let (d1, d2, lambda) = (
                number(&row["df1"]),
                number(&row["df2"]),
                number(&row["lambda"]),
            );
            (
                noncentral::f_cdf(x, d1, d2, lambda),
                noncentral::f_sf(x, d1, d2, lambda),
            )
        };
        close(below, number(&row["cdf"]), 1e-14, &row.to_string());
        close(below + above, 1.0, 1e-14, &row.to_string());
    }
}

#[test]
fn studentised_range_reaches_fourteen_digits() {
    for row in rows("dist_studentized_range", "quantiles", 19) {
        let (q, groups) = (number(&row["upper_tail_p"]), number(&row["k"]));
        let got = studentised_range::upper_quantile(q, groups, dof(&row));
        close(got, number(&row["quantile"]), 1e-14, &row.to_string());
    }
    for row in rows("dist_studentized_range", "cdf_values", 7) {
        let (x, groups) = (number(&row["q"]), number(&row["k"]));
        let below = studentised_range::cdf(x, groups, dof(&row));
        close(below, number(&row["cdf"]), 1e-14, &row.to_string());
        close(
            below + studentised_range::sf(x, groups, dof(&row)),
            1.0,
            1e-14,
            &row.to_string(),
        );
    }
}
