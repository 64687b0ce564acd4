//! A setting's mean readings, and the figures that they give.

use crate::air::{ASSUMED_RH, AirError, AirReadings, Side, heat_flows};
use crate::bench::{Bench, Channel, Point};
use crate::fit::forms::flow_side;

use super::{Figure, Values};

/// Mean readings of a setting's runs, in base units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Readings {
    values: [Option<f64>; Channel::ALL.len()],
    flow_at: Option<Side>,
    /// Whether EER and its like are of the total capacity.
    total: bool,
    /// Whether no humidity was read, so that one is assumed for the air's density.
    pub humidity_assumed: bool,
}

impl Readings {
    /// The means over some points; a channel that one of them lacks is left out. The airflow is the fan level's own.
    pub fn mean(bench: &Bench, points: &[&Point], flow_m3h: Option<f64>, total: bool) -> Readings {
        let mut values = [None; Channel::ALL.len()];
        for channel in Channel::ALL {
            let all: Option<Vec<f64>> = points.iter().map(|p| p.get(channel)).collect();
            values[channel as usize] = all
                .filter(|v| !v.is_empty())
                .map(|v| v.iter().sum::<f64>() / v.len() as f64);
        }
        values[Channel::Airflow as usize] = flow_m3h;
        values[Channel::Pressure as usize].get_or_insert(bench.pressure_pa);
        let mut readings = Readings {
            values,
            flow_at: flow_side(bench),
            total,
            humidity_assumed: false,
        };
        if readings.get(Channel::IntakeRh).is_none() && readings.get(Channel::OutletRh).is_none() {
            readings.humidity_assumed = true;
            readings.values[Channel::IntakeRh as usize] = Some(ASSUMED_RH);
        }
        readings
    }

    /// A channel's mean.
    pub fn get(&self, channel: Channel) -> Option<f64> {
        self.values[channel as usize]
    }

    /// Moves a channel that was read.
    pub fn shift(&mut self, channel: Channel, by: f64) {
        if let Some(v) = &mut self.values[channel as usize] {
            *v += by;
        }
    }

    /// The figures at these readings. Humidity stays between dry and saturated, a condensate rate at zero or more, and all else within
    /// what the air's formulas hold for: random trials of a badly known input reach far.
    ///
    /// # Errors
    /// A reading out of range.
    pub fn figures(&self) -> Result<Values, AirError> {
        let draw = self.get(Channel::Power);
        let mut values: Values = [None; Figure::ALL.len()];
        values[Figure::Draw as usize] = draw;
        let (Some(intake_temp_c), Some(outlet_temp_c), Some(flow_m3h)) = (
            self.get(Channel::IntakeTemp),
            self.get(Channel::OutletTemp),
            self.get(Channel::Airflow),
        ) else {
            return Ok(values);
        };
        let rh = |c| self.get(c).map(|v| v.clamp(0.0, 1.0));
        let pressure = self.get(Channel::Pressure).unwrap_or(f64::NAN);
        let heat = heat_flows(&AirReadings {
            intake_temp_c: intake_temp_c.clamp(-50.0, 75.0),
            intake_rh: rh(Channel::IntakeRh),
            outlet_temp_c: outlet_temp_c.clamp(-50.0, 75.0),
            outlet_rh: rh(Channel::OutletRh),
            flow_m3h: flow_m3h.clamp(0.1, 1e6),
            flow_at: self.flow_at,
            pressure_pa: pressure.clamp(50e3, 120e3),
            condensate_kg_h: self.get(Channel::Condensate).map(|v| v.max(0.0)),
        })?;
        let capacity = if self.total {
            heat.total_w
        } else {
            Some(heat.sensible_w)
        };
        let over = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a / b);
        for (figure, value) in [
            (Figure::Sensible, Some(heat.sensible_w)),
            (Figure::Latent, heat.latent_w),
            (Figure::Total, heat.total_w),
            (
                Figure::SensibleHeatRatio,
                over(Some(heat.sensible_w), heat.total_w),
            ),
            (Figure::Eer, over(capacity, draw)),
            (Figure::Weighed, heat.weighed_w),
            (
                Figure::WeighedLessAir,
                heat.weighed_w.zip(heat.latent_w).map(|(w, l)| w - l),
            ),
        ] {
            values[figure as usize] = value;
        }
        Ok(values)
    }
}
