//! The statistics room against published and independently computed values in `tests/reference/statistics`.

use serde_json::Value;
use steadydraw::stats::{chi_square, f, normal, student_t};

/// One of the reference files.
fn reference(name: &str) -> Value {
    let path = format!(
        "{}/tests/reference/statistics/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A number, written as a JSON number or as a decimal string.
fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().unwrap_or_else(|e| panic!("{text}: {e}")),
        other => other
            .as_f64()
            .unwrap_or_else(|| panic!("not a number: {other}")),
    }
}

/// Fails unless `got` agrees with `want` to `tolerance` relative (no floor: zero must be zero).
#[track_caller]
fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    let error = if want == 0.0 {
        got.abs()
    } else {
        ((got - want) / want).abs()
    };
    assert!(
        error <= tolerance,
        "{what}: got {got:e}, want {want:e}, relative error {error:e} > {tolerance:e}"
    );
}

#[test]
fn central_quantiles_reach_twelve_digits() {
    let file = reference("dist_central.json");
    let rows = file["quantiles"].as_array().expect("an array");
    assert_eq!(rows.len(), 100);
    let mut worst = 0.0_f64;
    for row in rows {
        let q = number(&row["upper_tail_p"]);
        let got = match row["dist"].as_str().expect("a name") {
            "normal" => normal::upper_quantile(q),
            "t" => student_t::upper_quantile(q, number(&row["df"])),
            "chi2" => chi_square::upper_quantile(q, number(&row["df"])),
            "F" => f::upper_quantile(q, number(&row["df1"]), number(&row["df2"])),
            other => panic!("unknown distribution {other}"),
        };
        let want = number(&row["quantile"]);
        if want != 0.0 {
            worst = worst.max((got / want - 1.0).abs());
        }
        close(got, want, 1e-12, &row.to_string());
    }
    eprintln!("worst {worst:e}");
}

#[test]
fn central_tails_reach_twelve_digits() {
    let file = reference("dist_central.json");
    let rows = file["cdf_values"].as_array().expect("an array");
    assert_eq!(rows.len(), 30);
    let mut worst = 0.0_f64;
    for row in rows {
        let x = number(&row["x"]);
        let (below, above) = match row["dist"].as_str().expect("a name") {
            "normal" => (normal::cdf(x), normal::sf(x)),
            "t" => {
                let d = number(&row["df"]);
                (student_t::cdf(x, d), student_t::sf(x, d))
            }
            "chi2" => {
                let d = number(&row["df"]);
                (chi_square::cdf(x, d), chi_square::sf(x, d))
            }
            "F" => {
                let (a, b) = (number(&row["df1"]), number(&row["df2"]));
                (f::cdf(x, a, b), f::sf(x, a, b))
            }
            other => panic!("unknown distribution {other}"),
        };
        worst = worst
            .max((below / number(&row["cdf"]) - 1.0).abs())
            .max((above / number(&row["upper_tail"]) - 1.0).abs());
        close(below, number(&row["cdf"]), 1e-12, &row.to_string());
        close(above, number(&row["upper_tail"]), 1e-12, &row.to_string());
    }
    eprintln!("worst {worst:e}");
}
