//! What the unit's control may do beyond the tested intake range.
//!
//! Within the range the runs speak. Beyond it two things can go wrong that no fitted curve knows of: the curve may bend
//! (its bend over the range is hardly seen with two or three intake temperatures), and a compressor whose speed ramps with intake may reach its
//! top speed and clip. Both widen the interval; neither is invented from the runs' noise.

use crate::fit::candidates::{Candidate, CandidateDraw, DrawFit};
use crate::fit::forms::{At, Corner, Held, HeldSlope, IntakeForm};

/// Slope of ln(draw) with intake at fixed speed: mean and standard deviation, 1/K. Wide enough for the published
/// -0.02 to +0.7 % per K of entering wet bulb (Cutler et al. 2013, NREL/TP-5500-56354, curves evaluated) and for the
/// lighter lift of a warm intake at held ambient (Carnot work: down to about -1.5 % per K).
pub(super) const FIXED_SPEED_SLOPE: (f64, f64) = (-0.002, 0.007);
/// The same for a speed that ramps with intake. Common practice, no source: full speed over some 10 to 20 K.
const RAMP_SLOPE: (f64, f64) = (0.015, 0.008);
/// Share of units whose speed ramps with intake, before any run is seen. Common practice, no source.
const RAMP_PRIOR: f64 = 0.25;
/// Chance that a ramping control has reached its top speed by the edge of the tested range. No source: even odds.
pub(super) const CLIPPED_SHARE: f64 = 0.5;
/// Slope of ln(draw) with intake once clipped, 1/K: fixed speed, lift shrinking with warmer intake.
pub(super) const CLIPPED_SLOPE: (f64, f64) = (-0.008, 0.007);
/// Standard deviation of an unseen bend of ln(draw) with intake, 1/K2: that of ln(lift) at lifts of 25 to 45 K
/// (0.6 / lift^2) as doubt about a form that bends, or does not.
pub(super) const UNSEEN_BEND: f64 = 6e-4;

/// Doubt about the draw between two tested intakes where the control seems to follow the intake: it may start, clip or step in between, and the
/// curve then misses by up to slope × (T − T₁)(T₂ − T)/(T₂ − T₁). Standard deviation as a share of that. Common practice, no source.
pub(super) const HIDDEN_CORNER: f64 = 0.25;

/// Chance that the last step seen within the tests was not the control's last. No source: even odds.
pub(super) const MORE_STEPS: f64 = 0.5;
/// Spread of an unseen step's size, as a share of the mean of those seen. No source.
pub(super) const STEP_SPREAD: f64 = 0.4;

/// Standard deviation (W) of what a control may do unseen between the neighbouring set points around an intake; zero at set points and outside.
pub fn hidden_corner_w(
    fit: &DrawFit,
    candidate: &Candidate,
    at: &At,
    d: &CandidateDraw,
    chance: f64,
) -> f64 {
    if knows_its_control(candidate) {
        return 0.0;
    }
    fit.data.gap(at.intake).map_or(0.0, |(low, high)| {
        let reach = (at.intake - low) * (high - at.intake) / (high - low);
        chance * HIDDEN_CORNER * d.intake_slope_w_per_k.abs() * reach
    })
}

/// Chance, from the slopes that the smooth candidates show, that the control ramps the compressor with intake.
pub fn ramp_chance(fit: &DrawFit) -> f64 {
    let data = &fit.data;
    let steepest = (0..data.modes.len())
        .map(|mode| mode_slope(fit, mode))
        .fold(f64::NEG_INFINITY, f64::max);
    if !steepest.is_finite() {
        return RAMP_PRIOR;
    }
    chance_of_slope(steepest)
}

/// The chance of a ramp where the steepest relative slope is this, 1/K.
fn chance_of_slope(steepest: f64) -> f64 {
    let density = |(m, s): (f64, f64)| (-0.5 * ((steepest - m) / s).powi(2)).exp() / s;
    let ramp = RAMP_PRIOR * density(RAMP_SLOPE);
    let fixed = (1.0 - RAMP_PRIOR) * density(FIXED_SPEED_SLOPE);
    // Far above both, a slope speaks for a ramp however small the densities.
    if steepest > RAMP_SLOPE.0 {
        return (ramp / (ramp + fixed)).max(0.9);
    }
    ramp / (ramp + fixed)
}

/// Weighted mean relative slope of a mode's tested settings at the reference conditions, 1/K.
fn mode_slope(fit: &DrawFit, mode: usize) -> f64 {
    let data = &fit.data;
    let (mut sum, mut total) = (0.0, 0.0);
    for candidate in fit.candidates.iter().filter(|c| !knows_its_control(c)) {
        for level in 0..data.levels.len() {
            if data
                .tested
                .get(mode)
                .and_then(|m| m.get(level))
                .is_none_or(|n| *n == 0)
            {
                continue;
            }
            let at = At::new(mode, level, data.intake_ref, data.ambient_ref);
            if let Some(d) = fit.draw_of(candidate, &at) {
                sum += candidate.weight * d.intake_slope_w_per_k / d.compressor_w;
                total += candidate.weight;
            }
        }
    }
    sum / total
}

fn is_terraced(candidate: &Candidate) -> bool {
    matches!(candidate.form.intake, IntakeForm::Terraced(_))
}

fn knows_its_control(candidate: &Candidate) -> bool {
    candidate.form.intake.is_control()
}

/// Share of belief in a control that steps with the intake.
fn stepping_chance(fit: &DrawFit) -> f64 {
    let terraced = fit.candidates.iter().filter(|c| is_terraced(c));
    terraced.map(|c| c.weight).sum()
}

/// What the control seems to do with the intake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeenControl {
    /// Nothing that a fixed speed would not do.
    Fixed,
    /// It follows the intake, smoothly as far as one can see.
    Follows,
    /// It steps.
    Steps,
}

/// What the control most likely does.
pub fn seen_control(fit: &DrawFit) -> SeenControl {
    let stepping = stepping_chance(fit);
    let known = fit.candidates.iter().filter(|c| knows_its_control(c));
    let ramp = known.map(|c| c.weight).sum::<f64>() - stepping;
    spoken_of(ramp, stepping, ramp_chance(fit))
}

/// The control that is spoken of, from the shares of belief in a ramp and in steps, and the chance of a ramp by the slopes of all else.
fn spoken_of(ramp: f64, stepping: f64, chance: f64) -> SeenControl {
    let follows = ramp + (1.0 - ramp - stepping) * chance;
    if stepping > CONTROL_LIKELY {
        SeenControl::Steps
    } else if follows + stepping > CONTROL_LIKELY {
        SeenControl::Follows
    } else {
        SeenControl::Fixed
    }
}

/// Chance of a control that follows the intake from which it is spoken of.
const CONTROL_LIKELY: f64 = 0.5;

/// A candidate's opinion where its curve leaves something open: beyond the range the curve carried on, and the control clipped, with their shares.
pub struct Opinions {
    /// Share, centre (W) and extra standard deviation (W) of each.
    pub parts: Vec<(f64, f64, f64)>,
}

/// Splits a candidate's opinion at `at`, which lies `beyond_k` past the tested range `(low, high)`.
pub fn opinions(
    fit: &DrawFit,
    candidate: &Candidate,
    at: &At,
    d: &CandidateDraw,
    range: (f64, f64),
    chance: f64,
) -> Opinions {
    if is_terraced(candidate) {
        return terraced_opinions(fit, candidate, at, d, range);
    }
    let (low, high) = range;
    let beyond_k = (at.intake - high).max(low - at.intake).max(0.0);
    if let Some((slope, corner)) = candidate.form.ramp(&fit.data, &candidate.fit.coef, at.mode) {
        // Where an end of the ramp is reached, nothing is left for the control to do but what a fixed speed may.
        if is_held(corner, at.intake, range) {
            let doubt = held_doubt(candidate, beyond_k, range);
            return Opinions {
                parts: vec![(1.0, d.draw_w, doubt * d.compressor_w)],
            };
        }
        if beyond_k <= 0.0 {
            let whole = fit.data.whole_intake_range();
            let (lift, doubt) = along_ramp(slope, corner, at.intake, whole);
            return Opinions {
                parts: vec![(
                    1.0,
                    d.draw_w + lift * d.compressor_w,
                    doubt * d.compressor_w,
                )],
            };
        }
    }
    if beyond_k <= 0.0 {
        return Opinions {
            parts: vec![(1.0, d.draw_w, 0.0)],
        };
    }
    // A ramp that is seen has a top speed to reach for certain.
    let chance = if candidate.form.intake.corner().is_some() {
        1.0
    } else {
        chance
    };
    let bend = 0.5 * UNSEEN_BEND * beyond_k * (beyond_k + (high - low)) * d.compressor_w;
    let above = at.intake > high;
    let edge = At {
        intake: if above { high } else { low },
        ..*at
    };
    let Some(at_edge) = fit.draw_of(candidate, &edge) else {
        return Opinions {
            parts: vec![(1.0, d.draw_w, bend)],
        };
    };
    let clip = if above {
        chance * CLIPPED_SHARE
    } else {
        chance * CLIPPED_SHARE * 0.5
    };
    let blower = d.draw_w - d.compressor_w;
    let sign = if above { 1.0 } else { -1.0 };
    let clipped = blower + at_edge.compressor_w * (CLIPPED_SLOPE.0 * beyond_k * sign).exp();
    let clipped_sd = at_edge.compressor_w * CLIPPED_SLOPE.1 * beyond_k;
    Opinions {
        parts: vec![(1.0 - clip, d.draw_w, bend), (clip, clipped, clipped_sd)],
    }
}

/// Relative doubt, as a standard deviation, of the draw at a held speed `k` kelvin away from where runs show it: that of the assumed slope,
/// or, where the slope is fitted, of a bend.
fn held_doubt(candidate: &Candidate, k: f64, (low, high): (f64, f64)) -> f64 {
    match candidate.form.held {
        HeldSlope::Assumed => FIXED_SPEED_SLOPE.1 * k,
        _ => 0.5 * UNSEEN_BEND * k * (k + (high - low)),
    }
}

/// A terraced candidate's opinions: within a gap the step lies on either side of `at`, evenly likely anywhere; beyond the range
/// another step may come, as often for each kelvin as within it.
fn terraced_opinions(
    fit: &DrawFit,
    candidate: &Candidate,
    at: &At,
    d: &CandidateDraw,
    (low, high): (f64, f64),
) -> Opinions {
    let steps = candidate.form.control(&fit.data, &candidate.fit.coef);
    let blower = d.draw_w - d.compressor_w;
    let after = |step: f64| blower + d.compressor_w * step.exp();
    let drift = |k: f64| held_doubt(candidate, k, (low, high)) * d.compressor_w;
    let mut stepped = candidate.form.stepped_gaps(&fit.data).zip(steps);
    if let Some(((a, b), step)) = stepped.find(|((a, b), _)| *a < at.intake && at.intake < *b) {
        let share = (at.intake - a) / (b - a);
        return Opinions {
            parts: vec![
                (1.0 - share, after(-share * step), drift(at.intake - a)),
                (share, after((1.0 - share) * step), drift(b - at.intake)),
            ],
        };
    }
    let beyond_k = (at.intake - high).max(low - at.intake).max(0.0);
    if beyond_k <= 0.0 {
        return Opinions {
            parts: vec![(1.0, d.draw_w, 0.0)],
        };
    }
    let seen: Vec<f64> = { steps.iter().copied() }.filter(|s| *s > 0.0).collect();
    let size = seen.iter().sum::<f64>() / seen.len().max(1) as f64;
    let each_k = seen.len() as f64 / (high - low).max(1.0);
    let another = MORE_STEPS * (1.0 - (-each_k * beyond_k).exp());
    let direction = if at.intake > high { 1.0 } else { -1.0 };
    let stepped = after(direction * size);
    let spread = STEP_SPREAD * (stepped - d.draw_w);
    Opinions {
        parts: vec![
            (1.0 - another, d.draw_w, drift(beyond_k)),
            (another, stepped, drift(beyond_k).hypot(spread)),
        ],
    }
}

/// By how much ln of the draw along a ramp with one of the corners tried departs from its straight line within the tests: mean and standard
/// deviation.
///
/// The corner lies anywhere in its stretch. A speed that rises evenly in revolutions lifts the logarithm of the draw above its chord, by up to an
/// eighth of the squared rise in the middle of the ramp; one that rises evenly in ratio does not. Anything between is as likely.
fn along_ramp(slope: f64, corner: Corner, intake: f64, (low, high): (f64, f64)) -> (f64, f64) {
    let span = corner.span_k();
    let c = corner.intake_c();
    let near = (1.0 - (intake - c).abs() / span).max(0.0);
    let (from, to) = match corner.held {
        Held::Above => (low, c),
        Held::Below => (c, high),
    };
    let along = ((intake - from) / (to - from)).clamp(0.0, 1.0);
    let rise = slope * (to - from);
    let lift = rise * rise / 8.0 * 4.0 * along * (1.0 - along);
    // Evenly anywhere: a standard deviation of the length over the root of twelve.
    let even = 12f64.sqrt();
    (0.5 * lift, (slope * span * near / even).hypot(lift / even))
}

/// Whether an intake beyond the range lies on the side of the corner on which the speed is held.
fn is_held(corner: Corner, intake: f64, (low, high): (f64, f64)) -> bool {
    match corner.held {
        Held::Above => intake > high,
        Held::Below => intake < low,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Bench;
    use crate::fit::candidates::fit_draw;
    use crate::fit::forms::DrawData;
    use crate::made::bench::{Options, make};
    use crate::made::kind::Kind;

    fn fitted(kind: Kind) -> DrawFit {
        let made = make(kind, 3, &Options::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv).unwrap();
        fit_draw(DrawData::from_bench(&bench)).unwrap()
    }

    /// The tested setting's reference conditions at another intake, a candidate's draw there and its opinions.
    fn asked(fit: &DrawFit, c: &Candidate, intake: f64) -> (CandidateDraw, Opinions) {
        let at = At::new(0, 0, intake, fit.data.ambient_ref);
        let d = fit.draw_of(c, &at).unwrap();
        let range = fit.data.whole_intake_range();
        let all = opinions(fit, c, &at, &d, range, 0.5);
        (d, all)
    }

    /// Relative doubt `k` kelvin from the runs at a held speed: ±0.7 % per K where its slope is assumed; where it is fitted, a bend of
    /// 6·10⁻⁴ per K² over that and the range.
    fn drift(fit: &DrawFit, c: &Candidate, k: f64) -> f64 {
        let (low, high) = fit.data.whole_intake_range();
        match c.form.held {
            HeldSlope::Assumed => 0.007 * k,
            _ => 0.5 * 6e-4 * k * (k + high - low),
        }
    }

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a}, not {b}");
    }

    #[test]
    fn a_step_in_a_gap_is_had_or_not_and_its_logarithms_average_to_the_curve() {
        let fit = fitted(Kind::IndependentStepped);
        let mut seen = 0;
        for c in fit.candidates.iter().filter(|c| is_terraced(c)) {
            let steps = c.form.control(&fit.data, &c.fit.coef);
            for ((low, high), step) in c.form.stepped_gaps(&fit.data).zip(steps) {
                // A quarter of the way: three chances in four that the step is still to come.
                let gap = high - low;
                let (d, all) = asked(&fit, c, low + 0.25 * gap);
                let [(before, cold, cold_sd), (after, warm, warm_sd)] = all.parts[..] else {
                    panic!("{:?}", all.parts)
                };
                near(before, 0.75);
                near(after, 0.25);
                let blower = d.draw_w - d.compressor_w;
                let ln = |w: f64| (w - blower).ln();
                near(ln(warm) - ln(cold), *step);
                near(0.75 * ln(cold) + 0.25 * ln(warm), d.compressor_w.ln());
                // Within a set point the draw follows the intake as at fixed speed, from the nearer end.
                near(cold_sd, drift(&fit, c, 0.25 * gap) * d.compressor_w);
                near(warm_sd, drift(&fit, c, 0.75 * gap) * d.compressor_w);
                seen += 1;
            }
        }
        assert!(seen > 0);
    }

    #[test]
    fn beyond_the_tests_another_step_comes_as_often_for_each_kelvin_as_within() {
        let fit = fitted(Kind::IndependentStepped);
        let (low, high) = fit.data.whole_intake_range();
        let mut seen = 0;
        for c in fit.candidates.iter().filter(|c| is_terraced(c)) {
            let steps = c.form.control(&fit.data, &c.fit.coef);
            let up: Vec<f64> = steps.iter().copied().filter(|s| *s > 0.0).collect();
            if up.is_empty() {
                continue;
            }
            let (count, step) = (up.len() as f64, up.iter().sum::<f64>() / up.len() as f64);
            for (intake, direction) in [(2.0 * high - low, 1.0), (2.0 * low - high, -1.0)] {
                // As far again as the range: 1 − e^(−steps over it), and even odds that the last was not the last.
                let (d, all) = asked(&fit, c, intake);
                let [(stay, same, drift), (another, stepped, sd)] = all.parts[..] else {
                    panic!("{:?}", all.parts)
                };
                near(another, 0.5 * (1.0 - (-count).exp()));
                near(stay + another, 1.0);
                near(same, d.draw_w);
                near(drift, self::drift(&fit, c, high - low) * d.compressor_w);
                let blower = d.draw_w - d.compressor_w;
                near(
                    (stepped - blower) / d.compressor_w,
                    (direction * step).exp(),
                );
                near(
                    sd * sd - drift * drift,
                    (0.4 * (stepped - d.draw_w)).powi(2),
                );
                seen += 1;
            }
            // At the edge nothing else can have happened yet.
            assert_eq!(asked(&fit, c, high).1.parts.len(), 1);
        }
        assert!(seen > 0);
    }

    #[test]
    fn a_ramp_is_doubted_at_its_corner_and_in_its_middle() {
        let fit = fitted(Kind::IndependentRamp);
        let (low, high) = fit.data.whole_intake_range();

        let mut seen = [0; 2];
        for c in &fit.candidates {
            let Some((slope, corner)) = c.form.ramp(&fit.data, &c.fit.coef, 0) else {
                continue;
            };
            let (from, to) = match corner.held {
                Held::Above => (low, corner.intake_c()),
                Held::Below => (corner.intake_c(), high),
            };
            // The corner: anywhere within its stretch, evenly.
            let (d, all) = asked(&fit, c, corner.intake_c());
            near(
                all.parts[0].2 / d.compressor_w,
                slope.abs() * corner.span_k() / 12f64.sqrt(),
            );
            // A stretch or more from the corner nothing is left of that. In the middle of the ramp its logarithm stands above the chord by
            // anything from nothing to an eighth of its rise squared, a quarter of the way by three quarters of that.
            if to - from >= 4.0 * corner.span_k() {
                let quarter = match corner.held {
                    Held::Above => from + 0.25 * (to - from),
                    Held::Below => from + 0.75 * (to - from),
                };
                for (intake, part) in [(0.5 * (from + to), 1.0), (quarter, 0.75)] {
                    let (d, all) = asked(&fit, c, intake);
                    let most = part * (slope * (to - from)).powi(2) / 8.0;
                    let (_, centre, sd) = all.parts[0];
                    near(
                        centre / d.draw_w - 1.0,
                        0.5 * most * d.compressor_w / d.draw_w,
                    );
                    near(sd / d.compressor_w, most / 12f64.sqrt());
                }
                seen[0] += 1;
            }
            // Beyond the held end one opinion is left, with a fixed speed's slope; beyond the other the ramp may have been clipped.
            let (held, open) = match corner.held {
                Held::Above => (high + 2.0, low - 2.0),
                Held::Below => (low - 2.0, high + 2.0),
            };
            let (d, all) = asked(&fit, c, held);
            assert_eq!(all.parts.len(), 1);
            let doubt = match c.form.held {
                // The slope that is assumed, or a bend of the one that is fitted: ½ · 6·10⁻⁴ · 2 · (2 + range).
                HeldSlope::Assumed => 0.007 * 2.0,
                _ => 6e-4 * (2.0 + high - low),
            };
            near(all.parts[0].2, doubt * d.compressor_w);
            let (_, all) = asked(&fit, c, open);
            let clipped = if open > high { 0.5 } else { 0.25 };
            near(all.parts[1].0, clipped);
            near(all.parts[0].0, 1.0 - clipped);
            seen[1] += 1;
        }
        assert!(seen[0] > 0 && seen[1] > 0, "{seen:?}");
    }

    #[test]
    fn the_chance_of_a_ramp_by_hand() {
        // Normal densities without their common factor. At 0.5 % per K: ramp 0.25 e^(−½ (10/8)²)/0.008 = 14.30733, fixed speed
        // 0.75 e^(−½)/0.007 = 64.98543. At 1.49 %: 31.24756 and 0.75 e^(−½ (16.9/7)²)/0.007 = 5.81161. At 2 %: 25.70554 and 0.76752.
        for (slope, ramp, fixed) in [
            (0.005, 14.30733, 64.98543),
            (0.0149, 31.24756, 5.81161),
            (0.02, 25.70554, 0.76752),
        ] {
            let ours = chance_of_slope(slope);
            let by_hand: f64 = ramp / (ramp + fixed);
            assert!((ours - by_hand).abs() < 1e-4, "{slope}: {ours} {by_hand}");
        }
        // Above the ramps' mean it never falls below nine tenths: 31.25/(31.25 + 5.42) would be 0.85.
        assert_eq!(chance_of_slope(0.0151), 0.9);
    }

    #[test]
    fn a_corner_holds_on_its_own_side_of_the_range() {
        let at = |held| Corner {
            tenths: 250,
            held,
            span: 10,
        };
        let held = |side, intake| is_held(at(side), intake, (20.0, 30.0));
        let seen =
            [19.0, 20.0, 25.0, 30.0, 31.0].map(|t| (held(Held::Below, t), held(Held::Above, t)));
        assert_eq!(
            seen,
            [
                (true, false),
                (false, false),
                (false, false),
                (false, false),
                (false, true)
            ]
        );
    }

    #[test]
    fn a_control_is_spoken_of_from_even_odds() {
        // 0.4 + 0.6 × 0.25 = 0.55; 0.3 + 0.7 × 0.25 = 0.475; 0.7 × 0.25 + 0.3 = 0.475; 0.2 + 0.7 × 0.25 + 0.15 = 0.51 with 0.15 of steps.
        for (ramp, stepping, chance, said) in [
            (0.4, 0.0, 0.25, SeenControl::Follows),
            (0.3, 0.0, 0.25, SeenControl::Fixed),
            (0.0, 0.3, 0.25, SeenControl::Fixed),
            (0.2, 0.15, 0.25, SeenControl::Follows),
            (0.1, 0.55, 0.25, SeenControl::Steps),
        ] {
            assert_eq!(spoken_of(ramp, stepping, chance), said, "{ramp} {stepping}");
        }
    }
}
