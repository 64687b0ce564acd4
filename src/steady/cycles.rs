//! Regular cycling of the draw: recognising it, and the mean over whole cycles.

use crate::bench::logs::SteadyRules;
use crate::logs::series::Bin;
use crate::logs::window::Span;

/// Cycles found in a window.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycles {
    /// From the first edge to the last: whole cycles.
    pub span: Span,
    /// How many.
    pub count: usize,
    /// Their mean length, s.
    pub period_s: f64,
    /// Share of the time spent above the middle.
    pub duty: f64,
    /// The lower level, W.
    pub low_w: f64,
    /// The upper level, W.
    pub high_w: f64,
    /// Mean of each cycle, W.
    pub means_w: Vec<f64>,
}

/// Cycles are alike when their mean course has this share of the variance of a single course: 1 for copies, 1/n for n unrelated ones …
const ALIKE: f64 = 0.75;
/// … or this, for two levels.
const ALIKE_TWO_LEVELS: f64 = 0.6;
/// Averages that keep less than this share of the full range hide faster cycles than they show.
const UNBLURRED: f64 = 0.6;
/// Moments of a cycle that are compared.
const PHASES: usize = 24;
/// Cycles are regular when their lengths vary by no more than this share of their mean …
const REGULAR: f64 = 0.3;
/// … or this, where the draw goes to and fro between two levels and rarely stands between (a thermostat's pauses vary).
const REGULAR_TWO_LEVELS: f64 = 0.5;
/// The share of the time that a draw with two levels spends in the middle two fifths of its range.
const SELDOM: f64 = 0.15;
/// Readings in a cycle, at least: fewer cannot show its shape.
const FEWEST_PER_CYCLE: f64 = 4.0;
/// Regular cycles fill at least this share of the readings; anywhere a few edges happen to stand at equal distances.
const FILLED: f64 = 0.4;
/// Means of cycles that drift by more than this share from the first to the last are no steady cycling.
const DRIFT: f64 = 0.05;

/// Looks for regular cycles in the draw's readings: an up and down of more than the spread allowed to a steady draw, at least
/// `rules.cycles` times. Edges are crossings of the middle, armed again only beyond two fifths and three fifths of the range,
/// so that noise makes none. Limits in this file are common practice without a source.
pub fn find(bins: &[Bin], rules: &SteadyRules) -> Option<Cycles> {
    // Readings are averaged over more and more neighbours until their noise makes no edges.
    let mut level: Vec<Bin> = bins.to_vec();
    let full = levels(bins).map_or(0.0, |(low, high)| high - low);
    while level.len() >= 16 {
        if let Some(cycles) = at_scale(&level, rules)
            && cycles.high_w - cycles.low_w >= UNBLURRED * full
        {
            return Some(cycles);
        }
        level = level
            .chunks(2)
            .filter_map(|pair| match pair {
                [a, b] => Some(join(a, b)),
                [a] => Some(*a),
                _ => None,
            })
            .collect();
    }
    None
}

fn join(a: &Bin, b: &Bin) -> Bin {
    let n = f64::from(a.count) + f64::from(b.count);
    Bin {
        first: a.first,
        last: b.last,
        count: a.count + b.count,
        mean: (a.mean * f64::from(a.count) + b.mean * f64::from(b.count)) / n,
        low: a.low.min(b.low),
        high: a.high.max(b.high),
    }
}

/// The levels below and above which one reading in twenty lies.
fn levels(bins: &[Bin]) -> Option<(f64, f64)> {
    let mut sorted: Vec<f64> = bins.iter().map(|b| b.mean).collect();
    sorted.sort_by(f64::total_cmp);
    let most = sorted.len().checked_sub(1)? as f64;
    let quantile = |share: f64| sorted.get((most * share).round() as usize).copied();
    Some((quantile(0.05)?, quantile(0.95)?))
}

fn at_scale(bins: &[Bin], rules: &SteadyRules) -> Option<Cycles> {
    let (low, high) = levels(bins)?;
    let range = high - low;
    let mean = mean_between(bins, bins.first()?.first, bins.last()?.last)?;
    if range <= rules.draw_spread * mean.abs() || range <= 1.0 {
        return None;
    }
    let middle = low + 0.5 * range;
    let (ups, downs) = edges(bins, low + 0.4 * range, low + 0.6 * range, middle);
    let edges = if span_of(&downs) > span_of(&ups) {
        downs
    } else {
        ups
    };
    let between = bins
        .iter()
        .filter(|b| b.mean > low + 0.3 * range && b.mean < low + 0.7 * range)
        .count() as f64
        / bins.len() as f64;
    let (limit, alike) = if between < SELDOM {
        (REGULAR_TWO_LEVELS, ALIKE_TWO_LEVELS)
    } else {
        (REGULAR, ALIKE)
    };
    let edges = regular_tail(bins, edges, range, limit, rules.cycles)?;
    if likeness(bins, &edges) < alike {
        return None;
    }
    let (first, last) = (*edges.first()?, *edges.last()?);
    let count = edges.len() - 1;
    let period_s = (last - first) / count as f64;
    let inside: Vec<&Bin> = bins
        .iter()
        .filter(|b| b.middle() >= first && b.middle() <= last)
        .collect();
    if (inside.len() as f64) < FEWEST_PER_CYCLE * count as f64 {
        return None;
    }
    let above: f64 = inside
        .iter()
        .filter(|b| b.mean > middle)
        .map(|b| f64::from(b.count))
        .sum();
    let all: f64 = inside.iter().map(|b| f64::from(b.count)).sum();
    let means_w = edges
        .windows(2)
        .filter_map(|e| match e {
            [a, b] => mean_between(bins, *a, *b),
            _ => None,
        })
        .collect();
    Some(Cycles {
        span: Span {
            start: first,
            end: last,
        },
        count,
        period_s,
        duty: above / all,
        low_w: low,
        high_w: high,
        means_w,
    })
}

fn span_of(edges: &[f64]) -> f64 {
    match (edges.first(), edges.last()) {
        (Some(a), Some(b)) => b - a,
        _ => 0.0,
    }
}

/// Moments at which the draw passes the middle upwards and downwards.
fn edges(bins: &[Bin], low: f64, high: f64, middle: f64) -> (Vec<f64>, Vec<f64>) {
    let (mut ups, mut downs) = (Vec::new(), Vec::new());
    let mut above: Option<bool> = None;
    let mut crossing = None;
    for pair in bins.windows(2) {
        let [a, b] = pair else { continue };
        if (a.mean < middle) != (b.mean < middle) {
            let share = (middle - a.mean) / (b.mean - a.mean);
            crossing = Some(a.middle() + share * (b.middle() - a.middle()));
        }
        let now = if b.mean > high {
            Some(true)
        } else if b.mean < low {
            Some(false)
        } else {
            None
        };
        match (above, now) {
            (Some(false), Some(true)) => ups.extend(crossing),
            (Some(true), Some(false)) => downs.extend(crossing),
            _ => {}
        }
        above = now.or(above);
    }
    (ups, downs)
}

/// The last edges between which cycles are regular and their means do not drift; none for too few.
fn regular_tail(
    bins: &[Bin],
    edges: Vec<f64>,
    range: f64,
    limit: f64,
    least: usize,
) -> Option<Vec<f64>> {
    let reach = bins.last()?.last - bins.first()?.first;
    // An edge falls anywhere between two readings: a cycle's mean is known no better, as a share.
    let apart = reach / bins.len() as f64;
    let mut edges = edges.as_slice();
    while edges.len() > least && span_of(edges) >= FILLED * reach {
        let lengths: Vec<f64> = edges
            .windows(2)
            .filter_map(|e| match e {
                [a, b] => Some(b - a),
                _ => None,
            })
            .collect();
        let means: Option<Vec<f64>> = edges
            .windows(2)
            .map(|e| match e {
                [a, b] => mean_between(bins, *a, *b),
                _ => None,
            })
            .collect();
        let overall = mean_between(bins, *edges.first()?, *edges.last()?)?;
        let period = span_of(edges) / (edges.len() - 1) as f64;
        let resolution = range * apart / period / overall.abs();
        if let Some(means) = means
            && variation(&lengths) <= limit
            && drift(&means) <= DRIFT + resolution
        {
            return Some(edges.to_vec());
        }
        edges = edges.get(1..)?;
    }
    None
}

/// How alike the cycles between the edges are: the variance of their mean course over the mean variance of their courses.
fn likeness(bins: &[Bin], edges: &[f64]) -> f64 {
    let courses: Vec<Vec<f64>> = edges
        .windows(2)
        .filter_map(|e| match e {
            [a, b] => (0..PHASES)
                .map(|k| {
                    let t = a + (b - a) * (k as f64 + 0.5) / PHASES as f64;
                    super::readings::at(bins, t)
                })
                .collect(),
            _ => None,
        })
        .collect();
    let variance = |course: &[f64]| {
        let n = course.len() as f64;
        let mean = course.iter().sum::<f64>() / n;
        course.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n
    };
    let n = courses.len() as f64;
    let single = courses.iter().map(|c| variance(c)).sum::<f64>() / n;
    let mut mean = vec![0.0; PHASES];
    for course in &courses {
        for (m, v) in mean.iter_mut().zip(course) {
            *m += v / n;
        }
    }
    variance(&mean) / single
}

/// Standard deviation over mean.
fn variation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (squares / (n - 1.0).max(1.0)).sqrt() / mean
}

/// Change of a straight line from the first value to the last, as a share of the mean, as far as it is beyond twice its standard error.
fn drift(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let centre = 0.5 * (n - 1.0);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (i, v) in values.iter().enumerate() {
        let (x, y) = (i as f64 - centre, v - mean);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let slope = xy / xx;
    let se = ((yy - slope * xy).max(0.0) / (n - 2.0).max(1.0) / xx).sqrt();
    (slope.abs() - 2.0 * se).max(0.0) * (n - 1.0) / mean.abs()
}

/// The time mean between two moments: straight lines between readings.
pub fn mean_between(bins: &[Bin], from: f64, to: f64) -> Option<f64> {
    if to <= from {
        return None;
    }
    let at = |t: f64| super::readings::at(bins, t);
    let inside = bins
        .iter()
        .filter(|b| b.middle() > from && b.middle() < to)
        .map(|b| (b.middle(), b.mean));
    let mut before = (from, at(from)?);
    let mut area = 0.0;
    for point in inside.chain([(to, at(to)?)]) {
        area += 0.5 * (point.1 + before.1) * (point.0 - before.0);
        before = point;
    }
    Some(area / (to - from))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::series::Series;
    use crate::made::dice::Dice;

    fn series(n: usize, f: &mut dyn FnMut(f64) -> f64) -> Vec<Bin> {
        let mut series = Series::new(10_000);
        for i in 0..n {
            let t = i as f64;
            series.add(t, f(t));
        }
        series.bins().to_vec()
    }

    #[test]
    fn on_and_off_is_averaged_over_whole_cycles() {
        let mut dice = Dice::new(4, 0);
        // 300 s on, 200 s off, from a moment within a pause.
        let bins = series(3000, &mut |t| {
            let on = (t + 270.0) % 500.0 < 300.0;
            if on { 276.0 + dice.normal() } else { 28.0 }
        });
        let cycles = find(&bins, &SteadyRules::default()).unwrap();
        assert_eq!(cycles.count, 5);
        assert!((cycles.period_s - 500.0).abs() < 1.0, "{cycles:?}");
        assert!((cycles.duty - 0.6).abs() < 0.01);
        let mean = mean_between(&bins, cycles.span.start, cycles.span.end).unwrap();
        assert!((mean - (0.6 * 276.0 + 0.4 * 28.0)).abs() < 0.5, "{mean}");
    }

    #[test]
    fn a_slow_swing_is_cycling_and_noise_or_a_step_is_not() {
        let rules = SteadyRules::default();
        let mut dice = Dice::new(5, 0);
        let swing = series(3600, &mut |t| {
            200.0 + 20.0 * (std::f64::consts::TAU * t / 600.0).sin() + 2.0 * dice.normal()
        });
        assert_eq!(find(&swing, &rules).unwrap().count, 5);
        let noise = series(3600, &mut |_| 200.0 + 8.0 * dice.normal());
        assert_eq!(find(&noise, &rules), None);
        let step = series(
            3600,
            &mut |t| if t < 1800.0 { 200.0 } else { 150.0 } + dice.normal(),
        );
        assert_eq!(find(&step, &rules), None);
    }

    #[test]
    fn variation_and_drift_by_hand() {
        // Mean 5, squares 9 + 1 + 1 + 9 = 20, s = √(20/3) = 2.581989.
        assert!((variation(&[2.0, 4.0, 6.0, 8.0]) - 0.5163978).abs() < 1e-6);
        // About −1.5, −0.5, 0.5, 1.5: xx 5; values 10, 13, 13, 18 have mean 13.5: xy = 12, yy = 33; slope 2.4, se √((33 − 28.8)/2/5) = 0.648074;
        // (2.4 − 1.296148) × 3/13.5 = 0.245301.
        assert!((drift(&[10.0, 13.0, 13.0, 18.0]) - 0.245301).abs() < 1e-6);
        assert!((drift(&[18.0, 13.0, 13.0, 10.0]) - 0.245301).abs() < 1e-6);
        // What scatters more than it goes up does not drift.
        assert_eq!(drift(&[10.0, 30.0, 10.0, 31.0]), 0.0);
    }

    #[test]
    fn bins_are_joined_by_their_counts() {
        let bin = |first, count, mean, low, high| Bin {
            first,
            last: first + 1.0,
            count,
            mean,
            low,
            high,
        };
        // (3 × 10 + 5 × 26)/8 = 20.
        let joined = join(&bin(0.0, 3, 10.0, 7.0, 12.0), &bin(2.0, 5, 26.0, 6.0, 30.0));
        assert_eq!((joined.first, joined.last, joined.count), (0.0, 3.0, 8));
        assert_eq!((joined.mean, joined.low, joined.high), (20.0, 6.0, 30.0));
    }

    #[test]
    fn cycles_that_are_alike_keep_their_variance_when_averaged() {
        // Bins of one second; cycles of 64 s about 100 W, the second turned upside down or not.
        let wave = |t: f64| (std::f64::consts::TAU * t / 64.0).sin();
        let alike = series(128, &mut |t| 100.0 + 10.0 * wave(t));
        let edges = [0.5, 64.5, 127.5];
        let ratio = likeness(&alike, &edges);
        assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
        let turned = series(128, &mut |t| {
            100.0 + if t < 64.0 { 10.0 } else { -10.0 } * wave(t)
        });
        let ratio = likeness(&turned, &edges);
        assert!(ratio < 0.01, "{ratio}");
        // A second cycle three times as high: the mean is two waves high, the single ones have variances of one and nine, so 4 / 5.
        let higher = series(128, &mut |t| {
            100.0 + if t < 64.0 { 10.0 } else { 30.0 } * wave(t)
        });
        let ratio = likeness(&higher, &edges);
        assert!((ratio - 0.8).abs() < 0.01, "{ratio}");
    }

    #[test]
    fn two_levels_may_cycle_less_regularly_than_a_swing() {
        // 50 s on, then 50 s and 150 s off by turns: cycles of 100 s and 200 s, a standard deviation of 0.36 of their mean. One reading stands
        // midway at each change, 2 in 150.
        let rules = SteadyRules::default();
        let levels = series(3000, &mut |t| {
            let within = t % 300.0;
            let at = if within < 100.0 {
                within
            } else {
                within - 100.0
            };
            let noise = if t % 2.0 == 0.0 { 0.5 } else { -0.5 };
            if at == 0.0 || at == 50.0 {
                110.0
            } else if at < 50.0 {
                200.0 + noise
            } else {
                20.0 + noise
            }
        });
        assert!(at_scale(&levels, &rules).unwrap().count > 15);
        let swing = series(3000, &mut |t| {
            let within = t % 300.0;
            let share = if within < 100.0 {
                within / 100.0
            } else {
                (within - 100.0) / 200.0
            };
            110.0 + 90.0 * (std::f64::consts::TAU * share).sin()
        });
        assert_eq!(at_scale(&swing, &rules), None);
    }

    #[test]
    fn a_cycle_needs_four_readings_and_more_than_the_spread_allowed() {
        let rules = SteadyRules::default();
        let of = |on: usize, length: usize| {
            series(32, &mut |t| {
                if (t as usize) % length < on {
                    200.0
                } else {
                    100.0
                }
            })
        };
        assert_eq!(at_scale(&of(1, 3), &rules), None);
        assert!(at_scale(&of(2, 4), &rules).is_some());
        // From crest to trough 2 × 4 W of 200 W are less than 5 %, 2 × 6 W more.
        let swing = |by: f64| {
            series(3000, &mut |t| {
                200.0 + by * (std::f64::consts::TAU * t / 500.0).sin()
            })
        };
        assert_eq!(at_scale(&swing(4.0), &rules), None);
        assert!(at_scale(&swing(6.0), &rules).is_some());
    }

    #[test]
    fn averages_that_hide_faster_cycles_show_none() {
        // ±50 W from one reading to the next, and ±10 W in ten minutes: pairs show the slow swing alone, a sixth of the whole.
        let fast = series(3600, &mut |t| {
            let by = if t % 2.0 == 0.0 { 50.0 } else { -50.0 };
            200.0 + by + 10.0 * (std::f64::consts::TAU * t / 600.0).sin()
        });
        assert_eq!(find(&fast, &SteadyRules::default()), None);
    }

    #[test]
    fn cycles_that_differ_in_their_later_half_are_half_alike() {
        // A sine, and one whose later half is turned up. The mean is half a sine and then level, with a variance of 1/4 − 1/π²; the single
        // ones have 1/2 and 1/2 − 4/π²: a ratio of exactly 1/2.
        let half = series(129, &mut |t| {
            let wave = (std::f64::consts::TAU * t / 64.0).sin();
            100.0 + 10.0 * if t < 64.0 { wave } else { wave.abs() }
        });
        let ratio = likeness(&half, &[0.0, 64.0, 128.0]);
        assert!((ratio - 0.5).abs() < 0.01, "{ratio}");
    }

    #[test]
    fn regular_cycles_fill_two_fifths_of_the_readings() {
        let level = series(1001, &mut |_| 200.0);
        let tail = |edges: &[f64]| regular_tail(&level, edges.to_vec(), 10.0, REGULAR, 3);
        let long = [550.0, 650.0, 750.0, 850.0, 950.0];
        assert_eq!(tail(&long).as_deref(), Some(&long[..]));
        assert_eq!(tail(&long[1..]), None);
    }
}
