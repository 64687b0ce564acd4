//! Pressure from altitude, and standard air.

use super::error::{AirError, within};

pub use crate::quantity::STANDARD_PRESSURE_PA;
use crate::quantity::standard_pressure_pa;

/// Dry air per m3 of "standard" flow, kg: 0.075 lb/ft3 (convention of ASHRAE 37 and 51, from memory).
/// Other conventions use 1.2 or 1.204: a flow stated as standard must say which.
pub const STANDARD_AIR_KG_M3: f64 = 0.075 * 16.018_463_373_96;

/// Pressure of the standard atmosphere at an altitude in m, Pa.
///
/// p = 101 325 (1 − 2.25577e-5 h)^5.2559. Weather moves the pressure by about ±3 % (common practice, no source):
/// a barometer reading is better.
///
/// Source: ASHRAE Handbook—Fundamentals (2017), ch. 1, eq. 3.
///
/// # Errors
/// An altitude outside −500…5000 m.
pub fn pressure_at_altitude_pa(altitude_m: f64) -> Result<f64, AirError> {
    let h = within("altitude", altitude_m, -500.0, 5000.0, "m")?;
    Ok(standard_pressure_pa(h))
}

/// Flow of standard air, m3/h, that carries a dry-air mass flow in kg/s.
pub fn standard_flow_m3h(dry_air_kg_s: f64) -> f64 {
    dry_air_kg_s / STANDARD_AIR_KG_M3 * 3600.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flow_of_standard_air_by_hand() {
        // 0.075 lb/ft3 = 0.075 × 0.45359237 kg / 0.028316846592 m3 = 1.2013848 kg/m3; 0.1 kg/s × 3600 s over that.
        assert!((standard_flow_m3h(0.1) - 299.6542).abs() < 1e-3);
    }
}
