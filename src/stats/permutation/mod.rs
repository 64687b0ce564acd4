//! Permutation tests: exact when the arrangements are few, seeded random draws otherwise.
//!
//! A small p-value says that the observed arrangement of labels gives a larger statistic than almost every arrangement
//! that would have been as likely if the labels meant nothing. Labels change places only within strata, so whatever
//! the strata stand for (a day, a condition) stays as it was.

mod arrange;

use rand_chacha::rand_core::Rng;
use rayon::prelude::*;

use super::StatsError;
use super::error::at_least;
use super::random::{self, Stream};
use arrange::{Hand, Stratum, advance};

/// Arrangements handled by one piece of work; fixed, so that results do not depend on the number of threads.
const CHUNK: u64 = 512;

/// How far to go. Every statistic is kept until the end: 8 bytes each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// Enumerate every arrangement when there are at most this many.
    pub exact_up_to: u64,
    /// Otherwise draw this many at random.
    pub draws: u64,
    /// Seed of the draws.
    pub seed: u64,
}

impl Default for Settings {
    /// Exact up to 200,000 arrangements, else 20,000 draws (standard error of a p-value near 0.05: 0.0015), seed 1.
    fn default() -> Self {
        Self {
            exact_up_to: 200_000,
            draws: 20_000,
            seed: 1,
        }
    }
}

/// Outcome of a permutation test. Large statistics are the surprising ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Permutation {
    /// The statistic of the data as they are.
    pub observed: f64,
    /// Whether every arrangement was counted.
    pub exact: bool,
    /// Arrangements compared with the observed one: all of them (itself included) or the draws.
    pub compared: u64,
    /// How many arrangements exist; infinite when beyond the range of a double.
    pub possible: f64,
    /// How many of the compared had a larger statistic.
    pub greater: u64,
    /// How many had the same statistic (within rounding).
    pub equal: u64,
    /// P(statistic ≥ observed). Of random draws: (count + 1)/(draws + 1), so that it is never zero and the test keeps its
    /// level (Phipson & Smyth 2010, Statistical Applications in Genetics and Molecular Biology 9, article 39).
    pub p: f64,
    /// Standard error of `p` from drawing at random; zero when exact.
    pub standard_error: f64,
}

impl Permutation {
    /// Counts the statistics of the arrangements compared.
    fn count(
        observed: f64,
        statistics: &[f64],
        exact: bool,
        possible: f64,
    ) -> Result<Self, StatsError> {
        if let Some(index) = statistics.iter().position(|s| s.is_nan()) {
            return Err(StatsError::NotFinite {
                what: "permuted statistics",
                index,
                value: f64::NAN,
            });
        }
        // The same statistic summed in another order differs by rounding; the median sets the scale near zero.
        let mut magnitudes: Vec<f64> = statistics.iter().map(|s| s.abs()).collect();
        let middle = magnitudes.len() / 2;
        let (_, typical, _) = magnitudes.select_nth_unstable_by(middle, f64::total_cmp);
        let slack = (1e-10 * observed.abs()).max(1e-12 * typical.min(f64::MAX));
        let greater = statistics.iter().filter(|s| **s > observed + slack).count() as u64;
        let equal = statistics
            .iter()
            .filter(|s| (**s - observed).abs() <= slack || **s == observed)
            .count() as u64;
        let compared = statistics.len() as u64;
        let (p, standard_error) = if exact {
            ((greater + equal) as f64 / compared as f64, 0.0)
        } else {
            let p = (greater + equal + 1) as f64 / (compared + 1) as f64;
            (p, (p * (1.0 - p) / (compared + 1) as f64).sqrt())
        };
        Ok(Self {
            observed,
            exact,
            compared,
            possible,
            greater,
            equal,
            p,
            standard_error,
        })
    }

    /// The p-value with ties counted half: less cautious than `p`, even on average.
    pub fn mid_p(&self) -> f64 {
        self.p - 0.5 * self.equal as f64 / self.compared as f64
    }
}

/// Tests `labels` against the data held by `statistic`, exchanging labels only among places with the same stratum.
///
/// `labels` and `strata` have one entry for each place (run, reading); any numbers serve. `statistic` gets the labels in
/// a new arrangement, same length, and answers with a number that is large when the labels matter. Arrangements that
/// differ only among equal labels are one. With all labels different this permutes the places themselves.
///
/// # Errors
///
/// [`StatsError`] for no labels, lists of different lengths, no draws, or a statistic that is NaN.
///
/// ```
/// use steadydraw::stats::permutation::{Settings, exchange_labels};
/// // Two levels in two blocks; labels change places within a block only.
/// let y = [1.0, 2.0, 11.0, 13.0];
/// let gap = |labels: &[usize]| {
///     let signed = |(y, l): (&f64, &usize)| if *l == 1 { *y } else { -y };
///     y.iter().zip(labels).map(signed).sum::<f64>()
/// };
/// let found = exchange_labels(&[0, 1, 0, 1], &[0, 0, 1, 1], &Settings::default(), gap)?;
/// assert!(found.exact);
/// assert_eq!((found.compared, found.p), (4, 0.25));
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn exchange_labels(
    labels: &[usize],
    strata: &[usize],
    settings: &Settings,
    statistic: impl Fn(&[usize]) -> f64 + Sync,
) -> Result<Permutation, StatsError> {
    at_least("labels", 1, labels.len())?;
    if labels.len() != strata.len() {
        return Err(StatsError::Unequal {
            what: "labels and strata",
            left: labels.len(),
            right: strata.len(),
        });
    }
    let observed = checked(statistic(labels))?;
    let groups = Stratum::split(labels, strata);
    let possible: f64 = groups.iter().map(|g| g.arrangements).product();
    if possible <= settings.exact_up_to as f64 {
        let total = possible as u64;
        let statistics = by_chunks(total, |from, to| {
            let mut arranged = labels.to_vec();
            let mut current = Stratum::at_rank(&groups, from);
            let mut found = Vec::with_capacity((to - from) as usize);
            for _ in from..to {
                for (group, order) in groups.iter().zip(&current) {
                    group.place(order, &mut arranged);
                }
                found.push(statistic(&arranged));
                advance(&mut current);
            }
            found
        });
        return Permutation::count(observed, &statistics, true, possible);
    }
    let statistics = drawn(settings, |rng, found, count| {
        let mut arranged = labels.to_vec();
        let mut hands: Vec<Hand> = groups.iter().map(Hand::new).collect();
        for _ in 0..count {
            hands.iter_mut().for_each(|h| h.deal(rng, &mut arranged));
            found.push(statistic(&arranged));
        }
    })?;
    Permutation::count(observed, &statistics, false, possible)
}

/// Tests whether differences scatter about zero by turning their signs, all 2ⁿ ways or at random.
///
/// `statistic` gets the differences with some signs turned and answers with a number that is large when they lean.
///
/// # Errors
///
/// [`StatsError`] for no differences, one that is not finite, no draws, or a statistic that is NaN.
pub fn turn_signs(
    differences: &[f64],
    settings: &Settings,
    statistic: impl Fn(&[f64]) -> f64 + Sync,
) -> Result<Permutation, StatsError> {
    at_least("differences", 1, differences.len())?;
    super::error::all_finite("differences", differences)?;
    let observed = checked(statistic(differences))?;
    let possible = 2.0_f64.powi(differences.len().min(2_000) as i32);
    if possible <= settings.exact_up_to as f64 {
        let statistics = by_chunks(possible as u64, |from, to| {
            let mut turned = differences.to_vec();
            (from..to)
                .map(|pattern| {
                    for (i, (out, value)) in turned.iter_mut().zip(differences).enumerate() {
                        *out = if pattern >> i & 1 == 1 {
                            -value
                        } else {
                            *value
                        };
                    }
                    statistic(&turned)
                })
                .collect()
        });
        return Permutation::count(observed, &statistics, true, possible);
    }
    let statistics = drawn(settings, |rng, found, count| {
        let mut turned = differences.to_vec();
        for _ in 0..count {
            for (out, values) in turned.chunks_mut(64).zip(differences.chunks(64)) {
                let bits = rng.next_u64();
                for (i, (out, value)) in out.iter_mut().zip(values).enumerate() {
                    *out = if bits >> i & 1 == 1 { -value } else { *value };
                }
            }
            found.push(statistic(&turned));
        }
    })?;
    Permutation::count(observed, &statistics, false, possible)
}

/// Which way a paired difference must lean to count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lean {
    /// Above zero.
    Above,
    /// Below zero.
    Below,
    /// Either way.
    Either,
}

/// Paired test on the sum of the differences ([`turn_signs`]).
///
/// # Errors
///
/// As [`turn_signs`].
pub fn paired(
    differences: &[f64],
    lean: Lean,
    settings: &Settings,
) -> Result<Permutation, StatsError> {
    turn_signs(differences, settings, |turned| {
        let sum: f64 = turned.iter().sum();
        match lean {
            Lean::Above => sum,
            Lean::Below => -sum,
            Lean::Either => sum.abs(),
        }
    })
}

/// Refuses an observed statistic that is not finite.
fn checked(observed: f64) -> Result<f64, StatsError> {
    super::error::all_finite("the observed statistic", &[observed])?;
    Ok(observed)
}

/// Runs `work(from, to)` over fixed pieces of 0 … total and joins the answers in order.
fn by_chunks(total: u64, work: impl Fn(u64, u64) -> Vec<f64> + Sync) -> Vec<f64> {
    let pieces: Vec<Vec<f64>> = (0..total.div_ceil(CHUNK))
        .into_par_iter()
        .map(|piece| work(piece * CHUNK, total.min((piece + 1) * CHUNK)))
        .collect();
    pieces.concat()
}

/// Runs the random draws, one stream for each fixed piece.
fn drawn(
    settings: &Settings,
    work: impl Fn(&mut Stream, &mut Vec<f64>, u64) + Sync,
) -> Result<Vec<f64>, StatsError> {
    at_least("random arrangements", 1, settings.draws as usize)?;
    Ok(by_chunks(settings.draws, |from, to| {
        let mut rng = random::stream(settings.seed, from / CHUNK);
        let mut found = Vec::with_capacity((to - from) as usize);
        work(&mut rng, &mut found, to - from);
        found
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::sync::Mutex;

    /// Difference of the mean of label 1 from the mean of label 0.
    fn difference(y: &[f64], labels: &[usize]) -> f64 {
        let mean = |label| {
            let chosen: Vec<f64> = y
                .iter()
                .zip(labels)
                .filter(|(_, l)| **l == label)
                .map(|(y, _)| *y)
                .collect();
            chosen.iter().sum::<f64>() / chosen.len() as f64
        };
        mean(1) - mean(0)
    }

    #[test]
    fn every_arrangement_is_visited_once_and_stays_in_its_stratum() {
        // 4!/(2!·1!·1!) = 12 in the first stratum, 3!/(2!·1!) = 3 in the second: 36.
        let labels = [5, 7, 5, 9, 2, 2, 4];
        let strata = [0, 0, 1, 0, 1, 1, 0];
        let seen = Mutex::new(Vec::new());
        let found = exchange_labels(&labels, &strata, &Settings::default(), |l| {
            seen.lock().unwrap().push(l.to_vec());
            0.0
        })
        .unwrap();
        let seen = seen.into_inner().unwrap();
        // Stratum 0 holds labels 5, 7, 9, 4 (24 ways), stratum 1 holds 5, 2, 2 (3 ways); once more for the observed.
        assert_eq!((found.exact, found.compared, seen.len()), (true, 72, 73));
        assert_eq!(seen.iter().collect::<BTreeSet<_>>().len(), 72);
        for arranged in &seen {
            let mut first: Vec<usize> = [0, 1, 3, 6].map(|i| arranged[i]).to_vec();
            first.sort_unstable();
            assert_eq!(first, [4, 5, 7, 9]);
        }
        assert_eq!((found.p, found.equal), (1.0, 72));
    }

    #[test]
    fn two_groups_of_three_by_hand() {
        // {1, 2, 3} against {4, 5, 6}: of 20 arrangements only the observed reaches a difference of 3.
        let y = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        let found = exchange_labels(&[0, 0, 0, 1, 1, 1], &[0; 6], &Settings::default(), |l| {
            difference(&y, l)
        })
        .unwrap();
        assert_eq!(
            (found.compared, found.greater, found.equal, found.p),
            (20, 0, 1, 0.05)
        );
        assert_eq!(found.standard_error, 0.0);
    }

    #[test]
    fn drawing_at_random_agrees_with_counting_and_with_itself() {
        let y = [3.1, 2.2, 4.7, 3.3, 5.0, 4.1, 4.4, 6.2, 3.9, 5.5];
        let labels = [0, 0, 0, 0, 0, 1, 1, 1, 1, 1];
        let test = |settings: &Settings| {
            exchange_labels(&labels, &[0; 10], settings, |l| difference(&y, l)).unwrap()
        };
        let exact = test(&Settings::default());
        assert_eq!((exact.exact, exact.compared), (true, 252));
        let settings = Settings {
            exact_up_to: 10,
            ..Settings::default()
        };
        let drawn = test(&settings);
        assert!(!drawn.exact && drawn.possible == 252.0);
        assert!(
            (drawn.p - exact.p).abs() < 4.0 * drawn.standard_error,
            "{drawn:?} {exact:?}"
        );
        // The observed arrangement counts as one of the draws, so that p is never zero.
        let counted = (drawn.greater + drawn.equal) as f64;
        assert_eq!(drawn.p, (counted + 1.0) / 20_001.0);
        assert_eq!(
            drawn.standard_error,
            (drawn.p * (1.0 - drawn.p) / 20_001.0).sqrt()
        );
        let one_thread = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .unwrap();
        let three = rayon::ThreadPoolBuilder::new()
            .num_threads(3)
            .build()
            .unwrap();
        assert_eq!(
            one_thread.install(|| test(&settings)),
            three.install(|| test(&settings))
        );
        assert_ne!(
            test(&Settings {
                seed: 2,
                ..settings
            })
            .p,
            drawn.p
        );
    }

    #[test]
    fn nothing_to_exchange_is_no_evidence() {
        let found = exchange_labels(&[0, 1], &[0, 1], &Settings::default(), |_| 1.0).unwrap();
        assert_eq!((found.compared, found.p), (1, 1.0));
    }

    #[test]
    fn huge_counts_do_not_overflow() {
        let labels: Vec<usize> = (0..500).collect();
        let settings = Settings {
            draws: 50,
            ..Settings::default()
        };
        let found = exchange_labels(&labels, &vec![0; 500], &settings, |l| l[0] as f64).unwrap();
        assert_eq!((found.exact, found.compared), (false, 50));
        assert!(found.possible.is_infinite());
        let found = turn_signs(&vec![1.0; 3_000], &settings, |d| d[0]).unwrap();
        assert!(!found.exact);
    }

    #[test]
    fn bad_questions_are_refused() {
        let settings = Settings::default();
        assert!(exchange_labels(&[], &[], &settings, |_| 0.0).is_err());
        assert!(exchange_labels(&[1], &[0, 0], &settings, |_| 0.0).is_err());
        assert!(exchange_labels(&[1, 2], &[0, 0], &settings, |_| f64::NAN).is_err());
        assert!(paired(&[1.0, f64::INFINITY], Lean::Either, &settings).is_err());
        let none = Settings {
            exact_up_to: 0,
            draws: 0,
            seed: 1,
        };
        assert!(paired(&[1.0, 2.0], Lean::Either, &none).is_err());
    }

    #[test]
    fn three_pairs_by_hand() {
        // All below zero: one of the 2³ sign patterns is as low. As many as may be counted are counted.
        let settings = Settings {
            exact_up_to: 8,
            ..Settings::default()
        };
        for (lean, p) in [
            (Lean::Below, 1.0 / 8.0),
            (Lean::Above, 1.0),
            (Lean::Either, 1.0 / 4.0),
        ] {
            let found = paired(&[-1.0, -2.0, -4.0], lean, &settings).unwrap();
            assert_eq!((found.exact, found.p), (true, p), "{lean:?}");
        }
    }

    #[test]
    fn statistics_equal_up_to_rounding_are_ties() {
        let count = |observed: f64, statistics: &[f64]| {
            let found = Permutation::count(observed, statistics, true, 5.0).unwrap();
            (found.greater, found.equal)
        };
        // Up to 1e-10 of the observed one: 1e-7 of 1000.
        let near = [1000.0, 1000.0 + 5e-8, 1000.0 - 5e-8, 1000.0 + 2e-7, 900.0];
        assert_eq!(count(1000.0, &near), (1, 3));
        // About zero 1e-12 of the median, 1000.
        let zero = [0.0, 5e-10, 2e-9, 1000.0, -1000.0, 1000.0, -1000.0];
        assert_eq!(count(0.0, &zero), (3, 2));
    }
}
