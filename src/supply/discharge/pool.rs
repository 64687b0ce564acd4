//! What tests are worth, alone and pooled.

use super::{DischargeOptions, MeterU, Test};
use crate::stats::student_t;

/// A figure and what it is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// The value.
    pub value: f64,
    /// Standard uncertainty, where anything is known about it.
    pub u: Option<f64>,
    /// Degrees of freedom of it.
    pub dof: f64,
}

impl Worth {
    /// Interval at a confidence level.
    pub fn interval(&self, level: f64) -> Option<(f64, f64)> {
        let half = student_t::two_sided(level, self.dof) * self.u?;
        Some((self.value - half, self.value + half))
    }

    /// The figure times a constant known for certain.
    pub fn times(&self, factor: f64) -> Worth {
        Worth {
            value: self.value * factor,
            u: self.u.map(|u| u * factor.abs()),
            dof: self.dof,
        }
    }

    /// A constant known for certain over the figure: the relative uncertainty stays.
    pub fn under(&self, constant: f64) -> Worth {
        Worth {
            value: constant / self.value,
            u: self
                .u
                .map(|u| u / self.value.abs() * (constant / self.value).abs()),
            dof: self.dof,
        }
    }
}

/// Repeats joined.
#[derive(Clone, Debug, PartialEq)]
pub struct Pooled {
    /// Indices of the tests.
    pub tests: Vec<usize>,
    /// Charge, Ah.
    pub charge_ah: Worth,
    /// Energy, Wh.
    pub energy_wh: Worth,
    /// Mean current, A.
    pub mean_a: f64,
    /// Mean voltage, V.
    pub mean_v: f64,
    /// Between-test standard deviation of charge and energy, where there are repeats.
    pub scatter: Option<(f64, f64)>,
    /// The instruments' part that all tests share: Ah, Wh.
    pub shared_u: (f64, f64),
}

/// Tests whose mean currents lie within this factor are repeats of one another. Common practice, no source.
pub const SAME_CURRENT: f64 = 1.1;

/// Joins tests of like current, slowest first.
///
/// Of repeats, the mean; its uncertainty holds their scatter over √n (t, n − 1 degrees of freedom), what lies between readings, and the
/// instruments' shared part, which repeating does not lessen. Effective degrees of freedom by Welch–Satterthwaite (JCGM 100, G.4.1).
pub fn pool(tests: &[&Test], options: &DischargeOptions) -> Vec<Pooled> {
    let mut order: Vec<usize> = (0..tests.len()).collect();
    let current = |k: &usize| tests.get(*k).map_or(0.0, |t| t.mean_a());
    order.sort_by(|a, b| current(a).total_cmp(&current(b)));
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for k in order {
        match groups.last_mut() {
            Some(group)
                if group
                    .first()
                    .is_some_and(|f| current(&k) <= SAME_CURRENT * current(f)) =>
            {
                group.push(k);
            }
            _ => groups.push(vec![k]),
        }
    }
    groups
        .into_iter()
        .map(|mut group| {
            group.sort_unstable();
            join(group, tests, options)
        })
        .collect()
}

fn join(group: Vec<usize>, all: &[&Test], options: &DischargeOptions) -> Pooled {
    let tests: Vec<&Test> = group.iter().filter_map(|k| all.get(*k).copied()).collect();
    let n = tests.len() as f64;
    let mean = |f: &dyn Fn(&Test) -> f64| tests.iter().map(|t| f(t)).sum::<f64>() / n;
    let instruments = |shared: bool| {
        let current: Vec<MeterU> = pick(&options.current_meters, shared);
        let voltage: Vec<MeterU> = pick(&options.voltmeters, shared);
        (
            mean(&|t| charge_u(t, &current)),
            mean(&|t| energy_u(t, &current, &voltage)),
        )
    };
    let shared_u = instruments(true);
    let fresh_u = instruments(false);
    let stated = !options.current_meters.is_empty();
    let worth =
        |f: &dyn Fn(&Test) -> f64, shared: f64, fresh: f64, between: &dyn Fn(&Test) -> f64| {
            let value = mean(f);
            let between_u = (tests.iter().map(|t| between(t).powi(2)).sum::<f64>()).sqrt() / n;
            let scatter = (tests.len() > 1).then(|| {
                let ss: f64 = tests.iter().map(|t| (f(t) - value).powi(2)).sum();
                (ss / (n - 1.0)).sqrt()
            });
            let (fixed, random) = match scatter {
                // The scatter of repeats already holds what is fresh in each.
                Some(s) => (shared.hypot(between_u), s / n.sqrt()),
                None => (shared.hypot(fresh).hypot(between_u), 0.0),
            };
            let u = fixed.hypot(random);
            let known = scatter.is_some() || stated;
            let dof = if random > 0.0 {
                (n - 1.0) * (u / random).powi(4)
            } else {
                f64::INFINITY
            };
            (
                Worth {
                    value,
                    u: known.then_some(u),
                    dof,
                },
                scatter,
            )
        };
    let (charge_ah, s_ah) = worth(&|t| t.charge_ah, shared_u.0, fresh_u.0, &|t| {
        t.between_readings_u().0
    });
    let (energy_wh, s_wh) = worth(&|t| t.energy_wh, shared_u.1, fresh_u.1, &|t| {
        t.between_readings_u().1
    });
    Pooled {
        mean_a: mean(&|t| t.mean_a()),
        mean_v: energy_wh.value / charge_ah.value,
        tests: group,
        charge_ah,
        energy_wh,
        scatter: s_ah.zip(s_wh),
        shared_u,
    }
}

fn pick(meters: &[MeterU], shared: bool) -> Vec<MeterU> {
    meters
        .iter()
        .filter(|m| m.shared == shared)
        .copied()
        .collect()
}

/// The current meter's error is one and the same throughout a log, so its parts add over time, not in quadrature.
fn charge_u(t: &Test, current: &[MeterU]) -> f64 {
    root(
        current
            .iter()
            .map(|m| m.relative * t.charge_ah + m.absolute * t.load_h),
    )
}

fn energy_u(t: &Test, current: &[MeterU], voltage: &[MeterU]) -> f64 {
    let by_current = current
        .iter()
        .map(|m| m.relative * t.energy_wh + m.absolute * t.volt_hours);
    let by_voltage = voltage
        .iter()
        .map(|m| m.relative * t.energy_wh + m.absolute * t.charge_ah);
    root(by_current.chain(by_voltage))
}

fn root(parts: impl Iterator<Item = f64>) -> f64 {
    parts.map(|p| p * p).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::Gaps;
    use super::*;

    fn near(ours: f64, by_hand: f64) {
        assert!((ours / by_hand - 1.0).abs() < 2e-5, "{ours} {by_hand}");
    }

    fn tests() -> [Test; 3] {
        let fast = Test {
            charge_ah: 18.0,
            energy_wh: 440.0,
            load_h: 2.0,
            volt_hours: 49.0,
            edges_ah2: 0.12,
            edges_wh2: 8.0,
            gaps: Gaps {
                less_ah: 0.3,
                more_ah: 0.6,
                less_wh: 10.0,
                more_wh: 7.0,
                ..Gaps::default()
            },
            ..Test::default()
        };
        let slow = Test {
            charge_ah: 20.0,
            energy_wh: 500.0,
            load_h: 4.0,
            volt_hours: 101.0,
            edges_ah2: 0.03,
            edges_wh2: 12.0,
            ..Test::default()
        };
        let again = Test {
            charge_ah: 21.2,
            energy_wh: 522.0,
            load_h: 4.0,
            volt_hours: 97.0,
            edges_ah2: 0.12,
            edges_wh2: 27.0,
            ..Test::default()
        };
        [fast, slow, again]
    }

    fn meters() -> DischargeOptions {
        let meter = |relative, absolute, shared| MeterU {
            relative,
            absolute,
            shared,
        };
        DischargeOptions {
            current_meters: vec![meter(0.01, 0.05, true), meter(0.0, 0.01, false)],
            voltmeters: vec![meter(0.002, 0.03, false)],
            ..DischargeOptions::default()
        }
    }

    #[test]
    fn a_test_and_a_pair_of_repeats_by_hand() {
        let [fast, slow, again] = tests();
        let groups = pool(&[&fast, &slow, &again], &meters());
        // 18 Ah in 2 h are 9 A; 20 and 21.2 Ah in 4 h are 5 and 5.3 A, within a tenth of one another. Slowest first.
        let named: Vec<_> = groups.iter().map(|g| g.tests.clone()).collect();
        assert_eq!(named, [vec![1, 2], vec![0]]);

        let g = &groups[1];
        // Charge: shared meter 0.01 × 18 + 0.05 × 2 = 0.28 Ah, fresh 0.01 × 2 = 0.02 Ah, between readings √((0.6² + 0.12)/3) = 0.4 Ah:
        // √(0.0784 + 0.0004 + 0.16) = 0.48867 Ah.
        near(g.charge_ah.u.unwrap(), 0.48867);
        // Energy: shared 0.01 × 440 + 0.05 × 49 = 6.85 Wh; fresh 0.01 × 49 = 0.49 and 0.002 × 440 + 0.03 × 18 = 1.42 Wh;
        // between √((10² + 8)/3) = 6 Wh: √(46.9225 + 0.2401 + 2.0164 + 36) = 9.22925 Wh.
        near(g.energy_wh.u.unwrap(), 9.22925);
        near(g.shared_u.0, 0.28);
        near(g.shared_u.1, 6.85);
        assert_eq!((g.charge_ah.dof, g.scatter), (f64::INFINITY, None));
        near(g.mean_a, 9.0);
        near(g.mean_v, 440.0 / 18.0);
        // 1.959964 × 0.488672 = 0.957780.
        let (low, high) = g.charge_ah.interval(0.95).unwrap();
        near(low, 17.04222);
        near(high, 18.95778);

        let g = &groups[0];
        // Means 20.6 Ah and 511 Wh; scatter 1.2/√2 = 0.848528 Ah and 22/√2 = 15.5563 Wh; of their means 0.6 Ah and 11 Wh.
        near(g.charge_ah.value, 20.6);
        near(g.energy_wh.value, 511.0);
        near(g.scatter.unwrap().0, 0.848528);
        near(g.scatter.unwrap().1, 15.5563);
        // Shared: ½ (0.2 + 0.2 + 0.212 + 0.2) = 0.406 Ah; between: √(0.1² + 0.2²)/2, 0.0125 Ah². u² = 0.164836 + 0.0125 + 0.36 = 0.537336;
        // Welch–Satterthwaite: 1 × (0.537336/0.36)² = 2.22785.
        near(g.shared_u.0, 0.406);
        near(g.charge_ah.u.unwrap(), 0.733032);
        near(g.charge_ah.dof, 2.22785);
        // Shared: ½ (5 + 5.05 + 5.22 + 4.85) = 10.06 Wh; between: √(2² + 3²)/2, 3.25 Wh². u² = 101.2036 + 3.25 + 121 = 225.4536;
        // (225.4536/121)² = 3.47166.
        near(g.energy_wh.u.unwrap(), 15.01511);
        near(g.energy_wh.dof, 3.47166);
        near(g.mean_a, 5.15);
        near(g.mean_v, 511.0 / 20.6);
    }

    #[test]
    fn without_meters_only_repeats_tell_an_uncertainty() {
        let [fast, slow, again] = tests();
        let none = DischargeOptions::default();
        let groups = pool(&[&fast, &slow, &again], &none);
        assert!(groups[0].charge_ah.u.is_some() && groups[1].charge_ah.u.is_none());
        assert_eq!(groups[1].energy_wh.interval(0.95), None);
    }

    #[test]
    fn currents_are_alike_within_a_tenth_of_the_slowest() {
        let at = |charge_ah| Test {
            charge_ah,
            load_h: 2.0,
            ..Test::default()
        };
        // 5.4 A is within a tenth of 5 A; 5.8 A is not, though it is of 5.4 A; 6.3 A is within a tenth of 5.8 A.
        let tests = [at(11.6), at(10.0), at(12.6), at(10.8)];
        let all: Vec<&Test> = tests.iter().collect();
        let groups = pool(&all, &DischargeOptions::default());
        let named: Vec<_> = groups.iter().map(|g| g.tests.clone()).collect();
        assert_eq!(named, [vec![1, 3], vec![0, 2]]);
    }

    #[test]
    fn a_worth_scaled_and_divided_into_a_constant() {
        let w = Worth {
            value: 20.0,
            u: Some(0.5),
            dof: 4.0,
        };
        let turned = w.times(-2.0);
        assert_eq!(
            (turned.value, turned.u, turned.dof),
            (-40.0, Some(1.0), 4.0)
        );
        // 50/20 = 2.5; 0.5 of 20 is 2.5 %: 0.0625.
        let under = w.under(50.0);
        near(under.value, 2.5);
        near(under.u.unwrap(), 0.0625);
        // t at 97.5 % with four degrees of freedom is 2.776445: 20 ± 1.388223.
        let (low, high) = w.interval(0.95).unwrap();
        near(low, 18.611777);
        near(high, 21.388223);
    }
}
