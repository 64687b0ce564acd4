//! How much blocks (days, battery charges) differ beyond the scatter of the runs: a random effect with one variance for all blocks.
//!
//! The runs of a block share its effect, so they do not average it out; a further run falls into a block of its own. With few blocks the
//! variance is hardly known: it is averaged over what the runs leave credible (Box and Tiao, *Bayesian Inference in Statistical Analysis*,
//! 1973, ch. 5, with a prior of our own).

use nalgebra::DMatrix;

use super::LinearFit;

/// Chance, before any run is seen, that blocks do not differ at all. No source: even odds.
const NO_EFFECT: f64 = 0.5;
/// Otherwise a standard deviation evenly likely on a logarithmic scale from the first to the second, relative. Common practice, no
/// source: what a small unit's draw does from one day to the next.
const SD_RANGE: (f64, f64) = (0.002, 0.025);
/// Steps of the average over it.
const STEPS: i32 = 16;
/// The most blocks looked at; with more, a block is a run or two and tells nothing of its own.
const MOST_BLOCKS: usize = 60;
/// The least degrees of freedom that the blocks must leave to the scatter.
const FEWEST_DOF: usize = 3;

/// What a fit says of the blocks that its rows fall into.
#[derive(Clone, Debug)]
pub struct BlocksSeen {
    /// Contrasts between blocks, independent of each other and of the coefficients.
    contrasts: Vec<f64>,
    /// What a contrast's variance gains for each unit of the blocks' variance.
    gains: Vec<f64>,
    /// Sum of squares with the blocks taken out, and its degrees of freedom.
    within: (f64, usize),
    /// By how much each coefficient moves for a unit of each block's effect, p × blocks.
    pulls: DMatrix<f64>,
}

impl BlocksSeen {
    /// Looks at the residuals of `fit`; `block` numbers each row's block, none for a row that stands alone. `None` where there are
    /// fewer than two blocks, too many, or the fit's own columns tell them apart.
    pub fn of(fit: &LinearFit, block: &[Option<usize>]) -> Option<BlocksSeen> {
        let blocks = block.iter().flatten().max().map_or(0, |b| b + 1);
        if !(2..=MOST_BLOCKS).contains(&blocks) || block.len() != fit.residuals.len() {
            return None;
        }
        let mut z = DMatrix::zeros(block.len(), blocks);
        let mut residuals = DMatrix::zeros(block.len(), 1);
        for (i, b) in block.iter().enumerate() {
            let root = fit.weight(i).sqrt();
            residuals[(i, 0)] = root * fit.residuals[i];
            if let Some(b) = b {
                z[(i, *b)] = root;
            }
        }
        let within_design = fit.q.transpose() * &z;
        let beyond = &z - &fit.q * &within_design;
        let gram = beyond.transpose() * &beyond;
        if !gram.iter().all(|v| v.is_finite()) {
            return None;
        }
        let along = z.transpose() * &residuals;
        let eigen = gram.symmetric_eigen();
        let largest = eigen.eigenvalues.iter().fold(0.0_f64, |a, b| a.max(*b));
        let (mut contrasts, mut gains) = (Vec::new(), Vec::new());
        for (gain, direction) in eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
        {
            // What the design absorbs leaves nothing but rounding.
            if *gain > 1e-9 * largest.max(1e-300) && *gain > 1e-12 {
                contrasts.push(direction.dot(&along.column(0)) / gain.sqrt());
                gains.push(*gain);
            }
        }
        let dof = fit.dof().checked_sub(contrasts.len())?;
        if contrasts.is_empty() || dof < FEWEST_DOF {
            return None;
        }
        let between: f64 = contrasts.iter().map(|c| c * c).sum();
        Some(BlocksSeen {
            within: ((fit.rss - between).max(0.0), dof),
            contrasts,
            gains,
            pulls: &fit.root * within_design,
        })
    }

    /// Expected variance of a block's effect, given the runs, in the square of the response's unit.
    pub fn variance(&self) -> f64 {
        let scatter = (self.within.0 / self.within.1 as f64).max(1e-12);
        let ln_likelihood = |variance: f64| {
            let pairs = self.contrasts.iter().zip(&self.gains);
            pairs
                .map(|(c, gain)| {
                    let v = scatter + gain * variance;
                    -0.5 * (v.ln() + c * c / v)
                })
                .sum::<f64>()
        };
        let none = ln_likelihood(0.0);
        let (low, high) = SD_RANGE;
        let each = (1.0 - NO_EFFECT) / f64::from(STEPS);
        let (mut total, mut sum) = (NO_EFFECT, 0.0);
        for k in 0..STEPS {
            let share = (f64::from(k) + 0.5) / f64::from(STEPS);
            let variance = (low * (high / low).powf(share)).powi(2);
            // Bounded: a likelihood that runs away must not end as infinity over infinity.
            let weight = each * (ln_likelihood(variance) - none).min(600.0).exp();
            total += weight;
            sum += weight * variance;
        }
        sum / total
    }

    /// By how much the fitted mean at a design row of length p moves, in root sum of squares, for a unit of each block's effect: with
    /// balanced blocks one over the root of their number.
    pub fn pull(&self, row: &[f64]) -> f64 {
        self.shared(row, row).sqrt()
    }

    /// Covariance of the fitted means at two design rows of length p, for blocks of variance 1.
    pub fn shared(&self, a: &[f64], b: &[f64]) -> f64 {
        let along = |column: &[f64], row: &[f64]| -> f64 {
            column.iter().zip(row).map(|(p, x)| p * x).sum()
        };
        let columns = self
            .pulls
            .as_slice()
            .chunks_exact(self.pulls.nrows().max(1));
        columns.map(|c| along(c, a) * along(c, b)).sum()
    }

    /// By how much each coefficient moves for a unit of each block's effect, block by block.
    pub fn pulls(&self) -> &[f64] {
        self.pulls.as_slice()
    }

    /// Standard deviation of the rows about their blocks, for weight 1: the fit's own, less what blocks of this variance add to it.
    pub fn within_sd(&self, fit: &LinearFit, variance: f64) -> f64 {
        let gained: f64 = self.gains.iter().sum::<f64>() * variance;
        let (rss, dof) = self.within;
        let own = (fit.rss - gained) / fit.dof().max(1) as f64;
        own.max(rss / dof as f64)
            .sqrt()
            .min(fit.residual_sd().unwrap_or(f64::INFINITY))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::least_squares;

    /// Two blocks of `n` runs about one mean, `apart` between the blocks, and a zigzag of ±1 % within.
    fn two(n: usize, apart: f64) -> (LinearFit, Vec<Option<usize>>) {
        let x = DMatrix::from_element(2 * n, 1, 1.0);
        let block: Vec<Option<usize>> = (0..2 * n).map(|i| Some(i / n)).collect();
        let y: Vec<f64> = (0..2 * n)
            .map(|i| 5.0 + apart * (i / n) as f64 + if i % 2 == 0 { 0.01 } else { -0.01 })
            .collect();
        (least_squares(&x, &y, None).unwrap(), block)
    }

    #[test]
    fn contrasts_and_pulls_by_hand() {
        let (fit, block) = two(4, 0.04);
        let seen = BlocksSeen::of(&fit, &block).unwrap();
        // One contrast: the difference of two means of four, 0.04, times the root of 4·4/8; the mean takes half of each block's effect.
        assert_eq!(seen.contrasts.len(), 1);
        assert!((seen.contrasts[0].abs() - 0.04 * 2f64.sqrt()).abs() < 1e-12);
        // Its variance gains n/2 · 2 = 4 of the blocks' variance.
        assert!((seen.gains[0] - 4.0).abs() < 1e-12);
        assert!(seen.pulls.iter().all(|p| (p - 0.5).abs() < 1e-12));
        // What is left is the zigzag: 8 · 0.01² on 6 degrees of freedom.
        assert!((seen.within.0 - 8e-4).abs() < 1e-12);
        assert_eq!(seen.within.1, 6);
    }

    #[test]
    fn blocks_that_differ_are_seen_and_others_hardly() {
        let sd = |apart| {
            let (fit, block) = two(12, apart);
            BlocksSeen::of(&fit, &block).unwrap().variance().sqrt()
        };
        assert!(sd(0.0) < 0.005, "{}", sd(0.0));
        assert!(sd(0.06) > 0.015, "{}", sd(0.06));
        assert!(sd(0.01) < sd(0.02) && sd(0.02) < sd(0.04));
    }

    #[test]
    fn nothing_is_said_where_nothing_can_be() {
        let (fit, block) = two(4, 0.04);
        assert!(BlocksSeen::of(&fit, &[Some(0); 8]).is_none());
        assert!(BlocksSeen::of(&fit, &block[1..]).is_none());
        let alone: Vec<_> = (0..8).map(Some).collect();
        assert!(BlocksSeen::of(&fit, &alone).is_none());
        // A column that tells the blocks apart.
        let x = DMatrix::from_fn(8, 2, |i, j| if j == 0 { 1.0 } else { (i / 4) as f64 });
        let y: Vec<f64> = (0..8).map(|i| f64::from(i % 3)).collect();
        let fit = least_squares(&x, &y, None).unwrap();
        assert!(BlocksSeen::of(&fit, &block).is_none());
    }

    #[test]
    fn the_scatter_within_blocks_is_the_fits_less_what_the_blocks_add() {
        // Squares 8 · 0.01² within and 2 · 0.04² between, 4e-3 in all on 7 degrees of freedom; the blocks' variance counts four times.
        let (fit, block) = two(4, 0.04);
        let seen = BlocksSeen::of(&fit, &block).unwrap();
        let sd = |variance: f64| seen.within_sd(&fit, variance);
        assert!((sd(1e-4) - (3.6e-3f64 / 7.0).sqrt()).abs() < 1e-12);
        assert!((sd(0.0) - (4e-3f64 / 7.0).sqrt()).abs() < 1e-12);
        // Never under what the runs scatter within their blocks: 8e-4 on 6.
        assert!((sd(8e-4) - (8e-4f64 / 6.0).sqrt()).abs() < 1e-12);
    }
}
