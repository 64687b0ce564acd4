//! The elasticity of the compressor-side draw: by how many per cent it follows a one per cent change of airflow.
//!
//! Within each mode, ln(draw − blower) is regressed on ln(airflow of the level), with the mode's own level and intake slope,
//! a common ambient slope and block steps taken out. The interval is that of Student's t at run-level scatter, widened for
//! the blower's own uncertainty and for the levels' airflow.

use nalgebra::DMatrix;

use crate::fit::forms::{DrawData, DrawRow};
use crate::fit::{LinearFit, least_squares};
use crate::stats::student_t;

/// An elasticity with its interval.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct Elasticity {
    /// Estimate.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Standard uncertainty.
    #[serde(skip)]
    pub u: f64,
    /// Degrees of freedom of the scatter.
    #[serde(skip)]
    pub dof: usize,
}

/// What to regress: which modes' runs, and which blower draw to take off.
pub(super) struct Question<'a> {
    pub data: &'a DrawData,
    /// Modes taken together; each keeps its own level and intake slope.
    pub modes: &'a [usize],
    /// Blower draw by level, W.
    pub blower_w: &'a [f64],
    /// Its standard uncertainty by level, W.
    pub blower_u: &'a [f64],
    /// Relative uncertainty common to all levels' blower draws.
    pub blower_common_u: f64,
    /// Standard uncertainty of each level's logarithmic airflow.
    pub flow_u: &'a [f64],
    /// Something else that may move the draw, by row of the data; taken out by a slope of its own.
    pub covariate: Option<&'a [f64]>,
}

/// What all runs of a fan level share beyond anything recorded (the hour, humidity, a warm battery), as a standard uncertainty
/// of the draw, relative. It does not shrink with more runs, so levels that hardly differ in airflow decide nothing.
/// Common practice, no source; in published chamber data of a fixed-speed stage, airflow spanning 5 % of itself showed elasticities from
/// −0.16 to +0.20 by subset (NIST two-stage heat pump data, evaluated), which is this size.
const LEVEL_RELATIVE_U: f64 = 0.01;

/// How the settings enter a regression.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Fan {
    /// Not at all.
    Absent,
    /// ln(airflow), one power for all modes.
    Power,
    /// ln(airflow), a power for each mode.
    PowerByMode,
    /// A step for each level.
    Factor,
}

/// A regression made for a question.
pub(super) struct Regression {
    pub fit: LinearFit,
    x: DMatrix<f64>,
    weights: Vec<f64>,
    rows: Vec<usize>,
    levels: Vec<usize>,
    fan_column: usize,
    carried: Carried,
}

/// What a regression takes out beside the settings: block steps, an ambient slope, an intake slope for each mode.
type Carried = (bool, bool, bool);

impl Regression {
    /// What it takes out beside the settings.
    pub fn carried(&self) -> Carried {
        self.carried
    }

    /// Levels that have runs among those regressed, rising; [`Fan::Factor`] has a column for each but the first.
    pub fn levels(&self) -> &[usize] {
        &self.levels
    }

    /// Indices of the runs regressed, into the data's rows.
    pub fn rows(&self) -> &[usize] {
        &self.rows
    }

    /// Weights of those runs.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }
}

impl<'a> Question<'a> {
    fn rows(&self) -> Vec<(usize, &'a DrawRow)> {
        self.data
            .rows
            .iter()
            .enumerate()
            .filter(|(_, r)| self.modes.contains(&r.mode))
            .collect()
    }

    fn compressor_w(&self, row: &DrawRow) -> f64 {
        row.draw - self.blower_w.get(row.level).copied().unwrap_or(0.0)
    }

    /// Fits; drops block steps, then the ambient slope, then intake slopes by mode, where the runs cannot carry them.
    pub fn regress(&self, fan: Fan) -> Option<Regression> {
        let plans = [
            (true, true, true),
            (false, true, true),
            (false, true, false),
            (false, false, true),
            (false, false, false),
        ];
        plans
            .into_iter()
            .find_map(|carried| self.regress_with(fan, carried))
    }

    /// Fits with these slopes and steps and no others; none where the runs cannot carry them.
    pub fn regress_with(&self, fan: Fan, carried: Carried) -> Option<Regression> {
        let (blocks, ambient, slope_by_mode) = carried;
        let data = self.data;
        let rows = self.rows();
        let n = rows.len();
        let k = self.modes.len();
        let levels: Vec<usize> = (0..data.levels.len())
            .filter(|l| rows.iter().any(|(_, r)| r.level == *l))
            .collect();
        let mut present: Vec<usize> = rows.iter().map(|(_, r)| r.block).collect();
        present.sort_unstable();
        present.dedup();
        let block_steps: &[usize] = if blocks && present.len() > 1 {
            present.get(1..)?
        } else {
            &[]
        };
        let fan_columns = match fan {
            Fan::Absent => 0,
            Fan::Power => 1,
            Fan::PowerByMode => k,
            Fan::Factor => levels.len().saturating_sub(1),
        };
        let slopes = match (data.intake_varied, slope_by_mode) {
            (false, _) => 0,
            (true, true) => k,
            (true, false) => 1,
        };
        let ambient = ambient && data.ambient_varied;
        let covariate = usize::from(self.covariate.is_some());
        let p = k + fan_columns + slopes + usize::from(ambient) + block_steps.len() + covariate;
        if n < p + 2 {
            return None;
        }
        let mut x = DMatrix::zeros(n, p);
        let mut y = Vec::with_capacity(n);
        let mut weights = Vec::with_capacity(n);
        let fan_column = k;
        for (i, (index, row)) in rows.iter().enumerate() {
            let m = self.modes.iter().position(|m| *m == row.mode)?;
            x[(i, m)] = 1.0;
            match fan {
                Fan::Absent => {}
                Fan::Power => x[(i, fan_column)] = data.levels.get(row.level)?.x?,
                Fan::PowerByMode => x[(i, fan_column + m)] = data.levels.get(row.level)?.x?,
                Fan::Factor => {
                    let l = levels.iter().position(|l| *l == row.level)?;
                    if l > 0 {
                        x[(i, fan_column + l - 1)] = 1.0;
                    }
                }
            }
            let mut next = k + fan_columns;
            let t = row.intake - data.intake_ref;
            match slopes {
                0 => {}
                1 if !slope_by_mode => x[(i, next)] = t,
                _ => x[(i, next + m)] = t,
            }
            next += slopes;
            if ambient {
                x[(i, next)] = row.ambient - data.ambient_ref;
                next += 1;
            }
            if let Some(b) = block_steps.iter().position(|b| *b == row.block) {
                x[(i, next + b)] = 1.0;
            }
            if let Some(values) = self.covariate {
                x[(i, p - 1)] = *values.get(*index)?;
            }
            let compressor = self.compressor_w(row);
            if compressor <= 0.0 {
                return None;
            }
            y.push(compressor.ln());
            // Scatter is a share of the whole draw, hence larger on the compressor side's logarithm.
            weights.push((compressor / row.draw).powi(2));
        }
        let fit = least_squares(&x, &y, Some(&weights)).ok()?;
        Some(Regression {
            fit,
            x,
            weights,
            rows: rows.iter().map(|(i, _)| *i).collect(),
            levels,
            fan_column,
            carried,
        })
    }

    /// The elasticity from a regression with [`Fan::Power`], at a confidence level.
    pub fn elasticity(&self, regression: &Regression, level: f64) -> Option<Elasticity> {
        self.elasticity_at(regression, 0, level)
    }

    /// The `which`-th power of a regression with [`Fan::PowerByMode`].
    pub fn elasticity_at(
        &self,
        regression: &Regression,
        which: usize,
        level: f64,
    ) -> Option<Elasticity> {
        let fit = &regression.fit;
        let column = regression.fan_column + which;
        let value = *fit.coef.get(column)?;
        let mut direction = vec![0.0; fit.p];
        *direction.get_mut(column)? = 1.0;
        let u = self.u_along(regression, &direction, value)?;
        Elasticity::about(value, u, fit.dof(), level)
    }

    /// The change of ln(compressor side) from one level to another, both counted among the levels present, from a regression with
    /// [`Fan::Factor`]; its `value` is that change, not an elasticity.
    pub fn step(
        &self,
        regression: &Regression,
        from: usize,
        to: usize,
        level: f64,
    ) -> Option<Elasticity> {
        let fit = &regression.fit;
        let mut direction = vec![0.0; fit.p];
        let mut value = 0.0;
        for (which, sign) in [(from, -1.0), (to, 1.0)] {
            // The lowest level is the reference and has no column.
            if which > 0 {
                let column = regression.fan_column + which - 1;
                *direction.get_mut(column)? += sign;
                value += sign * fit.coef.get(column)?;
            }
        }
        let u = self.u_along(regression, &direction, 0.0)?;
        Elasticity::about(value, u, fit.dof(), level)
    }

    /// Standard uncertainty of the elasticity `value` from a regression with [`Fan::Power`], at a scatter variance that is held.
    pub fn u_at(&self, regression: &Regression, value: f64, sigma2: f64) -> Option<f64> {
        let mut direction = vec![0.0; regression.fit.p];
        *direction.get_mut(regression.fan_column)? = 1.0;
        let (unscaled, systematic) = self.parts_along(regression, &direction, value)?;
        Some((sigma2 * unscaled + systematic).sqrt())
    }

    /// Standard uncertainty of a combination of coefficients: the scatter between runs, the blower's own uncertainty, what runs of a level
    /// share, and the levels' airflow, by which the response moves `with_flow` times.
    fn u_along(&self, regression: &Regression, direction: &[f64], with_flow: f64) -> Option<f64> {
        let (unscaled, systematic) = self.parts_along(regression, direction, with_flow)?;
        Some((regression.fit.sigma2()? * unscaled + systematic).sqrt())
    }

    /// Its variance in two parts: that of the scatter, over the scatter's own variance, and all else.
    fn parts_along(
        &self,
        regression: &Regression,
        direction: &[f64],
        with_flow: f64,
    ) -> Option<(f64, f64)> {
        let fit = &regression.fit;
        let along = |j: usize| -> f64 {
            { direction.iter().enumerate() }
                .map(|(k, d)| d * fit.cov_unscaled[(k, j)])
                .sum()
        };
        let reach: Vec<f64> = (0..fit.p).map(along).collect();
        let variance: f64 = reach.iter().zip(direction).map(|(r, d)| r * d).sum();
        // How the combination moves with each run's response: a row of (X'WX)^-1 X'W.
        let gain: Vec<f64> = (0..fit.n)
            .map(|i| {
                let along: f64 = { reach.iter().enumerate() }
                    .map(|(j, r)| r * regression.x[(i, j)])
                    .sum();
                along * regression.weights.get(i).copied().unwrap_or(0.0)
            })
            .collect();
        let count = self.data.levels.len();
        let mut by_blower = vec![0.0; count];
        let mut by_flow = vec![0.0; count];
        let mut by_level = vec![0.0; count];
        let mut by_common = 0.0;
        for (g, index) in gain.iter().zip(&regression.rows) {
            let row = self.data.rows.get(*index)?;
            let blower = self.blower_w.get(row.level).copied().unwrap_or(0.0);
            let compressor = self.compressor_w(row);
            *by_blower.get_mut(row.level)? -= g / compressor;
            *by_flow.get_mut(row.level)? -= g * with_flow;
            *by_level.get_mut(row.level)? += g * row.draw / compressor;
            by_common -= g * blower / compressor;
        }
        let squares = |gains: &[f64], us: &[f64]| {
            { gains.iter().zip(us) }
                .map(|(g, u)| (g * u).powi(2))
                .sum::<f64>()
        };
        let by_level: f64 = { by_level.iter() }
            .map(|g| (g * LEVEL_RELATIVE_U).powi(2))
            .sum();
        let systematic = by_level
            + squares(&by_blower, self.blower_u)
            + squares(&by_flow, self.flow_u)
            + (by_common * self.blower_common_u).powi(2);
        Some((variance.max(0.0), systematic))
    }
}

impl Elasticity {
    /// An estimate with its interval by Student's t at a confidence level; none where it is not finite.
    pub(super) fn about(value: f64, u: f64, dof: usize, level: f64) -> Option<Elasticity> {
        let half = u * student_t::two_sided(level, dof as f64);
        (u.is_finite() && half.is_finite()).then_some(Elasticity {
            value,
            low: value - half,
            high: value + half,
            u,
            dof,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::bench::Bench;

    #[test]
    fn the_power_of_airflow_is_found_about_an_intake_of_nought() {
        // 100 W times the square root of the airflow, 2 % for each kelvin of intake, whose mean is 0 degC.
        let mut table = "run,fan,intake_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        for (fan, flow) in [(1, 100.0f64), (2, 150.0), (3, 225.0)] {
            for intake in [-4.0f64, -1.0, 1.0, 4.0] {
                let power = 10.0 * flow.sqrt() * (0.02 * intake).exp();
                table.push_str(&format!("{fan}{intake},{fan},{intake},{flow},{power:.9}\n"));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let data = DrawData::from_bench(&bench);
        assert_eq!(data.intake_ref, 0.0);
        let question = Question {
            data: &data,
            modes: &[0],
            blower_w: &[],
            blower_u: &[],
            blower_common_u: 0.0,
            flow_u: &[0.0; 3],
            covariate: None,
        };
        let regression = question.regress(Fan::Power).unwrap();
        let found = question.elasticity(&regression, 0.95).unwrap();
        assert!((found.value - 0.5).abs() < 1e-9, "{found:?}");
    }
}
