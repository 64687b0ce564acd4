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
/// Step of the lags, s.
const STEP: f64 = 5.0;
/// How many lags are tried.
const LAGS: usize = 193;
/// Time constants tried for the way from draw to outlet reading: from 4 s, each a quarter longer than the last, to 15 min.
const TAUS: usize = 25;
/// A unit is on when its draw is above this share of the highest.
const ON: f64 = 0.25;
/// Longer than this after a reading of the draw, the unit is taken to be off, s.
const UNLOGGED: f64 = 90.0;
/// A lag is clear where its log-likelihood is better by so much than that of none (about five standard errors); also the most
/// that one run may count.
const CLEAR: f64 = 12.0;

impl Suggestion {
    /// The suggestion as a finding.
    pub fn finding(&self) -> Finding {
        Finding::new(
            Severity::Warning,
            "clocks-disagree",
            format!(
                "the outlet in {} follows the draw best with {:+.0} s added to its clock (so say {} runs): if the two clocks disagree, write shift = \"{:.0} s\"",
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
/// In each run the outlet (less the intake, where the same log gives it) around the start is fitted as a straight line in the
/// draw, delayed by a lag and smoothed by a first-order response whose time constant is free: a slow coil or thermometer rounds the
/// start of a change, a wrong clock moves it. The lag at which all runs together leave least over is the suggestion, where it is
/// clear and most runs agree.
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
    let with_intake = holds(Channel::IntakeTemp) == Some(air);
    let curves: Vec<Curve> = readings
        .iter()
        .zip(spans)
        .filter_map(|(r, s)| Curve::of(r, *s, with_intake))
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

/// Log-likelihood lost in one run at each lag, against its best.
struct Curve {
    lost: Vec<f64>,
}

/// Draw smoothed at each time constant, from `start` in steps of [`STEP`].
struct Smoothed {
    start: f64,
    by_tau: Vec<Vec<f64>>,
}

impl Smoothed {
    /// Readings of the draw after a pause begin from nothing: an unlogged unit is taken to be off.
    fn of(draw: &[Bin], from: f64, until: f64, start_only: bool) -> Self {
        let count = ((until - from) / STEP) as usize + 1;
        let level: Vec<Option<f64>> = (0..count)
            .map(|k| {
                let t = from + k as f64 * STEP;
                // What was last read holds for a while; before the first reading after a pause nothing holds.
                let near = draw
                    .partition_point(|b| b.first <= t)
                    .checked_sub(1)
                    .and_then(|i| draw.get(i))
                    .is_some_and(|b| t - b.last < UNLOGGED);
                near.then(|| at(draw, t).unwrap_or(0.0))
            })
            .collect();
        let most = level.iter().flatten().copied().fold(0.0, f64::max);
        let on: Vec<Option<f64>> = level
            .iter()
            .map(|v| v.map(|v| if v > ON * most { 1.0 } else { 0.0 }))
            .collect();
        // The outlet follows the compressor's start, or the draw as it rises. Where nothing is known of the time before the start,
        // the two cannot be told apart, and the start alone is the plainer.
        let by_tau = (0..TAUS)
            .map(|k| 4.0 * 1.25_f64.powi(k as i32))
            .flat_map(|tau| {
                let rise = (!start_only).then(|| smooth(&level, tau));
                [Some(smooth(&on, tau)), rise]
            })
            .flatten()
            .collect();
        Smoothed {
            start: from,
            by_tau,
        }
    }

    fn at(&self, course: &[f64], t: f64) -> Option<f64> {
        let x = (t - self.start) / STEP;
        let k = x.floor();
        let (a, b) = (course.get(k as usize)?, course.get(k as usize + 1)?);
        (x >= 0.0).then(|| a + (b - a) * (x - k))
    }
}

/// A first-order response to a course; where nothing was logged the unit was off, and long enough to have warmed up.
fn smooth(course: &[Option<f64>], tau: f64) -> Vec<f64> {
    let keep = (-STEP / tau).exp();
    let mut state = course.first().copied().flatten().unwrap_or(0.0);
    course
        .iter()
        .map(|v| {
            state = v.map_or(0.0, |v| keep * state + (1.0 - keep) * v);
            state
        })
        .collect()
}

impl Curve {
    fn of(readings: &Readings, span: Span, with_intake: bool) -> Option<Curve> {
        let draw = readings.draw()?.bins();
        let outlet = readings.get(Channel::OutletTemp)?;
        let intake = readings
            .get(Channel::IntakeTemp)
            .filter(|_| with_intake)
            .map(|s| s.bins());
        // The start-up, with what stands before it where the logs hold it.
        let until = span.start + (0.5 * span.length()).min(1800.0);
        let from = span.start - 300.0;
        let pause = 60.0 + 3.0 * outlet.interval()?;
        let mut points: Vec<(f64, f64)> = Vec::new();
        for b in outlet.within(from, until) {
            let t = b.middle();
            // What stands before a pause belongs to another run.
            if points.last().is_some_and(|p| t - p.0 > pause) && t < span.start + FARTHEST {
                points.clear();
            }
            let base = intake.and_then(|i| at(i, t)).unwrap_or(0.0);
            points.push((t, b.mean - base));
        }
        if points.len() < 10 || draw.is_empty() {
            return None;
        }
        // Where the logs hold nothing before the start, a unit that is off is taken to leave the outlet as warm as the intake:
        // that tells a late start from an early one.
        let before = draw
            .iter()
            .any(|b| b.first < span.start && b.first > span.start - UNLOGGED);
        let from_zero = intake.is_some() && !before;
        let smoothed = Smoothed::of(
            draw,
            from - FARTHEST - 600.0,
            until + FARTHEST + STEP,
            from_zero,
        );
        let mut left = Vec::with_capacity(LAGS);
        for k in 0..LAGS {
            let rest = smoothed
                .by_tau
                .iter()
                .filter_map(|course| unexplained(&smoothed, course, &points, lag_of(k), from_zero))
                .fold(f64::INFINITY, f64::min);
            left.push(rest);
        }
        let (_, floor) = least(&left)?;
        // A run whose outlet hardly follows the draw at any lag says nothing.
        if floor.is_nan() || floor > 0.1 {
            return None;
        }
        // Residuals of readings close in time are alike: a third of them count.
        let weight = points.len() as f64 / 6.0;
        Some(Curve {
            lost: left
                .iter()
                .map(|l| weight * (l.max(1e-6) / floor.max(1e-6)).ln())
                .collect(),
        })
    }

    fn best(&self) -> Option<f64> {
        least(&self.lost).map(|(k, _)| lag_of(k))
    }
}

fn lag_of(k: usize) -> f64 {
    k as f64 * STEP - FARTHEST
}

fn least(values: &[f64]) -> Option<(usize, f64)> {
    values
        .iter()
        .copied()
        .enumerate()
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The share of the points' squares that a straight line in a smoothed course of the draw leaves over, with the points `lag`
/// seconds later by the common clock; the line goes through the origin if `from_zero`.
fn unexplained(
    smoothed: &Smoothed,
    course: &[f64],
    points: &[(f64, f64)],
    lag: f64,
    from_zero: bool,
) -> Option<f64> {
    let n = points.len() as f64;
    let (mut sx, mut sy) = (0.0, 0.0);
    for (t, y) in points {
        sx += smoothed.at(course, t + lag)?;
        sy += y;
    }
    let (mx, my) = if from_zero {
        (0.0, 0.0)
    } else {
        (sx / n, sy / n)
    };
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (t, y) in points {
        let x = smoothed.at(course, t + lag)? - mx;
        xx += x * x;
        xy += x * (y - my);
        yy += (y - my) * (y - my);
    }
    // The outlet falls when the draw rises.
    (xx > 0.0 && yy > 0.0 && xy < 0.0).then(|| 1.0 - xy * xy / (xx * yy))
}

/// The lag that all runs together speak for, where it is clear; and how many runs agree.
fn best(curves: &[Curve]) -> Option<(f64, usize)> {
    if curves.len() < 2 {
        return None;
    }
    let sum: Vec<f64> = (0..LAGS)
        .map(|k| {
            curves
                .iter()
                .filter_map(|c| c.lost.get(k))
                // One run alone must not decide.
                .map(|l| l.min(CLEAR))
                .sum()
        })
        .collect();
    let (k, floor) = least(&sum)?;
    let lag = lag_of(k);
    let now = *sum.get((FARTHEST / STEP) as usize)?;
    let agree = curves
        .iter()
        .filter_map(Curve::best)
        .filter(|b| (b - lag).abs() <= (0.5 * lag.abs()).clamp(15.0, 60.0))
        .count();
    let clear = lag.abs() >= LEAST
        && lag.abs() < FARTHEST
        && now - floor > CLEAR
        && agree >= 2
        && agree * 2 >= curves.len();
    clear.then_some((lag, agree))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::series::Series;
    use crate::made::dice::Dice;

    /// Draw and outlet of a start-up whose outlet log is `behind` seconds; with readings before the start, or with the intake.
    fn start_up(dice: &mut Dice, behind: f64, before: bool) -> Curve {
        let tau = dice.between(60.0, 400.0);
        let mut series = [(); 3].map(|()| Series::new(4096));
        let [draw, outlet, intake] = &mut series;
        let from: i32 = if before { -600 } else { 0 };
        for k in from..3000 {
            let t = f64::from(k);
            let on = t >= 0.0;
            let rise = 1.0 - (-t / tau).exp();
            let watts = if on { 150.0 + 70.0 * rise } else { 1.0 };
            draw.add(t, watts + dice.normal());
            if k.rem_euclid(60) == 17 {
                let c = if on { 31.0 - 8.0 * rise } else { 31.0 };
                outlet.add(t - behind, c + 0.1 * dice.normal());
                intake.add(t - behind, 31.0 + 0.1 * dice.normal());
            }
        }
        let span = Span {
            start: 0.0,
            end: 3000.0,
        };
        let [draw, outlet, intake] = series;
        let readings = Readings::from_series([
            (Channel::Power, draw),
            (Channel::OutletTemp, outlet),
            (Channel::IntakeTemp, intake),
        ]);
        Curve::of(&readings, span, !before).unwrap()
    }

    #[test]
    fn a_clock_that_is_behind_is_found_and_one_that_is_right_is_left_alone() {
        let mut dice = Dice::new(21, 0);
        for (behind, before) in [(-90.0, true), (45.0, true), (45.0, false), (250.0, true)] {
            let curves: Vec<Curve> = (0..6)
                .map(|_| start_up(&mut dice, behind, before))
                .collect();
            let (lag, runs) = best(&curves).unwrap();
            assert!((lag - behind).abs() <= 15.0, "{lag} for {behind}");
            assert!(runs >= 3, "{runs} runs for {behind}");
        }
        for k in 0..10 {
            let curves: Vec<Curve> = (0..6)
                .map(|_| start_up(&mut dice, 0.0, k % 2 == 0))
                .collect();
            assert_eq!(best(&curves), None);
        }
    }

    #[test]
    fn a_course_is_read_off_between_its_steps() {
        let smoothed = Smoothed {
            start: 100.0,
            by_tau: Vec::new(),
        };
        let at = |t: f64| smoothed.at(&[0.0, 10.0, 30.0], t);
        assert_eq!(
            (at(100.0), at(107.5), at(109.0)),
            (Some(0.0), Some(20.0), Some(26.0))
        );
        assert_eq!((at(99.0), at(111.0)), (None, None));
    }

    #[test]
    fn a_first_order_response_goes_half_the_way_in_each_half_life() {
        // exp(−5/τ) = 1/2; before the readings nothing, and after them nothing again.
        let tau = STEP / std::f64::consts::LN_2;
        let course = [Some(8.0), Some(0.0), Some(16.0), Some(16.0), None];
        let want = [8.0, 4.0, 10.0, 13.0, 0.0];
        for (got, want) in smooth(&course, tau).iter().zip(want) {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
    }

    #[test]
    fn a_unit_on_standby_is_not_on() {
        // 10 W for 50 s, then 200 W: on from there, and smoothed with a time constant of 4 s.
        let mut draw = Series::new(64);
        for k in 0..21 {
            let t = 5.0 * f64::from(k);
            draw.add(t, if t < 50.0 { 10.0 } else { 200.0 });
        }
        let smoothed = Smoothed::of(draw.bins(), 0.0, 100.0, false);
        let on = &smoothed.by_tau[0];
        // Every 5 s from 0 to 100 s, both included.
        assert_eq!(on.len(), 21);
        assert_eq!((on[0], on[9]), (0.0, 0.0));
        assert!((on[10] - (1.0 - (-1.25_f64).exp())).abs() < 1e-12 && on[20] > 0.999);
    }

    /// A run that begins at 1000 s whose outlet is read every 20 s, but not at the times that are left out.
    fn with_gap(outlet_read: impl Fn(f64) -> bool) -> Option<Vec<f64>> {
        let mut series = [(); 2].map(|()| Series::new(4096));
        let [draw, outlet] = &mut series;
        for k in 700..4000 {
            let t = f64::from(k);
            let since = t - 1000.0;
            let rise = if since < 0.0 {
                0.0
            } else {
                1.0 - (-since / 150.0).exp()
            };
            draw.add(
                t,
                if since < 0.0 {
                    1.0
                } else {
                    150.0 + 70.0 * rise
                },
            );
            if k % 20 == 0 && outlet_read(since) {
                outlet.add(t, 31.0 - 8.0 * rise + 0.2 * (f64::from(k / 20 % 3) - 1.0));
            }
        }
        let span = Span {
            start: 1000.0,
            end: 4000.0,
        };
        let [draw, outlet] = series;
        let readings =
            Readings::from_series([(Channel::Power, draw), (Channel::OutletTemp, outlet)]);
        Curve::of(&readings, span, false).map(|c| c.lost)
    }

    #[test]
    fn what_stands_before_a_pause_of_the_outlet_is_another_run_s() {
        // A pause is more than a minute and three readings, 120 s. From −140 s to −20 s there is none, to 0 s there is.
        let (from, kept) = (|s: f64| s >= 0.0, |s: f64| s >= -20.0);
        let pause = with_gap(|s| s <= -140.0 || from(s)).unwrap();
        assert_eq!(pause, with_gap(from).unwrap());
        let none = with_gap(|s| s <= -140.0 || kept(s)).unwrap();
        assert_ne!(none, with_gap(kept).unwrap());
        // From eight minutes after the start on, a pause is one of this run.
        assert!(with_gap(|s| s <= 600.0 || (1400.0..1500.0).contains(&s)).is_some());
    }

    #[test]
    fn half_of_the_runs_must_agree_on_a_lag_that_is_better_than_none() {
        // Each loses so much for every 5 s away from its own lag.
        let run = |lag: f64, by: f64| Curve {
            lost: (0..LAGS)
                .map(|k| by * ((lag_of(k) - lag) / STEP).abs())
                .collect(),
        };
        let runs = |agree: usize, other: usize| {
            let mut all: Vec<Curve> = (0..agree).map(|_| run(90.0, 1.0)).collect();
            all.extend((0..other).map(|_| run(300.0, 1e-3)));
            best(&all)
        };
        assert_eq!(runs(3, 3), Some((90.0, 3)));
        assert_eq!(runs(3, 4), None);
        // Lags far to the other side are no worse for being compared with none: the loss there is level.
        let plain = |lag: f64| Curve {
            lost: (0..LAGS)
                .map(|k| {
                    if lag_of(k) < -200.0 {
                        0.5
                    } else {
                        ((lag_of(k) - lag) / STEP).abs()
                    }
                })
                .collect(),
        };
        assert_eq!(best(&[plain(90.0), plain(90.0)]), Some((90.0, 2)));
    }
}
