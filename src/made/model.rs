//! A small physical model of a cabin cooler: blower, coil, compressor, condenser. It makes truths for benches whose
//! answer is known; the curves that the tool fits share no formula with it.
//!
//! Left out, on purpose: frost, pressure drops, defrosting, refrigerant charge, start-up. Below 0 °C saturation is over water.
//!
//! # Where the constants come from
//! * Vapour pressure: Magnus form, WMO-No. 8, Guide to Instruments and Methods of Observation, annex 4.B (from memory).
//! * Moist-air enthalpy 1.006 t + w (2501 + 1.86 t) kJ/kg, gas constants 287.05 and 461.5 J/(kg K): ASHRAE Handbook—Fundamentals, ch. 1 (from memory).
//! * Refrigerant: a made fluid close to R-134a. Vapour pressure by Clausius–Clapeyron through 292.8 kPa at 0 °C and 1016.6 kPa at 40 °C,
//!   gas factor 0.91, refrigerating effect 147 kJ/kg at 0/40 °C with slopes 0.57 and −1.50 kJ/(kg K): rounded table values from memory.
//! * Everything in [`Cooler`] is made.

/// The expansion valve needs a pressure difference: where ambient is cold the condenser's fan is throttled to keep the condensing
/// temperature this far above the evaporating one (made).
const LEAST_LIFT_K: f64 = 15.0;

/// The state of the air around the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surroundings {
    /// Air entering the evaporator side, °C.
    pub intake_c: f64,
    /// Its humidity ratio, kg of water per kg of dry air.
    pub intake_w: f64,
    /// Air entering the condenser side, °C.
    pub ambient_c: f64,
    /// Air pressure, Pa.
    pub pressure_pa: f64,
}

/// The blower and its electronics: draw = `idle_w` + `full_w` · (flow ÷ full flow)^`exponent`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blower {
    /// Draw of the blower's electronics at any flow, W.
    pub idle_w: f64,
    /// Draw of the blower at full flow, above the electronics, W.
    pub full_w: f64,
    /// Exponent in place: 1.5 to 2.4, not the affinity law's 3.
    pub exponent: f64,
    /// Volume flow at the highest level, m³/h at the intake.
    pub full_m3h: f64,
}

/// The cooling coil. Part of the air passes untouched (bypass factor exp(−NTU)), the rest leaves at the surface's state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coil {
    /// Transfer units on the air side at full flow.
    pub ntu_full: f64,
    /// Transfer units go with flow to the power −`ntu_fall`: contact falls as the air goes faster.
    pub ntu_fall: f64,
    /// Conductance from surface to refrigerant, W/K.
    pub inner_w_per_k: f64,
}

/// The condenser with its own fan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condenser {
    /// Heat rejected per kelvin between condensing temperature and ambient, W/K, at reference fan speed.
    pub w_per_k: f64,
    /// The fan's draw, W, at reference speed.
    pub fan_w: f64,
    /// Whether the fan's speed follows the compressor's; otherwise it is constant.
    pub follows_compressor: bool,
}

/// The compressor, driven at a speed relative to its reference speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compressor {
    /// Swept volume per second at relative speed 1, m³/s.
    pub swept_m3_s: f64,
    /// Clearance share of the swept volume, for the re-expansion loss.
    pub clearance: f64,
    /// Best overall efficiency: isentropic work ÷ electrical draw.
    pub efficiency: f64,
    /// Pressure ratio at which the efficiency is best.
    pub best_ratio: f64,
    /// Loss of efficiency per squared ln(pressure ratio ÷ best ratio).
    pub ratio_loss: f64,
    /// Extra draw at higher speed: draw is multiplied by 1 + `speed_loss` (speed − 1).
    pub speed_loss: f64,
    /// Draw of the drive at any speed above zero, W.
    pub drive_w: f64,
}

/// A whole unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cooler {
    /// The blower.
    pub blower: Blower,
    /// The cooling coil.
    pub coil: Coil,
    /// The condenser.
    pub condenser: Condenser,
    /// The compressor.
    pub compressor: Compressor,
    /// Draw of the control board, in every state, W.
    pub standby_w: f64,
}

/// One steady state of a [`Cooler`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// Draw at the supply terminals, W.
    pub draw_w: f64,
    /// Draw above that of a fan-only run at the same level: compressor, its drive, the condenser's fan, W.
    pub compressor_side_w: f64,
    /// Sensible capacity between intake and outlet, the blower's heat taken off, W.
    pub sensible_w: f64,
    /// Latent capacity, W, with the heat that the condensate carries off.
    pub latent_w: f64,
    /// Outlet temperature, °C, after the blower.
    pub outlet_c: f64,
    /// Outlet humidity ratio, kg/kg.
    pub outlet_w: f64,
    /// Temperature of the coil's surface, °C.
    pub surface_c: f64,
    /// Evaporating temperature, °C.
    pub evaporating_c: f64,
    /// Condensing temperature, °C.
    pub condensing_c: f64,
}

impl Steady {
    /// Total capacity, W.
    pub fn capacity_w(&self) -> f64 {
        self.sensible_w + self.latent_w
    }
}

/// Saturation vapour pressure over water, Pa, at `t` °C.
pub fn saturation_pa(t: f64) -> f64 {
    611.2 * (17.62 * t / (243.12 + t)).exp()
}

/// Humidity ratio (kg/kg) at `t` °C, relative humidity in %, pressure in Pa.
pub fn humidity_ratio(t: f64, rh_pct: f64, pressure_pa: f64) -> f64 {
    let vapour = (rh_pct / 100.0 * saturation_pa(t)).min(0.9 * pressure_pa);
    0.622 * vapour / (pressure_pa - vapour)
}

/// Relative humidity in % at `t` °C for humidity ratio `w` and pressure in Pa; above 100 where the air cannot hold it.
pub fn relative_humidity(t: f64, w: f64, pressure_pa: f64) -> f64 {
    100.0 * pressure_pa * w / (0.622 + w) / saturation_pa(t)
}

/// Enthalpy of moist air, J per kg of dry air.
fn enthalpy(t: f64, w: f64) -> f64 {
    1006.0 * t + w * (2.501e6 + 1860.0 * t)
}

/// Mass flow of dry air, kg/s, in a volume flow of `m3h` m³/h at the intake's state.
fn dry_air_kg_s(m3h: f64, at: &Surroundings) -> f64 {
    let specific_volume = (287.05 + at.intake_w * 461.5) * (at.intake_c + 273.15) / at.pressure_pa;
    m3h / 3600.0 / specific_volume
}

/// The root of an increasing function between `low` and `high`; the nearer end when there is none. Forty-four halvings (a hundred kelvin to 1e-11) and no
/// more, so that nothing can make it hang; an undefined value counts as positive.
fn increasing_root(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..44 {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Refrigerant: vapour pressure, Pa, at `t` °C.
fn refrigerant_pa(t: f64) -> f64 {
    292.8e3 * (2661.7 * (1.0 / 273.15 - 1.0 / (t + 273.15))).exp()
}

impl Blower {
    /// Draw in W at a volume flow in m³/h.
    pub fn draw_w(&self, m3h: f64) -> f64 {
        self.idle_w + self.full_w * (m3h / self.full_m3h).powf(self.exponent)
    }
}

impl Coil {
    /// Heat taken from the air (J per kg of dry air), and its temperature and humidity ratio behind the coil.
    fn pass(&self, flow_share: f64, surface_c: f64, at: &Surroundings) -> (f64, f64, f64) {
        let contact = 1.0 - (-self.ntu_full * flow_share.powf(-self.ntu_fall)).exp();
        // Dry while the surface is warmer than the intake's dew point: then saturation there exceeds the intake's humidity.
        let surface_w = humidity_ratio(surface_c, 100.0, at.pressure_pa).min(at.intake_w);
        let t = at.intake_c - contact * (at.intake_c - surface_c);
        let w = at.intake_w - contact * (at.intake_w - surface_w);
        (enthalpy(at.intake_c, at.intake_w) - enthalpy(t, w), t, w)
    }

    /// The surface temperature, °C, at which the coil takes `watts` from `m3h` m³/h of air.
    pub(super) fn surface_for(
        &self,
        watts: f64,
        m3h: f64,
        blower: &Blower,
        at: &Surroundings,
    ) -> f64 {
        let kg_s = dry_air_kg_s(m3h, at);
        let share = m3h / blower.full_m3h;
        increasing_root(-40.0, at.intake_c, |ts| {
            watts - kg_s * self.pass(share, ts, at).0
        })
    }
}

impl Compressor {
    /// Cooling (W) and electrical draw (W) between two saturation temperatures in °C.
    pub(super) fn run(&self, speed: f64, evaporating_c: f64, condensing_c: f64) -> (f64, f64) {
        // Polytropic exponent of the vapour 1.11, suction 5 K above saturation, gas constant 8.314/0.10203: made, near R-134a.
        const EXPONENT: f64 = 1.11;
        const GAS: f64 = 0.91 * 8.314 / 0.10203;
        if speed <= 0.0 {
            return (0.0, 0.0);
        }
        let suction_k = evaporating_c + 5.0 + 273.15;
        let suction_pa = refrigerant_pa(evaporating_c);
        let ratio = (refrigerant_pa(condensing_c) / suction_pa).max(1.0);
        let filled = (1.0 - self.clearance * (ratio.powf(1.0 / EXPONENT) - 1.0)).max(0.05);
        let kg_s = self.swept_m3_s * speed * filled * suction_pa / (GAS * suction_k);
        let effect = 147e3 + 570.0 * evaporating_c - 1500.0 * (condensing_c - 40.0);
        let power = (EXPONENT - 1.0) / EXPONENT;
        let ideal = GAS * suction_k / power * (ratio.powf(power) - 1.0);
        let off_best = (ratio / self.best_ratio).ln();
        let efficiency = self.efficiency * (1.0 - self.ratio_loss * off_best * off_best).max(0.3);
        let draw = kg_s * ideal / efficiency * (1.0 + self.speed_loss * (speed - 1.0));
        (kg_s * effect.max(0.0), draw + self.drive_w)
    }
}

impl Cooler {
    /// The state with the compressor off and the blower moving `m3h` m³/h.
    pub fn fan_only(&self, m3h: f64, at: &Surroundings) -> Steady {
        self.steady(0.0, m3h, at)
    }

    /// The steady state at a relative compressor speed and a volume flow in m³/h (above zero).
    ///
    /// Three nested balances: the surface takes from the air what it gives the refrigerant; the condenser rejects capacity
    /// plus work; the coil's capacity equals the compressor's.
    pub fn steady(&self, speed: f64, m3h: f64, at: &Surroundings) -> Steady {
        let share = m3h / self.blower.full_m3h;
        let kg_s = dry_air_kg_s(m3h, at);
        let running = speed > 0.0;
        let condenser_speed = if self.condenser.follows_compressor {
            speed
        } else {
            1.0
        };
        let surface = |te: f64| {
            increasing_root(te, at.intake_c, |ts| {
                self.coil.inner_w_per_k * (ts - te) - kg_s * self.coil.pass(share, ts, at).0
            })
        };
        let condensing = |te: f64| {
            // A propeller's heat transfer goes with about the square root of its speed.
            let w_per_k = self.condenser.w_per_k * condenser_speed.sqrt();
            let balanced = increasing_root(at.ambient_c, at.ambient_c + 80.0, |tc| {
                let (cooling, draw) = self.compressor.run(speed, te, tc);
                w_per_k * (tc - at.ambient_c) - cooling - draw
            });
            balanced.max(te + LEAST_LIFT_K)
        };
        let (evaporating_c, surface_c, condensing_c) = if running {
            let te = increasing_root(-40.0, at.intake_c, |te| {
                let (cooling, _) = self.compressor.run(speed, te, condensing(te));
                cooling - self.coil.inner_w_per_k * (surface(te) - te)
            });
            (te, surface(te), condensing(te))
        } else {
            (at.intake_c, at.intake_c, at.ambient_c)
        };

        let (_, coil_c, outlet_w) = self.coil.pass(share, surface_c, at);
        let blower_w = self.blower.draw_w(m3h);
        // The motor sits in the stream: all of its draw warms the air.
        let outlet_c = coil_c + blower_w / (kg_s * (1006.0 + 1860.0 * outlet_w));
        // Sensible as the air room defines it, with the outlet's humidity; the two parts add up to kg_s (h_in − h_out) exactly.
        let sensible_w = kg_s * (1006.0 + 1860.0 * outlet_w) * (at.intake_c - outlet_c);
        let latent_w = kg_s * (at.intake_w - outlet_w) * (2.501e6 + 1860.0 * at.intake_c);
        let (_, compressor_w) = self.compressor.run(speed, evaporating_c, condensing_c);
        let condenser_fan_w = if running {
            self.condenser.fan_w * condenser_speed.powi(2)
        } else {
            0.0
        };
        let compressor_side_w = compressor_w + condenser_fan_w;
        Steady {
            draw_w: self.standby_w + blower_w + compressor_side_w,
            compressor_side_w,
            sensible_w,
            latent_w,
            outlet_c,
            outlet_w,
            surface_c,
            evaporating_c,
            condensing_c,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made::dice::Dice;
    use crate::made::unit::Sizing;

    fn units(n: u64) -> Vec<Cooler> {
        (0..n)
            .map(|seed| Sizing::random(&mut Dice::new(seed, 0)).cooler())
            .collect()
    }

    fn side_w(s: &Steady) -> f64 {
        s.compressor_side_w
    }

    /// d ln(figure) / d ln(airflow) as a secant from 80 to 100 % of full flow.
    fn flow_elasticity(unit: &Cooler, at: &Surroundings, figure: impl Fn(&Steady) -> f64) -> f64 {
        let full = unit.blower.full_m3h;
        let ratio = figure(&unit.steady(1.0, full, at)) / figure(&unit.steady(1.0, 0.8 * full, at));
        ratio.ln() / (1.0_f64 / 0.8).ln()
    }

    /// Per cent for each kelvin more ambient, from 32 to 38 °C.
    fn per_ambient_k(unit: &Cooler, figure: impl Fn(&Steady) -> f64) -> f64 {
        let at = |ambient_c| Surroundings {
            ambient_c,
            ..Sizing::rating()
        };
        let run = |ambient_c| figure(&unit.steady(1.0, unit.blower.full_m3h, &at(ambient_c)));
        100.0 * (run(38.0) / run(32.0)).ln() / 6.0
    }

    /// Published ranges: "Numbers in short" of the project's air reference notes, from 42 published curve sets (NREL/TP-5500-56354 and
    /// others), Rodriguez et al. 1996, and bypass and cycle calculations. Total capacity is the coil's own, before the blower's heat.
    #[test]
    fn fixed_speed_units_lie_in_the_published_ranges() {
        let wet = Sizing::rating();
        let dry = Surroundings {
            intake_w: humidity_ratio(27.0, 15.0, 101_325.0),
            ..wet
        };
        let coil = |unit: &Cooler, s: &Steady| {
            s.capacity_w() + s.draw_w - s.compressor_side_w - unit.standby_w
        };
        let is_wet = |unit: &Cooler| unit.steady(1.0, unit.blower.full_m3h, &wet).latent_w > 0.0;
        let mut wet_units = 0;
        for (seed, unit) in units(120).iter().enumerate() {
            let within = |name: &str, value: f64, low: f64, high: f64| {
                assert!(
                    (low..=high).contains(&value),
                    "unit {seed}: {name} {value} outside {low}..{high}"
                );
            };
            for at in [&wet, &dry] {
                within(
                    "power against airflow",
                    flow_elasticity(unit, at, side_w),
                    -0.25,
                    0.2,
                );
                within(
                    "capacity against airflow",
                    flow_elasticity(unit, at, |s| coil(unit, s)),
                    0.08,
                    0.3,
                );
            }
            if is_wet(unit) {
                wet_units += 1;
                within(
                    "sensible against airflow",
                    flow_elasticity(unit, &wet, |s| s.sensible_w),
                    0.3,
                    0.55,
                );
            }
            within("power per ambient K", per_ambient_k(unit, side_w), 1.4, 2.4);
            within(
                "capacity per ambient K",
                per_ambient_k(unit, |s| coil(unit, s)),
                -1.3,
                -0.7,
            );
        }
        assert!(wet_units > 30, "{wet_units}");
    }

    #[test]
    fn a_steady_state_balances() {
        for unit in units(10) {
            let at = Sizing::rating();
            let s = unit.steady(0.8, 0.7 * unit.blower.full_m3h, &at);
            let (cooling, draw) = unit.compressor.run(0.8, s.evaporating_c, s.condensing_c);
            let through_coil = unit.coil.inner_w_per_k * (s.surface_c - s.evaporating_c);
            let blower = unit.blower.draw_w(0.7 * unit.blower.full_m3h);
            let from_air = s.capacity_w() + blower;
            let rejected = unit.condenser.w_per_k * (s.condensing_c - at.ambient_c);
            for (name, a, b) in [
                ("coil and compressor", through_coil, cooling),
                // The heat of the blower is taken at the outlet's state, exactly as much as was added.
                ("air and coil", from_air, through_coil),
                ("condenser", rejected, cooling + draw),
                (
                    "draw",
                    s.draw_w,
                    draw + unit.condenser.fan_w + blower + unit.standby_w,
                ),
            ] {
                assert!((a / b - 1.0).abs() < 1e-7, "{name}: {a} against {b}");
            }
        }
    }

    #[test]
    fn a_coil_is_wet_only_under_the_dew_point() {
        for unit in units(10) {
            let full = unit.blower.full_m3h;
            for rh in [10.0, 30.0, 50.0, 80.0] {
                let at = Surroundings {
                    intake_w: humidity_ratio(27.0, rh, 101_325.0),
                    ..Sizing::rating()
                };
                let s = unit.steady(1.0, full, &at);
                let saturated = humidity_ratio(s.surface_c, 100.0, 101_325.0);
                assert_eq!(s.latent_w > 0.0, saturated < at.intake_w, "rh {rh}: {s:?}");
            }
        }
    }

    #[test]
    fn fan_only_air_is_warmed_by_the_blower_alone() {
        for unit in units(5) {
            let at = Sizing::rating();
            let s = unit.fan_only(unit.blower.full_m3h, &at);
            assert_eq!(s.compressor_side_w, 0.0);
            assert!((s.capacity_w() + s.draw_w - unit.standby_w).abs() < 1e-6);
            assert_eq!(s.outlet_w, at.intake_w);
        }
    }

    #[test]
    fn nonsense_does_not_hang() {
        let unit = Sizing::random(&mut Dice::new(1, 0)).cooler();
        for intake_c in [f64::NAN, -80.0, 300.0] {
            for m3h in [0.0, f64::NAN, 1e9] {
                let at = Surroundings {
                    intake_c,
                    ..Sizing::rating()
                };
                let _ = unit.steady(1.0, m3h, &at);
            }
        }
    }

    /// WMO-No. 8 gives the Magnus form; ASHRAE Handbook—Fundamentals (2017) ch. 1 table 2 gives 2.3392 kPa at 20 °C (both from memory).
    #[test]
    fn vapour_pressure_is_near_the_tables() {
        assert!((saturation_pa(20.0) / 2339.2 - 1.0).abs() < 0.005);
    }
}
