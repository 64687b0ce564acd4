//! One prediction as JSON, and its explanation in words.

use serde_json::{Value, json};

use super::{Told, fan_json};
use crate::bench::Bench;
use crate::cli::words::Words;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::DrawData;
use crate::predict::{AmbientStep, Explanation, ShareOf, prediction_notes};
use crate::quantity::System;
use crate::report::predictions::{Explained, share_name};

/// A prediction as JSON.
pub(super) fn json(
    bench: &Bench,
    fit: &DrawFit,
    told: &Told,
    capacity_step: Option<AmbientStep>,
    ambient_known: bool,
) -> Value {
    let (p, c) = (&told.draw, &told.capacity);
    let step = |s: AmbientStep| json!({"from_c": s.from_c, "distance_k": s.distance_k, "slope_low_per_k": s.slope.low, "slope_high_per_k": s.slope.high, "u_per_k": s.slope.u});
    let mut value = json!({
        "mode": fit.data.modes.get(p.at.mode),
        "fan": fan_json(&fit.data, p.at.level),
        "intake_c": p.at.intake,
        "ambient_c": ambient_known.then_some(p.at.ambient),
        "draw_w": p.draw_w,
        "run_low_w": p.run_w.0,
        "run_high_w": p.run_w.1,
        "mean_low_w": p.mean_w.0,
        "mean_high_w": p.mean_w.1,
        "capacity_w": c.as_ref().map(|c| c.capacity_w),
        "capacity_mean_low_w": c.as_ref().map(|c| c.mean_w.0),
        "capacity_mean_high_w": c.as_ref().map(|c| c.mean_w.1),
        "support": p.support,
        "notes": prediction_notes(&fit.data, p, System::Si),
    });
    if let Value::Object(map) = &mut value {
        if let Some(s) = p.assumed {
            map.insert(
                "assumed".to_owned(),
                json!({"draw": step(s), "capacity": c.as_ref().and(capacity_step).map(step)}),
            );
        }
        if let Some(e) = &told.explanation {
            map.insert("explain".to_owned(), explained(bench, &fit.data, e));
        }
    }
    value
}

fn explained(bench: &Bench, data: &DrawData, e: &Explanation) -> Value {
    let code = |of: &ShareOf| match of {
        ShareOf::Coefficients => "coefficients",
        ShareOf::Scatter => "scatter",
        ShareOf::Blocks => "blocks",
        ShareOf::CurveForms => "curve-forms",
        ShareOf::Instrument(_) => "instrument",
        ShareOf::Control => "control",
        ShareOf::Ambient => "ambient",
    };
    json!({
        "mean_u_w": e.mean_u_w,
        "run_u_w": e.run_u_w,
        "shares": e.shares.iter().map(|s| json!({
            "of": code(&s.of),
            "name": share_name(&s.of),
            "run": s.run,
            "mean": s.mean,
        })).collect::<Vec<_>>(),
        "candidates": e.candidates.iter().map(|c| json!({
            "form": c.form,
            "weight": c.weight,
            "draw_w": c.draw_w,
        })).collect::<Vec<_>>(),
        "runs": e.runs.iter().filter_map(|r| Some((r, e.run_of(bench, r)?))).map(|(r, p)| json!({
            "run": p.run,
            "mode": p.mode,
            "fan": p.fan,
            "intake_c": p.intake_c(),
            "ambient_c": p.ambient_c(),
            "pull": r.pull,
            "without_shift_w": r.shift_w,
            "without_u_growth": r.u_growth,
            "silenced_weight": r.silenced,
        })).collect::<Vec<_>>(),
        "further_runs": e.further.iter().map(|f| json!({
            "mode": data.modes.get(f.at.mode),
            "fan": fan_json(data, f.at.level),
            "intake_c": f.at.intake,
            "ambient_c": f.at.ambient,
            "mean_u_after_w": f.u_after_w,
            "change_w": f.change_w,
            "asked_for": f.asked,
        })).collect::<Vec<_>>(),
    })
}

/// A prediction's explanation; nothing where none was asked for.
pub(super) fn explanation(
    words: &mut Words,
    bench: &Bench,
    fit: &DrawFit,
    told: &Told,
    system: System,
) {
    let Some(explanation) = &told.explanation else {
        return;
    };
    let shown = Explained {
        bench,
        fit,
        prediction: &told.draw,
        explanation,
        system,
    };
    words.heading(&shown.heading());
    for sentence in shown.sentences() {
        words.paragraph(&sentence);
    }
    for table in shown.tables() {
        words.table(&table);
    }
}
