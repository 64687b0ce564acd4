//! Run windows on the common clock.

use jiff::tz::TimeZone;

use super::clock::{Clock, zone};
use super::number::{Cell, read};
use super::stamp::{Stamp, StampReader};
use crate::bench::logs::{LogBench, RunRow, TimeFormat};
use crate::bench::table::clip;
use crate::bench::workbook;
use crate::bench::{BenchError, Fault, Finding, Place, Severity};

/// A stretch of time, s on the common clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Its start.
    pub start: f64,
    /// Its end.
    pub end: f64,
}

impl Span {
    /// Its length, s.
    pub fn length(&self) -> f64 {
        self.end - self.start
    }
}

/// Whether a bench's times are counted from a log's zero instead of being times of day.
pub fn counts_elapsed(bench: &LogBench) -> bool {
    bench.runs.elapsed_unit_s.is_some()
}

/// The windows of all runs, in table order.
///
/// # Errors
/// A fault for a time that cannot be read, one without a zone, an end that is not after its start, and for elapsed times
/// beside times of day.
pub fn windows(bench: &LogBench, findings: &mut Vec<Finding>) -> Result<Vec<Span>, BenchError> {
    let mut faults = check_clocks(bench);
    let zone = run_zone(bench, &mut faults);
    let reader = StampReader::new(&TimeFormat::Iso, None, false)
        .map_err(|f| Fault::new(Place::file(&bench.runs.file), f.found, f.expected))?
        .with_dates(workbook::is_sheet(&bench.runs.file));
    let mut spans = Vec::with_capacity(bench.runs.rows.len());
    for row in &bench.runs.rows {
        let mut at = |text: &str, place: &Place| {
            let t = match bench.runs.elapsed_unit_s {
                Some(unit) => elapsed(text, unit),
                None => reader
                    .read(text.as_bytes())
                    .ok()
                    .and_then(|stamp| Clock::new(zone.clone(), 0.0).moment(stamp)),
            };
            if t.is_none() {
                faults.push(unreadable(text, place, bench, zone.is_some()));
            }
            t
        };
        let start = at(&row.start, &row.start_place);
        let end = at(&row.end, &row.end_place);
        let (Some(start), Some(end)) = (start, end) else {
            continue;
        };
        if end <= start {
            faults.push(Fault::new(
                row.end_place.clone(),
                format!(
                    "the run `{}` ends at {} and starts at {}",
                    clip(&row.run),
                    clip(&row.end),
                    clip(&row.start)
                ),
                "an end after the start",
            ));
        }
        spans.push(Span { start, end });
    }
    if !faults.is_empty() {
        return Err(BenchError::Faults(faults));
    }
    note_overlaps(&bench.runs.rows, &spans, findings);
    Ok(spans)
}

fn elapsed(text: &str, unit_s: f64) -> Option<f64> {
    match read(text.as_bytes(), text.contains(',')) {
        Cell::Number(v) => Some(v * unit_s),
        // A duration says its unit itself.
        _ => StampReader::new(&TimeFormat::ElapsedClock, None, false)
            .ok()
            .filter(|_| text.matches(':').count() == 2)
            .and_then(|reader| reader.read(text.as_bytes()).ok())
            .and_then(|stamp| match stamp {
                Stamp::Instant(s) => Some(s),
                Stamp::Local(_) => None,
            }),
    }
}

fn unreadable(text: &str, place: &Place, bench: &LogBench, zoned: bool) -> Fault {
    let found = format!("the time `{}`", clip(text));
    if bench.runs.elapsed_unit_s.is_some() {
        return Fault::new(
            place.clone(),
            found,
            "a number, or a duration such as 00:10:00",
        );
    }
    let fault = Fault::new(
        place.clone(),
        found,
        "a time such as 2026-08-25T07:00:00Z or 2026-08-25T09:00:00+02:00",
    );
    if zoned {
        fault
    } else {
        fault.remedy("end times with Z or an offset, or write zone = \"Europe/Amsterdam\" (the bench's own) under [runs]")
    }
}

/// Faults of clocks that cannot be brought together.
fn check_clocks(bench: &LogBench) -> Vec<Fault> {
    let mut faults = Vec::new();
    let elapsed_runs = counts_elapsed(bench);
    for log in &bench.logs {
        let time = &log.time;
        let elapsed_log = matches!(
            time.format,
            TimeFormat::Elapsed(_) | TimeFormat::ElapsedClock
        ) && time.origin.is_none();
        if elapsed_runs && !elapsed_log {
            faults.push(
                Fault::new(
                    time.format_place.clone(),
                    "times of day in this log, but elapsed times in the run table",
                    "one kind of time for all",
                )
                .remedy("write start and end as times of day"),
            );
        } else if !elapsed_runs && elapsed_log {
            faults.push(
                Fault::new(
                    time.format_place.clone(),
                    "elapsed times in this log, but times of day in the run table",
                    "one kind of time for all",
                )
                .remedy("add origin = \"2026-08-25T07:00:00Z\" (when this log began) to [log.time], or head the run table's columns `start [s]` and `end [s]`"),
            );
        }
        if let Some(name) = &time.zone
            && zone(name).is_none()
        {
            faults.push(unknown_zone(name, &time.zone_place));
        }
        if let Some(text) = &time.origin
            && origin(text, time.zone.as_deref()).is_none()
        {
            faults.push(Fault::new(
                time.place.clone(),
                format!("origin = \"{}\"", clip(text)),
                "a time such as 2026-08-25T07:00:00Z",
            ));
        }
    }
    faults
}

/// The moment at which a log's elapsed time is zero.
pub fn origin(text: &str, zone_name: Option<&str>) -> Option<f64> {
    let reader = StampReader::new(&TimeFormat::Iso, None, false).ok()?;
    let stamp = reader.read(text.as_bytes()).ok()?;
    Clock::new(zone_name.and_then(zone), 0.0).moment(stamp)
}

fn unknown_zone(name: &str, place: &Place) -> Fault {
    Fault::new(
        place.clone(),
        format!("zone = \"{}\"", clip(name)),
        "an IANA time zone such as \"Europe/Amsterdam\" or \"America/New_York\", \"UTC\", or an offset such as \"+01:00\"",
    )
    .remedy("where the logger keeps winter time all year, write its offset")
}

/// The zone of run times that name none: that of [runs], else the one that all logs share.
fn run_zone(bench: &LogBench, faults: &mut Vec<Fault>) -> Option<TimeZone> {
    if let Some(name) = &bench.runs.zone {
        let found = zone(name);
        if found.is_none() {
            faults.push(unknown_zone(name, &bench.runs.zone_place));
        }
        return found;
    }
    let mut names = bench.logs.iter().filter_map(|l| l.time.zone.as_deref());
    let first = names.next()?;
    names.all(|n| n == first).then(|| zone(first)).flatten()
}

fn note_overlaps(rows: &[RunRow], spans: &[Span], findings: &mut Vec<Finding>) {
    let mut order: Vec<(&RunRow, &Span)> = rows.iter().zip(spans).collect();
    order.sort_by(|a, b| a.1.start.total_cmp(&b.1.start));
    for pair in order.windows(2) {
        if let [(a, s), (b, t)] = pair
            && t.start < s.end
        {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    "windows-overlap",
                    format!(
                        "the windows of the runs `{}` and `{}` overlap by {:.0} s: the same readings count for both",
                        clip(&a.run),
                        clip(&b.run),
                        s.end.min(t.end) - t.start
                    ),
                )
                .at(&b.start_place),
            );
        }
    }
}
