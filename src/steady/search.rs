//! Looking for steady stretches in block averages.

use super::blocks::Blocks;
use crate::bench::Channel;
use crate::bench::logs::SteadyRules;
use crate::logs::window::Span;
use crate::stats::normal;

/// Blocks of one channel with its limits.
#[derive(Clone, Debug)]
pub struct Watched {
    /// The quantity.
    pub channel: Channel,
    /// Its block averages.
    pub blocks: Blocks,
    /// Largest drift: a fraction of the mean for the draw, K for temperatures.
    pub drift: f64,
    /// Largest spread, likewise.
    pub spread: f64,
    /// Whether the limits are fractions of the mean.
    pub relative: bool,
    /// Limits that are fractions never fall below this, W.
    pub least: f64,
    /// What a block scatters by for no other reason than fast noise, where few readings stand in it: a standard deviation.
    pub noise: f64,
}

/// The draw's limits never fall below this, W, nor below a step of its display: a standby draw of a watt is read in steps of
/// a few per cent.
const LEAST_DRAW_LIMIT_W: f64 = 0.5;

/// A draw below this share of the highest in the window is a unit switched off. Common practice, no source.
pub const OFF: f64 = 0.03;

/// What keeps a stretch from being steady.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// It drifts.
    Drift {
        /// The quantity.
        channel: Channel,
        /// The drift over the horizon or the stretch, as the limit is written.
        value: f64,
        /// The limit.
        limit: f64,
    },
    /// It spreads.
    Spread {
        /// The quantity.
        channel: Channel,
        /// Highest less lowest, as the limit is written.
        value: f64,
        /// The limit.
        limit: f64,
    },
    /// The unit is off in it, but not in the whole window.
    Off,
    /// Too few blocks hold readings.
    Empty {
        /// The quantity.
        channel: Channel,
    },
}

/// A stretch of blocks, `from` to before `to`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// First block.
    pub from: usize,
    /// Block after the last.
    pub to: usize,
}

impl Stretch {
    /// Its length in blocks.
    pub fn len(&self) -> usize {
        self.to.saturating_sub(self.from)
    }

    /// Whether it has no blocks.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The block in its middle, as a number of blocks from the window's start.
    pub fn middle(&self) -> f64 {
        0.5 * (self.from + self.to) as f64
    }
}

/// The search: what is watched and how long a stretch must be.
#[derive(Clone, Debug)]
pub struct Search {
    /// The draw first, then intake and outlet where they were logged.
    pub watched: Vec<Watched>,
    /// Fewest blocks of a stretch.
    pub least: usize,
    /// Blocks over which drift is judged.
    pub horizon: f64,
    /// Blocks in the window.
    pub count: usize,
    /// A draw below this is a unit switched off, W: no stretch of a run.
    pub off_w: f64,
}

impl Watched {
    /// The draw with its limits; `step` is the smallest step of its readings, W.
    pub fn draw(blocks: Blocks, step: f64, rules: &SteadyRules) -> Self {
        Watched {
            channel: Channel::Power,
            blocks,
            drift: rules.draw_drift,
            spread: rules.draw_spread,
            relative: true,
            least: LEAST_DRAW_LIMIT_W.max(step),
            noise: 0.0,
        }
    }

    /// The same with what a block scatters by through fast noise.
    pub fn with_noise(self, noise: f64) -> Self {
        Watched { noise, ..self }
    }

    /// A temperature with its limits.
    pub fn temperature(channel: Channel, blocks: Blocks, rules: &SteadyRules) -> Self {
        Watched {
            channel,
            blocks,
            drift: rules.temp_drift_k,
            spread: rules.temp_spread_k,
            relative: false,
            least: 0.0,
            noise: 0.0,
        }
    }

    /// What one unit of a limit is at a level of the quantity.
    pub fn unit_at(&self, level: f64) -> f64 {
        if self.relative {
            level.abs().max(self.least / self.drift.min(self.spread))
        } else {
            1.0
        }
    }

    /// Whether the stretch is steady in this quantity.
    fn judge(&self, s: Stretch, horizon: f64) -> Result<(), Trouble> {
        let channel = self.channel;
        let Some(line) = self.blocks.line(s.from, s.to) else {
            return Err(Trouble::Empty { channel });
        };
        // Half the blocks may be empty: a gap does not unmake what stands on both its sides.
        if self.channel == Channel::Power && line.count * 2 < s.len() {
            return Err(Trouble::Empty { channel });
        }
        let unit = self.unit_at(line.mean);
        let length = s.len() as f64;
        let span = horizon.max(length);
        // Over the horizon a drift counts only as far as it is sure; over the stretch itself as it stands.
        let sure = (line.slope.abs() - 2.0 * line.slope_se).max(0.0) * span / unit;
        let inside = line.slope.abs() * length / unit;
        if sure.max(inside) > self.drift {
            return Err(Trouble::Drift {
                channel,
                value: line.slope.abs() * span / unit,
                limit: self.drift,
            });
        }
        if let Some((low, high)) = self.blocks.range(s.from, s.to) {
            let value = (high - low) / unit;
            if value > self.spread
                && (value > self.spread + self.by_noise(line.count, unit)
                    || self.blocks.alike_neighbours(s.from, s.to))
            {
                return Err(Trouble::Spread {
                    channel,
                    value,
                    limit: self.spread,
                });
            }
        }
        Ok(())
    }

    /// The spread that fast noise alone gives so many blocks, as the limit is written.
    ///
    /// Averages over a minute of readings every second have none to speak of; a reading a minute has all of it, and the highest
    /// of many such readings less the lowest grows with their number, however steady the draw. No more than half the limit is
    /// taken for noise, so that fast cycling is not.
    fn by_noise(&self, count: usize, unit: f64) -> f64 {
        normal_range(count) * (self.noise / unit).min(0.5 * self.spread)
    }
}

/// The expected range of so many normal values of standard deviation 1, by Blom's approximation of the largest: twice the normal
/// quantile of (n − 3/8)/(n + 1/4) (Blom 1958, "Statistical estimates and transformed beta-variables").
fn normal_range(count: usize) -> f64 {
    let n = count.max(1) as f64;
    2.0 * normal::quantile((n - 0.375) / (n + 0.25)).max(0.0)
}

impl Search {
    /// Whether a stretch is steady in everything watched that has readings there.
    ///
    /// # Errors
    /// The first trouble.
    pub fn judge(&self, s: Stretch) -> Result<(), Trouble> {
        let draw = self.watched.first();
        if draw
            .and_then(|w| w.blocks.mean(s.from, s.to))
            .is_some_and(|m| m < self.off_w)
        {
            return Err(Trouble::Off);
        }
        for w in &self.watched {
            match w.judge(s, self.horizon) {
                // A thermometer that gives a reading every few minutes, or none, does not judge.
                Err(Trouble::Empty { channel }) if channel != Channel::Power => {}
                other => other?,
            }
        }
        Ok(())
    }

    /// The longest stretch between two blocks that is steady both with and without its start-up, of the latest where several are as long.
    pub fn longest(&self, from: usize, to: usize) -> Option<Stretch> {
        let to = to.min(self.count);
        let mut length = to.checked_sub(from)?;
        while length >= self.least {
            for start in (from..=to - length).rev() {
                let s = Stretch {
                    from: start,
                    to: start + length,
                };
                // A start-up one way and a drift the other can look level together.
                if self.judge(s).is_ok() && self.judge(self.without_start(s)).is_ok() {
                    return Some(s);
                }
            }
            length -= 1;
        }
        None
    }

    /// Where the start-up ends inside a stretch: the rest of it.
    ///
    /// For each quantity the truncation that leaves the mean with the least squared standard error, over all that leave half the
    /// stretch and the least length (White 1997, "An effective truncation heuristic for bias reduction in simulation output",
    /// Simulation 69, 323–334); it is used only where the part cut off differs from the rest beyond its own scatter.
    pub fn without_start(&self, s: Stretch) -> Stretch {
        let keep = self.least.max(s.len() / 2);
        let cut = self
            .watched
            .iter()
            .filter_map(|w| truncation(w.blocks.part(s.from, s.to), keep))
            .max()
            .unwrap_or(0);
        Stretch {
            from: s.from + cut,
            to: s.to,
        }
    }
}

impl Search {
    /// The length of a block in a window, s.
    pub fn block_s(&self, window: Span) -> f64 {
        window.length() / self.count.max(1) as f64
    }

    /// A stretch without the blocks at its ends that may hold some of a change beside it; the least length stays.
    pub fn without_edges(&self, s: Stretch) -> Stretch {
        let mut inner = s;
        if s.to < self.count && inner.len() > self.least {
            inner.to -= 1;
        }
        if s.from > 0 && inner.len() > self.least {
            inner.from += 1;
        }
        inner
    }
}

/// The number of blocks to cut off at the start, where the start differs from the rest.
fn truncation(values: &[Option<f64>], keep: usize) -> Option<usize> {
    let most = values.len().checked_sub(keep)?;
    // Mean and squares of what is left, from the end.
    let (mut n, mut mean, mut squares) = (0.0_f64, 0.0_f64, 0.0_f64);
    let mut best: Option<(f64, usize, f64, f64, f64)> = None;
    for (i, v) in values.iter().enumerate().rev() {
        if let Some(v) = v {
            n += 1.0;
            let step = v - mean;
            mean += step / n;
            squares += step * (v - mean);
        }
        if i <= most && n >= 3.0 {
            let score = squares / (n * n);
            if best.is_none_or(|b| score < b.0) {
                best = Some((score, i, n, mean, squares));
            }
        }
    }
    let (_, cut, n, mean, squares) = best?;
    if cut == 0 {
        return None;
    }
    let early: Vec<f64> = values.iter().take(cut).flatten().copied().collect();
    if early.is_empty() {
        return Some(cut);
    }
    let count = early.len() as f64;
    let early_mean = early.iter().sum::<f64>() / count;
    let scatter = (squares / (n - 1.0)).sqrt();
    // Twice 1.5, the factor for correlated blocks as in the line's standard error.
    let sure = 3.0 * scatter * (1.0 / count + 1.0 / n).sqrt();
    ((early_mean - mean).abs() > sure).then_some(cut)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made::dice::Dice;

    fn search(values: Vec<f64>) -> Search {
        let rules = SteadyRules::default();
        let count = values.len();
        let blocks = Blocks::from_values(values.into_iter().map(Some).collect());
        Search {
            watched: vec![Watched::draw(blocks, 0.0, &rules)],
            least: 10,
            horizon: 30.0,
            count,
            off_w: 0.0,
        }
    }

    #[test]
    fn a_start_up_is_left_out_where_it_ends() {
        let mut dice = Dice::new(1, 0);
        let values = (0..70)
            .map(|i| 225.0 * (1.0 - 0.33 * (-f64::from(i) / 5.0).exp()) + 0.5 * dice.normal())
            .collect();
        let search = search(values);
        let found = search.longest(0, 70).unwrap();
        let rest = search.without_start(found);
        assert_eq!(found.to, 70);
        // 0.33 exp(-t/5) falls to 0.3 % after 23.5 blocks and to 0.1 % after 29.
        assert!((20..32).contains(&rest.from), "{found:?} {rest:?}");
    }

    #[test]
    fn the_published_example_is_cut_where_it_says() {
        // The rule of White (1997) on a made series 100 − 30 exp(−k/6) + N(0, 1): tests/reference/logs/mser_worked_example.json.
        let text = include_str!("../../tests/reference/logs/mser_worked_example.json");
        let json: serde_json::Value = serde_json::from_str(text).unwrap();
        let values: Vec<Option<f64>> = json["series"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64())
            .collect();
        let want = json["d_star"].as_u64().unwrap() as usize;
        assert_eq!(truncation(&values, values.len() / 2), Some(want));
    }

    #[test]
    fn noise_alone_is_not_cut_and_a_drift_is_not_steady() {
        let mut dice = Dice::new(2, 0);
        let noise = search((0..60).map(|_| 200.0 + 0.5 * dice.normal()).collect());
        let all = Stretch { from: 0, to: 60 };
        assert_eq!(noise.longest(0, 60), Some(all));
        assert_eq!(noise.without_start(all), all);
        let drift = search((0..60).map(|i| 200.0 + 0.9 * f64::from(i)).collect());
        assert_eq!(drift.longest(0, 60), None);
        assert!(matches!(
            drift.judge(all),
            Err(Trouble::Drift {
                channel: Channel::Power,
                ..
            })
        ));
    }

    #[test]
    fn a_thermometer_without_readings_does_not_judge_and_a_draw_without_does() {
        let none = || Blocks::from_values(vec![None; 60]);
        let mut search = search(vec![200.0; 60]);
        let all = Stretch { from: 0, to: 60 };
        let rules = SteadyRules::default();
        search
            .watched
            .push(Watched::temperature(Channel::IntakeTemp, none(), &rules));
        assert_eq!(search.judge(all), Ok(()));
        search.watched[0] = Watched::draw(none(), 0.0, &rules);
        let power = Channel::Power;
        assert_eq!(search.judge(all), Err(Trouble::Empty { channel: power }));
    }

    #[test]
    fn a_drift_is_told_over_the_horizon_or_the_stretch() {
        // 0.9 W a block from 200 W: over twenty blocks, mean 208.55, thirty blocks' worth; over sixty, mean 226.55, all of them.
        let drift = search((0..60).map(|i| 200.0 + 0.9 * f64::from(i)).collect());
        for (to, want) in [(20, 27.0 / 208.55), (60, 54.0 / 226.55)] {
            let Err(Trouble::Drift { value, .. }) = drift.judge(Stretch { from: 0, to }) else {
                panic!("no drift in {to}");
            };
            assert!((value - want).abs() < 1e-9, "{value} {want}");
        }
        assert_eq!(Stretch { from: 10, to: 21 }.middle(), 15.5);
    }
}
