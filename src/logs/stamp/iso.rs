//! ISO 8601 stamps, and clocks that count from a start.

use super::calendar::DAY;
use super::digits::{digits, fraction, offset};
use super::fields::Fields;
use super::{Stamp, StampFault};

/// `2026-08-25T09:00:02.5+02:00`, with a blank or a `T`, seconds, fraction and offset optional; `20260825T090002Z`.
pub(super) fn iso(text: &[u8]) -> Result<Stamp, StampFault> {
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

/// A date alone, `2026-08-25`: the start of that day.
pub(super) fn midnight(text: &[u8]) -> Option<Stamp> {
    let mut f = Fields::default();
    let &[y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2] = text else {
        return None;
    };
    let number = |text: &[u8]| match digits(text, text.len()) {
        (value, n) if n == text.len() => Some(value),
        _ => None,
    };
    f.year = number(&[y1, y2, y3, y4]).and_then(|y| i32::try_from(y).ok());
    f.month = number(&[m1, m2])?;
    f.day = number(&[d1, d2])?;
    f.stamp().ok()
}

/// `0d 00:01:30.5`, `00:41:50`, `41:50`: seconds.
pub(super) fn elapsed_clock(text: &[u8]) -> Result<f64, StampFault> {
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
        // No exponents either, which a number has: `1e3091:00` hours are no time.
        let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',');
        if !part.starts_with(|c: char| c.is_ascii_digit()) || !part.trim_end().chars().all(plain) {
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
    let total = f64::from(days) * DAY + seconds;
    if total.is_finite() {
        Ok(total)
    } else {
        Err(StampFault::NoSuchTime)
    }
}
