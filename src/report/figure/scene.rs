//! What a figure shows: panels, axes, layers and their looks, without a word about drawing.

use super::theme;

/// A figure of one or several panels that share their axes.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// A short name in lower case and hyphens: the file name without its ending.
    pub name: String,
    /// What is shown.
    pub title: String,
    /// What it shows: the finding, in a sentence. May be empty.
    pub claim: String,
    /// The axis across.
    pub x: Axis,
    /// The axis upwards.
    pub y: Axis,
    /// The panels, in reading order.
    pub panels: Vec<Panel>,
    /// What a reader must know to read it rightly: what a band means, which runs are shown. May be empty.
    pub note: String,
    /// The figure in words, for those who cannot see it.
    pub alt: String,
}

/// One panel of a figure.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Panel {
    /// An axis upwards of this panel's own. Panels of a figure in which any has one stand one above the other, each with its axis'
    /// label above it, and share the axis across.
    pub y: Option<Axis>,
    /// What is shown in this panel; empty where the figure has only one.
    pub title: String,
    /// What lies in it. Drawn in a fixed order (regions, bands, columns, rules, curves, intervals, points), whatever the order here.
    pub layers: Vec<Layer>,
}

/// One axis. Layers give their values in the axis' own quantity; [`Axis::shown_as`] converts them for the reader.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// What is measured, such as `Intake air`.
    pub label: String,
    /// The unit in the spelling that files use, empty for none.
    pub unit: String,
    /// How values become places.
    pub scale: Scale,
    /// How far the axis reaches.
    pub reach: Reach,
    /// The factor and the offset from a layer's value to the value shown.
    pub conversion: (f64, f64),
    /// Whether the axis takes only a few set values, so that points of one x may stand side by side.
    pub settings: bool,
}

/// How values become places along an axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scale {
    /// Evenly.
    Linear,
    /// By their logarithm; values must be above zero.
    Log,
    /// Evenly, in hours of a day: marked as 06:00, 12:00 and so on.
    Clock,
    /// Named places: value 0 is the first name, 1 the second. Down the page on the y axis.
    Names(Vec<String>),
}

/// How far an axis reaches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// As far as the data, and a little more.
    Data,
    /// As [`Reach::Data`], and zero belongs to it.
    FromZero,
    /// From here to there, in layer values; what lies beyond is cut off.
    Fixed(f64, f64),
}

/// Which axis a value belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// The axis across.
    X,
    /// The axis upwards.
    Y,
}

/// How a series looks. Series differ by colour, by marker and by dash, so that any two of them stay apart in grey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Its colour.
    pub tone: Tone,
    /// Its marker.
    pub marker: Marker,
    /// Whether its markers are filled.
    pub filled: bool,
    /// How its lines are broken.
    pub dash: Dash,
}

/// What colours a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// The series of this number, counted from 0.
    Series(usize),
    /// The colour of text: for what stands for the whole, or for a reference.
    Ink,
    /// The colour of text of second rank.
    Quiet,
}

/// A marker's shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each name says it")]
pub enum Marker {
    Circle,
    Diamond,
    Square,
    Triangle,
    Wedge,
    Bar,
}

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each name says it")]
pub enum Dash {
    Whole,
    Long,
    Short,
    Mixed,
    Sparse,
    Triple,
}

impl Panel {
    /// A panel on the figure's axes.
    pub fn new(title: impl Into<String>, layers: Vec<Layer>) -> Self {
        Self {
            y: None,
            title: title.into(),
            layers,
        }
    }

    /// A panel with an axis upwards of its own.
    pub fn with_axis(y: Axis, layers: Vec<Layer>) -> Self {
        Self {
            y: Some(y),
            title: String::new(),
            layers,
        }
    }
}

impl Figure {
    /// Whether its panels stand one above the other because any has an axis of its own.
    pub(super) fn is_stacked(&self) -> bool {
        self.panels.iter().any(|panel| panel.y.is_some())
    }

    /// The axis upwards of a panel.
    pub(super) fn axis_up<'a>(&'a self, panel: &'a Panel) -> &'a Axis {
        panel.y.as_ref().unwrap_or(&self.y)
    }
}

impl Look {
    /// The look of a series by its number, counted from 0.
    pub fn series(number: usize) -> Self {
        const MARKERS: [Marker; 6] = [
            Marker::Circle,
            Marker::Diamond,
            Marker::Square,
            Marker::Triangle,
            Marker::Wedge,
            Marker::Bar,
        ];
        const DASHES: [Dash; 6] = [
            Dash::Whole,
            Dash::Long,
            Dash::Short,
            Dash::Mixed,
            Dash::Sparse,
            Dash::Triple,
        ];
        Self {
            tone: Tone::Series(number),
            // A seventh series takes the first colour again; the shift gives it another marker.
            marker: MARKERS[(number + number / theme::SERIES) % MARKERS.len()],
            filled: true,
            dash: DASHES[number % DASHES.len()],
        }
    }

    /// The look of a reference or of a whole: ink, unbroken.
    pub fn ink() -> Self {
        Self {
            tone: Tone::Ink,
            marker: Marker::Circle,
            filled: true,
            dash: Dash::Whole,
        }
    }

    /// The same with hollow markers.
    pub fn hollow(self) -> Self {
        Self {
            filled: false,
            ..self
        }
    }

    /// The same with another dash.
    pub fn dashed(self, dash: Dash) -> Self {
        Self { dash, ..self }
    }
}

/// What a band stands for, which settles how strongly it is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// The long-run mean: narrow and strong.
    Mean,
    /// One further run: wide and faint.
    Run,
}

/// One layer of a panel. A label that is not empty names a series; layers of one name share one key.
#[derive(Debug, Clone, PartialEq)]
pub enum Layer {
    /// Single values, such as every run that was made. See [`Axis::of_settings`] for runs at one x.
    Points {
        /// (x, y) of each.
        at: Vec<(f64, f64)>,
        /// How they look.
        look: Look,
        /// The series' name.
        label: String,
    },
    /// A line through places in this order.
    Curve {
        /// (x, y) of each place.
        through: Vec<(f64, f64)>,
        /// How it looks.
        look: Look,
        /// The series' name.
        label: String,
    },
    /// An area between two curves.
    Band {
        /// (x, low, high) of each place.
        across: Vec<(f64, f64, f64)>,
        /// How it looks.
        look: Look,
        /// What it stands for.
        holds: Holds,
        /// What the legend says about it; empty where the note does.
        label: String,
    },
    /// A value with its interval, or an interval alone.
    Intervals {
        /// Each interval.
        bars: Vec<Interval>,
        /// The axis along which they reach.
        along: Along,
        /// How they look.
        look: Look,
        /// The series' name.
        label: String,
    },
    /// Upright columns.
    Columns {
        /// (x, from, to) of each.
        bars: Vec<(f64, f64, f64)>,
        /// The width in values of x.
        width: f64,
        /// How they look.
        look: Look,
        /// The series' name.
        label: String,
    },
    /// A part of the panel set apart, such as conditions that nobody tested. An end may be infinite: it then
    /// reaches to the edge, and does not widen the axis.
    Region {
        /// The axis that it is a part of.
        along: Along,
        /// Its lower end.
        from: f64,
        /// Its upper end.
        to: f64,
        /// What stands in it.
        label: String,
    },
    /// Words about one place, such as the name of an outlying run, put beside it where they hide the least.
    Remark {
        /// (x, y) of the place.
        at: (f64, f64),
        /// The words.
        label: String,
    },
    /// A reference line straight across.
    Rule {
        /// The axis on which `at` is marked.
        along: Along,
        /// Where.
        at: f64,
        /// What stands at it.
        label: String,
    },
}

/// One interval of [`Layer::Intervals`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Where it stands on the other axis.
    pub at: f64,
    /// Its lower end.
    pub low: f64,
    /// The value that it belongs to, drawn as a marker.
    pub value: Option<f64>,
    /// Its upper end.
    pub high: f64,
}

impl Axis {
    /// A linear axis that reaches as far as the data.
    pub fn new(label: impl Into<String>, unit: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            unit: unit.into(),
            scale: Scale::Linear,
            reach: Reach::Data,
            conversion: (1.0, 0.0),
            settings: false,
        }
    }

    /// An axis of named places.
    pub fn names(
        label: impl Into<String>,
        names: impl IntoIterator<Item = impl Into<String>>,
    ) -> Self {
        Self {
            scale: Scale::Names(names.into_iter().map(Into::into).collect()),
            settings: true,
            ..Self::new(label, "")
        }
    }

    /// The same axis, on which zero belongs.
    pub fn from_zero(self) -> Self {
        Self {
            reach: Reach::FromZero,
            ..self
        }
    }

    /// The same axis from `low` to `high`, in layer values.
    pub fn reaching(self, low: f64, high: f64) -> Self {
        Self {
            reach: Reach::Fixed(low, high),
            ..self
        }
    }

    /// The same axis, logarithmic.
    pub fn logarithmic(self) -> Self {
        Self {
            scale: Scale::Log,
            ..self
        }
    }

    /// The same axis, across which only a few set values occur, such as the airflows of fan levels.
    ///
    /// Points of one x that would hide one another then stand side by side, within three times the radius of a full-sized marker.
    /// An axis of names always does so. A measured x, such as a temperature, stays exactly where it is.
    pub fn of_settings(self) -> Self {
        Self {
            settings: true,
            ..self
        }
    }

    /// The same axis in hours of a day.
    pub fn clock(self) -> Self {
        Self {
            scale: Scale::Clock,
            unit: String::new(),
            ..self
        }
    }

    /// The same axis shown in another unit: what the reader sees is `factor · value + offset`.
    ///
    /// Ticks fall on round numbers of the unit shown: degrees Celsius become Fahrenheit by `shown_as("degF", 1.8, 32.0)`.
    pub fn shown_as(self, unit: impl Into<String>, factor: f64, offset: f64) -> Self {
        Self {
            unit: unit.into(),
            conversion: (factor, offset),
            ..self
        }
    }
}
