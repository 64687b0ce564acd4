//! Stamps written to a pattern of `%` codes.

use super::digits::{digits, fraction, offset};
use super::fields::Fields;
use super::{Stamp, StampFault};
use crate::logs::pattern::Piece;

pub(super) fn by_pieces(
    pieces: &[Piece],
    text: &[u8],
    year: Option<i32>,
) -> Result<Stamp, StampFault> {
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
