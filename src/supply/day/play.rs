//! The charge left over a day, with its band.

use crate::stats::normal;

/// What an hour takes and brings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flow {
    /// Energy out of the battery in that hour, Wh.
    pub out_wh: f64,
    /// Standard deviation of ln(out) on the side of less, and of more: one error shared by all hours.
    pub less: f64,
    /// See `less`.
    pub more: f64,
    /// Energy that charging offers in that hour, as can be taken out again, Wh.
    pub in_wh: f64,
}

/// The battery that the day is played on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Store {
    /// Usable energy, Wh.
    pub usable_wh: f64,
    /// Standard deviation of its logarithm.
    pub u: f64,
    /// Charge at the start, a share.
    pub start: f64,
}

/// How a day ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Played {
    /// Charge at the end of each hour, a share of the usable energy: value, low, high.
    pub charge: Vec<(f64, f64, f64)>,
    /// Hours from the start to empty, on the middle course; none where it never is.
    pub empty_h: Option<f64>,
    /// Earliest and latest hours to empty at the level; an end is absent where it lies beyond the day.
    pub empty_between: (Option<f64>, Option<f64>),
    /// Share of the courses on which the battery empties.
    pub chance_empty: f64,
    /// Energy wanted and not there, on the middle course, Wh.
    pub unmet_wh: f64,
    /// Charging offered to a full battery, on the middle course, Wh.
    pub spilled_wh: f64,
}

/// Courses in each of the two directions of doubt.
const GRID: usize = 101;

/// Plays the day on a grid of courses: quantiles of the draw's error (one error for all hours: their errors move together) times quantiles of
/// the battery's, equally weighted. A full battery takes no more and an empty one gives none, which a propagation by slopes would not know.
pub fn play(flows: &[Flow], store: Store, level: f64) -> Played {
    let middle = course(flows, store, 0.0, 0.0);
    let tail = 0.5 * (1.0 - level);
    let z: Vec<f64> = (0..GRID)
        .map(|k| normal::quantile((k as f64 + 0.5) / GRID as f64))
        .collect();
    // Without doubt about one of the two there is nothing to vary.
    let still = |vary: bool| if vary { z.as_slice() } else { &[0.0][..] };
    let by_draw = still(flows.iter().any(|f| f.less > 0.0 || f.more > 0.0));
    let by_battery = still(store.u > 0.0);
    let courses: Vec<Course> = by_draw
        .iter()
        .flat_map(|d| by_battery.iter().map(move |b| (*d, *b)))
        .map(|(d, b)| course(flows, store, d, b))
        .collect();
    let quantile = |sorted: &[f64], p: f64| {
        let n = sorted.len();
        let at = (p * n as f64).floor() as usize;
        sorted
            .get(at.min(n.saturating_sub(1)))
            .copied()
            .unwrap_or(f64::NAN)
    };
    let charge = middle
        .charge
        .iter()
        .enumerate()
        .map(|(hour, value)| {
            let mut all: Vec<f64> = courses
                .iter()
                .filter_map(|c| c.charge.get(hour).copied())
                .collect();
            all.sort_by(f64::total_cmp);
            let (low, high) = (quantile(&all, tail), quantile(&all, 1.0 - tail));
            (*value, low.min(*value), high.max(*value))
        })
        .collect();
    let mut empties: Vec<f64> = courses
        .iter()
        .map(|c| c.empty_h.unwrap_or(f64::INFINITY))
        .collect();
    empties.sort_by(f64::total_cmp);
    let end = |p: f64| Some(quantile(&empties, p)).filter(|h| h.is_finite());
    Played {
        charge,
        empty_h: middle.empty_h,
        empty_between: (end(tail), end(1.0 - tail)),
        chance_empty: empties.iter().filter(|h| h.is_finite()).count() as f64
            / courses.len().max(1) as f64,
        unmet_wh: middle.unmet_wh,
        spilled_wh: middle.spilled_wh,
    }
}

struct Course {
    charge: Vec<f64>,
    empty_h: Option<f64>,
    unmet_wh: f64,
    spilled_wh: f64,
}

/// One course through the day, `z_draw` and `z_battery` standard deviations from the middle.
fn course(flows: &[Flow], store: Store, z_draw: f64, z_battery: f64) -> Course {
    let full = store.usable_wh * (z_battery * store.u).exp();
    let mut left = store.start * full;
    let mut c = Course {
        charge: Vec::with_capacity(flows.len()),
        empty_h: None,
        unmet_wh: 0.0,
        spilled_wh: 0.0,
    };
    for (hour, f) in flows.iter().enumerate() {
        let side = if z_draw > 0.0 { f.more } else { f.less };
        let out = f.out_wh * (z_draw * side).exp();
        let net = f.in_wh - out;
        if left + net < 0.0 {
            if c.empty_h.is_none() {
                // Within the hour it falls evenly.
                c.empty_h = Some(hour as f64 + left / -net);
            }
            c.unmet_wh -= left + net;
            left = 0.0;
        } else {
            left += net;
            if left > full {
                c.spilled_wh += left - full;
                left = full;
            }
        }
        c.charge.push(left / full);
    }
    c
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::random::{normal as draw_normal, stream};

    fn even(out_wh: f64, u: f64) -> Vec<Flow> {
        vec![
            Flow {
                out_wh,
                less: u,
                more: u,
                in_wh: 0.0,
            };
            24
        ]
    }

    #[test]
    fn a_known_draw_on_a_known_battery_by_hand() {
        // 1000 Wh, 80 Wh an hour: empty after 12.5 h; 11.5 h × 80 Wh = 920 Wh unmet.
        let store = Store {
            usable_wh: 1000.0,
            u: 0.0,
            start: 1.0,
        };
        let p = play(&even(80.0, 0.0), store, 0.95);
        assert_eq!(p.empty_h, Some(12.5));
        assert!((p.charge[0].0 - 0.92).abs() < 1e-12 && (p.unmet_wh - 920.0).abs() < 1e-9);
        assert_eq!(
            (p.empty_between, p.chance_empty),
            ((Some(12.5), Some(12.5)), 1.0)
        );
        // Charging a full battery is spilled.
        let mut flows = even(0.0, 0.0);
        flows[3].in_wh = 50.0;
        let p = play(&flows, store, 0.95);
        assert_eq!((p.spilled_wh, p.empty_h, p.chance_empty), (50.0, None, 0.0));
    }

    #[test]
    fn the_band_is_that_of_a_monte_carlo_with_one_error_for_all_hours() {
        let store = Store {
            usable_wh: 1000.0,
            u: 0.03,
            start: 1.0,
        };
        let flows = even(60.0, 0.04);
        let p = play(&flows, store, 0.95);
        let mut rng = stream(11, 0);
        let mut after_12: Vec<f64> = Vec::new();
        let mut empty: Vec<f64> = Vec::new();
        for _ in 0..40_000 {
            let out = 60.0 * (0.04 * draw_normal(&mut rng)).exp();
            let full = 1000.0 * (0.03 * draw_normal(&mut rng)).exp();
            after_12.push(1.0 - 12.0 * out / full);
            empty.push(full / out);
        }
        after_12.sort_by(f64::total_cmp);
        empty.sort_by(f64::total_cmp);
        // By slopes: 0.28 ± 1.96 × 0.72 × √(0.04² + 0.03²) = 0.28 ± 0.071.
        let (value, low, high) = p.charge[11];
        assert!((value - 0.28).abs() < 1e-12);
        for (ours, theirs) in [(low, after_12[1000]), (high, after_12[39_000])] {
            assert!((ours - theirs).abs() < 0.003, "{ours} {theirs}");
        }
        // 1000/60 = 16.67 h, give or take 9.8 %.
        let (a, b) = (p.empty_between.0.unwrap(), p.empty_between.1.unwrap());
        assert!(
            (a - empty[1000]).abs() < 0.1 && (b - empty[39_000]).abs() < 0.1,
            "{a} {b}"
        );
    }

    #[test]
    fn an_uneven_day_by_hand() {
        let flow = |out_wh, in_wh| Flow {
            out_wh,
            less: 0.1,
            more: 0.2,
            in_wh,
        };
        let flows = [
            flow(200.0, 50.0),
            flow(300.0, 0.0),
            flow(250.0, 0.0),
            flow(400.0, 600.0),
            flow(100.0, 1000.0),
        ];
        let store = Store {
            usable_wh: 1000.0,
            u: 0.04,
            start: 0.6,
        };
        // 600 − 150 = 450, − 300 = 150, of 250 wanted 100 are not there (empty after 150/250 of the hour), + 200, + 900 of which 100 do not fit.
        let c = course(&flows, store, 0.0, 0.0);
        for (ours, by_hand) in c.charge.iter().zip([0.45, 0.15, 0.0, 0.2, 1.0]) {
            assert!((ours - by_hand).abs() < 1e-12);
        }
        assert!((c.empty_h.unwrap() - 2.6).abs() < 1e-12);
        assert!((c.unmet_wh - 100.0).abs() < 1e-9 && (c.spilled_wh - 100.0).abs() < 1e-9);
        // 1½ deviations more: 200 e^0.3 = 269.972 Wh; the battery half a deviation less: 1000 e^−0.02 = 980.199 Wh, 588.119 at the start:
        // 588.119 + 50 − 269.972 = 368.147, over 980.199 is 0.375585. One deviation less: 200 e^−0.1 = 180.967, (600 + 50 − 180.967)/1000.
        let c = course(&flows, store, 1.5, -0.5);
        assert!((c.charge[0] - 0.375585).abs() < 1e-6, "{}", c.charge[0]);
        let c = course(&flows, store, -1.0, 0.0);
        assert!((c.charge[0] - 0.469033).abs() < 1e-6);
    }

    #[test]
    fn the_chance_to_run_empty_by_hand() {
        // 24 × 40 = 960 Wh of 1000 Wh, 4 % and 3 % in doubt: ln(1000/960) = 0.0408 = 0.816 standard deviations of 5 %: 20.7 %.
        let store = Store {
            usable_wh: 1000.0,
            u: 0.03,
            start: 1.0,
        };
        let p = play(&even(40.0, 0.04), store, 0.95);
        assert!((p.chance_empty - 0.207).abs() < 0.01, "{}", p.chance_empty);
    }
}
