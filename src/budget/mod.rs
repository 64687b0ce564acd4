//! Uncertainty budgets: what each instrument, and the scatter between runs, adds to draw, capacity and EER.
//!
//! One place for every figure, by the rules of JCGM 100:2008:
//!
//! * Type A: runs repeated at one setting scatter about their mean. The scatter is pooled over all settings, after common slopes in
//!   intake, ambient and humidity have taken out what the room did ([`Scatter`]). It is fresh in each run and averages out.
//! * Type B: an instrument's error is one for all runs and for everything of one kind that it reads ([`Source`]): it is added once to
//!   an absolute figure, cancels in ratios between settings (`compare`), and cancels in the temperature drop where one
//!   `[[instrument]]` reads both intake and outlet.
//! * What an instrument does afresh in each run (`shared = false`), and a run's own uncertainty (`u_NAME`), stand in the scatter
//!   already. They are counted by themselves only where no run was repeated.
//! * Propagation by [`crate::stats::propagate`], to first order; `trials` checks it by JCGM 101:2008.

mod compare;
mod readings;
mod scatter;
mod setting;
mod sources;
mod trials;

use crate::bench::{Bench, Channel};
use crate::fit::forms::{CapacityData, CapacityKind, DrawData};
use crate::quantity::Split;
use crate::stats::StatsError;

pub use compare::Ratio;
pub use scatter::Scatter;
pub use sources::{Cause, Scope, Source};
pub use trials::{Trial, Trials};

/// A figure that budgets are made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Draw, W.
    Draw,
    /// Sensible capacity, W.
    Sensible,
    /// Latent capacity, W.
    Latent,
    /// Total capacity, W.
    Total,
    /// Sensible heat ratio: sensible over total.
    SensibleHeatRatio,
    /// Capacity over draw, W/W: total where humidity was read on both sides of every run, else sensible.
    Eer,
    /// Latent capacity by the condensate that was weighed, W.
    Weighed,
    /// That less the air side's latent capacity, W.
    WeighedLessAir,
}

impl Figure {
    /// All figures, in the order of results.
    pub const ALL: [Figure; 8] = [
        Figure::Draw,
        Figure::Sensible,
        Figure::Latent,
        Figure::Total,
        Figure::SensibleHeatRatio,
        Figure::Eer,
        Figure::Weighed,
        Figure::WeighedLessAir,
    ];
}

/// One value for each of [`Figure::ALL`]; none where readings for it are missing.
pub type Values = [Option<f64>; Figure::ALL.len()];

/// What one source adds to one figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Index into the setting's [`SettingBudget::sources`]; none for the scatter between runs.
    pub source: Option<usize>,
    /// Standard uncertainty that it adds, in the figure's unit, with the sign of the sensitivity.
    pub signed_u: f64,
    /// Share of the figure's variance; the shares add up to 1.
    pub share: f64,
    /// By what share the interval would shrink if this source were twice as good.
    pub if_halved: f64,
}

/// A figure with its uncertainty and where that comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureBudget {
    /// Which figure.
    pub figure: Figure,
    /// Mean over the setting's runs, brought to the common conditions.
    pub value: f64,
    /// Standard uncertainty: what all runs share, and what is fresh in each (after averaging over the runs).
    pub u: Split,
    /// Effective degrees of freedom (Welch–Satterthwaite, JCGM 100:2008, G.4.1); none where infinite.
    pub dof: Option<f64>,
    /// Interval by Student's t, or from random trials.
    pub interval: (f64, f64),
    /// Whether the interval is from random trials, because the linear one may not be trusted.
    pub by_trials: bool,
    /// What each source adds, largest first; sources that add nothing are left out.
    pub parts: Vec<Part>,
}

/// A setting at one tested intake.
#[derive(Clone, Debug)]
pub struct SettingBudget {
    /// Index into [`DrawData::modes`].
    pub mode: usize,
    /// Index into [`DrawData::levels`].
    pub level: usize,
    /// The runs, as indices into the bench's points.
    pub runs: Vec<usize>,
    /// Intake that the figures hold for, degC; none where it was not read.
    pub intake_c: Option<f64>,
    /// Ambient that the figures hold for, degC; none where it was not read.
    pub ambient_c: Option<f64>,
    /// How many of its runs had a wet coil, or perhaps had.
    pub wet: usize,
    /// How many of its runs had a dry coil for certain, by the intake's dew point.
    pub dry: usize,
    /// What the figures lean on, beside the scatter between runs.
    pub sources: Vec<Source>,
    /// The figures that the readings allow, in the order of [`Figure::ALL`].
    pub figures: Vec<FigureBudget>,
    readings: readings::Readings,
    /// From the runs' own mean conditions to the common ones, as [`Budgets::adjusted`].
    way: Vec<f64>,
}

impl SettingBudget {
    /// A figure's budget.
    pub fn figure(&self, figure: Figure) -> Option<&FigureBudget> {
        self.figures.iter().find(|f| f.figure == figure)
    }

    /// Standard uncertainty of the airflow, m3/h.
    pub fn airflow_u(&self) -> f64 {
        let moved = |s: &Source| {
            s.moves
                .iter()
                .filter(|m| m.0 == Channel::Airflow)
                .map(|m| m.1)
                .sum::<f64>()
        };
        self.sources.iter().map(moved).fold(0.0, f64::hypot)
    }
}

/// Relative standard uncertainty of the capacity that instruments add alike in all runs of a setting, at the setting's mean readings.
/// See [`shared_capacity_parts`].
pub fn shared_capacity_u(bench: &Bench, data: &DrawData, setting: (usize, usize)) -> Option<f64> {
    let parts = shared_capacity_parts(bench, data, setting)?;
    Some(parts.iter().map(|p| p.1).fold(0.0, f64::hypot))
}

/// What each source adds to a setting's capacity, relative and with its sign, at the setting's mean readings.
/// `data` may be a bench's draw or its capacity data; a setting that was never tested is taken as its fan level's runs, else as
/// all runs. None where the readings give no capacity.
pub fn shared_capacity_parts(
    bench: &Bench,
    data: &DrawData,
    (mode, level): (usize, usize),
) -> Option<Vec<(Source, f64)>> {
    let mut rows: Vec<_> = data.rows.iter().filter(|r| r.level == level).collect();
    if rows.iter().any(|r| r.mode == mode) {
        rows.retain(|r| r.mode == mode);
    }
    if rows.is_empty() {
        rows = data.rows.iter().collect();
    }
    let points: Vec<_> = rows
        .iter()
        .filter_map(|r| bench.points.get(r.point))
        .collect();
    let flow = data.levels.get(level)?.flow?;
    let both = |p: &crate::bench::Point| {
        p.get(Channel::IntakeRh).is_some() && p.get(Channel::OutletRh).is_some()
    };
    let total = bench.of_kind(crate::bench::Kind::Cooling).all(both);
    let figure = if total {
        Figure::Total
    } else {
        Figure::Sensible
    };
    let readings = readings::Readings::mean(bench, &points, Some(flow), total);
    let sources = sources::Sought {
        bench,
        data,
        level,
        points: &points,
        readings: &readings,
        scatter_known: true,
    }
    .all();
    let value = readings.figures().ok()?[figure as usize]?;
    let slopes = setting::slopes(&readings, &sources, &[figure]).ok()?;
    let row = slopes.into_iter().next()?;
    (value > 0.0).then(|| {
        let relative = row.into_iter().map(|slope| slope / value);
        sources.into_iter().zip(relative).collect()
    })
}

/// Does the weighed water bear out the air side's latent capacity?
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Witness {
    /// The interval of their difference holds zero.
    Agrees,
    /// Less was weighed than the air lost.
    Less,
    /// More was weighed than the air lost.
    More,
}

impl SettingBudget {
    /// What the weighed condensate says of the latent capacity; none where it was not weighed or humidity is missing.
    pub fn witness(&self) -> Option<Witness> {
        let (low, high) = self.figure(Figure::WeighedLessAir)?.interval;
        Some(if high < 0.0 {
            Witness::Less
        } else if low > 0.0 {
            Witness::More
        } else {
            Witness::Agrees
        })
    }
}

/// The budgets of a bench.
#[derive(Clone, Debug)]
pub struct Budgets {
    /// Every tested setting at every tested intake.
    pub settings: Vec<SettingBudget>,
    /// What the capacity is, or why there is none.
    pub capacity: Result<CapacityKind, String>,
    /// The scatter between runs of each of [`Figure::ALL`], relative; none where no run was repeated.
    pub scatter: [Option<Scatter>; Figure::ALL.len()],
    /// Conditions whose slopes were taken out of the scatter, and to whose common values the figures were brought.
    pub adjusted: Vec<Channel>,
    /// Confidence level of the intervals.
    pub level: f64,
}

impl Budgets {
    /// Makes the budgets of a bench's cooling runs, with intervals at a level such as 0.95. `data` is of the same bench.
    ///
    /// # Errors
    /// [`StatsError`] where the readings reach so far that a figure is not finite.
    pub fn of(bench: &Bench, data: &DrawData, level: f64) -> Result<Budgets, StatsError> {
        let capacity = CapacityData::from_bench(bench, data);
        let groups = scatter::groups(bench, data, capacity.as_ref().ok());
        let pooled = scatter::pool(bench, &groups);
        let mut settings = Vec::with_capacity(groups.len());
        for group in &groups {
            settings.push(setting::budget(
                bench,
                data,
                (&groups, group),
                &pooled,
                level,
            )?);
        }
        Ok(Budgets {
            settings,
            capacity: capacity.map(|c| c.kind).map_err(|e| e.to_string()),
            scatter: pooled.scatter,
            adjusted: pooled.channels,
            level,
        })
    }

    /// The setting that cools most (draws most, where the bench gives no capacity) at the tested intake nearest the runs' mean.
    pub fn shown(&self, data: &DrawData) -> Option<&SettingBudget> {
        let figure = match self.capacity {
            Ok(CapacityKind::Total) => Figure::Total,
            Ok(CapacityKind::Sensible) => Figure::Sensible,
            Err(_) => Figure::Draw,
        };
        self.middle(data)
            .into_iter()
            .filter_map(|s| Some((s, s.figure(figure)?.value)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(s, _)| s)
    }

    /// Each setting once, at its tested intake nearest the runs' mean.
    pub fn middle(&self, data: &DrawData) -> Vec<&SettingBudget> {
        let far = |s: &SettingBudget| s.intake_c.map_or(0.0, |t| (t - data.intake_ref).abs());
        let mut list: Vec<&SettingBudget> = Vec::new();
        for s in &self.settings {
            match list
                .iter_mut()
                .find(|o| (o.mode, o.level) == (s.mode, s.level))
            {
                Some(other) if far(s) < far(other) => *other = s,
                Some(_) => {}
                None => list.push(s),
            }
        }
        list
    }

    /// A figure's ratio between two settings, with what their instruments share taken out; none where one lacks it.
    ///
    /// # Errors
    /// As [`Budgets::of`].
    pub fn ratio(
        &self,
        a: &SettingBudget,
        b: &SettingBudget,
        figure: Figure,
    ) -> Result<Option<Ratio>, StatsError> {
        compare::ratio(self, a, b, figure)
    }

    /// Checks the linear intervals of the shown setting by random trials (JCGM 101:2008, clause 8). Where they may not be trusted, the
    /// intervals of that figure come from trials for each setting of [`Budgets::middle`]. None where the trials reach readings for which
    /// there is no figure.
    ///
    /// # Errors
    /// As [`Budgets::of`].
    pub fn check(&mut self, data: &DrawData, seed: u64) -> Result<Option<Trials>, StatsError> {
        let Some(shown) = self.shown(data) else {
            return Ok(None);
        };
        // A model that breaks down somewhere in the trials is no answer, and no reason to withhold the linear one.
        let Ok(checked) = trials::run(self, shown, trials::TRIALS, seed) else {
            return Ok(None);
        };
        let failed: Vec<Figure> = checked
            .figures
            .iter()
            .filter(|t| t.digits.is_none())
            .map(|t| t.figure)
            .collect();
        if failed.is_empty() {
            return Ok(Some(checked));
        }
        let key = |s: &SettingBudget| s.runs.first().copied();
        let again: Vec<(Option<usize>, Trials)> = self
            .middle(data)
            .into_iter()
            .map(|s| Ok((key(s), trials::run(self, s, trials::TRIALS_EACH, seed)?)))
            .collect::<Result<_, StatsError>>()?;
        for (of, trials) in again {
            let setting = self.settings.iter_mut().find(|s| key(s) == of);
            for figure in setting.into_iter().flat_map(|s| s.figures.iter_mut()) {
                let own = trials.figures.iter().find(|t| t.figure == figure.figure);
                if let Some(t) = own.filter(|_| failed.contains(&figure.figure)) {
                    figure.interval = t.interval;
                    figure.by_trials = true;
                }
            }
        }
        Ok(Some(checked))
    }
}
