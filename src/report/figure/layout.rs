//! Shares out the area: header, legend, panels, axes, notes.
//!
//! Lengths are in units of the view box, ten to a pixel, since plotters rounds to whole units.

use plotters::coord::CoordTranslate;
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::types::RangedCoordf64;

use super::check::{self, Span};
use super::keys::{self, Key, Swatch};
use super::theme::Role;
use super::ticks::Tick;
use super::{Axis, Figure, FigureError, Layer, Size, panels};
use crate::report::font::{self, Weight, face};

/// Text sizes, in layout units.
const TITLE: f64 = 17.0;
const CLAIM: f64 = 12.5;
pub(super) const LABEL: f64 = 11.5;
pub(super) const NOTE: f64 = 10.5;

/// A rectangle; `top` is the smaller number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rect {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

/// Where a text's `x` stands in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Text {
    pub x: f64,
    /// The base line.
    pub y: f64,
    pub says: String,
    pub size: f64,
    pub weight: Weight,
    pub role: Role,
    pub anchor: Anchor,
    /// The colour of a rim around it, where marks may lie below.
    pub rim: Option<Role>,
    /// Whether it runs upwards.
    pub turned: bool,
}

/// One panel: its area, and the map from drawn scales to places.
pub(super) struct Frame<'a> {
    pub rect: Rect,
    pub layers: &'a [Layer],
    /// The axis upwards, with its range and marks.
    pub y_axis: &'a Axis,
    pub y: Span,
    pub y_ticks: Vec<Tick>,
    pub map: Cartesian2d<RangedCoordf64, RangedCoordf64>,
}

impl Frame<'_> {
    /// The place of a pair of values on the drawn scales.
    pub fn at(&self, x: f64, y: f64) -> (i32, i32) {
        self.map.translate(&(x, y))
    }
}

/// Everything that has its place.
pub(super) struct Sheet<'a> {
    pub width: u32,
    pub height: u32,
    /// View-box units to one layout unit.
    pub unit: f64,
    pub x_axis: &'a Axis,
    pub x: Span,
    pub x_ticks: Vec<Tick>,
    pub frames: Vec<Frame<'a>>,
    pub texts: Vec<Text>,
    pub swatches: Vec<Swatch>,
    /// Thin lines from the end of a curve to its name.
    pub leaders: Vec<Vec<(i32, i32)>>,
}

/// Breaks a text into at most `most` lines of `width`; a cut is shown by an ellipsis, a broken word by a hyphen.
pub(super) fn fit(text: &str, width: f64, size: f64, weight: Weight, most: usize) -> Vec<String> {
    let text = font::printable(text);
    let face = face(weight);
    let fits = |line: &str| face.width(line, size) <= width;
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            if !line.is_empty() && !fits(&format!("{line}{c}-")) && !fits(&format!("{line}{c}")) {
                lines.push(format!("{line}-"));
                line.clear();
            }
            line.push(c);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while !last.is_empty() && !fits(&format!("{last}…")) {
                last.pop();
            }
            // Rather a whole word less than half a word.
            match last.rfind(' ') {
                Some(blank) if blank * 2 > last.len() => last.truncate(blank),
                _ => last.truncate(last.trim_end().len()),
            }
            last.push('…');
        }
    }
    lines
}

/// As [`fit`], with lines of about one length, so that the last is no single word.
fn balanced(text: &str, width: f64, size: f64, weight: Weight, most: usize) -> Vec<String> {
    let mut best = fit(text, width, size, weight, most);
    if best.len() > 1 && best.len() < most {
        for share in (60..100).rev() {
            let narrower = fit(text, width * f64::from(share) / 100.0, size, weight, most);
            if narrower.len() > best.len() {
                break;
            }
            best = narrower;
        }
    }
    best
}

/// The widest of some lines.
pub(super) fn widest<'t>(
    lines: impl IntoIterator<Item = &'t String>,
    size: f64,
    weight: Weight,
) -> f64 {
    lines
        .into_iter()
        .map(|line| face(weight).width(line, size))
        .fold(0.0, f64::max)
}

/// Puts everything in its place.
///
/// # Errors
///
/// As [`Figure::to_svg`].
pub(super) fn lay_out(figure: &Figure, size: Size) -> Result<Sheet<'_>, FigureError> {
    check::check(figure)?;
    let mut plan = Plan::new(figure, size);
    plan.header();
    let keys = keys::collect(figure);
    let direct = plan.names_at_curves(&keys);
    plan.legend(&keys, direct);
    panels::share_out(plan, &keys, direct)
}

/// A layout in the making.
pub(super) struct Plan<'a> {
    pub figure: &'a Figure,
    pub size: Size,
    /// View-box units to one layout unit.
    pub k: f64,
    pub width: f64,
    pub margin: f64,
    /// How far down the page is taken.
    pub y: f64,
    pub texts: Vec<Text>,
    pub swatches: Vec<Swatch>,
}

impl<'a> Plan<'a> {
    fn new(figure: &'a Figure, size: Size) -> Self {
        let k = 10.0 * size.unit;
        let width = f64::from(size.width) * 10.0;
        let margin = (24.0 * k).min(0.04 * width);
        Self {
            figure,
            size,
            k,
            width,
            margin,
            y: margin,
            texts: Vec::new(),
            swatches: Vec::new(),
        }
    }

    pub fn text(
        &mut self,
        x: f64,
        y: f64,
        says: impl Into<String>,
        size: f64,
        role: Role,
    ) -> &mut Text {
        let text = Text {
            x,
            y,
            says: says.into(),
            size: size * self.k,
            weight: Weight::Regular,
            role,
            anchor: Anchor::Start,
            rim: None,
            turned: false,
        };
        self.texts.push(text);
        let last = self.texts.len() - 1;
        &mut self.texts[last]
    }

    /// A paragraph from the left margin; moves the page down by its lines.
    fn paragraph(
        &mut self,
        says: &str,
        size: f64,
        leading: f64,
        weight: Weight,
        role: Role,
        most: usize,
    ) {
        let width = self.width - 2.0 * self.margin;
        for line in balanced(says, width, size * self.k, weight, most) {
            let (x, y) = (self.margin, self.y + size * self.k);
            self.text(x, y, line, size, role).weight = weight;
            self.y += leading * size * self.k;
        }
    }

    fn header(&mut self) {
        let figure = self.figure;
        self.paragraph(&figure.title, TITLE, 1.28, Weight::Bold, Role::Ink, 4);
        if !figure.claim.is_empty() {
            self.y += 2.0 * self.k;
            self.paragraph(&figure.claim, CLAIM, 1.38, Weight::Regular, Role::Quiet, 4);
        }
        self.y += 8.0 * self.k;
    }

    /// Columns and rows of panels.
    pub fn grid(&self) -> (usize, usize) {
        let most = if self.figure.is_stacked() {
            1
        } else {
            self.size.columns
        };
        let columns = self.figure.panels.len().min(most).max(1);
        (columns, self.figure.panels.len().div_ceil(columns))
    }

    /// The room at the right for names at the ends of curves, and the lines of each, where that is possible:
    /// every series must have a curve that ends near the right edge of the last panel.
    fn names_at_curves(&self, keys: &[Key]) -> Option<f64> {
        let (_, rows) = self.grid();
        let named: Vec<&Key> = keys.iter().filter(|key| !key.is_patch()).collect();
        if named.is_empty() || rows > 1 || self.width < 520.0 * self.k {
            return None;
        }
        // Two lines each must fit beside the panel, which axes and notes leave about this much of the height.
        let height = named.len() as f64 * (2.0 * 1.25 * LABEL + 3.0) * self.k;
        let panel = f64::from(self.size.height) * 10.0 - self.y - 150.0 * self.k;
        if height > panel {
            return None;
        }
        named.iter().all(|key| key.end.is_some()).then(|| {
            let most = 0.17 * self.width;
            let widths = named.iter().map(|key| {
                widest(
                    &fit(&key.label, most, LABEL * self.k, Weight::Regular, 2),
                    LABEL * self.k,
                    Weight::Regular,
                )
            });
            widths.fold(0.0, f64::max) + keys::SWATCH * self.k + 14.0 * self.k
        })
    }

    /// The legend: what is not named at its curve.
    fn legend(&mut self, keys: &[Key], direct: Option<f64>) {
        let k = self.k;
        let (swatch, after, between) = (keys::SWATCH * k, 6.0 * k, 18.0 * k);
        let full = self.width - 2.0 * self.margin;
        let mut x = self.margin;
        let mut any = false;
        for key in keys.iter().filter(|key| direct.is_none() || key.is_patch()) {
            let lines = fit(
                &key.label,
                full - swatch - after,
                LABEL * k,
                Weight::Regular,
                1,
            );
            let width = swatch + after + widest(&lines, LABEL * k, Weight::Regular);
            if any && x + width > self.margin + full {
                x = self.margin;
                self.y += 1.5 * LABEL * k;
            }
            let baseline = self.y + LABEL * k;
            self.swatches.push(Swatch {
                x,
                y: baseline - 0.36 * LABEL * k,
                samples: key.samples.clone(),
            });
            for line in lines {
                self.text(x + swatch + after, baseline, line, LABEL, Role::Ink);
            }
            x += width + between;
            any = true;
        }
        if any {
            self.y += (1.5 * LABEL + 5.0) * k;
        }
    }
}
