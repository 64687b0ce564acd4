//! `steadydraw claims`: the maker's figures held against the bench.

use std::path::PathBuf;

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::budget::Budgets;
use crate::findings::{Fits, hold_claims};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{CapacityData, DrawData};
use crate::report::claims::{headline, reasons, table};

/// Arguments of `claims`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "The maker's figures stand in bench.toml, each alone or with the conditions it is stated for:\n  [unit.claims]\n  mass = \"17 kg\"\n  draw_high = \"290 W\"\n  cooling = { value = \"900 W\", tolerance = \"5 %\", intake = \"27 degC\", ambient = \"35 degC\", mode = \"cruise\", fan = 5 }\n  airflow = { value = \"330 m3/h\", fan = 5 }\n  current_high = { value = \"11.5 A\", rating = \"T1\" }\n\nrating names standard conditions in place of temperatures: T1 (27 degC intake, 19 degC wet bulb, 35 degC ambient), T2, T3, A.\nintake_wet_bulb states the humidity.\n\nExamples:\n  steadydraw claims my-bench\n  steadydraw claims my-bench --level 90% --json\n\nA figure fails only at conditions that the maker states and the bench covers; otherwise it holds over everything tested, or the\nbench cannot tell and says why."
)]
pub struct ClaimsArgs {
    /// Bench folder; the demo where none is given
    pub bench: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where the maker states nothing or nothing was run.
pub fn run(args: &ClaimsArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    if bench.unit.claims.is_empty() {
        return Err(CliError::NoAnswer(
            "bench.toml states no figures of the maker's; write them under [unit.claims], such as cooling = \"900 W\" or draw_high = { value = \"290 W\", intake = \"27 degC\", ambient = \"35 degC\" }".to_owned(),
        ));
    }
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; the maker's figures are held against runs with the compressor on".to_owned(),
        ));
    }
    let capacity = CapacityData::from_bench(bench, &data)
        .map_err(|e| e.to_string())
        .and_then(|c| {
            let fit = fit_draw(c.data).map_err(|e| e.to_string())?;
            Ok((c.kind, fit))
        });
    let budgets = Budgets::of(bench, &data, common.level).ok();
    let draw = fit_draw(data).map_err(|e| e.to_string());
    let fits = Fits {
        draw: draw.as_ref().map_err(Clone::clone),
        capacity: capacity
            .as_ref()
            .map(|(k, f)| (*k, f))
            .map_err(Clone::clone),
        budgets: budgets.as_ref(),
    };
    let held = hold_claims(bench, &fits, common.level);
    let notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.paragraph(&headline(&held));
    words.table(&table(&held, common.level, common.system()));
    words.gap();
    for reason in reasons(&held, common.system()) {
        words.item(&reason);
    }
    let json = json!({
        "schema": 1,
        "command": "claims",
        "bench": bench.title,
        "level": common.level,
        "claims": held,
        "summary": headline(&held),
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}
