//! What may look steady and is not: plateaus apart, steps, pieces of a drift, start-ups that have not ended.

use super::blocks;
use super::search::{OFF, Search, Stretch, Watched};
use super::words;
use crate::bench::Channel;
use crate::bench::logs::SteadyRules;
use crate::logs::window::Span;

/// A step is so many times the usual change of the draw over as long. Common practice, no source.
const SUDDEN: f64 = 6.0;
/// A setting stood where the median over the least length differs from the level beside the step by less than this share …
const STOOD: f64 = 0.25;
/// … nearly all of that length is nearer to that level than to the other …
const MOSTLY: f64 = 0.8;
/// … and its drift over that length is less than this share of the step.
const STILL: f64 = 0.5;
/// What drift inside the plateaus would make of the way between their middles, as a share of their difference: below it
/// they are plateaus, above it one drift.
const FLAT: f64 = 0.5;
/// Two levels are told from a straight line where twice the difference of the log-likelihoods is above this: one further degree of
/// freedom (the moment of the step) and a chance of one in some thousands.
const RATHER: f64 = 6.0;

/// How two stretches differ, where they are plateaus of their own.
pub(super) fn apart(search: &Search, a: Stretch, b: Stretch) -> Option<String> {
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
        let most = |l: blocks::Line| l.slope.abs() + l.slope_se;
        let flat = most(x).max(most(y)) * way < FLAT * difference;
        let se = |l: blocks::Line| blocks::CORRELATED * l.scatter / (l.count as f64).sqrt();
        let sure = difference > 3.0 * se(x).hypot(se(y));
        if flat || (sure && rather_a_step(w, early, late)) {
            return Some(words::difference(w.channel, x.mean, y.mean));
        }
    }
    None
}

/// Whether two levels describe the blocks of two stretches better than one straight line does, beyond chance.
///
/// Twice the difference of the log-likelihoods is n times the log of the ratio of the sums of squares; correlated blocks count for
/// less, as in the standard error of a line.
fn likelier_a_step(w: &Watched, early: Stretch, late: Stretch) -> bool {
    let Some((line, levels, n)) = w
        .blocks
        .line_or_step((early.from, early.to), (late.from, late.to))
    else {
        return false;
    };
    // What a display in steps cannot tell apart.
    let floor = 1e-12 + n * (w.least / 4.0).powi(2) * f64::from(u8::from(w.relative));
    n * ((line + floor) / (levels + floor)).ln() > RATHER * blocks::CORRELATED.powi(2)
}

/// The same, and neither stretch is a piece of a draw that wanders or settles slowly: that has levels for a while, too, but its
/// neighbours are alike.
fn rather_a_step(w: &Watched, early: Stretch, late: Stretch) -> bool {
    let restless = |s: Stretch| w.blocks.alike_neighbours(s.from, s.to);
    likelier_a_step(w, early, late) && !restless(early) && !restless(late)
}

/// The place within a stretch before and after which the draw stands at two levels further apart than a drift may take it: a
/// change of setting small enough to pass for spread.
pub(super) fn small_step(search: &Search, main: Stretch) -> Option<(Stretch, Stretch, String)> {
    let draw = search.watched.first()?;
    let mut best: Option<(f64, Stretch, Stretch)> = None;
    for at in main.from + search.least..(main.to + 1).saturating_sub(search.least) {
        let (early, late) = (
            Stretch {
                from: main.from,
                to: at,
            },
            Stretch {
                from: at,
                to: main.to,
            },
        );
        if let Some((_, levels, _)) = draw
            .blocks
            .line_or_step((early.from, early.to), (late.from, late.to))
            && best.as_ref().is_none_or(|b| levels < b.0)
        {
            best = Some((levels, early, late));
        }
    }
    let (_, early, late) = best?;
    let (x, y) = (
        draw.blocks.line(early.from, early.to)?,
        draw.blocks.line(late.from, late.to)?,
    );
    let unit = draw.unit_at(x.mean.max(y.mean));
    let difference = (y.mean - x.mean).abs();
    let se = |l: blocks::Line| blocks::CORRELATED * l.scatter / (l.count as f64).sqrt();
    let clear = difference > draw.drift * unit && difference > 4.0 * se(x).hypot(se(y));
    (clear && rather_a_step(draw, early, late)).then(|| {
        (
            early,
            late,
            words::difference(Channel::Power, x.mean, y.mean),
        )
    })
}

/// A step of the draw.
pub(super) struct Step {
    /// The block before which it happens.
    pub at: usize,
    /// The draw before it, W.
    pub before: f64,
    /// The draw after it, W.
    pub after: f64,
}

/// A sudden change of the draw outside the main stretch, too late for a start-up, beside which the other setting did not last
/// long enough to become steady.
pub(super) fn step(search: &Search, main: Stretch) -> Option<Step> {
    let draw = search.watched.first()?;
    let level = draw.blocks.mean(main.from, main.to)?;
    let usual = usual_change(draw)?;
    let mut found: Option<(f64, Step)> = None;
    for at in search.least..=search.count.saturating_sub(search.least) {
        if at > main.from && at < main.to {
            continue;
        }
        let beside = |from: usize, to: usize| median(draw.blocks.part(from, to.min(search.count)));
        let (Some(earlier), Some(before), Some(after)) = (
            beside(at.saturating_sub(6), at.saturating_sub(3)),
            beside(at.saturating_sub(3), at),
            beside(at + 1, at + 4),
        ) else {
            continue;
        };
        let jump = (after - before).abs();
        let sudden = jump > 3.0 * (before - earlier).abs() && jump > SUDDEN * usual;
        let off = before.abs().min(after.abs()) < OFF * before.abs().max(after.abs());
        // The other setting had stood for as long as a plateau must; else it is a compressor that starts late. Nor does a start-up
        // stand that goes up slowly and unevenly.
        let least = search.least;
        let stood = |s: Stretch, at_step: f64| {
            let part = draw.blocks.part(s.from, s.to);
            let near = part
                .iter()
                .flatten()
                .filter(|v| (*v - at_step).abs() < 0.5 * jump)
                .count();
            near as f64 >= MOSTLY * part.len() as f64
                && median(part).is_some_and(|m| (m - at_step).abs() < STOOD * at_step.abs())
                && draw
                    .blocks
                    .line(s.from, s.to)
                    .is_some_and(|l| l.slope.abs() * (least as f64) < STILL * jump)
        };
        let (early, late) = (
            Stretch {
                from: at.saturating_sub(least),
                to: at,
            },
            Stretch {
                from: at + 1,
                to: (at + 1 + least).min(search.count),
            },
        );
        if !(stood(early, before) && stood(late, after) && likelier_a_step(draw, early, late)) {
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

/// The median of the blocks there are: one odd block makes no step.
fn median(part: &[Option<f64>]) -> Option<f64> {
    let mut all: Vec<f64> = part.iter().flatten().copied().collect();
    let middle = all.len() / 2;
    (!all.is_empty()).then(|| *all.select_nth_unstable_by(middle, f64::total_cmp).1)
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
pub(super) fn part_of_drift(
    search: &Search,
    main: Stretch,
    window: Span,
    rules: &SteadyRules,
) -> Option<String> {
    let share = main.len() as f64 / (search.count - main.from) as f64;
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
    if let Some(reason) = straight_before(search, main, rules) {
        return Some(reason);
    }
    let length = main.len() as f64;
    if share < 0.5 || length < (0.25 * search.count as f64).min(search.horizon) {
        return Some(format!(
            "steady for {} only, out of {}",
            words::time(length * search.block_s(window)),
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

/// Whether what comes before a stretch shows that both are pieces of one straight drift: a start-up that ends in the stretch bends.
fn straight_before(search: &Search, main: Stretch, rules: &SteadyRules) -> Option<String> {
    let from = main.from.saturating_sub(main.len());
    if main.from - from < search.least {
        return None;
    }
    search.watched.iter().find_map(|w| {
        let level = w.blocks.mean(main.from, main.to)?;
        let earlier = w.blocks.mean(from, main.from)?;
        let unit = w.unit_at(level);
        let (line, curve) = (
            w.blocks.line(from, main.to)?,
            w.blocks.curve(from, main.to)?,
        );
        let bends = curve.bend * curve.slope < 0.0 && curve.bend.abs() > curve.bend_se;
        if bends || (earlier - level).abs() > 2.0 * w.spread * unit {
            return None;
        }
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
        // Well inside, and well out: noise at the edge is neither.
        let away = (v - level).abs();
        if inside && away > band {
            left += 1;
            inside = false;
        } else if away < 0.5 * band {
            inside = true;
        }
    }
    (left >= 2 && main.len() * 2 < search.count).then(|| {
        format!(
            "the draw leaves the level of its steadiest stretch {left} times by more than {:.0} % before",
            100.0 * draw.spread
        )
    })
}

/// Whether a window ends before its start-up does: the draw still changes, but ever more slowly, while the intake stands still.
pub(super) fn starting(search: &Search, window: Span, rules: &SteadyRules) -> Option<String> {
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

#[cfg(test)]
mod tests;
