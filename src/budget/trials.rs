//! Are the linear intervals right? Random trials of a setting's figures (JCGM 101:2008).

use crate::stats::StatsError;
use crate::stats::propagate::{Distribution, Draw, monte_carlo};

use super::setting::moved;
use super::{Budgets, Figure, SettingBudget};

/// What the trials say of one figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Which figure.
    pub figure: Figure,
    /// Interval from the trials, the same chance on either side.
    pub interval: (f64, f64),
    /// The larger distance of its ends from those of the linear interval.
    pub apart: f64,
    /// Significant digits of the standard uncertainty to which the two intervals agree, 2 or 1: their ends lie within half a unit of
    /// that digit (JCGM 101:2008, 7.9.2 and 8.1). None where they do not, and the linear interval may not be trusted.
    pub digits: Option<u32>,
}

/// The trials of one setting.
#[derive(Clone, Debug, PartialEq)]
pub struct Trials {
    /// How many were run.
    pub trials: usize,
    /// One entry for each of the setting's figures.
    pub figures: Vec<Trial>,
}

/// Trials of the setting that is checked: the ends of its 95 % interval stand within 0.9 % of the standard uncertainty.
pub(super) const TRIALS: usize = 100_000;
/// Trials of every other setting where the check has failed: within 2 %.
pub(super) const TRIALS_EACH: usize = 20_000;

/// See [`Budgets::check`].
pub(super) fn run(
    budgets: &Budgets,
    setting: &SettingBudget,
    trials: usize,
    seed: u64,
) -> Result<Trials, StatsError> {
    const K: usize = Figure::ALL.len();
    let sources = &setting.sources;
    let mut draws: Vec<Draw> = sources
        .iter()
        .map(|s| {
            let half = 3f64.sqrt();
            Draw::One(match (s.rectangular, s.dof.is_finite()) {
                (true, _) => Distribution::Rectangular {
                    low: -half,
                    high: half,
                },
                (false, true) => Distribution::StudentT {
                    mean: 0.0,
                    scale: 1.0,
                    dof: s.dof,
                },
                (false, false) => Distribution::Normal { mean: 0.0, sd: 1.0 },
            })
        })
        .collect();
    // Each figure's scatter; all figures are asked for apart, so how their scatters hang together does not matter.
    let own = |f: Figure| setting.figure(f);
    for figure in Figure::ALL {
        let scale = own(figure)
            .and_then(|f| f.parts.iter().find(|p| p.source.is_none()))
            .map_or(0.0, |p| p.signed_u.abs());
        draws.push(Draw::One(match &budgets.scatter[figure as usize] {
            Some(s) => Distribution::StudentT {
                mean: 0.0,
                scale,
                dof: s.dof,
            },
            None => Distribution::Fixed(0.0),
        }));
    }
    let at = |z: &[f64]| moved(&setting.readings, sources, z, Figure::ALL.into_iter());
    let centre = at(&vec![0.0; sources.len()]);
    let model = |z: &[f64]| -> [f64; K] {
        let values = at(z);
        std::array::from_fn(|k| match own(Figure::ALL[k]) {
            Some(f) => f.value + (values[k] - centre[k]) + z[sources.len() + k],
            None => 0.0,
        })
    };
    let samples = monte_carlo(model, &draws, trials, seed)?;
    let figures = setting
        .figures
        .iter()
        .filter_map(|f| {
            let (low, high) = samples.get(f.figure as usize)?.symmetric(budgets.level);
            let apart = (low - f.interval.0).abs().max((high - f.interval.1).abs());
            Some(Trial {
                figure: f.figure,
                interval: (low, high),
                apart,
                digits: [2, 1]
                    .into_iter()
                    .find(|d| apart <= tolerance(f.u.total(), *d)),
            })
        })
        .collect();
    Ok(Trials { trials, figures })
}

/// Half a unit in a significant digit of an uncertainty: 0.05 in the second digit of 2.2, 0.5 in its first.
fn tolerance(u: f64, digits: u32) -> f64 {
    // Printing in scientific form settles roundings: 0.0996 is 0.10.
    let written = match digits {
        1 => format!("{u:.0e}"),
        _ => format!("{u:.1e}"),
    };
    let exponent = written
        .split_once('e')
        .and_then(|(_, e)| e.parse::<i32>().ok());
    let last = |e| if digits == 1 { e } else { e - 1 };
    exponent.map_or(0.0, |e| 0.5 * 10f64.powi(last(e)))
}

#[cfg(test)]
mod tests {
    use super::tolerance;

    #[test]
    fn the_tolerance_is_half_a_unit_in_the_last_digit() {
        for (u, two, one) in [
            (0.35, 0.005, 0.05),
            (2.2, 0.05, 0.5),
            (0.0996, 0.005, 0.05),
            (35.0, 0.5, 5.0),
        ] {
            assert!((tolerance(u, 2) - two).abs() < 1e-15, "{u}");
            assert!((tolerance(u, 1) - one).abs() < 1e-15, "{u}");
        }
    }
}
