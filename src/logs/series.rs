//! A channel's readings in one run, in bounded memory.

/// Several readings in a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Time of the first, s.
    pub first: f64,
    /// Time of the last, s.
    pub last: f64,
    /// How many.
    pub count: u32,
    /// Their mean.
    pub mean: f64,
    /// The lowest, for pictures.
    pub low: f32,
    /// The highest, likewise.
    pub high: f32,
}

/// 1/n for small n; n of 0 is never asked for.
const RECIPROCALS: [f64; 512] = {
    let mut table = [1.0; 512];
    let mut n = 1;
    while n < 512 {
        table[n] = 1.0 / n as f64;
        n += 1;
    }
    table
};

impl Bin {
    fn of(t: f64, v: f64) -> Self {
        Bin {
            first: t,
            last: t,
            count: 1,
            mean: v,
            low: v as f32,
            high: v as f32,
        }
    }

    /// The middle of its time, s.
    pub fn middle(&self) -> f64 {
        0.5 * (self.first + self.last)
    }

    fn add(&mut self, t: f64, v: f64) {
        self.count += 1;
        // A table saves a division for every reading.
        let share = match RECIPROCALS.get(self.count as usize) {
            Some(share) => *share,
            None => 1.0 / f64::from(self.count),
        };
        self.mean += (v - self.mean) * share;
        let short = v as f32;
        if short < self.low {
            self.low = short;
        }
        if short > self.high {
            self.high = short;
        }
        self.last = t;
    }

    fn join(&mut self, other: &Bin) {
        let total = self.count + other.count;
        self.mean += (other.mean - self.mean) * f64::from(other.count) / f64::from(total);
        self.count = total;
        self.low = self.low.min(other.low);
        self.high = self.high.max(other.high);
        self.last = other.last;
    }
}

/// Pauses kept, the longest.
const KEPT_GAPS: usize = 8;

/// A series that never holds more than a fixed number of bins: while there is room a bin is one reading; when there is none,
/// neighbours are joined and from then on each bin takes twice as many readings. So means over many bins stay exact.
#[derive(Clone, Debug)]
pub struct Series {
    bins: Vec<Bin>,
    room: usize,
    per_bin: u32,
    /// The longest pauses between readings: from, to.
    gaps: Vec<(f64, f64)>,
    /// Once as many are kept as may be: the shortest of them.
    least_gap: f64,
    /// The smallest step between readings that differ: the resolution, or the noise where that is larger.
    step: f64,
    last: f64,
    count: usize,
}

impl Default for Series {
    fn default() -> Self {
        Series::new(16)
    }
}

impl Series {
    /// An empty series of at most `room` bins.
    pub fn new(room: usize) -> Self {
        Series {
            bins: Vec::new(),
            room: room.max(16),
            per_bin: 1,
            gaps: Vec::new(),
            least_gap: 0.0,
            step: f64::INFINITY,
            last: f64::NAN,
            count: 0,
        }
    }

    /// A series of the given bins, in order of time.
    pub fn from_bins(bins: Vec<Bin>) -> Self {
        let mut series = Series::new(bins.len());
        for bin in bins {
            if let Some(before) = series.bins.last().map(|b: &Bin| b.last) {
                series.note_pause(before, bin.first);
            }
            series.count += bin.count as usize;
            series.bins.push(bin);
        }
        series
    }

    /// Adds a reading that is not earlier than the last.
    #[inline]
    pub fn add(&mut self, t: f64, v: f64) {
        self.count += 1;
        // NaN before the first reading: no step.
        let step = (v - self.last).abs();
        if step > 0.0 && step < self.step {
            self.step = step;
        }
        self.last = v;
        match self.bins.last_mut() {
            Some(bin) => {
                let pause = t - bin.last;
                let full = bin.count >= self.per_bin;
                if !full {
                    bin.add(t, v);
                }
                if pause > self.least_gap {
                    self.note_pause(t - pause, t);
                }
                if full {
                    self.open(t, v);
                }
            }
            None => self.open(t, v),
        }
    }

    fn open(&mut self, t: f64, v: f64) {
        if self.bins.len() >= self.room {
            self.halve();
        }
        self.bins.push(Bin::of(t, v));
    }

    #[cold]
    fn note_pause(&mut self, from: f64, to: f64) {
        self.gaps.push((from, to));
        if self.gaps.len() > KEPT_GAPS {
            self.gaps
                .sort_by(|a, b| (b.1 - b.0).total_cmp(&(a.1 - a.0)));
            self.gaps.truncate(KEPT_GAPS);
            self.least_gap = self.gaps.last().map_or(0.0, |g| g.1 - g.0);
        }
    }

    fn halve(&mut self) {
        let mut out = 0;
        let mut at = 0;
        while let Some(mut bin) = self.bins.get(at).copied() {
            if let Some(next) = self.bins.get(at + 1) {
                bin.join(next);
            }
            if let Some(slot) = self.bins.get_mut(out) {
                *slot = bin;
            }
            out += 1;
            at += 2;
        }
        self.bins.truncate(out);
        self.per_bin = self.per_bin.saturating_mul(2);
    }

    /// The bins, in order of time.
    pub fn bins(&self) -> &[Bin] {
        &self.bins
    }

    /// The bins whose middle lies from `from` to before `to`.
    pub fn within(&self, from: f64, to: f64) -> &[Bin] {
        let start = self.bins.partition_point(|b| b.middle() < from);
        let end = self.bins.partition_point(|b| b.middle() < to);
        self.bins.get(start..end.max(start)).unwrap_or_default()
    }

    /// Readings taken.
    pub fn count(&self) -> usize {
        self.count
    }

    /// The smallest step between readings that differ; none where all are the same.
    pub fn step(&self) -> Option<f64> {
        self.step.is_finite().then_some(self.step)
    }

    /// The same series, whose readings are known to be no finer than `step`: worked out from others that are read in steps.
    pub fn no_finer_than(mut self, step: f64) -> Self {
        if step > 0.0 && !(self.step.is_finite() && self.step > step) {
            self.step = step;
        }
        self
    }

    /// The same series without the bins of these indices, in rising order.
    pub fn without(&self, left_out: &[usize]) -> Self {
        let mut out = Series::from_bins(
            self.bins
                .iter()
                .enumerate()
                .filter(|(i, _)| left_out.binary_search(i).is_err())
                .map(|(_, b)| *b)
                .collect(),
        );
        out.step = self.step;
        out
    }

    /// Standard deviation of one bin from what changes between neighbours, whatever wanders slowly or steps now and then: the
    /// median step between neighbours over that of normal noise of standard deviation 1 (0.6745 √2); none for fewer than eight.
    pub fn fast_noise(&self, from: f64, to: f64) -> Option<f64> {
        let mut steps: Vec<f64> = self
            .within(from, to)
            .windows(2)
            .filter_map(|pair| match pair {
                [a, b] => Some((b.mean - a.mean).abs()),
                _ => None,
            })
            .collect();
        if steps.len() < 8 {
            return None;
        }
        let middle = steps.len() / 2;
        let (_, median, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
        Some(*median / (0.6745 * std::f64::consts::SQRT_2))
    }

    /// The usual time between readings, s: the median over bins; none for fewer than two readings.
    pub fn interval(&self) -> Option<f64> {
        let mut all: Vec<f64> = self
            .bins
            .windows(2)
            .filter_map(|pair| match pair {
                [a, b] if b.first > a.first => {
                    Some((b.first - a.first) / f64::from(a.count.max(1)))
                }
                _ => None,
            })
            .collect();
        if all.is_empty() {
            return None;
        }
        let middle = all.len() / 2;
        let (_, median, _) = all.select_nth_unstable_by(middle, f64::total_cmp);
        Some(*median)
    }

    /// A pause longer than this is none of the usual ones, s: ten usual intervals and a minute.
    pub fn pause_limit(&self) -> Option<f64> {
        Some((10.0 * self.interval()?).max(60.0))
    }

    /// The parts of pauses that lie between `from` and `to`, where longer than `limit`: from, to; longest first.
    pub fn pauses(&self, from: f64, to: f64, limit: f64) -> Vec<(f64, f64)> {
        let mut found: Vec<(f64, f64)> = self
            .gaps
            .iter()
            .map(|g| (g.0.max(from), g.1.min(to)))
            .filter(|g| g.1 - g.0 > limit)
            .collect();
        found.sort_by(|a, b| (b.1 - b.0).total_cmp(&(a.1 - a.0)));
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_and_counts_survive_joining() {
        let mut series = Series::new(64);
        let n = 10_000;
        for i in 0..n {
            series.add(f64::from(i), f64::from(i % 7));
        }
        assert!(series.bins().len() <= 64);
        let count: u32 = series.bins().iter().map(|b| b.count).sum();
        assert_eq!(count, n as u32);
        let mean = series
            .bins()
            .iter()
            .map(|b| b.mean * f64::from(b.count))
            .sum::<f64>()
            / f64::from(n);
        let want = (0..n).map(|i| f64::from(i % 7)).sum::<f64>() / f64::from(n);
        assert!((mean - want).abs() < 1e-10);
        assert_eq!(series.interval(), Some(1.0));
    }

    #[test]
    fn the_longest_pauses_are_kept() {
        let mut series = Series::new(64);
        let mut t = 0.0;
        for i in 0..1000 {
            t += if i == 300 { 540.0 } else { 1.0 };
            series.add(t, 1.0);
        }
        assert_eq!(series.pauses(0.0, 2000.0, 5.0), [(300.0, 840.0)]);
        assert_eq!(series.pauses(700.0, 2000.0, 5.0), [(700.0, 840.0)]);
        assert!(series.pauses(900.0, 2000.0, 5.0).is_empty());
    }

    #[test]
    fn a_stretch_holds_the_bins_inside_it() {
        let mut series = Series::new(64);
        for i in 0..20 {
            series.add(f64::from(i), f64::from(i));
        }
        let inside: Vec<f64> = series.within(5.0, 8.0).iter().map(|b| b.mean).collect();
        assert_eq!(inside, [5.0, 6.0, 7.0]);
    }
}
