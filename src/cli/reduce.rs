//! `steadydraw reduce`: from raw logs to the points table that every other command reads.

use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use super::words::Words;
use super::{Answer, CliError, Common, write_files};
use crate::bench::logs::LogBench;
use crate::bench::{Channel, Finding, REDUCED_POINTS, Severity};
use crate::logs::Span;
use crate::logs::clock::utc;
use crate::quantity::System;
use crate::report::figure::{self, Figure, Format, Size, Theme};
use crate::report::run_figure::run_figure;
use crate::report::tables::{Cell, Column, Table};
use crate::report::write::Output;
use crate::steady::points::{Include, to_csv, unwritable};
use crate::steady::{Plateau, Reduction, RunResult, Status, Wishes, reduce_with};

use super::progress::Line;

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

/// Writes the table; gives the files written, or why none was where the bench's own folder takes none.
fn write(
    bench: &Path,
    common: &Common,
    csv: String,
) -> Result<(Vec<PathBuf>, Option<String>), CliError> {
    let folder = match &common.out {
        Some(out) => out.clone(),
        None if bench.is_file() => bench.parent().unwrap_or(Path::new(".")).to_owned(),
        None => bench.to_owned(),
    };
    let path = folder.join(REDUCED_POINTS);
    // The same table again needs no --force: nothing changes.
    if std::fs::read(&path).is_ok_and(|there| there == csv.as_bytes()) {
        return Ok((vec![path], None));
    }
    let read_only = common.out.is_none()
        && std::fs::metadata(&folder).is_ok_and(|m| m.permissions().readonly());
    if read_only && !path.exists() {
        return Ok((
            Vec::new(),
            Some(format!(
                "{} takes no new files, so {REDUCED_POINTS} was not written; name another folder with --out.",
                folder.display()
            )),
        ));
    }
    let table = Output {
        path: path.clone(),
        bytes: csv.into_bytes(),
    };
    write_files(&[table], common)?;
    Ok((vec![path], None))
}

/// Draws every run into a folder; gives the files.
fn draw(folder: &Path, reduction: &Reduction, common: &Common) -> Result<Vec<PathBuf>, CliError> {
    let mut figures: Vec<Figure> = Vec::new();
    for run in &reduction.runs {
        if let Some(mut figure) = run_figure(run, common.system()) {
            // Names that differ only in signs would share a file.
            let stem = figure.file_stem();
            if figures.iter().any(|f| f.file_stem() == stem) {
                figure.name = format!("{stem}-{}", figures.len() + 1);
            }
            figures.push(figure);
        }
    }
    let formats = [
        (Format::Svg(Size::PAGE, Theme::Light), ""),
        (Format::Svg(Size::PAGE, Theme::Dark), "-dark"),
        (Format::Png(Size::PAGE, Theme::Light), ""),
    ];
    let refs: Vec<&Figure> = figures.iter().collect();
    let outputs: Vec<Output> = figure::files(&refs, &formats)
        .map_err(|e| CliError::NoAnswer(format!("the figures cannot be drawn: {e}")))?
        .into_iter()
        .map(|(name, bytes)| Output {
            path: folder.join(name),
            bytes,
        })
        .collect();
    // The same figures again need no --force: nothing changes.
    let (same, other): (Vec<Output>, Vec<Output>) = outputs
        .into_iter()
        .partition(|o| std::fs::read(&o.path).is_ok_and(|there| there == o.bytes));
    write_files(&other, common)?;
    Ok(same.into_iter().chain(other).map(|o| o.path).collect())
}

/// A moment: UTC, or seconds since the logs' zero.
fn moment(t: f64, elapsed: bool) -> Option<String> {
    if elapsed {
        Some(format!("{t:.1} s"))
    } else {
        utc(t)
    }
}

/// The name of a channel's figure in JSON, with its unit.
fn key(channel: Channel) -> &'static str {
    match channel {
        Channel::IntakeTemp => "intake_c",
        Channel::IntakeRh => "intake_rh",
        Channel::OutletTemp => "outlet_c",
        Channel::OutletRh => "outlet_rh",
        Channel::AmbientTemp => "ambient_c",
        Channel::Airflow => "airflow_m3h",
        Channel::AirSpeed => "air_speed_ms",
        Channel::Voltage => "voltage_v",
        Channel::Current => "current_a",
        Channel::Power => "power_w",
        Channel::Pressure => "pressure_pa",
        Channel::Condensate => "condensate_kgh",
    }
}

fn figures(plateau: Option<&Plateau>) -> (Value, Value) {
    // The usual ones are always there, so that a reader finds null and not nothing.
    let usual = [
        Channel::Power,
        Channel::IntakeTemp,
        Channel::OutletTemp,
        Channel::AmbientTemp,
    ];
    let (mut values, mut u) = (Map::new(), Map::new());
    for channel in usual.into_iter().chain(Channel::ALL) {
        let mean = plateau.and_then(|p| p.values.get(&channel));
        if mean.is_none() && !usual.contains(&channel) {
            continue;
        }
        values.insert(key(channel).to_owned(), json!(mean.map(|m| m.value)));
        u.insert(key(channel).to_owned(), json!(mean.and_then(|m| m.u)));
    }
    (Value::Object(values), Value::Object(u))
}

fn span_json(span: Option<Span>, elapsed: bool) -> Map<String, Value> {
    let mut out = Map::new();
    let at = |t: Option<f64>| json!(t.and_then(|t| moment(t, elapsed)));
    out.insert("start".to_owned(), at(span.map(|s| s.start)));
    out.insert("end".to_owned(), at(span.map(|s| s.end)));
    out.insert(
        "duration_s".to_owned(),
        json!(span.map(|s| s.length().round())),
    );
    out
}

fn run_json(run: &RunResult, elapsed: bool) -> Value {
    let judged = &run.judged;
    let mut out = Map::new();
    out.insert("run".to_owned(), json!(run.row.run));
    out.insert("status".to_owned(), json!(judged.status));
    out.extend(span_json(judged.plateau.as_ref().map(|p| p.span), elapsed));
    let (values, u) = figures(judged.plateau.as_ref());
    out.insert("values".to_owned(), values);
    out.insert("u".to_owned(), u);
    out.insert(
        "left_out".to_owned(),
        run.left_out
            .iter()
            .map(|(span, why)| {
                let mut part = span_json(Some(*span), elapsed);
                part.insert("why".to_owned(), json!(why.words()));
                Value::Object(part)
            })
            .collect(),
    );
    out.insert("reason".to_owned(), json!(judged.reason));
    out.insert("notes".to_owned(), json!(judged.notes));
    out.insert(
        "plateaus".to_owned(),
        judged
            .plateaus
            .iter()
            .map(|p| {
                let mut plateau = span_json(Some(p.span), elapsed);
                let (values, u) = figures(Some(p));
                plateau.insert("values".to_owned(), values);
                plateau.insert("u".to_owned(), u);
                Value::Object(plateau)
            })
            .collect(),
    );
    out.insert(
        "cycles".to_owned(),
        judged.cycles.as_ref().map_or(Value::Null, |c| {
            json!({
                "count": c.count, "period_s": c.period_s, "duty": c.duty, "low_w": c.low_w, "high_w": c.high_w,
            })
        }),
    );
    Value::Object(out)
}

fn log_json(log: &crate::logs::report::LogReport) -> Value {
    json!({
        "files": log.files,
        "rows": log.rows,
        "broken": log.broken,
        "repeated_times": log.order.repeated,
        "doubled_lines": log.order.doubled,
        "clock_went_back": log.order.backward,
        "left_out": log.order.set_aside,
        "outside_windows": log.outside,
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
