//! Everything but text, drawn through plotters.

use plotters::coord::Shift;
use plotters::drawing::DrawingArea;
use plotters::element::{PathElement, Polygon, Rectangle};
use plotters::prelude::{IntoDrawingArea, SVGBackend};
use plotters::style::{Color, RGBAColor, RGBColor, ShapeStyle};

use super::check::{Span, place};
use super::cut::{cut_area, cut_line, inside};
use super::keys::{Sample, Swatch};
use super::layout::{Frame, Sheet};
use super::theme::{Rgb, Role, Theme};
use super::{Along, Dash, Holds, Layer, Look, Scale, Tone};

type Area<'b> = DrawingArea<SVGBackend<'b>, Shift>;
pub(super) type Spot = (i32, i32);

/// How much of the paper a band hides.
const MEAN_STRENGTH: f64 = 0.32;
const RUN_STRENGTH: f64 = 0.17;

impl Theme {
    pub(super) fn rgb(self, role: Role) -> RGBColor {
        let Rgb(r, g, b) = self.colour(role);
        RGBColor(r, g, b)
    }
}

impl Tone {
    pub(super) fn role(self) -> Role {
        match self {
            Self::Series(i) => Role::Series(i),
            Self::Ink => Role::Ink,
            Self::Quiet => Role::Quiet,
        }
    }
}

/// The marks of a sheet as SVG elements, without the document around them.
pub(super) fn draw(sheet: &Sheet<'_>, theme: Theme) -> Result<String, String> {
    let mut svg = String::new();
    let size = (sheet.width * 10, sheet.height * 10);
    {
        let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        let pen = Pen {
            area,
            theme,
            k: sheet.unit,
        };
        pen.sheet(sheet)?;
        pen.area.present().map_err(|e| e.to_string())?;
    }
    // What plotters wraps the elements in is replaced by our own document.
    let start = svg
        .find("<svg")
        .and_then(|at| svg.get(at..)?.find('>').map(|end| at + end + 1))
        .unwrap_or(0);
    let end = svg.rfind("</svg>").unwrap_or(svg.len());
    Ok(svg.get(start..end).unwrap_or_default().trim().to_owned())
}

pub(super) struct Pen<'b> {
    area: Area<'b>,
    pub theme: Theme,
    /// View-box units to one layout unit.
    pub k: f64,
}

impl Pen<'_> {
    fn sheet(&self, sheet: &Sheet<'_>) -> Result<(), String> {
        for frame in &sheet.frames {
            let regions = regions(sheet, frame);
            for (_, a, b) in &regions {
                self.block(*a, *b, self.theme.rgb(Role::Region).to_rgba())?;
            }
            self.grid(sheet, frame)?;
            self.edges(frame, &regions)?;
            // A fixed order: what is precise and small lies above what is wide.
            for kind in ["band", "columns"] {
                self.layers(sheet, frame, kind)?;
            }
            self.base(sheet, frame)?;
            for kind in ["rule", "curve", "intervals"] {
                self.layers(sheet, frame, kind)?;
            }
            self.points(sheet, frame)?;
        }
        for leader in &sheet.leaders {
            self.path(leader, self.stroke(Role::Axis, 0.8), Dash::Whole)?;
        }
        for swatch in &sheet.swatches {
            self.swatch(swatch)?;
        }
        Ok(())
    }

    /// A thin line at each end of a region that lies inside the panel.
    fn edges(&self, frame: &Frame<'_>, regions: &[(Along, Spot, Spot)]) -> Result<(), String> {
        let style = self.stroke(Role::Axis, 0.7);
        let (left, right) = (frame.rect.left as i32, frame.rect.right as i32);
        let (top, bottom) = (frame.rect.top as i32, frame.rect.bottom as i32);
        for (along, a, b) in regions {
            for end in [a, b] {
                match along {
                    Along::X if end.0 > left && end.0 < right => {
                        self.path(&[(end.0, top), (end.0, bottom)], style, Dash::Whole)?
                    }
                    Along::Y if end.1 > top && end.1 < bottom => {
                        self.path(&[(left, end.1), (right, end.1)], style, Dash::Whole)?
                    }
                    _ => {}
                }
            }
        }
        Ok(())
    }

    fn grid(&self, sheet: &Sheet<'_>, frame: &Frame<'_>) -> Result<(), String> {
        let style = self.stroke(Role::Grid, 0.9);
        if matches!(frame.y_axis.scale, Scale::Names(_)) {
            for tick in &sheet.x_ticks {
                self.path(
                    &[
                        frame.at(tick.at, frame.y.low),
                        frame.at(tick.at, frame.y.high),
                    ],
                    style,
                    Dash::Whole,
                )?;
            }
        } else {
            for tick in &frame.y_ticks {
                self.path(
                    &[
                        frame.at(sheet.x.low, tick.at),
                        frame.at(sheet.x.high, tick.at),
                    ],
                    style,
                    Dash::Whole,
                )?;
            }
        }
        Ok(())
    }

    /// The base line and its ticks.
    fn base(&self, sheet: &Sheet<'_>, frame: &Frame<'_>) -> Result<(), String> {
        let style = self.stroke(Role::Axis, 1.0);
        let (left, right, bottom) = (
            frame.rect.left as i32,
            frame.rect.right as i32,
            frame.rect.bottom as i32,
        );
        self.path(&[(left, bottom), (right, bottom)], style, Dash::Whole)?;
        if !matches!(sheet.x_axis.scale, Scale::Names(_)) {
            for tick in &sheet.x_ticks {
                let (x, _) = frame.at(tick.at, frame.y.low);
                self.path(
                    &[(x, bottom), (x, bottom + self.units(4.5))],
                    style,
                    Dash::Whole,
                )?;
            }
        }
        Ok(())
    }

    fn layers(&self, sheet: &Sheet<'_>, frame: &Frame<'_>, kind: &str) -> Result<(), String> {
        for layer in frame.layers.iter().filter(|layer| layer.kind() == kind) {
            self.layer(sheet, frame, layer)?;
        }
        Ok(())
    }

    fn layer(&self, sheet: &Sheet<'_>, frame: &Frame<'_>, layer: &Layer) -> Result<(), String> {
        let window = (&sheet.x, &frame.y);
        let put = |x: f64, y: f64| (place(sheet.x_axis, x), place(frame.y_axis, y));
        let spot = |(x, y): (f64, f64)| frame.at(x, y);
        match layer {
            // All points of a panel are drawn together, see `points`.
            Layer::Points { .. } => {}
            Layer::Curve { through, look, .. } => {
                let places: Vec<(f64, f64)> = through.iter().map(|(x, y)| put(*x, *y)).collect();
                for piece in cut_line(&places, window) {
                    let spots: Vec<Spot> = piece.into_iter().map(spot).collect();
                    self.path(&spots, self.stroke(look.tone.role(), 2.1), look.dash)?;
                }
            }
            Layer::Band {
                across,
                look,
                holds,
                ..
            } => {
                let upper = across.iter().map(|(x, _, high)| put(*x, *high));
                let lower = across.iter().rev().map(|(x, low, _)| put(*x, *low));
                let area = cut_area(upper.chain(lower).collect(), window);
                if area.len() > 2 {
                    let spots: Vec<Spot> = area.into_iter().map(spot).collect();
                    self.draw(&Polygon::new(spots, self.tint(*look, *holds)))?;
                }
            }
            Layer::Intervals {
                bars, along, look, ..
            } => {
                for bar in bars {
                    let (a, b, middle) = match along {
                        Along::X => (
                            put(bar.low, bar.at),
                            put(bar.high, bar.at),
                            bar.value.map(|v| put(v, bar.at)),
                        ),
                        Along::Y => (
                            put(bar.at, bar.low),
                            put(bar.at, bar.high),
                            bar.value.map(|v| put(bar.at, v)),
                        ),
                    };
                    for piece in cut_line(&[a, b], window) {
                        if let [from, .., to] = piece.as_slice() {
                            self.interval(spot(*from), spot(*to), *look)?;
                        }
                    }
                    if let Some(middle) = middle.filter(|m| inside(*m, window)) {
                        self.mark(spot(middle), *look, 1.0)?;
                    }
                }
            }
            Layer::Columns {
                bars, width, look, ..
            } => {
                for (x, from, to) in bars {
                    let (a, b) = (put(x - width / 2.0, *from), put(x + width / 2.0, *to));
                    let corners = cut_area(vec![a, (b.0, a.1), b, (a.0, b.1)], window);
                    if corners.len() > 2 {
                        let spots: Vec<Spot> = corners.into_iter().map(spot).collect();
                        self.draw(&Polygon::new(spots, self.theme.rgb(look.tone.role())))?;
                    }
                }
            }
            Layer::Rule { along, at, .. } => {
                let ends = match along {
                    Along::X => [
                        (place(sheet.x_axis, *at), frame.y.low),
                        (place(sheet.x_axis, *at), frame.y.high),
                    ],
                    Along::Y => [
                        (sheet.x.low, place(frame.y_axis, *at)),
                        (sheet.x.high, place(frame.y_axis, *at)),
                    ],
                };
                if ends.iter().all(|end| inside(*end, window)) {
                    self.path(&ends.map(spot), self.stroke(Role::Quiet, 1.2), Dash::Short)?;
                }
            }
            Layer::Region { .. } | Layer::Remark { .. } => {}
        }
        Ok(())
    }

    fn interval(&self, from: Spot, to: Spot, look: Look) -> Result<(), String> {
        let cap = self.units(3.2);
        let (dx, dy) = if from.0 == to.0 { (cap, 0) } else { (0, cap) };
        // First a rim of paper, so that an interval is seen on a column or a band, then the line.
        for (role, width) in [(Role::Paper, 4.2), (look.tone.role(), 2.0)] {
            let style = self.stroke(role, width);
            self.path(&[from, to], style, Dash::Whole)?;
            // Short strokes across the ends.
            for (x, y) in [from, to] {
                self.path(&[(x - dx, y - dy), (x + dx, y + dy)], style, Dash::Whole)?;
            }
        }
        Ok(())
    }

    fn swatch(&self, swatch: &Swatch) -> Result<(), String> {
        let (x, y) = (swatch.x as i32, swatch.y as i32);
        let wide = self.units(super::keys::SWATCH);
        let middle = (x + wide / 2, y);
        for sample in &swatch.samples {
            let tall = self.units(5.0);
            match sample {
                Sample::Area(look, holds) => self.draw(&Rectangle::new(
                    [(x, y - tall), (x + wide, y + tall)],
                    self.tint(*look, *holds),
                ))?,
                Sample::Column(look) => self.block(
                    (x + wide / 4, y - tall),
                    (x + 3 * wide / 4, y + tall),
                    self.theme.rgb(look.tone.role()).to_rgba(),
                )?,
                Sample::Line(look) => self.path(
                    &[(x, y), (x + wide, y)],
                    self.stroke(look.tone.role(), 2.1),
                    look.dash,
                )?,
                Sample::Interval(look, marked) => {
                    self.interval((x + wide / 8, y), (x + wide - wide / 8, y), *look)?;
                    if *marked {
                        self.mark(middle, *look, 1.0)?;
                    }
                }
                Sample::Mark(_) => {}
            }
        }
        for sample in &swatch.samples {
            if let Sample::Mark(look) = sample {
                self.mark(middle, *look, 1.0)?;
            }
        }
        Ok(())
    }

    fn block(&self, a: Spot, b: Spot, colour: RGBAColor) -> Result<(), String> {
        let low = (a.0.min(b.0), a.1.min(b.1));
        let high = (a.0.max(b.0), a.1.max(b.1));
        self.draw(&Rectangle::new([low, high], colour.filled()))
    }

    fn path(&self, spots: &[Spot], style: ShapeStyle, dash: Dash) -> Result<(), String> {
        // Lengths of strokes and gaps in layout units. Round ends add the width of the line to a stroke.
        let pattern: &[f64] = match dash {
            Dash::Whole => return self.draw(&PathElement::new(spots.to_vec(), style)),
            Dash::Long => &[9.0, 6.0],
            Dash::Short => &[2.6, 4.6],
            Dash::Mixed => &[11.0, 5.0, 1.5, 5.0],
            Dash::Sparse => &[4.5, 9.0],
            Dash::Triple => &[9.0, 4.6, 1.2, 4.6, 1.2, 4.6],
        };
        for stroke in dashes(spots, pattern, self.k) {
            self.draw(&PathElement::new(stroke, style))?;
        }
        Ok(())
    }

    fn tint(&self, look: Look, holds: Holds) -> ShapeStyle {
        let strength = match holds {
            Holds::Mean => MEAN_STRENGTH,
            Holds::Run => RUN_STRENGTH,
        };
        self.theme.rgb(look.tone.role()).mix(strength).filled()
    }

    fn stroke(&self, role: Role, width: f64) -> ShapeStyle {
        self.theme.rgb(role).stroke_width(self.width(width))
    }

    pub(super) fn width(&self, width: f64) -> u32 {
        self.units(width).unsigned_abs().max(1)
    }

    pub(super) fn units(&self, length: f64) -> i32 {
        (length * self.k).round() as i32
    }

    pub(super) fn draw<'a, E>(&self, element: &'a E) -> Result<(), String>
    where
        &'a E: plotters::element::PointCollection<'a, Spot>,
        E: for<'b> plotters::element::Drawable<SVGBackend<'b>>,
    {
        self.area.draw(element).map_err(|e| e.to_string())
    }
}

/// The strokes of a broken line: `pattern` holds lengths of strokes and gaps in turn, in units of `unit`.
fn dashes(spots: &[Spot], pattern: &[f64], unit: f64) -> Vec<Vec<Spot>> {
    let mut strokes: Vec<Vec<Spot>> = Vec::new();
    let mut lengths = pattern.iter().map(|length| length * unit).cycle();
    let mut left = lengths.next().unwrap_or(f64::INFINITY);
    let mut drawing = true;
    let rounded = |(x, y): (f64, f64)| (x.round() as i32, y.round() as i32);
    for (i, pair) in spots.windows(2).enumerate() {
        let [a, b] = pair else { continue };
        let mut at = (f64::from(a.0), f64::from(a.1));
        let end = (f64::from(b.0), f64::from(b.1));
        if i == 0 {
            strokes.push(vec![*a]);
        }
        loop {
            let (dx, dy) = (end.0 - at.0, end.1 - at.1);
            let rest = dx.hypot(dy);
            let reached = rest <= left;
            at = if reached {
                end
            } else {
                (at.0 + dx * left / rest, at.1 + dy * left / rest)
            };
            if drawing && let Some(stroke) = strokes.last_mut() {
                stroke.push(rounded(at));
            }
            if reached {
                left -= rest;
                break;
            }
            left = lengths.next().unwrap_or(f64::INFINITY);
            drawing = !drawing;
            if drawing {
                strokes.push(vec![rounded(at)]);
            }
        }
    }
    strokes.retain(|stroke| stroke.len() > 1);
    strokes
}

/// The regions of a panel, cut to it: two opposite corners of each.
fn regions(sheet: &Sheet<'_>, frame: &Frame<'_>) -> Vec<(Along, Spot, Spot)> {
    let ends = |axis, span: &Span, from: f64, to: f64| {
        let low = if from.is_infinite() {
            span.low
        } else {
            place(axis, from)
        };
        let high = if to.is_infinite() {
            span.high
        } else {
            place(axis, to)
        };
        (
            low.min(high).clamp(span.low, span.high),
            low.max(high).clamp(span.low, span.high),
        )
    };
    let corners = |layer: &Layer| match layer {
        Layer::Region {
            along: Along::X,
            from,
            to,
            ..
        } => {
            let (low, high) = ends(sheet.x_axis, &sheet.x, *from, *to);
            Some((
                Along::X,
                frame.at(low, frame.y.low),
                frame.at(high, frame.y.high),
            ))
        }
        Layer::Region {
            along: Along::Y,
            from,
            to,
            ..
        } => {
            let (low, high) = ends(frame.y_axis, &frame.y, *from, *to);
            Some((
                Along::Y,
                frame.at(sheet.x.low, low),
                frame.at(sheet.x.high, high),
            ))
        }
        _ => None,
    };
    frame.layers.iter().filter_map(corners).collect()
}

#[cfg(test)]
mod tests {
    use super::dashes;

    #[test]
    fn a_broken_line_keeps_its_measure_around_corners() {
        let line = [(0, 0), (10, 0), (10, 10)];
        assert_eq!(
            dashes(&line, &[6.0, 2.0], 1.0),
            [
                vec![(0, 0), (6, 0)],
                vec![(8, 0), (10, 0), (10, 4)],
                vec![(10, 6), (10, 10)]
            ]
        );
        assert!(dashes(&[(5, 5)], &[6.0, 2.0], 1.0).is_empty());
    }
}
