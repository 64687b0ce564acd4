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
