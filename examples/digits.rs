//! Prints how many digits of the certified values of the NIST Statistical Reference Datasets our fits return.
//!
//! `cargo run --release --example digits`

#[path = "../tests/reference/strd/sets.rs"]
mod sets;

use std::collections::BTreeMap;
use std::time::Instant;

use sets::{Set, digits};
use steadydraw::fit::{Curve, CurveFit, CurveRequest, Equation, fit_curve};

fn main() {
    println!(
        "Agreeing digits, the least over all parameters; certified to 15 (linear) and 11 (nonlinear) digits."
    );
    println!(
        "{:<10} {:>5} {:>3} {:>6} {:>7} {:>7} {:>7} {:>10} {:>9}",
        "set", "rows", "par", "start", "values", "errors", "sum", "iterations", "ms"
    );
    for set in sets::all(true).iter().chain(&sets::all(false)) {
        let names: Vec<String> = set.columns.iter().map(|(name, _)| name.clone()).collect();
        let curve = match Equation::parse(&set.model).and_then(|e| e.with_columns(&names)) {
            Ok(curve) => curve,
            Err(error) => {
                println!("{:<10} {error}", set.name);
                continue;
            }
        };
        if set.starts.is_empty() {
            line(set, &curve, "-", BTreeMap::new());
        }
        for (k, start) in set.starts.iter().enumerate() {
            let names = set.certified.iter().map(|(name, _, _)| name.clone());
            line(
                set,
                &curve,
                &(k + 1).to_string(),
                names.zip(start.iter().copied()).collect(),
            );
        }
    }
}

fn line(set: &Set, curve: &Curve, start: &str, starts: BTreeMap<String, f64>) {
    let data: Vec<Vec<f64>> = curve
        .columns()
        .iter()
        .map(|name| set.column(name).to_vec())
        .collect();
    let begun = Instant::now();
    let fit = fit_curve(
        curve,
        &CurveRequest {
            data,
            starts,
            ..CurveRequest::default()
        },
    );
    let ms = begun.elapsed().as_secs_f64() * 1e3;
    match fit {
        Err(error) => println!("{:<10} {start:>6} {error}", set.name),
        Ok(fit) => {
            let (values, errors, sum) = agreement(set, &fit);
            let show = |digits: f64| {
                if digits.is_finite() {
                    format!("{digits:.1}")
                } else {
                    "-".to_owned()
                }
            };
            let said = if fit.converged { "" } else { "  not converged" };
            println!(
                "{:<10} {:>5} {:>3} {start:>6} {:>7} {:>7} {:>7} {:>10} {ms:>9.2}{said}",
                format!("{}{}", set.name, if set.from_memory { "*" } else { "" }),
                fit.n,
                fit.parameters.len(),
                show(values),
                show(errors),
                show(sum),
                fit.iterations
            );
        }
    }
}

/// The least digits of values, of standard errors, and those of the residual sum; infinite where nothing is certified.
fn agreement(set: &Set, fit: &CurveFit) -> (f64, f64, f64) {
    let (mut values, mut errors) = (f64::INFINITY, f64::INFINITY);
    for (name, estimate, sd) in &set.certified {
        let Some(p) = fit.parameters.iter().find(|p| p.name == *name) else {
            continue;
        };
        values = values.min(digits(p.value, *estimate, 1.0));
        if sd.is_finite() {
            errors = errors.min(digits(p.std_error.unwrap_or(f64::NAN), *sd, *estimate));
        }
    }
    let total: f64 = fit.observed.iter().map(|y| y * y).sum();
    (
        values,
        errors,
        set.residual_ss
            .map_or(f64::INFINITY, |rss| digits(fit.rss, rss, total)),
    )
}
