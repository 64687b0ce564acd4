//! Uncertainty of the capacity, from the uncertainties of the readings.

use super::capacity::{ASSUMED_RH, AirReadings, Capacity, capacity, heat};
use super::error::AirError;
use crate::quantity::Split;

/// Standard uncertainties of the readings, in their base units. Zero where nothing is known about one.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AirUncertainty {
    /// Of the intake temperature, K.
    pub intake_temp_c: Split,
    /// Of the intake relative humidity, as a fraction.
    pub intake_rh: Split,
    /// Of the outlet temperature, K.
    pub outlet_temp_c: Split,
    /// Of the outlet relative humidity, as a fraction.
    pub outlet_rh: Split,
    /// Of the flow, m3/h.
    pub flow_m3h: Split,
    /// Of the pressure, Pa.
    pub pressure_pa: Split,
    /// Of the condensate rate, kg/h.
    pub condensate_kg_h: Split,
}

/// A reading that capacity is computed from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Input {
    /// Intake dry bulb.
    IntakeTemp,
    /// Intake relative humidity.
    IntakeRh,
    /// Outlet dry bulb.
    OutletTemp,
    /// Outlet relative humidity.
    OutletRh,
    /// Volume flow.
    Flow,
    /// Pressure.
    Pressure,
    /// Weighed condensate; it moves the condensate's own figure only.
    Condensate,
    /// The humidity that was assumed because none was read, anything from dry to saturated.
    AssumedHumidity,
}

impl Input {
    /// The reading in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::IntakeTemp => "intake temperature",
            Self::IntakeRh => "intake humidity",
            Self::OutletTemp => "outlet temperature",
            Self::OutletRh => "outlet humidity",
            Self::Flow => "airflow",
            Self::Pressure => "pressure",
            Self::Condensate => "condensate",
            Self::AssumedHumidity => "assumed humidity",
        }
    }
}

/// What one reading adds to the uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// The reading.
    pub input: Input,
    /// Change of sensible capacity per unit of the reading, W per K, per 1 (humidity), per m3/h, per Pa.
    pub sensible_slope: f64,
    /// Change of total capacity, likewise.
    pub total_slope: Option<f64>,
    /// Standard uncertainty that it adds to the sensible capacity, W.
    pub sensible_w: Split,
    /// Standard uncertainty that it adds to the total capacity, W.
    pub total_w: Option<Split>,
}

/// Standard uncertainties of a [`Capacity`], W, and where they come from.
#[derive(Debug, Clone, PartialEq)]
pub struct CapacityUncertainty {
    /// Of the sensible capacity.
    pub sensible_w: Split,
    /// Of the latent capacity.
    pub latent_w: Option<Split>,
    /// Of the total capacity.
    pub total_w: Option<Split>,
    /// Of the latent capacity from weighed condensate.
    pub condensate_w: Option<Split>,
    /// Every reading's share, in the order of [`AirUncertainty`].
    pub budget: Vec<Contribution>,
}

/// Sensible, latent, total and condensate capacity, and the same for changes of them.
#[derive(Clone, Copy)]
struct Figures {
    sensible: f64,
    latent: Option<f64>,
    total: Option<f64>,
    weighed: Option<f64>,
}

/// Capacity with its standard uncertainty by linear propagation (JCGM 100:2008, 5.1.2), central differences giving the slopes.
///
/// Readings are taken as independent of one another. Two thermometers of one make may err alike: then the uncertainty of their
/// difference, and so of the capacity, is smaller than given here. The volume formulation itself adds under 0.05 %, which is
/// not counted.
///
/// # Errors
/// As for [`capacity`]; an uncertainty that is negative or not finite.
pub fn capacity_with_uncertainty(
    readings: &AirReadings,
    u: &AirUncertainty,
) -> Result<(Capacity, CapacityUncertainty), AirError> {
    let result = capacity(readings)?;
    let mut out = CapacityUncertainty {
        sensible_w: Split::default(),
        latent_w: result.latent_w.map(|_| Split::default()),
        total_w: result.total_w.map(|_| Split::default()),
        condensate_w: result.condensate.map(|_| Split::default()),
        budget: Vec::new(),
    };
    let mut add = |input: Input, slope: Figures, u: Split| {
        out.sensible_w = out.sensible_w.plus(u.scaled(slope.sensible));
        for (sum, slope) in [
            (&mut out.latent_w, slope.latent),
            (&mut out.total_w, slope.total),
            (&mut out.condensate_w, slope.weighed),
        ] {
            *sum = sum.zip(slope).map(|(sum, slope)| sum.plus(u.scaled(slope)));
        }
        out.budget.push(Contribution {
            input,
            sensible_slope: slope.sensible,
            total_slope: slope.total,
            sensible_w: u.scaled(slope.sensible),
            total_w: slope.total.map(|s| u.scaled(s)),
        });
    };
    for (input, u) in [
        (Input::IntakeTemp, u.intake_temp_c),
        (Input::IntakeRh, u.intake_rh),
        (Input::OutletTemp, u.outlet_temp_c),
        (Input::OutletRh, u.outlet_rh),
        (Input::Flow, u.flow_m3h),
        (Input::Pressure, u.pressure_pa),
        (Input::Condensate, u.condensate_kg_h),
    ] {
        check(input, u)?;
        if let Some(slope) = slope(readings, input)? {
            add(input, slope, u);
        }
    }
    if readings.intake_rh.is_none() && readings.outlet_rh.is_none() {
        let (dry, moist) = (heat(readings, 0.0)?, heat(readings, 1.0)?);
        let slope = Figures {
            sensible: moist.sensible_w - dry.sensible_w,
            latent: None,
            total: None,
            weighed: None,
        };
        // Anything from 0 to 1 equally likely (JCGM 100:2008, 4.3.7); the same air is likely in all runs.
        add(
            Input::AssumedHumidity,
            slope,
            Split::shared(0.5 / 3f64.sqrt()),
        );
    }
    Ok((result, out))
}

fn check(input: Input, u: Split) -> Result<(), AirError> {
    for part in [u.shared, u.fresh] {
        if !(part >= 0.0 && part.is_finite()) {
            return Err(AirError::NotAnUncertainty {
                what: input.words(),
                value: part,
            });
        }
    }
    Ok(())
}

/// Slope of the figures in one reading; none where it was not read.
fn slope(readings: &AirReadings, input: Input) -> Result<Option<Figures>, AirError> {
    // Small against any sensor, large against rounding: relative error of a slope is about 1e-7.
    let (value, step, low, high) = match input {
        Input::IntakeTemp => (readings.intake_temp_c, 1e-3, -60.0, 80.0),
        Input::OutletTemp => (readings.outlet_temp_c, 1e-3, -60.0, 80.0),
        Input::Flow => (readings.flow_m3h, 1e-4 * readings.flow_m3h, 0.1, 1e6),
        Input::Pressure => (readings.pressure_pa, 1.0, 50e3, 120e3),
        Input::IntakeRh | Input::OutletRh => {
            let rh = if input == Input::IntakeRh {
                readings.intake_rh
            } else {
                readings.outlet_rh
            };
            let Some(rh) = rh else {
                return Ok(None);
            };
            // A reading taken as saturated still moves the result downward.
            (rh.min(1.0), 1e-5, 0.0, 1.0)
        }
        Input::Condensate => {
            let Some(rate) = readings.condensate_kg_h else {
                return Ok(None);
            };
            (rate, 1e-4, 0.0, 1000.0)
        }
        Input::AssumedHumidity => return Ok(None),
    };
    let (below, above) = ((value - step).max(low), (value + step).min(high));
    let at = |value: f64| -> Result<Figures, AirError> {
        let mut moved = *readings;
        match input {
            Input::IntakeTemp => moved.intake_temp_c = value,
            Input::OutletTemp => moved.outlet_temp_c = value,
            Input::Flow => moved.flow_m3h = value,
            Input::Pressure => moved.pressure_pa = value,
            Input::IntakeRh => moved.intake_rh = Some(value),
            Input::OutletRh => moved.outlet_rh = Some(value),
            Input::Condensate => moved.condensate_kg_h = Some(value),
            Input::AssumedHumidity => {}
        }
        let heat = heat(&moved, ASSUMED_RH)?;
        Ok(Figures {
            sensible: heat.sensible_w,
            latent: heat.latent_w,
            total: heat.total_w,
            weighed: heat.weighed_w,
        })
    };
    let (a, b) = (at(below)?, at(above)?);
    let run = above - below;
    let rise = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| (b - a) / run);
    Ok(Some(Figures {
        sensible: (b.sensible - a.sensible) / run,
        latent: rise(a.latent, b.latent),
        total: rise(a.total, b.total),
        weighed: rise(a.weighed, b.weighed),
    }))
}
