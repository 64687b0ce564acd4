//! `steadydraw fit`: draw and capacity curves.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::budget::{make, to_json};
use super::words::Words;
use super::{Answer, CliError, Common, Opened, open};
use crate::bench::Bench;
use crate::fit::candidates::{Candidate, DrawFit, Term, fit_draw};
use crate::fit::forms::{CapacityData, DrawData, VARIABLES};
use crate::predict::{LeftOut, Miss, leave_out};
use crate::quantity::System;
use crate::report::budgets::{
    Shown, airflow, capacities, condensate, contributions, efficiencies, sentences,
};
use crate::report::predictions::misses;
use crate::report::result_tables::{USUAL_HUMIDITY, candidates};
use crate::report::tables::{Cell, Column, Table};

const EXAMPLES: &str = "Examples:
  steadydraw fit my-bench
  steadydraw fit my-bench --paste spreadsheet     equations as formulas of a spreadsheet
  steadydraw fit my-bench --paste latex           equations for a paper
  steadydraw fit my-bench --leave-out             how far off each run is, predicted from the others
  steadydraw fit my-bench --budget                which instrument matters most
  steadydraw fit my-bench --json                  with covariances and every credible curve";

/// Arguments of `fit`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct FitArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// Instead of curves: draw, capacity and EER of each tested setting, and what makes them uncertain
    #[arg(long)]
    pub budget: bool,
    /// Also predict each run, each test condition and each block from all others, and say how far off that is
    #[arg(long, conflicts_with = "budget")]
    pub leave_out: bool,
    /// How the equations are written
    #[arg(long, value_enum, default_value_t = Paste::Plain, conflicts_with = "budget")]
    pub paste: Paste,
}

/// Where an equation is to be pasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Paste {
    /// Plain algebra, names with their units
    Plain,
    /// Formula of a spreadsheet: A2 intake in degC, B2 ambient in degC, C2 airflow in m3/h
    Spreadsheet,
    /// For a paper, in mathematics mode
    Latex,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where too few runs are there for any curve.
pub fn run(args: &FitArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    if args.budget {
        return budget(&opened, common);
    }
    let draw_data = DrawData::from_bench(bench);
    let capacity_data = CapacityData::from_bench(bench, &draw_data);
    let draw = fit_draw(draw_data).map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let mut notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let capacity = match capacity_data {
        Ok(c) => {
            if c.kind == crate::fit::forms::CapacityKind::Sensible {
                let wet = c.wet + c.perhaps_wet;
                notes.push(if wet > 0 {
                    format!("Outlet humidity is missing, so the capacity is the sensible part only; in {wet} of {} runs the coil was or may have been wet, so the total is larger.", c.runs.len())
                } else {
                    "Outlet humidity is missing, so the capacity is the sensible part only.".to_owned()
                });
            }
            match fit_draw(c.data) {
                Ok(f) => Some((c.kind, f)),
                Err(e) => {
                    notes.push(format!("No capacity curve: {e}"));
                    None
                }
            }
        }
        Err(e) => {
            notes.push(format!("No capacity curve: {e}."));
            None
        }
    };
    let mut words = Words::start(&bench.title, opened.demo_note());
    curve_words(&mut words, "Draw", &draw, args.paste, common.level);
    if let Some((kind, fit)) = &capacity {
        let title = match kind {
            crate::fit::forms::CapacityKind::Total => "Total cooling capacity",
            crate::fit::forms::CapacityKind::Sensible => "Sensible cooling capacity",
        };
        curve_words(&mut words, title, fit, args.paste, common.level);
    }
    let left_out = args.leave_out.then(|| {
        let all = |fit: &DrawFit| {
            let ways = LeftOut::ALL.into_iter();
            ways.filter_map(|way| leave_out(bench, fit, way)).collect()
        };
        let mut list = vec![("draw", all(&draw))];
        list.extend(capacity.as_ref().map(|(_, f)| ("capacity", all(f))));
        list
    });
    if let Some(list) = &left_out {
        words.table(&misses(bench, list));
    }
    // The demo's note stands at the top already.
    let said = notes.get(usize::from(opened.demo)..).unwrap_or_default();
    let mut said = said.to_vec();
    if common.system() == System::Us {
        said.push(
            "Curves and their equations stay in degC, m3/h and W, in which they were fitted."
                .to_owned(),
        );
    }
    words.notes(&said, common.quiet);
    let mut json = json!({
        "schema": 1,
        "command": "fit",
        "bench": bench.title,
        "level": common.level,
        "draw": best_json(&draw, common.level),
        "draw_candidates": draw.candidates.iter().map(|c| candidate_json(&draw, c, common.level)).collect::<Vec<_>>(),
        "draw_forms_tried": draw.tried,
        "capacity": capacity.as_ref().map(|(kind, f)| {
            let mut v = best_json(f, common.level);
            if let Value::Object(map) = &mut v {
                map.insert("kind".to_owned(), json!(kind));
            }
            v
        }),
        "capacity_candidates": capacity.as_ref().map(|(_, f)| f.candidates.iter().map(|c| candidate_json(f, c, common.level)).collect::<Vec<_>>()),
        "notes": notes,
    });
    if let (Some(list), Value::Object(map)) = (&left_out, &mut json) {
        map.insert("left_out".to_owned(), json!(left_out_json(bench, list)));
    }
    Ok(Answer {
        words: words.finish(),
        json,
    })
}

fn left_out_json(bench: &Bench, list: &[(&'static str, Vec<Miss>)]) -> Vec<Value> {
    let one = |what: &str, m: &Miss| {
        json!({
            "of": what,
            "left_out": m.left_out,
            "times": m.groups,
            "runs": m.runs,
            "silent_runs": m.silent,
            "rms": m.rms,
            "bias": m.bias,
            "largest": m.largest,
            "largest_run": bench.points.get(m.largest_point).map(|p| &p.run),
        })
    };
    let rows = list.iter();
    rows.flat_map(|(what, misses)| misses.iter().map(move |m| one(what, m)))
        .collect()
}

/// The budgets in place of curves.
fn budget(opened: &Opened, common: &Common) -> Result<Answer, CliError> {
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; a budget needs runs with the compressor on".to_owned(),
        ));
    }
    let (budgets, trials) = make(bench, &data, common)?;
    let shown = Shown {
        bench,
        data: &data,
        budgets: &budgets,
        trials: trials.as_ref(),
        system: common.system(),
    };
    let mut words = Words::start(&bench.title, opened.demo_note());
    let sentences = sentences(&shown);
    for sentence in &sentences {
        words.paragraph(sentence);
    }
    let tables = [
        efficiencies(&shown),
        capacities(&shown),
        contributions(&shown),
        airflow(&shown),
        condensate(&shown),
    ];
    for table in tables.iter().flatten() {
        words.table(table);
    }
    let mut notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    if let Err(why) = &budgets.capacity {
        notes.push(format!("No capacity and no EER: {why}."));
    }
    let said = notes.get(usize::from(opened.demo)..).unwrap_or_default();
    words.notes(said, common.quiet);
    Ok(Answer {
        words: words.finish(),
        json: json!({
            "schema": 1,
            "command": "fit",
            "bench": bench.title,
            "level": common.level,
            "budget": to_json(&data, &budgets, trials.as_ref(), &sentences),
            "notes": notes,
        }),
    })
}

fn curve_words(words: &mut Words, title: &str, fit: &DrawFit, paste: Paste, level: f64) {
    let best = fit.best();
    let percent = format!("{:.0} % interval", 100.0 * level);
    words.heading(title);
    words.paragraph(&format!(
        "{} forms tried on {} runs. Most credible ({:.0} % of the weight): {}.",
        fit.tried,
        best.fit.n,
        100.0 * best.weight,
        best.form.words(&fit.data)
    ));
    words.paragraph(&format!(
        "Runs scatter about it by {:.1} W ({:.2} %) with {} degrees of freedom; a run predicted without itself is missed by {:.1} W (root mean square).",
        best.relative_sd * fit.typical_draw_w, 100.0 * best.relative_sd, best.fit.dof(), best.loo_rmse_w
    ));
    if let Some(sd) = fit.block_sd() {
        words.paragraph(&format!(
            "Blocks (days, battery charges) differ beyond that scatter by about {:.2} % (standard deviation, expected from these runs); every interval of a prediction holds it.",
            100.0 * sd
        ));
    }
    let mut terms = Table::new(
        "Its terms, on the logarithmic scale",
        [
            Column::text("term"),
            Column::number("value", ""),
            Column::number("standard error", ""),
            Column::interval(percent, ""),
            Column::text("unit"),
        ],
    );
    for t in fit.terms(best, level) {
        let decimals = crate::report::words::decimals_for(t.std_error.unwrap_or(0.01));
        terms.row([
            Cell::text(t.name.as_str()),
            Cell::number(t.value, decimals),
            Cell::maybe(t.std_error, decimals),
            match (t.low, t.high) {
                (Some(l), Some(h)) => Cell::interval(l, h, decimals),
                _ => Cell::Absent,
            },
            Cell::text(t.unit),
        ]);
    }
    words.table(&terms);
    words.heading("Equations to paste (degC, m3/h, W)");
    match paste {
        Paste::Plain => {}
        Paste::Spreadsheet => {
            let cells = VARIABLES.map(|v| format!("{} {}", v.cell, v.words));
            words.paragraph(&format!("Cells: {}.", cells.join("; ")));
        }
        Paste::Latex => {
            let symbols = VARIABLES.map(|v| format!("{} {}", v.symbol, v.words));
            words.paragraph(&format!("Symbols: {}.", symbols.join("; ")));
        }
    }
    if best.form.moisture {
        words.paragraph(USUAL_HUMIDITY);
    }
    for e in best.form.equations(&fit.data, &best.fit.coef) {
        words.paragraph(&format!("{}, fan {}:", e.modes, e.fan));
        let pasted = match paste {
            Paste::Plain => None,
            Paste::Spreadsheet => e.spreadsheet(),
            Paste::Latex => e.latex(),
        };
        words.verbatim(pasted.as_deref().unwrap_or(&e.text));
    }
    words.table(&candidates(fit));
}

fn term_json(t: &Term) -> Value {
    json!({"name": t.name, "value": t.value, "std_error": t.std_error, "low": t.low, "high": t.high, "unit": t.unit})
}

/// The most credible curve, its equations written in every way.
fn best_json(fit: &DrawFit, level: f64) -> Value {
    let best = fit.best();
    let mut value = candidate_json(fit, best, level);
    let equations = best.form.equations(&fit.data, &best.fit.coef);
    value["between_blocks_sd_relative"] = json!(fit.block_sd());
    value["equations"] = equations
        .iter()
        .map(|e| {
            json!({
                "modes": e.modes,
                "fan": e.fan,
                "text": e.text,
                "spreadsheet": e.spreadsheet(),
                "latex": e.latex(),
            })
        })
        .collect();
    value
}

fn candidate_json(fit: &DrawFit, c: &Candidate, level: f64) -> Value {
    let equations = c.form.equations(&fit.data, &c.fit.coef);
    json!({
        "form": c.form.words(&fit.data),
        "weight": c.weight,
        "terms": fit.terms(c, level).iter().map(term_json).collect::<Vec<_>>(),
        "covariance": c.fit.covariance().map(|v| v.row_iter().map(|r| r.iter().copied().collect::<Vec<f64>>()).collect::<Vec<_>>()),
        "residual_sd_w": c.relative_sd * fit.typical_draw_w,
        "residual_sd_relative": c.relative_sd,
        "n": c.fit.n,
        "dof": c.fit.dof(),
        "aicc": c.aicc,
        "loo_rmse_w": c.loo_rmse_w,
        "equation": equations.first().map(|e| e.text.clone()),
        "equations": equations,
    })
}
