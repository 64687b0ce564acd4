//! Why a figure cannot be drawn.

/// Why a figure cannot be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FigureError {
    /// There is nothing to draw.
    #[error("figure `{figure}` has nothing to show: {what}")]
    Empty {
        /// The figure's name.
        figure: String,
        /// What is missing.
        what: &'static str,
    },
    /// A value has no place on its axis.
    #[error("figure `{figure}`, panel {panel}, {layer} `{label}`: {value} {why}")]
    Value {
        /// The figure's name.
        figure: String,
        /// The panel, counted from 1.
        panel: usize,
        /// The kind of layer.
        layer: &'static str,
        /// The layer's label.
        label: String,
        /// What was found, as the axis would show it.
        value: String,
        /// Why it has no place.
        why: Misplaced,
    },
    /// An axis whose ends or conversion make no sense.
    #[error(
        "figure `{figure}`: the axis `{axis}` reaches from {low} to {high}; it needs two finite ends, the lower first"
    )]
    Range {
        /// The figure's name.
        figure: String,
        /// The axis' label.
        axis: String,
        /// The lower end found.
        low: String,
        /// The upper end found.
        high: String,
    },
    /// The area is too small for what has to stand in it.
    #[error(
        "figure `{figure}`: {width} × {height} leaves no room for its panels; make it larger or shorten its texts"
    )]
    NoRoom {
        /// The figure's name.
        figure: String,
        /// The width asked for.
        width: u32,
        /// The height asked for.
        height: u32,
    },
    /// Drawing failed.
    #[error("figure `{figure}` could not be drawn: {reason}")]
    Drawing {
        /// The figure's name.
        figure: String,
        /// The reason that the drawing library gave.
        reason: String,
    },
}

/// Why a value has no place on an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Misplaced {
    /// It is not a number, or beyond all measure.
    #[error("cannot be drawn; leave such values out and say so in the note")]
    NotFinite,
    /// It is zero or less, and the axis is logarithmic.
    #[error("has no place on a logarithmic axis, which holds values above zero only")]
    NotPositive,
    /// The axis has names, and none stands there.
    #[error("stands at no name of its axis, which has {names} (the first is 0)")]
    Unnamed {
        /// How many names there are.
        names: usize,
    },
}
