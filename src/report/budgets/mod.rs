//! Budgets for a reader: tables and sentences that `fit --budget` and the write-up both show.

mod sentences;
mod tables;

use super::tables::Cell;
use super::words::decimals_for;
use crate::bench::Bench;
use crate::budget::{Budgets, Figure, FigureBudget, SettingBudget, Trials};
use crate::fit::forms::{CapacityKind, DrawData};
use crate::quantity::{Dimension, System};

pub use sentences::sentences;
pub use tables::{airflow, capacities, condensate, contributions, efficiencies};

/// Budgets with all that is needed to show them.
#[derive(Clone, Copy)]
pub struct Shown<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// Its cooling runs.
    pub data: &'a DrawData,
    /// The budgets.
    pub budgets: &'a Budgets,
    /// What the random trials said of the shown setting.
    pub trials: Option<&'a Trials>,
    /// Units for the reader.
    pub system: System,
}

impl Shown<'_> {
    fn percent(&self) -> String {
        format!("{:.0} %", 100.0 * self.budgets.level)
    }

    fn names(&self, s: &SettingBudget) -> [Cell; 2] {
        let mode = self.data.modes.get(s.mode).map_or("", String::as_str);
        let level = self.data.levels.get(s.level);
        [
            Cell::text(mode),
            Cell::text(level.map_or("", |l| l.label.as_str())),
        ]
    }

    fn setting(&self, s: &SettingBudget) -> String {
        let mode = self.data.modes.get(s.mode).map_or("", String::as_str);
        let level = self
            .data
            .levels
            .get(s.level)
            .map_or("", |l| l.label.as_str());
        match mode {
            "" => format!("fan {level}"),
            mode => format!("{mode}, fan {level}"),
        }
    }

    /// The figure that stands for the capacity.
    fn capacity(&self) -> Option<(Figure, &'static str)> {
        match self.budgets.capacity {
            Ok(CapacityKind::Total) => Some((Figure::Total, "total")),
            Ok(CapacityKind::Sensible) => Some((Figure::Sensible, "sensible")),
            Err(_) => None,
        }
    }

    fn temperature(&self, c: f64) -> String {
        let unit = self.system.symbol(Dimension::Temperature);
        format!(
            "{:.1} {}",
            self.system.convert(Dimension::Temperature, c),
            super::words::unit_sign(unit)
        )
    }

    /// "27.1 °C intake and 25.9 °C ambient": the settings' mean conditions.
    fn conditions(&self, list: &[&SettingBudget]) -> String {
        let mean = |of: &dyn Fn(&SettingBudget) -> Option<f64>| {
            let all: Option<Vec<f64>> = list.iter().map(|s| of(s)).collect();
            all.filter(|v| !v.is_empty())
                .map(|v| v.iter().sum::<f64>() / v.len() as f64)
        };
        let intake = mean(&|s| s.intake_c).map(|t| format!("{} intake", self.temperature(t)));
        let ambient = mean(&|s| s.ambient_c).map(|t| format!("{} ambient", self.temperature(t)));
        let words: Vec<String> = [intake, ambient].into_iter().flatten().collect();
        if words.is_empty() {
            "the runs' conditions".to_owned()
        } else {
            words.join(" and ")
        }
    }
}

/// How a column's figure is shown: rounded for all its rows alike, to two digits of the largest uncertainty.
struct Shape<F> {
    figure: Figure,
    decimals: u8,
    scale: F,
}

impl<F: Fn(f64) -> f64> Shape<F> {
    fn of(list: &[&SettingBudget], figure: Figure, scale: F) -> Self {
        let u = |s: &&SettingBudget| s.figure(figure).map_or(0.0, |f| f.u.total());
        let largest = list.iter().map(u).fold(0.0, f64::max);
        let decimals = decimals_for(scale(largest) - scale(0.0));
        Self {
            figure,
            decimals,
            scale,
        }
    }

    /// The value and its interval.
    fn interval(&self, s: &SettingBudget) -> [Cell; 2] {
        let Some(f) = s.figure(self.figure) else {
            return [Cell::Absent, Cell::Absent];
        };
        let (low, high) = f.interval;
        [
            Cell::number((self.scale)(f.value), self.decimals),
            Cell::interval((self.scale)(low), (self.scale)(high), self.decimals),
        ]
    }

    /// The value and half the width of its interval; the larger half of an uneven one.
    fn half(&self, s: &SettingBudget) -> [Cell; 2] {
        let Some(f) = s.figure(self.figure) else {
            return [Cell::Absent, Cell::Absent];
        };
        let half = (f.value - f.interval.0).max(f.interval.1 - f.value);
        [
            Cell::number((self.scale)(f.value), self.decimals),
            Cell::number((self.scale)(half) - (self.scale)(0.0), self.decimals),
        ]
    }
}

fn main_figure<'a>(shown: &Shown<'_>, s: &'a SettingBudget) -> Option<&'a FigureBudget> {
    match shown.capacity() {
        Some(_) => s.figure(Figure::Eer),
        None => s.figure(Figure::Draw),
    }
}
