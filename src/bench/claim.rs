//! What the maker states of the unit, and for which conditions: `[unit.claims]`.

use toml::de::DeValue;

use super::Fault;
use super::manifest::Section;
use crate::quantity::{Dimension, parse_quantity};

/// One of the maker's figures.
#[derive(Clone, Debug)]
pub struct Claim {
    /// Its key, such as `cooling` or `draw_high`.
    pub name: &'static str,
    /// Its value in base units.
    pub value: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// By how much the figure may be missed, in base units; zero where the maker allows nothing.
    pub tolerance: f64,
    /// The conditions it is stated for.
    pub at: ClaimAt,
}

/// Conditions that a claim is stated for, each as far as it is stated.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ClaimAt {
    /// Dry bulb of the intake, degC.
    pub intake_c: Option<f64>,
    /// Wet bulb of the intake, degC.
    pub intake_wet_bulb_c: Option<f64>,
    /// Dry bulb of the ambient (condenser-side) air, degC.
    pub ambient_c: Option<f64>,
    /// The mode, as the points table writes it.
    pub mode: Option<String>,
    /// The fan level, as the points table writes it.
    pub fan: Option<String>,
    /// The rating conditions that the temperatures were taken from.
    pub rating: Option<&'static Rating>,
}

/// Rating conditions of a standard.
#[derive(Debug, PartialEq)]
pub struct Rating {
    /// As `rating = "…"` names it.
    pub name: &'static str,
    /// Intake dry bulb, degC.
    pub intake_c: f64,
    /// Intake wet bulb, degC.
    pub intake_wet_bulb_c: f64,
    /// Ambient dry bulb, degC.
    pub ambient_c: f64,
    /// Where the figures stand.
    pub source: &'static str,
}

/// Standard cooling conditions. The standards' text was not at hand: the figures are widely reprinted ones from memory (T1's dry bulbs were
/// also seen second-hand), and no conformity is claimed.
pub const RATINGS: [Rating; 4] = [
    Rating {
        name: "T1",
        intake_c: 27.0,
        intake_wet_bulb_c: 19.0,
        ambient_c: 35.0,
        source: "ISO 5151:2017, T1, from memory",
    },
    Rating {
        name: "T2",
        intake_c: 21.0,
        intake_wet_bulb_c: 15.0,
        ambient_c: 27.0,
        source: "ISO 5151:2017, T2, from memory",
    },
    Rating {
        name: "T3",
        intake_c: 29.0,
        intake_wet_bulb_c: 19.0,
        ambient_c: 46.0,
        source: "ISO 5151:2017, T3, from memory",
    },
    Rating {
        name: "A",
        intake_c: 26.67,
        intake_wet_bulb_c: 19.44,
        ambient_c: 35.0,
        source: "10 CFR 430 Subpart B Appendix M1, test A, from memory",
    },
];

/// The figures that a maker states, each with its kind.
const CLAIMS: [(&str, Dimension); 7] = [
    ("cooling", Dimension::Power),
    ("draw_low", Dimension::Power),
    ("draw_high", Dimension::Power),
    ("current_low", Dimension::Current),
    ("current_high", Dimension::Current),
    ("airflow", Dimension::Flow),
    ("mass", Dimension::Mass),
];

/// Reads `[unit.claims]`: each figure a quantity, or a table of a value and its conditions.
pub(super) fn read_claims(s: &Section<'_, '_>) -> Vec<Claim> {
    let claims = CLAIMS
        .into_iter()
        .filter_map(|(name, dimension)| {
            let table = s
                .entry(name)
                .is_some_and(|v| matches!(v.get_ref(), DeValue::Table(_)));
            if table {
                return read_table(&s.section(name)?, name, dimension);
            }
            Some(Claim {
                name,
                value: s.positive(name, dimension)?,
                dimension,
                tolerance: 0.0,
                at: ClaimAt::default(),
            })
        })
        .collect();
    s.note_unknown_keys();
    claims
}

fn read_table(s: &Section<'_, '_>, name: &'static str, dimension: Dimension) -> Option<Claim> {
    let value = s.positive("value", dimension);
    if value.is_none() && !s.has("value") {
        s.fault(
            Fault::new(
                s.place(),
                format!("the claim `{name}` without a value"),
                "value = \"…\" with its unit, and the conditions it is stated for",
            )
            .remedy(
                "write it like { value = \"900 W\", intake = \"27 degC\", ambient = \"35 degC\" }",
            ),
        );
    }
    let tolerance = match (value, s.text("tolerance")) {
        (Some(value), Some(text)) => tolerance(s, &text, value, dimension),
        _ => 0.0,
    };
    let air = |key| {
        let t = s.quantity(key, Dimension::Temperature);
        if t.is_some_and(|t| !(-40.0..=90.0).contains(&t)) {
            s.reject(key, "an air temperature between -40 and 90 degC");
        }
        t
    };
    let mut at = ClaimAt {
        intake_c: air("intake"),
        intake_wet_bulb_c: air("intake_wet_bulb"),
        ambient_c: air("ambient"),
        mode: s.text("mode"),
        fan: label(s, "fan"),
        rating: None,
    };
    if let (Some(dry), Some(wet)) = (at.intake_c, at.intake_wet_bulb_c)
        && wet > dry
    {
        s.reject("intake_wet_bulb", "a wet bulb no warmer than the intake");
    }
    if let Some(text) = s.text("rating") {
        let own = [at.intake_c, at.intake_wet_bulb_c, at.ambient_c];
        match RATINGS.iter().find(|r| r.name == text.trim()) {
            Some(_) if own.iter().any(Option::is_some) => s.reject(
                "rating",
                "rating conditions or temperatures of the claim's own, not both",
            ),
            Some(r) => {
                at.intake_c = Some(r.intake_c);
                at.intake_wet_bulb_c = Some(r.intake_wet_bulb_c);
                at.ambient_c = Some(r.ambient_c);
                at.rating = Some(r);
            }
            None => s.reject(
                "rating",
                &format!("one of {}", RATINGS.map(|r| r.name).join(", ")),
            ),
        }
    }
    s.note_unknown_keys();
    Some(Claim {
        name,
        value: value?,
        dimension,
        tolerance,
        at,
    })
}

/// By how much a figure may be missed: a share of it ("5 %") or an amount ("20 W").
fn tolerance(s: &Section<'_, '_>, text: &str, value: f64, dimension: Dimension) -> f64 {
    let share = parse_quantity(text, Dimension::Fraction).map(|share| share * value);
    match share.or_else(|_| parse_quantity(text, dimension)) {
        Ok(t) if (0.0..value).contains(&t) => t,
        _ => {
            s.reject(
                "tolerance",
                "less than the figure itself: a share such as \"5 %\", or an amount with its unit",
            );
            0.0
        }
    }
}

/// A label as the points table writes it: text, or a whole number.
fn label(s: &Section<'_, '_>, key: &'static str) -> Option<String> {
    match s.entry(key)?.get_ref() {
        DeValue::Integer(i) => Some(i.as_str().to_owned()),
        _ => s.text(key),
    }
}
