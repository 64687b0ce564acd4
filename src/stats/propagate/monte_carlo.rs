//! Propagation of distributions by random trials (JCGM 101:2008, clause 7).

use rayon::prelude::*;

use super::Draw;
use super::distribution::Sampler;
use crate::stats::StatsError;
use crate::stats::error::{at_least, open_unit};
use crate::stats::random;
use crate::stats::summary::{self, Centred};

/// Trials that share a stream; fixed, so that results do not depend on the number of threads.
const BLOCK: usize = 10_000;

/// The values of one output over all trials.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    sorted: Vec<f64>,
    mean: f64,
    sd: f64,
}

impl Sample {
    /// Sorts and describes.
    fn new(mut values: Vec<f64>) -> Self {
        let centred = Centred::of(&values);
        let sd = (centred.squares / (values.len() as f64 - 1.0)).sqrt();
        values.sort_unstable_by(f64::total_cmp);
        Self {
            mean: centred.mean(),
            sd,
            sorted: values,
        }
    }

    /// The values in ascending order.
    pub fn sorted(&self) -> &[f64] {
        &self.sorted
    }

    /// Mean: the estimate of the output.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Standard deviation: its standard uncertainty.
    pub fn sd(&self) -> f64 {
        self.sd
    }

    /// Coverage interval with the same probability on either side (7.7.2). NaN ends for a level outside [0, 1].
    pub fn symmetric(&self, level: f64) -> (f64, f64) {
        let tail = 0.5 * (1.0 - level);
        (
            summary::quantile_of_sorted(&self.sorted, tail),
            summary::quantile_of_sorted(&self.sorted, 1.0 - tail),
        )
    }

    /// Shortest coverage interval (7.7.3). NaN ends for a level outside (0, 1).
    pub fn shortest(&self, level: f64) -> (f64, f64) {
        if !(level > 0.0 && level < 1.0) {
            return (f64::NAN, f64::NAN);
        }
        let inside =
            ((level * self.sorted.len() as f64).round() as usize).clamp(1, self.sorted.len() - 1);
        let mut best = (f64::NAN, f64::NAN);
        for (low, high) in self.sorted.iter().zip(&self.sorted[inside..]) {
            if best.0.is_nan() || high - low < best.1 - best.0 {
                best = (*low, *high);
            }
        }
        best
    }
}

/// Runs `trials` random trials of a model with K outputs; one [`Sample`] for each output.
///
/// # Errors
///
/// [`StatsError`] for senseless inputs, fewer than two trials, or a trial in which the model gives a number that is not
/// finite: then the inputs reach where the model does not hold.
///
/// ```
/// use steadydraw::stats::propagate::{Distribution, Draw, monte_carlo};
/// let x = Draw::One(Distribution::Rectangular { low: 0.0, high: 1.0 });
/// let sample = &monte_carlo(|x| [x[0] + x[1]], &[x.clone(), x], 100_000, 1)?[0];
/// assert!((sample.mean() - 1.0).abs() < 0.01);
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn monte_carlo<const K: usize>(
    model: impl Fn(&[f64]) -> [f64; K] + Sync,
    inputs: &[Draw],
    trials: usize,
    seed: u64,
) -> Result<Vec<Sample>, StatsError> {
    at_least("outputs", 1, K)?;
    at_least("trials", 2, trials)?;
    let sampler = Sampler::new(inputs)?;
    let blocks: Vec<Vec<[f64; K]>> = (0..trials.div_ceil(BLOCK))
        .into_par_iter()
        .map(|number| {
            block(
                &model,
                &sampler,
                seed,
                number as u64,
                BLOCK.min(trials - number * BLOCK),
            )
        })
        .collect();
    let values: Vec<[f64; K]> = blocks.concat();
    (0..K)
        .map(|k| column(&values, k).map(Sample::new))
        .collect()
}

/// The trials of one stream.
fn block<const K: usize>(
    model: &(impl Fn(&[f64]) -> [f64; K] + Sync),
    sampler: &Sampler,
    seed: u64,
    number: u64,
    trials: usize,
) -> Vec<[f64; K]> {
    let mut rng = random::stream(seed, number);
    let mut trial = Vec::with_capacity(sampler.width);
    (0..trials)
        .map(|_| {
            sampler.fill(&mut rng, &mut trial);
            model(&trial)
        })
        .collect()
}

/// One output of many trials.
fn column<const K: usize>(values: &[[f64; K]], k: usize) -> Result<Vec<f64>, StatsError> {
    let column: Vec<f64> = values.iter().map(|outputs| outputs[k]).collect();
    crate::stats::error::all_finite("model output over the trials", &column)?;
    Ok(column)
}

/// When to stop running trials.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adaptive {
    /// Significant digits of the standard uncertainty that must be stable: 1 or 2.
    pub digits: u32,
    /// Probability of the coverage interval whose ends must be stable too.
    pub level: f64,
    /// Trials at most.
    pub limit: usize,
    /// Seed.
    pub seed: u64,
}

/// Runs trials in blocks of 10,000 until mean, standard deviation and the ends of the symmetric coverage interval of
/// every output are stable to the digits asked for (7.9), or the limit is reached; `true` when they are.
///
/// # Errors
///
/// As [`monte_carlo`], and for digits other than 1 to 4, a level outside (0, 1) or a limit below two blocks.
pub fn monte_carlo_to_digits<const K: usize>(
    model: impl Fn(&[f64]) -> [f64; K] + Sync,
    inputs: &[Draw],
    settings: &Adaptive,
) -> Result<(Vec<Sample>, bool), StatsError> {
    at_least("outputs", 1, K)?;
    open_unit("level", settings.level)?;
    at_least("trials", 2 * BLOCK, settings.limit)?;
    if !(1..=4).contains(&settings.digits) {
        let (value, expected) = (f64::from(settings.digits), "from 1 to 4");
        return Err(StatsError::OutOfRange {
            what: "significant digits",
            value,
            expected,
        });
    }
    // Several blocks at a time keep all threads busy; the blocks, not the batches, decide when to stop.
    const BATCH: usize = 8;
    let sampler = Sampler::new(inputs)?;
    let mut values: Vec<[f64; K]> = Vec::new();
    let mut figures: Vec<Vec<[f64; 4]>> = vec![Vec::new(); K];
    let most = settings.limit / BLOCK;
    let mut done = 0;
    let mut stable = false;
    while done < most && !stable {
        let numbers = done..most.min(done + BATCH);
        let batch: Vec<Vec<[f64; K]>> = numbers
            .into_par_iter()
            .map(|number| block(&model, &sampler, settings.seed, number as u64, BLOCK))
            .collect();
        for block in batch {
            for (k, figures) in figures.iter_mut().enumerate() {
                let sample = Sample::new(column(&block, k)?);
                let (low, high) = sample.symmetric(settings.level);
                figures.push([sample.mean, sample.sd, low, high]);
            }
            values.extend(block);
            done += 1;
            stable = done >= 2 && figures.iter().all(|f| settled(f, settings.digits));
            if stable {
                break;
            }
        }
    }
    let samples = (0..K)
        .map(|k| column(&values, k).map(Sample::new))
        .collect::<Result<_, _>>()?;
    Ok((samples, stable))
}

/// Whether twice the standard error of each figure over the blocks is below the numerical tolerance, half a unit of the
/// last significant digit of the standard deviation (7.9.2, 7.9.4).
fn settled(figures: &[[f64; 4]], digits: u32) -> bool {
    let of = |which: usize| figures.iter().map(|f| f[which]).collect::<Vec<f64>>();
    let sd = summary::mean(&of(1));
    if sd == 0.0 {
        return true;
    }
    let exponent = sd.log10().floor() - f64::from(digits - 1);
    let tolerance = 0.5 * 10.0_f64.powf(exponent);
    (0..4).all(|which| 2.0 * summary::standard_error(&of(which)) < tolerance)
}

#[cfg(test)]
mod tests {
    use super::super::Distribution;
    use super::*;

    fn normal(mean: f64, sd: f64) -> Draw {
        Draw::One(Distribution::Normal { mean, sd })
    }

    #[test]
    fn the_same_bits_on_any_number_of_threads() {
        let inputs = [
            normal(1.0, 0.1),
            Draw::One(Distribution::Rectangular {
                low: 0.0,
                high: 1.0,
            }),
        ];
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| monte_carlo(|x| [x[0] * x[1]], &inputs, 35_000, 4).unwrap())
        };
        assert_eq!(on(1), on(3));
    }

    #[test]
    fn stops_when_the_digits_are_stable() {
        let settings = Adaptive {
            digits: 2,
            level: 0.95,
            limit: 4_000_000,
            seed: 1,
        };
        let inputs = [normal(0.0, 1.0), normal(5.0, 2.0)];
        let (samples, stable) =
            monte_carlo_to_digits(|x| [x[0] + x[1]], &inputs, &settings).unwrap();
        assert!(stable);
        // Tolerance 0.05 for u = 2.2; twice the standard error is below it for every figure.
        assert!((samples[0].sd() - 5.0_f64.sqrt()).abs() < 0.05);
        assert!((samples[0].mean() - 5.0).abs() < 0.05);
        let few = Adaptive {
            digits: 4,
            limit: 20_000,
            ..settings
        };
        assert!(!monte_carlo_to_digits(|x| [x[0]], &inputs, &few).unwrap().1);
    }

    #[test]
    fn a_model_that_breaks_down_is_an_error() {
        let failed = monte_carlo(|x| [x[0].sqrt()], &[normal(0.1, 1.0)], 1_000, 1);
        assert!(matches!(failed, Err(StatsError::NotFinite { .. })));
        assert!(monte_carlo(|x| [x[0]], &[normal(0.1, 1.0)], 1, 1).is_err());
        let bad = Adaptive {
            digits: 0,
            level: 0.95,
            limit: 100_000,
            seed: 1,
        };
        assert!(monte_carlo_to_digits(|x| [x[0]], &[normal(0.0, 1.0)], &bad).is_err());
    }

    #[test]
    fn intervals_of_a_known_list() {
        let sample = Sample::new((0..=100).map(f64::from).collect());
        let (low, high) = sample.symmetric(0.9);
        assert!((low - 5.0).abs() < 1e-12 && (high - 95.0).abs() < 1e-12);
        // 7.7.3: q = ½·101 rounded, 51 steps wide; all are as short, so the first is taken.
        assert_eq!(sample.shortest(0.5), (0.0, 51.0));
        // With a gap at the low end the shortest interval avoids it.
        let gap = Sample::new(
            (0..=100)
                .map(|i| if i < 10 { -50.0 } else { f64::from(i) })
                .collect(),
        );
        assert_eq!(gap.shortest(0.8), (10.0, 91.0));
        assert!(sample.shortest(1.0).0.is_nan());
    }

    #[test]
    fn two_blocks_are_needed_and_enough() {
        let settings = Adaptive {
            digits: 2,
            level: 0.95,
            limit: 50_000,
            seed: 1,
        };
        let (samples, stable) =
            monte_carlo_to_digits(|_| [3.0], &[normal(0.0, 1.0)], &settings).unwrap();
        assert_eq!((samples[0].sorted().len(), stable), (2 * BLOCK, true));
        let short = Adaptive {
            limit: BLOCK,
            ..settings
        };
        assert!(monte_carlo_to_digits(|_| [3.0], &[normal(0.0, 1.0)], &short).is_err());
    }

    #[test]
    fn the_shortest_interval_of_nearly_everything_is_the_whole_sample() {
        let sample = Sample::new((0..=100).map(f64::from).collect());
        assert_eq!(sample.shortest(0.999), (0.0, 100.0));
        assert!(sample.shortest(0.0).0.is_nan());
    }

    #[test]
    fn a_sample_s_standard_deviation_has_the_divisor_n_less_one() {
        // Mean 2.5, squares 5, over 3.
        let sample = Sample::new(vec![4.0, 1.0, 3.0, 2.0]);
        assert!((sample.sd() - (5.0_f64 / 3.0).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn as_many_trials_are_run_as_were_asked_for() {
        for trials in [2, 10_000, 25_000] {
            let found = monte_carlo(|x| [x[0]], &[normal(0.0, 1.0)], trials, 3).unwrap();
            assert_eq!(found[0].sorted().len(), trials);
        }
    }

    #[test]
    fn stable_digits_need_room_for_two_blocks() {
        let with = |limit| {
            let settings = Adaptive {
                digits: 1,
                level: 0.95,
                limit,
                seed: 1,
            };
            monte_carlo_to_digits(|x| [x[0]], &[normal(0.0, 1.0)], &settings).is_ok()
        };
        assert!(with(20_000) && !with(19_999));
    }
}
