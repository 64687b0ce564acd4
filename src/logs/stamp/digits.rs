//! Runs of digits: numbers, fractions, offsets from UTC.

/// Digits from the start, at most `most` of them: their value and count.
pub(super) fn digits(text: &[u8], most: usize) -> (u32, usize) {
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
pub(super) fn fraction(text: &[u8]) -> (f64, usize) {
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
