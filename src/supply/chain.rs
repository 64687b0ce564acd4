//! From the unit's terminals back to the battery's: converter, cable, and what the battery holds.

use crate::bench::{Battery, Bench, Channel, Kind, SupplyInfo};
use crate::stats::normal;

use super::discharge::Discharge;
use super::wire::{TooMuch, load_current, loop_ohm};

/// 1.959964 = normal quantile at 0.975: limits that hold 95 % (JCGM 100, 4.3.4).
const LIMITS: f64 = 1.959_963_984_540_054;

/// What the unit's draw becomes at the battery.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// Voltage at the battery under load, V.
    pub volts: f64,
    /// Where that comes from, in words.
    pub volts_from: &'static str,
    /// Resistance of the cable there and back, ohm; zero where no cable is stated.
    pub ohm: f64,
    /// Standard uncertainty of it, a share.
    pub ohm_u: f64,
    /// Efficiency of the converter; 1 where none is stated.
    pub efficiency: f64,
    /// Standard uncertainty of it, in points.
    pub efficiency_u: f64,
    /// What the converter draws for itself, W.
    pub idle_w: f64,
}

/// A power at the battery's terminals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtBattery {
    /// Power out of the battery, W.
    pub power_w: f64,
    /// Current, A.
    pub current_a: f64,
    /// Lost in the cable, W.
    pub cable_w: f64,
    /// Lost in the converter, W.
    pub converter_w: f64,
    /// Standard uncertainty that efficiency and resistance leave, a share of the power.
    pub losses_u: f64,
}

impl Chain {
    /// The chain of a bench: the voltage of a discharge test where there is one, else nominal, else the unit's supply, else that of the runs.
    pub fn of(bench: &Bench, tested_v: Option<f64>) -> Option<Chain> {
        let SupplyInfo {
            battery,
            converter,
            cable,
        } = &bench.supply;
        let nominal = battery.as_ref().and_then(|b| b.nominal_v);
        let choices = [
            (tested_v, "mean voltage of the discharge test"),
            (nominal, "the battery's nominal voltage"),
            (bench.unit.supply_v, "the unit's nominal supply voltage"),
            (mean_voltage(bench), "mean voltage of the runs"),
        ];
        let (volts, volts_from) = choices.into_iter().find_map(|(v, from)| Some((v?, from)))?;
        Some(Chain {
            volts,
            volts_from,
            ohm: cable.as_ref().map_or(0.0, loop_ohm),
            ohm_u: cable.map_or(0.0, |c| c.tolerance / LIMITS),
            efficiency: converter.map_or(1.0, |c| c.efficiency),
            efficiency_u: converter.map_or(0.0, |c| c.tolerance / LIMITS),
            idle_w: converter.map_or(0.0, |c| c.idle_w),
        })
    }

    /// The power at the battery for a draw of the unit, at the chain's own voltage.
    ///
    /// # Errors
    /// [`TooMuch`] where no current carries it.
    pub fn at_battery(&self, draw_w: f64) -> Result<AtBattery, TooMuch> {
        self.at_voltage(draw_w, self.volts)
    }

    /// As [`Chain::at_battery`], at another voltage of the battery: a load of constant power takes more current as it falls.
    ///
    /// # Errors
    /// As [`Chain::at_battery`].
    pub fn at_voltage(&self, draw_w: f64, volts: f64) -> Result<AtBattery, TooMuch> {
        let converted_w = draw_w / self.efficiency;
        let wanted_w = converted_w + self.idle_w;
        let current_a = load_current(wanted_w, volts, self.ohm)?;
        let power_w = volts * current_a;
        // dP/dη = −P_draw/η² × V/(V − 2IR); dP/dR = V I²/(V − 2IR), from P = (V − IR) I.
        let left_v = volts - 2.0 * current_a * self.ohm;
        let stretch = if left_v > 0.0 {
            volts / left_v
        } else {
            f64::INFINITY
        };
        let by_efficiency = converted_w / self.efficiency * self.efficiency_u * stretch;
        let by_resistance = current_a * current_a * self.ohm * self.ohm_u * stretch;
        // A resistance known for certain leaves nothing open even at the last current that it carries.
        let u = by_efficiency.hypot(by_resistance);
        Ok(AtBattery {
            power_w,
            current_a,
            cable_w: current_a * current_a * self.ohm,
            converter_w: wanted_w - draw_w,
            losses_u: if u.is_finite() && power_w > 0.0 {
                u / power_w
            } else {
                0.0
            },
        })
    }
}

fn mean_voltage(bench: &Bench) -> Option<f64> {
    let volts: Vec<f64> = bench
        .of_kind(Kind::Cooling)
        .filter_map(|p| p.get(Channel::Voltage))
        .collect();
    (!volts.is_empty()).then(|| volts.iter().sum::<f64>() / volts.len() as f64)
}

/// What the battery gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Holds {
    /// Energy from full to empty at the terminals, Wh.
    pub energy_wh: f64,
    /// Half of the interval at the level asked for, a share of it.
    pub half: f64,
    /// The share that may be used.
    pub usable: f64,
    /// Whether the usable share was stated.
    pub usable_stated: bool,
    /// Whether it was measured.
    pub measured: bool,
    /// Peukert: exponent, and the current for which the energy holds, A.
    pub peukert: Option<(f64, f64)>,
}

impl Holds {
    /// From a discharge test where there is one, else from the rating and its tolerance. Level such as 0.95.
    pub fn of(battery: &Battery, tested: Option<&Discharge>, level: f64) -> Option<Holds> {
        let usable = battery.usable.unwrap_or(1.0);
        let usable_stated = battery.usable.is_some();
        if let Some(group) = tested.and_then(Discharge::headline) {
            let energy = group.energy_wh;
            let half = energy
                .interval(level)
                .map_or(0.0, |(low, high)| 0.5 * (high - low) / energy.value);
            return Some(Holds {
                energy_wh: energy.value,
                half,
                usable,
                usable_stated,
                measured: true,
                peukert: battery.peukert.map(|(p, _)| (p, group.mean_a)),
            });
        }
        let rated_wh = super::discharge::Rating::of(battery).rated_wh()?;
        let k = normal::quantile(0.5 + 0.5 * level);
        Some(Holds {
            energy_wh: rated_wh,
            half: battery.tolerance.unwrap_or(0.0) / LIMITS * k,
            usable,
            usable_stated,
            measured: false,
            peukert: battery
                .peukert
                .zip(battery.capacity_ah)
                .map(|((p, hours), ah)| (p, ah / hours)),
        })
    }

    /// Usable energy at a current, Wh. With a Peukert exponent p the energy for which the current I₀ holds becomes E (I₀/I)^(p−1).
    pub fn usable_wh(&self, current_a: f64) -> f64 {
        let factor = match self.peukert {
            Some((p, at_a)) if current_a > 0.0 => (at_a / current_a).powf(p - 1.0),
            _ => 1.0,
        };
        self.energy_wh * self.usable * factor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain() -> Chain {
        Chain {
            volts: 25.0,
            volts_from: "test",
            ohm: 0.1,
            ohm_u: 0.0,
            efficiency: 0.9,
            efficiency_u: 0.0,
            idle_w: 15.0,
        }
    }

    #[test]
    fn losses_by_hand() {
        // 202.5 W / 0.9 + 15 W = 240 W at the cable's end; 10 A there (see `wire`); 250 W at the battery, 10 W in the cable, 37.5 W in the converter.
        let b = chain().at_battery(202.5).unwrap();
        assert!((b.current_a - 10.0).abs() < 1e-12 && (b.power_w - 250.0).abs() < 1e-9);
        assert!((b.cable_w - 10.0).abs() < 1e-9 && (b.converter_w - 37.5).abs() < 1e-9);
        // The current rises as the voltage falls.
        assert!(chain().at_voltage(202.5, 20.0).unwrap().current_a > 12.0);
    }

    #[test]
    fn the_losses_uncertainty_is_the_derivatives() {
        let c = Chain {
            efficiency_u: 0.01,
            ohm_u: 0.05,
            ..chain()
        };
        let u = c.at_battery(202.5).unwrap().losses_u;
        let power = |e: f64, r: f64| {
            let c = Chain {
                efficiency: e,
                ohm: r,
                ..chain()
            };
            c.at_battery(202.5).unwrap().power_w
        };
        let de = (power(0.9001, 0.1) - power(0.8999, 0.1)) / 0.0002 * 0.01;
        let dr = (power(0.9, 0.1001) - power(0.9, 0.0999)) / 0.0002 * 0.1 * 0.05;
        assert!((u - de.hypot(dr) / 250.0).abs() < 1e-8, "{u}");
    }

    #[test]
    fn peukert_by_hand() {
        // 100 Ah at 12 V over 20 h (5 A), p = 1.2, at 20 A: (5/20)^0.2 = 0.7579: 909.4 Wh of 1200 (Peukert 1897; common practice, no source at hand).
        let h = Holds {
            energy_wh: 1200.0,
            half: 0.0,
            usable: 1.0,
            usable_stated: true,
            measured: false,
            peukert: Some((1.2, 5.0)),
        };
        assert!((h.usable_wh(20.0) - 909.4).abs() < 0.1);
        assert_eq!(Holds { peukert: None, ..h }.usable_wh(20.0), 1200.0);
    }

    #[test]
    fn a_rating_and_its_tolerance_by_hand() {
        let battery = Battery {
            nominal_v: Some(25.6),
            capacity_ah: Some(120.0),
            tolerance: Some(0.05),
            usable: Some(0.8),
            peukert: Some((1.1, 20.0)),
            ..Battery::default()
        };
        // 120 Ah × 25.6 V = 3072 Wh; limits of 5 % hold 95 %, so at 90 %: 0.05 × 1.644854/1.959964 = 0.0419613. 120 Ah in 20 h are 6 A.
        let h = Holds::of(&battery, None, 0.90).unwrap();
        assert!((h.energy_wh - 3072.0).abs() < 1e-9 && (h.half - 0.0419613).abs() < 1e-6);
        assert_eq!(h.peukert, Some((1.1, 6.0)));
        assert!(h.usable_stated && !h.measured);
        // At 15 A: 3072 × 0.8 × (6/15)^0.1 = 2457.6 × 0.912444 = 2242.42 Wh.
        assert!((h.usable_wh(15.0) - 2242.42).abs() < 0.01);
        // A stated energy goes before; no tolerance is no doubt.
        let stated = Battery {
            energy_wh: Some(3000.0),
            tolerance: None,
            usable: None,
            ..battery
        };
        let h = Holds::of(&stated, None, 0.90).unwrap();
        assert_eq!(
            (h.energy_wh, h.half, h.usable, h.usable_stated),
            (3000.0, 0.0, 1.0, false)
        );
    }

    #[test]
    fn the_voltage_of_the_runs_and_a_converters_tolerance_by_hand() {
        let toml = "[points]\nfile = \"points.csv\"\n[converter]\nefficiency = \"90 %\"\ntolerance = \"4 %\"\n";
        let table = "run,fan,intake_temp [degC],voltage [V],current [A]\na,1,27,24,4\nb,1,27,25,4\nc,1,27,27,4\n";
        let bench = Bench::from_texts(toml, table).unwrap();
        let c = Chain::of(&bench, None).unwrap();
        assert_eq!(c.volts_from, "mean voltage of the runs");
        assert!((c.volts - 76.0 / 3.0).abs() < 1e-12, "{}", c.volts);
        // Limits of 4 points hold 95 %: over 1.959964.
        assert!((c.efficiency_u - 0.020_408_5).abs() < 1e-6);
    }
}
