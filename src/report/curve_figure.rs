//! The figure of a curve fitted to a table: its data, the curve, and its two bands.

use super::figure::{Axis, Figure, Holds, Layer, Look, Panel};

/// What a curve's figure shows.
pub struct CurvePicture<'a> {
    /// The equation as the user wrote it.
    pub equation: &'a str,
    /// Name of the column across.
    pub x: &'a str,
    /// Its unit; may be empty.
    pub x_unit: &'a str,
    /// The left side of the equation.
    pub y: &'a str,
    /// Its unit; may be empty.
    pub y_unit: &'a str,
    /// Each row: x and the left side.
    pub rows: Vec<(f64, f64)>,
    /// The curve: x, value, band of the curve, band of one further row (none without degrees of freedom).
    pub line: Vec<CurvePlace>,
    /// Confidence level of the bands.
    pub level: f64,
}

/// One place of a curve.
pub struct CurvePlace {
    /// Where.
    pub x: f64,
    /// The curve's value.
    pub value: f64,
    /// Interval of the curve.
    pub mean: Option<(f64, f64)>,
    /// Interval of one further row.
    pub further: Option<(f64, f64)>,
}

/// The figure.
pub fn curve_figure(picture: &CurvePicture<'_>) -> Figure {
    let look = Look::series(0);
    let band = |pick: fn(&CurvePlace) -> Option<(f64, f64)>, holds| Layer::Band {
        across: picture
            .line
            .iter()
            .filter_map(|p| pick(p).map(|(low, high)| (p.x, low, high)))
            .collect(),
        look,
        holds,
        label: String::new(),
    };
    let mut layers = vec![
        Layer::Curve {
            through: picture.line.iter().map(|p| (p.x, p.value)).collect(),
            look,
            label: String::new(),
        },
        Layer::Points {
            at: picture.rows.clone(),
            look,
            label: String::new(),
        },
    ];
    let banded = picture.line.iter().any(|p| p.mean.is_some());
    if banded {
        layers.push(band(|p| p.further, Holds::Run));
        layers.push(band(|p| p.mean, Holds::Mean));
    }
    let percent = 100.0 * picture.level;
    Figure {
        name: "curve".to_owned(),
        title: format!("{} against {}", picture.y, picture.x),
        claim: picture.equation.to_owned(),
        x: Axis::new(picture.x, picture.x_unit),
        y: Axis::new(picture.y, picture.y_unit),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers,
        }],
        note: if banded {
            format!(
                "Points: the rows. Narrow band: the curve; wide band: one further row ({percent:.0} %)."
            )
        } else {
            "Points: the rows.".to_owned()
        },
        alt: format!(
            "{} rows of {} against {} with the fitted curve.",
            picture.rows.len(),
            picture.y,
            picture.x
        ),
    }
}
