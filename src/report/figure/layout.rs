//! Shares out the area: header, legend, panels, axes, notes.
//!
//! Lengths are in units of the view box, ten to a pixel, since plotters rounds to whole units.

use plotters::coord::CoordTranslate;
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::types::RangedCoordf64;

use super::check::{self, Span};
use super::keys::{self, Key, Swatch};
use super::theme::Role;
use super::ticks::{Tick, Ticks, superscript, ticks};
use super::{Along, Axis, Figure, FigureError, Layer, Scale, Size, place};
use crate::report::font::{self, Weight, face};
use crate::report::words;

/// Text sizes, in layout units.
const TITLE: f64 = 17.0;
const CLAIM: f64 = 12.5;
const LABEL: f64 = 11.5;
const NOTE: f64 = 10.5;

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
    map: Cartesian2d<RangedCoordf64, RangedCoordf64>,
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
    pub y_axis: &'a Axis,
    pub x: Span,
    pub y: Span,
    pub x_ticks: Vec<Tick>,
    pub y_ticks: Vec<Tick>,
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

/// An axis' label with its unit, and the power of ten taken out of its marks.
fn heading(axis: &Axis, power: i32) -> String {
    let unit = words::unit_sign(&axis.unit);
    let scale = if power == 0 {
        String::new()
    } else {
        format!("10{} ", superscript(power))
    };
    match (axis.label.is_empty(), format!("{scale}{unit}").trim()) {
        (_, "") => axis.label.clone(),
        (true, unit) => unit.to_owned(),
        (false, unit) => format!("{} ({unit})", axis.label),
    }
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
    plan.panels(&keys, direct)
}

/// A layout in the making.
struct Plan<'a> {
    figure: &'a Figure,
    size: Size,
    /// View-box units to one layout unit.
    k: f64,
    width: f64,
    margin: f64,
    /// How far down the page is taken.
    y: f64,
    texts: Vec<Text>,
    swatches: Vec<Swatch>,
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

    fn text(
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
        let lines = fit(
            says,
            self.width - 2.0 * self.margin,
            size * self.k,
            weight,
            most,
        );
        for line in lines {
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
    fn grid(&self) -> (usize, usize) {
        let columns = self.figure.panels.len().min(self.size.columns).max(1);
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
        let height = named.len() as f64 * 2.0 * 1.25 * LABEL * self.k;
        if height > 0.4 * (f64::from(self.size.height) * 10.0 - self.y) + 90.0 * self.k {
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

    fn panels(mut self, keys: &[Key], direct: Option<f64>) -> Result<Sheet<'a>, FigureError> {
        let (figure, k) = (self.figure, self.k);
        let (columns, rows) = self.grid();
        let titled = figure.panels.iter().any(|panel| !panel.title.is_empty());
        let notes = fit(
            &figure.note,
            self.width - 2.0 * self.margin,
            NOTE * k,
            Weight::Regular,
            4,
        );
        let notes_height = if notes.is_empty() {
            0.0
        } else {
            (notes.len() as f64 * 1.4 * NOTE + 8.0) * k
        };

        // The y axis first: its marks settle the left edge.
        let y_names = matches!(figure.y.scale, Scale::Names(_));
        let row_head = if titled { (1.3 * LABEL + 7.0) * k } else { 0.0 };
        let guess = match () {
            () if y_names => 200.0 * k,
            () if rows > 1 || self.size.columns == 1 => 190.0 * k,
            () => (f64::from(self.size.height) * 10.0 - self.y - notes_height - 80.0 * k)
                .max(60.0 * k),
        };
        let wanted_y = (guess / (46.0 * k)).max(2.0);
        let y = check::span(figure, Along::Y, wanted_y)?;
        let y_marks = ticks(&figure.y.scale, y.low, y.high, wanted_y);
        let y_lines: Vec<Vec<String>> = y_marks
            .ticks
            .iter()
            .map(|tick| fit(&tick.says, 0.3 * self.width, LABEL * k, Weight::Regular, 2))
            .collect();
        let left =
            self.margin + widest(y_lines.iter().flatten(), LABEL * k, Weight::Regular) + 8.0 * k;

        // Then the panels' width, and with it the x axis.
        let right = self.width - self.margin - direct.unwrap_or(4.0 * k);
        let gap = 26.0 * k;
        let panel_width = (right - left - gap * (columns as f64 - 1.0)) / columns as f64;
        let (x, x_marks) = self.across(panel_width)?;
        let x_names = matches!(figure.x.scale, Scale::Names(_));
        let x_lines: Vec<Vec<String>> = x_marks
            .ticks
            .iter()
            .map(|tick| {
                let room = if x_names {
                    panel_width / x_marks.ticks.len().max(1) as f64 - 6.0 * k
                } else {
                    f64::INFINITY
                };
                fit(&tick.says, room, LABEL * k, Weight::Regular, 3)
            })
            .collect();
        let x_rows = x_lines.iter().map(Vec::len).max().unwrap_or(1) as f64;
        let row_foot = (8.0 + x_rows * 1.25 * LABEL) * k;
        let x_heading = heading(&figure.x, x_marks.power);
        let x_label_height = if x_heading.is_empty() {
            0.0
        } else {
            (1.3 * LABEL + 6.0) * k
        };

        // Then the height.
        let y_heading = heading(&figure.y, y_marks.power);
        if !y_heading.is_empty() {
            let line = fit(
                &y_heading,
                self.width - 2.0 * self.margin,
                LABEL * k,
                Weight::Regular,
                1,
            )
            .concat();
            let (x, baseline) = (self.margin, self.y + LABEL * k);
            self.text(x, baseline, line, LABEL, Role::Quiet);
            self.y += (1.3 * LABEL + 9.0) * k;
        } else {
            self.y += 4.0 * k;
        }
        let foot = x_label_height + notes_height + self.margin;
        let row_gap = 14.0 * k;
        let rest = rows as f64 * (row_head + row_foot) + row_gap * (rows as f64 - 1.0) + foot;
        let panel_height = if self.size.fixed || (!y_names && rows == 1 && self.size.columns > 1) {
            (f64::from(self.size.height) * 10.0 - self.y - rest) / rows as f64
        } else if y_names {
            let most_lines = y_lines.iter().map(Vec::len).max().unwrap_or(1) as f64;
            y_lines.len() as f64 * (most_lines * 1.25 * LABEL + 14.0) * k
        } else {
            190.0 * k
        };
        if panel_width < 50.0 * k || panel_height < 50.0 * k {
            return Err(FigureError::NoRoom {
                figure: figure.name.clone(),
                width: self.size.width,
                height: self.size.height,
            });
        }
        let height = if self.size.fixed {
            f64::from(self.size.height) * 10.0
        } else {
            // Whole pixels, so that the picture has no half row.
            ((self.y + rest + rows as f64 * panel_height) / 10.0).round() * 10.0
        };

        let mut frames = Vec::new();
        for (i, panel) in figure.panels.iter().enumerate() {
            let (column, row) = (i % columns, i / columns);
            let panel_left = left + column as f64 * (panel_width + gap);
            let row_top = self.y + row as f64 * (row_head + panel_height + row_foot + row_gap);
            let rect = Rect {
                left: panel_left.round(),
                top: (row_top + row_head).round(),
                right: (panel_left + panel_width).round(),
                bottom: (row_top + row_head + panel_height).round(),
            };
            // The first name stands at the top.
            let (y_low, y_high) = if y_names {
                (y.high, y.low)
            } else {
                (y.low, y.high)
            };
            let map = Cartesian2d::new(
                x.low..x.high,
                y_low..y_high,
                (
                    rect.left as i32..rect.right as i32,
                    rect.bottom as i32..rect.top as i32,
                ),
            );
            let frame = Frame {
                rect,
                layers: &panel.layers,
                map,
            };
            for line in fit(&panel.title, panel_width, LABEL * k, Weight::Bold, 1) {
                self.text(rect.left, row_top + LABEL * k, line, LABEL, Role::Ink)
                    .weight = Weight::Bold;
            }
            if column == 0 {
                for (tick, lines) in y_marks.ticks.iter().zip(&y_lines) {
                    let (_, at) = frame.at(x.low, tick.at);
                    self.stack(lines, rect.left - 7.0 * k, f64::from(at), Anchor::End);
                }
            }
            let bounds = (
                if column == 0 {
                    0.4 * self.margin
                } else {
                    rect.left - gap / 2.0 + 2.0 * k
                },
                if column + 1 == columns {
                    self.width - 0.4 * self.margin
                } else {
                    rect.right + gap / 2.0 - 2.0 * k
                },
            );
            for (tick, lines) in x_marks.ticks.iter().zip(&x_lines) {
                let (at, _) = frame.at(tick.at, y.low);
                let half = widest(lines, LABEL * k, Weight::Regular) / 2.0;
                let at = f64::from(at).min(bounds.1 - half).max(bounds.0 + half);
                for (n, line) in lines.iter().enumerate() {
                    let baseline = rect.bottom + (8.0 + LABEL + n as f64 * 1.25 * LABEL) * k;
                    self.text(at, baseline, line, LABEL, Role::Quiet).anchor = Anchor::Middle;
                }
            }
            frames.push(frame);
        }

        if !x_heading.is_empty() {
            let line = fit(&x_heading, right - left, LABEL * k, Weight::Regular, 1).concat();
            let baseline = height - foot + (4.0 + LABEL) * k;
            self.text((left + right) / 2.0, baseline, line, LABEL, Role::Quiet)
                .anchor = Anchor::Middle;
        }
        for (n, line) in notes.iter().enumerate() {
            let baseline = height
                - self.margin
                - (notes.len() - 1 - n) as f64 * 1.4 * NOTE * k
                - 0.2 * NOTE * k;
            let x = self.margin;
            self.text(x, baseline, line, NOTE, Role::Quiet);
        }

        let mut sheet = Sheet {
            width: self.size.width,
            height: (height / 10.0).round() as u32,
            unit: k,
            x_axis: &figure.x,
            y_axis: &figure.y,
            x,
            y,
            x_ticks: x_marks.ticks,
            y_ticks: y_marks.ticks,
            frames,
            texts: self.texts,
            swatches: self.swatches,
            leaders: Vec::new(),
        };
        if direct.is_some() {
            keys::name_at_curves(&mut sheet, keys, LABEL, right, self.width - self.margin);
        }
        place::inside(&mut sheet, NOTE);
        Ok(sheet)
    }

    /// The x axis: as many marks as stand side by side without touching.
    fn across(&self, panel_width: f64) -> Result<(Span, Ticks), FigureError> {
        let mut wanted = (panel_width / (68.0 * self.k)).max(2.0);
        loop {
            let span = check::span(self.figure, Along::X, wanted)?;
            let marks = ticks(&self.figure.x.scale, span.low, span.high, wanted);
            let scale = panel_width / (span.high - span.low);
            let face = face(Weight::Regular);
            let half = |tick: &Tick| face.width(&tick.says, LABEL * self.k) / 2.0;
            let touching = marks.ticks.windows(2).any(|pair| {
                let [a, b] = pair else { return false };
                (b.at - a.at) * scale < half(a) + half(b) + 8.0 * self.k
            });
            if !touching || wanted <= 2.0 || matches!(self.figure.x.scale, Scale::Names(_)) {
                return Ok((span, marks));
            }
            wanted = (wanted - 1.0).max(2.0);
        }
    }

    /// Lines one below the other, their middle at `y`.
    fn stack(&mut self, lines: &[String], x: f64, y: f64, anchor: Anchor) {
        let step = 1.25 * LABEL * self.k;
        let first = y + 0.36 * LABEL * self.k - step * (lines.len() as f64 - 1.0) / 2.0;
        for (n, line) in lines.iter().enumerate() {
            self.text(x, first + n as f64 * step, line, LABEL, Role::Quiet)
                .anchor = anchor;
        }
    }
}
