//! Predictions explained, settings at common conditions, and left-out runs, as tables and sentences.

use super::tables::{Cell, Column, Table};
use super::words::unit_sign;
use crate::bench::Bench;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, CapacityKind, DrawData};
use crate::predict::{
    AdjustedSetting, Difference, Explanation, LeftOut, Miss, Prediction, ShareOf,
};
use crate::quantity::{Dimension, System};

/// What one share of the variance is called.
pub fn share_name(of: &ShareOf) -> String {
    match of {
        ShareOf::Coefficients => "fitted coefficients".to_owned(),
        ShareOf::Scatter => "scatter between runs".to_owned(),
        ShareOf::Blocks => "differences between blocks (days)".to_owned(),
        ShareOf::CurveForms => "credible curves that differ".to_owned(),
        ShareOf::Instrument(name) => format!("instrument: {name}"),
        ShareOf::Control => "control or bend where nothing was run".to_owned(),
        ShareOf::Ambient => "ambient air beyond the tests".to_owned(),
    }
}

/// A prediction and why it is what it is.
pub struct Explained<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// The draw's candidates.
    pub fit: &'a DrawFit,
    /// The prediction.
    pub prediction: &'a Prediction,
    /// Its explanation.
    pub explanation: &'a Explanation,
    /// Units for the reader.
    pub system: System,
}

/// Candidates, runs and further runs that are shown; the rest is counted.
const SHOWN: usize = 4;

impl Explained<'_> {
    fn data(&self) -> &DrawData {
        &self.fit.data
    }

    /// The setting and conditions that were asked for, as a heading.
    pub fn heading(&self) -> String {
        format!("Why {}", self.condition(&self.prediction.at))
    }

    fn condition(&self, at: &At) -> String {
        let place = format!(
            "{} at {} intake",
            setting(self.data(), at.mode, at.level),
            temperature(at.intake, self.system)
        );
        if self.data().ambient_varied || self.prediction.assumed.is_some() {
            format!(
                "{place} and {} ambient",
                temperature(at.ambient, self.system)
            )
        } else {
            place
        }
    }

    /// The explanation in sentences.
    pub fn sentences(&self) -> Vec<String> {
        let e = self.explanation;
        let mut text = vec![format!(
            "The draw is {:.1} W, with a standard uncertainty of {:.2} W for the long-run mean and {:.2} W for one further run.",
            e.draw_w, e.mean_u_w, e.run_u_w
        )];
        let ends = e
            .candidates
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), c| {
                (a.min(c.draw_w), b.max(c.draw_w))
            });
        text.push(match e.candidates.as_slice() {
            [only] => format!("One curve speaks here: {}.", only.form),
            all => format!(
                "{} credible curves speak here, from {:.1} to {:.1} W.",
                all.len(),
                ends.0,
                ends.1
            ),
        });
        if let Some(first) = e.shares.first() {
            text.push(format!(
                "Most of a further run's variance ({:.0} %) is {}.",
                100.0 * first.run,
                share_name(&first.of)
            ));
        }
        let silenced: Vec<&str> = e
            .runs
            .iter()
            .filter(|r| r.silenced > 0.5)
            .filter_map(|r| e.run_of(self.bench, r))
            .map(|p| p.run.as_str())
            .collect();
        if !silenced.is_empty() {
            text.push(format!(
                "Without {} most of the weight would have nothing to say here: repeat it.",
                silenced.join(", or without ")
            ));
        }
        let bought = |f: &crate::predict::FurtherRun| {
            format!(
                "take the mean's standard uncertainty from {:.2} to {:.2} W",
                e.mean_u_w, f.u_after_w
            )
        };
        let nil = |f: &crate::predict::FurtherRun| f.change_w > -0.01 * e.mean_u_w;
        match e.further.first() {
            Some(best) if nil(best) => text.push(
                "No single further run would narrow the mean by as much as one per cent: what is left is shared by all runs.".to_owned(),
            ),
            Some(best) => {
                text.push(format!(
                    "One further run of {}{} would {}.",
                    self.condition(&best.at),
                    if best.asked { ", the very condition asked for," } else { "" },
                    bought(best)
                ));
                let tested = e.further.iter().find(|f| !f.asked && !nil(f));
                if let (true, Some(tested)) = (best.asked, tested) {
                    text.push(format!(
                        "Among what was run already, {} buys most: it would {}.",
                        self.condition(&tested.at),
                        bought(tested)
                    ));
                }
            }
            None => {}
        }
        text
    }

    /// All tables.
    pub fn tables(&self) -> Vec<Table> {
        vec![
            self.shares(),
            self.candidates(),
            self.runs(),
            self.further(),
        ]
    }

    fn shares(&self) -> Table {
        let mut table = Table::new(
            "What makes the interval wide",
            [
                Column::text("share of the variance"),
                Column::number("further run", "%"),
                Column::number("mean", "%"),
            ],
        );
        for s in &self.explanation.shares {
            table.row([
                Cell::text(share_name(&s.of)),
                Cell::number(100.0 * s.run, 1),
                Cell::number(100.0 * s.mean, 1),
            ]);
        }
        table
    }

    fn candidates(&self) -> Table {
        let all = &self.explanation.candidates;
        let mut table = Table::new(
            "Which curves weigh most",
            [
                Column::text("form"),
                Column::number("weight", "%"),
                Column::number("draw", "W"),
            ],
        );
        for c in all.iter().take(SHOWN) {
            table.row([
                Cell::text(c.form.as_str()),
                Cell::number(100.0 * c.weight, 1),
                Cell::number(c.draw_w, 1),
            ]);
        }
        let rest = all.len().saturating_sub(SHOWN);
        if rest == 0 {
            return table;
        }
        let weight: f64 = all.iter().skip(SHOWN).map(|c| c.weight).sum();
        table.with_note(format!(
            "{rest} more share {:.0} % of the weight.",
            100.0 * weight
        ))
    }

    fn runs(&self) -> Table {
        let unit = self.system.symbol(Dimension::Temperature);
        let mut table = Table::new(
            "Which runs matter most",
            [
                Column::text("run"),
                Column::text("mode"),
                Column::text("fan"),
                Column::number("intake", unit),
                Column::number("pull", "W/W"),
                Column::number("without it, draw", "W"),
                Column::number("uncertainty", "%"),
            ],
        )
        .with_note("Pull: by how much the prediction moves for a watt more in that run. Without it: how far the prediction moves, and how much the mean's standard uncertainty grows.");
        for pull in self.explanation.runs.iter().take(SHOWN + 1) {
            let Some(p) = self.explanation.run_of(self.bench, pull) else {
                continue;
            };
            table.row([
                Cell::text(p.run.as_str()),
                Cell::text(p.mode.as_str()),
                Cell::text(p.fan.as_str()),
                Cell::maybe(
                    p.intake_c()
                        .map(|v| self.system.convert(Dimension::Temperature, v)),
                    1,
                ),
                Cell::number(pull.pull, 3),
                Cell::text(format!("{:+.2}", pull.shift_w)),
                Cell::text(format!("{:+.1}", 100.0 * pull.u_growth)),
            ]);
        }
        table
    }

    fn further(&self) -> Table {
        let unit = self.system.symbol(Dimension::Temperature);
        let mut table = Table::new(
            "What one further run would buy",
            [
                Column::text("mode"),
                Column::text("fan"),
                Column::number("intake", unit),
                Column::number("ambient", unit),
                Column::number("uncertainty after", "W"),
                Column::number("change", "W"),
            ],
        )
        .with_note("Standard uncertainty of the long-run mean. Tried: every tested setting at every tested intake, and the condition asked for.");
        let t = |v: f64| Cell::number(self.system.convert(Dimension::Temperature, v), 1);
        for f in self.explanation.further.iter().take(SHOWN) {
            table.row([
                Cell::text(mode_name(self.data(), f.at.mode)),
                Cell::text(level_name(self.data(), f.at.level)),
                t(f.at.intake),
                t(f.at.ambient),
                Cell::number(f.u_after_w, 2),
                Cell::number(f.change_w, 2),
            ]);
        }
        table
    }
}

/// All tested settings at the same conditions; with or without a column for a further run.
pub fn common_conditions(
    data: &DrawData,
    settings: &[AdjustedSetting],
    kind: Option<CapacityKind>,
    shown: &CommonShown,
) -> Table {
    let system = shown.system;
    let percent = format!("{:.0} %", 100.0 * shown.level);
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("runs", ""),
        Column::number("draw", "W"),
        Column::interval(format!("mean, {percent}"), "W"),
    ];
    if shown.further_run {
        columns.push(Column::interval(format!("further run, {percent}"), "W"));
    }
    if let Some(kind) = kind {
        columns.push(Column::number(
            capacity_name(kind),
            system.capacity_symbol(),
        ));
        columns.push(Column::interval(
            format!("mean, {percent}"),
            system.capacity_symbol(),
        ));
        let unit = if system == System::Us {
            "Btu/h per W"
        } else {
            "W/W"
        };
        columns.push(Column::number("EER", unit));
        columns.push(Column::interval(format!("mean, {percent}"), unit));
    }
    let title = if settings.is_empty() || shown.ambient_c.is_none() {
        format!(
            "Every tested setting at {} intake",
            temperature(shown.intake_c, system)
        )
    } else {
        format!(
            "Every tested setting at {} intake and {} ambient",
            temperature(shown.intake_c, system),
            temperature(shown.ambient_c.unwrap_or(shown.intake_c), system)
        )
    };
    let mut table = Table::new(title, columns);
    for s in settings {
        let p = &s.draw;
        let mut row = vec![
            Cell::text(mode_name(data, p.at.mode)),
            Cell::text(level_name(data, p.at.level)),
            Cell::number(s.runs.len() as f64, 0),
            Cell::number(p.draw_w, 1),
            Cell::interval(p.mean_w.0, p.mean_w.1, 1),
        ];
        if shown.further_run {
            row.push(Cell::interval(p.run_w.0, p.run_w.1, 1));
        }
        if kind.is_some() {
            let show = |w: f64| system.convert_capacity(w);
            match &s.capacity {
                Some(c) => row.extend([
                    Cell::number(show(c.capacity_w), 0),
                    Cell::interval(show(c.mean_w.0), show(c.mean_w.1), 0),
                ]),
                None => row.extend([Cell::Absent, Cell::Absent]),
            }
            match &s.eer {
                Some(e) => row.extend([
                    Cell::number(show(e.value), 2),
                    Cell::interval(show(e.mean.0), show(e.mean.1), 2),
                ]),
                None => row.extend([Cell::Absent, Cell::Absent]),
            }
        }
        table.row(row);
    }
    table
}

/// How [`common_conditions`] is to be shown.
pub struct CommonShown {
    /// Common intake, degC.
    pub intake_c: f64,
    /// Common ambient, degC; none where the runs did not vary it, or did not record it.
    pub ambient_c: Option<f64>,
    /// Whether a further run's interval has a column.
    pub further_run: bool,
    /// Confidence level.
    pub level: f64,
    /// Units for the reader.
    pub system: System,
}

/// What settings at common conditions share, for readers.
pub const SHARED_NOTE: &str = "All settings were read by the same instruments: what those share stands in every interval, but moves all rows alike and cancels in a difference as far as it does. Differences carry intervals of their own; two overlapping intervals of draws do not mean that two settings are the same.";

/// How much more each setting draws than the one that draws least.
pub fn differences(
    data: &DrawData,
    least: &At,
    list: &[(At, Difference)],
    level: f64,
) -> Option<Table> {
    if list.is_empty() {
        return None;
    }
    let mut table = Table::new(
        format!(
            "How much more than {}, the setting that draws least",
            setting(data, least.mode, least.level)
        ),
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("more draw", "W"),
            Column::interval(format!("mean, {:.0} %", 100.0 * level), "W"),
        ],
    );
    for (at, d) in list {
        table.row([
            Cell::text(mode_name(data, at.mode)),
            Cell::text(level_name(data, at.level)),
            Cell::number(d.value_w, 1),
            Cell::interval(d.mean_w.0, d.mean_w.1, 1),
        ]);
    }
    Some(table)
}

/// How far left-out runs are missed: for each response its rows.
pub fn misses(bench: &Bench, list: &[(&'static str, Vec<Miss>)]) -> Table {
    let mut table = Table::new(
        "Runs predicted from the others",
        [
            Column::text("what"),
            Column::text("left out"),
            Column::number("times", ""),
            Column::number("runs", ""),
            Column::number("root mean square", "%"),
            Column::number("bias", "%"),
            Column::number("largest miss", "%"),
            Column::text("in run"),
        ],
    )
    .with_note("Predicted over measured. A condition is all runs at one setting with intake and ambient alike to about 2 K. Bias above zero: predicted too high.");
    for (what, misses) in list {
        for m in misses {
            let left_out = match m.left_out {
                LeftOut::Run => "each run",
                LeftOut::Condition => "each condition",
                LeftOut::Block => "each block",
            };
            table.row([
                Cell::text(*what),
                Cell::text(left_out),
                Cell::number(m.groups as f64, 0),
                Cell::number(m.runs as f64, 0),
                Cell::number(100.0 * m.rms, 2),
                Cell::number(100.0 * m.bias, 2),
                Cell::number(100.0 * m.largest, 1),
                Cell::text(
                    bench
                        .points
                        .get(m.largest_point)
                        .map_or("", |p| p.run.as_str()),
                ),
            ]);
        }
    }
    table
}

/// What a capacity is called in a heading.
pub fn capacity_name(kind: CapacityKind) -> &'static str {
    match kind {
        CapacityKind::Total => "total cooling",
        CapacityKind::Sensible => "sensible cooling",
    }
}

/// A mode as the table wrote it.
pub fn mode_name(data: &DrawData, mode: usize) -> &str {
    data.modes.get(mode).map_or("", String::as_str)
}

/// A fan level as the table wrote it.
pub fn level_name(data: &DrawData, level: usize) -> &str {
    data.levels.get(level).map_or("", |l| l.label.as_str())
}

/// "cruise, fan 3".
pub fn setting(data: &DrawData, mode: usize, level: usize) -> String {
    match (mode_name(data, mode), level_name(data, level)) {
        ("", level) => format!("fan {level}"),
        (mode, level) => format!("{mode}, fan {level}"),
    }
}

fn temperature(v: f64, system: System) -> String {
    format!(
        "{:.1} {}",
        system.convert(Dimension::Temperature, v),
        unit_sign(system.symbol(Dimension::Temperature))
    )
}
