//! What a cell holds, and how it is written.

use std::borrow::Cow;

use jiff::ToSpan;
use jiff::civil::{DateTime, date};

/// A cell's content.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Value<'a> {
    /// Text, a date in ISO 8601 among it.
    Text(Cow<'a, str>),
    /// A number in full precision.
    Number(f64),
    /// A clock time or a duration, s.
    Clock(f64),
    /// True or false.
    Flag(bool),
    /// An error value such as `#DIV/0!`.
    Error(Cow<'a, str>),
}

/// Whether a cell shows one of the error values of spreadsheets: a formula that has no result.
pub fn is_error_value(cell: &str) -> bool {
    const ERRORS: [&str; 14] = [
        "#DIV/0!",
        "#N/A",
        "#NAME?",
        "#NULL!",
        "#NUM!",
        "#REF!",
        "#VALUE!",
        "#SPILL!",
        "#CALC!",
        "#FIELD!",
        "#BLOCKED!",
        "#CONNECT!",
        "#GETTING_DATA",
        "#UNKNOWN!",
    ];
    // Err:502 and the like are LibreOffice's.
    ERRORS.iter().any(|e| e.eq_ignore_ascii_case(cell))
        || cell
            .strip_prefix("Err:")
            .is_some_and(|n| n.len() == 3 && n.bytes().all(|b| b.is_ascii_digit()))
}

/// Days from 1899-12-30 to 1904-01-01: the two systems in which workbooks count days (ECMA-376 part 1, 18.17.4.1; from memory).
const DAYS_1904: i64 = 1462;
const DAY_MS: i64 = 86_400_000;
/// Serial numbers from here on are past the year 9999.
const LAST_SERIAL: f64 = 2_958_466.0;

/// A date cell's serial number as text, to the millisecond: `2026-08-25T09:00:02.5`, `2026-08-25` at midnight, `09:00:02` where the number
/// is a part of a day alone. A number that is no date stays a number.
pub(super) fn moment(serial: f64, is_1904: bool) -> Value<'static> {
    if !(0.0..LAST_SERIAL).contains(&serial) {
        return Value::Number(serial);
    }
    if serial < 1.0 {
        return Value::Clock(serial * 86_400.0);
    }
    let ms = (serial * DAY_MS as f64).round() as i64;
    let days = match ms / DAY_MS {
        days if is_1904 => days + DAYS_1904,
        // The 1900 system has a 29 February 1900 that never was.
        days if days < 60 => days + 1,
        days => days,
    };
    let zero: DateTime = date(1899, 12, 30).at(0, 0, 0, 0);
    let then = zero
        .checked_add(days.days())
        .and_then(|d| d.checked_add((ms % DAY_MS).milliseconds()));
    match then {
        Ok(then) if ms % DAY_MS == 0 => Value::Text(then.date().to_string().into()),
        Ok(then) => Value::Text(then.to_string().into()),
        Err(_) => Value::Number(serial),
    }
}

/// A duration as OpenDocument writes it, `PT26H30M02.5S` or `P1DT2H`, in seconds.
pub(super) fn iso_duration(text: &str) -> Option<f64> {
    let (sign, body) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text),
    };
    let body = body.strip_prefix('P')?;
    let (days, clock) = body.split_once('T').unwrap_or((body, ""));
    let mut seconds = 0.0;
    for (part, units) in [
        (days, &[('D', 86_400.0)][..]),
        (clock, &[('H', 3600.0), ('M', 60.0), ('S', 1.0)]),
    ] {
        let mut rest = part;
        while !rest.is_empty() {
            let at = rest.find(|c: char| c.is_ascii_alphabetic())?;
            let (number, tail) = rest.split_at_checked(at)?;
            let letter = tail.chars().next()?;
            let (_, unit) = units.iter().find(|(l, _)| *l == letter)?;
            let number = number.replace(',', ".").parse::<f64>().ok()?;
            seconds += number * unit;
            rest = tail.get(1..)?;
        }
    }
    seconds.is_finite().then_some(sign * seconds)
}

/// Seconds as `09:00:02.5`; hours run on past 24.
pub(super) fn clock(seconds: f64) -> String {
    let ms = (seconds.abs().min(1e15) * 1000.0).round() as i64;
    let sign = if seconds < 0.0 { "-" } else { "" };
    let (h, m, s, f) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000);
    let text = format!("{sign}{h:02}:{m:02}:{s:02}");
    if f == 0 {
        text
    } else {
        format!("{text}.{f:03}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(serial: f64, is_1904: bool) -> String {
        match moment(serial, is_1904) {
            Value::Text(t) => t.into_owned(),
            Value::Clock(s) => clock(s),
            other => format!("{other:?}"),
        }
    }

    #[test]
    fn serial_numbers_are_dates_in_both_systems() {
        // 45943.541 is 2025-10-13 12:59:02.400: calamine 0.38, documentation of ExcelDateTime.
        assert_eq!(shown(45_943.541, false), "2025-10-13T12:59:02.4");
        assert_eq!(shown(45_943.541 - 1462.0, true), "2025-10-13T12:59:02.4");
        assert_eq!(shown(45_943.0, false), "2025-10-13");
        // 1 is 1900-01-01 and 61 is 1900-03-01 in the 1900 system.
        assert_eq!(shown(1.0, false), "1900-01-01");
        assert_eq!(shown(61.0, false), "1900-03-01");
        assert_eq!(shown(0.375, false), "09:00:00");
        // The last millisecond rounds into the next day.
        assert_eq!(shown(45_943.999_999_999_9, false), "2025-10-14");
        for odd in [-1.0, 3e6, f64::NAN, f64::INFINITY] {
            assert!(matches!(moment(odd, false), Value::Number(_)), "{odd}");
        }
    }

    #[test]
    fn durations_are_read_and_written() {
        for (text, want) in [
            ("PT09H00M02S", "09:00:02"),
            ("PT26H30M02.5S", "26:30:02.500"),
            ("P1DT2H", "26:00:00"),
            ("-PT5S", "-00:00:05"),
        ] {
            assert_eq!(clock(iso_duration(text).unwrap()), want);
        }
        for bad in ["", "P", "PT", "PTxS", "PT5", "P1Y", "5", "PT1e999S"] {
            assert!(iso_duration(bad).is_none_or(|s| s == 0.0), "{bad}");
        }
    }

    #[test]
    fn error_values_are_known() {
        assert!(is_error_value("#DIV/0!") && is_error_value("#n/a") && is_error_value("Err:502"));
        assert!(!is_error_value("#1") && !is_error_value("Err:x") && !is_error_value(""));
    }
}
