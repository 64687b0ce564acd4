//! How each run was read: its log, the stretch that stands for it, and what was left out and why.

use super::figure::{Along, Axis, Figure, Layer, Look, Panel, Tone};
use super::tables::{Cell, Column, Table};
use super::words::number;
use crate::bench::Channel;
use crate::logs::Span;
use crate::quantity::{Dimension, System};
use crate::steady::trace::Trace;
use crate::steady::{Plateau, Reduction, RunResult, Status, words};

/// Panels of one figure of small multiples, at most.
const TOGETHER: usize = 12;
/// An axis of the draw reaches over this share of its level at least, one of a temperature over so many K: what is steady must
/// not look restless.
const LEAST_SHARE: f64 = 0.1;
const LEAST_K: f64 = 2.0;

/// Minutes within a window.
fn minutes(window: Span, t: f64) -> f64 {
    (t - window.start) / 60.0
}

/// The means that a picture shows: the run's own, or one for each plateau.
fn stand(run: &RunResult) -> Vec<&Plateau> {
    match run.judged.status {
        Status::Several => run.judged.plateaus.iter().collect(),
        _ => run.judged.plateau.iter().collect(),
    }
}

fn time_axis(window: Span) -> Axis {
    let length = window.length() / 60.0;
    let axis = Axis::new("Time in the window", "min").reaching(0.0, length);
    if length > 240.0 {
        axis.shown_as("h", 1.0 / 60.0, 0.0)
    } else {
        axis
    }
}

fn temperature(axis: Axis, system: System) -> Axis {
    match system {
        System::Si => axis,
        System::Us => axis.shown_as(system.symbol(Dimension::Temperature), 1.8, 32.0),
    }
}

/// The axis upwards of a trace: as far as its readings, and wide enough that what is steady looks so.
fn axis(trace: &Trace, system: System) -> Axis {
    let low = trace
        .columns
        .iter()
        .map(|c| c.1)
        .fold(f64::INFINITY, f64::min);
    let high = trace
        .columns
        .iter()
        .map(|c| c.2)
        .fold(f64::NEG_INFINITY, f64::max);
    let least = if trace.channel == Channel::Power {
        (LEAST_SHARE * high.abs()).max(1.0)
    } else {
        LEAST_K
    };
    let reach = (1.12 * (high - low)).max(least);
    let middle = 0.5 * (low + high);
    let (low, high) = (middle - 0.5 * reach, middle + 0.5 * reach);
    match trace.channel {
        Channel::Power => Axis::new("Draw", "W").reaching(low, high),
        Channel::IntakeTemp => {
            temperature(Axis::new("Intake air", "degC"), system).reaching(low, high)
        }
        _ => temperature(Axis::new("Outlet air", "degC"), system).reaching(low, high),
    }
}

/// The readings as lines from the lowest to the highest of each moment, broken where there are pauses.
fn readings(trace: &Trace, window: Span, tone: usize) -> Vec<Layer> {
    let look = Look {
        tone: Tone::Series(tone),
        ..Look::series(0)
    };
    let mut pieces: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    let mut before: Option<(f64, f64)> = None;
    for (t, low, high) in &trace.columns {
        let paused = before.is_some_and(|(last, _)| {
            trace
                .pauses
                .iter()
                .any(|p| p.start < *t && p.end > last && p.start >= last - 1.0)
        });
        if paused {
            pieces.push(Vec::new());
        }
        // From the end of the column before, whichever way is nearer.
        let ends = match before {
            Some((_, y)) if (y - high).abs() < (y - low).abs() => [*high, *low],
            _ => [*low, *high],
        };
        before = Some((*t, ends[1]));
        if let Some(piece) = pieces.last_mut() {
            let x = minutes(window, *t);
            piece.push((x, ends[0]));
            if ends[0] != ends[1] {
                piece.push((x, ends[1]));
            }
        }
    }
    pieces
        .into_iter()
        .filter(|p| p.len() > 1)
        .map(|through| Layer::Curve {
            through,
            look,
            label: String::new(),
        })
        .collect()
}

/// What was left out, shaded; with the reason where `told`.
fn shaded(run: &RunResult, told: bool) -> Vec<Layer> {
    run.left_out
        .iter()
        .map(|(span, why)| Layer::Region {
            along: Along::X,
            from: minutes(run.window, span.start),
            to: minutes(run.window, span.end),
            label: if told {
                format!("{}, {}", why.words(), words::time(span.length()))
            } else {
                String::new()
            },
        })
        .collect()
}

/// The means of a channel over each stretch that stands.
fn means(run: &RunResult, channel: Channel, system: System, told: bool) -> Vec<Layer> {
    let mut layers = Vec::new();
    for plateau in stand(run) {
        let Some(mean) = plateau.values.get(&channel) else {
            continue;
        };
        let (from, to) = (
            minutes(run.window, plateau.span.start),
            minutes(run.window, plateau.span.end),
        );
        layers.push(Layer::Curve {
            through: vec![(from, mean.value), (to, mean.value)],
            look: Look::ink(),
            label: String::new(),
        });
        if told {
            let says = if channel == Channel::Power {
                format!(
                    "{} W over {}",
                    number(mean.value, 1),
                    words::time(plateau.span.length())
                )
            } else {
                let shown = system.convert(Dimension::Temperature, mean.value);
                let unit =
                    super::words::unit_sign(system.symbol(Dimension::Temperature)).into_owned();
                format!("{} {unit}", number(shown, 2))
            };
            layers.push(Layer::Remark {
                at: (0.5 * (from + to), mean.value),
                label: says,
            });
        }
    }
    layers
}

/// A run's log: draw, intake and outlet one above the other, the stretch that stands left white and its mean drawn in ink, what
/// was left out shaded, with the reason. None for a run without readings.
pub fn run_figure(run: &RunResult, system: System) -> Option<Figure> {
    let panels: Vec<Panel> = run
        .traces
        .iter()
        .enumerate()
        .map(|(i, trace)| {
            let is_draw = trace.channel == Channel::Power;
            let mut layers = shaded(run, is_draw);
            layers.extend(readings(trace, run.window, i));
            layers.extend(means(run, trace.channel, system, true));
            Panel::with_axis(axis(trace, system), layers)
        })
        .collect();
    if panels.is_empty() {
        return None;
    }
    let status = run.judged.status.name();
    let stands = !stand(run).is_empty();
    let mut note = vec![
        if stands {
            "White: what stands for the run, with its mean in dark. Shaded: left out. Where a moment holds many readings, the line spans the lowest and the highest."
        } else {
            "Nothing stands for this run. Where a moment holds many readings, the line spans the lowest and the highest."
        }
        .to_owned(),
    ];
    note.extend(run.judged.notes.iter().map(|n| format!("{}.", sentence(n))));
    Some(Figure {
        name: format!("run-{}", run.row.run),
        title: format!("{}: {status}", run.row.run),
        claim: sentence(&run.judged.reason),
        x: time_axis(run.window),
        y: Axis::new("", ""),
        panels,
        note: note.join(" "),
        alt: format!(
            "Log of run {}, {status}: {}. {}",
            run.row.run,
            run.judged.reason,
            left_out_words(run)
        ),
    })
}

/// With a capital at its start.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|c| c.to_uppercase().chain(chars).collect())
        .unwrap_or_default()
}

/// What was left out of a run, in words; empty where nothing was.
pub fn left_out_words(run: &RunResult) -> String {
    run.left_out
        .iter()
        .map(|(span, why)| format!("{} ({})", why.words(), words::time(span.length())))
        .collect::<Vec<_>>()
        .join(", ")
}

/// How each run was read, as a table: status, the stretch that stands, what was left out.
pub fn table(reduction: &Reduction) -> Table {
    let mut table = Table::new(
        "How each run was read",
        [
            Column::text("run"),
            Column::text("status"),
            Column::number("window", "min"),
            Column::number("stands", "min"),
            Column::text("left out"),
            Column::text("why"),
        ],
    );
    for run in &reduction.runs {
        let stands: f64 = stand(run).iter().map(|p| p.span.length()).sum();
        table.row([
            Cell::text(run.row.run.clone()),
            Cell::text(run.judged.status.name()),
            Cell::number(run.window.length() / 60.0, 0),
            Cell::maybe((stands > 0.0).then_some(stands / 60.0), 0),
            Cell::text(left_out_words(run)),
            Cell::text(run.judged.reason.clone()),
        ]);
    }
    table
}

/// The draw of all runs as small multiples on the same axes, a dozen runs to a figure.
pub fn all_runs(reduction: &Reduction) -> Vec<Figure> {
    let shown: Vec<(&RunResult, &Trace)> = reduction
        .runs
        .iter()
        .filter_map(|r| {
            let draw = r.traces.iter().find(|t| t.channel == Channel::Power)?;
            Some((r, draw))
        })
        .collect();
    let count = shown.len().div_ceil(TOGETHER);
    shown
        .chunks(TOGETHER)
        .enumerate()
        .map(|(k, part)| {
            let longest = part
                .iter()
                .map(|(r, _)| r.window.length() / 60.0)
                .fold(0.0, f64::max);
            let panels = part
                .iter()
                .map(|(run, trace)| {
                    let mut layers = shaded(run, false);
                    layers.extend(readings(trace, run.window, 0));
                    layers.extend(means(run, Channel::Power, System::Si, false));
                    Panel::new(
                        format!("{}: {}", run.row.run, run.judged.status.name()),
                        layers,
                    )
                })
                .collect();
            let part_of = if count > 1 {
                format!(", part {} of {count}", k + 1)
            } else {
                String::new()
            };
            Figure {
                name: if count > 1 {
                    format!("runs-read-{}", k + 1)
                } else {
                    "runs-read".to_owned()
                },
                title: format!("How each run was read{part_of}"),
                claim: String::new(),
                x: Axis::new("Time in the window", "min").reaching(0.0, longest),
                y: Axis::new("Draw", "W").from_zero(),
                panels,
                note: "Shaded: left out. Dark line: the mean that stands for the run, over the stretch that it was taken from. Where a moment holds many readings, the line spans the lowest and the highest.".to_owned(),
                alt: part
                    .iter()
                    .map(|(r, _)| format!("{} {}: {}.", r.row.run, r.judged.status.name(), r.judged.reason))
                    .collect::<Vec<_>>()
                    .join(" "),
            }
        })
        .collect()
}
