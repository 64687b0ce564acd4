//! The blower's own draw at each fan level, from fan-only runs.

use crate::bench::{Bench, Kind};

use super::data::Level;

/// Where a level's blower draw comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlowerSource {
    /// Fan-only runs at that very level.
    FanOnlyRuns,
    /// A power law in airflow through the levels that have fan-only runs.
    Interpolated,
}

/// The blower's own draw at a level.
#[derive(Clone, Copy, Debug)]
pub struct LevelDraw {
    /// Draw, W.
    pub draw_w: f64,
    /// Standard uncertainty from the scatter of the fan-only runs, W (instruments not included: they are shared with the cooling runs).
    pub u_w: f64,
    /// Number of fan-only runs at the level.
    pub runs: usize,
    /// Where it comes from.
    pub source: BlowerSource,
}

/// The blower's own draw at every level of the cooling runs.
#[derive(Clone, Debug)]
pub struct Blower {
    /// In the order of the levels.
    pub levels: Vec<LevelDraw>,
    /// Run-to-run standard deviation relative to the draw, pooled over levels.
    pub relative_sd: f64,
}

/// Relative scatter taken for fan-only runs that were never repeated. Common practice, no source.
const UNREPEATED_RELATIVE_SD: f64 = 0.02;
/// Relative standard uncertainty added to a draw read off the power law between levels. Common practice, no source.
const INTERPOLATION_RELATIVE_U: f64 = 0.08;

impl Blower {
    /// Reads the blower's draw off the fan-only runs; `None` where there are none, or where a
    /// level has none and too few others (two) are there for a power law.
    pub fn from_bench(bench: &Bench, levels: &[Level]) -> Option<Blower> {
        let by_level: Vec<Vec<f64>> = levels
            .iter()
            .map(|level| {
                bench
                    .of_kind(Kind::FanOnly)
                    .filter(|p| p.fan == level.label)
                    .map(|p| p.draw_w())
                    .collect()
            })
            .collect();
        let relative_sd = pooled_relative_sd(&by_level);
        let known: Vec<(f64, f64)> = levels
            .iter()
            .zip(&by_level)
            .filter(|(_, draws)| !draws.is_empty())
            .filter_map(|(level, draws)| Some((level.x?, mean(draws).ln())))
            .collect();
        let levels = levels
            .iter()
            .zip(&by_level)
            .map(|(level, draws)| {
                if draws.is_empty() {
                    let draw_w = power_law(&known, level.x?)?;
                    Some(LevelDraw {
                        draw_w,
                        u_w: draw_w * relative_sd.hypot(INTERPOLATION_RELATIVE_U),
                        runs: 0,
                        source: BlowerSource::Interpolated,
                    })
                } else {
                    let draw_w = mean(draws);
                    Some(LevelDraw {
                        draw_w,
                        u_w: draw_w * relative_sd / (draws.len() as f64).sqrt(),
                        runs: draws.len(),
                        source: BlowerSource::FanOnlyRuns,
                    })
                }
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Blower {
            levels,
            relative_sd,
        })
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn pooled_relative_sd(groups: &[Vec<f64>]) -> f64 {
    let mut sum = 0.0;
    let mut dof = 0usize;
    for group in groups.iter().filter(|g| g.len() > 1) {
        let m = mean(group);
        sum += group.iter().map(|v| (v / m - 1.0).powi(2)).sum::<f64>();
        dof += group.len() - 1;
    }
    if dof == 0 {
        UNREPEATED_RELATIVE_SD
    } else {
        (sum / dof as f64).sqrt()
    }
}

/// Value at `x` of the straight line through the two known points nearest to it, in logarithms.
fn power_law(known: &[(f64, f64)], x: f64) -> Option<f64> {
    let mut near: Vec<_> = known.to_vec();
    near.sort_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()));
    let (a, b) = (near.first()?, near.get(1)?);
    if (a.0 - b.0).abs() < 1e-9 {
        return None;
    }
    let slope = (b.1 - a.1) / (b.0 - a.0);
    Some((a.1 + slope * (x - a.0)).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_level_lies_on_the_power_law_through_the_two_nearest() {
        // 5 W at 100 m3/h and 20 W at 200: to the power 2. At 150 that is 11.25 W, at 400 far off it would be 80, and the third point says else.
        let known = [(100f64, 5f64), (200.0, 20.0), (400.0, 40.0)].map(|(q, w)| (q.ln(), w.ln()));
        let at = |q: f64| power_law(&known, q.ln()).unwrap();
        assert!((at(150.0) - 11.25).abs() < 1e-12);
        assert!((at(80.0) - 3.2).abs() < 1e-12);
        // 200 and 400 are nearest to 300: to the power 1.
        assert!((at(300.0) - 30.0).abs() < 1e-12);
        assert_eq!(power_law(&known[..1], 5.0), None);
        assert_eq!(power_law(&[known[0], known[0]], 5.0), None);
    }

    #[test]
    fn nearness_is_counted_from_the_level_itself() {
        // Airflow axis about its middle; from 0.5 the points at 0.1 and 1 are 0.4 and 0.5 away, the one at −1 is 1.5 away.
        let known = [(-1.0, 0.0), (0.1, 1.0), (1.0, 5.5)];
        assert!((power_law(&known, 0.5).unwrap().ln() - 3.0).abs() < 1e-12);
    }
}
