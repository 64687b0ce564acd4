//! Everything that weakens an answer, found before anybody asks: missing runs, things that moved together, drift, odd runs.

mod design;
mod readings;
mod scatter;

use crate::bench::{Bench, Finding, Severity};
use crate::fit::forms::DrawData;
use crate::quantity::Said;

/// Looks a bench over. Findings come by falling severity, in the order found.
pub fn check(bench: &Bench) -> Vec<Finding> {
    let data = DrawData::from_bench(bench);
    let mut findings = bench.findings.clone();
    design::missing(bench, &data, &mut findings);
    if !data.rows.is_empty() {
        design::together(bench, &data, &mut findings);
        readings::odd(bench, &data, &mut findings);
        scatter::drift_and_outliers(bench, &data, &mut findings);
    }
    findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
    findings
}

/// A finding about the bench as a whole.
fn add(
    findings: &mut Vec<Finding>,
    severity: Severity,
    code: &'static str,
    message: impl Into<Said>,
) {
    findings.push(Finding::new(severity, code, message));
}
