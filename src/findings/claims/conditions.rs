//! A claim's conditions against those of the runs.

use crate::air::MoistAir;
use crate::bench::{Bench, Channel, Claim};
use crate::fit::forms::DrawData;
use crate::quantity::Said;

use super::degrees;
use super::measured::Air;

/// Wet bulbs of claim and bench farther apart than this are other conditions, K. Common practice, no source.
const WET_BULB_SLACK_K: f64 = 1.0;
/// Runs within this of a claim's intake tell its usual humidity, K. Common practice, no source.
const NEAR_K: f64 = 2.0;

/// The conditions that a claim leaves to look at.
pub(super) struct Conditions {
    /// The claim's own, or the nearest tested.
    pub nearest: (f64, f64),
    /// Every tested corner of what the claim leaves open.
    pub corners: Vec<(f64, f64)>,
    /// How they stand to the claim's.
    pub air: Air,
}

impl Conditions {
    /// The claim's conditions, each open one at its tested ends, set points and middle.
    pub fn of(
        data: &DrawData,
        settings: &[(usize, usize)],
        claim: &Claim,
        (no_intake, no_ambient): (bool, bool),
    ) -> Conditions {
        let rows: Vec<_> = data
            .rows
            .iter()
            .filter(|r| settings.contains(&(r.mode, r.level)))
            .collect();
        let range = |of: &dyn Fn(&crate::fit::forms::DrawRow) -> f64| {
            rows.iter()
                .map(|r| of(r))
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                    (low.min(v), high.max(v))
                })
        };
        let intakes = range(&|r| r.intake);
        let ambients = range(&|r| r.ambient);
        let mut open = Vec::new();
        let mut elsewhere = Vec::new();
        let mut axis = |what: &str,
                        stated: Option<f64>,
                        (low, high): (f64, f64),
                        middle: f64,
                        unread: bool| {
            let Some(t) = stated else {
                open.push(what.to_owned());
                let mut list = vec![low, high, middle.clamp(low, high)];
                if what.starts_with("intake") {
                    list.extend(data.set_points.iter().filter(|p| (low..=high).contains(*p)));
                }
                return (middle.clamp(low, high), list);
            };
            if unread {
                elsewhere.push(Said::of(|units| {
                    format!(
                        "The claim is for {what} of {}, and not every cooling run came with one",
                        degrees(t, units)
                    )
                }));
            } else if t < low - SLACK_K || t > high + SLACK_K {
                elsewhere.push(Said::of(|units| {
                    format!(
                        "The claim is for {what} of {}; the runs had {} to {}",
                        degrees(t, units),
                        degrees(low, units),
                        degrees(high, units)
                    )
                }));
            } else {
                return (t, vec![t]);
            }
            let near = t.clamp(low, high);
            (near, vec![near])
        };
        let (intake, over_intake) = axis(
            "intake air",
            claim.at.intake_c,
            intakes,
            data.intake_ref,
            no_intake,
        );
        let (ambient, over_ambient) = axis(
            "ambient air",
            claim.at.ambient_c,
            ambients,
            data.ambient_ref,
            no_ambient,
        );
        Conditions {
            nearest: (intake, ambient),
            corners: over_intake
                .iter()
                .flat_map(|i| over_ambient.iter().map(move |a| (*i, *a)))
                .collect(),
            air: if !elsewhere.is_empty() {
                Air::Elsewhere(Said::of(|units| {
                    let parts: Vec<&str> = elsewhere.iter().map(|e| e.in_units(units)).collect();
                    parts.join("; ")
                }))
            } else if !open.is_empty() {
                Air::NotStated(format!("{} temperature", open.join(" or ")))
            } else {
                Air::AsStated
            },
        }
    }
}

/// As the slack of a prediction's support. Common practice, no source.
const SLACK_K: f64 = 0.5;

/// How the runs' humidity stands to the claim's.
pub(super) enum Humidity {
    Same,
    NotStated(Option<f64>),
    NotRead,
    Other(Said),
}

/// The claim's wet bulb against that of the runs near its intake.
pub(super) fn humidity(bench: &Bench, data: &DrawData, claim: &Claim) -> Humidity {
    let near: Vec<f64> = data
        .rows
        .iter()
        .filter(|r| {
            claim
                .at
                .intake_c
                .is_none_or(|t| (r.intake - t).abs() <= NEAR_K)
        })
        .filter_map(|r| {
            let p = bench.points.get(r.point)?;
            // A hygrometer may read a little over 100 %.
            let rh = p.get(Channel::IntakeRh)?.min(1.0);
            let pressure = p.get(Channel::Pressure).unwrap_or(bench.pressure_pa);
            let air = MoistAir::from_relative_humidity(r.intake, rh, pressure).ok()?;
            Some(air.wet_bulb_c())
        })
        .collect();
    let mean = (!near.is_empty()).then(|| near.iter().sum::<f64>() / near.len() as f64);
    match (claim.at.intake_wet_bulb_c, mean) {
        (None, mean) => Humidity::NotStated(mean),
        (Some(_), None) => Humidity::NotRead,
        (Some(wet), Some(mean)) if (wet - mean).abs() > WET_BULB_SLACK_K => {
            Humidity::Other(Said::of(|units| {
                format!(
                    "The claim is for a wet bulb of {} at the intake; the runs near it had about {}",
                    degrees(wet, units),
                    degrees(mean, units)
                )
            }))
        }
        _ => Humidity::Same,
    }
}
