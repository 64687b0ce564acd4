//! The duct of `bench.toml`, and air speeds read across it.

use super::error::{BenchError, Fault, Finding, Place};
use super::manifest::Section;
use super::traverse::{Rule, Traverse};
use super::{AccuracyAs, FlowAt};
use crate::quantity::Dimension;

/// A duct's inner cross-section, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CrossSection {
    /// A rectangle.
    Rectangular {
        /// Inner width.
        width_m: f64,
        /// Inner height.
        height_m: f64,
    },
    /// A circle.
    Round {
        /// Inner diameter.
        diameter_m: f64,
    },
}

impl CrossSection {
    /// Area, m2.
    pub fn area_m2(&self) -> f64 {
        match *self {
            Self::Rectangular { width_m, height_m } => width_m * height_m,
            Self::Round { diameter_m } => std::f64::consts::PI * diameter_m * diameter_m / 4.0,
        }
    }

    /// Relative standard uncertainty of the area from that of its measures, m: a diameter counts twice, two sides are taken
    /// as measured independently of one another.
    pub fn relative_u(&self, u_m: f64) -> f64 {
        match *self {
            Self::Rectangular { width_m, height_m } => (u_m / width_m).hypot(u_m / height_m),
            Self::Round { diameter_m } => 2.0 * u_m / diameter_m,
        }
    }

    /// Whether it is round.
    pub fn is_round(&self) -> bool {
        matches!(self, Self::Round { .. })
    }
}

/// Where an airflow comes from, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowFrom {
    /// Read as a flow, in every run's own row.
    Read,
    /// The fan level's traverse of the duct.
    Traverse,
    /// The run's own air speed, times the duct's area and the factor from reading to mean.
    AirSpeed,
    /// What `[fan.levels]` states of the level.
    Stated,
}

/// The duct in which the air speed was read.
#[derive(Clone, Debug)]
pub struct DuctInfo {
    /// Its cross-section, where stated.
    pub section: Option<CrossSection>,
    /// Where it stands, where stated.
    pub at: Option<FlowAt>,
    /// Standard uncertainty of its measures, m.
    pub u_size_m: f64,
    /// Mean speed over the speed that the runs' probe reads; 1 where none is stated.
    pub reading_to_mean: f64,
    /// Whether that factor was stated.
    pub reading_to_mean_stated: bool,
    /// Its standard uncertainty.
    pub u_reading_to_mean: f64,
    /// Speeds read across the duct.
    pub traverse: Option<Traverse>,
}

impl DuctInfo {
    /// Nothing is known of the duct.
    pub(super) fn none() -> DuctInfo {
        DuctInfo {
            section: None,
            at: None,
            u_size_m: 0.0,
            reading_to_mean: 1.0,
            reading_to_mean_stated: false,
            u_reading_to_mean: 0.0,
            traverse: None,
        }
    }
}

/// The traverse that a `[duct]` asks for: its rule and its table.
pub(super) struct TraverseAsked {
    pub rule: Rule,
    pub file: String,
    pub place: Place,
    pub heading: Place,
}

/// Reads `[duct]`; the traverse's own table is read later.
pub(super) fn read_duct(s: &Section<'_, '_>) -> (DuctInfo, Option<TraverseAsked>) {
    let shape = s.text("shape");
    let length = |key: &'static str| s.positive(key, Dimension::Length);
    let (width, height, diameter) = (length("width"), length("height"), length("diameter"));
    let at = match s.text("at").as_deref() {
        None => None,
        Some("intake") => Some(FlowAt::Intake),
        Some("outlet") => Some(FlowAt::Outlet),
        Some(_) => {
            s.reject("at", "\"intake\" or \"outlet\"");
            None
        }
    };
    let u_size_m = s
        .not_negative("size_accuracy", Dimension::Length)
        .map_or(0.0, |limit| AccuracyAs::Limits.standard(limit));
    let factor = s.number("reading_to_mean");
    if factor.is_some_and(|v| !(0.3..=1.5).contains(&v)) {
        s.reject(
            "reading_to_mean",
            "mean speed over the probe's reading, 0.3 to 1.5 (0.82 for the middle of a long round duct)",
        );
    }
    let u_factor = s.number("u_reading_to_mean");
    if u_factor.is_some_and(|v| !(0.0..=0.5).contains(&v)) {
        s.reject(
            "u_reading_to_mean",
            "the factor's standard uncertainty, 0 to 0.5",
        );
    }
    let asked = read_traverse(s);
    s.note_unknown_keys();
    let section = match (shape.as_deref(), width, height, diameter) {
        (Some("round") | None, None, None, Some(diameter_m)) => {
            Some(CrossSection::Round { diameter_m })
        }
        (Some("rectangular") | None, Some(width_m), Some(height_m), None) => {
            Some(CrossSection::Rectangular { width_m, height_m })
        }
        (None, None, None, None) => None,
        _ => {
            s.fault(
                Fault::new(
                    s.place(),
                    "a duct whose shape and sizes do not fit together",
                    "shape = \"round\" with diameter, or shape = \"rectangular\" with width and height",
                )
                .remedy("state the inside measures of the duct where the air speed was read"),
            );
            None
        }
    };
    let duct = DuctInfo {
        section,
        at,
        u_size_m,
        reading_to_mean: factor.unwrap_or(1.0),
        reading_to_mean_stated: factor.is_some(),
        u_reading_to_mean: u_factor.unwrap_or(0.0),
        traverse: None,
    };
    (duct, asked)
}

fn read_traverse(s: &Section<'_, '_>) -> Option<TraverseAsked> {
    let file = s.text("traverse");
    let rule = s.text("rule");
    let names = Rule::ALL.map(Rule::name);
    let known = rule.as_deref().and_then(Rule::from_name);
    match (&rule, known, &file) {
        (Some(_), None, _) => s.reject("rule", &format!("one of {}", names.join(", "))),
        (None, _, Some(_)) if !s.has("rule") => s.fault(
            Fault::new(
                s.place_of("traverse"),
                "a traverse without the rule that placed its points",
                format!("rule = \"{}\"", names.join("\" or \"")),
            )
            .remedy("the plain mean of the speeds is the duct's mean only where a rule placed the probe"),
        ),
        _ => {}
    }
    Some(TraverseAsked {
        rule: known?,
        file: file?,
        place: s.place_of("traverse"),
        heading: s.place(),
    })
}

/// Reads the traverse's table into the duct.
pub(super) fn add_traverse(
    duct: &mut DuctInfo,
    asked: &TraverseAsked,
    bytes: &[u8],
    findings: &mut Vec<Finding>,
) -> Result<(), BenchError> {
    let Some(section) = duct.section else {
        return Err(Fault::new(
            asked.heading.clone(),
            "a traverse in a duct without a size",
            "shape and inside measures: the rule and the area hang on them",
        )
        .remedy("state diameter, or width and height")
        .into());
    };
    duct.traverse = Some(Traverse::read(
        &asked.file,
        bytes,
        asked.rule,
        section.is_round(),
        findings,
    )?);
    Ok(())
}
