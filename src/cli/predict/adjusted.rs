//! `predict --adjusted`: every tested setting at the same conditions.

use serde_json::{Value, json};

use super::{PredictArgs, fan_json};
use crate::cli::words::Words;
use crate::cli::{Answer, Common, Opened};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, CapacityKind};
use crate::predict::{AdjustedSetting, Difference, adjusted, ambient_caution, differences};
use crate::quantity::System;
use crate::report::predictions::{self, CommonShown, SHARED_NOTE, common_conditions};

/// The fitted curves.
pub(super) struct Fits<'a> {
    pub draw: &'a DrawFit,
    pub capacity: Option<(CapacityKind, &'a DrawFit)>,
    pub ambient_known: bool,
}

/// Words and JSON.
pub(super) fn answer(
    opened: &Opened,
    fits: &Fits<'_>,
    asked: &[(usize, usize)],
    args: &PredictArgs,
    common: &Common,
) -> Answer {
    let bench = &opened.bench;
    let data = &fits.draw.data;
    let intake_c = args.intake.first().copied().unwrap_or(data.intake_ref);
    let ambient_c = args.at.ambient.unwrap_or(data.ambient_ref);
    let kind = fits.capacity.map(|c| c.0);
    let mut settings = adjusted(
        bench,
        fits.draw,
        fits.capacity.map(|c| c.1),
        (intake_c, ambient_c),
        common.level,
    );
    settings.retain(|s| asked.contains(&(s.draw.at.mode, s.draw.at.level)));
    let over_least = differences(bench, fits.draw, &settings, common.level);
    let shown = CommonShown {
        intake_c,
        ambient_c: fits.ambient_known.then_some(ambient_c),
        further_run: false,
        level: common.level,
        system: common.system(),
    };
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.table(&common_conditions(data, &settings, kind, &shown));
    let table = over_least
        .as_ref()
        .and_then(|(least, list)| predictions::differences(data, least, list, common.level));
    if let Some(table) = table {
        words.table(&table);
    }
    let notes = |system| remarks(fits, args, (intake_c, ambient_c), &settings, system);
    words.notes(&notes(common.system()), common.quiet);
    let mut said: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    said.extend(notes(System::Si));
    Answer {
        words: words.finish(),
        json: json!({
            "schema": 1,
            "command": "predict",
            "bench": bench.title,
            "level": common.level,
            "capacity_kind": kind,
            "adjusted": {
                "intake_c": intake_c,
                "ambient_c": fits.ambient_known.then_some(ambient_c),
                "settings": settings.iter().map(|s| setting_json(opened, fits, s)).collect::<Vec<_>>(),
                "differences": over_least.iter().flat_map(|(least, list)| {
                    list.iter().map(|(at, d)| difference_json(fits, at, least, d))
                }).collect::<Vec<_>>(),
            },
            "notes": said,
        }),
    }
}

fn setting_json(opened: &Opened, fits: &Fits<'_>, s: &AdjustedSetting) -> Value {
    let p = &s.draw;
    let c = s.capacity.as_ref();
    json!({
        "mode": fits.draw.data.modes.get(p.at.mode),
        "fan": fan_json(&fits.draw.data, p.at.level),
        "runs": s.runs.iter().filter_map(|r| Some(json!({
            "run": opened.bench.points.get(r.point)?.run,
            "measured_w": r.measured_w,
            "adjusted_w": r.adjusted_w,
        }))).collect::<Vec<_>>(),
        "draw_w": p.draw_w,
        "mean_low_w": p.mean_w.0,
        "mean_high_w": p.mean_w.1,
        "capacity_w": c.map(|c| c.capacity_w),
        "capacity_mean_low_w": c.map(|c| c.mean_w.0),
        "capacity_mean_high_w": c.map(|c| c.mean_w.1),
        "eer": s.eer.map(|e| e.value),
        "eer_low": s.eer.map(|e| e.mean.0),
        "eer_high": s.eer.map(|e| e.mean.1),
        "support": p.support,
    })
}

fn difference_json(fits: &Fits<'_>, at: &At, least: &At, d: &Difference) -> Value {
    let data = &fits.draw.data;
    json!({
        "mode": data.modes.get(at.mode),
        "fan": fan_json(data, at.level),
        "over_mode": data.modes.get(least.mode),
        "over_fan": fan_json(data, least.level),
        "value_w": d.value_w,
        "low_w": d.mean_w.0,
        "high_w": d.mean_w.1,
    })
}

fn remarks(
    fits: &Fits<'_>,
    args: &PredictArgs,
    (intake_c, ambient_c): (f64, f64),
    settings: &[AdjustedSetting],
    system: System,
) -> Vec<String> {
    let data = &fits.draw.data;
    let mut notes = Vec::new();
    if args.intake.is_empty() || args.at.ambient.is_none() && fits.ambient_known {
        let own = match (
            args.intake.is_empty(),
            args.at.ambient.is_none() && fits.ambient_known,
        ) {
            (true, true) => "intake and ambient are",
            (true, false) => "intake is",
            _ => "ambient is",
        };
        notes.push(format!(
            "The common {own} the runs' own mean, rounded to 0.1 degC; --intake and --ambient set others."
        ));
    }
    notes.push(SHARED_NOTE.to_owned());
    if fits.capacity.map(|c| c.0) == Some(CapacityKind::Sensible) {
        notes.push(
            "Capacity and EER are of the sensible part only: outlet humidity is missing."
                .to_owned(),
        );
    }
    notes.extend(ambient_caution(data, Some(ambient_c), intake_c, system));
    for s in settings {
        for note in crate::predict::prediction_notes(data, &s.draw, system) {
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
    }
    notes
}
