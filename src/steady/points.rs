//! The points table that `reduce` writes.

use std::collections::BTreeSet;

use super::judge::Status;
use super::reduce::{Reduction, RunResult};
use crate::bench::logs::LogBench;
use crate::bench::{Channel, Kind};
use crate::quantity::{Unit, significant};

/// Digits written of a mean: more than any meter gives.
const DIGITS: u32 = 7;
/// Digits written of an uncertainty.
const U_DIGITS: u32 = 3;

/// Which runs go into the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Include {
    /// Steady runs only.
    Steady,
    /// Cycling runs too, with their means over whole cycles.
    Cycling,
}

impl Include {
    /// Whether a run goes into the table.
    pub fn takes(self, run: &RunResult) -> bool {
        match run.judged.status {
            Status::Steady => true,
            Status::Cycling => self == Include::Cycling,
            _ => false,
        }
    }
}

/// The unit in which a channel is written.
fn unit(channel: Channel) -> Option<Unit> {
    match channel.name() {
        // Fractions and pressures as people write them.
        "intake_rh" | "outlet_rh" => Unit::parse("%").ok(),
        "pressure" => Unit::parse("hPa").ok(),
        _ => Unit::base(channel.dimension()),
    }
}

/// The table as CSV: headings with units, `u_NAME` beside each mean; runs left out stand above it as comments with the reason.
pub fn to_csv(bench: &LogBench, reduction: &Reduction, include: Include) -> String {
    let taken: Vec<&RunResult> = reduction.runs.iter().filter(|r| include.takes(r)).collect();
    let measured: BTreeSet<Channel> = taken
        .iter()
        .filter_map(|r| r.judged.plateau.as_ref())
        .flat_map(|p| p.values.keys().copied())
        .collect();
    // A constant written in the run table gives way to a reading in the logs.
    let constants: Vec<(usize, &String)> = bench
        .runs
        .constants
        .iter()
        .enumerate()
        .filter(|(_, heading)| {
            let name = heading.split(" [").next().unwrap_or_default();
            let base = name.strip_prefix("u_").unwrap_or(name);
            Channel::from_name(base).is_none_or(|c| !measured.contains(&c))
        })
        .collect();
    let has_order = reduction.runs.iter().any(|r| !r.row.order.is_empty());
    let mut text = format!(
        "# Steady points of {}, reduced from logs. Uncertainties (u_…) are of the run's own mean; the instruments' come on top.\n",
        if bench.title.is_empty() {
            "a bench"
        } else {
            &bench.title
        }
        .replace(['\n', '\r'], " ")
    );
    for run in reduction.runs.iter().filter(|r| !include.takes(r)) {
        text.push_str(&format!(
            "# {} left out, {}: {}\n",
            run.row.run,
            run.judged.status.name(),
            run.judged.reason
        ));
    }
    let mut head: Vec<String> = ["run", "kind", "mode", "fan", "block", "order"]
        .map(str::to_owned)
        .to_vec();
    for channel in &measured {
        if let Some(unit) = unit(*channel) {
            head.push(format!("{} [{}]", channel.name(), unit.symbol()));
            head.push(format!("u_{} [{}]", channel.name(), unit.symbol()));
        }
    }
    head.extend(constants.iter().map(|(_, h)| (*h).clone()));
    push_row(&mut text, &head);
    // Runs are tested in the order of their windows.
    let mut by_time: Vec<&RunResult> = taken.clone();
    by_time.sort_by(|a, b| a.window.start.total_cmp(&b.window.start));
    for run in &taken {
        let place = by_time.iter().position(|r| std::ptr::eq(*r, *run));
        let order = if has_order {
            run.row.order.clone()
        } else {
            place.map_or_else(String::new, |p| (p + 1).to_string())
        };
        push_row(&mut text, &cells(run, order, &measured, &constants));
    }
    text
}

/// Whether a mean can stand in a points table: what no bench can show is left out there, and said by [`unwritable`].
fn writable(channel: Channel, value: f64) -> bool {
    let (low, high, _) = channel.plausible();
    (low..=high).contains(&value) || (channel == Channel::Power && value >= 0.0)
}

/// Means that are left out of the table, as run, channel and what is expected of it.
pub fn unwritable(reduction: &Reduction) -> Vec<(String, Channel, &'static str)> {
    reduction
        .runs
        .iter()
        .filter_map(|r| Some((r, r.judged.plateau.as_ref()?)))
        .flat_map(|(r, p)| {
            p.values
                .iter()
                .filter(|(c, m)| !writable(**c, m.value))
                .map(|(c, _)| (r.row.run.clone(), *c, c.plausible().2))
        })
        .collect()
}

fn cells(
    run: &RunResult,
    order: String,
    measured: &BTreeSet<Channel>,
    constants: &[(usize, &String)],
) -> Vec<String> {
    let row = &run.row;
    let kind = match row.kind {
        Kind::Cooling => "cooling",
        other => other.name(),
    };
    let mut cells = vec![
        row.run.clone(),
        kind.to_owned(),
        row.mode.clone(),
        row.fan.clone(),
        row.block.clone(),
        order,
    ];
    for channel in measured {
        let Some(unit) = unit(*channel) else { continue };
        let mean = run
            .judged
            .plateau
            .as_ref()
            .and_then(|p| p.values.get(channel))
            .filter(|m| writable(*channel, m.value));
        cells.push(mean.map_or_else(String::new, |m| significant(unit.from_si(m.value), DIGITS)));
        cells.push(mean.and_then(|m| m.u).map_or_else(String::new, |u| {
            significant(unit.difference_from_si(u), U_DIGITS)
        }));
    }
    for (i, _) in constants {
        cells.push(row.constants.get(*i).cloned().unwrap_or_default());
    }
    cells
}

/// Writes one row, with quotes where a cell needs them.
fn push_row(text: &mut String, cells: &[String]) {
    for (i, cell) in cells.iter().enumerate() {
        if i > 0 {
            text.push(',');
        }
        if cell.contains([',', '"', '\n', '\r', '#']) {
            text.push('"');
            text.push_str(&cell.replace('"', "\"\""));
            text.push('"');
        } else {
            text.push_str(cell);
        }
    }
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_draw_of_nothing_can_be_written_and_what_cannot_be_is_not() {
        assert!(writable(Channel::Power, 0.0) && writable(Channel::Power, 300.0));
        assert!(!writable(Channel::Power, -0.1) && !writable(Channel::Power, f64::NAN));
        assert!(writable(Channel::IntakeTemp, 27.0) && !writable(Channel::IntakeTemp, 71.0));
    }

    #[test]
    fn runs_without_an_order_are_counted_from_one_in_order_of_time() {
        let bench = LogBench::open(std::path::Path::new("tests/benches/night")).unwrap();
        let reduction = super::super::reduce(&bench).unwrap();
        let text = to_csv(&bench, &reduction, Include::Cycling);
        let mut rows = text.lines().filter(|l| !l.starts_with('#'));
        let place = |l: &str| l.split(',').nth(5).unwrap().to_owned();
        assert_eq!(rows.next().map(place).unwrap(), "order");
        let orders: Vec<String> = rows.map(place).collect();
        let want: Vec<String> = (1..=orders.len()).map(|k| k.to_string()).collect();
        assert!(orders.len() > 3);
        assert_eq!(orders, want);
    }
}
