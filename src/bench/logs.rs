//! The parts of `bench.toml` that describe raw logs and run windows: `[[log]]`, `[runs]`, `[steady]`.

use std::path::Path;

use super::error::{BenchError, Fault, Finding, Place};
use super::log_section::read_log;
use super::manifest::Manifest;
use super::reads::Reads;
pub use super::rules::SteadyRules;
pub use super::runs::{RunRow, RunTable};
use super::source::Source;
use super::{Channel, utf8, visible, workbook};
use crate::quantity::Unit;

/// A bench as `reduce` needs it: its logs, its run windows and the tolerances, not yet read.
#[derive(Clone, Debug)]
pub struct LogBench {
    /// The bench's title.
    pub title: String,
    /// Where the files are.
    pub source: Source,
    /// The logs, in the order written.
    pub logs: Vec<LogSpec>,
    /// The run windows.
    pub runs: RunTable,
    /// What counts as steady.
    pub rules: SteadyRules,
    /// Notes made while reading.
    pub findings: Vec<Finding>,
}

/// One `[[log]]`: files of one layout, written by one logger on one clock.
#[derive(Clone, Debug)]
pub struct LogSpec {
    /// File name or pattern inside the bench folder.
    pub file: String,
    /// Where that is written.
    pub place: Place,
    /// What stands between cells; found out where absent.
    pub delimiter: Option<u8>,
    /// The decimal mark; found out where absent.
    pub decimal: Option<Decimal>,
    /// Rows below the headings that hold units.
    pub unit_rows: usize,
    /// How the text is encoded; found out where absent.
    pub encoding: Option<Encoding>,
    /// Cells that mean "no reading", beside the usual words.
    pub missing: Vec<String>,
    /// Only rows whose cell in this column reads so: for files into which several devices write.
    pub only: Option<(ColumnRef, String)>,
    /// The time column.
    pub time: TimeSpec,
    /// The measured columns.
    pub channels: Vec<ChannelSpec>,
}

/// The decimal mark of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimal {
    /// `25.6`
    Point,
    /// `25,6`
    Comma,
}

/// How a log's text is encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without a byte-order mark.
    Utf8,
    /// One byte a character, western European (ISO 8859-1; Windows-1252 differs only where no log writes).
    Latin1,
    /// Two bytes a character, low byte first.
    Utf16Le,
    /// Two bytes a character, high byte first.
    Utf16Be,
}

/// A column by its heading, or by its number in a file without headings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColumnRef {
    /// The heading as written in the file.
    Name(String),
    /// The column's number, counting from 1.
    Number(usize),
}

/// `[log.time]`.
#[derive(Clone, Debug)]
pub struct TimeSpec {
    /// The columns that hold the time, in the order in which they are read (a date and a time may stand apart).
    pub columns: Vec<ColumnRef>,
    /// How it is written.
    pub format: TimeFormat,
    /// The zone of a clock that writes none: an IANA name, `UTC`, or an offset such as `+01:00`.
    pub zone: Option<String>,
    /// Added to this log's clock, s.
    pub shift_s: f64,
    /// Whether times may stand as a workbook's dates and durations, written `2026-08-25T09:00:02` and `00:41:50`, whatever the format.
    pub dated: bool,
    /// The year, where the log writes none.
    pub year: Option<i32>,
    /// The moment at which elapsed time is zero, as written.
    pub origin: Option<String>,
    /// Where the section stands.
    pub place: Place,
    /// Where the format stands.
    pub format_place: Place,
    /// Where the zone stands.
    pub zone_place: Place,
}

/// How a log writes its times.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeFormat {
    /// A pattern of `%` codes.
    Pattern(String),
    /// ISO 8601, with or without an offset.
    Iso,
    /// Seconds since 1970-01-01 00:00 UTC, times the number of units in a second (1000 for milliseconds).
    Unix(f64),
    /// Time since the log began, times the number of units in a second.
    Elapsed(f64),
    /// Time since the log began as days, hours, minutes and seconds: `0d 00:01:30`, `00:01:30.5`.
    ElapsedClock,
}

impl TimeFormat {
    /// What may be written for a format.
    pub const WORDS: &str = "\"iso\", \"unix\", \"unix_ms\", \"elapsed_s\", \"elapsed_ms\", \"elapsed_min\", \"elapsed_h\", \"elapsed\" (0d 00:01:30), or a pattern such as \"%d.%m.%Y %H:%M:%S\"";

    /// The format with this name, or a pattern of `%` codes.
    pub fn from_words(text: &str) -> Option<TimeFormat> {
        match text {
            "iso" => Some(TimeFormat::Iso),
            "unix" => Some(TimeFormat::Unix(1.0)),
            "unix_ms" => Some(TimeFormat::Unix(1000.0)),
            "elapsed_s" => Some(TimeFormat::Elapsed(1.0)),
            "elapsed_ms" => Some(TimeFormat::Elapsed(1000.0)),
            "elapsed_min" => Some(TimeFormat::Elapsed(1.0 / 60.0)),
            "elapsed_h" => Some(TimeFormat::Elapsed(1.0 / 3600.0)),
            "elapsed" => Some(TimeFormat::ElapsedClock),
            pattern if pattern.contains('%') => Some(TimeFormat::Pattern(pattern.to_owned())),
            _ => None,
        }
    }
}

/// One entry of `[log.channels]`. The reading in base units is `unit.to_si(factor × cell) + offset`.
#[derive(Clone, Debug)]
pub struct ChannelSpec {
    /// What it measures.
    pub channel: Channel,
    /// Where it stands.
    pub column: ColumnRef,
    /// Its unit; absent where the heading or a unit row gives it.
    pub unit: Option<Unit>,
    /// `sign` times `scale`.
    pub factor: f64,
    /// Added after conversion, base units (a difference for temperatures).
    pub offset: f64,
    /// Where the entry stands in `bench.toml`.
    pub place: Place,
}

impl LogBench {
    /// Reads what `bench.toml` says of logs and runs; the logs themselves are not opened.
    ///
    /// # Errors
    /// [`BenchError`] naming file, line, column, what was found and what was expected; for a bench without logs or run windows, what is missing.
    pub fn open(path: &Path) -> Result<LogBench, BenchError> {
        Self::open_noting(path, &Reads::default())
    }

    /// As [`LogBench::open`]; every file read, now or later through [`LogBench::source`], is noted.
    ///
    /// # Errors
    /// As [`LogBench::open`].
    pub fn open_noting(path: &Path, reads: &Reads) -> Result<LogBench, BenchError> {
        let folder = if path.file_name().is_some_and(|n| n == "bench.toml") {
            path.parent().unwrap_or(Path::new("."))
        } else {
            path
        };
        if folder.join("bench.toml").symlink_metadata().is_err() {
            return Err(Fault::new(
                Place::file(visible(&path.display().to_string())),
                "no bench.toml",
                "a bench folder whose bench.toml describes its logs with [[log]] and [runs]",
            )
            .into());
        }
        Self::from_source(Source::folder(folder, reads))
    }

    /// As [`LogBench::open`], from any source.
    ///
    /// # Errors
    /// As [`LogBench::open`].
    pub fn from_source(source: Source) -> Result<LogBench, BenchError> {
        let bytes = source.read("bench.toml", &Place::file("bench.toml"))?;
        let text = utf8("bench.toml", bytes)?;
        super::blank::refuse(&text, &|name, place| source.read(name, place))?;
        let manifest = Manifest::new("bench.toml", &text);
        let document = manifest.parse()?;
        let root = manifest.root(&document);
        let title = root.text("title").unwrap_or_default();
        // Sections that other commands read.
        for other in [
            "unit",
            "site",
            "points",
            "duct",
            "fan",
            "battery",
            "converter",
            "cable",
            "day",
        ] {
            root.section(other);
        }
        root.sections("instrument");
        let log_sections = root.sections("log");
        let logs: Vec<LogSpec> = log_sections.iter().filter_map(read_log).collect();
        if log_sections.is_empty() {
            root.fault(
                Fault::new(
                    Place::file("bench.toml"),
                    "no section [[log]]",
                    "a section [[log]] for each log, with its file, [log.time] and [log.channels]",
                )
                .remedy("a bench whose points are steady already needs no reducing"),
            );
        }
        let rules = root
            .section("steady")
            .map(|s| SteadyRules::read(&s))
            .unwrap_or_default();
        let runs_section = root.section("runs");
        let mut asked = None;
        match &runs_section {
            Some(s) => {
                let file = s.text("file");
                let zone = s.text("zone");
                s.note_unknown_keys();
                match file {
                    Some(file) => asked = Some((file, zone, s.place_of("file"), s.place_of("zone"))),
                    None => s.fault(Fault::new(
                        s.place(),
                        "[runs] without a file",
                        "file = \"runs.csv\"",
                    )),
                }
            }
            None => root.fault(Fault::new(
                Place::file("bench.toml"),
                "no section [runs]",
                "a section [runs] with file = \"runs.csv\", a table of run, kind, mode, fan, block, start and end",
            )),
        }
        root.note_unknown_keys();
        let mut findings = manifest.finish()?;
        let Some((file, zone, file_place, zone_place)) = asked else {
            return Err(Fault::new(
                Place::file("bench.toml"),
                "no run windows",
                "[runs] with a file",
            )
            .into());
        };
        let bytes = source.read(workbook::split(&file).0, &file_place)?;
        let runs = RunTable::read(&file, &bytes, zone, zone_place, &mut findings)?;
        Ok(LogBench {
            title,
            source,
            logs,
            runs,
            rules,
            findings,
        })
    }
}
