//! Cooling capacity by the air-enthalpy method.

use super::error::{AirError, within};
use super::moist::{
    check_temp_and_pressure, condensate_enthalpy_j_kg, saturated_ratio, vapour_enthalpy_j_kg,
};
use super::{MoistAir, standard_flow_m3h};

/// Humidity assumed at the intake where none was read. Sensible capacity hardly depends on it (0.5 % from dry to saturated
/// air at 27 degC, because density falls as heat capacity rises); a budget adds what it does.
pub const ASSUMED_RH: f64 = 0.5;

/// Largest relative humidity that is read as saturated air: hygrometers err by a few percent at the top of their range.
const HIGHEST_RH: f64 = 1.05;

/// Share of the temperature drop by which the coil may be colder than the air that leaves it. With a bypass factor of 0.2
/// (from memory: textbooks give 0.05 to 0.2 for such coils) it is 0.2 / (1 − 0.2).
const COIL_BELOW_OUTLET: f64 = 0.25;

/// Where the airflow was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// In the air entering the evaporator.
    Intake,
    /// In the air leaving it.
    Outlet,
}

/// What was read on the air side of one run, in base units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirReadings {
    /// Dry bulb of the air going in, degC.
    pub intake_temp_c: f64,
    /// Its relative humidity, 0 to 1, where it was read.
    pub intake_rh: Option<f64>,
    /// Dry bulb of the air coming out, degC.
    pub outlet_temp_c: f64,
    /// Its relative humidity, 0 to 1, where it was read.
    pub outlet_rh: Option<f64>,
    /// Volume flow, m3/h, at the conditions of the side where it was measured.
    pub flow_m3h: f64,
    /// Where the flow was measured; where that is not known, the mean of the mass flows that the two places give is taken.
    pub flow_at: Option<Side>,
    /// Air pressure, Pa.
    pub pressure_pa: f64,
    /// Water drained from the coil, kg/h, where it was weighed.
    pub condensate_kg_h: Option<f64>,
}

/// What the humidity readings allow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Humidity {
    /// Read on both sides: sensible, latent and total.
    Both,
    /// Read in the intake only: sensible capacity only.
    IntakeOnly,
    /// Read in the outlet only: sensible capacity only.
    OutletOnly,
    /// Not read: sensible capacity only, with an assumed humidity for the air's density.
    Neither,
}

/// Whether water condenses on the coil, judged from the dew point of the intake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coil {
    /// The outlet is colder than the intake's dew point: water condenses.
    Wet,
    /// The coil may be below the dew point although the outlet is not: some water may condense.
    PerhapsWet,
    /// The dew point is far below the outlet: no water condenses.
    Dry,
    /// The intake's humidity was not read.
    Unknown,
}

/// Something about the readings that the user should know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Notice {
    /// Humidity was missing: the capacity is sensible only.
    SensibleOnly {
        /// What was read.
        humidity: Humidity,
    },
    /// The outlet is below the intake's dew point: latent cooling took place.
    WetCoil {
        /// Dew point of the intake, degC.
        dew_point_c: f64,
        /// Dry bulb of the outlet, degC.
        outlet_temp_c: f64,
    },
    /// A relative humidity above 100 %, taken as saturated air.
    TakenAsSaturated {
        /// Which air.
        side: Side,
        /// The reading, a fraction.
        rh: f64,
    },
    /// The outlet carries more water than the intake, which a cooling coil cannot do: the hygrometers disagree, or wet air was
    /// blown off the coil.
    OutletMoister {
        /// Humidity ratio of the intake, kg/kg.
        intake_ratio: f64,
        /// Humidity ratio of the outlet, kg/kg.
        outlet_ratio: f64,
    },
    /// The outlet is warmer than the intake: the capacity is negative.
    Heating {
        /// How much warmer, K.
        by_k: f64,
    },
}

/// Latent capacity from the water that was weighed: a witness that owes nothing to the hygrometers or the flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CondensateCheck {
    /// Latent capacity, W: condensate rate times heat of evaporation at the outlet temperature.
    pub latent_w: f64,
    /// It over the air-side latent capacity, where there is one other than zero. A little below 1 is usual: water is held up
    /// on the coil, leaks, or is blown off (common practice, no source).
    pub over_air_side: Option<f64>,
}

/// Cooling found on the air side. Includes the heat of a blower that stands in the air stream (the net figure).
///
/// `total = sensible + latent + remainder`, exactly.
#[derive(Debug, Clone, PartialEq)]
pub struct Capacity {
    /// ṁ (1006 + 1860 W₂)(t₁ − t₂), W: with the outlet's humidity, as ASHRAE 37 has it where the flow is measured after the coil.
    pub sensible_w: f64,
    /// ṁ (W₁ − W₂)(heat of evaporation at t₂), W; none where humidity is missing.
    pub latent_w: Option<f64>,
    /// ṁ (h₁ − h₂), W: the definition of ASHRAE 37 and ISO 5151 (from memory). On a wet coil it is 0.4–1.6 % more than
    /// sensible + latent, by the remainder; some published totals are that sum instead.
    pub total_w: Option<f64>,
    /// ṁ (W₁ − W₂)(h_water(t₂) + 1860 (t₁ − t₂)), W: heat that leaves with the condensate, and that was taken from its vapour
    /// before it condensed. The usual definitions count it in the total, but neither as sensible nor as latent.
    pub remainder_w: Option<f64>,
    /// Latent capacity from weighed water.
    pub condensate: Option<CondensateCheck>,
    /// Water that the air lost, kg/h, by the humidity readings.
    pub water_removed_kg_h: Option<f64>,
    /// Dry-air mass flow, kg/s.
    pub dry_air_kg_s: f64,
    /// The same as standard airflow (0.075 lb/ft3), m3/h.
    pub standard_flow_m3h: f64,
    /// Dew point of the intake, degC.
    pub intake_dew_point_c: Option<f64>,
    /// What the humidity readings allowed.
    pub humidity: Humidity,
    /// Whether water condensed.
    pub coil: Coil,
    /// What the user should know.
    pub notices: Vec<Notice>,
}

impl Capacity {
    /// Humidity ratios of intake and outlet, kg/kg, where the outlet reads moister.
    pub fn moister_outlet(&self) -> Option<(f64, f64)> {
        self.notices.iter().find_map(|n| match n {
            Notice::OutletMoister {
                intake_ratio,
                outlet_ratio,
            } => Some((*intake_ratio, *outlet_ratio)),
            _ => None,
        })
    }

    /// Sensible heat ratio: sensible over total; none without a total or where it is not positive.
    pub fn sensible_heat_ratio(&self) -> Option<f64> {
        self.total_w
            .filter(|total| *total > 0.0)
            .map(|total| self.sensible_w / total)
    }
}

/// Cooling capacity from the air going in and coming out.
///
/// ṁ = flow / v at the side where the flow was measured, v per kg of dry air. Where the outlet's humidity is missing it is taken
/// as the intake's (or saturation, if that is less) for the density alone.
///
/// Source of the definitions: ASHRAE 37 and ISO 5151, from memory; eight published tests (NISTIR 7350, 2006, appendix D) are reduced
/// again in `tests/air.rs`.
///
/// # Errors
/// A reading out of range.
///
/// ```
/// use steadydraw::air::{capacity, AirReadings, Side};
/// let run = AirReadings {
///     intake_temp_c: 27.0, intake_rh: Some(0.469), outlet_temp_c: 14.0, outlet_rh: Some(0.95),
///     flow_m3h: 270.0, flow_at: Some(Side::Outlet), pressure_pa: 101_325.0, condensate_kg_h: None,
/// };
/// let cooling = capacity(&run).unwrap();
/// assert_eq!(cooling.sensible_w.round(), 1209.0);
/// assert_eq!(cooling.total_w.map(f64::round), Some(1437.0));
/// ```
pub fn capacity(readings: &AirReadings) -> Result<Capacity, AirError> {
    let r = readings;
    let mut heat = heat(r, ASSUMED_RH)?;
    let mut notices = std::mem::take(&mut heat.saturated);
    let humidity = humidity_of(readings);
    if humidity != Humidity::Both {
        notices.push(Notice::SensibleOnly { humidity });
    }
    let intake_dew_point_c = match r.intake_rh {
        Some(_) => heat.intake.dew_point_c(),
        None => None,
    };
    let coil = match (r.intake_rh, intake_dew_point_c) {
        (None, _) => Coil::Unknown,
        (Some(_), None) => Coil::Dry,
        (Some(_), Some(dew)) => coil_state(dew, r.intake_temp_c, r.outlet_temp_c),
    };
    if let (Coil::Wet, Some(dew_point_c)) = (coil, intake_dew_point_c) {
        notices.push(Notice::WetCoil {
            dew_point_c,
            outlet_temp_c: r.outlet_temp_c,
        });
    }
    let (intake_ratio, outlet_ratio) = (heat.intake.humidity_ratio(), heat.outlet.humidity_ratio());
    if humidity == Humidity::Both && outlet_ratio > intake_ratio {
        notices.push(Notice::OutletMoister {
            intake_ratio,
            outlet_ratio,
        });
    }
    if r.outlet_temp_c > r.intake_temp_c {
        notices.push(Notice::Heating {
            by_k: r.outlet_temp_c - r.intake_temp_c,
        });
    }
    Ok(Capacity {
        sensible_w: heat.sensible_w,
        latent_w: heat.latent_w,
        total_w: heat.total_w,
        remainder_w: match (heat.total_w, heat.latent_w) {
            (Some(total), Some(latent)) => Some(total - heat.sensible_w - latent),
            _ => None,
        },
        condensate: heat.weighed_w.map(|latent_w| CondensateCheck {
            latent_w,
            over_air_side: heat.latent_w.filter(|l| *l != 0.0).map(|l| latent_w / l),
        }),
        water_removed_kg_h: heat
            .latent_w
            .map(|_| heat.dry_air_kg_s * (intake_ratio - outlet_ratio) * 3600.0),
        dry_air_kg_s: heat.dry_air_kg_s,
        standard_flow_m3h: standard_flow_m3h(heat.dry_air_kg_s),
        intake_dew_point_c,
        humidity,
        coil,
        notices,
    })
}

/// Heat flows of one run, W, without the notices and the coil's state that [`capacity`] adds: for propagating uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatFlows {
    /// As [`Capacity::sensible_w`].
    pub sensible_w: f64,
    /// As [`Capacity::latent_w`].
    pub latent_w: Option<f64>,
    /// As [`Capacity::total_w`].
    pub total_w: Option<f64>,
    /// As [`CondensateCheck::latent_w`].
    pub weighed_w: Option<f64>,
}

/// The heat flows of [`capacity`].
///
/// # Errors
/// A reading out of range.
pub fn heat_flows(readings: &AirReadings) -> Result<HeatFlows, AirError> {
    let heat = heat(readings, ASSUMED_RH)?;
    Ok(HeatFlows {
        sensible_w: heat.sensible_w,
        latent_w: heat.latent_w,
        total_w: heat.total_w,
        weighed_w: heat.weighed_w,
    })
}

fn humidity_of(readings: &AirReadings) -> Humidity {
    match (readings.intake_rh, readings.outlet_rh) {
        (Some(_), Some(_)) => Humidity::Both,
        (Some(_), None) => Humidity::IntakeOnly,
        (None, Some(_)) => Humidity::OutletOnly,
        (None, None) => Humidity::Neither,
    }
}

fn coil_state(dew_point_c: f64, intake_c: f64, outlet_c: f64) -> Coil {
    let coldest = outlet_c - COIL_BELOW_OUTLET * (intake_c - outlet_c).max(0.0);
    if outlet_c < dew_point_c {
        Coil::Wet
    } else if coldest < dew_point_c {
        Coil::PerhapsWet
    } else {
        Coil::Dry
    }
}

/// A heat balance.
struct Heat {
    pub intake: MoistAir,
    pub outlet: MoistAir,
    pub dry_air_kg_s: f64,
    pub sensible_w: f64,
    pub latent_w: Option<f64>,
    pub total_w: Option<f64>,
    /// Latent capacity from weighed condensate.
    pub weighed_w: Option<f64>,
    /// Readings above saturation.
    pub saturated: Vec<Notice>,
}

/// The heat balance, with the humidity to assume at the intake where none was read.
fn heat(r: &AirReadings, assumed_rh: f64) -> Result<Heat, AirError> {
    check("intake temperature", r.intake_temp_c, r.pressure_pa)?;
    check("outlet temperature", r.outlet_temp_c, r.pressure_pa)?;
    let flow = within("airflow", r.flow_m3h, 0.1, 1.0e6, "m3/h")?;
    let mut saturated = Vec::new();
    let intake = read_state(r, Side::Intake, &mut saturated)?;
    let outlet = read_state(r, Side::Outlet, &mut saturated)?;
    let both = intake.is_some() && outlet.is_some();

    // Where one side is missing, its water is taken from the other, as on a dry coil.
    let carried = |from: &MoistAir, temp_c: f64| {
        let most = saturated_ratio(temp_c, r.pressure_pa);
        MoistAir::from_humidity_ratio(temp_c, from.humidity_ratio().min(most), r.pressure_pa)
    };
    let intake = match (intake, &outlet) {
        (Some(intake), _) => intake,
        (None, Some(outlet)) => carried(outlet, r.intake_temp_c)?,
        (None, None) => {
            MoistAir::from_relative_humidity(r.intake_temp_c, assumed_rh, r.pressure_pa)?
        }
    };
    let outlet = match outlet {
        Some(outlet) => outlet,
        None => carried(&intake, r.outlet_temp_c)?,
    };

    let (at_intake, at_outlet) = (1.0 / intake.volume_m3_kg(), 1.0 / outlet.volume_m3_kg());
    let dry_air_kg_m3 = match r.flow_at {
        Some(Side::Intake) => at_intake,
        Some(Side::Outlet) => at_outlet,
        None => 0.5 * (at_intake + at_outlet),
    };
    let dry_air_kg_s = flow / 3600.0 * dry_air_kg_m3;
    let sensible_w =
        dry_air_kg_s * outlet.heat_capacity_j_kg_k() * (r.intake_temp_c - r.outlet_temp_c);
    let evaporation =
        vapour_enthalpy_j_kg(r.outlet_temp_c) - condensate_enthalpy_j_kg(r.outlet_temp_c);
    let water = intake.humidity_ratio() - outlet.humidity_ratio();
    let weighed_w = match r.condensate_kg_h {
        Some(rate) => Some(within("condensate", rate, 0.0, 1000.0, "kg/h")? / 3600.0 * evaporation),
        None => None,
    };
    Ok(Heat {
        latent_w: both.then_some(dry_air_kg_s * water * evaporation),
        total_w: both.then(|| dry_air_kg_s * (intake.enthalpy_j_kg() - outlet.enthalpy_j_kg())),
        intake,
        outlet,
        dry_air_kg_s,
        sensible_w,
        weighed_w,
        saturated,
    })
}

/// The range check of a state, in the words of the side that it is about.
fn check(what: &'static str, temp_c: f64, pressure_pa: f64) -> Result<(), AirError> {
    check_temp_and_pressure(temp_c, pressure_pa).map_err(|error| match error {
        AirError::OutOfRange {
            what: "temperature",
            value,
            low,
            high,
            unit,
        } => AirError::OutOfRange {
            what,
            value,
            low,
            high,
            unit,
        },
        other => other,
    })
}

/// The state of one side where its humidity was read.
fn read_state(
    r: &AirReadings,
    side: Side,
    saturated: &mut Vec<Notice>,
) -> Result<Option<MoistAir>, AirError> {
    let (what, temp_c, rh) = match side {
        Side::Intake => ("intake relative humidity", r.intake_temp_c, r.intake_rh),
        Side::Outlet => ("outlet relative humidity", r.outlet_temp_c, r.outlet_rh),
    };
    let Some(rh) = rh else {
        return Ok(None);
    };
    within(what, rh * 100.0, 0.0, HIGHEST_RH * 100.0, "%")?;
    if rh > 1.0 {
        saturated.push(Notice::TakenAsSaturated { side, rh });
    }
    MoistAir::from_relative_humidity(temp_c, rh.min(1.0), r.pressure_pa).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_that_comes_out_as_it_went_in_has_no_sensible_heat_ratio() {
        let still = AirReadings {
            intake_temp_c: 25.0,
            intake_rh: Some(0.5),
            outlet_temp_c: 25.0,
            outlet_rh: Some(0.5),
            flow_m3h: 200.0,
            flow_at: Some(Side::Outlet),
            pressure_pa: 101_325.0,
            condensate_kg_h: None,
        };
        let nothing = capacity(&still).unwrap();
        assert_eq!((nothing.sensible_w, nothing.total_w), (0.0, Some(0.0)));
        assert_eq!(nothing.sensible_heat_ratio(), None);
    }

    #[test]
    fn the_sensible_heat_ratio_is_sensible_over_total() {
        let wet = AirReadings {
            intake_temp_c: 27.0,
            intake_rh: Some(0.6),
            outlet_temp_c: 15.0,
            outlet_rh: Some(0.9),
            flow_m3h: 200.0,
            flow_at: Some(Side::Outlet),
            pressure_pa: 101_325.0,
            condensate_kg_h: None,
        };
        let found = capacity(&wet).unwrap();
        let (ratio, total) = (found.sensible_heat_ratio().unwrap(), found.total_w.unwrap());
        assert!((ratio * total - found.sensible_w).abs() < 1e-9 * total);
        assert!(0.5 < ratio && ratio < 0.8, "{ratio}");
    }
}
