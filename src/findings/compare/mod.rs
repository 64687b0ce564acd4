//! Several units at the same conditions: what each setting draws and gives, and how the units stand to one another.
//!
//! An instrument of the same name and accuracy in two benches is taken for the same meter: its error moves both units' figures, and cancels
//! in ratios as far as it moves both alike.

mod known;
mod pairs;

use crate::bench::{Bench, Channel, Kind};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, CapacityKind};
use crate::predict::{Eer, Support, predict, predict_capacity};
use crate::quantity::significant;

use super::Measured;
use known::Known;
pub use pairs::{MOST_EACH_WITH_EACH, Pair, Same};

/// A bench and its curves.
pub struct Compared<'a> {
    /// What the unit is called among the others.
    pub name: String,
    /// Its bench.
    pub bench: &'a Bench,
    /// The draw's candidates.
    pub draw: &'a DrawFit,
    /// The capacity's candidates and what they are of.
    pub capacity: Option<(CapacityKind, &'a DrawFit)>,
}

/// How to compare.
#[derive(Clone, Copy, Debug)]
pub struct CompareOptions {
    /// Intake to compare at, degC; the middle of what all benches cover where none is given.
    pub intake_c: Option<f64>,
    /// Ambient, degC; likewise.
    pub ambient_c: Option<f64>,
    /// Relative difference within which two units count as the same.
    pub margin: f64,
    /// Confidence level.
    pub level: f64,
    /// Whether instruments of the same name and accuracy are the same meter.
    pub shared: bool,
}

/// Why units cannot be compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CompareError {
    /// Fewer than two.
    #[error("a comparison takes two benches or more; {0} was named")]
    TooFew(usize),
    /// A condition was not read in every cooling run.
    #[error(
        "{unit}: not every cooling run comes with {what}, so it cannot be brought to the others' conditions"
    )]
    NotRead {
        /// The unit.
        unit: String,
        /// `an intake temperature` or `an ambient temperature`.
        what: &'static str,
    },
    /// The tested ranges do not overlap.
    #[error("no {what} temperature was tested in all benches: {a} went from {} to {} degC, {b} from {} to {} degC; run one of them where the other was", significant(a_range.0, 3), significant(a_range.1, 3), significant(b_range.0, 3), significant(b_range.1, 3))]
    Apart {
        /// `intake` or `ambient`.
        what: &'static str,
        /// The unit that ends lowest.
        a: String,
        /// Its range, degC.
        a_range: (f64, f64),
        /// The unit that starts highest.
        b: String,
        /// Its range, degC.
        b_range: (f64, f64),
    },
    /// The condition asked for lies beyond a bench.
    #[error("{unit} was tested at {what} temperatures from {} to {} degC, not at {}; ask within what all benches cover", significant(range.0, 3), significant(range.1, 3), significant(*asked, 3))]
    Outside {
        /// The unit.
        unit: String,
        /// `intake` or `ambient`.
        what: &'static str,
        /// Its range, degC.
        range: (f64, f64),
        /// What was asked for, degC.
        asked: f64,
    },
    /// A unit has no tested setting there.
    #[error("{unit} has no setting that was tested at these conditions")]
    NoSetting {
        /// The unit.
        unit: String,
    },
}

/// A setting at the common conditions.
#[derive(Clone, Debug)]
pub struct ComparedSetting {
    /// Mode; empty where the bench names none.
    pub mode: String,
    /// Fan level.
    pub fan: String,
    /// Draw, W.
    pub draw_w: Measured,
    /// Capacity, W.
    pub capacity_w: Option<Measured>,
    /// Capacity over draw, W/W.
    pub eer: Option<Measured>,
    /// Hours that 100 Ah at the unit's nominal voltage carry it, before any loss.
    pub hours_per_100_ah: Option<Measured>,
    /// What the setting stands for among its unit's: `most cooling`, `least draw`, `best EER`.
    pub roles: Vec<&'static str>,
    /// Whether no setting of any unit gives more for less draw.
    pub on_front: bool,
    known: [Option<Known>; 3],
}

/// A unit at the common conditions.
#[derive(Clone, Debug)]
pub struct ComparedUnit {
    /// Its name.
    pub name: String,
    /// Nominal supply voltage, V.
    pub supply_v: Option<f64>,
    /// What its capacity is.
    pub capacity_kind: Option<CapacityKind>,
    /// Its tested settings at these conditions.
    pub settings: Vec<ComparedSetting>,
    /// Settings left out because their mode was not run at these conditions.
    pub left_out: Vec<String>,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Intake, degC.
    pub intake_c: f64,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// Ranges of intake and ambient that all benches cover, degC.
    pub covered: ((f64, f64), (f64, f64)),
    /// The units, in the order named.
    pub units: Vec<ComparedUnit>,
    /// Units two by two; of more than [`MOST_EACH_WITH_EACH`], each with the first.
    pub pairs: Vec<Pair>,
    /// Names of instruments taken for the same meter in at least two benches.
    pub shared: Vec<String>,
    /// Confidence level.
    pub level: f64,
    /// Margin of sameness.
    pub margin: f64,
}

/// Compares two units or more.
///
/// # Errors
/// [`CompareError`] where they have no conditions in common.
pub fn compare(
    units: &[Compared<'_>],
    options: &CompareOptions,
) -> Result<Comparison, CompareError> {
    if units.len() < 2 {
        return Err(CompareError::TooFew(units.len()));
    }
    for u in units {
        for (channel, what) in [
            (Channel::IntakeTemp, "an intake temperature"),
            (Channel::AmbientTemp, "an ambient temperature"),
        ] {
            if u.bench
                .of_kind(Kind::Cooling)
                .any(|p| p.get(channel).is_none())
            {
                return Err(CompareError::NotRead {
                    unit: u.name.clone(),
                    what,
                });
            }
        }
    }
    let intakes: Vec<_> = units
        .iter()
        .map(|u| u.draw.data.whole_intake_range())
        .collect();
    let ambients: Vec<_> = units.iter().map(|u| u.draw.data.ambient_range()).collect();
    let (intake_c, over_intake) = settle(units, "intake", &intakes, options.intake_c)?;
    let (ambient_c, over_ambient) = settle(units, "ambient", &ambients, options.ambient_c)?;
    let mut list: Vec<ComparedUnit> = units
        .iter()
        .map(|u| unit(u, (intake_c, ambient_c), options.level))
        .collect::<Result<_, _>>()?;
    front(&mut list);
    let (pairs, shared) = pairs::pairs(&list, options);
    Ok(Comparison {
        intake_c,
        ambient_c,
        covered: (over_intake, over_ambient),
        units: list,
        pairs,
        shared,
        level: options.level,
        margin: options.margin,
    })
}

/// Readings scatter about a set point; conditions within this of a range count as inside, as in predictions. Common practice, no source.
const SLACK_K: f64 = 0.5;

/// The condition asked for, or the middle of the overlap, and the overlap.
fn settle(
    units: &[Compared<'_>],
    what: &'static str,
    ranges: &[(f64, f64)],
    asked: Option<f64>,
) -> Result<(f64, (f64, f64)), CompareError> {
    let name = |i: usize| units.get(i).map_or(String::new(), |u| u.name.clone());
    if let Some(t) = asked {
        for (i, range) in ranges.iter().enumerate() {
            if t < range.0 - SLACK_K || t > range.1 + SLACK_K {
                return Err(CompareError::Outside {
                    unit: name(i),
                    what,
                    range: *range,
                    asked: t,
                });
            }
        }
    }
    let numbered = || ranges.iter().copied().enumerate();
    let first = numbered().min_by(|a, b| a.1.1.total_cmp(&b.1.1));
    let last = numbered().max_by(|a, b| a.1.0.total_cmp(&b.1.0));
    let (Some((a, a_range)), Some((b, b_range))) = (first, last) else {
        return Err(CompareError::TooFew(0));
    };
    let (low, high) = (b_range.0, a_range.1);
    // Two rooms held at one set point may miss each other by the scatter of their readings.
    if low > high + 2.0 * SLACK_K {
        return Err(CompareError::Apart {
            what,
            a: name(a),
            a_range,
            b: name(b),
            b_range,
        });
    }
    let middle = (5.0 * (low + high)).round() / 10.0;
    Ok((asked.unwrap_or(middle), (low.min(high), high.max(low))))
}

fn unit(
    u: &Compared<'_>,
    (intake, ambient): (f64, f64),
    level: f64,
) -> Result<ComparedUnit, CompareError> {
    let data = &u.draw.data;
    let mut settings = Vec::new();
    let mut left_out = Vec::new();
    for (mode, levels) in data.tested.iter().enumerate() {
        for (fan, _) in levels.iter().enumerate().filter(|(_, n)| **n > 0) {
            let at = At::new(mode, fan, intake, ambient);
            let mode = data.modes.get(mode).cloned().unwrap_or_default();
            let fan = data
                .levels
                .get(fan)
                .map_or(String::new(), |l| l.label.clone());
            match setting(u, at, level) {
                Some(s) => settings.push(ComparedSetting { mode, fan, ..s }),
                None => left_out.push(format!("{mode} {fan}").trim().to_owned()),
            }
        }
    }
    if settings.is_empty() {
        return Err(CompareError::NoSetting {
            unit: u.name.clone(),
        });
    }
    give_roles(&mut settings);
    Ok(ComparedUnit {
        name: u.name.clone(),
        supply_v: u.bench.unit.supply_v,
        capacity_kind: u.capacity.map(|c| c.0),
        settings,
        left_out,
    })
}

/// One setting; none where it was not tested at these conditions.
fn setting(u: &Compared<'_>, at: At, level: f64) -> Option<ComparedSetting> {
    let p = predict(u.bench, u.draw, at, level)?;
    if p.support == Support::Outside {
        return None;
    }
    let capacity = u
        .capacity
        .and_then(|(_, fit)| Some((fit, predict_capacity(u.bench, fit, at, level)?)));
    let of = |value: f64, (low, high): (f64, f64)| Measured { value, low, high };
    let draw_w = of(p.draw_w, p.mean_w);
    let capacity_w = capacity.as_ref().map(|(_, c)| of(c.capacity_w, c.mean_w));
    let eer = capacity.as_ref().and_then(|(_, c)| Eer::of(&p, c));
    let charge_wh = u.bench.unit.supply_v.map(|v| 100.0 * v);
    let hours_per_100_ah = charge_wh
        .filter(|_| draw_w.low > 0.0)
        .map(|wh| of(wh / draw_w.value, (wh / draw_w.high, wh / draw_w.low)));
    let draw = Known::draw(u.bench, u.draw, at, draw_w, level);
    let cooling = capacity
        .as_ref()
        .zip(capacity_w)
        .and_then(|((fit, _), c)| Known::capacity(u.bench, fit, at, c, level));
    let ratio = draw.as_ref().zip(cooling.as_ref()).map(|(d, c)| c.over(d));
    Some(ComparedSetting {
        mode: String::new(),
        fan: String::new(),
        draw_w,
        capacity_w,
        eer: eer.map(|e| of(e.value, e.mean)),
        hours_per_100_ah,
        roles: Vec::new(),
        on_front: false,
        known: [draw, cooling, ratio],
    })
}

/// Names the settings that stand for a unit.
fn give_roles(settings: &mut [ComparedSetting]) {
    let best = |of: &dyn Fn(&ComparedSetting) -> Option<f64>| {
        let numbered = settings.iter().enumerate();
        numbered
            .filter_map(|(i, s)| Some((i, of(s)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(i, _)| i)
    };
    let cooling = best(&|s| s.capacity_w.map(|c| c.value));
    let mut roles = vec![("least draw", best(&|s| Some(-s.draw_w.value)))];
    if cooling.is_some() {
        roles.push(("most cooling", cooling));
        roles.push(("best EER", best(&|s| s.eer.map(|e| e.value))));
    } else {
        roles.push(("most draw", best(&|s| Some(s.draw_w.value))));
    }
    for (role, at) in roles {
        if let Some(s) = at.and_then(|i| settings.get_mut(i)) {
            s.roles.push(role);
        }
    }
}

/// Marks the settings that no other beats in both draw and capacity.
fn front(units: &mut [ComparedUnit]) {
    let all: Vec<(f64, f64)> = units
        .iter()
        .flat_map(|u| &u.settings)
        .filter_map(|s| Some((s.draw_w.value, s.capacity_w?.value)))
        .collect();
    for s in units.iter_mut().flat_map(|u| u.settings.iter_mut()) {
        let Some(c) = s.capacity_w else { continue };
        let (draw, cooling) = (s.draw_w.value, c.value);
        s.on_front = !all
            .iter()
            .any(|(d, c)| *d <= draw && *c >= cooling && (*d < draw || *c > cooling));
    }
}

#[cfg(test)]
mod tests;
