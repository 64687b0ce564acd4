//! `steadydraw coupling`: are fan level and compressor tied together?

use std::path::PathBuf;

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::coupling::{DEFAULT_ALLOWANCE, DEFAULT_MARGIN, Options, assess};
use crate::fit::forms::DrawData;
use crate::report::result_tables::{elasticities, modes_alike};
use crate::report::tables::{Cell, Column, Table};

const EXAMPLES: &str = "Examples:
  steadydraw coupling                       the built-in demo
  steadydraw coupling my-bench
  steadydraw coupling my-bench --allowance 0.1
  steadydraw coupling my-bench --margin 0.05 --level 99%

Verdicts: coupled where the whole interval of the elasticity lies beyond the allowance, independent where it lies
inside, else undecided; then the answer names the runs that would settle it.";

/// Arguments of `coupling`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct CouplingArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// How much a fixed-speed compressor's draw may follow airflow by itself, as an elasticity
    #[arg(long, value_name = "ELASTICITY", default_value_t = DEFAULT_ALLOWANCE, value_parser = parse_allowance, allow_negative_numbers = true)]
    pub allowance: f64,
    /// Relative difference of draw within which two modes count as the same
    #[arg(long, value_name = "SHARE", default_value_t = DEFAULT_MARGIN, value_parser = parse_margin)]
    pub margin: f64,
}

pub(super) fn parse_margin(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v > 0.0 && v < 1.0 => Ok(v),
        _ => Err("a margin is a share above 0 and under 1, such as 0.03".to_owned()),
    }
}

pub(super) fn parse_allowance(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v > 0.0 && v <= 2.0 => Ok(v),
        _ => Err("an allowance is an elasticity above 0 and up to 2, such as 0.2".to_owned()),
    }
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where there are no cooling runs.
pub fn run(args: &CouplingArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; coupling is about runs with the compressor on"
                .to_owned(),
        ));
    }
    let answer = assess(
        bench,
        &data,
        &Options {
            allowance: args.allowance,
            level: common.level,
            margin: args.margin,
            seed: common.seed,
            permute: true,
        },
    );
    let system = common.system();
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.heading(&format!("Verdict: {}", answer.verdict.name()));
    for sentence in &answer.sentences {
        words.paragraph(sentence.in_units(system));
    }
    if !answer.would_settle.is_empty() {
        words.heading(answer.settles());
        for run in &answer.would_settle {
            words.item(run.in_units(system));
        }
    }
    words.table(&elasticities(&answer, common.level));
    if !answer.alike.is_empty() {
        words.table(&modes_alike(&answer.alike, args.margin, common.level));
    }
    words.heading("Lines of evidence");
    for line in &answer.evidence {
        let p = line
            .p_value
            .map_or(String::new(), |p| format!(" {}.", p_words(p)));
        words.item(&format!(
            "{} ({}): {}{p}",
            line.name, line.says, line.detail
        ));
    }
    if !answer.confounders.is_empty() {
        words.heading("What else differed with the fan level");
        for c in &answer.confounders {
            words.item(c.detail.in_units(system));
        }
    }
    if !answer.fan_draw.levels.is_empty() {
        let mut table = Table::new(
            "The blower's own draw",
            [
                Column::text("fan"),
                Column::number("draw", "W"),
                Column::number("standard uncertainty", "W"),
                Column::number("fan-only runs", ""),
            ],
        );
        for l in &answer.fan_draw.levels {
            table.row([
                Cell::text(l.fan.as_str()),
                Cell::number(l.draw_w, 1),
                Cell::number(l.u_w, 2),
                Cell::number(l.runs as f64, 0),
            ]);
        }
        words.table(&table);
    }
    let notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let json = json!({
        "schema": 1,
        "command": "coupling",
        "bench": bench.title,
        "verdict": answer.verdict,
        "p_value": answer.p_value,
        "elasticity": answer.elasticity,
        "allowance": answer.allowance.up,
        "allowance_falling": answer.allowance.down,
        "level": common.level,
        "sentences": answer.sentences,
        "fan_draw": answer.fan_draw,
        "evidence": answer.evidence,
        "per_mode": answer.per_mode,
        "modes_differ": answer.modes_differ,
        "modes_alike": answer.alike,
        "margin": args.margin,
        "confounders": answer.confounders,
        "would_settle": answer.would_settle,
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}

/// A p value for readers, such as `p = 0.032`: two digits, and no zeros that were never computed.
fn p_words(p: f64) -> String {
    if p < 1e-4 {
        "p < 0.0001".to_owned()
    } else {
        format!("{p:.2e}")
            .parse::<f64>()
            .map_or_else(|_| format!("p = {p:.4}"), |v| format!("p = {v}"))
    }
}
