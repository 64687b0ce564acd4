//! Time stamps as loggers write them.

use super::pattern::{PatternFault, Piece, pieces};
use crate::bench::logs::TimeFormat;

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

/// Seconds in a day.
const DAY: f64 = 86_400.0;

/// Reads stamps of one format.
#[derive(Clone, Debug)]
pub struct StampReader {
    kind: Kind,
    decimal_comma: bool,
    year: Option<i32>,
}

#[derive(Clone, Debug)]
enum Kind {
    Pieces(Vec<Piece>),
    Iso,
    /// Units in a second.
    Count(f64),
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
            TimeFormat::Unix(per_second) | TimeFormat::Elapsed(per_second) => {
                Kind::Count(*per_second)
            }
            TimeFormat::ElapsedClock => Kind::ElapsedClock,
        };
        Ok(StampReader {
            kind,
            decimal_comma,
            year,
        })
    }

    /// Reads one stamp.
    ///
    /// # Errors
    /// [`StampFault`] where the text is not of the format.
    pub fn read(&self, text: &[u8]) -> Result<Stamp, StampFault> {
        let text = text.trim_ascii();
        match &self.kind {
            Kind::Pieces(pieces) => by_pieces(pieces, text, self.year),
            Kind::Iso => iso(text),
            Kind::Count(per_second) => match super::number::read(text, self.decimal_comma) {
                super::number::Cell::Number(v) => Ok(Stamp::Instant(v / per_second)),
                _ => Err(StampFault::Shape),
            },
            Kind::ElapsedClock => elapsed_clock(text).map(Stamp::Instant),
        }
    }
}

/// Reads stamps one after the other: one that differs from the one before in its seconds alone is read from those.
#[derive(Clone, Debug)]
pub struct StampCursor<'a> {
    reader: &'a StampReader,
    /// The last stamp read in full, where its seconds can be told from the rest; else empty.
    text: Vec<u8>,
    /// Where its seconds stand.
    seconds_at: usize,
    /// The stamp at second 0 of its minute.
    minute: Stamp,
}

impl<'a> StampCursor<'a> {
    /// A cursor for a reader.
    pub fn new(reader: &'a StampReader) -> Self {
        StampCursor {
            reader,
            text: Vec::new(),
            seconds_at: 0,
            minute: Stamp::Instant(0.0),
        }
    }

    /// Reads the stamp at the start of a longer text, if it is one of the same minute as the last; gives it and its length.
    #[inline]
    pub fn same_minute(&self, text: &[u8]) -> Option<(Stamp, usize)> {
        let n = self.text.len();
        let (head, tail) = self.text.split_at_checked(self.seconds_at)?;
        let (old, after) = tail.split_at_checked(2)?;
        let now = text.get(..n)?;
        let (now_head, now_tail) = now.split_at_checked(self.seconds_at)?;
        let (&[a, b], now_after) = now_tail.split_first_chunk::<2>()?;
        let _ = old;
        if now_head != head || now_after != after {
            return None;
        }
        let (a, b) = (a.wrapping_sub(b'0'), b.wrapping_sub(b'0'));
        if a > 5 || b > 9 {
            return None;
        }
        let seconds = f64::from(10 * a + b);
        let stamp = match self.minute {
            Stamp::Instant(t) => Stamp::Instant(t + seconds),
            Stamp::Local(t) => Stamp::Local(t + seconds),
        };
        Some((stamp, n))
    }

    /// Reads a stamp.
    ///
    /// # Errors
    /// As [`StampReader::read`].
    pub fn read(&mut self, text: &[u8]) -> Result<Stamp, StampFault> {
        let stamp = self.reader.read(text)?;
        self.text.clear();
        if let Some(at) = self.reader.seconds_at(text)
            && let Some(&[a, b]) = text.get(at..at + 2)
        {
            let seconds = f64::from(10 * a.wrapping_sub(b'0') + b.wrapping_sub(b'0'));
            self.minute = match stamp {
                Stamp::Instant(t) => Stamp::Instant(t - seconds),
                Stamp::Local(t) => Stamp::Local(t - seconds),
            };
            self.seconds_at = at;
            self.text.extend_from_slice(text);
        }
        Ok(stamp)
    }
}

impl StampReader {
    /// Where the two digits of the seconds stand in a stamp that has been read, where they stand last (but for a `Z`).
    fn seconds_at(&self, text: &[u8]) -> Option<usize> {
        let last = match &self.kind {
            Kind::Pieces(pieces) => matches!(
                pieces.as_slice(),
                [.., Piece::Literal(b':' | b'.' | b'-'), Piece::Second]
            ),
            Kind::Iso => true,
            _ => false,
        };
        let bare = text.strip_suffix(b"Z").unwrap_or(text);
        match bare {
            [.., b'0'..=b'9', b':' | b'.' | b'-', a, b]
                if last && (b'0'..=b'5').contains(a) && b.is_ascii_digit() =>
            {
                // An ISO time without seconds ends in its minutes.
                let colons = bare.iter().filter(|b| **b == b':').count();
                (!matches!(self.kind, Kind::Iso) || colons == 2).then(|| bare.len() - 2)
            }
            _ => None,
        }
    }
}

/// Digits from the start, at most `most` of them: their value and count.
fn digits(text: &[u8], most: usize) -> (u32, usize) {
    let mut value = 0;
    let mut n = 0;
    for b in text.iter().take(most) {
        if !b.is_ascii_digit() {
            break;
        }
        value = value * 10 + u32::from(b - b'0');
        n += 1;
    }
    (value, n)
}

/// Digits after a decimal mark, as a fraction: its value and the count of digits.
fn fraction(text: &[u8]) -> (f64, usize) {
    let mut value = 0.0;
    let mut unit = 0.1;
    let mut n = 0;
    for b in text {
        if !b.is_ascii_digit() {
            break;
        }
        value += f64::from(b - b'0') * unit;
        unit /= 10.0;
        n += 1;
    }
    (value, n)
}

#[derive(Default)]
struct Fields {
    year: Option<i32>,
    month: u32,
    day: u32,
    day_of_year: u32,
    hour: u32,
    minute: u32,
    second: u32,
    fraction: f64,
    /// 0 for the morning, 12 for the afternoon.
    half: Option<u32>,
    offset: Option<i32>,
    epoch: Option<f64>,
}

fn by_pieces(pieces: &[Piece], text: &[u8], year: Option<i32>) -> Result<Stamp, StampFault> {
    let mut f = Fields {
        year,
        ..Fields::default()
    };
    let mut rest = text;
    let mut pieces = pieces.iter().peekable();
    while let Some(piece) = pieces.next() {
        let used = match piece {
            Piece::Year => number(rest, 4, 4, &mut |v| f.year = i32::try_from(v).ok())?,
            Piece::ShortYear => number(rest, 2, 2, &mut |v| {
                // POSIX: 69 to 99 are of the last century.
                f.year = i32::try_from(if v >= 69 { 1900 + v } else { 2000 + v }).ok();
            })?,
            Piece::Month => number(rest, 1, 2, &mut |v| f.month = v)?,
            Piece::Day => number(rest, 1, 2, &mut |v| f.day = v)?,
            Piece::DayOfYear => number(rest, 1, 3, &mut |v| f.day_of_year = v)?,
            Piece::Hour | Piece::Hour12 => number(rest, 1, 2, &mut |v| f.hour = v)?,
            Piece::Minute => number(rest, 1, 2, &mut |v| f.minute = v)?,
            Piece::Second => {
                let mut n = number(rest, 1, 2, &mut |v| f.second = v)?;
                // A fraction that the pattern does not ask for is read all the same.
                if !matches!(pieces.peek(), Some(Piece::Literal(b'.' | b',')))
                    && let Some((b'.' | b',', tail)) = rest.get(n..).and_then(<[u8]>::split_first)
                {
                    let (part, k) = fraction(tail);
                    f.fraction = part;
                    n += if k > 0 { 1 + k } else { 0 };
                }
                n
            }
            Piece::Fraction => {
                let (part, n) = fraction(rest);
                f.fraction = part;
                n
            }
            Piece::MonthName => month_name(rest, &mut f)?,
            Piece::WeekdayName => rest
                .iter()
                .take_while(|b| b.is_ascii_alphabetic() || **b >= 0x80)
                .count(),
            Piece::Half => half(rest, &mut f)?,
            Piece::Offset => {
                let (seconds, n) = offset(rest).ok_or(StampFault::Shape)?;
                f.offset = Some(seconds);
                n
            }
            Piece::Seconds => {
                let n = rest.iter().take_while(|b| b.is_ascii_digit()).count();
                let (value, k) = (rest.get(..n).unwrap_or_default(), n);
                let text = std::str::from_utf8(value).map_err(|_| StampFault::Shape)?;
                f.epoch = Some(text.parse().map_err(|_| StampFault::Shape)?);
                k
            }
            Piece::Literal(want) => match rest.first() {
                Some(b) if b == want => 1,
                // The point before a fraction is missing where the fraction is zero.
                None if *want == b'.' && matches!(pieces.peek(), Some(Piece::Fraction)) => 0,
                _ => return Err(StampFault::Shape),
            },
            Piece::Space => rest.iter().take_while(|b| b.is_ascii_whitespace()).count(),
        };
        rest = rest.get(used..).ok_or(StampFault::Shape)?;
    }
    if !rest.trim_ascii().is_empty() {
        return Err(StampFault::Shape);
    }
    f.stamp()
}

/// A number of `least` to `most` digits; gives the count of bytes that it takes.
fn number(
    text: &[u8],
    least: usize,
    most: usize,
    set: &mut dyn FnMut(u32),
) -> Result<usize, StampFault> {
    // Days and hours padded with a blank, `%e`.
    let blanks = usize::from(least == 1 && text.first() == Some(&b' '));
    let (value, n) = digits(text.get(blanks..).unwrap_or_default(), most);
    if n < least {
        return Err(StampFault::Shape);
    }
    set(value);
    Ok(n + blanks)
}

const MONTHS: [&[u8]; 12] = [
    b"jan", b"feb", b"mar", b"apr", b"may", b"jun", b"jul", b"aug", b"sep", b"oct", b"nov", b"dec",
];

fn month_name(text: &[u8], f: &mut Fields) -> Result<usize, StampFault> {
    let n = text.iter().take_while(|b| b.is_ascii_alphabetic()).count();
    let head = text.get(..3.min(n)).unwrap_or_default();
    let at = MONTHS.iter().position(|m| m.eq_ignore_ascii_case(head));
    f.month = at.ok_or(StampFault::Shape)? as u32 + 1;
    // "Sept." and the like.
    Ok(n + usize::from(text.get(n) == Some(&b'.')))
}

/// AM or PM, in either case, with or without points.
fn half(text: &[u8], f: &mut Fields) -> Result<usize, StampFault> {
    let n = text
        .iter()
        .take_while(|b| b.is_ascii_alphabetic() || **b == b'.')
        .count();
    f.half = match text.first() {
        Some(b'a' | b'A') => Some(0),
        Some(b'p' | b'P') => Some(12),
        _ => return Err(StampFault::Shape),
    };
    Ok(n)
}

/// `Z`, `+01:00`, `+0100` or `+01`: seconds east of UTC and the count of bytes.
pub fn offset(text: &[u8]) -> Option<(i32, usize)> {
    let (sign, rest) = match text.split_first()? {
        (b'Z' | b'z', _) => return Some((0, 1)),
        (b'+', rest) => (1, rest),
        (b'-', rest) => (-1, rest),
        _ => return None,
    };
    let (hours, h) = digits(rest, 2);
    if h != 2 || hours > 25 {
        return None;
    }
    let after = rest.get(2..).unwrap_or_default();
    let colon = usize::from(after.first() == Some(&b':'));
    let (minutes, m) = digits(after.get(colon..).unwrap_or_default(), 2);
    let (minutes, used) = if m == 2 {
        (minutes, 3 + colon + 2)
    } else {
        (0, 3)
    };
    if minutes > 59 {
        return None;
    }
    Some((sign * (hours as i32 * 3600 + minutes as i32 * 60), used))
}

impl Fields {
    fn stamp(&self) -> Result<Stamp, StampFault> {
        if let Some(seconds) = self.epoch {
            return Ok(Stamp::Instant(seconds + self.fraction));
        }
        let mut hour = self.hour;
        if let Some(half) = self.half {
            if !(1..=12).contains(&hour) {
                return Err(StampFault::NoSuchTime);
            }
            hour = hour % 12 + half;
        }
        let year = self.year.ok_or(StampFault::Shape)?;
        let days = if self.day_of_year > 0 {
            if self.day_of_year > 365 + u32::from(is_leap(year)) {
                return Err(StampFault::NoSuchTime);
            }
            days_from_civil(year, 1, 1) + i64::from(self.day_of_year) - 1
        } else {
            if !(1..=12).contains(&self.month)
                || self.day < 1
                || self.day > days_in_month(year, self.month)
            {
                return Err(StampFault::NoSuchTime);
            }
            days_from_civil(year, self.month, self.day)
        };
        // Some loggers end a day with 24:00:00.
        let end_of_day = hour == 24 && self.minute == 0 && self.second == 0;
        // Second 60 is a leap second.
        if (hour > 23 && !end_of_day) || self.minute > 59 || self.second > 60 {
            return Err(StampFault::NoSuchTime);
        }
        let seconds = days as f64 * DAY
            + f64::from(hour * 3600 + self.minute * 60 + self.second)
            + self.fraction;
        Ok(match self.offset {
            Some(offset) => Stamp::Instant(seconds - f64::from(offset)),
            None => Stamp::Local(seconds),
        })
    }
}

/// `2026-08-25T09:00:02.5+02:00`, with a blank or a `T`, seconds, fraction and offset optional; `20260825T090002Z`.
fn iso(text: &[u8]) -> Result<Stamp, StampFault> {
    let mut f = Fields::default();
    let (year, n) = digits(text, 4);
    if n != 4 {
        return Err(StampFault::Shape);
    }
    f.year = i32::try_from(year).ok();
    let mut rest = text.get(4..).unwrap_or_default();
    let two = |rest: &mut &[u8], mark: u8| -> Result<u32, StampFault> {
        if rest.first() == Some(&mark) {
            *rest = rest.get(1..).unwrap_or_default();
        }
        let (value, n) = digits(rest, 2);
        if n != 2 {
            return Err(StampFault::Shape);
        }
        *rest = rest.get(2..).unwrap_or_default();
        Ok(value)
    };
    f.month = two(&mut rest, b'-')?;
    f.day = two(&mut rest, b'-')?;
    match rest.first() {
        Some(b'T' | b't' | b' ') => rest = rest.get(1..).unwrap_or_default(),
        _ => return Err(StampFault::Shape),
    }
    f.hour = two(&mut rest, b' ')?;
    f.minute = two(&mut rest, b':')?;
    if matches!(rest.first(), Some(b':' | b'0'..=b'9')) {
        f.second = two(&mut rest, b':')?;
        if let Some((b'.' | b',', tail)) = rest.split_first() {
            let (part, n) = fraction(tail);
            f.fraction = part;
            rest = tail.get(n..).unwrap_or_default();
        }
    }
    let rest = rest.trim_ascii();
    if !rest.is_empty() {
        let (seconds, n) = offset(rest).ok_or(StampFault::Shape)?;
        if n != rest.len() {
            return Err(StampFault::Shape);
        }
        f.offset = Some(seconds);
    }
    f.stamp()
}

/// `0d 00:01:30.5`, `00:41:50`, `41:50`: seconds.
fn elapsed_clock(text: &[u8]) -> Result<f64, StampFault> {
    let text = std::str::from_utf8(text).map_err(|_| StampFault::Shape)?;
    let (days, clock) = match text.split_once(['d', 'D']) {
        Some((days, clock)) => (
            days.trim().parse::<u32>().map_err(|_| StampFault::Shape)?,
            clock.trim(),
        ),
        None => (0, text),
    };
    let mut seconds = 0.0;
    let parts: Vec<&str> = clock.split(':').collect();
    if !(2..=3).contains(&parts.len()) {
        return Err(StampFault::Shape);
    }
    for (i, part) in parts.iter().enumerate() {
        if !part.starts_with(|c: char| c.is_ascii_digit()) {
            return Err(StampFault::Shape);
        }
        let value: f64 = part
            .replace(',', ".")
            .parse()
            .map_err(|_| StampFault::Shape)?;
        if i > 0 && value >= 60.0 {
            return Err(StampFault::NoSuchTime);
        }
        seconds = seconds * 60.0 + value;
    }
    Ok(f64::from(days) * DAY + seconds)
}

/// Days from 1970-01-01 to a date of the Gregorian calendar, counting leap days in eras of 400 years that begin in March.
pub fn days_from_civil(year: i32, month: u32, day: u32) -> i64 {
    let (y, m) = (i64::from(year), i64::from(month));
    let (y, m) = if m <= 2 { (y - 1, m + 9) } else { (y, m - 3) };
    let era = y.div_euclid(400);
    let in_era = y.rem_euclid(400);
    // Months from March have 30.6 days on average: (153 m + 2) / 5 days before month m.
    let in_year = (153 * m + 2) / 5 + i64::from(day) - 1;
    // 719 468 days from 0000-03-01 to 1970-01-01; 146 097 in an era.
    era * 146_097 + in_era * 365 + in_era / 4 - in_era / 100 + in_year - 719_468
}

fn is_leap(year: i32) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

fn days_in_month(year: i32, month: u32) -> u32 {
    match month {
        2 => 28 + u32::from(is_leap(year)),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern(text: &str) -> StampReader {
        StampReader::new(&TimeFormat::Pattern(text.to_owned()), None, false).unwrap()
    }

    /// 2026-08-25 09:00:02 as seconds; the day number from jiff, checked below.
    const THEN: f64 = 1_787_648_402.0;

    #[test]
    fn day_numbers_agree_with_the_time_library() {
        for (y, m, d) in [
            (1970, 1, 1),
            (2000, 2, 29),
            (2026, 8, 25),
            (1969, 12, 31),
            (2100, 3, 1),
            (1600, 2, 29),
        ] {
            let date = jiff::civil::date(y, m, d);
            let want = date
                .to_zoned_datetime(jiff::tz::TimeZone::UTC)
                .unwrap()
                .timestamp()
                .as_second()
                / 86_400;
            assert_eq!(
                days_from_civil(y.into(), m as u32, d as u32),
                want,
                "{date}"
            );
        }
    }

    #[test]
    fn the_same_moment_in_many_patterns() {
        for (format, text) in [
            ("%Y-%m-%d %H:%M:%S", "2026-08-25 09:00:02"),
            ("%Y-%m-%d %H:%M:%S", "2026-08-25 09:00:02.000"),
            ("%d.%m.%Y %H:%M:%S", "25.08.2026 09:00:02"),
            ("%d.%m.%Y %H:%M:%S", "25.8.2026  9:00:02"),
            ("%m/%d/%Y %I:%M:%S %p", "8/25/2026 9:00:02 AM"),
            ("%m/%d/%y %I:%M:%S%p", "08/25/26 09:00:02a.m."),
            ("%d-%b-%Y %T", "25-Aug-2026 09:00:02"),
            ("%a %d %B %Y %H.%M.%S", "Tue 25 August 2026 09.00.02"),
            ("%Y%m%d%H%M%S", "20260825090002"),
            ("%Y %j %T", "2026 237 09:00:02"),
            ("%F %T%.f", "2026-08-25 09:00:02"),
            ("%e/%m/%Y %k:%M:%S", "25/08/2026  9:00:02"),
        ] {
            let read = pattern(format).read(text.as_bytes());
            assert_eq!(read, Ok(Stamp::Local(THEN)), "{format} {text}");
        }
    }

    #[test]
    fn twelve_oclock_belongs_to_its_half() {
        let reader = pattern("%m/%d/%Y %I:%M:%S %p");
        let at = |text: &str| match reader.read(text.as_bytes()) {
            Ok(Stamp::Local(s)) => s - days_from_civil(2026, 8, 25) as f64 * DAY,
            other => panic!("{other:?}"),
        };
        assert_eq!(at("08/25/2026 12:00:00 AM"), 0.0);
        assert_eq!(at("08/25/2026 12:30:00 PM"), 12.5 * 3600.0);
        assert_eq!(at("08/25/2026 01:00:00 PM"), 13.0 * 3600.0);
        assert_eq!(
            reader.read(b"08/25/2026 13:00:00 PM"),
            Err(StampFault::NoSuchTime)
        );
    }

    #[test]
    fn iso_with_and_without_offset() {
        let reader = StampReader::new(&TimeFormat::Iso, None, false).unwrap();
        for (text, want) in [
            ("2026-08-25T09:00:02Z", Stamp::Instant(THEN)),
            ("2026-08-25T11:00:02+02:00", Stamp::Instant(THEN)),
            ("2026-08-25 09:00:02", Stamp::Local(THEN)),
            ("20260825T090002Z", Stamp::Instant(THEN)),
            ("2026-08-25T04:30:02-0430", Stamp::Instant(THEN)),
            ("2026-08-25T09:00", Stamp::Local(THEN - 2.0)),
        ] {
            assert_eq!(reader.read(text.as_bytes()), Ok(want), "{text}");
        }
        let Ok(Stamp::Instant(s)) = reader.read(b"2026-08-25T09:00:02.464Z") else {
            panic!()
        };
        assert!((s - THEN - 0.464).abs() < 1e-6);
        for text in [
            "2026-13-01T00:00Z",
            "2026-02-30T00:00Z",
            "2026-08-25T25:00Z",
        ] {
            assert_eq!(
                reader.read(text.as_bytes()),
                Err(StampFault::NoSuchTime),
                "{text}"
            );
        }
        for text in [
            "25.08.2026",
            "1787641200",
            "",
            "2026-08-25",
            "2026-08-25T09:00:02 CET",
        ] {
            assert_eq!(
                reader.read(text.as_bytes()),
                Err(StampFault::Shape),
                "{text}"
            );
        }
    }

    #[test]
    fn days_may_end_at_24_and_years_be_given() {
        let reader = StampReader::new(
            &TimeFormat::Pattern("%m/%d %H:%M:%S".to_owned()),
            Some(2026),
            false,
        )
        .unwrap();
        let midnight = days_from_civil(2026, 8, 27) as f64 * DAY;
        for text in ["08/26  24:00:00", "08/27 00:00:00"] {
            assert_eq!(reader.read(text.as_bytes()), Ok(Stamp::Local(midnight)));
        }
    }

    #[test]
    fn a_cursor_reads_what_the_reader_reads() {
        for (format, stamps) in [
            (
                TimeFormat::Pattern("%d.%m.%Y %H:%M:%S".to_owned()),
                &[
                    "25.08.2026 09:00:02",
                    "25.08.2026 09:00:59",
                    "25.08.2026 09:01:00",
                    "25.08.2026 09:01:00.5",
                ][..],
            ),
            (
                TimeFormat::Iso,
                &[
                    "2026-08-25T09:00:02Z",
                    "2026-08-25T09:00:03Z",
                    "2026-08-25T09:00",
                    "2026-08-25T09:01",
                    "2026-08-25T09:01:02+02:00",
                    "2026-08-25T09:01:02.25",
                    "2026-08-25T09:01:03.25",
                ],
            ),
            (TimeFormat::Unix(1.0), &["1787641200", "1787641201"]),
        ] {
            let reader = StampReader::new(&format, None, false).unwrap();
            let mut cursor = StampCursor::new(&reader);
            for text in stamps {
                let want = reader.read(text.as_bytes());
                let line = format!("{text},1.5");
                match cursor.same_minute(line.as_bytes()) {
                    // What follows is the caller's to look at: here a longer stamp begins like a shorter one.
                    Some((stamp, n)) if n == text.len() => assert_eq!(Ok(stamp), want, "{text}"),
                    _ => assert_eq!(cursor.read(text.as_bytes()), want, "{text}"),
                }
            }
        }
    }

    #[test]
    fn elapsed_clocks() {
        assert_eq!(elapsed_clock(b"0d 00:01:30.50"), Ok(90.5));
        assert_eq!(elapsed_clock(b"00:41:50"), Ok(2510.0));
        assert_eq!(elapsed_clock(b"2d 01:00:00"), Ok(2.0 * DAY + 3600.0));
        assert_eq!(elapsed_clock(b"x:00"), Err(StampFault::Shape));
    }
}
