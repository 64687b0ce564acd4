//! What the straight-line picture leaves out.

use num_dual::HyperHyperDual64;

use super::linear::linear;
use super::{Input, Model};
use crate::stats::StatsError;
use crate::stats::error::all_finite;

/// Second-order variance of a pair of inputs, or of one input with itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SecondOrderTerm {
    /// Place of the first input.
    pub first: usize,
    /// Place of the second input, not before the first.
    pub second: usize,
    /// What the pair adds to the variance; may be negative.
    pub variance: f64,
}

/// One output to second order.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondOrder {
    /// Standard uncertainty to first order.
    pub first_order: f64,
    /// Standard uncertainty with the second-order terms; 0 when they make the variance negative.
    pub standard_uncertainty: f64,
    /// What curvature adds to the expected value, ½ Σ f″ᵢᵢ u²: the estimate itself is biased by this much.
    pub bias: f64,
    /// All terms that are not zero.
    pub terms: Vec<SecondOrderTerm>,
}

/// Second-order terms for independent inputs: Σᵢ Σⱼ [½ f″ᵢⱼ² + f′ᵢ f‴ᵢⱼⱼ] uᵢ² uⱼ² (JCGM 100:2008, note to 5.1.2; exact for
/// normal inputs and a quadratic model). One for each output.
///
/// # Errors
///
/// [`StatsError`] as [`linear`].
pub fn second_order(model: &impl Model, inputs: &[Input]) -> Result<Vec<SecondOrder>, StatsError> {
    let first = linear(model, inputs, None)?;
    let count = first.outputs.len();
    let u2: Vec<f64> = inputs
        .iter()
        .map(|input| input.standard_uncertainty.powi(2))
        .collect();
    let mut terms: Vec<Vec<SecondOrderTerm>> = vec![Vec::new(); count];
    let mut bias = vec![0.0; count];
    for i in 0..inputs.len() {
        for j in i..inputs.len() {
            let (ijj, iij) = (
                derivatives(model, inputs, i, j, j),
                derivatives(model, inputs, i, i, j),
            );
            for k in 0..count {
                let (Some(ijj), Some(iij)) = (ijj.get(k), iij.get(k)) else {
                    continue;
                };
                all_finite(
                    "second derivatives of the model",
                    &[ijj.mixed, ijj.third, iij.third],
                )?;
                let one_way = 0.5 * ijj.mixed * ijj.mixed + ijj.slope_first * ijj.third;
                let variance = if i == j {
                    bias[k] += 0.5 * ijj.mixed * u2[i];
                    one_way
                } else {
                    // Both orders of the pair: f″ᵢⱼ² twice, and each input's slope with its own third derivative.
                    one_way + 0.5 * ijj.mixed * ijj.mixed + iij.slope_last * iij.third
                } * u2[i]
                    * u2[j];
                if variance != 0.0 {
                    terms[k].push(SecondOrderTerm {
                        first: i,
                        second: j,
                        variance,
                    });
                }
            }
        }
    }
    Ok(first
        .outputs
        .iter()
        .zip(terms)
        .zip(bias)
        .map(|((output, terms), bias)| {
            let first_order = output.standard_uncertainty;
            let total = first_order * first_order + terms.iter().map(|t| t.variance).sum::<f64>();
            SecondOrder {
                first_order,
                standard_uncertainty: total.max(0.0).sqrt(),
                bias,
                terms,
            }
        })
        .collect())
}

/// Derivatives of one output with respect to three inputs a, b, c.
struct Derivatives {
    /// ∂/∂a.
    slope_first: f64,
    /// ∂/∂c.
    slope_last: f64,
    /// ∂²/∂a∂b, or ∂²/∂a∂c where a and b are the same.
    mixed: f64,
    /// ∂³/∂a∂b∂c.
    third: f64,
}

/// Runs the model with inputs a, b and c as the three directions (they may coincide).
fn derivatives(
    model: &impl Model,
    inputs: &[Input],
    a: usize,
    b: usize,
    c: usize,
) -> Vec<Derivatives> {
    let mut point: Vec<HyperHyperDual64> = inputs
        .iter()
        .map(|input| HyperHyperDual64::from_re(input.value))
        .collect();
    point[a] = point[a].derivative1();
    point[b] = point[b].derivative2();
    point[c] = point[c].derivative3();
    model
        .evaluate(&point)
        .iter()
        .map(|out| Derivatives {
            slope_first: out.eps1,
            slope_last: out.eps3,
            mixed: if a == b { out.eps1eps3 } else { out.eps1eps2 },
            third: out.eps1eps2eps3,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_dual::DualNumCopy;

    /// x³ + y² z.
    struct Cubic;

    impl Model for Cubic {
        fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
            vec![x[0].powi(3) + x[1] * x[1] * x[2]]
        }
    }

    #[test]
    fn terms_by_hand() {
        // At (1, 2, 3) with u = 0.1, 0.2, 0.3:
        // x,x: ½·6² + 3·6 = 36, times 1e-4;  y,y: ½·6² + 12·0 = 18, times 1.6e-3;
        // y,z: f″ = 4: 4² = 16 plus f′y f‴yzz (0) plus f′z f‴zyy = 4·2 = 8: 24, times 0.04·0.09.
        let inputs = [
            Input::new("x", 1.0, 0.1),
            Input::new("y", 2.0, 0.2),
            Input::new("z", 3.0, 0.3),
        ];
        let found = &second_order(&Cubic, &inputs).unwrap()[0];
        let want = [(0, 0, 36e-4), (1, 1, 18.0 * 1.6e-3), (1, 2, 24.0 * 0.0036)];
        assert_eq!(found.terms.len(), 3);
        for (term, (first, second, variance)) in found.terms.iter().zip(want) {
            assert_eq!((term.first, term.second), (first, second));
            assert!((term.variance / variance - 1.0).abs() < 1e-13, "{term:?}");
        }
        // ½·6·0.01 + ½·6·0.04.
        assert!((found.bias - 0.15).abs() < 1e-15);
    }
}
