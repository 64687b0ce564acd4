//! A state of moist air.

use super::error::{AirError, within};
use super::saturation::{LOWEST_C, vapour_saturation_in_air_pa};
use super::solve::rising_root;

/// Molar mass of water over that of dry air: 18.015268 / 28.966 (ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 20).
const MASS_RATIO: f64 = 0.621_945;
/// Gas constant of dry air, J/(kg K) (ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 1).
const DRY_AIR_GAS_CONSTANT: f64 = 287.042;
/// Heat capacity of dry air, J/(kg K) (ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 28).
const DRY_AIR_HEAT: f64 = 1006.0;
/// Heat capacity of water vapour, J/(kg K) (same place).
const VAPOUR_HEAT: f64 = 1860.0;
/// Enthalpy of saturated vapour at 0 degC, J/kg (same place).
const VAPOUR_ENTHALPY_0C: f64 = 2.501e6;
/// Heat capacity of liquid water, J/(kg K) (ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 33).
const LIQUID_HEAT: f64 = 4186.0;
/// Enthalpy of ice at 0 degC, J/kg, and heat capacity of ice, J/(kg K), so that sublimation takes 2830 kJ/kg
/// (ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 35).
const ICE_ENTHALPY_0C: f64 = -329e3;
const ICE_HEAT: f64 = 2100.0;

/// Moist air: dry bulb, humidity ratio and pressure. Specific values are per kg of dry air.
///
/// Accepted: −60 to 80 degC, 50 to 120 kPa; compared with reference libraries from −10 to 60 degC and 60 to 105 kPa.
/// Relative humidity below 0 degC is over ice, which is how the reference libraries count it; hygrometers often count over water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistAir {
    temp_c: f64,
    pressure_pa: f64,
    humidity_ratio: f64,
}

impl MoistAir {
    /// From relative humidity as a fraction, 0 to 1: p_w = rh · f · p_ws.
    ///
    /// # Errors
    /// Temperature, pressure or humidity out of range.
    ///
    /// ```
    /// use steadydraw::air::MoistAir;
    /// let air = MoistAir::from_relative_humidity(27.0, 0.469, 101_325.0).unwrap();
    /// assert!((air.wet_bulb_c() - 19.0).abs() < 0.02);
    /// ```
    pub fn from_relative_humidity(
        temp_c: f64,
        rh: f64,
        pressure_pa: f64,
    ) -> Result<Self, AirError> {
        check_temp_and_pressure(temp_c, pressure_pa)?;
        within("relative humidity", rh * 100.0, 0.0, 100.0, "%")?;
        let vapour = rh * vapour_saturation_in_air_pa(temp_c, pressure_pa);
        Ok(Self::from_vapour_pressure(temp_c, vapour, pressure_pa))
    }

    /// From a dew point (frost point below 0 degC), degC: p_w = f · p_ws at the dew point.
    ///
    /// # Errors
    /// Temperature or pressure out of range; a dew point above the dry bulb or below −100 degC.
    pub fn from_dew_point(
        temp_c: f64,
        dew_point_c: f64,
        pressure_pa: f64,
    ) -> Result<Self, AirError> {
        check_temp_and_pressure(temp_c, pressure_pa)?;
        within("dew point", dew_point_c, LOWEST_C, 80.0, "degC")?;
        if dew_point_c > temp_c {
            return Err(above_saturation(
                "dew point",
                dew_point_c,
                temp_c,
                "degC",
                temp_c,
            ));
        }
        let vapour = vapour_saturation_in_air_pa(dew_point_c, pressure_pa);
        Ok(Self::from_vapour_pressure(temp_c, vapour, pressure_pa))
    }

    /// From a thermodynamic wet bulb, degC; the wick is iced below 0 degC.
    ///
    /// Source: ASHRAE Handbook—Fundamentals (2017), ch. 1, eq. 33 and 35.
    ///
    /// # Errors
    /// Temperature or pressure out of range; a wet bulb above the dry bulb, or lower than dry air would give.
    pub fn from_wet_bulb(temp_c: f64, wet_bulb_c: f64, pressure_pa: f64) -> Result<Self, AirError> {
        check_temp_and_pressure(temp_c, pressure_pa)?;
        within("wet bulb", wet_bulb_c, LOWEST_C, 80.0, "degC")?;
        if wet_bulb_c > temp_c {
            return Err(above_saturation(
                "wet bulb", wet_bulb_c, temp_c, "degC", temp_c,
            ));
        }
        let humidity_ratio = ratio_at_wet_bulb(temp_c, wet_bulb_c, pressure_pa, wet_bulb_c < 0.0);
        // Rounding of the wet bulb of dry air.
        if humidity_ratio < -1e-9 {
            return Err(AirError::WetBulbTooLow { wet_bulb_c, temp_c });
        }
        Ok(Self {
            temp_c,
            pressure_pa,
            humidity_ratio: humidity_ratio.max(0.0),
        })
    }

    /// From the humidity ratio, kg of water per kg of dry air.
    ///
    /// # Errors
    /// Temperature or pressure out of range; a ratio that is negative or above saturation.
    pub fn from_humidity_ratio(
        temp_c: f64,
        humidity_ratio: f64,
        pressure_pa: f64,
    ) -> Result<Self, AirError> {
        check_temp_and_pressure(temp_c, pressure_pa)?;
        let limit = ratio_of(
            vapour_saturation_in_air_pa(temp_c, pressure_pa),
            pressure_pa,
        );
        within("humidity ratio", humidity_ratio, 0.0, f64::MAX, "kg/kg")?;
        if humidity_ratio > limit * (1.0 + 1e-12) {
            return Err(above_saturation(
                "humidity ratio",
                humidity_ratio,
                limit,
                "kg/kg",
                temp_c,
            ));
        }
        Ok(Self {
            temp_c,
            pressure_pa,
            humidity_ratio,
        })
    }

    fn from_vapour_pressure(temp_c: f64, vapour_pa: f64, pressure_pa: f64) -> Self {
        Self {
            temp_c,
            pressure_pa,
            humidity_ratio: ratio_of(vapour_pa, pressure_pa),
        }
    }

    /// Dry bulb, degC.
    pub fn temp_c(&self) -> f64 {
        self.temp_c
    }

    /// Total pressure, Pa.
    pub fn pressure_pa(&self) -> f64 {
        self.pressure_pa
    }

    /// Humidity ratio, kg of water per kg of dry air.
    pub fn humidity_ratio(&self) -> f64 {
        self.humidity_ratio
    }

    /// Partial pressure of water vapour, Pa.
    pub fn vapour_pressure_pa(&self) -> f64 {
        self.pressure_pa * self.vapour_fraction()
    }

    /// Mole fraction of water vapour.
    fn vapour_fraction(&self) -> f64 {
        self.humidity_ratio / (MASS_RATIO + self.humidity_ratio)
    }

    /// Relative humidity, a fraction: vapour pressure over its saturation value in air.
    pub fn relative_humidity(&self) -> f64 {
        self.vapour_pressure_pa() / vapour_saturation_in_air_pa(self.temp_c, self.pressure_pa)
    }

    /// Dew point, or frost point below 0 degC, in degC; none for air so dry that it lies below −100 degC.
    pub fn dew_point_c(&self) -> Option<f64> {
        let vapour = self.vapour_pressure_pa();
        let excess = |t: f64| vapour_saturation_in_air_pa(t, self.pressure_pa) - vapour;
        if excess(LOWEST_C) > 0.0 {
            return None;
        }
        Some(rising_root(excess, LOWEST_C, self.temp_c))
    }

    /// Thermodynamic wet bulb, degC. Just below 0 degC two answers exist, a wet wick above zero and an iced one below:
    /// the wet one is given where there is one.
    ///
    /// Source: ASHRAE Handbook—Fundamentals (2017), ch. 1, eq. 33 and 35.
    pub fn wet_bulb_c(&self) -> f64 {
        let excess = |t: f64, iced: bool| {
            ratio_at_wet_bulb(self.temp_c, t, self.pressure_pa, iced) - self.humidity_ratio
        };
        if self.temp_c >= 0.0 && excess(0.0, false) <= 0.0 {
            return rising_root(|t| excess(t, false), 0.0, self.temp_c);
        }
        rising_root(|t| excess(t, true), LOWEST_C, self.temp_c.min(0.0))
    }

    /// Enthalpy, J per kg of dry air, zero for dry air and liquid water at 0 degC. Only differences are compared between programs.
    ///
    /// h = 1006 t + W (2 501 000 + 1860 t). Source: ASHRAE Handbook—Fundamentals (2017), ch. 1, eq. 30.
    pub fn enthalpy_j_kg(&self) -> f64 {
        DRY_AIR_HEAT * self.temp_c + self.humidity_ratio * vapour_enthalpy_j_kg(self.temp_c)
    }

    /// Heat capacity, J/K per kg of dry air: 1006 + 1860 W.
    pub fn heat_capacity_j_kg_k(&self) -> f64 {
        DRY_AIR_HEAT + VAPOUR_HEAT * self.humidity_ratio
    }

    /// Volume, m3 per kg of *dry* air: Z · R T (1 + W/0.621945) / p.
    pub fn volume_m3_kg(&self) -> f64 {
        let kelvin = self.temp_c + 273.15;
        let ideal = DRY_AIR_GAS_CONSTANT * kelvin * (1.0 + self.humidity_ratio / MASS_RATIO)
            / self.pressure_pa;
        ideal * compressibility(self.temp_c, self.pressure_pa, self.vapour_fraction())
    }

    /// Density of the moist air, kg of air and water together per m3.
    pub fn density_kg_m3(&self) -> f64 {
        (1.0 + self.humidity_ratio) / self.volume_m3_kg()
    }
}

/// Enthalpy of water vapour, J/kg.
pub(super) fn vapour_enthalpy_j_kg(temp_c: f64) -> f64 {
    VAPOUR_ENTHALPY_0C + VAPOUR_HEAT * temp_c
}

/// Enthalpy of the condensate, J/kg: liquid from 0 degC, frost below.
pub(super) fn condensate_enthalpy_j_kg(temp_c: f64) -> f64 {
    if temp_c < 0.0 {
        ICE_ENTHALPY_0C + ICE_HEAT * temp_c
    } else {
        LIQUID_HEAT * temp_c
    }
}

/// Humidity ratio of saturated air.
pub(super) fn saturated_ratio(temp_c: f64, pressure_pa: f64) -> f64 {
    ratio_of(
        vapour_saturation_in_air_pa(temp_c, pressure_pa),
        pressure_pa,
    )
}

pub(super) fn check_temp_and_pressure(temp_c: f64, pressure_pa: f64) -> Result<(), AirError> {
    within("temperature", temp_c, -60.0, 80.0, "degC")?;
    within("pressure", pressure_pa / 1000.0, 50.0, 120.0, "kPa")?;
    Ok(())
}

fn above_saturation(
    what: &'static str,
    value: f64,
    limit: f64,
    unit: &'static str,
    temp_c: f64,
) -> AirError {
    AirError::AboveSaturation {
        what,
        value,
        limit,
        unit,
        temp_c,
    }
}

/// Humidity ratio at a vapour pressure. Within the accepted range (80 degC, 50 kPa) vapour pressure stays below the total.
fn ratio_of(vapour_pa: f64, pressure_pa: f64) -> f64 {
    MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)
}

/// Humidity ratio of air whose wet bulb is `wet`: the energy balance of adiabatic saturation.
///
/// W = ((h_g(0) + (1860 − c) t* − h_c(0)) W*s − 1006 (t − t*)) / (h_g(t) − h_c(t*)), with c and h_c of water or ice.
fn ratio_at_wet_bulb(temp_c: f64, wet: f64, pressure_pa: f64, iced: bool) -> f64 {
    let saturated = saturated_ratio(wet, pressure_pa);
    let condensate = if iced {
        ICE_ENTHALPY_0C + ICE_HEAT * wet
    } else {
        LIQUID_HEAT * wet
    };
    let evaporation = vapour_enthalpy_j_kg(wet) - condensate;
    (evaporation * saturated - DRY_AIR_HEAT * (temp_c - wet))
        / (vapour_enthalpy_j_kg(temp_c) - condensate)
}

/// Compressibility factor of moist air, about 0.9996 at sea level; `x` is the mole fraction of vapour.
///
/// Source: Picard, Davis, Gläser, Fujii, "Revised formula for the density of moist air (CIPM-2007)", Metrologia 45 (2008)
/// 149–155, appendix A1.4; coefficients read in several open copies that agree. Stated for 15–27 degC and 60–110 kPa;
/// over −10…60 degC volumes agree with a real-gas library within 0.04 % (`tests/air.rs`), better than leaving the factor out.
fn compressibility(temp_c: f64, pressure_pa: f64, x: f64) -> f64 {
    let t = temp_c;
    let p_over_t = pressure_pa / (t + 273.15);
    let first = 1.581_23e-6
        + t * (-2.9331e-8 + t * 1.1043e-10)
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x * x;
    let second = 1.83e-11 - 0.765e-8 * x * x;
    1.0 - p_over_t * first + p_over_t * p_over_t * second
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_way_of_stating_the_humidity_gives_the_same_state() {
        for t in [-35.0, -5.0, 0.0, 0.3, 8.0, 27.0, 45.0, 79.0] {
            for rh in [0.02, 0.1, 0.5, 0.93, 1.0] {
                for p in [54_000.0, 84_000.0, 101_325.0, 119_000.0] {
                    let air = MoistAir::from_relative_humidity(t, rh, p).unwrap();
                    let w = air.humidity_ratio();
                    let close = |other: MoistAir| (other.humidity_ratio() / w - 1.0).abs() < 1e-9;
                    let dew = air.dew_point_c().unwrap();
                    assert!((air.relative_humidity() - rh).abs() < 1e-12);
                    assert!(
                        close(MoistAir::from_dew_point(t, dew, p).unwrap()),
                        "{air:?}"
                    );
                    assert!(
                        close(MoistAir::from_wet_bulb(t, air.wet_bulb_c(), p).unwrap()),
                        "{air:?}"
                    );
                    assert!(
                        close(MoistAir::from_humidity_ratio(t, w, p).unwrap()),
                        "{air:?}"
                    );
                    // The step between ice and water at 0 degC is 0.01 % in pressure, 1 mK in dew point.
                    assert!(dew <= t && dew <= air.wet_bulb_c() + 2e-3, "{air:?} {dew}");
                }
            }
        }
    }

    #[test]
    fn dry_air_has_no_dew_point_and_a_wet_bulb() {
        let air = MoistAir::from_relative_humidity(30.0, 0.0, 101_325.0).unwrap();
        assert_eq!(air.dew_point_c(), None);
        assert_eq!(air.relative_humidity(), 0.0);
        let wet = air.wet_bulb_c();
        assert!(wet > 8.0 && wet < 12.0, "{wet}");
        assert!(MoistAir::from_wet_bulb(30.0, wet - 1.0, 101_325.0).is_err());
    }

    #[test]
    fn impossible_air_is_refused_with_the_figure_that_is_wrong() {
        let message = |r: Result<MoistAir, AirError>| r.unwrap_err().to_string();
        assert_eq!(
            message(MoistAir::from_relative_humidity(25.0, 45.0, 101_325.0)),
            "found relative humidity of 4500 %, expected 0 to 100 %"
        );
        assert_eq!(
            message(MoistAir::from_relative_humidity(250.0, 0.5, 101_325.0)),
            "found temperature of 250 degC, expected -60 to 80 degC"
        );
        assert_eq!(
            message(MoistAir::from_relative_humidity(25.0, 0.5, 1013.25)),
            "found pressure of 1.01325 kPa, expected 50 to 120 kPa"
        );
        assert_eq!(
            message(MoistAir::from_dew_point(25.0, 26.0, 101_325.0)),
            "found dew point of 26 degC, expected at most 25 degC: air of 25 degC is saturated there"
        );
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(MoistAir::from_relative_humidity(bad, 0.5, 101_325.0).is_err());
            assert!(MoistAir::from_relative_humidity(25.0, bad, 101_325.0).is_err());
            assert!(MoistAir::from_relative_humidity(25.0, 0.5, bad).is_err());
            assert!(MoistAir::from_dew_point(25.0, bad, 101_325.0).is_err());
            assert!(MoistAir::from_wet_bulb(25.0, bad, 101_325.0).is_err());
            assert!(MoistAir::from_humidity_ratio(25.0, bad, 101_325.0).is_err());
        }
    }

    #[test]
    fn evaporation_and_sublimation_take_what_the_handbook_says() {
        // ASHRAE Handbook—Fundamentals 2017, ch. 1, eq. 33 and 35 hold 2501 − 2.326 t above water and 2830 − 0.24 t over ice, kJ/kg.
        let taken = |t| vapour_enthalpy_j_kg(t) - condensate_enthalpy_j_kg(t);
        assert!((taken(20.0) - 2454.48e3).abs() < 1e-6);
        assert!((taken(-10.0) - 2832.4e3).abs() < 1e-6);
    }

    #[test]
    fn the_wet_bulb_of_dry_air_is_taken_for_dry_air() {
        for temp_c in [5.0, 20.0, 30.0, 45.0] {
            let dry = MoistAir::from_humidity_ratio(temp_c, 0.0, 101_325.0).unwrap();
            let again = MoistAir::from_wet_bulb(temp_c, dry.wet_bulb_c(), 101_325.0).unwrap();
            assert!(again.humidity_ratio() < 1e-9);
            // A tenth of a kelvin lower no air is that dry.
            assert!(MoistAir::from_wet_bulb(temp_c, dry.wet_bulb_c() - 0.1, 101_325.0).is_err());
        }
    }
}
