//! Distributions assigned to inputs (JCGM 101:2008, clause 6, table 1).

use nalgebra::{DMatrix, SymmetricEigen};

use crate::stats::StatsError;
use crate::stats::error::{all_finite, at_least};
use crate::stats::random::{self, Stream};

/// The state of knowledge about one input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// An exact number.
    Fixed(f64),
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Anywhere between two limits, all values alike.
    Rectangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Between limits that are themselves known only within ± `inexactness` (curvilinear trapezoid, 6.4.3).
    Blurred {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Half-width of the doubt about both limits.
        inexactness: f64,
    },
    /// Between two limits, likeliest in the middle.
    Triangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Swinging between two limits like a sine (arcsine, 6.4.6).
    Swinging {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Shifted and scaled Student's t: a mean of few readings (6.4.9).
    StudentT {
        /// Centre.
        mean: f64,
        /// Scale: the standard uncertainty s/√n of the readings, not the standard deviation of the t.
        scale: f64,
        /// Degrees of freedom.
        dof: f64,
    },
    /// Positive with a known mean and nothing else (6.4.10).
    Exponential {
        /// Mean.
        mean: f64,
    },
}

impl Distribution {
    /// Checks the parameters.
    fn check(&self) -> Result<(), StatsError> {
        let positive = |what, value: f64| {
            if value >= 0.0 {
                Ok(())
            } else {
                Err(StatsError::OutOfRange {
                    what,
                    value,
                    expected: "0 or more",
                })
            }
        };
        let ordered = |low: f64, high: f64| {
            all_finite("limits of a distribution", &[low, high])?;
            positive("upper minus lower limit of a distribution", high - low)
        };
        match *self {
            Self::Fixed(value) => all_finite("an exact input", &[value]),
            Self::Normal { mean, sd } => {
                all_finite("mean and standard deviation", &[mean, sd])?;
                positive("a standard deviation", sd)
            }
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::Swinging { low, high } => ordered(low, high),
            Self::Blurred {
                low,
                high,
                inexactness,
            } => {
                ordered(low, high)?;
                all_finite("inexactness of limits", &[inexactness])?;
                if inexactness < 0.0 || 2.0 * inexactness > high - low {
                    let (value, expected) =
                        (inexactness, "between 0 and half the distance of the limits");
                    return Err(StatsError::OutOfRange {
                        what: "inexactness of limits",
                        value,
                        expected,
                    });
                }
                Ok(())
            }
            Self::StudentT { mean, scale, dof } => {
                all_finite("mean and scale", &[mean, scale])?;
                positive("a scale", scale)?;
                if dof > 0.0 {
                    Ok(())
                } else {
                    Err(StatsError::OutOfRange {
                        what: "degrees of freedom",
                        value: dof,
                        expected: "more than 0",
                    })
                }
            }
            Self::Exponential { mean } => {
                all_finite("mean", &[mean])?;
                positive("the mean of an exponential distribution", mean)
            }
        }
    }

    /// One random value.
    fn draw(&self, rng: &mut Stream) -> f64 {
        match *self {
            Self::Fixed(value) => value,
            Self::Normal { mean, sd } => mean + sd * random::normal(rng),
            Self::Rectangular { low, high } => low + (high - low) * random::uniform(rng),
            Self::Blurred {
                low,
                high,
                inexactness,
            } => {
                // The limits move together about the fixed middle.
                let from = low - inexactness + 2.0 * inexactness * random::uniform(rng);
                let to = (low + high) - from;
                from + (to - from) * random::uniform(rng)
            }
            Self::Triangular { low, high } => {
                low + 0.5 * (high - low) * (random::uniform(rng) + random::uniform(rng))
            }
            Self::Swinging { low, high } => {
                let phase = 2.0 * std::f64::consts::PI * random::uniform(rng);
                0.5 * (low + high) + 0.5 * (high - low) * phase.sin()
            }
            Self::StudentT { mean, scale, dof } => mean + scale * random::student_t(rng, dof),
            Self::Exponential { mean } => -mean * random::uniform(rng).ln(),
        }
    }
}

/// One input, or several that are drawn together.
#[derive(Debug, Clone, PartialEq)]
pub enum Draw {
    /// An input independent of all others.
    One(Distribution),
    /// Jointly normal inputs (6.4.8).
    Normals {
        /// Their means.
        means: Vec<f64>,
        /// Their covariance matrix.
        covariance: DMatrix<f64>,
    },
}

/// Inputs ready to be drawn.
pub(super) struct Sampler {
    parts: Vec<Part>,
    pub(super) width: usize,
}

/// A checked [`Draw`].
enum Part {
    One(Distribution),
    Normals { means: Vec<f64>, root: DMatrix<f64> },
}

impl Sampler {
    /// Checks every input and prepares joint ones.
    pub(super) fn new(draws: &[Draw]) -> Result<Self, StatsError> {
        let mut parts = Vec::with_capacity(draws.len());
        let mut width = 0;
        for draw in draws {
            match draw {
                Draw::One(distribution) => {
                    distribution.check()?;
                    width += 1;
                    parts.push(Part::One(*distribution));
                }
                Draw::Normals { means, covariance } => {
                    width += means.len();
                    parts.push(Part::Normals {
                        means: means.clone(),
                        root: square_root(means, covariance)?,
                    });
                }
            }
        }
        Ok(Self { parts, width })
    }

    /// Fills one trial.
    pub(super) fn fill(&self, rng: &mut Stream, trial: &mut Vec<f64>) {
        trial.clear();
        for part in &self.parts {
            match part {
                Part::One(distribution) => trial.push(distribution.draw(rng)),
                Part::Normals { means, root } => {
                    let z: Vec<f64> = means.iter().map(|_| random::normal(rng)).collect();
                    for (i, mean) in means.iter().enumerate() {
                        trial.push(
                            mean + root.row(i).iter().zip(&z).map(|(a, b)| a * b).sum::<f64>(),
                        );
                    }
                }
            }
        }
    }
}

/// A matrix R with R Rᵀ = covariance; also for perfectly correlated inputs, where a Cholesky factor does not exist.
fn square_root(means: &[f64], covariance: &DMatrix<f64>) -> Result<DMatrix<f64>, StatsError> {
    const WHAT: &str = "the covariance matrix of jointly normal inputs";
    let bad = |problem| StatsError::BadMatrix {
        what: WHAT,
        problem,
    };
    at_least("jointly normal inputs", 1, means.len())?;
    all_finite("means of jointly normal inputs", means)?;
    if covariance.shape() != (means.len(), means.len()) {
        return Err(bad("needs one row and one column for each mean"));
    }
    all_finite(WHAT, covariance.as_slice())?;
    let scale = covariance.diagonal().amax();
    if (covariance - covariance.transpose()).amax() > 1e-12 * scale {
        return Err(bad("is not symmetric"));
    }
    let eigen = SymmetricEigen::new(covariance.clone());
    if eigen.eigenvalues.iter().any(|value| *value < -1e-9 * scale) {
        return Err(bad("gives some combination of inputs a negative variance"));
    }
    let roots = eigen.eigenvalues.map(|value| value.max(0.0).sqrt());
    Ok(&eigen.eigenvectors * DMatrix::from_diagonal(&roots))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::summary;

    /// Mean and standard deviation of 40,000 draws.
    fn moments(distribution: Distribution) -> (f64, f64) {
        let mut rng = random::stream(11, 0);
        let values: Vec<f64> = (0..40_000).map(|_| distribution.draw(&mut rng)).collect();
        (summary::mean(&values), summary::sd(&values))
    }

    #[test]
    fn means_and_standard_deviations_are_those_of_table_1() {
        // JCGM 101:2008, table 1 and 6.4: closed forms.
        let cases = [
            (
                Distribution::Rectangular {
                    low: 1.0,
                    high: 4.0,
                },
                2.5,
                3.0 / 12.0_f64.sqrt(),
            ),
            (
                Distribution::Triangular {
                    low: 1.0,
                    high: 4.0,
                },
                2.5,
                1.5 / 6.0_f64.sqrt(),
            ),
            (
                Distribution::Swinging {
                    low: 1.0,
                    high: 4.0,
                },
                2.5,
                1.5 / 2.0_f64.sqrt(),
            ),
            (
                Distribution::Blurred {
                    low: 1.0,
                    high: 4.0,
                    inexactness: 0.5,
                },
                2.5,
                (9.0_f64 / 12.0 + 0.25 / 9.0).sqrt(),
            ),
            (
                Distribution::StudentT {
                    mean: 1.0,
                    scale: 2.0,
                    dof: 9.0,
                },
                1.0,
                2.0 * (9.0_f64 / 7.0).sqrt(),
            ),
            (Distribution::Exponential { mean: 3.0 }, 3.0, 3.0),
            (
                Distribution::Normal {
                    mean: -1.0,
                    sd: 0.5,
                },
                -1.0,
                0.5,
            ),
            (Distribution::Fixed(7.0), 7.0, 0.0),
        ];
        for (distribution, mean, sd) in cases {
            let (got_mean, got_sd) = moments(distribution);
            assert!(
                (got_mean - mean).abs() <= 4.5 * sd / 200.0,
                "{distribution:?}: {got_mean}"
            );
            assert!(
                (got_sd - sd).abs() <= 0.025 * sd,
                "{distribution:?}: {got_sd}"
            );
        }
    }

    #[test]
    fn senseless_distributions_are_refused() {
        for bad in [
            Distribution::Normal {
                mean: 0.0,
                sd: -1.0,
            },
            Distribution::Rectangular {
                low: 2.0,
                high: 1.0,
            },
            Distribution::Blurred {
                low: 0.0,
                high: 1.0,
                inexactness: 0.6,
            },
            Distribution::StudentT {
                mean: 0.0,
                scale: 1.0,
                dof: 0.0,
            },
            Distribution::Exponential { mean: f64::NAN },
            Distribution::Fixed(f64::INFINITY),
        ] {
            assert!(Sampler::new(&[Draw::One(bad)]).is_err(), "{bad:?}");
        }
        let negative = DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 1.0]);
        assert!(
            Sampler::new(&[Draw::Normals {
                means: vec![0.0; 2],
                covariance: negative
            }])
            .is_err()
        );
        let lopsided = DMatrix::from_row_slice(2, 2, &[1.0, 0.2, 0.1, 1.0]);
        assert!(
            Sampler::new(&[Draw::Normals {
                means: vec![0.0; 2],
                covariance: lopsided
            }])
            .is_err()
        );
    }

    #[test]
    fn perfectly_correlated_inputs_move_together() {
        // Variances 1 and 4, covariance 2: the second is twice the first.
        let sampler = Sampler::new(&[Draw::Normals {
            means: vec![0.0, 0.0],
            covariance: DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 4.0]),
        }])
        .unwrap();
        let (mut rng, mut trial) = (random::stream(1, 0), Vec::new());
        for _ in 0..20 {
            sampler.fill(&mut rng, &mut trial);
            assert!((trial[1] - 2.0 * trial[0]).abs() < 1e-7, "{trial:?}");
        }
    }

    #[test]
    fn covariances_are_judged_by_their_own_scale() {
        let root = |scale: f64, [a, b, c, d]: [f64; 4]| {
            let matrix = DMatrix::from_row_slice(2, 2, &[a, b, c, d]) * scale;
            square_root(&[0.0, 0.0], &matrix).is_ok()
        };
        for scale in [1e-8, 1.0, 1e8] {
            // Symmetric up to rounding, and not.
            assert!(root(scale, [1.0, 0.5, 0.5 + 1e-13, 1.0]));
            assert!(!root(scale, [1.0, 0.5, 0.5 + 1e-11, 1.0]));
            // Eigenvalues 2 + c and −c, for a covariance of 1 + c.
            assert!(root(scale, [1.0, 1.0 + 1e-10, 1.0 + 1e-10, 1.0]));
            assert!(!root(scale, [1.0, 1.0 + 1e-8, 1.0 + 1e-8, 1.0]));
        }
    }
}
