//! Fitting every form of a family and weighing them against each other.
//!
//! Weights follow AICc (Hurvich and Tsai 1989; Burnham and Anderson 2002, ch. 2): exp(−Δ/2), normalised.
//! AICc is that of the draw itself: forms with proportional and with additive scatter, with or without the blower
//! taken off, stand on one scale because the change of variable is undone (see [`Candidate::aicc`]).

use rayon::prelude::*;

use super::corners::corners;
use super::forms::{
    At, DrawData, DrawForm, HeldSlope, IntakeForm, Scatter, control_family, family,
    held_slopes_tried,
};
use super::{BlocksSeen, FitError, LinearFit, least_squares};
use crate::stats::student_t;
use nalgebra::DMatrix;

/// A form fitted to the cooling runs.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The form.
    pub form: DrawForm,
    /// Its least-squares fit: response ln(draw − blower) − offset, weights as the scatter asks.
    pub fit: LinearFit,
    /// n ln(RSS/n) + 2k + 2k(k+1)/(n−k−1), k counting the variance; RSS is of relative residuals of the draw.
    pub aicc: f64,
    /// Logarithm of the odds given to the form before any run is seen.
    pub log_prior: f64,
    /// Root mean square error of each run predicted without it, W.
    pub loo_rmse_w: f64,
    /// Share of belief among the candidates kept; they sum to one.
    pub weight: f64,
    /// Standard deviation between runs relative to the draw (or to the geometric mean draw, for additive scatter).
    pub relative_sd: f64,
    /// The same within blocks: without what [`DrawFit::block_variance`] adds to the residuals.
    pub within_sd: f64,
    /// What its residuals say of the blocks.
    pub blocks: Option<BlocksSeen>,
}

/// The candidates that the data leave credible, best first.
#[derive(Clone, Debug)]
pub struct DrawFit {
    /// What was fitted.
    pub data: DrawData,
    /// Candidates kept, by falling weight. Never empty.
    pub candidates: Vec<Candidate>,
    /// How many forms were tried.
    pub tried: usize,
    /// Geometric mean draw, W: the scale of additive scatter.
    pub typical_draw_w: f64,
    /// Expected variance of what a block (a day, a battery charge) does to ln of the compressor side; zero where nothing tells.
    pub block_variance: f64,
}

/// Candidates this far behind the best in AICc are dropped: their weight is under e^-6 of its.
const KEPT_WITHIN_AICC: f64 = 12.0;
/// The most candidates kept.
const MOST_KEPT: usize = 80;
/// Under this relative residual variance runs are identical to rounding, and ln(RSS) would run away.
const SMALLEST_RELATIVE_VARIANCE: f64 = 1e-10;
/// Degrees of freedom that a form must leave: fewer, and its interval is a guess.
const FEWEST_DOF: usize = 3;

/// Chance that runs without fault are named as standing apart, over all runs of a bench together.
const APART_ALARM: f64 = 0.01;
/// The most runs named as standing apart; at most a tenth of all: where more do, it is the curve that does not fit.
const MOST_APART: usize = 12;

/// Log odds of a form that bends as Carnot work does against the same form straight, before any run is seen:
/// e to one, since the bend is physics and two or three intake temperatures hardly show it.
const LIFT_LOG_PRIOR: f64 = 1.0;

/// Log odds of a control that steps between set points against one that follows the intake smoothly, or not at all, before any run is
/// seen; shared among the places of the steps. Common practice, no source: small units with a variable speed ramp it; stepping by intake is the rarer design.
const TERRACED_LOG_PRIOR: f64 = -1.0;
/// The same of a control whose ramp has a corner within the tested range, shared evenly among the places where it may lie, on either side. No source: a
/// little less than even odds.
const CORNER_LOG_PRIOR: f64 = -0.5;
/// A bend at the very middle set point is believed as much as a ramp's corner within this of it on either side, K: nothing in a unit knows of
/// the test plan, so a corner there is chance, and the runs at a set point wander by about as much (common practice, no source).
const KINK_WITHIN_K: f64 = 0.5;
/// A control's step speeds the compressor up with a warmer intake, by something worth a relay: under the first figure (of ln draw) no step
/// is seen, and a step down beyond the second is no control's doing.
const SMALLEST_STEP: f64 = 0.04;
const FALLING_STEP: f64 = -0.03;
/// A slope of ln(draw) with intake, 1/K, that a fixed speed could have (published up to +0.7 % per K): no control is seen below it.
const SMALLEST_RAMP: f64 = 0.007;

/// Slopes of ln(draw) with intake that a held speed may have, 1/K: published -0.02 to +0.7 % per K of entering wet bulb
/// (NREL/TP-5500-56354) and down to -1.5 % per K of Carnot work at held ambient, a little wider for what a fit leaves in doubt. Steeper ones
/// are a step or a ramp in disguise.
const HELD_SLOPES: (f64, f64) = (-0.016, 0.012);

/// What the log odds of a control with this slope of its held speed lose to those with another: where others are tried, half the belief is
/// in the assumed slope and the rest shared among those that are fitted. No source: even odds.
fn held_slope_doubt(form: &DrawForm, data: &DrawData) -> f64 {
    let control = form.intake.is_control();
    let fitted = held_slopes_tried(data, form.group_count()).len() - 1;
    match form.held {
        _ if !control || fitted == 0 => 0.0,
        HeldSlope::Assumed => 2f64.ln(),
        HeldSlope::Common | HeldSlope::ByGroup | HeldSlope::ByFlow => (2.0 * fitted as f64).ln(),
    }
}

/// Log odds of a ramp whose corner lies within a stretch of this length, K, the speed held on one given side of it.
fn corner_log_prior(data: &DrawData, span_k: f64) -> f64 {
    let (low, high) = data.whole_intake_range();
    CORNER_LOG_PRIOR + (0.5 * span_k / (high - low)).ln()
}

impl Candidate {
    /// Whether the form's steps or ramp with intake, if it has any, look like a control's.
    fn control_is_plausible(&self, data: &DrawData) -> bool {
        let control = self.form.control(data, &self.fit.coef);
        let (least, most) = HELD_SLOPES;
        let held = self.form.held_slopes(data, &self.fit.coef);
        if held.iter().any(|s| !(least..=most).contains(s)) {
            return false;
        }
        match self.form.intake {
            IntakeForm::Terraced(_) => {
                let any = control.iter().any(|s| *s > SMALLEST_STEP);
                any && control.iter().all(|s| *s > FALLING_STEP)
            }
            IntakeForm::Ramp(_) | IntakeForm::RampByGroup(_) => {
                control.iter().all(|s| *s > SMALLEST_RAMP)
            }
            _ => true,
        }
    }

    /// The steepest slope of ln(compressor side) with intake at either end of the tested range, over the tested settings, 1/K.
    fn steepest_slope(&self, data: &DrawData) -> f64 {
        let (low, high) = data.whole_intake_range();
        let tested = data.tested.iter().enumerate().flat_map(|(mode, runs)| {
            let levels = runs.iter().enumerate().filter(|(_, n)| **n > 0);
            levels.map(move |(level, _)| (mode, level))
        });
        tested
            .flat_map(|(mode, level)| {
                [low, high].map(|t| At::new(mode, level, t, data.ambient_ref))
            })
            .filter_map(|at| self.form.slopes(data, &at, &self.fit.coef))
            .map(|(with_intake, _)| with_intake)
            .fold(0.0, f64::max)
    }

    /// AICc less twice the log prior: what the weights are made from.
    pub fn score(&self) -> f64 {
        self.aicc - 2.0 * self.log_prior
    }
}

/// Why no curve could be fitted to the draw.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawFitError {
    /// Too few cooling runs.
    #[error(
        "{found} cooling run{}; a curve with an interval needs at least {needed}. Add runs, best as repeats on another day",
        if *found == 1 { "" } else { "s" }
    )]
    TooFewRuns {
        /// Cooling runs in the bench.
        found: usize,
        /// The least that any form needs.
        needed: usize,
    },
    /// Every form failed; the simplest one's reason.
    #[error("no form could be fitted: {0}")]
    Nothing(FitError),
}

/// Fits the whole family and weighs it.
///
/// # Errors
/// [`DrawFitError`] where fewer than four cooling runs are there, or no form can be fitted.
pub fn fit_draw(data: DrawData) -> Result<DrawFit, DrawFitError> {
    let needed = FEWEST_DOF + 1;
    if data.rows.len() < needed {
        return Err(DrawFitError::TooFewRuns {
            found: data.rows.len(),
            needed,
        });
    }
    let forms = family(&data);
    let mut tried = forms.len();
    let typical_draw_w = geometric_mean_draw(&data);
    let (mut candidates, mut first_error) = fit_all(&data, forms, typical_draw_w);
    let best = { candidates.iter() }
        .map(Candidate::score)
        .fold(f64::INFINITY, f64::min);
    // A capacity rises steeply with a warm intake at any speed, so its slope shows no control.
    let steep = data.response == "draw" && { candidates.iter() }
        .filter(|c| c.score() - best <= KEPT_WITHIN_AICC)
        .any(|c| c.steepest_slope(&data) > SMALLEST_RAMP);
    if steep {
        let scout = { candidates.iter() }.min_by(|a, b| a.score().total_cmp(&b.score()));
        let corners = scout.map_or_else(Vec::new, |c| corners(&data, &c.form, typical_draw_w));
        let forms = control_family(&data, &corners);
        tried += forms.len();
        let (more, error) = fit_all(&data, forms, typical_draw_w);
        candidates.extend(more);
        first_error = first_error.or(error);
    }
    candidates.sort_by(|a: &Candidate, b| a.score().total_cmp(&b.score()));
    let Some(best) = candidates.first().map(Candidate::score) else {
        return Err(match first_error {
            Some(e) => DrawFitError::Nothing(e),
            None => DrawFitError::TooFewRuns {
                found: data.rows.len(),
                needed: data.rows.len() + 1,
            },
        });
    };
    candidates.retain(|c| c.score() - best <= KEPT_WITHIN_AICC);
    candidates.truncate(MOST_KEPT);
    let total: f64 = candidates
        .iter()
        .map(|c| (-(c.score() - best) / 2.0).exp())
        .sum();
    for c in &mut candidates {
        c.weight = (-(c.score() - best) / 2.0).exp() / total;
    }
    let block_variance = take_blocks_apart(&data, &mut candidates);
    Ok(DrawFit {
        data,
        candidates,
        tried,
        typical_draw_w,
        block_variance,
    })
}

/// Tells the scatter within blocks from that between them; gives the variance between.
fn take_blocks_apart(data: &DrawData, candidates: &mut [Candidate]) -> f64 {
    let named: Vec<Option<usize>> = { data.rows.iter() }
        .map(|r| {
            data.blocks
                .get(r.block)
                .is_some_and(|b| !b.is_empty())
                .then_some(r.block)
        })
        .collect();
    let (mut sum, mut total) = (0.0, 0.0);
    for c in candidates.iter_mut() {
        c.blocks = BlocksSeen::of(&c.fit, &named);
        if let Some(seen) = &c.blocks {
            sum += c.weight * seen.variance();
            total += c.weight;
        }
    }
    let variance = if total > 0.0 { sum / total } else { 0.0 };
    for c in candidates {
        if let Some(seen) = &c.blocks {
            c.within_sd = seen
                .within_sd(&c.fit, variance)
                .max(SMALLEST_RELATIVE_VARIANCE.sqrt());
        }
    }
    variance
}

/// Fits forms; gives those that look right, and the first reason why one could not be fitted.
fn fit_all(
    data: &DrawData,
    forms: Vec<DrawForm>,
    typical_draw_w: f64,
) -> (Vec<Candidate>, Option<FitError>) {
    // Not all at once: a fit holds several numbers a run, and of many thousands of runs hundreds of fits would fill the memory.
    const AT_ONCE: usize = 48;
    let mut first_error = None;
    let mut candidates: Vec<Candidate> = Vec::new();
    for some in forms.chunks(AT_ONCE) {
        let fitted: Vec<Result<Candidate, FitError>> = some
            .to_vec()
            .into_par_iter()
            .map(|form| fit_form(data, form, typical_draw_w))
            .collect();
        for result in fitted {
            match result {
                Ok(c) if c.aicc.is_finite() && c.control_is_plausible(data) => candidates.push(c),
                Ok(_) => {}
                Err(e) => {
                    first_error.get_or_insert(e);
                }
            }
        }
        // What is too far behind the best so far is too far behind the best of all.
        let best = { candidates.iter() }
            .map(Candidate::score)
            .fold(f64::INFINITY, f64::min);
        candidates.retain(|c| c.score() - best <= KEPT_WITHIN_AICC);
    }
    (candidates, first_error)
}

fn geometric_mean_draw(data: &DrawData) -> f64 {
    (data.rows.iter().map(|r| r.draw.ln()).sum::<f64>() / data.rows.len() as f64).exp()
}

/// Fits one form.
///
/// # Errors
/// [`FitError`] where the runs cannot carry it.
pub fn fit_form(
    data: &DrawData,
    form: DrawForm,
    typical_draw_w: f64,
) -> Result<Candidate, FitError> {
    let n = data.rows.len();
    let mut x: Option<DMatrix<f64>> = None;
    let mut y = Vec::with_capacity(n);
    let mut weights = Vec::with_capacity(n);
    for (i, run) in data.rows.iter().enumerate() {
        let at = data.at(run);
        let (Some(row), Some(offset)) = (form.row(data, &at), form.offset(data, &at)) else {
            return Err(FitError::TooFewRows { n: i, p: n });
        };
        let p = row.len();
        if n < p + FEWEST_DOF {
            return Err(FitError::TooFewRows { n, p });
        }
        let m = x.get_or_insert_with(|| DMatrix::zeros(n, p));
        for (j, v) in row.iter().enumerate() {
            m[(i, j)] = *v;
        }
        let compressor = run.draw - data.blower_w(run.level);
        y.push(compressor.ln() - offset);
        let scale = match form.scatter {
            Scatter::Proportional => run.draw,
            Scatter::Additive => typical_draw_w,
        };
        weights.push((compressor / scale).powi(2));
    }
    let Some(x) = x else {
        return Err(FitError::TooFewRows { n: 0, p: 1 });
    };
    let fit = least_squares(&x, &y, Some(&weights))?;
    let nf = n as f64;
    let k = (fit.p + 1) as f64;
    let variance = (fit.rss / nf).max(SMALLEST_RELATIVE_VARIANCE);
    let spare = nf - k - 1.0;
    let aicc = if spare > 0.0 {
        nf * variance.ln() + 2.0 * k + 2.0 * k * (k + 1.0) / spare
    } else {
        f64::INFINITY
    };
    let loo = fit.loo_residuals();
    let loo_rmse_w = (data
        .rows
        .iter()
        .zip(&loo)
        .map(|(run, e)| ((run.draw - data.blower_w(run.level)) * e).powi(2))
        .sum::<f64>()
        / nf)
        .sqrt();
    let log_prior = match form.intake {
        IntakeForm::Terraced(_) => {
            let gaps = data.intake_gaps().len();
            TERRACED_LOG_PRIOR - ((gaps + usize::from(gaps > 1)) as f64).ln()
        }
        IntakeForm::Ramp(corner) | IntakeForm::RampByGroup(corner) => {
            corner_log_prior(data, corner.span_k())
        }
        IntakeForm::Kinked | IntakeForm::KinkedByGroup => {
            corner_log_prior(data, 2.0 * KINK_WITHIN_K)
        }
        _ if form.lift => LIFT_LOG_PRIOR,
        _ => 0.0,
    } - held_slope_doubt(&form, data);
    let dof = fit.dof().max(1) as f64;
    let relative_sd = (fit.rss / dof).max(SMALLEST_RELATIVE_VARIANCE).sqrt();
    Ok(Candidate {
        form,
        fit,
        aicc,
        log_prior,
        loo_rmse_w,
        weight: 0.0,
        relative_sd,
        within_sd: relative_sd,
        blocks: None,
    })
}

/// What a candidate says of the draw at a setting and conditions.
#[derive(Clone, Copy, Debug)]
pub struct CandidateDraw {
    /// Expected draw, W.
    pub draw_w: f64,
    /// The compressor side of it, W (all of it where the blower is not known).
    pub compressor_w: f64,
    /// Standard uncertainty of the expected draw from the fitted coefficients, W.
    pub mean_sd_w: f64,
    /// Standard deviation of a further run about it, in a block of its own, W.
    pub run_sd_w: f64,
    /// What blocks add to the one and to the other (in quadrature, and held in them), W.
    pub block_sd_w: (f64, f64),
    /// Degrees of freedom behind both.
    pub dof: f64,
    /// Change of the draw with intake there, W/K.
    pub intake_slope_w_per_k: f64,
    /// Change of the draw with ambient there, W/K.
    pub ambient_slope_w_per_k: f64,
}

/// A fitted coefficient with its interval by Student's t.
#[derive(Clone, Debug)]
pub struct Term {
    /// What it is, in words.
    pub name: String,
    /// Estimate.
    pub value: f64,
    /// Standard error; none without degrees of freedom.
    pub std_error: Option<f64>,
    /// Lower end of the interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Unit on the logarithmic scale.
    pub unit: &'static str,
}

impl DrawFit {
    /// The coefficients of a candidate with intervals at a confidence level.
    pub fn terms(&self, candidate: &Candidate, level: f64) -> Vec<Term> {
        let errors = candidate.fit.std_errors();
        let factor = student_t::two_sided(level, candidate.fit.dof() as f64);
        candidate
            .form
            .names(&self.data)
            .into_iter()
            .zip(candidate.form.units(&self.data))
            .zip(&candidate.fit.coef)
            .enumerate()
            .map(|(i, ((name, unit), value))| {
                let std_error = errors.as_ref().and_then(|e| e.get(i).copied());
                let half = std_error.map(|e| e * factor).filter(|h| h.is_finite());
                Term {
                    name,
                    value: *value,
                    std_error,
                    low: half.map(|h| value - h),
                    high: half.map(|h| value + h),
                    unit,
                }
            })
            .collect()
    }

    /// The candidate with the most weight.
    pub fn best(&self) -> &Candidate {
        &self.candidates[0]
    }

    /// The runs that stand apart from the most credible curve, in the order of the table: index of the point, and by how many times the scatter
    /// of a further run it draws more (or less, negative).
    pub fn runs_apart(&self) -> Vec<(usize, f64)> {
        let fit = &self.best().fit;
        let most = (fit.n / 10).clamp(1, MOST_APART);
        let mut apart = fit.rows_apart(most, APART_ALARM);
        apart.sort_unstable_by_key(|(row, _)| *row);
        let point = |row: usize| self.data.rows.get(row).map(|r| r.point);
        { apart.into_iter() }
            .filter_map(|(row, t)| Some((point(row)?, t)))
            .collect()
    }

    /// Standard deviation of what blocks (days, battery charges) do to the draw beyond the scatter of runs, relative to the compressor
    /// side; `None` where no candidate's runs tell.
    pub fn block_sd(&self) -> Option<f64> {
        let told = self.candidates.iter().any(|c| c.blocks.is_some());
        told.then(|| self.block_variance.sqrt())
    }

    /// What one candidate says; `None` where it says nothing about the setting.
    pub fn draw_of(&self, candidate: &Candidate, at: &At) -> Option<CandidateDraw> {
        let row = candidate.form.row(&self.data, at)?;
        let offset = candidate.form.offset(&self.data, at)?;
        let compressor_w = (candidate.fit.predict(&row) + offset).exp();
        let draw_w = compressor_w + self.data.blower_w(at.level);
        let factor = candidate.fit.mean_variance_factor(&row);
        let own_sd_w = match candidate.form.scatter {
            Scatter::Proportional => candidate.within_sd * draw_w,
            Scatter::Additive => candidate.within_sd * self.typical_draw_w,
        };
        let block_sd = compressor_w * self.block_variance.sqrt();
        let pull = candidate.blocks.as_ref().map_or(0.0, |b| b.pull(&row));
        let block_sd_w = (block_sd * pull, block_sd);
        let run_sd_w = own_sd_w.hypot(block_sd_w.1);
        let slope = candidate.form.slopes(&self.data, at, &candidate.fit.coef)?;
        let all_finite = compressor_w.is_finite() && factor.is_finite() && run_sd_w.is_finite();
        all_finite.then_some(CandidateDraw {
            draw_w,
            compressor_w,
            mean_sd_w: (compressor_w * candidate.within_sd * factor.max(0.0).sqrt())
                .hypot(block_sd_w.0),
            run_sd_w,
            block_sd_w,
            dof: candidate.fit.dof().max(1) as f64,
            intake_slope_w_per_k: compressor_w * slope.0,
            ambient_slope_w_per_k: compressor_w * slope.1,
        })
    }
}

#[cfg(test)]
mod tests;
