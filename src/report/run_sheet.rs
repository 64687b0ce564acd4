//! A plan as a sheet to be printed and taken to the bench, and as tables for the reader of an answer.

use super::document::{Block, Document, Section};
use super::tables::{Cell, Column, Table};
use crate::bench::Kind;
use crate::plan::{CAUTIONS, Plan, PlannedRun, Reach, RunTimes, TimeNeeded};
use crate::quantity::{Dimension, System};

/// The sheet, with room to write beside each run.
pub fn document(plan: &Plan, times: &RunTimes, needed: &TimeNeeded, system: System) -> Document {
    let mut runs = Section::new("Runs in order");
    for block in 0..plan.design.blocks {
        let own: Vec<&PlannedRun> = plan.runs.iter().filter(|r| r.block == block).collect();
        if let Some(first) = own.first() {
            let title = plan.block(first);
            runs = runs.with(Block::Table(table(plan, &own, &title, true, system)));
        }
    }
    Document {
        title: "Run sheet".to_owned(),
        lead: vec![contents(plan), time_sentence(times, needed)],
        sections: vec![
            Section::new("Take care").with(Block::Caution(CAUTIONS.map(str::to_owned).to_vec())),
            Section::new("At every run").with(Block::List(
                [
                    "Keep to the order: it is random, so that a drift does not pass for an effect of a setting.",
                    "Make the setting, write down the start, and wait until draw and temperatures no longer drift.",
                    "A fan-only run has the compressor off; a standby run has compressor and blower off.",
                    "A run that went wrong is made again at the end of its day, with a note; its first row is struck out.",
                ]
                .map(str::to_owned)
                .to_vec(),
            )),
            runs,
        ],
        foot: Vec::new(),
        interactive: false,
    }
}

/// All runs, without room to write.
pub fn runs(plan: &Plan, system: System) -> Table {
    let all: Vec<&PlannedRun> = plan.runs.iter().collect();
    table(plan, &all, "Runs in order", false, system)
}

fn table(plan: &Plan, runs: &[&PlannedRun], title: &str, room: bool, system: System) -> Table {
    let unit = system.symbol(Dimension::Temperature);
    let mut columns = vec![
        Column::text("run"),
        Column::text("kind"),
        Column::text("mode"),
        Column::text("fan"),
        Column::number("set intake to", unit),
    ];
    if room {
        columns.extend(["start", "end", "remarks"].map(Column::text));
    } else {
        columns.insert(0, Column::text("block"));
    }
    let mut table = Table::new(title, columns);
    for run in runs {
        let set = { plan.intake_c(run) }.map(|c| system.convert(Dimension::Temperature, c));
        let mut cells = vec![
            Cell::text(run.run.as_str()),
            Cell::text(run.kind.name()),
            Cell::text(plan.mode(run)),
            Cell::text(plan.fan(run)),
            Cell::maybe(set, 1),
        ];
        if room {
            cells.extend(["", "", ""].map(Cell::text));
        } else {
            cells.insert(0, Cell::text(plan.block(run)));
        }
        table.row(cells);
    }
    table
}

/// What the plan holds, in a sentence.
pub fn contents(plan: &Plan) -> String {
    let design = &plan.design;
    let count = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
    format!(
        "{} in {}: {} ({} × {} × {}, each {}), {}, {}.{}",
        count(plan.runs.len(), "run"),
        count(design.blocks, "block"),
        count(plan.count(Kind::Cooling), "cooling run"),
        count(design.modes.len(), "mode"),
        count(design.fans.len(), "fan level"),
        count(design.intakes_c.len(), "intake"),
        match design.repeats {
            1 => "once".to_owned(),
            2 => "twice".to_owned(),
            n => format!("{n} times"),
        },
        count(plan.count(Kind::FanOnly), "fan-only run"),
        count(plan.count(Kind::Standby), "standby run"),
        if design.balanced() {
            ""
        } else {
            " The repeats do not divide evenly among the blocks, so a block does not hold every setting equally often."
        }
    )
}

/// The time needed, in a sentence that says where it is from.
pub fn time_sentence(times: &RunTimes, needed: &TimeNeeded) -> String {
    let minutes = |s: f64| format!("{:.0} min", s / 60.0);
    let blocks: Vec<String> = needed
        .blocks_h
        .iter()
        .map(|h| format!("{h:.1} h"))
        .collect();
    let source = if times.from_runs > 0 {
        format!(
            "A cooling run takes {} to its end by what {} steady runs of the logs took; a change of intake {} (common practice).",
            minutes(times.cooling_s),
            times.from_runs,
            minutes(times.intake_change_s)
        )
    } else {
        format!(
            "Common practice, not seen on this bench: {} a cooling run, {} a fan-only run, {} at standby, {} more for each change of intake.",
            minutes(times.cooling_s),
            minutes(times.fan_only_s),
            minutes(times.standby_s),
            minutes(times.intake_change_s)
        )
    };
    format!(
        "Time needed: {:.1} h ({}), with {} settings of the intake. {source}",
        needed.total_h,
        blocks.join(" + "),
        needed.intake_changes
    )
}

/// What the plan reaches, a row for each assumed elasticity.
pub fn reach(reach: &Reach, level: f64) -> Table {
    let mut table = Table::new(
        "What the plan reaches",
        [
            Column::number("assumed elasticity", ""),
            Column::number("coupled", "%"),
            Column::number("independent", "%"),
            Column::number("undecided", "%"),
            Column::number(format!("width of the {:.0} % interval", 100.0 * level), ""),
            Column::interval("80 % of widths", ""),
            Column::number("fan seen at all", "%"),
            Column::number("by noncentral F", "%"),
        ],
    );
    for c in &reach.cases {
        let percent = |share: f64| Cell::number(100.0 * share, 0);
        table.row([
            Cell::number(c.elasticity, 2),
            percent(c.coupled),
            percent(c.independent),
            percent(c.undecided),
            Cell::maybe(c.width, 2),
            c.width_range
                .map_or(Cell::Absent, |(a, b)| Cell::interval(a, b, 2)),
            percent(c.fan_seen),
            c.fan_seen_analytic.map_or(Cell::Absent, percent),
        ]);
    }
    table.with_note(
        "Verdicts over simulated runs. “Fan seen at all” is the nested-model test; a verdict asks for more, that the fan matters more or less than the allowance. The noncentral F counts the scatter between runs alone, not that of the fan-only runs.",
    )
}
