//! The cooling runs seen from the air side: capacity in place of draw, for the same family of forms.

use crate::air::{AirReadings, Capacity, Coil, Side, capacity};
use crate::bench::{Bench, Channel, FlowAt, Point};

use super::data::{DrawData, FlowScale};

/// Which capacity the runs' readings give.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum CapacityKind {
    /// Sensible and latent: humidity was read on both sides of every run.
    Total,
    /// Sensible only.
    Sensible,
}

/// Capacity of every cooling run.
#[derive(Clone, Debug)]
pub struct CapacityData {
    /// As [`DrawData`], with the capacity (W) in place of the draw, no blower and no lift.
    pub data: DrawData,
    /// What was computed.
    pub kind: CapacityKind,
    /// Each cooling run's air side, in the order of `data.rows`.
    pub runs: Vec<Capacity>,
    /// How many runs had a wet coil for certain.
    pub wet: usize,
    /// How many runs perhaps had one.
    pub perhaps_wet: usize,
}

/// Why a bench gives no capacity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoCapacity {
    /// The airflow was not measured.
    #[error("no airflow was measured, so the bench gives no capacity")]
    NoAirflow,
    /// A run lacks a temperature.
    #[error("run `{run}` lacks an intake or outlet temperature, so the bench gives no capacity")]
    NoTemperature {
        /// The run.
        run: String,
    },
    /// The air side of a run makes no sense.
    #[error("run `{run}`: {reason}")]
    Impossible {
        /// The run.
        run: String,
        /// Why.
        reason: String,
    },
    /// The outlet's humidity reads so high that the air would have gained heat.
    #[error(
        "run `{run}`: by its humidities the outlet air holds no less heat than the intake air ({outlet_g_kg:.1} against {intake_g_kg:.1} g of water per kg of air), and a coil adds no water: check the humidity probes, or leave outlet_rh out for the sensible part alone; no capacity curve is made"
    )]
    OutletMoister {
        /// The run.
        run: String,
        /// Water in the intake air, g/kg.
        intake_g_kg: f64,
        /// Water in the outlet air, g/kg.
        outlet_g_kg: f64,
    },
    /// A run did not cool.
    #[error(
        "run `{run}` is a cooling run, but its outlet is not colder than its intake; no capacity curve is made"
    )]
    NoCooling {
        /// The run.
        run: String,
    },
}

/// The side whose air the duct measured, where stated.
pub(crate) fn flow_side(bench: &Bench) -> Option<Side> {
    bench.duct.at.map(|at| match at {
        FlowAt::Intake => Side::Intake,
        FlowAt::Outlet => Side::Outlet,
    })
}

/// The air-enthalpy method on a point, with its fan level's own airflow: the level's mean over runs, so that the
/// noise of one flow reading does not stand on both axes of a capacity curve.
///
/// # Errors
/// [`NoCapacity`] where readings are missing or impossible.
pub fn point_capacity(bench: &Bench, point: &Point, flow_m3h: f64) -> Result<Capacity, NoCapacity> {
    let run = || point.run.clone();
    let (Some(intake_temp_c), Some(outlet_temp_c)) =
        (point.intake_c(), point.get(Channel::OutletTemp))
    else {
        return Err(NoCapacity::NoTemperature { run: run() });
    };
    capacity(&AirReadings {
        intake_temp_c,
        intake_rh: point.get(Channel::IntakeRh),
        outlet_temp_c,
        outlet_rh: point.get(Channel::OutletRh),
        flow_m3h,
        flow_at: flow_side(bench),
        pressure_pa: point.get(Channel::Pressure).unwrap_or(bench.pressure_pa),
        condensate_kg_h: point.get(Channel::Condensate),
    })
    .map_err(|e| NoCapacity::Impossible {
        run: run(),
        reason: e.to_string(),
    })
}

impl CapacityData {
    /// Computes the capacity of every cooling run.
    ///
    /// # Errors
    /// [`NoCapacity`] naming the first run that stands in the way.
    pub fn from_bench(bench: &Bench, draw: &DrawData) -> Result<CapacityData, NoCapacity> {
        if draw.flow_scale != FlowScale::Airflow {
            return Err(NoCapacity::NoAirflow);
        }
        let mut runs = Vec::with_capacity(draw.rows.len());
        for row in &draw.rows {
            let (Some(point), Some(flow)) = (
                bench.points.get(row.point),
                draw.levels.get(row.level).and_then(|l| l.flow),
            ) else {
                return Err(NoCapacity::NoAirflow);
            };
            runs.push(point_capacity(bench, point, flow)?);
        }
        let kind = if runs.iter().all(|c| c.total_w.is_some()) {
            CapacityKind::Total
        } else {
            CapacityKind::Sensible
        };
        let mut data = draw.clone();
        data.blower = None;
        data.lift = None;
        data.response = "capacity";
        data.sensible = kind == CapacityKind::Sensible;
        for (row, c) in data.rows.iter_mut().zip(&runs) {
            let watts = match kind {
                CapacityKind::Total => c.total_w.unwrap_or(c.sensible_w),
                CapacityKind::Sensible => c.sensible_w,
            };
            if !(watts.is_finite() && watts > 0.0) {
                let run = bench
                    .points
                    .get(row.point)
                    .map(|p| p.run.clone())
                    .unwrap_or_default();
                return Err(match c.moister_outlet() {
                    Some((intake, outlet)) if c.sensible_w > 0.0 => NoCapacity::OutletMoister {
                        run,
                        intake_g_kg: 1000.0 * intake,
                        outlet_g_kg: 1000.0 * outlet,
                    },
                    _ => NoCapacity::NoCooling { run },
                });
            }
            row.draw = watts;
        }
        let count = |coil: Coil| runs.iter().filter(|c| c.coil == coil).count();
        Ok(CapacityData {
            wet: count(Coil::Wet),
            perhaps_wet: count(Coil::PerhapsWet),
            data,
            kind,
            runs,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_outlet_that_reads_moister_is_named_with_both_ratios() {
        // 30 % at 27 degC, 90 % at 22 degC; saturation 3567.4 and 2644.9 Pa (ASHRAE Handbook—Fundamentals 2017, ch. 1, table 3, the second
        // from memory), enhancement 1.0044: 1074.9 and 2390.9 Pa. 0.621945 p/(101 325 − p) = 6.67 and 15.03 g/kg.
        let table = "run,fan,intake_temp [degC],intake_rh [%],outlet_temp [degC],outlet_rh [%],airflow [m3/h],power [W]\n\
            a,1,27,30,22,90,240,300\n";
        let toml = "[site]\npressure = \"1013.25 hPa\"\n[points]\nfile = \"points.csv\"\n";
        let bench = Bench::from_texts(toml, table).unwrap();
        let refused = CapacityData::from_bench(&bench, &DrawData::from_bench(&bench)).err();
        let Some(NoCapacity::OutletMoister {
            run,
            intake_g_kg,
            outlet_g_kg,
        }) = refused
        else {
            panic!("{refused:?}");
        };
        assert_eq!(run, "a");
        assert!((intake_g_kg / 6.67 - 1.0).abs() < 2e-3, "{intake_g_kg}");
        assert!((outlet_g_kg / 15.03 - 1.0).abs() < 2e-3, "{outlet_g_kg}");
    }
}
