//! Saturation of water vapour, alone and in air.

/// Lowest temperature of the formulations, degC.
pub(super) const LOWEST_C: f64 = -100.0;

/// Saturation pressure of pure water vapour, Pa, at a temperature in degC: over ice below 0 degC, over liquid water from 0 degC.
///
/// Valid from −100 to 200 degC; outside, the nearer end is used.
///
/// Source: Hyland & Wexler, ASHRAE Transactions 89(2A) 500–519 (1983), as equations 5 and 6 of the
/// ASHRAE Handbook—Fundamentals (2017), ch. 1. The two branches differ by 0.01 % at 0 degC.
pub fn saturation_pressure_pa(temp_c: f64) -> f64 {
    let t = temp_c.clamp(LOWEST_C, 200.0) + 273.15;
    let ln = if temp_c < 0.0 {
        -5.674_535_9e3 / t
            + 6.392_524_7
            + t * (-9.677_843_0e-3
                + t * (6.221_570_1e-7 + t * (2.074_782_5e-9 + t * -9.484_024e-13)))
            + 4.163_501_9 * t.ln()
    } else {
        -5.800_220_6e3 / t
            + 1.391_499_3
            + t * (-4.864_023_9e-2 + t * (4.176_476_8e-5 + t * -1.445_209_3e-8))
            + 6.545_967_3 * t.ln()
    };
    ln.exp()
}

/// How much higher saturation is in air of a pressure in Pa than over pure water: about 1.004 at sea level.
///
/// ln f = α (1 − e/p) + β (p/e − 1), with e the pure saturation pressure.
/// Valid for water from 0 to 100 degC and ice from −100 to 0 degC.
///
/// Source: Hardy, "ITS-90 Formulations for Vapor Pressure, Frostpoint Temperature, Dewpoint Temperature, and Enhancement
/// Factors in the Range −100 to +100 C", Third International Symposium on Humidity and Moisture (1998), refitting
/// Greenspan (1976); coefficients read in several open copies that agree, the paper itself not opened.
pub fn enhancement_factor(temp_c: f64, pressure_pa: f64) -> f64 {
    let (a, b) = if temp_c < 0.0 {
        (
            [
                -6.019_057_0e-2,
                7.398_406_0e-4,
                -3.089_783_8e-6,
                4.366_991_8e-9,
            ],
            [
                -9.486_871_2e1,
                7.239_207_5e-1,
                -2.196_343_7e-3,
                2.466_827_9e-6,
            ],
        )
    } else {
        (
            [
                -1.630_204_1e-1,
                1.807_157_0e-3,
                -6.770_306_4e-6,
                8.581_360_9e-9,
            ],
            [
                -5.989_046_7e1,
                3.437_804_3e-1,
                -7.732_639_6e-4,
                6.340_528_6e-7,
            ],
        )
    };
    let t = temp_c.clamp(LOWEST_C, 100.0) + 273.15;
    let cubic = |c: [f64; 4]| {
        let [c0, c1, c2, c3] = c;
        c0 + t * (c1 + t * (c2 + t * c3))
    };
    let e = saturation_pressure_pa(temp_c);
    (cubic(a) * (1.0 - e / pressure_pa) + cubic(b).exp() * (pressure_pa / e - 1.0)).exp()
}

/// Largest partial pressure of water vapour in air, Pa: saturation pressure times enhancement factor.
pub fn vapour_saturation_in_air_pa(temp_c: f64, pressure_pa: f64) -> f64 {
    enhancement_factor(temp_c, pressure_pa) * saturation_pressure_pa(temp_c)
}
