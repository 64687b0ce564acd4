//! The write-up's tables.

use super::Results;
use crate::fit::forms::{At, CapacityKind, DrawData};
use crate::predict::{Prediction, predict, predict_capacity};
use crate::quantity::Dimension;
use crate::report::document::Document;
use crate::report::tables::{Cell, Column, Table};

/// A settings table at common conditions: what each tested setting draws and delivers.
pub(super) fn common_conditions(r: &Results<'_>) -> Table {
    let data = &r.draw.data;
    let (intake, ambient) = (data.intake_ref, data.ambient_ref);
    let t = |v: f64| {
        format!(
            "{:.1} {}",
            r.system.convert(Dimension::Temperature, v),
            crate::report::words::unit_sign(r.system.symbol(Dimension::Temperature))
        )
    };
    let conditions = if data.ambient_varied {
        format!("{} intake and {} ambient", t(intake), t(ambient))
    } else {
        format!("{} intake", t(intake))
    };
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("runs", ""),
        Column::number("draw", "W"),
        Column::interval(format!("mean, {}", r.percent()), "W"),
        Column::interval(format!("further run, {}", r.percent()), "W"),
    ];
    let capacity = r.capacity.as_ref().ok();
    if let Some((kind, _)) = capacity {
        columns.push(Column::number(
            capacity_name(*kind),
            r.system.capacity_symbol(),
        ));
        columns.push(Column::interval(
            format!("mean, {}", r.percent()),
            r.system.capacity_symbol(),
        ));
        columns.push(Column::number(
            "EER",
            if r.system == crate::quantity::System::Us {
                "Btu/h per W"
            } else {
                "W/W"
            },
        ));
    }
    let mut table =
        Table::new(format!("Every tested setting at {conditions}"), columns).with_note(note(r));
    for (mode, level, runs) in tested(data) {
        let at = At::new(mode, level, intake, ambient);
        let Some(p) = predict(r.bench, r.draw, at, r.level) else {
            continue;
        };
        let mut row = vec![
            Cell::text(name(data, mode)),
            Cell::text(level_name(data, level)),
            Cell::number(runs as f64, 0),
            Cell::number(p.draw_w, 1),
            Cell::interval(p.mean_w.0, p.mean_w.1, 1),
            Cell::interval(p.run_w.0, p.run_w.1, 1),
        ];
        if let Some((_, fit)) = capacity {
            match predict_capacity(r.bench, fit, at, r.level) {
                Some(c) => {
                    let show = |w: f64| r.system.convert_capacity(w);
                    row.push(Cell::number(show(c.capacity_w), 0));
                    row.push(Cell::interval(show(c.mean_w.0), show(c.mean_w.1), 0));
                    row.push(Cell::number(show(c.capacity_w) / p.draw_w, 2));
                }
                None => row.extend([Cell::Absent, Cell::Absent, Cell::Absent]),
            }
        }
        table.row(row);
    }
    table
}

fn note(r: &Results<'_>) -> String {
    let mut text = "Adjusted to the same conditions by the fitted curves, so that settings can be compared. “mean” holds the long-run mean, “further run” the draw of one more run as a perfect meter would read it.".to_owned();
    if let Ok((kind, _)) = &r.capacity {
        match kind {
            CapacityKind::Sensible => text.push_str(
                " Capacity and EER are of the sensible part only: outlet humidity is missing.",
            ),
            CapacityKind::Total => text.push_str(" EER is total cooling over the whole draw."),
        }
    }
    text
}

/// Predictions at and beyond the warmest tested intake.
pub(super) fn warmer(r: &Results<'_>) -> Table {
    let data = &r.draw.data;
    let warmest = data
        .rows
        .iter()
        .map(|row| row.intake)
        .fold(f64::NEG_INFINITY, f64::max);
    let unit = r.system.symbol(Dimension::Temperature);
    let mut table = Table::new(
        "Draw at warmer intakes than tested",
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("intake", unit),
            Column::number("draw", "W"),
            Column::interval(format!("further run, {}", r.percent()), "W"),
            Column::interval(format!("mean, {}", r.percent()), "W"),
            Column::text("support"),
        ],
    )
    .with_note("Ambient air as in the runs. Beyond the tested range the interval also holds a curve that bends and a control that clips.");
    for (mode, level, _) in tested(data) {
        for step in [0.0, 3.0] {
            let intake = warmest.round() + step;
            let Some(p) = predict(
                r.bench,
                r.draw,
                At::new(mode, level, intake, data.ambient_mean),
                r.level,
            ) else {
                continue;
            };
            table.row([
                Cell::text(name(data, mode)),
                Cell::text(level_name(data, level)),
                Cell::number(r.system.convert(Dimension::Temperature, intake), 1),
                Cell::number(p.draw_w, 1),
                Cell::interval(p.run_w.0, p.run_w.1, 1),
                Cell::interval(p.mean_w.0, p.mean_w.1, 1),
                Cell::text(support_words(&p)),
            ]);
        }
    }
    table
}

fn support_words(p: &Prediction) -> String {
    if p.intake_beyond_k > 0.0 {
        format!("{:.1} K beyond", p.intake_beyond_k)
    } else {
        "inside".to_owned()
    }
}

/// Every run as it was used.
pub(super) fn runs(r: &Results<'_>) -> Table {
    use crate::bench::Channel;
    let unit = r.system.symbol(Dimension::Temperature);
    let flow = r.system.symbol(Dimension::Flow);
    let mut table = Table::new(
        "Every run",
        [
            Column::text("run"),
            Column::text("kind"),
            Column::text("mode"),
            Column::text("fan"),
            Column::text("block"),
            Column::number("intake", unit),
            Column::number("outlet", unit),
            Column::number("ambient", unit),
            Column::number("airflow", flow),
            Column::number("draw", "W"),
        ],
    );
    for p in &r.bench.points {
        let temperature = |c: Channel| {
            Cell::maybe(
                p.get(c)
                    .map(|v| r.system.convert(Dimension::Temperature, v)),
                1,
            )
        };
        table.row([
            Cell::text(p.run.as_str()),
            Cell::text(p.kind.name()),
            Cell::text(p.mode.as_str()),
            Cell::text(p.fan.as_str()),
            Cell::text(p.block.as_deref().unwrap_or("")),
            temperature(Channel::IntakeTemp),
            temperature(Channel::OutletTemp),
            temperature(Channel::AmbientTemp),
            Cell::maybe(
                p.airflow_m3h()
                    .map(|v| r.system.convert(Dimension::Flow, v)),
                0,
            ),
            Cell::number(p.draw_w(), 1),
        ]);
    }
    table
}

pub(super) fn capacity_name(kind: CapacityKind) -> &'static str {
    match kind {
        CapacityKind::Total => "total cooling",
        CapacityKind::Sensible => "sensible cooling",
    }
}

/// Tested settings as (mode, level, runs), in order.
pub(super) fn tested(data: &DrawData) -> Vec<(usize, usize, usize)> {
    data.tested
        .iter()
        .enumerate()
        .flat_map(|(m, levels)| {
            levels
                .iter()
                .enumerate()
                .filter(|(_, n)| **n > 0)
                .map(move |(l, n)| (m, l, *n))
        })
        .collect()
}

pub(super) fn name(data: &DrawData, mode: usize) -> &str {
    data.modes.get(mode).map_or("", String::as_str)
}

pub(super) fn level_name(data: &DrawData, level: usize) -> &str {
    data.levels.get(level).map_or("", |l| l.label.as_str())
}

/// File names for a document's tables, from their order and first words.
pub(super) fn named(document: &Document) -> Vec<(String, &Table)> {
    document
        .tables()
        .enumerate()
        .map(|(i, table)| {
            let slug: String = table
                .title
                .to_lowercase()
                .chars()
                .map(|c| if c.is_ascii_alphanumeric() { c } else { ' ' })
                .collect::<String>()
                .split_whitespace()
                .take(5)
                .collect::<Vec<_>>()
                .join("-");
            (format!("{:02}-{slug}", i + 1), table)
        })
        .collect()
}
