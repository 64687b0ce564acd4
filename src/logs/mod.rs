//! Raw logs: text tables of any layout, on any clock, read in one pass and in bounded memory, sorted into runs.
//!
//! The way of a reading: [`text`] cuts the file into blocks of whole lines; [`heading`] finds the columns once a file;
//! [`block`] reads a block into [`stamp`]s and [`number`]s; [`clock`] places stamps on the common clock; [`gather`] sets aside
//! what cannot be ([`dropout`], order of stamps) and sorts the rest into the runs' [`window`]s, each channel a [`series`] of its own.
//!
//! [`read_logs`] does all of it. Nothing is averaged here beyond what bounded memory asks: see [`series::Series`].

pub mod block;
pub mod cells;
pub mod clock;
pub mod dropout;
pub mod gather;
pub mod heading;
pub mod number;
pub mod pattern;
pub mod report;
mod rows;
pub mod series;
pub mod stamp;
pub mod text;
pub mod window;

use std::io::{Cursor, Read};
use std::sync::mpsc::{channel, sync_channel};

use crate::bench::logs::{Decimal, Encoding, LogBench, LogSpec, TimeFormat};
use crate::bench::workbook::{self, TextDecimal};
use crate::bench::{BenchError, Finding, SourceFile};
use block::{Batch, KEPT_PROBLEMS, read_block};
use clock::Clock;
use gather::{Gather, Track};
use heading::Layout;
use report::LogReport;
pub use rows::read_rows;
use text::{Block, Blocks, TextError};
pub use window::{Span, counts_elapsed, windows};

/// Bins that all series together may hold: 40 bytes each, 36 MB.
const ALL_BINS: usize = 900_000;
/// Bins in one series: enough to see a cycle of a few seconds in a run of an hour.
const MOST_BINS: usize = 8192;
/// Fewer would blur where a steady stretch starts.
const LEAST_BINS: usize = 256;

/// All logs of a bench, sorted into its runs.
#[derive(Debug)]
pub struct RunLogs {
    /// The readings of each run, in table order.
    pub runs: Vec<Vec<Track>>,
    /// What was seen in each log.
    pub reports: Vec<LogReport>,
}

/// How far the reading has come.
struct Progress<'a> {
    watch: Option<&'a dyn Fn(f64)>,
    /// Bytes read so far, and bytes of all files.
    read: u64,
    all: u64,
}

impl Progress<'_> {
    fn add(&mut self, bytes: usize) {
        self.read += bytes as u64;
        if let Some(watch) = self.watch
            && self.all > 0
        {
            watch((self.read as f64 / self.all as f64).min(1.0));
        }
    }
}

fn size_of_all(bench: &LogBench) -> Result<u64, BenchError> {
    let mut all = 0;
    for spec in &bench.logs {
        for file in bench.source.files(&spec.file, &spec.place)? {
            all += file.size();
        }
    }
    Ok(all)
}

/// Reads all logs of a bench once, and sorts their readings into the windows `spans`. `watch` is told now and then which share of
/// all bytes has been read.
///
/// # Errors
/// [`BenchError`] with file, line and column: a log that is not there or no text, a column that is missing, a time that no zone
/// places, and a log of which too many lines cannot be read.
pub fn read_logs(
    bench: &LogBench,
    spans: &[Span],
    watch: Option<&dyn Fn(f64)>,
) -> Result<RunLogs, BenchError> {
    let mut progress = Progress {
        watch,
        read: 0,
        all: match watch {
            Some(_) => size_of_all(bench)?,
            None => 0,
        },
    };
    let series = bench
        .logs
        .iter()
        .map(|l| l.channels.len() + 1)
        .sum::<usize>()
        * spans.len().max(1);
    let room = (ALL_BINS / series.max(1)).clamp(LEAST_BINS, MOST_BINS);
    let mut runs: Vec<Vec<Track>> = spans.iter().map(|_| Vec::new()).collect();
    let mut reports = Vec::new();
    for (index, spec) in bench.logs.iter().enumerate() {
        let (tracks, report) = read_log(bench, index, spec, spans, room, &mut progress)?;
        for (run, more) in runs.iter_mut().zip(tracks) {
            run.extend(more);
        }
        reports.push(report);
    }
    Ok(RunLogs { runs, reports })
}

/// Notes of all logs.
pub fn findings(reports: &[LogReport]) -> Vec<Finding> {
    reports.iter().flat_map(LogReport::findings).collect()
}

fn read_log(
    bench: &LogBench,
    index: usize,
    spec: &LogSpec,
    spans: &[Span],
    room: usize,
    progress: &mut Progress<'_>,
) -> Result<(Vec<Vec<Track>>, LogReport), BenchError> {
    let mut files = bench.source.files(&spec.file, &spec.place)?;
    if files.len() > 1 {
        files = in_order_of_time(spec, files)?;
    }
    let mut gather = Gather::new(spec, spans, clock_of(spec), room);
    let mut report = LogReport::new(spec);
    for file in &files {
        let open = Open::new(spec, file)?;
        gather.begin_file(spec, &open.layout);
        report.begin(&open.name, &open.findings);
        let layout = open.layout.clone();
        in_two_threads(open, file, |batch| {
            gather.take(batch);
            progress.add(batch.bytes);
            report.add(batch);
            report.check_early()
        })?;
        report.end(spec, &layout)?;
    }
    let gathered = gather.finish(index);
    report.finish(spec, &gathered)?;
    Ok((gathered.runs, report))
}

/// Batches on their way between the two threads.
const UNDER_WAY: usize = 4;

/// Reads a file's batches in one thread and hands them to `take` in this one, in order; in one thread where there is one core.
fn in_two_threads(
    mut open: Open,
    file: &SourceFile,
    mut take: impl FnMut(&Batch) -> Result<(), BenchError>,
) -> Result<(), BenchError> {
    let one_core = std::thread::available_parallelism().is_ok_and(|n| n.get() == 1);
    let mut first = Batch::default();
    if !open.next_batch(file, &mut first)? {
        return Ok(());
    }
    take(&first)?;
    if one_core || open.blocks.is_at_end() {
        while open.next_batch(file, &mut first)? {
            take(&first)?;
        }
        return Ok(());
    }
    std::thread::scope(|scope| {
        let (full, to_take) = sync_channel::<Result<Batch, BenchError>>(UNDER_WAY);
        let (used, to_fill) = channel::<Batch>();
        scope.spawn(move || {
            loop {
                let mut batch = to_fill.try_recv().unwrap_or_default();
                let message = match open.next_batch(file, &mut batch) {
                    Ok(true) => Ok(batch),
                    Ok(false) => break,
                    Err(error) => Err(error),
                };
                let last = message.is_err();
                // The other side has given up, or there is nothing more to read.
                if full.send(message).is_err() || last {
                    break;
                }
            }
        });
        for message in to_take {
            let batch = message?;
            take(&batch)?;
            // A reader that has finished needs no more memory.
            let _ = used.send(batch);
        }
        Ok(())
    })
}

/// The clock of a log.
fn clock_of(spec: &LogSpec) -> Clock {
    let zone = spec.time.zone.as_deref().and_then(clock::zone);
    let elapsed = matches!(
        spec.time.format,
        TimeFormat::Elapsed(_) | TimeFormat::ElapsedClock
    );
    let origin = spec
        .time
        .origin
        .as_deref()
        .filter(|_| elapsed)
        .and_then(|text| window::origin(text, spec.time.zone.as_deref()))
        .unwrap_or(0.0);
    Clock::new(zone, origin + spec.time.shift_s)
}

/// A file being read.
struct Open {
    /// Its name in messages: a workbook's with the sheet.
    name: String,
    /// What there is to say of it beside its readings.
    findings: Vec<Finding>,
    blocks: Blocks<Box<dyn Read + Send>>,
    layout: Layout,
    first: Option<Block>,
    /// No row was read yet in a file without headings: what cannot be read is what stands before the table.
    before_table: bool,
}

impl Open {
    fn new(spec: &LogSpec, file: &SourceFile) -> Result<Self, BenchError> {
        let raise = |e| raise(file, e);
        let Text {
            reader,
            name,
            is_sheet,
            findings,
        } = text_of(file, spec.decimal)?;
        let spec = if is_sheet {
            of_sheet(spec)
        } else {
            spec.clone()
        };
        let mut blocks = Blocks::new(reader, &name, spec.encoding).map_err(raise)?;
        let first = blocks.next_block().map_err(raise)?.unwrap_or_default();
        let layout = heading::find(&spec, &name, &first.bytes, blocks.encoding())?;
        Ok(Open {
            name,
            findings,
            before_table: layout.heading.is_none(),
            blocks,
            first: Some(first),
            layout,
        })
    }

    /// Reads the next batch; false at the end of the file.
    fn next_batch(&mut self, file: &SourceFile, batch: &mut Batch) -> Result<bool, BenchError> {
        let block = match self.first.take() {
            Some(block) => {
                let rows = block.bytes.get(self.layout.skip..).unwrap_or_default();
                read_block(&self.layout, rows, self.layout.first_line, batch);
                block
            }
            None => match self.blocks.next_block().map_err(|e| raise(file, e))? {
                Some(block) => {
                    read_block(&self.layout, &block.bytes, block.first_line, batch);
                    block
                }
                None => return Ok(false),
            },
        };
        // Two bytes a character became about one.
        let wide = match self.blocks.encoding() {
            Encoding::Utf16Le | Encoding::Utf16Be => 2,
            Encoding::Utf8 | Encoding::Latin1 => 1,
        };
        batch.bytes = wide * block.bytes.len();
        self.blocks.give_back(block);
        if self.before_table
            && let Some(first) = batch.lines.first().copied()
        {
            self.before_table = false;
            let before = batch.problems.iter().filter(|p| p.line < first).count();
            // Only as many as were kept can be told apart; a longer preamble counts as broken lines.
            if before < KEPT_PROBLEMS {
                batch.problems.retain(|p| p.line > first);
                batch.broken -= before;
                batch.rows -= before;
            }
        }
        Ok(true)
    }
}

/// A file's text, to be read from its start: its own, or a sheet's.
pub(crate) struct Text {
    /// Gives the bytes.
    pub reader: Box<dyn Read + Send>,
    /// The file's name in messages: a workbook's with the sheet.
    pub name: String,
    /// Whether it is a sheet's: tabs between cells, decimal points, dates in ISO 8601.
    pub is_sheet: bool,
    /// What there is to say of the choice of the sheet.
    pub findings: Vec<Finding>,
}

/// Opens a log's file. `decimal` is the mark of numbers that a workbook has as text.
pub(crate) fn text_of(file: &SourceFile, decimal: Option<Decimal>) -> Result<Text, BenchError> {
    let Some((name, bytes)) = file.workbook()? else {
        return Ok(Text {
            reader: file.open()?,
            name: file.name.clone(),
            is_sheet: false,
            findings: Vec::new(),
        });
    };
    let decimal = match decimal {
        Some(Decimal::Point) => TextDecimal::Point,
        Some(Decimal::Comma) => TextDecimal::Comma,
        None => TextDecimal::Usual,
    };
    let sheet = workbook::read(&name, &bytes, decimal)?;
    Ok(Text {
        reader: Box::new(Cursor::new(sheet.text)),
        name: sheet.name,
        is_sheet: true,
        findings: sheet.findings,
    })
}

/// What holds for the text of a sheet, whatever `bench.toml` says of text files.
fn of_sheet(spec: &LogSpec) -> LogSpec {
    let mut spec = spec.clone();
    spec.delimiter = Some(b'\t');
    spec.decimal = Some(Decimal::Point);
    spec.encoding = Some(Encoding::Utf8);
    spec.time.dated = true;
    spec
}

fn raise(file: &SourceFile, error: TextError) -> BenchError {
    match error {
        TextError::Io(source) => file.io(source),
        TextError::Fault(fault) => (*fault).into(),
    }
}

/// Files of one log in the order of their readings.
///
/// The order of their names, with numbers in them taken as numbers (`log_2` before `log_10`), where times then never go back:
/// only that order can tell the two passes of an hour that a wall clock shows twice. Else the order of their first readings.
fn in_order_of_time(
    spec: &LogSpec,
    mut files: Vec<SourceFile>,
) -> Result<Vec<SourceFile>, BenchError> {
    files.sort_by_cached_key(|f| natural(&f.name));
    let mut keyed = Vec::with_capacity(files.len());
    let mut running = clock_of(spec);
    for file in files {
        let mut open = Open::new(spec, &file)?;
        let mut batch = Batch::default();
        open.next_batch(&file, &mut batch)?;
        let first = batch.stamps.first().copied();
        let alone = first.and_then(|s| clock_of(spec).moment(s));
        let after_others = first.and_then(|s| running.moment(s));
        keyed.push((alone, after_others, file));
    }
    let grows = keyed
        .windows(2)
        .all(|pair| matches!(pair, [a, b] if a.1.is_some() && a.1 <= b.1));
    if !grows {
        let t = |k: &(Option<f64>, Option<f64>, SourceFile)| k.0.unwrap_or(f64::INFINITY);
        keyed.sort_by(|a, b| t(a).total_cmp(&t(b)));
    }
    Ok(keyed.into_iter().map(|(_, _, f)| f).collect())
}

/// A name as words and numbers.
fn natural(name: &str) -> Vec<(String, u64)> {
    let mut out: Vec<(String, u64)> = vec![(String::new(), 0)];
    let mut in_number = false;
    for c in name.chars() {
        if in_number && !c.is_ascii_digit() {
            out.push((String::new(), 0));
        }
        in_number = c.is_ascii_digit();
        if let Some((text, number)) = out.last_mut() {
            match c.to_digit(10) {
                Some(d) => *number = number.saturating_mul(10).saturating_add(d.into()),
                None => text.push(c),
            }
        }
    }
    out
}
