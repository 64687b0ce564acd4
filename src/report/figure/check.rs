//! Refuses what cannot be drawn, converts values to what the reader sees, and settles the ranges of the axes.

use super::ticks::{Ticks, ticks};
use super::{Along, Axis, Figure, FigureError, Interval, Layer, Misplaced, Reach, Scale};

/// An axis ready to draw: its ends on the drawn scale.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Span {
    pub low: f64,
    pub high: f64,
}

/// From a layer's value to its place on the drawn scale.
pub(super) fn place(axis: &Axis, value: f64) -> f64 {
    let shown = value * axis.conversion.0 + axis.conversion.1;
    if axis.scale == Scale::Log {
        shown.log10()
    } else {
        shown
    }
}

impl Layer {
    pub(super) fn kind(&self) -> &'static str {
        match self {
            Self::Points { .. } => "points",
            Self::Curve { .. } => "curve",
            Self::Band { .. } => "band",
            Self::Intervals { .. } => "intervals",
            Self::Columns { .. } => "columns",
            Self::Region { .. } => "region",
            Self::Rule { .. } => "rule",
            Self::Remark { .. } => "remark",
        }
    }

    pub(super) fn label(&self) -> &str {
        match self {
            Self::Points { label, .. }
            | Self::Curve { label, .. }
            | Self::Band { label, .. }
            | Self::Intervals { label, .. }
            | Self::Columns { label, .. }
            | Self::Region { label, .. }
            | Self::Remark { label, .. }
            | Self::Rule { label, .. } => label,
        }
    }

    /// Every value of the layer that the axis must hold.
    fn values(&self, axis: Along) -> Vec<f64> {
        let of = |x: f64, y: &[f64]| {
            if axis == Along::X {
                vec![x]
            } else {
                y.to_vec()
            }
        };
        match self {
            Self::Points { at, .. } => at.iter().flat_map(|(x, y)| of(*x, &[*y])).collect(),
            Self::Curve { through, .. } => {
                through.iter().flat_map(|(x, y)| of(*x, &[*y])).collect()
            }
            Self::Band { across, .. } => across
                .iter()
                .flat_map(|(x, a, b)| of(*x, &[*a, *b]))
                .collect(),
            Self::Columns { bars, width, .. } => bars
                .iter()
                .flat_map(|(x, a, b)| {
                    if axis == Along::X {
                        vec![x - width / 2.0, x + width / 2.0]
                    } else {
                        vec![*a, *b]
                    }
                })
                .collect(),
            Self::Intervals { bars, along, .. } => bars
                .iter()
                .flat_map(
                    |Interval {
                         at,
                         low,
                         value,
                         high,
                     }| {
                        if *along == axis {
                            [Some(*low), Some(*high), *value]
                                .into_iter()
                                .flatten()
                                .collect()
                        } else {
                            vec![*at]
                        }
                    },
                )
                .collect(),
            Self::Remark { at: (x, y), .. } => of(*x, &[*y]),
            Self::Rule { along, at, .. } if *along == axis => vec![*at],
            Self::Region {
                along, from, to, ..
            } if *along == axis => [*from, *to]
                .into_iter()
                .filter(|v| !v.is_infinite())
                .collect(),
            Self::Rule { .. } | Self::Region { .. } => Vec::new(),
        }
    }
}

/// Why a value as shown has no place on an axis, if so.
fn misplaced(axis: &Axis, shown: f64) -> Option<Misplaced> {
    // Beyond this a difference or a logarithm could overflow.
    if !shown.is_finite() || shown.abs() > 1e150 {
        return Some(Misplaced::NotFinite);
    }
    match &axis.scale {
        Scale::Log if shown <= 1e-150 => Some(Misplaced::NotPositive),
        Scale::Names(names) if !(-0.5..=names.len() as f64 - 0.5).contains(&shown) => {
            Some(Misplaced::Unnamed { names: names.len() })
        }
        _ => None,
    }
}

/// Checks every value of a figure.
pub(super) fn check(figure: &Figure) -> Result<(), FigureError> {
    let empty = |what| FigureError::Empty {
        figure: figure.name.clone(),
        what,
    };
    if figure.panels.is_empty() {
        return Err(empty("it has no panel"));
    }
    let mut something = false;
    for (i, panel) in figure.panels.iter().enumerate() {
        for layer in &panel.layers {
            for along in [Along::X, Along::Y] {
                let axis = match along {
                    Along::X => &figure.x,
                    Along::Y => figure.axis_up(panel),
                };
                for value in layer.values(along) {
                    let shown = value * axis.conversion.0 + axis.conversion.1;
                    if let Some(why) = misplaced(axis, shown) {
                        return Err(FigureError::Value {
                            figure: figure.name.clone(),
                            panel: i + 1,
                            layer: layer.kind(),
                            label: layer.label().to_owned(),
                            value: shown.to_string(),
                            why,
                        });
                    }
                }
            }
            something |= !matches!(
                layer,
                Layer::Rule { .. } | Layer::Region { .. } | Layer::Remark { .. }
            ) && !layer.values(Along::X).is_empty();
        }
    }
    let own = figure.panels.iter().filter_map(|panel| panel.y.as_ref());
    for axis in [&figure.x, &figure.y].into_iter().chain(own) {
        if matches!(&axis.scale, Scale::Names(names) if names.is_empty()) {
            return Err(empty("an axis of named places has no name"));
        }
    }
    if something {
        Ok(())
    } else {
        Err(empty("no layer holds a value"))
    }
}

/// The range of the axis across, after [`check`].
pub(super) fn span_across(figure: &Figure, wanted_ticks: f64) -> Result<Span, FigureError> {
    span(figure, Along::X, &figure.x, &figure.panels, wanted_ticks)
}

/// The range of the axis upwards of some panels that share it.
pub(super) fn span_up(
    figure: &Figure,
    axis: &Axis,
    panels: &[super::Panel],
    wanted_ticks: f64,
) -> Result<Span, FigureError> {
    span(figure, Along::Y, axis, panels, wanted_ticks)
}

fn span(
    figure: &Figure,
    along: Along,
    axis: &Axis,
    panels: &[super::Panel],
    wanted_ticks: f64,
) -> Result<Span, FigureError> {
    if let Scale::Names(names) = &axis.scale {
        return Ok(Span {
            low: -0.5,
            high: names.len() as f64 - 0.5,
        });
    }
    let bad = |low: f64, high: f64| FigureError::Range {
        figure: figure.name.clone(),
        axis: axis.label.clone(),
        low: low.to_string(),
        high: high.to_string(),
    };
    if let Reach::Fixed(a, b) = axis.reach {
        let (a, b) = (place(axis, a), place(axis, b));
        let (low, high) = (a.min(b), a.max(b));
        let fits =
            low.is_finite() && high.is_finite() && high - low > 1e-12 * high.abs().max(low.abs());
        return if fits && high.abs().max(low.abs()) < 1e150 {
            Ok(Span { low, high })
        } else {
            Err(bad(a, b))
        };
    }
    let values = panels
        .iter()
        .flat_map(|panel| &panel.layers)
        .flat_map(|layer| layer.values(along));
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values.map(|v| place(axis, v)) {
        low = low.min(value);
        high = high.max(value);
    }
    let zero = axis.reach == Reach::FromZero && axis.scale == Scale::Linear;
    if zero {
        low = low.min(0.0);
        high = high.max(0.0);
    }
    if !(low.is_finite() && high.is_finite()) {
        return Err(bad(low, high));
    }
    let mut reach = high - low;
    let size = high.abs().max(low.abs());
    if reach <= 1e-9 * size || reach == 0.0 {
        // All values alike: a range of a tenth of the value around them.
        reach = if axis.scale == Scale::Log {
            0.2
        } else if size > 0.0 {
            size * 0.1
        } else {
            1.0
        };
        low -= reach / 2.0;
        high += reach / 2.0;
    }
    // Marks that stand side by side need more room at the ends.
    let margin = if axis.settings { 0.09 } else { 0.05 } * reach;
    let mut span = Span {
        low: if zero && low == 0.0 {
            0.0
        } else {
            low - margin
        },
        high: if zero && high == 0.0 {
            0.0
        } else {
            high + margin
        },
    };
    snap(axis, &mut span, wanted_ticks);
    Ok(span)
}

/// Moves an end outwards to the next mark where that is near, so that the figure starts and ends on a number.
fn snap(axis: &Axis, span: &mut Span, wanted: f64) {
    let Ticks {
        step: Some(step), ..
    } = ticks(&axis.scale, span.low, span.high, wanted)
    else {
        return;
    };
    let (below, above) = (
        (span.low / step + 1e-9).floor() * step,
        (span.high / step - 1e-9).ceil() * step,
    );
    if span.low - below < 0.3 * step {
        span.low = below;
    }
    if above - span.high < 0.3 * step {
        span.high = above;
    }
}
