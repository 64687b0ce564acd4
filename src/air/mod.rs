//! The air side: moist air, ducts, capacity, and how air conditioners are known to behave.
//!
//! * [`MoistAir`]: a state of moist air from dry bulb, humidity and pressure.
//! * [`traverse`]: where to measure air speed, and what flow the speeds amount to.
//! * [`capacity`]: sensible, latent and total cooling from the air going in and coming out.
//! * [`eer`]: cooling over draw.
//! * [`behaviour`]: published ranges (how draw follows airflow and temperature) that other rooms take as defaults.
//! * [`curves`], [`polynomial`]: published curve forms, evaluated.
//!
//! Units: degC, Pa, m3/h, W, kg/h; relative humidity as a fraction; enthalpy and volume per kg of *dry* air.
//!
//! # Which formulation
//! Saturation pressure of Hyland & Wexler (1983), as in the ASHRAE Handbook—Fundamentals (2017), ch. 1, over ice below 0 degC.
//! Air is not an ideal gas, so saturation in air is higher than over pure water: the enhancement factor of Hardy (1998), and the
//! compressibility of CIPM-2007 (Picard et al. 2008). Without the factor, humidity ratios come out 0.4 % low. Against a
//! real-gas library over −10…60 degC and 60…105 kPa, humidity ratios agree within 0.04 %, volumes within 0.04 %.

pub mod behaviour;
mod capacity;
pub mod curves;
mod duct;
mod eer;
mod error;
mod moist;
pub mod polynomial;
mod saturation;
mod site;
mod solve;
pub mod traverse;

pub use capacity::{
    ASSUMED_RH, AirReadings, Capacity, Coil, CondensateCheck, HeatFlows, Humidity, Notice, Side,
    capacity, heat_flows,
};
pub use duct::MEAN_OVER_CENTRE_ROUND;
pub use eer::{BTU_PER_WH, Eer, eer};
pub use error::AirError;
pub use moist::MoistAir;
pub use saturation::{enhancement_factor, saturation_pressure_pa, vapour_saturation_in_air_pa};
pub use site::{
    STANDARD_AIR_KG_M3, STANDARD_PRESSURE_PA, pressure_at_altitude_pa, standard_flow_m3h,
};
