//! Units two by two.

use crate::stats::multiple::holm;
use crate::stats::tests::Estimate;

use super::known::Known;
use super::{CompareOptions, ComparedSetting, ComparedUnit};

/// What two figures are to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Same {
    /// Within the margin: shown by two one-sided tests, Holm over all pairs.
    Same,
    /// Farther apart than the margin: the interval, widened for the number of pairs, lies beyond it.
    Differ,
    /// Neither is shown.
    Open,
}

/// One figure of two units' settings.
#[derive(Clone, Debug)]
pub struct Pair {
    /// Index of the first unit, and of its setting.
    pub a: (usize, usize),
    /// Of the second.
    pub b: (usize, usize),
    /// What the two settings stand for in their units.
    pub roles: Vec<&'static str>,
    /// `draw_w`, `capacity_w` or `eer_w_per_w`.
    pub figure: &'static str,
    /// The second over the first.
    pub ratio: f64,
    /// Its interval.
    pub ratio_interval: (f64, f64),
    /// The interval if no meter were shared.
    pub ratio_interval_apart: (f64, f64),
    /// The second less the first, in the figure's unit.
    pub difference: f64,
    /// Its interval.
    pub difference_interval: (f64, f64),
    /// Holm-adjusted p value of the tests that the ratio lies within the margin.
    pub p_same: f64,
    /// What they are to each other.
    pub finding: Same,
    /// Meters whose error cancels, as far as it moves both alike.
    pub shared: Vec<String>,
}

const FIGURES: [&str; 3] = ["draw_w", "capacity_w", "eer_w_per_w"];

/// Up to this many units are compared each with each. Of more, whose pairs would grow with the square of their number and drown the
/// reader, each is compared with the first.
pub const MOST_EACH_WITH_EACH: usize = 16;

/// All pairs, or those with the first of many units, and the meters that any of them share.
pub(super) fn pairs(units: &[ComparedUnit], options: &CompareOptions) -> (Vec<Pair>, Vec<String>) {
    let mut found: Vec<(Pair, Estimate)> = Vec::new();
    let firsts = if units.len() > MOST_EACH_WITH_EACH {
        1
    } else {
        units.len()
    };
    for (a, first) in units.iter().enumerate().take(firsts) {
        for (b, second) in units.iter().enumerate().skip(a + 1) {
            let alike = first.capacity_kind == second.capacity_kind;
            for (s, t, roles) in same_roles(first, second) {
                let sides = first.settings.get(s).zip(second.settings.get(t));
                let Some((x, y)) = sides else { continue };
                for (k, figure) in FIGURES.into_iter().enumerate() {
                    // A sensible capacity and a total one are not to be compared.
                    if k > 0 && !alike {
                        continue;
                    }
                    if let Some((pair, log)) = one(x, y, k, options) {
                        let pair = Pair {
                            a: (a, s),
                            b: (b, t),
                            roles: roles.clone(),
                            figure,
                            ..pair
                        };
                        found.push((pair, log));
                    }
                }
            }
        }
    }
    let limit = options.margin.ln_1p();
    let raw: Vec<f64> = found
        .iter()
        .map(|(_, e)| e.equivalence(-limit, limit).p)
        .collect();
    let adjusted = holm(&raw).unwrap_or(raw);
    let widened = 1.0 - (1.0 - options.level) / found.len().max(1) as f64;
    let mut shared: Vec<String> = Vec::new();
    let pairs = found
        .into_iter()
        .zip(adjusted)
        .map(|((pair, log), p_same)| {
            let (low, high) = log.interval(widened);
            for name in &pair.shared {
                if !shared.contains(name) {
                    shared.push(name.clone());
                }
            }
            Pair {
                p_same,
                finding: if p_same < 1.0 - options.level {
                    Same::Same
                } else if low > limit || high < -limit {
                    Same::Differ
                } else {
                    Same::Open
                },
                ..pair
            }
        })
        .collect();
    (pairs, shared)
}

/// Settings of two units that stand for the same, each couple once.
fn same_roles(a: &ComparedUnit, b: &ComparedUnit) -> Vec<(usize, usize, Vec<&'static str>)> {
    let mut list: Vec<(usize, usize, Vec<&'static str>)> = Vec::new();
    for (s, x) in a.settings.iter().enumerate() {
        for (t, y) in b.settings.iter().enumerate() {
            let roles: Vec<_> = x
                .roles
                .iter()
                .copied()
                .filter(|r| y.roles.contains(r))
                .collect();
            if !roles.is_empty() {
                list.push((s, t, roles));
            }
        }
    }
    list
}

fn one(
    x: &ComparedSetting,
    y: &ComparedSetting,
    figure: usize,
    options: &CompareOptions,
) -> Option<(Pair, Estimate)> {
    let known = |s: &ComparedSetting| s.known.get(figure).and_then(Clone::clone);
    let (x, y): (Known, Known) = (known(x)?, known(y)?);
    let log = |meters_shared: bool| {
        let (standard_error, dof) = x.apart(1.0, &y, 1.0, meters_shared);
        Estimate {
            value: (y.value / x.value).ln(),
            standard_error,
            dof,
        }
    };
    let as_ratio = |e: &Estimate| {
        let (low, high) = e.interval(options.level);
        (low.exp(), high.exp())
    };
    let together = log(options.shared);
    let (u, dof) = x.apart(x.value, &y, y.value, options.shared);
    let difference = Estimate {
        value: y.value - x.value,
        standard_error: u,
        dof,
    };
    let mut shared: Vec<String> = Vec::new();
    if options.shared {
        for name in x.common_names(&y) {
            if !shared.iter().any(|s| s == name) {
                shared.push(name.to_owned());
            }
        }
    }
    let pair = Pair {
        a: (0, 0),
        b: (0, 0),
        roles: Vec::new(),
        figure: "",
        ratio: y.value / x.value,
        ratio_interval: as_ratio(&together),
        ratio_interval_apart: as_ratio(&log(false)),
        difference: difference.value,
        difference_interval: difference.interval(options.level),
        p_same: 1.0,
        finding: Same::Open,
        shared,
    };
    let whole = [
        pair.ratio_interval.0,
        pair.ratio_interval.1,
        pair.difference_interval.0,
    ];
    whole
        .iter()
        .all(|v| v.is_finite())
        .then_some((pair, together))
}
