//! What a reader sees: tables, figures and pages, all fed by plain results and doing no analysis of their own.
//!
//! * [`words`]: making text that came from a bench safe to show, and writing numbers and units.
//! * [`tables`]: one neutral table, written as terminal text, HTML, Markdown or CSV.

pub mod figure;
pub mod font;
pub mod tables;
pub mod words;
