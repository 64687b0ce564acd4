//! Why a prediction is what it is: which curves and runs speak in it, what makes its interval wide, which further run would narrow it.
//!
//! * Variance: that of the mixture, by the law of total variance. A candidate's t distribution has scale² · ν/(ν − 2); spreads between
//!   opinions of one candidate belong to the control, those between candidates to the curve forms. The shares add up to 1.
//! * A run's pull: by how many watts the prediction moves if that run's draw had been one watt larger, the candidates' weights held:
//!   Σ wₖ · Cₖ · x₀'(X'WX)⁻¹xᵢ wᵢ / Cᵢ, with C the compressor side (the curves are fitted to its logarithm).
//! * Leaving a run out: coefficients change by (X'WX)⁻¹xᵢ wᵢ eᵢ/(1 − hᵢ), and x₀'(X'WX)⁻¹x₀ grows by wᵢ (x₀'(X'WX)⁻¹xᵢ)²/(1 − hᵢ)
//!   (R. D. Cook and S. Weisberg, *Residuals and Influence in Regression*, 1982, 2.2). Weights of candidates and the scatter are held.
//! * A further run: the best linear update of the mean by one reading, V₀ − c²/(Vₙ + σ²), with the mixture's own covariance c between
//!   prediction and reading (for one candidate this is the usual update of (X'WX)⁻¹ by a row). What a control may do beyond
//!   the tests, and ambient doubt, are learnt about only by a run at the very condition asked for. Errors that instruments share stay.

use crate::bench::{Bench, Point};
use crate::fit::LinearFit;
use crate::fit::candidates::{Candidate, CandidateDraw, DrawFit};
use crate::fit::forms::At;

use super::assumed::AmbientStep;
use super::opinion::{Opinion, leans_on, opinions};

/// What a share of the variance comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ShareOf {
    /// The fitted coefficients.
    Coefficients,
    /// The scatter between runs of a block.
    Scatter,
    /// What differs between blocks (days, battery charges).
    Blocks,
    /// Credible curves that part ways.
    CurveForms,
    /// An instrument's error that all runs share, by the instrument's name.
    Instrument(String),
    /// What a control may do, or a curve bend, where no run was made.
    Control,
    /// Ambient air beyond the tests.
    Ambient,
}

/// A share of the variance.
#[derive(Clone, Debug)]
pub struct Share {
    /// Of what.
    pub of: ShareOf,
    /// Share of the long-run mean's variance.
    pub mean: f64,
    /// Share of a further run's variance.
    pub run: f64,
}

/// A candidate and its say.
#[derive(Clone, Debug)]
pub struct WeighedCandidate {
    /// Its form in words.
    pub form: String,
    /// Its weight among those that say anything about the setting; they sum to one.
    pub weight: f64,
    /// What it predicts by itself, W.
    pub draw_w: f64,
}

/// What one run does to the prediction.
#[derive(Clone, Debug)]
pub struct RunPull {
    /// Index into the bench's points.
    pub point: usize,
    /// By how much the prediction moves for a watt in this run, W/W.
    pub pull: f64,
    /// How far the prediction moves without the run, W.
    pub shift_w: f64,
    /// By what share the mean's standard uncertainty grows without the run.
    pub u_growth: f64,
    /// Weight of the candidates that say nothing about the setting without the run; they are left as they are in the other figures.
    pub silenced: f64,
}

/// What one further run would buy.
#[derive(Clone, Copy, Debug)]
pub struct FurtherRun {
    /// Where.
    pub at: At,
    /// The mean's standard uncertainty after it, W.
    pub u_after_w: f64,
    /// The change of it, W; never above zero.
    pub change_w: f64,
    /// Whether it is the very condition asked for.
    pub asked: bool,
}

/// A prediction explained.
#[derive(Clone, Debug)]
pub struct Explanation {
    /// Expected draw, W.
    pub draw_w: f64,
    /// Standard uncertainty of the long-run mean, W.
    pub mean_u_w: f64,
    /// Standard uncertainty of a further run, W.
    pub run_u_w: f64,
    /// All candidates, by falling weight.
    pub candidates: Vec<WeighedCandidate>,
    /// All runs, the strongest pull first.
    pub runs: Vec<RunPull>,
    /// Where the variance comes from, largest share of a further run's first; parts that are nil in both are left out.
    pub shares: Vec<Share>,
    /// Further runs, those that buy most first.
    pub further: Vec<FurtherRun>,
}

impl Explanation {
    /// The run of a pull.
    pub fn run_of<'b>(&self, bench: &'b Bench, pull: &RunPull) -> Option<&'b Point> {
        bench.points.get(pull.point)
    }
}

/// A leverage this close to 1: the run alone decides a coefficient.
const FULL_LEVERAGE: f64 = 1.0 - 1e-9;
/// A pull (of ln draw on ln draw) under this is rounding.
const NO_PULL: f64 = 1e-9;

/// Explains the prediction at a setting and conditions, with the same assumed ambient step if there is one; `None` where no candidate
/// says anything about the setting.
pub fn explain(
    bench: &Bench,
    fit: &DrawFit,
    at: At,
    assumed: Option<AmbientStep>,
) -> Option<Explanation> {
    let list = opinions(bench, fit, at, assumed.as_ref());
    let moments = Moments::of(&list)?;
    let start = At {
        ambient: assumed.map_or(at.ambient, |s| s.from_c),
        ..at
    };
    let variance = Variance::of(bench, &start, &list, &moments);
    let factor = assumed.map_or(1.0, |s| s.factor());
    let views: Vec<View<'_>> = moments
        .candidates
        .iter()
        .filter_map(|c| View::of(fit, c, &start, factor))
        .collect();
    let candidates = moments
        .candidates
        .iter()
        .filter_map(|c| {
            let candidate = fit.candidates.get(c.index)?;
            Some(WeighedCandidate {
                form: candidate.form.words(&fit.data),
                weight: c.weight,
                draw_w: c.centre_w,
            })
        })
        .collect();
    Some(Explanation {
        draw_w: moments.centre_w,
        mean_u_w: variance.mean().sqrt(),
        run_u_w: variance.run().sqrt(),
        candidates,
        runs: pulls(fit, &list, &views),
        shares: variance.shares(bench),
        further: further(fit, at, &variance, &views, &moments),
    })
}

/// Variance of a t distribution over its squared scale. Fits have three degrees of freedom at least.
fn inflation(dof: f64) -> f64 {
    if dof > 2.0 { dof / (dof - 2.0) } else { 3.0 }
}

/// What one candidate says, its opinions joined.
struct Own {
    index: usize,
    weight: f64,
    centre_w: f64,
}

/// Centres of the mixture and of each candidate.
struct Moments {
    total: f64,
    centre_w: f64,
    candidates: Vec<Own>,
}

impl Moments {
    fn of(list: &[Opinion]) -> Option<Moments> {
        let total: f64 = list.iter().map(|o| o.weight).sum();
        if total <= 0.0 {
            return None;
        }
        let mut candidates: Vec<Own> = Vec::new();
        for o in list {
            let weight = o.weight / total;
            match candidates.last_mut() {
                Some(own) if own.index == o.candidate => {
                    own.centre_w += weight * o.centre_w;
                    own.weight += weight;
                }
                _ => candidates.push(Own {
                    index: o.candidate,
                    weight,
                    centre_w: weight * o.centre_w,
                }),
            }
        }
        candidates.retain(|c| c.weight > 0.0);
        for c in &mut candidates {
            c.centre_w /= c.weight;
        }
        let centre_w = candidates.iter().map(|c| c.weight * c.centre_w).sum();
        Some(Moments {
            total,
            centre_w,
            candidates,
        })
    }
}

/// The mixture's variance in its parts, W².
struct Variance {
    coefficients: f64,
    scatter: f64,
    /// Of the mean, and of a further run's own block.
    blocks: (f64, f64),
    forms: f64,
    instruments: Vec<f64>,
    control: f64,
    ambient: f64,
}

impl Variance {
    fn of(bench: &Bench, start: &At, list: &[Opinion], moments: &Moments) -> Variance {
        let mut v = Variance {
            coefficients: 0.0,
            scatter: 0.0,
            blocks: (0.0, 0.0),
            forms: 0.0,
            instruments: vec![0.0; bench.instruments.len()],
            control: 0.0,
            ambient: 0.0,
        };
        for o in list {
            let p = o.weight / moments.total * inflation(o.dof);
            // The blocks' part grows with the draw as the whole does.
            let of = |part: f64, whole: f64| {
                if whole > 0.0 {
                    (part / whole).powi(2)
                } else {
                    0.0
                }
            };
            let (mean_block, run_block) = (
                of(o.own.block_sd_w.0, o.own.mean_sd_w),
                of(o.own.block_sd_w.1, o.own.run_sd_w),
            );
            v.coefficients += p * o.coefficients_w.powi(2) * (1.0 - mean_block);
            v.scatter += p * o.run_sd_w.powi(2) * (1.0 - run_block);
            v.blocks.0 += p * o.coefficients_w.powi(2) * mean_block;
            v.blocks.1 += p * o.run_sd_w.powi(2) * run_block;
            v.control += p * (o.control_w.powi(2) + o.corner_w.powi(2));
            v.ambient += p * o.ambient_w.powi(2);
            let parts = bench.shared_by_instrument(&leans_on(bench, start, &o.own));
            let sum: f64 = parts.iter().map(|u| u * u).sum();
            for (all, u) in v.instruments.iter_mut().zip(parts) {
                if sum > 0.0 {
                    *all += p * o.shared_w.powi(2) * u * u / sum;
                }
            }
        }
        for c in &moments.candidates {
            v.forms += c.weight * (c.centre_w - moments.centre_w).powi(2);
            let own = list.iter().filter(|o| o.candidate == c.index);
            v.control += own
                .map(|o| o.weight / moments.total * (o.centre_w - c.centre_w).powi(2))
                .sum::<f64>();
        }
        v
    }

    fn shared(&self) -> f64 {
        self.instruments.iter().sum()
    }

    /// Of the long-run mean.
    fn mean(&self) -> f64 {
        self.coefficients + self.blocks.0 + self.forms + self.control + self.ambient + self.shared()
    }

    /// Of a further run.
    fn run(&self) -> f64 {
        self.mean() + self.scatter + self.blocks.1
    }

    fn shares(&self, bench: &Bench) -> Vec<Share> {
        let (mean, run) = (self.mean(), self.run());
        let over = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        let share = |of: ShareOf, part: f64| Share {
            of,
            mean: over(part, mean),
            run: over(part, run),
        };
        let mut list = vec![
            share(ShareOf::Coefficients, self.coefficients),
            Share {
                of: ShareOf::Scatter,
                mean: 0.0,
                run: over(self.scatter, run),
            },
            Share {
                of: ShareOf::Blocks,
                mean: over(self.blocks.0, mean),
                run: over(self.blocks.0 + self.blocks.1, run),
            },
            share(ShareOf::CurveForms, self.forms),
            share(ShareOf::Control, self.control),
            share(ShareOf::Ambient, self.ambient),
        ];
        for (instrument, part) in bench.instruments.iter().zip(&self.instruments) {
            list.push(share(ShareOf::Instrument(instrument.name.clone()), *part));
        }
        list.retain(|s| s.mean > 0.0 || s.run > 0.0);
        list.sort_by(|a, b| b.run.total_cmp(&a.run));
        list
    }
}

/// A candidate as seen from the prediction.
struct View<'a> {
    candidate: &'a Candidate,
    index: usize,
    weight: f64,
    centre_w: f64,
    /// Its compressor side where the prediction is asked for, W.
    compressor_w: f64,
    /// (X'WX)⁻¹ x₀.
    toward: Vec<f64>,
    /// x₀.
    row: Vec<f64>,
}

impl<'a> View<'a> {
    /// `at` is where the candidate speaks; `factor` carries its compressor side to an assumed ambient.
    fn of(fit: &'a DrawFit, own: &Own, at: &At, factor: f64) -> Option<View<'a>> {
        let candidate = fit.candidates.get(own.index)?;
        let row = candidate.form.row(&fit.data, at)?;
        Some(View {
            candidate,
            index: own.index,
            weight: own.weight,
            centre_w: own.centre_w,
            compressor_w: factor * fit.draw_of(candidate, at)?.compressor_w,
            toward: times(&candidate.fit, &row),
            row,
        })
    }

    /// x₀'(X'WX)⁻¹x.
    fn reach(&self, row: &[f64]) -> f64 {
        dot(&self.toward, row)
    }
}

fn times(fit: &LinearFit, row: &[f64]) -> Vec<f64> {
    let columns = fit.cov_unscaled.column_iter();
    columns
        .map(|c| c.iter().zip(row).map(|(a, b)| a * b).sum())
        .collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// What leaving a run out does to one candidate.
#[derive(Clone, Copy, Default)]
struct Without {
    /// Of ln(compressor side).
    shift: f64,
    /// Of x₀'(X'WX)⁻¹x₀.
    growth: f64,
}

fn pulls(fit: &DrawFit, list: &[Opinion], views: &[View<'_>]) -> Vec<RunPull> {
    let mut runs = Vec::with_capacity(fit.data.rows.len());
    let before = mean_moments(list, |o| (o.centre_w, o.mean_sd_w().powi(2)));
    for (i, run) in fit.data.rows.iter().enumerate() {
        let at = fit.data.at(run);
        let compressor_i = run.draw - fit.data.blower_w(run.level);
        let (mut pull, mut silenced) = (0.0, 0.0);
        let mut effects = vec![Without::default(); fit.candidates.len()];
        for view in views {
            let Some(row) = view.candidate.form.row(&fit.data, &at) else {
                continue;
            };
            let own = &view.candidate.fit;
            let (w, reach) = (own.weight(i), view.reach(&row));
            pull += view.weight * view.compressor_w * reach * w / compressor_i;
            let h = own.leverage.get(i).copied().unwrap_or(0.0);
            if h > FULL_LEVERAGE {
                if (reach * w).abs() > NO_PULL {
                    silenced += view.weight;
                }
                continue;
            }
            let e = own.residuals.get(i).copied().unwrap_or(0.0);
            if let Some(effect) = effects.get_mut(view.index) {
                *effect = Without {
                    shift: -reach * w * e / (1.0 - h),
                    growth: w * reach * reach / (1.0 - h),
                };
            }
        }
        let after = mean_moments(list, |o| {
            let effect = effects.get(o.candidate).copied().unwrap_or_default();
            let sd = fit.candidates.get(o.candidate).map_or(0.0, |c| c.within_sd);
            let compressor_w = o.factor * o.own.compressor_w;
            (
                o.centre_w + compressor_w * effect.shift.exp_m1(),
                o.mean_sd_w().powi(2) + (compressor_w * sd).powi(2) * effect.growth,
            )
        });
        runs.push(RunPull {
            point: run.point,
            pull,
            shift_w: after.0 - before.0,
            u_growth: (after.1 / before.1).sqrt() - 1.0,
            silenced,
        });
    }
    runs.sort_by(|a, b| b.pull.abs().total_cmp(&a.pull.abs()));
    runs
}

/// Mean and variance of the mixture of the long-run mean, each opinion given as centre and squared scale.
fn mean_moments(list: &[Opinion], of: impl Fn(&Opinion) -> (f64, f64)) -> (f64, f64) {
    let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
    let base = list.first().map_or(0.0, |o| o.centre_w);
    for o in list {
        let (centre, square) = of(o);
        let c = centre - base;
        total += o.weight;
        first += o.weight * c;
        second += o.weight * (c * c + inflation(o.dof) * square);
    }
    let mean = first / total;
    (base + mean, (second / total - mean * mean).max(0.0))
}

/// Every tested setting at every tested intake, and the condition asked for.
fn further(
    fit: &DrawFit,
    asked: At,
    variance: &Variance,
    views: &[View<'_>],
    moments: &Moments,
) -> Vec<FurtherRun> {
    let data = &fit.data;
    let shared = variance.shared();
    let open = variance.mean() - shared;
    let now = variance.mean().sqrt();
    let bought = |at: At, covariance: f64, spread: f64, scatter: f64, is_asked: bool| {
        let left = (open - covariance * covariance / (spread + scatter)).max(0.0);
        let u_after_w = (left + shared).sqrt().min(now);
        FurtherRun {
            at,
            u_after_w,
            change_w: u_after_w - now,
            asked: is_asked,
        }
    };
    let mut list = vec![bought(asked, open, open, variance.scatter, true)];
    for (mode, levels) in data.tested.iter().enumerate() {
        for (level, runs) in levels.iter().enumerate() {
            if *runs == 0 {
                continue;
            }
            for intake in &data.set_points {
                let at = At::new(mode, level, *intake, data.ambient_ref);
                if let Some((covariance, spread, scatter)) = reading(fit, &at, views, moments) {
                    list.push(bought(at, covariance, spread, scatter, false));
                }
            }
        }
    }
    list.retain(|f| f.change_w.is_finite());
    list.sort_by(|a, b| a.change_w.total_cmp(&b.change_w));
    list
}

/// Covariance of a reading's expectation with the prediction, its variance, and its scatter, W²; none where a candidate is silent there.
fn reading(
    fit: &DrawFit,
    at: &At,
    views: &[View<'_>],
    moments: &Moments,
) -> Option<(f64, f64, f64)> {
    let seen: Vec<(CandidateDraw, Vec<f64>)> = views
        .iter()
        .map(|v| {
            let row = v.candidate.form.row(&fit.data, at)?;
            Some((fit.draw_of(v.candidate, at)?, row))
        })
        .collect::<Option<_>>()?;
    let mean_there: f64 = views
        .iter()
        .zip(&seen)
        .map(|(v, (d, _))| v.weight * d.draw_w)
        .sum();
    let (mut covariance, mut spread, mut scatter) = (0.0, 0.0, 0.0);
    for (v, (d, row)) in views.iter().zip(&seen) {
        let t = inflation(d.dof);
        let sd = v.candidate.within_sd;
        let blocks = { v.candidate.blocks.as_ref() }.map_or(0.0, |b| b.shared(&v.row, row));
        let common = sd * sd * v.reach(row) + fit.block_variance * blocks;
        covariance += v.weight
            * (t * common * v.compressor_w * d.compressor_w
                + (v.centre_w - moments.centre_w) * (d.draw_w - mean_there));
        spread += v.weight * (t * d.mean_sd_w.powi(2) + (d.draw_w - mean_there).powi(2));
        scatter += v.weight * t * d.run_sd_w.powi(2);
    }
    Some((covariance, spread, scatter))
}

#[cfg(test)]
mod tests;
