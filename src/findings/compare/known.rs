//! A figure with its uncertainty in parts: what each shared instrument adds, with its sign, and the rest.

use crate::bench::{AccuracyAs, Bench, Instrument};
use crate::budget::{Cause, Scope, shared_capacity_parts};
use crate::findings::Measured;
use crate::fit::candidates::{CandidateDraw, DrawFit};
use crate::fit::forms::At;
use crate::predict::leans_on;
use crate::quantity::Dimension;
use crate::stats::student_t;

/// What tells one meter from another: its name and accuracy, and the kind of reading.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Meter {
    pub name: String,
    relative: f64,
    absolute: f64,
    standard: bool,
    pub dimension: Dimension,
}

impl Meter {
    pub fn of(i: &Instrument, dimension: Dimension) -> Meter {
        Meter {
            name: i.name.trim().to_owned(),
            relative: i.accuracy.relative,
            absolute: i.accuracy.absolute,
            standard: i.read_as == AccuracyAs::Standard,
            dimension,
        }
    }
}

/// A figure known to so much.
#[derive(Clone, Debug)]
pub(super) struct Known {
    pub value: f64,
    /// Relative standard uncertainty beside the shared instruments'.
    pub own: f64,
    /// Degrees of freedom of `own`.
    pub dof: f64,
    /// Each shared instrument's relative part, signed.
    pub shared: Vec<(Meter, f64)>,
}

impl Known {
    /// Splits an interval into instruments' parts and the rest.
    fn of(m: Measured, d: &CandidateDraw, shared: Vec<(Meter, f64)>, level: f64) -> Option<Known> {
        let dof = d.dof;
        let whole = 0.5 * (m.high - m.low) / m.value / student_t::two_sided(level, dof);
        let squares: f64 = shared.iter().map(|s| s.1 * s.1).sum();
        // Where candidates differ, the interval may hold a little less than the parts; the curve's own doubt is always a unit's own.
        let own = (whole * whole - squares)
            .max(0.0)
            .sqrt()
            .max(d.mean_sd_w / d.draw_w);
        (m.value > 0.0 && own.is_finite() && own > 0.0).then_some(Known {
            value: m.value,
            own,
            dof,
            shared,
        })
    }

    pub fn draw(bench: &Bench, fit: &DrawFit, at: At, m: Measured, level: f64) -> Option<Known> {
        let d = fit.draw_of(fit.best(), &at)?;
        let leans = leans_on(bench, &at, &d);
        let shared = bench
            .instruments
            .iter()
            .filter(|i| i.shared)
            .flat_map(|i| {
                let parts = i.parts_of(&leans).into_iter();
                parts.map(move |(kind, u)| (Meter::of(i, kind), u / d.draw_w))
            })
            .collect();
        Known::of(m, &d, shared, level)
    }

    pub fn capacity(
        bench: &Bench,
        fit: &DrawFit,
        at: At,
        m: Measured,
        level: f64,
    ) -> Option<Known> {
        let d = fit.draw_of(fit.best(), &at)?;
        let parts = shared_capacity_parts(bench, &fit.data, (at.mode, at.level))?;
        let shared = parts
            .into_iter()
            .filter(|(s, _)| s.scope == Scope::Shared)
            .filter_map(|(s, u)| match s.cause {
                Cause::Instrument { index, dimension } => {
                    Some((Meter::of(bench.instruments.get(index)?, dimension), u))
                }
                _ => None,
            })
            .collect();
        Known::of(m, &d, shared, level)
    }

    /// Capacity over draw.
    pub fn over(&self, draw: &Known) -> Known {
        let mut shared = self.shared.clone();
        for (meter, u) in &draw.shared {
            match shared.iter_mut().find(|s| s.0 == *meter) {
                Some(s) => s.1 -= u,
                None => shared.push((meter.clone(), -u)),
            }
        }
        let (a, b) = (self.own.powi(2), draw.own.powi(2));
        Known {
            value: self.value / draw.value,
            own: (a + b).sqrt(),
            dof: satterthwaite(&[(a, self.dof), (b, draw.dof)], a + b),
            shared,
        }
    }

    /// The meters that two figures share: of one name, accuracy and kind, and only one such on either side.
    fn common<'a>(&'a self, other: &'a Known) -> impl Iterator<Item = (&'a Meter, f64, f64)> {
        let once =
            |list: &[(Meter, f64)], m: &Meter| list.iter().filter(|s| s.0 == *m).count() == 1;
        self.shared.iter().filter_map(move |(meter, u)| {
            let there = other.shared.iter().find(|s| s.0 == *meter)?;
            (once(&self.shared, meter) && once(&other.shared, meter))
                .then_some((meter, *u, there.1))
        })
    }

    /// Names of the meters that two figures share.
    pub fn common_names<'a>(&'a self, other: &'a Known) -> impl Iterator<Item = &'a str> {
        self.common(other)
            .filter(|(_, a, b)| a * b != 0.0)
            .map(|(m, _, _)| m.name.as_str())
    }

    /// Standard uncertainty of `at · other − by · self`, relative errors weighted, and its degrees of freedom. What a meter adds to both is
    /// subtracted with its sign before squaring (JCGM 100:2008, 5.2.2, correlation 1) where `meters_shared`.
    pub fn apart(&self, by: f64, other: &Known, at: f64, meters_shared: bool) -> (f64, f64) {
        let (a, b) = ((by * self.own).powi(2), (at * other.own).powi(2));
        let square =
            |list: &[(Meter, f64)], w: f64| list.iter().map(|s| (w * s.1).powi(2)).sum::<f64>();
        let mut variance = a + b + square(&self.shared, by) + square(&other.shared, at);
        if meters_shared {
            variance -= self
                .common(other)
                .map(|(_, u, v)| 2.0 * by * u * at * v)
                .sum::<f64>();
        }
        // Never less than the parts of their own.
        let variance = variance.max(a + b);
        (
            variance.sqrt(),
            satterthwaite(&[(a, self.dof), (b, other.dof)], variance),
        )
    }
}

/// Effective degrees of freedom (JCGM 100:2008, G.4.1); the rest of the variance counts as known.
fn satterthwaite(parts: &[(f64, f64)], variance: f64) -> f64 {
    let sum: f64 = parts.iter().map(|(v, dof)| v * v / dof).sum();
    if sum > 0.0 {
        variance * variance / sum
    } else {
        f64::INFINITY
    }
}
