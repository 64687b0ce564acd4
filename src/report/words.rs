//! Making text that came from a bench safe to show, and writing numbers and units.

use std::borrow::Cow;

pub use crate::bench::visible;

/// What stands where a figure is absent.
pub const ABSENT: &str = "–";

/// A number with a fixed count of decimals, or the sign for an absent figure where it is not finite.
///
/// Never prints a negative zero: −0.04 to one decimal is `0.0`.
pub fn number(value: f64, decimals: u8) -> String {
    if !value.is_finite() {
        return ABSENT.to_owned();
    }
    let text = format!("{value:.*}", usize::from(decimals));
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// Decimals that show two significant digits of an uncertainty, so that a value written with them
/// claims no more than is known (JCGM 100:2008, 7.2.6: at most two significant digits are usually enough).
///
/// An uncertainty that is zero or not finite says nothing about the digits; three decimals are used then.
pub fn decimals_for(uncertainty: f64) -> u8 {
    let u = uncertainty.abs();
    if !u.is_finite() || u == 0.0 {
        return 3;
    }
    // Printing in scientific form settles roundings such as 0.0996, which becomes 0.10 and not 0.100.
    let exponent = format!("{u:.1e}")
        .split_once('e')
        .and_then(|(_, e)| e.parse::<i32>().ok())
        .unwrap_or(0);
    u8::try_from((1 - exponent).clamp(0, 12)).unwrap_or(0)
}

/// A unit as a reader expects it in print: `degC` becomes `°C`, `m3/h` becomes `m³/h`.
///
/// Files keep the plain spelling; a unit that has no other form comes back as it is.
pub fn unit_sign(unit: &str) -> Cow<'_, str> {
    match unit {
        "degC" => Cow::Borrowed("°C"),
        "degF" => Cow::Borrowed("°F"),
        "m3/h" => Cow::Borrowed("m³/h"),
        "m3/s" => Cow::Borrowed("m³/s"),
        "ft3/min" => Cow::Borrowed("ft³/min"),
        other => visible(other),
    }
}

/// Breaks a paragraph into lines of at most `width` characters, at blanks only: a longer word keeps its own line.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut length = 0;
    for word in text.split_whitespace() {
        let word_length = word.chars().count();
        if length > 0 && length + 1 + word_length > width {
            lines.push(std::mem::take(&mut line));
            length = 0;
        }
        if length > 0 {
            line.push(' ');
            length += 1;
        }
        line.push_str(word);
        length += word_length;
    }
    if length > 0 {
        lines.push(line);
    }
    lines
}

/// Signs that stand behind a number and belong to it. Not every unit that is read: "in" and "m" are words or names, too.
const SIGNS: [&str; 22] = [
    "%", "W", "kW", "W/W", "Wh", "kWh", "V", "A", "Ah", "h", "min", "s", "K", "°C", "°F", "degC",
    "degF", "m³/h", "m3/h", "cfm", "Btu/h", "Pa",
];

/// The text with a space that does not break between every number and its unit.
pub fn unbroken(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut after_number = false;
    for (i, word) in text.split(' ').enumerate() {
        let sign = word.trim_end_matches([',', '.', ';', ':', ')', '”']);
        if i > 0 {
            let belongs = after_number && SIGNS.contains(&sign);
            out.push(if belongs { '\u{a0}' } else { ' ' });
        }
        out.push_str(word);
        after_number = word.ends_with(|c: char| c.is_ascii_digit());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_show_no_negative_zero_and_no_nan() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-0.06, 1), "-0.1");
        assert_eq!(number(-0.0, 0), "0");
        assert_eq!(number(f64::NAN, 2), ABSENT);
        assert_eq!(number(f64::NEG_INFINITY, 2), ABSENT);
    }

    #[test]
    fn decimals_follow_two_digits_of_the_uncertainty() {
        for (u, decimals) in [
            (12.0, 0),
            (120.0, 0),
            (1.2, 1),
            (9.96, 0),
            (0.34, 2),
            (0.0996, 2),
            (0.096, 3),
            (0.0, 3),
            (f64::NAN, 3),
            (1e-300, 12),
        ] {
            assert_eq!(decimals_for(u), decimals, "{u}");
        }
    }

    #[test]
    fn wrapping_keeps_every_word() {
        let text = "one further run at the same setting";
        let lines = wrap(text, 12);
        assert!(lines.iter().all(|l| l.chars().count() <= 12));
        assert_eq!(lines.join(" "), text);
        assert_eq!(wrap("averyveryverylongword", 5), ["averyveryverylongword"]);
        assert!(wrap("  ", 5).is_empty());
    }

    #[test]
    fn a_number_keeps_its_unit_on_the_line() {
        let text = "from 112 W (95 % of 3.5 kW), at 26.9 °C; fan 1 A6, 2 runs. 7 min.";
        let joined = "from 112\u{a0}W (95\u{a0}% of 3.5\u{a0}kW), at 26.9\u{a0}°C; fan 1 A6, 2 runs. 7\u{a0}min.";
        assert_eq!(unbroken(text), joined);
        // Nothing else is touched, runs of spaces least of all.
        for plain in ["", " ", "  two  spaces ", "W 5", "112"] {
            assert_eq!(unbroken(plain), plain);
        }
    }
}
