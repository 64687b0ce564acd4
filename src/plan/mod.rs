//! A test plan before a unit is run: which runs in which order, how long they take, what they can decide, and which run comes next.
//!
//! * [`Design`] and [`Plan`]: the factorial matrix, blocked and in random order.
//! * [`RunTimes`]: how long it takes, from logs that are there or from common practice.
//! * [`Assumed`] and [`reach`]: the chance that the plan ends in a verdict, by running the real assessment on made-up results.
//! * [`runs_csv`], [`points_csv`]: tables to be filled on the bench.
//! * [`CAUTIONS`]: what to mind while doing so.

mod assumed;
mod error;
mod matrix;
mod power;
mod reach;
mod sheet;
mod time;

pub use assumed::{Assumed, DEFAULT_SCATTER, Known};
pub use error::PlanError;
pub use matrix::{Design, Plan, PlannedRun};
pub use power::{fan_seen, levels_differ};
pub use reach::{Enough, Question, Reach, ReachCase, enough, reach};
pub use sheet::{points_csv, runs_csv};
pub use time::{RunTimes, TimeNeeded};

/// What to mind at the bench; printed with every plan.
pub const CAUTIONS: [&str; 5] = [
    "A battery delivers hundreds of amperes into a fault: fuse it at the battery, within its and the cable's rating, and keep to its maker's current and temperature limits.",
    "Where a heater warms the intake air, never leave it in a duct unattended, and make it go off by itself when the air stops.",
    "Do not open the refrigerant circuit; a plan needs no gauges in it.",
    "Keep hands and cords clear of fans, and let nothing stand in their air.",
    "A plan is no approval: local codes and licensed practice decide on wiring, refrigerant and installation.",
];
