//! Do two logs' clocks agree? The lag that best lines up their start-ups.

use super::readings::{Readings, at};
use crate::bench::logs::LogBench;
use crate::bench::{Channel, Finding, Place, Severity};
use crate::logs::series::Bin;
use crate::logs::window::Span;

/// A clock shift that would line up two logs better than they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Suggestion {
    /// The log whose clock seems off: its file as `bench.toml` names it.
    pub file: String,
    /// Where that stands.
    pub place: Place,
    /// What to add to its clock, s, beside the shift that it has.
    pub add_s: f64,
    /// The shift that it has.
    pub has_s: f64,
    /// Runs that speak for it.
    pub runs: usize,
}

/// Lags tried, each way, s.
const FARTHEST: f64 = 480.0;
/// Smaller lags are not worth a word: sensors themselves are that slow.
const LEAST: f64 = 20.0;
/// A lag is worth a word where what is left unexplained falls by this factor.
const BETTER: f64 = 1.5;

impl Suggestion {
    /// The suggestion as a finding.
    pub fn finding(&self) -> Finding {
        Finding::new(
            Severity::Warning,
            "clocks-disagree",
            format!(
                "the outlet in {} would follow the draw best with {:+.0} s added to its clock (in {} runs): if the two clocks disagree, write shift = \"{:.0} s\"; a thermometer that is slow looks the same",
                self.file,
                self.add_s,
                self.runs,
                self.has_s + self.add_s
            ),
        )
        .at(&self.place)
    }
}

/// Compares the clock of the log that gives the outlet with that of the one that gives the draw.
///
/// In each run the outlet around the start is fitted by a straight line in the draw at a lag; the lag with the least left over,
/// summed over all runs, is the suggestion, where it is clear and most runs agree.
pub fn suggestions(bench: &LogBench, readings: &[Readings], spans: &[Span]) -> Vec<Suggestion> {
    let holds = |c: Channel| {
        bench
            .logs
            .iter()
            .position(|l| l.channels.iter().any(|x| x.channel == c))
    };
    let meter = holds(Channel::Power).or_else(|| holds(Channel::Current));
    let (Some(meter), Some(air)) = (meter, holds(Channel::OutletTemp)) else {
        return Vec::new();
    };
    if meter == air {
        return Vec::new();
    }
    let Some(spec) = bench.logs.get(air) else {
        return Vec::new();
    };
    let curves: Vec<Curve> = readings
        .iter()
        .zip(spans)
        .filter_map(|(r, s)| Curve::of(r, *s))
        .collect();
    let Some((add_s, runs)) = best(&curves) else {
        return Vec::new();
    };
    vec![Suggestion {
        file: spec.file.clone(),
        place: spec.time.place.clone(),
        add_s,
        has_s: spec.time.shift_s,
        runs,
    }]
}

/// What is left unexplained in one run at each lag.
struct Curve {
    left: Vec<f64>,
    step: f64,
}

impl Curve {
    fn of(readings: &Readings, span: Span) -> Option<Curve> {
        let draw = readings.draw()?;
        let outlet = readings.get(Channel::OutletTemp)?;
        let step = 5.0;
        // The start-up, with what stands before it where the logs hold it.
        let until = span.start + (0.5 * span.length()).min(1800.0);
        let from = span.start - 300.0;
        let points: Vec<&Bin> = outlet
            .bins()
            .iter()
            .filter(|b| b.middle() >= from && b.middle() <= until)
            .collect();
        if points.len() < 8 {
            return None;
        }
        let count = (2.0 * FARTHEST / step) as usize + 1;
        let left: Vec<f64> = (0..count)
            .map(|k| unexplained(draw.bins(), &points, k as f64 * step - FARTHEST))
            .collect();
        Some(Curve { left, step })
    }

    fn best(&self) -> Option<(usize, f64)> {
        least(&self.left)
    }

    fn lag(&self, k: usize) -> f64 {
        k as f64 * self.step - FARTHEST
    }
}

fn least(values: &[f64]) -> Option<(usize, f64)> {
    values
        .iter()
        .copied()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// One less the squared correlation of the outlet, `lag` seconds later by the common clock, with the draw.
fn unexplained(draw: &[Bin], outlet: &[&Bin], lag: f64) -> f64 {
    let pairs: Vec<(f64, f64)> = outlet
        .iter()
        .filter_map(|b| Some((at(draw, b.middle() + lag)?, b.mean)))
        .collect();
    let n = pairs.len() as f64;
    let (mx, my) = (
        pairs.iter().map(|p| p.0).sum::<f64>() / n,
        pairs.iter().map(|p| p.1).sum::<f64>() / n,
    );
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        xx += (x - mx) * (x - mx);
        xy += (x - mx) * (y - my);
        yy += (y - my) * (y - my);
    }
    if xx > 0.0 && yy > 0.0 {
        1.0 - xy * xy / (xx * yy)
    } else {
        1.0
    }
}

/// The lag that all runs together speak for, where it is clear; and how many runs agree.
fn best(curves: &[Curve]) -> Option<(f64, usize)> {
    let first = curves.first()?;
    let mut sum = vec![0.0; first.left.len()];
    let mut used = Vec::new();
    for curve in curves {
        let (_, floor) = curve.best()?;
        // A run whose outlet hardly follows the draw at any lag says nothing.
        if floor > 0.3 {
            continue;
        }
        used.push(curve);
        for (s, l) in sum.iter_mut().zip(&curve.left) {
            *s += l;
        }
    }
    if used.len() < 2 {
        return None;
    }
    let (k, floor) = least(&sum)?;
    let lag = first.lag(k);
    let now = sum.get((FARTHEST / first.step) as usize)?;
    let agree = used
        .iter()
        .filter(|c| {
            c.best()
                .is_some_and(|(i, _)| (c.lag(i) - lag).abs() <= (0.5 * lag.abs()).max(15.0))
        })
        .count();
    let clear = lag.abs() >= LEAST
        && lag.abs() < FARTHEST
        && *now > BETTER * floor
        && agree * 3 >= used.len() * 2;
    clear.then_some((lag, agree))
}
