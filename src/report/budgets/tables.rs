//! Budgets as tables.

use super::{Shape, Shown, main_figure};
use crate::air::BTU_PER_WH;
use crate::bench::FlowFrom;
use crate::budget::{Figure, FigureBudget, Scope, SettingBudget, Witness};
use crate::quantity::Dimension;
use crate::report::tables::{Cell, Column, Table};
use crate::report::words::decimals_for;

/// Sensible, latent and total capacity of each setting; none where the bench gives no capacity.
pub fn capacities(shown: &Shown<'_>) -> Option<Table> {
    let (figure, _) = shown.capacity()?;
    let list = shown.budgets.middle(shown.data);
    let conditions = shown.conditions(&list);
    let unit = shown.system.capacity_symbol();
    let both = figure == Figure::Total;
    let percent = shown.percent();
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("runs", ""),
        Column::number("sensible", unit),
        Column::number("±", unit),
    ];
    if both {
        columns.extend([Column::number("latent", unit), Column::number("±", unit)]);
        columns.extend([Column::number("total", unit), Column::number("±", unit)]);
        columns.extend([Column::number("SHR", ""), Column::number("±", "")]);
    }
    let note = if both {
        format!(
            "Means of the runs themselves, brought to the same conditions by slopes that all settings share; the curves' figures may differ from them by less than the intervals. ±: half the {percent} interval. Total goes by the enthalpies: on a wet coil it is a little more than sensible and latent together, by the heat that leaves with the water. SHR: sensible heat ratio, sensible over total."
        )
    } else {
        format!(
            "Means of the runs themselves. ±: half the {percent} interval. Sensible only: humidity was not read on both sides of every run."
        )
    };
    let title = format!("Capacity of each setting at {conditions}");
    let mut table = Table::new(title, columns).with_note(note);
    let watts = |w: f64| shown.system.convert_capacity(w);
    let sensible = Shape::of(&list, Figure::Sensible, watts);
    let latent = Shape::of(&list, Figure::Latent, watts);
    let total = Shape::of(&list, Figure::Total, watts);
    let ratio = Shape::of(&list, Figure::SensibleHeatRatio, |v| v);
    for s in list {
        let mut row: Vec<Cell> = shown.names(s).into();
        row.push(Cell::number(s.runs.len() as f64, 0));
        row.extend(sensible.half(s));
        if both {
            row.extend([latent.half(s), total.half(s), ratio.half(s)].concat());
        }
        table.row(row);
    }
    Some(table)
}

/// EER of each setting, in both units, its two parts of uncertainty, and its ratio to the best; none without a capacity.
pub fn efficiencies(shown: &Shown<'_>) -> Option<Table> {
    let (_, kind) = shown.capacity()?;
    let list = shown.budgets.middle(shown.data);
    let eer = |s: &SettingBudget| s.figure(Figure::Eer).map(|f| f.value);
    let best = list
        .iter()
        .filter(|s| eer(s).is_some())
        .max_by(|a, b| eer(a).unwrap_or(0.0).total_cmp(&eer(b).unwrap_or(0.0)))?;
    let interval = || Column::interval(format!("{} interval", shown.percent()), "");
    let mut table = Table::new(
        format!(
            "EER of each setting at {}: {kind} cooling over the whole draw",
            shown.conditions(&list)
        ),
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("EER", "W/W"),
            interval(),
            Column::number("EER", "Btu/h per W"),
            interval(),
            Column::number("u shared", "W/W"),
            Column::number("u fresh", "W/W"),
            Column::number("to best", ""),
            interval(),
        ],
    )
    .with_note(format!(
        "u: standard uncertainty of the EER; its shared part is the same error in every run, its fresh part is what repeating averages out. To best: the ratio to {}, in which shared errors cancel, so that settings may differ for certain although their own intervals overlap.",
        shown.setting(best)
    ));
    let watts = Shape::of(&list, Figure::Eer, |v| v);
    let btu = Shape::of(&list, Figure::Eer, |v| v * BTU_PER_WH);
    for s in &list {
        let Some(f) = s.figure(Figure::Eer) else {
            continue;
        };
        let decimals = watts.decimals;
        let mut row: Vec<Cell> = shown.names(s).into();
        row.extend([watts.interval(s), btu.interval(s)].concat());
        row.push(Cell::number(f.u.shared, decimals));
        row.push(Cell::number(f.u.fresh, decimals));
        let ratio = shown.budgets.ratio(s, best, Figure::Eer).ok().flatten();
        match ratio.filter(|_| s.runs != best.runs) {
            Some(r) => {
                let d = decimals_for(r.u);
                row.push(Cell::number(r.value, d));
                row.push(Cell::interval(r.interval.0, r.interval.1, d));
            }
            None => row.extend([Cell::Absent, Cell::Absent]),
        }
        table.row(row);
    }
    Some(table)
}

/// What each source adds at the shown setting, and what a better instrument would buy.
pub fn contributions(shown: &Shown<'_>) -> Option<Table> {
    let s = shown.budgets.shown(shown.data)?;
    let main = main_figure(shown, s)?;
    let capacity = shown.capacity();
    let mut columns = vec![
        Column::text("source"),
        Column::text("moves"),
        Column::text("shared by"),
        Column::number("draw", "u, %"),
    ];
    if capacity.is_some() {
        columns.push(Column::number("capacity", "u, %"));
        columns.push(Column::number("EER", "u, %"));
    }
    columns.push(Column::number("share", "%"));
    columns.push(Column::number("halved", "%"));
    let what = if main.figure == Figure::Eer {
        "EER"
    } else {
        "draw"
    };
    let of_kind = capacity.map_or(String::new(), |c| format!(" (capacity: {})", c.1));
    let mut table = Table::new(
        format!("What makes the figures uncertain ({})", shown.setting(s)),
        columns,
    )
    .with_note(format!(
        "u: standard uncertainty that the source adds, relative to the figure{of_kind}. Share: of the variance of the {what}. Halved: by how much the interval of the {what} changes if the source were twice as good. What is shared by no other run averages out by repeating; the rest does not."
    ));
    let figures: Vec<Option<&FigureBudget>> = [Some(Figure::Draw)]
        .into_iter()
        .chain(capacity.map(|c| Some(c.0)))
        .chain(capacity.map(|_| Some(Figure::Eer)))
        .map(|f| s.figure(f?))
        .collect();
    let mut keys: Vec<Option<usize>> = main.parts.iter().map(|p| p.source).collect();
    for f in figures.iter().flatten() {
        for p in &f.parts {
            if !keys.contains(&p.source) {
                keys.push(p.source);
            }
        }
    }
    for key in keys {
        let source = key.and_then(|i| s.sources.get(i));
        let (name, acts, scope) = match source {
            Some(x) => (x.name.clone(), x.acts.clone(), scope_words(x.scope)),
            None => (
                "scatter between runs".to_owned(),
                scatter_words(shown, s),
                scope_words(Scope::Fresh),
            ),
        };
        let mut row = vec![Cell::text(name), Cell::text(acts), Cell::text(scope)];
        for f in &figures {
            row.push(match f {
                Some(f) => {
                    let part = f.parts.iter().find(|p| p.source == key);
                    Cell::number(
                        100.0 * part.map_or(0.0, |p| p.signed_u.abs()) / f.value.abs(),
                        2,
                    )
                }
                None => Cell::Absent,
            });
        }
        let part = main.parts.iter().find(|p| p.source == key);
        row.push(Cell::number(100.0 * part.map_or(0.0, |p| p.share), 0));
        row.push(Cell::number(-100.0 * part.map_or(0.0, |p| p.if_halved), 0));
        table.row(row);
    }
    let mut all = vec![Cell::text("all together"), Cell::text(""), Cell::text("")];
    for f in &figures {
        all.push(Cell::maybe(
            f.map(|f| 100.0 * f.u.total() / f.value.abs()),
            2,
        ));
    }
    all.extend([Cell::number(100.0, 0), Cell::Absent]);
    table.row(all);
    Some(table)
}

fn scope_words(scope: Scope) -> &'static str {
    match scope {
        Scope::Shared => "all runs",
        Scope::Level => "its fan level",
        Scope::Fresh => "no other run",
    }
}

fn scatter_words(shown: &Shown<'_>, s: &SettingBudget) -> String {
    let dof = shown.budgets.scatter[Figure::Draw as usize]
        .as_ref()
        .map_or(0.0, |x| x.dof);
    let plural = if s.runs.len() == 1 { "" } else { "s" };
    format!("{} run{plural}, {dof:.0} d.o.f.", s.runs.len())
}

/// The latent capacity by both witnesses at each setting; none where no water was weighed.
pub fn condensate(shown: &Shown<'_>) -> Option<Table> {
    let unit = shown.system.capacity_symbol();
    let interval = || Column::interval(format!("{} interval", shown.percent()), unit);
    let mut table = Table::new(
        "Latent capacity by two witnesses",
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("intake", shown.system.symbol(Dimension::Temperature)),
            Column::number("by the air", unit),
            interval(),
            Column::number("by weighed water", unit),
            interval(),
            Column::number("water less air", unit),
            interval(),
            Column::text("finding"),
        ],
    )
    .with_note("By the air: humidity lost times airflow. By weighed water: condensate rate times heat of evaporation at the outlet temperature. What instruments both lean on is counted once in their difference.");
    let all: Vec<&SettingBudget> = shown.budgets.settings.iter().collect();
    let watts = |w: f64| shown.system.convert_capacity(w);
    let air = Shape::of(&all, Figure::Latent, watts);
    let water = Shape::of(&all, Figure::Weighed, watts);
    let less = Shape::of(&all, Figure::WeighedLessAir, watts);
    for s in all {
        if s.figure(Figure::Weighed).is_none() {
            continue;
        }
        let mut row: Vec<Cell> = shown.names(s).into();
        row.push(Cell::maybe(
            s.intake_c
                .map(|t| shown.system.convert(Dimension::Temperature, t)),
            1,
        ));
        row.extend([air.interval(s), water.interval(s), less.interval(s)].concat());
        row.push(Cell::text(match s.witness() {
            Some(Witness::Agrees) => "agree",
            Some(Witness::Less) => "less water",
            Some(Witness::More) => "more water",
            None => "no humidity",
        }));
        table.row(row);
    }
    (!table.rows().is_empty()).then_some(table)
}

/// Each fan level's airflow and where it comes from; none where no run has one.
pub fn airflow(shown: &Shown<'_>) -> Option<Table> {
    let unit = shown.system.symbol(Dimension::Flow);
    let percent = shown.percent();
    let mut table = Table::new(
        "Airflow of each fan level",
        [
            Column::text("fan"),
            Column::text("from"),
            Column::number("mean speed", "m/s"),
            Column::number("airflow", unit),
            Column::interval(format!("{percent} interval"), unit),
        ],
    )
    .with_note(
        "At the density of the air where it was measured; the mass flow is taken from there.",
    );
    for (index, level) in shown.data.levels.iter().enumerate() {
        let settings = &shown.budgets.settings;
        let Some(s) = settings.iter().find(|s| s.level == index) else {
            continue;
        };
        let first = s.runs.first().and_then(|i| shown.bench.points.get(*i));
        let from = first.and_then(|p| p.flow_from);
        let (Some(from), Some(flow)) = (from, level.flow) else {
            continue;
        };
        let u = s.airflow_u();
        let factor = crate::stats::normal::quantile(0.5 + shown.budgets.level / 2.0);
        let (low, high) = (flow - factor * u, flow + factor * u);
        let convert = |v| shown.system.convert(Dimension::Flow, v);
        let decimals = decimals_for(convert(u));
        let across = shown.bench.duct.traverse.as_ref();
        let across = across.and_then(|t| t.level(&level.label));
        let area = shown.bench.duct.section.map(|d| d.area_m2());
        table.row([
            Cell::text(level.label.as_str()),
            Cell::text(match (from, across) {
                (FlowFrom::Traverse, Some(t)) => format!(
                    "traverse: {} × {} points, {} pass{}",
                    t.lines,
                    t.points,
                    t.passes_m_s.len(),
                    if t.passes_m_s.len() == 1 { "" } else { "es" }
                ),
                (FlowFrom::Traverse, None) => "traverse".to_owned(),
                (FlowFrom::Read, _) => "read in each run".to_owned(),
                (FlowFrom::AirSpeed, _) => "air speed of each run".to_owned(),
                (FlowFrom::Stated, _) => "[fan.levels]".to_owned(),
            }),
            Cell::maybe(area.map(|a| flow / 3600.0 / a), 2),
            Cell::number(convert(flow), if u > 0.0 { decimals } else { 0 }),
            if u > 0.0 {
                Cell::interval(convert(low), convert(high), decimals)
            } else {
                Cell::Absent
            },
        ]);
    }
    (!table.rows().is_empty()).then_some(table)
}
