//! `steadydraw predict`: draw and capacity where nothing was tested.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::bench::{Channel, Kind, did_you_mean};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{At, CapacityData, CapacityKind, DrawData, FlowScale};
use crate::predict::{
    Prediction, Support, ambient_caution, predict, predict_capacity, prediction_notes,
};
use crate::quantity::{Dimension, System, parse_quantity};
use crate::report::tables::{Cell, Column, Table};

/// Arguments of `predict`.
#[derive(clap::Args, Debug)]
pub struct PredictArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// Intake temperature with its unit, such as 35degC; may be given several times
    #[arg(long, required = true, value_name = "TEMPERATURE", value_delimiter = ',', value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intake: Vec<f64>,
    /// Ambient (condenser-side) temperature with its unit; the runs' mean where none is given
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub ambient: Option<f64>,
    /// Only this mode
    #[arg(long, value_name = "MODE")]
    pub mode: Option<String>,
    /// Only this fan level
    #[arg(long, value_name = "LEVEL")]
    pub fan: Option<String>,
}

fn parse_temperature(text: &str) -> Result<f64, String> {
    let v = parse_quantity(text, Dimension::Temperature)
        .map_err(|e| format!("{e}; write it like 35degC"))?;
    if (-40.0..=90.0).contains(&v) {
        Ok(v)
    } else {
        Err("an air temperature between -40 and 90 degC is expected".to_owned())
    }
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for an unknown mode or level, [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where the data cannot answer.
pub fn run(args: &PredictArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref())?;
    let bench = &opened.bench;
    let draw_data = DrawData::from_bench(bench);
    if draw_data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; a prediction needs runs with the compressor on"
                .to_owned(),
        ));
    }
    let settings = settings(&draw_data, args)?;
    let lacking = |channel| {
        bench
            .of_kind(Kind::Cooling)
            .filter(|p| p.get(channel).is_none())
            .count()
    };
    let runs = draw_data.rows.len();
    let n = lacking(Channel::IntakeTemp);
    if n > 0 {
        return Err(CliError::NoAnswer(format!(
            "{n} of {runs} cooling runs come without an intake temperature, so the bench cannot say what an intake temperature does; record intake_temp in every run"
        )));
    }
    let n = lacking(Channel::AmbientTemp);
    let ambient_known = n == 0;
    if args.ambient.is_some() && !ambient_known {
        return Err(CliError::NoAnswer(format!(
            "{n} of {runs} cooling runs come without an ambient temperature, so the bench cannot say what another ambient does; leave --ambient out, or record ambient_temp in every run"
        )));
    }
    let capacity_data = CapacityData::from_bench(bench, &draw_data);
    let fit = fit_draw(draw_data).map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let capacity = capacity_data
        .ok()
        .and_then(|c| Some((c.kind, fit_draw(c.data).ok()?)));
    let ambient = args.ambient.unwrap_or(fit.data.ambient_mean);
    let mut rows = Vec::new();
    for intake in &args.intake {
        for (mode, level) in &settings {
            let at = At::new(*mode, *level, *intake, ambient);
            if let Some(p) = predict(bench, &fit, at, common.level) {
                let c = capacity
                    .as_ref()
                    .and_then(|(_, f)| predict_capacity(bench, f, at, common.level));
                rows.push((p, c));
            }
        }
    }
    if rows.is_empty() {
        let why = if fit.data.flow_scale == FlowScale::None {
            "and neither airflow nor names put the fan levels in order, so it cannot be read off the others"
        } else {
            "and every credible curve has a value of its own for each tested setting"
        };
        return Err(CliError::NoAnswer(format!(
            "no curve says anything about this setting: it was never tested, {why}; run it, twice"
        )));
    }
    let warmest = args
        .intake
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let mut notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let cautions = |system| ambient_caution(&fit.data, args.ambient, warmest, system);
    notes.extend(cautions(System::Si));
    let kind = capacity.as_ref().map(|(k, _)| *k);
    let sensible = (kind == Some(CapacityKind::Sensible))
        .then(|| "Capacity is the sensible part only: outlet humidity is missing.".to_owned());
    notes.extend(sensible.clone());
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.table(&table(&fit.data, &rows, kind, ambient_known, common));
    let mut said = cautions(common.system());
    said.extend(sensible);
    for (p, _) in &rows {
        for note in prediction_notes(&fit.data, p, common.system()) {
            if !said.contains(&note) {
                said.push(note);
            }
        }
    }
    words.notes(&said, common.quiet);
    let json = json!({
        "schema": 1,
        "command": "predict",
        "bench": bench.title,
        "level": common.level,
        "capacity_kind": kind,
        "predictions": rows.iter().map(|(p, c)| {
            json!({
                "mode": fit.data.modes.get(p.at.mode),
                "fan": fan_json(&fit.data, p),
                "intake_c": p.at.intake,
                "ambient_c": ambient_known.then_some(p.at.ambient),
                "draw_w": p.draw_w,
                "run_low_w": p.run_w.0,
                "run_high_w": p.run_w.1,
                "mean_low_w": p.mean_w.0,
                "mean_high_w": p.mean_w.1,
                "capacity_w": c.map(|c| c.capacity_w),
                "capacity_mean_low_w": c.map(|c| c.mean_w.0),
                "capacity_mean_high_w": c.map(|c| c.mean_w.1),
                "support": p.support,
                "notes": prediction_notes(&fit.data, p, System::Si),
            })
        }).collect::<Vec<_>>(),
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}

/// Fan levels stay what the table wrote: a number where it is one.
fn fan_json(data: &DrawData, p: &Prediction) -> Value {
    let label = data.levels.get(p.at.level).map_or("", |l| l.label.as_str());
    match label.parse::<i64>() {
        Ok(n) => json!(n),
        Err(_) => json!(label),
    }
}

/// The settings asked for: all tested ones, or those of the mode and level named.
fn settings(data: &DrawData, args: &PredictArgs) -> Result<Vec<(usize, usize)>, CliError> {
    let mode = args
        .mode
        .as_deref()
        .map(|m| find("mode", m, data.modes.iter().map(String::as_str)))
        .transpose()?;
    let level = args
        .fan
        .as_deref()
        .map(|f| find("fan level", f, data.levels.iter().map(|l| l.label.as_str())))
        .transpose()?;
    let mut list = Vec::new();
    for m in 0..data.modes.len() {
        for l in 0..data.levels.len() {
            let asked = mode.is_none_or(|x| x == m) && level.is_none_or(|x| x == l);
            let tested = data
                .tested
                .get(m)
                .and_then(|t| t.get(l))
                .is_some_and(|n| *n > 0);
            let named = mode.is_some() && level.is_some();
            if asked && (tested || named) {
                list.push((m, l));
            }
        }
    }
    if list.is_empty() {
        return Err(CliError::NoAnswer("no tested setting matches; name both --mode and --fan to ask about one that was not tested".to_owned()));
    }
    Ok(list)
}

fn find<'a>(
    what: &str,
    asked: &str,
    have: impl Iterator<Item = &'a str>,
) -> Result<usize, CliError> {
    let have: Vec<&str> = have.collect();
    if let Some(i) = have.iter().position(|h| *h == asked) {
        return Ok(i);
    }
    let names: Vec<&str> = have.iter().copied().filter(|h| !h.is_empty()).collect();
    Err(CliError::Misuse(if names.is_empty() {
        format!(
            "the bench names no {what}s; leave --{} out",
            what.split(' ').next().unwrap_or(what)
        )
    } else {
        format!(
            "the bench has no {what} `{asked}`; it has {}{}",
            names.join(", "),
            did_you_mean(asked, names.iter().copied())
        )
    }))
}

fn table(
    data: &DrawData,
    rows: &[(Prediction, Option<crate::predict::CapacityPrediction>)],
    kind: Option<CapacityKind>,
    ambient_known: bool,
    common: &Common,
) -> Table {
    let system = common.system();
    let temperature = system.symbol(Dimension::Temperature);
    let percent = format!("{:.0} %", 100.0 * common.level);
    let capacity_name = match kind {
        Some(CapacityKind::Total) => "total cooling",
        _ => "sensible cooling",
    };
    let mut t = Table::new(
        "Predicted draw and capacity",
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("intake", temperature),
            Column::number("ambient", temperature),
            Column::number("draw", "W"),
            Column::interval(format!("further run, {percent}"), "W"),
            Column::interval(format!("mean, {percent}"), "W"),
            Column::number(capacity_name, system.capacity_symbol()),
            Column::text("support"),
        ],
    );
    for (p, c) in rows {
        let capacity_decimals = 0;
        t.row([
            Cell::text(data.modes.get(p.at.mode).map_or("", String::as_str)),
            Cell::text(data.levels.get(p.at.level).map_or("", |l| l.label.as_str())),
            Cell::number(system.convert(Dimension::Temperature, p.at.intake), 1),
            if ambient_known {
                Cell::number(system.convert(Dimension::Temperature, p.at.ambient), 1)
            } else {
                Cell::Absent
            },
            Cell::number(p.draw_w, 1),
            Cell::interval(p.run_w.0, p.run_w.1, 1),
            Cell::interval(p.mean_w.0, p.mean_w.1, 1),
            Cell::maybe(
                c.map(|c| system.convert_capacity(c.capacity_w)),
                capacity_decimals,
            ),
            Cell::text(match p.support {
                Support::Inside => "inside",
                Support::Outside => "outside",
            }),
        ]);
    }
    t
}
