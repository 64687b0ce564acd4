//! Which modes are in truth one, and whether the mode matters at all once the fan level is known.
//!
//! Two modes are compared at the fan levels that both were run at: ln(draw) with a step for each level, the conditions' slopes, and
//! a step for the mode at each. "The same" is shown, not assumed: two one-sided tests against a margin, Holm over all pairs.

use nalgebra::DMatrix;

use crate::fit::forms::{DrawData, DrawRow};
use crate::fit::least_squares;
use crate::stats::anova::Source;
use crate::stats::multiple::holm;
use crate::stats::tests::{Estimate, nested_f};

use super::evidence::Evidence;

/// A difference of draw that a reader would call none, relative. Common practice, no source: the accuracy of a good bench.
pub const DEFAULT_MARGIN: f64 = 0.03;

/// Two modes compared at their common fan levels.
#[derive(Clone, Debug, serde::Serialize)]
pub struct ModePair {
    /// One mode.
    pub a: String,
    /// The other.
    pub b: String,
    /// Fan levels that both were run at.
    pub fan_levels: usize,
    /// How much more the second draws, relative, at the shared level where the two differ most.
    pub difference: f64,
    /// Lower end of its interval, widened for the number of levels.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Holm-adjusted p value of the tests that the difference lies within the margin.
    pub p_same: f64,
    /// `same`, `differ` or `open`.
    pub finding: &'static str,
}

/// A regression of ln(draw) on level steps, slopes and, where asked, a step for each further mode at each of its levels.
struct ModeFit {
    rss: f64,
    dof: usize,
    /// The further modes' steps, in the order of modes, then levels.
    steps: Vec<Estimate>,
}

/// Fits the runs of `modes` at the levels in `levels`; `with_modes` gives each mode but the first a step at each level.
fn fit(data: &DrawData, modes: &[usize], levels: &[usize], with_modes: bool) -> Option<ModeFit> {
    let rows: Vec<&DrawRow> = data
        .rows
        .iter()
        .filter(|r| modes.contains(&r.mode) && levels.contains(&r.level))
        .collect();
    // The first mode at each level is the base: a level's own step stands for it.
    let base = |level: usize| {
        modes.iter().copied().find(|m| {
            data.tested
                .get(*m)
                .and_then(|t| t.get(level))
                .is_some_and(|n| *n > 0)
        })
    };
    let cells: Vec<(usize, usize)> = if with_modes {
        modes
            .iter()
            .flat_map(|m| levels.iter().map(move |l| (*m, *l)))
            .filter(|(m, l)| base(*l) != Some(*m))
            .filter(|(m, l)| rows.iter().any(|r| r.mode == *m && r.level == *l))
            .collect()
    } else {
        Vec::new()
    };
    let slopes = usize::from(data.intake_varied) + usize::from(data.ambient_varied);
    let p = levels.len() + slopes + cells.len();
    let n = rows.len();
    if n < p + 2 {
        return None;
    }
    let mut x = DMatrix::zeros(n, p);
    let mut y = Vec::with_capacity(n);
    for (i, row) in rows.iter().enumerate() {
        x[(i, levels.iter().position(|l| *l == row.level)?)] = 1.0;
        let mut next = levels.len();
        if data.intake_varied {
            x[(i, next)] = row.intake - data.intake_ref;
            next += 1;
        }
        if data.ambient_varied {
            x[(i, next)] = row.ambient - data.ambient_ref;
            next += 1;
        }
        if let Some(c) = cells.iter().position(|c| *c == (row.mode, row.level)) {
            x[(i, next + c)] = 1.0;
        }
        y.push(row.draw.ln());
    }
    let fit = least_squares(&x, &y, None).ok()?;
    let dof = fit.dof();
    let errors = fit.std_errors().unwrap_or_default();
    let steps = fit
        .coef
        .iter()
        .zip(errors)
        .skip(levels.len() + slopes)
        .map(|(value, standard_error)| Estimate {
            value: *value,
            standard_error,
            dof: dof as f64,
        })
        .collect();
    Some(ModeFit {
        rss: fit.rss,
        dof,
        steps,
    })
}

fn levels_of(data: &DrawData, mode: usize) -> Vec<usize> {
    data.tested
        .get(mode)
        .map(|t| {
            t.iter()
                .enumerate()
                .filter(|(_, n)| **n > 0)
                .map(|(l, _)| l)
                .collect()
        })
        .unwrap_or_default()
}

/// Compares every pair of modes that share a fan level. The same: at every shared level the difference lies within the margin
/// (the largest of the levels' p values, an intersection-union test). Different: at some level its interval, widened for the number of
/// levels, lies beyond the margin.
pub(super) fn pairs(data: &DrawData, margin: f64, level: f64) -> Vec<ModePair> {
    let limit = (1.0 + margin).ln();
    let mut found: Vec<ModePair> = Vec::new();
    for a in 0..data.modes.len() {
        for b in a + 1..data.modes.len() {
            let own = levels_of(data, a);
            let shared: Vec<usize> = levels_of(data, b)
                .into_iter()
                .filter(|l| own.contains(l))
                .collect();
            let Some(steps) = fit(data, &[a, b], &shared, true).map(|f| f.steps) else {
                continue;
            };
            let widened = 1.0 - (1.0 - level) / steps.len().max(1) as f64;
            let Some(most) = steps
                .iter()
                .filter(|e| e.standard_error > 0.0)
                .max_by(|p, q| p.value.abs().total_cmp(&q.value.abs()))
            else {
                continue;
            };
            let (low, high) = most.interval(widened);
            let differ = steps.iter().any(|e| {
                let (low, high) = e.interval(widened);
                low > limit || high < -limit
            });
            found.push(ModePair {
                a: data.modes.get(a).cloned().unwrap_or_default(),
                b: data.modes.get(b).cloned().unwrap_or_default(),
                fan_levels: shared.len(),
                difference: most.value.exp_m1(),
                low: low.exp_m1(),
                high: high.exp_m1(),
                p_same: steps
                    .iter()
                    .map(|e| e.equivalence(-limit, limit).p)
                    .fold(0.0, f64::max),
                finding: if differ { "differ" } else { "open" },
            });
        }
    }
    let raw: Vec<f64> = found.iter().map(|p| p.p_same).collect();
    for (pair, p) in found.iter_mut().zip(holm(&raw).unwrap_or(raw)) {
        pair.p_same = p;
        if p < 1.0 - level {
            pair.finding = "same";
        }
    }
    found
}

/// Whether the mode still matters once the fan level and the conditions are known: nested F test over all modes at the levels that
/// at least two of them share.
pub(super) fn mode_given_fan(data: &DrawData, level: f64) -> Option<Evidence> {
    if data.modes.len() < 2 {
        return None;
    }
    let levels: Vec<usize> = (0..data.levels.len())
        .filter(|l| {
            data.tested
                .iter()
                .filter(|t| t.get(*l).is_some_and(|n| *n > 0))
                .count()
                > 1
        })
        .collect();
    let modes: Vec<usize> = (0..data.modes.len())
        .filter(|m| levels_of(data, *m).iter().any(|l| levels.contains(l)))
        .collect();
    if levels.is_empty() || modes.len() < 2 {
        return None;
    }
    let source = |f: &ModeFit| Source {
        squares: f.rss,
        dof: f.dof as f64,
    };
    let without = fit(data, &modes, &levels, false)?;
    let with = fit(data, &modes, &levels, true)?;
    let test = nested_f(source(&without), source(&with)).ok()?;
    let says = if test.p < 1.0 - level {
        "mode-matters"
    } else {
        "mode-not-seen"
    };
    Some(Evidence {
        name: "mode-given-fan",
        says,
        detail: format!(
            "At the fan levels that modes share, adding the mode (its own step at each level) to a model that knows fan level and conditions gives F = {:.1} on {} and {} degrees of freedom.",
            test.f,
            without.dof - with.dof,
            with.dof
        ),
        p_value: Some(test.p),
        value: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::bench::Bench;

    #[test]
    fn a_difference_of_modes_is_found_with_two_degrees_of_freedom_and_about_any_temperature() {
        // Mode b draws 10 % more at fan 1 and 5 % more at fan 2; 2 % for each kelvin of intake, 1 % for each of ambient, whose means are
        // 0 degC. Two levels, two slopes and two steps leave two of eight runs.
        let mut table =
            "run,mode,fan,intake_temp [degC],ambient_temp [degC],power [W]\n".to_owned();
        let cells = [
            ("a", 1, 100.0, 6),
            ("a", 2, 150.0, -6),
            ("b", 1, 110.0, 6),
            ("b", 2, 157.5, -6),
        ];
        for (mode, fan, draw, ambient) in cells {
            for (intake, ambient) in [(-3, -ambient), (3, ambient)] {
                let power = draw * (0.02 * f64::from(intake) + 0.01 * f64::from(ambient)).exp();
                table.push_str(&format!(
                    "{mode}{fan}{intake},{mode},{fan},{intake},{ambient},{power:.9}\n"
                ));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let data = DrawData::from_bench(&bench);
        assert_eq!(
            (data.intake_ref, data.ambient_ref, data.rows.len()),
            (0.0, 0.0, 8)
        );
        let found = pairs(&data, DEFAULT_MARGIN, 0.95);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].fan_levels, found[0].finding), (2, "differ"));
        assert!((found[0].difference - 0.1).abs() < 1e-7, "{found:?}");
        // A run fewer leaves one.
        assert!(pairs(&data.without(&[7]), DEFAULT_MARGIN, 0.95).is_empty());
    }
}
