//! Colours: a light and a dark set of the same parts.

use std::fmt::{self, Write as _};

/// Dark marks on light paper, or light marks on dark paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Theme {
    /// For print and for pages by day.
    Light,
    /// For slides in a dark room and for pages by night.
    Dark,
}

/// How many series have a colour of their own; a seventh takes the first again, with another marker.
pub const SERIES: usize = 6;

/// What a colour is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The ground.
    Paper,
    /// Titles, labels, reference lines.
    Ink,
    /// Text of second rank: claims, tick labels, notes.
    Quiet,
    /// The base line and its ticks.
    Axis,
    /// Grid lines.
    Grid,
    /// A part of the figure set apart, such as what was not tested.
    Region,
    /// Marks of one series, counted from 0.
    Series(usize),
}

/// A colour in sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub u8, pub u8, pub u8);

impl fmt::Display for Rgb {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Capitals, as plotters writes them: the page's dark rules match colours letter by letter.
        write!(f, "#{:02X}{:02X}{:02X}", self.0, self.1, self.2)
    }
}

// The series are ours: found by a search for six colours far apart in OKLab to ordinary and to colour-blind eyes,
// each with enough contrast to its paper, then rounded by hand. The tests below hold what the search asked for.
const LIGHT: [Rgb; SERIES] = [
    Rgb(0x0B, 0x6B, 0x8F),
    Rgb(0xCF, 0x77, 0x09),
    Rgb(0x75, 0x16, 0x38),
    Rgb(0x0F, 0xA1, 0x8A),
    Rgb(0x41, 0x30, 0x8C),
    Rgb(0x6F, 0x5B, 0x0A),
];
const DARK: [Rgb; SERIES] = [
    Rgb(0x2C, 0x8E, 0xC9),
    Rgb(0xF9, 0xB8, 0x65),
    Rgb(0xBB, 0x5D, 0x7D),
    Rgb(0x67, 0xEC, 0xCE),
    Rgb(0xB3, 0xB2, 0xFB),
    Rgb(0x99, 0x98, 0x2F),
];

impl Theme {
    /// The colour for a part of a figure.
    pub fn colour(self, role: Role) -> Rgb {
        let (light, dark) = match role {
            Role::Paper => (Rgb(0xFD, 0xFC, 0xF9), Rgb(0x15, 0x19, 0x1D)),
            Role::Ink => (Rgb(0x1E, 0x23, 0x28), Rgb(0xEC, 0xE9, 0xE2)),
            Role::Quiet => (Rgb(0x56, 0x5C, 0x63), Rgb(0xA9, 0xAE, 0xB3)),
            Role::Axis => (Rgb(0x80, 0x86, 0x8C), Rgb(0x7C, 0x83, 0x8A)),
            Role::Grid => (Rgb(0xE3, 0xE1, 0xDB), Rgb(0x2B, 0x31, 0x37)),
            Role::Region => (Rgb(0xF1, 0xEE, 0xE6), Rgb(0x1F, 0x25, 0x2B)),
            Role::Series(i) => (LIGHT[i % SERIES], DARK[i % SERIES]),
        };
        match self {
            Self::Light => light,
            Self::Dark => dark,
        }
    }
}

/// Every role, once.
fn roles() -> impl Iterator<Item = Role> {
    [
        Role::Paper,
        Role::Ink,
        Role::Quiet,
        Role::Axis,
        Role::Grid,
        Role::Region,
    ]
    .into_iter()
    .chain((0..SERIES).map(Role::Series))
}

/// Style rules that turn a light figure inside `.figure` into a dark one.
///
/// A rule outweighs the colour that an SVG element carries itself, so one drawing serves both themes of a page.
pub fn dark_rules() -> String {
    let mut css = String::new();
    for role in roles() {
        let (light, dark) = (Theme::Light.colour(role), Theme::Dark.colour(role));
        // Writing to a String cannot fail.
        let _ = write!(
            css,
            ".figure [fill=\"{light}\"]{{fill:{dark}}}.figure [stroke=\"{light}\"]{{stroke:{dark}}}"
        );
    }
    css
}

#[cfg(test)]
mod tests {
    use super::*;

    type Three = [f64; 3];
    type Matrix = [Three; 3];

    /// Simulation of full deuteranopia and protanopia, on linear light.
    /// Source: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
    /// IEEE Trans. Visualization and Computer Graphics 15(6), 2009, the authors' table for severity 1.0.
    const DEUTERANOPIA: Matrix = [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ];
    const PROTANOPIA: Matrix = [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ];
    const ORDINARY: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

    /// sRGB to linear light (IEC 61966-2-1:1999, as WCAG 2.2 "relative luminance" gives it).
    fn linear(Rgb(r, g, b): Rgb) -> Three {
        [r, g, b].map(|v| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    fn times(m: &Matrix, v: Three) -> Three {
        m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
    }

    /// Contrast ratio (WCAG 2.2, 2023, "contrast ratio").
    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let luminance = |c| times(&[[0.2126, 0.7152, 0.0722]; 3], linear(c))[0] + 0.05;
        let (a, b) = (luminance(a), luminance(b));
        a.max(b) / a.min(b)
    }

    /// OKLab (Ottosson, "A perceptual color space for image processing", 2020).
    fn oklab(light: Three) -> Three {
        let lms = times(
            &[
                [0.4122214708, 0.5363325363, 0.0514459929],
                [0.2119034982, 0.6806995451, 0.1073969566],
                [0.0883024619, 0.2817188376, 0.6299787005],
            ],
            light.map(|v| v.clamp(0.0, 1.0)),
        );
        times(
            &[
                [0.2104542553, 0.7936177850, -0.0040720468],
                [1.9779984951, -2.4285922050, 0.4505937099],
                [0.0259040371, 0.7827717662, -0.8086757660],
            ],
            lms.map(f64::cbrt),
        )
    }

    #[test]
    fn the_contrast_formula_is_the_published_one() {
        // WCAG 2.2: black on white is 21 to 1; #767676 on white is the well-known grey just above 4.5 (common practice, no source).
        assert!((contrast(Rgb(0, 0, 0), Rgb(255, 255, 255)) - 21.0).abs() < 1e-9);
        let grey = contrast(Rgb(0x76, 0x76, 0x76), Rgb(255, 255, 255));
        assert!((4.5..4.6).contains(&grey), "{grey}");
    }

    #[test]
    fn marks_and_text_stand_out_from_the_paper_and_from_shaded_regions() {
        // WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3).
        for theme in [Theme::Light, Theme::Dark] {
            let paper = theme.colour(Role::Paper);
            for role in roles() {
                let least = match role {
                    Role::Ink | Role::Quiet => 4.5,
                    Role::Series(_) | Role::Axis => 3.0,
                    Role::Paper | Role::Grid | Role::Region => continue,
                };
                let found = contrast(theme.colour(role), paper);
                assert!(found >= least, "{role:?} in {theme:?}: {found:.2}");
            }
            for role in [Role::Ink, Role::Quiet] {
                assert!(contrast(theme.colour(role), theme.colour(Role::Region)) >= 4.5);
            }
        }
    }

    #[test]
    fn series_stay_apart_to_colour_blind_eyes() {
        // A distance of 0.02 in OKLab is about one just noticeable difference (W3C CSS Color 4, "deltaEOK", 2022);
        // small marks need several.
        for theme in [Theme::Light, Theme::Dark] {
            for (eyes, matrix) in [
                ("ordinary", ORDINARY),
                ("deuteranopia", DEUTERANOPIA),
                ("protanopia", PROTANOPIA),
            ] {
                let seen: Vec<Three> = (0..SERIES)
                    .map(|i| oklab(times(&matrix, linear(theme.colour(Role::Series(i))))))
                    .collect();
                for i in 0..SERIES {
                    for j in 0..i {
                        let distance = (0..3)
                            .map(|k| (seen[i][k] - seen[j][k]).powi(2))
                            .sum::<f64>()
                            .sqrt();
                        assert!(
                            distance > 0.11,
                            "{theme:?}, {eyes}: series {j} and {i} are {distance:.3} apart"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_light_colour_has_one_dark_counterpart() {
        let colours: Vec<String> = roles()
            .map(|role| Theme::Light.colour(role).to_string())
            .collect();
        for (i, colour) in colours.iter().enumerate() {
            assert!(
                !colours[..i].contains(colour),
                "{colour} has two roles, so the dark rules could not tell them apart"
            );
        }
        assert!(dark_rules().contains("[fill=\"#0B6B8F\"]{fill:#2C8EC9}"));
    }
}
