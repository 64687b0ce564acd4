//! Naming what a run was: steady, cycling, unsteady, short, or several things in one window.

use std::collections::BTreeMap;

use serde::Serialize;

use super::blocks::Blocks;
use super::cycles::{self, Cycles};
use super::doubt::{apart, part_of_drift, small_step, starting, step};
use super::mean::{self, Mean};
use super::readings::Readings;
use super::search::{OFF, Search, Stretch, Trouble, Watched};
use super::words;
use crate::bench::Channel;
use crate::bench::logs::SteadyRules;
use crate::logs::window::Span;

/// What a run was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// A stretch in which draw, intake and outlet keep their tolerances.
    Steady,
    /// Regular cycles, averaged over whole ones.
    Cycling,
    /// Neither.
    Unsteady,
    /// Too little to tell.
    Short,
    /// More than one plateau in the window.
    Several,
}

impl Status {
    /// The word used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Status::Steady => "steady",
            Status::Cycling => "cycling",
            Status::Unsteady => "unsteady",
            Status::Short => "short",
            Status::Several => "several",
        }
    }
}

/// Means over a stretch of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Plateau {
    /// The stretch.
    pub span: Span,
    /// Means of all channels with readings in it.
    pub values: BTreeMap<Channel, Mean>,
}

/// A run, judged.
#[derive(Clone, Debug)]
pub struct Judged {
    /// What it was.
    pub status: Status,
    /// The stretch that stands for the run and its means: for `steady` and `cycling` only.
    pub plateau: Option<Plateau>,
    /// The plateaus of a run with several.
    pub plateaus: Vec<Plateau>,
    /// The cycles of a cycling run.
    pub cycles: Option<Cycles>,
    /// Why, with figures.
    pub reason: String,
    /// What else is to be known: pauses in the readings, a short stretch, parts left out.
    pub notes: Vec<String>,
}

impl Judged {
    /// Whether the window holds no reading of the draw at all.
    pub fn is_empty(&self) -> bool {
        self.reason == NO_READINGS
    }
}

/// Readings of the draw, at least: published tests record seven sets in half an hour (ISO 5151:2017, from memory;
/// 10 CFR 430 Subpart B Appendix M1, 3.3 b).
const FEWEST_READINGS: usize = 7;
/// Shortest stretches that a window must have room for before it can show that a draw does not settle. Common practice, no source.
const ROOM: f64 = 2.0;
/// Blocks in a window, at most: the search takes time with their square.
const MOST_BLOCKS: f64 = 240.0;

/// The reason of a run without readings.
pub(super) const NO_READINGS: &str = "no readings of the draw in the window";

/// Judges a run by its readings in a window.
pub fn judge(readings: &Readings, window: Span, rules: &SteadyRules) -> Judged {
    let mut judged = name(readings, window, rules);
    judged.notes.extend(readings.notes.iter().cloned());
    judged
}

fn bare(status: Status, reason: String) -> Judged {
    Judged {
        status,
        plateau: None,
        plateaus: Vec::new(),
        cycles: None,
        reason,
        notes: Vec::new(),
    }
}

fn name(readings: &Readings, window: Span, rules: &SteadyRules) -> Judged {
    let Some(draw) = readings.draw() else {
        return bare(Status::Short, NO_READINGS.to_owned());
    };
    let bins = draw.within(window.start, window.end);
    let count: usize = bins.iter().map(|b| b.count as usize).sum();
    let (Some(first), Some(last)) = (bins.first(), bins.last()) else {
        return bare(Status::Short, NO_READINGS.to_owned());
    };
    let reach = last.last - first.first;
    if count < FEWEST_READINGS || reach < 0.95 * rules.at_least_s {
        return bare(
            Status::Short,
            format!(
                "{} of readings ({count}); a steady stretch needs {}",
                words::time(reach),
                words::time(rules.at_least_s)
            ),
        );
    }
    // Where readings begin late or end early, what was logged is judged.
    let interval = draw.interval().unwrap_or(0.0);
    let logged = Span {
        start: if first.first - window.start > 2.0 * interval {
            first.first
        } else {
            window.start
        },
        end: if window.end - last.last > 2.0 * interval {
            last.last + interval
        } else {
            window.end
        },
    };
    let mut judged = name_logged(readings, logged, rules);
    for (when, missing) in [
        ("begin", logged.start - window.start),
        ("end", window.end - logged.end),
    ] {
        if missing > rules.average_s() {
            judged.notes.push(format!(
                "readings of the draw {when} {} {} the window does",
                words::time(missing),
                if when == "begin" { "after" } else { "before" }
            ));
        }
    }
    judged
}

/// Judges what was logged.
fn name_logged(readings: &Readings, window: Span, rules: &SteadyRules) -> Judged {
    let Some(draw) = readings.draw() else {
        return bare(Status::Short, NO_READINGS.to_owned());
    };
    let bins = draw.within(window.start, window.end);
    let cycles = cycles::find(bins, rules);
    let search = search(readings, window, rules, draw.interval());
    let main = search.longest(0, search.count);
    let length = main.map_or(0.0, |m| m.len() as f64 * search.block_s(window));
    if let Some(cycles) = cycles.filter(|c| c.span.length() > length) {
        return cycling(readings, cycles, window);
    }
    match main {
        Some(main) => settled(readings, window, rules, &search, main),
        None => unsettled(window, rules, &search),
    }
}

/// Blocks of the window, with the draw and the temperatures that must be steady.
fn search(readings: &Readings, window: Span, rules: &SteadyRules, interval: Option<f64>) -> Search {
    let width = rules
        .average_s()
        .max(window.length() / MOST_BLOCKS)
        .max(interval.unwrap_or(0.0));
    let count = (window.length() / width).floor().max(1.0) as usize;
    let width = window.length() / count as f64;
    let mut watched = Vec::new();
    for channel in [Channel::Power, Channel::IntakeTemp, Channel::OutletTemp] {
        if let Some(series) = readings.get(channel) {
            let blocks = Blocks::of(series, window, count);
            let bins = series.within(window.start, window.end).len();
            let in_block = (bins as f64 / count as f64).max(1.0);
            let noise = series
                .fast_noise(window.start, window.end)
                .map_or(0.0, |n| n / in_block.sqrt());
            let own = match channel {
                Channel::Power => Watched::draw(blocks, series.step().unwrap_or(0.0), rules),
                _ => Watched::temperature(channel, blocks, rules),
            };
            watched.push(own.with_noise(noise));
        }
    }
    // Nineteen blocks in twenty draw no more.
    let mut draws: Vec<f64> = watched
        .first()
        .map(|w: &Watched| w.blocks.part(0, count).iter().flatten().copied().collect())
        .unwrap_or_default();
    draws.sort_by(f64::total_cmp);
    let high = draws.get(draws.len() * 19 / 20).copied().unwrap_or(0.0);
    let off_w = OFF * high.max(0.0);
    Search {
        watched,
        least: (rules.at_least_s / width).ceil().max(3.0) as usize,
        horizon: rules.horizon_s() / width,
        count,
        off_w,
    }
}

/// The time of a stretch of blocks.
fn span_of(search: &Search, window: Span, s: Stretch) -> Span {
    let width = search.block_s(window);
    Span {
        start: window.start + width * s.from as f64,
        end: if s.to == search.count {
            window.end
        } else {
            window.start + width * s.to as f64
        },
    }
}

fn means(readings: &Readings, span: Span) -> Plateau {
    Plateau {
        span,
        values: readings
            .all()
            .filter_map(|(c, s)| mean::over(s, span).map(|m| (c, m)))
            .collect(),
    }
}

fn cycling(readings: &Readings, cycles: Cycles, window: Span) -> Judged {
    let mut plateau = means(readings, cycles.span);
    if let Some(draw) = plateau.values.get_mut(&Channel::Power)
        && let Some(series) = readings.draw()
    {
        if let Some(value) = cycles::mean_between(series.bins(), cycles.span.start, cycles.span.end)
        {
            draw.value = value;
        }
        // Each cycle is one independent figure.
        let n = cycles.means_w.len() as f64;
        let mean = cycles.means_w.iter().sum::<f64>() / n;
        let squares: f64 = cycles.means_w.iter().map(|m| (m - mean).powi(2)).sum();
        let scatter = (squares / (n - 1.0).max(1.0) / n).sqrt();
        // Each cycle has two edges, each somewhere between two readings (rectangular: interval / √12); where the cycle is a
        // whole number of intervals long, all cycles share the error.
        let edges = (cycles.high_w - cycles.low_w) * series.interval().unwrap_or(0.0)
            / cycles.period_s
            / 6.0_f64.sqrt();
        draw.u = Some(scatter.hypot(edges));
        draw.effective = Some(n);
    }
    let reason = format!(
        "{} whole cycles of {} between {:.4} W and {:.4} W, above the middle for {:.0} % of the time; averaged over whole cycles",
        cycles.count,
        words::time(cycles.period_s),
        words::Figure(cycles.low_w),
        words::Figure(cycles.high_w),
        100.0 * cycles.duty
    );
    let mut notes = words::pauses(readings, cycles.span);
    let before = cycles.span.start - window.start;
    if before > 2.0 * cycles.period_s {
        notes.push(format!(
            "the first {} are left out: the cycles are not yet regular there",
            words::time(before)
        ));
    }
    Judged {
        status: Status::Cycling,
        plateau: Some(plateau),
        plateaus: Vec::new(),
        cycles: Some(cycles),
        reason,
        notes,
    }
}

/// A window with at least one steady stretch: steady, several, or a part of a drift.
fn settled(
    readings: &Readings,
    window: Span,
    rules: &SteadyRules,
    search: &Search,
    main: Stretch,
) -> Judged {
    let main_rest = search.without_edges(search.without_start(main));
    let others: Vec<Stretch> = [
        search.longest(0, main.from),
        search.longest(main.to, search.count),
    ]
    .into_iter()
    .flatten()
    .map(|s| search.without_edges(search.without_start(s)))
    .collect();
    let several = |mut all: Vec<Stretch>, difference: String| {
        all.sort_by_key(|s| s.from);
        let plateaus: Vec<Plateau> = all
            .iter()
            .map(|s| means(readings, span_of(search, window, *s)))
            .collect();
        Judged {
            plateaus,
            ..bare(
                Status::Several,
                format!(
                    "{} plateaus: {difference}; split the window, one run a plateau",
                    all.len()
                ),
            )
        }
    };
    for other in &others {
        if let Some(difference) = apart(search, main_rest, *other) {
            let all = plateaus(search);
            let pair = vec![main_rest, *other];
            return several(if all.len() > 1 { all } else { pair }, difference);
        }
    }
    // A stretch reaches over a small step as far as its tolerances let it, so the step is looked for in both together.
    let joined = others.iter().map(|other| Stretch {
        from: main_rest.from.min(other.from),
        to: main_rest.to.max(other.to),
    });
    for stretch in joined.chain([main_rest]) {
        if let Some((early, late, difference)) = small_step(search, stretch) {
            return several(vec![early, late], difference);
        }
    }
    if let Some(step) = step(search, main) {
        let plateau = means(readings, span_of(search, window, main_rest));
        return Judged {
            plateaus: vec![plateau],
            ..bare(
                Status::Several,
                format!(
                    "the draw steps from {:.4} W to {:.4} W after {}: two settings in one window; split it",
                    words::Figure(step.before),
                    words::Figure(step.after),
                    words::time(step.at as f64 * search.block_s(window))
                ),
            )
        };
    }
    if let Some(reason) = part_of_drift(search, main, window, rules) {
        return bare(Status::Unsteady, reason);
    }
    steady(readings, window, rules, search, main_rest)
}

/// All plateaus of a window, in order of time: the longest steady stretch, the longest on either side of it, and so on. Of
/// neighbours at one level the longer stands.
fn plateaus(search: &Search) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut parts = vec![(0, search.count)];
    while let Some((from, to)) = parts.pop() {
        if let Some(s) = search.longest(from, to) {
            found.push(search.without_edges(search.without_start(s)));
            parts.extend([(from, s.from), (s.to, to)]);
        }
    }
    found.sort_by_key(|s| s.from);
    let mut kept: Vec<Stretch> = Vec::new();
    for s in found {
        match kept.last_mut() {
            Some(before) if apart(search, *before, s).is_none() => {
                if s.len() > before.len() {
                    *before = s;
                }
            }
            _ => kept.push(s),
        }
    }
    kept
}

fn steady(
    readings: &Readings,
    window: Span,
    rules: &SteadyRules,
    search: &Search,
    stretch: Stretch,
) -> Judged {
    let span = span_of(search, window, stretch);
    let plateau = means(readings, span);
    let reason = words::steady(search, stretch, span.length(), rules);
    let mut notes = words::pauses(readings, span);
    let after = window.end - span.end;
    if after > rules.at_least_s {
        notes.push(format!(
            "the last {} of the window are not steady and left out",
            words::time(after)
        ));
    }
    Judged {
        plateau: Some(plateau),
        notes,
        ..bare(Status::Steady, reason)
    }
}

/// A window without a steady stretch.
fn unsettled(window: Span, rules: &SteadyRules, search: &Search) -> Judged {
    if let Some(reason) = starting(search, window, rules) {
        return bare(Status::Short, reason);
    }
    // A start-up and a drift look alike in a window that has no room for what follows a start-up.
    if window.length() < ROOM * rules.at_least_s {
        return bare(
            Status::Short,
            format!(
                "no steady stretch of {} in {}, which is too little to tell a start-up from a drift; run longer",
                words::time(rules.at_least_s),
                words::time(window.length())
            ),
        );
    }
    let half = Stretch {
        from: search.count / 2,
        to: search.count,
    };
    let least = Stretch {
        from: search.count.saturating_sub(search.least),
        to: search.count,
    };
    let trouble = [half, least]
        .into_iter()
        .find_map(|s| search.judge(s).err())
        .or_else(|| {
            search
                .judge(Stretch {
                    from: 0,
                    to: search.count,
                })
                .err()
        });
    let reason = match trouble {
        Some(Trouble::Empty { .. }) => {
            return bare(
                Status::Short,
                "too few readings of the draw in the window".to_owned(),
            );
        }
        Some(trouble) => words::trouble(&trouble, rules),
        None => "no stretch long enough keeps the tolerances".to_owned(),
    };
    bare(Status::Unsteady, reason)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::series::Series;

    /// A draw read every `every` seconds from 0 to before `end`.
    fn draw(every: f64, end: f64, f: impl Fn(f64) -> f64) -> Readings {
        let mut series = Series::new(8192);
        let mut t = 0.0;
        while t < end {
            series.add(t, f(t));
            t += every;
        }
        Readings::from_series([(Channel::Power, series)])
    }

    fn until(end: f64) -> Span {
        Span { start: 0.0, end }
    }

    #[test]
    fn readings_for_less_than_nearly_the_shortest_stretch_are_short() {
        // 95 % of 600 s are 570 s; the last reading stands a second before the end.
        let rules = SteadyRules::default();
        let judged = |end: f64| judge(&draw(1.0, end, |_| 200.0), until(end), &rules);
        assert_eq!(
            judged(501.0).reason,
            "8 min of readings (501); a steady stretch needs 10 min"
        );
        assert!(judged(570.0).reason.contains("a steady stretch needs"));
        assert_eq!(judged(572.0).reason.matches("needs").count(), 0);
    }

    #[test]
    fn a_window_ends_with_its_readings_where_two_of_them_are_missing() {
        // A reading a minute, the last at 3480 s.
        let rules = SteadyRules::default();
        let readings = draw(60.0, 3490.0, |t| 200.0 + (t / 60.0 % 2.0));
        let end = |window: f64| {
            let judged = judge(&readings, until(window), &rules);
            judged.plateau.unwrap().span.end
        };
        assert_eq!((end(3600.0), end(3601.0)), (3600.0, 3540.0));
    }

    #[test]
    fn cycles_that_begin_late_are_noted_beyond_two_periods() {
        let readings = draw(10.0, 5000.0, |_| 200.0);
        let notes = |start: f64| {
            let cycles = Cycles {
                span: Span { start, end: 4500.0 },
                count: 5,
                period_s: 500.0,
                duty: 0.5,
                low_w: 100.0,
                high_w: 300.0,
                means_w: vec![200.0; 5],
            };
            cycling(&readings, cycles, until(5000.0)).notes
        };
        assert!(notes(990.0).is_empty());
        assert_eq!(
            notes(1010.0),
            ["the first 17 min are left out: the cycles are not yet regular there"]
        );
    }

    #[test]
    fn an_unsettled_window_s_trouble_is_that_of_its_later_half() {
        // Sixty blocks: the first half rises by 4 W a block to 220 W, the second by 0.5 W from there, mean 227.25 W. The later half drifts by
        // 0.5 × 30/227.25 = 6.6 %, the whole by far more.
        let values = (0..60).map(|i| {
            let i = f64::from(i) - 30.0;
            Some(220.0 + if i < 0.0 { 4.0 * i } else { 0.5 * i })
        });
        let rules = SteadyRules::default();
        let search = Search {
            watched: vec![Watched::draw(
                Blocks::from_values(values.collect()),
                0.0,
                &rules,
            )],
            least: 10,
            horizon: 30.0,
            count: 60,
            off_w: 0.0,
        };
        // The last third as fast as the middle one, so it is no start-up.
        let judged = unsettled(until(3600.0), &rules, &search);
        assert_eq!(judged.status, Status::Unsteady);
        assert_eq!(
            judged.reason,
            "the draw drifts by 6.6 % in 30 min (allowed 2.0 %)"
        );
    }
}
