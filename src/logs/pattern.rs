//! Patterns of `%` codes in which loggers write their times.

/// One piece of a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    Year,
    ShortYear,
    Month,
    MonthName,
    Day,
    DayOfYear,
    Hour,
    Hour12,
    Minute,
    Second,
    Fraction,
    Half,
    Offset,
    Seconds,
    WeekdayName,
    Literal(u8),
    Space,
}

/// Why a pattern cannot be used: what is wrong, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatternFault {
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
}

/// Takes a pattern apart.
pub(super) fn pieces(text: &str, year: Option<i32>) -> Result<Vec<Piece>, PatternFault> {
    let mut out = Vec::new();
    let mut bytes = text.bytes().peekable();
    while let Some(b) = bytes.next() {
        if b.is_ascii_whitespace() {
            out.push(Piece::Space);
            continue;
        }
        if b != b'%' {
            out.push(Piece::Literal(b));
            continue;
        }
        let mut code = bytes.next().unwrap_or(b' ');
        // Flags that change padding only, widths, and the point of `%.f`.
        while matches!(code, b'-' | b'_' | b'.' | b'0'..=b'9') {
            if code == b'.' {
                out.push(Piece::Literal(b'.'));
            }
            code = bytes.next().unwrap_or(b' ');
        }
        use Piece as P;
        match code {
            b'Y' => out.push(P::Year),
            b'y' => out.push(P::ShortYear),
            b'm' => out.push(P::Month),
            b'b' | b'B' | b'h' => out.push(P::MonthName),
            b'd' | b'e' => out.push(P::Day),
            b'j' => out.push(P::DayOfYear),
            b'H' | b'k' => out.push(P::Hour),
            b'I' | b'l' => out.push(P::Hour12),
            b'M' => out.push(P::Minute),
            b'S' => out.push(P::Second),
            b'f' | b'N' | b'L' => out.push(P::Fraction),
            b'p' | b'P' => out.push(P::Half),
            b'z' => out.push(P::Offset),
            b's' => out.push(P::Seconds),
            b'a' | b'A' => out.push(P::WeekdayName),
            b'T' => out.extend([
                P::Hour,
                P::Literal(b':'),
                P::Minute,
                P::Literal(b':'),
                P::Second,
            ]),
            b'R' => out.extend([P::Hour, P::Literal(b':'), P::Minute]),
            b'F' => out.extend([
                P::Year,
                P::Literal(b'-'),
                P::Month,
                P::Literal(b'-'),
                P::Day,
            ]),
            b'D' => out.extend([
                P::Month,
                P::Literal(b'/'),
                P::Day,
                P::Literal(b'/'),
                P::ShortYear,
            ]),
            b'n' | b't' => out.push(P::Space),
            b'%' => out.push(P::Literal(b'%')),
            other => {
                return Err(PatternFault {
                    found: format!("the code `%{}`", char::from(other).escape_default()),
                    expected: "codes among %Y %y %m %b %d %j %H %I %p %M %S %f %z %s %a".to_owned(),
                });
            }
        }
    }
    let has = |p: Piece| out.contains(&p);
    let fault = |found: &str, expected: &str| {
        Err(PatternFault {
            found: found.to_owned(),
            expected: expected.to_owned(),
        })
    };
    if has(Piece::Seconds) {
        return Ok(out);
    }
    if has(Piece::Hour12) && !has(Piece::Half) {
        return fault(
            "a twelve-hour clock (%I) without its half of the day",
            "%p for AM or PM beside %I, or %H where hours run to 24",
        );
    }
    if !has(Piece::Hour) && !has(Piece::Hour12) {
        return fault(
            "a pattern without an hour",
            "%H (or %I with %p); where time stands in a column of its own, list both columns",
        );
    }
    let day =
        has(Piece::DayOfYear) || (has(Piece::Day) && (has(Piece::Month) || has(Piece::MonthName)));
    if !day {
        return fault(
            "a pattern without a day",
            "%m and %d; where the date stands in a column of its own, list both columns",
        );
    }
    if !has(Piece::Year) && !has(Piece::ShortYear) && year.is_none() {
        return fault(
            "a pattern without a year",
            "%Y, or year = 2026 beside the format where the log writes none",
        );
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_that_cannot_tell_the_time_are_refused() {
        for (text, word) in [
            ("%Y-%m-%d %I:%M", "twelve-hour"),
            ("%m-%d %H:%M", "year"),
            ("%Y-%m-%d", "hour"),
            ("%H:%M:%S", "day"),
            ("%Q", "%Q"),
        ] {
            let fault = pieces(text, None).unwrap_err();
            assert!(fault.found.contains(word), "{text}: {fault:?}");
        }
    }
}
