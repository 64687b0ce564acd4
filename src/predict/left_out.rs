//! How well runs are predicted from the others: leaving out each run, each test condition, each block.
//!
//! The forms are those that all runs leave credible; without a group of runs each form's coefficients and its AICc weight are found
//! again. For single runs that is done in closed form from the hat matrix (`LinearFit::leave_out`, R. D. Cook and S. Weisberg, *Residuals
//! and Influence in Regression*, 1982, 2.2). For conditions and blocks each form is fitted anew, so that the tested range, beyond which a
//! bend goes on straight, is that of the runs left. A fan level's airflow, the blower's draw and the temperature lift stay those of all runs.

use crate::bench::Bench;
use crate::fit::candidates::{Candidate, DrawFit, fit_form};
use crate::fit::forms::DrawData;

/// What is left out together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum LeftOut {
    /// One run.
    Run,
    /// All runs at one setting whose intake and ambient are the same to within a band (see [`BAND_K`]).
    Condition,
    /// All runs of a block, such as a test day.
    Block,
}

impl LeftOut {
    /// All, in the order of results.
    pub const ALL: [LeftOut; 3] = [LeftOut::Run, LeftOut::Condition, LeftOut::Block];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            LeftOut::Run => "run",
            LeftOut::Condition => "condition",
            LeftOut::Block => "block",
        }
    }
}

/// Temperatures within one band count as one test condition where they run on without a gap, K. Common practice, no source: it is
/// wider than readings at one condition of a published test range (2.0 °F = 1.1 K, ASHRAE 37-2009, table 2; ±0.5 K, ISO 5151:2017;
/// both from memory) and narrower than the steps between such conditions (`tests/published_conditions.rs`).
pub const BAND_K: f64 = 2.0;

/// How far predictions of left-out runs miss, relative to the measured value.
#[derive(Clone, Debug)]
pub struct Miss {
    /// What was left out.
    pub left_out: LeftOut,
    /// How many groups.
    pub groups: usize,
    /// How many runs were predicted.
    pub runs: usize,
    /// Runs that the others could not predict.
    pub silent: usize,
    /// Root mean square of predicted over measured, less one.
    pub rms: f64,
    /// Mean of the same: above zero where predictions are too high.
    pub bias: f64,
    /// The miss that lies furthest from zero.
    pub largest: f64,
    /// The run that it belongs to, as an index into the bench's points.
    pub largest_point: usize,
}

/// Leaves out every group of a kind in turn; `None` where there are fewer than two groups, or nothing can be predicted.
pub fn leave_out(bench: &Bench, fit: &DrawFit, left_out: LeftOut) -> Option<Miss> {
    let groups = groups(bench, &fit.data, left_out);
    if groups.len() < 2 {
        return None;
    }
    let mut misses = Vec::with_capacity(fit.data.rows.len());
    let mut silent = 0;
    for group in &groups {
        let values = match left_out {
            LeftOut::Run => predicted(fit, group),
            LeftOut::Condition | LeftOut::Block => refitted(fit, group),
        };
        match values {
            Some(values) => {
                for (&row, value) in group.iter().zip(values) {
                    if let Some(run) = fit.data.rows.get(row) {
                        misses.push((value / run.draw - 1.0, run.point));
                    }
                }
            }
            None => silent += group.len(),
        }
    }
    let n = misses.len() as f64;
    let far = |m: &&(f64, usize)| m.0.abs();
    let (largest, largest_point) = *misses.iter().max_by(|a, b| far(a).total_cmp(&far(b)))?;
    let rms = (misses.iter().map(|m| m.0 * m.0).sum::<f64>() / n).sqrt();
    let bias = misses.iter().map(|m| m.0).sum::<f64>() / n;
    (rms.is_finite() && bias.is_finite()).then_some(Miss {
        left_out,
        groups: groups.len(),
        runs: misses.len(),
        silent,
        rms,
        bias,
        largest,
        largest_point,
    })
}

/// The runs of each group, as indices into the fit's rows.
fn groups(bench: &Bench, data: &DrawData, left_out: LeftOut) -> Vec<Vec<usize>> {
    let intake = bands(data.rows.iter().map(|r| r.intake).collect());
    let ambient = bands(data.rows.iter().map(|r| r.ambient).collect());
    let mut list: Vec<([usize; 4], Vec<usize>)> = Vec::new();
    for (i, run) in data.rows.iter().enumerate() {
        let named = bench
            .points
            .get(run.point)
            .is_some_and(|p| p.block.as_deref().is_some_and(|b| !b.is_empty()));
        let key = match left_out {
            LeftOut::Run => [i, 0, 0, 0],
            LeftOut::Condition => [
                run.mode,
                run.level,
                intake.get(i).copied().unwrap_or(0),
                ambient.get(i).copied().unwrap_or(0),
            ],
            // Runs without a block belong to none, so they stay.
            LeftOut::Block if !named => continue,
            LeftOut::Block => [run.block, 0, 0, 0],
        };
        match list.iter_mut().find(|g| g.0 == key) {
            Some((_, runs)) => runs.push(i),
            None => list.push((key, vec![i])),
        }
    }
    list.into_iter().map(|g| g.1).collect()
}

/// The band of each value. Clusters part where two neighbours lie more than a band apart; a cluster wider than two bands is cut
/// into even ones of about a band.
fn bands(values: Vec<f64>) -> Vec<usize> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut of = vec![0; values.len()];
    let mut next = 0;
    let mut start = 0;
    for end in 1..=order.len() {
        let apart = end == order.len() || values[order[end]] - values[order[end - 1]] > BAND_K;
        if !apart {
            continue;
        }
        let cluster = &order[start..end];
        let low = values[cluster[0]];
        let width = values[cluster[cluster.len() - 1]] - low;
        let cuts = if width > 2.0 * BAND_K {
            (width / BAND_K).round() as usize
        } else {
            1
        };
        for i in cluster {
            let along = if width > 0.0 {
                (values[*i] - low) / width
            } else {
                0.0
            };
            of[*i] = next + ((along * cuts as f64) as usize).min(cuts - 1);
        }
        next += cuts;
        start = end;
    }
    of
}

/// What the other runs say of a group's draws, W; `None` where no candidate can say anything without the group.
fn predicted(fit: &DrawFit, group: &[usize]) -> Option<Vec<f64>> {
    let mut told: Vec<(f64, Vec<f64>)> = Vec::new();
    for candidate in &fit.candidates {
        let Some(errors) = candidate.fit.leave_out(group) else {
            continue;
        };
        let Some(score) = score_without(candidate, group, &errors) else {
            continue;
        };
        told.push((score, errors));
    }
    let best = told.iter().map(|t| t.0).fold(f64::INFINITY, f64::min);
    let mut sums = vec![0.0; group.len()];
    let mut total = 0.0;
    for (score, errors) in &told {
        let weight = (-(score - best) / 2.0).exp();
        total += weight;
        for ((sum, &row), e) in sums.iter_mut().zip(group).zip(errors) {
            let run = fit.data.rows.get(row)?;
            let blower_w = fit.data.blower_w(run.level);
            *sum += weight * (blower_w + (run.draw - blower_w) * (-e).exp());
        }
    }
    if total <= 0.0 {
        return None;
    }
    sums.iter_mut().for_each(|s| *s /= total);
    sums.iter().all(|s| s.is_finite()).then_some(sums)
}

/// The same by new fits to the other runs.
fn refitted(fit: &DrawFit, group: &[usize]) -> Option<Vec<f64>> {
    let forms = fit.candidates.iter().map(|c| c.form.clone());
    let less = DrawFit {
        data: fit.data.without(group),
        candidates: Vec::new(),
        tried: fit.tried,
        typical_draw_w: fit.typical_draw_w,
        block_variance: fit.block_variance,
    };
    let again: Vec<Candidate> = forms
        .filter_map(|form| fit_form(&less.data, form, fit.typical_draw_w).ok())
        .filter(|c| c.score().is_finite())
        .collect();
    let best = { again.iter() }
        .map(Candidate::score)
        .fold(f64::INFINITY, f64::min);
    let mut sums = vec![0.0; group.len()];
    let mut total = 0.0;
    for candidate in &again {
        let says = |row: &usize| {
            let at = fit.data.at(fit.data.rows.get(*row)?);
            Some(less.draw_of(candidate, &at)?.draw_w)
        };
        // A form that is silent on one run of the group is silent on all, so that every run has the same say.
        let Some(draws) = group.iter().map(says).collect::<Option<Vec<f64>>>() else {
            continue;
        };
        let weight = (-(candidate.score() - best) / 2.0).exp();
        total += weight;
        sums.iter_mut()
            .zip(draws)
            .for_each(|(sum, draw)| *sum += weight * draw);
    }
    if total <= 0.0 {
        return None;
    }
    sums.iter_mut().for_each(|s| *s /= total);
    sums.iter().all(|s| s.is_finite()).then_some(sums)
}

/// AICc less twice the log prior of a candidate without a group of runs: its sum of squares falls by Σ wᵢ eᵢ e₍ᵢ₎.
fn score_without(candidate: &Candidate, group: &[usize], errors: &[f64]) -> Option<f64> {
    let fit = &candidate.fit;
    let fall: f64 = group
        .iter()
        .zip(errors)
        .map(|(&row, e)| fit.weight(row) * fit.residuals.get(row).copied().unwrap_or(0.0) * e)
        .sum();
    let n = fit.n as f64 - group.len() as f64;
    let k = fit.p as f64 + 1.0;
    let spare = n - k - 1.0;
    if spare <= 0.0 {
        return None;
    }
    // As small as the fits themselves allow a variance to be.
    let variance = ((fit.rss - fall).max(0.0) / n).max(1e-10);
    let aicc = n * variance.ln() + 2.0 * k + 2.0 * k * (k + 1.0) / spare;
    let score = aicc - 2.0 * candidate.log_prior;
    score.is_finite().then_some(score)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_part_at_gaps_and_cut_what_runs_on() {
        assert_eq!(bands(vec![22.0, 32.1, 22.4, 27.0]), [0, 2, 0, 1]);
        let sweep: Vec<f64> = (0..=100).map(|i| 20.0 + 0.1 * f64::from(i)).collect();
        let of = bands(sweep);
        assert_eq!(of.iter().max(), Some(&4));
        assert!(of.is_sorted());
        assert_eq!(bands(Vec::new()), Vec::<usize>::new());
    }

    #[test]
    fn what_the_other_runs_say_is_what_a_fit_to_them_says() {
        use crate::fit::candidates::fit_draw;
        let mut table = String::from(
            "run,kind,fan,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n",
        );
        for k in 0..18 {
            let (fan, step) = (k % 3, k / 3 % 3);
            let (intake, ambient) = (22.0 + 4.0 * f64::from(step), 30.0 + f64::from(k * 7 % 5));
            let off = 1.0 + 0.02 * f64::from(k * k).sin();
            let draw = 180.0
                * (0.012 * intake + 0.02 * ambient).exp()
                * off
                * (1.0 + 0.03 * f64::from(fan));
            table.push_str(&format!(
                "r{k},cooling,{fan},{intake},{ambient},{},{draw:.4}\n",
                150 + 80 * fan
            ));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let mut fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        assert!(fit.candidates.len() > 1 && fit.candidates.iter().all(|c| c.blocks.is_none()));
        let c = &fit.candidates[0];
        let less = fit.data.without(&[1]);
        let again = fit_form(&less, c.form.clone(), fit.typical_draw_w).unwrap();
        let errors = c.fit.leave_out(&[1]).unwrap();
        let score = score_without(c, &[1], &errors).unwrap();
        assert!(
            (score - again.score()).abs() < 1e-6,
            "{score} {}",
            again.score()
        );

        let miss = leave_out(&bench, &fit, LeftOut::Run).unwrap();
        let misses: Vec<f64> = (0..fit.data.rows.len())
            .map(|k| predicted(&fit, &[k]).unwrap()[0] / fit.data.rows[k].draw - 1.0)
            .collect();
        let n = misses.len() as f64;
        let rms = (misses.iter().map(|m| m.powi(2)).sum::<f64>() / n).sqrt();
        assert!((miss.rms - rms).abs() < 1e-12);
        assert!((miss.bias - misses.iter().sum::<f64>() / n).abs() < 1e-12);
        let far = misses.iter().map(|m| m.abs()).fold(0.0, f64::max);
        assert_eq!((miss.largest.abs(), miss.silent), (far, 0));
        // Two candidates, a run each: the same by new fits.
        fit.candidates.truncate(2);
        for k in [0, 3] {
            let (ours, anew) = (
                predicted(&fit, &[k]).unwrap(),
                refitted(&fit, &[k]).unwrap(),
            );
            assert!((ours[0] / anew[0] - 1.0).abs() < 1e-6, "{ours:?} {anew:?}");
        }
    }
}
