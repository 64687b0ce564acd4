//! Tables that a command and the write-up both show.

use super::tables::{Cell, Column, Table};
use crate::coupling::{Coupling, ModePair};
use crate::fit::candidates::DrawFit;

/// What a reader of equations must know where the form has a humidity slope.
pub const USUAL_HUMIDITY: &str =
    "They hold for the intake humidity that is usual on this bench at each intake temperature.";

/// Elasticities by mode.
pub fn elasticities(coupling: &Coupling, level: f64) -> Table {
    let mut table = Table::new(
        "Elasticity of the compressor-side draw to airflow",
        [
            Column::text("mode"),
            Column::number("runs", ""),
            Column::number("fan levels", ""),
            Column::number("elasticity", ""),
            Column::interval(format!("{:.0} % interval", 100.0 * level), ""),
            Column::text("verdict"),
        ],
    )
    .with_note("By how many per cent the draw follows one per cent of airflow. Intervals by mode are widened so that all together keep the level.");
    for m in &coupling.per_mode {
        table.row([
            Cell::text(m.mode.as_str()),
            Cell::number(m.runs as f64, 0),
            Cell::number(m.fan_levels as f64, 0),
            Cell::maybe(m.elasticity.map(|e| e.value), 2),
            m.elasticity
                .map_or(Cell::Absent, |e| Cell::interval(e.low, e.high, 2)),
            Cell::text(m.verdict.name()),
        ]);
    }
    table
}

/// Modes compared at the fan levels that they share.
pub fn modes_alike(pairs: &[ModePair], margin: f64, level: f64) -> Table {
    let mut table = Table::new(
        "Modes compared at the fan levels that they share",
        [
            Column::text("modes"),
            Column::number("fan levels", ""),
            Column::number("largest difference", "%"),
            Column::interval(format!("{:.0} % interval", 100.0 * level), "%"),
            Column::text(format!("within {:.0} %", 100.0 * margin)),
        ],
    )
    .with_note("How much more the second draws, at the level where the two differ most.");
    for p in pairs {
        table.row([
            Cell::text(format!("{}, {}", p.a, p.b)),
            Cell::number(p.fan_levels as f64, 0),
            Cell::number(100.0 * p.difference, 1),
            Cell::interval(100.0 * p.low, 100.0 * p.high, 1),
            Cell::text(p.finding),
        ]);
    }
    table
}

/// The candidates of a fit and their weights; JSON has them all.
pub fn candidates(fit: &DrawFit) -> Table {
    const SHOWN: usize = 8;
    let mut table = Table::new(
        format!("Curves for the {}, most credible first", fit.data.response),
        [
            Column::text("form"),
            Column::number("weight", "%"),
            Column::number("AICc", ""),
            Column::number("leave-one-out error", "W"),
            Column::number("d.o.f.", ""),
        ],
    )
    .with_note(format!(
        "{} forms were tried; {} stayed credible and all of those enter every prediction. Leave-one-out error: root mean square miss of a run predicted without itself. d.o.f.: degrees of freedom.",
        fit.tried,
        fit.candidates.len()
    ));
    for c in fit.candidates.iter().take(SHOWN) {
        table.row([
            Cell::text(c.form.words(&fit.data)),
            Cell::number(100.0 * c.weight, 1),
            Cell::number(c.aicc, 1),
            Cell::number(c.loo_rmse_w, 2),
            Cell::number(c.fit.dof() as f64, 0),
        ]);
    }
    table
}
