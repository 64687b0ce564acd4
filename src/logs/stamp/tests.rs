//! Tests of stamps in all their forms.

use super::calendar::{DAY, days_from_civil};
use super::iso::elapsed_clock;
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
                "25.08.2026 09:01:03.25",
                "25.08.2026 09:01:03.50",
            ][..],
        ),
        (
            TimeFormat::Pattern("%d.%m.%Y %H.%M.%S".to_owned()),
            &[
                "25.08.2026 09.00.02",
                "25.08.2026 09.00.03",
                "25.08.2026 09.00.03.25",
                "25.08.2026 09.00.03.35",
            ],
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
                // Hundredths are no seconds, nor is a day or an offset.
                "2026-08-25T09:01:03.35",
                "2026-08-25T09:01:03.50",
                "2026-08-25T09:01:04-05",
                "2026-08-25T09:01:04-06",
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
fn the_end_of_a_day_has_one_second() {
    let format = TimeFormat::Pattern("%Y-%m-%d %H:%M:%S".to_owned());
    let reader = StampReader::new(&format, None, false).unwrap();
    let mut cursor = StampCursor::new(&reader);
    let end = cursor.read(b"2026-08-25 24:00:00");
    assert_eq!(end, reader.read(b"2026-08-26 00:00:00"));
    assert_eq!(cursor.same_minute(b"2026-08-25 24:00:01"), None);
    assert!(reader.read(b"2026-08-25 24:00:01").is_err());
    // Any other minute goes on, one that begins a day too.
    cursor.read(b"2026-08-26 00:00:00").unwrap();
    let next = cursor.same_minute(b"2026-08-26 00:00:01").map(|s| s.0);
    assert_eq!(next, reader.read(b"2026-08-26 00:00:01").ok());
    assert!(next.is_some());
}

#[test]
fn elapsed_clocks() {
    assert_eq!(elapsed_clock(b"0d 00:01:30.50"), Ok(90.5));
    assert_eq!(elapsed_clock(b"00:41:50"), Ok(2510.0));
    assert_eq!(elapsed_clock(b"2d 01:00:00"), Ok(2.0 * DAY + 3600.0));
    assert_eq!(elapsed_clock(b"x:00"), Err(StampFault::Shape));
    assert_eq!(elapsed_clock(b"1e3091:02:03.5"), Err(StampFault::Shape));
    let endless = format!("{}:00:00", "9".repeat(400));
    assert_eq!(
        elapsed_clock(endless.as_bytes()),
        Err(StampFault::NoSuchTime)
    );
}
