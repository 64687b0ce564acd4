//! A series averaged over equal blocks of time: for finding stretches, never for their means.

use crate::logs::series::Series;
use crate::logs::window::Span;

/// Block averages of one channel, with what is needed to judge any stretch of them at once.
#[derive(Clone, Debug)]
pub struct Blocks {
    values: Vec<Option<f64>>,
    /// Running sums before each block: count, x, y, xx, xy, yy; y about `centre`.
    sums: Vec<[f64; 6]>,
    centre: f64,
}

/// A straight line through the blocks of a stretch, and what they spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Blocks with readings.
    pub count: usize,
    /// Mean of the blocks.
    pub mean: f64,
    /// Change from one block to the next.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
    /// Standard deviation of the blocks about the line.
    pub scatter: f64,
}

/// A parabola through the blocks of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// Mean change from one block to the next.
    pub slope: f64,
    /// Change of that change from one block to the next.
    pub bend: f64,
    /// Standard error of the bend.
    pub bend_se: f64,
    /// Change from one block to the next at the start.
    pub start_slope: f64,
    /// The same at the end.
    pub end_slope: f64,
}

/// Noise of one-minute averages is still somewhat correlated from one to the next; with a lag-one correlation of 0.4 the standard
/// error of a slope is sqrt(1.4 / 0.6) times that of independent values.
pub const CORRELATED: f64 = 1.5;
/// Twice one less the largest correlation between neighbours that still counts as fast noise, about a third.
const ALIKE_BELOW: f64 = 1.3;

impl Blocks {
    /// Averages a series over `count` equal blocks of a window.
    pub fn of(series: &Series, span: Span, count: usize) -> Self {
        let width = span.length() / count.max(1) as f64;
        let mut sums = vec![(0.0, 0.0); count];
        for bin in series.within(span.start, span.end) {
            let at = ((bin.middle() - span.start) / width) as usize;
            if let Some((n, sum)) = sums.get_mut(at.min(count.saturating_sub(1))) {
                *n += f64::from(bin.count);
                *sum += f64::from(bin.count) * bin.mean;
            }
        }
        Self::from_values(
            sums.into_iter()
                .map(|(n, sum)| (n > 0.0).then(|| sum / n))
                .collect(),
        )
    }

    /// Blocks with the given averages.
    pub fn from_values(values: Vec<Option<f64>>) -> Self {
        let present = values.iter().flatten().count().max(1) as f64;
        let centre = values.iter().flatten().sum::<f64>() / present;
        let mut sums = Vec::with_capacity(values.len() + 1);
        let mut run = [0.0; 6];
        sums.push(run);
        for (i, v) in values.iter().enumerate() {
            if let Some(v) = v {
                let (x, y) = (i as f64, v - centre);
                for (s, term) in run.iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
                    *s += term;
                }
            }
            sums.push(run);
        }
        Blocks {
            values,
            sums,
            centre,
        }
    }

    /// How many blocks there are.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The averages from block `from` up to, not with, block `to`.
    pub fn part(&self, from: usize, to: usize) -> &[Option<f64>] {
        self.values.get(from..to.max(from)).unwrap_or_default()
    }

    /// The mean of the blocks from `from` to before `to`; none where all are empty.
    pub fn mean(&self, from: usize, to: usize) -> Option<f64> {
        let [n, _, y, ..] = self.between(from, to)?;
        (n > 0.0).then(|| self.centre + y / n)
    }

    fn between(&self, from: usize, to: usize) -> Option<[f64; 6]> {
        let (a, b) = (self.sums.get(from)?, self.sums.get(to)?);
        let mut out = [0.0; 6];
        for (o, (a, b)) in out.iter_mut().zip(a.iter().zip(b)) {
            *o = b - a;
        }
        Some(out)
    }

    /// The straight line through the blocks from `from` to before `to`; none for fewer than three with readings.
    pub fn line(&self, from: usize, to: usize) -> Option<Line> {
        let [n, x, y, xx, xy, yy] = self.between(from, to)?;
        if n < 3.0 {
            return None;
        }
        let sxx = xx - x * x / n;
        let sxy = xy - x * y / n;
        let syy = (yy - y * y / n).max(0.0);
        if sxx <= 0.0 {
            return None;
        }
        let slope = sxy / sxx;
        let rest = (syy - slope * sxy).max(0.0) / (n - 2.0);
        Some(Line {
            count: n as usize,
            mean: self.centre + y / n,
            slope,
            slope_se: CORRELATED * (rest / sxx).sqrt(),
            scatter: rest.sqrt(),
        })
    }

    /// The parabola through the blocks from `from` to before `to`; none for fewer than five with readings.
    pub fn curve(&self, from: usize, to: usize) -> Option<Curve> {
        let points: Vec<(f64, f64)> = self
            .part(from, to)
            .iter()
            .enumerate()
            .filter_map(|(i, v)| Some((i as f64, (*v)? - self.centre)))
            .collect();
        let n = points.len() as f64;
        if n < 5.0 {
            return None;
        }
        let mean =
            |f: &dyn Fn(f64, f64) -> f64| points.iter().map(|(x, y)| f(*x, *y)).sum::<f64>() / n;
        let mx = mean(&|x, _| x);
        let my = mean(&|_, y| y);
        // Polynomials orthogonal over the blocks that there are: 1, p = x − m, q = p² − a p − b.
        let pp = mean(&|x, _| (x - mx).powi(2));
        let a = mean(&|x, _| (x - mx).powi(3)) / pp;
        let q = |x: f64| (x - mx).powi(2) - a * (x - mx) - pp;
        let qq = mean(&|x, _| q(x).powi(2));
        let slope = mean(&|x, y| (x - mx) * y) / pp;
        let half = mean(&|x, y| q(x) * y) / qq;
        let rest = mean(&|x, y| (y - my - slope * (x - mx) - half * q(x)).powi(2)) * n / (n - 3.0);
        let at = |x: f64| slope + half * (2.0 * (x - mx) - a);
        let (first, last) = (points.first()?.0, points.last()?.0);
        Some(Curve {
            slope,
            bend: 2.0 * half,
            bend_se: 2.0 * CORRELATED * (rest / (qq * n)).sqrt(),
            start_slope: at(first),
            end_slope: at(last),
        })
    }

    /// Whether neighbouring blocks are more alike than those of fast noise: the sum of the squared steps between them over that of the
    /// squared distances from their mean (von Neumann 1941, "Distribution of the ratio of the mean square successive difference to
    /// the variance", Annals of Mathematical Statistics 12, 367–395) is 2 for noise without memory, 2(1 − r) for a correlation r
    /// between neighbours, and has a standard deviation of about 2/√n. Up to a third of correlation passes.
    pub fn alike_neighbours(&self, from: usize, to: usize) -> bool {
        let part = self.part(from, to);
        let Some(mean) = self.mean(from, to) else {
            return false;
        };
        let n = part.iter().flatten().count().max(1) as f64;
        let apart: f64 = part.iter().flatten().map(|v| (v - mean).powi(2)).sum();
        let (mut steps, mut pairs) = (0.0, 0.0);
        for pair in part.windows(2) {
            if let [Some(a), Some(b)] = pair {
                steps += (b - a).powi(2);
                pairs += 1.0;
            }
        }
        // Empty blocks leave fewer steps than distances.
        let ratio = steps / f64::max(pairs, 1.0) / (apart / n);
        ratio < ALIKE_BELOW * (1.0 - 1.645 / n.sqrt())
    }

    /// Sum of squares of the blocks of two stretches about one straight line, and about the mean of each; with their count.
    pub fn line_or_step(&self, a: (usize, usize), b: (usize, usize)) -> Option<(f64, f64, f64)> {
        let (p, q) = (self.between(a.0, a.1)?, self.between(b.0, b.1)?);
        let about_mean = |s: &[f64; 6]| {
            let [n, _, y, _, _, yy] = s;
            (*n > 0.0).then(|| (yy - y * y / n).max(0.0))
        };
        let mut all = p;
        for (sum, more) in all.iter_mut().zip(q) {
            *sum += more;
        }
        let [n, x, y, xx, xy, _] = all;
        let (sxx, sxy) = (xx - x * x / n, xy - x * y / n);
        let line = about_mean(&all)? - sxy * sxy / sxx;
        (sxx > 0.0).then_some((line.max(0.0), about_mean(&p)? + about_mean(&q)?, n))
    }

    /// Lowest and highest block from `from` to before `to`.
    pub fn range(&self, from: usize, to: usize) -> Option<(f64, f64)> {
        self.part(from, to)
            .iter()
            .flatten()
            .fold(None, |range, v| match range {
                None => Some((*v, *v)),
                Some((low, high)) => Some((v.min(low), v.max(high))),
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_past_empty_blocks() {
        let values = (0..20)
            .map(|i| (i % 5 != 3).then(|| 1000.0 + 2.0 * f64::from(i)))
            .collect();
        let blocks = Blocks::from_values(values);
        let line = blocks.line(4, 20).unwrap();
        assert!((line.slope - 2.0).abs() < 1e-9);
        assert!(line.scatter < 1e-5);
        assert_eq!(blocks.range(0, 20), Some((1000.0, 1038.0)));
        assert_eq!(blocks.line(0, 2), None);
    }

    #[test]
    fn a_parabola_is_found_past_empty_blocks() {
        let values = (0..12)
            .map(|i| (i != 4).then(|| 50.0 + 3.0 * f64::from(i) - 0.1 * f64::from(i * i)))
            .collect();
        let curve = Blocks::from_values(values).curve(0, 12).unwrap();
        assert!((curve.bend + 0.2).abs() < 1e-9, "{curve:?}");
        assert!((curve.start_slope - 3.0).abs() < 1e-9);
        assert!((curve.end_slope - 0.8).abs() < 1e-9);
    }

    #[test]
    fn a_line_s_scatter_is_that_worked_by_hand() {
        // Mean 2.5, Sxx 5, Sxy 4, Syy 5: slope 0.8, 1.8 left over two degrees of freedom. Each half is 2 from its own mean.
        let blocks = Blocks::from_values([1.0, 3.0, 2.0, 4.0].map(Some).to_vec());
        let line = blocks.line(0, 4).unwrap();
        assert!((line.slope - 0.8).abs() < 1e-12);
        assert!((line.scatter - 0.9_f64.sqrt()).abs() < 1e-12);
        assert!((line.slope_se - CORRELATED * 0.18_f64.sqrt()).abs() < 1e-12);
        let (line, step, n) = blocks.line_or_step((0, 2), (2, 4)).unwrap();
        assert!((line - 1.8).abs() < 1e-12 && (step - 4.0).abs() < 1e-12);
        assert_eq!(n, 4.0);
    }

    #[test]
    fn a_parabola_s_bend_has_the_error_worked_by_hand() {
        // The orthogonal polynomials of five points: the cubic (−1, 2, 0, −2, 1) is what a parabola leaves, sum of squares 10 over two
        // degrees of freedom; the quadratic (2, −1, −2, −1, 2) has 14.
        let values = [17.0, 8.0, 2.0, 4.0, 19.0];
        let curve = Blocks::from_values(values.map(Some).to_vec())
            .curve(0, 5)
            .unwrap();
        // 10 + 4 (2, −1, −2, −1, 2) + the cubic.
        assert!((curve.bend - 8.0).abs() < 1e-12, "{curve:?}");
        assert!(curve.slope.abs() < 1e-12);
        assert!((curve.bend_se - 2.0 * CORRELATED * (5.0_f64 / 14.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn neighbours_are_alike_where_few_steps_are_taken() {
        // ±1 in sixteen blocks with c changes of sign: a ratio of 4c/15 against 1.3 (1 − 1.645/4) = 0.765.
        let sign = |runs: &[usize]| -> Vec<Option<f64>> {
            let of = |(i, n): (usize, &usize)| vec![Some(if i % 2 == 0 { 6.0 } else { 4.0 }); *n];
            runs.iter().enumerate().flat_map(of).collect()
        };
        assert!(Blocks::from_values(sign(&[4, 8, 4])).alike_neighbours(0, 16));
        assert!(!Blocks::from_values(sign(&[4, 4, 4, 4])).alike_neighbours(0, 16));
    }

    #[test]
    fn blocks_are_means_of_the_readings_in_them() {
        let mut series = Series::new(64);
        for i in 0..60 {
            series.add(f64::from(i), f64::from(i / 10));
        }
        let span = Span {
            start: 0.0,
            end: 60.0,
        };
        let blocks = Blocks::of(&series, span, 6);
        let want: Vec<_> = (0..6).map(|i| Some(f64::from(i))).collect();
        assert_eq!(blocks.part(0, 6), want);
    }
}
