//! Where to measure air speed across a duct so that the plain mean is the mean over the area.
//!
//! Positions from memory of ISO 3966 and ASHRAE 111, whose text was not at hand; checked here against what defines them:
//! the mean over the points of a wall-law profile equals its mean over the area (within 1.5 % for rectangular ducts and
//! 0.2 % for round ones). No claim of conformity.

use super::error::AirError;
use crate::bench::CrossSection;

pub use crate::bench::Rule;

/// One place to hold the probe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Number of the line (rectangular: from the bottom; round: of the diameter), counted from 1.
    pub line: usize,
    /// Distance along the line from the wall where it begins, m.
    pub from_wall_m: f64,
    /// Across, m: from the left wall, or from the centre of a round duct.
    pub x_m: f64,
    /// Up, m: from the bottom wall, or from the centre of a round duct.
    pub y_m: f64,
}

/// Positions on a line as fractions of its length from the wall, in order.
///
/// # Errors
/// A number of points that the rule has no positions for.
pub fn fractions(rule: Rule, round: bool, points: usize) -> Result<Vec<f64>, AirError> {
    rule.allows(round, points)
        .map_err(|expected| AirError::NoSuchTraverse { points, expected })?;
    let half: &[f64] = match (rule, round, points) {
        (Rule::LogTchebycheff, false, 5) => &[0.074, 0.288, 0.5],
        (Rule::LogTchebycheff, false, 6) => &[0.061, 0.235, 0.437],
        (Rule::LogTchebycheff, false, _) => &[0.053, 0.203, 0.366, 0.5],
        (Rule::LogTchebycheff, true, 6) => &[0.0321, 0.1374, 0.3123],
        (Rule::LogTchebycheff, true, 8) => &[0.0238, 0.1000, 0.1938, 0.3343],
        (Rule::LogTchebycheff, true, _) => &[0.0189, 0.0764, 0.1554, 0.2150, 0.3567],
        (Rule::LogLinear, _, 6) => &[0.032, 0.135, 0.321],
        (Rule::LogLinear, _, 8) => &[0.021, 0.117, 0.184, 0.345],
        (Rule::LogLinear, _, _) => &[0.019, 0.077, 0.153, 0.217, 0.361],
        (Rule::EqualArea, _, _) => return Ok(equal_area(round, points)),
    };
    // The far half mirrors the near one; a middle point is its own mirror image.
    let far = half.iter().rev().skip(points % 2).map(|f| 1.0 - f);
    Ok(half.iter().copied().chain(far).collect())
}

fn equal_area(round: bool, points: usize) -> Vec<f64> {
    let n = points as f64;
    if !round {
        return (0..points).map(|i| (i as f64 + 0.5) / n).collect();
    }
    // Centres of area of `rings` annuli: r/R = √((2j − 1) / (2 rings)).
    let rings = points / 2;
    let near: Vec<f64> = (1..=rings)
        .rev()
        .map(|j| 0.5 * (1.0 - ((2 * j - 1) as f64 / (2 * rings) as f64).sqrt()))
        .collect();
    let far = near.iter().rev().map(|f| 1.0 - f);
    near.iter().copied().chain(far).collect()
}

/// Lines that the log-Tchebycheff rule asks for across a side of a rectangular duct, m: 5 below 762 mm (30 in), 6 up to
/// 914 mm (36 in), 7 above (from memory of ASHRAE 111).
pub fn lines_across(side_m: f64) -> usize {
    if side_m < 0.762 {
        5
    } else if side_m <= 0.914 {
        6
    } else {
        7
    }
}

/// Where to measure in a duct: a grid in a rectangular one (the rule's usual numbers of lines), two crossing diameters of
/// `per_diameter` points in a round one (6, 8 or 10).
///
/// # Errors
/// A rule without positions for it.
pub fn points(
    duct: &CrossSection,
    rule: Rule,
    per_diameter: usize,
) -> Result<Vec<Point>, AirError> {
    let mut out = Vec::new();
    match *duct {
        CrossSection::Rectangular { width_m, height_m } => {
            let across = fractions(rule, false, lines_across(width_m))?;
            let up = fractions(rule, false, lines_across(height_m))?;
            for (line, v) in up.iter().enumerate() {
                out.extend(across.iter().map(|u| Point {
                    line: line + 1,
                    from_wall_m: u * width_m,
                    x_m: u * width_m,
                    y_m: v * height_m,
                }));
            }
        }
        CrossSection::Round { diameter_m } => {
            for (line, angle) in [0.0f64, std::f64::consts::FRAC_PI_2]
                .into_iter()
                .enumerate()
            {
                out.extend(fractions(rule, true, per_diameter)?.iter().map(|f| Point {
                    line: line + 1,
                    from_wall_m: f * diameter_m,
                    x_m: (f - 0.5) * diameter_m * angle.cos(),
                    y_m: (f - 0.5) * diameter_m * angle.sin(),
                }));
            }
        }
    }
    Ok(out)
}

/// Largest relative error to expect of a rule's plain mean in a long duct: that for a 1/7-power profile over these points,
/// computed, and no less than that of the log-law check of `tests/reference/air/duct_traverse_check.csv` (0.3 % round, 1.5 %
/// rectangular). Behind a bend or a blower it is larger, by how much only a second traverse elsewhere can tell.
///
/// # Errors
/// As for [`fractions`].
pub fn profile_error(
    rule: Rule,
    round: bool,
    lines: usize,
    points: usize,
) -> Result<f64, AirError> {
    // Mean over the points of (distance from the nearer wall / half width)^(1/7).
    let mean = |points| -> Result<f64, AirError> {
        let f = fractions(rule, round, points)?;
        let sum: f64 = f
            .iter()
            .map(|f| (2.0 * f.min(1.0 - f)).powf(1.0 / 7.0))
            .sum();
        Ok(sum / f.len() as f64)
    };
    // Exact means over the area: 49/60 in a circle, 7/8 along each side of a rectangle.
    let (ratio, least) = if round {
        (mean(points)? / super::MEAN_OVER_CENTRE_ROUND, 0.003)
    } else {
        (mean(points)? * mean(lines)? / (0.875 * 0.875), 0.015)
    };
    Ok((ratio - 1.0).abs().max(least))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_round_duct_has_two_diameters_measured_from_wall_and_centre() {
        // Six points of the log-linear rule on 200 mm: 3.2, 13.5, 32.1 % of it from either wall.
        let duct = CrossSection::Round { diameter_m: 0.2 };
        let all = points(&duct, Rule::LogLinear, 6).unwrap();
        let by_hand = [0.0064, 0.027, 0.0642, 0.1358, 0.173, 0.1936];
        assert_eq!(all.len(), 12);
        for (k, p) in all.iter().enumerate() {
            let (from_wall, along) = (by_hand[k % 6], by_hand[k % 6] - 0.1);
            let (x, y) = if k < 6 { (along, 0.0) } else { (0.0, along) };
            assert_eq!(p.line, 1 + k / 6);
            assert!((p.from_wall_m - from_wall).abs() < 1e-12, "{p:?}");
            assert!(
                (p.x_m - x).abs() < 1e-12 && (p.y_m - y).abs() < 1e-12,
                "{p:?}"
            );
        }
    }

    #[test]
    fn a_rectangular_duct_has_a_grid_of_lines_measured_from_the_wall() {
        // The log-Tchebycheff rule's five lines: 7.4, 28.8, 50, 71.2, 92.6 % (ASHRAE Handbook, Fundamentals 2017, ch. 37; from memory).
        let duct = CrossSection::Rectangular {
            width_m: 0.4,
            height_m: 0.2,
        };
        let all = points(&duct, Rule::LogTchebycheff, 6).unwrap();
        let lines = [0.074, 0.288, 0.5, 0.712, 0.926];
        assert_eq!(all.len(), 25);
        for (k, p) in all.iter().enumerate() {
            assert_eq!(p.line, 1 + k / 5);
            assert!((p.from_wall_m - 0.4 * lines[k % 5]).abs() < 1e-9, "{p:?}");
            assert!((p.x_m - p.from_wall_m).abs() < 1e-12, "{p:?}");
            assert!((p.y_m - 0.2 * lines[k / 5]).abs() < 1e-9, "{p:?}");
        }
    }
}
