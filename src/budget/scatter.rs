//! Type A: how far repeated runs scatter, pooled over all settings.

use nalgebra::DMatrix;

use crate::air::{Capacity, Coil};
use crate::bench::{Bench, Channel, Point};
use crate::fit::forms::{CapacityData, CapacityKind, DrawData};
use crate::fit::{LinearFit, least_squares};

use super::readings::Readings;
use super::{Figure, Values};

/// The runs of one setting at one tested intake.
pub(super) struct Group {
    pub mode: usize,
    pub level: usize,
    /// Which of the tested intakes, as an index into [`DrawData::set_points`].
    pub near: usize,
    /// Indices into the bench's points.
    pub runs: Vec<usize>,
    /// Each run's figures.
    pub values: Vec<Values>,
    pub wet: usize,
    pub dry: usize,
    /// Whether humidity was read on both sides of every cooling run of the bench.
    pub total: bool,
}

/// Scatter between repeated runs of one figure, relative to its mean.
#[derive(Clone, Debug)]
pub struct Scatter {
    /// Standard deviation of one run about its setting's mean, relative (of the total capacity, for sensible and latent capacity and
    /// weighed water; absolute for the sensible heat ratio).
    pub relative_sd: f64,
    /// Its degrees of freedom: runs less settings less slopes.
    pub dof: f64,
    slopes: Option<LinearFit>,
}

/// The pooled scatter of all figures.
pub(super) struct Pooled {
    pub scatter: [Option<Scatter>; Figure::ALL.len()],
    /// Conditions whose slopes were taken out.
    pub channels: Vec<Channel>,
}

/// Sorts the cooling runs by setting and tested intake, and works out each run's figures.
pub(super) fn groups(
    bench: &Bench,
    data: &DrawData,
    capacity: Option<&CapacityData>,
) -> Vec<Group> {
    let total = capacity.is_some_and(|c| c.kind == CapacityKind::Total);
    let mut groups: Vec<Group> = Vec::new();
    for (i, row) in data.rows.iter().enumerate() {
        let Some(point) = bench.points.get(row.point) else {
            continue;
        };
        let near = nearest(&data.set_points, row.intake);
        let flow = capacity.and_then(|_| data.levels.get(row.level)?.flow);
        let values = Readings::mean(bench, &[point], flow, total)
            .figures()
            .unwrap_or([None; Figure::ALL.len()]);
        let air: Option<&Capacity> = capacity.and_then(|c| c.runs.get(i));
        let coil = air.map(|c| c.coil);
        let wet = usize::from(matches!(coil, Some(Coil::Wet | Coil::PerhapsWet)));
        let dry = usize::from(coil == Some(Coil::Dry));
        let found = groups
            .iter_mut()
            .find(|g| (g.near, g.mode, g.level) == (near, row.mode, row.level));
        match found {
            Some(g) => {
                g.runs.push(row.point);
                g.values.push(values);
                g.wet += wet;
                g.dry += dry;
            }
            None => groups.push(Group {
                mode: row.mode,
                level: row.level,
                near,
                runs: vec![row.point],
                values: vec![values],
                wet,
                dry,
                total,
            }),
        }
    }
    groups.sort_by_key(|g| (g.mode, g.level, g.near));
    groups
}

fn nearest(set_points: &[f64], intake: f64) -> usize {
    let far = |i: &usize| (set_points[*i] - intake).abs();
    (0..set_points.len())
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .unwrap_or(0)
}

impl Group {
    /// Mean of a figure over the runs; none where one lacks it.
    pub fn mean(&self, figure: Figure) -> Option<f64> {
        let all: Option<Vec<f64>> = self.values.iter().map(|v| v[figure as usize]).collect();
        all.map(|v| v.iter().sum::<f64>() / v.len() as f64)
    }

    /// What a figure's scatter is relative to.
    pub fn scale(&self, figure: Figure) -> Option<f64> {
        let scale = match figure {
            Figure::SensibleHeatRatio => 1.0,
            Figure::Draw | Figure::Eer => self.mean(figure)?,
            _ => self
                .mean(Figure::Total)
                .or_else(|| self.mean(Figure::Sensible))?,
        };
        (scale > 0.0).then_some(scale)
    }

    pub fn points<'a>(&self, bench: &'a Bench) -> Vec<&'a Point> {
        let of = |i: &usize| bench.points.get(*i);
        self.runs.iter().filter_map(of).collect()
    }
}

/// Spread within settings under which a condition has no slope of its own, K (or share of humidity ×100). Common practice, no source.
const STEADY_ROOM: f64 = 0.3;
/// Degrees of freedom that must be left for each slope.
const DOF_PER_SLOPE: usize = 4;

/// Pools the scatter about the settings' means, with common slopes in the conditions that varied within settings.
pub(super) fn pool(bench: &Bench, groups: &[Group]) -> Pooled {
    let runs: usize = groups.iter().map(|g| g.runs.len()).sum();
    let spare = runs.saturating_sub(groups.len());
    let mut channels = Vec::new();
    for channel in [Channel::AmbientTemp, Channel::IntakeTemp, Channel::IntakeRh] {
        if spare < DOF_PER_SLOPE * (channels.len() + 1) + channels.len() {
            break;
        }
        let within: Option<Vec<f64>> = groups
            .iter()
            .map(|g| deviations(bench, g, channel))
            .collect::<Option<Vec<_>>>()
            .map(|v| v.concat());
        let Some(within) = within else { continue };
        let sd = (within.iter().map(|d| d * d).sum::<f64>() / spare as f64).sqrt();
        if sd > STEADY_ROOM * unit(channel) {
            channels.push(channel);
        }
    }
    let scatter = Figure::ALL.map(|figure| one(bench, groups, &channels, figure));
    Pooled { scatter, channels }
}

/// One kelvin, or one hundredth of relative humidity.
fn unit(channel: Channel) -> f64 {
    match channel {
        Channel::IntakeRh => 0.01,
        _ => 1.0,
    }
}

/// Each run's reading less the setting's mean; none where a run lacks it.
fn deviations(bench: &Bench, group: &Group, channel: Channel) -> Option<Vec<f64>> {
    let all: Option<Vec<f64>> = group.points(bench).iter().map(|p| p.get(channel)).collect();
    let all = all?;
    let mean = all.iter().sum::<f64>() / all.len().max(1) as f64;
    Some(all.iter().map(|v| v - mean).collect())
}

/// From a group's mean conditions to the common ones, one entry a channel: the mean ambient of all runs, and the mean intake and
/// humidity of all runs at the group's tested intake.
pub(super) fn way(
    bench: &Bench,
    groups: &[Group],
    group: &Group,
    channels: &[Channel],
) -> Vec<f64> {
    let mean = |of: &mut dyn Iterator<Item = &Group>, channel| {
        let (sum, n) = of
            .flat_map(|g| g.points(bench))
            .filter_map(|p| p.get(channel))
            .fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
        sum / f64::max(n, 1.0)
    };
    let to = |channel: &Channel| {
        let own = mean(&mut std::iter::once(group), *channel);
        let common = match channel {
            Channel::AmbientTemp => mean(&mut groups.iter(), *channel),
            _ => mean(
                &mut groups.iter().filter(|g| g.near == group.near),
                *channel,
            ),
        };
        common - own
    };
    channels.iter().map(to).collect()
}

fn one(bench: &Bench, groups: &[Group], channels: &[Channel], figure: Figure) -> Option<Scatter> {
    let (mut y, mut x, mut used) = (Vec::new(), Vec::new(), 0);
    for group in groups {
        let (Some(mean), Some(scale)) = (group.mean(figure), group.scale(figure)) else {
            continue;
        };
        used += 1;
        let moved: Vec<Vec<f64>> = channels
            .iter()
            .map(|c| deviations(bench, group, *c))
            .collect::<Option<_>>()?;
        for (i, values) in group.values.iter().enumerate() {
            y.push((values[figure as usize]? - mean) / scale);
            x.extend(moved.iter().map(|column| column[i]));
        }
    }
    let dof = y
        .len()
        .checked_sub(used + channels.len())
        .filter(|d| *d > 0)? as f64;
    let (squares, slopes) = if channels.is_empty() {
        (y.iter().map(|v| v * v).sum::<f64>(), None)
    } else {
        let design = DMatrix::from_row_slice(y.len(), channels.len(), &x);
        let fit = least_squares(&design, &y, None).ok()?;
        (fit.rss, Some(fit))
    };
    Some(Scatter {
        relative_sd: (squares / dof).sqrt(),
        dof,
        slopes,
    })
}

impl Scatter {
    /// What the slopes add to a setting's mean on the way from its own conditions to the common ones, relative.
    pub(super) fn shift(&self, to_common: &[f64]) -> f64 {
        self.slopes.as_ref().map_or(0.0, |f| f.predict(to_common))
    }

    /// Relative standard uncertainty of the mean of `runs` runs brought over `to_common`.
    pub(super) fn mean_u(&self, runs: usize, to_common: &[f64]) -> f64 {
        self.relative_sd * (1.0 / runs.max(1) as f64 + self.slope_variance(to_common)).sqrt()
    }

    /// Variance factor of the slopes over a way between conditions.
    pub(super) fn slope_variance(&self, way: &[f64]) -> f64 {
        self.slopes
            .as_ref()
            .map_or(0.0, |f| f.mean_variance_factor(way))
    }
}
