//! The finished picture.

use resvg::{tiny_skia, usvg};

/// The SVG as a PNG file, `density` pixels to each of its own. The SVG holds no text but outlines, so no font is needed.
pub(super) fn from_svg(svg: &str, density: f64) -> Result<Vec<u8>, String> {
    let tree = usvg::Tree::from_str(svg, &usvg::Options::default()).map_err(|e| e.to_string())?;
    let (width, height) = (
        f64::from(tree.size().width()) * density,
        f64::from(tree.size().height()) * density,
    );
    let mut picture = tiny_skia::Pixmap::new(width.round() as u32, height.round() as u32)
        .ok_or("the picture has no size, or too large a one")?;
    resvg::render(
        &tree,
        tiny_skia::Transform::from_scale(density as f32, density as f32),
        &mut picture.as_mut(),
    );
    picture.encode_png().map_err(|e| e.to_string())
}
