//! What a balanced plan can see, by the noncentral F distribution; stated beside what simulation finds.

use crate::stats::power::f_test;

use super::{Assumed, Design};

/// Chance that an F test tells groups apart that have the same number of runs each: true means (any unit), runs a group, standard
/// deviation of a run in the same unit, degrees of freedom of the scatter, and the test's level.
///
/// Noncentrality n Σ(μᵢ − μ̄)²/σ² on groups − 1 and `dof` degrees of freedom (J. Cohen, *Statistical Power Analysis for the Behavioral
/// Sciences*, 1988, chapter 8). NaN outside the domain.
pub fn levels_differ(means: &[f64], runs: usize, sd: f64, dof: f64, alpha: f64) -> f64 {
    let equal = vec![runs as f64 / (sd * sd); means.len()];
    weighed(means, &equal, dof, alpha)
}

/// The same with a weight (one over the variance of the group's mean) for each group.
fn weighed(means: &[f64], weights: &[f64], dof: f64, alpha: f64) -> f64 {
    if means.len() < 2 || dof < 1.0 {
        return f64::NAN;
    }
    let total: f64 = weights.iter().sum();
    let centre: f64 = means.iter().zip(weights).map(|(m, w)| m * w).sum::<f64>() / total;
    let noncentrality: f64 = { means.iter().zip(weights) }
        .map(|(m, w)| w * (m - centre).powi(2))
        .sum();
    f_test(noncentrality, (means.len() - 1) as f64, dof, alpha)
}

/// Chance that the nested-model test of `coupling` sees the fan level at all, if the compressor side follows airflow to the power
/// `elasticity`. None where the plan is not balanced, has one level, or leaves no freedom.
///
/// The scatter is a share of the whole draw, so it is larger on the compressor side's logarithm by draw over compressor side.
pub fn fan_seen(design: &Design, assumed: &Assumed, elasticity: f64, alpha: f64) -> Option<f64> {
    let (modes, levels) = (design.modes.len(), design.fans.len());
    if !design.balanced() || levels < 2 {
        return None;
    }
    let intakes = design.intakes_c.len();
    let runs = modes * levels * intakes * design.repeats;
    // As the assessment has it: a level and an intake slope for each mode, a common ambient slope, steps of blocks and of levels.
    let slopes = if intakes > 1 { modes } else { 0 };
    let spent = modes + slopes + 1 + (design.blocks - 1) + (levels - 1);
    let dof = runs.checked_sub(spent).filter(|d| *d > 2)? as f64;
    // Ambient wanders as it likes and leans on the levels by chance. Fitted beside them it costs, on average over normal covariates,
    // 1/(f − 2) of the variance with f degrees of freedom before it: the mean of F over its groups' own (W. G. Cochran, Analysis of
    // covariance: its nature and uses, Biometrics 13, 1957, 261–281; from memory).
    let leaning = 1.0 + 1.0 / (dof + 1.0 - 2.0);
    let each = (intakes * design.repeats) as f64;
    let mean_ln = mean(assumed.airflows_m3h.iter().map(|q| q.ln()));
    let (mut means, mut weights) = (Vec::new(), Vec::new());
    for (flow, blower) in assumed.airflows_m3h.iter().zip(&assumed.blower_w) {
        let move_ln = elasticity * (flow.ln() - mean_ln);
        means.push(move_ln);
        let weight = |c: &f64| {
            let compressor = c * move_ln.exp();
            each / leaning * (compressor / (compressor + blower) / assumed.scatter).powi(2)
        };
        weights.push(assumed.compressor_w.iter().map(weight).sum());
    }
    let power = weighed(&means, &weights, dof, alpha);
    power.is_finite().then_some(power)
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for v in values {
        sum += v;
        n += 1.0;
    }
    sum / n
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fan_is_seen_as_often_as_the_noncentral_f_says() {
        use crate::plan::Known;
        let design = |intakes_c: Vec<f64>| Design {
            modes: vec!["calm".to_owned(), "brisk".to_owned()],
            fans: ["1", "2", "3"].map(str::to_owned).to_vec(),
            intakes_c,
            repeats: 2,
            blocks: 2,
            fan_only: 2,
            standby: true,
            group_intakes: false,
            first_block: 1,
            prefix: "r".to_owned(),
        };
        let assumed = Assumed {
            airflows_m3h: vec![100.0, 150.0, 225.0],
            airflows: Known::Given,
            blower_w: vec![5.0, 10.0, 20.0],
            blower: Known::Given,
            compressor_w: vec![100.0, 160.0],
            scatter: 0.02,
            scatter_from: Known::Given,
        };
        // Written out in Python with scipy 1.17 (ncf.sf at f.isf(0.05)): 16 degrees and a noncentrality of 4.591395; at one intake, 6 and 5.673056.
        let two = fan_seen(&design(vec![24.0, 30.0]), &assumed, 0.03, 0.05).unwrap();
        assert!((two - 0.397_428_480_347_802).abs() < 1e-9, "{two}");
        let one = fan_seen(&design(vec![24.0]), &assumed, 0.05, 0.05).unwrap();
        assert!((one - 0.362_876_254_802_380).abs() < 1e-9, "{one}");
    }
}
