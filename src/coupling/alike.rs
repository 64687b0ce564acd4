//! Which modes are in truth one, and whether the mode matters at all once the fan level is known.
//!
//! Two modes are compared at the fan levels that both were run at: ln(draw) with a step for each level, the conditions' slopes, and
//! one step for the mode. "The same" is shown, not assumed: two one-sided tests against a margin, Holm over all pairs.

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
    /// How much more the second draws, relative, with its interval.
    pub difference: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Holm-adjusted p value of the tests that the difference lies within the margin.
    pub p_same: f64,
    /// `same`, `differ` or `open`.
    pub finding: &'static str,
}

/// A regression of ln(draw) on level steps, slopes and, where asked, mode steps.
struct ModeFit {
    rss: f64,
    dof: usize,
    last: Option<Estimate>,
}

/// Fits the runs of `modes` at the levels in `levels`; `with_modes` gives each mode but the first a step.
fn fit(data: &DrawData, modes: &[usize], levels: &[usize], with_modes: bool) -> Option<ModeFit> {
    let rows: Vec<&DrawRow> = data
        .rows
        .iter()
        .filter(|r| modes.contains(&r.mode) && levels.contains(&r.level))
        .collect();
    let steps = if with_modes { modes.len() - 1 } else { 0 };
    let slopes = usize::from(data.intake_varied) + usize::from(data.ambient_varied);
    let p = levels.len() + slopes + steps;
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
        let mode = modes.iter().position(|m| *m == row.mode)?;
        if with_modes && mode > 0 {
            x[(i, next + mode - 1)] = 1.0;
        }
        y.push(row.draw.ln());
    }
    let fit = least_squares(&x, &y, None).ok()?;
    let last = fit.std_errors().and_then(|e| {
        Some(Estimate {
            value: *fit.coef.last()?,
            standard_error: *e.last()?,
            dof: fit.dof() as f64,
        })
    });
    Some(ModeFit {
        rss: fit.rss,
        dof: fit.dof(),
        last,
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

/// Compares every pair of modes that share a fan level.
pub(super) fn pairs(data: &DrawData, margin: f64, level: f64) -> Vec<ModePair> {
    let mut found: Vec<(usize, usize, usize, Estimate)> = Vec::new();
    for a in 0..data.modes.len() {
        for b in a + 1..data.modes.len() {
            let own = levels_of(data, a);
            let shared: Vec<usize> = levels_of(data, b)
                .into_iter()
                .filter(|l| own.contains(l))
                .collect();
            let estimate = fit(data, &[a, b], &shared, true).and_then(|f| f.last);
            if let Some(e) = estimate.filter(|e| !shared.is_empty() && e.standard_error > 0.0) {
                found.push((a, b, shared.len(), e));
            }
        }
    }
    let limit = (1.0 + margin).ln();
    let raw: Vec<f64> = found
        .iter()
        .map(|(.., e)| e.equivalence(-limit, limit).p)
        .collect();
    let adjusted = holm(&raw).unwrap_or(raw);
    found
        .into_iter()
        .zip(adjusted)
        .map(|((a, b, fan_levels, e), p_same)| {
            let (low, high) = e.interval(level);
            let finding = if p_same < 1.0 - level {
                "same"
            } else if low > limit || high < -limit {
                "differ"
            } else {
                "open"
            };
            ModePair {
                a: data.modes.get(a).cloned().unwrap_or_default(),
                b: data.modes.get(b).cloned().unwrap_or_default(),
                fan_levels,
                difference: e.value.exp_m1(),
                low: low.exp_m1(),
                high: high.exp_m1(),
                p_same,
                finding,
            }
        })
        .collect()
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
            "At the fan levels that modes share, adding the mode to a model that knows fan level and conditions gives F = {:.1} on {} and {} degrees of freedom.",
            test.f,
            without.dof - with.dof,
            with.dof
        ),
        p_value: Some(test.p),
        value: None,
    })
}
