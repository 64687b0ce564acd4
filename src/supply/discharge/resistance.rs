//! Internal resistance from load steps.

use super::MeterU;
use crate::stats::student_t;

/// A change of current between two readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Change of the current out of the battery, A.
    pub current_a: f64,
    /// Change of the voltage, V.
    pub voltage_v: f64,
    /// Time between the two readings, s.
    pub within_s: f64,
}

/// Internal resistance: −ΔV/ΔI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resistance {
    /// Its value, ohm.
    pub ohm: f64,
    /// Standard uncertainty, ohm; none with a single step and no instruments stated.
    pub u_ohm: Option<f64>,
    /// Degrees of freedom of it.
    pub dof: f64,
    /// How many steps.
    pub steps: usize,
    /// The longest time between the two readings of a step, s: slower falls of the voltage count up to this long.
    pub within_s: f64,
}

impl Resistance {
    /// Least squares of −ΔV on ΔI through the origin, so that large steps weigh most. The scatter about that line gives the uncertainty
    /// (n − 1 degrees of freedom), or where that is more the resolution `step_v` of the voltage, rectangular in both readings of every step
    /// (JCGM 100, F.2.2.1); the meters' shares of the reading are added, their constants cancel in differences.
    pub fn from_steps(
        steps: &[Step],
        step_v: f64,
        current_meters: &[MeterU],
        voltmeters: &[MeterU],
    ) -> Option<Resistance> {
        let squares: f64 = steps.iter().map(|s| s.current_a * s.current_a).sum();
        if squares.is_nan() || squares <= 0.0 {
            return None;
        }
        let ohm = -steps.iter().map(|s| s.current_a * s.voltage_v).sum::<f64>() / squares;
        if !(ohm.is_finite() && ohm > 0.0) {
            return None;
        }
        let n = steps.len();
        let scatter = (n > 1).then(|| {
            let residual: f64 = steps
                .iter()
                .map(|s| (s.voltage_v + ohm * s.current_a).powi(2))
                .sum();
            (residual / (n - 1) as f64 / squares).sqrt()
        });
        let resolution = step_v / 6f64.sqrt() / squares.sqrt();
        let gain = |meters: &[MeterU]| meters.iter().map(|m| m.relative.powi(2)).sum::<f64>();
        let instruments = ohm * (gain(current_meters) + gain(voltmeters)).sqrt();
        let stated = !current_meters.is_empty() || !voltmeters.is_empty();
        let (u_ohm, dof) = match scatter {
            // Welch–Satterthwaite with instruments known for certain (JCGM 100, G.4.1).
            Some(s) if s > resolution => {
                let u = s.hypot(instruments);
                (Some(u), (n - 1) as f64 * (u / s).powi(4))
            }
            _ => {
                let known = stated || scatter.is_some();
                (
                    known.then_some(resolution.hypot(instruments)),
                    f64::INFINITY,
                )
            }
        };
        Some(Resistance {
            ohm,
            u_ohm,
            dof,
            steps: n,
            within_s: steps.iter().map(|s| s.within_s).fold(0.0, f64::max),
        })
    }

    /// Interval at a confidence level, ohm.
    pub fn interval(&self, level: f64) -> Option<(f64, f64)> {
        let half = student_t::two_sided(level, self.dof) * self.u_ohm?;
        Some(((self.ohm - half).max(0.0), self.ohm + half))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_twenty_amperes_and_a_tenth_of_a_volt_are_five_milliohms() {
        // By hand: −(−0.10 V)/(20 A) = 5.0 mΩ; −(−0.11)/(20) = 5.5; pooled with equal steps their mean, 5.25 mΩ;
        // scatter: residuals ±0.005 V, s = √(2 × 0.005²/1) = 7.071 mV, u = s/√(2 × 20²) = 0.25 mΩ, 1 degree of freedom.
        let step = |voltage_v| Step {
            current_a: 20.0,
            voltage_v,
            within_s: 1.0,
        };
        let r = Resistance::from_steps(&[step(-0.10), step(-0.11)], 0.01, &[], &[]).unwrap();
        assert!((r.ohm - 5.25e-3).abs() < 1e-12);
        assert!((r.u_ohm.unwrap() - 0.25e-3).abs() < 1e-9);
        assert_eq!(r.dof, 1.0);
        // t at 97.5 % with one degree of freedom is 12.706: ±3.18 mΩ.
        let (low, high) = r.interval(0.95).unwrap();
        assert!((low - 2.0735e-3).abs() < 1e-6 && (high - 8.4265e-3).abs() < 1e-6);
        let one = Resistance::from_steps(&[step(-0.10)], 0.01, &[], &[]).unwrap();
        assert_eq!((one.ohm, one.u_ohm, one.interval(0.95)), (5e-3, None, None));
        // Two steps that happen to agree are no better than the last digit: 10 mV/√6/√(2 × 20²) A = 0.144 mΩ.
        let alike = Resistance::from_steps(&[step(-0.1), step(-0.1)], 0.01, &[], &[]).unwrap();
        assert!((alike.u_ohm.unwrap() - 0.1443e-3).abs() < 1e-7);
        // A voltage that rises with the load is no resistance.
        assert_eq!(Resistance::from_steps(&[step(0.1)], 0.01, &[], &[]), None);
    }

    #[test]
    fn unequal_steps_with_meters_by_hand() {
        let step = |current_a, voltage_v, within_s| Step {
            current_a,
            voltage_v,
            within_s,
        };
        let meter = |relative| MeterU {
            relative,
            absolute: 0.7,
            shared: true,
        };
        let steps = [
            step(20.0, -0.10, 1.0),
            step(-10.0, 0.08, 4.0),
            step(30.0, -0.13, 2.0),
        ];
        // Squares 400 + 100 + 900 = 1400 A²; (2 + 0.8 + 3.9)/1400 = 4.785714 mΩ. Residuals −4.285714, 32.142857 and 13.571429 mV, their squares
        // 1.235714e-3 V²: s² = 1.235714e-3/2/1400 = 4.413265e-7. Meters 3 and 4 % of the reading: 5 % of R, 0.239286 mΩ, squared 5.725765e-8.
        // u² = 4.985842e-7; 2 × (4.985842/4.413265)² = 2.552625 degrees of freedom.
        let r = Resistance::from_steps(&steps, 0.01, &[meter(0.03)], &[meter(0.04)]).unwrap();
        assert!((r.ohm - 4.785714e-3).abs() < 1e-9);
        assert!((r.u_ohm.unwrap() - 0.706105e-3).abs() < 1e-8);
        assert!((r.dof - 2.552625).abs() < 1e-4, "{}", r.dof);
        assert_eq!((r.steps, r.within_s), (3, 4.0));
        // One step of 20 A: 12 mV/√6/20 A = 0.244949 mΩ of resolution, 5 % of 5 mΩ: √(6.00e-8 + 6.25e-8) = 0.35 mΩ, and nothing random.
        let one = &steps[..1];
        let r = Resistance::from_steps(one, 0.012, &[meter(0.03)], &[meter(0.04)]).unwrap();
        assert!((r.u_ohm.unwrap() - 0.35e-3).abs() < 1e-10 && r.dof.is_infinite());
        // 1.959964 × 0.35 mΩ = 0.685987 mΩ.
        let (low, high) = r.interval(0.95).unwrap();
        assert!((low - 4.314013e-3).abs() < 1e-8 && (high - 5.685987e-3).abs() < 1e-8);
        // Either meter alone is something known; an interval never goes below zero.
        for (a, v) in [(vec![meter(0.03)], vec![]), (vec![], vec![meter(0.6)])] {
            let r = Resistance::from_steps(one, 0.012, &a, &v).unwrap();
            assert!(r.interval(0.95).is_some_and(|(low, _)| low >= 0.0));
        }
    }
}
