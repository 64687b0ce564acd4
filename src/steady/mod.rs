//! Steady stretches of runs, their means, and what those are worth.
//!
//! [`reduce`](fn@reduce) takes a bench's logs to one judged result a run. [`readings`] settles which series stand for a run; [`search`]
//! finds stretches in which draw, intake and outlet keep their tolerances and where the start-up ends; [`cycles`] recognises
//! regular cycling; [`judge`](mod@judge) names the run; [`mean`] takes means over the readings themselves, each channel at its own
//! sampling; [`lag`] looks whether two logs' clocks agree; [`points`] writes the table that all other commands read; [`trace`] keeps what a picture of a
//! run needs.

pub mod blocks;
pub mod cycles;
mod doubt;
pub mod judge;
pub mod lag;
pub mod mean;
pub mod points;
pub mod readings;
mod reduce;
pub mod search;
pub mod trace;
pub mod words;

pub use judge::{Judged, Plateau, Status};
pub use reduce::{Reduction, RunResult, Wishes, reduce, reduce_with};
