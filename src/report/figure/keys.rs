//! Which series are named, and where: at the ends of their curves, or in a legend.

use super::layout::{Anchor, Sheet, Text, fit};
use super::theme::Role;
use super::{Figure, Holds, Layer, Look, check};
use crate::report::font::Weight;

/// The width of a sample of a series' line or marker, in layout units.
pub(super) const SWATCH: f64 = 24.0;

/// A sample of how a series looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sample {
    Line(Look),
    Mark(Look),
    /// A line with ends, as intervals have, and whether it carries a marker.
    Interval(Look, bool),
    Area(Look, Holds),
    Column(Look),
}

/// A named series.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Key {
    pub label: String,
    pub samples: Vec<Sample>,
    /// Where its curve ends in the last panel, in layer values, where that is the right end of the axis' data.
    pub end: Option<(f64, f64)>,
}

/// A sample put in its place: its left end, on its middle line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Swatch {
    pub x: f64,
    pub y: f64,
    pub samples: Vec<Sample>,
}

impl Key {
    /// Whether it names an area only, which has no end to stand at.
    pub fn is_patch(&self) -> bool {
        self.samples
            .iter()
            .all(|sample| matches!(sample, Sample::Area(..)))
    }
}

/// The series of a figure in order of first appearance; layers of one label make one key.
pub(super) fn collect(figure: &Figure) -> Vec<Key> {
    let mut keys: Vec<Key> = Vec::new();
    let last_panel = figure.panels.len().saturating_sub(1);
    let far_right = far_right(figure);
    for (i, layer) in figure
        .panels
        .iter()
        .enumerate()
        .flat_map(|(i, panel)| panel.layers.iter().map(move |l| (i, l)))
    {
        let sample = match layer {
            Layer::Points { look, .. } => Sample::Mark(*look),
            Layer::Curve { look, .. } => Sample::Line(*look),
            Layer::Band { look, holds, .. } => Sample::Area(*look, *holds),
            Layer::Intervals { look, bars, .. } => {
                Sample::Interval(*look, bars.iter().any(|bar| bar.value.is_some()))
            }
            Layer::Columns { look, .. } => Sample::Column(*look),
            Layer::Region { .. } | Layer::Rule { .. } | Layer::Remark { .. } => continue,
        };
        let label = layer.label();
        if label.is_empty() {
            continue;
        }
        let found = keys.iter().position(|key| key.label == label);
        let at = found.unwrap_or_else(|| {
            keys.push(Key {
                label: label.to_owned(),
                samples: Vec::new(),
                end: None,
            });
            keys.len() - 1
        });
        let Some(key) = keys.get_mut(at) else {
            continue;
        };
        if !key.samples.contains(&sample) {
            key.samples.push(sample);
        }
        if let Layer::Curve { through, .. } = layer
            && i == last_panel
            && let Some(end) = through.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))
            && end.0 >= far_right
        {
            key.end = Some(end);
        }
    }
    keys
}

/// How far right a curve must reach for its name to stand beside its end: within an eighth of all curves' width.
fn far_right(figure: &Figure) -> f64 {
    let xs = figure
        .panels
        .iter()
        .flat_map(|panel| &panel.layers)
        .flat_map(|layer| match layer {
            Layer::Curve { through, .. } => through.iter().map(|p| p.0).collect(),
            _ => Vec::new(),
        });
    let (low, high) = xs.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
        (low.min(x), high.max(x))
    });
    high - 0.125 * (high - low)
}

/// Puts names beside the ends of their curves in the last panel, moved apart where they would overlap.
pub(super) fn name_at_curves(sheet: &mut Sheet<'_>, keys: &[Key], size: f64, from: f64, to: f64) {
    let k = sheet.unit;
    let Some(frame) = sheet.frames.last() else {
        return;
    };
    let text_left = from + (10.0 + SWATCH + 4.0) * k;
    let mut wanted: Vec<(&Key, Vec<String>, f64, i32)> = Vec::new();
    for key in keys {
        let Some((x, y)) = key.end else { continue };
        let (x, y) = (check::place(sheet.x_axis, x), check::place(frame.y_axis, y));
        let (end_x, end_y) = frame.at(
            x.clamp(sheet.x.low, sheet.x.high),
            y.clamp(frame.y.low, frame.y.high),
        );
        let lines = fit(&key.label, to - text_left, size * k, Weight::Regular, 2);
        wanted.push((key, lines, f64::from(end_y), end_x));
    }
    wanted.sort_by(|a, b| a.2.total_cmp(&b.2));
    let step = 1.25 * size * k;
    let heights: Vec<f64> = wanted
        .iter()
        .map(|w| w.1.len() as f64 * step + 3.0 * k)
        .collect();
    let middles: Vec<f64> = wanted.iter().map(|w| w.2).collect();
    let places = moved_apart(&middles, &heights, frame.rect.top, frame.rect.bottom);
    let edge = frame.rect.right;
    for ((key, lines, end_y, end_x), middle) in wanted.into_iter().zip(places) {
        let swatch_left = edge + 10.0 * k;
        if (middle - end_y).abs() > 3.0 * k || f64::from(end_x) < edge - 4.0 * k {
            let elbow = (edge + 3.0 * k).max(f64::from(end_x) + 7.0 * k);
            sheet.leaders.push(vec![
                (end_x + (7.0 * k) as i32, end_y as i32),
                (elbow as i32, end_y as i32),
                ((swatch_left - 1.0 * k) as i32, middle as i32),
            ]);
        }
        sheet.swatches.push(Swatch {
            x: swatch_left,
            y: middle,
            samples: key.samples.clone(),
        });
        let first = middle + 0.36 * size * k - step * (lines.len() as f64 - 1.0) / 2.0;
        for (n, says) in lines.into_iter().enumerate() {
            sheet.texts.push(Text {
                x: text_left,
                y: first + n as f64 * step,
                says,
                size: size * k,
                weight: Weight::Regular,
                role: Role::Ink,
                anchor: Anchor::Start,
                rim: None,
                turned: false,
            });
        }
    }
}

/// Middles as near to the wanted ones as can be (least squares) without overlap, in the same order, inside `top..bottom`.
///
/// Pools neighbours that would overlap and centres each pool on its members' mean wish (the method of pooled
/// adjacent violators; Ayer and others, Annals of Mathematical Statistics 26, 1955).
fn moved_apart(middles: &[f64], heights: &[f64], top: f64, bottom: f64) -> Vec<f64> {
    struct Pool {
        members: usize,
        height: f64,
        /// The sum over members of the top edge that each would like the pool to have.
        tops: f64,
    }
    impl Pool {
        fn top(&self, least: f64, most: f64) -> f64 {
            (self.tops / self.members as f64)
                .min(most - self.height)
                .max(least)
        }
    }
    let mut pools: Vec<Pool> = Vec::new();
    for (middle, height) in middles.iter().zip(heights) {
        pools.push(Pool {
            members: 1,
            height: *height,
            tops: middle - height / 2.0,
        });
        while let [.., before, last] = pools.as_mut_slice() {
            if before.top(top, bottom) + before.height <= last.top(top, bottom) {
                break;
            }
            before.tops += last.tops - before.height * last.members as f64;
            before.members += last.members;
            before.height += last.height;
            pools.pop();
        }
    }
    let mut places = Vec::with_capacity(middles.len());
    let mut heights = heights.iter();
    for pool in &pools {
        let mut edge = pool.top(top, bottom);
        for height in heights.by_ref().take(pool.members) {
            places.push(edge + height / 2.0);
            edge += height;
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_keep_their_order_and_their_distance() {
        let middles = [10.0, 12.0, 13.0, 80.0];
        let heights = [10.0; 4];
        let places = moved_apart(&middles, &heights, 0.0, 100.0);
        assert_eq!(places[3], 80.0, "what is alone stays");
        for pair in places.windows(2) {
            assert!(pair[1] - pair[0] >= 10.0 - 1e-9, "{places:?}");
        }
        let mean = places[..3].iter().sum::<f64>() / 3.0;
        assert!((mean - 35.0 / 3.0).abs() < 5.0, "{places:?}");
    }

    #[test]
    fn names_stay_inside() {
        let places = moved_apart(&[0.0, 0.0, 100.0, 100.0], &[20.0; 4], 0.0, 100.0);
        assert_eq!(places, [10.0, 30.0, 70.0, 90.0]);
    }
}
