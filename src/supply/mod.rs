//! What feeds the unit: a battery's discharge test, how long a battery carries a setting, a day from hour to hour.
//!
//! * [`cautions`]: what can hurt people.
//! * [`discharge`]: Ah and Wh from logs, against the rating.
//! * [`wire`]: copper, and the current of a load of constant power.
//! * [`chain`]: from the unit's terminals to the battery's, and what the battery holds.
//! * [`runtime`]: hours on the battery, with their interval.
//! * [`notes`]: what a runtime rests on.
//! * [`day`]: a day's temperatures, use and charging, and the charge left.

pub mod cautions;
pub mod chain;
pub mod day;
pub mod discharge;
pub mod notes;
pub mod runtime;
pub mod wire;
