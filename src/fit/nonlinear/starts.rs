//! Starts from inside bounds.

use super::problem::{Residuals, Settings};
use super::project::Projected;
use super::{NonlinearFit, fit_nonlinear};
use crate::fit::error::FitError;

/// Points tried before any search is made.
const TRIED: u32 = 400;
/// Searches made from the best of them.
const SEARCHED: usize = 8;

/// Searches from several starts spread over a box and keeps the lowest minimum.
///
/// `spread[j]` gives the range over which parameter j is spread: where it is positive and spans more than a decade,
/// evenly in its logarithm. The points are a fixed sequence (J. H. Halton, Numer. Math. 2 (1960) 84), so that the same
/// data give the same answer. A range of one point holds a start that is known.
///
/// # Errors
/// [`FitError`] as [`fit_nonlinear`]; [`FitError::NotComputable`] where the curve has no value at any point.
pub fn search_starts(
    problem: &impl Residuals,
    spread: &[(f64, f64)],
    settings: &Settings,
) -> Result<NonlinearFit, FitError> {
    let p = problem.parameters();
    if spread.len() != p {
        return Err(FitError::DimensionMismatch {
            what: "the ranges of the starts",
            found: spread.len(),
            expected: p,
        });
    }
    if let Some(parameter) = spread
        .iter()
        .position(|(low, high)| !low.is_finite() || !high.is_finite())
    {
        return Err(FitError::BadStart { parameter });
    }
    let bases = primes(p);
    let projected = Projected::new(problem, &settings.linear);
    let mut residuals = vec![0.0; problem.observations()];
    let mut points: Vec<(f64, Vec<f64>)> = Vec::new();
    for index in 1..=TRIED {
        let point: Vec<f64> = spread
            .iter()
            .zip(&bases)
            .map(|(&range, &base)| place(range, radical_inverse(index, base)))
            .collect();
        // Judged with the linear parameters at their best there.
        let best = projected.as_ref().and_then(|p| p.complete(&p.pick(&point)));
        let point = match best {
            Some(best) => best
                .iter()
                .enumerate()
                .map(|(j, v)| v.max(settings.lowest(j)).min(settings.highest(j)))
                .collect(),
            None => point,
        };
        problem.residuals(&point, &mut residuals);
        let rss: f64 = residuals.iter().map(|r| r * r).sum();
        if rss.is_finite() {
            points.push((rss, point));
        }
    }
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut best: Option<NonlinearFit> = None;
    let mut attempts = Vec::new();
    for (_, point) in points.iter().take(SEARCHED) {
        let Ok(fit) = fit_nonlinear(problem, point, settings) else {
            continue;
        };
        attempts.extend(fit.attempts.iter().cloned());
        let better = match &best {
            None => true,
            Some(kept) => {
                (fit.converged() && !kept.converged())
                    || (fit.converged() == kept.converged() && fit.rss < kept.rss)
            }
        };
        if better {
            best = Some(fit);
        }
    }
    let mut best = best.ok_or(FitError::NotComputable { row: 0 })?;
    best.attempts = attempts;
    Ok(best)
}

fn place((low, high): (f64, f64), share: f64) -> f64 {
    if low > 0.0 && high > 10.0 * low {
        low * (high / low).powf(share)
    } else {
        low + (high - low) * share
    }
}

/// The digits of `index` in `base`, mirrored at the point.
fn radical_inverse(mut index: u32, base: u32) -> f64 {
    let (mut value, mut weight) = (0.0, 1.0);
    while index > 0 {
        weight /= f64::from(base);
        value += weight * f64::from(index % base);
        index /= base;
    }
    value
}

fn primes(count: usize) -> Vec<u32> {
    let mut found: Vec<u32> = Vec::with_capacity(count);
    let mut candidate = 2;
    while found.len() < count {
        if found.iter().all(|p| candidate % p != 0) {
            found.push(candidate);
        }
        candidate += 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_positive_range_beyond_a_decade_is_spread_by_its_logarithm() {
        // Halfway from 10 to 1000 by the logarithm: 100; from 0, or within a decade, by the values.
        assert!((place((10.0, 1000.0), 0.5) - 100.0).abs() < 1e-12);
        assert_eq!(place((0.0, 100.0), 0.5), 50.0);
        assert_eq!(place((1.0, 9.0), 0.5), 5.0);
        assert_eq!(place((-2.0, 4.0), 0.25), -0.5);
    }

    #[test]
    fn the_bases_of_the_sequence_are_the_first_primes() {
        assert_eq!(primes(8), [2, 3, 5, 7, 11, 13, 17, 19]);
    }
}
