//! Bootstrap: refitting resampled data to see how far an estimate scatters.
//!
//! Every replicate draws from its own numbered stream, so a seed gives the same bits on any number of threads.

mod intervals;

pub use intervals::Bca;

use rayon::prelude::*;

use super::StatsError;
use super::error::{all_finite, at_least};
use super::random::{self, Stream};
use super::summary;

/// How the data are made anew.
#[derive(Debug, Clone, Copy)]
pub enum Scheme<'a> {
    /// Fitted values plus residuals drawn with replacement: for errors alike everywhere. Give
    /// [`modified_residuals`], not raw ones, which are too small.
    Residuals {
        /// The fit's values.
        fitted: &'a [f64],
        /// One residual for each.
        residuals: &'a [f64],
    },
    /// Fitted values plus each residual with a random sign: for errors that differ from place to place (Davidson &
    /// Flachaire 2008, Journal of Econometrics 146, 162–169).
    Wild {
        /// The fit's values.
        fitted: &'a [f64],
        /// One residual for each.
        residuals: &'a [f64],
    },
    /// Rows drawn with replacement, whole groups at a time: for readings that belong together. One group name for each
    /// row; all different draws single rows.
    Groups {
        /// Each row's group.
        groups: &'a [usize],
    },
}

/// One resampled data set.
#[derive(Debug, Clone, Copy)]
pub enum Resample<'a> {
    /// New responses for the same settings.
    Response(&'a [f64]),
    /// Which rows to use, some more than once, some not at all.
    Rows(&'a [usize]),
}

/// How many replicates, from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// Number of replicates.
    pub replicates: usize,
    /// Seed.
    pub seed: u64,
}

impl Default for Settings {
    /// 2,000 replicates (the ends of a 95 % interval then scatter by about a twentieth of its width), seed 1.
    fn default() -> Self {
        Self {
            replicates: 2_000,
            seed: 1,
        }
    }
}

/// Residuals scaled by 1/√(1 − leverage) and centred, so that drawing from them scatters as the errors do (Davison &
/// Hinkley 1997, Bootstrap Methods and their Application, section 6.2.3). A leverage of 1 leaves nothing to scale: its
/// residual stays as it is.
///
/// # Errors
///
/// [`StatsError`] for lists of different lengths, no values, or values that are not finite.
pub fn modified_residuals(residuals: &[f64], leverages: &[f64]) -> Result<Vec<f64>, StatsError> {
    if residuals.len() != leverages.len() {
        let (left, right) = (residuals.len(), leverages.len());
        return Err(StatsError::Unequal {
            what: "residuals and leverages",
            left,
            right,
        });
    }
    at_least("residuals", 1, residuals.len())?;
    all_finite("residuals", residuals)?;
    all_finite("leverages", leverages)?;
    let scaled: Vec<f64> = residuals
        .iter()
        .zip(leverages)
        .map(|(e, h)| if *h < 1.0 { e / (1.0 - h).sqrt() } else { *e })
        .collect();
    let mean = summary::mean(&scaled);
    Ok(scaled.iter().map(|e| e - mean).collect())
}

/// Estimates from every replicate that could be refitted, in order of their number.
#[derive(Debug, Clone, PartialEq)]
pub struct Bootstrap {
    estimates: Vec<Vec<f64>>,
    failed: usize,
}

/// Runs the replicates. `refit` turns a resample into estimates (always as many), or `None` where it cannot.
///
/// # Errors
///
/// [`StatsError`] for data that do not fit together, fewer than two replicates, or when more than a tenth of the refits
/// failed (gave `None`, a number that is not finite, or another count of estimates than the first).
///
/// ```
/// use steadydraw::stats::bootstrap::{Resample, Scheme, Settings, run};
/// let y = [4.1, 3.9, 4.4, 4.0, 4.2];
/// let found = run(&Scheme::Groups { groups: &[0, 1, 2, 3, 4] }, &Settings::default(), |new| match new {
///     Resample::Rows(rows) => Some(vec![rows.iter().map(|r| y[*r]).sum::<f64>() / 5.0]),
///     Resample::Response(_) => None,
/// })?;
/// let (low, high) = found.percentile(0, 0.95);
/// assert!(low < 4.12 && 4.12 < high);
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn run(
    scheme: &Scheme<'_>,
    settings: &Settings,
    refit: impl Fn(Resample<'_>) -> Option<Vec<f64>> + Sync,
) -> Result<Bootstrap, StatsError> {
    at_least("replicates", 2, settings.replicates)?;
    let members = check(scheme)?;
    let results: Vec<Option<Vec<f64>>> = (0..settings.replicates)
        .into_par_iter()
        .map(|number| {
            let mut rng = random::stream(settings.seed, number as u64);
            resample(scheme, &members, &mut rng, &refit)
        })
        .collect();
    let width = results.iter().flatten().map(Vec::len).next().unwrap_or(0);
    let good =
        |estimate: &Vec<f64>| estimate.len() == width && estimate.iter().all(|x| x.is_finite());
    let estimates: Vec<Vec<f64>> = results.into_iter().flatten().filter(good).collect();
    let failed = settings.replicates - estimates.len();
    if 10 * failed > settings.replicates {
        return Err(StatsError::ResamplesFailed {
            failed,
            count: settings.replicates,
        });
    }
    Ok(Bootstrap { estimates, failed })
}

/// Checks the scheme's data; the rows of each group where it has groups.
fn check(scheme: &Scheme<'_>) -> Result<Vec<Vec<usize>>, StatsError> {
    match scheme {
        Scheme::Residuals { fitted, residuals } | Scheme::Wild { fitted, residuals } => {
            if fitted.len() != residuals.len() {
                let (left, right) = (fitted.len(), residuals.len());
                return Err(StatsError::Unequal {
                    what: "fitted values and residuals",
                    left,
                    right,
                });
            }
            at_least("fitted values", 1, fitted.len())?;
            all_finite("fitted values", fitted)?;
            all_finite("residuals", residuals)?;
            Ok(Vec::new())
        }
        Scheme::Groups { groups } => {
            let members = members(groups);
            at_least("groups to draw from", 2, members.len())?;
            Ok(members)
        }
    }
}

/// Rows of each group, groups in order of first appearance.
fn members(groups: &[usize]) -> Vec<Vec<usize>> {
    let mut names: std::collections::HashMap<usize, usize> = std::collections::HashMap::new();
    let mut members: Vec<Vec<usize>> = Vec::new();
    for (row, name) in groups.iter().enumerate() {
        let at = *names.entry(*name).or_insert_with(|| {
            members.push(Vec::new());
            members.len() - 1
        });
        members[at].push(row);
    }
    members
}

/// One replicate.
fn resample(
    scheme: &Scheme<'_>,
    members: &[Vec<usize>],
    rng: &mut Stream,
    refit: &(impl Fn(Resample<'_>) -> Option<Vec<f64>> + Sync),
) -> Option<Vec<f64>> {
    match scheme {
        Scheme::Residuals { fitted, residuals } => {
            let response: Vec<f64> = fitted
                .iter()
                .map(|y| y + residuals[random::below(rng, residuals.len())])
                .collect();
            refit(Resample::Response(&response))
        }
        Scheme::Wild { fitted, residuals } => {
            let response: Vec<f64> = fitted
                .iter()
                .zip(*residuals)
                .map(|(y, e)| {
                    if random::below(rng, 2) == 0 {
                        y + e
                    } else {
                        y - e
                    }
                })
                .collect();
            refit(Resample::Response(&response))
        }
        Scheme::Groups { .. } => {
            let mut rows = Vec::new();
            for _ in 0..members.len() {
                rows.extend_from_slice(&members[random::below(rng, members.len())]);
            }
            refit(Resample::Rows(&rows))
        }
    }
}

/// Estimates with each group left out in turn, in order of the groups' first appearance: what [`Bootstrap::bca`] needs.
///
/// # Errors
///
/// [`StatsError`] for fewer than two groups or when any refit fails.
pub fn leave_one_group_out(
    groups: &[usize],
    refit: impl Fn(&[usize]) -> Option<Vec<f64>> + Sync,
) -> Result<Vec<Vec<f64>>, StatsError> {
    let members = members(groups);
    at_least("groups", 2, members.len())?;
    let results: Vec<Option<Vec<f64>>> = members
        .par_iter()
        .map(|left_out| {
            let rows: Vec<usize> = (0..groups.len())
                .filter(|row| !left_out.contains(row))
                .collect();
            refit(&rows).filter(|estimate| estimate.iter().all(|x| x.is_finite()))
        })
        .collect();
    let count = results.len();
    let estimates: Vec<Vec<f64>> = results.into_iter().flatten().collect();
    if estimates.len() < count {
        return Err(StatsError::ResamplesFailed {
            failed: count - estimates.len(),
            count,
        });
    }
    Ok(estimates)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean of chosen rows.
    fn mean_of(y: &[f64], rows: &[usize]) -> f64 {
        rows.iter().map(|r| y[*r]).sum::<f64>() / rows.len() as f64
    }

    /// Bootstrap of a mean by rows.
    fn means(y: &[f64], settings: &Settings) -> Bootstrap {
        let groups: Vec<usize> = (0..y.len()).collect();
        run(
            &Scheme::Groups { groups: &groups },
            settings,
            |resample| match resample {
                Resample::Rows(rows) => Some(vec![mean_of(y, rows)]),
                Resample::Response(_) => None,
            },
        )
        .unwrap()
    }

    #[test]
    fn the_bootstrap_of_a_mean_has_the_exact_standard_error() {
        // The ideal bootstrap variance of a mean is Σ(y − m)²/n².
        let y = [3.0, 1.0, 4.0, 1.5, 9.0, 2.6];
        let settings = Settings {
            replicates: 40_000,
            seed: 5,
        };
        let ideal = (summary::variance(&y) * 5.0 / 36.0).sqrt();
        assert!((means(&y, &settings).sd(0) / ideal - 1.0).abs() < 0.015);
    }

    #[test]
    fn the_same_bits_on_any_number_of_threads() {
        let y: Vec<f64> = (0..30).map(|i| f64::from(i * i % 17)).collect();
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| means(&y, &Settings::default()))
        };
        assert_eq!(on(1), on(3));
        assert_ne!(
            means(
                &y,
                &Settings {
                    seed: 9,
                    ..Settings::default()
                }
            ),
            on(1)
        );
    }

    #[test]
    fn residual_and_wild_schemes_scatter_as_the_residuals_do() {
        // The mean of fitted + resampled residuals: variance Σe²/n² either way, for centred residuals.
        let fitted = [1.0; 8];
        let residuals = [-1.0, 0.5, 0.25, 0.25, -0.75, 0.75, 2.0, -2.0];
        let ideal = residuals.iter().map(|e| e * e).sum::<f64>().sqrt() / 8.0;
        for scheme in [
            Scheme::Residuals {
                fitted: &fitted,
                residuals: &residuals,
            },
            Scheme::Wild {
                fitted: &fitted,
                residuals: &residuals,
            },
        ] {
            let found = run(
                &scheme,
                &Settings {
                    replicates: 20_000,
                    seed: 3,
                },
                |r| match r {
                    Resample::Response(y) => Some(vec![summary::mean(y)]),
                    Resample::Rows(_) => None,
                },
            )
            .unwrap();
            assert!((found.sd(0) / ideal - 1.0).abs() < 0.02, "{scheme:?}");
        }
    }

    #[test]
    fn groups_stay_whole() {
        let groups = [4, 4, 9, 9, 9, 1];
        run(
            &Scheme::Groups { groups: &groups },
            &Settings {
                replicates: 200,
                seed: 1,
            },
            |r| {
                let Resample::Rows(rows) = r else {
                    panic!("rows expected")
                };
                let count = |row: usize| rows.iter().filter(|r| **r == row).count();
                assert_eq!(count(0), count(1));
                assert!(count(2) == count(3) && count(3) == count(4));
                Some(vec![rows.len() as f64])
            },
        )
        .unwrap();
    }

    #[test]
    fn failures_are_counted_and_refused_when_many() {
        let groups = [0, 1, 2, 3];
        let settings = Settings {
            replicates: 400,
            seed: 1,
        };
        let fail_if = |bad: fn(&[usize]) -> bool| {
            run(
                &Scheme::Groups { groups: &groups },
                &settings,
                |r| match r {
                    Resample::Rows(rows) if !bad(rows) => Some(vec![rows[0] as f64]),
                    _ => None,
                },
            )
        };
        // All four the same: 4/256 of the resamples.
        let some = fail_if(|rows| rows.iter().all(|r| *r == rows[0])).unwrap();
        assert!(some.failed() > 0 && some.failed() < 20);
        assert!(matches!(
            fail_if(|rows| rows[0] == 0),
            Err(StatsError::ResamplesFailed { .. })
        ));
        assert!(run(&Scheme::Groups { groups: &[1, 1] }, &settings, |_| None).is_err());
        let uneven = Scheme::Wild {
            fitted: &[1.0],
            residuals: &[],
        };
        assert!(matches!(
            run(&uneven, &settings, |_| None),
            Err(StatsError::Unequal { .. })
        ));
    }

    #[test]
    fn modified_residuals_are_scaled_and_centred() {
        let found = modified_residuals(&[1.0, -1.0, 3.0], &[0.75, 0.0, 1.0]).unwrap();
        // Scaled: 2, −1, 3; mean 4/3.
        for (got, want) in found.iter().zip([2.0 / 3.0, -7.0 / 3.0, 5.0 / 3.0]) {
            assert!((got - want).abs() < 1e-15);
        }
    }

    #[test]
    fn refits_that_give_no_number_or_too_few_count_as_failed() {
        let settings = Settings {
            replicates: 400,
            seed: 1,
        };
        for odd in [vec![f64::NAN], vec![]] {
            let found = run(
                &Scheme::Groups {
                    groups: &[0, 1, 2, 3],
                },
                &settings,
                |r| match r {
                    // All four the same: 4/256 of the resamples.
                    Resample::Rows(rows) if rows.iter().all(|r| *r == rows[0]) => Some(odd.clone()),
                    _ => Some(vec![1.0]),
                },
            )
            .unwrap();
            assert!(found.failed() > 0 && found.failed() < 20);
            assert_eq!(found.sorted(0).len() + found.failed(), 400);
            assert!(found.sorted(0).iter().all(|x| *x == 1.0));
        }
    }

    #[test]
    fn resampled_errors_keep_their_signs() {
        let scheme = Scheme::Residuals {
            fitted: &[10.0, 20.0, 30.0],
            residuals: &[-1.0, -1.0, 2.0],
        };
        let settings = Settings {
            replicates: 50,
            seed: 1,
        };
        let drawn = run(&scheme, &settings, |r| match r {
            Resample::Response(y) => Some(vec![y[0] - 10.0, y[1] - 20.0, y[2] - 30.0]),
            Resample::Rows(_) => None,
        })
        .unwrap();
        for which in 0..3 {
            assert!(drawn.sorted(which).iter().all(|e| *e == -1.0 || *e == 2.0));
        }
    }

    #[test]
    fn refits_that_fail_with_a_group_left_out_are_counted() {
        let found = leave_one_group_out(&[0, 1, 1, 2], |rows| {
            (rows.len() == 3).then(|| vec![rows[0] as f64])
        });
        assert!(matches!(
            found,
            Err(StatsError::ResamplesFailed {
                failed: 1,
                count: 3
            })
        ));
    }
}
