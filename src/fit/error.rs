//! What can keep a fit from being made.

use thiserror::Error;

/// Why a least-squares problem was refused. Rows and columns are counted from 0.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FitError {
    /// An entry of the design matrix is NaN or infinite.
    #[error("row {} of column {} of the design is not a finite number", .row + 1, .col + 1)]
    NotFinite {
        /// Row of the entry.
        row: usize,
        /// Column of the entry.
        col: usize,
    },
    /// An observed value is NaN or infinite.
    #[error("the observed value in row {} is not a finite number", .row + 1)]
    ResponseNotFinite {
        /// Row of the value.
        row: usize,
    },
    /// A weight or a standard uncertainty is negative, NaN or infinite (or zero where that has no meaning).
    #[error("the weight in row {} is {value}: it must be finite and not negative", .row + 1)]
    BadWeight {
        /// Row of the weight.
        row: usize,
        /// The value found.
        value: f64,
    },
    /// There are fewer rows that count than coefficients to find.
    #[error(
        "{n} rows cannot carry {p} coefficients; at least {p} are needed, more to judge their scatter"
    )]
    TooFewRows {
        /// Rows with a weight above zero.
        n: usize,
        /// Coefficients.
        p: usize,
    },
    /// There is no coefficient to find.
    #[error("there is no coefficient to find: the design has no columns")]
    NoColumns,
    /// Some columns are combinations of others: their coefficients cannot be told apart.
    #[error("only {rank} of {p} coefficients can be told apart; columns that cannot: {}", groups_in_words(.groups))]
    RankDeficient {
        /// Number of independent columns.
        rank: usize,
        /// Number of columns.
        p: usize,
        /// Columns that depend on one another, group by group.
        groups: Vec<Vec<usize>>,
    },
    /// Coefficients or sums of squares lie beyond the range of double precision.
    #[error(
        "coefficients or sums of squares are too large for double precision: state the data in other units"
    )]
    OutOfRange,
    /// A start value is not a finite number.
    #[error("the start of parameter {} is not a finite number", .parameter + 1)]
    BadStart {
        /// Number of the parameter.
        parameter: usize,
    },
    /// A lower bound lies above the upper one.
    #[error("the bounds of parameter {} leave it no value", .parameter + 1)]
    BoundsCrossed {
        /// Number of the parameter.
        parameter: usize,
    },
    /// The curve or its derivatives cannot be computed at the start.
    #[error("at the start the curve has no finite value or derivative in row {}: choose another start", .row + 1)]
    NotComputable {
        /// The first row concerned.
        row: usize,
    },
    /// Two inputs that belong together have different lengths.
    #[error("{what} has {found} entries where {expected} are expected")]
    DimensionMismatch {
        /// Which input.
        what: &'static str,
        /// Its length.
        found: usize,
        /// The length that it should have.
        expected: usize,
    },
}

fn groups_in_words(groups: &[Vec<usize>]) -> String {
    let one = |group: &Vec<usize>| {
        let names: Vec<String> = group.iter().map(|col| (col + 1).to_string()).collect();
        names.join(" + ")
    };
    groups.iter().map(one).collect::<Vec<_>>().join("; ")
}
