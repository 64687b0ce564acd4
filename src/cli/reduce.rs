//! `steadydraw reduce`: from raw logs to the points table that every other command reads.

mod files;
mod json;

use std::path::PathBuf;

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common};
use crate::bench::logs::LogBench;
use crate::bench::{Channel, Finding, Severity};
use crate::quantity::System;
use crate::report::tables::{Cell, Column, Table};
use crate::steady::points::{Include, to_csv, unwritable};
use crate::steady::{Reduction, Status, Wishes, reduce_with};

use super::progress::Line;
use files::{draw, write};
use json::{log_json, run_json};

const EXAMPLES: &str = "Examples:
  steadydraw reduce my-logs                       points.csv beside its bench.toml
  steadydraw reduce my-logs --out reduced         points.csv elsewhere
  steadydraw reduce my-logs --figures figures     and how each run was read
  steadydraw reduce my-logs --with-cycling --force

A run is steady, cycling, unsteady, short or several (plateaus in one window); each comes with its reason. How long and
how steady a stretch must be stands under [steady] in bench.toml.";

/// Arguments of `reduce`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct ReduceArgs {
    /// Bench folder with bench.toml, its logs and its run windows
    pub bench: PathBuf,
    /// Put cycling runs into the points table too, with their means over whole cycles
    #[arg(long)]
    pub with_cycling: bool,
    /// Draw how each run was read, as SVG (light and dark) and PNG, into this folder
    #[arg(long, value_name = "DIR")]
    pub figures: Option<PathBuf>,
}

/// Columns of time of a run's figure: about as many as it has pixels.
const COLUMNS: usize = 700;

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bench or log that cannot be read, [`CliError::Write`] where the table cannot be written,
/// [`CliError::NoAnswer`] where no run has readings.
pub fn run(args: &ReduceArgs, common: &Common) -> Result<Answer, CliError> {
    let bench = LogBench::open_noting(&args.bench, &common.reads)?;
    let columns = if args.figures.is_some() { COLUMNS } else { 0 };
    let line = Line::new(common, "reading logs");
    let watch = |share: f64| line.show(share);
    let reduction = reduce_with(
        &bench,
        &Wishes {
            columns,
            watch: Some(&watch),
        },
    )?;
    drop(line);
    if reduction.runs.iter().all(|r| r.judged.is_empty()) {
        let why: Vec<&str> = reduction
            .findings
            .iter()
            .filter(|f| f.severity != Severity::Note)
            .map(|f| f.message.in_units(common.system()))
            .collect();
        return Err(CliError::NoAnswer(why.join("\n")));
    }
    let include = if args.with_cycling {
        Include::Cycling
    } else {
        Include::Steady
    };
    let taken = reduction.runs.iter().filter(|r| include.takes(r)).count();
    let drawn = match &args.figures {
        Some(folder) => draw(folder, &reduction, common)?,
        None => Vec::new(),
    };
    let (files, write_note) = if taken == 0 {
        (
            Vec::new(),
            Some("No run is steady, so no points table was written.".to_owned()),
        )
    } else {
        write(&args.bench, common, to_csv(&bench, &reduction, include))?
    };
    let mut notes: Vec<String> = write_note.iter().cloned().collect();
    notes.extend(
        reduction
            .findings
            .iter()
            .filter(|f| f.severity != Severity::Note)
            .map(|f| f.message.to_string()),
    );
    let cycling = reduction
        .runs
        .iter()
        .filter(|r| r.judged.status == Status::Cycling && !include.takes(r))
        .count();
    if cycling > 0 {
        notes.push(format!(
            "{cycling} cycling {} left out of the points table: its mean over cycles is not the draw of its setting; --with-cycling puts it in.",
            if cycling == 1 { "run is" } else { "runs are" }
        ));
    }
    for (run, channel, expected) in unwritable(&reduction) {
        notes.push(format!(
            "{run}: the mean of {} is left out of the points table: expected {expected}.",
            channel.name()
        ));
    }
    let mut words = words(&bench, &reduction, include, &files, write_note, common);
    if let Some(folder) = &args.figures {
        words.push_str(&format!(
            "\nHow each run was read: {} files in {}.\n",
            drawn.len(),
            folder.display()
        ));
    }
    Ok(Answer {
        words,
        json: json!({
            "schema": 1,
            "command": "reduce",
            "bench": bench.title,
            "runs": reduction.runs.iter().map(|r| run_json(r, reduction.elapsed)).collect::<Vec<_>>(),
            "taken": reduction.runs.iter().filter(|r| include.takes(r)).map(|r| r.row.run.as_str()).collect::<Vec<_>>(),
            "files": files.iter().chain(&drawn).map(|f| f.display().to_string()).collect::<Vec<_>>(),
            "logs": reduction.logs.iter().map(log_json).collect::<Vec<_>>(),
            "clock_shifts": reduction.shifts.iter().map(|s| json!({
                "file": s.file, "add_s": s.add_s, "has_s": s.has_s, "runs": s.runs,
            })).collect::<Vec<_>>(),
            "findings": reduction.findings,
            "notes": notes,
        }),
    })
}

fn words(
    bench: &LogBench,
    reduction: &Reduction,
    include: Include,
    files: &[PathBuf],
    write_note: Option<String>,
    common: &Common,
) -> String {
    let mut words = Words::start(&bench.title, None);
    words.table(&table(reduction, common.system()));
    words.gap();
    for run in &reduction.runs {
        // What a steady run keeps stands in the JSON; in words the table says enough.
        if run.judged.status != Status::Steady {
            words.item(&format!(
                "{} {}: {}",
                run.row.run,
                run.judged.status.name(),
                run.judged.reason
            ));
        }
        for note in run.judged.notes.iter().filter(|_| !common.quiet) {
            words.item(&format!("{}: {note}", run.row.run));
        }
    }
    words.gap();
    let taken = reduction.runs.iter().filter(|r| include.takes(r)).count();
    match files.first() {
        Some(path) => words.paragraph(&format!(
            "{taken} of {} runs stand in {}; the others are named there with the reason.",
            reduction.runs.len(),
            path.display()
        )),
        None => words.paragraph(&write_note.unwrap_or_default()),
    };
    for (severity, title) in [
        (Severity::Warning, "Look into"),
        (Severity::Note, "Good to know"),
    ] {
        let own: Vec<&Finding> = reduction
            .findings
            .iter()
            .filter(|f| f.severity == severity)
            .collect();
        if own.is_empty() || (common.quiet && severity == Severity::Note) {
            continue;
        }
        words.heading(title);
        for f in own {
            words.item(f.message.in_units(common.system()));
        }
    }
    words.finish()
}

fn table(reduction: &Reduction, system: System) -> Table {
    use crate::quantity::Dimension::{Power, Temperature};
    let temp = system.symbol(Temperature);
    let mut table = Table::new(
        "",
        [
            Column::text("run"),
            Column::text("status"),
            Column::number("steady for", "min"),
            Column::number("draw", "W"),
            Column::number("u", "W"),
            Column::number("intake", temp),
            Column::number("outlet", temp),
            Column::number("ambient", temp),
        ],
    );
    for run in &reduction.runs {
        let plateau = run.judged.plateau.as_ref();
        let mean = |c: Channel| plateau.and_then(|p| p.values.get(&c));
        let degrees =
            |c: Channel| Cell::maybe(mean(c).map(|m| system.convert(Temperature, m.value)), 2);
        table.row([
            Cell::text(run.row.run.clone()),
            Cell::text(run.judged.status.name()),
            Cell::maybe(plateau.map(|p| p.span.length() / 60.0), 0),
            Cell::maybe(
                mean(Channel::Power).map(|m| system.convert(Power, m.value)),
                1,
            ),
            Cell::maybe(
                mean(Channel::Power)
                    .and_then(|m| m.u)
                    .map(|u| system.convert_difference(Power, u)),
                2,
            ),
            degrees(Channel::IntakeTemp),
            degrees(Channel::OutletTemp),
            degrees(Channel::AmbientTemp),
        ]);
    }
    table
}
