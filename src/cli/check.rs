//! `steadydraw check`: what is there, what is wrong, what is confounded or drifting.

use std::path::PathBuf;

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common, open};
use crate::bench::{Channel, Kind, Place, Severity};
use crate::findings::check;
use crate::fit::forms::DrawData;
use crate::quantity::Dimension;

const EXAMPLES: &str = "Examples:
  steadydraw check                    the built-in demo
  steadydraw check my-bench
  steadydraw check my-bench --json    findings with their codes, for scripts
  steadydraw check points.csv         a table alone stands for a bench

Each finding has a code that stays the same, such as mode-and-fan-together. It is an answer, not a failure: the exit
code is 0 unless the bench cannot be read.";

/// Arguments of `check`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct CheckArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bench that cannot be read.
pub fn run(args: &CheckArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    let findings = check(bench);
    let count = |kind| bench.of_kind(kind).count();
    let mut words = Words::start(&bench.title, opened.demo_note());
    let plural = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
    let blocks: Vec<&str> = named(data.blocks.iter().map(String::as_str));
    let modes: Vec<&str> = named(data.modes.iter().map(String::as_str));
    words.paragraph(&format!(
        "{}: {}, {} fan-only, {} standby; {}; fan levels {}; {}.",
        bench.unit.name,
        plural(count(Kind::Cooling), "cooling run"),
        count(Kind::FanOnly),
        count(Kind::Standby),
        if modes.is_empty() {
            "no modes named".to_owned()
        } else {
            format!("modes {}", modes.join(", "))
        },
        data.levels
            .iter()
            .map(|l| l.label.as_str())
            .collect::<Vec<_>>()
            .join(", "),
        if blocks.is_empty() {
            "no blocks named".to_owned()
        } else {
            plural(blocks.len(), "block")
        }
    ));
    let ranges: Vec<String> = [
        (Channel::IntakeTemp, "Intake"),
        (Channel::AmbientTemp, "ambient"),
    ]
    .into_iter()
    .filter_map(|(channel, name)| Some((name, bench.range_of(Kind::Cooling, channel)?)))
    .map(|(name, (low, high))| {
        let shown = |v| common.system().convert(Dimension::Temperature, v);
        let unit = common.system().symbol(Dimension::Temperature);
        format!("{name} {:.1} to {:.1} {unit}", shown(low), shown(high))
    })
    .collect();
    if !ranges.is_empty() {
        words.paragraph(&format!("{}.", ranges.join(", ")));
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
                (Some(file), Some(line)) => format!(" [{}]", Place::line(file, line)),
                _ => String::new(),
            };
            words.item(&format!(
                "{}: {}{place}",
                f.code,
                f.message.in_units(common.system())
            ));
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
        "modes": modes,
        "fan_levels": data.levels.iter().map(|l| l.label.clone()).collect::<Vec<_>>(),
        "blocks": blocks,
        "findings": findings,
        "notes": notes,
    });
    Ok(Answer {
        words: words.finish(),
        json,
    })
}

/// Names that were given; runs without one carry an empty name.
fn named<'a>(names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    names.filter(|n| !n.is_empty()).collect()
}
