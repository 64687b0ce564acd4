//! What can be wrong with a quantity as written.

use std::ops::Range;

use super::Dimension;

/// Longest piece of the user's text that a message repeats, in characters.
const LONGEST_QUOTE: usize = 60;

/// A quantity, unit, heading or accuracy that cannot be read: what was found, what was expected, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("found {found}, expected {expected}")]
pub struct UnitError {
    /// What is wrong, for programs.
    pub kind: UnitErrorKind,
    /// What was found, for people: the text in backquotes, or "nothing".
    pub found: String,
    /// What was expected, and what to do.
    pub expected: String,
    /// Bytes of the given text that the error is about.
    pub span: Range<usize>,
}

/// The kinds of [`UnitError`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitErrorKind {
    /// There is no text at all.
    Empty,
    /// The text does not begin with a number.
    NotANumber,
    /// A comma where a decimal point belongs, or a thousands comma: `1,200` can be read both ways.
    DecimalComma,
    /// A number too large to compute with.
    NotFinite,
    /// A number without a unit.
    MissingUnit,
    /// A unit that is not in the table.
    UnknownUnit {
        /// The nearest unit in the table, when one is near.
        suggestion: Option<&'static str>,
    },
    /// A unit of another dimension.
    WrongDimension {
        /// Dimension of the unit that was found.
        found: Dimension,
        /// Dimension that was wanted.
        wanted: Dimension,
    },
    /// A heading whose square brackets do not hold exactly one unit at its end.
    Heading,
    /// An accuracy that is not a sum of "% of reading" and a limit with a unit.
    Accuracy,
}

impl UnitError {
    pub(super) fn new(
        kind: UnitErrorKind,
        text: &str,
        expected: impl Into<String>,
        span: Range<usize>,
    ) -> Self {
        let found = quote(text.get(span.clone()).unwrap_or_default());
        let expected = expected.into();
        Self {
            kind,
            found,
            expected,
            span,
        }
    }

    /// The same error, for text that stands `bytes` further on in what the user wrote.
    pub(super) fn shifted(mut self, bytes: usize) -> Self {
        self.span = self.span.start + bytes..self.span.end + bytes;
        self
    }
}

/// The text in backquotes, cut when long, with control characters made visible.
fn quote(text: &str) -> String {
    if text.is_empty() {
        return "nothing".to_owned();
    }
    let mut quoted = String::from("`");
    for (i, c) in text.chars().enumerate() {
        if i == LONGEST_QUOTE {
            quoted.push_str("...");
            break;
        }
        if c.is_control() {
            quoted.extend(c.escape_default());
        } else {
            quoted.push(c);
        }
    }
    quoted.push('`');
    quoted
}
