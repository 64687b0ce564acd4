//! Inputs and models.

use nalgebra::DMatrix;
use num_dual::DualNumCopy;

use crate::stats::StatsError;
use crate::stats::error::{all_finite, at_least};
use crate::stats::summary::{Centred, sum};

/// An input quantity: estimate, standard uncertainty, and how well that uncertainty is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Name, for the budget.
    pub name: String,
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty; zero for an exact number.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of the standard uncertainty; infinite where it is taken as known.
    pub dof: f64,
}

impl Input {
    /// An input whose standard uncertainty is taken as known (infinite degrees of freedom).
    pub fn new(name: impl Into<String>, value: f64, standard_uncertainty: f64) -> Self {
        Self {
            name: name.into(),
            value,
            standard_uncertainty,
            dof: f64::INFINITY,
        }
    }

    /// The same with degrees of freedom.
    #[must_use]
    pub fn with_dof(self, dof: f64) -> Self {
        Self { dof, ..self }
    }

    /// Anywhere within ± `half_width`, all values alike: u = half_width/√3 (JCGM 100:2008, 4.3.7).
    pub fn rectangular(name: impl Into<String>, value: f64, half_width: f64) -> Self {
        Self::new(name, value, half_width / 3.0_f64.sqrt())
    }

    /// Within ± `half_width`, likelier in the middle: u = half_width/√6 (JCGM 100:2008, 4.3.9).
    pub fn triangular(name: impl Into<String>, value: f64, half_width: f64) -> Self {
        Self::new(name, value, half_width / 6.0_f64.sqrt())
    }

    /// Swinging between ± `half_width` like a sine: u = half_width/√2 (JCGM 100:2008, H.1.3.4).
    pub fn swinging(name: impl Into<String>, value: f64, half_width: f64) -> Self {
        Self::new(name, value, half_width / 2.0_f64.sqrt())
    }

    /// Checks the numbers.
    pub(super) fn check(&self) -> Result<(), StatsError> {
        all_finite(
            "input estimate and standard uncertainty",
            &[self.value, self.standard_uncertainty],
        )?;
        if self.standard_uncertainty < 0.0 {
            let (value, expected) = (self.standard_uncertainty, "0 or more");
            return Err(StatsError::OutOfRange {
                what: "a standard uncertainty",
                value,
                expected,
            });
        }
        if self.dof.is_nan() || self.dof <= 0.0 {
            let (value, expected) = (self.dof, "more than 0");
            return Err(StatsError::OutOfRange {
                what: "degrees of freedom",
                value,
                expected,
            });
        }
        Ok(())
    }
}

/// A measurement model whose derivatives are taken exactly, by running it on dual numbers.
pub trait Model {
    /// The outputs for the inputs, always as many. Written once, run on plain numbers and on dual ones.
    fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, inputs: &[D]) -> Vec<D>;
}

/// Means of quantities read together, each with its standard uncertainty s/√n, and the correlations of the means
/// (JCGM 100:2008, 5.2.3). `columns` has the name and readings of each quantity, reading by reading side by side.
///
/// # Errors
///
/// [`StatsError`] for no quantities, columns of different lengths, fewer than two readings, or values that are not
/// finite.
pub fn from_readings(columns: &[(&str, &[f64])]) -> Result<(Vec<Input>, DMatrix<f64>), StatsError> {
    at_least("quantities", 1, columns.len())?;
    let n = columns[0].1.len();
    at_least("readings of each quantity", 2, n)?;
    let mut deviations: Vec<Vec<f64>> = Vec::with_capacity(columns.len());
    let mut inputs = Vec::with_capacity(columns.len());
    for (name, readings) in columns {
        if readings.len() != n {
            return Err(StatsError::Unequal {
                what: "readings taken together",
                left: n,
                right: readings.len(),
            });
        }
        all_finite("readings", readings)?;
        let centred = Centred::of(readings);
        let uncertainty = (centred.squares / (n as f64 - 1.0) / n as f64).sqrt();
        inputs.push(Input::new(*name, centred.mean(), uncertainty).with_dof(n as f64 - 1.0));
        deviations.push(
            readings
                .iter()
                .map(|y| (y - centred.centre) - centred.rest)
                .collect(),
        );
    }
    let product =
        |i: usize, j: usize| sum(deviations[i].iter().zip(&deviations[j]).map(|(a, b)| a * b));
    let correlation = DMatrix::from_fn(columns.len(), columns.len(), |i, j| {
        let scale = (product(i, i) * product(j, j)).sqrt();
        if i == j {
            1.0
        } else if scale == 0.0 {
            // A quantity that never varied is correlated with nothing.
            0.0
        } else {
            (product(i, j) / scale).clamp(-1.0, 1.0)
        }
    });
    Ok((inputs, correlation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::propagate::{Distribution, Draw, monte_carlo};

    #[test]
    fn standard_uncertainties_are_those_of_the_distributions() {
        // The half-width rules against the spread of drawn values.
        let (low, high) = (-3.0, 3.0);
        for (input, distribution) in [
            (
                Input::rectangular("x", 0.0, 3.0),
                Distribution::Rectangular { low, high },
            ),
            (
                Input::triangular("x", 0.0, 3.0),
                Distribution::Triangular { low, high },
            ),
            (
                Input::swinging("x", 0.0, 3.0),
                Distribution::Swinging { low, high },
            ),
        ] {
            let sample =
                &monte_carlo(|x| [x[0]], &[Draw::One(distribution)], 40_000, 1).unwrap()[0];
            let ratio = sample.sd() / input.standard_uncertainty;
            assert!((ratio - 1.0).abs() < 0.015, "{distribution:?}: {ratio}");
        }
    }

    #[test]
    fn readings_taken_together_must_be_as_many() {
        let columns: [(&str, &[f64]); 2] = [("a", &[1.0, 2.0]), ("b", &[1.0])];
        assert!(matches!(
            from_readings(&columns),
            Err(StatsError::Unequal { .. })
        ));
        assert!(from_readings(&[]).is_err());
        let constant: [(&str, &[f64]); 2] = [("a", &[1.0, 2.0]), ("b", &[5.0, 5.0])];
        let (inputs, correlation) = from_readings(&constant).unwrap();
        assert_eq!(
            (inputs[1].standard_uncertainty, correlation[(0, 1)]),
            (0.0, 0.0)
        );
    }

    #[test]
    fn three_readings_leave_two_degrees_of_freedom() {
        // Mean 3, squares 14: √(14/2/3).
        let (inputs, _) = from_readings(&[("a", &[1.0, 2.0, 6.0])]).unwrap();
        let input = &inputs[0];
        assert_eq!((input.value, input.dof), (3.0, 2.0));
        assert!((input.standard_uncertainty - (7.0_f64 / 3.0).sqrt()).abs() < 1e-15);
    }
}
