//! Numbers in a log's cells.

/// What a cell of a measured column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell {
    /// A finite number.
    Number(f64),
    /// Nothing, or a word for nothing: a drop-out.
    Missing,
    /// Anything else.
    Unreadable,
}

/// Powers of ten that an f64 holds exactly.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Words that loggers write where there is no reading. Common practice, no source.
const NO_READING: [&str; 17] = [
    "nan",
    "na",
    "n/a",
    "#n/a",
    "null",
    "none",
    "unavailable",
    "unknown",
    "inf",
    "-inf",
    "ol",
    "-ol",
    "overload",
    "error",
    "err",
    "fail",
    "open",
];

/// Reads a cell as a number, with a decimal comma if `comma`. A unit after the number (`6.00 V`) is passed over.
///
/// Plain numbers of up to 15 digits are read by one exact division (Clinger 1990, "How to read floating point numbers
/// accurately", section 3), so that the result is the nearest f64; all others go through the standard library.
pub fn read(cell: &[u8], comma: bool) -> Cell {
    let cell = cell.trim_ascii();
    let mark = if comma { b',' } else { b'.' };
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    let mut mantissa = 0_u64;
    let mut count = 0_usize;
    let mut after_mark: Option<usize> = None;
    let mut end = 0;
    for &b in digits {
        match b {
            b'0'..=b'9' => {
                if count < 18 {
                    mantissa = mantissa * 10 + u64::from(b - b'0');
                }
                count += 1;
                if let Some(k) = &mut after_mark {
                    *k += 1;
                }
            }
            b if b == mark && after_mark.is_none() => after_mark = Some(0),
            _ => break,
        }
        end += 1;
    }
    if count == 0 {
        return word(cell);
    }
    let rest = digits.get(end..).unwrap_or_default();
    let places = after_mark.unwrap_or(0);
    if !rest.is_empty() && (matches!(rest.first(), Some(b'e' | b'E')) || !is_unit(rest)) {
        return slow(cell, comma);
    }
    if count <= 15
        && let Some(power) = POWERS.get(places)
    {
        let value = mantissa as f64 / power;
        return Cell::Number(if negative { -value } else { value });
    }
    let text = cell.get(..cell.len() - rest.len()).unwrap_or(cell);
    slow(text, comma)
}

/// Reads a plain number that begins at `at` in a longer text: sign, digits, decimal mark, at most 15 digits in all. Gives its value
/// and the place after it; none for anything else, which [`read`] may still make sense of.
#[inline]
pub fn quick(text: &[u8], at: usize, mark: u8) -> Option<(f64, usize)> {
    let mut rest = text.get(at..)?;
    let negative = rest.first() == Some(&b'-');
    if negative {
        rest = rest.get(1..)?;
    }
    let mut mantissa = 0_u64;
    let mut places = usize::MAX;
    let mut used = 0;
    for &b in rest.iter().take(17) {
        let digit = b.wrapping_sub(b'0');
        if digit < 10 {
            mantissa = mantissa * 10 + u64::from(digit);
        } else if b == mark && places == usize::MAX {
            places = used;
        } else {
            break;
        }
        used += 1;
    }
    let digits = used - usize::from(places != usize::MAX);
    if digits == 0 || digits > 15 {
        return None;
    }
    let after = if places == usize::MAX {
        0
    } else {
        used - places - 1
    };
    let value = mantissa as f64 / POWERS.get(after)?;
    let end = at + usize::from(negative) + used;
    Some((if negative { -value } else { value }, end))
}

/// Whether what follows a number can be a unit: letters and signs such as `%` and `°`; digits only as in `m3`, not at its start.
fn is_unit(rest: &[u8]) -> bool {
    let rest = rest.trim_ascii();
    rest.len() <= 8
        && rest.first().is_none_or(|b| !b.is_ascii_digit())
        && rest
            .iter()
            .all(|b| b.is_ascii_alphabetic() || *b >= 0x80 || b"%/23".contains(b))
}

fn slow(cell: &[u8], comma: bool) -> Cell {
    let Ok(text) = std::str::from_utf8(cell) else {
        return Cell::Unreadable;
    };
    let parsed = if comma {
        if text.contains('.') {
            return Cell::Unreadable;
        }
        text.replace(',', ".").parse::<f64>()
    } else {
        text.parse::<f64>()
    };
    match parsed {
        Ok(v) if v.is_finite() => Cell::Number(v),
        Ok(_) => Cell::Missing,
        Err(_) => Cell::Unreadable,
    }
}

fn word(cell: &[u8]) -> Cell {
    if cell.is_empty() || cell.iter().all(|b| matches!(b, b'-' | b'*' | b'?' | b'_')) {
        return Cell::Missing;
    }
    if NO_READING
        .iter()
        .any(|w| cell.eq_ignore_ascii_case(w.as_bytes()))
        || cell == "–".as_bytes()
    {
        return Cell::Missing;
    }
    Cell::Unreadable
}

/// Whether a cell is a number with a decimal comma, and not also one with a point.
pub fn has_decimal_comma(cell: &[u8]) -> bool {
    cell.contains(&b',') && matches!(read(cell, true), Cell::Number(_))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_numbers_are_the_nearest_f64() {
        for text in [
            "0",
            "25.61",
            "-5.754",
            "+7",
            "0.1",
            "123456789012345",
            "1e-3",
            "-2.5E+2",
            "0.30000000000000004",
            "9007199254740993",
            ".5",
            "5.",
            "3.700000000000000e-09",
        ] {
            let want: f64 = text.parse().unwrap();
            assert_eq!(read(text.as_bytes(), false), Cell::Number(want), "{text}");
            let comma = text.replace('.', ",");
            assert_eq!(read(comma.as_bytes(), true), Cell::Number(want), "{comma}");
        }
    }

    #[test]
    fn the_quick_reading_agrees_or_gives_up() {
        for (text, used) in [
            ("25.61,x", Some(5)),
            ("-5.754\n", Some(6)),
            ("7;", Some(1)),
            (".5,", Some(2)),
            ("123456789012345,", Some(15)),
            ("1234567890123456,", None),
            ("-,", None),
            ("x", None),
            ("", None),
        ] {
            let found = quick(text.as_bytes(), 0, b'.');
            assert_eq!(found.map(|f| f.1), used, "{text}");
            if let Some((value, end)) = found {
                let want: f64 = text.get(..end).unwrap().parse().unwrap();
                assert_eq!(value, want, "{text}");
            }
        }
    }

    #[test]
    fn units_after_numbers_are_passed_over() {
        assert_eq!(read(b"6,00 V", true), Cell::Number(6.0));
        assert_eq!(read("21.5°C".as_bytes(), false), Cell::Number(21.5));
        assert_eq!(read(b" 40 % ", false), Cell::Number(40.0));
    }

    #[test]
    fn words_for_nothing_are_missing_and_others_unreadable() {
        for text in ["", "-", "---", "NaN", "unavailable", "OL", "1e999", "–"] {
            assert_eq!(read(text.as_bytes(), false), Cell::Missing, "{text}");
        }
        for text in ["12:30", "1.2.3", "x", "1,2", "2026-08-25", "0x10", "1 2"] {
            assert_eq!(read(text.as_bytes(), false), Cell::Unreadable, "{text}");
        }
        assert_eq!(read(b"1.5", true), Cell::Unreadable);
        assert_eq!(read(b"1.234,5", true), Cell::Unreadable);
    }
}
