//! Every tested setting at exactly the same conditions, so that settings can be compared; and each run's own draw moved there.

use crate::bench::{Bench, Channel};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, DrawRow};

use super::mixture::{Component, mean, quantile};
use super::opinion::{Opinion, leans_on, opinions};
use super::{CapacityPrediction, Prediction, predict, predict_capacity};

/// A tested setting at the common conditions.
#[derive(Clone, Debug)]
pub struct AdjustedSetting {
    /// Its draw.
    pub draw: Prediction,
    /// Its capacity, where the bench has one.
    pub capacity: Option<CapacityPrediction>,
    /// Capacity over draw, where the bench has a capacity.
    pub eer: Option<Eer>,
    /// Its runs.
    pub runs: Vec<AdjustedRun>,
}

/// Capacity over draw with its interval, W/W.
#[derive(Clone, Copy, Debug)]
pub struct Eer {
    /// Capacity over draw.
    pub value: f64,
    /// Interval for the long-run mean: the two intervals' relative half-widths in quadrature, each side by itself (a quotient's
    /// uncertainty, JCGM 100:2008, 5.1.6; what the two share, a thermometer's share of the draw, is small and left out).
    pub mean: (f64, f64),
}

impl Eer {
    /// Of a draw and a capacity; `None` where the draw is zero.
    pub fn of(draw: &Prediction, capacity: &CapacityPrediction) -> Option<Eer> {
        let (c, p) = (capacity.capacity_w, draw.draw_w);
        let value = c / p;
        let low = (1.0 - capacity.mean_w.0 / c).hypot(draw.mean_w.1 / p - 1.0);
        let high = (capacity.mean_w.1 / c - 1.0).hypot(1.0 - draw.mean_w.0 / p);
        let mean = ((value * (1.0 - low)).max(0.0), value * (1.0 + high));
        (value.is_finite() && mean.0.is_finite() && mean.1.is_finite())
            .then_some(Eer { value, mean })
    }
}

/// A run's draw moved to the common conditions by the weighted candidates; how far it lies off the curve is kept.
#[derive(Clone, Copy, Debug)]
pub struct AdjustedRun {
    /// Index into the bench's points.
    pub point: usize,
    /// As measured, W.
    pub measured_w: f64,
    /// At the common conditions, W.
    pub adjusted_w: f64,
}

/// How much more one setting draws than another at the same conditions.
#[derive(Clone, Copy, Debug)]
pub struct Difference {
    /// W.
    pub value_w: f64,
    /// Interval for the long-run mean, W.
    pub mean_w: (f64, f64),
}

/// All tested settings at an intake and an ambient, degC. `capacity` is a fit of [`crate::fit::forms::CapacityData`].
pub fn adjusted(
    bench: &Bench,
    fit: &DrawFit,
    capacity: Option<&DrawFit>,
    (intake_c, ambient_c): (f64, f64),
    level: f64,
) -> Vec<AdjustedSetting> {
    let data = &fit.data;
    let mut list = Vec::new();
    for (mode, levels) in data.tested.iter().enumerate() {
        for (fan, _) in levels.iter().enumerate().filter(|(_, n)| **n > 0) {
            let at = At::new(mode, fan, intake_c, ambient_c);
            let Some(draw) = predict(bench, fit, at, level) else {
                continue;
            };
            let capacity = capacity.and_then(|f| predict_capacity(bench, f, at, level));
            list.push(AdjustedSetting {
                eer: capacity.as_ref().and_then(|c| Eer::of(&draw, c)),
                draw,
                capacity,
                runs: data
                    .rows
                    .iter()
                    .filter(|r| (r.mode, r.level) == (mode, fan))
                    .filter_map(|r| moved(fit, r, &at))
                    .collect(),
            });
        }
    }
    list
}

/// On the logarithmic scale of the compressor side each candidate's residual stays what it is.
fn moved(fit: &DrawFit, run: &DrawRow, to: &At) -> Option<AdjustedRun> {
    let blower_w = fit.data.blower_w(run.level);
    let from = fit.data.at(run);
    let (mut sum, mut total) = (0.0, 0.0);
    for candidate in &fit.candidates {
        let (Some(there), Some(here)) = (fit.draw_of(candidate, to), fit.draw_of(candidate, &from))
        else {
            continue;
        };
        sum += candidate.weight * (run.draw - blower_w) * there.compressor_w / here.compressor_w;
        total += candidate.weight;
    }
    let adjusted_w = blower_w + sum / total;
    adjusted_w.is_finite().then_some(AdjustedRun {
        point: run.point,
        measured_w: run.draw,
        adjusted_w,
    })
}

/// How much more each of the settings draws than the one that draws least, and where that one stands; `None` without settings.
pub fn differences(
    bench: &Bench,
    fit: &DrawFit,
    settings: &[AdjustedSetting],
    level: f64,
) -> Option<(At, Vec<(At, Difference)>)> {
    let least = settings
        .iter()
        .min_by(|a, b| a.draw.draw_w.total_cmp(&b.draw.draw_w))?
        .draw
        .at;
    let more = |s: &AdjustedSetting| {
        let at = s.draw.at;
        (at != least)
            .then(|| difference(bench, fit, at, least, level).map(|d| (at, d)))
            .flatten()
    };
    Some((least, settings.iter().filter_map(more).collect()))
}

/// How much more `a` draws than `b`, the two at the same conditions, at a confidence level.
///
/// Both are read off the same candidate, and the candidates are joined by weight. An instrument's error that all runs share moves both
/// and cancels as far as it moves both alike; the coefficients' covariance is used whole; what a control may do unseen is taken as each
/// setting's own. `None` where no candidate says anything about both.
pub fn difference(bench: &Bench, fit: &DrawFit, a: At, b: At, level: f64) -> Option<Difference> {
    let of_a = opinions(bench, fit, a, None);
    let of_b = opinions(bench, fit, b, None);
    let mut parts = Vec::new();
    for (i, candidate) in fit.candidates.iter().enumerate() {
        let (Some(one), Some(other)) = (Joined::of(&of_a, i), Joined::of(&of_b, i)) else {
            continue;
        };
        let row = |at: &At| candidate.form.row(&fit.data, at);
        let (Some(x), Some(y)) = (row(&a), row(&b)) else {
            continue;
        };
        let taken_as_same = x == y;
        let (a_w, b_w) = (one.any.own.compressor_w, other.any.own.compressor_w);
        let x: Vec<f64> = { x.iter().zip(&y) }
            .map(|(x, y)| x * a_w - y * b_w)
            .collect();
        let coefficients =
            candidate.relative_sd * candidate.fit.mean_variance_factor(&x).max(0.0).sqrt();
        let mut leans = leans_on(bench, &a, &one.any.own);
        leans.extend(
            leans_on(bench, &b, &other.any.own)
                .into_iter()
                .map(|(c, reading, slope): (Channel, f64, f64)| (c, reading, -slope)),
        );
        let shared = bench.combined_u(&leans).shared;
        let centre = one.centre_w - other.centre_w;
        // A curve that takes both for the same leaves only what it takes for known, such as the outlets' readings in its lift: no
        // difference can be claimed from that.
        let given = if taken_as_same { centre } else { 0.0 };
        let scale = coefficients
            .hypot(given)
            .hypot(shared)
            .hypot(one.own_w)
            .hypot(other.own_w);
        parts.push(Component {
            weight: candidate.weight,
            centre,
            scale: scale.max(1e-9 * (one.centre_w.abs() + other.centre_w.abs())),
            dof: one.any.dof,
        });
    }
    let tail = (1.0 - level) / 2.0;
    Some(Difference {
        value_w: mean(&parts)?,
        mean_w: (quantile(&parts, tail)?, quantile(&parts, 1.0 - tail)?),
    })
}

/// One candidate's opinions joined.
struct Joined<'a> {
    any: &'a Opinion,
    centre_w: f64,
    /// Doubt that a setting has for itself: control, hidden corners, ambient beyond the tests.
    own_w: f64,
}

impl<'a> Joined<'a> {
    fn of(list: &'a [Opinion], candidate: usize) -> Option<Joined<'a>> {
        let mine = || list.iter().filter(|o| o.candidate == candidate);
        let any = mine().next()?;
        let total: f64 = mine().map(|o| o.weight).sum();
        let centre_w = mine().map(|o| o.weight * o.centre_w).sum::<f64>() / total;
        let square = |o: &Opinion| {
            o.control_w.powi(2)
                + o.corner_w.powi(2)
                + o.ambient_w.powi(2)
                + (o.centre_w - centre_w).powi(2)
        };
        let own = mine().map(|o| o.weight * square(o)).sum::<f64>() / total;
        centre_w.is_finite().then_some(Joined {
            any,
            centre_w,
            own_w: own.sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::candidates::fit_draw;
    use crate::fit::forms::DrawData;
    use crate::made::bench::{Options, make};
    use crate::made::kind::Kind;
    use crate::stats::student_t;

    fn fitted() -> (Bench, DrawFit) {
        let made = make(Kind::Independent, 5, &Options::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv).unwrap();
        let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        (bench, fit)
    }

    #[test]
    fn a_quotients_interval_by_hand() {
        let (bench, fit) = fitted();
        let row = &fit.data.rows[0];
        let mut draw = predict(&bench, &fit, fit.data.at(row), 0.95).unwrap();
        (draw.draw_w, draw.mean_w) = (200.0, (190.0, 212.0));
        let capacity = CapacityPrediction {
            capacity_w: 600.0,
            mean_w: (570.0, 648.0),
        };
        // 600/200 = 3. Down: 5 % of the capacity and 6 % of the draw, √61 = 7.810250 %; up: 8 % and 5 %, √89 = 9.433981 %.
        let eer = Eer::of(&draw, &capacity).unwrap();
        assert_eq!(eer.value, 3.0);
        assert!((eer.mean.0 - 2.765693).abs() < 1e-6 && (eer.mean.1 - 3.283019).abs() < 1e-6);
        draw.draw_w = 0.0;
        assert!(Eer::of(&draw, &capacity).is_none());
    }

    #[test]
    fn a_run_is_moved_by_the_ratio_of_its_candidates_compressor_sides() {
        let (_, fit) = fitted();
        for run in &fit.data.rows {
            let here = fit.data.at(run);
            let there = At::new(run.mode, run.level, run.intake - 3.0, run.ambient + 4.0);
            // To where it was made it stays what it is.
            let stays = moved(&fit, run, &here).unwrap();
            assert!((stays.adjusted_w - run.draw).abs() < 1e-9);
            assert_eq!((stays.point, stays.measured_w), (run.point, run.draw));
            let blower = fit.data.blower_w(run.level);
            let (mut sum, mut total) = (0.0, 0.0);
            for c in &fit.candidates {
                let side = |at: &At| fit.draw_of(c, at).map(|d| d.draw_w - blower);
                let (Some(a), Some(b)) = (side(&there), side(&here)) else {
                    continue;
                };
                sum += c.weight * a / b;
                total += c.weight;
            }
            let ours = moved(&fit, run, &there).unwrap().adjusted_w - blower;
            assert!((ours / (run.draw - blower) - sum / total).abs() < 1e-9);
        }
    }

    #[test]
    fn a_difference_has_the_error_that_its_coefficients_give_it() {
        let (mut bench, mut fit) = fitted();
        bench.instruments.clear();
        fit.candidates.truncate(1);
        let data = &fit.data;
        let (first, last) = (
            data.set_points[0],
            data.set_points[data.set_points.len() - 1],
        );
        let a = At::new(0, data.rows[0].level, first, data.ambient_ref);
        let b = At { intake: last, ..a };
        let d = difference(&bench, &fit, a, b, 0.9).unwrap();
        let whole = fit.draw_of(&fit.candidates[0], &a).unwrap();
        let minus = |fit: &DrawFit| {
            let of = |at: &At| fit.draw_of(&fit.candidates[0], at).unwrap().draw_w;
            of(&a) - of(&b)
        };
        assert!((d.value_w - minus(&fit)).abs() < 1e-9);
        // The gradient by central differences, through the coefficients' covariance.
        let slopes: Vec<f64> = (0..fit.candidates[0].fit.coef.len())
            .map(|k| {
                let h = 1e-5;
                let mut moved = fit.clone();
                moved.candidates[0].fit.coef[k] += h;
                let up = minus(&moved);
                moved.candidates[0].fit.coef[k] -= 2.0 * h;
                (up - minus(&moved)) / (2.0 * h)
            })
            .collect();
        let c = &fit.candidates[0];
        let u = c.relative_sd * c.fit.mean_variance_factor(&slopes).sqrt();
        let half = student_t::two_sided(0.9, whole.dof) * u;
        assert!(half > 0.0);
        assert!(
            (d.mean_w.0 - (d.value_w - half)).abs() < 1e-4 * half,
            "{d:?} {half}"
        );
        assert!((d.mean_w.1 - (d.value_w + half)).abs() < 1e-4 * half);
        // The other way about it is the same, turned.
        let back = difference(&bench, &fit, b, a, 0.9).unwrap();
        assert!((back.value_w + d.value_w).abs() < 1e-9);
        assert!(
            (back.mean_w.0 + d.mean_w.1).abs() < 1e-6 && (back.mean_w.1 + d.mean_w.0).abs() < 1e-6
        );
    }
}
