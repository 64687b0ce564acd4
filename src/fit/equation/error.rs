//! What can be wrong with an equation, and where.

use std::ops::Range;

use thiserror::Error;

/// An equation that cannot be read or used, with the place in its text.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{problem} (character {} of the equation)", self.column())]
pub struct EquationError {
    /// What is wrong and what to do about it.
    pub problem: EquationProblem,
    /// The bytes of the text that are meant; empty at the end of the text.
    pub bytes: Range<usize>,
    /// The equation as given (cut where it is too long).
    pub text: String,
}

/// What is wrong with an equation.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum EquationProblem {
    /// The text is longer than the limit.
    #[error("the equation has {found} bytes; the limit is {limit}")]
    TooLong {
        /// Bytes found.
        found: usize,
        /// Bytes allowed.
        limit: usize,
    },
    /// Brackets, functions and powers are nested deeper than the limit.
    #[error("brackets, functions and powers are nested more than {limit} deep")]
    TooDeep {
        /// Levels allowed.
        limit: usize,
    },
    /// More different names than the limit.
    #[error("the equation has more than {limit} names")]
    TooManyNames {
        /// Names allowed.
        limit: usize,
    },
    /// A character that has no meaning in an equation.
    #[error("`{found}` has no meaning here{}", .hint.map(|h| format!("; {h}")).unwrap_or_default())]
    Character {
        /// The character.
        found: char,
        /// What may have been meant.
        hint: Option<&'static str>,
    },
    /// A number that cannot be read or lies beyond double precision.
    #[error("`{found}` is not a number that can be used")]
    Number {
        /// The text of the number.
        found: String,
    },
    /// Something else was expected.
    #[error("expected {expected}, found {found}")]
    Expected {
        /// What would make sense here.
        expected: &'static str,
        /// What stands here.
        found: String,
    },
    /// Two values stand side by side.
    #[error("an operator is missing before {found}; write `*` to multiply")]
    MissingOperator {
        /// What stands here.
        found: String,
    },
    /// A bracket is never closed.
    #[error("this bracket is never closed")]
    Unclosed,
    /// A name is used like a function but is none.
    #[error("`{found}` is not a function; there are {known}{}", .near.map(|n| format!("; did you mean `{n}`?")).unwrap_or_default())]
    UnknownFunction {
        /// The name.
        found: String,
        /// The functions that there are.
        known: String,
        /// The nearest of them.
        near: Option<&'static str>,
    },
    /// A function stands without its brackets.
    #[error("`{found}` is a function and needs brackets, as in `{found}(x)`")]
    FunctionWithoutBrackets {
        /// The function.
        found: String,
    },
    /// A function has the wrong number of arguments.
    #[error("`{function}` takes {expected} {}, found {found}", if *.expected == 1 { "argument" } else { "arguments" })]
    Arguments {
        /// The function.
        function: &'static str,
        /// Arguments that it takes.
        expected: usize,
        /// Arguments found.
        found: usize,
    },
    /// There is no equals sign.
    #[error(
        "an equation needs `=`: the measured column on its left, the curve on its right, as in `y = a + b*x`"
    )]
    NoEqualsSign,
    /// There is more than one equals sign.
    #[error("an equation has one `=`; this is another")]
    SecondEqualsSign,
    /// The left side holds a name that is not a column.
    #[error("`{found}` stands on the left side but is not a column; the columns are {}{}", .columns.join(", "), .near.as_ref().map(|n| format!("; did you mean `{n}`?")).unwrap_or_default())]
    LeftNotAColumn {
        /// The name.
        found: String,
        /// The columns that there are.
        columns: Vec<String>,
        /// The nearest of them.
        near: Option<String>,
    },
    /// The left side holds no column at all.
    #[error("the left side must hold the measured column")]
    LeftWithoutColumn,
    /// Every name on the right side is a column: there is nothing to fit.
    #[error(
        "nothing to fit: every name on the right side is a column; names that are not columns are the parameters"
    )]
    NoParameters,
}

impl EquationError {
    pub(super) fn new(problem: EquationProblem, bytes: Range<usize>, text: &str) -> Self {
        Self {
            problem,
            bytes,
            text: text.to_owned(),
        }
    }

    /// The place in characters, counted from 1.
    pub fn column(&self) -> usize {
        self.text
            .get(..self.bytes.start)
            .unwrap_or(&self.text)
            .chars()
            .count()
            + 1
    }

    /// The equation with a mark under the place that is meant, on two lines; a long equation is cut around it.
    pub fn picture(&self) -> String {
        const AROUND: usize = 60;
        let letters: Vec<char> = self
            .text
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let at = self.column() - 1;
        let (from, to) = (at.saturating_sub(AROUND), letters.len().min(at + AROUND));
        let lead = if from > 0 { "…" } else { "" };
        let shown: String = letters.get(from..to).unwrap_or(&[]).iter().collect();
        let marked = self
            .text
            .get(self.bytes.clone())
            .map_or(1, |t| t.chars().count())
            .clamp(1, AROUND);
        let tail = if to < letters.len() { "…" } else { "" };
        let indent = " ".repeat(at - from + lead.chars().count());
        format!("{lead}{shown}{tail}\n{indent}{}", "^".repeat(marked))
    }
}
