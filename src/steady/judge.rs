//! Naming what a run was: steady, cycling, unsteady, short, or several things in one window.

use std::collections::BTreeMap;

use serde::Serialize;

use super::blocks::Blocks;
use super::cycles::{self, Cycles};
use super::mean::{self, Mean};
use super::readings::Readings;
use super::search::{Search, Stretch, Trouble, Watched};
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

/// Readings of the draw, at least: published tests record seven sets in half an hour (ISO 5151:2017, from memory;
/// 10 CFR 430 Subpart B Appendix M1, 3.3 b).
const FEWEST_READINGS: usize = 7;
/// Blocks in a window, at most: the search takes time with their square.
const MOST_BLOCKS: f64 = 240.0;
/// A draw below this share of the main plateau's is a unit switched off. Common practice, no source.
const OFF: f64 = 0.03;
/// A step is so many times the usual change of the draw over as long. Common practice, no source.
const SUDDEN: f64 = 6.0;
/// A setting stood where the mean over the least length differs from the level beside the step by less than this share.
const STOOD: f64 = 0.25;
/// What drift inside the plateaus would make of the way between their middles, as a share of their difference: below it
/// they are plateaus, above it one drift.
const FLAT: f64 = 0.5;

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
        return bare(
            Status::Short,
            "no readings of the draw in the window".to_owned(),
        );
    };
    let bins = draw.within(window.start, window.end);
    let count: usize = bins.iter().map(|b| b.count as usize).sum();
    let (Some(first), Some(last)) = (bins.first(), bins.last()) else {
        return bare(
            Status::Short,
            "no readings of the draw in the window".to_owned(),
        );
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
    let cycles = cycles::find(bins, rules);
    let search = search(readings, window, rules, draw.interval());
    let main = search.longest(0, search.count);
    let length = main.map_or(0.0, |m| m.len() as f64 * block_s(&search, window));
    if let Some(cycles) = cycles.filter(|c| c.span.length() > length) {
        return cycling(readings, cycles, window);
    }
    match main {
        Some(main) => settled(readings, window, rules, &search, main),
        None => unsettled(window, rules, &search),
    }
}

fn block_s(search: &Search, window: Span) -> f64 {
    window.length() / search.count.max(1) as f64
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
            watched.push(match channel {
                Channel::Power => Watched::draw(blocks, rules),
                _ => Watched::temperature(channel, blocks, rules),
            });
        }
    }
    Search {
        watched,
        least: (rules.at_least_s / width).ceil().max(3.0) as usize,
        horizon: rules.horizon_s() / width,
        count,
    }
}

/// The time of a stretch of blocks.
fn span_of(search: &Search, window: Span, s: Stretch) -> Span {
    let width = block_s(search, window);
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
    for other in &others {
        if let Some(difference) = apart(search, main_rest, *other) {
            let mut all = others.clone();
            all.push(main_rest);
            all.sort_by_key(|s| s.from);
            let plateaus: Vec<Plateau> = all
                .iter()
                .map(|s| means(readings, span_of(search, window, *s)))
                .collect();
            return Judged {
                plateaus,
                ..bare(
                    Status::Several,
                    format!(
                        "{} plateaus: {difference}; split the window, one run a plateau",
                        all.len()
                    ),
                )
            };
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
                    words::time(step.at as f64 * block_s(search, window))
                ),
            )
        };
    }
    if let Some(reason) = part_of_drift(search, main, window, rules) {
        return bare(Status::Unsteady, reason);
    }
    steady(readings, window, rules, search, main_rest)
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
    if span.length() < rules.horizon_s() {
        notes.push(format!(
            "steady for {}; published tests record 30 min",
            words::time(span.length())
        ));
    }
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

/// How two stretches differ, where they are plateaus of their own.
fn apart(search: &Search, a: Stretch, b: Stretch) -> Option<String> {
    let (early, late) = if a.from < b.from { (a, b) } else { (b, a) };
    for w in &search.watched {
        let (Some(x), Some(y)) = (
            w.blocks.line(early.from, early.to),
            w.blocks.line(late.from, late.to),
        ) else {
            continue;
        };
        let difference = (y.mean - x.mean).abs();
        let level = x.mean.abs().max(y.mean.abs());
        if w.channel == Channel::Power && x.mean.abs().min(y.mean.abs()) < OFF * level {
            // Switched off before or after: no setting of its own.
            return None;
        }
        let unit = w.unit_at(level);
        let limit = if w.relative { w.drift } else { w.spread };
        if difference <= limit * unit {
            continue;
        }
        let way = late.middle() - early.middle();
        let most = |l: super::blocks::Line| l.slope.abs() + l.slope_se;
        if most(x).max(most(y)) * way < FLAT * difference {
            return Some(words::difference(w.channel, x.mean, y.mean));
        }
    }
    None
}

/// A step of the draw.
struct Step {
    at: usize,
    before: f64,
    after: f64,
}

/// A sudden change of the draw outside the main stretch, too late for a start-up, beside which the other setting did not last
/// long enough to become steady.
fn step(search: &Search, main: Stretch) -> Option<Step> {
    let draw = search.watched.first()?;
    let level = draw.blocks.mean(main.from, main.to)?;
    let usual = usual_change(draw)?;
    let mut found: Option<(f64, Step)> = None;
    for at in search.least..=search.count.saturating_sub(search.least) {
        if at > main.from && at < main.to {
            continue;
        }
        let (Some(earlier), Some(before), Some(after)) = (
            draw.blocks.mean(at.saturating_sub(6), at.saturating_sub(3)),
            draw.blocks.mean(at.saturating_sub(3), at),
            draw.blocks.mean(at + 1, (at + 4).min(search.count)),
        ) else {
            continue;
        };
        let jump = (after - before).abs();
        let sudden = jump > 3.0 * (before - earlier).abs() && jump > SUDDEN * usual;
        let off = before.abs().min(after.abs()) < OFF * level.abs();
        // The other setting had stood for as long as a plateau must; else it is a compressor that starts late.
        let stood = |from: usize, to: usize, at_step: f64| {
            draw.blocks
                .mean(from, to)
                .is_some_and(|m| (m - at_step).abs() < STOOD * at_step.abs())
        };
        let least = search.least;
        if !(stood(at.saturating_sub(least), at, before)
            && stood(at + 1, (at + 1 + least).min(search.count), after))
        {
            continue;
        }
        if sudden && !off && jump > draw.spread * draw.unit_at(level) {
            let larger = found.as_ref().is_none_or(|(j, _)| jump > *j);
            if larger {
                found = Some((jump, Step { at, before, after }));
            }
        }
    }
    found.map(|(_, step)| step)
}

/// How much the draw usually changes over as many blocks as a step is looked for in: the median after the start-up.
fn usual_change(draw: &Watched) -> Option<f64> {
    let count = draw.blocks.len();
    let mut all: Vec<f64> = (count / 3 + 3..count.saturating_sub(3))
        .filter_map(|at| {
            let before = draw.blocks.mean(at - 3, at)?;
            let after = draw.blocks.mean(at + 1, at + 4)?;
            Some((after - before).abs())
        })
        .collect();
    if all.is_empty() {
        return None;
    }
    let middle = all.len() / 2;
    Some(*all.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Whether a steady stretch is but a part of something that goes on changing: why, in words.
fn part_of_drift(
    search: &Search,
    main: Stretch,
    window: Span,
    rules: &SteadyRules,
) -> Option<String> {
    let share = main.len() as f64 / (search.count - main.from.min(search.count - 1)) as f64;
    if let Some(reason) = comes_and_goes(search, main) {
        return Some(reason);
    }
    for w in &search.watched {
        let Some(inside) = w.blocks.line(main.from, main.to) else {
            continue;
        };
        let before = Stretch {
            from: main.from.saturating_sub(main.len()),
            to: main.from,
        };
        if before.len() < search.least / 2 {
            continue;
        }
        let Some(outside) = w.blocks.line(before.from, before.to) else {
            continue;
        };
        let goes_on = inside.slope * outside.slope > 0.0
            && inside.slope.abs() > 2.0 * inside.slope_se
            && inside.slope.abs() > 0.5 * outside.slope.abs();
        let unit = w.unit_at(inside.mean);
        if goes_on && outside.slope.abs() * search.horizon > w.drift * unit {
            return Some(words::goes_on(
                w,
                outside.slope * search.horizon / unit,
                rules,
            ));
        }
    }
    if let Some(reason) = lucky_piece(search, main, rules) {
        return Some(reason);
    }
    let length = main.len() as f64;
    if share < 0.5 || length < (0.25 * search.count as f64).min(search.horizon) {
        return Some(format!(
            "steady for {} only, out of {}",
            words::time(length * block_s(search, window)),
            words::time(window.length())
        ));
    }
    None
}

/// Whether what follows a stretch, still near its level, shows that both are pieces of one drift.
fn lucky_piece(search: &Search, main: Stretch, rules: &SteadyRules) -> Option<String> {
    let to = (main.to + main.len()).min(search.count);
    if to - main.to < search.least {
        return None;
    }
    search.watched.iter().find_map(|w| {
        let level = w.blocks.mean(main.from, main.to)?;
        let later = w.blocks.mean(main.to, to)?;
        let unit = w.unit_at(level);
        if (later - level).abs() > 2.0 * w.spread * unit {
            return None;
        }
        let line = w.blocks.line(main.from, to)?;
        let sure = (line.slope.abs() - 2.0 * line.slope_se) * search.horizon / unit;
        (sure > w.drift).then(|| words::goes_on(w, line.slope * search.horizon / unit, rules))
    })
}

/// Whether the draw had been at the level of the main stretch and left it, again and again, before staying there: a start-up
/// may overshoot once, a wandering draw passes its own mean many times.
fn comes_and_goes(search: &Search, main: Stretch) -> Option<String> {
    let draw = search.watched.first()?;
    let level = draw.blocks.mean(main.from, main.to)?;
    let band = draw.spread * draw.unit_at(level);
    let (mut inside, mut left) = (false, 0);
    for v in draw.blocks.part(0, main.from).iter().flatten() {
        let far = (v - level).abs() > band;
        if inside && far {
            left += 1;
        }
        inside = !far;
    }
    (left >= 2 && main.len() * 2 < search.count).then(|| {
        format!(
            "the draw leaves the level of its steadiest stretch {left} times by more than {:.0} % before",
            100.0 * draw.spread
        )
    })
}

/// A window without a steady stretch.
fn unsettled(window: Span, rules: &SteadyRules, search: &Search) -> Judged {
    if let Some(reason) = starting(search, window, rules) {
        return bare(Status::Short, reason);
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

/// Whether a window ends before its start-up does: the draw still changes, but ever more slowly, while the intake stands still.
fn starting(search: &Search, window: Span, rules: &SteadyRules) -> Option<String> {
    let draw = search.watched.first()?;
    // From the block after the largest leap: a compressor may start late.
    let early = draw.blocks.part(0, search.count / 2);
    let leap = early
        .windows(2)
        .map(|pair| match pair {
            [Some(a), Some(b)] => (b - a).abs(),
            _ => 0.0,
        })
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(0, |(i, _)| i + 1);
    let curve = draw.blocks.curve(leap, search.count)?;
    let slower = curve.bend * curve.slope < 0.0
        && curve.bend.abs() > 2.0 * curve.bend_se
        && curve.start_slope.abs() > curve.slope.abs()
        // A draw that turns back is no start-up; but the parabola through an approach that has nearly ended does turn a little.
        && curve.end_slope * curve.slope > -0.7 * curve.slope.powi(2);
    // Beside a start-up that has ended, a steady drift goes on as fast in the last third as in the middle one.
    let third = (search.count - leap) / 3;
    let after = leap + third;
    let (middle, last) = (
        draw.blocks.line(after, after + third)?,
        draw.blocks.line(search.count - third, search.count)?,
    );
    let still_slower =
        last.slope.abs() - last.slope_se < 0.75 * (middle.slope.abs() + middle.slope_se);
    let calm_intake = search
        .watched
        .iter()
        .filter(|w| w.channel == Channel::IntakeTemp)
        .all(|w| {
            w.blocks.line(after, search.count).is_none_or(|l| {
                (l.slope.abs() - 2.0 * l.slope_se) * search.horizon <= 2.0 * w.drift
            })
        });
    if !(slower && still_slower && calm_intake) {
        return None;
    }
    let last = draw
        .blocks
        .line(search.count - (search.count - leap) / 3, search.count)?;
    let change = last.slope.abs() * search.horizon / draw.unit_at(last.mean);
    if change < 2.0 * draw.drift {
        return None;
    }
    let change = 100.0 * change;
    Some(format!(
        "the start-up is not over after {}: the draw still changes by {change:.0} % in {}; run longer",
        words::time(window.length()),
        words::time(rules.horizon_s())
    ))
}
