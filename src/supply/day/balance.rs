//! Heat load of the space, and the share of the time that the compressor must run.

use crate::bench::{Bench, DaySpace, Kind};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, DrawData};
use crate::predict::predict_capacity;

/// Heat to be removed to keep a space at its temperature, W: loss per kelvin × (ambient − inside) + sun + people and devices; never below zero.
/// The sun is half a sine between its hours (common practice, no source).
pub(super) fn load_w(space: &DaySpace, ambient_c: f64, clock_h: f64) -> f64 {
    let (rise, set) = space.sun_hours;
    let sun = if (rise..=set).contains(&clock_h) {
        space.sun_w * (std::f64::consts::PI * (clock_h - rise) / (set - rise)).sin()
    } else {
        0.0
    };
    (space.loss_w_k * (ambient_c - space.inside_c) + sun + space.inside_w).max(0.0)
}

/// Share of the time that the compressor runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Duty {
    /// Its value.
    pub value: f64,
    /// At the upper end of the capacity's interval.
    pub low: f64,
    /// At the lower end.
    pub high: f64,
    /// The capacity, W.
    pub capacity_w: Option<f64>,
    /// Whether it was asked for and could not be told.
    pub unknown: bool,
}

impl Duty {
    pub(super) fn stated(value: f64) -> Duty {
        Duty {
            value,
            low: value,
            high: value,
            capacity_w: None,
            unknown: false,
        }
    }
}

/// Load over capacity at these conditions, no more than 1.
pub(super) fn duty(
    bench: &Bench,
    capacity: Option<&DrawFit>,
    at: At,
    load: f64,
    level: f64,
) -> Duty {
    let found = capacity
        .and_then(|fit| predict_capacity(bench, fit, at, level))
        .filter(|c| c.capacity_w > 0.0);
    let Some(c) = found else {
        return Duty {
            unknown: true,
            ..Duty::stated(1.0)
        };
    };
    let over = |w: f64| if w > 0.0 { (load / w).min(1.0) } else { 1.0 };
    Duty {
        value: over(c.capacity_w),
        low: over(c.mean_w.1),
        high: over(c.mean_w.0),
        capacity_w: Some(c.capacity_w),
        unknown: false,
    }
}

/// What the unit draws while its compressor rests, W, by fan level: the blower's own draw, else the mean of the standby runs, else nothing.
pub(super) fn resting_w(bench: &Bench) -> impl Fn(usize, &DrawData) -> f64 {
    let standby: Vec<f64> = bench.of_kind(Kind::Standby).map(|p| p.draw_w()).collect();
    let standby = if standby.is_empty() {
        0.0
    } else {
        standby.iter().sum::<f64>() / standby.len() as f64
    };
    move |level, data: &DrawData| match &data.blower {
        Some(blower) => blower.levels.get(level).map_or(standby, |l| l.draw_w),
        None => standby,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_heat_load_by_hand() {
        let space = DaySpace {
            inside_c: 26.0,
            loss_w_k: 25.0,
            sun_w: 300.0,
            sun_hours: (6.0, 18.0),
            inside_w: 160.0,
        };
        // Noon at 34 degC: 25 × 8 + 300 + 160 = 660 W; 9 h at 26 degC: 300 sin 45° + 160 = 372.1 W; midnight at 16 degC: −250 + 160 < 0.
        assert!((load_w(&space, 34.0, 12.0) - 660.0).abs() < 1e-9);
        assert!((load_w(&space, 26.0, 9.0) - 372.13).abs() < 0.01);
        assert_eq!(load_w(&space, 16.0, 24.0), 0.0);
    }

    #[test]
    fn at_rest_the_unit_draws_the_mean_of_its_standby_runs() {
        let table = "run,kind,fan,intake_temp [degC],power [W]\na,cooling,1,27,200\nb,standby,,,3\nc,standby,,,5\nd,standby,,,10\n";
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
        let data = DrawData::from_bench(&bench);
        assert_eq!(resting_w(&bench)(0, &data), 6.0);
    }
}
