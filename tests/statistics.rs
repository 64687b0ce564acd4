//! The statistics room against published and independently computed values.
//!
//! Every file under `tests/reference/statistics` names its source, says how its values were verified, and which
//! published figures are quoted from memory. Checks are against the values recomputed in full precision; tolerances are
//! relative and have no floor, so a zero must come out as zero.

#[path = "statistics/anova.rs"]
mod anova;
#[path = "statistics/distributions.rs"]
mod distributions;
#[path = "statistics/edges.rs"]
mod edges;
#[path = "statistics/gum.rs"]
mod gum;
#[path = "statistics/monte_carlo.rs"]
mod monte_carlo;
#[path = "statistics/planning.rs"]
mod planning;
#[path = "statistics/resampling.rs"]
mod resampling;
#[path = "statistics/samples.rs"]
mod samples;
#[path = "statistics/series.rs"]
mod series;

use serde_json::Value;

/// One of the reference files, by folder and name.
fn reference(name: &str) -> Value {
    let path = format!("{}/tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A number, written as a JSON number or as a decimal string.
#[track_caller]
fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().unwrap_or_else(|e| panic!("{text}: {e}")),
        other => other
            .as_f64()
            .unwrap_or_else(|| panic!("not a number: {other}")),
    }
}

/// A list of numbers.
#[track_caller]
fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap_or_else(|| panic!("not a list: {value}"))
        .iter()
        .map(number)
        .collect()
}

/// Fails unless `got` agrees with `want` to `tolerance`, relative.
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
