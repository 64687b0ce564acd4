//! A unit with its fan levels and modes: what a bench tests.

use super::control::Control;
use super::model::{Cooler, Steady, Surroundings};

/// A unit with its control board.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// The physical unit.
    pub cooler: Cooler,
    /// Airflow at each fan level, m³/h, lowest first.
    pub flows: Vec<f64>,
    /// Name and rule of each mode.
    pub modes: Vec<Mode>,
}

/// A mode of a [`Machine`].
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// As written in the tables.
    pub name: String,
    /// How it sets the compressor.
    pub control: Control,
}

impl Machine {
    /// Airflow at `level` (0 for the lowest), m³/h; the highest level's beyond the last, full flow if there are none.
    pub fn flow(&self, level: usize) -> f64 {
        self.flows
            .get(level)
            .or(self.flows.last())
            .copied()
            .unwrap_or(self.cooler.blower.full_m3h)
    }

    /// The steady state under a mode's rule.
    pub fn steady(&self, control: &Control, level: usize, at: &Surroundings) -> Steady {
        let m3h = self.flow(level);
        let share = m3h / self.cooler.blower.full_m3h;
        self.cooler
            .steady(control.speed(level, share, at.intake_c), m3h, at)
    }

    /// The state with the compressor off.
    pub fn fan_only(&self, level: usize, at: &Surroundings) -> Steady {
        self.cooler.fan_only(self.flow(level), at)
    }

    /// d ln(compressor-side draw) / d ln(airflow) in one mode and condition: the least-squares slope over `levels`.
    pub fn elasticity(&self, control: &Control, levels: &[usize], at: &Surroundings) -> f64 {
        let points: Vec<(f64, f64)> = levels
            .iter()
            .map(|&level| {
                (
                    self.flow(level).ln(),
                    self.steady(control, level, at).compressor_side_w.ln(),
                )
            })
            .collect();
        let n = points.len() as f64;
        let mean_x = points.iter().map(|p| p.0).sum::<f64>() / n;
        let mean_y = points.iter().map(|p| p.1).sum::<f64>() / n;
        let sxy: f64 = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum();
        let sxx: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
        sxy / sxx
    }
}

/// The middle of the sorted values (the mean of the middle two); NaN for none.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match (sorted.get(half), sorted.get(half.wrapping_sub(1))) {
        (Some(upper), Some(lower)) if sorted.len().is_multiple_of(2) => 0.5 * (lower + upper),
        (Some(middle), _) => *middle,
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::median;

    #[test]
    fn the_median_of_few() {
        assert!(median(&[]).is_nan());
        assert_eq!(median(&[3.0]), 3.0);
        assert_eq!(median(&[4.0, 1.0]), 2.5);
        assert_eq!(median(&[9.0, 1.0, 2.0]), 2.0);
    }
}
