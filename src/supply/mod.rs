//! What feeds the unit: a battery's discharge test, how long a battery carries a setting, a day from hour to hour.
//!
//! * [`cautions`]: what can hurt people.
//! * [`discharge`]: Ah and Wh from logs, against the rating.
//! * `wire`: copper, gauge, and the current of a load of constant power.

pub mod cautions;
pub mod discharge;
