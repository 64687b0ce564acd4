//! Budgets as JSON, for the commands that show them.

use serde_json::{Map, Value, json};

use super::{CliError, Common};
use crate::air::BTU_PER_WH;
use crate::bench::Bench;
use crate::budget::{Budgets, Figure, FigureBudget, SettingBudget, Trials};
use crate::fit::forms::DrawData;

/// Budgets of a bench and what the random trials say of them.
///
/// # Errors
/// [`CliError::NoAnswer`] where a figure is not finite.
pub(super) fn make(
    bench: &Bench,
    data: &DrawData,
    common: &Common,
) -> Result<(Budgets, Option<Trials>), CliError> {
    let no_answer = |e: crate::stats::StatsError| CliError::NoAnswer(e.to_string());
    let mut budgets = Budgets::of(bench, data, common.level).map_err(no_answer)?;
    let trials = budgets.check(data, common.seed).map_err(no_answer)?;
    Ok((budgets, trials))
}

fn name(figure: Figure) -> &'static str {
    match figure {
        Figure::Draw => "draw_w",
        Figure::Sensible => "sensible_w",
        Figure::Latent => "latent_w",
        Figure::Total => "total_w",
        Figure::SensibleHeatRatio => "sensible_heat_ratio",
        Figure::Eer => "eer_w_per_w",
        Figure::Weighed => "weighed_latent_w",
        Figure::WeighedLessAir => "weighed_less_air_w",
    }
}

/// The `budget` part of an answer.
pub(super) fn to_json(
    data: &DrawData,
    budgets: &Budgets,
    trials: Option<&Trials>,
    sentences: &[String],
) -> Value {
    let scatter: Map<String, Value> = Figure::ALL
        .into_iter()
        .filter_map(|f| {
            let s = budgets.scatter[f as usize].as_ref()?;
            let value = json!({"relative_sd": s.relative_sd, "dof": s.dof});
            Some((name(f).to_owned(), value))
        })
        .collect();
    let shown = budgets.shown(data);
    json!({
        "level": budgets.level,
        "capacity_kind": budgets.capacity.as_ref().ok(),
        "no_capacity": budgets.capacity.as_ref().err(),
        "scatter": scatter,
        "adjusted_for": budgets.adjusted,
        "settings": budgets.settings.iter().map(|s| setting(data, s)).collect::<Vec<_>>(),
        "trials": trials.map(|t| json!({
            "mode": shown.and_then(|s| data.modes.get(s.mode)),
            "fan": shown.and_then(|s| data.levels.get(s.level)).map(|l| l.label.as_str()),
            "intake_c": shown.and_then(|s| s.intake_c),
            "trials": t.trials,
            "figures": t.figures.iter().map(|f| json!({
                "figure": name(f.figure),
                "low": f.interval.0,
                "high": f.interval.1,
                "ends_apart": f.apart,
                "digits": f.digits,
            })).collect::<Vec<_>>(),
        })),
        "sentences": sentences,
    })
}

fn setting(data: &DrawData, s: &SettingBudget) -> Value {
    let figures: Map<String, Value> = s
        .figures
        .iter()
        .map(|f| (name(f.figure).to_owned(), figure(s, f)))
        .collect();
    json!({
        "mode": data.modes.get(s.mode),
        "fan": data.levels.get(s.level).map(|l| l.label.as_str()),
        "runs": s.runs.len(),
        "intake_c": s.intake_c,
        "ambient_c": s.ambient_c,
        "eer_btu_h_per_w": s.figure(Figure::Eer).map(|f| BTU_PER_WH * f.value),
        "condensate": s.witness(),
        "figures": figures,
    })
}

fn figure(s: &SettingBudget, f: &FigureBudget) -> Value {
    json!({
        "value": f.value,
        "u": f.u.total(),
        "u_shared": f.u.shared,
        "u_fresh": f.u.fresh,
        "dof": f.dof,
        "low": f.interval.0,
        "high": f.interval.1,
        "interval_from": if f.by_trials { "trials" } else { "linear" },
        "parts": f.parts.iter().map(|p| {
            let source = p.source.and_then(|i| s.sources.get(i));
            json!({
                "source": source.map_or("scatter between runs", |x| x.name.as_str()),
                "acts": source.map(|x| x.acts.as_str()),
                "scope": source.map_or(crate::budget::Scope::Fresh, |x| x.scope),
                "u": p.signed_u.abs(),
                "share": p.share,
                "interval_narrower_if_twice_as_good": p.if_halved,
            })
        }).collect::<Vec<_>>(),
    })
}
