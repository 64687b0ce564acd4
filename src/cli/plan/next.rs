//! `steadydraw plan BENCH --next`: the one further run that most narrows a question.

use serde_json::{Value, json};

use super::PlanArgs;
use crate::bench::Kind;
use crate::cli::settings::{label_json, settings};
use crate::cli::words::Words;
use crate::cli::{Answer, CliError, Common, open};
use crate::coupling::{FurtherRuns, Options, assess, further_runs};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{At, DrawData};
use crate::plan::CAUTIONS;
use crate::predict::explain;
use crate::quantity::Dimension;
use crate::report::tables::{Cell, Column, Table};

/// What is to be narrowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Target {
    /// How the compressor side follows airflow
    Elasticity,
    /// The long-run mean draw at --intake, --mode and --fan
    Predict,
}

/// Runs that are shown.
const SHOWN: usize = 6;

/// A further run, ready to be shown.
struct Row {
    kind: Kind,
    mode: String,
    fan: String,
    intake_c: Option<f64>,
    u_after: f64,
    remark: &'static str,
}

/// Answers.
///
/// # Errors
/// [`CliError::Misuse`] where the prediction is not named, [`CliError::NoAnswer`] where the bench tells nothing about the target.
pub(super) fn run(target: Target, args: &PlanArgs, common: &Common) -> Result<Answer, CliError> {
    if common.out.is_some() {
        return Err(CliError::Misuse(
            "--next names one run and writes no files; leave out --out".to_owned(),
        ));
    }
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs yet; plan from scratch with --modes, --fans and --intakes".to_owned(),
        ));
    }
    let label =
        |level: usize| { data.levels.get(level) }.map_or(String::new(), |l| l.label.clone());
    let mode_name = |mode: usize| data.modes.get(mode).cloned().unwrap_or_default();
    let mut notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let (what, unit, u_now, rows, detail): (String, &str, f64, Vec<Row>, Value) = match target {
        Target::Elasticity => {
            let Some(found) = further_runs(bench, &data) else {
                let answer = assess(
                    bench,
                    &data,
                    &Options {
                        permute: false,
                        ..Options::default()
                    },
                );
                let told: Vec<&str> = { answer.would_settle.iter() }
                    .map(|run| run.in_units(common.system()))
                    .collect();
                return Err(CliError::NoAnswer(format!(
                    "the bench gives no elasticity yet, so no single run narrows it. What it takes: {}",
                    told.join(" ")
                )));
            };
            notes.push(JOINS.to_owned());
            if !found.blower_known {
                notes.push("No fan-only runs tell the blower's own draw, so it is only bounded and that decides the width of the interval. Two fan-only runs (compressor off) at each fan level come before any run below; the figures are those of a blower that draws nothing.".to_owned());
            }
            let FurtherRuns {
                elasticity,
                u_now,
                runs,
                ..
            } = found;
            let rows = { runs.into_iter() }
                .map(|r| Row {
                    kind: r.kind,
                    mode: r.mode.map_or(String::new(), mode_name),
                    fan: label(r.level),
                    intake_c: r.intake_c,
                    u_after: r.u_after,
                    remark: if r.tested {
                        ""
                    } else {
                        "setting not run before"
                    },
                })
                .collect();
            (
                format!("the elasticity of {elasticity:.2}"),
                "",
                u_now,
                rows,
                json!({ "target": "elasticity", "value": elasticity }),
            )
        }
        Target::Predict => {
            let (Some(intake), Some(mode), Some(fan)) = (args.intake, &args.mode, &args.fan) else {
                return Err(CliError::Misuse(
                    "say which prediction: --next predict --intake 38degC --mode cruise --fan 3"
                        .to_owned(),
                ));
            };
            let Some((mode, level)) = settings(&data, Some(mode), Some(fan))?.first().copied()
            else {
                return Err(CliError::NoAnswer("no such setting".to_owned()));
            };
            let ambient = args.ambient.unwrap_or(data.ambient_mean);
            let fit = fit_draw(data.clone()).map_err(|e| CliError::NoAnswer(e.to_string()))?;
            let found = explain(bench, &fit, At::new(mode, level, intake, ambient), None)
                .ok_or_else(|| {
                    CliError::NoAnswer(
                        "no curve says anything about this setting; run it, twice".to_owned(),
                    )
                })?;
            let rows = { found.further.iter() }
                .map(|r| Row {
                    kind: Kind::Cooling,
                    mode: mode_name(r.at.mode),
                    fan: label(r.at.level),
                    intake_c: Some(r.at.intake),
                    u_after: r.u_after_w,
                    remark: if r.asked { "the condition itself" } else { "" },
                })
                .collect();
            (
                format!("the prediction of {:.1} W", found.draw_w),
                "W",
                found.mean_u_w,
                rows,
                json!({ "target": "predict", "value": found.draw_w, "intake_c": intake, "ambient_c": ambient, "mode": mode_name(mode), "fan": label_json(&label(level)) }),
            )
        }
    };
    let system = common.system();
    let mut table = Table::new(
        format!("Further runs that most narrow {what}"),
        [
            Column::text("kind"),
            Column::text("mode"),
            Column::text("fan"),
            Column::number("intake", system.symbol(Dimension::Temperature)),
            Column::number("standard uncertainty after it", unit),
            Column::number("now", unit),
            Column::text(""),
        ],
    );
    for r in rows.iter().take(SHOWN) {
        let decimals = if unit.is_empty() { 4 } else { 2 };
        table.row([
            Cell::text(r.kind.name()),
            Cell::text(r.mode.as_str()),
            Cell::text(r.fan.as_str()),
            Cell::maybe(
                r.intake_c
                    .map(|c| system.convert(Dimension::Temperature, c)),
                1,
            ),
            Cell::number(r.u_after, decimals),
            Cell::number(u_now, decimals),
            Cell::text(r.remark),
        ]);
    }
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.table(&table);
    let demo = usize::from(opened.demo);
    words.notes(notes.get(demo..).unwrap_or_default(), common.quiet);
    words.heading("Take care");
    for caution in CAUTIONS {
        words.item(caution);
    }
    Ok(Answer {
        words: words.finish(),
        json: json!({
            "schema": 1,
            "command": "plan",
            "bench": bench.title,
            "next": {
                "of": detail,
                "u_now": u_now,
                "runs": rows.iter().map(|r| json!({
                    "kind": r.kind,
                    "mode": (r.kind == Kind::Cooling).then_some(&r.mode),
                    "fan": label_json(&r.fan),
                    "intake_c": r.intake_c,
                    "u_after": r.u_after,
                    "remark": (!r.remark.is_empty()).then_some(r.remark),
                })).collect::<Vec<_>>(),
            },
            "cautions": CAUTIONS,
            "notes": notes,
        }),
    })
}

const JOINS: &str = "A further cooling run is taken to be made on the day of the last block, at the runs' mean ambient; a run on a day of its own tells little, for the day may have a step of its own.";
