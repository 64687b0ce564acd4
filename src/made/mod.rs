//! Made benches whose truth is known: the demo, and any number of benches to test our own verdicts and intervals on.
//!
//! A small physical model ([`model`]) with a control board ([`control`]) gives each run's true state; instruments ([`rows`])
//! read it. Nothing here shares a formula with the curves that the tool fits, so that a good score is earned.
//!
//! [`score`] says how well verdicts and intervals did; `cargo run --release --example calibrate` runs the tool over both kinds of benches.

pub mod bench;
pub mod control;
pub mod demo;
pub mod dice;
pub mod discharge;
pub mod drawn;
pub mod kind;
pub mod logs;
pub mod machine;
pub mod model;
pub mod rows;
pub mod score;
pub mod stories;
pub mod truth;
pub mod two_stage;
pub mod unit;
