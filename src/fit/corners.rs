//! Where the corner of a control's ramp with intake may lie.
//!
//! The runs say where: with three set points or more the ramp through the colder ones must meet the held speed of the warmer; with two, the
//! small scatter of the intake about each shows how steep the draw is there. A few places evenly over the range would all miss it by more than
//! the runs' scatter, so the range is scouted with the best form so far, and each place tried stands for the stretch around it over which the
//! runs hardly distinguish: all of it, in a few pieces, where they say nothing.

use super::candidates::fit_form;
use super::forms::{Corner, DrawData, DrawForm, Held, HeldSlope, IntakeForm, held_slopes_tried};

/// A tested intake range under which no corner can be seen, K.
const LEAST_RANGE_K: f64 = 3.0;
/// Steps of the first look and of the second, tenths of a kelvin.
const STEPS: (i32, i32) = (5, 1);
/// Places this far in AICc behind the best are not looked at again.
const LOOKED_AGAIN: f64 = 30.0;
/// Places this far behind the best are not tried with other forms: wider than what is kept, since forms differ.
const TRIED_WITHIN: f64 = 18.0;
/// How far from the end of the tests a ramp must begin, K: within less, it is the scatter of a few runs about one set point.
const LEAST_RAMP_K: f64 = 1.0;
/// A stretch ends where AICc has changed by this much.
const ALIKE_WITHIN: f64 = 2.0;
/// No stretch is longer than the tested range divided by this.
const FEWEST_STRETCHES: f64 = 6.0;

/// The corners worth trying; empty where none could be seen.
pub(super) fn corners(data: &DrawData, best: &DrawForm, typical_draw_w: f64) -> Vec<Corner> {
    let (low, high) = data.whole_intake_range();
    if !data.intake_varied || high - low <= LEAST_RANGE_K {
        return Vec::new();
    }
    let scout = Scout {
        data,
        best,
        typical_draw_w,
    };
    let sides = [Held::Above, Held::Below].map(|held| (held, scout.profile(held)));
    let all = sides.iter().flat_map(|(_, p)| p.iter().map(|(_, a)| *a));
    let least = all.fold(f64::INFINITY, f64::min);
    let widest = ((high - low) * 10.0 / FEWEST_STRETCHES).round().max(1.0) as i32;
    let stretches = sides.into_iter().flat_map(|(held, profile)| {
        let stretches = stretches(&profile, least, widest).into_iter();
        stretches.map(move |(tenths, span)| Corner { tenths, held, span })
    });
    stretches.collect()
}

/// The first and the last place where a ramp held on this side may have its corner, tenths of degC. Its slope must be seen between set points;
/// the held side needs no runs.
fn ends(data: &DrawData, held: Held) -> (i32, i32) {
    let (low, high) = data.whole_intake_range();
    // Runs anywhere between two intakes count as one set point; then their range says where a slope can be seen.
    let (coldest, warmest) = match data.set_points[..] {
        [coldest, .., warmest] => (coldest, warmest),
        _ => (low, high),
    };
    let (from, to) = match held {
        Held::Above => (coldest + LEAST_RAMP_K, high),
        Held::Below => (low, warmest - LEAST_RAMP_K),
    };
    ((10.0 * from).ceil() as i32, (10.0 * to).floor() as i32)
}

/// What looks for corners.
struct Scout<'a> {
    data: &'a DrawData,
    best: &'a DrawForm,
    typical_draw_w: f64,
}

impl Scout<'_> {
    /// AICc with the corner at each place looked at, tenths of degC, rising.
    fn profile(&self, held: Held) -> Vec<(i32, f64)> {
        let (first, last) = ends(self.data, held);
        let at = |tenths: i32| (tenths, self.aicc(tenths, held));
        let wide: Vec<(i32, f64)> = (first..=last).step_by(STEPS.0 as usize).map(at).collect();
        let least = wide.iter().map(|(_, a)| *a).fold(f64::INFINITY, f64::min);
        let near = |tenths: i32| {
            let beside = wide.iter().filter(|(t, _)| (t - tenths).abs() < STEPS.0);
            beside.map(|(_, a)| *a).fold(f64::INFINITY, f64::min) - least <= LOOKED_AGAIN
        };
        (first..=last)
            .step_by(STEPS.1 as usize)
            .filter(|t| near(*t))
            .map(at)
            .collect()
    }

    /// The better of a held speed with the assumed slope and with one fitted; infinite where neither fits.
    fn aicc(&self, tenths: i32, side: Held) -> f64 {
        let tried = held_slopes_tried(self.data, self.best.group_count());
        let simple =
            { tried.into_iter() }.filter(|h| matches!(h, HeldSlope::Assumed | HeldSlope::Common));
        let own = simple.map(|held| {
            let form = DrawForm {
                intake: IntakeForm::Ramp(Corner {
                    tenths,
                    held: side,
                    span: STEPS.1,
                }),
                held,
                lift: false,
                ..self.best.clone()
            };
            let fitted = fit_form(self.data, form, self.typical_draw_w);
            fitted.map_or(f64::INFINITY, |c| c.aicc)
        });
        own.fold(f64::INFINITY, f64::min)
    }
}

/// Stretches of a profile over which the runs hardly distinguish: for each the place that stands for it and its length, in tenths.
fn stretches(profile: &[(i32, f64)], least: f64, widest: i32) -> Vec<(i32, i32)> {
    let mut list = Vec::new();
    let mut own: Vec<(i32, f64)> = Vec::new();
    let kept = { profile.iter() }.filter(|(_, a)| a - least <= TRIED_WITHIN);
    for place in kept {
        let goes_on = own.last().zip(own.first()).is_some_and(|(last, first)| {
            let lowest = own.iter().map(|(_, a)| *a).fold(place.1, f64::min);
            let highest = own.iter().map(|(_, a)| *a).fold(place.1, f64::max);
            place.0 - last.0 == STEPS.1
                && place.0 - first.0 < widest
                && highest - lowest <= ALIKE_WITHIN
        });
        if !goes_on {
            list.extend(stands_for(&own));
            own.clear();
        }
        own.push(*place);
    }
    list.extend(stands_for(&own));
    list
}

/// The mean place of a stretch, weighted by what the runs make of each, and its length.
fn stands_for(places: &[(i32, f64)]) -> Option<(i32, i32)> {
    let least = places.iter().map(|(_, a)| *a).fold(f64::INFINITY, f64::min);
    let (mut total, mut sum) = (0.0, 0.0);
    for (tenths, aicc) in places {
        let weight = (0.5 * (least - aicc)).exp();
        total += weight;
        sum += weight * f64::from(*tenths);
    }
    (total > 0.0).then(|| ((sum / total).round() as i32, STEPS.1 * places.len() as i32))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Bench;
    use crate::fit::candidates::fit_draw;
    use crate::fit::forms::At;
    use crate::made::bench::{Kind, Options, make};

    #[test]
    fn a_stretch_ends_where_the_runs_tell_places_apart() {
        // Six places alike, then a fall of 3 and of 3 again, then one too far behind.
        let profile: Vec<(i32, f64)> = [0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 3.0, 6.0, 40.0]
            .iter()
            .enumerate()
            .map(|(i, a)| (250 + i as i32, -100.0 + a))
            .collect();
        let found = stretches(&profile, -100.0, 20);
        // The first six, of which the second has the weight e^(-1/4): 250 + (0.78 + 2 + 3 + 4 + 5)/5.78 = 252.56.
        assert_eq!(found, [(253, 6), (256, 1), (257, 1)]);
        // Nor does it reach over places that were not looked at again.
        let apart = [(250, -100.0), (251, -100.0), (255, -100.0)];
        assert_eq!(stretches(&apart, -100.0, 20), [(251, 2), (255, 1)]);
        // No longer than the widest.
        let found = stretches(&profile, -100.0, 4);
        assert_eq!(found.iter().map(|f| f.1).collect::<Vec<_>>(), [4, 2, 1, 1]);
    }

    /// Three set points, four runs at each of two fan levels, a speed that rises by 4 % per K up to a corner, ±0.1 % of scatter.
    fn ramp(corner_c: f64) -> DrawData {
        let mut table = "run,mode,fan,intake_temp [degC],power [W]\n".to_owned();
        let mut run = 0;
        for set_c in [24.0, 30.0, 36.0] {
            for fan in 1..=2 {
                for k in 0..4 {
                    run += 1;
                    let intake = set_c + 0.1 * f64::from(k);
                    let held_k = (intake - corner_c).max(0.0);
                    let ln = 0.04 * (intake - held_k) - 0.002 * held_k;
                    let scatter = 1.0 + 0.001 * f64::from((run * 7) % 3 - 1);
                    let draw = 100.0 * f64::from(fan) * ln.exp() * scatter;
                    table.push_str(&format!("r{run},cool,{fan},{intake:.1},{draw:.3}\n"));
                }
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        DrawData::from_bench(&bench)
    }

    #[test]
    fn a_corner_that_the_runs_show_is_found_to_a_few_tenths() {
        for corner_c in [31.3, 32.6, 34.0] {
            let fit = fit_draw(ramp(corner_c)).unwrap();
            let ramps = fit.candidates.iter().filter_map(|c| match c.form.intake {
                IntakeForm::Ramp(corner) => Some((c.weight, corner)),
                _ => None,
            });
            let above: Vec<_> = ramps.filter(|(_, c)| c.held == Held::Above).collect();
            let weight: f64 = above.iter().map(|a| a.0).sum();
            let mean = above.iter().map(|(w, c)| w * c.intake_c()).sum::<f64>() / weight;
            assert!((mean - corner_c).abs() < 0.3, "{mean}, not {corner_c}");
            let widest = above.iter().map(|(_, c)| c.span).max().unwrap();
            assert!(widest <= 10, "{widest}");
        }
    }

    #[test]
    fn one_odd_run_at_the_warm_end_makes_no_ramp() {
        // Set points at 26, 32 and 38 degC, one speed at all of them; the warmest run of all, at 38.9, happens to draw too much.
        let made = make(Kind::CoupledUneven, 20024, &Options::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv).unwrap();
        let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        assert_eq!(fit.data.set_points.len(), 3);
        let ramps = { fit.candidates.iter() }.filter_map(|c| c.form.intake.corner());
        let mut seen = 0;
        for corner in ramps {
            let from = fit.data.set_points[0] + LEAST_RAMP_K - 0.1;
            let to = fit.data.set_points[2] - LEAST_RAMP_K + 0.1;
            match corner.held {
                Held::Above => assert!(corner.intake_c() > from, "{corner:?}"),
                Held::Below => assert!(corner.intake_c() < to, "{corner:?}"),
            }
            seen += 1;
        }
        assert!(seen > 0);
        let true_w = { made.truth.targets.iter() }
            .filter(|t| t.intake_c == 41.0)
            .map(|t| t.mean_w)
            .fold(0.0, f64::max);
        for c in &fit.candidates {
            let at = At::new(0, 3, 41.0, fit.data.ambient_ref);
            let draw = fit.draw_of(c, &at).unwrap().draw_w;
            assert!(
                draw < 1.2 * true_w,
                "{draw} W, not {true_w} W: {:?}",
                c.form
            );
        }
    }

    /// A bench of two set points, 20 and 28 degC: a ramp of 4 % per K up to the middle between them and a held speed beyond. The runs at a set
    /// point stand `apart` kelvin apart and scatter by ± `scatter`.
    fn two_set_points(apart: f64, scatter: f64) -> DrawData {
        let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
        for run in 0..24 {
            let set_c = if run < 12 { 20.0 } else { 28.0 };
            let intake = set_c + apart * (f64::from(run % 12) - 5.5);
            let held_k = (intake - 24.0).max(0.0);
            let ln = 0.04 * (intake - held_k - 20.0) - 0.002 * held_k;
            let off = scatter * f64::from((run * 5) % 3 - 1);
            let draw = 100.0 * (ln + off).exp();
            table.push_str(&format!("r{run},1,{intake:.2},{draw:.3}\n"));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        DrawData::from_bench(&bench)
    }

    #[test]
    fn between_two_set_points_the_corner_is_anywhere_unless_their_scatter_shows_a_slope() {
        let found = |apart, scatter| {
            let data = two_set_points(apart, scatter);
            assert_eq!(data.set_points.len(), 2);
            let forms = crate::fit::forms::family(&data);
            let list = corners(&data, &forms[0], 100.0);
            let above: Vec<Corner> = { list.into_iter() }
                .filter(|c| c.held == Held::Above)
                .collect();
            let stretch: i32 = above.iter().map(|c| c.span).sum();
            (above, stretch)
        };
        // The readings of a set point are all but the same: from 21 degC, a kelvin above the colder set point, to 28 degC, in pieces of a sixth
        // of the range at most.
        let (above, stretch) = found(0.01, 0.02);
        assert!((68..=72).contains(&stretch), "{above:?}");
        assert!(above.iter().all(|c| c.span <= 14), "{above:?}");
        // A kelvin apart from first to last they show 4 % per K at 20 degC and none at 28 degC, so that the corner is near the middle.
        let (above, stretch) = found(0.1, 0.001);
        assert!(stretch < 30, "{above:?}");
        let near = |c: &Corner| (c.intake_c() - 24.0).abs() < 1.5;
        assert!(!above.is_empty() && above.iter().all(near), "{above:?}");
    }

    #[test]
    fn a_corner_is_looked_for_within_more_than_three_kelvin() {
        let seen = |low: f64, high: f64| {
            let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
            for run in 0..8 {
                let (intake, draw) = if run < 4 { (low, 100) } else { (high, 106) };
                table.push_str(&format!("{run},1,{intake},{}\n", draw + run % 2));
            }
            let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
            let data = DrawData::from_bench(&bench);
            assert_eq!(data.set_points.len(), 2);
            let forms = crate::fit::forms::family(&data);
            !corners(&data, &forms[0], 100.0).is_empty()
        };
        assert!(!seen(26.0, 28.8));
        assert!(seen(26.0, 29.2));
    }
}
