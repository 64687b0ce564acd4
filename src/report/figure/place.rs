//! Labels inside a panel: of regions, reference lines and single places, where they hide the least.

use super::layout::{Anchor, Frame, Rect, Sheet, Text, fit, widest};
use super::theme::Role;
use super::{Along, Layer, check};
use crate::report::font::Weight;

/// How much worse it is to hide words than marks: two labels on one another are read as neither.
const WORDS_OVER_WORDS: f64 = 8.0;

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

/// Labels every region, rule and remark of every panel.
pub(super) fn inside(sheet: &mut Sheet<'_>, size: f64) {
    let mut texts = Vec::new();
    for frame in &sheet.frames {
        let scene = Scene {
            sheet,
            frame,
            k: sheet.unit,
            size: size * sheet.unit,
        };
        let (mut taken, mut lettered) = (Vec::new(), Vec::new());
        for layer in frame.layers {
            scene.obstacles(layer, &mut taken);
        }
        for layer in frame
            .layers
            .iter()
            .filter(|layer| !layer.label().is_empty())
        {
            let mut others = taken.clone();
            for other in frame
                .layers
                .iter()
                .filter(|other| !std::ptr::eq(*other, layer))
            {
                scene.lines_across(other, &mut others);
            }
            // The first of those that hide least.
            let mut best: Option<(f64, Candidate)> = None;
            for candidate in scene.candidates(layer) {
                let hidden = |rects: &[Rect]| -> f64 {
                    rects.iter().map(|r| r.overlap(&candidate.rect)).sum()
                };
                let cost = hidden(&others) + WORDS_OVER_WORDS * hidden(&lettered);
                if best.as_ref().is_none_or(|(least, _)| cost < *least) {
                    best = Some((cost, candidate));
                }
            }
            if let Some((_, candidate)) = best {
                lettered.push(candidate.rect);
                let rim = if matches!(layer, Layer::Region { .. }) {
                    Role::Region
                } else {
                    Role::Paper
                };
                texts.extend(scene.lettered(&candidate, rim));
            }
        }
    }
    sheet.texts.extend(texts);
}

/// One panel, seen by its labels.
struct Scene<'s, 'f> {
    sheet: &'s Sheet<'f>,
    frame: &'s Frame<'f>,
    /// View-box units to one layout unit.
    k: f64,
    /// The size of the labels' text.
    size: f64,
}

impl Scene<'_, '_> {
    /// Where a pair of layer values stands, if inside the panel.
    fn spot(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        let (x, y) = (
            check::place(self.sheet.x_axis, x),
            check::place(self.frame.y_axis, y),
        );
        let (across, up) = (&self.sheet.x, &self.frame.y);
        let inside = x >= across.low && x <= across.high && y >= up.low && y <= up.high;
        inside
            .then(|| self.frame.at(x, y))
            .map(|(x, y)| (f64::from(x), f64::from(y)))
    }

    /// Small boxes along everything of a layer that a label should not hide.
    fn obstacles(&self, layer: &Layer, taken: &mut Vec<Rect>) {
        let k = self.k;
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
        match layer {
            Layer::Points { at, .. } => {
                for (x, y) in at {
                    along(self.spot(*x, *y), self.spot(*x, *y), 6.0 * k);
                }
            }
            Layer::Remark { at: (x, y), .. } => {
                along(self.spot(*x, *y), self.spot(*x, *y), 6.0 * k)
            }
            Layer::Curve { through, .. } => {
                for pair in through.windows(2) {
                    if let [a, b] = pair {
                        along(self.spot(a.0, a.1), self.spot(b.0, b.1), 3.0 * k);
                    }
                }
            }
            Layer::Intervals {
                bars, along: axis, ..
            } => {
                for bar in bars {
                    match axis {
                        Along::X => along(
                            self.spot(bar.low, bar.at),
                            self.spot(bar.high, bar.at),
                            5.0 * k,
                        ),
                        Along::Y => along(
                            self.spot(bar.at, bar.low),
                            self.spot(bar.at, bar.high),
                            5.0 * k,
                        ),
                    }
                }
            }
            Layer::Columns { bars, width, .. } => {
                for (x, from, to) in bars {
                    for t in [-0.5, -0.25, 0.0, 0.25, 0.5] {
                        along(
                            self.spot(x + t * width, *from),
                            self.spot(x + t * width, *to),
                            4.0 * k,
                        );
                    }
                }
            }
            Layer::Rule { .. } | Layer::Region { .. } | Layer::Band { .. } => {}
        }
    }

    /// Boxes along the lines that a rule or a region draws across the panel.
    fn lines_across(&self, layer: &Layer, taken: &mut Vec<Rect>) {
        let panel = self.frame.rect;
        let (along, ends) = match layer {
            Layer::Rule { along, at, .. } => (*along, vec![*at]),
            Layer::Region {
                along, from, to, ..
            } => (*along, vec![*from, *to]),
            _ => return,
        };
        for end in ends.into_iter().filter(|end| end.is_finite()) {
            let Some(at) = self.across(along, end) else {
                continue;
            };
            taken.push(match along {
                Along::X => Rect {
                    left: at - 2.0 * self.k,
                    right: at + 2.0 * self.k,
                    ..panel
                },
                Along::Y => Rect {
                    top: at - 2.0 * self.k,
                    bottom: at + 2.0 * self.k,
                    ..panel
                },
            });
        }
    }

    /// Where a layer value of one axis crosses the panel, if inside it.
    fn across(&self, along: Along, value: f64) -> Option<f64> {
        let (axis, span) = match along {
            Along::X => (self.sheet.x_axis, &self.sheet.x),
            Along::Y => (self.frame.y_axis, &self.frame.y),
        };
        let at = check::place(axis, value);
        (at >= span.low && at <= span.high).then(|| match along {
            Along::X => f64::from(self.frame.at(at, self.frame.y.low).0),
            Along::Y => f64::from(self.frame.at(self.sheet.x.low, at).1),
        })
    }

    /// The ends of a region in the panel, the smaller first; an end outside it stands at the edge.
    fn ends(&self, along: Along, from: f64, to: f64) -> (f64, f64) {
        let panel = self.frame.rect;
        let end = |value: f64| {
            let (axis, span) = match along {
                Along::X => (self.sheet.x_axis, &self.sheet.x),
                Along::Y => (self.frame.y_axis, &self.frame.y),
            };
            let at = if value.is_infinite() {
                value
            } else {
                check::place(axis, value)
            };
            let at = at.clamp(span.low, span.high);
            match along {
                Along::X => f64::from(self.frame.at(at, self.frame.y.low).0),
                Along::Y => f64::from(self.frame.at(self.sheet.x.low, at).1),
            }
        };
        let (a, b) = (end(from), end(to));
        let (low, high) = if along == Along::X {
            (panel.left, panel.right)
        } else {
            (panel.top, panel.bottom)
        };
        (a.min(b).max(low), a.max(b).min(high))
    }

    fn lines(&self, label: &str, width: f64, most: usize) -> Vec<String> {
        fit(label, width, self.size, Weight::Regular, most)
    }

    fn block(&self, left: f64, top: f64, lines: &[String]) -> Candidate {
        let right = left + widest(lines, self.size, Weight::Regular);
        let bottom = top + self.height(lines);
        Candidate {
            rect: Rect {
                left,
                top,
                right,
                bottom,
            },
            lines: lines.to_vec(),
            turned: false,
        }
    }

    fn height(&self, lines: &[String]) -> f64 {
        lines.len() as f64 * 1.25 * self.size
    }

    /// Places that a label may take, best first; never none for what is drawn inside the panel.
    fn candidates(&self, layer: &Layer) -> Vec<Candidate> {
        let (panel, k, label) = (self.frame.rect, self.k, layer.label());
        let mut all = match layer {
            Layer::Region {
                along: Along::X,
                from,
                to,
                ..
            } => self.in_upright_region(label, self.ends(Along::X, *from, *to)),
            Layer::Region {
                along: Along::Y,
                from,
                to,
                ..
            } => self.in_level_region(label, self.ends(Along::Y, *from, *to)),
            Layer::Rule { along, at, .. } => match (self.across(*along, *at), along) {
                (None, _) => return Vec::new(),
                (Some(x), Along::X) => self.at_upright_rule(label, x),
                (Some(y), Along::Y) => self.at_level_rule(label, y),
            },
            Layer::Remark { at, .. } => match self.spot(at.0, at.1) {
                None => return Vec::new(),
                Some(spot) => self.around_place(label, spot),
            },
            _ => return Vec::new(),
        };
        // A little room above the panel is free, too.
        let fits = |c: &Candidate| {
            c.rect.left >= panel.left
                && c.rect.right <= panel.right + 2.0 * k
                && c.rect.top >= panel.top - 6.0 * k
                && c.rect.bottom <= panel.bottom
        };
        if all.iter().any(fits) {
            all.retain(fits);
            return all;
        }
        // None fits as it is: the first, pushed inside.
        all.truncate(1);
        for Candidate { rect, .. } in &mut all {
            let right = (panel.right - rect.right)
                .min(0.0)
                .max(panel.left - rect.left);
            let down = (panel.bottom - rect.bottom)
                .min(0.0)
                .max(panel.top - rect.top);
            *rect = Rect {
                left: rect.left + right,
                right: rect.right + right,
                top: rect.top + down,
                bottom: rect.bottom + down,
            };
        }
        all
    }

    fn in_upright_region(&self, label: &str, (a, b): (f64, f64)) -> Vec<Candidate> {
        let (panel, gap) = (self.frame.rect, 5.0 * self.k);
        let lines = self.lines(label, b - a - 2.0 * gap, 3);
        let mut all = Vec::new();
        if b - a > 34.0 * self.k && lines.iter().all(|line| !line.ends_with(['-', '…'])) {
            let wide = widest(&lines, self.size, Weight::Regular);
            let (top, bottom) = (panel.top + gap, panel.bottom - gap - self.height(&lines));
            for step in [0.0, 1.0, 0.5, 0.25, 0.75] {
                for left in [(a + b - wide) / 2.0, a + gap, b - gap - wide] {
                    all.push(self.block(left, top + step * (bottom - top), &lines));
                }
            }
        } else {
            // Too narrow for words across: upwards.
            let lines = self.lines(label, panel.bottom - panel.top - 2.0 * gap, 1);
            let (left, length) = (
                (a + b) / 2.0 - 0.65 * self.size,
                widest(&lines, self.size, Weight::Regular),
            );
            let (first, last) = (panel.top + gap + length, panel.bottom - gap);
            for bottom in [0.0, 1.0, 0.5, 0.25, 0.75].map(|step| first + step * (last - first)) {
                let rect = Rect {
                    left,
                    top: bottom - length,
                    right: left + 1.3 * self.size,
                    bottom,
                };
                all.push(Candidate {
                    rect,
                    lines: lines.clone(),
                    turned: true,
                });
            }
        }
        all
    }

    fn in_level_region(&self, label: &str, (top, bottom): (f64, f64)) -> Vec<Candidate> {
        let (panel, gap) = (self.frame.rect, 5.0 * self.k);
        let lines = self.lines(label, (panel.right - panel.left) * 0.6, 2);
        let wide = widest(&lines, self.size, Weight::Regular);
        let lefts = [
            panel.left + gap,
            panel.right - gap - wide,
            (panel.left + panel.right - wide) / 2.0,
        ];
        let tops = [top + gap / 2.0, bottom - gap / 2.0 - self.height(&lines)];
        lefts
            .iter()
            .flat_map(|left| tops.iter().map(|top| self.block(*left, *top, &lines)))
            .collect()
    }

    fn at_upright_rule(&self, label: &str, x: f64) -> Vec<Candidate> {
        let (panel, gap, k) = (self.frame.rect, 5.0 * self.k, self.k);
        let mut all = Vec::new();
        for most in [150.0 * k, 90.0 * k, 60.0 * k] {
            let lines = self.lines(label, most, 3);
            let (wide, high) = (
                widest(&lines, self.size, Weight::Regular),
                self.height(&lines),
            );
            for top in [
                panel.top + gap,
                panel.bottom - gap - high,
                (panel.top + panel.bottom - high) / 2.0,
            ] {
                all.push(self.block(x + gap, top, &lines));
                all.push(self.block(x - gap - wide, top, &lines));
            }
        }
        all
    }

    fn at_level_rule(&self, label: &str, y: f64) -> Vec<Candidate> {
        let (panel, gap) = (self.frame.rect, 5.0 * self.k);
        let mut all = Vec::new();
        for (share, most) in [(1.0, 1), (0.5, 2)] {
            let lines = self.lines(label, share * (panel.right - panel.left) - 2.0 * gap, most);
            let wide = widest(&lines, self.size, Weight::Regular);
            let (first, last) = (panel.left + gap, panel.right - gap - wide);
            for step in [0.0, 1.0, 0.5, 0.25, 0.75] {
                let left = first + step * (last - first);
                all.push(self.block(left, y - 0.35 * gap - self.height(&lines), &lines));
                all.push(self.block(left, y + 0.35 * gap, &lines));
            }
        }
        all
    }

    fn around_place(&self, label: &str, (x, y): (f64, f64)) -> Vec<Candidate> {
        let gap = 8.0 * self.k;
        let mut all = Vec::new();
        for most in [150.0 * self.k, 80.0 * self.k, 50.0 * self.k] {
            let lines = self.lines(label, most, 3);
            // A word is not broken for the sake of room.
            if !all.is_empty() && lines.iter().any(|line| line.ends_with(['-', '…'])) {
                break;
            }
            let (wide, high) = (
                widest(&lines, self.size, Weight::Regular),
                self.height(&lines),
            );
            let (beside, before) = (x + gap, x - gap - wide);
            for (left, top) in [
                (beside, y - high / 2.0),
                (before, y - high / 2.0),
                (x - wide / 2.0, y - gap - high),
                (x - wide / 2.0, y + gap),
                (beside, y - gap - high / 2.0),
                (beside, y + gap - high / 2.0),
                (before, y - gap - high / 2.0),
                (before, y + gap - high / 2.0),
                (beside, y - gap - high),
                (before, y - gap - high),
                (beside, y + gap),
                (before, y + gap),
            ] {
                all.push(self.block(left, top, &lines));
            }
        }
        all
    }

    fn lettered(&self, candidate: &Candidate, rim: Role) -> Vec<Text> {
        let Candidate {
            rect,
            lines,
            turned,
        } = candidate;
        let at = |n: usize| self.size + n as f64 * 1.25 * self.size;
        let line = |(n, says): (usize, &String)| Text {
            // Turned text runs upwards: its base line is upright, its start at the bottom.
            x: if *turned {
                rect.left + at(n)
            } else {
                rect.left
            },
            y: if *turned {
                rect.bottom
            } else {
                rect.top + at(n)
            },
            says: says.clone(),
            size: self.size,
            weight: Weight::Regular,
            role: Role::Quiet,
            anchor: Anchor::Start,
            rim: Some(rim),
            turned: *turned,
        };
        lines.iter().enumerate().map(line).collect()
    }
}
