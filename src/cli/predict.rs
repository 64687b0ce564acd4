//! `steadydraw predict`: draw and capacity where nothing was tested.

mod adjusted;
mod told;

use std::path::PathBuf;

use serde_json::json;

use super::settings::{AskedAt, fan_json, settings};
use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::bench::{Channel, Kind};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{At, CapacityData, CapacityKind, DrawData, FlowScale};
use crate::predict::{
    ASSUMED_SOURCE, AmbientAssumption, CapacityPrediction, Explanation, Prediction, Support,
    ambient_caution, apart_note, assumed_note, explain, predict_assuming,
    predict_capacity_assuming, prediction_notes,
};
use crate::quantity::{Dimension, System, parse_quantity};
use crate::report::tables::{Cell, Column, Table};

/// Arguments of `predict`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  steadydraw predict my-bench --intake 35degC --ambient 38degC\n  steadydraw predict my-bench --intake 35degC --mode cruise --fan 3 --explain\n  steadydraw predict my-bench --adjusted                   every tested setting at the same conditions\n  steadydraw predict my-bench --intake 35degC --ambient 40degC --assume-ambient-slope published\n  steadydraw predict my-bench --intake 35degC --ambient 40degC \\\n      --assume-ambient-slope \"1.6 to 2.2 %/K\""
)]
pub struct PredictArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// Intake temperature with its unit, such as 35degC; may be given several times
    #[arg(long, value_name = "TEMPERATURE", value_delimiter = ',', value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intake: Vec<f64>,
    /// Ambient and settings
    #[command(flatten)]
    pub at: AskedAt,
    /// Say for each prediction which curves and runs speak in it, what makes its interval wide, and which run would narrow it
    #[arg(long)]
    pub explain: bool,
    /// Every tested setting at the same conditions: the runs' mean intake and ambient, or those given
    #[arg(long)]
    pub adjusted: bool,
    /// Where the runs do not cover the ambient: assume that the draw follows it by the published slope of fixed-speed units, or by one
    /// of your own such as "1.6 to 2.2 %/K"; labelled in every answer
    #[arg(long, value_name = "published|SLOPE", value_parser = parse_slope, allow_hyphen_values = true)]
    pub assume_ambient_slope: Option<AmbientAssumption>,
}

pub(super) fn parse_slope(text: &str) -> Result<AmbientAssumption, String> {
    AmbientAssumption::parse(text).map_err(|e| e.to_string())
}

pub(super) fn parse_temperature(text: &str) -> Result<f64, String> {
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
    refuse_misuse(args)?;
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let draw_data = DrawData::from_bench(bench);
    if draw_data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; a prediction needs runs with the compressor on"
                .to_owned(),
        ));
    }
    let settings = settings(&draw_data, args.at.mode.as_deref(), args.at.fan.as_deref())?;
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
    if args.at.ambient.is_some() && !ambient_known {
        return Err(CliError::NoAnswer(format!(
            "{n} of {runs} cooling runs come without an ambient temperature, so the bench cannot say what another ambient does; leave --ambient out, or record ambient_temp in every run"
        )));
    }
    let capacity_data = CapacityData::from_bench(bench, &draw_data);
    let fit = fit_draw(draw_data).map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let capacity = capacity_data
        .map_err(|e| e.to_string())
        .and_then(|c| Ok((c.kind, fit_draw(c.data).map_err(|e| e.to_string())?)));
    let no_capacity = { capacity.as_ref().err() }
        .map(|why| format!("No capacity: {}.", why.trim_end_matches('.')));
    let capacity = capacity.ok();
    if args.adjusted {
        let fits = adjusted::Fits {
            draw: &fit,
            capacity: capacity.as_ref().map(|(kind, f)| (*kind, f)),
            ambient_known,
        };
        return Ok(adjusted::answer(&opened, &fits, &settings, args, common));
    }
    let ambient = args.at.ambient.unwrap_or(fit.data.ambient_mean);
    let steps = match &args.assume_ambient_slope {
        Some(a) => Some(
            a.steps(&fit.data, ambient)
                .map_err(|e| CliError::Misuse(format!("{e}; leave --assume-ambient-slope out")))?,
        ),
        None => None,
    };
    let (draw_step, capacity_step) = steps.unzip();
    let mut rows = Vec::new();
    for intake in &args.intake {
        for (mode, level) in &settings {
            let at = At::new(*mode, *level, *intake, ambient);
            if let Some(draw) = predict_assuming(bench, &fit, at, common.level, draw_step) {
                rows.push(Told {
                    capacity: capacity.as_ref().and_then(|(_, f)| {
                        predict_capacity_assuming(bench, f, at, common.level, capacity_step)
                    }),
                    explanation: if args.explain {
                        explain(bench, &fit, at, draw_step)
                    } else {
                        None
                    },
                    draw,
                });
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
    let kind = capacity.as_ref().map(|(k, _)| *k);
    let sensible = (kind == Some(CapacityKind::Sensible))
        .then(|| "Capacity is the sensible part only: outlet humidity is missing.".to_owned());
    let cautions = |system| match (draw_step, capacity_step) {
        (Some(draw), Some(cooling)) => {
            let own = args.assume_ambient_slope.is_some_and(|a| !a.published);
            let mut said = vec![
                assumed_note("draw", &draw, ambient, system),
                if own {
                    format!(
                        "The slope of the draw was given with the question; the published one is that of {ASSUMED_SOURCE}."
                    )
                } else {
                    format!(
                        "Source of the assumed slopes: {ASSUMED_SOURCE}. A unit whose control holds back when hot does not follow them."
                    )
                },
            ];
            if kind.is_some() {
                said.push(assumed_note("capacity", &cooling, ambient, system));
            }
            said
        }
        _ => ambient_caution(&fit.data, args.at.ambient, warmest, system),
    };
    let mut notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    notes.extend(cautions(System::Si));
    let apart = apart_note(bench, &fit);
    notes.extend(sensible.clone());
    notes.extend(apart.clone());
    notes.extend(no_capacity.clone());
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.table(&table(&fit.data, &rows, kind, ambient_known, common));
    for row in &rows {
        told::explanation(&mut words, bench, &fit, row, common.system());
    }
    let mut said = cautions(common.system());
    said.extend(sensible);
    said.extend(apart);
    said.extend(no_capacity);
    for row in &rows {
        for note in prediction_notes(&fit.data, &row.draw, common.system()) {
            if !said.contains(&note) {
                said.push(note);
            }
        }
    }
    // An assumption is part of the answer, so it is said even where notes are not wanted.
    words.notes(&said, common.quiet && draw_step.is_none());
    let json = json!({
        "schema": 1,
        "command": "predict",
        "bench": bench.title,
        "level": common.level,
        "capacity_kind": kind,
        "predictions": rows.iter().map(|row| told::json(bench, &fit, row, capacity_step, ambient_known)).collect::<Vec<_>>(),
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}

/// A prediction and what goes with it.
struct Told {
    draw: Prediction,
    capacity: Option<CapacityPrediction>,
    explanation: Option<Explanation>,
}

/// Command lines that make no sense, whatever the bench.
fn refuse_misuse(args: &PredictArgs) -> Result<(), CliError> {
    let misuse = |text: &str| Err(CliError::Misuse(text.to_owned()));
    if args.intake.is_empty() && !args.adjusted {
        return misuse(
            "say where: --intake for a temperature of the air going in (several may be given), or --adjusted for every tested setting at the runs' own mean conditions.\n  steadydraw predict my-bench --intake 35degC --ambient 38degC\n  steadydraw predict my-bench --intake 30degC,35degC --mode cruise --fan 3 --explain\n  steadydraw predict my-bench --adjusted",
        );
    }
    if args.assume_ambient_slope.is_some() && args.adjusted {
        return misuse(
            "--adjusted compares what was measured, so nothing is assumed in it; ask for the hot day by itself with --intake and --ambient",
        );
    }
    if args.assume_ambient_slope.is_some() && args.at.ambient.is_none() {
        return misuse(
            "--assume-ambient-slope says how the draw follows ambient air; name the ambient too, such as --ambient 40degC",
        );
    }
    if args.adjusted && args.explain {
        return misuse(
            "--explain is for single predictions; ask with --intake in place of --adjusted",
        );
    }
    if args.adjusted && args.intake.len() > 1 {
        return misuse(
            "--adjusted brings all settings to one intake; give --intake once, or not at all",
        );
    }
    Ok(())
}

fn table(
    data: &DrawData,
    rows: &[Told],
    kind: Option<CapacityKind>,
    ambient_known: bool,
    common: &Common,
) -> Table {
    let system = common.system();
    let temperature = system.symbol(Dimension::Temperature);
    let percent = format!("{:.0} %", 100.0 * common.level);
    let (title, cooling) = match kind {
        Some(CapacityKind::Total) => ("Predicted draw and capacity", Some("total cooling")),
        Some(CapacityKind::Sensible) => ("Predicted draw and capacity", Some("sensible cooling")),
        None => ("Predicted draw", None),
    };
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("intake", temperature),
        Column::number("ambient", temperature),
        Column::number("draw", "W"),
        Column::interval(format!("further run, {percent}"), "W"),
        Column::interval(format!("mean, {percent}"), "W"),
    ];
    columns.extend(cooling.map(|name| Column::number(name, system.capacity_symbol())));
    columns.push(Column::text("support"));
    let mut t = Table::new(title, columns);
    for row in rows {
        let (p, c) = (&row.draw, &row.capacity);
        let mut cells = vec![
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
        ];
        cells.extend(cooling.map(|_| {
            let watts = c.as_ref().map(|c| c.capacity_w);
            Cell::maybe(watts.map(|w| system.convert_capacity(w)), 0)
        }));
        cells.push(Cell::text(match (p.support, p.assumed) {
            (Support::Inside, None) => "inside",
            (Support::Outside, None) => "outside",
            (_, Some(_)) => "assumed",
        }));
        t.row(cells);
    }
    t
}
