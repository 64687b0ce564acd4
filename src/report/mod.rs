//! What a reader sees: tables, figures and pages, all fed by plain results and doing no analysis of their own.
//!
//! * [`words`]: making text that came from a bench safe to show, and writing numbers and units.
//! * [`result_tables`]: tables that a command and the write-up both show.
//! * [`budgets`]: uncertainty budgets as tables and sentences.
//! * [`claims`]: the maker's figures against the bench.
//! * [`mod@compare`]: several units at the same conditions.
//! * [`predictions`]: predictions explained, settings at common conditions, left-out runs.
//! * [`tables`]: one neutral table, written as terminal text, HTML, Markdown or CSV.
//! * [`workbook`]: a write-up's numbers as one `.xlsx` file.
//! * [`font`]: the embedded faces that figures are measured and lettered with.
//! * [`figure`]: figures as plain scenes, drawn as SVG and PNG.
//! * [`curve_figure`]: the figure of a curve fitted to a table.
//! * [`run_figure`]: how each run was read from its log.
//! * [`document`]: a write-up as plain content; [`html`] and [`markdown`] write it.
//! * [`explorer`]: a form in the page that answers as `predict` and `runtime` do.
//! * [`writeup`]: the write-up of a bench, put together from all results.
//! * [`run_sheet`]: a plan to be printed and taken to the bench.
//! * [`supply_figures`]: figures of discharge tests and of a day.
//! * [`supply_tables`]: runtime and a day, in tables and sentences.
//! * [`passing`]: what stands beside a file until it is whole.
//! * [`mod@write`]: files that appear whole or not at all.

pub mod budgets;
pub mod claims;
pub mod compare;
pub mod curve_figure;
pub mod document;
pub mod explorer;
pub mod figure;
pub mod font;
pub mod html;
pub mod markdown;
pub mod passing;
pub mod predictions;
pub mod reproduce;
pub mod result_tables;
pub mod run_figure;
pub mod run_sheet;
pub mod supply_figures;
pub mod supply_tables;
pub mod tables;
pub mod words;
pub mod workbook;
pub mod write;
pub mod writeup;
