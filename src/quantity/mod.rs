//! Quantities: numbers with units, as people write them and as the program computes with them.
//!
//! Text comes in with a unit (`"26.5 degC"`, `intake_temp [degF]`, `"0.5 % of reading + 0.02 A"`) and leaves this room as a
//! plain `f64` in the base unit of its [`Dimension`]; a standard uncertainty is a [`Split`]. Every other room computes in base units only:
//!
//! | dimension | base unit |
//! | --- | --- |
//! | temperature, temperature difference | degC |
//! | power | W |
//! | voltage, current, charge, energy | V, A, Ah, Wh |
//! | speed, flow | m/s, m3/h |
//! | pressure | Pa |
//! | fraction (relative humidity, usable share) | 1, so 45 % is 0.45 |
//! | time, length, area | s, m, m2 |
//! | mass, mass rate | kg, kg/h |
//! | resistance | ohm |
//!
//! A number without a unit is refused wherever a unit could be meant: guessing between degC and degF is how tests go wrong.

mod accuracy;
mod atmosphere;
mod dimension;
mod error;
mod heading;
mod parse;
mod said;
mod show;
mod split;
mod table;
mod unit;

pub use accuracy::Accuracy;
pub use atmosphere::{STANDARD_PRESSURE_PA, standard_pressure_pa};
pub use dimension::Dimension;
pub use error::{UnitError, UnitErrorKind};
pub use heading::Heading;
pub use parse::{parse_quantity, parse_quantity_written};
pub use said::Said;
pub use show::{System, decimals_for, fixed, significant, to_uncertainty, with_uncertainty};
pub use split::Split;
pub use unit::Unit;
