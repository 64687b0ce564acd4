//! Labels inside a panel: of regions and of reference lines, where they hide the least.

use super::layout::{Anchor, Frame, Rect, Sheet, Text, fit, widest};
use super::theme::Role;
use super::{Along, Layer, check};
use crate::report::font::Weight;

/// A label's lines and where its box could stand.
struct Candidate {
    rect: Rect,
    lines: Vec<String>,
    turned: bool,
}

impl Rect {
    fn overlap(&self, other: &Self) -> f64 {
        let w = self.right.min(other.right) - self.left.max(other.left);
        let h = self.bottom.min(other.bottom) - self.top.max(other.top);
        if w > 0.0 && h > 0.0 { w * h } else { 0.0 }
    }

    fn around(x: f64, y: f64, half: f64) -> Self {
        Self {
            left: x - half,
            top: y - half,
            right: x + half,
            bottom: y + half,
        }
    }
}

/// Labels every region and rule of every panel.
pub(super) fn inside(sheet: &mut Sheet<'_>, size: f64) {
    let mut texts = Vec::new();
    for frame in &sheet.frames {
        let mut taken = obstacles(sheet, frame);
        for layer in frame.layers {
            let candidates = candidates(sheet, frame, layer, size);
            // The first of those that hide least.
            let mut best: Option<(f64, Candidate)> = None;
            for candidate in candidates {
                let cost: f64 = taken.iter().map(|rect| rect.overlap(&candidate.rect)).sum();
                if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                    best = Some((cost, candidate));
                }
            }
            if let Some((_, candidate)) = best {
                taken.push(candidate.rect);
                texts.extend(lettered(&candidate, size * sheet.unit));
            }
        }
    }
    sheet.texts.extend(texts);
}

fn lettered(candidate: &Candidate, size: f64) -> Vec<Text> {
    let Candidate {
        rect,
        lines,
        turned,
    } = candidate;
    let line = |x, y, says: &String| Text {
        x,
        y,
        says: says.clone(),
        size,
        weight: Weight::Regular,
        role: Role::Quiet,
        anchor: Anchor::Start,
        rim: true,
        turned: *turned,
    };
    let step = 1.25 * size;
    if *turned {
        // Runs upwards: the base line is upright, the start at the bottom.
        lines
            .iter()
            .enumerate()
            .map(|(n, says)| line(rect.left + size + n as f64 * step, rect.bottom, says))
            .collect()
    } else {
        lines
            .iter()
            .enumerate()
            .map(|(n, says)| line(rect.left, rect.top + size + n as f64 * step, says))
            .collect()
    }
}

/// Small boxes along everything that a label should not hide.
fn obstacles(sheet: &Sheet<'_>, frame: &Frame<'_>) -> Vec<Rect> {
    let k = sheet.unit;
    let mut taken = Vec::new();
    let spot = |x: f64, y: f64| {
        let (x, y) = (check::place(sheet.x_axis, x), check::place(sheet.y_axis, y));
        let inside = x >= sheet.x.low && x <= sheet.x.high && y >= sheet.y.low && y <= sheet.y.high;
        inside
            .then(|| frame.at(x, y))
            .map(|(x, y)| (f64::from(x), f64::from(y)))
    };
    let mut along = |a: Option<(f64, f64)>, b: Option<(f64, f64)>, half: f64| {
        let (Some(a), Some(b)) = (a, b) else { return };
        let steps = ((b.0 - a.0).hypot(b.1 - a.1) / (6.0 * k))
            .ceil()
            .clamp(1.0, 400.0);
        for i in 0..=steps as usize {
            let t = i as f64 / steps;
            taken.push(Rect::around(
                a.0 + t * (b.0 - a.0),
                a.1 + t * (b.1 - a.1),
                half,
            ));
        }
    };
    for layer in frame.layers {
        match layer {
            Layer::Points { at, .. } => {
                for (x, y) in at {
                    along(spot(*x, *y), spot(*x, *y), 6.0 * k);
                }
            }
            Layer::Curve { through, .. } => {
                for pair in through.windows(2) {
                    if let [a, b] = pair {
                        along(spot(a.0, a.1), spot(b.0, b.1), 3.0 * k);
                    }
                }
            }
            Layer::Intervals {
                bars, along: axis, ..
            } => {
                for bar in bars {
                    match axis {
                        Along::X => along(spot(bar.low, bar.at), spot(bar.high, bar.at), 5.0 * k),
                        Along::Y => along(spot(bar.at, bar.low), spot(bar.at, bar.high), 5.0 * k),
                    }
                }
            }
            Layer::Columns { bars, width, .. } => {
                for (x, from, to) in bars {
                    for t in [-0.5, -0.25, 0.0, 0.25, 0.5] {
                        along(
                            spot(x + t * width, *from),
                            spot(x + t * width, *to),
                            4.0 * k,
                        );
                    }
                }
            }
            Layer::Rule { .. } | Layer::Region { .. } | Layer::Band { .. } => {}
        }
    }
    taken
}

/// Places that a region's or a rule's label may take, best first.
fn candidates(sheet: &Sheet<'_>, frame: &Frame<'_>, layer: &Layer, size: f64) -> Vec<Candidate> {
    let k = sheet.unit;
    let (panel, size, gap) = (frame.rect, size * k, 5.0 * k);
    let weight = Weight::Regular;
    let label = layer.label();
    if label.is_empty() {
        return Vec::new();
    }
    let mut out = Vec::new();
    let block =
        |width: f64, lines: usize| -> Vec<String> { fit(label, width, size, weight, lines) };
    let high = |lines: &[String]| lines.len() as f64 * 1.25 * size;
    let mut offer = |left: f64, top: f64, lines: &Vec<String>| {
        let rect = Rect {
            left,
            top,
            right: left + widest(lines, size, weight),
            bottom: top + high(lines),
        };
        if rect.left >= panel.left
            && rect.right <= panel.right + 2.0 * k
            && rect.top >= panel.top
            && rect.bottom <= panel.bottom
        {
            out.push(Candidate {
                rect,
                lines: lines.clone(),
                turned: false,
            });
        }
    };
    match layer {
        Layer::Region {
            along: Along::X,
            from,
            to,
            ..
        } => {
            let end = |v: f64, edge: f64| {
                if v.is_infinite() {
                    edge
                } else {
                    check::place(sheet.x_axis, v).clamp(sheet.x.low, sheet.x.high)
                }
            };
            let (a, _) = frame.at(end(*from, sheet.x.low), sheet.y.low);
            let (b, _) = frame.at(end(*to, sheet.x.high), sheet.y.low);
            let (a, b) = (f64::from(a.min(b)), f64::from(a.max(b)));
            let lines = block(b - a - 2.0 * gap, 3);
            let whole = lines.iter().all(|line| !line.ends_with(['-', '…']));
            if whole && !lines.is_empty() {
                let left = (a + b - widest(&lines, size, weight)) / 2.0;
                let (top, bottom) = (panel.top + gap, panel.bottom - gap - high(&lines));
                for step in [0.0, 1.0, 0.5, 0.25, 0.75] {
                    offer(left, top + step * (bottom - top), &lines);
                }
            } else if b - a > 1.3 * size {
                // Too narrow for words across: upwards.
                let lines = block(panel.bottom - panel.top - 2.0 * gap, 1);
                let (left, length) = ((a + b) / 2.0 - 0.65 * size, widest(&lines, size, weight));
                for bottom in [panel.top + gap + length, panel.bottom - gap] {
                    let rect = Rect {
                        left,
                        top: bottom - length,
                        right: left + 1.3 * size,
                        bottom,
                    };
                    out.push(Candidate {
                        rect,
                        lines: lines.clone(),
                        turned: true,
                    });
                }
            }
        }
        Layer::Region {
            along: Along::Y,
            from,
            to,
            ..
        } => {
            let end = |v: f64, edge: f64| {
                if v.is_infinite() {
                    edge
                } else {
                    check::place(sheet.y_axis, v).clamp(sheet.y.low, sheet.y.high)
                }
            };
            let (_, a) = frame.at(sheet.x.low, end(*from, sheet.y.low));
            let (_, b) = frame.at(sheet.x.low, end(*to, sheet.y.high));
            let (top, bottom) = (f64::from(a.min(b)), f64::from(a.max(b)));
            let lines = block((panel.right - panel.left) * 0.6, 2);
            let right = panel.right - gap - widest(&lines, size, weight);
            let centre = (panel.left + panel.right - widest(&lines, size, weight)) / 2.0;
            for left in [panel.left + gap, right, centre] {
                offer(left, top + gap / 2.0, &lines);
                offer(left, bottom - gap / 2.0 - high(&lines), &lines);
            }
        }
        Layer::Rule {
            along: Along::X,
            at,
            ..
        } => {
            let (x, _) = frame.at(check::place(sheet.x_axis, *at), sheet.y.low);
            let x = f64::from(x);
            for most in [150.0 * k, 90.0 * k, 60.0 * k] {
                let lines = block(most, 3);
                let wide = widest(&lines, size, weight);
                for top in [
                    panel.top + gap,
                    panel.bottom - gap - high(&lines),
                    (panel.top + panel.bottom - high(&lines)) / 2.0,
                ] {
                    offer(x + gap, top, &lines);
                    offer(x - gap - wide, top, &lines);
                }
            }
        }
        Layer::Rule {
            along: Along::Y,
            at,
            ..
        } => {
            let (_, y) = frame.at(sheet.x.low, check::place(sheet.y_axis, *at));
            let y = f64::from(y);
            let lines = block(panel.right - panel.left - 2.0 * gap, 1);
            let wide = widest(&lines, size, weight);
            let (first, last) = (panel.left + gap, panel.right - gap - wide);
            for step in [0.0, 1.0, 0.5, 0.25, 0.75] {
                let left = first + step * (last - first);
                offer(left, y - 0.35 * gap - high(&lines), &lines);
                offer(left, y + 0.35 * gap, &lines);
            }
        }
        _ => {}
    }
    out
}
