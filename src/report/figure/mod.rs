//! Figures: a plain description of what to show, drawn the same way everywhere.
//!
//! A [`Figure`] (in `scene`) says what its axes are and which layers lie in its panels; it computes nothing about the data.
//! The parts of drawing, in the order in which they run:
//!
//! * `check`: refuses what cannot be drawn, and settles the ranges;
//! * `layout`, `panels`: share out the area to header, legend, panels and their axes;
//! * `keys`, `place`: names for series at the ends of their curves, or in a legend; labels inside a panel;
//! * `marks`, `markers`: everything but text, drawn through plotters;
//! * `svg`, `png`: the finished picture.
//!
//! Text is drawn in one of two ways ([`Lettering`]). In a page that carries the faces once, text stays text, so it
//! can be searched, copied and read aloud. In a file that stands alone, text is outlines: no viewer and no office
//! program loads a font from inside an SVG file, so outlines alone look the same on every machine. The PNG is made
//! from the outlines, so picture and drawing never differ and no font is looked up.

mod check;
mod cut;
mod error;
mod keys;
mod layout;
mod markers;
mod marks;
mod panels;
mod place;
mod png;
mod scene;
mod svg;
pub mod theme;
mod ticks;

use rayon::prelude::*;

pub use error::{FigureError, Misplaced};
pub use scene::{
    Along, Axis, Dash, Figure, Holds, Interval, Layer, Look, Marker, Panel, Reach, Scale, Tone,
};
pub use theme::Theme;

/// How large a figure is, and how large its text is beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Width in pixels of the page or screen.
    pub width: u32,
    /// Height in the same pixels. A page takes what named rows or several rows of panels need instead.
    pub height: u32,
    /// Pixels to one unit of layout; body text is 12 units high.
    pub unit: f64,
    /// Panels side by side at most.
    pub columns: usize,
    /// Whether the height may not change.
    pub fixed: bool,
    /// Pixels of a PNG to one pixel here.
    pub density: f64,
}

impl Size {
    /// For a page or for print: 800 wide, a PNG of 1600 × 1000.
    pub const PAGE: Self = Self {
        width: 800,
        height: 500,
        unit: 1.0,
        columns: 3,
        fixed: false,
        density: 2.0,
    };
    /// For a slide: 1920 × 1080, legible from the back row.
    pub const SLIDE: Self = Self {
        width: 1920,
        height: 1080,
        unit: 2.3,
        columns: 3,
        fixed: true,
        density: 1.0,
    };
    /// For a hand-held screen: panels one below the other.
    pub const HAND: Self = Self {
        width: 380,
        height: 360,
        unit: 1.0,
        columns: 1,
        fixed: false,
        density: 2.0,
    };
}

/// How text is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lettering {
    /// As outlines of the embedded faces: right on every machine.
    Outlines,
    /// As text, for a page that carries [`super::font::css`].
    Text,
}

/// A kind of file that a figure is written to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Format {
    /// An SVG file lettered in outlines.
    Svg(Size, Theme),
    /// A PNG file.
    Png(Size, Theme),
}

/// Every figure in every format, drawn side by side on all cores: file names and their bytes, in order.
///
/// A name is the figure's own, with `suffix` of the format before its ending.
///
/// # Errors
///
/// The first [`FigureError`], in order.
pub fn files(
    figures: &[&Figure],
    formats: &[(Format, &str)],
) -> Result<Vec<(String, Vec<u8>)>, FigureError> {
    let jobs: Vec<_> = figures
        .iter()
        .flat_map(|figure| formats.iter().map(move |format| (*figure, *format)))
        .collect();
    jobs.into_par_iter()
        .map(|(figure, (format, suffix))| {
            let (ending, bytes) = match format {
                Format::Svg(size, theme) => (
                    "svg",
                    figure
                        .to_svg(size, theme, Lettering::Outlines, "")?
                        .into_bytes(),
                ),
                Format::Png(size, theme) => ("png", figure.to_png(size, theme)?),
            };
            Ok((format!("{}{suffix}.{ending}", figure.file_stem()), bytes))
        })
        .collect()
}

impl Figure {
    /// The name of its files, without an ending: letters, digits and hyphens only.
    pub fn file_stem(&self) -> String {
        let plain = svg::plain(&self.name);
        if plain.is_empty() {
            "figure".to_owned()
        } else {
            plain
        }
    }

    /// The figure as an SVG document.
    ///
    /// Equal figures give equal bytes. `scope` makes the document's ids its own where several stand in one page.
    ///
    /// # Errors
    ///
    /// [`FigureError`] where there is nothing to draw, a value is not finite, or the area is too small.
    pub fn to_svg(
        &self,
        size: Size,
        theme: Theme,
        lettering: Lettering,
        scope: &str,
    ) -> Result<String, FigureError> {
        let sheet = layout::lay_out(self, size)?;
        svg::document(self, &sheet, theme, lettering, scope)
    }

    /// The figure as a PNG file of `size` times its density.
    ///
    /// # Errors
    ///
    /// As [`Figure::to_svg`].
    pub fn to_png(&self, size: Size, theme: Theme) -> Result<Vec<u8>, FigureError> {
        let svg = self.to_svg(size, theme, Lettering::Outlines, "")?;
        png::from_svg(&svg, size.density).map_err(|reason| FigureError::Drawing {
            figure: self.name.clone(),
            reason,
        })
    }
}
