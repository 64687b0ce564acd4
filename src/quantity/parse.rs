//! Reading `"26.5 degC"`.

use super::unit::trimmed_span;
use super::{Dimension, Unit, UnitError, UnitErrorKind};

/// Reads a number with its unit into the base unit of the wanted dimension.
///
/// `"26.5 degC"` and `"79.7degF"` as a temperature, `"-45 s"`, `"0.4 degC"` as a temperature difference where
/// `want` is [`Dimension::TemperatureDifference`]. A plain number is read only for [`Dimension::Number`].
///
/// # Errors
/// Empty text, no number, a decimal comma, a number that is not finite, a missing or unknown unit, a unit of another
/// dimension. Each says what was found, what was expected, and which bytes of the text are meant.
///
/// ```
/// use steadydraw::quantity::{parse_quantity, Dimension};
/// assert_eq!(parse_quantity("212 degF", Dimension::Temperature), Ok(100.0));
/// assert_eq!(parse_quantity("9 degF", Dimension::TemperatureDifference), Ok(5.0));
/// assert_eq!(parse_quantity("45 %", Dimension::Fraction), Ok(0.45));
/// let error = parse_quantity("26.5", Dimension::Temperature).unwrap_err();
/// assert_eq!(error.to_string(), "found `26.5`, expected a temperature with its unit (degC, degF, K), such as `26.5 degC`");
/// ```
pub fn parse_quantity(text: &str, want: Dimension) -> Result<f64, UnitError> {
    let (number, unit) = parse_quantity_written(text, want)?;
    let value = match unit {
        Some(unit) => unit.to_base(number, want),
        None => number,
    };
    if !value.is_finite() {
        return Err(not_finite(text, trimmed_span(text)));
    }
    Ok(value)
}

/// Reads a number with its unit as written: the number in that unit, and the unit (none for [`Dimension::Number`]).
///
/// # Errors
/// As for [`parse_quantity`].
pub fn parse_quantity_written(
    text: &str,
    want: Dimension,
) -> Result<(f64, Option<Unit>), UnitError> {
    let span = trimmed_span(text);
    if span.is_empty() {
        let expected = if want == Dimension::Number {
            "a number".to_owned()
        } else {
            format!("{} with its unit", want.words_with_units())
        };
        return Err(UnitError::new(UnitErrorKind::Empty, text, expected, span));
    }
    let (number, rest_at) = leading_number(text, want)?;
    let rest = text.get(rest_at..).unwrap_or_default();
    let rest_span = trimmed_span(rest);
    if want == Dimension::Number {
        if rest_span.is_empty() {
            return Ok((number, None));
        }
        let at = rest_at + rest_span.start..rest_at + rest_span.end;
        let kind = UnitErrorKind::UnknownUnit { suggestion: None };
        return Err(UnitError::new(
            kind,
            text,
            "a plain number without a unit",
            at,
        ));
    }
    if rest_span.is_empty() {
        let written = text.trim();
        let units = want.accepted();
        let expected = format!(
            "{} with its unit ({}), such as `{written} {}`",
            want.words(),
            units.join(", "),
            units.first().copied().unwrap_or_default()
        );
        return Err(UnitError::new(
            UnitErrorKind::MissingUnit,
            text,
            expected,
            span,
        ));
    }
    let unit = Unit::parse_for(rest, want).map_err(|error| error.shifted(rest_at))?;
    Ok((number, Some(unit)))
}

/// The number at the start of the text (after white space), and the byte after it. A real minus sign is read as `-`.
///
/// # Errors
/// No number there; a comma inside it; not finite.
pub(super) fn leading_number(text: &str, want: Dimension) -> Result<(f64, usize), UnitError> {
    let start = trimmed_span(text).start;
    let body = text.get(start..).unwrap_or_default();
    let end = number_end(body);
    let number_span = start..start + end;
    let after = body.get(end..).unwrap_or_default();
    if end > 0 && is_comma_number(after) {
        let rest = after.trim_start_matches(|c: char| c.is_ascii_digit() || ",.'_".contains(c));
        let span = start..text.len() - rest.len();
        return Err(UnitError::new(
            UnitErrorKind::DecimalComma,
            text,
            "a number with a decimal point and no separators between thousands, such as 1200.5",
            span,
        ));
    }
    let written = body.get(..end).unwrap_or_default().replace('\u{2212}', "-");
    let Ok(number) = written.parse::<f64>() else {
        let expected = if want == Dimension::Number {
            "a number".to_owned()
        } else {
            format!("a number and its unit: {}", want.words_with_units())
        };
        let span = trimmed_span(text);
        return Err(UnitError::new(
            UnitErrorKind::NotANumber,
            text,
            expected,
            span,
        ));
    };
    if !number.is_finite() {
        return Err(not_finite(text, number_span));
    }
    Ok((number, start + end))
}

fn not_finite(text: &str, span: std::ops::Range<usize>) -> UnitError {
    let expected = "a number of ordinary size (this one is too large to compute with)";
    UnitError::new(UnitErrorKind::NotFinite, text, expected, span)
}

/// Whether what follows the digits is a comma or another separator and more digits.
fn is_comma_number(after: &str) -> bool {
    let mut chars = after.chars();
    matches!(chars.next(), Some(',' | '\'' | '_'))
        && chars.next().is_some_and(|c| c.is_ascii_digit())
}

/// Bytes that the number at the start takes: sign, digits, point, digits, and an exponent only where digits follow it.
/// Zero when there is no digit.
fn number_end(text: &str) -> usize {
    let mut end = 0;
    let mut rest = text;
    if let Some(stripped) = rest.strip_prefix(['-', '+', '\u{2212}']) {
        end += rest.len() - stripped.len();
        rest = stripped;
    }
    let whole = digits(rest);
    end += whole;
    rest = rest.get(whole..).unwrap_or_default();
    let mut any = whole > 0;
    if let Some(stripped) = rest.strip_prefix('.') {
        let part = digits(stripped);
        if any || part > 0 {
            end += 1 + part;
            rest = stripped.get(part..).unwrap_or_default();
            any = true;
        }
    }
    if !any {
        return 0;
    }
    if let Some(stripped) = rest.strip_prefix(['e', 'E']) {
        let unsigned = stripped
            .strip_prefix(['-', '+', '\u{2212}'])
            .unwrap_or(stripped);
        let part = digits(unsigned);
        if part > 0 {
            end += rest.len() - unsigned.len() + part;
        }
    }
    end
}

fn digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}
