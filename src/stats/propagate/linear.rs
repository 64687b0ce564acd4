//! First-order propagation (JCGM 100:2008, clause 5; several outputs as in JCGM 102:2011, clause 6).

use nalgebra::{DMatrix, SymmetricEigen};
use num_dual::Dual64;

use super::{Input, Model};
use crate::stats::error::{all_finite, at_least};
use crate::stats::{StatsError, student_t};

/// What one input adds to one output.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// The input's name.
    pub input: String,
    /// Sensitivity ∂(output)/∂(input).
    pub sensitivity: f64,
    /// |sensitivity| · standard uncertainty, in the output's unit.
    pub uncertainty: f64,
    /// Share of the output's variance, correlations split evenly; the shares add up to 1 and one may be negative. 0 when
    /// the output has no uncertainty.
    pub share: f64,
}

/// One output with its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Output {
    /// Estimate: the model at the inputs' estimates.
    pub value: f64,
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite, JCGM 100:2008, G.4.1). `None` where inputs of finite degrees of
    /// freedom are correlated, for which that formula does not hold.
    pub dof: Option<f64>,
    /// What each input adds, in the inputs' order.
    pub contributions: Vec<Contribution>,
}

impl Output {
    /// Coverage factor and expanded uncertainty for a level of confidence, by Student's t with the effective degrees of
    /// freedom as they are (the GUM cuts them to a whole number). `None` without degrees of freedom; NaN for a level
    /// outside [0, 1].
    pub fn expanded(&self, level: f64) -> Option<(f64, f64)> {
        let factor = student_t::two_sided(level, self.dof?);
        Some((factor, factor * self.standard_uncertainty))
    }

    /// Whether uncertain inputs seem to add nothing: a sign that the model is at a turning point, where only
    /// [`super::second_order`] or [`super::monte_carlo`] can tell.
    pub fn vanishes(&self, inputs: &[Input]) -> bool {
        let uncertain = inputs.iter().any(|input| input.standard_uncertainty > 0.0);
        uncertain && self.standard_uncertainty == 0.0
    }
}

/// Outputs of one propagation.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// The outputs in the model's order.
    pub outputs: Vec<Output>,
    /// Covariance matrix of the outputs.
    pub covariance: DMatrix<f64>,
}

impl Propagated {
    /// Correlation of two outputs. NaN when one has no uncertainty, or does not exist.
    pub fn correlation(&self, a: usize, b: usize) -> f64 {
        match (self.outputs.get(a), self.outputs.get(b)) {
            (Some(first), Some(second)) => {
                let scale = first.standard_uncertainty * second.standard_uncertainty;
                if scale > 0.0 {
                    self.covariance[(a, b)] / scale
                } else {
                    f64::NAN
                }
            }
            _ => f64::NAN,
        }
    }
}

/// Propagates with exact derivatives. `correlation` is the inputs' correlation matrix; `None` for independent inputs.
///
/// # Errors
///
/// [`StatsError`] for inputs that are not finite or have a negative uncertainty, a matrix that is no correlation matrix of
/// that size, or a model that gives numbers that are not finite.
///
/// ```
/// use num_dual::DualNumCopy;
/// use steadydraw::stats::propagate::{Input, Model, linear};
///
/// struct Power;
/// impl Model for Power {
///     fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
///         vec![x[0] * x[1]]
///     }
/// }
/// let inputs = [Input::new("voltage", 25.0, 0.1), Input::new("current", 16.0, 0.2)];
/// let power = &linear(&Power, &inputs, None)?.outputs[0];
/// assert_eq!(power.value, 400.0);
/// // √((16·0.1)² + (25·0.2)²)
/// assert!((power.standard_uncertainty - 5.25).abs() < 0.001);
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn linear(
    model: &impl Model,
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
) -> Result<Propagated, StatsError> {
    let mut point: Vec<Dual64> = inputs
        .iter()
        .map(|input| Dual64::from_re(input.value))
        .collect();
    let values: Vec<f64> = model.evaluate(&point).iter().map(|out| out.re).collect();
    let mut sensitivities = DMatrix::zeros(values.len(), inputs.len());
    for i in 0..inputs.len() {
        point[i] = point[i].derivative();
        for (k, out) in model.evaluate(&point).iter().enumerate().take(values.len()) {
            sensitivities[(k, i)] = out.eps;
        }
        point[i] = Dual64::from_re(inputs[i].value);
    }
    from_sensitivities(&values, &sensitivities, inputs, correlation)
}

/// Propagates a plain function, its derivatives by central differences extrapolated to zero step (Ridders 1982, Advances
/// in Engineering Software 4, 75–76): about 9 digits for a smooth function. The first step is each input's standard
/// uncertainty.
///
/// # Errors
///
/// As [`linear`].
pub fn linear_numeric(
    model: impl Fn(&[f64]) -> Vec<f64>,
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
) -> Result<Propagated, StatsError> {
    let mut point: Vec<f64> = inputs.iter().map(|input| input.value).collect();
    let values = model(&point);
    let mut sensitivities = DMatrix::zeros(values.len(), inputs.len());
    for (i, input) in inputs.iter().enumerate() {
        let step = if input.standard_uncertainty > 0.0 {
            input.standard_uncertainty
        } else {
            1e-3 * input.value.abs().max(1e-3)
        };
        let slopes = extrapolated_slopes(&model, &mut point, i, step, values.len());
        for (k, slope) in slopes.into_iter().enumerate() {
            sensitivities[(k, i)] = slope;
        }
    }
    from_sensitivities(&values, &sensitivities, inputs, correlation)
}

/// ∂(outputs)/∂(input `i`) at `point`, which is left as it was.
fn extrapolated_slopes(
    model: &impl Fn(&[f64]) -> Vec<f64>,
    point: &mut [f64],
    i: usize,
    first_step: f64,
    count: usize,
) -> Vec<f64> {
    const ROWS: usize = 8;
    const SHRINK: f64 = 1.6;
    let middle = point[i];
    let mut table = vec![[[f64::NAN; ROWS]; ROWS]; count];
    let mut best = vec![(f64::NAN, f64::INFINITY); count];
    let mut step = first_step;
    for row in 0..ROWS {
        point[i] = middle + step;
        let (above, right) = (point[i], model(point));
        point[i] = middle - step;
        let (below, left) = (point[i], model(point));
        point[i] = middle;
        for k in 0..count {
            let (Some(right), Some(left)) = (right.get(k), left.get(k)) else {
                continue;
            };
            let table = &mut table[k];
            table[row][0] = (right - left) / (above - below);
            let mut factor = 1.0;
            for column in 1..=row {
                factor *= SHRINK * SHRINK;
                table[row][column] =
                    (factor * table[row][column - 1] - table[row - 1][column - 1]) / (factor - 1.0);
                let near = table[row][column];
                let error = (near - table[row][column - 1])
                    .abs()
                    .max((near - table[row - 1][column - 1]).abs());
                if error < best[k].1 {
                    best[k] = (near, error);
                }
            }
        }
        step /= SHRINK;
    }
    best.into_iter().map(|(slope, _)| slope).collect()
}

/// Propagates with known sensitivities: one row for each output, one column for each input.
///
/// # Errors
///
/// As [`linear`].
pub fn from_sensitivities(
    values: &[f64],
    sensitivities: &DMatrix<f64>,
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
) -> Result<Propagated, StatsError> {
    at_least("outputs", 1, values.len())?;
    at_least("inputs", 1, inputs.len())?;
    for input in inputs {
        input.check()?;
    }
    if sensitivities.shape() != (values.len(), inputs.len()) {
        let (left, right) = (values.len() * inputs.len(), sensitivities.len());
        return Err(StatsError::Unequal {
            what: "outputs times inputs, and sensitivities",
            left,
            right,
        });
    }
    all_finite("model outputs", values)?;
    all_finite("sensitivities", sensitivities.as_slice())?;
    if let Some(matrix) = correlation {
        check_correlation(matrix, inputs.len())?;
    }
    // Each row holds c·u of every input.
    let mut scaled = sensitivities.clone();
    for (mut column, input) in scaled.column_iter_mut().zip(inputs) {
        column *= input.standard_uncertainty;
    }
    let weighted = correlation.map_or_else(|| scaled.clone(), |matrix| &scaled * matrix);
    let covariance = &weighted * scaled.transpose();
    let outputs = values
        .iter()
        .enumerate()
        .map(|(k, value)| {
            let variance = covariance[(k, k)].max(0.0);
            let contributions = inputs
                .iter()
                .enumerate()
                .map(|(i, input)| Contribution {
                    input: input.name.clone(),
                    sensitivity: sensitivities[(k, i)],
                    uncertainty: scaled[(k, i)].abs(),
                    share: if variance > 0.0 {
                        scaled[(k, i)] * weighted[(k, i)] / variance
                    } else {
                        0.0
                    },
                })
                .collect();
            let parts: Vec<f64> = scaled.row(k).iter().copied().collect();
            let dof = effective_dof(variance, &parts, inputs, correlation);
            Output {
                value: *value,
                standard_uncertainty: variance.sqrt(),
                dof,
                contributions,
            }
        })
        .collect();
    Ok(Propagated {
        outputs,
        covariance,
    })
}

/// u⁴/Σ((c u)⁴/ν), infinite when every part is known exactly; `None` where correlations spoil it.
fn effective_dof(
    variance: f64,
    parts: &[f64],
    inputs: &[Input],
    correlation: Option<&DMatrix<f64>>,
) -> Option<f64> {
    let finite = |i: usize| parts[i] != 0.0 && inputs[i].dof.is_finite();
    if let Some(matrix) = correlation {
        for i in (0..parts.len()).filter(|i| finite(*i)) {
            if (0..parts.len()).any(|j| j != i && parts[j] != 0.0 && matrix[(i, j)] != 0.0) {
                return None;
            }
        }
    }
    // As shares of the variance, so that small units do not underflow.
    let sum: f64 = (0..parts.len())
        .filter(|i| finite(*i))
        .map(|i| (parts[i] * parts[i] / variance).powi(2) / inputs[i].dof)
        .sum();
    Some(if sum > 0.0 { 1.0 / sum } else { f64::INFINITY })
}

/// Checks size, diagonal, symmetry and that no combination gets a negative variance.
fn check_correlation(matrix: &DMatrix<f64>, size: usize) -> Result<(), StatsError> {
    const WHAT: &str = "the correlation matrix of the inputs";
    let bad = |problem| {
        Err(StatsError::BadMatrix {
            what: WHAT,
            problem,
        })
    };
    if matrix.shape() != (size, size) {
        return bad("needs one row and one column for each input");
    }
    all_finite(WHAT, matrix.as_slice())?;
    for i in 0..size {
        if (matrix[(i, i)] - 1.0).abs() > 1e-12 {
            return bad("needs ones on its diagonal");
        }
        for j in 0..i {
            if (matrix[(i, j)] - matrix[(j, i)]).abs() > 1e-12 {
                return bad("is not symmetric");
            }
            if matrix[(i, j)].abs() > 1.0 + 1e-12 {
                return bad("has a correlation beyond ±1");
            }
        }
    }
    let smallest = SymmetricEigen::new(matrix.clone())
        .eigenvalues
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min);
    if smallest < -1e-9 * size as f64 {
        return bad("gives some combination of inputs a negative variance");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_dual::DualNumCopy;

    /// y = a·exp(b)/c and a − b.
    struct Curve;

    impl Model for Curve {
        fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
            vec![x[0] * x[1].exp() / x[2], x[0] - x[1]]
        }
    }

    fn inputs() -> Vec<Input> {
        vec![
            Input::new("a", 2.0, 0.1).with_dof(5.0),
            Input::new("b", 0.5, 0.02),
            Input::new("c", 4.0, 0.3).with_dof(8.0),
        ]
    }

    #[test]
    fn numeric_derivatives_agree_with_exact_ones() {
        let exact = linear(&Curve, &inputs(), None).unwrap();
        let numeric = linear_numeric(
            |x| vec![x[0] * x[1].exp() / x[2], x[0] - x[1]],
            &inputs(),
            None,
        )
        .unwrap();
        for (a, b) in exact.outputs.iter().zip(&numeric.outputs) {
            assert!((a.standard_uncertainty / b.standard_uncertainty - 1.0).abs() < 1e-9);
            for (a, b) in a.contributions.iter().zip(&b.contributions) {
                assert!((a.sensitivity - b.sensitivity).abs() < 1e-9, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn shares_add_up_with_and_without_correlation() {
        let r = DMatrix::from_row_slice(3, 3, &[1.0, 0.6, 0.0, 0.6, 1.0, -0.3, 0.0, -0.3, 1.0]);
        for correlation in [None, Some(&r)] {
            for output in linear(&Curve, &inputs(), correlation).unwrap().outputs {
                let total: f64 = output.contributions.iter().map(|c| c.share).sum();
                assert!((total - 1.0).abs() < 1e-14);
                assert_eq!(output.dof.is_none(), correlation.is_some());
            }
        }
        // Fully correlated equal parts of a difference cancel.
        let same = vec![Input::new("a", 1.0, 0.1), Input::new("b", 2.0, 0.1)];
        let one = DMatrix::from_element(2, 2, 1.0);
        let found = linear_numeric(|x| vec![x[0] - x[1]], &same, Some(&one)).unwrap();
        assert!(found.outputs[0].standard_uncertainty < 1e-8);
    }

    #[test]
    fn a_turning_point_is_noticed() {
        let inputs = vec![Input::new("x", 0.0, 0.1)];
        let found = linear_numeric(|x| vec![x[0] * x[0]], &inputs, None).unwrap();
        assert!(found.outputs[0].vanishes(&inputs));
    }

    #[test]
    fn bad_inputs_and_matrices_are_refused() {
        let with = |correlation: &[f64]| {
            linear(
                &Curve,
                &inputs(),
                Some(&DMatrix::from_row_slice(3, 3, correlation)),
            )
            .map(|_| ())
        };
        assert!(matches!(
            with(&[1., 0., 0., 0., 2., 0., 0., 0., 1.]),
            Err(StatsError::BadMatrix { .. })
        ));
        assert!(matches!(
            with(&[1., 0.5, 0., 0., 1., 0., 0., 0., 1.]),
            Err(StatsError::BadMatrix { .. })
        ));
        // Each pair is possible, all three together are not.
        assert!(matches!(
            with(&[1., 0.9, -0.9, 0.9, 1., 0.9, -0.9, 0.9, 1.]),
            Err(StatsError::BadMatrix { .. })
        ));
        let mut broken = inputs();
        broken[1].standard_uncertainty = -1.0;
        assert!(matches!(
            linear(&Curve, &broken, None),
            Err(StatsError::OutOfRange { .. })
        ));
        broken[1].standard_uncertainty = f64::NAN;
        assert!(matches!(
            linear(&Curve, &broken, None),
            Err(StatsError::NotFinite { .. })
        ));
        let zero = vec![Input::new("x", 0.0, 0.1)];
        assert!(linear_numeric(|x| vec![x[0].ln()], &zero, None).is_err());
    }

    #[test]
    fn effective_degrees_of_freedom_by_hand() {
        // Parts 3 and 4 with 9 and 16 degrees: 25²/(3⁴/9 + 4⁴/16) = 25.
        let inputs = [
            Input::new("a", 0.0, 3.0).with_dof(9.0),
            Input::new("b", 0.0, 4.0).with_dof(16.0),
            Input::new("c", 0.0, 1.0),
        ];
        let row = DMatrix::from_row_slice(1, 3, &[1.0, 1.0, 0.0]);
        let mut tied = DMatrix::identity(3, 3);
        let dof = |r: Option<&DMatrix<f64>>| {
            from_sensitivities(&[0.0], &row, &inputs, r)
                .unwrap()
                .outputs[0]
                .dof
        };
        assert!((dof(None).unwrap() - 25.0).abs() < 1e-12);
        assert_eq!(dof(Some(&tied)), dof(None));
        // What adds nothing spoils nothing.
        (tied[(0, 2)], tied[(2, 0)]) = (0.5, 0.5);
        assert_eq!(dof(Some(&tied)), dof(None));
        (tied[(0, 1)], tied[(1, 0)]) = (0.5, 0.5);
        assert_eq!(dof(Some(&tied)), None);
    }

    #[test]
    fn a_matrix_rounded_to_nine_digits_is_accepted() {
        // Three equal correlations r: the smallest eigenvalue is 1 + 2r, here −1e-9 and −1e-8.
        let equal = |r: f64| DMatrix::from_fn(3, 3, |i, j| if i == j { 1.0 } else { r });
        assert!(check_correlation(&equal(-0.500_000_000_5), 3).is_ok());
        assert!(check_correlation(&equal(-0.500_000_005), 3).is_err());
    }

    #[test]
    fn exact_inputs_have_a_sensitivity_and_no_uncertainty() {
        let exact = [Input::new("x", 1000.0, 0.0)];
        let found = linear_numeric(|x| vec![x[0].ln()], &exact, None).unwrap();
        let output = &found.outputs[0];
        assert!((output.contributions[0].sensitivity / 1e-3 - 1.0).abs() < 1e-9);
        assert!(output.standard_uncertainty == 0.0 && !output.vanishes(&exact));
    }

    #[test]
    fn sensitivities_of_another_size_are_counted() {
        let inputs = inputs();
        let wrong = from_sensitivities(&[1.0, 2.0], &DMatrix::zeros(2, 2), &inputs, None);
        assert!(matches!(
            wrong,
            Err(StatsError::Unequal {
                left: 6,
                right: 4,
                ..
            })
        ));
    }
}
