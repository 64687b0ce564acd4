//! Why there is no plan.

/// Why a plan cannot be made, or cannot be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// A list that needs an entry has none.
    #[error("no {what} given; a plan needs one at least")]
    Empty {
        /// Of what.
        what: &'static str,
    },
    /// The same entry twice.
    #[error(
        "{what} {name} is named twice; name each once and set how often it is run with --repeats"
    )]
    Twice {
        /// Of what.
        what: &'static str,
        /// Which.
        name: String,
    },
    /// A count outside what makes sense.
    #[error("{found} {what}; a plan takes {least} to {most}")]
    Count {
        /// Of what.
        what: &'static str,
        /// How many.
        found: usize,
        /// At least.
        least: usize,
        /// At most.
        most: usize,
    },
    /// A number outside what makes sense.
    #[error("{what} of {found}; expected {expected}")]
    Value {
        /// Of what.
        what: &'static str,
        /// What it was.
        found: f64,
        /// What it should be.
        expected: &'static str,
    },
    /// A made-up bench could not be read back.
    #[error("the simulated runs could not be read as a bench: {0}")]
    Simulation(String),
}
