//! From a bench's logs to one judged result a run.

use rayon::prelude::*;

use super::judge::{Judged, Status, judge};
use super::lag::{self, Suggestion};
use super::readings::Readings;
use super::trace::{Trace, Why, left_out};
use crate::bench::logs::{LogBench, RunRow};
use crate::bench::{BenchError, Channel, Fault, Finding, Kind, Place, Severity};
use crate::logs::report::LogReport;
use crate::logs::{self, Span, counts_elapsed, read_logs, windows};

/// A bench, reduced.
#[derive(Clone, Debug)]
pub struct Reduction {
    /// The runs, in table order.
    pub runs: Vec<RunResult>,
    /// What was seen in each log.
    pub logs: Vec<LogReport>,
    /// Clocks that seem not to agree.
    pub shifts: Vec<Suggestion>,
    /// Notes and warnings.
    pub findings: Vec<Finding>,
    /// Whether times are counted from the logs' zero.
    pub elapsed: bool,
}

/// Nothing that blows air draws less, W. Common practice, no source.
const OFF_W: f64 = 0.5;

/// One run, reduced.
#[derive(Clone, Debug)]
pub struct RunResult {
    /// The run as the table has it.
    pub row: RunRow,
    /// Its window.
    pub window: Span,
    /// What it was, and its means.
    pub judged: Judged,
    /// The parts of the window that were left out, and why.
    pub left_out: Vec<(Span, Why)>,
    /// Its readings for a picture, where they were asked for.
    pub traces: Vec<Trace>,
}

/// Reduces a bench: reads its logs once and judges every run.
///
/// # Errors
/// [`BenchError`] with file, line and column for run windows or logs that cannot be read, for logs that do not give a draw, and for
/// a current or draw whose sign is the wrong way round.
pub fn reduce(bench: &LogBench) -> Result<Reduction, BenchError> {
    reduce_with(bench, &Wishes::default())
}

/// What is wished for beside the judged runs.
#[derive(Clone, Copy, Default)]
pub struct Wishes<'a> {
    /// Each run's readings for a picture of so many columns of time; none for 0.
    pub columns: usize,
    /// Told now and then which share of the logs has been read.
    pub watch: Option<&'a dyn Fn(f64)>,
}

/// As [`reduce`], with wishes.
///
/// # Errors
/// As [`reduce`].
pub fn reduce_with(bench: &LogBench, wishes: &Wishes<'_>) -> Result<Reduction, BenchError> {
    let columns = wishes.columns;
    has_draw(bench)?;
    let mut findings = bench.findings.clone();
    let spans = windows(bench, &mut findings)?;
    let logs::RunLogs { runs, reports } = read_logs(bench, &spans, wishes.watch)?;
    findings.extend(logs::findings(&reports));
    // Runs are judged side by side, and come out in the table's order.
    let readings: Vec<Readings> = runs
        .into_par_iter()
        .zip(&spans)
        .map(|(tracks, span)| Readings::of(tracks, *span))
        .collect();
    check_signs(bench, &readings, &spans)?;
    let shifts = lag::suggestions(bench, &readings, &spans);
    findings.extend(shifts.iter().map(Suggestion::finding));
    let results: Vec<RunResult> = bench
        .runs
        .rows
        .par_iter()
        .zip(&spans)
        .zip(&readings)
        .map(|((row, span), readings)| {
            let judged = running(row, judge(readings, *span, &bench.rules));
            let pauses: Vec<Span> = readings
                .draw()
                .and_then(|d| Some(d.pauses(span.start, span.end, d.pause_limit()?)))
                .unwrap_or_default()
                .into_iter()
                .map(|(start, end)| Span { start, end })
                .collect();
            RunResult {
                row: row.clone(),
                window: *span,
                left_out: left_out(&judged, *span, &pauses),
                traces: if columns > 0 {
                    Trace::all(readings, *span, columns)
                } else {
                    Vec::new()
                },
                judged,
            }
        })
        .collect();
    note_empty(bench, &results, &reports, &mut findings);
    note_brief(bench, &results, &mut findings);
    Ok(Reduction {
        runs: results,
        logs: reports,
        shifts,
        findings,
        elapsed: counts_elapsed(bench),
    })
}

/// A unit that draws nothing in a cooling or fan-only run was not running.
fn running(row: &RunRow, judged: Judged) -> Judged {
    let draw = judged
        .plateau
        .as_ref()
        .and_then(|p| p.values.get(&Channel::Power))
        .map(|m| m.value);
    match draw {
        Some(w) if row.kind != Kind::Standby && w < OFF_W => Judged {
            status: Status::Short,
            plateau: None,
            reason: format!(
                "the unit was off: it drew {} W; a run without blower and compressor is of the kind `standby`",
                crate::quantity::significant(w.max(0.0), 2)
            ),
            ..judged
        },
        _ => judged,
    }
}

/// A bench whose logs give no draw has nothing to reduce.
fn has_draw(bench: &LogBench) -> Result<(), BenchError> {
    let has = |c: Channel| {
        bench
            .logs
            .iter()
            .any(|l| l.channels.iter().any(|x| x.channel == c))
    };
    if has(Channel::Power) || (has(Channel::Voltage) && has(Channel::Current)) {
        return Ok(());
    }
    Err(Fault::new(
        Place::file("bench.toml"),
        "logs without a draw",
        "`power`, or `voltage` and `current`, in [log.channels] of one of the logs",
    )
    .into())
}

/// Meters on a battery often count what is taken out as negative.
fn check_signs(bench: &LogBench, readings: &[Readings], spans: &[Span]) -> Result<(), BenchError> {
    let negative = |channel: Channel| {
        let means: Vec<f64> = readings
            .iter()
            .zip(spans)
            .filter_map(|(r, s)| super::mean::over(r.get(channel)?, *s))
            .map(|m| m.value)
            .collect();
        let largest = means.iter().fold(0.0_f64, |a, m| a.max(m.abs()));
        let below = means.iter().filter(|m| **m < -0.05 * largest).count();
        below * 2 > means.len()
    };
    for channel in [Channel::Current, Channel::Power] {
        if !negative(channel) {
            continue;
        }
        let spec = bench
            .logs
            .iter()
            .flat_map(|l| &l.channels)
            .find(|c| c.channel == channel);
        if let Some(spec) = spec {
            return Err(Fault::new(
                spec.place.clone(),
                format!("`{}` below zero in most runs", channel.name()),
                "what the unit takes, counted as positive",
            )
            .remedy("add sign = -1 to the entry (or remove it, where it is there)")
            .into());
        }
    }
    Ok(())
}

/// Says which steady stretches are shorter than what published tests record.
fn note_brief(bench: &LogBench, results: &[RunResult], findings: &mut Vec<Finding>) {
    let horizon = bench.rules.horizon_s();
    let brief: Vec<&str> = results
        .iter()
        .filter(|r| r.judged.status == Status::Steady)
        .filter(|r| {
            r.judged
                .plateau
                .as_ref()
                .is_some_and(|p| p.span.length() < horizon)
        })
        .map(|r| r.row.run.as_str())
        .collect();
    if !brief.is_empty() {
        findings.push(Finding::new(
            Severity::Note,
            "brief-stretches",
            format!(
                "steady for less than {} in {}; published tests record half an hour (10 CFR 430 Subpart B Appendix M1, 3.3)",
                super::words::time(horizon),
                brief.join(", ")
            ),
        ));
    }
}

/// Says what the logs cover where runs have no readings at all: a wrong zone or date shows there.
fn note_empty(
    bench: &LogBench,
    results: &[RunResult],
    reports: &[LogReport],
    findings: &mut Vec<Finding>,
) {
    let empty: Vec<&str> = results
        .iter()
        .filter(|r| r.judged.is_empty())
        .map(|r| r.row.run.as_str())
        .collect();
    if empty.is_empty() {
        return;
    }
    let reach: Vec<String> = reports
        .iter()
        .filter_map(|r| {
            Some(format!(
                "{} reaches from {}",
                r.files.first()?,
                r.reach_words()?
            ))
        })
        .collect();
    findings.push(
        Finding::new(
            Severity::Warning,
            "runs-without-readings",
            format!(
                "no readings in the windows of {}; {}; compare zones and dates",
                empty.join(", "),
                reach.join(", ")
            ),
        )
        .at(&Place::file(&bench.runs.file)),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::series::Series;

    #[test]
    fn most_runs_well_below_zero_are_a_wrong_sign() {
        let bench = LogBench::open(std::path::Path::new("tests/benches/night")).unwrap();
        let spans = [Span {
            start: 0.0,
            end: 600.0,
        }; 3];
        let right = |amperes: [f64; 3]| {
            let readings = amperes.map(|a| {
                let mut series = Series::new(16);
                for k in 0..10 {
                    series.add(60.0 * f64::from(k), a);
                }
                Readings::from_series([(Channel::Current, series)])
            });
            check_signs(&bench, &readings, &spans).is_ok()
        };
        // A twentieth of the largest, 1 A, is told from nothing.
        assert!(!right([-1.1, -1.1, 20.0]) && !right([-10.0, -20.0, 20.0]));
        assert!(right([-0.9, -0.9, 20.0]) && right([-1.1, 1.0, 20.0]));
        // Two runs on standby.
        assert!(right([0.1, 0.1, 20.0]));
    }
}
