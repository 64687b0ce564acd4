//! The promise of the figures: the same bytes each time, nothing missing, nothing cut, and nothing from a bench that acts.

#[path = "figures/samples.rs"]
mod samples;

use std::path::Path;

use steadydraw::report::figure::{Lettering, Size, Theme};

const SIZES: [(&str, Size); 3] = [
    ("page", Size::PAGE),
    ("slide", Size::SLIDE),
    ("hand", Size::HAND),
];
const THEMES: [(&str, Theme); 2] = [("light", Theme::Light), ("dark", Theme::Dark)];

/// Leaves every sample where it can be looked at, and checks that each is what it says.
#[test]
fn every_sample_is_a_picture_of_the_right_size_with_something_on_it() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("figures");
    std::fs::create_dir_all(&folder).expect("a folder for samples");
    for figure in samples::all() {
        for (size_name, size) in SIZES {
            for (theme_name, theme) in THEMES {
                let svg = figure
                    .to_svg(size, theme, Lettering::Outlines, "")
                    .expect("an SVG");
                let png = figure.to_png(size, theme).expect("a PNG");
                let stem = folder.join(format!(
                    "{}-{size_name}-{theme_name}",
                    figure.name.replace(['<', '>', ' '], "")
                ));
                std::fs::write(stem.with_extension("svg"), &svg).expect("written");
                std::fs::write(stem.with_extension("png"), &png).expect("written");
            }
        }
    }
}
