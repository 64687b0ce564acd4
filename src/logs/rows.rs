//! One file of a log, row by row, for what needs readings of one moment together.

use super::gather::Gather;
use super::report::LogReport;
use super::{Open, clock_of, in_two_threads};
use crate::bench::logs::LogSpec;
use crate::bench::{BenchError, SourceFile};

/// Reads a file once, in bounded memory, and hands on its rows in order of time: moment (s), and the readings in base units in the
/// order of `spec.channels`, NaN where there is none. Where voltage and current are read and power is not, their product comes last.
/// Rows stamped earlier than one before them are left out, as the report tells.
///
/// # Errors
/// [`BenchError`] with file, line and column: a column that is missing, a time that no zone places, too many lines that cannot be read.
pub fn read_rows(
    spec: &LogSpec,
    file: &SourceFile,
    mut take: impl FnMut(f64, &[f64]),
) -> Result<LogReport, BenchError> {
    let mut gather = Gather::new(spec, &[], clock_of(spec), 0);
    let mut report = LogReport::new(spec);
    let open = Open::new(spec, file)?;
    gather.begin_file(spec, &open.layout);
    report.begin(&open.name, &open.findings);
    let layout = open.layout.clone();
    in_two_threads(open, file, |batch| {
        gather.each_row(batch, |_, t, row, _| take(t, row));
        report.add(batch);
        report.check_early()
    })?;
    report.end(spec, &layout)?;
    let gathered = gather.finish(0);
    report.finish(spec, &gathered)?;
    Ok(report)
}
