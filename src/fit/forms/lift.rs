//! Temperature lift between the air states: what the compressor works against.
//!
//! A compressor's work at a given speed and evaporation goes with the lift between evaporating and condensing
//! temperature; with ambient air held, the lift shrinks as the intake warms, so draw bends downwards. The offset
//! ln(lift) gives a form that bend without a parameter of its own (Carnot work, any thermodynamics text).

use crate::bench::{Bench, Channel};

use super::data::{At, DrawData};

/// Lift as a function of setting, intake and ambient: ambient + approaches − outlet, the outlet
/// following the intake along each setting's own line with one common slope.
#[derive(Clone, Debug)]
pub struct LiftModel {
    /// Outlet at the reference intake, by mode and level, degC. A level that its mode was not tested at has the value on the line
    /// through the mode's two nearest levels in ln(airflow); none where the airflow is not known.
    outlet_at_ref: Vec<Vec<Option<f64>>>,
    slope: f64,
    intake_ref: f64,
}

/// The parts of a [`LiftModel`].
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct LiftParts<'a> {
    /// Outlet at the reference intake by mode and level, degC; none where nothing tells it.
    pub outlet_at_ref_c: &'a [Vec<Option<f64>>],
    /// Kelvin of outlet for each kelvin of intake.
    pub slope: f64,
    /// Condensing above ambient plus evaporating below outlet, K.
    pub approaches_k: f64,
    /// The lift is never taken below this, K.
    pub smallest_k: f64,
}

/// Condensing above ambient plus evaporating below outlet, K. Common practice, no source: 10 to 15 K and 3 to 6 K.
const APPROACHES_K: f64 = 16.0;
/// Under this lift the Carnot picture means nothing; the offset is held there.
const SMALLEST_LIFT_K: f64 = 6.0;

impl LiftModel {
    /// Fits the outlet lines; `None` unless every cooling run has intake, outlet and ambient and the intake was varied.
    pub fn from_bench(bench: &Bench, data: &DrawData) -> Option<LiftModel> {
        if !data.intake_varied {
            return None;
        }
        let shape = || vec![vec![(0.0, 0.0, 0usize); data.levels.len()]; data.modes.len()];
        let mut sums = shape();
        let mut readings = Vec::with_capacity(data.rows.len());
        for row in &data.rows {
            let point = bench.points.get(row.point)?;
            let outlet = point.get(Channel::OutletTemp)?;
            point.get(Channel::AmbientTemp)?;
            let cell = sums.get_mut(row.mode)?.get_mut(row.level)?;
            cell.0 += row.intake;
            cell.1 += outlet;
            cell.2 += 1;
            readings.push((row.mode, row.level, row.intake, outlet));
        }
        let mean = |mode: usize, level: usize| {
            let (t, o, n) = *sums.get(mode)?.get(level)?;
            (n > 0).then(|| (t / n as f64, o / n as f64))
        };
        let (mut sxy, mut sxx) = (0.0, 0.0);
        for (mode, level, intake, outlet) in &readings {
            let (t, o) = mean(*mode, *level)?;
            sxy += (intake - t) * (outlet - o);
            sxx += (intake - t).powi(2);
        }
        if sxx <= 0.0 {
            return None;
        }
        let slope = sxy / sxx;
        if !(0.0..=1.2).contains(&slope) {
            return None;
        }
        let outlet_at_ref = (0..data.modes.len())
            .map(|m| {
                let tested: Vec<Option<f64>> = (0..data.levels.len())
                    .map(|l| mean(m, l).map(|(t, o)| o + slope * (data.intake_ref - t)))
                    .collect();
                (0..data.levels.len())
                    .map(|l| {
                        let own = tested.get(l).copied().flatten();
                        own.or_else(|| read_off(data, &tested, l))
                    })
                    .collect()
            })
            .collect();
        Some(LiftModel {
            outlet_at_ref,
            slope,
            intake_ref: data.intake_ref,
        })
    }

    /// Its parts, for those who compute the lift elsewhere: max(smallest, ambient + approaches − outlet), with
    /// outlet = at reference + slope × (intake − reference).
    pub fn parts(&self) -> LiftParts<'_> {
        LiftParts {
            outlet_at_ref_c: &self.outlet_at_ref,
            slope: self.slope,
            approaches_k: APPROACHES_K,
            smallest_k: SMALLEST_LIFT_K,
        }
    }

    /// The lift of a setting as an expression in `intake_degC` and `ambient_degC`, K.
    pub fn equation(&self, mode: usize, level: usize) -> Option<String> {
        let at_ref = (*self.outlet_at_ref.get(mode)?.get(level)?)?;
        let constant: f64 = APPROACHES_K - at_ref + self.slope * self.intake_ref;
        let sign = if constant < 0.0 { '-' } else { '+' };
        Some(format!(
            "max({SMALLEST_LIFT_K}, ambient_degC {sign} {:.7} - {:.7}*intake_degC)",
            constant.abs(),
            self.slope
        ))
    }

    /// The lift, K; `None` at a setting that was never tested where the airflow does not tell either.
    pub fn lift_k(&self, at: &At) -> Option<f64> {
        let at_ref = (*self.outlet_at_ref.get(at.mode)?.get(at.level)?)?;
        let outlet = at_ref + self.slope * (at.intake - self.intake_ref);
        Some((at.ambient + APPROACHES_K - outlet).max(SMALLEST_LIFT_K))
    }
}

/// The outlet of a level that a mode was not tested at, off the line through the mode's two nearest tested levels in ln(airflow);
/// where it was tested at one level only, that level's.
fn read_off(data: &DrawData, tested: &[Option<f64>], level: usize) -> Option<f64> {
    let x_of = |l: usize| data.levels.get(l).and_then(|l| l.x);
    let x = x_of(level)?;
    let mut near: Vec<(f64, f64)> = tested
        .iter()
        .enumerate()
        .filter_map(|(l, o)| Some((x_of(l)?, (*o)?)))
        .collect();
    near.sort_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()));
    let first = near.first()?;
    let second = near.iter().find(|p| (p.0 - first.0).abs() > 1e-9);
    Some(second.map_or(first.1, |second| {
        first.1 + (second.1 - first.1) / (second.0 - first.0) * (x - first.0)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_untested_level_is_read_off_the_line_through_its_two_nearest() {
        let mut table = "run,fan,intake_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        for (fan, flow) in [(1, 100), (2, 150), (3, 200), (4, 300)] {
            for run in ["a", "b"] {
                table.push_str(&format!("{run}{fan},{fan},27,{flow},{}\n", 100 + flow));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let data = DrawData::from_bench(&bench);
        let tested = [Some(10.0), None, Some(14.0), Some(30.0)];
        // 200 and 100 m3/h are nearest to 150 in logarithms: 10 + 4 ln(1.5)/ln 2.
        let got = read_off(&data, &tested, 1).unwrap();
        assert!((got - (10.0 + 4.0 * 1.5f64.log2())).abs() < 1e-9, "{got}");
        // Of 100 and 200 on the way down from 300: 14 + 4 ln(1.5)/ln 2.
        let got = read_off(&data, &[Some(10.0), None, Some(14.0), None], 3).unwrap();
        assert!((got - (14.0 + 4.0 * 1.5f64.log2())).abs() < 1e-9, "{got}");
        assert_eq!(
            read_off(&data, &[None, Some(12.0), None, None], 3),
            Some(12.0)
        );
        assert_eq!(read_off(&data, &[None; 4], 3), None);
    }

    #[test]
    fn nearness_is_counted_from_the_untested_level() {
        let mut table = "run,fan,intake_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        for (fan, flow) in [(1, 55), (2, 100), (3, 200), (4, 450)] {
            table.push_str(&format!("{fan},{fan},27,{flow},100\n"));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let data = DrawData::from_bench(&bench);
        // From 200 m3/h it is half to 100 and 2.25 times to 450, but a 3.6th to 55: 10 + 6 ln 2/ln 4.5.
        let got = read_off(&data, &[Some(0.0), Some(10.0), None, Some(16.0)], 2).unwrap();
        assert!(
            (got - (10.0 + 6.0 * 2f64.ln() / 4.5f64.ln())).abs() < 1e-9,
            "{got}"
        );
    }
}
