//! Parameters as text: rounded to their uncertainty for reading, with more digits for pasting.

use crate::quantity::{decimals_for, fixed};

/// A value rounded to two digits of its standard uncertainty `u` (six digits of its own where none is known); with an
/// exponent where plain digits would be long.
pub fn rounded(value: f64, u: Option<f64>) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let size = value.abs().log10().floor() as i32;
    let u = u.filter(|u| u.is_finite() && *u > 0.0);
    // 9.96 rounds to 10, whose two digits end one place further up.
    let last = u.map_or(size - 5, |u| {
        let place = u.log10().floor() as i32 - 1;
        if (u / 10f64.powi(place)).round() >= 100.0 {
            place + 1
        } else {
            place
        }
    });
    if (-4..7).contains(&size) && last >= -12 {
        return match u.and_then(decimals_for) {
            Some(decimals) => fixed(value, decimals),
            None => fixed(value, -last),
        };
    }
    let digits = usize::try_from(size - last).unwrap_or(0).min(16);
    format!("{value:.digits$e}")
}

/// A value with ten significant digits, without zeros at its end.
pub fn for_pasting(value: f64) -> String {
    shortest(format!("{value:.9e}").parse().unwrap_or(value))
}

/// A value with all its digits, with an exponent where plain digits would be long.
pub fn shortest(value: f64) -> String {
    let plain = (1e-5..1e16).contains(&value.abs()) || value == 0.0;
    if plain {
        format!("{value}")
    } else {
        format!("{value:e}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_end_where_the_uncertainty_does() {
        assert_eq!(rounded(238.942_129, Some(2.707)), "238.9");
        assert_eq!(rounded(5.501_564_3e-4, Some(7.267e-6)), "0.0005502");
        assert_eq!(rounded(-3.160_818e-15, Some(4.867e-17)), "-3.161e-15");
        assert_eq!(rounded(-3_482_258.6, Some(890_420.0)), "-3480000");
        assert_eq!(rounded(6.149e12, Some(9.96e9)), "6.149e12");
        assert_eq!(rounded(1.234_567_89, None), "1.23457");
        assert_eq!(rounded(0.0, Some(0.1)), "0");
        assert_eq!(rounded(1e-9, Some(3e-6)), "1e-9");
    }

    #[test]
    fn pasted_values_read_back() {
        for value in [1.0, -2.5e-23, 6.02e23, 0.1, 123_456.789, 5.501_564_3e-4] {
            assert_eq!(shortest(value).parse::<f64>().unwrap(), value);
            assert!((for_pasting(value).parse::<f64>().unwrap() / value - 1.0).abs() < 1e-9);
        }
        assert_eq!(
            (for_pasting(1.0 / 3.0), shortest(1e-7)),
            ("0.3333333333".to_owned(), "1e-7".to_owned())
        );
    }
}
