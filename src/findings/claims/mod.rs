//! The maker's figures held against the bench.
//!
//! A figure *fails* only at conditions that the maker states and the bench covers. Where the maker states none, or states others, the bench
//! can only say that the figure holds over everything tested, or that it cannot tell.

mod airflow;
mod conditions;
mod measured;

use crate::bench::{Bench, Claim};
use crate::budget::Budgets;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::CapacityKind;
use crate::quantity::{Dimension, Said, System, significant};

use measured::{Air, Figure, Seen};

/// What was fitted of the bench; what could not be says why.
pub struct Fits<'a> {
    /// The draw's candidates.
    pub draw: Result<&'a DrawFit, String>,
    /// The capacity's candidates and what they are of.
    pub capacity: Result<(CapacityKind, &'a DrawFit), String>,
    /// The uncertainty budgets, for the airflow.
    pub budgets: Option<&'a Budgets>,
}

/// What the bench says of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub enum Finding {
    /// The whole interval of the measured figure lies on the good side of the stated one.
    #[serde(rename = "holds")]
    Holds,
    /// The whole interval lies on the other side, at the conditions stated.
    #[serde(rename = "fails")]
    Fails,
    /// The bench does not settle it.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Finding {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Finding::Holds => "holds",
            Finding::Fails => "fails",
            Finding::CannotTell => "cannot tell",
        }
    }
}

/// Which side of the stated figure keeps the promise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sense {
    /// Cooling and airflow: at least what is stated.
    AtLeast,
    /// Draw, current and mass: at most what is stated.
    AtMost,
}

/// A measured figure with its interval, in the claim's base unit.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Measured {
    /// The figure.
    pub value: f64,
    /// Lower end of the interval for its long-run mean.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Measured {
    /// Whether the figure keeps a promise within a tolerance; none where its interval holds the limit.
    fn keeps(&self, stated: f64, tolerance: f64, sense: Sense) -> Option<bool> {
        match sense {
            Sense::AtLeast if self.low >= stated - tolerance => Some(true),
            Sense::AtLeast if self.high < stated - tolerance => Some(false),
            Sense::AtMost if self.high <= stated + tolerance => Some(true),
            Sense::AtMost if self.low > stated + tolerance => Some(false),
            _ => None,
        }
    }
}

/// Where the conditions of a measured figure come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TakenFrom {
    /// The claim states them and the bench covers them.
    Claim,
    /// The nearest that was tested.
    NearestTested,
    /// The figure has no conditions but the setting.
    Setting,
    /// Nothing was measured.
    None,
}

/// Conditions that a measured figure holds for.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct ClaimAir {
    /// Intake dry bulb, degC; none where the figure does not depend on it or it was not read.
    pub intake_c: Option<f64>,
    /// Ambient dry bulb, degC; none likewise.
    pub ambient_c: Option<f64>,
    /// Mode of the setting that gave the figure.
    pub mode: Option<String>,
    /// Its fan level.
    pub fan: Option<String>,
    /// Where they come from.
    pub from: TakenFrom,
}

/// A claim and what the bench says of it.
#[derive(Clone, Debug, serde::Serialize)]
pub struct HeldClaim {
    /// The claim's key.
    pub name: &'static str,
    /// What the maker states, in the base unit.
    pub stated: f64,
    /// By how much it may be missed, in the base unit.
    pub tolerance: f64,
    /// The base unit.
    pub unit: &'static str,
    /// Which side keeps the promise.
    pub sense: Sense,
    /// The measured figure; none where there is none.
    pub measured: Option<f64>,
    /// Lower end of its interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// What the bench says.
    pub finding: Finding,
    /// Where the measured figure holds.
    pub conditions: ClaimAir,
    /// Why, in a sentence.
    pub reason: Said,
    /// What kind of quantity it is.
    #[serde(skip)]
    pub dimension: Dimension,
}

/// Holds every claim of the unit's maker against the bench, with intervals at a level such as 0.95.
pub fn hold_claims(bench: &Bench, fits: &Fits<'_>, level: f64) -> Vec<HeldClaim> {
    bench
        .unit
        .claims
        .iter()
        .map(|claim| {
            let seen = measured::look(bench, fits, claim, level);
            held(claim, seen)
        })
        .collect()
}

fn held(claim: &Claim, seen: Result<Seen, String>) -> HeldClaim {
    let sense = measured::sense(claim.name);
    let nowhere = ClaimAir {
        intake_c: None,
        ambient_c: None,
        mode: None,
        fan: None,
        from: TakenFrom::None,
    };
    let (finding, reason, shown) = match seen {
        Err(reason) => (Finding::CannotTell, reason.into(), None),
        Ok(seen) => {
            let (finding, reason) = judge(claim, sense, &seen);
            (finding, reason, Some(seen.shown))
        }
    };
    HeldClaim {
        name: claim.name,
        stated: claim.value,
        tolerance: claim.tolerance,
        unit: claim.dimension.base_symbol(),
        sense,
        measured: shown.as_ref().map(|s| s.measured.value),
        low: shown.as_ref().map(|s| s.measured.low),
        high: shown.as_ref().map(|s| s.measured.high),
        finding,
        conditions: shown.map_or(nowhere, |s| s.conditions),
        reason,
        dimension: claim.dimension,
    }
}

/// The finding and why.
fn judge(claim: &Claim, sense: Sense, seen: &Seen) -> (Finding, Said) {
    let keeps = |f: &Figure| f.measured.keeps(claim.value, claim.tolerance, sense);
    let here = keeps(&seen.shown);
    let everywhere = !seen.all.is_empty() && seen.all.iter().all(|f| keeps(f) == Some(true));
    let side = match sense {
        Sense::AtLeast => "at least the stated figure",
        Sense::AtMost => "at most the stated figure",
    };
    let allowed = if claim.tolerance > 0.0 {
        " with its tolerance"
    } else {
        ""
    };
    let (finding, reason) = match &seen.air {
        Air::AsStated => match here {
            Some(true) => (
                Finding::Holds,
                format!("At the conditions stated the whole interval is {side}{allowed}.").into(),
            ),
            Some(false) => match &seen.no_failure {
                None => (
                    Finding::Fails,
                    format!(
                        "At the conditions stated no part of the interval is {side}{allowed}."
                    )
                    .into(),
                ),
                Some(why) => (Finding::CannotTell, why.as_str().into()),
            },
            None => (
                Finding::CannotTell,
                "At the conditions stated the interval reaches to both sides of the stated figure; more runs or better instruments there would narrow it.".into(),
            ),
        },
        Air::NotStated(what) if everywhere => (
            Finding::Holds,
            format!("The maker states no {what}; over everything tested the whole interval is {side}{allowed}.").into(),
        ),
        Air::NotStated(what) => (
            Finding::CannotTell,
            format!(
                "The maker states no {what}, and {}.",
                match here {
                    Some(true) => "the figure is kept at the nearest tested conditions but not for certain over everything tested",
                    Some(false) => "the bench's own conditions do not keep it; others might",
                    None => "at the nearest tested conditions the interval reaches to both sides of the stated figure",
                }
            )
            .into(),
        ),
        Air::Elsewhere(why) => (
            Finding::CannotTell,
            Said::of(|units| format!(
                "{}; the measured figure is for the nearest tested conditions and says nothing certain of the maker's.",
                why.in_units(units)
            )),
        ),
    };
    let with_notes = Said::of(|units| {
        let notes = seen.notes.iter().map(|n| n.in_units(units));
        let parts: Vec<&str> = std::iter::once(reason.in_units(units))
            .chain(notes)
            .collect();
        parts.join(" ")
    });
    (finding, with_notes)
}

/// A temperature for a reason.
fn degrees(c: f64, units: System) -> String {
    let shown = units.convert(Dimension::Temperature, c);
    format!(
        "{} {}",
        significant(shown, 3),
        units.symbol(Dimension::Temperature)
    )
}

#[cfg(test)]
mod tests;
