//! An instrument's stated accuracy: `"0.5 % of reading + 0.02 A"`.

use super::parse::leading_number;
use super::unit::trimmed_span;
use super::{Dimension, Unit, UnitError, UnitErrorKind};

/// The largest error that an instrument's maker states, as a share of the reading plus a constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// Share of the reading: 0.005 for "0.5 % of reading".
    pub relative: f64,
    /// Constant part, in the base unit of what is measured (a difference for temperatures).
    pub absolute: f64,
}

impl Accuracy {
    /// Reads an accuracy for an instrument that measures `what`: a sum of at most one share of the reading and one constant,
    /// in either order. For a [`Dimension::Fraction`] such as relative humidity, `2 %` is the constant 0.02 and `2 % of reading` a share.
    ///
    /// # Errors
    /// Text that is not such a sum, a negative part, a share of the full scale (the table does not know the scale:
    /// write its value), a unit of another dimension.
    ///
    /// ```
    /// use steadydraw::quantity::{Accuracy, Dimension};
    /// let meter = Accuracy::parse("0.5 % of reading + 0.02 A", Dimension::Current).unwrap();
    /// assert_eq!((meter.relative, meter.absolute), (0.005, 0.02));
    /// assert!((meter.limit_at(10.0) - 0.07).abs() < 1e-15);
    /// ```
    pub fn parse(text: &str, what: Dimension) -> Result<Self, UnitError> {
        let whole = trimmed_span(text);
        if whole.is_empty() {
            return Err(UnitError::new(
                UnitErrorKind::Empty,
                text,
                form(what),
                whole,
            ));
        }
        let (mut relative, mut absolute) = (None, None);
        let mut at = 0;
        while at < text.len() {
            let rest = text.get(at..).unwrap_or_default();
            let rest =
                rest.trim_start_matches(|c: char| c.is_whitespace() || "+-/\u{b1}".contains(c));
            let skipped = text.len() - rest.len();
            // A bare minus sign is refused: a limit has no sign. `+/-` and the plus-minus sign are only decoration.
            let sign = text.get(at..skipped).unwrap_or_default();
            if sign.replace("+/-", "").contains('-') {
                let span = at..skipped;
                let expected = "limits without a sign, joined by `+`";
                return Err(UnitError::new(
                    UnitErrorKind::Accuracy,
                    text,
                    expected,
                    span,
                ));
            }
            at = skipped;
            let (number, used) = leading_number(rest, what)
                .map_err(|error| UnitError::new(error.kind, text, form(what), at..text.len()))?;
            let tail = rest.get(used..).unwrap_or_default();
            let words = tail.split(['+', '\u{b1}']).next().unwrap_or_default();
            let term = at..at + used + trimmed_span(words).end;
            let slot = match kind_of(words, what) {
                Term::Relative => relative.replace(number / 100.0),
                Term::Absolute => {
                    let unit =
                        Unit::parse_for(words, what).map_err(|error| error.shifted(at + used))?;
                    absolute.replace(unit.difference_to_si(number))
                }
                Term::Unclear => {
                    return Err(UnitError::new(
                        UnitErrorKind::Accuracy,
                        text,
                        form(what),
                        term,
                    ));
                }
            };
            if slot.is_some() {
                let expected = "each part once: one share of the reading, one constant";
                return Err(UnitError::new(
                    UnitErrorKind::Accuracy,
                    text,
                    expected,
                    term,
                ));
            }
            at += used + words.len();
        }
        let accuracy = Self {
            relative: relative.unwrap_or(0.0),
            absolute: absolute.unwrap_or(0.0),
        };
        if !(accuracy.relative.is_finite() && accuracy.absolute.is_finite()) {
            let expected = "limits of ordinary size";
            return Err(UnitError::new(
                UnitErrorKind::NotFinite,
                text,
                expected,
                whole,
            ));
        }
        Ok(accuracy)
    }

    /// The largest error at a reading, both in base units.
    ///
    /// A share of a temperature's reading is taken of its value in degC, as makers of thermometers state it
    /// (common practice, no source).
    pub fn limit_at(&self, reading: f64) -> f64 {
        self.relative * reading.abs() + self.absolute
    }

    /// Standard uncertainty at a reading when the accuracy is stated as limits: the limit divided by the root of three,
    /// every error within the limits being as likely as any other (JCGM 100:2008, 4.3.7).
    pub fn standard_at(&self, reading: f64) -> f64 {
        self.limit_at(reading) / 3f64.sqrt()
    }
}

enum Term {
    Relative,
    Absolute,
    Unclear,
}

/// What the words after a number mean. A bare `%` is a constant for percentages, and unclear for everything else.
fn kind_of(words: &str, what: Dimension) -> Term {
    let words = words.trim();
    let Some(after) = words.strip_prefix('%') else {
        return Term::Absolute;
    };
    match after.trim().to_ascii_lowercase().as_str() {
        "of reading" | "of the reading" | "reading" | "rdg" | "of rdg" => Term::Relative,
        "" | "rh" if what == Dimension::Fraction => Term::Absolute,
        _ => Term::Unclear,
    }
}

fn form(what: Dimension) -> String {
    let unit = what.accepted().first().copied().unwrap_or("1");
    format!(
        "an accuracy such as `0.5 % of reading`, `0.2 {unit}` or `0.5 % of reading + 0.2 {unit}` \
         (write a share of the full scale as its value, and a count of digits as what it stands for)"
    )
}
