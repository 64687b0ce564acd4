//! The nested test without a distribution: fan labels exchanged among runs that share mode, intake and block.

use crate::fit::forms::DrawData;
use crate::stats::permutation::{Settings, exchange_labels};

use super::elasticity::{Fan, Question};
use super::evidence::Evidence;

/// Intakes closer than this belong to one set point, K.
const SAME_INTAKE_K: f64 = 2.0;
/// Arrangements up to which all are counted, and random draws beyond: a p value near 0.05 is then good to 0.003.
const EXACT_UP_TO: u64 = 20_000;
const DRAWS: u64 = 5_000;

/// Set point of each run's intake: clusters of the sorted intakes, broken where two neighbours lie apart.
fn set_points(data: &DrawData) -> Vec<usize> {
    let mut order: Vec<usize> = (0..data.rows.len()).collect();
    let intake = |i: usize| data.rows.get(i).map_or(0.0, |r| r.intake);
    order.sort_by(|a, b| intake(*a).total_cmp(&intake(*b)));
    let mut cluster = vec![0; order.len()];
    let mut current = 0;
    let mut last: Option<f64> = None;
    for i in order {
        if last.is_some_and(|l| intake(i) - l > SAME_INTAKE_K) {
            current += 1;
        }
        last = Some(intake(i));
        if let Some(c) = cluster.get_mut(i) {
            *c = current;
        }
    }
    cluster
}

/// The line of evidence; `None` where no labels can change places.
pub(super) fn permutation_test(question: &Question<'_>, seed: u64, level: f64) -> Option<Evidence> {
    let data = question.data;
    let reduced = question.regress(Fan::Absent)?;
    let set_points = set_points(data);
    let rows = reduced.rows();
    let labels: Vec<usize> = rows
        .iter()
        .filter_map(|i| data.rows.get(*i))
        .map(|r| r.level)
        .collect();
    let strata: Vec<usize> = rows
        .iter()
        .filter_map(|i| {
            let r = data.rows.get(*i)?;
            Some(
                (r.mode * data.blocks.len().max(1) + r.block) * data.rows.len()
                    + set_points.get(*i)?,
            )
        })
        .collect();
    let residuals = &reduced.fit.residuals;
    let weights = reduced.weights();
    let count = data.levels.len();
    // Weighted sum of squares between levels of what the model without the fan leaves.
    let statistic = |labels: &[usize]| {
        let mut sum = vec![0.0; count];
        let mut total = vec![0.0; count];
        for ((label, r), w) in labels.iter().zip(residuals).zip(weights) {
            if let (Some(s), Some(t)) = (sum.get_mut(*label), total.get_mut(*label)) {
                *s += w * r;
                *t += w;
            }
        }
        sum.iter()
            .zip(&total)
            .filter(|(_, t)| **t > 0.0)
            .map(|(s, t)| s * s / t)
            .sum()
    };
    let settings = Settings {
        exact_up_to: EXACT_UP_TO,
        draws: DRAWS,
        seed,
    };
    let test = exchange_labels(&labels, &strata, &settings, statistic).ok()?;
    if test.possible < 2.0 {
        return None;
    }
    let how = if test.exact {
        format!("all {} arrangements", test.compared)
    } else {
        format!(
            "{} of the arrangements drawn at random, standard error {:.4}",
            test.compared, test.standard_error
        )
    };
    Some(Evidence {
        name: "permutation",
        says: if test.p < 1.0 - level {
            "fan-matters"
        } else {
            "fan-not-seen"
        },
        detail: format!(
            "Fan labels exchanged among runs that share mode, intake and block ({how}) give so large a fan effect with a chance as stated. No assumption on the scatter's distribution is needed."
        ),
        p_value: Some(test.p),
        value: None,
    })
}
