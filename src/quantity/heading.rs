//! Headings of tables: `intake_temp [degF]`.

use std::ops::Range;

use super::unit::trimmed_span;
use super::{Unit, UnitError, UnitErrorKind};

/// A column's heading split into its name and its unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heading {
    /// The name without the brackets and the white space around it.
    pub name: String,
    /// The unit in the square brackets; none where there are no brackets.
    pub unit: Option<Unit>,
    /// Bytes of the heading that the unit takes (inside the brackets); empty, at the end, where there is none.
    pub unit_span: Range<usize>,
}

impl Heading {
    /// Splits a heading. Round brackets are part of the name: only square ones hold a unit.
    ///
    /// # Errors
    /// Brackets that are empty, not closed, not at the end, or hold an unknown unit; a heading without a name.
    ///
    /// ```
    /// use steadydraw::quantity::Heading;
    /// let heading = Heading::parse("intake_temp [degF]").unwrap();
    /// assert_eq!(heading.name, "intake_temp");
    /// assert_eq!(heading.unit.map(|u| u.symbol()), Some("degF"));
    /// assert_eq!(Heading::parse("mode").unwrap().unit, None);
    /// ```
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let whole = trimmed_span(text);
        let wrong = |expected: &str, span| {
            Err(UnitError::new(UnitErrorKind::Heading, text, expected, span))
        };
        let Some((name, bracket)) = text.split_once('[') else {
            if text.contains(']') {
                return wrong("a `[` before the unit, as in `intake_temp [degC]`", whole);
            }
            if whole.is_empty() {
                return wrong("a column's name", whole);
            }
            return Ok(Self {
                name: text.trim().to_owned(),
                unit: None,
                unit_span: text.len()..text.len(),
            });
        };
        if name.trim().is_empty() {
            return wrong(
                "a column's name before its unit, as in `intake_temp [degC]`",
                whole,
            );
        }
        let Some((unit_text, after)) = bracket.split_once(']') else {
            return wrong("a `]` after the unit, as in `intake_temp [degC]`", whole);
        };
        if !after.trim().is_empty() {
            return wrong("nothing after the unit, as in `intake_temp [degC]`", whole);
        }
        let start = name.len() + 1;
        let unit = Unit::parse(unit_text).map_err(|error| error.shifted(start))?;
        let inner = trimmed_span(unit_text);
        Ok(Self {
            name: name.trim().to_owned(),
            unit: Some(unit),
            unit_span: start + inner.start..start + inner.end,
        })
    }
}
