//! The sum of squares of a curve about its observations.

use std::sync::Arc;

use crate::fit::equation::CurveOnData;
use crate::fit::error::FitError;
use crate::fit::nonlinear::Residuals;

/// The sum of squares of a curve about its observations.
#[derive(Debug, Clone)]
pub struct CurveProblem {
    curve: Arc<CurveOnData>,
    observed: Vec<f64>,
    root_weights: Option<Vec<f64>>,
}

impl CurveProblem {
    /// A curve on its data, the observed left side, and weights (proportional to 1/variance), one a row.
    ///
    /// # Errors
    /// [`FitError::DimensionMismatch`] where their lengths differ.
    pub fn new(
        curve: CurveOnData,
        observed: Vec<f64>,
        weights: Option<&[f64]>,
    ) -> Result<Self, FitError> {
        let expected = curve.rows();
        if weights.is_some_and(|w| w.len() != expected) {
            return Err(FitError::DimensionMismatch {
                what: "the weights",
                found: weights.map_or(0, <[f64]>::len),
                expected,
            });
        }
        let root_weights = weights.map(|w| w.iter().map(|v| v.sqrt()).collect());
        Self {
            curve: Arc::new(curve),
            observed: Vec::new(),
            root_weights,
        }
        .with_observed(observed)
    }

    /// The same curve, data and weights with other values observed, as in resampling.
    ///
    /// # Errors
    /// [`FitError::DimensionMismatch`] where there is not one a row.
    pub fn with_observed(&self, observed: Vec<f64>) -> Result<Self, FitError> {
        let expected = self.curve.rows();
        if observed.len() != expected {
            return Err(FitError::DimensionMismatch {
                what: "the observed values",
                found: observed.len(),
                expected,
            });
        }
        Ok(Self {
            curve: Arc::clone(&self.curve),
            observed,
            root_weights: self.root_weights.clone(),
        })
    }

    fn weigh(&self, row: usize, value: f64) -> f64 {
        self.root_weights.as_ref().map_or(value, |w| w[row] * value)
    }
}

impl Residuals for CurveProblem {
    fn observations(&self) -> usize {
        self.observed.len()
    }

    fn parameters(&self) -> usize {
        self.curve.parameters()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) {
        self.curve.values(parameters, |row, value| {
            out[row] = self.weigh(row, value - self.observed[row])
        });
    }

    fn with_derivatives(&self, parameters: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        self.curve.with_derivatives(parameters, out, jacobian);
        for (row, value) in out.iter_mut().enumerate() {
            *value = self.weigh(row, *value - self.observed[row]);
        }
        if let Some(root) = &self.root_weights {
            for column in jacobian.chunks_exact_mut(root.len()) {
                column.iter_mut().zip(root).for_each(|(v, w)| *v *= w);
            }
        }
    }

    fn magnitude(&self) -> f64 {
        self.observed
            .iter()
            .enumerate()
            .map(|(row, y)| self.weigh(row, *y).powi(2))
            .sum::<f64>()
            .sqrt()
    }
}
