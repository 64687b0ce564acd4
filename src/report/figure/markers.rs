//! Markers: their shapes, and points that would hide one another.

use plotters::element::{Circle, PathElement, Polygon};
use plotters::style::Color;

use super::check::place;
use super::cut::inside;
use super::layout::{Frame, Sheet};
use super::marks::{Pen, Spot};
use super::theme::Role;
use super::{Layer, Look, Marker};

/// The radius of a marker, in layout units.
const RADIUS: f64 = 4.3;
/// In a panel of more points than this, none is moved aside: nobody could count them.
const MOST_ASIDE: usize = 600;
impl Pen<'_> {
    /// Every point of a panel. On an axis of settings, points of one x that would hide one another stand side by side.
    pub(super) fn points(&self, sheet: &Sheet<'_>, frame: &Frame<'_>) -> Result<(), String> {
        let count = |frame: &Frame<'_>| frame.layers.iter().map(points_in).sum::<usize>();
        // One size for all panels, settled by the fullest.
        let most = sheet.frames.iter().map(count).max().unwrap_or(0);
        let size = match most {
            0..=24 => 1.0,
            25..=80 => 0.82,
            81..=240 => 0.62,
            _ => 0.46,
        };
        let step = self.units(1.2 * size * RADIUS);
        let most_steps = if sheet.x_axis.settings && most <= MOST_ASIDE {
            (2.5 / size).floor() as i32
        } else {
            0
        };
        // 0, then one step to the right, one to the left, two to the right …
        let shifts: Vec<i32> = (0..=2 * most_steps)
            .map(|n| step * if n % 2 == 1 { (n + 1) / 2 } else { -n / 2 })
            .collect();
        // The x that is meant, and the place taken.
        let mut taken: Vec<(i32, Spot)> = Vec::new();
        for layer in frame.layers {
            let Layer::Points { at, look, .. } = layer else {
                continue;
            };
            for (x, y) in at {
                let put = (place(sheet.x_axis, *x), place(frame.y_axis, *y));
                if !inside(put, (&sheet.x, &frame.y)) {
                    continue;
                }
                let (x, y) = frame.at(put.0, put.1);
                let free = |shift: &i32| {
                    !taken.iter().any(|(meant, (a, b))| {
                        (meant - x).abs() <= 2
                            && f64::from(a - x - shift).hypot(f64::from(b - y))
                                < f64::from(step) - 1.0
                    })
                };
                let shift = shifts.iter().copied().find(free).unwrap_or(0);
                if shifts.len() > 1 {
                    taken.push((x, (x + shift, y)));
                }
                self.mark((x + shift, y), *look, size)?;
            }
        }
        Ok(())
    }

    /// A marker with a rim of paper, so that runs that lie on one another can still be counted.
    pub(super) fn mark(&self, (x, y): Spot, look: Look, size: f64) -> Result<(), String> {
        let full = size * RADIUS;
        let paper = self.theme.rgb(Role::Paper);
        let colour = self.theme.rgb(look.tone.role());
        if look.marker == Marker::Circle {
            let radius = |r: f64| self.units(r).unsigned_abs();
            self.draw(&Circle::new((x, y), radius(full + 1.1), paper.filled()))?;
            if look.filled {
                self.draw(&Circle::new((x, y), radius(full), colour.filled()))
            } else {
                self.draw(&Circle::new(
                    (x, y),
                    radius(full - 0.7),
                    colour.stroke_width(self.width(1.7)),
                ))
            }
        } else {
            let outline = |grow: f64| -> Vec<Spot> {
                shape(look.marker)
                    .iter()
                    .map(|(dx, dy)| {
                        (
                            x + self.units(dx * (full + grow)),
                            y + self.units(dy * (full + grow)),
                        )
                    })
                    .collect()
            };
            self.draw(&Polygon::new(outline(1.3), paper))?;
            if look.filled {
                self.draw(&Polygon::new(outline(0.0), colour))
            } else {
                let mut closed = outline(-0.7);
                // Two points past the start, so that the last corner is joined like the others.
                let again: Vec<Spot> = closed.iter().take(2).copied().collect();
                closed.extend(again);
                self.draw(&PathElement::new(
                    closed,
                    colour.stroke_width(self.width(1.7)),
                ))
            }
        }
    }
}

fn points_in(layer: &Layer) -> usize {
    if let Layer::Points { at, .. } = layer {
        at.len()
    } else {
        0
    }
}

/// A marker's corners around its middle, for a radius of one; areas are about equal.
fn shape(marker: Marker) -> &'static [(f64, f64)] {
    match marker {
        Marker::Circle => &[],
        Marker::Diamond => &[(0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)],
        Marker::Square => &[(-0.92, -0.92), (0.92, -0.92), (0.92, 0.92), (-0.92, 0.92)],
        Marker::Triangle => &[(0.0, -1.25), (1.2, 0.85), (-1.2, 0.85)],
        Marker::Wedge => &[(0.0, 1.25), (1.2, -0.85), (-1.2, -0.85)],
        Marker::Bar => &[(-1.45, -0.55), (1.45, -0.55), (1.45, 0.55), (-1.45, 0.55)],
    }
}
