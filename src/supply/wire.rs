//! Copper, and the current of a load of constant power behind it.

use crate::bench::Cable;

/// Resistivity of annealed copper at 20 degC, ohm m: 1/58 × 10⁻⁶ (IEC 60028, from memory; exact by definition).
pub const COPPER_OHM_M: f64 = 1e-6 / 58.0;
/// Its temperature coefficient at 20 degC, 1/K (IEC 60028, from memory).
pub const COPPER_PER_K: f64 = 0.00393;

/// Resistivity of copper at a temperature, ohm m: ρ₂₀ (1 + α (T − 20)).
pub fn copper_ohm_m(temp_c: f64) -> f64 {
    COPPER_OHM_M * (1.0 + COPPER_PER_K * (temp_c - 20.0))
}

/// Resistance between battery and load, there and back, ohm: 2 ρ L / (n A), and the joints.
///
/// ```
/// // 3 m one way of 16 mm2 at 20 degC: 2 × 3 m × 0.017241 ohm mm2/m / 16 mm2 = 6.466 mohm.
/// let cable = steadydraw::bench::Cable {
///     length_m: 3.0, area_m2: 16e-6, parallel: 1.0, conductor_c: 20.0, conductor_stated: true,
///     joints_ohm: 0.0, tolerance: 0.0, max_current_a: None,
/// };
/// assert!((steadydraw::supply::wire::loop_ohm(&cable) - 6.466e-3).abs() < 1e-6);
/// ```
pub fn loop_ohm(cable: &Cable) -> f64 {
    2.0 * copper_ohm_m(cable.conductor_c) * cable.length_m / (cable.area_m2 * cable.parallel)
        + cable.joints_ohm
}

/// No current carries the power.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "no current carries {power_w:.0} W through {:.1} mohm from {volts:.1} V: the most that arrives is V²/(4R) = {most_w:.0} W; shorten the cable, or take a thicker one",
    1000.0 * ohm
)]
pub struct TooMuch {
    /// Power wanted at the load, W.
    pub power_w: f64,
    /// Resistance, ohm.
    pub ohm: f64,
    /// Voltage at the battery, V.
    pub volts: f64,
    /// The most that can arrive, W.
    pub most_w: f64,
}

/// Current of a load of constant power behind a resistance, A: the smaller root of P = (V − I R) I.
///
/// The other root would drop more than half of the voltage in the cable, where no supply stays.
///
/// # Errors
/// [`TooMuch`] where P exceeds V²/(4R).
pub fn load_current(power_w: f64, volts: f64, ohm: f64) -> Result<f64, TooMuch> {
    let under = volts * volts - 4.0 * ohm * power_w;
    if under < 0.0 {
        return Err(TooMuch {
            power_w,
            ohm,
            volts,
            most_w: volts * volts / (4.0 * ohm),
        });
    }
    // The root in the form that does not cancel when R is small.
    Ok(2.0 * power_w / (volts + under.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::awg_area_m2;

    #[test]
    fn resistances_of_gauges() {
        // ASTM B258 diameters with IEC 60028 copper, computed apart from this program (mohm per metre of one conductor at 20 and 60 degC).
        for (gauge, at20, at60) in [
            ("4/0", 0.16080, 0.18608),
            ("1/0", 0.32242, 0.37310),
            ("6", 1.29617, 1.49993),
            ("10", 3.27711, 3.79227),
            ("24", 84.21508, 97.45369),
        ] {
            let area = awg_area_m2(gauge).unwrap();
            let per_m = |t| 1000.0 * copper_ohm_m(t) / area;
            assert!(
                (per_m(20.0) / at20 - 1.0).abs() < 5e-5,
                "{gauge} {}",
                per_m(20.0)
            );
            assert!(
                (per_m(60.0) / at60 - 1.0).abs() < 5e-5,
                "{gauge} {}",
                per_m(60.0)
            );
        }
        for bad in ["", "5/0", "0/0", "41", "-1", "2.5", "a/0"] {
            assert_eq!(awg_area_m2(bad), None, "{bad}");
        }
        assert_eq!(awg_area_m2("0"), awg_area_m2("1/0"));
    }

    #[test]
    fn constant_power_by_hand() {
        // 240 W behind 0.1 ohm from 25 V: 0.1 I² − 25 I + 240 = 0, I = (25 − √529)/0.2 = (25 − 23)/0.2 = 10 A.
        assert!((load_current(240.0, 25.0, 0.1).unwrap() - 10.0).abs() < 1e-12);
        assert!((load_current(240.0, 24.0, 0.0).unwrap() - 10.0).abs() < 1e-12);
        // 25²/(4 × 0.1) = 1562.5 W is the most; there half the voltage is lost.
        assert!((load_current(1562.5, 25.0, 0.1).unwrap() - 125.0).abs() < 1e-6);
        let none = load_current(1600.0, 25.0, 0.1).unwrap_err();
        assert!((none.most_w - 1562.5).abs() < 1e-9);
        assert!(none.to_string().contains("1562 W") || none.to_string().contains("1563 W"));
    }

    #[test]
    fn a_warm_pair_of_cables_with_joints_by_hand() {
        // 4 m one way, two conductors of 10 mm2 at 45 degC: ρ = (1/58) (1 + 0.00393 × 25) = 0.01893534 ohm mm2/m;
        // 2 × 4 × 0.01893534/20 = 7.574138 mohm, and 0.5 mohm of joints.
        let cable = Cable {
            length_m: 4.0,
            area_m2: 10e-6,
            parallel: 2.0,
            conductor_c: 45.0,
            conductor_stated: true,
            joints_ohm: 0.5e-3,
            tolerance: 0.0,
            max_current_a: None,
        };
        assert!((loop_ohm(&cable) - 8.074138e-3).abs() < 1e-9);
    }
}
