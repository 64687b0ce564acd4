//! The write-up's tables.

use super::{HotDay, Results};
use crate::fit::forms::{At, CapacityKind, DrawData};
use crate::predict::{
    Prediction, Support, adjusted, predict, predict_assuming, predict_capacity_assuming,
};
use crate::quantity::{Dimension, System};
use crate::report::document::Document;
use crate::report::predictions::{self, CommonShown};
use crate::report::tables::{Cell, Column, Table};

/// A settings table at common conditions: what each tested setting draws and delivers.
pub(super) fn common_conditions(r: &Results<'_>) -> Table {
    let data = &r.draw.data;
    let capacity = r.capacity.as_ref().ok();
    let conditions = (data.intake_ref, data.ambient_ref);
    let settings = adjusted(
        r.bench,
        r.draw,
        capacity.map(|(_, fit)| *fit),
        conditions,
        r.level,
    );
    let shown = CommonShown {
        intake_c: data.intake_ref,
        ambient_c: data.ambient_varied.then_some(data.ambient_ref),
        further_run: true,
        level: r.level,
        system: r.system,
    };
    predictions::common_conditions(data, &settings, capacity.map(|(kind, _)| *kind), &shown)
        .with_note(note(r))
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
    text.push(' ');
    text.push_str(predictions::SHARED_NOTE);
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
                Cell::text(support_words(&p, r.system)),
            ]);
        }
    }
    table
}

/// Every tested setting on a day at another ambient, at the runs' mean intake and at the warmest.
pub(super) fn hot_day(r: &Results<'_>, day: &HotDay) -> Table {
    let data = &r.draw.data;
    let unit = r.system.symbol(Dimension::Temperature);
    let capacity = r.capacity.as_ref().ok();
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("intake", unit),
        Column::number("draw", "W"),
        Column::interval(format!("further run, {}", r.percent()), "W"),
        Column::interval(format!("mean, {}", r.percent()), "W"),
    ];
    if let Some((kind, _)) = capacity {
        columns.push(Column::number(
            predictions::capacity_name(*kind),
            r.system.capacity_symbol(),
        ));
    }
    columns.push(Column::text("support"));
    let ambient = r.system.convert(Dimension::Temperature, day.ambient_c);
    let sign = crate::report::words::unit_sign(unit);
    let assumed = if day.steps.is_some() {
        " (assumed, not measured)"
    } else {
        ""
    };
    let mut table = Table::new(
        format!("Draw with ambient air at {ambient:.1} {sign}{assumed}"),
        columns,
    );
    let (_, warmest) = data.whole_intake_range();
    let (draw_step, capacity_step) = day.steps.unzip();
    for (mode, level, _) in tested(data) {
        for intake in [data.intake_ref, warmest.round()] {
            let at = At::new(mode, level, intake, day.ambient_c);
            let Some(p) = predict_assuming(r.bench, r.draw, at, r.level, draw_step) else {
                continue;
            };
            let mut row = vec![
                Cell::text(name(data, mode)),
                Cell::text(level_name(data, level)),
                Cell::number(r.system.convert(Dimension::Temperature, intake), 1),
                Cell::number(p.draw_w, 1),
                Cell::interval(p.run_w.0, p.run_w.1, 1),
                Cell::interval(p.mean_w.0, p.mean_w.1, 1),
            ];
            if let Some((_, fit)) = capacity {
                let c = predict_capacity_assuming(r.bench, fit, at, r.level, capacity_step);
                let show = |w: f64| r.system.convert_capacity(w);
                row.push(Cell::maybe(c.map(|c| show(c.capacity_w)), 0));
            }
            row.push(Cell::text(match (p.assumed, p.support) {
                (Some(_), _) => "assumed",
                (None, Support::Inside) => "inside",
                (None, Support::Outside) => "outside",
            }));
            table.row(row);
        }
    }
    table
}

fn support_words(p: &Prediction, system: System) -> String {
    if p.intake_beyond_k > 0.0 {
        format!(
            "{} beyond",
            system.shown(Dimension::TemperatureDifference, p.intake_beyond_k, 1)
        )
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
