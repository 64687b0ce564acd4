//! The answer of `curve` in words and JSON.

use serde_json::{Value, json};

use super::CurveArgs;
use crate::cli::Common;
use crate::cli::words::Words;
use crate::fit::Curve;
use crate::fit::curve::show::{for_pasting, rounded, shortest};
use crate::fit::curve::{CurveFit, point_in_words};
use crate::report::tables::{Cell, Column, Table};

pub(super) fn in_words(
    args: &CurveArgs,
    common: &Common,
    curve: &Curve,
    fit: &CurveFit,
    notes: &[String],
) -> String {
    let percent = format!("{} %", for_pasting(100.0 * common.level));
    let mut words = Words::default();
    words.heading(curve.text());
    let scatter = fit.residual_sd.map(|sd| {
        format!(
            "; residual standard deviation {}",
            rounded(sd, Some(sd / 100.0))
        )
    });
    let not = if fit.converged {
        ""
    } else {
        "NOT a best fit: "
    };
    words.paragraph(&format!(
        "{not}{} rows of {}, fitted {}, {} degrees of freedom{}.",
        fit.n,
        args.file.display(),
        if fit.linear { "directly" } else { "by search" },
        fit.dof,
        scatter.unwrap_or_default(),
    ));
    let mut table = Table::new(
        "",
        [
            Column::text("parameter"),
            Column::number("value", ""),
            Column::number("standard error", ""),
            Column::interval(format!("{percent} interval"), ""),
        ],
    );
    for p in &fit.parameters {
        table.row([
            Cell::text(&p.name),
            Cell::text(rounded(p.value, p.std_error)),
            p.std_error
                .map_or(Cell::Absent, |se| Cell::text(rounded(se, Some(se)))),
            interval(p.interval, p.std_error),
        ]);
    }
    words.table(&table);
    words.gap().verbatim(&pasted(curve, fit, for_pasting));
    if !fit.values.is_empty() {
        let mut table = Table::new(
            "",
            [
                Column::text("at"),
                Column::number(curve.left_text(), ""),
                Column::interval(format!("curve, {percent}"), ""),
                Column::interval(format!("one further row, {percent}"), ""),
            ],
        );
        for v in &fit.values {
            table.row([
                Cell::text(point_in_words(&v.at)),
                v.value.map_or(Cell::Absent, |value| {
                    Cell::text(rounded(value, v.std_error))
                }),
                interval(v.mean, v.std_error),
                interval(v.observation, v.std_error),
            ]);
        }
        words.table(&table);
    }
    words.notes(notes, common.quiet);
    words.finish()
}

fn interval(ends: Option<(f64, f64)>, u: Option<f64>) -> Cell {
    ends.map_or(Cell::Absent, |(low, high)| {
        Cell::text(format!("{} to {}", rounded(low, u), rounded(high, u)))
    })
}

fn pasted(curve: &Curve, fit: &CurveFit, digits: fn(f64) -> String) -> String {
    curve.with_values(
        &fit.parameters
            .iter()
            .map(|p| digits(p.value))
            .collect::<Vec<_>>(),
    )
}

pub(super) fn in_json(
    args: &CurveArgs,
    common: &Common,
    curve: &Curve,
    fit: &CurveFit,
    notes: &[String],
) -> Value {
    let low = |ends: Option<(f64, f64)>| ends.map(|e| e.0);
    let high = |ends: Option<(f64, f64)>| ends.map(|e| e.1);
    let covariance = fit.covariance.as_ref().map(|c| {
        c.row_iter()
            .map(|row| row.iter().copied().collect::<Vec<f64>>())
            .collect::<Vec<_>>()
    });
    json!({
        "schema": 1,
        "command": "curve",
        "file": args.file.display().to_string(),
        "equation": curve.text(),
        "fitted_equation": pasted(curve, fit, shortest),
        "level": common.level,
        "params": fit.parameters.iter().map(|p| json!({
            "name": p.name,
            "value": p.value,
            "std_error": p.std_error,
            "low": low(p.interval),
            "high": high(p.interval),
            "at_bound": p.at_bound,
        })).collect::<Vec<_>>(),
        "covariance": covariance,
        "rss": fit.rss,
        "residual_sd": fit.residual_sd,
        "n": fit.n,
        "dof": fit.dof,
        "loo_rmse": fit.loo_rmse,
        "aicc": fit.aicc,
        "condition": fit.condition,
        "method": if fit.linear { "linear" } else { "nonlinear" },
        "converged": fit.converged,
        "termination": fit.termination.as_ref().map_or("direct", |t| t.code()),
        "iterations": fit.iterations,
        "lack_of_fit": fit.lack_of_fit.as_ref().map(|l| json!({
            "repeat_sd": l.repeat_sd(),
            "pure_df": l.pure_df,
            "lack_df": l.lack_df,
            "f": l.f,
            "p": l.p,
        })),
        "values": fit.values.iter().map(|v| json!({
            "at": v.at,
            "value": v.value,
            "std_error": v.std_error,
            "mean_low": low(v.mean),
            "mean_high": high(v.mean),
            "run_low": low(v.observation),
            "run_high": high(v.observation),
        })).collect::<Vec<_>>(),
        "notes": notes,
    })
}
