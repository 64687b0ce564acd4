//! `steadydraw` takes bench runs of a small DC air conditioner to fitted curves, a coupling verdict,
//! predictions with honest intervals, and a write-up.
//!
//! The rooms, in the order in which data flows; a lower room never imports a higher one:
//!
//! * [`quantity`]: units, and reading `"26.5 degC"`.
//! * [`mod@bench`]: `bench.toml`, tables, runs, points, and what is wrong with them.
//! * [`logs`]: raw logs on any clock, streamed and sorted into runs.
//! * [`steady`]: steady stretches of runs, their means and what those are worth.
//! * [`air`]: moist air, ducts, capacity.
//! * [`stats`]: distributions, tests, intervals; knows nothing of air conditioners.
//! * [`fit`]: least squares, curve forms, selection.
//! * [`budget`]: what each instrument and the scatter between runs add to draw, capacity and EER.
//! * [`coupling`]: the lines of evidence and the verdict.
//! * [`predict`]: predictions and their support.
//! * [`supply`]: what feeds the unit: discharge tests, runtime, a day.
//! * [`plan`]: what to run, in which order, what it can decide, and the next run worth doing.
//! * [`findings`]: what weakens an answer.
//! * [`report`]: figures, tables, pages.
//! * [`starter`]: a bench to start from, its blanks marked.
//! * [`made`]: made benches whose truth is known: the demo, and the calibration of our own intervals.
//! * [`cli`]: one file a command: arguments, library call, words or JSON.

pub mod air;
pub mod bench;
pub mod budget;
pub mod cli;
pub mod coupling;
pub mod findings;
pub mod fit;
pub mod logs;
pub mod made;
pub mod plan;
pub mod predict;
pub mod quantity;
pub mod report;
pub mod starter;
pub mod stats;
pub mod steady;
pub mod supply;
