//! The parts of `bench.toml` that describe raw logs and run windows: `[[log]]`, `[runs]`, `[steady]`.

use std::path::Path;

use toml::Spanned;
use toml::de::DeValue;

use super::error::{BenchError, Fault, Finding, Place};
use super::manifest::{Manifest, Section};
pub use super::rules::SteadyRules;
pub use super::runs::{RunRow, RunTable};
use super::source::Source;
use super::table::clip;
use super::{Channel, utf8, visible};
use crate::quantity::{Dimension, Unit};

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
        let folder = if path.file_name().is_some_and(|n| n == "bench.toml") {
            path.parent()
                .filter(|p| !p.as_os_str().is_empty())
                .unwrap_or(Path::new("."))
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
        Self::from_source(Source::Folder(folder.to_owned()))
    }

    /// As [`LogBench::open`], from any source.
    ///
    /// # Errors
    /// As [`LogBench::open`].
    pub fn from_source(source: Source) -> Result<LogBench, BenchError> {
        let bytes = source.read("bench.toml", &Place::file("bench.toml"))?;
        let text = utf8("bench.toml", bytes)?;
        let manifest = Manifest::new("bench.toml", &text);
        let document = manifest.parse()?;
        let root = manifest.root(&document);
        let title = root.text("title").unwrap_or_default();
        // Sections that other commands read.
        for other in ["unit", "site", "points", "duct", "fan", "battery"] {
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
        let bytes = source.read(&file, &file_place)?;
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

fn read_log(s: &Section<'_, '_>) -> Option<LogSpec> {
    let file = s.text("file");
    if file.is_none() {
        s.fault(Fault::new(
            s.place(),
            "[[log]] without a file",
            "file = \"logs/meter.csv\" (a pattern such as \"logs/meter-*.csv\" may name several)",
        ));
    }
    let delimiter = read_delimiter(s);
    let decimal = choice(
        s,
        "decimal",
        &[(".", Decimal::Point), (",", Decimal::Comma)],
    );
    if delimiter == Some(b',') && decimal == Some(Decimal::Comma) {
        s.fault(Fault::new(
            s.place_of("decimal"),
            "a comma both between cells and in numbers",
            "a delimiter other than the decimal mark, such as delimiter = \";\"",
        ));
    }
    let encoding = choice(
        s,
        "encoding",
        &[
            ("utf-8", Encoding::Utf8),
            ("latin-1", Encoding::Latin1),
            ("windows-1252", Encoding::Latin1),
            ("utf-16", Encoding::Utf16Le),
            ("utf-16le", Encoding::Utf16Le),
            ("utf-16be", Encoding::Utf16Be),
        ],
    );
    let unit_rows = match s.number("unit_rows") {
        None => 0,
        Some(n) if (0.0..=20.0).contains(&n) && n.fract() == 0.0 => n as usize,
        Some(n) => {
            s.fault(Fault::new(
                s.place_of("unit_rows"),
                format!("unit_rows = {n}"),
                "the number of rows below the headings that hold units, 0 to 20",
            ));
            0
        }
    };
    let missing = s.texts("missing").unwrap_or_default();
    let only = s.section("only").and_then(|o| {
        let column = columns(&o, "column").and_then(|mut c| (c.len() == 1).then(|| c.remove(0)));
        let is = o.text("is");
        o.note_unknown_keys();
        match (column, is) {
            (Some(c), Some(v)) => Some((c, v)),
            _ => {
                o.fault(Fault::new(
                    o.place(),
                    "`only` without a column or a value",
                    "only = { column = \"device\", is = \"2\" }",
                ));
                None
            }
        }
    });
    let time = match s.section("time") {
        Some(t) => read_time(&t),
        None => {
            s.fault(Fault::new(
                s.place(),
                "[[log]] without [log.time]",
                "[log.time] with column and format",
            ));
            None
        }
    };
    let channels = match s.section("channels") {
        Some(c) => read_channels(&c),
        None => {
            s.fault(Fault::new(
                s.place(),
                "[[log]] without [log.channels]",
                "[log.channels] with entries such as voltage = { column = \"U\", unit = \"V\" }",
            ));
            Vec::new()
        }
    };
    s.note_unknown_keys();
    Some(LogSpec {
        place: s.place_of("file"),
        file: file?,
        delimiter,
        decimal,
        unit_rows,
        encoding,
        missing,
        only,
        time: time?,
        channels,
    })
}

/// One of a few words, each with its meaning.
fn choice<T: Copy>(s: &Section<'_, '_>, key: &'static str, words: &[(&str, T)]) -> Option<T> {
    let text = s.text(key)?;
    let lower = text.to_ascii_lowercase();
    let found = words.iter().find(|(w, _)| *w == lower).map(|(_, t)| *t);
    if found.is_none() {
        let list: Vec<String> = words.iter().map(|(w, _)| format!("\"{w}\"")).collect();
        s.fault(Fault::new(
            s.place_of(key),
            format!("{key} = \"{}\"", clip(&text)),
            format!("one of {}", list.join(", ")),
        ));
    }
    found
}

fn read_delimiter(s: &Section<'_, '_>) -> Option<u8> {
    let text = s.text("delimiter")?;
    let byte = match text.as_str() {
        "tab" => Some(b'\t'),
        "space" => Some(b' '),
        one => match one.as_bytes() {
            [b] if b.is_ascii() && !b.is_ascii_alphanumeric() && !b"\"\r\n.-+".contains(b) => {
                Some(*b)
            }
            _ => None,
        },
    };
    if byte.is_none() {
        s.fault(Fault::new(
            s.place_of("delimiter"),
            format!("delimiter = \"{}\"", clip(&text)),
            "one character between cells: \",\", \";\", \"tab\", \"|\" or \"space\"",
        ));
    }
    byte
}

/// A column by heading or number, or a list of them.
fn columns(s: &Section<'_, '_>, key: &'static str) -> Option<Vec<ColumnRef>> {
    let value = s.entry(key)?;
    let one = |v: &Spanned<DeValue<'_>>| match v.get_ref() {
        DeValue::String(t) if !t.trim().is_empty() => Some(ColumnRef::Name(t.trim().to_owned())),
        DeValue::Integer(i) => i
            .as_str()
            .parse::<usize>()
            .ok()
            .filter(|n| (1..=10_000).contains(n))
            .map(ColumnRef::Number),
        _ => None,
    };
    let found = match value.get_ref() {
        DeValue::Array(list) => list
            .iter()
            .map(one)
            .collect::<Option<Vec<_>>>()
            .filter(|l| !l.is_empty()),
        _ => one(value).map(|c| vec![c]),
    };
    if found.is_none() {
        s.wrong(
            key,
            value,
            "a column's heading in quotes, or its number counting from 1",
        );
    }
    found
}

fn read_time(s: &Section<'_, '_>) -> Option<TimeSpec> {
    let cols = columns(s, "column");
    if cols.is_none() {
        s.fault(Fault::new(
            s.place(),
            "[log.time] without a column",
            "column = \"Time\" (or a list, where date and time stand apart)",
        ));
    }
    let format = match s.text("format").as_deref() {
        None => {
            s.fault(Fault::new(
                s.place(),
                "[log.time] without a format",
                "format = \"iso\", \"unix\", \"elapsed_s\", or a pattern such as \"%d.%m.%Y %H:%M:%S\"",
            ));
            None
        }
        Some("iso") => Some(TimeFormat::Iso),
        Some("unix") => Some(TimeFormat::Unix(1.0)),
        Some("unix_ms") => Some(TimeFormat::Unix(1000.0)),
        Some("elapsed_s") => Some(TimeFormat::Elapsed(1.0)),
        Some("elapsed_ms") => Some(TimeFormat::Elapsed(1000.0)),
        Some("elapsed_min") => Some(TimeFormat::Elapsed(1.0 / 60.0)),
        Some("elapsed_h") => Some(TimeFormat::Elapsed(1.0 / 3600.0)),
        Some("elapsed") => Some(TimeFormat::ElapsedClock),
        Some(pattern) if pattern.contains('%') => Some(TimeFormat::Pattern(pattern.to_owned())),
        Some(other) => {
            s.fault(Fault::new(
                s.place_of("format"),
                format!("format = \"{}\"", clip(other)),
                "\"iso\", \"unix\", \"unix_ms\", \"elapsed_s\", \"elapsed_ms\", \"elapsed_min\", \"elapsed_h\", \"elapsed\" (0d 00:01:30), or a pattern such as \"%d.%m.%Y %H:%M:%S\"",
            ));
            None
        }
    };
    let zone = s.text("zone");
    let shift_s = s.quantity("shift", Dimension::Time).unwrap_or(0.0);
    let year = s.number("year").and_then(|y| {
        if y.fract() == 0.0 && (1970.0..=2200.0).contains(&y) {
            return Some(y as i32);
        }
        s.fault(Fault::new(
            s.place_of("year"),
            format!("year = {y}"),
            "a year between 1970 and 2200",
        ));
        None
    });
    let origin = s.text("origin");
    s.note_unknown_keys();
    Some(TimeSpec {
        columns: cols?,
        format: format?,
        zone,
        shift_s,
        year,
        origin,
        place: s.place(),
        format_place: s.place_of("format"),
        zone_place: s.place_of("zone"),
    })
}

fn read_channels(s: &Section<'_, '_>) -> Vec<ChannelSpec> {
    let mut channels = Vec::new();
    for channel in Channel::ALL {
        let Some(c) = s.section(channel.name()) else {
            continue;
        };
        if let Some(spec) = read_channel(&c, channel, s.place_of(channel.name())) {
            channels.push(spec);
        }
        c.note_unknown_keys();
    }
    s.note_unknown_keys();
    if channels.is_empty() {
        s.fault(Fault::new(
            s.place(),
            "[log.channels] without a known quantity",
            format!(
                "entries such as voltage = {{ column = \"U\", unit = \"V\" }}; known are {}",
                Channel::ALL.map(Channel::name).join(", ")
            ),
        ));
    }
    channels
}

fn read_channel(s: &Section<'_, '_>, channel: Channel, place: Place) -> Option<ChannelSpec> {
    let column = columns(s, "column").and_then(|mut c| (c.len() == 1).then(|| c.remove(0)));
    if column.is_none() {
        s.fault(Fault::new(
            place.clone(),
            format!("`{}` without a column", channel.name()),
            "column = \"the heading in the log\"",
        ));
    }
    let want = channel.dimension();
    let unit = s
        .text("unit")
        .and_then(|text| match Unit::parse_for(&text, want) {
            Ok(unit) => Some(unit),
            Err(e) => {
                s.fault(Fault::new(
                    s.place_of("unit"),
                    format!("unit = \"{}\"", clip(&text)),
                    e.expected,
                ));
                None
            }
        });
    let sign = match s.number("sign") {
        None => 1.0,
        Some(v) if v == 1.0 || v == -1.0 => v,
        Some(v) => {
            s.fault(Fault::new(
                s.place_of("sign"),
                format!("sign = {v}"),
                "1 or -1",
            ));
            1.0
        }
    };
    let scale = match s.number("scale") {
        Some(0.0) => {
            s.fault(Fault::new(
                s.place_of("scale"),
                "scale = 0",
                "a number other than zero",
            ));
            1.0
        }
        other => other.unwrap_or(1.0),
    };
    let difference = match want {
        Dimension::Temperature => Dimension::TemperatureDifference,
        other => other,
    };
    let offset = s.quantity("offset", difference).unwrap_or(0.0);
    Some(ChannelSpec {
        channel,
        column: column?,
        unit,
        factor: sign * scale,
        offset,
        place,
    })
}
