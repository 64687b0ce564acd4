//! The measured figure that a claim is held against.

use crate::bench::{Bench, Channel, Claim, Kind};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, CapacityKind, DrawData};
use crate::predict::{Support, predict, predict_capacity};
use crate::quantity::{Said, significant};

use super::airflow::airflow;
use super::conditions::{Conditions, Humidity, humidity};
use super::{ClaimAir, Fits, Measured, Sense, TakenFrom, degrees};

/// A measured figure and where it holds.
#[derive(Clone, Debug)]
pub(super) struct Figure {
    pub measured: Measured,
    pub conditions: ClaimAir,
}

/// How the bench's conditions stand to the claim's.
#[derive(Clone, Debug)]
pub(super) enum Air {
    /// The claim states them, and the bench covers them.
    AsStated,
    /// The claim leaves this open.
    NotStated(String),
    /// The claim states others than the bench covers.
    Elsewhere(Said),
}

/// All that the bench has on a claim.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    /// The figure to show.
    pub shown: Figure,
    /// The figure at every tested corner of what the claim leaves open.
    pub all: Vec<Figure>,
    pub air: Air,
    /// Why a figure on the wrong side would not be a failure.
    pub no_failure: Option<String>,
    pub notes: Vec<Said>,
}

/// Which side of a claim keeps it.
pub(super) fn sense(name: &str) -> Sense {
    match name {
        "cooling" | "airflow" => Sense::AtLeast,
        _ => Sense::AtMost,
    }
}

/// Whether the claim is about the setting that gives the least.
fn about_least(name: &str) -> bool {
    matches!(name, "draw_low" | "current_low")
}

/// Looks for the claim's figure; the reason where there is none.
pub(super) fn look(
    bench: &Bench,
    fits: &Fits<'_>,
    claim: &Claim,
    level: f64,
) -> Result<Seen, String> {
    match claim.name {
        "mass" => Err("The bench does not weigh the unit; a scale tells.".to_owned()),
        "airflow" => airflow(bench, fits, claim, level),
        _ => at_conditions(bench, fits, claim, level),
    }
}

/// The tested settings that a claim speaks of.
pub(super) fn settings(data: &DrawData, claim: &Claim) -> Result<Vec<(usize, usize)>, String> {
    let find = |what: &str, asked: Option<&str>, have: &[&str]| match asked {
        None => Ok(None),
        Some(a) => match have.iter().position(|h| *h == a) {
            Some(i) => Ok(Some(i)),
            None => Err(format!(
                "The claim is for {what} `{a}`, which no cooling run was made at."
            )),
        },
    };
    let modes: Vec<&str> = data.modes.iter().map(String::as_str).collect();
    let fans: Vec<&str> = data.levels.iter().map(|l| l.label.as_str()).collect();
    let mode = find("mode", claim.at.mode.as_deref(), &modes)?;
    let fan = find("fan level", claim.at.fan.as_deref(), &fans)?;
    let tested: Vec<(usize, usize)> = data
        .tested
        .iter()
        .enumerate()
        .flat_map(|(m, levels)| {
            let run = levels.iter().enumerate().filter(|(_, n)| **n > 0);
            run.map(move |(l, _)| (m, l))
        })
        .filter(|(m, l)| mode.is_none_or(|x| x == *m) && fan.is_none_or(|x| x == *l))
        .collect();
    if tested.is_empty() {
        return Err("No cooling run was made at the claim's setting.".to_owned());
    }
    Ok(tested)
}

/// Fan levels that the bench knows of and no cooling run was made at, where the claim names no level: one of them may be the one meant.
fn not_run(bench: &Bench, data: &DrawData, claim: &Claim) -> Option<String> {
    if claim.at.fan.is_some() {
        return None;
    }
    let run = |label: &str| {
        data.levels
            .iter()
            .any(|l| l.label == label && tested(data, l))
    };
    let known = bench.fan.levels.iter().map(|l| l.level.as_str());
    let blown = bench.of_kind(Kind::FanOnly).map(|p| p.fan.as_str());
    let mut missing: Vec<&str> = known.chain(blown).filter(|l| !run(l)).collect();
    missing.sort_unstable();
    missing.dedup();
    (!missing.is_empty()).then(|| {
        format!(
            "No tested setting keeps it, but no cooling run was made at fan {}, and the claim names no fan level.",
            missing.join(", ")
        )
    })
}

fn tested(data: &DrawData, level: &crate::fit::forms::Level) -> bool {
    let index = data.levels.iter().position(|l| l.label == level.label);
    index.is_some_and(|i| data.tested.iter().any(|m| m.get(i).is_some_and(|n| *n > 0)))
}

/// The most or least of several settings: value and both ends each by themselves, so that the interval holds for whichever it truly is.
pub(super) fn extreme(
    list: Vec<((usize, usize), Measured)>,
    least: bool,
) -> Option<((usize, usize), Measured)> {
    let pick = |a: f64, b: f64| if least { a.min(b) } else { a.max(b) };
    list.into_iter().reduce(|(s, a), (t, b)| {
        let first = pick(a.value, b.value) == a.value;
        let joined = Measured {
            value: pick(a.value, b.value),
            low: pick(a.low, b.low),
            high: pick(a.high, b.high),
        };
        (if first { s } else { t }, joined)
    })
}

pub(super) fn place(
    data: &DrawData,
    (mode, level): (usize, usize),
    (intake_c, ambient_c): (Option<f64>, Option<f64>),
    from: TakenFrom,
) -> ClaimAir {
    ClaimAir {
        intake_c,
        ambient_c,
        mode: data.modes.get(mode).filter(|m| !m.is_empty()).cloned(),
        fan: data
            .levels
            .get(level)
            .map(|l| l.label.clone())
            .filter(|l| !l.is_empty()),
        from,
    }
}

/// What a claim is held against: the fit it leans on.
struct Held<'a> {
    bench: &'a Bench,
    fit: &'a DrawFit,
    cooling: bool,
    current: bool,
    least: bool,
    level: f64,
}

impl Held<'_> {
    /// One setting at an intake and ambient, where both are tested.
    fn one(&self, (mode, fan): (usize, usize), (intake, ambient): (f64, f64)) -> Option<Measured> {
        let at = At::new(mode, fan, intake, ambient);
        // A capacity has no support of its own; the draw's prediction of the same data says what was tested.
        let draw = predict(self.bench, self.fit, at, self.level)?;
        if draw.support == Support::Outside {
            return None;
        }
        if self.cooling {
            let c = predict_capacity(self.bench, self.fit, at, self.level)?;
            return Some(Measured {
                value: c.capacity_w,
                low: c.mean_w.0,
                high: c.mean_w.1,
            });
        }
        let watts = Measured {
            value: draw.draw_w,
            low: draw.mean_w.0,
            high: draw.mean_w.1,
        };
        if self.current {
            self.amperes((mode, fan), watts)
        } else {
            Some(watts)
        }
    }

    /// A draw as a current. The interval reaches from the higher of the runs' voltage and the nominal one to the lower: the maker's current
    /// may be for either.
    fn amperes(&self, (mode, fan): (usize, usize), watts: Measured) -> Option<Measured> {
        let nominal = self.bench.unit.supply_v;
        let read: Vec<f64> = self
            .fit
            .data
            .rows
            .iter()
            .filter(|r| (r.mode, r.level) == (mode, fan))
            .filter_map(|r| self.bench.points.get(r.point)?.get(Channel::Voltage))
            .collect();
        let mean = (!read.is_empty()).then(|| read.iter().sum::<f64>() / read.len() as f64);
        let volt = mean.or(nominal).filter(|v| *v > 0.0)?;
        let other = nominal.unwrap_or(volt);
        Some(Measured {
            value: watts.value / volt,
            low: watts.low / volt.max(other),
            high: watts.high / volt.min(other),
        })
    }

    fn at(
        &self,
        settings: &[(usize, usize)],
        spot: (f64, f64),
    ) -> Option<((usize, usize), Measured)> {
        let list = settings
            .iter()
            .filter_map(|s| Some((*s, self.one(*s, spot)?)))
            .collect();
        extreme(list, self.least)
    }
}

fn at_conditions(
    bench: &Bench,
    fits: &Fits<'_>,
    claim: &Claim,
    level: f64,
) -> Result<Seen, String> {
    let cooling = claim.name == "cooling";
    let (fit, sensible) = if cooling {
        let (kind, fit) = fits
            .capacity
            .clone()
            .map_err(|e| format!("The bench gives no cooling capacity: {e}."))?;
        (fit, kind == CapacityKind::Sensible)
    } else {
        let fit = fits
            .draw
            .clone()
            .map_err(|e| format!("No curve of the draw can be fitted: {e}."))?;
        (fit, false)
    };
    let data = &fit.data;
    let settings = settings(data, claim)?;
    let held = Held {
        bench,
        fit,
        cooling,
        current: claim.name.starts_with("current"),
        least: about_least(claim.name),
        level,
    };
    let lacks = |c| bench.of_kind(Kind::Cooling).any(|p| p.get(c).is_none());
    let (no_intake, no_ambient) = (lacks(Channel::IntakeTemp), lacks(Channel::AmbientTemp));
    let conditions = Conditions::of(data, &settings, claim, (no_intake, no_ambient));
    let shown_at = |spot: (f64, f64), from| {
        let (setting, measured) = held.at(&settings, spot)?;
        let air = (
            (!no_intake).then_some(spot.0),
            (!no_ambient).then_some(spot.1),
        );
        Some(Figure {
            measured,
            conditions: place(data, setting, air, from),
        })
    };
    let from = match conditions.air {
        Air::AsStated => TakenFrom::Claim,
        _ => TakenFrom::NearestTested,
    };
    let shown = shown_at(conditions.nearest, from).ok_or(
        if held.current && bench.unit.supply_v.is_none() {
            "No voltage was read and [unit] states no supply, so a draw is no current."
        } else {
            "No tested setting reaches the claim's conditions."
        },
    )?;
    let all: Option<Vec<Figure>> = conditions
        .corners
        .iter()
        .map(|spot| shown_at(*spot, from))
        .collect();
    // A mode that was not run at the conditions may be the one that would keep, or break, the claim.
    let missing = settings
        .iter()
        .any(|s| held.one(*s, conditions.nearest).is_none());
    let mut no_failure = None;
    if sensible {
        no_failure = Some("Only the sensible part was measured; the total is more.".to_owned());
    } else if super::measured::sense(claim.name) == Sense::AtLeast || held.least {
        no_failure = not_run(bench, data, claim);
        if missing && no_failure.is_none() {
            no_failure = Some("No setting tested at the claim's conditions keeps it, but not every setting was run there.".to_owned());
        }
    }
    let mut air = conditions.air;
    let mut notes = Vec::new();
    // Settings that were not run there may draw more than those that were.
    let complete = held.least || cooling || !missing;
    if cooling {
        match humidity(bench, data, claim) {
            Humidity::Other(why) => air = Air::Elsewhere(why),
            Humidity::NotRead => {
                no_failure =
                    Some("The claim names a wet bulb, and the bench read no humidity.".to_owned());
            }
            Humidity::NotStated(Some(wet)) => notes.push(Said::of(|units| {
                format!(
                    "The claim states no humidity; the runs' intake had a wet bulb of about {}.",
                    degrees(wet, units)
                )
            })),
            Humidity::NotStated(None) | Humidity::Same => {}
        }
        if sensible {
            notes.push("The bench measured the sensible part only.".into());
        }
    }
    if held.current
        && let Some(v) = bench.unit.supply_v
    {
        notes.push(
            format!(
                "The interval holds for the runs' voltage and for the nominal {} V.",
                significant(v, 3)
            )
            .into(),
        );
    }
    if let Some(rating) = claim.at.rating {
        notes.push(format!("Rating conditions: {}.", rating.source).into());
    }
    if !complete && matches!(air, Air::AsStated) {
        air = Air::Elsewhere("Not every tested setting was run at the claim's conditions, and one that was not may draw more".into());
    }
    Ok(Seen {
        shown,
        all: all.unwrap_or_default(),
        air,
        no_failure,
        notes,
    })
}
