//! Time stamps as loggers write them.

mod calendar;
mod cursor;
mod digits;
mod fields;
mod iso;
mod patterned;
#[cfg(test)]
mod tests;

use super::pattern::{PatternFault, Piece, pieces};
use crate::bench::logs::TimeFormat;

pub use calendar::days_from_civil;
pub use cursor::StampCursor;
pub use digits::offset;
use iso::{elapsed_clock, iso, midnight};
use patterned::by_pieces;

/// A time stamp as read, not yet placed on the common clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stamp {
    /// Seconds since 1970-01-01 00:00 UTC (or since the log's zero, for elapsed times).
    Instant(f64),
    /// Seconds since 1970-01-01 00:00 on the wall clock of the log's zone.
    Local(f64),
}

/// Why a stamp was not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StampFault {
    /// It does not look like the format.
    Shape,
    /// It looks like it, but there is no such date or time.
    NoSuchTime,
}

/// Reads stamps of one format.
#[derive(Clone, Debug)]
pub struct StampReader {
    kind: Kind,
    decimal_comma: bool,
    year: Option<i32>,
    /// Whether dates and clocks of a workbook are read too.
    dated: bool,
}

#[derive(Clone, Debug)]
enum Kind {
    Pieces(Vec<Piece>),
    Iso,
    /// A number of units.
    Count {
        per_second: f64,
        elapsed: bool,
    },
    ElapsedClock,
}

impl StampReader {
    /// A reader of `format`. `year` stands in where the pattern has none; `decimal_comma` holds for counted times.
    ///
    /// # Errors
    /// A pattern with an unknown code, without a date or a time of day, or with hours to twelve and no half of the day.
    pub fn new(
        format: &TimeFormat,
        year: Option<i32>,
        decimal_comma: bool,
    ) -> Result<Self, PatternFault> {
        let kind = match format {
            TimeFormat::Pattern(text) => Kind::Pieces(pieces(text, year)?),
            TimeFormat::Iso => Kind::Iso,
            TimeFormat::Unix(per_second) | TimeFormat::Elapsed(per_second) => Kind::Count {
                per_second: *per_second,
                elapsed: matches!(format, TimeFormat::Elapsed(_)),
            },
            TimeFormat::ElapsedClock => Kind::ElapsedClock,
        };
        Ok(StampReader {
            kind,
            decimal_comma,
            year,
            dated: false,
        })
    }

    /// Reads what is not of the format as a workbook's cell of a date (`2026-08-25T09:00:02`, `2026-08-25` at midnight) or, for elapsed
    /// times, of a duration (`00:41:50`), if `dated`.
    #[must_use]
    pub fn with_dates(mut self, dated: bool) -> Self {
        self.dated = dated;
        self
    }

    /// Reads one stamp.
    ///
    /// # Errors
    /// [`StampFault`] where the text is not of the format.
    pub fn read(&self, text: &[u8]) -> Result<Stamp, StampFault> {
        let text = text.trim_ascii();
        match self.formatted(text) {
            Err(StampFault::Shape) if self.dated => match &self.kind {
                Kind::Count { elapsed: true, .. } | Kind::ElapsedClock => {
                    elapsed_clock(text).map(Stamp::Instant)
                }
                _ => iso(text).or_else(|fault| midnight(text).ok_or(fault)),
            },
            other => other,
        }
    }

    fn formatted(&self, text: &[u8]) -> Result<Stamp, StampFault> {
        match &self.kind {
            Kind::Pieces(pieces) => by_pieces(pieces, text, self.year),
            Kind::Iso => iso(text),
            Kind::Count { per_second, .. } => match super::number::read(text, self.decimal_comma) {
                super::number::Cell::Number(v) => Ok(Stamp::Instant(v / per_second)),
                _ => Err(StampFault::Shape),
            },
            Kind::ElapsedClock => elapsed_clock(text).map(Stamp::Instant),
        }
    }
}
