//! The nested test without a distribution: fan labels exchanged among runs that share mode, intake and block.

use crate::fit::forms::{DrawData, DrawRow};
use crate::stats::permutation::{Settings, exchange_labels};

use super::elasticity::{Fan, Question, Regression};
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

/// A run whose fan label may change places.
struct Run<'a> {
    /// Its place among the data's rows.
    index: usize,
    row: &'a DrawRow,
    /// What the model without the fan leaves of it.
    residual: f64,
    weight: f64,
}

/// The runs by what was read in them, so that neither the order of a table's rows nor a name decides which arrangements are drawn.
fn in_fixed_order<'a>(data: &'a DrawData, reduced: &Regression) -> Vec<Run<'a>> {
    let readings = reduced.fit.residuals.iter().zip(reduced.weights());
    let mut runs: Vec<Run<'a>> = { reduced.rows().iter().zip(readings) }
        .filter_map(|(index, (residual, weight))| {
            Some(Run {
                index: *index,
                row: data.rows.get(*index)?,
                residual: *residual,
                weight: *weight,
            })
        })
        .collect();
    let read = |r: &DrawRow| [r.draw, r.intake, r.ambient, r.moisture];
    runs.sort_by(|a, b| {
        let pairs = read(a.row).into_iter().zip(read(b.row));
        let differ = pairs.map(|(a, b)| a.total_cmp(&b)).find(|o| o.is_ne());
        differ.unwrap_or_else(|| a.row.level.cmp(&b.row.level))
    });
    runs
}

/// The line of evidence; `None` where no labels can change places.
pub(super) fn permutation_test(question: &Question<'_>, seed: u64, level: f64) -> Option<Evidence> {
    let data = question.data;
    let reduced = question.regress(Fan::Absent)?;
    let set_points = set_points(data);
    let runs = in_fixed_order(data, &reduced);
    let labels: Vec<usize> = runs.iter().map(|run| run.row.level).collect();
    let strata: Vec<usize> = { runs.iter() }
        .filter_map(|run| {
            let setting = run.row.mode * data.blocks.len().max(1) + run.row.block;
            Some(setting * data.rows.len() + set_points.get(run.index)?)
        })
        .collect();
    let count = data.levels.len();
    // Weighted sum of squares between levels of what the model without the fan leaves.
    let statistic = |labels: &[usize]| {
        let mut sum = vec![0.0; count];
        let mut total = vec![0.0; count];
        for (label, run) in labels.iter().zip(&runs) {
            if let (Some(s), Some(t)) = (sum.get_mut(*label), total.get_mut(*label)) {
                *s += run.weight * run.residual;
                *t += run.weight;
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

#[cfg(test)]
mod tests {
    use crate::bench::Bench;
    use crate::coupling::{Options, assess};
    use crate::fit::forms::DrawData;

    /// The permutation's chance on a bench whose fan level does nothing, its rows in the order given and its modes named so.
    fn chance(order: impl Fn(usize) -> usize, modes: [&str; 2]) -> f64 {
        const RUNS: usize = 96;
        let mut table =
            "run,mode,fan,block,intake_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        for place in 0..RUNS {
            let i = order(place);
            let (fan, rest) = (i % 3, i / 3);
            let (mode, intake, day) = (rest % 2, rest / 2 % 2, rest / 4 % 2);
            // Scatter by a fixed rule; no two runs alike.
            let scatter = ((i * 37 + 11) % 97) as f64 / 97.0;
            table.push_str(&format!(
                "r{i},{},{fan},day {day},{},{},{:.4}\n",
                modes[mode],
                24 + 6 * intake,
                150 + 40 * fan,
                200.0 + 2.0 * scatter
            ));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let answer = assess(&bench, &DrawData::from_bench(&bench), &Options::default());
        let line = { answer.evidence.iter() }
            .find(|e| e.name == "permutation")
            .unwrap();
        assert!(line.detail.contains("drawn at random"), "{}", line.detail);
        line.p_value.unwrap()
    }

    #[test]
    fn neither_the_order_of_rows_nor_names_move_the_chance() {
        let plain = chance(|i| i, ["calm", "brisk"]);
        // Far from the smallest chance that the draws can give, so that other draws would show.
        assert!((0.05..0.95).contains(&plain), "{plain}");
        assert_eq!(plain, chance(|i| 95 - i, ["calm", "brisk"]));
        // 35 and 96 share no factor, so that every row comes once.
        assert_eq!(plain, chance(|i| i * 35 % 96, ["calm", "brisk"]));
        assert_eq!(plain, chance(|i| i, ["x", "a"]));
    }
}
