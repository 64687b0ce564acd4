//! `steadydraw check`: what is there, what is wrong, what is confounded or drifting.

use std::path::PathBuf;

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::bench::{Kind, Severity};
use crate::findings::check;
use crate::fit::forms::DrawData;

/// Arguments of `check`.
#[derive(clap::Args, Debug)]
pub struct CheckArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bench that cannot be read.
pub fn run(args: &CheckArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref())?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    let findings = check(bench);
    let count = |kind| bench.of_kind(kind).count();
    let mut words = Words::start(&bench.title, opened.demo_note());
    words.paragraph(&format!(
        "{}: {} cooling runs, {} fan-only, {} standby; modes {}; fan levels {}; {} blocks.",
        bench.unit.name,
        count(Kind::Cooling),
        count(Kind::FanOnly),
        count(Kind::Standby),
        data.modes.join(", "),
        data.levels
            .iter()
            .map(|l| l.label.as_str())
            .collect::<Vec<_>>()
            .join(", "),
        data.blocks.len()
    ));
    if data.intake_varied || data.ambient_varied {
        let all = |f: fn(&crate::fit::forms::DrawRow) -> f64| {
            data.rows
                .iter()
                .map(f)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                    (a.min(v), b.max(v))
                })
        };
        let (i, a) = (all(|r| r.intake), all(|r| r.ambient));
        words.paragraph(&format!(
            "Intake {:.1} to {:.1} degC, ambient {:.1} to {:.1} degC.",
            i.0, i.1, a.0, a.1
        ));
    }
    for (severity, title) in [
        (Severity::Error, "Stands in the way"),
        (Severity::Warning, "Weakens an answer"),
        (Severity::Note, "Good to know"),
    ] {
        let own: Vec<_> = findings.iter().filter(|f| f.severity == severity).collect();
        if own.is_empty() || (common.quiet && severity == Severity::Note) {
            continue;
        }
        words.heading(title);
        for f in own {
            let place = match (&f.file, f.line) {
                (Some(file), Some(line)) => format!(" [{file}, line {line}]"),
                _ => String::new(),
            };
            words.item(&format!("{}: {}{place}", f.code, f.message));
        }
    }
    if findings.is_empty() {
        words.paragraph("Nothing to find fault with.");
    }
    let notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let json = json!({
        "schema": 1,
        "command": "check",
        "bench": bench.title,
        "unit": bench.unit.name,
        "runs": { "cooling": count(Kind::Cooling), "fan_only": count(Kind::FanOnly), "standby": count(Kind::Standby) },
        "modes": data.modes,
        "fan_levels": data.levels.iter().map(|l| l.label.clone()).collect::<Vec<_>>(),
        "blocks": data.blocks,
        "findings": findings,
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}
