//! One setting's budget.

use nalgebra::DMatrix;

use crate::bench::{Bench, Channel};
use crate::fit::forms::DrawData;
use crate::quantity::Split;
use crate::stats::StatsError;
use crate::stats::propagate::{Input, Output, from_sensitivities, linear_numeric};

use super::readings::Readings;
use super::scatter::{Group, Pooled, Scatter, way};
use super::sources::{Scope, Sought, Source};
use super::{Figure, FigureBudget, Part, SettingBudget};

/// Makes the budget of one group of runs.
pub(super) fn budget(
    bench: &Bench,
    data: &DrawData,
    (groups, group): (&[Group], &Group),
    pooled: &Pooled,
    level: f64,
) -> Result<SettingBudget, StatsError> {
    let points = group.points(bench);
    let flow = data.levels.get(group.level).and_then(|l| l.flow);
    let has_capacity = group.mean(Figure::Sensible).is_some();
    let readings = Readings::mean(bench, &points, flow.filter(|_| has_capacity), group.total);
    let sources = Sought {
        bench,
        data,
        level: group.level,
        points: &points,
        readings: &readings,
        scatter_known: pooled.scatter[Figure::Draw as usize].is_some(),
    }
    .all();
    let way = way(bench, groups, group, &pooled.channels);
    let mean_of = |c: Channel| -> Option<f64> {
        let all: Option<Vec<f64>> = points.iter().map(|p| p.get(c)).collect();
        let all = all?;
        let moved = pooled.channels.iter().position(|x| *x == c);
        let by = moved.and_then(|i| way.get(i)).copied().unwrap_or(0.0);
        Some(all.iter().sum::<f64>() / all.len() as f64 + by)
    };
    let found: Vec<Row<'_>> = Figure::ALL
        .into_iter()
        .filter_map(|figure| {
            let scatter = pooled.scatter[figure as usize].as_ref();
            Row::of(group, figure, scatter, &way)
        })
        .collect();
    let figures = propagate(&readings, &sources, &found, level)?;
    Ok(SettingBudget {
        mode: group.mode,
        level: group.level,
        runs: group.runs.clone(),
        intake_c: mean_of(Channel::IntakeTemp),
        ambient_c: mean_of(Channel::AmbientTemp),
        wet: group.wet,
        dry: group.dry,
        sources,
        figures,
        readings,
        way,
    })
}

/// A figure's mean and its scatter.
struct Row<'a> {
    figure: Figure,
    value: f64,
    u_scatter: f64,
    scatter: Option<&'a Scatter>,
}

impl<'a> Row<'a> {
    fn of(
        group: &Group,
        figure: Figure,
        scatter: Option<&'a Scatter>,
        way: &[f64],
    ) -> Option<Row<'a>> {
        let mean = group.mean(figure)?;
        let scale = group.scale(figure)?;
        let (by, u) = scatter.map_or((0.0, 0.0), |s| {
            (s.shift(way), s.mean_u(group.runs.len(), way))
        });
        Some(Row {
            figure,
            value: mean + scale * by,
            u_scatter: scale * u,
            scatter,
        })
    }
}

/// Values of the wanted figures after one standard uncertainty of each source times `z`; NaN where the readings leave all bounds.
pub(super) fn moved(
    readings: &Readings,
    sources: &[Source],
    z: &[f64],
    figures: impl Iterator<Item = Figure>,
) -> Vec<f64> {
    let mut at = *readings;
    for (source, z) in sources.iter().zip(z) {
        for (channel, u) in &source.moves {
            at.shift(*channel, u * z);
        }
    }
    let values = at.figures();
    figures
        .map(|f| match &values {
            Ok(v) => v[f as usize].unwrap_or(f64::NAN),
            Err(_) => f64::NAN,
        })
        .collect()
}

/// What one standard uncertainty of each source does to each figure: one row a figure.
pub(super) fn slopes(
    readings: &Readings,
    sources: &[Source],
    figures: &[Figure],
) -> Result<Vec<Vec<f64>>, StatsError> {
    if sources.is_empty() {
        return Ok(vec![Vec::new(); figures.len()]);
    }
    let unit: Vec<Input> = sources
        .iter()
        .map(|s| Input::new(s.name.clone(), 0.0, 1.0))
        .collect();
    let found = linear_numeric(
        |z| moved(readings, sources, z, figures.iter().copied()),
        &unit,
        None,
    )?;
    let row = |o: &Output| o.contributions.iter().map(|c| c.sensitivity).collect();
    let mut slopes: Vec<Vec<f64>> = found.outputs.iter().map(row).collect();
    // Between limits the chord counts, not the tangent: half-way between dry and saturated air the outlet may be saturated, and no
    // small step shows what the whole range does.
    let half = 3f64.sqrt();
    let at = |i: usize, z: f64| {
        let mut point = vec![0.0; sources.len()];
        if let Some(slot) = point.get_mut(i) {
            *slot = z;
        }
        moved(readings, sources, &point, figures.iter().copied())
    };
    for (i, _) in sources.iter().enumerate().filter(|(_, s)| s.rectangular) {
        let (low, high) = (at(i, -half), at(i, half));
        for ((row, low), high) in slopes.iter_mut().zip(low).zip(high) {
            if let Some(slot) = row.get_mut(i) {
                *slot = (high - low) / (2.0 * half);
            }
        }
    }
    Ok(slopes)
}

/// Sources by their sensitivities; the scatter of each figure as an input of its own.
fn propagate(
    readings: &Readings,
    sources: &[Source],
    found: &[Row<'_>],
    level: f64,
) -> Result<Vec<FigureBudget>, StatsError> {
    if found.is_empty() {
        return Ok(Vec::new());
    }
    let names: Vec<Figure> = found.iter().map(|r| r.figure).collect();
    let by_source = slopes(readings, sources, &names)?;
    let (k, n) = (found.len(), sources.len());
    let mut inputs: Vec<Input> = sources
        .iter()
        .map(|s| Input::new(s.name.clone(), 0.0, 1.0).with_dof(s.dof))
        .collect();
    let mut sensitivities = DMatrix::zeros(k, n + k);
    for (row, slopes) in by_source.iter().enumerate() {
        for (i, slope) in slopes.iter().enumerate() {
            sensitivities[(row, i)] = *slope;
        }
    }
    for (i, row) in found.iter().enumerate() {
        let dof = row.scatter.map_or(f64::INFINITY, |s| s.dof);
        inputs.push(Input::new("scatter", 0.0, row.u_scatter).with_dof(dof));
        sensitivities[(i, n + i)] = 1.0;
    }
    let values: Vec<f64> = found.iter().map(|r| r.value).collect();
    let whole = from_sensitivities(&values, &sensitivities, &inputs, None)?;
    // The same again with each source twice as good: degrees of freedom change too.
    let mut halved = Vec::with_capacity(n + k);
    for i in 0..n + k {
        let mut better = inputs.clone();
        if let Some(input) = better.get_mut(i) {
            input.standard_uncertainty /= 2.0;
        }
        halved.push(from_sensitivities(&values, &sensitivities, &better, None)?);
    }
    let width = |o: &Output| o.expanded(level).map_or(f64::NAN, |e| e.1);
    let mut figures = Vec::with_capacity(k);
    for (row, (f, out)) in found.iter().zip(&whole.outputs).enumerate() {
        let full = width(out);
        let mut u = Split::default();
        let mut parts = Vec::new();
        for (i, c) in out.contributions.iter().enumerate() {
            if c.uncertainty == 0.0 {
                continue;
            }
            let fresh = sources.get(i).is_none_or(|s| s.scope == Scope::Fresh);
            let part = Split::new(
                c.uncertainty * f64::from(u8::from(!fresh)),
                c.uncertainty * f64::from(u8::from(fresh)),
            );
            u = u.plus(part);
            let smaller = halved.get(i).and_then(|h| h.outputs.get(row)).map(width);
            parts.push(Part {
                source: (i < n).then_some(i),
                signed_u: c.sensitivity.signum() * c.uncertainty,
                share: c.share,
                if_halved: smaller.map_or(0.0, |s| 1.0 - s / full),
            });
        }
        parts.sort_by(|a, b| b.share.total_cmp(&a.share));
        figures.push(FigureBudget {
            figure: f.figure,
            value: f.value,
            u,
            dof: out.dof.filter(|d| d.is_finite()),
            interval: (f.value - full, f.value + full),
            by_trials: false,
            parts,
        });
    }
    Ok(figures)
}
