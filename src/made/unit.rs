//! A whole unit from a handful of sizing figures, chosen by hand or drawn at random.

use super::dice::Dice;
use super::model::{Blower, Coil, Compressor, Condenser, Cooler, Surroundings, humidity_ratio};

/// The figures a unit is sized from. They are met at the rating point: intake 27 °C and 50 %, ambient 35 °C, full flow, speed 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sizing {
    /// Capacity before the blower's heat, W.
    pub capacity_w: f64,
    /// Airflow at the highest level, m³/h.
    pub full_m3h: f64,
    /// Share of the air that passes the coil untouched.
    pub bypass: f64,
    /// Transfer units fall with flow to this power.
    pub ntu_fall: f64,
    /// Surface above evaporating temperature, K.
    pub inner_k: f64,
    /// Condensing temperature above ambient, K.
    pub approach_k: f64,
    /// Draw of the condenser's fan, W.
    pub condenser_fan_w: f64,
    /// Whether that fan follows the compressor.
    pub condenser_follows: bool,
    /// Best overall compressor efficiency.
    pub efficiency: f64,
    /// Pressure ratio of the best efficiency.
    pub best_ratio: f64,
    /// Loss off that ratio.
    pub ratio_loss: f64,
    /// Loss with speed.
    pub speed_loss: f64,
    /// Clearance share.
    pub clearance: f64,
    /// Draw of the compressor's drive, W.
    pub drive_w: f64,
    /// Blower: electronics, W.
    pub blower_idle_w: f64,
    /// Blower: draw at full flow above the electronics, W.
    pub blower_full_w: f64,
    /// Blower: exponent.
    pub blower_exponent: f64,
    /// Control board, W.
    pub standby_w: f64,
}

impl Sizing {
    /// A random unit. The ranges are made: small DC units of 0.4 to 1.5 kW.
    pub fn random(dice: &mut Dice) -> Self {
        let capacity_w = dice.between(400.0, 1500.0);
        let full_m3h = capacity_w * dice.between(0.22, 0.34);
        Self {
            capacity_w,
            full_m3h,
            bypass: dice.between(0.15, 0.3),
            ntu_fall: dice.between(0.4, 0.55),
            inner_k: dice.between(4.0, 8.0),
            approach_k: dice.between(8.0, 15.0),
            condenser_fan_w: capacity_w * dice.between(0.012, 0.03),
            condenser_follows: false,
            efficiency: dice.between(0.42, 0.62),
            best_ratio: dice.between(3.3, 4.4),
            ratio_loss: dice.between(0.05, 0.35),
            speed_loss: dice.between(0.0, 0.15),
            clearance: dice.between(0.025, 0.05),
            drive_w: dice.between(1.0, 6.0),
            blower_idle_w: dice.between(1.0, 4.0),
            blower_full_w: full_m3h * dice.between(0.06, 0.16),
            blower_exponent: dice.between(1.5, 2.4),
            standby_w: dice.between(0.6, 4.0),
        }
    }

    /// The rating point.
    pub fn rating() -> Surroundings {
        let pressure_pa = 101_325.0;
        let intake_w = humidity_ratio(27.0, 50.0, pressure_pa);
        Surroundings {
            intake_c: 27.0,
            intake_w,
            ambient_c: 35.0,
            pressure_pa,
        }
    }

    /// The unit that meets these figures.
    pub fn cooler(&self) -> Cooler {
        let blower = Blower {
            idle_w: self.blower_idle_w,
            full_w: self.blower_full_w,
            exponent: self.blower_exponent,
            full_m3h: self.full_m3h,
        };
        let coil = Coil {
            ntu_full: -self.bypass.ln(),
            ntu_fall: self.ntu_fall,
            inner_w_per_k: self.capacity_w / self.inner_k,
        };
        let rating = Self::rating();
        let evaporating_c =
            coil.surface_for(self.capacity_w, self.full_m3h, &blower, &rating) - self.inner_k;
        let condensing_c = rating.ambient_c + self.approach_k;
        let mut compressor = Compressor {
            swept_m3_s: 1.0,
            clearance: self.clearance,
            efficiency: self.efficiency,
            best_ratio: self.best_ratio,
            ratio_loss: self.ratio_loss,
            speed_loss: self.speed_loss,
            drive_w: self.drive_w,
        };
        compressor.swept_m3_s =
            self.capacity_w / compressor.run(1.0, evaporating_c, condensing_c).0;
        let (cooling, draw) = compressor.run(1.0, evaporating_c, condensing_c);
        let condenser = Condenser {
            w_per_k: (cooling + draw) / self.approach_k,
            fan_w: self.condenser_fan_w,
            follows_compressor: self.condenser_follows,
        };
        Cooler {
            blower,
            coil,
            condenser,
            compressor,
            standby_w: self.standby_w,
        }
    }
}
