//! The standard atmosphere: altitude as a pressure.

/// Standard atmosphere at sea level, Pa: exact.
pub const STANDARD_PRESSURE_PA: f64 = 101_325.0;

/// Pressure of the standard atmosphere at an altitude in m, Pa: p = 101 325 (1 − 2.25577e-5 h)^5.2559.
///
/// Good from −500 to 11 000 m. Source: ASHRAE Handbook—Fundamentals (2017), ch. 1, eq. 3.
pub fn standard_pressure_pa(altitude_m: f64) -> f64 {
    STANDARD_PRESSURE_PA * (1.0 - 2.255_77e-5 * altitude_m).powf(5.2559)
}
