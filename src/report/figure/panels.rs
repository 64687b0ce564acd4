//! Panels and their axes: how wide, how high, and what stands around them.

use plotters::coord::cartesian::Cartesian2d;

use super::check::{self, Span};
use super::keys::{self, Key};
use super::layout::{Anchor, Frame, LABEL, NOTE, Plan, Rect, Sheet, fit, widest};
use super::theme::Role;
use super::ticks::{Tick, Ticks, superscript, ticks};
use super::{Axis, FigureError, Panel, Scale, place};
use crate::report::font::{Weight, face};
use crate::report::words;

/// From one line's base line to the next, as a multiple of the text's size.
const STEP: f64 = 1.25;
/// Between panels side by side, in layout units.
const GAP: f64 = 26.0;
/// Between rows of panels, in layout units.
const ROW_GAP: f64 = 14.0;
/// A panel's height where the figure's is not given, and the least side of any, in layout units.
const USUAL_HEIGHT: f64 = 190.0;
/// The same of panels that stand one above the other on one axis across.
const STACKED_HEIGHT: f64 = 118.0;
const LEAST: f64 = 50.0;

/// An axis with its range, its marks, and the lines of text at each mark.
struct Side {
    span: Span,
    marks: Ticks,
    lines: Vec<Vec<String>>,
}

impl Side {
    fn most_lines(&self) -> f64 {
        self.lines.iter().map(Vec::len).max().unwrap_or(1) as f64
    }
}

/// How the area of all panels is divided, in view-box units.
struct Division {
    columns: usize,
    left: f64,
    right: f64,
    panel_width: f64,
    panel_height: f64,
    /// Above each panel, for its title.
    row_head: f64,
    /// Below each panel, for the marks of its axis.
    row_foot: f64,
    /// Below the last row's marks: the axis' label, notes, margin.
    label_foot: f64,
    height: f64,
}

/// Places panels, axes and notes on what header and legend have left.
pub(super) fn share_out<'a>(
    mut plan: Plan<'a>,
    keys: &[Key],
    direct: Option<f64>,
) -> Result<Sheet<'a>, FigureError> {
    let figure = plan.figure;
    let notes = fit(
        &figure.note,
        plan.width - 2.0 * plan.margin,
        NOTE * plan.k,
        Weight::Regular,
        4,
    );
    let mut ups = plan.upwards(notes.len())?;
    let stacked = figure.is_stacked();
    let y_heading = match ups.first() {
        Some(up) if !stacked => heading(&figure.y, up.marks.power),
        _ => String::new(),
    };
    plan.y_label(&y_heading);
    let (across, division) = plan.divide(&mut ups, notes.len(), direct)?;
    let frames = plan.frames(&division, &across, &ups);
    let x_heading = heading(&figure.x, across.marks.power);
    plan.x_label(&x_heading, &division);
    plan.notes(&notes, division.height);
    let mut sheet = Sheet {
        width: plan.size.width,
        height: (division.height / 10.0).round() as u32,
        unit: plan.k,
        x_axis: &figure.x,
        x: across.span,
        x_ticks: across.marks.ticks,
        frames,
        texts: plan.texts,
        swatches: plan.swatches,
        leaders: Vec::new(),
    };
    if direct.is_some() {
        keys::name_at_curves(
            &mut sheet,
            keys,
            LABEL,
            division.right,
            plan.width - plan.margin,
        );
    }
    place::inside(&mut sheet, NOTE);
    Ok(sheet)
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

fn named(axis: &Axis) -> bool {
    matches!(axis.scale, Scale::Names(_))
}

impl<'a> Plan<'a> {
    /// Above each panel, where any has a title.
    fn row_head(&self) -> f64 {
        let titled = self
            .figure
            .panels
            .iter()
            .any(|panel| !panel.title.is_empty() || panel.y.is_some());
        if titled {
            (1.3 * LABEL + 7.0) * self.k
        } else {
            0.0
        }
    }

    fn notes_height(&self, notes: usize) -> f64 {
        if notes == 0 {
            0.0
        } else {
            (notes as f64 * 1.4 * NOTE + 8.0) * self.k
        }
    }

    /// Whether the height of the figure settles that of its panels, or the other way about.
    fn height_is_given(&self) -> bool {
        let (_, rows) = self.grid();
        self.size.fixed || (!named(&self.figure.y) && rows == 1 && self.size.columns > 1)
    }

    /// A panel's height where the figure's is not given.
    fn usual_height(&self) -> f64 {
        if self.figure.is_stacked() {
            STACKED_HEIGHT
        } else {
            USUAL_HEIGHT
        }
    }

    /// The y axes, one for all panels or one each: as many marks as the height will about bear.
    fn upwards(&self, notes: usize) -> Result<Vec<Side>, FigureError> {
        let (figure, k) = (self.figure, self.k);
        let (_, rows) = self.grid();
        let height = if self.height_is_given() {
            let rest = f64::from(self.size.height) * 10.0
                - self.y
                - self.notes_height(notes)
                - self.margin;
            (rest - 42.0 * k) / rows as f64 - self.row_head() - 26.0 * k
        } else {
            self.usual_height() * k
        };
        let wanted = (height / (46.0 * k)).max(2.0);
        let side = |axis: &Axis, panels: &[Panel]| {
            let span = check::span_up(figure, axis, panels, wanted)?;
            let marks = ticks(&axis.scale, span.low, span.high, wanted);
            let lines = self.beside(&marks, 2);
            Ok(Side { span, marks, lines })
        };
        if figure.is_stacked() {
            return figure
                .panels
                .iter()
                .map(|panel| side(figure.axis_up(panel), std::slice::from_ref(panel)))
                .collect();
        }
        Ok(vec![side(&figure.y, &figure.panels)?])
    }

    /// The texts beside the y axis.
    fn beside(&self, marks: &Ticks, most: usize) -> Vec<Vec<String>> {
        let line = |tick: &Tick| {
            fit(
                &tick.says,
                0.3 * self.width,
                LABEL * self.k,
                Weight::Regular,
                most,
            )
        };
        marks.ticks.iter().map(line).collect()
    }

    /// The x axis: as many marks as stand side by side without touching. Beyond the panel's ends there is `slack`.
    fn across(&self, panel_width: f64, slack: f64) -> Result<Side, FigureError> {
        let k = self.k;
        let scale = &self.figure.x.scale;
        let mut wanted = (panel_width / (68.0 * k)).max(2.0);
        loop {
            let span = check::span_across(self.figure, wanted)?;
            let marks = ticks(scale, span.low, span.high, wanted);
            let reach = |tick: &Tick| {
                let half = face(Weight::Regular).width(&tick.says, LABEL * k) / 2.0;
                let at = panel_width * (tick.at - span.low) / (span.high - span.low);
                let at = at.min(panel_width + slack - half).max(half - slack);
                (at - half, at + half)
            };
            let touching = marks.ticks.windows(2).any(|pair| {
                let [a, b] = pair else { return false };
                reach(b).0 - reach(a).1 < 8.0 * k
            });
            if !touching || wanted <= 1.0 || named(&self.figure.x) {
                let room = if named(&self.figure.x) {
                    panel_width / marks.ticks.len().max(1) as f64 - 6.0 * k
                } else {
                    f64::INFINITY
                };
                let lines = marks
                    .ticks
                    .iter()
                    .map(|tick| fit(&tick.says, room, LABEL * k, Weight::Regular, 3))
                    .collect();
                return Ok(Side { span, marks, lines });
            }
            wanted = (wanted - 1.0).max(1.0);
        }
    }

    /// Widths and heights of everything, and with them the x axis.
    fn divide(
        &self,
        ups: &mut [Side],
        notes: usize,
        direct: Option<f64>,
    ) -> Result<(Side, Division), FigureError> {
        let (figure, k) = (self.figure, self.k);
        let (columns, rows) = self.grid();
        let no_room = || FigureError::NoRoom {
            figure: figure.name.clone(),
            width: self.size.width,
            height: self.size.height,
        };

        let left = self.margin
            + widest(
                ups.iter().flat_map(|up| up.lines.iter().flatten()),
                LABEL * k,
                Weight::Regular,
            )
            + 8.0 * k;
        let right = self.width - self.margin - direct.unwrap_or(4.0 * k);
        let panel_width = (right - left - GAP * k * (columns as f64 - 1.0)) / columns as f64;
        if panel_width < LEAST * k {
            return Err(no_room());
        }
        let across = self.across(panel_width, self.slack(columns))?;

        let row_head = self.row_head();
        let marks_foot = (8.0 + across.most_lines() * STEP * LABEL) * k;
        // Of panels that stand one above the other on one axis, only the last is marked.
        let row_foot = if figure.is_stacked() { 0.0 } else { marks_foot };
        let label = if heading(&figure.x, across.marks.power).is_empty() {
            0.0
        } else {
            (1.3 * LABEL + 6.0) * k
        };
        let label_foot = label + self.notes_height(notes) + self.margin;
        let foot = label_foot + marks_foot - row_foot;
        let rest = rows as f64 * (row_head + row_foot) + ROW_GAP * k * (rows as f64 - 1.0) + foot;
        let given = f64::from(self.size.height) * 10.0;
        let panel_height = if self.height_is_given() {
            (given - self.y - rest) / rows as f64
        } else if let Some(up) = ups.first().filter(|_| named(&figure.y)) {
            (up.lines.len() as f64 * (up.most_lines() * STEP * LABEL + 14.0) * k).max(LEAST * k)
        } else {
            self.usual_height() * k
        };
        if let Some(up) = ups.first_mut().filter(|_| named(&figure.y)) {
            // Names that do not fit one above the other in two lines each get one.
            let needed = |lines: f64| up.lines.len() as f64 * lines * STEP * LABEL * k;
            if needed(1.0) > panel_height {
                return Err(no_room());
            }
            if needed(up.most_lines()) > panel_height {
                up.lines = self.beside(&up.marks, 1);
            }
        }
        if panel_height < LEAST * k {
            return Err(no_room());
        }
        // Whole pixels, so that the picture has no half row.
        let height = if self.size.fixed {
            given
        } else {
            ((self.y + rest + rows as f64 * panel_height) / 10.0).round() * 10.0
        };
        Ok((
            across,
            Division {
                columns,
                left,
                right,
                panel_width,
                panel_height,
                row_head,
                row_foot,
                label_foot,
                height,
            },
        ))
    }

    /// How far a mark's text may reach beyond its panel.
    fn slack(&self, columns: usize) -> f64 {
        if columns > 1 {
            (GAP / 2.0 - 2.0) * self.k
        } else {
            0.6 * self.margin
        }
    }

    /// The panels with what stands around each.
    fn frames(&mut self, division: &Division, across: &Side, ups: &[Side]) -> Vec<Frame<'a>> {
        let (figure, k) = (self.figure, self.k);
        let Division {
            columns,
            left,
            panel_width,
            panel_height,
            row_head,
            row_foot,
            ..
        } = *division;
        let slack = self.slack(columns);
        let stacked = figure.is_stacked();
        let mut frames = Vec::new();
        for (i, panel) in figure.panels.iter().enumerate() {
            let Some(up) = ups.get(i).or(ups.first()) else {
                continue;
            };
            let axis = figure.axis_up(panel);
            let (column, row) = (i % columns, i / columns);
            let panel_left = left + column as f64 * (panel_width + GAP * k);
            let row_top = self.y + row as f64 * (row_head + panel_height + row_foot + ROW_GAP * k);
            let rect = Rect {
                left: panel_left.round(),
                top: (row_top + row_head).round(),
                right: (panel_left + panel_width).round(),
                bottom: (row_top + row_head + panel_height).round(),
            };
            // The first name stands at the top.
            let (low, high) = if named(axis) {
                (up.span.high, up.span.low)
            } else {
                (up.span.low, up.span.high)
            };
            let map = Cartesian2d::new(
                across.span.low..across.span.high,
                low..high,
                (
                    rect.left as i32..rect.right as i32,
                    rect.bottom as i32..rect.top as i32,
                ),
            );
            let frame = Frame {
                rect,
                layers: &panel.layers,
                y_axis: axis,
                y: up.span.clone(),
                y_ticks: up.marks.ticks.clone(),
                map,
            };
            let title = if stacked {
                heading(axis, up.marks.power)
            } else {
                panel.title.clone()
            };
            for line in fit(&title, panel_width, LABEL * k, Weight::Bold, 1) {
                self.text(rect.left, row_top + LABEL * k, line, LABEL, Role::Ink)
                    .weight = Weight::Bold;
            }
            if column == 0 {
                for (tick, lines) in up.marks.ticks.iter().zip(&up.lines) {
                    let (_, at) = frame.at(across.span.low, tick.at);
                    let first = f64::from(at)
                        + (0.36 - STEP * (lines.len() as f64 - 1.0) / 2.0) * LABEL * k;
                    self.lines(lines, rect.left - 7.0 * k, first, Anchor::End);
                }
            }
            let marked = !stacked || i + 1 == figure.panels.len();
            for (tick, lines) in across
                .marks
                .ticks
                .iter()
                .zip(&across.lines)
                .filter(|_| marked)
            {
                let (at, _) = frame.at(tick.at, up.span.low);
                let half = widest(lines, LABEL * k, Weight::Regular) / 2.0;
                let at = f64::from(at)
                    .min(rect.right + slack - half)
                    .max(rect.left - slack + half);
                self.lines(lines, at, rect.bottom + (8.0 + LABEL) * k, Anchor::Middle);
            }
            frames.push(frame);
        }
        frames
    }

    /// Lines one below the other, from the first one's base line.
    fn lines(&mut self, lines: &[String], x: f64, first: f64, anchor: Anchor) {
        for (n, line) in lines.iter().enumerate() {
            let y = first + n as f64 * STEP * LABEL * self.k;
            self.text(x, y, line, LABEL, Role::Quiet).anchor = anchor;
        }
    }

    fn y_label(&mut self, heading: &str) {
        let k = self.k;
        if heading.is_empty() {
            self.y += 4.0 * k;
            return;
        }
        let line = fit(
            heading,
            self.width - 2.0 * self.margin,
            LABEL * k,
            Weight::Regular,
            1,
        )
        .concat();
        let (x, baseline) = (self.margin, self.y + LABEL * k);
        self.text(x, baseline, line, LABEL, Role::Quiet);
        self.y += (1.3 * LABEL + 9.0) * k;
    }

    fn x_label(&mut self, heading: &str, division: &Division) {
        let (left, right) = (division.left, division.right);
        let baseline = division.height - division.label_foot + (4.0 + LABEL) * self.k;
        for line in fit(heading, right - left, LABEL * self.k, Weight::Regular, 1) {
            self.text((left + right) / 2.0, baseline, line, LABEL, Role::Quiet)
                .anchor = Anchor::Middle;
        }
    }

    fn notes(&mut self, notes: &[String], height: f64) {
        for (above_last, line) in notes.iter().rev().enumerate() {
            let y = height - self.margin - (0.2 + 1.4 * above_last as f64) * NOTE * self.k;
            let x = self.margin;
            self.text(x, y, line, NOTE, Role::Quiet);
        }
    }
}
