//! Ratios between settings: what two settings share cancels.

use nalgebra::DMatrix;

use crate::stats::StatsError;
use crate::stats::propagate::{Input, from_sensitivities};

use super::sources::{Scope, Source};
use super::{Budgets, Figure, FigureBudget, SettingBudget};

/// One setting's figure over another's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// The ratio.
    pub value: f64,
    /// Its interval.
    pub interval: (f64, f64),
    /// Standard uncertainty.
    pub u: f64,
    /// What it would be if nothing were shared.
    pub u_apart: f64,
}

/// The sources' relative parts of a figure.
fn relative<'a>(
    setting: &'a SettingBudget,
    figure: &'a FigureBudget,
) -> impl Iterator<Item = (&'a Source, f64)> {
    figure.parts.iter().filter_map(move |p| {
        let source = setting.sources.get(p.source?)?;
        Some((source, p.signed_u / figure.value))
    })
}

/// See [`Budgets::ratio`].
pub(super) fn ratio(
    budgets: &Budgets,
    a: &SettingBudget,
    b: &SettingBudget,
    figure: Figure,
) -> Result<Option<Ratio>, StatsError> {
    let (Some(fa), Some(fb)) = (a.figure(figure), b.figure(figure)) else {
        return Ok(None);
    };
    if !(fa.value != 0.0 && fb.value != 0.0) {
        return Ok(None);
    }
    let value = fa.value / fb.value;
    // One input for each source: the same error moves both settings where both have it.
    let mut merged: Vec<(&Source, f64)> = relative(a, fa).collect();
    for (source, part) in relative(b, fb) {
        let same = merged
            .iter_mut()
            .find(|(s, _)| s.cause == source.cause && source.scope != Scope::Fresh);
        match same {
            Some((_, sum)) => *sum -= part,
            None => merged.push((source, -part)),
        }
    }
    let mut inputs = Vec::with_capacity(merged.len() + 1);
    let mut slopes = Vec::with_capacity(merged.len() + 1);
    for (source, part) in &merged {
        inputs.push(Input::new(source.name.clone(), 0.0, 1.0).with_dof(source.dof));
        slopes.push(value * part);
    }
    let mut apart: f64 = [(a, fa), (b, fb)]
        .into_iter()
        .flat_map(|(s, f)| relative(s, f))
        .map(|(_, part)| part * part)
        .sum();
    if let Some(s) = &budgets.scatter[figure as usize] {
        let way: Vec<f64> = a.way.iter().zip(&b.way).map(|(a, b)| a - b).collect();
        let runs = |s: &SettingBudget| 1.0 / s.runs.len().max(1) as f64;
        let u = s.relative_sd * (runs(a) + runs(b) + s.slope_variance(&way)).sqrt();
        inputs.push(Input::new("scatter", 0.0, u).with_dof(s.dof));
        slopes.push(value);
        apart += u * u;
    }
    let row = DMatrix::from_row_slice(1, slopes.len(), &slopes);
    let out = from_sensitivities(&[value], &row, &inputs, None)?;
    Ok(out.outputs.first().map(|o| {
        let half = o.expanded(budgets.level).map_or(f64::NAN, |e| e.1);
        Ratio {
            value,
            interval: (value - half, value + half),
            u: o.standard_uncertainty,
            u_apart: value.abs() * apart.sqrt(),
        }
    }))
}
